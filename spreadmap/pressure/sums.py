"""Infection pressure at points and on grids: the two functions that everything else calls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure.compiled import sum_at_points, sum_on_rows
from spreadmap.pressure.tables import even_density, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

RELATIVE_ERROR_BOUND = 1e-3
"""Largest relative error of a sum where it is above 1e-12 of the largest [-]; bound by test_pressure_*.py."""
POINTS_PER_PIECE = 512
ROWS_PER_PIECE = 16
STEPS_PER_CELL = 4
NO_SCREENS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointPressure:
    """Sums at points: `density` (receptors,) [m^-2]; `sent` (sources,) weight times density, None if not asked."""

    density: FloatArray
    sent: FloatArray | None
    error_bound: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridPressure:
    """Sums on a grid: `values` (n_rows, n_cols), the mean density over each cell [m^-2]."""

    values: FloatArray
    error_bound: float


def _check_places(what: str, easting: FloatArray, northing: FloatArray) -> None:
    """Refuse positions that are not finite."""
    wrong = ~(np.isfinite(easting) & np.isfinite(northing))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        msg = (
            f"{what} {first} of {len(easting)} lies at ({easting[first]}, {northing[first]}), and {int(wrong.sum())} "
            "in all are not finite; allowed: finite metres in the working CRS. Leave these places out."
        )
        raise InputError(msg)


def _roses(spread: Spread, sources: Sources) -> ComplexArray:
    """Return the coefficients at every source; of no width where no source has a direction, which is faster."""
    roses = spread.coefficients_at(sources.easting, sources.northing)
    return np.ascontiguousarray(roses if np.any(roses != 0) else roses[:, :0])


def _farthest(west: float, east: float, south: float, north: float, sources: Sources) -> float:
    """Return a length that no distance from a source to the region exceeds."""
    wide = max(east, sources.easting.max()) - min(west, sources.easting.min())
    high = max(north, sources.northing.max()) - min(south, sources.northing.min())
    return float(np.hypot(wide, high)) + 1.0


def pressure_at_points(
    receptors: Receptors,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    *,
    screens: ScreenSegments | None = None,
    receptor_weight: FloatArray | None = None,
) -> PointPressure:
    """Return the density of arrivals at receptors, averaged over their canopy discs.

    Parameters
    ----------
    receptors : Receptors, n of them
    sources : Sources
        A receptor and a source that are the same plant are left out of each other's sum.
    spread : Spread
        Kernel and wind; the wind at the source governs.
    engine : Engine
    screens : ScreenSegments, optional
        Arrivals whose straight path crosses a piece are multiplied by its factor.
    receptor_weight : array, shape (n,), optional
        With it, `sent` says what each source sends: sum over receptors of weight times density. [-]

    Returns
    -------
    PointPressure

    Raises
    ------
    InputError
        If a position or weight is not finite.
    """
    _check_places("receptor", receptors.easting, receptors.northing)
    _check_places("source", sources.easting, sources.northing)
    weighted = receptor_weight is not None
    weight = np.zeros(0) if receptor_weight is None else np.asarray(receptor_weight, dtype=np.float64)
    if weighted and (len(weight) != len(receptors) or not np.isfinite(weight).all()):
        msg = (
            f"receptor weights are {len(weight)} numbers, some not finite; allowed: {len(receptors)} finite numbers, "
            "one per receptor. Check what made them."
        )
        raise InputError(msg)
    density, sent = np.zeros(len(receptors)), np.zeros(len(sources))
    if len(receptors) == 0 or len(sources) == 0:
        return PointPressure(density=density, sent=sent if weighted else None, error_bound=0.0)
    east, north = receptors.easting, receptors.northing
    tables = radial_tables(spread, _farthest(east.min(), east.max(), north.min(), north.max(), sources))
    roses = _roses(spread, sources)
    lines = screens or NO_SCREENS

    def piece(first: int) -> FloatArray:
        part = slice(first, first + POINTS_PER_PIECE)
        mine = np.zeros(len(sources))
        sum_at_points(
            east[part].copy(), north[part].copy(), receptors.radius_m[part].copy(), receptors.plant[part].copy(),
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), sources.plant.copy(), roses,
            weight[part].copy() if weighted else weight, lines.ends.copy(), lines.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, density[part], mine,
        )  # fmt: skip
        return mine

    for mine in engine.map(piece, range(0, len(receptors), POINTS_PER_PIECE)):
        sent += mine
    return PointPressure(density=density, sent=sent if weighted else None, error_bound=RELATIVE_ERROR_BOUND)


def pressure_on_grid(
    grid: Grid, sources: Sources, spread: Spread, engine: Engine, *, screens: ScreenSegments | None = None
) -> GridPressure:
    """Return the mean density of arrivals over every cell of a grid.

    Parameters
    ----------
    grid : Grid
    sources : Sources
    spread : Spread
        Kernel and wind; the wind at the source governs.
    engine : Engine
    screens : ScreenSegments, optional

    Returns
    -------
    GridPressure
        Never negative; the sum of values times the cell's area is the mass that lands on the grid.

    Raises
    ------
    InputError
        If a position is not finite.
    """
    _check_places("source", sources.easting, sources.northing)
    values = np.zeros(grid.shape)
    if len(sources) == 0:
        return GridPressure(values=values, error_bound=0.0)
    farthest = _farthest(*grid.region, sources)
    tables = radial_tables(spread, farthest)
    step = grid.cell_m / STEPS_PER_CELL
    table = even_density(spread.kernel, step, farthest)
    roses = _roses(spread, sources)
    lines = screens or NO_SCREENS

    def block(first: int) -> None:
        part = slice(first, first + ROWS_PER_PIECE)
        sum_on_rows(
            grid.easting, grid.northing[part].copy(), float(grid.cell_m),
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), roses,
            lines.ends.copy(), lines.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, 1.0 / step, table, values[part],
        )  # fmt: skip

    engine.map(block, range(0, grid.n_rows, ROWS_PER_PIECE))
    return GridPressure(values=values, error_bound=RELATIVE_ERROR_BOUND)
