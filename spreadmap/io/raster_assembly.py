"""Finished tiles put together: smaller overviews made of them, and all blocks in order behind the directories."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import BinaryIO

import numpy as np

from spreadmap.io.band import Band, Cells
from spreadmap.io.overviews import sizes_of_levels
from spreadmap.io.tiff_layout import AROUND_BLOCK, BLOCK, Level, blocks_along, framed, head
from spreadmap.io.tile_file import PIECE_BYTES, TileParts, read_parts, read_seed
from spreadmap.values.arrays import IntArray

TILE_BLOCKS = 4
"""Blocks along a tile [-]: enough to make its first overviews alone, few enough for many tiles at once."""
TILE = TILE_BLOCKS * BLOCK
IN_TILE = 2
"""Overviews whose blocks lie within one tile [-]."""


class Assembly:
    """The raster that tiles make; memory holds the sizes of its blocks and a few blocks.

    Parameters
    ----------
    band : Band
    files : mapping
        The file of each tile by its line and column of tiles.
    folder : Path
        Where the blocks of small overviews are kept meanwhile.
    """

    def __init__(self, band: Band, files: Mapping[tuple[int, int], Path], folder: Path) -> None:
        self.band, self.files, self.folder = band, files, folder
        self.shapes = sizes_of_levels(band.grid.shape)
        self.parts: dict[tuple[int, int], TileParts] = {}
        for place, path in files.items():
            with path.open("rb") as file:
                self.parts[place] = read_parts(file)
        self.sizes = [np.zeros(self.blocks(level), dtype=np.int64) for level in range(len(self.shapes))]
        self.small_at: dict[tuple[int, int, int], int] = {}

    def blocks(self, level: int) -> tuple[int, int]:
        """Return how many lines and columns of blocks a level has."""
        n_rows, n_cols = self.shapes[level]
        return blocks_along(n_rows), blocks_along(n_cols)

    def write(self, file: BinaryIO) -> None:
        """Write the whole raster."""
        for level in range(min(IN_TILE + 1, len(self.shapes))):
            side = TILE_BLOCKS >> level
            for (line, col), parts in self.parts.items():
                found: IntArray = np.array(parts.sizes[level], dtype=np.int64)
                rows, cols = (
                    slice(line * side, line * side + len(found)),
                    slice(col * side, col * side + found.shape[1]),
                )
                self.sizes[level][rows, cols] = found
        small = self.folder / "small.tmp"
        with small.open("w+b") as blocks:
            last = len(self.shapes) - 1
            if last > IN_TILE:
                self._make_small(blocks, last, 0, 0)
            levels = [
                Level(n_rows=n_rows, n_cols=n_cols, sizes=sizes.ravel())
                for (n_rows, n_cols), sizes in zip(self.shapes, self.sizes, strict=True)
            ]
            file.write(head(self.band.directory(), levels))
            for level in reversed(range(len(self.shapes))):
                if level > IN_TILE:
                    self._copy_small(file, blocks, level)
                else:
                    self._copy_lines(file, level)
        small.unlink()

    def _make_small(self, file: BinaryIO, level: int, line: int, col: int) -> Cells:
        """Write the block of a small overview and of all below it; return its cells, not yet rounded."""
        if level == IN_TILE + 1:
            made: Callable[[int, int], Cells] = self._seed
            below = max(place[0] for place in self.parts) + 1, max(place[1] for place in self.parts) + 1
        else:

            def made(row: int, col: int) -> Cells:
                scale = BLOCK << (level - 1)
                return self.band.halved(self._make_small(file, level - 1, row, col), level, row * scale, col * scale)

            below = self.blocks(level - 1)
        rows = [row for row in (2 * line, 2 * line + 1) if row < below[0]]
        cols = [one for one in (2 * col, 2 * col + 1) if one < below[1]]
        cells = np.block([[made(row, one) for one in cols] for row in rows])
        ((block,),) = self.band.packed(cells)
        self.sizes[level][line, col] = len(block)
        self.small_at[level, line, col] = file.tell()
        file.write(framed(block))
        return cells

    def _seed(self, line: int, col: int) -> Cells:
        """Return a tile's own cells of the first overview beyond it."""
        return read_seed(self.files[line, col], self.parts[line, col], self.band.dtype)

    def _copy_small(self, file: BinaryIO, blocks: BinaryIO, level: int) -> None:
        """Copy the blocks of a small overview, row by row."""
        for line, col in np.ndindex(*self.blocks(level)):
            blocks.seek(self.small_at[level, line, col])
            file.write(blocks.read(int(self.sizes[level][line, col]) + 2 * AROUND_BLOCK))

    def _copy_lines(self, file: BinaryIO, level: int) -> None:
        """Copy the blocks of the full map or a large overview, row by row across all tiles."""
        last_line, last_col = max(self.files)
        for tile_line in range(last_line + 1):
            with ExitStack() as stack:
                row = [(tile_line, col) for col in range(last_col + 1)]
                opened = [(stack.enter_context(self.files[place].open("rb")), self.parts[place]) for place in row]
                for line in range(len(opened[0][1].lines[level])):
                    for tile, parts in opened:
                        start, end = parts.lines[level][line]
                        tile.seek(start)
                        _copy(tile, file, end - start)


def _copy(source: BinaryIO, target: BinaryIO, count: int) -> None:
    """Copy some bytes."""
    while count > 0:
        piece = source.read(min(count, PIECE_BYTES))
        if not piece:
            msg = "a tile ended before its blocks did"
            raise OSError(msg)
        target.write(piece)
        count -= len(piece)
