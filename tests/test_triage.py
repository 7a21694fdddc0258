"""What findings justify, and which window of the season is open."""

import datetime as dt
from dataclasses import replace

import pytest
from small_records import inventory_at, state_with, system_of, window

from spreadmap.records.triage import day_of_year, look_again_sentence, season_sentence, triage
from spreadmap.values.pest_system import LookAgain
from spreadmap.values.words import Verdict, WindowKind

SPRING, AUTUMN, WINTER = (
    window("spring", (4, 1), (5, 31)),
    window("autumn", (9, 1), (10, 31)),
    window("winter", (12, 1), (2, 15)),
)
YEAR = (SPRING, AUTUMN, WINTER)
PLANTS = inventory_at(*[(i, 0) for i in range(6)])
STATE = state_with(PLANTS, infected=[0, 1], suspect=[2], sprouting=[3])


def test_counts_are_of_plants_that_stand():
    found = triage(STATE, system_of(), dt.date(2026, 9, 21))
    assert (found.infected, found.suspect, found.clean, found.not_inspected, found.hosts) == (2, 1, 2, 0, 5)
    assert found.is_found
    assert not triage(state_with(PLANTS), system_of(), dt.date(2026, 9, 21)).is_found


def test_the_verdict_comes_with_its_reason():
    says = triage(STATE, system_of(), dt.date(2026, 9, 21)).says
    assert "2 confirmed plants and 1 suspect plant on record" in says
    assert "with all their roots" in says
    assert "A made-up reason." in says


@pytest.mark.parametrize("verdict", [Verdict.NO_ACTION, Verdict.CUT_PARTS])
def test_where_nothing_is_removed_the_words_say_so(verdict):
    assert "Nothing is removed: " in triage(STATE, system_of(verdict), dt.date(2026, 9, 21)).says


def test_a_discard_verdict_asks_for_no_root_work():
    says = triage(STATE, system_of(Verdict.DISCARD_PLANT), dt.date(2026, 9, 21)).says
    assert "discarded" in says
    assert "no root work" in says


def test_the_open_window_the_missed_one_and_the_next_are_named():
    says = season_sentence(YEAR, dt.date(2026, 9, 21))
    assert says == (
        "Open now, until 31 October: autumn. Do autumn. Over since 31 May, too late this year: spring. "
        "Next, from 1 December 2026: winter."
    )


@pytest.mark.parametrize(("month", "day"), [(12, 1), (1, 1), (2, 15)])
def test_a_window_may_run_over_the_turn_of_the_year(month, day):
    assert season_sentence((WINTER,), dt.date(2026, month, day)).startswith("Open now, until 15 February: winter.")


def test_between_windows_the_next_one_is_named_with_its_advice():
    says = season_sentence(YEAR, dt.date(2026, 3, 1))
    assert says == "No window is open. Next, from 1 April 2026: spring. Do spring."
    late = season_sentence((SPRING,), dt.date(2026, 7, 1))
    assert late.startswith("No window is open. Over since 31 May, too late this year: spring.")
    assert late.endswith("Next, from 1 April 2027: spring. Do spring.")


@pytest.mark.parametrize("edge", [dt.date(2026, 4, 1), dt.date(2026, 5, 31)])
def test_first_and_last_day_belong_to_the_window(edge):
    assert "Open now" in season_sentence((SPRING,), edge)
    assert "Open now" not in season_sentence((SPRING,), edge + dt.timedelta(days=1 if edge.month == 5 else -1))


def test_no_windows_on_file_are_said_to_be_none():
    assert "No window of the season is on file" in season_sentence((), dt.date(2026, 4, 1))


def test_a_leap_day_falls_on_the_28th_in_other_years():
    assert day_of_year(2028, (2, 29)) == dt.date(2028, 2, 29)
    assert day_of_year(2026, (2, 29)) == dt.date(2026, 2, 28)


def test_a_window_that_is_too_late_is_told_and_never_waited_for():
    late = replace(window("summer", (6, 1), (8, 31)), kind=WindowKind.TOO_LATE)
    says = season_sentence((SPRING, late), dt.date(2026, 7, 1))
    assert "Too late now, until 31 August: summer. Do summer." in says
    assert "Next, from 1 April 2027: spring." in says
    assert "summer" not in season_sentence((SPRING, late), dt.date(2026, 5, 1))


def again(mites_left=(5, 31)):
    system = system_of(windows=YEAR)
    damage = LookAgain(seen_from=(6, 1), seen_to=(8, 31), mites_left=mites_left, window="autumn", status="assumed",
                       source="made for a test")  # fmt: skip
    return replace(system, look_again=damage)


def test_damage_whose_mites_have_left_names_the_day_to_look_again():
    says = "Damage seen now was made by mites that left by 31 May: look again from 1 September 2026."
    assert look_again_sentence(again(), dt.date(2026, 7, 15)) == says
    assert says in triage(STATE, again(), dt.date(2026, 7, 15)).season_says
    assert "mites that leave by 31 July" in look_again_sentence(again((7, 31)), dt.date(2026, 7, 15))


@pytest.mark.parametrize("day", [dt.date(2026, 5, 31), dt.date(2026, 9, 1)])
def test_outside_the_time_of_damage_nothing_is_said(day):
    assert look_again_sentence(again(), day) == ""
    assert look_again_sentence(system_of(windows=YEAR), dt.date(2026, 7, 15)) == ""
