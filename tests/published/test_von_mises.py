"""Von Mises density of bearings, and a worked example of three sources in a wind.

Mardia, K. V. & Jupp, P. E. (2000), Directional Statistics, Wiley, section 3.5.4: exp(k cos(t - m)) / (2 pi I0(k)) (from
memory). The shares and ratios were computed from it with 25 to 40 digit arithmetic; tolerance 1e-9. The series of
spreadmap is cut off; with 32 coefficients nothing of these figures is lost. A second route at test time: the circular
statistics of astropy (`astropy.stats`), which work on the directions themselves.
"""

import math

import numpy as np
import pytest
from astropy.stats import circmean, circvar, vonmisesmle

from spreadmap.dispersal.bearings import (
    bearing_density,
    blended,
    concentration_of,
    mean_direction,
    rose_of_bearings,
    rose_of_von_mises,
    sector_shares_of,
)
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.dispersal.toward import reach_toward
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.wind import WindClimate

# concentration, I0, mean resultant length, shares within 45 degrees of downwind, in the downwind half, within 45 of
# upwind, ratio of downwind to upwind
TABLE = [
    (0.0, 1.0, 0.0, 0.25, 0.5, 0.25, 1.0),
    (0.5, 1.06348337074, 0.2424996126, 0.3690854512, 0.6538532282, 0.1500140603, 2.718281828),
    (1.0, 1.26606587775, 0.4463899659, 0.4876813998, 0.7804921918, 0.08057324627, 7.389056099),
    (2.0, 2.27958530234, 0.6977746580, 0.6738449809, 0.9249531167, 0.01840870431, 54.59815003),
    (4.0, 11.3019219521, 0.8635226110, 0.8582117201, 0.9924405889, 0.000644560839, 2980.957987),
]


def rose(bearing, concentration):
    return rose_of_von_mises(np.array(float(bearing)), np.array(concentration), 32)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}")
def test_shares_and_ratio(row):
    concentration, bessel, length, near_downwind, downwind_half, near_upwind, ratio = row
    north = rose(0.0, concentration)
    # the density across the wind is 1 / (2 pi I0)
    assert 1 / (2 * math.pi * float(bearing_density(north, 90.0))) == pytest.approx(bessel, rel=1e-10)
    assert abs(north[0]) == pytest.approx(length, abs=1e-9)
    quarters, halves = sector_shares_of(north, 4), sector_shares_of(north, 2)
    found = (quarters[0], halves[0], quarters[2])
    assert found == pytest.approx((near_downwind, downwind_half, near_upwind), abs=1e-9)
    assert float(bearing_density(north, 0.0) / bearing_density(north, 180.0)) == pytest.approx(ratio, rel=1e-9)
    assert concentration_of(np.array([length]))[0] == pytest.approx(concentration, abs=1e-7)


def test_concentration_zero_is_exactly_the_kernel():
    still, kernel = law_toward(33.0, 0.0), Kernel(family="exponential", scale_m=10.0)
    east, north = np.array([20.0, -3.0, 0.1]), np.array([1.0, 40.0, -0.2])
    found = still.density(east, north, still.climate.rose)
    assert np.array_equal(found, kernel.location_density(np.hypot(east, north)))


@pytest.mark.parametrize("concentration", [0.5, 1.0, 2.0, 4.0])
def test_draws_are_told_back_by_astropy_and_by_the_rose(concentration):
    draws = np.random.default_rng(11).vonmises(math.radians(60), concentration, 20_000)
    mean, fitted = vonmisesmle(draws)
    bearings = np.rad2deg(draws) % 360
    # calm hours of much weight keep the short series positive, so that nothing is smoothed away
    own = rose_of_bearings(bearings, np.ones(20_000), 180_000.0, 1)[0] * 10
    assert math.degrees(float(mean)) == pytest.approx(math.degrees(np.angle(own)), abs=1e-6)
    assert math.degrees(float(circmean(draws))) == pytest.approx(mean_direction(bearings), abs=1e-6)
    assert 1 - float(circvar(draws)) == pytest.approx(abs(own), abs=1e-12)
    # astropy's estimate is the piecewise formula of Fisher 1993; ours takes Newton steps from it
    assert concentration_of(np.array([abs(own)]))[0] == pytest.approx(float(fitted), rel=0.02)
    assert float(fitted) == pytest.approx(concentration, rel=0.05)


def law_toward(bearing, concentration=1.0):
    climate = WindClimate(rose=rose(bearing, concentration), basis="von Mises", sector_share=np.zeros(16))
    kernel = Kernel(family="exponential", scale_m=10.0)
    return Spread(kernel=kernel, climate=climate, wind_influence=1.0, near_radius_m=0.0)


def test_density_twenty_metres_down_across_and_up_the_wind():
    # exponential, scale 10 m, concentration 1 [m^-2]
    law = law_toward(0.0)
    values = law.density(np.array([0.0, 20.0, 0.0]), np.array([20.0, 0.0, -20.0]), law.climate.rose)
    assert values == pytest.approx([4.624548576e-4, 1.701276346e-4, 6.258645914e-5], rel=1e-9, abs=0)


CONTOURS = [
    # density [m^-2], bearing from downwind [deg], distance [m]
    (1e-5, 0, 58.33963854), (1e-5, 45, 55.41070635), (1e-5, 90, 48.33963854), (1e-5, 135, 41.26857073),
    (1e-5, 180, 38.33963854), (1e-4, 0, 35.31378761), (1e-4, 90, 25.31378761), (1e-4, 180, 15.31378761),
]  # fmt: skip


@pytest.mark.parametrize(("density", "bearing", "reach_m"), CONTOURS)
def test_the_line_of_equal_density_reaches_farther_downwind(density, bearing, reach_m):
    # closed form a (k cos t - ln I0(k) - ln(2 pi a^2 tau)), scale a = 10 m, concentration k = 1; figures computed from it
    law, angle = law_toward(30.0), math.radians(30 + bearing)
    found = law.density(
        np.array(reach_m * math.sin(angle)), np.array(reach_m * math.cos(angle)), law.climate.rose
    )  # fmt: skip
    assert float(found) == pytest.approx(density, rel=1e-7, abs=0)
    for side in (1, -1):
        assert reach_toward(law, 30.0 + side * bearing, density) == pytest.approx(reach_m, abs=1e-6)
    closed = 10 * (math.cos(math.radians(bearing)) - math.log(1.26606587775) - math.log(2 * math.pi * 100 * density))
    assert closed == pytest.approx(reach_m, abs=5e-8)


def test_reversed_wind_swaps_the_ends_of_the_line():
    ahead, back = law_toward(0.0), law_toward(180.0)
    assert reach_toward(back, 0.0, 1e-5) == pytest.approx(38.33963854, abs=1e-6)
    assert reach_toward(back, 180.0, 1e-5) == pytest.approx(reach_toward(ahead, 0.0, 1e-5), abs=1e-9)


# sources (east, north, strength) [m, m, -], distance to the receptor (30, 40) [m], density there from one of it [m^-2]
THREE = [
    (0.0, 0.0, 1.0, 50.0, 2.279402501e-5),
    (30.0, 0.0, 1.0, 40.0, 4.669587020e-5),
    (0.0, 40.0, 0.5, 30.0, 1.269325354e-4),
]


@pytest.mark.parametrize(("east", "north", "_strength", "distance", "density"), THREE)
def test_one_of_three_sources(east, north, _strength, distance, density):
    law = law_toward(45.0)  # wind from 225 degrees
    assert math.hypot(30 - east, 40 - north) == distance
    found = law.density(np.array(30 - east), np.array(40 - north), law.climate.rose)
    assert float(found) == pytest.approx(density, rel=1e-9, abs=0)


def test_three_sources_and_one_receptor():
    easting, northing, strength, _, _ = (list(each) for each in zip(*THREE, strict=True))
    sources = Sources(easting=easting, northing=northing, strength=strength, plant=[-1] * 3)
    receptor = Receptors(easting=[30.0], northing=[40.0], radius_m=[0.0], plant=[-1])
    found = pressure_at_points(receptor, sources, law_toward(45.0), Engine(workers=1)).density[0]
    assert found == pytest.approx(1.329561629e-4, rel=1e-6)
    assert 1 - math.exp(-2000 * found) == pytest.approx(0.2334936727, rel=1e-6)


def test_a_rose_of_classes_is_the_sum_of_single_directions():
    bearings, weights = (0.0, 45.0, 200.0), np.array([0.5, 0.3, 0.2])
    laws = [law_toward(bearing) for bearing in bearings]
    mixed = blended(np.array([law.climate.rose for law in laws]), weights)
    east, north = np.array([3.0, -20.0, 0.0]), np.array([4.0, 9.0, -35.0])
    alone = np.array([law.density(east, north, law.climate.rose) for law in laws])
    assert laws[0].density(east, north, mixed) == pytest.approx(weights @ alone, rel=1e-12)
