"""CRS: which are allowed, how north turns, and what gives wrong positions away."""

import numpy as np
import pyproj
import pytest
from pyproj import CRS

from spreadmap.errors import CrsError
from spreadmap.io.read_crs import (
    check_scale,
    grid_convergence_deg,
    in_area_of_use,
    parse_crs,
    position_reasons,
    same_crs,
    transform_positions,
    working_crs,
)

UTM = "EPSG:32614"
LON, LAT = -96.6, 36.9


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("EPSG:4326", "is not projected"),
        ("EPSG:2263", r"is in US survey foot; allowed: metre"),
        ("EPSG:2222", r"is in foot; allowed: metre"),
        ("EPSG:2053", "do not run east and north"),
        ("EPSG:999999", "is not known"),
        ("", "is not an authority and a code"),
        ("+proj=utm +zone=14", "is not an authority and a code"),
        ("http://example.org/crs", "is not an authority and a code"),
    ],
)
def test_a_working_crs_that_cannot_be_is_refused(text, says):
    with pytest.raises(CrsError, match=says):
        working_crs(text)


def test_a_crs_that_stretches_lengths_is_refused():
    # Web Mercator draws lengths 1 / cos(latitude) too long: 1.25 times at 36.9 degrees
    with pytest.raises(CrsError, match=r"1\.2\d\d times the true one"):
        check_scale(working_crs("EPSG:3857"), LON, LAT)
    check_scale(working_crs(UTM), LON, LAT)


def test_convergence_agrees_with_proj_and_is_zero_in_degrees():
    lon, lat = np.array([-98.0, -99.0, -96.6]), np.array([40.0, 30.0, 36.9])
    factors = pyproj.Proj(UTM).get_factors(lon, lat)
    ours = grid_convergence_deg(CRS(UTM), lon, lat)
    # east of the central meridian (99 W) and north of the equator grid north lies east of true north
    assert ours[0] > 0.6
    assert np.allclose(ours, np.abs(factors.meridian_convergence) * np.sign(lon + 99.0), atol=1e-4)
    assert np.all(grid_convergence_deg(CRS("EPSG:4326"), lon, lat) == 0)


def test_positions_agree_with_proj_and_feet_are_converted():
    working = working_crs(UTM)
    east, north = transform_positions(CRS("EPSG:4326"), working, np.array([LON]), np.array([LAT]))
    assert np.allclose((east[0], north[0]), pyproj.Proj(UTM)(LON, LAT), atol=1e-3)
    feet = CRS("EPSG:2268")  # Oklahoma south in US survey feet
    there = pyproj.Transformer.from_crs("EPSG:4326", feet, always_xy=True).transform(LON, LAT)
    back = transform_positions(feet, working, np.array([there[0]]), np.array([there[1]]))
    assert np.hypot(back[0][0] - east[0], back[1][0] - north[0]) < 2.0  # NAD83 and WGS 84 differ by up to about 2 m


def reasons(crs, x, y):
    found = position_reasons(parse_crs(crs), working_crs(UTM), np.array(x), np.array(y))[2]
    return [found.get(place, ("", ""))[0] for place in range(len(x))]


def test_what_gives_positions_away():
    lon = [LON, LAT, 0.0, np.nan, -196.6 - 360, 10.0, LON]
    lat = [LAT, LON, 0.0, LAT, LAT, 50.0, np.inf]
    assert reasons("EPSG:4326", lon, lat) == ["", "swapped", "zero", "blank", "range", "far", "blank"]
    east, north = pyproj.Proj(UTM)(LON, LAT)
    assert reasons(UTM, [east, LON, 0.0], [north, LAT, 0.0]) == ["", "degrees", "zero"]
    # far in either order, and far from the others in the other order
    assert reasons(UTM, [east, north, 100 * east, 2.4e6], [north, east, north, 0.7e6]) == ["", "swapped", "far", "far"]
    assert reasons(UTM, [north, north], [east, east]) == ["far", "far"]
    east, north = pyproj.Proj("EPSG:32615")(LON, LAT)
    assert reasons("EPSG:32615", [east, north], [north, east]) == ["", "swapped"]


def test_a_good_position_comes_out_and_a_bad_one_as_nan():
    east, north, _ = position_reasons(
        parse_crs("EPSG:4326"), working_crs(UTM), np.array([LON, 0.0]), np.array([LAT, 0.0])
    )
    assert np.isfinite([east[0], north[0]]).all()
    assert np.isnan([east[1], north[1]]).all()


def test_the_neighbouring_zone_is_still_accepted():
    # UTM zone 14 is meant for 102 W to 96 W
    inside = in_area_of_use(working_crs(UTM), np.array([-95.0, -90.0, -104.0]), np.array([36.0, 36.0, 36.0]))
    assert inside.tolist() == [True, False, True]


def test_an_area_across_the_date_line_is_one_area():
    zone = working_crs("EPSG:3832")  # Pacific, from 98 E across the date line to 60 W
    inside = in_area_of_use(zone, np.array([179.0, -179.0, 20.0]), np.array([0.0, 0.0, 0.0]))
    assert inside.tolist() == [True, True, False]


def test_the_order_of_axes_makes_no_other_crs():
    assert same_crs(CRS("EPSG:4326"), CRS("OGC:CRS84"))
    assert not same_crs(CRS("EPSG:4326"), CRS(UTM))
