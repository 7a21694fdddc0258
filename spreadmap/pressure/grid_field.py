"""The fast sum on a grid: made ready once, then read off tile by tile, in any order and by any thread."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_mesh import read_cells
from spreadmap.pressure.compiled_near import hand_over, mark_faint, never_below_zero
from spreadmap.pressure.harmonics import varying_far_sum
from spreadmap.pressure.mesh import far_sum, mesh_over
from spreadmap.pressure.middle import MiddleField, middle_sum
from spreadmap.pressure.near_field import Near, near_part, places
from spreadmap.pressure.near_nodes import NodeNear, node_near_part
from spreadmap.pressure.near_varying import VaryingNear, varying_near_part
from spreadmap.pressure.probes import HOLE_PART, exact_cells
from spreadmap.pressure.shade import bound_behind, fast_rtol
from spreadmap.pressure.shade_grid import GridShade, grid_shade
from spreadmap.pressure.splines import CELL_NODES, cell_weights
from spreadmap.pressure.strands import Law
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import ScreenSegments, Sources

TILE_ROWS, TILE_COLS = 128, 512
STEEP_CELLS, STEEP_PART = 10.0, 0.25
"""A kernel that ends within so few cells falls so steeply that the few cells tried are no fair sample."""
NOISE = 4e-16
"""Rounding of a transform there and back, as a share of the largest value on the mesh [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Axis:
    """First node and weights of the mean over each row, or column, of a grid."""

    first: IntArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FarField:
    """Spline coefficients of the far sum, and how rows and columns of a grid read them."""

    values: FloatArray
    rows: Axis
    cols: Axis

    def add(self, rows: slice, cols: slice, out: FloatArray) -> None:
        """Add the sums in a tile."""
        read_cells(
            self.rows.first[rows], self.rows.weight[rows], self.cols.first[cols], self.cols.weight[cols], self.values,
            out,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Middle:
    """Spline coefficients of the middle sum near sources, and how rows and columns of a grid read them."""

    field: MiddleField
    rows: Axis
    cols: Axis

    def add(self, rows: slice, cols: slice, out: FloatArray) -> None:
        """Add the sums in a tile."""
        down, across = self.rows.first[rows], self.cols.first[cols]
        row, col = int(down.min()), int(across.min())
        window = self.field.window(row, int(down.max()) + CELL_NODES, col, int(across.max()) + CELL_NODES)
        if window is not None:
            read_cells(down - row, self.rows.weight[rows], across - col, self.cols.weight[cols], window, out)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hole:
    """Cells about sources in which a mesh may be off, as far as other sources do not fill them: summed pair by pair.

    Within `reach` rows and columns of a source of strength s, sums below s times `least` [m^-2] are not good enough.
    Sources are sorted by row; places in cells.
    """

    sources: Sources
    law: Law
    row: FloatArray
    col: FloatArray
    strength: FloatArray
    reach: int
    least: float

    def repair(self, row0: int, col0: int, out: FloatArray, grid: Grid) -> None:
        """Replace what is not good enough in a tile."""
        order = np.arange(
            np.searchsorted(self.row, row0 - self.reach - 1),
            np.searchsorted(self.row, row0 + len(out) + self.reach + 1),
        )
        marks = np.zeros(out.shape, dtype=np.bool_)
        mark_faint(row0, col0, out, self.row, self.col, self.strength, order, self.reach, self.least, marks)
        if marks.any():
            rows, cols = np.nonzero(marks)
            out[rows, cols] = exact_cells(grid, rows + row0, cols + col0, self.sources, self.law, Engine(workers=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridField:
    """Everything that a tile needs."""

    grid: Grid
    far: FarField | None
    middle: Middle | None
    near: Near | NodeNear | VaryingNear | None
    hole: Hole | None
    error_bound: float
    shade: GridShade | None = None

    def tile(self, row0: int, row1: int, col0: int, col1: int) -> FloatArray:
        """Return the sums in rows `row0` to `row1` - 1 and columns `col0` to `col1` - 1 of the grid [m^-2]."""
        out = np.zeros((row1 - row0, col1 - col0))
        self.add(row0, col0, out)
        never_below_zero(out)
        return out

    def add(self, row0: int, col0: int, out: FloatArray) -> None:
        """Add the sums to an array of zeros whose first cell is (`row0`, `col0`); rounding may leave some below zero."""
        rows, cols = slice(row0, row0 + out.shape[0]), slice(col0, col0 + out.shape[1])
        if self.far is not None:
            self.far.add(rows, cols, out)
        if self.middle is not None:
            self.middle.add(rows, cols, out)
        if self.near is not None:
            self.near.add(row0, col0, out, float(self.grid.cell_m))
        if self.hole is not None:
            self.hole.repair(row0, col0, out, self.grid)
        if self.shade is not None:
            self.shade.take_off(row0, col0, out)

    def tiles(self) -> list[tuple[int, int, int, int]]:
        """Return tiles that cover the grid, row by row."""
        return [
            (row, min(row + TILE_ROWS, self.grid.n_rows), col, min(col + TILE_COLS, self.grid.n_cols))
            for row in range(0, self.grid.n_rows, TILE_ROWS)
            for col in range(0, self.grid.n_cols, TILE_COLS)
        ]

    def fill(self, values: np.ndarray, engine: Engine) -> float:
        """Write all tiles into an array of the grid's shape and return the largest value."""
        # A buffer for each thread: memory that is asked for anew has to be mapped anew, page by page.
        own = threading.local()

        def one(tile: tuple[int, int, int, int]) -> float:
            row0, row1, col0, col1 = tile
            if not hasattr(own, "buffer"):
                own.buffer = np.empty(TILE_ROWS * TILE_COLS)
            part = own.buffer[: (row1 - row0) * (col1 - col0)].reshape(row1 - row0, col1 - col0)
            part[:] = 0.0
            self.add(row0, col0, part)
            return float(hand_over(part, values[row0:row1, col0:col1]))

        return max(engine.map(one, self.tiles()))

    @property
    def noise(self) -> float:
        """Return what rounding of the transforms may add anywhere [m^-2]."""
        left = 1.0 if self.shade is None else self.shade.shade.left
        coefficients = [self.far.values] if self.far is not None else []
        coefficients += [self.middle.field.values] if self.middle is not None else []
        # Not the largest of absolute values: those would be a second array of this size.
        return NOISE * max((float(max(one.max(), -one.min())) for one in coefficients), default=0.0) / left


def axes(grid: Grid, west: float, south: float, step_m: float) -> tuple[Axis, Axis]:
    """Return how rows and columns of a grid read a mesh with node (0, 0) at `west`, `south`."""
    width = float(grid.cell_m) / step_m
    rows, cols = (
        Axis(first=first, weight=weight)
        for first, weight in (
            cell_weights((grid.northing - south) / step_m, width), cell_weights((grid.easting - west) / step_m, width)
        )
    )  # fmt: skip
    return rows, cols


def grid_field(
    grid: Grid, sources: Sources, law: Law, way: Way, region: tuple[float, float, float, float], farthest_m: float,
    rtol: float, engine: Engine, screens: ScreenSegments | None = None,
) -> GridField | str:  # fmt: skip
    """Return the field of a law's sources on a grid, or why there is none.

    With screens, `way` was chosen for the smaller error that `fast_rtol` tells.
    """
    if screens is not None and len(screens):
        bare = grid_field(grid, sources, law, way, region, farthest_m, fast_rtol(screens, rtol), engine)
        if isinstance(bare, str):
            return bare
        shade = grid_shade(grid, sources, law, screens, way.reach_m, rtol)
        return replace(bare, shade=shade, error_bound=bound_behind(screens, bare.error_bound, rtol))
    uniform = all(one.is_uniform for one in law)
    near: Near | NodeNear | VaryingNear | None = None
    error = way.mesh_error
    if way.cut_m > 0:
        allowed = rtol - way.mesh_error
        if way.step_m == 0 and way.cut_m < STEEP_CELLS * grid.cell_m:
            allowed *= STEEP_PART
        if uniform:
            near = near_part(law, grid, sources, way, farthest_m, allowed, engine)
        else:
            near = node_near_part(law, grid, sources, way, farthest_m, allowed, engine)
            near = near or varying_near_part(law, grid, sources, way, farthest_m, allowed, engine)
        if near is None:
            return "no table keeps the allowed error next to a source"
        error += near.error
    far, middle = None, None
    if way.step_m > 0:
        mesh = mesh_over(region, way.step_m, way.reach_m)
        add_up = far_sum if uniform else varying_far_sum
        values = add_up(mesh, sources.easting, sources.northing, sources.strength, law, way.far_cut_m, engine)
        rows, cols = axes(grid, mesh.west, mesh.south, mesh.step_m)
        far = FarField(values=values, rows=rows, cols=cols)
    if way.middle_m > 0:
        middle = _middle(grid, sources, law, way, engine)
    hole = None
    if way.hole_error > 0:
        row, col = places(grid, sources)
        order = np.argsort(row, kind="stable")
        hole = Hole(
            sources=sources, law=law, row=row[order], col=col[order], strength=sources.strength[order],
            reach=int(np.ceil(way.hole_m / grid.cell_m)), least=way.hole_error / (HOLE_PART * rtol),
        )  # fmt: skip
    return GridField(grid=grid, far=far, middle=middle, near=near, hole=hole, error_bound=error)


def _middle(grid: Grid, sources: Sources, law: Law, way: Way, engine: Engine) -> Middle | None:
    """Return the middle part, None where no source is near."""
    field = middle_sum(grid.region, sources, law, way.middle_m, way.cut_m, way.outer_m, engine)
    if field is None:
        return None
    rows, cols = axes(grid, field.blocks.west, field.blocks.south, way.middle_m)
    return Middle(field=field, rows=rows, cols=cols)
