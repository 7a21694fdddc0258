"""Every row of a long removal list in a real browser: pages of rows, filters over all of them, decisions on any."""

import csv
import io

import numpy as np
import pytest
from made_page import ATTACKS, made_page, many_plants, with_long_list
from test_review_browser_lists import choose, slide

pytestmark = pytest.mark.browser

LISTED, WITHIN, PAGE, FIRST = 730, 40, 100, 12
SHOWN = "[...document.querySelectorAll('table.removal tr[data-at]')].map((row) => Number(row.dataset.at))"
BUTTONS = "[...document.querySelectorAll('.pages button')].filter((one) => !one.hidden).map((one) => one.textContent)"
WHERE = "document.querySelector('.pages [role=status]').textContent"
LIST = "spreadmapReview.lists[0]"


@pytest.fixture(scope="module")
def path(folder):
    made = folder / "pages.html"
    made.write_bytes(made_page(with_long_list(many_plants(1200), LISTED, WITHIN)))
    return made


@pytest.fixture
def page(browser, path):
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    browser.run(f"{LIST}.ready")
    return browser


def press(browser, label):
    browser.do(f"[...document.querySelectorAll('.pages button')].find((one) => one.textContent === {label!r}).click()")


def test_the_page_opens_with_the_first_rows_and_those_round_the_line(page):
    assert page.run(SHOWN) == [*range(FIRST), WITHIN - 2, WITHIN - 1, WITHIN, WITHIN + 1]
    line = page.run("document.querySelector('tr.cut-off').nextElementSibling.dataset.at")
    assert line == str(WITHIN)
    assert page.run(BUTTONS) == [f"Show all {LISTED} rows"]


def test_every_row_is_reached_page_by_page_and_has_its_own_controls(page):
    press(page, f"Show all {LISTED} rows")
    seen, decided = [], []
    for number in range(-(-LISTED // PAGE)):
        last = min(LISTED, (number + 1) * PAGE)
        assert page.run(WHERE) == f"Rows {number * PAGE + 1} to {last} of {LISTED}"
        seen += page.run(SHOWN)
        decided += page.run("[...document.querySelectorAll('[data-decide]')].map((one) => Number(one.dataset.decide))")
        press(page, "Next rows")
    assert seen == list(range(LISTED))
    assert decided == [30 + place for place in range(LISTED)]
    assert page.run("[...document.querySelectorAll('.pages button')].at(-1).disabled")
    assert page.complaints == []


def test_a_row_that_was_made_later_is_as_those_of_the_page(page):
    press(page, f"Show all {LISTED} rows")
    for _ in range(6):
        press(page, "Next rows")
    cells = "[...document.querySelector('tr[data-at=\"650\"]').cells].map((cell) => cell.textContent)"
    order, plant, minutes, planned, why = page.run(cells)
    assert order.startswith("651")
    assert plant.startswith("P680")
    assert "US$" in minutes
    assert "replant from 2028-12-01" in planned
    assert why.startswith("Reason of place 651.")
    page.do("document.querySelector('tr[data-at=\"650\"] button.go').click()")
    page.wait("document.querySelector('.leaflet-popup .card-title')?.textContent === 'P680'")
    label = page.run("document.querySelector('tr[data-at=\"650\"] select').getAttribute('aria-label')")
    assert label == "Decision on P680"


def test_decisions_on_any_page_are_kept_saved_and_survive_a_reload(page):
    press(page, f"Show all {LISTED} rows")
    choose(page, '[data-decide="31"] select', "accept")
    for _ in range(7):
        press(page, "Next rows")
    choose(page, '[data-decide="740"] select', "refuse")
    choose(page, '[data-decide="740"] [data-reason]', "listed tree")
    press(page, "Previous rows")
    rows = list(csv.reader(io.StringIO(page.run("spreadmapReview.decisions.table()"))))[1:]
    assert [(row[0], row[2], row[4]) for row in rows] == [("P31", "accept", ""), ("P740", "refuse", "listed tree")]
    page.call("Page.reload")
    page.wait("document.readyState === 'complete' && !!window.spreadmapReview")
    page.run(f"{LIST}.ready")
    assert page.run("spreadmapReview.decisions.table()").count("\n") == 3
    page.do(f"{LIST}.reveal(740)")
    assert page.run("document.querySelector('[data-decide=\"740\"] select').value") == "refuse"
    assert page.run("document.querySelector('[data-decide=\"740\"] [data-reason]').value") == "listed tree"
    assert page.run("document.querySelector('[data-decide=\"740\"]').closest('tr').classList.contains('refused')")


def test_what_lacks_a_reason_on_another_page_is_brought_back(page):
    press(page, f"Show all {LISTED} rows")
    for _ in range(5):
        press(page, "Next rows")
    choose(page, '[data-decide="600"] select', "refuse")
    for _ in range(5):
        press(page, "Previous rows")
    page.do("document.querySelector('[data-save]').click()")
    page.wait("document.activeElement.getAttribute('aria-invalid') === 'true'")
    assert page.run("document.activeElement.getAttribute('aria-label')") == "Reason for P600"
    assert 570 in page.run(SHOWN)


def test_a_filter_looks_through_all_rows_and_the_slider_moves_the_line_through_all(page):
    sites = page.run("[...document.querySelectorAll('[data-filter=site] option')].map((one) => one.textContent)")
    choose(page, "[data-filter=site]", str(len(sites) - 2))
    shown = page.run(SHOWN)
    assert shown
    assert all(np.diff(shown) > 0)
    page.do("document.querySelector('[data-clear]').click()")
    slide(page, 300)  # three quarters of an hour each: 400 plants
    assert page.run(SHOWN) == [*range(FIRST), 398, 399, 400, 401]
    assert page.run("document.querySelector('tr.cut-off').nextElementSibling.dataset.at") == "400"
    press(page, f"Show all {LISTED} rows")
    for _ in range(3):
        press(page, "Next rows")
    assert page.run("document.querySelector('tr.cut-off').previousElementSibling.dataset.at") == "399"
    press(page, "Next rows")
    assert page.run("document.querySelector('tr.cut-off').nextElementSibling.dataset.at") == "400"


def test_pages_are_turned_from_the_keyboard(page):
    press(page, f"Show all {LISTED} rows")
    page.do("[...document.querySelectorAll('.pages button')].at(-1).focus()")
    page.press("Enter", 13, "\r")
    page.wait(f"{WHERE}.startsWith('Rows 101 ')")
    assert page.run("document.activeElement.className") == "go"
    assert page.run("document.activeElement.textContent") == "P130"


def test_print_holds_every_row_within_the_hours_and_no_other(page):
    slide(page, 150)
    page.run("window.dispatchEvent(new Event('beforeprint'))")
    assert page.run(SHOWN) == list(range(200))
    page.run("window.dispatchEvent(new Event('afterprint'))")
    assert len(page.run(SHOWN)) == FIRST + 4


def test_hostile_keys_and_reasons_of_later_rows_stay_text(browser, folder):
    from dataclasses import replace

    result = with_long_list(many_plants(400), 150)
    system, inventory = result.systems[0], result.inputs.inventory
    attack = np.array([ATTACKS[place % len(ATTACKS)] for place in range(150)], dtype=object)
    keys = inventory.plant_id.copy()
    keys[30:180] = [f"{text} {place}" for place, text in enumerate(attack)]
    beds = np.array([ATTACKS[place % len(ATTACKS)] for place in range(400)], dtype=object)
    plan = replace(system.plan, removal=replace(system.plan.removal, reason=attack))
    made = replace(
        result,
        systems=(replace(system, plan=plan),),
        inputs=replace(result.inputs, inventory=replace(inventory, plant_id=keys, bed_id=beds)),
    )
    path = folder / "hostile_pages.html"
    path.write_bytes(made_page(made))
    browser.complaints.clear()
    browser.open(path)
    browser.run(f"{LIST}.ready")
    press(browser, "Show all 150 rows")
    press(browser, "Next rows")
    said = browser.run("document.querySelector('table.removal').textContent")
    assert all(" ".join(text.split())[:12] in " ".join(said.split()) for text in ATTACKS if text.isprintable())
    assert (
        browser.run("document.querySelectorAll('table.removal img, table.removal script, table.removal b').length") == 0
    )
    assert browser.run("window.ran === undefined")
    assert browser.complaints == []
