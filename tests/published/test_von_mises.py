"""Von Mises density of bearings, and a worked example of three sources in a wind.

Mardia, K. V. & Jupp, P. E. (2000), Directional Statistics, Wiley, section 3.5.4: exp(k cos(t - m)) / (2 pi I0(k)) (from
memory). The shares and ratios were computed from it with 25 to 40 digit arithmetic; tolerance 1e-9. The series of
spreadmap is cut off; with 32 coefficients nothing of these figures is lost.
"""

import math

import numpy as np
import pytest

from spreadmap.dispersal.bearings import bearing_density, rose_of_von_mises, sector_shares_of
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.values.inventory import Receptors, Sources
from spreadmap.values.wind import WindClimate

# concentration, mean resultant length, shares within 45 degrees of downwind, in the downwind half, within 45 of upwind
TABLE = [
    (0.5, 0.2424996126, 0.3690854512, 0.6538532282, 0.1500140603),
    (1.0, 0.4463899659, 0.4876813998, 0.7804921918, 0.08057324627),
    (2.0, 0.6977746580, 0.6738449809, 0.9249531167, 0.01840870431),
    (4.0, 0.8635226110, 0.8582117201, 0.9924405889, 0.000644560839),
]


def rose(bearing, concentration):
    return rose_of_von_mises(np.array(float(bearing)), np.array(concentration), 32)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}")
def test_shares_and_ratio(row):
    north = rose(0.0, row[0])
    assert abs(north[0]) == pytest.approx(row[1], abs=1e-9)
    quarters, halves = sector_shares_of(north, 4), sector_shares_of(north, 2)
    assert (quarters[0], halves[0], quarters[2]) == pytest.approx(row[2:], abs=1e-9)
    ratio = bearing_density(north, 0.0) / bearing_density(north, 180.0)
    assert ratio == pytest.approx(math.exp(2 * row[0]), rel=1e-9)


def test_downwind_to_upwind_is_e_squared():
    north = rose(0.0, 1.0)
    assert float(bearing_density(north, 0.0) / bearing_density(north, 180.0)) == pytest.approx(7.389056099, rel=1e-9)


def law_toward(bearing):
    climate = WindClimate(rose=rose(bearing, 1.0), basis="von Mises", sector_share=np.zeros(16))
    kernel = Kernel(family="exponential", scale_m=10.0)
    return Spread(kernel=kernel, climate=climate, wind_influence=1.0, near_radius_m=0.0)


def test_density_twenty_metres_down_across_and_up_the_wind():
    # exponential, scale 10 m, concentration 1 [m^-2]
    law = law_toward(0.0)
    values = law.density(np.array([0.0, 20.0, 0.0]), np.array([20.0, 0.0, -20.0]), law.climate.rose)
    assert values == pytest.approx([4.624548576e-4, 1.701276346e-4, 6.258645914e-5], rel=1e-9, abs=0)


@pytest.mark.parametrize(
    ("bearing", "reach_m"),
    [(0, 58.33963854), (45, 55.41070635), (90, 48.33963854), (135, 41.26857073), (180, 38.33963854)],
)
def test_the_line_of_equal_density_reaches_farther_downwind(bearing, reach_m):
    # where the density of the same law is 1e-5 m^-2; closed form a (k cos t - ln I0(k) - ln(2 pi a^2 tau))
    law, angle = law_toward(0.0), math.radians(bearing)
    found = law.density(np.array(reach_m * math.sin(angle)), np.array(reach_m * math.cos(angle)), law.climate.rose)
    assert float(found) == pytest.approx(1e-5, rel=1e-7, abs=0)


def test_three_sources_and_one_receptor():
    # wind from 225 degrees; sources (0, 0), (30, 0) and half a one at (0, 40); receptor (30, 40)
    sources = Sources(easting=[0.0, 30.0, 0.0], northing=[0.0, 0.0, 40.0], strength=[1.0, 1.0, 0.5], plant=[-1] * 3)
    receptor = Receptors(easting=[30.0], northing=[40.0], radius_m=[0.0], plant=[-1])
    found = pressure_at_points(receptor, sources, law_toward(45.0), Engine(workers=1)).density[0]
    assert found == pytest.approx(1.329561629e-4, rel=1e-6)
    assert 1 - math.exp(-2000 * found) == pytest.approx(0.2334936727, rel=1e-6)
