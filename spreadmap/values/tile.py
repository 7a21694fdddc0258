"""Pieces of a grid that are computed and written one at a time."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.grid import Grid


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Tile:
    """A rectangle of cells: its first row and column in the grid, and its size in cells [-]."""

    row: int
    col: int
    n_rows: int
    n_cols: int

    @property
    def shape(self) -> tuple[int, int]:
        """Return (n_rows, n_cols)."""
        return self.n_rows, self.n_cols


def tiles_over(grid: Grid, side: int) -> tuple[Tile, ...]:
    """Return the tiles of `side` cells that cover a grid, row by row; the last ones are cut at the grid's edge."""
    return tuple(
        Tile(row=row, col=col, n_rows=min(side, grid.n_rows - row), n_cols=min(side, grid.n_cols - col))
        for row in range(0, grid.n_rows, side)
        for col in range(0, grid.n_cols, side)
    )


def part_of(grid: Grid, tile: Tile) -> Grid:
    """Return the grid of one tile's cells."""
    return Grid(
        west=grid.west + tile.col * grid.cell_m,
        north=grid.north - tile.row * grid.cell_m,
        cell_m=grid.cell_m,
        n_rows=tile.n_rows,
        n_cols=tile.n_cols,
    )
