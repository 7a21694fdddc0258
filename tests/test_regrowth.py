"""Checks after a removal, sprouts that begin them anew, orders opened again, and when a place is planted again."""

import datetime as dt

import numpy as np
import pytest
from small_records import inventory_at, surveys_of, system_of

from spreadmap.decisions.dates import replant_from
from spreadmap.decisions.regrowth import checks_after, hole_checks
from spreadmap.records.sources import chance_infectious
from spreadmap.records.state import due_for_removal, plant_state, weak_remains
from spreadmap.values.settings import RemovalSettings, Settings, SourceSettings
from spreadmap.values.surveys import WorkLog

PLANTS = inventory_at((0, 0), (30, 0), (400, 0))
AS_OF = dt.date(2026, 9, 21)
NEVER = "NaT"
GROWING = ((3, 15), (11, 30))


def log_of(*rows):
    """Return a work log from (plant, done_on, done, roots, regrowth_on, reopened_on) rows."""
    plant, day, done, roots, sprout, again = zip(*rows, strict=True)
    return WorkLog(plant_id=plant, done_on=day, done=done, roots_complete=roots, regrowth_on=sprout,
                   note=[""] * len(rows), reopened_on=again)  # fmt: skip


def told(work, *looks, as_of=AS_OF):
    found = [("p0", "2026-05-01", "infected", "lab"), *looks]
    return plant_state(PLANTS, surveys_of(*found), work, system_of(), np.datetime64(as_of))


OUT = ("p0", "2026-06-01", True, "yes", NEVER, NEVER)


def test_work_that_is_done_ends_the_order():
    state, _ = told(log_of(OUT))
    assert state.status[0] == "removed"
    assert not due_for_removal(state).any()
    assert not weak_remains(state).any()
    assert np.isnat(state.reopened_on).all()


@pytest.mark.parametrize(("roots", "sends"), [("yes", 0.0), ("", 0.0), ("partly", 0.3), ("no", 0.3)])
def test_roots_that_stay_go_on_sending_weakly_and_the_order_stays_closed(roots, sends):
    state, _ = told(log_of(("p0", "2026-06-01", True, roots, NEVER, NEVER)))
    assert chance_infectious(state, SourceSettings())[0] == sends
    assert not due_for_removal(state)[0]


def test_work_that_was_not_done_leaves_the_plant_standing():
    state, _ = told(log_of(("p0", "2026-06-01", False, "", NEVER, NEVER)))
    assert state.status[0] == "infected"
    assert due_for_removal(state)[0]


def test_an_order_opened_again_is_due_until_it_is_done():
    again = log_of(("p0", "2026-06-01", True, "yes", NEVER, "2026-07-10"))
    state, says = told(again)
    assert due_for_removal(state)[0]
    assert weak_remains(state)[0]
    assert state.reopened_on[0] == np.datetime64("2026-07-10")
    assert any("opened again and are not done yet" in text for text in says)
    before, _ = told(again, as_of=dt.date(2026, 7, 9))
    assert not due_for_removal(before).any()
    done, _ = told(
        log_of(("p0", "2026-06-01", True, "yes", NEVER, "2026-07-10"), ("p0", "2026-07-20", True, "yes", NEVER, NEVER))
    )
    assert not due_for_removal(done).any()
    assert np.isnat(done.reopened_on[0])
    _, says = told(log_of(("p0", "2026-06-01", True, "partly", NEVER, "2026-07-10")))
    assert not any("left roots" in text for text in says)
    standing, _ = told(log_of(("p1", NEVER, False, "", NEVER, "2026-07-10")))
    assert not due_for_removal(standing)[1]


def test_a_sprout_begins_the_checks_anew_and_so_does_digging_it_out():
    quiet = hole_checks(PLANTS, told(log_of(OUT))[0], Settings(), AS_OF)
    assert quiet.checks_from[0] == np.datetime64("2026-06-01")
    sprouted, _ = told(log_of(OUT, ("p0", NEVER, False, "", "2026-08-10", NEVER)))
    holes = hole_checks(PLANTS, sprouted, Settings(), AS_OF)
    assert holes.checks_from[0] == np.datetime64("2026-08-10")
    assert holes.has_regrowth[0]
    assert due_for_removal(sprouted)[0]
    dug, _ = told(
        log_of(OUT, ("p0", NEVER, False, "", "2026-08-10", NEVER), ("p0", "2026-08-20", True, "yes", NEVER, NEVER))
    )
    after = hole_checks(PLANTS, dug, Settings(), AS_OF)
    assert after.checks_from[0] == np.datetime64("2026-08-20")
    assert not after.has_regrowth[0]
    assert not due_for_removal(dug).any()
    seen, _ = told(log_of(OUT), ("p0", "2026-09-01", "infected", "typical_symptoms"))
    assert hole_checks(PLANTS, seen, Settings(), AS_OF).checks_from[0] == np.datetime64("2026-09-01")


def test_a_look_at_the_hole_makes_the_check_and_the_next_one_is_due():
    # Removed 1 June: checks on 15 and 29 June, 27 July, 24 August, and 15 March.
    nobody = hole_checks(PLANTS, told(log_of(OUT))[0], Settings(), AS_OF)
    assert (nobody.next_check_on[0], nobody.is_overdue[0]) == (np.datetime64("2026-06-15"), True)
    looked, _ = told(log_of(OUT), ("p0", "2026-08-25", "not_found", "visual"))
    done = hole_checks(PLANTS, looked, Settings(), AS_OF)
    assert (done.next_check_on[0], done.is_overdue[0]) == (np.datetime64("2027-03-15"), False)
    assert len(done) == 1


def test_plants_taken_out_without_a_finding_have_no_checks():
    state, _ = told(log_of(("p2", "2026-06-01", True, "yes", NEVER, NEVER)))
    assert len(hole_checks(PLANTS, state, Settings(), AS_OF)) == 0


def gate(out, check, case, **keys):
    day = np.array([[out], [check], [case]], dtype="datetime64[D]")
    return str(replant_from(*day, RemovalSettings(**keys), GROWING)[0])


@pytest.mark.parametrize(
    ("out", "check", "case", "keys", "expected"),
    [
        ("2026-09-24", "2027-03-15", NEVER, {}, "2028-12-01"),  # the seasons of 2027 and 2028
        ("2026-02-01", "2026-03-15", NEVER, {}, "2027-12-01"),  # the season of 2026 had not begun
        ("2026-09-24", "2027-03-15", NEVER, {"replant_seasons": 0}, "2027-03-15"),
        ("2026-09-24", "2027-03-15", "2026-09-24", {"replant_seasons": 0}, "2027-09-24"),
        ("2026-09-24", "2027-03-15", "2028-02-29", {"replant_seasons": 1}, "2029-02-28"),  # the later gate counts
        ("2026-09-24", "2027-03-15", "2026-08-31", {"replant_seasons": 0, "replant_clean_months": 6}, "2027-03-15"),
        (NEVER, NEVER, NEVER, {}, "NaT"),
    ],
)
def test_a_place_is_planted_again_after_the_later_of_two_gates(out, check, case, keys, expected):
    """Days counted by hand."""
    assert gate(out, check, case, **keys) == expected


def test_a_growing_season_over_the_turn_of_the_year_ends_in_the_next_one():
    day = np.array(["2026-06-01"], dtype="datetime64[D]")
    assert (
        str(replant_from(day, day, day, RemovalSettings(replant_clean_months=0), ((9, 1), (4, 30)))[0]) == "2028-05-01"
    )


def test_a_case_near_by_keeps_the_gate_shut_and_one_far_away_does_not():
    settings = Settings(removal=RemovalSettings(replant_seasons=0))
    near, _ = told(log_of(OUT), ("p1", "2026-09-01", "infected", "lab"))
    holes = hole_checks(PLANTS, near, settings, AS_OF)
    assert holes.is_case_near[0]
    assert holes.replant_from[0] == np.datetime64("2027-09-21")  # twelve months from the date of the state
    far, _ = told(log_of(OUT), ("p2", "2026-09-01", "infected", "lab"))
    holes = hole_checks(PLANTS, far, settings, AS_OF)
    assert not holes.is_case_near[0]
    assert holes.replant_from[0] == np.datetime64("2027-05-01")  # twelve months from its own finding


def test_checks_are_those_of_the_settings_and_missing_days_have_none():
    days = np.array(["2026-09-24", "NaT"], dtype="datetime64[D]")
    found = checks_after(days, RemovalSettings(regrowth_check_days=(14,)))
    assert found.astype(str).tolist() == [["2026-10-08", "2027-03-15"], ["NaT", "NaT"]]
