"""What screens hold back from a fast sum: block by block of places, to a share of what is left.

A fast sum knows no screens. For every block of places the sum over the shaded pairs is taken off; where little would be
left of it, the block is summed anew from what passes. Both go by `compiled_shade`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.pressure.compiled_shade import (
    ALONG,
    BINS_PER_DOUBLING,
    DEPTH,
    LEVEL_FIRST,
    NODE_X,
    NODES,
    far_values,
    gather_block,
    lagrange,
    read_block,
    shade_block,
)
from spreadmap.pressure.exact import every_rose
from spreadmap.pressure.kept import KEPT, law_key
from spreadmap.pressure.rules import UPWIND_SHARE
from spreadmap.pressure.strands import Law, Strand
from spreadmap.pressure.tables import EvenTable, RadialTables, radial_tables
from spreadmap.pressure.trial import FAINTEST_TRIED, GOLDEN
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import ScreenSegments, Sources

MOST_LOST, LEAST_LEFT = 0.9, 0.25
FAST_PART, NODE_PART, FAINT_PART = 0.8, 0.1, 0.1
"""Parts of the allowed error for the fast sum, the polynomials, and what is too faint to be taken off [-]."""
NEAREST_HALVES = 2.0
TRIED_BEARINGS, TRIED_ALONG = 12, 6
RADII = 512
BLOCK_NS, READ_NS, VISIT_NS, RAY_NS = 5e5, 60.0, 300.0, 1e5
"""Work of a block, of a place, of a source and block, and of the edges of shadow of a source in one row of blocks."""
NOTHING = np.zeros(0)


def least_left(screens: ScreenSegments) -> float:
    """Return the share of a fast sum that must be left for screens to be taken off it; else it is summed anew [-]."""
    return float(np.clip(MOST_LOST * screens.factor.min(), LEAST_LEFT, MOST_LOST))


def fast_rtol(screens: ScreenSegments, rtol: float) -> float:
    """Return the error that the fast sum without screens may have, so that what is left keeps `rtol` [-]."""
    return FAST_PART * least_left(screens) * rtol


def bound_behind(screens: ScreenSegments, bound: float, rtol: float) -> float:
    """Return the error bound of what is left, from that of the fast sum [-]."""
    return bound / least_left(screens) + (NODE_PART + FAINT_PART) * rtol


def shade_work(n_sources: int, n_blocks: float, n_places: float) -> float:
    """Return about the work of taking screens off [ns]."""
    return n_blocks * BLOCK_NS + n_places * READ_NS + n_sources * (n_blocks * VISIT_NS + float(n_blocks**0.5) * RAY_NS)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Places of one square block, sorted by its smallest parts: `start` (parts + 1,); lengths in metres."""

    west: float
    south: float
    size_m: float
    east: FloatArray
    north: FloatArray
    radius: FloatArray
    exact: tuple[FloatArray, ...]
    simple: tuple[FloatArray, ...]
    plant: IntArray
    start: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShadeStrand:
    """What blocks need of one strand; `smooth` (levels, bins of distance in half sides) says where polynomials do."""

    strand: Strand
    radial: RadialTables
    even: EvenTable
    valid_from_m: float
    roses: np.ndarray
    greatest: FloatArray
    log_first: float
    per_log: float
    smooth: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shade:
    """Screens, and sources sorted by group: `start` of each group, `box` its middle and half sides (groups, 4)."""

    screens: ScreenSegments
    sources: Sources
    order: IntArray
    start: IntArray
    box: FloatArray
    strands: tuple[ShadeStrand, ...]
    reach_m: float
    cell_m: float
    allowed: float

    @property
    def left(self) -> float:
        """Return the share that must be left [-]."""
        return least_left(self.screens)

    def after(self, block: Block, before: FloatArray) -> FloatArray:
        """Return the sums at a block's places with screens, from those without [m^-2]."""
        return self.left_of(block, before, self.sum_over(block, is_visible=False, faint=self.faint_of(before)))

    def left_of(self, block: Block, before: FloatArray, lacking: FloatArray) -> FloatArray:
        """Return the sums with screens, from those without and what is lacking (below zero) [m^-2]."""
        values = before + lacking
        if np.any(values < self.left * before):
            values = self.sum_over(block, is_visible=True)
        return np.maximum(values, 0.0)

    def faint_of(self, before: FloatArray) -> FloatArray:
        """Return the density of each source, for a strength of one, that may be left out at some places [m^-2]."""
        total = float(self.sources.strength.sum())
        most = FAINT_PART * self.left * self.allowed * float(before.min(initial=np.inf)) / len(self.strands)
        return np.full(len(self.sources), most / total if total > 0 else 0.0)

    def sum_over(
        self, block: Block, *, is_visible: bool, faint: FloatArray | None = None, weight: FloatArray = NOTHING,
        sent: FloatArray = NOTHING,
    ) -> FloatArray:  # fmt: skip
        """Return what passes at a block's places, or what is lacking (below zero) [m^-2].

        The same of what sources send to places of a `weight` is added to `sent`, in the order of the groups.
        """
        out = np.zeros(len(block.east))
        coefficient = np.zeros((LEVEL_FIRST[-1], NODES * NODES))
        gathered = np.zeros_like(coefficient if len(weight) else coefficient[:0])
        if len(weight):
            gather_block(
                weight, block.west, block.south, block.size_m, block.east, block.north, block.start, gathered
            )  # fmt: skip
        least = np.zeros(len(self.sources)) if faint is None else faint
        for number, one in enumerate(self.strands):
            share = one.strand.share
            shade_block(
                is_visible, block.west, block.south, block.size_m, block.east, block.north, block.radius,
                block.exact[number], block.simple[number], block.plant, block.start,
                self.sources.easting.copy(), self.sources.northing.copy(), share * self.sources.strength,
                self.sources.plant.copy(), one.roses, self.start, self.box, self.screens.ends.copy(),
                self.screens.factor.copy(), self.reach_m, self.cell_m, least / share if share > 0 else least,
                one.greatest, one.log_first, one.per_log, weight, one.valid_from_m,
                one.radial.log_first, one.radial.step, one.radial.mass, one.radial.mass_slope, one.radial.bent_mass,
                one.radial.bent_slope, one.radial.log_density, one.strand.spread.near_radius_m, 1.0 / one.even.step_m,
                one.even.pieces, one.smooth, coefficient, gathered, out, sent,
            )  # fmt: skip
        if coefficient.any():
            read_block(coefficient, block.west, block.south, block.size_m, block.east, block.north, block.start, out)
        return out

    def of_sources(self, law: Law, sources: Sources, size_m: float) -> Shade:
        """Return the same for other sources, of fewer or the same roses."""
        order, start, box = groups_of(sources, size_m / 2)
        strands = tuple(
            replace(old, strand=one, roses=_roses(one, order)) for old, one in zip(self.strands, law, strict=True)
        )
        return replace(self, sources=sorted_by(sources, order), order=order, start=start, box=box, strands=strands)


def _roses(strand: Strand, order: IntArray) -> np.ndarray:
    """Return one rose for all sources, or each source's, in an order."""
    return np.ascontiguousarray(strand.roses if strand.is_uniform else every_rose(strand, len(order))[order])


def sorted_by(sources: Sources, order: IntArray) -> Sources:
    """Return sources at some positions."""
    return Sources(
        easting=sources.easting[order], northing=sources.northing[order], strength=sources.strength[order],
        plant=sources.plant[order],
    )  # fmt: skip


def groups_of(sources: Sources, size_m: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the order of sources by square of a size, where each group starts, and its middle and half sides."""
    row, col = (np.floor((at - at.min()) / size_m).astype(np.int64) for at in (sources.northing, sources.easting))
    key = row * (int(col.max()) + 1) + col
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.concatenate([[True], np.diff(key[order]) > 0]))
    sides = []
    for at in (sources.easting[order], sources.northing[order]):
        low, high = np.minimum.reduceat(at, first), np.maximum.reduceat(at, first)
        sides.append(((low + high) / 2, (high - low) / 2))
    box = np.stack([sides[0][0], sides[1][0], sides[0][1], sides[1][1]], axis=1)
    return order, np.append(first, len(key)), np.ascontiguousarray(box)


def shade_of(
    law: Law, evens: tuple[EvenTable, ...], nearest: tuple[float, ...], sources: Sources, screens: ScreenSegments,
    size_m: float, cell_m: float, reach_m: float, farthest_m: float, rtol: float,
) -> Shade:  # fmt: skip
    """Return what blocks of one size need; from `nearest` on, strand by strand, the even table does."""
    order, start, box = groups_of(sources, size_m / 2)
    allowed = NODE_PART * least_left(screens) * rtol
    strands = []
    for one, even, from_m in zip(law, evens, nearest, strict=True):
        distance = np.geomspace(farthest_m * 1e-5, farthest_m, RADII)
        still = one.spread.kernel.location_density(distance)
        most = 1.0 + 2.0 * float(np.abs(one.roses).sum(axis=1).max())
        strands.append(
            ShadeStrand(
                strand=one, radial=radial_tables(one.spread, farthest_m), even=even,
                valid_from_m=0.0 if cell_m > 0 else even.valid_from_m,
                roses=_roses(one, order), greatest=most * np.maximum.accumulate(still[::-1])[::-1].copy(),
                log_first=float(np.log(distance[0])), per_log=(RADII - 1) / float(np.log(distance[-1] / distance[0])),
                smooth=smooth_table(one, even, size_m, cell_m, from_m, farthest_m, allowed),
            )
        )  # fmt: skip
    return Shade(
        screens=screens, sources=sorted_by(sources, order), order=order, start=start, box=box, strands=tuple(strands),
        reach_m=reach_m, cell_m=cell_m, allowed=rtol,
    )  # fmt: skip


def smooth_table(
    strand: Strand, even: EvenTable, size_m: float, cell_m: float, nearest_m: float, farthest_m: float, allowed: float
) -> BoolArray:
    """Return for every level and bin of distance whether the polynomial of a part keeps the error; found by trying."""
    key = ("smooth", law_key(strand.spread, strand.rose), size_m, cell_m, nearest_m, farthest_m, allowed)
    return KEPT.get(key, lambda: _smooth_table(strand, even, size_m, cell_m, nearest_m, farthest_m, allowed))


def _smooth_table(
    strand: Strand, even: EvenTable, size_m: float, cell_m: float, nearest_m: float, farthest_m: float, allowed: float
) -> BoolArray:
    smallest = size_m / 2 / ALONG
    bins = int(np.ceil(BINS_PER_DOUBLING * np.log2(max(farthest_m / smallest, 2.0)))) + 2
    table = np.zeros((DEPTH + 1, bins), dtype=np.bool_)
    floor = FAINTEST_TRIED * float(strand.spread.kernel.location_density(max(nearest_m, smallest)))
    at, weights = _tried_places()
    for level in range(DEPTH + 1):
        half = size_m / 2 / 2**level
        good = np.zeros(bins + 1, dtype=np.bool_)
        for edge in range(BINS_PER_DOUBLING, bins + 1):
            middle = half * 2.0 ** (edge / BINS_PER_DOUBLING)
            if middle - np.sqrt(2) * half < max(nearest_m, cell_m) or middle < NEAREST_HALVES * half:
                continue
            good[edge] = _polynomial_error(strand, even, cell_m, middle, half, at, weights, floor) <= allowed
        table[level] = good[:-1] & good[1:]
    return table


def _tried_places() -> tuple[FloatArray, FloatArray]:
    """Return places in a part, in half sides, as offsets from its middle (n,), and the weights of the nodes (n, nodes)."""
    at = np.linspace(-1, 1, TRIED_ALONG)
    weights = np.empty((TRIED_ALONG, NODES))
    for number, t in enumerate(at):
        lagrange(float(t), weights[number])
    return at, weights


def _polynomial_error(
    strand: Strand, even: EvenTable, cell_m: float, middle_m: float, half_m: float, at: FloatArray,
    weights: FloatArray, floor: float,
) -> float:  # fmt: skip
    """Return the largest relative error of the polynomial of one part whose middle lies at a distance [-]."""
    rose, worst = np.ascontiguousarray(strand.rose), 0.0
    for bearing in GOLDEN * np.arange(TRIED_BEARINGS):
        east, north = middle_m * np.sin(bearing), middle_m * np.cos(bearing)
        nodes = _values(even, cell_m, rose, east + half_m * NODE_X, north + half_m * NODE_X)
        found = weights @ nodes @ weights.T
        truth = _values(even, cell_m, rose, east + half_m * at, north + half_m * at)
        apart = np.hypot(east + half_m * at[None, :], north + half_m * at[:, None])
        still = strand.spread.kernel.location_density(apart)
        scale = np.maximum(truth, UPWIND_SHARE * still)
        counts = scale > floor
        worst = max(worst, float(np.max(np.abs(found - truth)[counts] / scale[counts], initial=0.0)))
    return worst


def _values(even: EvenTable, cell_m: float, rose: np.ndarray, east: FloatArray, north: FloatArray) -> FloatArray:
    """Return the densities, or means over cells, at offsets north and east, (north, east)."""
    grid_e, grid_n = (np.ascontiguousarray(part.ravel()) for part in np.meshgrid(east, north))
    value = np.empty(len(grid_e))
    far_values(
        grid_e, grid_n, len(value), 1.0 / even.step_m, cell_m**2 / 24.0, rose, 1e-12 * max(cell_m**2, 1e-6),
        even.pieces, value, np.empty((8, len(value))),
    )  # fmt: skip
    return value.reshape(len(north), len(east))


def part_order(row: IntArray, col: IntArray) -> IntArray:
    """Return the number of each smallest part from its row (northward) and column: their bits in turn."""
    number = np.zeros_like(row)
    for bit in range(DEPTH):
        number |= ((col >> bit) & 1) << (2 * bit) | ((row >> bit) & 1) << (2 * bit + 1)
    return number


def starts(number: IntArray) -> IntArray:
    """Return where each smallest part begins among sorted numbers, (parts + 1,)."""
    return np.asarray(np.searchsorted(number, np.arange(ALONG * ALONG + 1)), dtype=np.int64)
