"""The course of mite numbers: its start and stop, its rest in heat, its limits, and the weights of flight.

Parameters are made up to be easy to reckon with; where the year of a place is needed it is a cosine of about the
right height, and what is asserted is direction only.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from spreadmap.biology.daylight import day_length_hours
from spreadmap.biology.heat import HeatRule
from spreadmap.biology.mite_season import (
    ASSUMPTIONS,
    MiteSeason,
    monthly_flight_weights,
    next_numbers,
    season_course,
    season_factor,
)
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.surveys import DailyTemperature

RULE = HeatRule(lower_c=10.0)
FIRST, LAST = np.datetime64("2023-01-01"), np.datetime64("2023-12-31")
YEAR = np.arange(FIRST, LAST + 1)
SEASON = {"growth_per_degree_day": 0.01, "loss_per_day": 0.03, "overwintered_share": 0.001}
WARM = MiteSeason(**SEASON, starts_on=(4, 1), stops_on=(11, 30))


def steady(warm_c, days=YEAR):
    return DailyTemperature(
        day=days, minimum_c=np.full(len(days), warm_c - 5), maximum_c=np.full(len(days), warm_c + 5)
    )


def year_of(mean_c, half_range_c, warmest=200, days=YEAR):
    """Return a year whose daily mean is a cosine with its top on day `warmest`, 6 degrees up and down each day."""
    of_year = (days - days[0]).astype(int)
    mean = mean_c + half_range_c * np.cos(2 * math.pi * (of_year - warmest) / 365)
    return DailyTemperature(day=days, minimum_c=mean - 6, maximum_c=mean + 6)


# January near 8, July near 27 deg C, of the size of central Georgia (from memory, not looked up)
SOUTHERN_STATE = year_of(17.5, 9.5)


def course(record=SOUTHERN_STATE, season=WARM, rule=RULE, first=FIRST, last=LAST, **more):
    return season_course(record, rule, season, first, last, **more)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.floats(0.001, 1.0), st.floats(0.0, 0.4), st.floats(0.0, 0.4))
def test_a_day_solves_the_differential_equation(numbers, growth, loss):
    found = integrate.solve_ivp(
        lambda _, n: growth * n * (1 - n) - loss * n, (0, 1), [numbers], rtol=1e-10, atol=1e-13
    ).y[0, -1]
    assert next_numbers(numbers, growth, loss) == pytest.approx(found, rel=1e-7)


def test_days_by_hand():
    # no losses, 10 degrees of warmth: logistic growth at 0.1 per day from a tenth, n = 1 / (1 + 9 exp(-0.1 t))
    season = MiteSeason(
        **{**SEASON, "loss_per_day": 0.0, "overwintered_share": 0.1}, starts_on=(4, 1), stops_on=(4, 30)
    )
    numbers = course(steady(20.0), season).numbers[90:120]
    assert numbers == pytest.approx(1 / (1 + 9 * np.exp(-0.1 * np.arange(30))))


def test_few_mites_grow_by_the_rate_less_the_losses():
    season = MiteSeason(**{**SEASON, "overwintered_share": 1e-9}, starts_on=(4, 1), stops_on=(6, 30))
    numbers = course(steady(20.0), season).numbers[90:120]
    assert np.diff(np.log(numbers)) == pytest.approx(np.full(29, 0.1 - 0.03), abs=1e-6)


def test_numbers_settle_where_growth_meets_losses():
    numbers = course(steady(20.0)).numbers
    assert numbers[333] == pytest.approx(1 - 0.03 / 0.1, abs=1e-4)
    cold = course(steady(5.0)).numbers[90:334]
    assert np.diff(np.log(cold)) == pytest.approx(np.full(243, -0.03))


def test_start_and_stop_by_date_are_both_active_days():
    found = course()
    assert (found.starts_on, found.stops_on) == (np.datetime64("2023-04-01"), np.datetime64("2023-11-30"))
    assert found.is_active.sum() == 30 + 31 + 30 + 31 + 31 + 30 + 31 + 30
    assert found.numbers[90] == 0.001
    assert not found.numbers[:90].any()
    assert not found.numbers[334:].any()


def test_start_by_degree_days():
    season = MiteSeason(**SEASON, starts_at_degree_days=95.0, stops_on=(11, 30))
    # ten degree-days a day from 1 January: 95 are reached with the tenth day
    assert course(steady(20.0), season).starts_on == np.datetime64("2023-01-10")
    warmer = course(year_of(19.5, 9.5), season).starts_on
    assert warmer < course(season=season).starts_on


def test_a_start_that_is_never_reached_is_told():
    season = MiteSeason(**SEASON, starts_at_degree_days=95.0, stops_on=(11, 30))
    found = course(steady(2.0), season)
    assert not found.is_active.any()
    assert np.isnat(found.starts_on)
    assert found.remarks == ("The degree-days of the start are not reached by 2023-12-31: no mite is active.",)
    with pytest.raises(InputError, match=r"no mite is active on any day; allowed: at least one active day"):
        season_factor(found)


def test_a_start_after_the_stop_is_told():
    season = MiteSeason(**SEASON, starts_at_degree_days=3000.0, stops_on=(3, 31))
    found = course(steady(20.0), season)
    assert not found.is_active.any()
    assert found.remarks[0].startswith("The season stops before it starts on 2023-10-27")


def test_shortening_days_stop_the_season():
    season = MiteSeason(**SEASON, starts_on=(3, 1), stops_below_daylight_h=12.0)
    found = course(season=season, latitude_deg=33.0)
    # days shorter than that in March do not stop it; the last active day is the last of 12 h or more
    length = day_length_hours(np.array([found.stops_on, found.stops_on + 1]), 33.0)
    assert length[0] >= 12 > length[1]
    assert np.datetime64("2023-09-20") < found.stops_on < np.datetime64("2023-10-01")


def test_the_earlier_of_two_stops_counts():
    season = MiteSeason(**SEASON, starts_on=(3, 1), stops_below_daylight_h=12.0, stops_on=(8, 15))
    assert course(season=season, latitude_deg=33.0).stops_on == np.datetime64("2023-08-15")


def test_a_warm_season_mite_peaks_after_the_warmest_weeks_begin():
    # Direction only: densest July and August in central Georgia (Monterrosa et al. 2022, Pathogens 11:228, read), in
    # September elsewhere (newsletter 2021, second-hand).
    weights = monthly_flight_weights([course()])
    assert 6 <= int(np.argmax(weights)) <= 8
    assert weights[0] == weights[1] == weights[2] == weights[11] == 0
    assert weights[3] < weights[4] < weights[5]


def test_more_mites_at_the_start_bring_the_peak_forward():
    early = MiteSeason(**{**SEASON, "overwintered_share": 0.2}, starts_on=(4, 1), stops_on=(11, 30))
    assert np.argmax(course(season=early).numbers) < np.argmax(course().numbers)


def test_a_cool_season_mite_rests_in_heat_and_comes_back():
    season = MiteSeason(
        **{**SEASON, "overwintered_share": 0.05},
        starts_on=(3, 1), stops_on=(12, 10), rests_above_c=23.0, resting_loss_per_day=0.01,
    )  # fmt: skip
    found = course(season=season, rule=HeatRule(lower_c=4.0))
    weights = monthly_flight_weights([found])
    assert weights[6] == weights[7] == 0
    assert min(weights[4], weights[9]) > 0
    resting = (found.numbers > 0) & ~found.is_active
    # while they rest they only die: 1 % a day
    assert np.diff(np.log(found.numbers[resting])) == pytest.approx(np.full(resting.sum() - 1, -0.01))
    hot = found.day[resting]
    assert found.remarks == (f"Rests in heat on {len(hot)} days, the first {hot[0]}, the last {hot[-1]}.",)


def test_heat_is_judged_over_the_last_days():
    record = steady(20.0)
    minimum, maximum = record.minimum_c.copy(), record.maximum_c.copy()
    minimum[200:203] += 14
    maximum[200:203] += 14
    hot = DailyTemperature(day=YEAR, minimum_c=minimum, maximum_c=maximum)
    rests = {**SEASON, "starts_on": (4, 1), "stops_on": (11, 30), "rests_above_c": 25.0}
    # three days of 34 among four of 20 make 26; two make 24
    of_week = course(hot, MiteSeason(**rests))
    assert np.flatnonzero(~of_week.is_active[90:334]).tolist() == [112, 113, 114, 115, 116]
    of_day = course(hot, MiteSeason(**rests, rest_window_days=1))
    assert np.flatnonzero(~of_day.is_active[90:334]).tolist() == [110, 111, 112]


def test_the_factor_is_one_on_the_best_day_and_never_more():
    factor = season_factor(course())
    assert factor.shape == (365,)
    assert factor.max() == 1
    assert factor.min() == 0


def test_monthly_weights_are_means_over_the_month_over_the_best_month():
    found = course()
    flying = found.flying()
    july, august, september = flying[181:212].mean(), flying[212:243].mean(), flying[243:273].mean()
    weights = monthly_flight_weights([found])
    assert len(weights) == 12
    assert max(weights) == 1
    assert weights[6] / weights[7] == pytest.approx(july / august)
    assert weights[8] / weights[7] == pytest.approx(september / august)


def test_several_years_are_averaged_day_by_day():
    other_year = np.arange("2022-01-01", "2023-01-01", dtype="datetime64[D]")
    warm = course(year_of(19.5, 9.5, days=other_year), first=other_year[0], last=other_year[-1])
    one, two = course(), warm
    both = monthly_flight_weights([one, two])
    flying = (one.flying() + two.flying()) / 2  # two years of 365 days
    assert both[4] / both[7] == pytest.approx(flying[120:151].mean() / flying[212:243].mean())


def test_the_south_runs_from_july_to_june():
    days = np.arange("2023-07-01", "2024-07-01", dtype="datetime64[D]")
    season = MiteSeason(**SEASON, starts_on=(10, 1), stops_below_daylight_h=11.0)
    south = course(year_of(17.5, 9.5, warmest=200, days=days), season, first=days[0], last=days[-1], latitude_deg=-33.0)
    weights = monthly_flight_weights([south])
    assert int(np.argmax(weights)) in (0, 1, 2, 3)
    assert weights[5] == weights[6] == weights[7] == weights[8] == 0
    assert np.datetime64("2024-04-01") < south.stops_on < np.datetime64("2024-05-31")


def test_what_was_assumed_and_filled_travels_with_the_course():
    days = np.delete(YEAR, 150)
    record = steady(20.0, days)
    found = course(record, most_filled_days=1)
    assert found.assumptions == ASSUMPTIONS
    assert found.remarks == ("Filled with straight lines, not measured: 2023-05-31 (1 day).",)
    assert found.numbers == pytest.approx(course(steady(20.0)).numbers)


def test_a_gap_stops_the_course():
    with pytest.raises(InputError, match=r"missing 2023-05-31 \(1 day\); allowed: no gap, for the course of mite"):
        course(steady(20.0, np.delete(YEAR, 150)))


def test_more_than_a_season_is_refused():
    with pytest.raises(InputError, match=r"runs over 400 days, 2023-01-01 to 2024-02-04; allowed: one season"):
        course(steady(20.0, FIRST + np.arange(400)), last=FIRST + 399)


def test_part_of_a_year_makes_no_weights():
    days = np.arange("2023-03-20", "2023-12-15", dtype="datetime64[D]")
    found = course(steady(20.0, days), first=days[0], last=days[-1])
    with pytest.raises(
        InputError, match=r"too few days in January \(0\), February \(0\), March \(12\), December \(14\)"
    ):
        monthly_flight_weights([found])
    with pytest.raises(InputError, match=r"January \(0\)"):
        monthly_flight_weights([])


def test_a_start_outside_the_record_is_refused():
    days = np.arange("2023-05-01", "2023-12-01", dtype="datetime64[D]")
    with pytest.raises(
        SettingsError, match=r"starts_on is month 4 day 1, which is not between 2023-05-01 and 2023-11-30"
    ):
        course(steady(20.0, days), first=days[0], last=days[-1])


def test_daylight_needs_a_latitude():
    season = MiteSeason(**SEASON, starts_on=(3, 1), stops_below_daylight_h=12.0)
    with pytest.raises(SettingsError, match=r"stops below 12 h of daylight, and latitude_deg is missing"):
        course(season=season)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"growth_per_degree_day": 0.0}, r"growth_per_degree_day is 0 1/\(deg C d\); allowed: above 0"),
        ({"loss_per_day": -0.1}, r"loss_per_day is -0.1 1/d; allowed: 0 or more"),
        ({"overwintered_share": 1.1}, r"overwintered_share is 1.1; allowed: above 0 to 1"),
        ({"rest_window_days": 0}, r"rest_window_days is 0 d; allowed: 1 to 60 d"),
        ({"resting_loss_per_day": math.inf}, r"resting_loss_per_day is inf 1/d"),
        ({"rests_above_c": 86.0}, r"rests_above_c is 86 deg C; allowed: -70 to 60 deg C. Give deg C"),
        ({"starts_on": (13, 1)}, r"starts_on is \(13, 1\); allowed: month 1 to 12 and a day of that month"),
        ({"stops_on": (2, 30)}, r"stops_on is \(2, 30\); allowed"),
        ({"starts_on": None}, r"neither of starts_on and starts_at_degree_days given; allowed: one of them"),
        ({"starts_at_degree_days": 50.0}, r"both of starts_on and starts_at_degree_days given"),
        ({"starts_on": None, "starts_at_degree_days": -5.0}, r"starts_at_degree_days is -5 deg C d; allowed: 0 to 20000"),
        ({"stops_on": None}, r"neither stops_on nor stops_below_daylight_h given; allowed: one or both"),
        ({"stops_below_daylight_h": 25.0}, r"stops_below_daylight_h is 25 h; allowed: 0 to 24 h"),
    ],
)  # fmt: skip
def test_impossible_seasons_are_refused(change, message):
    with pytest.raises(SettingsError, match=message):
        MiteSeason(**{**SEASON, "starts_on": (4, 1), "stops_on": (11, 30), **change})
