"""Where the arrivals of one focus lie, and the smallest areas that hold given shares of them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import contourpy
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.pressure import pressure_on_grid
from spreadmap.values.arrays import FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources
from spreadmap.values.settings import PressureSettings

FINEST_CELL_M = 0.25
USUAL_CELL_M = 2.0
"""Cells are as fine as the area asks for, within these limits, and coarser only where the budget does not allow."""
MUCH_FINER = 0.7
"""A smaller area gets a grid of its own when its cells would be this much finer [-]."""
MOST_GROWTHS = 25
SIZES_PER_DOUBLING = 8
DEFAULT = PressureSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """How much work one grid may be: cells along its longer side, cells, and pairs of cell and source.

    With `looks_first` a coarse grid finds out where the area ends, so that the fine one is not larger than needed.
    """

    cells_along: int
    most_cells: float
    most_pairs: float
    looks_first: bool = False


FOR_POLYGONS = Budget(cells_along=240, most_cells=1e6, most_pairs=1e8, looks_first=True)
FOR_AREAS = Budget(cells_along=120, most_cells=2e5, most_pairs=2e7)
FIRST_LOOK = Budget(cells_along=80, most_cells=1e4, most_pairs=5e6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelSet:
    """The smallest area that holds a share of all arrivals: where `values` on `grid` reach `threshold` [m^-2]."""

    grid: Grid
    values: FloatArray
    threshold: float
    area_m2: float

    @property
    def is_inside(self) -> bool:
        """Return whether the area ends before the rim of the grid."""
        rim = max(self.values[row].max() for row in (0, -1)), max(self.values[:, col].max() for col in (0, -1))
        return bool(max(rim) < self.threshold)

    def box(self) -> tuple[float, float, float, float]:
        """Return west, east, south, north of the cells above the threshold, with two cells more on every side [m]."""
        rows = np.flatnonzero((self.values >= self.threshold).any(axis=1))
        cols = np.flatnonzero((self.values >= self.threshold).any(axis=0))
        cell = self.grid.cell_m
        return (
            self.grid.west + (cols[0] - 2) * cell,
            self.grid.west + (cols[-1] + 3) * cell,
            self.grid.north - (rows[-1] + 3) * cell,
            self.grid.north - (rows[0] - 2) * cell,
        )

    def polygon(self) -> BaseGeometry:
        """Return the area as valid polygons; their line runs at most half a cell from the truth."""
        generator = contourpy.contour_generator(
            x=self.grid.easting, y=self.grid.northing, z=self.values, fill_type=contourpy.FillType.OuterOffset
        )
        filled: Any = generator.filled(self.threshold, np.inf)
        pieces = []
        for coords, ends in zip(filled[0], filled[1], strict=True):
            loops = [coords[first:last] for first, last in pairwise(ends.tolist())]
            pieces.append(shapely.Polygon(loops[0], loops[1:]))
        return shapely.union_all(
            shapely.make_valid(np.array(pieces, dtype=object), method="structure", keep_collapsed=False)
        )


def level_sets(
    sources: Sources,
    spread: Spread,
    shares: tuple[float, ...],
    engine: Engine,
    budget: Budget = FOR_POLYGONS,
    pressure: PressureSettings = DEFAULT,
) -> tuple[LevelSet, ...]:
    """Return the smallest areas that hold given shares of all arrivals from some sources.

    Cells are taken from the densest down until they hold the share of *all* arrivals, those beyond any raster
    included: a kernel's mass over the plane is one, so that all arrivals are the sum of the strengths. Cell means are
    as good as `pressure` asks. The grid grows until the area ends inside it; a much smaller area gets a finer grid of its own.
    Screens are left out: they would only make the area smaller.

    Parameters
    ----------
    sources : Sources
        At least one of a strength above zero.
    spread : Spread
    shares : floats, ascending, each above 0 and below 1 [-]
    engine : Engine
    budget : Budget
    pressure : PressureSettings
        How cell means are summed.

    Returns
    -------
    tuple of LevelSet, one per share

    Raises
    ------
    SettingsError
        If the kernel's tail is too heavy for the largest share to end anywhere.
    """
    reach = 1.2 * float(spread.kernel.quantile(shares[-1]))
    box = _around(sources, reach)
    if budget.looks_first:
        box = _with_sources(_grown(box, sources, spread, shares[-1], engine, FIRST_LOOK, pressure).box(), sources)
    area = _grown(box, sources, spread, shares[-1], engine, budget, pressure)
    found = [area]
    for share in reversed(shares[:-1]):
        area = _level_set(area.grid, area.values, share, sources)
        box = _with_sources(area.box(), sources)
        if _cell(box, len(sources), budget) < MUCH_FINER * area.grid.cell_m:
            area = _grown(box, sources, spread, share, engine, budget, pressure)
        found.append(area)
    return tuple(reversed(found))


def _around(sources: Sources, reach: float) -> tuple[float, float, float, float]:
    """Return west, east, south, north of the sources with a margin [m]."""
    east, north = sources.easting, sources.northing
    return (
        float(east.min() - reach),
        float(east.max() + reach),
        float(north.min() - reach),
        float(north.max() + reach),
    )


def _with_sources(box: tuple[float, float, float, float], sources: Sources) -> tuple[float, float, float, float]:
    """Return a box that holds another and the sources: a lone one may be lost in a coarse cell."""
    other = _around(sources, 2 * FINEST_CELL_M)
    return min(box[0], other[0]), max(box[1], other[1]), min(box[2], other[2]), max(box[3], other[3])


def _cell(box: tuple[float, float, float, float], n_sources: int, budget: Budget) -> float:
    """Return the side of the cells of a grid over a box, one of a few sizes, so that tables serve many foci [m]."""
    west, east, south, north = box
    area = (east - west) * (north - south)
    wanted = float(np.clip(max(east - west, north - south) / budget.cells_along, FINEST_CELL_M, USUAL_CELL_M))
    side = max(wanted, float(np.sqrt(area / budget.most_cells)), float(np.sqrt(area * n_sources / budget.most_pairs)))
    return float(2.0 ** (np.ceil(np.log2(side) * SIZES_PER_DOUBLING - 1e-9) / SIZES_PER_DOUBLING))


def _grown(
    box: tuple[float, float, float, float],
    sources: Sources,
    spread: Spread,
    share: float,
    engine: Engine,
    budget: Budget,
    pressure: PressureSettings,
) -> LevelSet:
    """Return the area of a share on a grid over a box, or over a larger one if the area does not end in it."""
    for _ in range(MOST_GROWTHS):
        west, east, south, north = box
        cell = _cell(box, len(sources), budget)
        # Odd numbers, centred on the box: a mirrored focus has a mirrored grid, and a lone plant a cell of its own.
        n_cols, n_rows = (int(np.ceil(side / cell)) // 2 * 2 + 1 for side in (east - west, north - south))
        grid = Grid(
            west=(west + east - n_cols * cell) / 2,
            north=(south + north + n_rows * cell) / 2,
            cell_m=cell,
            n_rows=n_rows,
            n_cols=n_cols,
        )
        values = pressure_on_grid(grid, sources, spread, engine, settings=pressure).values
        if values.sum() * cell**2 > share * sources.strength.sum():
            area = _level_set(grid, values, share, sources)
            if area.is_inside:
                return area
        more = 0.25 * max(east - west, north - south)
        box = (west - more, east + more, south - more, north + more)
    msg = (
        f"the ring that holds {share:.4g} of all arrivals does not end within {box[1] - box[0]:.0f} m: "
        f"the tail of the kernel ({spread.kernel.in_words()}) is too heavy for it. Ask for a smaller share in "
        "settings.zones or choose another kernel."
    )
    raise SettingsError(msg)


def _level_set(grid: Grid, values: FloatArray, share: float, sources: Sources) -> LevelSet:
    """Return the area of a share on a grid that holds more than that share."""
    ranked = np.sort(values, axis=None)[::-1]
    held = np.cumsum(ranked) * grid.cell_m**2 / sources.strength.sum()
    last = int(np.searchsorted(held, share))
    before = held[last - 1] if last else 0.0
    part = (share - before) / (held[last] - before)
    return LevelSet(
        grid=grid, values=values, threshold=float(ranked[last]), area_m2=float((last + part) * grid.cell_m**2)
    )
