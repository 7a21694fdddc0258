"""How little of what a lone stand sends goes beyond 100 m.

Epstein, A. H., Hill, J. H. & Nutter, F. W. (1997), Augmentation of rose rosette disease for biocontrol of multiflora
rose (Rosa multiflora), Weed Science 45:172-178, doi 10.1017/S004317450009264X, abstract: under the conditions of the
study, no infection in three years in plots of ornamental roses more than 100 m from infected multiflora stands.

None found is not none sent: the default kernel, which rests on another mite, sends 0.9 % of a stand's arrivals beyond
100 m of its edge (computed below). This is a statement of direction: a small share, not a limit.
"""

import numpy as np
import pytest
from shapely import MultiPoint, contains_xy

from spreadmap.dispersal.kernels import kernel_from_settings
from spreadmap.dispersal.spread import spread_from_settings
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_on_grid
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources
from spreadmap.values.settings import KernelSettings, Settings
from spreadmap.values.wind import WindClimate

STILL = WindClimate(
    rose=np.zeros(8, dtype=complex), basis="no wind data: same in all directions", sector_share=np.zeros(16)
)


def share_beyond(distance_m):
    """Return the share of arrivals beyond a distance from the edge of a stand 10 m wide with 25 plants."""
    places = [(2.0 * x - 4, 2.0 * y - 4) for x in range(5) for y in range(5)]
    east, north = np.array(places).T
    sources = Sources(easting=east, northing=north, strength=np.ones(25), plant=np.full(25, -1))
    cells = 2 * int(distance_m + 10) // 2
    grid = Grid(west=-float(cells), north=float(cells), cell_m=2.0, n_rows=cells, n_cols=cells)
    values = pressure_on_grid(grid, sources, spread_from_settings(Settings(), STILL), Engine(workers=1)).values
    inside = contains_xy(
        MultiPoint(places).convex_hull.buffer(1.0 + distance_m), *np.meshgrid(grid.easting, grid.northing)
    )
    return 1 - float(values[inside].sum()) * 4.0 / 25


def test_the_share_beyond_a_hundred_metres_is_small():
    share = share_beyond(100.0)
    assert share == pytest.approx(0.009, abs=0.0005)
    # a lone plant sends this much beyond 100 m; a stand about as much beyond 100 m of its edge
    assert share == pytest.approx(1 - float(kernel_from_settings(KernelSettings()).mass_within(100.0)), abs=0.002)


def test_most_arrivals_stay_near():
    assert share_beyond(30.0) < 0.10
    assert share_beyond(10.0) > 10 * share_beyond(100.0)
