"""Mass of a kernel in the raster cell of its source: closed form for the Gaussian, high precision for the rest.

The Gaussian with scale a has the mass erf(h/2a)^2 in a square of side h about the source: a product of two error
functions, by definition of erf. The other numbers were computed from the formulas with 25 to 40 digit arithmetic;
tolerance is half the last digit given, 1e-6 for the Gaussian.
"""

import numpy as np
import pytest
from scipy.special import erf

from spreadmap.dispersal.areas import mass_in_rectangle
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.moments import kernel_from_moments
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_on_grid
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources
from spreadmap.values.wind import WindClimate

SOURCE = Sources(easting=[0.0], northing=[0.0], strength=[1.0], plant=[-1])


LOGNORMAL = kernel_from_moments("lognormal", 10.95, 20.34)
"""From mean and standard deviation, so that scale 5.1905 m and shape 1.2219 keep all their digits."""


def masses(kernel, cell_m):
    """Return the masses in the source cell and in its neighbour to the east."""
    still = WindClimate(rose=np.zeros(8, dtype=complex), basis="still air", sector_share=np.zeros(16))
    law = Spread(kernel=kernel, climate=still, wind_influence=0.5, near_radius_m=1.0)
    grid = Grid(west=-1.5 * cell_m, north=1.5 * cell_m, cell_m=cell_m, n_rows=3, n_cols=3)
    values = pressure_on_grid(grid, SOURCE, law, Engine(workers=1)).values * cell_m**2
    return values[1, 1], values[1, 2]


@pytest.mark.parametrize(("cell_m", "mass"), [(1.0, 0.003177799881), (10.0, 0.2709201228), (20.0, 0.7101446264)])
def test_gaussian_source_cell(cell_m, mass):
    assert mass == pytest.approx(erf(cell_m / 20) ** 2, rel=1e-9)
    found, _ = masses(Kernel(family="gaussian", scale_m=10.0), cell_m)
    assert found == pytest.approx(mass, rel=1e-6)


def test_gaussian_neighbour_cell():
    _, found = masses(Kernel(family="gaussian", scale_m=10.0), 10.0)
    assert found == pytest.approx(0.1159687439, rel=1e-6)


def reference(kernel, cell_m, col=0):
    """Return the mass in the source cell, or in a cell to its east, from the function for one rectangle."""
    side, middle = cell_m / 2, col * cell_m
    return float(mass_in_rectangle(kernel, middle - side, -side, middle + side, side))


@pytest.mark.parametrize(
    ("kernel", "cell_m", "mass"),
    [
        (Kernel(family="gaussian", scale_m=10.0), 1.0, 0.003177799881),
        (Kernel(family="gaussian", scale_m=10.0), 10.0, 0.2709201228),
        (Kernel(family="gaussian", scale_m=10.0), 20.0, 0.7101446264),
        (Kernel(family="exponential", scale_m=10.0), 1.0, 0.001531962841),
        (Kernel(family="exponential", scale_m=10.0), 10.0, 0.1096794013),
        (Kernel(family="exponential", scale_m=5.475), 10.0, 0.27327505),
        (Kernel(family="exponential", scale_m=5.475), 30.0, 0.80693094),
        (LOGNORMAL, 10.0, 0.52358952),
    ],
    ids=lambda value: value.in_words() if isinstance(value, Kernel) else str(value),
)
def test_every_source_cell(kernel, cell_m, mass):
    digits = 10 if len(f"{mass:.10g}".lstrip("0.")) >= 10 else 8
    half_digit = 0.5 * 10.0 ** (np.floor(np.log10(mass)) - digits + 1)
    assert reference(kernel, cell_m) == pytest.approx(mass, abs=half_digit)
    # the map's own form keeps six digits
    assert masses(kernel, cell_m)[0] == pytest.approx(mass, rel=1e-6)


def test_the_neighbour_of_a_gaussian_source_cell():
    assert reference(Kernel(family="gaussian", scale_m=10.0), 10.0, 1) == pytest.approx(0.1159687439, abs=5e-11)


@pytest.mark.parametrize(
    ("kernel", "cell_m", "wrong"),
    [
        (Kernel(family="gaussian", scale_m=10.0), 1.0, 0.003183098862),
        (Kernel(family="gaussian", scale_m=10.0), 10.0, 0.3183098862),
        (Kernel(family="gaussian", scale_m=10.0), 20.0, 1.273239545),
        (Kernel(family="exponential", scale_m=10.0), 1.0, 0.001591549431),
        (Kernel(family="exponential", scale_m=10.0), 10.0, 0.1591549431),
        (Kernel(family="exponential", scale_m=5.475), 10.0, 0.53094787),
        (Kernel(family="exponential", scale_m=5.475), 30.0, 4.7785308),
        (LOGNORMAL, 10.0, 0.0),
    ],
    ids=lambda value: value.in_words() if isinstance(value, Kernel) else str(value),
)
def test_the_density_at_the_source_times_the_area_is_another_number(kernel, cell_m, wrong):
    # up to more than all there is: why cells are integrated
    assert float(kernel.location_density(0.0)) * cell_m**2 == pytest.approx(wrong, rel=1e-7)
    assert abs(reference(kernel, cell_m) / wrong - 1 if wrong else 1.0) > 1e-3
