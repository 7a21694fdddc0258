"""The checks of a fit refuse fits of other laws more often than those of the very law; how far off a line is."""

import numpy as np
import pytest
from fit_power import LAWS, refused

from spreadmap.outbreak.fit_predict import bands_of, how_far_off

OUTBREAKS = 12


@pytest.mark.long
@pytest.mark.timeout(0)
def test_wrong_laws_are_refused_more_often_than_right_ones():
    """Which laws no check tells is printed: a wrong share noticed, a background held at none, mostly a wrong wind."""
    counts = {law: refused(law, OUTBREAKS) for law in LAWS}
    assert counts["as told"] <= 4  # six checks at 1 % or a little more each: five or more by chance in less than 0.1 %
    assert counts["lengths held at five times the true ones"] >= OUTBREAKS - 2


def test_the_item_furthest_off_decides():
    made = np.column_stack(
        [np.arange(101.0), 10 * np.arange(101.0)]
    )  # 5, 50, 95 % points: 5, 50, 95 and ten times that
    low, middle, high = bands_of(made)
    assert (low[0], middle[0], high[0], high[1]) == (5.0, 50.0, 95.0, 950.0)
    # worked by hand: 45 above the middle is one unit; -90 of the second is 590 below, 590 / 450 units
    off = how_far_off(np.array([[95.0, 500.0], [50.0, -90.0], [np.nan, 500.0]]), made)
    np.testing.assert_allclose(off, [1.0, 590 / 450, 0.0])


def test_what_no_made_history_tells_is_not_off():
    assert how_far_off(np.array([[3.0]]), np.full((5, 1), np.nan))[0] == 0.0
