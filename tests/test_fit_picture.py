"""How far off what was seen is drawn in the picture of a fit."""

import numpy as np
import pytest

from spreadmap.review.fit_picture import way_off
from spreadmap.values.fit import Check


def check_of(seen, low, middle, high):
    """Return a check of one statistic."""
    arrays = {
        name: np.array([value]) for name, value in (("seen", seen), ("low", low), ("middle", middle), ("high", high))
    }
    return Check(name="cases", unit="plants", label=("survey 1",), p=0.5, **arrays)


@pytest.mark.parametrize(
    ("seen", "off"),
    # range 4 to 10 about 6, worked by hand: 2 below the middle is one way, 4 above it is one
    [(6.0, 0.0), (4.0, -1.0), (10.0, 1.0), (8.0, 0.5), (0.0, -3.0), (26.0, 5.0)],
)
def test_each_side_has_a_way_of_its_own(seen, off):
    assert way_off(check_of(seen, 4.0, 6.0, 10.0), 0) == pytest.approx(off)


def test_a_range_without_width_is_left_at_once():
    assert way_off(check_of(1.0, 1.0, 1.0, 1.0), 0) == 0.0
    assert way_off(check_of(1.1, 1.0, 1.0, 1.0), 0) > 100.0
