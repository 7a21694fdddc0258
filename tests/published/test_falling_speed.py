"""Falling speed of bodies as small as an eriophyid mite.

Size of the rose mite: 140 to 170 um long (ipm.uga.edu, page on the mite, 2020/2025, read), about 150 x 40 um
(wiki.pestinfo.org/wiki/Phyllocoptes_fructiphilus, read). Stokes' law; drag correction of Schiller & Naumann 1933,
Zeitschrift des Vereines Deutscher Ingenieure 77:318-320 (form from memory); g 9.80665, viscosity 1.81e-5 Pa s, air
1.204 kg/m3, body 1000 kg/m3 (an assumption). Drag of a spheroid: Oberbeck 1876, as in Happel & Brenner, Low Reynolds
Number Hydrodynamics (from memory).

The speeds were computed from the formulas by a second route; none has been measured on an eriophyid. An aerosol table
of about 0.25 m/s for 100 um at unit density (Hinds 1999, from memory) agrees.
"""

import math

import numpy as np
import pytest

from spreadmap.dispersal.falling_speed import (
    AIR_DENSITY_KG_M3,
    AIR_VISCOSITY_PA_S,
    GRAVITY_M_S2,
    equal_volume_diameter,
    falling_speed,
    falling_speed_of_body,
    reynolds_number,
    stokes_speed,
)

WATER = 1000.0


@pytest.mark.parametrize(
    ("diameter_um", "creeping", "reynolds", "corrected"),
    [
        (20, 0.01202558968, 0.016, 0.01192182388),
        (50, 0.07515993549, 0.25, 0.07119086668),
        (100, 0.3006397420, 2.0, 0.2481263889),
    ],
)
def test_spheres(diameter_um, creeping, reynolds, corrected):
    diameter = diameter_um * 1e-6
    assert stokes_speed(diameter, WATER) == pytest.approx(creeping, rel=1e-9)
    # of the creeping speed, two digits given
    assert reynolds_number(creeping, diameter) == pytest.approx(reynolds, rel=0.02)
    assert falling_speed(diameter, WATER) == pytest.approx(corrected, rel=1e-9)


def test_the_aerosol_table_agrees():
    assert falling_speed(100e-6, WATER) == pytest.approx(0.25, abs=0.005)


def test_equal_volume_sphere():
    diameter = equal_volume_diameter(150e-6, 40e-6)
    assert diameter == pytest.approx(62.14465e-6, rel=1e-7)
    assert stokes_speed(diameter, WATER) == pytest.approx(0.1161057900, rel=2e-8)  # of the diameter as rounded
    assert falling_speed(diameter, WATER) == pytest.approx(0.10694895, abs=5e-9)


@pytest.mark.parametrize(
    ("length_um", "width_um", "creeping", "corrected"),
    [(150, 40, 0.1161, 0.1069), (140, 35, 0.0928, 0.0868), (170, 45, 0.1477, 0.1333), (200, 50, 0.1894, 0.1665)],
)
def test_bodies_of_a_rose_mite(length_um, width_um, creeping, corrected):
    length, width = length_um * 1e-6, width_um * 1e-6
    assert stokes_speed(equal_volume_diameter(length, width), WATER) == pytest.approx(creeping, abs=5e-5)
    assert falling_speed_of_body(length, width, WATER) == pytest.approx(corrected, abs=5e-5)


def test_the_middle_body_lies_in_the_working_range():
    assert falling_speed_of_body(150e-6, 40e-6, WATER) == pytest.approx(0.107, abs=0.0005)
    assert 0.08 < falling_speed_of_body(140e-6, 35e-6, WATER) < falling_speed_of_body(150e-6, 40e-6, WATER) < 0.13


def spheroid_speeds(length, width):
    """Return the creeping speeds of a long spheroid falling end on, broadside, and turning at random."""
    half, slim = length / 2, width / 2
    e = math.sqrt(1 - (slim / half) ** 2)
    log = math.log((1 + e) / (1 - e))
    weight = 4 / 3 * math.pi * half * slim**2 * (WATER - AIR_DENSITY_KG_M3) * GRAVITY_M_S2
    end_on = 16 * math.pi * AIR_VISCOSITY_PA_S * half * e**3 / ((1 + e**2) * log - 2 * e)
    broadside = 32 * math.pi * AIR_VISCOSITY_PA_S * half * e**3 / (2 * e + (3 * e**2 - 1) * log)
    fast, slow = weight / end_on, weight / broadside
    return fast, slow, (fast + 2 * slow) / 3


def test_the_sphere_falls_faster_than_the_spheroid():
    speeds = np.array(spheroid_speeds(150e-6, 40e-6))
    # the figures leave out that air carries a thousandth of the weight
    assert speeds * WATER / (WATER - AIR_DENSITY_KG_M3) == pytest.approx([0.1165, 0.0914, 0.0998], abs=5e-5)
    sphere = stokes_speed(equal_volume_diameter(150e-6, 40e-6), WATER)
    assert sphere / speeds[2] == pytest.approx(1.17, abs=0.005)
    # a spheroid that is nearly a sphere falls like one
    assert spheroid_speeds(100.1e-6, 100e-6) == pytest.approx([stokes_speed(100e-6, WATER)] * 3, rel=2e-3)
