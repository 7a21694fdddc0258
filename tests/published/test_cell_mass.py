"""Mass of a kernel in the raster cell of its source: closed form for the Gaussian, high precision for the rest.

The Gaussian with scale a has the mass erf(h/2a)^2 in a square of side h about the source: a product of two error
functions, by definition of erf. The other numbers were computed from the formulas with 25 to 40 digit arithmetic;
tolerance is half the last digit given, 1e-6 for the Gaussian.
"""

import numpy as np
import pytest
from scipy.special import erf

from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_on_grid
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources
from spreadmap.values.wind import WindClimate

SOURCE = Sources(easting=[0.0], northing=[0.0], strength=[1.0], plant=[-1])


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


@pytest.mark.parametrize(
    ("kernel", "cell_m", "mass"),
    [
        (Kernel(family="exponential", scale_m=10.0), 1.0, 0.001531962841),
        (Kernel(family="exponential", scale_m=10.0), 10.0, 0.1096794013),
        (Kernel(family="exponential", scale_m=5.475), 10.0, 0.27327505),
        (Kernel(family="exponential", scale_m=5.475), 30.0, 0.80693094),
        (Kernel(family="lognormal", scale_m=5.190545, shape=1.2218844), 10.0, 0.52358952),
    ],
    ids=str,
)
def test_other_source_cells(kernel, cell_m, mass):
    assert masses(kernel, cell_m)[0] == pytest.approx(mass, abs=5e-9 if mass > 0.01 else 5e-13)
