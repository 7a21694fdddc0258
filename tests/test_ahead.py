"""The spread ahead: courses of action from a plan, relative and calibrated results, what is said of them."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import shapely
from small_outbreaks import made_list, plan_of
from small_records import AS_OF, inventory_at, reservoirs_of, state_with, system_of
from small_worlds import screens_of, spread_of

from spreadmap.biology.season import flight_days, flight_days_of_a_year
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.outbreak.actions import (
    LATER,
    LIST,
    NOTHING,
    RING,
    TWICE_CREW,
    TWICE_SURVEYS,
    crew_dates,
    list_done,
    usual_actions,
    with_missed_roots,
    with_screen,
    with_surveys,
)  # fmt: skip
from spreadmap.outbreak.ahead import assumed_laws, spread_ahead
from spreadmap.outbreak.assumed_rates import onward_density
from spreadmap.outbreak.ensemble import Period
from spreadmap.outbreak.scenarios import compare
from spreadmap.outbreak.tallies import first_dates, new_cases
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import receptors_of, reservoir_sources
from spreadmap.values.action import Action
from spreadmap.values.hidden import Hidden
from spreadmap.values.rates import Rates
from spreadmap.values.settings import AheadSettings, InfectionSettings, Settings
from spreadmap.values.words import Mode

SPREAD, NO_SCREENS, ENGINE = spread_of(), screens_of(), Engine(workers=1)
NEXT, HORIZON = AS_OF + np.timedelta64(28, "D"), np.datetime64("2026-12-31")
FEW = Settings(ahead=AheadSettings(draws=4, members=30))
RATES = Rates(per_day_m2=0.5, contact_per_day=0.005, background_per_day=1e-5)
AT = [(2.0 * (i % 12), 2.0 * (i // 12)) for i in range(96)]
PLANTS = inventory_at(*AT, bed=[f"b{i // 48}" for i in range(96)], site=["s"] * 96)
SICK = state_with(PLANTS, infected=[0, 13, 40])
PLAN = plan_of([0, 13, 40], np.datetime64("2026-09-24"))


def ahead(plants=PLANTS, state=SICK, plan=PLAN, wild=None, settings=FEW, engine=ENGINE, screens=NO_SCREENS, **more):
    stands = reservoir_sources(wild or reservoirs_of(), 2.0)
    given = {"next_survey": NEXT, "horizon": HORIZON} | more
    return spread_ahead(
        plants, state, plan, stands, SPREAD, screens, system_of(), settings=settings, engine=engine, **given
    )  # fmt: skip


def calibrated(**more):
    return ahead(**({"fitted": [(SPREAD, RATES), (SPREAD.scaled(1.3), replace(RATES, per_day_m2=0.9))]} | more))


@pytest.fixture(scope="module")
def relative_one():
    return ahead(settings=Settings(ahead=AheadSettings(members=150)))


@pytest.fixture(scope="module")
def calibrated_one():
    return calibrated()


# courses of action


def test_crews_reach_a_week_s_hours_on_the_earliest_date_and_the_rest_later():
    first = np.full(4, np.datetime64("2026-09-24"))
    dates = crew_dates(first, np.array([10.0, 30.0, 30.1, 61.0]), 30.0)
    assert dates.astype(str).tolist() == ["2026-09-24", "2026-09-24", "2026-10-01", "2026-10-08"]
    assert np.isnat(crew_dates(first, np.arange(4.0), 0.0)).all()


def test_the_usual_courses_come_from_one_plan():
    planned = plan_of([0, 13, 40], ["2026-09-24", "2026-09-28", "2026-10-05"], earliest_on="2026-09-24")
    actions = usual_actions(PLANTS, SICK, planned, 28, FEW)
    assert [action.key for action in actions] == [NOTHING, LIST, LATER, TWICE_CREW, TWICE_SURVEYS, RING]
    by_key = {action.key: action for action in actions}

    def days(key):
        return by_key[key].removal_on[[0, 13, 40]].astype(str).tolist()

    assert not by_key[NOTHING].taken_out.any()
    assert not by_key[NOTHING].found_come_out
    assert days(LIST) == ["2026-09-24", "2026-09-28", "2026-10-05"]
    assert days(LATER) == ["2026-10-22", "2026-10-26", "2026-11-02"]
    assert days(TWICE_CREW) == ["2026-09-24", "2026-09-26", "2026-09-29"]
    assert by_key[TWICE_SURVEYS].survey_every_days == 14
    near = [
        i
        for i, (east, north) in enumerate(AT)
        if min(np.hypot(east - AT[j][0], north - AT[j][1]) for j in (0, 13, 40)) <= 10
    ]
    assert np.flatnonzero(by_key[RING].taken_out).tolist() == near
    assert by_key[RING].removal_on[near].min() == np.datetime64("2026-09-24")
    assert np.all(by_key[RING].removal_on[[i for i in near if i not in (0, 13, 40)]] >= np.datetime64("2026-10-05"))


def test_plants_that_are_planned_for_no_day_stay():
    action = list_done(PLANTS, plan_of([0, 13], ["2026-09-24", "NaT"], earliest_on="2026-09-24"), AS_OF, 28, FEW)
    assert np.flatnonzero(action.taken_out).tolist() == [0]


# relative mode


def test_relative_results_are_shares_and_ratios_only(relative_one):
    found = relative_one
    assert found.mode is Mode.RELATIVE
    assert found.onward_range == (0.5, 2.0, 8.0)
    assert found.draws == 3 * (1 + len(FEW.kernel.scale_run))
    assert (found.plants, found.places, found.courses) == (None, (), ())
    for each in found.scenarios:
        assert (each.by_next_survey, each.by_horizon, each.avoided) == (None, None, None)
        assert each.share_low <= each.share_avoided <= each.share_high <= 1
    assert all(one.avoided is None for one in found.comparisons)
    said = " ".join(
        [found.rates_say, *(one.says for one in found.comparisons), *(each.says for each in found.scenarios)]
    )
    for word in ("chance", "probab", "likely", "risk of"):
        assert word not in said.lower()


def test_the_list_at_once_avoids_more_than_later_and_the_page_may_say_so(relative_one):
    shares = {each.key: each.share_avoided for each in relative_one.scenarios}
    assert shares[NOTHING] == 0
    assert shares[LIST] > shares[LATER] > 0
    first, second, *_ = relative_one.comparisons
    assert (first.better, first.than, first.holds, first.fails) == (LIST, NOTHING, True, False)
    assert (second.better, second.than, second.holds) == (LIST, LATER, True)
    assert "fewer over all of the range" in second.says
    assert second.says.startswith("Taking the list out on its dates instead of 4 weeks later leaves ")
    assert "31 December 2026" in second.says
    crew = next(one for one in relative_one.comparisons if one.better == TWICE_CREW)
    assert not crew.holds
    assert crew.says.startswith(
        "Taking the list out with twice the crew hours instead of taking the list out on its dates"
    )


def test_assumed_rates_give_a_typical_confirmed_plant_its_onward_infections():
    laws = assumed_laws(PLANTS, SICK, SPREAD, NO_SCREENS, system_of(), FEW, ENGINE)
    assert sum(law.is_middle for law in laws) == 1
    density = onward_density(PLANTS, SICK, SPREAD, NO_SCREENS, FEW, ENGINE)
    receivers = receptors_of(PLANTS, ~np.isin(np.arange(96), [0, 13, 40]), FEW.sources)
    from small_worlds import sources_at

    by_hand = np.mean(
        [pressure_at_points(receivers, sources_at(AT[i], plant=[i]), SPREAD, ENGINE).density.sum() for i in (0, 13, 40)]
    )
    assert density == pytest.approx(by_hand, rel=1e-3)
    middle = next(law for law in laws if law.is_middle)
    assert middle.rates.per_day_m2 * density * flight_days_of_a_year(system_of().flight_weight) == pytest.approx(2.0)
    year = flight_days(np.datetime64("2026-01-01"), np.datetime64("2027-01-01"), system_of().flight_weight)
    assert middle.rates.contact_per_day * year == pytest.approx(1.3)
    assert middle.rates.background_per_day * year == pytest.approx(0.001)


def test_without_a_confirmed_plant_hosts_stand_in_and_only_later_findings_come_out():
    clean = state_with(PLANTS)
    found = ahead(state=clean, plan=plan_of([], []), wild=reservoirs_of((shapely.Point(60, 0), 20, 1.0)))
    assert {each.taken_out for each in found.scenarios} == {0}
    assert all(0 <= each.share_avoided < 0.3 for each in found.scenarios)
    assert not found.comparisons[0].holds


def test_where_no_mite_flies_nothing_comes_and_nothing_is_avoided():
    found = spread_ahead(
        PLANTS, SICK, PLAN, reservoir_sources(reservoirs_of(), 2.0), SPREAD, NO_SCREENS, system_of(flight=(0,) * 12),
        NEXT, HORIZON, FEW, ENGINE,
    )  # fmt: skip
    assert {each.share_avoided for each in found.scenarios} == {0.0}


def test_no_plants_no_cases():
    none = inventory_at()
    found = ahead(plants=none, state=state_with(none), plan=plan_of([], []))
    assert {each.share_avoided for each in found.scenarios} == {0.0}
    found = calibrated(plants=none, state=state_with(none), plan=plan_of([], []))
    assert found.scenario(NOTHING).by_horizon.expected == 0


# calibrated mode


def test_calibrated_results_have_chances_numbers_and_places(calibrated_one):
    found, healthy = calibrated_one, ~np.isin(np.arange(96), [0, 13, 40])
    assert (found.mode, found.draws, found.members) == (Mode.CALIBRATED, 2, 30)
    chance = found.plants.infected_by_horizon
    assert np.array_equal(np.isfinite(chance), healthy)
    assert np.all(found.plants.infected_by_survey[healthy] <= chance[healthy])
    assert np.all(found.plants.showing_by_horizon[healthy] <= chance[healthy])
    undone = found.scenario(NOTHING)
    assert np.nansum(chance) == pytest.approx(undone.by_horizon.expected)
    assert np.nansum(found.plants.infected_by_survey) == pytest.approx(undone.by_next_survey.expected)
    beds = [place for place in found.places if place.kind == "bed"]
    (site,) = (place for place in found.places if place.kind == "site")
    assert [(bed.name, bed.hosts) for bed in beds] == [("b0 (s)", 45), ("b1 (s)", 48)]
    assert sum(bed.by_horizon.expected for bed in beds) == pytest.approx(site.by_horizon.expected)
    assert site.by_horizon == undone.by_horizon
    assert site.chance_by_survey >= max(bed.chance_by_survey for bed in beds)
    assert dt.date(2026, 9, 21) <= site.first_on < dt.date(2026, 12, 31)
    assert np.array_equal(np.isnat(found.plants.first_on), ~(np.nan_to_num(chance) > 0))


def test_differences_are_member_by_member(calibrated_one):
    listed = calibrated_one.scenario(LIST)
    undone = calibrated_one.scenario(NOTHING)
    assert listed.avoided.expected == pytest.approx(undone.by_horizon.expected - listed.by_horizon.expected)
    assert listed.avoided.low_90 >= 0
    # Paired, the difference varies less than the numbers of two courses apart from each other would.
    paired = listed.avoided.high_90 - listed.avoided.low_90
    assert (
        paired
        < undone.by_horizon.high_90 - undone.by_horizon.low_90 + listed.by_horizon.high_90 - listed.by_horizon.low_90
    )
    first = calibrated_one.comparisons[0]
    assert first.avoided == listed.avoided
    assert f"avoids {listed.avoided.expected:.0f} ({listed.avoided.low_90:.0f} to " in first.says


def test_the_courses_can_be_scored(calibrated_one):
    undone, listed = calibrated_one.courses
    assert (undone.taken_out, listed.taken_out) == ((), ("p0", "p13", "p40"))
    assert undone.on[0] == AS_OF
    assert NEXT in undone.on
    assert undone.on[-1] == HORIZON
    assert np.all(np.diff(undone.infected, axis=0) >= 0)
    assert np.all(undone.showing <= undone.infected)
    assert undone.members_showing.shape == (len(undone.on), 60)
    assert undone.members_showing[-1].mean() == pytest.approx(undone.showing[-1].sum())
    assert undone.sensitivity.visual == FEW.detection.visual_symptomatic
    assert listed.infected[-1].sum() < undone.infected[-1].sum()


def test_hidden_infection_is_where_every_member_starts():
    n = len(PLANTS)
    among = ~np.isin(np.arange(n), [0, 13, 40])
    share = np.where(among, 0.3, np.nan)
    hidden = Hidden(**_hidden_columns(n, among, share))
    quiet = Rates(per_day_m2=0.0, contact_per_day=0.0, background_per_day=0.0)
    found = calibrated(
        fitted=[(SPREAD, quiet)], hidden=hidden, settings=Settings(ahead=AheadSettings(draws=1, members=400))
    )
    assert found.scenario(NOTHING).by_horizon.expected == 0
    start = found.courses[0].infected[0][among]
    assert abs(start.mean() - 0.3) < 4 * np.sqrt(0.21 / (400 * among.sum()))
    assert abs(found.courses[0].showing[0][among].mean() - 0.05) < 0.01


def test_relative_members_start_from_what_each_assumed_rate_hides():
    n = len(PLANTS)
    among = ~np.isin(np.arange(n), [0, 13, 40])
    infection = FEW.infection
    rates = (infection.assumed_onward, *infection.assumed_onward_range)

    def told(*shares):
        return {
            rate: Hidden(
                **_hidden_columns(n, among, np.where(among, share, np.nan))
                | {"symptomatic": np.where(among, 0.0, np.nan)}
            )
            for rate, share in zip(rates, shares, strict=True)
        }

    plain, none, every = ahead(), ahead(assumed=told(0.0, 0.0, 0.0)), ahead(assumed=told(1.0, 1.0, 1.0))
    assert none.scenarios == plain.scenarios
    assert "healthy at the start" in plain.remarks[-1]
    assert "infected already" in none.remarks[-1]
    # Nobody is left to infect: there is nothing to avoid, at any rate.
    assert {(one.share_low, one.share_high) for one in every.scenarios} == {(0.0, 0.0)}
    # The middle alone decides the figure in the middle, the ends only the range.
    ends = ahead(assumed=told(0.0, 1.0, 1.0))
    assert [one.share_avoided for one in ends.scenarios] == [one.share_avoided for one in plain.scenarios]
    assert [one.share_low for one in ends.scenarios] != [one.share_low for one in plain.scenarios]


def _hidden_columns(n, among, share):
    from dataclasses import fields

    given = {
        "not_yet_infectious": share / 3, "infectious": share * 2 / 3, "healthy": 1 - share,
        "symptomatic": np.where(among, 0.05, np.nan), "half_show_by": np.full(n, AS_OF), "infected_in": np.zeros((n, 1)),
        "step_from": np.array([AS_OF]), "expected_infected": 0.0, "iterations": 1, "change": 0.0, "settled": True,
    }  # fmt: skip
    return {item.name: given.get(item.name, np.zeros(n)) for item in fields(Hidden) if item.name != "remarks"}


def test_suspects_are_drawn_by_the_share_that_turns_out_infected():
    state = state_with(PLANTS, infected=[0], suspect=range(50, 90))
    quiet = Rates(per_day_m2=0.0, contact_per_day=0.0, background_per_day=0.0)
    found = calibrated(
        state=state, fitted=[(SPREAD, quiet)], settings=Settings(ahead=AheadSettings(draws=1, members=300))
    )
    infected, showing = found.courses[0].infected[0], found.courses[0].showing[0]
    assert abs(infected[50:90].mean() - 0.5) < 4 * np.sqrt(0.25 / (300 * 40))
    assert np.array_equal(infected, showing)
    assert infected[:50].sum() + infected[90:].sum() == 0


def test_draws_are_thinned_evenly():
    fitted = [(SPREAD, replace(RATES, per_day_m2=0.1 * i)) for i in range(10)]
    assert calibrated(fitted=fitted).draws == 4
    assert calibrated(fitted=fitted[:3]).draws == 3


# what the draws share


@pytest.mark.parametrize("run", [ahead, calibrated], ids=["relative", "calibrated"])
def test_same_bits_on_one_and_two_workers(run):
    wild = reservoirs_of((shapely.Point(60, 0), 20, 1.0))
    one, two = (run(wild=wild, engine=Engine(workers=workers)) for workers in (1, 2))
    assert one.scenarios == two.scenarios
    assert one.comparisons == two.comparisons
    assert one.places == two.places
    if one.plants is not None:
        assert np.array_equal(one.plants.infected_by_horizon, two.plants.infected_by_horizon, equal_nan=True)
        assert all(np.array_equal(a.showing, b.showing) for a, b in zip(one.courses, two.courses, strict=True))


def test_the_seed_makes_the_numbers():
    again = calibrated()
    other = calibrated(settings=Settings(ahead=AheadSettings(draws=4, members=30, seed=1)))
    assert again.scenarios == calibrated().scenarios
    assert other.scenario(NOTHING).by_horizon != again.scenario(NOTHING).by_horizon
    assert (again.seed, other.seed) == (Settings().ahead.seed, 1)


def test_a_course_with_no_change_has_identical_members():
    actions = usual_actions(PLANTS, SICK, PLAN, 28, FEW)
    twins = (actions[0], replace(actions[0], key="again"), actions[1], replace(actions[1], key="list_again"))
    found = calibrated(actions=twins)
    assert found.scenarios[1].avoided == new_cases(np.zeros(4))
    assert found.scenarios[2].avoided == found.scenarios[3].avoided
    assert np.array_equal(found.courses[0].infected, found.courses[1].infected)


def test_screens_and_missed_roots_are_courses_of_their_own():
    wild = reservoirs_of((shapely.Point(60, 8), 200, 1.0))
    base = list_done(PLANTS, PLAN, AS_OF, 28, FEW)
    nothing = usual_actions(PLANTS, SICK, PLAN, 28, FEW)[0]
    screen = with_screen(nothing, screens_of((40, -100, 40, 100, 0.0)))
    leaky = with_missed_roots(base, 1.0)
    found = calibrated(wild=wild, actions=(nothing, screen, base, leaky))
    counts = {each.key: each.by_horizon.expected for each in found.scenarios}
    # The screen keeps all that comes from the wild stand, and nothing between the plants.
    bare = calibrated(actions=(nothing,)).scenario(NOTHING).by_horizon.expected
    assert counts["nothing_screen"] == pytest.approx(bare, rel=0.15)
    assert counts[NOTHING] > 1.2 * counts["nothing_screen"]
    assert counts[LIST] < counts["list_missed_roots"] < counts[NOTHING]


def test_surveys_less_often_leave_more_cases_and_more_often_fewer():
    base = list_done(PLANTS, PLAN, AS_OF, 28, FEW)
    nothing = usual_actions(PLANTS, SICK, PLAN, 28, FEW)[0]
    courses = [with_surveys(base, days, f"if surveys come every {days} days", f"every_{days}") for days in (7, 28, 84)]
    # Symptoms come soon, so that looking matters within the season.
    quick = replace(FEW, infection=InfectionSettings(latency_median_days=15.0, infectious_after_days=5.0))
    found = calibrated(actions=(nothing, *courses), settings=quick)
    assert [each.looks for each in found.scenarios[1:]] == [14, 3, 1]
    often, usual, seldom = (each.by_horizon.expected for each in found.scenarios[1:])
    assert often < usual < seldom


def test_more_infections_than_allowed_cut_the_members_and_it_is_said():
    settings = Settings(ahead=AheadSettings(draws=4, members=30, most_infections=1000))
    found = calibrated(settings=settings)
    assert found.members < 30
    assert "instead of 30" in found.remarks[0]


# bad input


def test_dates_out_of_order_are_refused():
    with pytest.raises(InputError, match="the next survey on 2026-12-31 and the horizon on 2026-10-19"):
        ahead(next_survey=HORIZON, horizon=NEXT)
    with pytest.raises(InputError, match="allowed: the survey after the state"):
        ahead(next_survey=AS_OF)


def test_a_plant_taken_out_before_it_was_planted_or_before_the_state_is_refused():
    planted = replace(PLANTS, planted_on=np.where(np.arange(96) == 13, np.datetime64("2026-11-01"), PLANTS.planted_on))
    with pytest.raises(InputError, match="plant p13 is taken out on 2026-09-24 and planted on 2026-11-01"):
        ahead(plants=planted)
    with pytest.raises(InputError, match="taken out on 2026-08-01 and the state is of 2026-09-21"):
        ahead(plan=plan_of([0], np.datetime64("2026-08-01")))
    with pytest.raises(InputError, match="one date per plant"):
        ahead(actions=(replace(usual_actions(PLANTS, SICK, PLAN, 28, FEW)[0], removal_on=[], crew_hours=[]),))


def test_a_course_that_cannot_be_is_refused():
    nothing = usual_actions(PLANTS, SICK, PLAN, 28, FEW)[0]
    with pytest.raises(InputError, match="survey_every_days is 0; allowed: 1 or more"):
        replace(nothing, survey_every_days=0)
    with pytest.raises(InputError, match="missed_roots_share is 1.5; allowed: 0 to 1"):
        with_missed_roots(nothing, 1.5)


# small parts


def test_middle_ranges_of_numbers():
    cases = new_cases(np.arange(101))
    assert (cases.expected, cases.low_50, cases.high_50, cases.low_90, cases.high_90) == (50, 25, 75, 5, 95)


def test_first_dates_lie_where_half_of_the_members_are_reached():
    period = Period(as_of=AS_OF, next_survey=NEXT, horizon=AS_OF + np.timedelta64(56, "D"))
    assert period.checks.tolist() == [0, 14, 28, 42, 56]
    counts = np.array([[0, 0, 4], [0, 10, 4], [0, 10, 4], [5, 10, 8], [10, 10, 8]])
    counts = np.c_[counts, np.zeros(5)].astype(int)
    # Half of 10 on day 42 itself; half of 10 midway from 0 to 14; half of 8 from the start on; never.
    days = (first_dates(counts, period) - AS_OF).astype(float)
    assert days[:3].tolist() == [42, 7, 0]
    assert np.isnat(first_dates(counts, period)[3])


def test_a_difference_within_its_error_does_not_hold():
    period = Period(as_of=AS_OF, next_survey=NEXT, horizon=HORIZON)
    rng = np.random.default_rng(1)
    other = rng.integers(5, 15, (3, 40))
    clear = compare(LIST, LATER, other - 2, other, period, is_calibrated=False)
    assert (clear.holds, clear.fails) == (True, False)
    worse = compare(LIST, LATER, other + 2, other, period, is_calibrated=False)
    assert (worse.holds, worse.fails) == (False, True)
    assert "more over all of the range" in worse.says
    mixed = other - 2
    mixed[1] = other[1] + rng.integers(-3, 4, 40)
    unclear = compare(LIST, LATER, mixed, other, period, is_calibrated=False)
    assert (unclear.holds, unclear.fails) == (False, False)
    assert "does not hold over all of the range" in unclear.says
    added = compare(LIST, LATER, other + 2, other, period, is_calibrated=True)
    assert "adds 2 (2 to 2) new cases by 31 December 2026" in added.says


def test_the_default_settings_are_fifty_draws_of_twenty_members():
    assert (Settings().ahead.draws, Settings().ahead.members) == (50, 20)
    assert InfectionSettings().assumed_onward_range == (0.5, 8.0)
    assert isinstance(usual_actions(PLANTS, SICK, PLAN, 28, FEW)[0], Action)
    assert len(made_list(type(PLAN.removal), 0)) == 0
