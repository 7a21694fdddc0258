"""The lists of the review page in a real browser: cut-off by hours, filters, decisions that a run reads back."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from made_page import hostile_result, made_page
from made_results import AS_OF, CONFIRMED, made_result

from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_decisions import read_decisions
from spreadmap.review.words import FORBIDDEN_WORDS
from spreadmap.values.plan import RemovalCurve
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Decisions
from spreadmap.values.words import Mode

pytestmark = pytest.mark.browser

ROWS = "[...document.querySelectorAll('table.removal tr[data-at]')]"
BEYOND = f"{ROWS}.filter((row) => row.classList.contains('beyond')).map((row) => Number(row.dataset.at))"
FIGURE = "document.querySelector('[data-figure]').textContent"
NUMBERS = "spreadmapReview.overlay.shown.numbers.map((one) => [one.row, one.text, one.strong])"
FILE = f"decisions_{AS_OF.isoformat()}.csv"


def with_curve(result, *, mode=Mode.RELATIVE):
    """The made survey with a curve worked by hand: a tenth more for every plant, half and twice as range."""
    system = result.systems[0]
    share = np.array([0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
    removal = system.plan.removal
    curve = RemovalCurve(
        hours=removal.cumulative_hours,
        plants=np.arange(1, 7),
        share=share,
        low=share / 2,
        high=np.minimum(1.0, share * 1.2),
        infections=share * 20 if mode is Mode.CALIBRATED else np.full(6, np.nan),
        infections_low=share * 10 if mode is Mode.CALIBRATED else np.full(6, np.nan),
        infections_high=share * 30 if mode is Mode.CALIBRATED else np.full(6, np.nan),
    )
    plan = replace(system.plan, removal=replace(removal, curve=curve))
    return replace(result, systems=(replace(system, plan=plan, face=replace(system.face, mode=mode)),))


def opened(browser, folder, name, result):
    path = folder / name
    if not path.exists():
        path.write_bytes(made_page(result))
    browser.complaints.clear()
    browser.requests.clear()
    # a new entry of the history each time: what an earlier test typed stays with its own
    browser.call("Page.navigate", url="about:blank")
    browser.open(path)
    # views are asked for by hand here; following has tests of its own
    browser.do("document.querySelector('[data-follow]').click()")
    return browser


@pytest.fixture
def plain(browser, folder):
    return opened(browser, folder, "lists.html", with_curve(made_result()))


def slide(browser, hours):
    browser.do(
        f"(e => {{ e.value = {hours}; e.dispatchEvent(new Event('input', {{bubbles: true}})); }})"
        "(document.querySelector('[data-hours]'))"
    )


def choose(browser, selector, value):
    browser.do(
        f"(e => {{ e.value = {value!r}; e.dispatchEvent(new Event('change', {{bubbles: true}})); }})"
        f"(document.querySelector({selector!r}))"
    )


def saved(browser, folder):
    """Press the button and return what was downloaded."""
    path = folder / FILE
    path.unlink(missing_ok=True)
    browser.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))
    browser.do("document.querySelector('[data-save]').click()")
    for _ in range(200):
        if path.exists() and path.read_text(encoding="utf-8").endswith("\n"):
            return path
        browser.run("new Promise((done) => setTimeout(done, 25))")
    raise TimeoutError(FILE)


def read_back(path, inventory):
    book = FaultBook()
    block = FileBlock(file=path.name)
    return read_decisions([block], [path], inventory, Settings(), book), book


# --- the cut-off


def test_the_slider_moves_the_line_the_figure_and_the_numbers(plain):
    # cumulative hours of the made list, worked by hand: 80, 110, 140, 185, 235, 265 minutes of two people
    assert plain.run(BEYOND) == [4, 5]
    slide(plain, 1)
    assert plain.run(BEYOND) == [2, 3, 4, 5]
    assert "1 h of crew time: 2 of 6 plants, avoiding 30 % (15 % to 36 %) of the arrivals" in plain.run(FIGURE)
    line = plain.run("document.querySelector('tr.cut-off').nextElementSibling.dataset.at")
    assert line == "2"
    assert "2 plants above, 4 plants below" in plain.run("document.querySelector('tr.cut-off').textContent")
    plain.do("spreadmapReview.views.apply('removal')")
    numbers = plain.run(NUMBERS)
    assert numbers == [[row, str(place + 1), place < 2] for place, row in enumerate(CONFIRMED)]
    slide(plain, 0)
    assert plain.run(BEYOND) == [0, 1, 2, 3, 4, 5]
    assert "avoiding nothing" in plain.run(FIGURE)
    slide(plain, 2)
    assert plain.run(BEYOND) == [5]
    plain.do("document.querySelector('[data-week]').click()")
    assert plain.run(BEYOND) == [4, 5]
    assert plain.complaints == []


def test_the_slider_is_moved_by_keys_and_says_where_it_stands(plain):
    plain.do("document.querySelector('[data-hours]').focus()")
    before = float(plain.run("document.querySelector('[data-hours]').value"))
    plain.press("ArrowLeft", 37)
    assert float(plain.run("document.querySelector('[data-hours]').value")) == before - 0.5
    assert plain.run("document.activeElement.getAttribute('aria-valuetext')").endswith("6 plants")


def test_calibrated_mode_says_infections_with_their_range(browser, folder):
    page = opened(browser, folder, "calibrated.html", with_curve(made_result(), mode=Mode.CALIBRATED))
    slide(page, 1)
    # 30 % of 20 infections are avoided; 30 % of 10 to 30 are the range
    assert "avoiding about 6 infections" in page.run(FIGURE)
    assert "(3 to 9 over draws of the fit)" in page.run(FIGURE)


def test_relative_mode_states_no_chance_in_any_state_of_the_page(plain):
    said = [plain.run("document.body.innerText")]
    for hours in (0, 1, 2):
        slide(plain, hours)
        said.append(plain.run("document.body.innerText"))
    for key in plain.run("spreadmapReview.views.sections.map((one) => one.dataset.view)"):
        plain.do(f"spreadmapReview.views.apply('{key}')")
        said.append(plain.run("document.querySelector('.map-says').textContent"))
    for row in (2, CONFIRMED[0], 8):
        plain.do(f"spreadmapReview.plants.show({row})")
        said.append(plain.run("[...document.querySelectorAll('.leaflet-popup .card')].at(-1).textContent"))
    for word in FORBIDDEN_WORDS:
        assert not any(word in text.lower() for text in said), word


# --- filters


def test_filters_leave_rows_and_numbers_of_their_kind_only(plain):
    rows = f"{ROWS}.filter((row) => row.offsetParent !== null).map((row) => Number(row.dataset.at))"
    words = plain.run("[...document.querySelectorAll('[data-filter=site] option')].map((one) => one.textContent)")
    assert words == ["all 2", "Market square", "Yard of a private owner"]
    plain.do("spreadmapReview.views.apply('removal')")
    choose(plain, "[data-filter=site]", "1")
    assert plain.run(rows) == [5]
    assert plain.run(NUMBERS) == [[CONFIRMED[5], "6", False]]
    assert plain.run("document.querySelector('[data-shown]').textContent") == "Shown: 1 of 6 plants"
    choose(plain, "[data-filter=date]", "0")
    assert plain.run(rows) == [5]
    choose(plain, "[data-filter=site]", "")
    assert plain.run(rows) == [0, 1, 2, 4, 5]
    # the one plant without a date comes last
    choose(plain, "[data-filter=date]", "1")
    assert plain.run(rows) == [3]
    plain.do("document.querySelector('[data-clear]').click()")
    assert plain.run(rows) == [0, 1, 2, 3, 4, 5]
    for name in ("owner", "evidence"):
        assert plain.run(f"document.querySelector('[data-filter={name}]').options.length") >= 2
    assert plain.complaints == []


# --- decisions


def test_decisions_are_saved_as_a_table_that_the_reader_takes(plain, folder):
    keys = [made_result().inputs.inventory.plant_id[row] for row in CONFIRMED]
    decide = '[data-decide="{}"] {}'.format
    choose(plain, decide(CONFIRMED[0], "select"), "accept")
    choose(plain, decide(CONFIRMED[1], "select"), "refuse")
    assert plain.run(f"document.querySelector('{decide(CONFIRMED[1], '[data-reason]')}').offsetParent !== null")
    choose(plain, decide(CONFIRMED[1], "[data-reason]"), '=1+1; the owner\'s "heritage" rose, listed')
    choose(plain, decide(CONFIRMED[2], "select"), "put_off")
    choose(plain, decide(CONFIRMED[2], "[data-reason]"), "-after the fair")
    choose(plain, decide(CONFIRMED[2], "[data-until]"), "2026-10-01")
    path = saved(plain, folder)
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert rows[0] == ["plant_id", "decided_on", "decision", "until", "reason"]
    # no cell begins as a formula does
    assert not any(cell[:1] in "=+-@\t\r" for row in rows for cell in row if cell)
    made, book = read_back(path, made_result().inputs.inventory)
    assert [fault for fault in book.faults if fault.weight != "assumed"] == []
    assert made.plant_id.tolist() == keys[:3]
    assert made.decision.tolist() == ["accept", "refuse", "put_off"]
    assert set(made.decided_on.tolist()) == {AS_OF}
    assert made.reason.tolist() == ["", '=1+1; the owner\'s "heritage" rose, listed', "-after the fair"]
    assert str(made.until[2]) == "2026-10-01"
    assert "Saved as" in plain.run("document.querySelector('[data-saved]').textContent")
    assert plain.complaints == []
    assert all(request.startswith(("file:", "data:", "blob:", "about:")) for request in plain.requests)


def test_a_refusal_without_a_reason_is_not_saved(plain):
    choose(plain, f'[data-decide="{CONFIRMED[3]}"] select', "refuse")
    plain.do("document.querySelector('[data-save]').click()")
    assert plain.run("document.querySelector('[data-saved]').textContent").startswith("Not saved: say why ")
    assert plain.run("document.activeElement.getAttribute('aria-label')").startswith("Reason for ")
    assert plain.run("document.activeElement.getAttribute('aria-invalid')") == "true"


def test_what_was_decided_survives_a_reload(plain):
    choose(plain, f'[data-decide="{CONFIRMED[4]}"] select', "accept")
    plain.call("Page.reload")
    plain.wait("document.readyState === 'complete' && !!window.spreadmapReview")
    assert plain.run(f"document.querySelector('[data-decide=\"{CONFIRMED[4]}\"] select').value") == "accept"
    assert ",accept,," in plain.run("spreadmapReview.decisions.table()")


def test_earlier_decisions_stand_in_the_list_and_in_the_table_again(browser, folder):
    result = with_curve(made_result())
    keys = [result.inputs.inventory.plant_id[row] for row in CONFIRMED]
    system = result.systems[0]
    removal = replace(
        system.plan.removal,
        decision=np.array(["refuse", *[""] * 5], dtype=object),
        decision_reason=np.array(["listed garden (as it is told in the list)", *[""] * 5], dtype=object),
    )
    kept = Decisions(
        plant_id=np.array([keys[0], keys[0], "gone"], dtype=object),
        decided_on=np.array(["2026-08-01", "2026-09-01", "2026-08-02"], dtype="datetime64[D]"),
        decision=np.array(["accept", "refuse", "accept"], dtype=object),
        until=np.full(3, "NaT", dtype="datetime64[D]"),
        reason=np.array(["", "listed garden", ""], dtype=object),
    )
    result = replace(
        result,
        inputs=replace(result.inputs, decisions=kept),
        systems=(replace(system, plan=replace(system.plan, removal=removal)),),
    )
    page = opened(browser, folder, "kept.html", result)
    box = f'[data-decide="{CONFIRMED[0]}"]'
    assert page.run(f"document.querySelector('{box} select').value") == "refuse"
    assert page.run(f"document.querySelector('{box} [data-reason]').value") == "listed garden"
    lines = page.run("spreadmapReview.decisions.table()").splitlines()
    assert f"{keys[0]},2026-09-01,refuse,,listed garden" in lines
    choose(page, f"{box} select", "accept")
    lines = page.run("spreadmapReview.decisions.table()").splitlines()
    assert f"{keys[0]},{AS_OF.isoformat()},accept,,listed garden" in lines
    assert len([line for line in lines if line.startswith(f"{keys[0]},")]) == 1
    assert "gone,2026-08-02,accept,," in lines


def test_hostile_keys_and_reasons_stay_text_in_filters_and_in_the_table(browser, folder):
    page = opened(browser, folder, "hostile_lists.html", hostile_result())
    inventory = hostile_result().inputs.inventory
    for row in CONFIRMED:
        choose(page, f'[data-decide="{row}"] select', "refuse")
        choose(page, f'[data-decide="{row}"] [data-reason]', "<img src=x onerror=window.ran=1>")
    rows = list(csv.reader(io.StringIO(page.run("spreadmapReview.decisions.table()"))))[1:]
    assert {row[0].removeprefix("'") for row in rows} == {
        inventory.plant_id[row].removeprefix("'") for row in CONFIRMED
    }
    assert page.run("window.ran === undefined")
    assert page.complaints == []
