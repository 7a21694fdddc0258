"""Directions of wind.

Direction is where the wind comes from, clockwise from north; wind (10, 10) comes from 225 degrees: MetPy documentation,
`metpy.calc.wind_direction` and `wind_components`, worked examples. CF conventions, standard names
`wind_from_direction`, `eastward_wind`, `northward_wind` (from memory). The circular mean is worked by hand:
atan2 of the mean sine and cosine. Tolerance 1e-9.
"""

import math

import numpy as np
import pytest

from spreadmap.dispersal.bearings import components_to_from_deg, from_deg_to_components, mean_direction


@pytest.mark.parametrize(
    ("u", "v", "wind_from"),
    [
        (10, 10, 225.0),
        (10, 0, 270.0),
        (0, 10, 180.0),
        (-10, 0, 90.0),
        (0, -10, 0.0),
        (3, -4, 323.13010235415598),
    ],
)
def test_components_give_the_direction_it_comes_from(u, v, wind_from):
    assert float(components_to_from_deg(u, v)) == pytest.approx(wind_from, abs=1e-9)


def test_calm_has_no_direction():
    assert math.isnan(components_to_from_deg(0.0, 0.0))


def test_direction_and_speed_give_components():
    assert from_deg_to_components(225.0, 10.0) == pytest.approx((7.0710678118654755, 7.0710678118654755), abs=1e-9)


def test_the_mean_of_directions_about_north():
    # the arithmetic mean would be 126.67 degrees
    assert mean_direction(np.array([350.0, 10.0, 20.0])) == pytest.approx(6.704953271, abs=1e-9)
