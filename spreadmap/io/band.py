"""One band of a raster as it is stored: how its cells become packed blocks, overviews and tags."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from spreadmap.io import guard  # noqa: F401 - restricts GDAL's drivers before it is loaded

# isort: split
import numpy as np
import numpy.typing as npt
import rasterio
from rasterio.io import MemoryFile

from spreadmap.errors import OutputError
from spreadmap.io.layers import clean_text
from spreadmap.io.overviews import commonest_halved, mean_halved
from spreadmap.io.rounding import WHOLE, rounded, rounding_tags
from spreadmap.io.styles import class_colours, class_words, rgb
from spreadmap.io.tiff_layout import BLOCK, Tag, read_blocks, read_tags
from spreadmap.io.write_raster import NO_CLASS, surface_classes, transform_of
from spreadmap.values.grid import Grid

PACKINGS: dict[str, dict[str, Any]] = {
    "deflate": {"compress": "DEFLATE", "zlevel": 3},
    "zstd": {"compress": "ZSTD", "zstd_level": 1},
    "none": {},
}
FLOATING_POINT = 3
"""TIFF's number for the predictor that sorts bytes of floating-point numbers."""
Cells = npt.NDArray[Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """What a raster holds and says of itself.

    Parameters
    ----------
    grid : Grid
    crs : str
        The working CRS, as text.
    description : str
    tags : mapping
        `UNIT` is told of the band as well.
    breaks : tuple of float
        If given, the raster holds classes between these limits (uint8, 255 no value); overviews hold the commonest.
        Without, it holds float32 with NaN for "no value", and overviews hold means.
    mantissa_bits : int
        23 keeps single precision as it is; fewer are rounded to and told in the tag `ROUNDING`. [-]
    packing : str
        A key of `PACKINGS`.
    """

    grid: Grid
    crs: str
    description: str
    tags: Mapping[str, str]
    breaks: tuple[float, ...] = ()
    mantissa_bits: int = WHOLE
    packing: str = "deflate"

    def __post_init__(self) -> None:
        """Refuse an unknown packing."""
        if self.packing not in PACKINGS:
            msg = f"packing '{self.packing}' is not one of {', '.join(PACKINGS)}. Choose one of these."
            raise OutputError(msg)

    @property
    def dtype(self) -> str:
        """Return the type of the cells."""
        return "uint8" if self.breaks else "float32"

    def stored(self, values: Cells) -> Cells:
        """Return cells as overviews are made of them: single precision not yet rounded, or classes."""
        if self.breaks:
            return surface_classes(values, self.breaks)
        return np.ascontiguousarray(values, dtype=np.float32)

    def halved(self, cells: Cells, level: int, row: int, col: int) -> Cells:
        """Return the cells of overview `level` from those of the level below.

        `row` and `col` say where in the full map the first cell begins.
        """
        if self.breaks:
            return commonest_halved(cells, NO_CLASS)
        scale = 2 ** (level - 1)
        rows_held, cols_held = (
            np.minimum(scale, total - first - scale * np.arange(length))
            for total, first, length in zip(self.grid.shape, (row, col), cells.shape, strict=True)
        )
        return mean_halved(cells, rows_held, cols_held)

    def packed(self, cells: Cells) -> list[list[bytes]]:
        """Return the packed blocks of some cells, by line of blocks, from west to east."""
        return [self._packed_line(cells[row : row + BLOCK]) for row in range(0, len(cells), BLOCK)]

    def _packed_line(self, cells: Cells) -> list[bytes]:
        """Return the packed blocks of one line of blocks."""
        if not self.breaks:
            cells = rounded(cells, self.mantissa_bits)
        # The library warns of rasters without a place; this one is thrown away.
        anywhere = rasterio.Affine(2, 0, 0, 0, -2, 0)
        with self._small_file(*cells.shape, transform=anywhere) as (memory, file):
            file.write(cells, 1)
            file.close()
            return read_blocks(memory.getbuffer())

    def directory(self) -> dict[int, Tag]:
        """Return the tags of the full map as the library makes them; its size and the places of blocks are another's."""
        known = {"crs": self.crs, "transform": transform_of(self.grid), "nodata": NO_CLASS if self.breaks else math.nan}
        with self._small_file(1, 1, **known) as (memory, file):
            file.set_band_description(1, clean_text(self.description))
            file.set_band_unit(1, "class" if self.breaks else self.tags.get("UNIT", ""))
            says = dict(self.tags) | ({} if self.breaks else rounding_tags(self.mantissa_bits))
            if self.breaks:
                count = len(self.breaks) + 1
                says |= {f"CLASS_{index + 1}": word for index, word in enumerate(class_words(count))}
                colours = enumerate(class_colours(count), start=1)
                file.write_colormap(1, {index: (*rgb(colour), 255) for index, colour in colours})
            file.update_tags(**{name: clean_text(value) for name, value in says.items()})
            file.write(np.zeros((1, 1), dtype=self.dtype), 1)
            file.close()
            return read_tags(memory.getbuffer())

    @contextlib.contextmanager
    def _small_file(self, n_rows: int, n_cols: int, **known: Any) -> Iterator[tuple[MemoryFile, Any]]:
        """Open a tiled raster in memory whose blocks are packed as those of this one."""
        packing = dict(PACKINGS[self.packing])
        if packing and not self.breaks:
            packing["predictor"] = FLOATING_POINT
        with (
            MemoryFile() as memory,
            memory.open(
                driver="GTiff",
                width=n_cols,
                height=n_rows,
                count=1,
                dtype=self.dtype,
                tiled=True,
                blockxsize=BLOCK,
                blockysize=BLOCK,
                endianness="LITTLE",
                bigtiff="NO",
                **packing,
                **known,
            ) as file,
        ):
            yield memory, file
