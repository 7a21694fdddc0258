"""Development by temperature: the straight law, its limits, and the rate of increase that goes with it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadmap.biology.development import (
    development_days,
    generations,
    growth_per_degree_day,
    growth_rate_at,
)
from spreadmap.biology.heat import HeatRule, sum_heat
from spreadmap.biology.life_table import TRADE_LIVES, LifeTable, growth_rate, mite_life_table
from spreadmap.errors import SettingsError
from spreadmap.values.surveys import DailyTemperature

RULE = HeatRule(lower_c=10.0, upper_c=30.0)


def test_days_of_development_by_hand():
    # 100 degree-days at 5, 10 and, above the upper threshold of 30, still 20 degrees a day
    assert development_days([15.0, 20.0, 30.0, 38.0], 100.0, RULE).tolist() == [20, 10, 5, 5]
    assert development_days([[9.0, 10.0]], 100.0, RULE).tolist() == [[np.inf, np.inf]]


def test_heat_slows_or_stops_development_as_the_cutoff_says():
    # 3 degrees above 30: 20 - 3 = 17 degrees a day, or none
    slower = HeatRule(lower_c=10.0, upper_c=30.0, cutoff="intermediate")
    stopped = HeatRule(lower_c=10.0, upper_c=30.0, cutoff="vertical")
    assert float(development_days(33.0, 85.0, slower)) == pytest.approx(5)
    assert float(development_days(33.0, 85.0, stopped)) == np.inf


def test_generations_are_heat_over_the_heat_of_one():
    days = np.arange("2024-05-01", "2024-05-21", dtype="datetime64[D]")
    record = DailyTemperature(day=days, minimum_c=np.full(20, 15.0), maximum_c=np.full(20, 25.0))
    # 20 days of 10 degrees make 200 degree-days, two generations of 100
    assert generations(sum_heat(record, RULE, days[0]), 100.0)[[9, 19]].tolist() == [1, 2]


def test_the_rate_follows_the_degrees():
    per_degree_day = growth_per_degree_day(0.15, 25.0, RULE)
    assert per_degree_day == pytest.approx(0.01)
    # 10 degrees above the threshold instead of 15; nothing below it; no more than 20 degrees above 30
    assert growth_rate_at([20.0, 8.0, 35.0], per_degree_day, RULE) == pytest.approx([0.10, 0.0, 0.20])


@settings(derandomize=True, max_examples=30, deadline=None)
@given(st.sampled_from(sorted(TRADE_LIVES)), st.floats(11, 40), st.floats(11, 40))
def test_rate_scales_like_a_life_table_in_degree_days(name, known_c, other_c):
    # The same life with every age stretched by how much slower the days run at the other temperature.
    table = mite_life_table(TRADE_LIVES[name])
    slower = float(development_days(other_c, 1.0, RULE) / development_days(known_c, 1.0, RULE))
    stretched = LifeTable(age=table.age * slower, survival=table.survival, female_eggs=table.female_eggs)
    per_degree_day = growth_per_degree_day(growth_rate(table), known_c, RULE)
    assert float(growth_rate_at(other_c, per_degree_day, RULE)) == pytest.approx(growth_rate(stretched), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: development_days(20.0, 0.0, RULE), r"degree_days_needed is 0 deg C d; allowed: above 0"),
        (lambda: growth_per_degree_day(0.2, 9.0, RULE), r"temperature_c is 9 deg C; allowed: one at which degree-days"),
        (lambda: growth_per_degree_day(-0.1, 25.0, RULE), r"rate_per_day is -0.1 1/d; allowed: above 0 1/d. Give the"),
    ],
)
def test_what_makes_no_development_is_refused(call, message):
    with pytest.raises(SettingsError, match=message):
        call()
