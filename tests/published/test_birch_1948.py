"""Birch, L. C. (1948), The intrinsic rate of natural increase of an insect population, J Anim Ecol 17:15-26.

Rice weevil at 29 deg C, ages in weeks. The opening of the paper was read; the table is from memory, and that it gives
the published rate of 0.762 per week again is good evidence that it is right. Only the rate is asserted, to 5e-4: the
printed net reproduction is remembered two ways. The hand check at r = 0.76 and 0.77 is computed from the table.
"""

import math

import numpy as np
import pytest

from spreadmap.biology.life_table import LifeTable, dominant_eigenvalue, growth_rate, leslie_matrix

TABLE = LifeTable(
    age=np.arange(4.5, 19.0),
    survival=[0.87, 0.83, 0.81, 0.80, 0.79, 0.77, 0.74, 0.66, 0.59, 0.52, 0.45, 0.36, 0.29, 0.25, 0.19],
    female_eggs=[20, 23, 15, 12.5, 12.5, 14, 12.5, 14.5, 11, 9.5, 2.5, 2.5, 2.5, 4, 1],
)


def test_rate_per_week():
    assert growth_rate(TABLE) == pytest.approx(0.762, abs=5e-4)


def test_half_week_matrix_gives_the_same_rate():
    # 37 classes of half a week
    matrix = leslie_matrix(TABLE, step=0.5)
    assert len(matrix) == 37
    assert 2 * math.log(dominant_eigenvalue(matrix)[0]) == pytest.approx(0.762, abs=5e-4)


def test_the_hand_check_brackets_the_rate():
    sums = [float(np.exp(7 - rate * TABLE.age) @ (TABLE.survival * TABLE.female_eggs)) for rate in (0.76, 0.77)]
    assert sums == pytest.approx([1107.9942, 1051.9536], abs=5e-5)
    assert sums[0] > math.exp(7) > sums[1]
    assert 0.76 < growth_rate(TABLE) < 0.77
