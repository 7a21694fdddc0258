"""Degree-day windows of the cited pages, held against temperatures made for the purpose.

Figures [read in the pages named]: Rutgers nursery IPM, hemlock rust mite,
sites.rutgers.edu/nursery-ipm/hemlock-rust-mite: 7-450, mites emerge at 7-22. Rutgers, early season pest scouting 2021,
plant-pest-advisory.rutgers.edu/gdd_0_25_range_2021: conifer rust mites, overwintering eggs hatch at 7-22, base 50 F.
University of Massachusetts, maple gall mites, ag.umass.edu: 58-148 and 98-155, base 50 F, from 1 March; which belongs
to which gall is our reading. How a day is summed [read]: Rutgers,
plant-pest-advisory.rutgers.edu/obtaining-your-local-growing-degree-day-information: mean of 24 hours less 50 F. That the
mean is (lowest + highest) / 2 and a cold day counts nothing: Michigan State University, "Calculating growing degree
days", examples 65/40 F = 2.5 and 60/35 F = 0 [read in a copy, info.5y1.org].

The day of crossing is computed by a second route: a loop in deg F that knows none of the package's functions.
"""

import datetime as dt
import math

import numpy as np
import pytest

from spreadmap.biology.degree_days import degree_days
from spreadmap.decisions.calendar import entries_of
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.values.calendar import Basis
from spreadmap.values.settings import CalendarSettings
from spreadmap.values.surveys import DailyTemperature

SYSTEMS = {system.key: system for system in read_pest_systems()}
WINDOWS = [
    ("hemlock_rust_mite", "mites appear", 7, 450),
    ("hemlock_rust_mite", "first activity", 7, 22),
    ("spruce_rust_mite", "spring: eggs hatch", 7, 22),
    ("white_pine_sheath_mite", "spring: eggs hatch", 7, 22),
    ("maple_bladder_gall", "mites find new leaves", 58, 148),
    ("maple_spindle_gall", "mites find new leaves", 98, 155),
]
FIRST = dt.date(2026, 1, 1)


def made_year(warmer_f):
    """Return lowest and highest of each day of 2026 [deg F]: a cosine year, warm and cold spells of eleven days."""
    days = range(365)
    mean = [
        52 - 24 * math.cos(2 * math.pi * (number - 20) / 365) + 9 * math.sin(number * 2 * math.pi / 11)
        for number in days
    ]
    return [(value + warmer_f - 10.3, value + warmer_f + 10.3) for value in mean]


def hand_sum(year, wanted):
    """Return the first day on which mean less 50 F, cold days nothing, comes to a figure when counted from 1 March."""
    total = 0.0
    for number, (low, high) in enumerate(year):
        today = FIRST + dt.timedelta(days=number)
        if today >= dt.date(2026, 3, 1):
            total += max(0.0, (low + high) / 2 - 50)
            if total >= wanted:
                return today
    raise AssertionError(wanted)


def record_of(year):
    low, high = (np.array([pair[index] for pair in year]) for index in (0, 1))
    days = np.arange(np.datetime64(FIRST), np.datetime64(FIRST) + np.timedelta64(len(year), "D"))
    return DailyTemperature(day=days, minimum_c=(low - 32) * 5 / 9, maximum_c=(high - 32) * 5 / 9)


def window_of(key, name):
    (window,) = [window for window in SYSTEMS[key].windows if window.name.startswith(name)]
    return window


@pytest.mark.parametrize(("key", "name", "first", "last"), WINDOWS)
def test_the_file_holds_the_printed_figures(key, name, first, last):
    heat = window_of(key, name).degree_days
    assert (heat.first, heat.last, heat.base, heat.unit, heat.counted_from) == (first, last, 50, "F", (3, 1))
    # divided by 1.8, with no 32: 450 is 250 in deg C d, 7 is 3.89
    assert (heat.first_c_days, heat.last_c_days) == pytest.approx((first * 5 / 9, last * 5 / 9))
    assert heat.base_c == pytest.approx(10)


@pytest.mark.parametrize("warmer_f", [-6.0, 0.0, 7.0])
@pytest.mark.parametrize(("key", "name", "first", "last"), WINDOWS)
def test_a_made_year_crosses_them_on_the_day_of_a_direct_sum(key, name, first, last, warmer_f):
    year = made_year(warmer_f)
    window = window_of(key, name)
    entry = entries_of(window, dt.date(2026, 12, 31), record_of(year), CalendarSettings()).entries[0]
    assert entry.begins.basis is entry.ends.basis is Basis.DEGREE_DAYS
    assert (entry.begins.on, entry.ends.on) == (hand_sum(year, first), hand_sum(year, last))


def test_the_three_made_years_cross_on_different_days():
    days = {hand_sum(made_year(warmer_f), 58) for warmer_f in (-6.0, 0.0, 7.0)}
    assert len(days) == 3


@pytest.mark.parametrize(("high", "low", "printed"), [(65, 40, 2.5), (60, 35, 0.0)])
def test_the_way_of_summing_is_the_printed_one(high, low, printed):
    method = CalendarSettings().degree_day_method
    assert float(degree_days(low, high, 50, method=method)) == printed
    # the sine counts the warm hours of a cold day, so that it opens windows earlier
    assert float(degree_days(low, high, 50, method="single_sine")) > printed
