"""Surfaces as cloud-optimised GeoTIFF, and as a picture in the projection of a browser's map."""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any

from spreadmap.io import guard  # noqa: F401 - restricts GDAL's drivers before it is loaded

# isort: split
import numpy as np
import numpy.typing as npt
import rasterio
import rasterio.errors
from PIL import Image
from rasterio._err import CPLE_BaseError  # what closing a file raises; the public errors do not cover it
from rasterio.enums import Resampling
from rasterio.transform import Affine
from rasterio.warp import reproject, transform_bounds

from spreadmap.errors import OutputError
from spreadmap.io.layers import clean_text
from spreadmap.io.rounding import WHOLE, rounded, rounding_tags
from spreadmap.io.styles import class_colours, class_words, rgb
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.results import Face
from spreadmap.values.web import WebClass, WebRaster

WEB_CRS = "EPSG:3857"
MOST_WEB_SIDE = 4000
NO_CLASS = 255
"""What a raster of classes holds where there is no value."""
RISK, RISK_ALONE, RISK_CLASS = "risk", "risk_without_reservoirs", "risk_class"
ALONE_SAYS = {"SOURCES": "plants of the inventory only, without wild stands"}


def face_tags(face: Face, system_key: str, breaks: tuple[float, ...]) -> dict[str, str]:
    """Return what a raster says of itself."""
    return {
        "QUANTITY": face.quantity,
        "UNIT": face.unit,
        "PERIOD": f"{face.period_from.isoformat()}/{face.period_to.isoformat()}",
        "CONDITION": face.condition,
        "MODE": face.mode.value,
        "AS_OF": face.as_of.isoformat(),
        "VALID_UNTIL": face.valid_until.isoformat(),
        "PEST_SYSTEM": system_key,
        "BREAKS": " ".join(repr(float(value)) for value in breaks),
        "SAYS": face.sentence(),
    }


def transform_of(grid: Grid) -> Affine:
    """Return where the cells of a grid lie, as rasters say it."""
    return Affine(grid.cell_m, 0.0, grid.west, 0.0, -grid.cell_m, grid.north)


def surface_classes(values: npt.NDArray[Any], breaks: tuple[float, ...]) -> npt.NDArray[np.uint8]:
    """Return the class of every cell, 1 for the lowest, 255 where there is no value; shape of `values`."""
    classed = np.searchsorted(np.asarray(breaks, dtype=np.float64), values, side="right") + 1
    return np.where(np.isfinite(values), classed, NO_CLASS).astype(np.uint8)


def write_surface(
    path: Path, surface: Surface, crs: str, description: str, tags: dict[str, str], mantissa_bits: int = WHOLE
) -> Path:
    """Write a surface as float32 COG with NaN for "no value" and averaged overviews.

    With fewer than 23 `mantissa_bits` values are rounded to them, and the tag `ROUNDING` says so.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    values, says = rounded(surface.values.astype(np.float32), mantissa_bits), tags | rounding_tags(mantissa_bits)
    return _write_cog(path, surface, values, crs, description, says, nodata=math.nan)


def write_class_raster(
    path: Path, surface: Surface, breaks: tuple[float, ...], crs: str, description: str, tags: dict[str, str]
) -> Path:
    """Write the classes of a surface as uint8 COG with a colour table; overviews hold the commonest class."""
    classes = surface_classes(surface.values, breaks)
    colours = class_colours(len(breaks) + 1)
    table = {index + 1: (*rgb(colour), 255) for index, colour in enumerate(colours)}
    words = class_words(len(colours))
    named = {f"CLASS_{index + 1}": word for index, word in enumerate(words)}
    return _write_cog(path, surface, classes, crs, description, tags | named, nodata=NO_CLASS, colours=table)


def _write_cog(
    path: Path,
    surface: Surface,
    values: npt.NDArray[Any],
    crs: str,
    description: str,
    tags: dict[str, str],
    *,
    nodata: float,
    colours: dict[int, tuple[int, int, int, int]] | None = None,
) -> Path:
    """Write one band; the library makes the file in one piece, so that its layout is right and its bytes repeat."""
    grid = surface.grid
    is_float = values.dtype.kind == "f"
    try:
        with rasterio.open(
            path,
            "w",
            driver="COG",
            width=grid.n_cols,
            height=grid.n_rows,
            count=1,
            dtype=values.dtype.name,
            crs=crs,
            transform=transform_of(grid),
            nodata=nodata,
            compress="DEFLATE",
            predictor="FLOATING_POINT" if is_float else "NO",
            overview_resampling="AVERAGE" if is_float else "MODE",
            blocksize=512,
            bigtiff="IF_SAFER",
        ) as file:
            file.write(values, 1)
            file.set_band_description(1, clean_text(description))
            file.set_band_unit(1, tags.get("UNIT", "") if is_float else "class")
            file.update_tags(**{key: clean_text(value) for key, value in tags.items()})
            if colours:
                file.write_colormap(1, colours)
    except (rasterio.errors.RasterioError, CPLE_BaseError, OSError, SystemError) as error:
        # SystemError: what the library raises on a full disk when it has no words of its own
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def warp_to_web(surface: Surface, crs: str, breaks: tuple[float, ...], most_side: int = MOST_WEB_SIDE) -> WebRaster:
    """Return a surface as a picture in the projection of browsers' maps.

    Parameters
    ----------
    surface : Surface
        In the working CRS.
    crs : str
        The working CRS, as text.
    breaks : tuple of float
        Ascending limits between classes, in the surface's unit.
    most_side : int
        Pixels of the longer side at most; larger ones are made coarser. [px]

    Returns
    -------
    WebRaster
        PNG with one palette entry per class; no value and the lowest class are clear. The edges are those of the
        warped grid, so it lies where it belongs when stretched between them.

    Notes
    -----
    Warped bilinearly, then classed: the other way round, classes would be invented. A picture put into the
    unwarped grid's box of degrees would lie up to hundreds of metres off; bound by test_write_raster.py.
    """
    grid = surface.grid
    transform, width, height = web_grid(grid, crs, most_side)
    warped = np.full((height, width), np.nan, dtype=np.float32)
    reproject(
        surface.values.astype(np.float32),
        warped,
        src_transform=transform_of(grid),
        src_crs=crs,
        src_nodata=math.nan,
        dst_transform=transform,
        dst_crs=WEB_CRS,
        dst_nodata=math.nan,
        resampling=Resampling.bilinear,
    )
    edges = (transform.c, transform.f + height * transform.e, transform.c + width * transform.a, transform.f)
    left, bottom, right, top = transform_bounds(WEB_CRS, "EPSG:4326", *edges)
    return WebRaster(
        png=palette_png(surface_classes(warped, breaks), class_colours(len(breaks) + 1)),
        south=bottom,
        west=left,
        north=top,
        east=right,
        classes=web_classes(breaks),
    )


def web_grid(grid: Grid, crs: str, most_side: int) -> tuple[Affine, int, int]:
    """Return transform, width and height of pixels as large as the grid's cells that cover it in a browser's map."""
    west, east, south, north = grid.region
    left, bottom, right, top = transform_bounds(crs, WEB_CRS, west, south, east, north, densify_pts=21)
    pixel = grid.cell_m * math.sqrt((right - left) * (top - bottom) / ((east - west) * (north - south)))
    pixel = max(pixel, (right - left) / most_side, (top - bottom) / most_side)
    width, height = (max(1, math.ceil(side / pixel - 1e-6)) for side in (right - left, top - bottom))
    return Affine(pixel, 0.0, left, 0.0, -pixel, top), width, height


def web_classes(breaks: tuple[float, ...]) -> tuple[WebClass, ...]:
    """Return the classes between the breaks, lowest first."""
    limits = (0.0, *breaks, math.inf)
    count = len(breaks) + 1
    return tuple(
        WebClass(label=word, low=float(limits[index]), high=float(limits[index + 1]), colour=colour)
        for index, (word, colour) in enumerate(zip(class_words(count), class_colours(count), strict=True))
    )


def palette_png(classes: npt.NDArray[np.uint8], colours: tuple[str, ...]) -> bytes:
    """Return classes (1 the lowest, 255 no value) as an 8-bit PNG; the lowest and "no value" are clear."""
    index = np.where(classes == NO_CLASS, 0, classes).astype(np.uint8)
    picture = Image.frombytes("P", index.shape[::-1], index.tobytes())
    picture.putpalette([0, 0, 0, *(part for colour in colours for part in rgb(colour))])
    clear = bytes([0, 0, *[255] * (len(colours) - 1)])
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG", transparency=clear, optimize=False, compress_level=9)
    return buffer.getvalue()
