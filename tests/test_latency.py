"""Laws of latency: shares that rise from nothing to all, days that undo them, tails, the season's clock, the table."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spreadmap.biology.latency import (
    LATENCY_FAMILIES,
    SHORTER_LATENCY,
    USUAL_LATENCY,
    Latency,
    date_of_share,
    day_of_share,
    latency_table,
    lognormal_from_range,
    share_showing,
    share_showing_on,
)
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.errors import InputError, SettingsError

LAW = settings(derandomize=True, max_examples=60, deadline=None)
GROWING = SeasonClock(begins=(4, 1), ends=(10, 31))
TAILED = Latency(family="lognormal", median_d=66.0, spread=0.48, tail_share=0.1, tail_median_d=300.0, tail_spread=0.4)
GAMMA_TAILED = Latency(family="gamma", median_d=66.0, spread=0.5, tail_share=0.2, tail_median_d=400.0, tail_spread=0.3)
SAMPLES = [USUAL_LATENCY, SHORTER_LATENCY, TAILED, GAMMA_TAILED, Latency(family="gamma", median_d=69.0, spread=0.8)]
EACH = pytest.mark.parametrize("latency", SAMPLES, ids=str)


def test_every_family_is_tested_here():
    assert {latency.family for latency in SAMPLES} == set(LATENCY_FAMILIES)


@EACH
def test_none_shows_before_infection_and_all_in_the_end(latency):
    shown = share_showing(latency, [-5.0, 0.0, 1e6])
    assert shown[:2].tolist() == [0, 0]
    assert shown[2] == pytest.approx(1)
    rising = share_showing(latency, np.linspace(0, 1500, 400))
    assert (np.diff(rising) >= 0).all()


@EACH
@LAW
@given(st.floats(1e-4, 1 - 1e-4))
def test_day_undoes_share(latency, share):
    assert float(share_showing(latency, day_of_share(latency, share))) == pytest.approx(share, rel=1e-9)


@EACH
def test_mean_is_the_area_above_the_curve(latency):
    day = np.linspace(0, 20_000, 2_000_001)
    area = float(np.trapezoid(1 - share_showing(latency, day), day))
    assert latency.mean_d() == pytest.approx(area, rel=1e-4)


def test_against_another_library():
    days = np.array([1.0, 20.0, 69.0, 200.0, 600.0])
    assert share_showing(USUAL_LATENCY, days) == pytest.approx(stats.lognorm(s=0.71, scale=69.0).cdf(days), rel=1e-12)
    shape = 1 / 0.8**2
    scale = 69.0 / stats.gamma(shape).median()
    assert share_showing(SAMPLES[-1], days) == pytest.approx(stats.gamma(shape, scale=scale).cdf(days), rel=1e-12)
    assert stats.gamma(shape, scale=scale).std() / stats.gamma(shape, scale=scale).mean() == pytest.approx(0.8)


@EACH
def test_days_scale_with_the_medians(latency):
    twice = Latency(
        family=latency.family,
        median_d=2 * latency.median_d,
        spread=latency.spread,
        tail_share=latency.tail_share,
        tail_median_d=2 * latency.tail_median_d,
        tail_spread=latency.tail_spread,
    )
    shares = [0.1, 0.5, 0.95]
    assert day_of_share(twice, shares) == pytest.approx(2 * day_of_share(latency, shares), rel=1e-9)


def test_a_mixture_is_the_sum_of_its_curves_and_lies_between_them():
    core = Latency(family="lognormal", median_d=66.0, spread=0.48)
    tail = Latency(family="lognormal", median_d=300.0, spread=0.4)
    days = np.array([30.0, 66.0, 150.0, 300.0, 700.0])
    assert share_showing(TAILED, days) == pytest.approx(
        0.9 * share_showing(core, days) + 0.1 * share_showing(tail, days)
    )
    for share in (0.05, 0.5, 0.95, 0.999):
        low, high = sorted(float(day_of_share(one, share)) for one in (core, tail))
        assert low < float(day_of_share(TAILED, share)) < high


def test_a_tail_moves_the_late_days_and_hardly_the_median():
    core = Latency(family="lognormal", median_d=66.0, spread=0.48)
    half, late = (day_of_share(one, [0.5, 0.95]) for one in (core, TAILED))
    assert late[0] / half[0] < 1.1
    assert late[1] / half[1] > 1.7


def test_a_tail_of_the_same_curve_is_no_tail():
    same = Latency(family="gamma", median_d=60.0, spread=0.5, tail_share=0.3, tail_median_d=60.0000001, tail_spread=0.5)
    assert day_of_share(same, [0.1, 0.5, 0.9]) == pytest.approx(
        day_of_share(Latency(family="gamma", median_d=60.0, spread=0.5), [0.1, 0.5, 0.9]), rel=1e-6
    )


def test_the_clock_stands_still_in_winter():
    infected = np.datetime64("2023-09-22")  # 40 season days to the end of October
    looked = np.array(["2023-11-01", "2024-01-15", "2024-04-01", "2024-04-30"], dtype="datetime64[D]")
    shown = share_showing_on(USUAL_LATENCY, GROWING, infected, looked)
    assert shown.tolist() == share_showing(USUAL_LATENCY, [40, 40, 40, 69]).tolist()
    assert shown[3] == pytest.approx(0.5)


def test_half_and_most_as_dates():
    # by hand: half show after 69 season days, 40 of them in 2023, 29 from 1 April 2024 on
    dates = date_of_share(USUAL_LATENCY, GROWING, np.datetime64("2023-09-22"), [0.5, 0.95])
    assert dates[0] == np.datetime64("2024-04-30")
    # 69 exp(1.644854 x 0.71) = 221.8 season days, the 222nd is over after 40 + 182: 1 April + 182 days
    assert dates[1] == np.datetime64("2024-04-01") + 182
    by_plant = date_of_share(USUAL_LATENCY, GROWING, np.array(["2023-05-01", "2023-09-22"], dtype="datetime64[D]"), 0.5)
    assert by_plant.astype(str).tolist() == ["2023-07-09", "2024-04-30"]


def test_infected_tomorrow_shows_nothing_today():
    assert (
        float(share_showing_on(USUAL_LATENCY, GROWING, np.datetime64("2023-06-02"), np.datetime64("2023-06-01"))) == 0
    )


@EACH
def test_table_is_the_curve_on_whole_days(latency):
    table = latency_table(latency, 400)
    assert len(table.day) == len(table.shown) == len(table.showing) == 401
    assert table.shown.tolist() == share_showing(latency, np.arange(401.0)).tolist()
    assert np.cumsum(table.showing) == pytest.approx(table.shown, abs=1e-12)
    assert table.showing.sum() + table.beyond == pytest.approx(1)
    assert (table.showing >= 0).all()
    # between whole days straight, within the curve's own bend; before and beyond kept
    between = np.arange(400) + 0.5
    assert table.shown_by(between) == pytest.approx(share_showing(latency, between), abs=3e-4)
    assert table.shown_by([-3.0, 1000.0]).tolist() == [0.0, table.shown[-1]]
    with pytest.raises(ValueError, match="read-only"):
        table.shown[0] = 1.0


def test_shapes_are_kept():
    assert share_showing(TAILED, np.zeros((2, 3))).shape == (2, 3)
    assert day_of_share(TAILED, np.full((2, 3), 0.5)).shape == (2, 3)
    assert day_of_share(TAILED, 0.5).shape == ()
    assert day_of_share(USUAL_LATENCY, []).shape == (0,)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"family": "normal"}, r"family is 'normal'; allowed: lognormal, gamma"),
        ({"median_d": 0.0}, r"median_d is 0 d; allowed: above 0 to 36500 d"),
        ({"spread": 9.0}, r"spread is 9; allowed: 0.01 to 5"),
        ({"tail_share": 1.0}, r"tail_share is 1; allowed: 0 to below 1"),
        ({"tail_share": 0.1}, r"tail_median_d is 0 d; allowed: above median_d 69 to 36500 d; tail_spread is 0"),
        ({"median_d": math.nan, "spread": -1.0}, r"median_d is nan d; .*spread is -1"),
    ],
)
def test_impossible_latencies_are_refused(change, message):
    with pytest.raises(SettingsError, match=message):
        Latency(**{"family": "lognormal", "median_d": 69.0, "spread": 0.71, **change})


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, math.nan])
def test_no_day_for_none_or_all(share):
    with pytest.raises(SettingsError, match=r"share is .*; allowed: above 0 to below 1. Correct the share"):
        day_of_share(USUAL_LATENCY, [0.5, share])


@pytest.mark.parametrize("last_day", [0, -3, 40_000, 2.5, "30"])
def test_impossible_tables_are_refused(last_day):
    with pytest.raises(SettingsError, match=r"last_day is .* d; allowed: a whole number, 1 to 36500 d"):
        latency_table(USUAL_LATENCY, last_day)


def test_ranges_the_wrong_way_round_are_refused():
    with pytest.raises(SettingsError, match=r"high_d is 30 d; allowed: above low_d 146 d"):
        lognormal_from_range(146.0, 30.0, 0.9)
    with pytest.raises(SettingsError, match=r"share is 1; allowed: above 0 to below 1"):
        lognormal_from_range(30.0, 146.0, 1.0)


def test_a_missing_date_of_infection_is_refused():
    with pytest.raises(InputError, match=r"first has 1 missing date"):
        share_showing_on(USUAL_LATENCY, GROWING, np.datetime64("NaT"), np.datetime64("2023-06-01"))
