"""Directions of wind.

Direction is where the wind comes from, clockwise from north; wind (10, 10) comes from 225 degrees: MetPy documentation,
`metpy.calc.wind_direction` and `wind_components`, worked examples. CF conventions, standard names
`wind_from_direction`, `wind_to_direction`, `eastward_wind`, `northward_wind` (from memory). The circular mean is worked
by hand: atan2 of the mean sine and cosine; a second route at test time is astropy's `circmean` and `circvar`.
Tolerance 1e-9.
"""

import math

import numpy as np
import pytest
from astropy.stats import circmean, circvar

from spreadmap.dispersal.bearings import (
    components_to_from_deg,
    from_deg_to_components,
    mean_direction,
    rose_of_bearings,
    toward_from,
)


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
    speed = math.hypot(u, v)
    assert from_deg_to_components(wind_from, speed) == pytest.approx((u, v), abs=1e-9)


def test_where_it_comes_from_and_where_it_goes():
    assert float(toward_from(components_to_from_deg(10, 10))) == pytest.approx(45.0, abs=1e-9)
    # (3, -4) has speed 5
    assert from_deg_to_components(323.13010235415598, 5.0) == pytest.approx((3.0, -4.0), abs=1e-9)
    # reports write 360 for wind from the north, 0 for calm
    assert from_deg_to_components(360.0, 10.0) == pytest.approx((0.0, -10.0), abs=1e-9)


def test_calm_has_no_direction():
    assert math.isnan(components_to_from_deg(0.0, 0.0))


def test_direction_and_speed_give_components():
    assert from_deg_to_components(225.0, 10.0) == pytest.approx((7.0710678118654755, 7.0710678118654755), abs=1e-9)


def test_the_mean_of_directions_about_north():
    given = np.array([350.0, 10.0, 20.0])
    assert mean_direction(given) == pytest.approx(6.704953271, abs=1e-9)
    assert mean_direction(given) == pytest.approx(math.degrees(float(circmean(np.deg2rad(given)))), abs=1e-9)
    # the arithmetic mean points elsewhere
    assert given.mean() == pytest.approx(126.67, abs=0.005)


def test_the_mean_resultant_length_of_directions_about_north():
    given = np.array([350.0, 10.0, 20.0])
    # calm of much weight keeps the series positive, so that nothing is smoothed away
    length = abs(rose_of_bearings(given, np.ones(3), 97.0, 1)[0]) * 100 / 3
    assert length == pytest.approx(0.9764477317, abs=1e-9)
    assert length == pytest.approx(1 - float(circvar(np.deg2rad(given))), abs=1e-12)


def test_directions_halfway_across_north_are_met_by_vectors_alone():
    u, v = from_deg_to_components(np.array([350.0, 10.0]), 1.0)
    assert float(components_to_from_deg(u.mean(), v.mean())) == pytest.approx(0.0, abs=1e-9)
