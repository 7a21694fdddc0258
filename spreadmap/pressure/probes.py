"""Fast sums compared with exact ones at some places: half of them next to sources, half anywhere."""

from __future__ import annotations

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.exact import exact_at_points, exact_on_grid
from spreadmap.pressure.strands import Law
from spreadmap.pressure.trial import FAINTEST
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

NEAR_CELLS = 20.0
HOLE_PART = 0.25
"""Part of the allowed error that a mesh may use up where the kernel has a hole [-]."""
NO_SCREENS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))


def probe_cells(grid: Grid, sources: Sources, count: int) -> tuple[IntArray, IntArray]:
    """Return rows and columns of cells, the same every time."""
    rng = np.random.default_rng(count)
    rows, cols = rng.integers(0, grid.n_rows, count), rng.integers(0, grid.n_cols, count)
    near = count // 2
    one = rng.integers(0, len(sources), near)
    away, turn = NEAR_CELLS * rng.uniform(0, 1, near) ** 2, rng.uniform(0, 2 * np.pi, near)
    row = np.floor((grid.north - sources.northing[one]) / grid.cell_m + away * np.cos(turn)).astype(np.int64)
    col = np.floor((sources.easting[one] - grid.west) / grid.cell_m + away * np.sin(turn)).astype(np.int64)
    inside = (row >= 0) & (row < grid.n_rows) & (col >= 0) & (col < grid.n_cols)
    rows[:near][inside], cols[:near][inside] = row[inside], col[inside]
    return rows, cols


def exact_cells(
    grid: Grid, rows: IntArray, cols: IntArray, sources: Sources, law: Law, engine: Engine,
    screens: ScreenSegments = NO_SCREENS,
) -> FloatArray:  # fmt: skip
    """Return the exact means over some cells of a grid [m^-2]."""
    one = Engine(workers=1)

    def cell(place: tuple[int, int]) -> float:
        row, col = place
        alone = Grid(
            west=grid.west + col * grid.cell_m, north=grid.north - row * grid.cell_m, cell_m=grid.cell_m, n_rows=1,
            n_cols=1,
        )  # fmt: skip
        return float(exact_on_grid(alone, sources, law, one, screens)[0, 0])

    return np.array(engine.map(cell, list(zip(rows.tolist(), cols.tolist(), strict=True))))


def largest_error(found: FloatArray, exact: FloatArray, top: float) -> float:
    """Return the largest relative error where the exact sum counts [-]."""
    counts = exact > FAINTEST * top
    return float(np.max(np.abs(found - exact)[counts] / exact[counts], initial=0.0))


def worst_at_probes(
    values: np.ndarray, grid: Grid, sources: Sources, law: Law, engine: Engine, count: int,
    screens: ScreenSegments = NO_SCREENS,
) -> float:  # fmt: skip
    """Return the largest relative error of a grid's values at its probes [-]."""
    rows, cols = probe_cells(grid, sources, count)
    exact = exact_cells(grid, rows, cols, sources, law, engine, screens)
    return largest_error(values[rows, cols].astype(np.float64), exact, float(values.max()))


def worst_receptor(
    density: FloatArray, receptors: Receptors, sources: Sources, law: Law, engine: Engine, count: int,
    screens: ScreenSegments = NO_SCREENS,
) -> float:  # fmt: skip
    """Return the largest relative error at some of the receptors [-]."""
    some = np.random.default_rng(count).integers(0, len(receptors), count)
    few = Receptors(
        easting=receptors.easting[some], northing=receptors.northing[some], radius_m=receptors.radius_m[some],
        plant=receptors.plant[some],
    )  # fmt: skip
    exact = exact_at_points(few, sources, law, engine, screens, np.zeros(0))[0]
    return largest_error(density[some], exact, float(density.max()))
