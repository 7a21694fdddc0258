"""A raster that is written tile by tile, in any order, by any worker, over several runs if one is killed.

Each finished tile is one file in a folder beside the raster; it gets its name when it is whole. A tile holds its packed
blocks, those of the first two overviews, and means of eight by eight cells from which the smaller overviews are made.
When all tiles are there, their blocks are put in order behind the directories. So memory depends on the tile alone, and
the bytes on nothing but the values.
"""

from __future__ import annotations

import json
import os
import shutil
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from spreadmap.io import guard  # noqa: F401 - restricts GDAL's drivers before it is loaded

# isort: split
import numpy as np
import rasterio
import rasterio.errors
from rasterio._err import CPLE_BaseError  # what closing a file raises; the public errors do not cover it

from spreadmap.errors import OutputError
from spreadmap.io.band import Band, Cells
from spreadmap.io.overviews import sizes_of_levels
from spreadmap.io.raster_assembly import IN_TILE, TILE, Assembly
from spreadmap.io.tile_file import is_sound, write_tile
from spreadmap.io.versions import software_version
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.tile import Tile, tiles_over

PART, GONE, JOB, TEMPORARY = ".part", ".gone", "job.json", ".tmp"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RasterSink:
    """One raster while it is written: give it tiles, then `finish` it.

    It holds no open file and no cell, so every worker may have its own copy.

    Parameters
    ----------
    path : Path
        Where the raster will be; tiles are gathered in `<path>.part` beside it.
    band : Band
    key : str
        Content key of what the values depend on: sources, law of arrivals, grid, allowed error.
    """

    path: Path
    band: Band
    key: str

    @property
    def tiles(self) -> tuple[Tile, ...]:
        """Return all tiles, row by row."""
        return tiles_over(self.band.grid, TILE)

    @property
    def folder(self) -> Path:
        """Return the folder of the tiles."""
        return self.path.with_name(self.path.name + PART)

    @property
    def is_whole(self) -> bool:
        """Return whether the raster is there and nothing of its making is left."""
        return self.path.is_file() and not self.folder.exists()

    def todo(self) -> tuple[Tile, ...]:
        """Make the folder ready and return the tiles that are missing; those there are read and checked.

        Raises
        ------
        OutputError
            If the folder holds tiles of another job, or cannot be written.
        """
        with _told(self.path):
            self.folder.mkdir(exist_ok=True)
            self._refuse_other_job()
            for left in self.folder.glob(f"*{TEMPORARY}"):
                left.unlink()
            shutil.rmtree(self._gone, ignore_errors=True)
            missing = tuple(tile for tile in self.tiles if not is_sound(self._file_of(tile)))
            for tile in missing:
                self._file_of(tile).unlink(missing_ok=True)
        return missing

    def has(self, tile: Tile) -> bool:
        """Return whether a tile is there."""
        return self._file_of(tile).is_file()

    def write(self, tile: Tile, values: Cells) -> None:
        """Keep one tile, (n_rows, n_cols); one that a killed run had half written does not count.

        Raises
        ------
        OutputError
            If the values do not fit the tile, or the disk is full.
        """
        if values.shape != tile.shape or tile not in self.tiles:
            msg = f"{self.path.name}: {values.shape} values do not fit {tile}. Give the tiles that the sink asks for."
            raise OutputError(msg)
        band, count = self.band, len(sizes_of_levels(self.band.grid.shape)) - 1
        with _told(self.path):
            cells = band.stored(values)
            levels = [band.packed(cells)]
            for level in range(1, min(IN_TILE, count) + 1):
                cells = band.halved(cells, level, tile.row, tile.col)
                levels.append(band.packed(cells))
            seed = band.halved(cells, IN_TILE + 1, tile.row, tile.col) if count > IN_TILE else None
            place = self._file_of(tile)
            part = place.with_name(f"{place.name}.{os.getpid()}.{threading.get_ident()}{TEMPORARY}")
            with part.open("wb") as file:
                write_tile(file, levels, seed)
            part.replace(place)

    def finish(self) -> Path:
        """Put the blocks of all tiles in order, give the raster its name, and remove the tiles.

        Raises
        ------
        OutputError
            If a tile is missing, or the disk is full; the tiles stay.
        """
        missing = [tile for tile in self.tiles if not self.has(tile)]
        if missing:
            msg = f"{self.path.name}: {len(missing)} of {len(self.tiles)} tiles are missing. Run again to compute them."
            raise OutputError(msg)
        files = {(tile.row // TILE, tile.col // TILE): self._file_of(tile) for tile in self.tiles}
        with _told(self.path):
            whole = self.folder / f"whole{TEMPORARY}"
            with whole.open("wb") as file:
                Assembly(self.band, files, self.folder).write(file)
                file.flush()
                os.fsync(file.fileno())
            whole.replace(self.path)
            # In one step: half a folder would be taken for unfinished work after a kill.
            self.folder.rename(self._gone)
            shutil.rmtree(self._gone)
        return self.path

    def coarse(self, most_side: int) -> Surface:
        """Return the finished raster, or its largest overview that is not wider or higher than `most_side` cells."""
        grid = self.band.grid
        sizes = sizes_of_levels(grid.shape)
        level = next((index for index, size in enumerate(sizes) if max(size) <= most_side), len(sizes) - 1)
        with _told(self.path), rasterio.open(self.path, **({"overview_level": level - 1} if level else {})) as file:
            values = file.read(1).astype(np.float64)
        n_rows, n_cols = sizes[level]
        cell = grid.cell_m * 2**level
        return Surface(
            grid=Grid(west=grid.west, north=grid.north, cell_m=cell, n_rows=n_rows, n_cols=n_cols), values=values
        )

    @property
    def _gone(self) -> Path:
        return self.path.with_name(self.path.name + PART + GONE)

    def _file_of(self, tile: Tile) -> Path:
        return self.folder / f"{tile.row // TILE}_{tile.col // TILE}.tile"

    def _refuse_other_job(self) -> None:
        """Write what the tiles are of; refuse a folder that holds others."""
        band, place = self.band, self.folder / JOB
        mine = {
            "key": self.key,
            "grid": repr(band.grid),
            "crs": band.crs,
            "description": band.description,
            "tags": dict(band.tags),
            "breaks": list(band.breaks),
            "mantissa_bits": band.mantissa_bits,
            "packing": band.packing,
            "made_by": [software_version(), rasterio.__version__, rasterio.__gdal_version__],
        }
        if not place.exists():
            part = place.with_name(JOB + TEMPORARY)
            part.write_text(json.dumps(mine, indent=2, sort_keys=True), encoding="utf-8")
            part.replace(place)
            return
        try:
            found = json.loads(place.read_text(encoding="utf-8"))
        except ValueError:
            found = {}
        differs = sorted(name for name in mine if not isinstance(found, dict) or found.get(name) != mine[name])
        if differs:
            msg = (
                f"{self.folder} holds tiles of another job: {', '.join(differs)} differ. Finish that one, or remove the "
                "folder and run again."
            )
            raise OutputError(msg)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeveralSinks:
    """Several rasters of one grid that are made from the same values.

    One that is there already is taken for finished: its folder must be named by its content.
    """

    sinks: tuple[RasterSink, ...]

    @property
    def waiting(self) -> tuple[RasterSink, ...]:
        """Return the rasters that are not there yet."""
        return tuple(sink for sink in self.sinks if not sink.is_whole)

    @property
    def tiles(self) -> Sequence[Tile]:
        """Return all tiles, row by row."""
        return self.sinks[0].tiles

    def todo(self) -> tuple[Tile, ...]:
        """Return the tiles that any of the rasters lacks."""
        return tuple(sorted({tile for sink in self.waiting for tile in sink.todo()}))

    def write(self, tile: Tile, values: Cells) -> None:
        """Keep one tile in every raster that lacks it."""
        for sink in self.waiting:
            if not sink.has(tile):
                sink.write(tile, values)

    def finish(self) -> tuple[Path, ...]:
        """Finish every raster that is not there yet; return all."""
        for sink in self.waiting:
            sink.finish()
        return tuple(sink.path for sink in self.sinks)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the disk or the library raises into an error that says what to do."""
    try:
        yield
    except (rasterio.errors.RasterioError, CPLE_BaseError, OSError, SystemError) as error:
        if isinstance(error, OutputError):
            raise
        # SystemError: what the library raises on a full disk when it has no words of its own
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
