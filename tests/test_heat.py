"""Degree-days over a record: the sum, its start, its gaps."""

import numpy as np
import pytest

from spreadmap.biology.degree_days import METHODS, degree_days
from spreadmap.biology.heat import (
    HeatRule,
    first_day_reaching,
    heat_rule_from_fahrenheit,
    require_no_gaps,
    sum_heat,
)
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.surveys import DailyTemperature

START = np.datetime64("2024-03-01")
RULE = HeatRule(lower_c=10.0)


def record(low, high, start=START, without=()):
    days = start + np.arange(len(low))
    keep = ~np.isin(np.arange(len(low)), without)
    return DailyTemperature(day=days[keep], minimum_c=np.array(low)[keep], maximum_c=np.array(high)[keep])


# means 12, 14, 16, 18, 20 above a threshold below every minimum: 2, 4, 6, 8, 10 degree-days by hand
LOW, HIGH = [11.0, 12.0, 13.0, 14.0, 15.0], [13.0, 16.0, 19.0, 22.0, 25.0]


def test_sum_by_hand():
    heat = sum_heat(record(LOW, HIGH), RULE, START)
    assert heat.daily.tolist() == [2, 4, 6, 8, 10]
    assert heat.accumulated.tolist() == [2, 6, 12, 20, 30]
    assert heat.is_complete.all()
    assert heat.gaps == heat.filled == heat.remarks == ()


def test_days_before_the_start_and_after_the_end_do_not_count():
    heat = sum_heat(record(LOW, HIGH), RULE, START + 1, START + 3)
    assert heat.accumulated.tolist() == [4, 10, 18]
    assert heat.day.tolist() == [(START + i).item() for i in (1, 2, 3)]


def test_rows_may_come_in_any_order():
    shuffled = DailyTemperature(
        day=START + np.array([3, 0, 4, 1, 2]),
        minimum_c=[LOW[i] for i in (3, 0, 4, 1, 2)],
        maximum_c=[HIGH[i] for i in (3, 0, 4, 1, 2)],
    )
    assert sum_heat(shuffled, RULE, START).accumulated.tolist() == [2, 6, 12, 20, 30]


@pytest.mark.parametrize("method", METHODS)
def test_two_periods_add_up_to_the_whole(method):
    rng = np.random.default_rng(1)
    low = rng.uniform(0, 15, 60)
    temperatures = record(low, low + rng.uniform(2, 15, 60))
    rule = HeatRule(lower_c=8.0, upper_c=22.0, method=method, cutoff="intermediate")
    whole = sum_heat(temperatures, rule, START)
    first = sum_heat(temperatures, rule, START, START + 29)
    second = sum_heat(temperatures, rule, START + 30)
    assert whole.accumulated[-1] == pytest.approx(first.accumulated[-1] + second.accumulated[-1])
    assert whole.daily[:30].tolist() == first.daily.tolist()


def test_double_methods_look_at_the_day_after_the_end():
    rule = HeatRule(lower_c=12.5, method="double_sine")
    heat = sum_heat(record(LOW, HIGH), rule, START, START + 1)
    expected = degree_days([11.0, 12.0], [13.0, 16.0], 12.5, method="double_sine", next_minimum=[12.0, 13.0])
    assert heat.daily.tolist() == expected.tolist()
    assert heat.remarks == ()


def test_the_last_day_of_a_double_method_takes_its_own_minimum_and_says_so():
    heat = sum_heat(record(LOW, HIGH), HeatRule(lower_c=12.5, method="double_sine"), START)
    assert heat.daily[-1] == float(degree_days(15.0, 25.0, 12.5))
    assert heat.remarks == ("1 day(s) have no next day; their second half runs down to their own minimum.",)


@pytest.mark.parametrize("cell", ["no row", "no minimum", "no maximum"])
def test_a_gap_is_told_and_the_sum_is_the_least_it_can_be(cell):
    if cell == "no row":
        temperatures = record(LOW, HIGH, without=[2])
    else:
        low, high = list(LOW), list(HIGH)
        (low if cell == "no minimum" else high)[2] = np.nan
        temperatures = record(low, high)
    heat = sum_heat(temperatures, RULE, START)
    assert np.isnan(heat.daily[2])
    assert heat.accumulated.tolist() == [2, 6, 6, 14, 24]
    assert heat.is_complete.tolist() == [True, True, False, False, False]
    assert heat.gaps == ((START + 2, START + 2),)
    assert heat.remarks == (
        "Temperatures are missing 2024-03-03 (1 day): from the first of these days on the sum is the least it can be.",
    )


def test_a_short_gap_is_bridged_only_when_asked_for_and_told():
    heat = sum_heat(record(LOW, HIGH, without=[1, 2]), RULE, START, most_filled_days=2)
    # straight lines give back the temperatures, for these lie on one
    assert heat.accumulated.tolist() == pytest.approx([2, 6, 12, 20, 30])
    assert heat.gaps == ()
    assert heat.filled == ((START + 1, START + 2),)
    assert heat.remarks == ("Filled with straight lines, not measured: 2024-03-02 to 2024-03-03 (2 days).",)
    longer = sum_heat(record(LOW, HIGH, without=[1, 2]), RULE, START, most_filled_days=1)
    assert longer.gaps == ((START + 1, START + 2),)


def test_a_gap_at_either_end_cannot_be_bridged():
    heat = sum_heat(record(LOW, HIGH, without=[0]), RULE, START, most_filled_days=5)
    assert heat.gaps == ((START, START),)
    heat = sum_heat(record(LOW, HIGH), RULE, START, START + 6, most_filled_days=5)
    assert heat.gaps == ((START + 5, START + 6),)
    assert not heat.is_complete[-1]


def test_a_gap_on_the_first_day_is_bridged_from_the_day_before():
    heat = sum_heat(record(LOW, HIGH, without=[1]), RULE, START + 1, most_filled_days=1)
    assert heat.accumulated.tolist() == pytest.approx([4, 10, 18, 28])
    assert heat.filled == ((START + 1, START + 1),)


def test_many_gaps_are_counted():
    low = [11.0] * 20
    heat = sum_heat(record(low, [15.0] * 20, without=[1, 3, 5, 7, 9]), RULE, START)
    assert len(heat.gaps) == 5
    assert "2024-03-06 (1 day); and 2 more:" in heat.remarks[0]
    with pytest.raises(InputError, match=r"missing 2024-03-02 \(1 day\); .* and 2 more; allowed: no gap, for a test"):
        require_no_gaps(heat, "a test")


def test_the_day_on_which_a_sum_is_reached():
    heat = sum_heat(record(LOW, HIGH), RULE, START)
    assert first_day_reaching(heat, 6.0) == START + 1
    assert first_day_reaching(heat, 6.1) == START + 2
    assert first_day_reaching(heat, 0.0) == START
    assert np.isnat(first_day_reaching(heat, 30.1))
    with pytest.raises(SettingsError, match=r"wanted is -1 deg C d; allowed: 0 or more"):
        first_day_reaching(heat, -1.0)


def test_a_rule_in_deg_f():
    rule = heat_rule_from_fahrenheit(50.0, 86.0, method="average")
    assert (rule.lower_c, rule.upper_c, rule.method) == (10.0, 30.0, "average")
    assert heat_rule_from_fahrenheit(50.0) == RULE


def test_a_leap_day_is_a_day():
    start = np.datetime64("2024-02-28")
    assert len(sum_heat(record(LOW, HIGH, start), RULE, start)) == 5


@pytest.mark.parametrize(
    ("low", "high", "message"),
    [
        ([50.0], [72.0], r"2024-03-01: maximum 72 deg C; allowed: -70 to 60 deg C. Correct these rows; give deg C"),
        ([-999.0], [12.0], r"2024-03-01: minimum -999 deg C; allowed: -70 to 60 deg C.*leave the cell empty"),
        ([15.0], [12.0], r"2024-03-01: minimum 15 deg C is above maximum 12 deg C"),
        ([np.inf], [np.inf], r"minimum inf deg C; allowed"),
        ([15.0] * 9, [12.0] * 9, r"2024-03-03: minimum 15 deg C is above maximum 12 deg C; and 6 more"),
    ],
)
def test_temperatures_of_no_air_are_refused(low, high, message):
    with pytest.raises(InputError, match=message):
        sum_heat(record(low, high), RULE, START)


def test_days_twice_and_undated_rows_are_refused():
    twice = DailyTemperature(day=[START, START], minimum_c=[5.0, 6.0], maximum_c=[9.0, 9.0])
    with pytest.raises(InputError, match=r"temperatures: 2024-03-01: 2 rows; allowed: one"):
        sum_heat(twice, RULE, START)
    undated = DailyTemperature(day=[np.datetime64("NaT"), START], minimum_c=[5.0, 6.0], maximum_c=[9.0, 9.0])
    with pytest.raises(InputError, match=r"1 row\(s\) without a date"):
        sum_heat(undated, RULE, START)


def test_no_record_and_a_start_after_its_end_are_refused():
    with pytest.raises(InputError, match=r"temperatures: no row; allowed: one row per day"):
        sum_heat(record([], []), RULE, START)
    with pytest.raises(InputError, match=r"would run from 2024-03-09 to 2024-03-05; allowed: an end on the start"):
        sum_heat(record(LOW, HIGH), RULE, START + 8)


def test_filling_less_than_nothing_is_refused():
    with pytest.raises(SettingsError, match=r"most_filled_days is -1 d; allowed: 0 or more"):
        sum_heat(record(LOW, HIGH), RULE, START, most_filled_days=-1)
    with pytest.raises(SettingsError, match=r"upper threshold is 5 deg; allowed: above the lower threshold 10"):
        HeatRule(lower_c=10.0, upper_c=5.0)
