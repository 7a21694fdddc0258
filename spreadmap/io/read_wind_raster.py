"""Rasters of mean wind: components, warped to the working CRS and turned to grid north."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.crs import CRS as RasterCrs
from rasterio.errors import RasterioError
from rasterio.transform import from_origin
from rasterio.warp import Resampling, calculate_default_transform, reproject

from spreadmap.errors import CrsError, RasterError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindRasterBlock
from spreadmap.io.read_crs import WorkingCrs, file_crs, grid_convergence_deg
from spreadmap.io.read_wind_hours import TO_METRES_PER_SECOND
from spreadmap.values.arrays import FloatArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.wind import WindRaster

MOST_CELLS = 20_000_000
"""Largest raster that is decoded, all bands together; a small file can claim far more."""
MARGIN_M = 300.0


def read_wind_raster(
    blocks: list[WindRasterBlock], paths: list[Path], working: WorkingCrs, inventory: Inventory, book: FaultBook
) -> WindRaster | None:
    """Return the wind raster in the working CRS round the plants, None without a file; faults go to the book."""
    if not blocks:
        return None
    if len(blocks) > 1:
        book.stop(blocks[1].file, "is a second wind raster", "Put all months into one file.", allowed="one",
                  error=RasterError)  # fmt: skip
        return None
    block, path = blocks[0], paths[0]
    with book.reading(block.file):
        if path.suffix.lower() == ".nc":
            msg = "is NetCDF, which this version does not read as a raster. Export it as GeoTIFF"
            raise RasterError(msg)
        try:
            with rasterio.open(path, driver="GTiff") as source:
                return _read_open(source, block, working, inventory, book)
        except RasterioError as error:
            msg = f"cannot be read as GeoTIFF ({' '.join(str(error).split())[:120]}). Export it again"
            raise RasterError(msg) from error
    return None


def _read_open(
    source: rasterio.DatasetReader,
    block: WindRasterBlock,
    working: WorkingCrs,
    inventory: Inventory,
    book: FaultBook,
) -> WindRaster:
    """Return an open raster as mean vectors in the working CRS."""
    periods = block.months or [0]
    parts = len(block.components)
    if source.count != parts * len(periods):
        msg = (
            f"has {source.count} bands; allowed: {parts * len(periods)}, {parts} for each of {len(periods)} periods. "
            "Correct months or components in its block"
        )
        raise RasterError(msg)
    if source.count * source.width * source.height > MOST_CELLS:
        msg = (
            f"holds {source.width} x {source.height} cells in {source.count} bands. Cut it to the plants' surroundings"
        )
        raise RasterError(msg)
    if source.crs is None:
        msg = "has no CRS; it is never guessed. Export it with one"
        raise CrsError(msg)
    bands = source.read(masked=True).astype(np.float64).filled(np.nan)
    bands = bands.reshape(
        (len(periods), parts, *bands.shape[1:])
        if block.band_order == "by_month"
        else (parts, len(periods), *bands.shape[1:])
    )
    if block.band_order == "by_component":
        bands = bands.swapaxes(0, 1)
    planes: dict[str, FloatArray] = {str(name): bands[:, index] for index, name in enumerate(block.components)}
    u, v, speed = _components(planes, TO_METRES_PER_SECOND[block.speed_unit])
    easting, northing, moved = _warp(source, working, inventory, [u, v, *([speed] if speed is not None else [])])
    turned_u, turned_v = _to_grid_north(moved[0], moved[1], easting, northing, source, block, working)
    _check_cover(turned_u[0], easting, northing, inventory, book, block.file)
    return WindRaster(
        easting=easting,
        northing=northing,
        month=np.array(periods),
        wind_u=turned_u,
        wind_v=turned_v,
        mean_speed_m_s=moved[2] if speed is not None else None,
    )


def _components(planes: dict[str, FloatArray], factor: float) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Return wind toward east and north, and mean scalar speed if the raster has one [m/s].

    Directions become components here, before any resampling: the mean of 350 and 10 degrees is not 180.
    """
    if "u" in planes and "v" in planes:
        speed = planes["speed"] * factor if "speed" in planes else None
        return planes["u"] * factor, planes["v"] * factor, speed
    if "direction" in planes and "speed" in planes:
        toward = np.deg2rad(planes["direction"] + 180.0)
        pace = planes["speed"] * factor
        return pace * np.sin(toward), pace * np.cos(toward), None
    msg = (
        f"has components {', '.join(planes)}; allowed: u and v, or direction and speed. Correct components in its block"
    )
    raise RasterError(msg)


def _warp(
    source: rasterio.DatasetReader, working: WorkingCrs, inventory: Inventory, stacks: list[FloatArray]
) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
    """Return eastings, northings and the stacks bilinearly resampled to the working CRS round the plants."""
    target = RasterCrs.from_wkt(working.crs.to_wkt())
    fitted, _, _ = calculate_default_transform(source.crs, target, source.width, source.height, *source.bounds)
    cell = float(abs(fitted.a))
    west, east = inventory.easting.min() - MARGIN_M, inventory.easting.max() + MARGIN_M
    south, north = inventory.northing.min() - MARGIN_M, inventory.northing.max() + MARGIN_M
    cols, rows = max(2, int(np.ceil((east - west) / cell))), max(2, int(np.ceil((north - south) / cell)))
    if cols * rows > MOST_CELLS:
        msg = f"would need {cols} x {rows} cells round the plants. Give coarser cells"
        raise RasterError(msg)
    transform = from_origin(west, north, cell, cell)
    moved = []
    for stack in stacks:
        out = np.full((stack.shape[0], rows, cols), np.nan)
        reproject(
            stack, out, src_transform=source.transform, src_crs=source.crs, dst_transform=transform, dst_crs=target,
            src_nodata=np.nan, dst_nodata=np.nan, resampling=Resampling.bilinear,
        )  # fmt: skip
        moved.append(out)
    return west + (np.arange(cols) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell, moved


def _to_grid_north(
    u: FloatArray,
    v: FloatArray,
    easting: FloatArray,
    northing: FloatArray,
    source: rasterio.DatasetReader,
    block: WindRasterBlock,
    working: WorkingCrs,
) -> tuple[FloatArray, FloatArray]:
    """Return the vectors turned from true north, or from the raster's own grid north, to the working grid's north."""
    east, north = np.meshgrid(easting, northing)
    lon, lat = working.lon_lat(east, north)
    turn = grid_convergence_deg(working.crs, lon, lat)
    if block.north == "grid":
        turn = turn - grid_convergence_deg(file_crs(source.crs.to_wkt()), lon, lat)
    angle = np.deg2rad(turn)
    # a bearing b from true north is b - convergence from grid north: the vector turns anticlockwise by the convergence
    return u * np.cos(angle) - v * np.sin(angle), u * np.sin(angle) + v * np.cos(angle)


def _check_cover(
    values: FloatArray, easting: FloatArray, northing: FloatArray, inventory: Inventory, book: FaultBook, file: str
) -> None:
    """Refuse a raster that covers no plant, and tell how many it covers if not all."""
    col = np.clip(np.searchsorted(easting, inventory.easting), 0, len(easting) - 1)
    row = np.clip(np.searchsorted(-northing, -inventory.northing), 0, len(northing) - 1)
    covered = int(np.isfinite(values[row, col]).sum())
    if covered == 0:
        msg = f"covers 0 of {len(inventory)} plants. Extend the raster, correct its CRS, or leave it out"
        raise RasterError(msg)
    if covered < len(inventory):
        book.assume(file, f"covers {covered} of {len(inventory)} plants",
                    "The nearest cells with a value are used for the others; extend the raster to mend it.")  # fmt: skip
