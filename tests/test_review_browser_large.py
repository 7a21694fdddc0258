"""A city's page in a real browser: 100,000 plants, 5,000 of them to take out, 5,000 sites, a surface of 4,000 pixels."""

import csv
import io

import pytest
from made_page import large_page
from test_review_browser import ink
from test_review_browser_lists import choose, slide
from test_review_browser_pages import LIST, SHOWN, press

PLANTS, LISTED, SITES, SIDE = 100_000, 5_000, 5_000, 4_000
MOST_BYTES = 20_000_000

pytestmark = [pytest.mark.browser, pytest.mark.long]


@pytest.fixture(scope="module")
def content():
    return large_page(PLANTS, LISTED, SITES, SIDE)


@pytest.fixture(scope="module")
def page(browser, folder, content):
    path = folder / "large.html"
    path.write_bytes(content)
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    browser.run(f"{LIST}.ready")
    return browser


def test_it_stays_under_twenty_megabytes(content):
    print(f"{len(content) / 1e6:.1f} MB")
    assert len(content) < MOST_BYTES


def test_it_draws_answers_every_question_and_asks_for_nothing(page):
    assert page.complaints == []
    assert all(request.startswith(("data:", "blob:")) for request in page.requests[1:])
    assert ink(page, "#d55e00") > 50
    assert page.run("document.querySelectorAll('section .answer').length") >= 10
    assert page.run("document.querySelector('img.surface').naturalWidth") == SIDE
    assert page.run("document.querySelector('[data-filter=site]').options.length") >= 2


def test_the_map_follows_and_the_slider_reaches_the_end_of_the_list(page):
    for key in ("removal", "lines", "inspection", "survey"):
        page.do(f"spreadmapReview.views.apply('{key}')")
        assert page.run("spreadmapReview.views.current()") == key
    slide(page, 3_000)  # three quarters of an hour each: 4,000 plants
    assert page.run(SHOWN)[-4:] == [3_998, 3_999, 4_000, 4_001]
    assert "4,000 of 5,000 plants" in page.run("document.querySelector('[data-figure]').textContent")


def test_the_last_of_all_rows_can_be_answered(page):
    press(page, f"Show all {LISTED:,} rows")
    page.do(f"{LIST}.reveal({30 + LISTED - 1})")
    choose(page, f'[data-decide="{30 + LISTED - 1}"] select', "refuse")
    choose(page, f'[data-decide="{30 + LISTED - 1}"] [data-reason]', "kept")
    rows = list(csv.reader(io.StringIO(page.run("spreadmapReview.decisions.table()"))))
    assert rows[-1][0] == f"P{30 + LISTED - 1}"
    assert rows[-1][-1] == "kept"


def test_every_plant_and_site_is_found_and_the_page_prints(page):
    page.do("(e => { e.focus(); e.value = ''; })(document.querySelector('[data-find]'))")
    page.call("Input.insertText", text=f"P{PLANTS - 1}")
    page.press("Enter", 13, "\r")
    page.wait(f"[...document.querySelectorAll('.leaflet-popup .card-title')].at(-1)?.textContent === 'P{PLANTS - 1}'")
    page.do("document.querySelector('[data-week]').click()")
    assert page.pdf("large.pdf").read_bytes().startswith(b"%PDF")
    page.size(390, 800)
    assert page.run("document.documentElement.scrollWidth") <= 390
    assert page.complaints == []
