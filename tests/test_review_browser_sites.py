"""Very many sites in a real browser: drawn on one canvas, found by a click and by name, hatched, with their holes."""

import pytest
from made_page import made_rasters, made_shapes, many_sites
from made_results import made_result

from spreadmap.review.page import render_review
from spreadmap.values.web import WebShape, WebShapes

pytestmark = pytest.mark.browser

COUNT = 1_600
TITLES = "[...document.querySelectorAll('.leaflet-popup .card-title')].map((one) => one.textContent)"
PIXEL = (
    "((lat, lon) => {{ const m = spreadmapReview.map, c = document.querySelector('.sites-canvas'),"
    " p = m.latLngToContainerPoint([lat, lon]), copy = document.createElement('canvas'),"
    " a = m.getContainer().getBoundingClientRect(), b = c.getBoundingClientRect();"
    " copy.width = c.width; copy.height = c.height; const pen = copy.getContext('2d', {{willReadFrequently: true}});"
    " pen.drawImage(c, 0, 0); return [...pen.getImageData(p.x + a.x - b.x, p.y + a.y - b.y, 1, 1).data]; }})({lat}, {lon})"
)


def box(name, west, south, east, north, hole=(), *, turned=False):
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    rings = [ring[::-1] if turned else ring, *([list(hole)] if hole else [])]
    return WebShape(kind="site", name=name, geojson={"type": "Polygon", "coordinates": rings}, properties={})


@pytest.fixture(scope="module")
def spot():
    """Longitude and latitude of a corner beside the made survey."""
    inputs = made_result().inputs
    return inputs.longitude_deg + 0.02, inputs.latitude_deg + 0.02


@pytest.fixture(scope="module")
def page(browser, folder, spot):
    result, (lon, lat) = made_result(), spot
    hole = [(lon + 4e-4, lat + 4e-4), (lon + 6e-4, lat + 4e-4), (lon + 6e-4, lat + 6e-4), (lon + 4e-4, lat + 6e-4)]
    shapes = made_shapes(result)
    shapes["many"] = many_sites(COUNT, lon + 0.01, lat)
    shapes["few"] = WebShapes(
        shapes=(
            box("Holed", lon, lat, lon + 1e-3, lat + 1e-3, [[*one] for one in (*hole, hole[0])]),
            box("Over it", lon + 8e-4, lat, lon + 2e-3, lat + 1e-3, turned=True),
        )
    )
    path = folder / "sites.html"
    path.write_bytes(render_review(result, made_rasters(result), shapes))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.open(path)
    browser.do(f"spreadmapReview.map.fitBounds([[{lat}, {lon}], [{lat + 1e-3}, {lon + 2e-3}]], {{animate: false}})")
    browser.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return browser


def click_on(page, lat, lon):
    page.do("spreadmapReview.map.closePopup()")
    place = f"spreadmapReview.map.latLngToContainerPoint([{lat}, {lon}])"
    frame = "spreadmapReview.map.getContainer().getBoundingClientRect()"
    page.click(*page.run(f"[{place}.x + {frame}.x, {place}.y + {frame}.y]"))
    page.run("new Promise((done) => setTimeout(done, 300))")
    return page.run(TITLES)


def test_sites_are_filled_where_they_lie_and_not_in_their_holes(page, spot):
    lon, lat = spot
    seen = [251, 250, 246, 255]
    assert page.run(PIXEL.format(lat=lat + 2e-4, lon=lon + 2e-4)) == seen
    assert page.run(PIXEL.format(lat=lat + 5e-4, lon=lon + 5e-4)) == [0, 0, 0, 0]
    # where two lie over each other, turned one way and the other, both are filled
    assert page.run(PIXEL.format(lat=lat + 5e-4, lon=lon + 9e-4)) == seen
    assert page.complaints == []


def test_a_click_opens_the_site_on_top_and_none_in_a_hole(page, spot):
    lon, lat = spot
    assert click_on(page, lat + 2e-4, lon + 2e-4) == ["Site: Holed"]
    assert click_on(page, lat + 5e-4, lon + 9e-4) == ["Site: Over it"]
    assert click_on(page, lat + 5e-4, lon + 5e-4) == []


def test_sites_that_are_switched_off_are_neither_drawn_nor_found_by_a_click(page, spot):
    lon, lat = spot
    page.do("document.querySelector('input[data-layer=site]').click()")
    assert page.run("document.querySelector('.sites-canvas') === null")
    assert click_on(page, lat + 2e-4, lon + 2e-4) == []
    page.do("document.querySelector('input[data-layer=site]').click()")
    assert page.run("document.querySelector('.sites-canvas') !== null")


def test_each_of_them_is_found_by_its_name_and_the_page_prints(page):
    page.do("(e => { e.focus(); e.value = ''; })(document.querySelector('[data-find]'))")
    page.call("Input.insertText", text=f"S{COUNT - 1}")
    page.press("Enter", 13, "\r")
    page.wait(f"{TITLES}.at(-1) === 'Site: S{COUNT - 1}'")
    assert page.pdf("sites.pdf").read_bytes().startswith(b"%PDF")
    assert page.complaints == []
