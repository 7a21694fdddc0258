"""The map of the review page follows the text, shows two dates, and stands still in print."""

from dataclasses import replace

import numpy as np
import pytest
from made_page import made_page, many_plants
from made_results import AS_OF, CONFIRMED, REMOVED, SUSPECT, made_result
from test_review_browser import ink

from spreadmap.values.score import ForecastRing, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode

pytestmark = pytest.mark.browser

LIVE = "spreadmapReview.map"
CURRENT = "spreadmapReview.views.current()"
SHOWN = "spreadmapReview.overlay.shown"
ON = "[...document.querySelectorAll('input[data-layer]:checked')].map((box) => box.dataset.layer)"
NEW = CONFIRMED[3:]
"""Confirmed plants of the made survey that were clean at the survey before."""


def with_before(result):
    """The made survey with an earlier one: three plants not yet confirmed, one suspect fewer, nothing taken out."""
    system = result.systems[0]
    status, evidence = system.state.status.copy(), system.state.evidence.copy()
    status[list(NEW)], evidence[list(NEW)] = "clean", "visual"
    status[SUSPECT[0]], status[list(REMOVED)] = "not_inspected", "infected"
    before = replace(system.state, as_of=np.datetime64("2026-07-13"), status=status, evidence=evidence)
    return replace(result, systems=(replace(system, before=before),))


def with_score(result):
    """The same with a scored forecast that found two plants inside its one ring."""
    system = result.systems[0]
    figures = ScoreFigures(
        inspected=20, found=2, tenth=2, hours=5, random_low=0.0, random_high=2.0, rules=(), rings=(),
    )  # fmt: skip
    survey = SurveyScore(
        mode=Mode.RELATIVE, forecast_as_of=AS_OF.replace(month=7), valid_until=AS_OF, scored_to=AS_OF, figures=figures,
        says=("2 of 20 inspected plants were found.",), remarks=(), found_plants=(14, 21), first_plants=(1, 2),
        rings=(ForecastRing(focus=1, name="core", share=0.5, polygon=system.zones.rings[0].polygon),),
    )  # fmt: skip
    score = SystemScore(system_key="rose_rosette", mode=Mode.RELATIVE, surveys=(survey,), running=figures)
    return replace(result, systems=(replace(system, score=score),))


@pytest.fixture
def page(browser, folder):
    path = folder / "views.html"
    if not path.exists():
        path.write_bytes(made_page(with_score(with_before(made_result()))))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.open(path)
    return browser


def read(browser, key):
    """Scroll to a section as a reader does, and wait for the map."""
    browser.do("document.documentElement.style.scrollBehavior = 'auto'")
    browser.do(f"document.getElementById('{key}').scrollIntoView({{block: 'start'}})")
    browser.wait(f"{CURRENT} === '{key}'")


# --- the map follows the text


def test_every_question_has_an_answer_in_the_order_in_which_it_is_asked(page):
    keys = page.run("[...document.querySelectorAll('section[data-view]')].map((one) => one.id)")
    asked = ["findings", "removal", "ahead", "inspection", "survey", "lines", "changed", "score", "residents", "sure"]
    assert [key for key in keys if key in asked] == asked
    for key in keys:
        answer = page.run(f"document.querySelector('#{key} .answer').textContent.trim()")
        assert len(answer) > 15, key
        size = page.run(f"parseFloat(getComputedStyle(document.querySelector('#{key} .answer')).fontSize)")
        assert size >= 20, key


def test_the_map_follows_the_section_that_is_read(page):
    assert page.run(CURRENT) == "start"
    assert "ring" in page.run(ON)
    read(page, "removal")
    assert "ring" not in page.run(ON)
    assert page.run(f"{SHOWN}.numbers.map((one) => one.row)") == list(CONFIRMED)
    assert page.run("document.querySelector('.map-says').textContent").startswith("The map: plants to take out")
    read(page, "inspection")
    look = made_result().systems[0].plan.inspection
    reached = np.flatnonzero(look.walk > 0)
    walk = look.plant[reached[np.argsort(look.walk[reached])]].tolist()
    assert len(walk) > 2
    assert page.run(f"{SHOWN}.route") == walk
    assert page.run(f"{SHOWN}.numbers.length") == 0
    inventory = made_result().inputs.inventory
    for row in walk:
        assert page.run(f"{LIVE}.getBounds().contains([{inventory.latitude[row]}, {inventory.longitude[row]}])")
    read(page, "lines")
    assert {"ring", "site", "reservoir"} <= set(page.run(ON))
    assert any(name.startswith("line ") for name in page.run(ON))
    assert page.run(f"{SHOWN}.route.length") == 0
    read(page, "score")
    assert "old_ring" in page.run(ON)
    assert page.run(f"{SHOWN}.marked") == [14, 21]
    page.do("window.scrollTo(0, 0)")
    page.wait(f"{CURRENT} === 'start'")
    assert "ring" in page.run(ON)
    assert page.complaints == []


def test_the_map_stays_where_it_is_when_it_must_not_follow(page):
    page.do("document.querySelector('[data-follow]').click()")
    before = page.run(f"{LIVE}.getCenter().lat")
    page.do("document.getElementById('lines').scrollIntoView()")
    page.run("new Promise((done) => setTimeout(done, 500))")
    assert page.run(CURRENT) == "start"
    assert page.run(f"{LIVE}.getCenter().lat") == before
    page.do("document.querySelector('[data-follow]').click()")
    page.wait(f"{CURRENT} === 'lines'")


def test_a_layer_that_a_reader_switched_stays_switched(page):
    page.do("document.querySelector('input[data-layer=screen]').click()")
    assert "screen" not in page.run(ON)
    read(page, "removal")
    assert "screen" not in page.run(ON)


def test_in_a_narrow_window_the_map_stays_above_the_text_and_follows(page):
    page.size(800, 1000)
    read(page, "lines")
    top, bottom = page.run("(r => [r.top, r.bottom])(document.querySelector('.map-frame').getBoundingClientRect())")
    assert abs(top) < 1
    assert 200 <= bottom <= 420
    heading = page.run("document.getElementById('lines-title').getBoundingClientRect().top")
    assert heading >= bottom
    page.picture("views_800.png")


@pytest.mark.parametrize("width", [1200, 1280, 1500])
def test_no_column_of_a_list_is_cut_off(page, width):
    page.size(width, 800)
    over = (
        "[...document.querySelectorAll('.table')].filter((one) => one.scrollWidth > one.clientWidth)"
        ".map((one) => one.firstElementChild.className)"
    )
    assert page.run("document.querySelectorAll('.table').length") >= 9
    assert page.run(over) == []


def test_twice_the_size_of_text_needs_no_sideways_scrolling(page):
    # a window of 1280 x 800 at 200 % has half as many pixels of CSS
    page.size(640, 400)
    assert page.run("document.documentElement.scrollWidth") <= 640
    assert page.run("document.querySelector('.map-frame').getBoundingClientRect().height") <= 240


def test_every_plant_and_every_shape_is_found_from_the_keyboard(page):
    inventory = made_result().inputs.inventory

    def find(text):
        page.do("(e => { e.focus(); e.value = ''; })(document.querySelector('[data-find]'))")
        page.call("Input.insertText", text=text)
        page.press("Enter", 13, "\r")
        return page.run("document.querySelector('[data-found]').textContent")

    title = "[...document.querySelectorAll('.leaflet-popup .card-title')].at(-1).textContent"
    for row in (2, 5, 17):  # on no list that has rows for them
        assert find(inventory.plant_id[row]) == f"Shown: {inventory.plant_id[row]}"
        assert page.run(title) == inventory.plant_id[row]
    for asked, said in (
        ("market sq", "Site: Market square"),
        ("wild-1", "Wild stand: wild-1"),
        ("hedge-1", "Screen: hedge-1"),
    ):
        assert find(asked) == f"Shown: {said}"
        page.wait(f"{title} === {said!r}")
    assert find("zzz").startswith("Not found")
    assert page.complaints == []


# --- two dates


def test_the_switch_shows_the_state_before_and_leaving_the_section_shows_now(page):
    read(page, "changed")
    answer = page.run("document.querySelector('#changed .answer').textContent")
    assert "13 July 2026" in answer
    assert "3 newly confirmed" in answer
    assert "1 newly suspect" in answer
    assert "1 taken out" in answer
    assert "0 cleared" in answer
    assert sorted(page.run(f"{SHOWN}.marked")) == sorted([*NEW, SUSPECT[0], *REMOVED])
    page.do(f"{SHOWN}.marked = []; spreadmapReview.overlay.set({{}})")
    now = ink(page, "#d55e00")
    page.do("document.querySelector('[data-state-of=changed][value=before]').click()")
    page.wait("spreadmapReview.plants.isBefore()")
    # six confirmed now; then three of them and the one that was taken out since
    assert ink(page, "#d55e00") < now
    assert "State of 13 July 2026" in page.run("document.querySelector('.map-says').textContent")
    page.picture("before.png")
    read(page, "score")
    assert not page.run("spreadmapReview.plants.isBefore()")


def test_the_card_of_a_plant_says_what_it_was_before(page):
    page.do(f"spreadmapReview.plants.show({NEW[0]})")
    said = page.run("[...document.querySelectorAll('.leaflet-popup .card')].at(-1).textContent")
    assert "BeforeClean when last inspected (13 July 2026)" in said


# --- ground, grid, squares


def test_ground_says_whether_hosts_were_looked_at(browser, folder):
    result = made_result()
    system = result.systems[0]
    status = system.state.status.copy()
    status[24:] = "not_inspected"  # the yard: nobody looked
    path = folder / "ground.html"
    path.write_bytes(made_page(replace(result, systems=(replace(system, state=replace(system.state, status=status)),))))
    browser.complaints.clear()
    browser.open(path)
    fills = "[...document.querySelectorAll('.leaflet-ground-pane path')].map((one) => one.getAttribute('fill'))"
    assert sorted(set(browser.run(fills)) - {"none"}) == ["#fbfaf6", "url(#hatch)"]
    assert "Hatched: hosts, never inspected" in browser.run("document.querySelector('.legend').textContent")
    assert browser.complaints == []


def test_lines_of_degrees_are_switched_on_by_hand(page):
    assert page.run("document.querySelector('.graticule-canvas') === null")
    page.do("document.querySelector('input[data-layer=graticule]').click()")
    assert page.run("document.querySelector('.graticule-canvas') !== null")
    read(page, "removal")
    assert page.run("document.querySelector('.graticule-canvas') !== null")
    assert page.complaints == []


def test_far_out_squares_show_the_worst_status_in_them(browser, folder):
    path = folder / "many.html"
    path.write_bytes(made_page(many_plants(12_000)))
    browser.complaints.clear()
    browser.open(path)
    note = "document.querySelector('.map-note').hidden"
    browser.do(f"{LIVE}.setZoom(14, {{animate: false}})")
    assert not browser.run(note)
    assert ink(browser, "#d55e00") > 10
    assert ink(browser, "#0072b2") > 50
    browser.picture("worst.png")
    # nobody looked at every second plant of the crowd: no square there is blue any more, since unseen outweighs clean
    result = many_plants(12_000)
    system = result.systems[0]
    status = system.state.status.copy()
    status[30::2] = "not_inspected"
    mixed = folder / "mixed.html"
    mixed.write_bytes(
        made_page(replace(result, systems=(replace(system, state=replace(system.state, status=status)),)))
    )
    before = ink(browser, "#0072b2")
    browser.open(mixed)
    browser.do(f"{LIVE}.setZoom(14, {{animate: false}})")
    assert ink(browser, "#0072b2") < before / 10
    browser.open(path)
    browser.do(f"{LIVE}.setZoom(16, {{animate: false}})")
    assert browser.run(note)
    assert browser.complaints == []


# --- print


def test_every_section_has_a_still_map_of_its_own_in_print(page):
    page.run("window.dispatchEvent(new Event('beforeprint'))")
    with_maps = page.run(
        "[...document.querySelectorAll('section')].filter((s) => s.querySelector('figure.still canvas')).map((s) => s.id)"
    )
    assert {"findings", "removal", "inspection", "survey", "lines", "changed", "score", "sure"} <= set(with_maps)
    assert page.run("document.querySelector('.stage figure.still canvas') !== null")
    # opaque, so that a printer that knows no clear parts hides nothing
    inks = (
        "(id => { const c = document.querySelector(`#${id} figure.still canvas`);"
        "const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = new Set(); let clear = 0;"
        "for (let i = 0; i < d.length; i += 4)"
        "{ seen.add(d[i] << 16 | d[i+1] << 8 | d[i+2]); if (d[i+3] < 255) clear++; }"
        "return [clear, seen.size, seen.has(0xd55e00)]; })"
    )
    for key in ("removal", "lines", "inspection"):
        clear, colours, has_confirmed = page.run(f"{inks}('{key}')")
        assert clear == 0, key
        assert colours > 20, key
        assert has_confirmed, key
    # the walk and the numbers are on them
    drawn = "spreadmapReview.stills.draw('{}').toDataURL()".format
    for key, part in (("inspection", "view('inspection').route = []"), ("removal", "number('removal', [])")):
        before = page.run(drawn(key))
        page.do(f"spreadmapReview.views.{part}")
        assert page.run(drawn(key)) != before, key
    words = page.run("document.querySelector('#removal figure.still figcaption').textContent")
    assert "State of 14 September 2026" in words
    page.run("window.dispatchEvent(new Event('afterprint'))")
    assert page.run("document.querySelectorAll('figure.still').length") == 0
    assert page.complaints == []


def test_print_keeps_legend_dates_and_lists_and_leaves_switches_out(page):
    path = page.pdf("review.pdf")
    assert path.read_bytes().startswith(b"%PDF")
    assert page.run("document.querySelectorAll('figure.still').length") == 0
    page.call("Emulation.setEmulatedMedia", media="print")
    try:
        visible = "(e => e !== null && e.getClientRects().length > 0)(document.querySelector({!r}))".format
        for selector in (".legend", ".face", "caption", "table.removal", ".figure"):
            assert page.run(visible(selector)), selector
        for selector in (".home", ".folium-map", ".legend input", "[data-hours]", "[data-save]", ".filters"):
            assert not page.run(visible(selector)), selector
    finally:
        page.call("Emulation.setEmulatedMedia", media="")
