"""What all inspections and the work log say together of a plant on a date."""

import numpy as np
import pytest
from small_records import AS_OF, inventory_at, surveys_of, system_of, work_of

from spreadmap.records.state import confirmed, due_for_removal, hosts_of, plant_state, sprouting, weak_remains

ONE = inventory_at((0, 0))


def state_of(*looks, work=(), as_of=AS_OF, inventory=ONE, system="rose_rosette"):
    rows = [("p0", *look) for look in looks]
    done = [("p0", *order) for order in work]
    return plant_state(inventory, surveys_of(*rows, system=system), work_of(*done), system_of(), as_of)


def word_of(*looks, **more):
    return state_of(*looks, **more)[0].status[0]


CLEAN, TESTED_CLEAN = ("clean", "visual"), ("clean", "lab")
SUSPECT, TYPICAL, POSITIVE = ("suspect", "visual"), ("infected", "typical_symptoms"), ("infected", "lab")
NOT_FOUND = ("not_found", "visual")


def test_a_plant_nobody_looked_at_is_not_clean():
    state, remarks = state_of()
    assert state.status[0] == "not_inspected"
    assert np.isnat(state.last_inspected_on[0])
    assert state.inspections[0] == 0
    assert state.is_standing[0]
    assert remarks == ()


@pytest.mark.parametrize(
    ("earlier", "later", "result"),
    [
        (CLEAN, SUSPECT, "suspect"),
        (CLEAN, POSITIVE, "infected"),
        (SUSPECT, TYPICAL, "infected"),
        (SUSPECT, CLEAN, "suspect"),
        (SUSPECT, TESTED_CLEAN, "clean"),
        (POSITIVE, CLEAN, "infected"),
        (POSITIVE, SUSPECT, "infected"),
        (POSITIVE, TESTED_CLEAN, "infected"),
        (TYPICAL, CLEAN, "infected"),
        (TYPICAL, TESTED_CLEAN, "clean"),
        (NOT_FOUND, CLEAN, "clean"),
        (CLEAN, NOT_FOUND, "not_found"),
        (POSITIVE, NOT_FOUND, "not_found"),
    ],
)
def test_the_later_inspection_counts_but_nothing_cures(earlier, later, result):
    assert word_of(("2026-05-01", *earlier), ("2026-07-01", *later)) == result
    # Rows may stand in any order in the table.
    assert word_of(("2026-07-01", *later), ("2026-05-01", *earlier)) == result


@pytest.mark.parametrize(
    ("one", "other", "worse"),
    [(CLEAN, SUSPECT, "suspect"), (TESTED_CLEAN, TYPICAL, "infected"), (NOT_FOUND, CLEAN, "clean")],
)
def test_on_one_day_the_worse_finding_counts(one, other, worse):
    day = "2026-06-01"
    assert word_of((day, *one), (day, *other)) == word_of((day, *other), (day, *one)) == worse


def test_a_confirmed_plant_that_looks_clean_later_is_said_to_stay_infected():
    _, remarks = state_of(("2026-05-01", *POSITIVE), ("2026-07-01", *CLEAN), ("2026-08-01", *CLEAN))
    assert remarks == ("Rose rosette, 1 case: confirmed plants looked clean later; they stay infected.",)


def test_the_date_of_a_confirmation_is_the_first_on_the_best_evidence():
    state, _ = state_of(
        ("2026-05-01", *SUSPECT), ("2026-06-01", *TYPICAL), ("2026-07-01", *POSITIVE), ("2026-08-01", *POSITIVE)
    )
    assert state.first_found_on[0] == np.datetime64("2026-06-01")
    assert state.status_on[0] == np.datetime64("2026-07-01")
    assert state.evidence[0] == "lab"
    assert state.last_inspected_on[0] == np.datetime64("2026-08-01")
    assert state.inspections[0] == 4


def test_what_comes_after_the_date_is_not_known_yet():
    assert word_of(("2026-05-01", *CLEAN), ("2026-09-22", *POSITIVE)) == "clean"
    assert word_of(("2026-05-01", *CLEAN), ("2026-09-21", *POSITIVE)) == "infected"
    assert word_of(("2026-05-01", *POSITIVE), work=[("2026-09-22", "yes", "NaT")]) == "infected"


def test_inspections_of_another_system_say_nothing_of_this_one():
    assert word_of(("2026-05-01", *POSITIVE), system="leaf_gall") == "not_inspected"
    assert word_of(("2026-05-01", *POSITIVE), system="") == "infected"


def test_finished_work_takes_a_plant_out():
    state, remarks = state_of(("2026-06-01", *POSITIVE), work=[("2026-06-01", "yes", "NaT")])
    assert (state.status[0], state.evidence[0], state.roots_complete[0]) == ("removed", "work_log", "yes")
    assert state.removed_on[0] == np.datetime64("2026-06-01")
    assert not state.is_standing[0]
    assert not (confirmed(state) | weak_remains(state) | due_for_removal(state)).any()
    assert remarks == ()


def test_an_infected_shoot_after_the_removal_is_regrowth_and_weak_until_it_is_taken_out():
    found, out, shoot = ("2026-05-01", *POSITIVE), ("2026-05-10", "yes", "NaT"), ("2026-07-01", *TYPICAL)
    state, remarks = state_of(found, shoot, work=[out])
    assert state.status[0] == "removed"
    assert state.removed_on[0] == np.datetime64("2026-05-10")
    assert sprouting(state)[0]
    assert weak_remains(state)[0]
    assert due_for_removal(state)[0]
    assert not confirmed(state)[0]
    assert "1 case: removed plants show regrowth" in remarks[0]
    again, _ = state_of(found, shoot, work=[out, ("2026-07-05", "yes", "NaT")])
    assert not (sprouting(again) | weak_remains(again) | due_for_removal(again)).any()
    assert again.removed_on[0] == np.datetime64("2026-07-05")


def test_regrowth_in_the_work_log_counts_from_its_own_date():
    work = [("2026-05-10", "yes", "2026-07-01")]
    before, _ = state_of(("2026-05-01", *POSITIVE), work=work, as_of=np.datetime64("2026-06-30"))
    after, _ = state_of(("2026-05-01", *POSITIVE), work=work, as_of=np.datetime64("2026-07-01"))
    assert not sprouting(before)[0]
    assert sprouting(after)[0]


@pytest.mark.parametrize(("roots", "weak"), [("yes", False), ("partly", True), ("no", True), ("", False)])
def test_roots_left_in_the_ground_are_a_weak_source(roots, weak):
    state, remarks = state_of(("2026-05-01", *POSITIVE), work=[("2026-05-10", roots, "NaT")])
    assert weak_remains(state)[0] == weak
    assert any("do not say whether the roots" in text for text in remarks) == (roots == "")
    assert any("1 case: removals of confirmed plants left roots" in text for text in remarks) == weak
    never, remarks = state_of(work=[("2026-05-10", roots, "NaT")])
    assert not weak_remains(never)[0]
    assert not any("left roots" in text for text in remarks)
    _, remarks = state_of(("2026-05-01", *POSITIVE), work=[("2026-05-10", roots, "2026-06-10")])
    assert not any("left roots" in text for text in remarks)


def test_roots_of_a_plant_that_was_never_confirmed_are_no_source():
    state, _ = state_of(("2026-05-01", *CLEAN), work=[("2026-05-10", "no", "NaT")])
    assert state.status[0] == "removed"
    assert not weak_remains(state)[0]


def test_a_clean_plant_seen_after_its_removal_is_a_contradiction():
    state, remarks = state_of(("2026-05-01", *POSITIVE), ("2026-07-01", *CLEAN), work=[("2026-05-10", "yes", "NaT")])
    assert state.status[0] == "removed"
    assert any("seen clean after their removal" in text for text in remarks)


def test_a_confirmed_plant_that_went_missing_is_asked_for_and_infected_when_found_again():
    missing = [("2026-05-01", *POSITIVE), ("2026-06-01", *NOT_FOUND)]
    state, remarks = state_of(*missing)
    assert not state.is_standing[0]
    assert any("not found later" in text for text in remarks)
    found, _ = state_of(*missing, ("2026-07-01", *CLEAN))
    assert found.status[0] == "infected"
    assert found.is_standing[0]


def test_an_order_without_a_date_is_passed_over_and_said_so():
    state, remarks = state_of(("2026-05-01", *POSITIVE), work=[("NaT", "yes", "NaT")])
    assert state.status[0] == "infected"
    assert any("have no date" in text for text in remarks)


def test_hosts_are_told_by_genus_in_any_case():
    plants = inventory_at((0, 0), (1, 0), (2, 0), (3, 0), host=["rosa 'Red'", "Rosaceae sp.", "", "ROSA multiflora"])
    assert hosts_of(plants, system_of()).tolist() == [True, False, False, True]


def test_a_confirmed_plant_on_an_unknown_host_is_not_dropped():
    state, remarks = state_of(("2026-05-01", *POSITIVE), inventory=inventory_at((0, 0), host="Rsoa hybrida"))
    assert due_for_removal(state)[0]
    assert any("no known host" in text for text in remarks)


def test_rows_of_plants_that_are_not_in_the_inventory_change_nothing():
    surveys = surveys_of(("other", "2026-05-01", *POSITIVE))
    state, _ = plant_state(ONE, surveys, work_of(("other", "2026-05-02", "yes", "NaT")), system_of(), AS_OF)
    assert state.status[0] == "not_inspected"


def test_no_plants_give_an_empty_state():
    state, remarks = plant_state(inventory_at(), surveys_of(), work_of(), system_of(), AS_OF)
    assert len(state) == 0
    assert remarks == ()
