"""Laws of life tables: the two routes to the rate, scaling, limits, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadmap.biology.life_table import (
    TRADE_LIVES,
    LifeTable,
    MiteLife,
    cohort_generation_time,
    dominant_eigenvalue,
    doubling_time,
    generation_time,
    growth_rate,
    leslie_matrix,
    mite_life_table,
    net_reproduction,
    stable_ages,
    steady_growth_rate,
    survival_at,
)
from spreadmap.errors import SettingsError

TABLES = st.integers(1, 12).flatmap(
    lambda n: st.tuples(
        st.lists(st.integers(1, 6), min_size=n, max_size=n),
        st.lists(st.floats(0.05, 1.0), min_size=n, max_size=n),
        st.lists(st.floats(0.01, 20.0), min_size=n, max_size=n),
    )
).map(lambda parts: LifeTable(age=np.cumsum(parts[0]), survival=np.cumprod(parts[1]), female_eggs=parts[2]))  # fmt: skip


def euler_lotka(table, rate):
    return sum(
        share * eggs * math.exp(-rate * age)
        for age, share, eggs in zip(table.age, table.survival, table.female_eggs, strict=True)
    )


@settings(derandomize=True, max_examples=60, deadline=None)
@given(TABLES)
def test_the_rate_solves_the_equation(table):
    assert euler_lotka(table, growth_rate(table)) == pytest.approx(1, rel=1e-9)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(TABLES)
def test_matrix_and_root_are_two_routes(table):
    factor, shares = dominant_eigenvalue(leslie_matrix(table))
    assert math.log(factor) == pytest.approx(growth_rate(table), abs=1e-7)
    if len(table.age) > 1 and table.age[0] > 1:
        assert shares == pytest.approx(stable_ages(table), abs=1e-5)


def test_a_population_settles_to_the_stable_ages_and_grows_by_the_factor():
    table = mite_life_table(TRADE_LIVES["b"])
    matrix, rate = leslie_matrix(table), growth_rate(table)
    numbers = np.zeros(len(matrix))
    numbers[0] = 1.0
    for _ in range(600):
        before, numbers = numbers.sum(), matrix @ numbers
        numbers, grown = numbers / numbers.sum(), numbers.sum() / before
    assert grown == pytest.approx(math.exp(rate), rel=1e-9)
    assert numbers == pytest.approx(stable_ages(table), abs=1e-9)
    # eggs and young make up most of a population that doubles every few days
    assert stable_ages(table)[:7].sum() > 0.6


def test_one_egg_at_one_age_by_hand():
    # two daughters at age 3, none of them lost: r = ln 2 / 3, and all three times are 3
    table = LifeTable(age=[3.0], survival=[1.0], female_eggs=[2.0])
    assert growth_rate(table) == pytest.approx(math.log(2) / 3)
    assert doubling_time(growth_rate(table)) == pytest.approx(3.0)
    assert generation_time(table) == pytest.approx(3.0)
    assert cohort_generation_time(table) == 3.0
    assert net_reproduction(table) == 2.0


def test_small_matrix_by_its_characteristic_equation():
    # l^3 - 0.3 l - 0.75 = 0, worked by hand from the rows; root computed beforehand
    factor, shares = dominant_eigenvalue(np.array([[0, 1, 5], [0.3, 0, 0], [0, 0.5, 0]]))
    assert factor == pytest.approx(1.0181502682, abs=1e-10)
    assert factor**3 - 0.3 * factor - 0.75 == pytest.approx(0, abs=1e-12)
    # each age is what lives on of the one before, divided by the growth
    assert shares[1:] / shares[:-1] == pytest.approx([0.3 / factor, 0.5 / factor])
    assert shares.sum() == pytest.approx(1)


def test_a_population_that_dies_out_has_a_rate_below_zero():
    table = LifeTable(age=[2.0, 3.0], survival=[0.5, 0.2], female_eggs=[1.0, 1.0])
    rate = growth_rate(table)
    assert rate < 0
    assert euler_lotka(table, rate) == pytest.approx(1)
    assert doubling_time(rate) == math.inf


def test_one_daughter_each_stands_still():
    table = LifeTable(age=[2.0, 4.0], survival=[1.0, 1.0], female_eggs=[0.5, 0.5])
    assert growth_rate(table) == pytest.approx(0, abs=1e-12)
    assert generation_time(table) == cohort_generation_time(table) == 3.0


def test_time_in_other_units_scales_the_rate():
    table = mite_life_table(TRADE_LIVES["a"])
    hours = LifeTable(age=24 * table.age, survival=table.survival, female_eggs=table.female_eggs)
    assert 24 * growth_rate(hours) == pytest.approx(growth_rate(table))
    assert generation_time(hours) == pytest.approx(24 * generation_time(table))


def test_ages_without_eggs_change_nothing():
    plain = LifeTable(age=[5.0, 6.0], survival=[0.8, 0.6], female_eggs=[4.0, 3.0])
    padded = LifeTable(age=[1.0, 5.0, 6.0, 9.0], survival=[0.9, 0.8, 0.6, 0.1], female_eggs=[0.0, 4.0, 3.0, 0.0])
    assert growth_rate(padded) == pytest.approx(growth_rate(plain))
    assert dominant_eigenvalue(leslie_matrix(padded))[0] == pytest.approx(math.exp(growth_rate(plain)))


def test_deaths_of_the_young_and_waiting_slow_growth():
    base = {"adult_after_d": 7.0, "laying_days": 30, "eggs_per_day": 1.0, "female_share": 0.5}
    rates = [
        growth_rate(mite_life_table(MiteLife(**base, **more)))
        for more in ({}, {"immature_survival": 0.7}, {"wait_before_laying_d": 2.0}, {"adult_survival_per_day": 0.9})
    ]
    assert all(rate < rates[0] for rate in rates[1:])


def test_steady_laying_is_pulses_made_ever_finer():
    # 30 days from age 7 on, an egg's worth a day cut into a thousand pulses, each in the middle of its slice
    slices = 1000
    age = 7 + 30 * (np.arange(slices) + 0.5) / slices
    fine = LifeTable(age=age, survival=np.ones(slices), female_eggs=np.full(slices, 30 / slices))
    assert growth_rate(fine) == pytest.approx(steady_growth_rate(7.0, 37.0, 1.0), abs=1e-6)


def test_steady_laying_of_one_daughter_stands_still():
    assert steady_growth_rate(2.0, 4.0, 0.5) == pytest.approx(0, abs=1e-12)


def test_survival_falls_steadily_between_given_ages():
    table = LifeTable(age=[2.0, 4.0], survival=[0.25, 0.0625], female_eggs=[1.0, 1.0])
    assert survival_at(table, np.array([0.0, 1.0, 2.0, 3.0, 4.0])) == pytest.approx([1, 0.5, 0.25, 0.125, 0.0625])


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"age": [2.0, 1.0]}, r"age is 1; allowed: above 0, each above the one before"),
        ({"age": [0.0, 1.0]}, r"age is 0; allowed: above 0"),
        ({"survival": [0.5, 0.6]}, r"survival is 0.6; allowed: above 0 to 1, none above the one before"),
        ({"survival": [0.5, 0.0]}, r"survival is 0; .* Leave out ages that no female reaches"),
        ({"survival": [1.2, 0.5]}, r"survival is 1.2; allowed: above 0 to 1"),
        ({"female_eggs": [1.0, -1.0]}, r"female_eggs is -1; allowed: 0 or more"),
        ({"female_eggs": [1.0, math.nan]}, r"female_eggs is nan; allowed: 0 or more"),
        ({"female_eggs": [0.0, 0.0]}, r"2 ages and no egg"),
        ({"age": [3.0, 1.0], "female_eggs": [-1.0, -2.0]}, r"age is 1; .*female_eggs is -1 \(and 1 more\)"),
    ],
)
def test_impossible_tables_are_refused(columns, message):
    with pytest.raises(SettingsError, match=message):
        LifeTable(**{"age": [1.0, 2.0], "survival": [1.0, 0.5], "female_eggs": [1.0, 1.0], **columns})


def test_columns_of_different_length_are_refused():
    with pytest.raises(ValueError, match="survival has"):
        LifeTable(age=[1.0, 2.0], survival=[1.0], female_eggs=[1.0, 1.0])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"adult_after_d": 0.0}, r"adult_after_d is 0 d; allowed: above 0 d"),
        ({"laying_days": 0}, r"laying_days is 0 d; allowed: 1 to 3650 d"),
        ({"eggs_per_day": -1.0}, r"eggs_per_day is -1 per day"),
        ({"female_share": 1.5}, r"female_share is 1.5; allowed: above 0 to 1"),
        ({"immature_survival": 0.0, "adult_survival_per_day": 2.0}, r"immature_survival is 0; .*adult_survival"),
        ({"wait_before_laying_d": -1.0}, r"wait_before_laying_d is -1 d; allowed: 0 or more d. Correct the figures"),
    ],
)
def test_impossible_lives_are_refused(change, message):
    given = {"adult_after_d": 7.0, "laying_days": 30, "eggs_per_day": 1.0, "female_share": 0.5}
    with pytest.raises(SettingsError, match=message):
        MiteLife(**{**given, **change})


def test_a_step_that_does_not_divide_the_ages_is_refused():
    table = LifeTable(age=[4.5], survival=[1.0], female_eggs=[2.0])
    with pytest.raises(SettingsError, match=r"age is 4.5; allowed: whole multiples of step 1. Give a step"):
        leslie_matrix(table)
    with pytest.raises(SettingsError, match=r"step is 0; allowed: above 0"):
        stable_ages(table, step=0.0)


@pytest.mark.parametrize(
    ("matrix", "message"),
    [(np.ones((2, 3)), r"shape is \(2, 3\); allowed: as many rows as columns"), (-np.eye(2), "an entry is -1")],
)
def test_no_leslie_matrix_is_refused(matrix, message):
    with pytest.raises(SettingsError, match=message):
        dominant_eigenvalue(matrix)


def test_impossible_steady_laying_is_refused():
    with pytest.raises(SettingsError, match=r"last_age is 5; allowed: above first_age 7"):
        steady_growth_rate(7.0, 5.0, 1.0)
