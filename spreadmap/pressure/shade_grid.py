"""Screens on a grid: which cells make a block, and a tile with what screens hold back taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.pressure.compiled_shade import ALONG
from spreadmap.pressure.exact import farthest_of
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.rules import reach_of_cell
from spreadmap.pressure.shade import Block, Shade, part_order, shade_of, shade_work, starts
from spreadmap.pressure.strands import Law
from spreadmap.pressure.tables import even_table
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import ScreenSegments, Sources

PART_CELLS = 8
BLOCK_CELLS = PART_CELLS * ALONG


def _orders() -> tuple[IntArray, IntArray, IntArray]:
    """Return rows (southward) and columns of the cells of a block by smallest part, and each cell's part."""
    rows, cols = (part.ravel() for part in np.indices((BLOCK_CELLS, BLOCK_CELLS)))
    number = part_order((BLOCK_CELLS - 1 - rows) // PART_CELLS, cols // PART_CELLS)
    order = np.argsort(number, kind="stable")
    return rows[order], cols[order], number[order]


ROWS, COLS, PARTS = _orders()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridShade:
    """Screens before a grid; `exact_m` and `simple_m` by strand as in the exact sum."""

    grid: Grid
    shade: Shade
    exact_m: tuple[float, ...]
    simple_m: tuple[float, ...]

    def take_off(self, row0: int, col0: int, out: FloatArray) -> None:
        """Replace sums without screens by those with them in a tile that begins at a row and a column.

        Blocks lie alike whatever the tile.
        """
        n_rows, n_cols = out.shape
        for row in range(row0 // BLOCK_CELLS * BLOCK_CELLS, row0 + n_rows, BLOCK_CELLS):
            for col in range(col0 // BLOCK_CELLS * BLOCK_CELLS, col0 + n_cols, BLOCK_CELLS):
                rows, cols = ROWS + (row - row0), COLS + (col - col0)
                mine = (rows >= 0) & (rows < n_rows) & (cols >= 0) & (cols < n_cols)
                rows, cols = rows[mine], cols[mine]
                block = self._block(row, col, mine)
                out[rows, cols] = self.shade.after(block, out[rows, cols])

    def _block(self, row: int, col: int, mine: np.ndarray) -> Block:
        """Return the block that begins at a row and a column, with some of its cells."""
        grid, cell = self.grid, float(self.grid.cell_m)
        # The same centres as the exact sum has, to the last bit.
        east = grid.west + (COLS[mine] + (col + 0.5)) * cell
        north = grid.north - (ROWS[mine] + (row + 0.5)) * cell
        count = len(east)
        return Block(
            west=grid.west + col * cell, south=grid.north - (row + BLOCK_CELLS) * cell, size_m=BLOCK_CELLS * cell,
            east=east, north=north, radius=np.zeros(0), exact=tuple(np.full(count, one) for one in self.exact_m),
            simple=tuple(np.full(count, one) for one in self.simple_m), plant=np.full(count, -1),
            start=starts(PARTS[mine]),
        )  # fmt: skip


def grid_shade_work(grid: Grid, sources: Sources, law: Law) -> float:
    """Return about the work of taking screens off a grid [ns]."""
    cells = float(grid.n_rows) * grid.n_cols
    return shade_work(len(sources) * len(law), max(cells / BLOCK_CELLS**2, 1.0), cells)


def grid_shade(
    grid: Grid, sources: Sources, law: Law, screens: ScreenSegments, reach_m: float, rtol: float
) -> GridShade:
    """Return the screens before a grid, made ready; `reach_m` as of the fast sum."""
    cell = float(grid.cell_m)
    farthest = rounded_up(farthest_of(*grid.region, sources) + cell)
    # Parts reach beyond the grid.
    wide = rounded_up(farthest + 2 * BLOCK_CELLS * cell)
    evens = tuple(even_table(one.spread, wide, cell / 3, cell) for one in law)
    exact, simple = [], []
    for one, even in zip(law, evens, strict=True):
        reach = reach_of_cell(one.spread, one.rose, cell, farthest)
        exact.append(reach.exact_m)
        simple.append(max(reach.simple_m, min(even.valid_from_m, farthest)))
    shade = shade_of(
        law, evens, tuple(simple), sources, screens, BLOCK_CELLS * cell, cell, reach_m, wide, rtol
    )  # fmt: skip
    return GridShade(grid=grid, shade=shade, exact_m=tuple(exact), simple_m=tuple(simple))
