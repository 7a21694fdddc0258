"""How Tallowmere's offices keep their tables: a different format for each, with the same bytes at every writing."""

from __future__ import annotations

import csv
import datetime as dt
import json
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas
import numpy as np
import pyogrio
import rasterio
import shapely
import xlsxwriter
from demo_town import CRS, ORIGIN_EASTING, ORIGIN_NORTHING
from demo_weather import MONTHS, convergence_deg, turn_into_valley
from rasterio.transform import from_origin

STAMP = dt.datetime(2026, 1, 2, 12, 0, tzinfo=dt.UTC)
"""Every stamp inside a file, so that writing it again gives the same bytes."""

RASTER_CELL_DEG = 0.001
RASTER_MARGIN_M = 600.0


def fix_stamps() -> None:
    """Tell GDAL which day it is."""
    pyogrio.set_gdal_config_options({
        "OGR_CURRENT_DATE": f"{STAMP:%Y-%m-%dT%H:%M:%S.000Z}",
        "DBF_DATE_LAST_UPDATE": f"{STAMP:%Y-%m-%d}",
    })  # fmt: skip


def write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]], delimiter: str = ",",
                encoding: str = "utf-8") -> None:  # fmt: skip
    """Write a delimited table with plain line ends."""
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def write_sheet(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]], title: str) -> None:
    """Write a workbook of one sheet; dates become real dates, text stays text."""
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(path, options) as book:
        book.set_properties({"created": STAMP.replace(tzinfo=None)})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet = book.add_worksheet(title)
        sheet.write_row(0, 0, header)
        sheet.set_column(0, len(header) - 1, 16)
        for number, row in enumerate(rows, start=1):
            for column, value in enumerate(row):
                if isinstance(value, dt.date):
                    sheet.write_datetime(number, column, dt.datetime(value.year, value.month, value.day), day)
                elif value != "":
                    sheet.write(number, column, value)


def frame(columns: dict[str, object], geometry: Sequence[shapely.Geometry]) -> geopandas.GeoDataFrame:
    """Return a table with shapes in the town's projection."""
    return geopandas.GeoDataFrame(columns, geometry=list(geometry), crs=CRS)


def write_geopackage(path: Path, layer: str, table: geopandas.GeoDataFrame) -> None:
    """Write or replace a GeoPackage of one layer."""
    path.unlink(missing_ok=True)
    table.to_file(path, layer=layer, driver="GPKG", engine="pyogrio", VERSION="1.2")


def write_shapefile(path: Path, table: geopandas.GeoDataFrame) -> None:
    """Write a Shapefile."""
    table.to_file(path, driver="ESRI Shapefile", engine="pyogrio")


def write_zipped_shapefile(path: Path, folder: str, name: str, table: geopandas.GeoDataFrame) -> None:
    """Write a Shapefile into a folder inside a zip."""
    with TemporaryDirectory() as place, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        write_shapefile(Path(place) / f"{name}.shp", table)
        for part in sorted(Path(place).iterdir()):
            entry = zipfile.ZipInfo(f"{folder}/{part.name}", date_time=STAMP.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, part.read_bytes())


def write_geojson(path: Path, table: geopandas.GeoDataFrame) -> None:
    """Write GeoJSON as RFC 7946 has it: longitude and latitude, seven places."""
    features = []
    degrees = table.to_crs("EPSG:4326")
    for row, shape in zip(table.drop(columns="geometry").to_dict("records"), degrees.geometry, strict=True):
        rounded = shapely.transform(shape, lambda xy: np.round(xy, 7))
        features.append({"type": "Feature", "properties": row, "geometry": json.loads(shapely.to_geojson(rounded))})
    text = json.dumps({"type": "FeatureCollection", "features": features}, indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def write_wind_raster(path: Path, vectors: dict[int, tuple[float, float]]) -> None:
    """Write monthly mean wind vectors, bent along the river, on a grid of longitude and latitude.

    Two bands per month, toward true east and true north [m/s], as the axes of the grid run.
    """
    corner = np.array([[-RASTER_MARGIN_M, -RASTER_MARGIN_M], [1500 + RASTER_MARGIN_M, 1500 + RASTER_MARGIN_M]])
    corner += (ORIGIN_EASTING, ORIGIN_NORTHING)
    ends = geopandas.GeoSeries(shapely.points(corner), crs=CRS).to_crs("EPSG:4326")
    west, north = np.floor(ends.x.min() / RASTER_CELL_DEG), np.ceil(ends.y.max() / RASTER_CELL_DEG)
    n_cols = int(np.ceil(ends.x.max() / RASTER_CELL_DEG) - west)
    n_rows = int(north - np.floor(ends.y.min() / RASTER_CELL_DEG))
    longitude = (west + np.arange(n_cols) + 0.5) * RASTER_CELL_DEG
    latitude = (north - np.arange(n_rows) - 0.5) * RASTER_CELL_DEG
    lon, lat = (each.ravel() for each in np.meshgrid(longitude, latitude))
    centres = geopandas.GeoSeries(shapely.points(lon, lat), crs="EPSG:4326").to_crs(CRS)
    places = np.c_[centres.x - ORIGIN_EASTING, centres.y - ORIGIN_NORTHING]
    grid_turn = convergence_deg(float(lon.mean()), float(lat.mean()))
    bands, names = [], []
    for month in MONTHS:
        east, north_part = vectors[month]
        bearing = np.rad2deg(np.arctan2(east, north_part))
        turned = np.deg2rad(bearing + turn_into_valley(places, bearing - grid_turn))
        speed = np.hypot(east, north_part)
        bands += [speed * np.sin(turned), speed * np.cos(turned)]
        names += [f"u_{month:02d}", f"v_{month:02d}"]
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": len(bands), "width": n_cols, "height": n_rows,
        "crs": "EPSG:4326", "nodata": -9999.0, "compress": "deflate",
        "transform": from_origin(west * RASTER_CELL_DEG, north * RASTER_CELL_DEG, RASTER_CELL_DEG, RASTER_CELL_DEG),
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as file:
        for number, (band, name) in enumerate(zip(bands, names, strict=True), start=1):
            file.write(np.round(band, 3).reshape(n_rows, n_cols).astype("float32"), number)
            file.set_band_description(number, name)
