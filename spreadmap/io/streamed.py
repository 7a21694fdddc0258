"""The rasters of a run that are too large for memory: where their tiles wait, and how they come into the run folder.

They are made in `runs/.tiles`, in folders named by content, so that a run that follows a killed one goes on where that
one stopped, and a run with other inputs starts anew.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from spreadmap.errors import OutputError
from spreadmap.io.band import Band
from spreadmap.io.raster_sink import RasterSink, SeveralSinks
from spreadmap.io.run_folder import RUNS
from spreadmap.io.write_raster import (
    ALONE_SAYS,
    MOST_WEB_SIDE,
    RISK,
    RISK_ALONE,
    RISK_CLASS,
    face_tags,
)
from spreadmap.values.content import content_key
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.results import Face

TILES = ".tiles"
NAME_LETTERS = 16
TENTHS = 10


@dataclass(slots=True, kw_only=True)
class RasterStore:
    """Where streamed rasters of one run are made.

    Parameters
    ----------
    project : Path
        The project's folder, held by its lock.
    crs : str
        The working CRS, as text.
    mantissa_bits : int
        What single precision is rounded to; 23 keeps it as it is. [-]
    hear : callable, optional
        Called with a sentence at every tenth of a raster.
    """

    project: Path
    crs: str
    mantissa_bits: int
    hear: Callable[[str], None] | None = None
    files: dict[str, Path] = field(default_factory=dict, init=False)
    """Finished rasters by their path in the run folder."""

    def sinks(
        self, names: tuple[str, ...], grid: Grid, face: Face, system_key: str, breaks: tuple[float, ...], key: str
    ) -> SeveralSinks:
        """Return the sinks of some rasters that are made from the same values, `key` naming what these depend on.

        Raises
        ------
        OutputError
            If their folder cannot be made.
        """
        bands = {name: self._band(name, grid, face, system_key, breaks) for name in names}
        content = content_key(key, list(bands), [(band.crs, band.tags, band.mantissa_bits) for band in bands.values()])
        folder = self.project / RUNS / TILES / f"{system_key}-{content[:NAME_LETTERS]}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            msg = f"{folder} could not be made: {error}. Give this user the right to write there."
            raise OutputError(msg) from error
        return SeveralSinks(
            sinks=tuple(RasterSink(path=folder / f"{name}.tif", band=band, key=key) for name, band in bands.items())
        )

    def _band(self, name: str, grid: Grid, face: Face, system_key: str, breaks: tuple[float, ...]) -> Band:
        """Return what a raster holds, by its name."""
        words = {RISK: "", RISK_ALONE: ", without wild stands", RISK_CLASS: ", class"}[name]
        return Band(
            grid=grid,
            crs=self.crs,
            description=f"{face.quantity}{words}",
            tags=face_tags(face, system_key, breaks) | (ALONE_SAYS if name == RISK_ALONE else {}),
            breaks=breaks if name == RISK_CLASS else (),
            mantissa_bits=self.mantissa_bits,
        )

    def keep(self, system_key: str, sinks: SeveralSinks) -> Mapping[str, Surface]:
        """Finish rasters, note them for the delivery, and return each of floating point in an overview's cells."""
        self.files |= {f"{system_key}/{path.name}": path for path in sinks.finish()}
        return {sink.path.stem: sink.coarse(MOST_WEB_SIDE) for sink in sinks.sinks if not sink.band.breaks}

    def progress(self, name: str) -> Callable[[int, int], None]:
        """Return what tells of the tiles of a raster as they are finished, at every tenth."""
        told = [-1]

        def tell(done: int, tiles: int) -> None:
            tenth = TENTHS * done // tiles
            if tenth != told[0] and self.hear is not None:
                self.hear(f"{name}: {done} of {tiles} tiles")
            told[0] = tenth

        return tell

    def clear(self) -> None:
        """Remove all tiles and rasters, those of runs that were given up included."""
        shutil.rmtree(self.project / RUNS / TILES, ignore_errors=True)


def put_in_place(made: Path, path: Path) -> Path:
    """Let a finished raster have a second name in the run folder, or copy it where the disk knows no second names."""
    try:
        try:
            os.link(made, path)
        except OSError:
            shutil.copyfile(made, path)
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path
