"""The near part where every source has a rose of its own.

Rows come from a table over distance; next to the source there is one table of stamps for each coefficient.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_near import stamp, stamp_by_row, stamp_exactly
from spreadmap.pressure.exact import CURVED_ERROR, every_rose
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.near_field import CORES, WHOLE, places
from spreadmap.pressure.rules import curvature
from spreadmap.pressure.split import far_share
from spreadmap.pressure.stamps import Tier, disc_rows, square_rows, tier
from spreadmap.pressure.strands import Law, Strand, key_of
from spreadmap.pressure.tables import RadialTables, bending, radial_tables
from spreadmap.pressure.trial import error_of_stamps, stamp_error
from spreadmap.values.arrays import ComplexArray, FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources

INNER = ((8, 5), (8, 8), (16, 8), (32, 5), (8, 12), (16, 12))
STEPS_PER_CELL = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Columns to each side by row of a stamp, cubic pieces over distance, and within what distance bearing curves."""

    half: IntArray
    pieces: FloatArray
    step_m: float
    curved_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terms:
    """Stamps of one strand: `still` and, by harmonic, `cosine` and `sine` next to the source; `pieces` farther out."""

    still: Tier
    cosine: tuple[Tier, ...]
    sine: tuple[Tier, ...]
    core: int
    half: IntArray
    hole: int
    pieces: FloatArray
    step_m: float
    curved_m: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VaryingNear:
    """The near part of a law whose sources have roses of their own, sorted by row; places in cells."""

    law: Law
    radial: tuple[RadialTables, ...]
    terms: tuple[Terms, ...]
    roses: tuple[ComplexArray, ...]
    cut_m: float
    row: FloatArray
    col: FloatArray
    strength: FloatArray
    reach: int

    @property
    def error(self) -> float:
        """Return the largest relative error that the trials found [-]."""
        return max(one.error for one in self.terms)

    def add(self, row0: int, col0: int, out: FloatArray, cell_m: float) -> None:
        """Add the stamps of the sources that reach into a tile."""
        first = np.searchsorted(self.row, row0 - self.reach - 1)
        last = np.searchsorted(self.row, row0 + len(out) + self.reach + 1)
        if first == last:
            return
        # Only the sources at hand are copied, with their weights for each coefficient.
        row, col, order = self.row[first:last], self.col[first:last], np.arange(last - first)
        for strand, radial, terms, all_roses in zip(self.law, self.radial, self.terms, self.roses, strict=True):
            strength, roses = strand.share * self.strength[first:last], all_roses[first:last]
            if len(terms.half):
                stamp_by_row(
                    row0, col0, out, row, col, strength, order, terms.half, terms.hole, cell_m, roses,
                    1.0 / terms.step_m, terms.pieces, terms.curved_m,
                )  # fmt: skip
            _add_tier(terms.still, row0, col0, out, row, col, strength, order)
            for number, (cosine, sine) in enumerate(zip(terms.cosine, terms.sine, strict=True)):
                _add_tier(cosine, row0, col0, out, row, col, strength * roses[:, number].real, order)
                _add_tier(sine, row0, col0, out, row, col, strength * roses[:, number].imag, order)
            if terms.core >= 0:
                stamp_exactly(
                    row0, col0, out, row, col, strength, order, terms.core, cell_m,
                    radial.log_first, radial.step, radial.mass, radial.mass_slope, radial.bent_mass,
                    radial.bent_slope, radial.log_density, strand.spread.near_radius_m, roses, self.cut_m,
                )  # fmt: skip


def _add_tier(
    one: Tier, row0: int, col0: int, out: FloatArray, row: FloatArray, col: FloatArray, strength: FloatArray,
    order: IntArray,
) -> None:  # fmt: skip
    stamp(row0, col0, out, row, col, strength, order, one.values, one.q, one.order, one.size, one.half, one.hole)


def varying_near_part(
    law: Law, grid: Grid, sources: Sources, way: Way, farthest_m: float, allowed: float, engine: Engine
) -> VaryingNear | None:
    """Return the near part of sources with roses of their own, None where no table is fine enough."""
    cell = float(grid.cell_m)
    radial = tuple(radial_tables(one.spread, farthest_m) for one in law)
    key = ("terms", key_of(law), cell, way.cut_m, way.step_m > 0, allowed)
    terms = KEPT.get(key, lambda: _terms(law, radial, cell, way, allowed, engine))
    if terms is None:
        return None
    row, col = places(grid, sources)
    order = np.argsort(row, kind="stable")
    return VaryingNear(
        law=law, radial=radial, terms=terms,
        roses=tuple(np.ascontiguousarray(every_rose(one, len(sources))[order]) for one in law),
        cut_m=way.cut_m if way.step_m > 0 else WHOLE, row=row[order], col=col[order], strength=sources.strength[order],
        reach=max(max(len(one.half), len(one.still.half)) // 2 for one in terms),
    )  # fmt: skip


def _terms(
    law: Law, radial: tuple[RadialTables, ...], cell_m: float, way: Way, allowed: float, engine: Engine
) -> tuple[Terms, ...] | None:
    """Return the tables of every strand, None where none is fine enough.

    All strands are tried together, each with its finest rose: the tail of one may be of no account beside the others.
    """
    cut = way.cut_m if way.step_m > 0 else WHOLE
    alone = tuple(replace(one, roses=one.rose[None, :]) for one in law)
    known: dict[int, tuple[tuple[Rows, ...], float]] = {}
    for core in CORES:
        for q, reach in INNER:
            half = square_rows(reach)
            both = tier(alone, radial, cell_m, cut, way.cut_m, q, 3, half, core, engine)
            error = stamp_error(alone, radial, cell_m, cut, both)
            if error > allowed:
                continue
            if reach not in known:
                known[reach] = _rows(alone, radial, cell_m, cut, way.cut_m, reach)
            rows, outer_error = known[reach]
            if outer_error > allowed:
                continue
            size = (cell_m, cut, way.cut_m, q, 3, half, core, engine)
            return tuple(
                _terms_of(replace(one, share=1.0), tables, row, size, max(error, outer_error))
                for one, tables, row in zip(alone, radial, rows, strict=True)
            )
    return None


def _terms_of(
    alone: Strand, radial: RadialTables, rows: Rows, size: tuple[float, float, float, int, int, IntArray, int, Engine],
    error: float,
) -> Terms:  # fmt: skip
    """Return the tables of one strand; `size` are the arguments of `tier` that all of them share."""
    *_, half, core, _ = size
    nobody = replace(alone, roses=np.zeros((1, 0), dtype=np.complex128))
    still = tier((nobody,), (radial,), *size)

    def unit(number: int, value: complex) -> Tier:
        rose = np.zeros(number + 1, dtype=np.complex128)
        rose[number] = value
        one = tier((replace(alone, roses=rose[None, :]),), (radial,), *size)
        # 1 + cos and 1 + sin are never negative; what is above 1 is half of the term.
        return replace(one, values=2.0 * (one.values - still.values))

    orders = range(alone.roses.shape[1])
    return Terms(
        still=still, cosine=tuple(unit(number, 0.5) for number in orders),
        sine=tuple(unit(number, 0.5j) for number in orders), core=core, half=rows.half, hole=len(half) // 2,
        pieces=rows.pieces, step_m=rows.step_m, curved_m=rows.curved_m, error=error,
    )  # fmt: skip


def _rows(
    alone: Law, radial: tuple[RadialTables, ...], cell_m: float, cut_m: float, reach_m: float, hole: int
) -> tuple[tuple[Rows, ...], float]:
    """Return what rows come from, strand by strand, and the tried error of all together."""
    half = disc_rows(reach_m / cell_m)
    has_rows = len(half) // 2 > hole
    step = cell_m / STEPS_PER_CELL
    rows = tuple(
        Rows(
            half=half if has_rows else half[:0],
            pieces=near_pieces(one, cell_m, cut_m, reach_m + 3 * cell_m, step), step_m=step,
            curved_m=cell_m * float(np.sqrt(curvature(one.rose) / (24 * CURVED_ERROR))),
        )
        for one in alone
    )  # fmt: skip
    if not has_rows:
        return rows, 0.0

    def one_stamp(out: FloatArray, row: FloatArray, col: FloatArray) -> None:
        for one, mine in zip(alone, rows, strict=True):
            stamp_by_row(
                0, 0, out, row, col, np.full(1, one.share), np.zeros(1, dtype=np.int64), half, hole, cell_m, one.roses,
                1.0 / step, mine.pieces, mine.curved_m,
            )  # fmt: skip

    return rows, error_of_stamps(alone, radial, cell_m, cut_m, one_stamp, len(half) // 2, hole)


def near_pieces(
    strand: Strand, cell_m: float, cut_m: float, farthest_m: float, step_m: float, first: float = 0.0
) -> FloatArray:
    """Return cubic pieces of the near part of k and g, from `first` steps on, (steps, 8).

    With a `cell_m` they are means over a cell but for the curvature by bearing.
    """
    spread = strand.spread
    nodes = (np.arange(int(np.ceil(farthest_m / step_m)) + 5, dtype=np.float64) - 1 + first) * step_m

    def value(distance: FloatArray, power: int) -> FloatArray:
        density = spread.kernel.location_density(distance) * (1.0 - far_share(distance, cut_m))
        return density * bending(distance, spread.near_radius_m) if power else density

    parts = []
    for power in (0, 1):
        if cell_m > 0:
            # Used from more than a cell away on; nearer distances only have to be finite.
            radius, away = np.maximum(nodes, cell_m), cell_m / 8
            before, here, after = (value(radius + shift, power) for shift in (-away, 0.0, away))
            laplacian = (after - 2 * here + before) / away**2 + (after - before) / (2 * away * radius)
            mean = here + cell_m**2 / 24 * laplacian
        else:
            mean = value(np.abs(nodes), power)
        a, b, c, d = mean[:-3], mean[1:-2], mean[2:-1], mean[3:]
        parts += [b, -a / 3 - b / 2 + c - d / 6, (a + c) / 2 - b, (d - a) / 6 + (b - c) / 2]
    return np.ascontiguousarray(np.stack(parts, axis=1))
