"""Development of a relative, the tomato russet mite.

Haque, M. M. & Kawai, A. (2003), Effect of temperature on development and reproduction of the tomato russet mite, Appl
Entomol Zool 38:97-101, doi 10.1303/aez.2003.97, abstract (read): threshold 10.5 deg C, 81.2 degree-days from egg to
adult; r 0.253 per day at 25 deg C.

Days to adult are computed from those two constants; 30 deg C lies beyond the range in which the law is straight.
Another mite than the rose mite: these figures are a check, not a default.
"""

import numpy as np
import pytest

from spreadmap.biology.development import development_days, growth_per_degree_day, growth_rate_at
from spreadmap.biology.heat import HeatRule
from spreadmap.biology.life_table import MiteLife, growth_rate, mite_life_table

RUSSET = HeatRule(lower_c=10.5)


def test_days_to_adult():
    days = development_days([15, 20, 25, 30], 81.2, RUSSET)
    assert days == pytest.approx([18.044, 8.547, 5.600, 4.164], abs=5e-4)


def test_nothing_develops_at_the_threshold_and_below():
    assert development_days([10.5, 5.0], 81.2, RUSSET).tolist() == [np.inf, np.inf]


def test_rate_at_the_temperature_of_the_study_comes_back():
    per_degree_day = growth_per_degree_day(0.253, 25.0, RUSSET)
    assert float(growth_rate_at(25.0, per_degree_day, RUSSET)) == pytest.approx(0.253)
    assert per_degree_day == pytest.approx(0.253 / 14.5)


def test_one_female_egg_a_day_gives_about_the_published_rate():
    # With its 5.6 days to adult and one female egg a day for 30 days the rate comes near; 51.7 eggs at most
    # per female (abstract) are of the same size. This is agreement, not proof.
    life = MiteLife(adult_after_d=5.6, laying_days=30, eggs_per_day=1.0, female_share=1.0)
    assert growth_rate(mite_life_table(life)) == pytest.approx(0.253, abs=0.03)
