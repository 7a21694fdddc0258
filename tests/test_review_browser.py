"""The review page in a real browser with the network cut off: it draws, asks for nothing, runs nothing users wrote."""

import json
import re

import pytest
from browser import Browser
from made_page import ATTACKS, hostile_result, made_page, many_plants
from made_results import CONFIRMED, SUSPECT, made_result

pytestmark = pytest.mark.browser

LIVE = "spreadmapReview.map"
CENTRE = f"[{LIVE}.getCenter().lat, {LIVE}.getCenter().lng, {LIVE}.getZoom()]"
CARD = "[...document.querySelectorAll('.leaflet-popup .card')].at(-1)"


@pytest.fixture
def plain(browser, folder):
    """The plain page, freshly opened at 1280 x 800."""
    path = folder / "review.html"
    if not path.exists():
        path.write_bytes(made_page(made_result(notes=["seen from the road"])))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    return browser


@pytest.fixture
def hostile(browser, folder):
    """The page of a project whose every text is an attack."""
    path = folder / "hostile.html"
    if not path.exists():
        path.write_bytes(made_page(hostile_result()))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    return browser


def ink(browser: Browser, colour: str) -> int:
    """Return how many pixels of the plants' canvas have exactly this colour."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return browser.run(
        "(() => { const c = document.querySelector('.plants-canvas'), copy = document.createElement('canvas');"
        "copy.width = c.width; copy.height = c.height;"
        "const pen = copy.getContext('2d', {willReadFrequently: true}); pen.drawImage(c, 0, 0);"
        "const d = pen.getImageData(0, 0, c.width, c.height).data; let n = 0;"
        "for (let i = 0; i < d.length; i += 4)"
        f"if (d[i] === {red} && d[i+1] === {green} && d[i+2] === {blue} && d[i+3] === 255) n++; return n; }})()"
    )


def shown(text: str) -> str:
    """Return text as HTML shows it: line ends as one sign, control characters as the sign for a character lost."""
    return re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", "�", text).replace("\r\n", "\n")


def test_the_page_draws_and_asks_for_nothing(plain, folder):
    assert plain.complaints == []
    assert plain.requests[0] == (folder / "review.html").as_uri()
    assert all(request.startswith(("data:", "blob:")) for request in plain.requests[1:])
    for colour in ("#d55e00", "#e69f00", "#0072b2"):
        assert ink(plain, colour) > 20, colour
    assert plain.run("document.querySelectorAll('img.surface').length") == 1
    assert plain.run("document.querySelectorAll('.leaflet-overlay-pane path').length") >= 5
    assert plain.picture("review_1280.png").stat().st_size > 20_000
    # what the browser reported late
    assert plain.complaints == []
    assert all(request.startswith(("data:", "blob:")) for request in plain.requests[1:])


def test_what_to_do_stands_on_the_first_screen(plain):
    for selector in ("h1", ".face", ".in-short li:nth-child(1)", ".in-short li:nth-child(2)", ".legend", ".folium-map"):
        bottom = plain.run(f"document.querySelector({selector!r}).getBoundingClientRect().bottom")
        assert 0 < bottom <= 800, selector
    assert plain.run("document.documentElement.scrollWidth") <= 1280


def test_a_row_moves_the_map_to_its_plant(plain):
    inventory, before = made_result().inputs.inventory, plain.run(CENTRE)
    plain.run("document.querySelector('.removal button.go').click()")
    plain.wait(f"!!{CARD}")
    latitude, longitude, zoom = plain.run(CENTRE)
    assert [latitude, longitude, zoom] != before
    # the plant lies on the map that is shown now
    row = CONFIRMED[0]
    inside = f"{LIVE}.getBounds().contains([{inventory.latitude[row]}, {inventory.longitude[row]}])"
    assert plain.run(inside)
    assert zoom >= 18
    assert plain.run(f"{CARD}.querySelector('.card-title').textContent") == inventory.plant_id[row]
    assert plain.run("document.querySelectorAll('tr.chosen').length") == 1
    plain.run("document.querySelector('[data-home]').click()")
    assert plain.run(CENTRE) == pytest.approx(before)


def test_a_ring_row_shows_the_whole_ring(plain):
    bounds = json.loads(plain.run("document.querySelector('button[data-bounds]').dataset.bounds"))
    plain.run("document.querySelector('button[data-bounds]').click()")
    assert plain.run(f"{LIVE}.getBounds().contains({json.dumps(bounds)})")
    assert plain.run(f"{LIVE}.getZoom()") > 18


def test_a_click_on_the_canvas_opens_the_nearest_plant(plain):
    inventory = made_result().inputs.inventory
    for row in (3, 8, 29):
        plain.do(f"{LIVE}.closePopup()")
        plain.wait("document.querySelector('.leaflet-popup') === null")
        plain.do(f"{LIVE}.setView([{inventory.latitude[row]}, {inventory.longitude[row]}], 21, {{animate: false}})")
        box = plain.run("(r => [r.left, r.top])(document.querySelector('.folium-map').getBoundingClientRect())")
        at = plain.run(f"(p => [p.x, p.y])(spreadmapReview.plants.screenPoint({row}))")
        plain.click(box[0] + at[0] + 3, box[1] + at[1] - 2)
        plain.wait(f"{CARD}?.querySelector('.card-title').textContent === {inventory.plant_id[row]!r}")
        assert ("synthetic" in plain.run(f"{CARD}.textContent")) == bool(inventory.is_synthetic[row])


def test_boxes_switch_layers(plain):
    box = "document.querySelector('input[data-layer=\"{}\"]')".format
    plain.run(f"{box('plants')}.click()")
    assert plain.run("document.querySelector('.plants-canvas') === null")
    plain.run(f"{box('plants')}.click()")
    assert ink(plain, "#d55e00") > 20
    plain.run("document.querySelector('input[data-layer^=\"surface\"]').click()")
    assert plain.run("document.querySelectorAll('img.surface').length") == 0
    before = plain.run("document.querySelectorAll('.leaflet-overlay-pane path').length")
    plain.run(f"{box('ring')}.click()")
    assert plain.run("document.querySelectorAll('.leaflet-overlay-pane path').length") == before - 3
    assert plain.complaints == []


def test_zooming_keeps_symbols_on_their_plants(plain):
    inventory = made_result().inputs.inventory
    pixel = (
        "(() => { const c = document.querySelector('.plants-canvas'), box = c.getBoundingClientRect(),"
        "frame = document.querySelector('.folium-map').getBoundingClientRect(),"
        f"p = {LIVE}.latLngToContainerPoint([{inventory.latitude[14]}, {inventory.longitude[14]}]),"
        "copy = document.createElement('canvas'), pen = copy.getContext('2d', {willReadFrequently: true});"
        "copy.width = c.width; copy.height = c.height; pen.drawImage(c, 0, 0);"
        "const at = [p.x + frame.left - box.left, p.y + frame.top - box.top].map(Math.round);"
        "return [...pen.getImageData(...at, 1, 1).data]; })()"
    )
    for zoom in (17.25, 19, 21):
        plain.do(f"{LIVE}.setView([{inventory.latitude[14]}, {inventory.longitude[14]}], {zoom}, {{animate: false}})")
        assert plain.run(pixel) == [0xD5, 0x5E, 0x00, 255], zoom
        plain.do(f"{LIVE}.panBy([60, -40], {{animate: false}})")
        assert plain.run(pixel) == [0xD5, 0x5E, 0x00, 255], zoom


def test_rows_are_reached_and_pressed_by_keyboard(plain):
    plain.do("document.querySelectorAll('.removal button.go')[1].focus()")
    # the map follows to the section first; what it shows of a plant closes by that
    plain.wait("spreadmapReview.views.current() === 'removal'")
    # the decision on a plant lies between the two rows
    plain.press("Tab", 9)
    assert plain.run("document.activeElement.getAttribute('aria-label')").startswith("Decision on ")
    plain.press("Tab", 9)
    third = made_result().inputs.inventory.plant_id[CONFIRMED[2]]
    assert plain.run("document.activeElement.textContent") == third
    assert plain.run("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    plain.press("Enter", 13, "\r")
    plain.wait(f"!!{CARD}")
    assert plain.run(f"{CARD}.querySelector('.card-title').textContent") == third


@pytest.mark.parametrize(("width", "height"), [(800, 1000), (390, 800)])
def test_a_narrow_window_has_the_map_above_the_memo(plain, width, height):
    plain.size(width, height)
    plain.wait(f"{LIVE}.getSize().x <= {width}")
    stage, memo = (
        plain.run(f"document.querySelector({name!r}).getBoundingClientRect().top") for name in (".stage", ".memo")
    )
    assert stage < memo
    assert plain.run("document.documentElement.scrollWidth") <= width
    plain.picture(f"review_{width}.png")


def test_hostile_text_is_shown_and_runs_nothing(hostile, folder):
    text = hostile.run("document.body.textContent")
    for attack in ATTACKS:
        assert shown(attack) in text, attack
    assert hostile.run("window.ran === undefined")
    assert hostile.run("document.title").startswith(f"Town {ATTACKS[11]}")
    assert hostile.complaints == []
    assert all(request.startswith(("data:", "blob:")) for request in hostile.requests[1:])
    hostile.picture("hostile.png")


def test_hostile_text_in_cards_is_text(hostile):
    result = hostile_result()
    inventory, found = result.inputs.inventory, set()
    for row in range(len(inventory)):
        hostile.do(f"spreadmapReview.plants.show({row})")
        assert hostile.run(f"{CARD}.querySelector('.card-title').textContent") == inventory.plant_id[row]
        said = hostile.run(f"[...{CARD}.querySelectorAll('dd')].map((e) => e.textContent)")
        assert inventory.bed_id[row] in said
        assert inventory.host[row] in said
        assert row not in (*CONFIRMED, *SUSPECT) or inventory.note[row] == "" or inventory.note[row] in said
        found |= {attack for attack in ATTACKS if attack in said}
        assert hostile.run(f"{CARD}.querySelectorAll('img, script, b').length") == 0
    assert found == set(ATTACKS)
    assert hostile.run("window.ran === undefined")
    assert hostile.complaints == []


def test_pressing_every_row_of_hostile_lists_runs_nothing(hostile):
    inventory = hostile_result().inputs.inventory
    rows = hostile.run("[...document.querySelectorAll('button[data-row]')].map((e) => Number(e.dataset.row))")
    assert rows[: len(CONFIRMED)] == list(CONFIRMED)
    for index, row in enumerate(rows):
        hostile.do(f"{LIVE}.closePopup()")
        hostile.run(f"document.querySelectorAll('button[data-row]')[{index}].click()")
        hostile.wait(f"{CARD}?.querySelector('.card-title').textContent === {json.dumps(inventory.plant_id[row])}")
    assert hostile.run("window.ran === undefined")
    assert hostile.complaints == []
    assert all(request.startswith(("data:", "blob:")) for request in hostile.requests[1:])


def test_text_that_ran_would_be_noticed(chromium, tmp_path):
    # the attacks are live: set as markup by hand, one runs, and the policy's refusal of its picture is heard
    path = tmp_path / "attacked.html"
    path.write_bytes(made_page(made_result()))
    with Browser(chromium, tmp_path) as own:
        own.open(path)
        assert own.complaints == []
        own.do(f"document.querySelector('.memo').insertAdjacentHTML('beforeend', {json.dumps(ATTACKS[10])})")
        own.wait("window.ran === 1")
        assert own.complaints != []


def test_hostile_text_in_shapes_is_text(hostile):
    hostile.do("window.shapes = []")
    hostile.do(f"{LIVE}.eachLayer((l) => {{ if (l instanceof L.GeoJSON) shapes.push(l); }})")
    said = []
    for index in range(hostile.run("shapes.length")):
        # far from any plant, so that the shape's own card opens
        away = "layerPoint: L.point(-9999, -9999), originalEvent: {}"
        hostile.do(f"shapes[{index}].fire('click', {{latlng: shapes[{index}].getBounds().getCenter(), {away}}})")
        said.append(hostile.run(f"{CARD}.textContent"))
        assert hostile.run(f"{CARD}.querySelectorAll('img, script, b').length") == 0
    assert any(ATTACKS[4] in text for text in said)
    assert any(ATTACKS[0] in text for text in said)
    assert hostile.run("window.ran === undefined")
    assert hostile.complaints == []


def test_more_plants_than_symbols_are_drawn_as_pixels_with_confirmed_on_top(browser, folder):
    path = folder / "many.html"
    path.write_bytes(made_page(many_plants(12_000)))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.open(path)
    assert ink(browser, "#0072b2") > 1000
    assert ink(browser, "#d55e00") > 100
    assert browser.complaints == []
    browser.picture("many.png")


def test_the_public_page_draws_without_plants(browser, folder):
    path = folder / "public.html"
    path.write_bytes(made_page(made_result(), public=True))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    assert browser.complaints == []
    assert all(request.startswith(("data:", "blob:")) for request in browser.requests[1:])
    assert browser.run("document.querySelector('.plants-canvas') === null")
    assert browser.run("document.querySelectorAll('img.surface').length") == 1


def test_the_browser_is_cut_off(browser):
    failed = browser.run("fetch('http://example.org/').then(() => 'reached', () => 'refused')")
    assert failed == "refused"
