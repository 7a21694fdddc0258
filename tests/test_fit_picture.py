"""The picture of a fit: how far off what was seen is drawn, with whole names and its numbers."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from spreadmap.review.fit_picture import _checks, _is_told, way_off
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


def test_names_are_whole_and_numbers_stand_beside_the_range():
    name = "distance of new cases to the nearest earlier case, with a name that takes more than one line"
    check = Check(
        name=name, unit="m", label=("median", "upper tenth"), p=0.25, seen=np.array([5.0, np.nan]),
        low=np.array([1.0, 1.0]), middle=np.array([2.0, 2.0]), high=np.array([3.0, 3.0]),
    )  # fmt: skip
    rows = [(check, item) for item in range(2) if _is_told(check, item)]
    assert [item for _, item in rows] == [0]
    axes = Figure().subplots()
    _checks(axes, rows)
    (label,) = axes.get_yticklabels()
    assert label.get_text().replace("\n", " ") == f"{name}: median [m], p\u00a00.25"
    assert [text.get_text() for text in axes.texts] == ["5 (1 to 3)"]
    # three ways above the middle is on the edge, and still a dot
    assert [line.get_marker() for line in axes.lines][-1] == "o"
