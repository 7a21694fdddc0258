"""Screens before points: which receptors make a block, and what screens hold back of what they get and sources send."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_shade import ALONG
from spreadmap.pressure.exact import reach_of_discs
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.shade import (
    FAINT_PART,
    NOTHING,
    Block,
    Shade,
    part_order,
    shade_of,
    shade_work,
    sorted_by,
    starts,
)
from spreadmap.pressure.strands import Law
from spreadmap.pressure.tables import even_table
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources

RECEPTORS_PER_BLOCK = 1024
LEAST_SIZE_M = 8.0
MOST_HALVINGS = 16
PIECES = 32
"""Pieces that blocks are cut into, whatever the number of workers [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blocks:
    """Squares of `size_m` from `west`, `south` on, and the square of every receptor as a row and a column."""

    west: float
    south: float
    size_m: float
    row: IntArray
    col: IntArray

    @property
    def count(self) -> int:
        """Return how many squares hold receptors."""
        return len(np.unique(self.row << 32 | self.col))


def blocks_of(receptors: Receptors) -> Blocks:
    """Return squares that hold about a thousand receptors each."""
    west, south = float(receptors.easting.min()), float(receptors.northing.min())
    wide = max(float(np.ptp(receptors.easting)), float(np.ptp(receptors.northing)), LEAST_SIZE_M)
    size, wanted = rounded_up(wide * (1 + 1e-9)), len(receptors) / RECEPTORS_PER_BLOCK

    def cut(size_m: float) -> Blocks:
        row, col = (
            np.floor((at - low) / size_m).astype(np.int64)
            for at, low in ((receptors.northing, south), (receptors.easting, west))
        )
        return Blocks(west=west, south=south, size_m=size_m, row=row, col=col)

    found = cut(size)
    for _ in range(MOST_HALVINGS):
        if found.count >= wanted or size <= LEAST_SIZE_M:
            break
        size /= 2
        found = cut(size)
    return found


def point_shade_work(receptors: Receptors, sources: Sources, law: Law) -> float:
    """Return about the work of taking screens off receptors [ns]."""
    return shade_work(len(sources) * len(law), blocks_of(receptors).count, len(receptors))


def shaded_points(
    receptors: Receptors, sources: Sources, law: Law, screens: ScreenSegments, way: Way, farthest_m: float,
    rtol: float, weight: FloatArray, bare: tuple[FloatArray, FloatArray], engine: Engine,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return density at receptors and what sources send, with screens, from both without.

    `way` was chosen for the smaller error that `fast_rtol` tells; `weight` of no length asks for nothing sent.
    """
    cut = blocks_of(receptors)
    wide = rounded_up(farthest_m + 2 * cut.size_m)
    evens = tuple(even_table(one.spread, wide, wide) for one in law)
    reaches = [reach_of_discs(one.spread, one.rose, receptors.radius_m, farthest_m) for one in law]
    nearest = tuple(
        max(float(simple.max()), even.valid_from_m) for (_, simple), even in zip(reaches, evens, strict=True)
    )
    shade = shade_of(law, evens, nearest, sources, screens, cut.size_m, 0.0, way.reach_m, wide, rtol)
    part_m = cut.size_m / ALONG
    row, col = (
        np.clip(np.floor((at - low - of * cut.size_m) / part_m).astype(np.int64), 0, ALONG - 1)
        for at, low, of in ((receptors.northing, cut.south, cut.row), (receptors.easting, cut.west, cut.col))
    )
    part = part_order(row, col)
    order = np.lexsort((part, cut.col, cut.row))
    ends = np.flatnonzero((np.diff(cut.row[order]) != 0) | (np.diff(cut.col[order]) != 0)) + 1
    members = np.split(order, ends)

    def block(some: IntArray) -> Block:
        return Block(
            west=cut.west + float(cut.col[some[0]]) * cut.size_m, south=cut.south + float(cut.row[some[0]]) * cut.size_m,
            size_m=cut.size_m, east=receptors.easting[some], north=receptors.northing[some],
            radius=receptors.radius_m[some], exact=tuple(one[0][some] for one in reaches),
            simple=tuple(one[1][some] for one in reaches), plant=receptors.plant[some], start=starts(part[some]),
        )  # fmt: skip

    density = bare[0].copy()
    size = -(-len(members) // PIECES)
    faint_sent = _faint_of_sent(shade, weight, bare[1])

    def piece(first: int) -> FloatArray:
        given = np.zeros(len(sources) if len(weight) else 0)
        for some in members[first : first + size]:
            one, before = block(some), bare[0][some]
            faint = shade.faint_of(before)
            if len(weight):
                faint = np.minimum(faint, faint_sent)
            lacking = shade.sum_over(
                one, is_visible=False, faint=faint, weight=weight[some] if len(weight) else weight, sent=given
            )  # fmt: skip
            density[some] = shade.left_of(one, before, lacking)
        return given

    lacking = np.zeros(len(sources) if len(weight) else 0)
    for given in engine.map(piece, range(0, len(members), size)):
        lacking += given
    if len(weight) == 0:
        return density, bare[1]
    sent = bare[1].copy()
    sent[shade.order] += lacking
    dim = np.flatnonzero(sent < shade.left * bare[1])
    if len(dim):
        sent[dim] = _sent_anew(dim, law, sources, shade, [block(some) for some in members], members, weight, engine)
    return density, np.maximum(sent, 0.0)


def _faint_of_sent(shade: Shade, weight: FloatArray, sent: FloatArray) -> FloatArray:
    """Return the density of each source that may be left out of what it sends, sources in the order of the groups."""
    if len(weight) == 0:
        return NOTHING
    strength, mine = shade.sources.strength, sent[shade.order]
    total = float(np.abs(weight).sum())
    most = FAINT_PART * shade.left * shade.allowed * mine / len(shade.strands)
    return np.where(strength > 0, most / np.where(strength > 0, strength * max(total, 1e-300), 1.0), 0.0)


def _sent_anew(
    dim: IntArray, law: Law, sources: Sources, shade: Shade, blocks: list[Block], members: list[IntArray],
    weight: FloatArray, engine: Engine,
) -> FloatArray:  # fmt: skip
    """Return what some sources send, summed from what passes."""
    few = sorted_by(sources, dim)
    some_law = tuple(one if one.is_uniform else replace(one, roses=one.roses[dim].copy()) for one in law)
    again = shade.of_sources(some_law, few, blocks[0].size_m)
    size = -(-len(blocks) // PIECES)

    def piece(first: int) -> FloatArray:
        given = np.zeros(len(few))
        for number in range(first, min(first + size, len(blocks))):
            again.sum_over(blocks[number], is_visible=True, weight=weight[members[number]], sent=given)
        return given

    total = np.zeros(len(few))
    for given in engine.map(piece, range(0, len(blocks), size)):
        total += given
    found = np.empty(len(few))
    found[again.order] = total
    return found
