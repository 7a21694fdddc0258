"""The middle part of a kernel, between stamps and the far mesh: a finer mesh, made in blocks, where sources are near.

Between two cuts a kernel ends soon, so a block of nodes needs only the sources about it, and its transform is small
enough for a processor's cache. Blocks that no source reaches are not made at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from spreadmap.engine import Engine
from spreadmap.pressure.compiled_mesh import add_product, lay_down
from spreadmap.pressure.harmonics import Term, term_spectrum, terms_of
from spreadmap.pressure.mesh import EDGE_NODES, Mesh, far_spectrum
from spreadmap.pressure.strands import Law
from spreadmap.values.arrays import ComplexArray, FloatArray, IntArray
from spreadmap.values.inventory import Sources

RING_NODES = 8
"""Nodes that a spline through the smooth end of a kernel rings on, at most by 0.43 from node to node [-]."""
LENGTHS = (128, 192, 256, 384, 512, 576, 768)
"""Lengths of a block's transform, quick ones [-]."""
SPLINE_NODES = 3
Region = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """How a region is cut: nodes `step_m` apart, node (0, 0) at `west`, `south`; `side` nodes to a block and side.

    A block's transform has `length` nodes, `halo` of them on each side of the block.
    """

    step_m: float
    west: float
    south: float
    side: int
    halo: int
    n_rows: int
    n_cols: int

    @property
    def length(self) -> int:
        """Return the length of a block's transform."""
        return self.side + 2 * self.halo

    @property
    def mesh(self) -> Mesh:
        """Return the mesh that a block and all about it make, with nodes counted from its own corner."""
        return Mesh(
            step_m=self.step_m, west=0.0, south=0.0, n_rows=self.length, n_cols=self.length, pad_rows=self.length,
            pad_cols=self.length, reach_m=(self.halo - RING_NODES - SPLINE_NODES) * self.step_m,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MiddleField:
    """Spline coefficients in the blocks that were made; `index` (n_rows, n_cols) of each among `values`, -1 none."""

    blocks: Blocks
    index: IntArray
    values: FloatArray

    def window(self, row: int, last_row: int, col: int, last_col: int) -> FloatArray | None:
        """Return the coefficients of some nodes, None where there are none."""
        side = self.blocks.side
        rows, cols = range(row // side, (last_row - 1) // side + 1), range(col // side, (last_col - 1) // side + 1)
        if not (self.index[rows.start : rows.stop, cols.start : cols.stop] >= 0).any():
            return None
        out = np.zeros((last_row - row, last_col - col))
        for down in rows:
            for across in cols:
                which = self.index[down, across]
                if which >= 0:
                    r0, r1 = max(row, down * side), min(last_row, (down + 1) * side)
                    c0, c1 = max(col, across * side), min(last_col, (across + 1) * side)
                    out[r0 - row : r1 - row, c0 - col : c1 - col] = self.values[
                        which, r0 - down * side : r1 - down * side, c0 - across * side : c1 - across * side
                    ]
        return out


def blocks_over(region: Region, step_m: float, reach_m: float) -> Blocks | None:
    """Return the blocks that cover a region with the fewest nodes, for a kernel that ends at `reach_m`; None if too wide."""
    west, east, south, north = region
    nodes = [int(np.ceil(wide / step_m)) + 2 * EDGE_NODES + 1 for wide in (north - south, east - west)]
    halo = int(np.ceil(reach_m / step_m)) + SPLINE_NODES + RING_NODES
    found = []
    for length in LENGTHS:
        side = length - 2 * halo
        if side >= halo:
            n_rows, n_cols = (-(-count // side) for count in nodes)
            found.append((n_rows * n_cols * length**2, side, n_rows, n_cols))
    if not found:
        return None
    _, side, n_rows, n_cols = min(found)
    return Blocks(
        step_m=step_m, west=west - EDGE_NODES * step_m, south=south - EDGE_NODES * step_m, side=side, halo=halo,
        n_rows=n_rows, n_cols=n_cols,
    )  # fmt: skip


def middle_sum(
    region: Region, sources: Sources, law: Law, step_m: float, cut_m: float, until_m: float, engine: Engine
) -> MiddleField | None:
    """Return the sum of the part of a law between two cuts over sources in and about a region, None if none is near."""
    blocks = blocks_over(region, step_m, until_m)
    if blocks is None:
        msg = f"no block holds a kernel that ends after {until_m / step_m:.0f} nodes"
        raise ValueError(msg)
    col, row = (sources.easting - blocks.west) / step_m, (sources.northing - blocks.south) / step_m
    order = np.argsort(row, kind="stable")
    col, row = col[order], row[order]
    kernels = _kernels(law, blocks.mesh, cut_m, until_m, sources.strength[order], order, engine)

    def about(down: int, across: int) -> IntArray:
        # Sources whose splines lie within what the transform of this block holds.
        low, left = down * blocks.side - blocks.halo, across * blocks.side - blocks.halo
        first, last = np.searchsorted(row, (low + 2, low + blocks.length - SPLINE_NODES))
        some = col[first:last]
        inside = (some >= left + 2) & (some < left + blocks.length - SPLINE_NODES)
        return np.asarray(first + np.flatnonzero(inside))

    places = [(down, across, about(down, across)) for down in range(blocks.n_rows) for across in range(blocks.n_cols)]
    made = [place for place in places if len(place[2])]
    if not made:
        return None
    values = np.empty((len(made), blocks.side, blocks.side))
    index = np.full((blocks.n_rows, blocks.n_cols), -1, dtype=np.int64)

    def fill(number: int) -> None:
        down, across, some = made[number]
        east, north = (
            col[some] - (across * blocks.side - blocks.halo), row[some] - (down * blocks.side - blocks.halo),
        )  # fmt: skip
        inner = slice(blocks.halo, blocks.halo + blocks.side)
        values[number] = _one_block(east, north, kernels, some, blocks.length)[inner, inner]

    for number, (down, across, _) in enumerate(made):
        index[down, across] = number
    engine.map(fill, range(len(made)))
    return MiddleField(blocks=blocks, index=index, values=values)


Factor = tuple[FloatArray, ComplexArray | FloatArray, bool]
"""Weights of the sources, a kernel's spectrum, and whether that is to be taken times i."""


def _kernels(
    law: Law, mesh: Mesh, cut_m: float, until_m: float, strength: FloatArray, order: IntArray, engine: Engine
) -> list[Factor]:
    """Return what the sources are laid down with: one kernel where they share their roses, else one for each term."""
    if all(one.is_uniform for one in law):
        return [(strength, far_spectrum(law, mesh, cut_m, engine, until_m), False)]
    found: list[Factor] = []
    terms: list[Term] = list(terms_of(law, np.ones(len(order))))
    for weight, number, is_sine, one in terms:
        kernel = term_spectrum(one, number, is_sine, mesh, cut_m, engine, until_m)
        found.append((strength * weight[order], kernel, number % 2 == 1))
    return found


def _one_block(east: FloatArray, north: FloatArray, kernels: list[Factor], some: IntArray, length: int) -> FloatArray:
    """Return the coefficients of one block and all about it, (length, length)."""
    total = np.zeros((length, length // 2 + 1), dtype=np.complex128)
    for weight, kernel, is_odd in kernels:
        parts = np.zeros((1, length, length))
        lay_down(east, north, np.ascontiguousarray(weight[some])[:, None], parts)
        spectrum = np.asarray(fft.rfft2(parts[0], overwrite_x=True))
        if len(kernels) == 1 and np.iscomplexobj(kernel):
            spectrum *= kernel
            total = spectrum
        else:
            add_product(0, length, spectrum, kernel, is_odd, total)
    return np.asarray(fft.irfft2(total, s=(length, length), overwrite_x=True))
