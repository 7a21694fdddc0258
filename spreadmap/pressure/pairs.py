"""Density that single sources send to single receptors, for the pairs that are near each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.checks import check_places
from spreadmap.pressure.compiled_pairs import fill_pairs
from spreadmap.pressure.exact import farthest_of, reach_of_discs
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.strands import Strand, law_at
from spreadmap.pressure.tables import RadialTables, radial_tables
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

SOURCES_PER_PIECE = 64
SHRINK = 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairDensities:
    """Pairs source by source: those of source j are `start[j]` to `start[j + 1]` - 1, receptors ascending.

    `density` is that of a source of strength one, mean over the receptor's canopy disc [m^-2], `distance_m` between the
    middles. `within_m` is how near a pair had to be.
    """

    start: IntArray
    receptor: IntArray
    density: FloatArray
    distance_m: FloatArray
    within_m: float

    @property
    def source(self) -> IntArray:
        """Return the source of every pair, shape (pairs,)."""
        return np.repeat(np.arange(len(self.start) - 1), np.diff(self.start))


def near_pair_densities(
    receptors: Receptors,
    sources: Sources,
    spread: Spread,
    engine: Engine,
    *,
    screens: ScreenSegments,
    within_m: float,
    most_pairs: int,
) -> PairDensities:
    """Return what each source sends to each receptor near it; same plants are left out.

    Parameters
    ----------
    receptors, sources : m receptors, n sources
        Strengths do not count.
    spread : Spread
        Kernel and wind; the wind at the source governs.
    engine : Engine
    screens : ScreenSegments
        Arrivals whose straight path crosses a piece are multiplied by its factor.
    within_m : float
        Distance up to which a pair is near; less where there would be more than `most_pairs`. [m]
    most_pairs : int

    Returns
    -------
    PairDensities

    Raises
    ------
    InputError
        If a position is not finite.
    """
    check_places("receptor", receptors.easting, receptors.northing)
    check_places("source", sources.easting, sources.northing)
    if len(receptors) == 0 or len(sources) == 0:
        none = np.zeros(0, dtype=np.int64)
        start = np.zeros(len(sources) + 1, dtype=np.int64)
        return PairDensities(start=start, receptor=none, density=np.zeros(0), distance_m=np.zeros(0), within_m=within_m)
    start, receptor, within_m = _pairs(receptors, sources, within_m, most_pairs)
    source = np.repeat(np.arange(len(sources)), np.diff(start))
    distance = np.hypot(
        receptors.easting[receptor] - sources.easting[source], receptors.northing[receptor] - sources.northing[source]
    )
    density = np.zeros(len(receptor))
    wide = (receptors.easting.min(), receptors.easting.max(), receptors.northing.min(), receptors.northing.max())
    farthest = rounded_up(farthest_of(*wide, sources) + float(receptors.radius_m.max()))
    for strand in law_at(spread, sources):
        tables = radial_tables(strand.spread, farthest)
        exact, simple = reach_of_discs(strand.spread, strand.rose, receptors.radius_m, farthest)

        def piece(
            begin: int,
            strand: Strand = strand,
            tables: RadialTables = tables,
            exact: FloatArray = exact,
            simple: FloatArray = simple,
        ) -> None:
            fill_pairs(
                begin, min(begin + SOURCES_PER_PIECE, len(sources)), start, receptor, receptors.easting.copy(),
                receptors.northing.copy(), receptors.radius_m.copy(), exact, simple, sources.easting.copy(),
                sources.northing.copy(), strand.roses, screens.ends.copy(), screens.factor.copy(), tables.log_first,
                tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope, tables.log_density,
                strand.spread.near_radius_m, strand.share, density,
            )  # fmt: skip

        engine.map(piece, range(0, len(sources), SOURCES_PER_PIECE))
    return PairDensities(start=start, receptor=receptor, density=density, distance_m=distance, within_m=within_m)


def _pairs(
    receptors: Receptors, sources: Sources, within_m: float, most_pairs: int
) -> tuple[IntArray, IntArray, float]:
    """Return where each source's pairs begin, their receptors, and the distance up to which pairs were taken."""
    to = cKDTree(np.column_stack([receptors.easting, receptors.northing]))
    of = cKDTree(np.column_stack([sources.easting, sources.northing]))
    while of.count_neighbors(to, within_m) > most_pairs:
        within_m *= SHRINK
    found = of.query_ball_tree(to, within_m)
    count = np.array([len(each) for each in found], dtype=np.int64)
    source = np.repeat(np.arange(len(sources)), count)
    receptor = np.fromiter((each for row in found for each in row), dtype=np.int64, count=int(count.sum()))
    order = np.lexsort((receptor, source))
    source, receptor = source[order], receptor[order]
    other = (sources.plant[source] < 0) | (sources.plant[source] != receptors.plant[receptor])
    source, receptor = source[other], receptor[other]
    start = np.searchsorted(source, np.arange(len(sources) + 1))
    return start.astype(np.int64), np.ascontiguousarray(receptor), within_m
