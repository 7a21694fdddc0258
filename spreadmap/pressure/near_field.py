"""The near part of a law on a grid: which tables it needs, and its stamps on one tile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_near import stamp, stamp_exactly
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.stamps import Tier, disc_rows, square_rows, tier
from spreadmap.pressure.strands import Law, key_of
from spreadmap.pressure.tables import RadialTables, radial_tables
from spreadmap.pressure.trial import stamp_error
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources

WHOLE = 1e300
"""A cut so far away that all of a kernel is near [m]."""
INNER = ((8, 2, 4), (16, 2, 5), (16, 3, 5), (32, 3, 3))
"""Lattice nodes to the cell, order of splines and reach in cells of the inner tier, tried in this order."""
OUTER = ((2, 2), (4, 2), (2, 3), (4, 3), (8, 3))
"""Lattice nodes to the cell and order of splines of the outer tier, tried in this order: nine values go into one of a
stamp by splines of order 2, sixteen by those of order 3."""
ALONE = 8
"""Lattice nodes to the cell of a tier that stands alone [-]."""
ONE_TIER_CELLS = 18.0
"""Stamps of no more than this reach have one tier, where its tried error allows it [-]."""
CORES = (-1, 2)
"""Rows and columns about a source that are integrated for each source alone, where no table is fine enough."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearTables:
    """Tiers of one law, the outer first; cells within `core` of each source are integrated, -1 none."""

    tiers: tuple[Tier, ...]
    core: int
    error: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Near:
    """The near part of a law and its sources, sorted by row; places in cells, rows counted southward."""

    law: Law
    radial: tuple[RadialTables, ...]
    tables: NearTables
    cut_m: float
    row: FloatArray
    col: FloatArray
    strength: FloatArray
    reach: int

    @property
    def error(self) -> float:
        """Return the largest relative error that the trials found [-]."""
        return self.tables.error

    def add(self, row0: int, col0: int, out: FloatArray, cell_m: float) -> None:
        """Add the stamps of the sources that reach into a tile."""
        first = np.searchsorted(self.row, row0 - self.reach - 1)
        last = np.searchsorted(self.row, row0 + len(out) + self.reach + 1)
        order = np.arange(first, last)
        if len(order) == 0:
            return
        for one in self.tables.tiers:
            stamp(
                row0, col0, out, self.row, self.col, self.strength, order, one.values, one.q, one.order, one.size,
                one.half, one.hole,
            )  # fmt: skip
        if self.tables.core < 0:
            return
        for strand, radial in zip(self.law, self.radial, strict=True):
            stamp_exactly(
                row0, col0, out, self.row, self.col, strand.share * self.strength, order, self.tables.core, cell_m,
                radial.log_first, radial.step, radial.mass, radial.mass_slope, radial.bent_mass, radial.bent_slope,
                radial.log_density, strand.spread.near_radius_m, strand.roses, self.cut_m,
            )  # fmt: skip


def near_part(
    law: Law, grid: Grid, sources: Sources, way: Way, farthest_m: float, allowed: float, engine: Engine
) -> Near | None:
    """Return the near part of sources that share their roses, None where no table is fine enough."""
    radial = tuple(radial_tables(one.spread, farthest_m) for one in law)
    tables = near_tables(law, radial, float(grid.cell_m), way, allowed, engine)
    if tables is None:
        return None
    row, col = places(grid, sources)
    order = np.argsort(row, kind="stable")
    return Near(
        law=law, radial=radial, tables=tables, cut_m=way.cut_m if way.step_m > 0 else WHOLE,
        row=row[order], col=col[order], strength=sources.strength[order],
        reach=max(len(one.half) // 2 for one in tables.tiers),
    )  # fmt: skip


def near_tables(
    law: Law, radial: tuple[RadialTables, ...], cell_m: float, way: Way, allowed: float, engine: Engine
) -> NearTables | None:
    """Return the tables of a law of one rose, None where none is fine enough; kept."""
    key = ("near", key_of(law), cell_m, way.cut_m, way.step_m > 0, allowed)
    return KEPT.get(key, lambda: _near_tables(law, radial, cell_m, way, allowed, engine))


def places(grid: Grid, sources: Sources) -> tuple[FloatArray, FloatArray]:
    """Return where sources stand in rows from the north and columns from the west, parts of cells included."""
    return (grid.north - sources.northing) / grid.cell_m, (sources.easting - grid.west) / grid.cell_m


def _near_tables(
    law: Law, radial: tuple[RadialTables, ...], cell_m: float, way: Way, allowed: float, engine: Engine
) -> NearTables | None:
    """Return the coarsest tables whose tried error is allowed, None where no table is fine enough."""
    cut = way.cut_m if way.step_m > 0 else WHOLE

    def tried(choices: tuple[tuple[int, int, IntArray], ...], hole: int) -> tuple[Tier, float] | None:
        for q, order, half in choices:
            one = tier(law, radial, cell_m, cut, way.cut_m, q, order, half, hole, engine)
            error = stamp_error(law, radial, cell_m, cut, one)
            if error <= allowed:
                return one, error
        return None

    reach_cells = way.cut_m / cell_m
    if reach_cells <= ONE_TIER_CELLS:
        # Short rows cost more to begin than to fill: one tier has fewer of them.
        alone = tried(((ALONE, 3, disc_rows(reach_cells)),), -1)
        if alone is not None:
            return NearTables(tiers=(alone[0],), core=-1, error=alone[1])
    for core in CORES:
        inner = tried(tuple((q, order, square_rows(reach)) for q, order, reach in INNER), core)
        if inner is None:
            continue
        reach = len(inner[0].half) // 2
        if way.cut_m / cell_m <= reach:
            return NearTables(tiers=(inner[0],), core=core, error=inner[1])
        outer = tried(tuple((q, order, disc_rows(way.cut_m / cell_m)) for q, order in OUTER), reach)
        if outer is not None:
            return NearTables(tiers=(outer[0], inner[0]), core=core, error=max(inner[1], outer[1]))
    return None
