"""Sums over every pair of source and receptor: compiled, in threads, with the same bits whatever their number."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.compiled import sum_at_points, sum_on_rows
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.rules import curvature, reach_of_cell, reach_of_disc
from spreadmap.pressure.strands import Law, Strand
from spreadmap.pressure.tables import even_table, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

RELATIVE_ERROR_BOUND = 3e-4
"""Largest relative error of a sum where it is above 1e-12 of the largest [-]; bound by test_pressure_*.py."""
POINTS_PER_PIECE, MOST_PER_PIECE, PAIRS_PER_PIECE = 512, 8192, 2**17
ROWS_PER_PIECE = 16
RADII_PER_DOUBLING = 4
CURVED_ERROR = 1e-5
FEW_PAIRS = 5e5
"""Fewer pairs are summed sooner than threads are started [-]."""


def farthest_of(west: float, east: float, south: float, north: float, sources: Sources) -> float:
    """Return a length that no distance from a source to the region exceeds, of one of a few sizes [m]."""
    wide = max(east, sources.easting.max()) - min(west, sources.easting.min())
    high = max(north, sources.northing.max()) - min(south, sources.northing.min())
    return rounded_up(float(np.hypot(wide, high)) + 1.0)


def reach_of_discs(
    spread: Spread, rose: ComplexArray, radius_m: FloatArray, farthest: float
) -> tuple[FloatArray, FloatArray]:
    """Return for each receptor how near a source its disc is integrated exactly, and beyond which it is a point [m].

    Radii are rounded up to a few sizes, so that the rules are tried once for each size.
    """
    exact, simple = np.zeros(len(radius_m)), np.zeros(len(radius_m))
    size = np.full(len(radius_m), -np.inf)
    has_size = radius_m > 0
    size[has_size] = np.ceil(np.log2(radius_m[has_size]) * RADII_PER_DOUBLING)
    for one in np.unique(size[has_size]):
        reach = reach_of_disc(spread, rose, float(2 ** (one / RADII_PER_DOUBLING)), farthest)
        exact[size == one], simple[size == one] = reach.exact_m, reach.simple_m
    return exact, simple


def _worth(engine: Engine, pairs: float) -> Engine:
    """Return the engine, or one worker where there is little to do."""
    return engine if pairs > FEW_PAIRS else Engine(workers=1)


def every_rose(strand: Strand, count: int) -> ComplexArray:
    """Return the coefficients source by source, (count, M)."""
    return np.repeat(strand.roses, count, axis=0) if strand.is_uniform else strand.roses


def exact_at_points(
    receptors: Receptors, sources: Sources, law: Law, engine: Engine, screens: ScreenSegments, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the density at every receptor [m^-2], and what every source sends; `weight` of no length asks for none."""
    density, sent = np.zeros(len(receptors)), np.zeros(len(sources))
    for strand in law:
        more, more_sent = _strand_at_points(receptors, sources, strand, engine, screens, weight)
        density, sent = density + strand.share * more, sent + strand.share * more_sent
    return density, sent


def _strand_at_points(
    receptors: Receptors, sources: Sources, strand: Strand, engine: Engine, screens: ScreenSegments, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the sums of one strand."""
    density, sent, spread = np.zeros(len(receptors)), np.zeros(len(sources)), strand.spread
    east, north = receptors.easting, receptors.northing
    farthest = farthest_of(east.min(), east.max(), north.min(), north.max(), sources)
    farthest = rounded_up(farthest + float(receptors.radius_m.max()))
    roses = every_rose(strand, len(sources))
    tables, even = radial_tables(spread, farthest), even_table(spread, farthest, farthest)
    exact, simple = reach_of_discs(spread, strand.rose, receptors.radius_m, farthest)
    size = int(np.clip(PAIRS_PER_PIECE // len(sources), POINTS_PER_PIECE, MOST_PER_PIECE))

    def piece(first: int) -> FloatArray:
        part = slice(first, first + size)
        mine = np.zeros(len(sources))
        sum_at_points(
            east[part].copy(), north[part].copy(), receptors.radius_m[part].copy(), exact[part].copy(),
            simple[part].copy(), receptors.plant[part].copy(),
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), sources.plant.copy(), roses,
            weight[part].copy() if len(weight) else weight, screens.ends.copy(), screens.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, 1.0 / even.step_m, even.valid_from_m, even.pieces,
            density[part], mine,
        )  # fmt: skip
        return mine

    for mine in _worth(engine, float(len(receptors)) * len(sources)).map(piece, range(0, len(receptors), size)):
        sent += mine
    return density, sent


def exact_on_grid(grid: Grid, sources: Sources, law: Law, engine: Engine, screens: ScreenSegments) -> FloatArray:
    """Return the mean density over every cell of a grid, (n_rows, n_cols) [m^-2]."""
    values = np.zeros(grid.shape)
    for strand in law:
        values += strand.share * _strand_on_grid(grid, sources, strand, engine, screens)
    return values


def _strand_on_grid(
    grid: Grid, sources: Sources, strand: Strand, engine: Engine, screens: ScreenSegments
) -> FloatArray:
    """Return the sums of one strand."""
    values, cell, spread = np.zeros(grid.shape), float(grid.cell_m), strand.spread
    farthest = rounded_up(farthest_of(*grid.region, sources) + cell)
    roses = every_rose(strand, len(sources))
    tables, even = radial_tables(spread, farthest), even_table(spread, farthest, cell / 3, cell)
    reach = reach_of_cell(spread, strand.rose, cell, farthest)
    simple = max(reach.simple_m, min(even.valid_from_m, farthest))
    # From here on the curvature by bearing adds less than its limit to a cell's mean.
    curved = cell * float(np.sqrt(curvature(strand.rose) / (24 * CURVED_ERROR)))

    def block(first: int) -> None:
        part = slice(first, first + ROWS_PER_PIECE)
        sum_on_rows(
            grid.easting, grid.northing[part].copy(), cell,
            sources.easting.copy(), sources.northing.copy(), sources.strength.copy(), roses,
            screens.ends.copy(), screens.factor.copy(),
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, 1.0 / even.step_m, even.pieces,
            reach.exact_m, simple, curved, values[part],
        )  # fmt: skip

    _worth(engine, float(values.size) * len(sources)).map(block, range(0, grid.n_rows, ROWS_PER_PIECE))
    return values
