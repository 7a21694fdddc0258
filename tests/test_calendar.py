"""Windows of the season on a date: degree-days first, then dates, never a guess in silence."""

import datetime as dt
from dataclasses import fields, replace

import numpy as np
import pytest
from generator import make_project
from made_results import PLANTS, made_state, made_system, made_triage
from small_seasons import (
    again_of,
    calendar_on,
    cosmetic_of,
    day,
    heat_of,
    project_on,
    record_of,
    season_on,
    window_of,
)

from spreadmap.biology.degree_days import METHODS
from spreadmap.decisions.calendar import entries_of, season_calendar, season_of_system, sites_of
from spreadmap.decisions.season_words import NO_RECORD, NOT_VALIDATED, SOUTH, season_words
from spreadmap.decisions.window_heat import count_begins, heat_span
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.pipeline import analyse
from spreadmap.records.triage import season_sentence
from spreadmap.values.calendar import Basis, WindowState
from spreadmap.values.pest_system import DegreeDays
from spreadmap.values.settings import CalendarSettings, Settings
from spreadmap.values.surveys import DailyTemperature
from spreadmap.values.words import WindowKind

SYSTEMS = read_pest_systems()
SETTINGS = CalendarSettings()
HEAT = heat_of(10, 30)
WARM = window_of(heat=HEAT)


def one(as_of, window=WARM, record=None, **settings):
    """Return the entry of a window in the year of a date, alone."""
    entries = entries_of(window, day(as_of), record, CalendarSettings(**settings)).entries
    (entry,) = [entry for entry in entries if entry.begins.by_dates.year == day(as_of).year]
    return entry


# --- degree-days


def test_degree_days_open_and_close_a_window_on_the_days_a_hand_sum_gives():
    # one degree-day a day from 1 March: ten of them on the tenth day, thirty on the thirtieth
    entry = one("2026-03-15", record=record_of("2026-01-01", "2026-12-31"))
    assert (entry.begins.on, entry.ends.on) == (day("2026-03-10"), day("2026-03-30"))
    assert entry.begins.basis is entry.ends.basis is Basis.DEGREE_DAYS
    assert entry.state is WindowState.OPEN


def test_both_are_shown_degree_days_first_with_the_difference():
    entry = one("2026-03-15", record=record_of("2026-01-01", "2026-12-31"))
    assert (entry.begins.by_dates, entry.ends.by_dates) == (day("2026-03-20"), day("2026-05-10"))
    # 10 March is 10 days before 20 March; 30 March is 41 days before 10 May
    assert (entry.begins.difference_days, entry.ends.difference_days) == (-10, -41)
    assert entry.says.index("By degree-days (10 to 30, base 10 C, counted from 1 March)") == 0
    assert "it opened on 10 March 2026 and closes on 30 March 2026" in entry.says
    assert "By dates 20 March to 10 May 2026, 14 days earlier or later." in entry.says
    assert "opens 10 days earlier than by dates and closes 41 days earlier than by dates" in entry.says


@pytest.mark.parametrize(
    ("warmth", "differs"), [(10 / 20, "opens on the same day as by dates"), (10 / 21, "1 day later")]
)
def test_the_difference_may_be_nothing_or_one_day(warmth, differs):
    assert differs in one("2026-06-01", record=record_of("2026-01-01", "2026-12-31", warmth + 1e-9)).says


def test_figures_in_fahrenheit_are_the_same_window():
    in_f = DegreeDays(first=18, last=54, base=50, unit="F", counted_from=(3, 1), status="assumed", source="made")
    record = record_of("2026-01-01", "2026-12-31", 1 + 1e-9)
    cold, warm = (one("2026-03-15", window_of(heat=heat), record) for heat in (HEAT, in_f))
    assert (cold.begins.on, cold.ends.on) == (warm.begins.on, warm.ends.on)


@pytest.mark.parametrize("warmer", [1.0, 2.0, 5.0])
def test_a_warmer_year_never_opens_or_closes_a_window_later(warmer):
    cool, warm = (one("2026-06-01", record=record_of("2026-01-01", "2026-12-31", w)) for w in (0.8, 0.8 * warmer))
    assert warm.begins.on <= cool.begins.on
    assert warm.ends.on <= cool.ends.on


def test_the_spread_of_degree_days_is_that_of_the_ways_of_summing():
    days = np.arange(np.datetime64("2026-01-01"), np.datetime64("2026-07-01"))
    record = DailyTemperature(day=days, minimum_c=np.full(len(days), 4.0), maximum_c=np.linspace(8.0, 26.0, len(days)))
    span = heat_span(record, HEAT, day("2026-03-01"), SETTINGS)
    alone = {
        method: heat_span(record, HEAT, day("2026-03-01"), CalendarSettings(degree_day_method=method)).first.on
        for method in METHODS
    }
    assert (span.first.earliest, span.first.latest) == (min(alone.values()), max(alone.values()))
    assert alone["average"] == max(alone.values()) > min(alone.values())
    entry = one("2026-06-30", record=record)
    assert "Spread over five ways of summing a day's warmth: opening" in entry.says
    assert entry.begins.earliest < entry.begins.on == entry.begins.latest


def test_the_choice_of_methods_is_the_list_of_biology():
    (choice,) = [item.metadata["choices"] for item in fields(CalendarSettings) if item.name == "degree_day_method"]
    assert set(choice) == set(METHODS)


def test_a_count_may_begin_in_the_year_before():
    winter = heat_of(5, 20, counted_from=(11, 1))
    assert count_begins(winter, day("2026-02-01")) == day("2025-11-01")
    assert count_begins(HEAT, day("2026-03-20")) == day("2026-03-01")
    assert count_begins(heat_of(1, 2, counted_from=(3, 20)), day("2026-03-20")) == day("2026-03-20")


# --- where the record does not reach


def test_without_temperatures_the_dates_are_used_and_that_is_said():
    entry = one("2026-03-15")
    assert entry.begins.basis is entry.ends.basis is Basis.DATES
    assert (entry.begins.earliest, entry.begins.latest) == (day("2026-03-06"), day("2026-04-03"))
    assert "there are no temperatures for its degree-days (10 to 30, base 10 C" in entry.says


def test_a_record_that_ends_before_the_count_leaves_the_dates_and_says_so():
    entry = one("2026-03-15", record=record_of("2025-01-01", "2026-02-10"))
    assert entry.begins.basis is Basis.DATES
    assert "the temperatures end on 10 February 2026, before its degree-days" in entry.says


def test_a_record_that_ends_in_between_tells_how_far_it_came():
    entry = one("2026-03-05", record=record_of("2026-01-01", "2026-03-05"))
    assert entry.begins.basis is entry.ends.basis is Basis.DATES
    assert entry.state is WindowState.NEXT
    assert "not by degree-days" in entry.says
    assert "By 5 March 2026, where the temperatures end, 5.0 of 10 degree-days had come together." in entry.says


def test_the_first_day_may_rest_on_degree_days_and_the_last_on_dates():
    entry = one("2026-03-15", record=record_of("2026-01-01", "2026-03-15"))
    assert (entry.begins.basis, entry.ends.basis) == (Basis.DEGREE_DAYS, Basis.DATES)
    assert entry.ends.on == day("2026-05-10")
    assert "it opened on 10 March 2026 and closes on 10 May 2026 by dates" in entry.says
    assert "15 of 30 degree-days" in entry.says


def test_a_cold_spring_puts_a_window_off_although_its_date_has_come():
    # half a degree-day in ten days: nothing near ten by 1 April, whatever the date says
    entry = one("2026-04-01", record=record_of("2026-01-01", "2026-04-01", 0.05))
    assert entry.begins.basis is Basis.NOT_BEFORE
    assert entry.begins.on == entry.begins.earliest == day("2026-04-02")
    assert entry.state is WindowState.NEXT
    assert "it opens not before 2 April 2026" in entry.says


SHORT = window_of(begins=(3, 20), ends=(3, 25), spread=2, heat=heat_of(10, 500))


def test_a_window_that_opened_after_its_last_date_is_not_over_while_the_record_says_so():
    # ten at a quarter a day: the fortieth day, 9 April; the last figure is not reached by 20 April
    entry = one("2026-04-15", SHORT, record_of("2026-01-01", "2026-04-20", 0.25))
    assert (entry.begins.on, entry.begins.basis) == (day("2026-04-09"), Basis.DEGREE_DAYS)
    assert (entry.ends.on, entry.ends.basis) == (day("2026-04-21"), Basis.NOT_BEFORE)
    assert entry.state is WindowState.OPEN


def test_a_window_put_off_beyond_its_last_date_keeps_its_length():
    # opened on 9 April, as above; then six days are missing, so nothing is known of its end: five days, as by dates
    gap = [f"2026-04-{number:02d}" for number in range(10, 16)]
    entry = one("2026-04-15", SHORT, record_of("2026-01-01", "2026-04-20", 0.25, without=gap))
    assert (entry.ends.on, entry.ends.basis) == (day("2026-04-14"), Basis.LENGTH)
    assert (entry.ends.earliest, entry.ends.latest) == (day("2026-04-12"), day("2026-04-16"))
    assert "closed on 14 April 2026, as long after as by dates" in entry.says


def test_a_short_gap_is_bridged_and_told():
    made = entries_of(WARM, day("2026-06-01"), record_of("2026-01-01", "2026-12-31", without=["2026-03-04"]), SETTINGS)
    assert made.entries[0].begins.on == day("2026-03-10")
    assert any("Filled with straight lines, not measured: 2026-03-04 (1 day)" in text for text in made.remarks)


LONG = [f"2026-03-{number:02d}" for number in range(3, 9)]


def test_behind_a_long_gap_degree_days_count_only_where_they_come_before_the_date():
    record = record_of("2026-01-01", "2026-12-31", without=LONG)
    made = entries_of(WARM, day("2026-06-01"), record, SETTINGS)
    entry = made.entries[0]
    # six days are missing: ten on 16 March at the latest, which is before 20 March; thirty on 5 April, before 10 May
    assert (entry.begins.on, entry.begins.basis) == (day("2026-03-16"), Basis.AT_THE_LATEST)
    assert (entry.ends.on, entry.ends.basis) == (day("2026-04-05"), Basis.AT_THE_LATEST)
    assert entry.begins.earliest == day("2026-03-06")
    assert "on 16 March 2026 at the latest" in entry.says
    assert any("Temperatures are missing 2026-03-03 to 2026-03-08 (6 days)" in text for text in made.remarks)
    early = one("2026-06-01", window_of(begins=(3, 12), ends=(4, 1), heat=HEAT), record)
    assert (early.begins.on, early.begins.basis) == (day("2026-03-12"), Basis.DATES)
    assert "are missing before the degree-days were reached: 16 March to 5 April 2026 at the latest." in early.says


def test_a_gap_forbids_to_say_not_before():
    # cold and with a gap: the warm days may have been the missing ones
    entry = one("2026-04-01", record=record_of("2026-01-01", "2026-04-01", 0.05, without=LONG))
    assert entry.begins.basis is Basis.DATES
    assert "or more, for some days are missing" in entry.says


def test_a_record_that_cannot_be_true_is_refused():
    days = np.array(["2026-03-02"], dtype="datetime64[D]")
    wrong = DailyTemperature(day=days, minimum_c=np.array([9.0]), maximum_c=np.array([3.0]))
    with pytest.raises(InputError, match="minimum 9 deg C is above maximum 3 deg C"):
        one("2026-03-15", record=wrong)


# --- states


@pytest.mark.parametrize(
    ("as_of", "state"),
    [("2026-03-19", "next"), ("2026-03-20", "open"), ("2026-05-10", "open"), ("2026-05-11", "missed")],
)
def test_first_and_last_day_belong_to_the_window(as_of, state):
    assert one(as_of, window_of()).state.value == state


def test_a_window_that_is_over_comes_with_that_of_next_year():
    states = [
        (entry.begins.on.year, entry.state)
        for entry in entries_of(window_of(), day("2026-09-01"), None, SETTINGS).entries
    ]
    assert states == [(2026, WindowState.MISSED), (2027, WindowState.NEXT)]


def test_a_window_may_run_over_the_turn_of_the_year():
    winter = window_of("winter", (12, 1), (2, 15))
    for as_of, states in (
        ("2026-01-10", ["open", "next"]),
        ("2026-06-01", ["missed", "next"]),
        ("2026-12-31", ["missed", "open"]),
    ):
        entries = entries_of(winter, day(as_of), None, SETTINGS).entries
        assert [entry.state.value for entry in entries] == states
        assert [entry.begins.on for entry in entries] == [day("2025-12-01"), day("2026-12-01")]
    season = season_on("2026-12-31", cosmetic_of(winter))
    assert season.of_state(WindowState.MISSED) == ()


def test_a_window_of_the_whole_year_is_open_and_never_next():
    (entry,) = entries_of(window_of("always", (1, 1), (12, 31), spread=0), day("2026-07-01"), None, SETTINGS).entries
    assert entry.is_all_year
    assert entry.state is WindowState.OPEN
    assert entry.says == "All year."


@pytest.mark.parametrize("system", SYSTEMS, ids=lambda system: system.key)
@pytest.mark.parametrize("month", range(1, 13))
def test_every_system_has_spreads_round_its_days_and_one_state_each(system, month):
    season = season_on(f"2026-{month:02d}-17", system, record_of("2025-06-01", f"2026-{month:02d}-17", 2.0))
    assert {entry.window.name for entry in season.entries} == {window.name for window in system.windows}
    for entry in season.entries:
        for value in (entry.begins, entry.ends):
            assert value.earliest <= value.on <= value.latest
        assert entry.begins.on <= entry.ends.on
        assert entry.says


@pytest.mark.parametrize("system", SYSTEMS, ids=lambda system: system.key)
def test_by_dates_alone_the_words_are_those_of_triage(system):
    for number in range(0, 365, 5):
        as_of = dt.date(2026, 1, 1) + dt.timedelta(days=number)
        season = season_on(as_of.isoformat(), system)
        assert season_words(season) == season_sentence(system.windows, as_of)


def test_the_words_name_what_degree_days_say():
    season = season_on("2026-04-02", cosmetic_of(WARM), record_of("2026-01-01", "2026-04-02"))
    assert season.says == (
        "No window is open. Over since 30 March by degree-days, too late this year: mites. Next, from 20 March 2027: mites. "
        "Do mites."
    )
    late = season_on("2026-04-01", cosmetic_of(WARM), record_of("2026-01-01", "2026-04-01", 0.05))
    assert "Next, from 2 April 2026 at the earliest by degree-days: mites." in late.says
    assert season_on("2026-04-01", cosmetic_of()).says == "No window of the season is on file for this system."


def test_a_window_over_the_new_year_is_waited_for_and_never_over():
    season = season_on("2026-04-02", cosmetic_of(window_of("winter", (11, 20), (2, 10))))
    assert {entry.state for entry in season.entries} == {WindowState.MISSED, WindowState.NEXT}
    assert season.says == "No window is open. Next, from 20 November 2026: winter. Do winter."
    assert season.windows_now().missed is None


# --- damage whose mites have left


AUTUMN = window_of("autumn", (9, 20), (11, 30))


def seen_on(text):
    state = made_state("lime_gall")
    return replace(state, status_on=np.full(PLANTS, text, dtype="datetime64[D]"))


def test_damage_seen_in_july_was_made_by_mites_that_left_in_may():
    season = season_on("2026-08-20", cosmetic_of(AUTUMN, again=again_of()), state=seen_on("2026-07-13"))
    says = "Damage seen in July was made by mites that left in May (by 31 May): look again from 20 September 2026."
    assert season.look_again_says == says
    assert says in season.says


def test_the_day_to_look_again_follows_the_degree_days():
    spring = window_of("spring", (3, 20), (5, 10), heat=HEAT)
    again = again_of("spring", seen=((2, 1), (3, 15)), left=(1, 31))
    season = season_on(
        "2026-03-08", cosmetic_of(spring, again=again), record_of("2026-01-01", "2026-12-31"), seen_on("2026-03-08")
    )
    assert season.look_again_says.endswith("look again from 10 March 2026 by degree-days.")


def test_where_the_window_is_open_again_it_is_now():
    system = cosmetic_of(AUTUMN, again=again_of())
    assert season_on("2026-09-25", system, state=seen_on("2026-07-13")).look_again_says.endswith(
        "look again now, until 30 November."
    )


def test_mites_that_left_after_the_finding_or_will_leave_are_told_so():
    system = cosmetic_of(AUTUMN, again=again_of(left=(8, 10)))
    assert (
        "mites that have left since, in August (by 10 August)"
        in season_on("2026-08-20", system, state=seen_on("2026-07-13")).look_again_says
    )
    assert (
        "is made by mites that leave in August"
        in season_on("2026-08-01", system, state=seen_on("2026-07-13")).look_again_says
    )


@pytest.mark.parametrize("seen", ["2026-05-01", "2025-07-13"])
def test_nothing_is_said_of_damage_outside_its_time(seen):
    system = cosmetic_of(AUTUMN, again=again_of())
    assert season_on("2026-10-05", system, state=seen_on(seen)).look_again_says == ""
    assert season_on("2026-08-20", cosmetic_of(AUTUMN), state=seen_on("2026-07-13")).look_again_says == ""


# --- systems and sites


def test_sites_hold_standing_hosts_only_and_those_without_a_site_come_last():
    project = project_on("2026-09-14")
    state = made_state()
    sites = sites_of(project, state)
    assert [(site.site_id, site.name) for site in sites] == [
        ("market", "Market square"),
        ("yard", "Yard of a private owner"),
    ]
    # plant 29 was taken out; findings 0, 1, 7, 14, 21 and suspects 8, 15 on the market, 28 in the yard
    assert [(site.hosts, site.findings) for site in sites] == [(24, 7), (5, 1)]
    bare = np.where(project.inventory.site_id == "yard", "", project.inventory.site_id)
    alone = sites_of(replace(project, inventory=replace(project.inventory, site_id=bare)), state)
    assert [site.site_id for site in alone] == ["market", ""]
    assert (
        sites_of(
            project, replace(state, is_host=np.zeros(PLANTS, dtype=bool), status=np.full(PLANTS, "clean", dtype=object))
        )
        == ()
    )


def test_findings_come_first_and_systems_without_hosts_are_only_named():
    project = project_on("2026-09-14")
    empty = replace(made_state(), is_host=np.zeros(PLANTS, dtype=bool), status=np.full(PLANTS, "clean", dtype=object))
    clean = replace(made_state(), status=np.full(PLANTS, "clean", dtype=object))
    made = [
        season_of_system(project, made_triage(cosmetic_of(WARM, key="a_quiet")), clean, SETTINGS),
        season_of_system(project, made_triage(cosmetic_of(WARM, key="b_found"), suspect=1), made_state(), SETTINGS),
        season_of_system(project, made_triage(cosmetic_of(WARM, key="c_absent")), empty, SETTINGS),
        season_of_system(project, made_triage(made_system(), infected=2), made_state(), SETTINGS),
    ]
    season = season_calendar(project, made)
    assert [one.system.key for one in season.systems] == ["rose_rosette", "b_found", "a_quiet"]
    assert season.without_hosts == ("Gall mite of lime",)


def test_a_cosmetic_finding_says_why_nothing_is_done():
    assert season_on("2026-09-14", cosmetic_of(WARM)).nothing_says == (
        "Nothing is to be done about it: The galls do no lasting harm."
    )
    assert season_on("2026-09-14", cosmetic_of(WARM), infected=0).nothing_says == ""
    assert season_on("2026-09-14", made_system()).nothing_says == ""


def test_what_holds_for_all_is_said_once():
    system = cosmetic_of(WARM)
    _, season = calendar_on("2026-09-14", system, replace(system, key="second"))
    assert season.remarks == (NOT_VALIDATED, NO_RECORD)
    _, season = calendar_on(
        "2026-02-14", system, system, record=record_of("2026-01-01", "2026-03-01", without=["2026-02-10"])
    )
    assert season.remarks[1:3] == (
        "Daily temperatures, 1 January to 1 March 2026: one record for all sites.",
        "The temperatures after 14 February 2026 are taken as the record gives them.",
    )
    south = project_on("2026-09-14", latitude_deg=-34.0)
    assert SOUTH in season_calendar(south, ()).remarks


def test_a_run_without_files_has_a_season_that_agrees_with_its_triage():
    result = analyse(make_project(plants=120, confirmed=5, seed=3), Settings(), Engine(workers=1))
    assert result.season is not None
    says = {one.system.key: one.says for one in result.season.systems}
    assert next(iter(says)) == "rose_rosette"
    told = {item.system.key: item.season_says for item in result.triage}
    assert all(told[key] == text for key, text in says.items())
    assert len(says) + len(result.season.without_hosts) == len(result.inputs.pest_systems)
    assert {entry.window.kind for one in result.season.systems for entry in one.entries} <= set(WindowKind)
