"""What the trade's rule of thumb for the rose mite implies, row by row.

Inputs: common practice, no source: one egg a day for 30 days, hatch in 2 to 3 days, adult in 4 to 5 more (here 2.5 and
4.5). Sex ratio, deaths and waits of the rows are assumptions. The short-lived row follows an extension page that tells
of a life of 11 to 12 days (ipm.uga.edu, read).

Expected numbers: computed beforehand with 25 digits from sum of l m exp(-r x) = 1, eggs as daily pulses from the day
after the adult emerges; here found again by two routes, the root and the largest eigenvalue of the daily matrix. They
prove that the formula is computed, not that the mite lives so.

Rates of relatives that bracket them: tomato russet mite 0.253 per day at 25 deg C (Haque & Kawai 2003, Appl Entomol
Zool 38:97-101, doi 10.1303/aez.2003.97, abstract, read); fig mite 0.234 at 30 deg C (Bahirai et al. 2019, Syst Appl
Acarol 24(8), read); apple rust mite 0.158 at 35 deg C (doi 10.21608/ajesa.2011.163611, read).
"""

import math

import numpy as np
import pytest

from spreadmap.biology.life_table import (
    TRADE_LIVES,
    cohort_generation_time,
    dominant_eigenvalue,
    doubling_time,
    growth_rate,
    leslie_matrix,
    mite_life_table,
    net_reproduction,
    steady_growth_rate,
)

# name: R0, cohort generation time [d], short cut ln R0 / T [1/d], exact r [1/d], factor per day, doubling time [d]
ROWS = {
    "a": (30, 22.5, 0.15116433, 0.2085271614, 1.231862389, 3.3240139),
    "b": (15, 22.5, 0.12035779, 0.1548592208, 1.167493591, 4.4759826),
    "c": (15.75, 22.5, 0.12252624, 0.1584411121, 1.171682924, 4.3747937),
    "fast": (30, 21.5, 0.15819523, 0.2273725172, 1.255297401, 3.0485091),
    "slow": (30, 23.5, 0.14473180, 0.1929963884, 1.212878413, 3.5915034),
    "b_waiting": (15, 24.5, 0.11053266, 0.1355189150, 1.145130856, 5.1147634),
    "d": (5.22265222, 18.80101764, 0.08792106, 0.1037398077, 1.109311783, 6.6815931),
    "short_lived": (2.5, 10.0, 0.09162907, 0.09248280037, 1.096894275, 7.4948766),
}
BY_ROW = pytest.mark.parametrize("name", ROWS)


def test_every_life_has_its_row():
    assert set(TRADE_LIVES) == set(ROWS)


@BY_ROW
def test_reproduction_and_cohort_time(name):
    table, (reproduction, time, *_) = mite_life_table(TRADE_LIVES[name]), ROWS[name]
    assert net_reproduction(table) == pytest.approx(reproduction, abs=5e-9)
    assert cohort_generation_time(table) == pytest.approx(time, abs=5e-9)


@BY_ROW
def test_rate_factor_and_doubling_time(name):
    rate = growth_rate(mite_life_table(TRADE_LIVES[name]))
    _, _, _, exact, factor, doubling = ROWS[name]
    assert rate == pytest.approx(exact, abs=1e-10)
    assert math.exp(rate) == pytest.approx(factor, abs=1e-9)
    assert doubling_time(rate) == pytest.approx(doubling, abs=1e-7)


@BY_ROW
def test_the_daily_matrix_is_a_second_route(name):
    matrix = leslie_matrix(mite_life_table(TRADE_LIVES[name]))
    life = TRADE_LIVES[name]
    assert len(matrix) == life.adult_after_d + life.wait_before_laying_d + life.laying_days
    assert dominant_eigenvalue(matrix)[0] == pytest.approx(ROWS[name][4], abs=1e-9)


def test_the_matrix_of_the_first_two_rows_to_ten_digits():
    values = [dominant_eigenvalue(leslie_matrix(mite_life_table(TRADE_LIVES[name])))[0] for name in "ab"]
    assert values == pytest.approx([1.2318623887, 1.1674935907], abs=1e-9)


@BY_ROW
def test_the_short_cut_is_not_what_is_computed(name):
    table, short_cut = mite_life_table(TRADE_LIVES[name]), ROWS[name][2]
    assert math.log(net_reproduction(table)) / cohort_generation_time(table) == pytest.approx(short_cut, abs=1e-8)
    too_low = 1 - short_cut / growth_rate(table)
    # 18 to 31 % for thirty laying days without deaths of adults, 15 % with them, 1 % for the short life
    least, most = {"d": (0.15, 0.16), "short_lived": (0.009, 0.01)}.get(name, (0.18, 0.31))
    assert least < too_low < most


def test_eggs_in_pulses_or_all_day_long():
    # root of exp(-7r) (1 - exp(-30r)) / r = 1 and with half the eggs; computed beforehand
    assert steady_growth_rate(7.0, 37.0, 1.0) == pytest.approx(0.2176375514, abs=1e-10)
    assert steady_growth_rate(7.0, 37.0, 0.5) == pytest.approx(0.1608600931, abs=1e-10)


def test_relatives_that_were_measured_bracket_the_rule():
    rates = np.array([growth_rate(mite_life_table(TRADE_LIVES[name])) for name in "abc"])
    assert (rates > 0.15).all()
    assert (rates < 0.253).all()
    # the rule says a doubling every three to five days; the short life half that speed
    assert all(3 < doubling_time(rate) < 5 for rate in rates)
    short = growth_rate(mite_life_table(TRADE_LIVES["short_lived"]))
    assert 0.4 < short / rates[0] < 0.5
