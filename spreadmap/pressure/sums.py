"""Infection pressure at points and on grids: the two functions that everything else calls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure.compiled import sum_at_points, sum_on_rows
from spreadmap.pressure.rules import curvature, reach_of_cell, reach_of_disc, worst_rose
from spreadmap.pressure.tables import even_table, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

RELATIVE_ERROR_BOUND = 3e-4
"""Largest relative error of a sum where it is above 1e-12 of the largest [-]; bound by test_pressure_*.py."""
POINTS_PER_PIECE = 512
ROWS_PER_PIECE = 16
RADII_PER_DOUBLING = 4
CURVED_ERROR = 1e-5
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


def _check_numbers(what: str, values: FloatArray, count: int, least: float = -np.inf) -> None:
    """Refuse numbers that are too few, not finite, or below `least`."""
    wrong = ~(np.isfinite(values) & (values >= least))
    if values.shape != (count,) or wrong.any():
        found = f", {int(wrong.sum())} of them unusable such as {values[wrong][0]}" if wrong.any() else ""
        limit = f" from {least:g} on" if np.isfinite(least) else ""
        msg = (
            f"{what} are {values.size} numbers{found}; allowed: {count} finite numbers{limit}, one per receptor. "
            "Check what made them."
        )
        raise InputError(msg)


def _reach_of_discs(
    spread: Spread, roses: ComplexArray, radius_m: FloatArray, farthest: float
) -> tuple[FloatArray, FloatArray]:
    """Return for each receptor how near a source its disc is integrated exactly, and beyond which it is a point [m].

    Radii are rounded up to a few sizes, so that the rules are tried once for each size.
    """
    exact, simple = np.zeros(len(radius_m)), np.zeros(len(radius_m))
    size = np.full(len(radius_m), -np.inf)
    has_size = radius_m > 0
    size[has_size] = np.ceil(np.log2(radius_m[has_size]) * RADII_PER_DOUBLING)
    for one in np.unique(size[has_size]):
        reach = reach_of_disc(spread, worst_rose(roses), float(2 ** (one / RADII_PER_DOUBLING)), farthest)
        exact[size == one], simple[size == one] = reach.exact_m, reach.simple_m
    return exact, simple


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
        If a position, radius or weight is not finite, or a radius is below zero.
    """
    _check_places("receptor", receptors.easting, receptors.northing)
    _check_places("source", sources.easting, sources.northing)
    _check_numbers("canopy radii", receptors.radius_m, len(receptors), 0.0)
    weighted = receptor_weight is not None
    weight = np.zeros(0) if receptor_weight is None else np.ascontiguousarray(receptor_weight, dtype=np.float64)
    if weighted:
        _check_numbers("receptor weights", weight, len(receptors))
    density, sent = np.zeros(len(receptors)), np.zeros(len(sources))
    if len(receptors) == 0 or len(sources) == 0:
        return PointPressure(density=density, sent=sent if weighted else None, error_bound=0.0)
    east, north = receptors.easting, receptors.northing
    farthest = _farthest(east.min(), east.max(), north.min(), north.max(), sources)
    farthest += float(receptors.radius_m.max())
    roses, lines = _roses(spread, sources), screens or NO_SCREENS
    tables, even = radial_tables(spread, farthest), even_table(spread, farthest, farthest)
    exact, simple = _reach_of_discs(spread, roses, receptors.radius_m, farthest)

    def piece(first: int) -> FloatArray:
        part = slice(first, first + POINTS_PER_PIECE)
        mine = np.zeros(len(sources))
        sum_at_points(
            east[part].copy(), north[part].copy(), receptors.radius_m[part].copy(), exact[part].copy(),
            simple[part].copy(), receptors.plant[part].copy(),
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), sources.plant.copy(), roses,
            weight[part].copy() if weighted else weight, lines.ends.copy(), lines.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, 1.0 / even.step_m, even.valid_from_m, even.pieces,
            density[part], mine,
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
    cell = float(grid.cell_m)
    farthest = _farthest(*grid.region, sources) + cell
    roses, lines = _roses(spread, sources), screens or NO_SCREENS
    tables, even = radial_tables(spread, farthest), even_table(spread, farthest, cell / 3, cell)
    rose = worst_rose(roses)
    reach = reach_of_cell(spread, rose, cell, farthest)
    simple = max(reach.simple_m, min(even.valid_from_m, farthest))
    # From here on the curvature by bearing adds less than its limit to a cell's mean.
    curved = cell * float(np.sqrt(curvature(rose) / (24 * CURVED_ERROR)))

    def block(first: int) -> None:
        part = slice(first, first + ROWS_PER_PIECE)
        sum_on_rows(
            grid.easting, grid.northing[part].copy(), cell,
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), roses,
            lines.ends.copy(), lines.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, 1.0 / even.step_m, even.pieces,
            reach.exact_m, simple, curved, values[part],
        )  # fmt: skip

    engine.map(block, range(0, grid.n_rows, ROWS_PER_PIECE))
    return GridPressure(values=values, error_bound=RELATIVE_ERROR_BOUND)
