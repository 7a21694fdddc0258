"""Rasters of mean wind: components, warped to the working CRS and turned to grid north."""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.crs import CRS as RasterCrs
from rasterio.errors import CRSError, NotGeoreferencedWarning, RasterioError
from rasterio.transform import from_origin
from rasterio.warp import Resampling, calculate_default_transform, reproject
from scipy.spatial import cKDTree

from spreadmap.errors import CrsError, RasterError
from spreadmap.io import guard
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.netcdf import DEGREE_UNITS
from spreadmap.io.netcdf_planes import read_netcdf_planes
from spreadmap.io.project_file import WindRasterBlock
from spreadmap.io.read_crs import WorkingCrs, file_crs, grid_convergence_deg, parse_crs, same_crs
from spreadmap.io.wind_planes import WindPlanes, as_components
from spreadmap.values.arrays import FloatArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindRaster

MOST_CELLS = 20_000_000
"""Largest raster that is decoded, all bands together; a small file can claim far more."""
MARGIN_M = 300.0
BAND_WORDS = {
    "u": "u", "ugrd": "u", "u10": "u", "eastward": "u", "v": "v", "vgrd": "v", "v10": "v", "northward": "v",
    "speed": "speed", "wspd": "speed", "direction": "direction", "wdir": "direction",
}  # fmt: skip
"""What bands are called by programs that write them, in our words; from memory."""


def read_wind_raster(
    blocks: list[WindRasterBlock],
    paths: list[Path],
    working: WorkingCrs,
    inventory: Inventory,
    book: FaultBook,
    settings: Settings | None = None,
) -> WindRaster | None:
    """Return the wind of all files on one grid in the working CRS round the plants, None without a file.

    The first file's cells make the grid; a month may stand in one file only. Faults go to the book. `settings` say how
    far from a plant without a value one is still looked for; it is told how many plants that concerns.
    """
    nearest_m = (settings or Settings()).wind.nearest_wind_cell_m
    parts: list[WindRaster] = []
    for block, path in zip(blocks, paths, strict=True):
        with book.reading(block.file):
            planes = _read_planes(path, block, working, inventory, book)
            parts.append(_on_grid(planes, working, inventory, parts[0] if parts else None))
            book.rows[block.file] = len(parts[-1].month)
            _check_cover(parts[-1], inventory, book, block.file, nearest_m)
            _check_months([month for part in parts for month in part.month.tolist()])
            if (parts[-1].mean_speed_m_s is None) != (parts[0].mean_speed_m_s is None):
                msg = "and the other wind rasters differ in having a mean speed. Give it in all of them or in none"
                raise RasterError(msg)
    if book.has_stopped or not parts:
        return None
    speeds = [part.mean_speed_m_s for part in parts if part.mean_speed_m_s is not None]
    return WindRaster(
        easting=parts[0].easting,
        northing=parts[0].northing,
        month=np.concatenate([part.month for part in parts]),
        wind_u=np.concatenate([part.wind_u for part in parts]),
        wind_v=np.concatenate([part.wind_v for part in parts]),
        mean_speed_m_s=np.concatenate(speeds) if speeds else None,
    )


def _read_planes(
    path: Path, block: WindRasterBlock, working: WorkingCrs, inventory: Inventory, book: FaultBook
) -> WindPlanes:
    """Return one file on its own grid, whatever its format."""
    if guard.check_kind(path, (*guard.RASTERS, *guard.NETCDF)) in guard.NETCDF:
        return read_netcdf_planes(path, block, working, inventory, MARGIN_M, book)
    if block.variables:
        msg = "is a GeoTIFF, which has bands and no variables. Remove variables from its block; components names the bands"
        raise RasterError(msg)
    guard.check_beside(path)
    try:
        with warnings.catch_warnings():
            # a file without a place is refused below, in our words
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(path, driver="GTiff") as source:
                return _read_geotiff(source, block)
    except (RasterioError, CRSError) as error:
        msg = f"cannot be read as GeoTIFF ({' '.join(str(error).split())[:120]}). Export it again"
        raise RasterError(msg) from error


def _check_months(months: list[int]) -> None:
    """Refuse a month that comes twice."""
    double = sorted({month for month in months if months.count(month) > 1})
    if double:
        named = "the whole season" if double == [0] else f"months {', '.join(map(str, double))}"
        msg = f"holds {named} a second time. Correct months in its block, or leave a file out"
        raise RasterError(msg)


def _read_geotiff(source: rasterio.DatasetReader, block: WindRasterBlock) -> WindPlanes:
    """Return an open GeoTIFF as planes on its own grid."""
    periods = block.months or [0]
    parts = len(block.components)
    if source.count != parts * len(periods):
        msg = (
            f"has {source.count} bands; allowed: {parts * len(periods)}, {parts} for each of {len(periods)} periods. "
            "Correct months or components in its block"
        )
        raise RasterError(msg)
    cell = source.transform
    widest = max(abs(cell.a), abs(cell.b), abs(cell.d), abs(cell.e))
    # as GDAL, which inverts no geotransform below this; not finite is refused as well
    if not abs(cell.a * cell.e - cell.b * cell.d) > 1e-10 * widest**2:
        msg = "has cells without size. Export it again with its place and cell size"
        raise RasterError(msg)
    if cell.is_identity:
        msg = "has no place: its cells are not tied to the ground. Export it again as a GeoTIFF with its CRS and corner"
        raise RasterError(msg)
    if max((rows * cols for rows, cols in source.block_shapes), default=0) > MOST_CELLS:
        msg = f"is packed in pieces of more than {MOST_CELLS:,} cells. Export it again in strips or tiles"
        raise RasterError(msg)
    if source.count * source.width * source.height > MOST_CELLS:
        msg = (
            f"holds {source.width} x {source.height} cells in {source.count} bands. Cut it to the plants' surroundings"
        )
        raise RasterError(msg)
    crs = _crs_of(source, block)
    _check_band_notes(source, block)
    bands = source.read(masked=True).astype(np.float64).filled(np.nan)
    # a file may keep its values as whole numbers with a factor
    bands = bands * np.array(source.scales)[:, None, None] + np.array(source.offsets)[:, None, None]
    if block.band_order == "by_month":
        bands = bands.reshape((len(periods), parts, *bands.shape[1:]))
    else:
        bands = bands.reshape((parts, len(periods), *bands.shape[1:])).swapaxes(0, 1)
    planes: dict[str, FloatArray] = {str(name): bands[:, index] for index, name in enumerate(block.components)}
    u, v, speed = as_components(planes, block.speed_unit)
    return WindPlanes(
        crs=crs, transform=cell, months=tuple(periods), u=u, v=v, speed=speed, north=block.north
    )  # fmt: skip


def _check_band_notes(source: rasterio.DatasetReader, block: WindRasterBlock) -> None:
    """Refuse bands whose own descriptions or units say that they hold another component than declared (RasterError)."""
    parts, periods = len(block.components), len(block.months or [0])
    for number, (name, unit) in enumerate(zip(source.descriptions, source.units, strict=True)):
        place = number % parts if block.band_order == "by_month" else number // periods
        declared = str(block.components[place])
        words = set(re.split(r"[^a-z0-9]+", (name or "").casefold()))
        # "wind_from_direction" and "u_wind" alike: the parts of a name, and the whole of it
        words |= {(name or "").strip().casefold()}
        said = {ours for word, ours in BAND_WORDS.items() if word in words}
        if (unit or "").strip().casefold() in DEGREE_UNITS:
            said |= {"direction"}
        if len(said) == 1 and said != {declared}:
            msg = (
                f"band {number + 1} says that it holds {said.pop()} ({shown(name or unit)}), and its block declares "
                f"{declared}. Correct components or band_order in its block"
            )
            raise RasterError(msg)


def _on_grid(planes: WindPlanes, working: WorkingCrs, inventory: Inventory, first: WindRaster | None) -> WindRaster:
    """Return planes as mean vectors in the working CRS, on the grid of the first file if there is one."""
    try:
        grid = (first.easting, first.northing) if first is not None else _grid_round_plants(planes, working, inventory)
        moved = _warp(planes, working, grid)
    except (RasterioError, CRSError) as error:
        msg = f"cannot be brought to the working CRS ({' '.join(str(error).split())[:120]}). Export it in another CRS"
        raise RasterError(msg) from error
    u, v = _to_grid_north(moved[0], moved[1], *grid, planes, working)
    return WindRaster(
        easting=grid[0],
        northing=grid[1],
        month=np.array(planes.months),
        wind_u=u,
        wind_v=v,
        mean_speed_m_s=moved[2] if planes.speed is not None else None,
    )


def _crs_of(source: rasterio.DatasetReader, block: WindRasterBlock) -> CRS:
    """Return the CRS of a raster: its own, or the declared one where it has none; a contradiction is refused."""
    declared = parse_crs(block.crs) if block.crs else None
    if source.crs is None and declared is None:
        msg = 'has no CRS; it is never guessed. Export it with one, or declare crs = "EPSG:..." in its block'
        raise CrsError(msg)
    own = file_crs(source.crs.to_wkt()) if source.crs is not None else declared
    if own is None or (declared is not None and not same_crs(own, declared)):
        msg = f"has another CRS than its block declares ({block.crs}). Remove crs from the block, or export again"
        raise CrsError(msg)
    return own


def _grid_round_plants(planes: WindPlanes, working: WorkingCrs, inventory: Inventory) -> tuple[FloatArray, FloatArray]:
    """Return eastings and northings of cells about as large as the file's own, round the plants with a margin [m]."""
    fitted, _, _ = calculate_default_transform(
        RasterCrs.from_wkt(planes.crs.to_wkt()),
        RasterCrs.from_wkt(working.crs.to_wkt()),
        planes.width,
        planes.height,
        *_bounds(planes),
    )
    cell = float(abs(fitted.a))
    west, east = inventory.easting.min() - MARGIN_M, inventory.easting.max() + MARGIN_M
    south, north = inventory.northing.min() - MARGIN_M, inventory.northing.max() + MARGIN_M
    cols, rows = max(2, int(np.ceil((east - west) / cell))), max(2, int(np.ceil((north - south) / cell)))
    if cols * rows * planes.count > MOST_CELLS:
        msg = f"would need {cols} x {rows} cells round the plants. Give coarser cells"
        raise RasterError(msg)
    return west + (np.arange(cols) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell


def _bounds(planes: WindPlanes) -> tuple[float, float, float, float]:
    """Return west, south, east, north of a raster that may be turned or upside down."""
    t = planes.transform
    corners = [
        (t.a * col + t.b * row + t.c, t.d * col + t.e * row + t.f)
        for col in (0, planes.width)
        for row in (0, planes.height)
    ]
    across, along = zip(*corners, strict=True)
    return min(across), min(along), max(across), max(along)


def _warp(planes: WindPlanes, working: WorkingCrs, grid: tuple[FloatArray, FloatArray]) -> list[FloatArray]:
    """Return the planes bilinearly resampled to a grid in the working CRS."""
    easting, northing = grid
    across, along = float(easting[1] - easting[0]), float(northing[0] - northing[1])
    transform = from_origin(float(easting[0]) - across / 2, float(northing[0]) + along / 2, across, along)
    moved = []
    for stack in planes.stacks():
        out = np.full((stack.shape[0], len(northing), len(easting)), np.nan)
        reproject(
            stack, out, src_transform=planes.transform, src_crs=RasterCrs.from_wkt(planes.crs.to_wkt()),
            dst_transform=transform, dst_crs=RasterCrs.from_wkt(working.crs.to_wkt()), src_nodata=np.nan,
            dst_nodata=np.nan, resampling=Resampling.bilinear,
        )  # fmt: skip
        moved.append(out)
    return moved


def _to_grid_north(
    u: FloatArray, v: FloatArray, easting: FloatArray, northing: FloatArray, planes: WindPlanes, working: WorkingCrs
) -> tuple[FloatArray, FloatArray]:
    """Return the vectors turned from true north, or from the raster's own grid north, to the working grid's north."""
    east, north = np.meshgrid(easting, northing)
    lon, lat = working.lon_lat(east, north)
    turn = grid_convergence_deg(working.crs, lon, lat)
    if planes.north == "grid":
        turn = turn - grid_convergence_deg(planes.crs, lon, lat)
    angle = np.deg2rad(turn)
    # a bearing b from true north is b - convergence from grid north: the vector turns anticlockwise by the convergence
    return u * np.cos(angle) - v * np.sin(angle), u * np.sin(angle) + v * np.cos(angle)


def _check_cover(raster: WindRaster, inventory: Inventory, book: FaultBook, file: str, nearest_m: float) -> None:
    """Refuse a raster that covers no plant, and tell how many it covers if not all, and what the others get."""
    easting, northing = raster.easting, raster.northing
    cell = float(easting[1] - easting[0])
    col = np.clip(np.round((inventory.easting - easting[0]) / cell), 0, len(easting) - 1).astype(np.int64)
    row = np.clip(np.round((northing[0] - inventory.northing) / cell), 0, len(northing) - 1).astype(np.int64)
    known = np.asarray(np.isfinite(raster.wind_u).any(axis=0))
    under = known[row, col]
    covered = int(under.sum())
    if covered == 0:
        msg = f"covers 0 of {len(inventory)} plants. Extend the raster, correct its CRS, or leave it out"
        raise RasterError(msg)
    if covered == len(inventory):
        return
    rows, cols = np.nonzero(known)
    # between middles of cells, as the wind climate measures it
    away, _ = cKDTree(np.c_[northing[rows], easting[cols]]).query(np.c_[northing[row[~under]], easting[col[~under]]])
    near = int(np.sum(away <= nearest_m))
    book.assume(
        file, f"covers {covered} of {len(inventory)} plants",
        f"{near} of the others take the nearest cell with a value, at most {nearest_m:g} m away; {len(away) - near} take "
        "the rose of the hourly record, or no direction without one. Extend the raster to mend it.",
    )  # fmt: skip
