"""Layers as Shapefiles and GeoPackages: nothing changed in silence, and the same bytes for the same layer."""

from __future__ import annotations

import datetime as dt
import sqlite3
import struct
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from spreadmap.io import guard  # noqa: F401 - restricts GDAL's drivers before it is loaded

# isort: split
import numpy as np
import numpy.typing as npt
import pyogrio
import pyogrio.raw
import shapely
from pyproj import CRS

from spreadmap.errors import OutputError
from spreadmap.io.geopackage_rows import add_rows
from spreadmap.io.layers import Layer, clean_text, each_word
from spreadmap.io.short_names import Kind
from spreadmap.io.write_dbf import field_of, longest_text, table_bytes, words_of, write_dbf
from spreadmap.io.write_points import write_points

MOST_TEXT_BYTES = 254
MOST_NUMBER = 1e15
"""Beyond this a field of 24 characters with decimals loses digits."""
MOST_PART_BYTES = 2**31 - 1
"""Of one part of a Shapefile: lengths are 32 bits with a sign, and many programs read no further."""
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
GEOPACKAGE_VERSION = "1.2"


def cut_text(text: str, most_bytes: int = MOST_TEXT_BYTES, encoding: str = "UTF-8") -> str:
    """Return the text as a field of an encoding can hold it: cut on a letter border, "?" for letters it does not have."""
    data = text.encode(encoding, errors="replace")
    return data[:most_bytes].decode(encoding, errors="ignore")


def cut_layer(layer: Layer, encoding: str = "UTF-8") -> tuple[Layer, int]:
    """Return the layer with its texts as a Shapefile can hold them and `is_cut` set, and how many rows lost letters."""
    columns = dict(layer.columns)
    cut = np.zeros(len(layer), dtype=bool)
    for column in layer.spec:
        if column.kind is Kind.TEXT:
            whole = columns[column.name]
            words = words_of(whole)
            if "".join(words).isascii() and longest_text(words, encoding) <= MOST_TEXT_BYTES:
                continue
            held = {text: cut_text(text, encoding=encoding) for text in words}
            if any(held[text] != text for text in held):
                columns[column.name] = each_word(whole, held.__getitem__)
                cut |= np.asarray(columns[column.name] != whole, dtype=bool)
    if "is_cut" in columns:
        columns["is_cut"] = np.where(cut, "Y", "N").astype(object)
    return replace(layer, columns=columns), int(cut.sum())


def write_shapefile(
    folder: Path, layer: Layer, as_of: dt.date, encoding: str = "UTF-8"
) -> tuple[tuple[Path, ...], int]:
    """Write one layer as a Shapefile with its short names.

    Parameters
    ----------
    folder : Path
        Exists; the files are named after the layer.
    layer : Layer
    as_of : date
        Stands in the table's header instead of the day of writing.
    encoding : str
        Of the table; one of `DeliverySettings.encoding`.

    Returns
    -------
    tuple of Path, int
        The five files, and how many rows have a text that was cut at 254 bytes or has a letter that the encoding lacks.

    Raises
    ------
    OutputError
        If a number does not fit, a part would be too long for the format, the CRS does not survive, or the file cannot be
        written.
    """
    ready, cut = cut_layer(layer, encoding)
    _check_numbers(ready, "Shapefile")
    path, table = folder / f"{layer.file_name}.shp", folder / f"{layer.file_name}.dbf"
    columns = [ready.columns[column.name] for column in ready.spec]
    fields = [
        field_of(column, name, values, encoding)
        for column, name, values in zip(ready.spec, layer.short_names, columns, strict=True)
    ]
    _check_room(ready, table_bytes(fields, len(ready)))
    has_points = layer.geometry_type == "Point" and len(layer) > 0
    drawn = replace(ready, geometry=ready.geometry[:0]) if has_points else ready
    _write(path, drawn, [], [], driver="ESRI Shapefile", layer=layer.file_name,
           layer_options={"SPATIAL_INDEX": "NO"})  # fmt: skip
    part = path
    try:
        if has_points:
            write_points(path, ready.geometry)
        part = table
        write_dbf(table, fields, columns, as_of, encoding)
    except OSError as error:
        msg = f"{part.name} could not be written: {error}. Free the disk, then run again."
        raise OutputError(msg) from error
    _check_whole(path, len(layer))
    _check_crs(path, layer.crs, None)
    return tuple(path.with_suffix(part) for part in SHAPEFILE_PARTS), cut


def write_geopackage(
    path: Path, layers: Sequence[Layer], styles: Mapping[str, tuple[str, str]], as_of: dt.date
) -> Path:
    """Write all layers into one new GeoPackage with their long names, and their styles.

    Parameters
    ----------
    path : Path
        Must not exist yet.
    layers : sequence of Layer
    styles : mapping
        Layer name to QML and SLD text.
    as_of : date
        Stands where the format wants a time of writing, so that the same layers give the same bytes.

    Raises
    ------
    OutputError
        If a number does not fit, the CRS does not survive, or the file cannot be written.
    """
    stamp = f"{as_of.isoformat()}T00:00:00.000Z"
    with _fixed_clock(stamp):
        for index, layer in enumerate(layers):
            _check_numbers(layer, "GeoPackage")
            fields = [column.name for column in layer.spec]
            data = [layer.columns[column.name][:0] for column in layer.spec]
            first: dict[str, Any] = {"dataset_options": {"VERSION": GEOPACKAGE_VERSION}} if index == 0 else {}
            empty = replace(layer, geometry=layer.geometry[:0])
            _write(path, empty, fields, data, driver="GPKG", layer=layer.file_name,
                   layer_options={"DESCRIPTION": layer.name.replace("_", " ")}, **first)  # fmt: skip
            if len(layer):
                _add_rows(path, layer)
    try:
        _write_styles(path, layers, styles, stamp)
    except sqlite3.Error as error:
        msg = f"{path.name}: the styles could not be written: {error}. Free the disk, then run again."
        raise OutputError(msg) from error
    for layer in layers:
        _check_crs(path, layer.crs, layer.file_name)
    return path


def _add_rows(path: Path, layer: Layer) -> None:
    """Put the rows of a layer into its empty table; the library draws the shapes beside it first, for their index."""
    drawn = path.with_name(f".shapes_of_{path.name}")
    try:
        _write(drawn, layer, [], [], driver="GPKG", layer=layer.file_name,
               dataset_options={"VERSION": GEOPACKAGE_VERSION})  # fmt: skip
        add_rows(path, layer, drawn)
    except sqlite3.Error as error:
        msg = f"{path.name}, layer '{layer.name}' could not be written: {error}. Free the disk, then run again."
        raise OutputError(msg) from error
    finally:
        drawn.unlink(missing_ok=True)


def write_plain(path: Path, table: Layer, fields: Mapping[str, npt.NDArray[Any]], **options: Any) -> Path:
    """Write the places of a layer with these fields, in a format that has neither short names nor styles."""
    _write(path, table, list(fields), list(fields.values()), **options)
    return path


def write_geojson(path: Path, layer: Layer, lon_lat: npt.NDArray[Any]) -> Path:
    """Write one layer as GeoJSON by RFC 7946; `lon_lat` are its shapes in longitude and latitude."""
    in_degrees = replace(layer, geometry=lon_lat, crs="EPSG:4326")
    fields = [column.name for column in layer.spec if column.kind is not Kind.DATE]
    data = [layer.columns[name] for name in fields]
    _write(path, in_degrees, fields, data, driver="GeoJSON", layer=layer.file_name,
           layer_options={"RFC7946": "YES", "WRITE_NAME": "NO"})  # fmt: skip
    return path


def _write(path: Path, table: Layer, fields: list[str], data: list[npt.NDArray[Any]], **options: Any) -> None:
    """Hand a layer to the library; a warning counts as a failure, because it means that something was changed."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            pyogrio.raw.write(
                path,
                np.asarray(shapely.to_wkb(table.geometry), dtype=object),
                data,
                fields,
                geometry_type=table.geometry_type,
                crs=table.crs,
                **options,
            )
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError,
                pyogrio.errors.FieldError, pyogrio.errors.GeometryError, RuntimeWarning, OSError) as error:  # fmt: skip
            msg = (
                f"{path.name}, layer '{table.name}' could not be written: {error}. Free the disk, or correct the data."
            )
            raise OutputError(msg) from error


def _check_numbers(layer: Layer, form: str) -> None:
    """Refuse numbers that the format would change without a word."""
    for column in layer.spec:
        values = layer.columns[column.name]
        if column.kind is Kind.NUMBER and not np.all(np.isfinite(values) & (np.abs(values) < MOST_NUMBER)):
            worst = values[~(np.isfinite(values) & (np.abs(values) < MOST_NUMBER))][0]
            msg = f"{form} {layer.name}, column '{column.name}': {worst} does not fit; allowed: under {MOST_NUMBER:g}."
            raise OutputError(msg)
        if column.kind is Kind.WHOLE and len(values) and np.abs(values).max() > 2**31 - 1:
            msg = f"{form} {layer.name}, column '{column.name}': {np.abs(values).max()} does not fit; allowed: 32 bits."
            raise OutputError(msg)


def _check_room(layer: Layer, table: int) -> None:
    """Refuse a Shapefile of which a part would be longer than its format can tell, or than other programs read."""
    parts = {".dbf": table, ".shp": _drawn_bytes(layer.geometry)}
    for part, size in parts.items():
        if size > MOST_PART_BYTES:
            msg = (
                f"Shapefile {layer.file_name}{part} would have {size / 1e9:.1f} GB; allowed: {MOST_PART_BYTES / 1e9:.1f} GB. "
                "Take shapefile out of formats under [settings.delivery]: geopackage, csv and geoparquet have room; or split "
                "the project."
            )
            raise OutputError(msg)


def _drawn_bytes(shapes: npt.NDArray[np.object_]) -> int:
    """Return how long the shapes of a Shapefile are, one kind of shape for all [-]."""
    if not len(shapes):
        return 100
    if shapely.get_type_id(shapes[0]) == shapely.GeometryType.POINT:
        return 100 + 28 * len(shapes)
    has_area = shapely.get_dimensions(shapes[0]) == 2
    lines = len(shapely.get_rings(shapes)) if has_area else len(shapely.get_parts(shapes))
    return int(100 + 52 * len(shapes) + 4 * lines + 16 * shapely.get_num_coordinates(shapes).sum())


def _check_whole(path: Path, rows: int) -> None:
    """Refuse a Shapefile that is shorter than its headers say: on a full disk the library cuts it without a word."""
    with path.open("rb") as file:
        words = struct.unpack(">i", file.read(28).ljust(28, b"\0")[24:])[0]
    with path.with_suffix(".dbf").open("rb") as file:
        found, head, record = struct.unpack("<IHH", file.read(12).ljust(12, b"\0")[4:])
    sizes = {part: path.with_suffix(part).stat().st_size for part in (".shp", ".shx", ".dbf")}
    # a head that was cut tells no length: its own comes first
    wanted = {".shp": max(100, 2 * words), ".shx": 100 + 8 * rows, ".dbf": max(32, head) + rows * record}
    short = [part for part, size in sizes.items() if size < wanted[part]]
    if short or found != rows:
        msg = f"{path.stem}: {' and '.join(short) or 'a part'} is not complete. Free the disk, then run again."
        raise OutputError(msg)


def _check_crs(path: Path, crs: str, layer: str | None) -> None:
    """Refuse a file that does not carry the CRS it was given."""
    wanted = CRS.from_user_input(crs)
    found = CRS.from_user_input(pyogrio.read_info(path, layer=layer)["crs"])
    if found.to_epsg() != wanted.to_epsg() and not found.equals(wanted, ignore_axis_order=True):
        other = found.to_epsg() or found.name
        msg = f"{path.name} carries {other} where {crs} was given. Choose a CRS that has an EPSG code."
        raise OutputError(msg)


@contextmanager
def _fixed_clock(stamp: str) -> Iterator[None]:
    """Let the library take `stamp` for now, because a GeoPackage holds the time of writing."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": stamp})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


STYLE_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT, f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256),
  f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN,
  description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now'))
)
"""


def _write_styles(path: Path, layers: Sequence[Layer], styles: Mapping[str, tuple[str, str]], stamp: str) -> None:
    """Add the table of styles that desktop programs look for, with one default style per layer."""
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(STYLE_TABLE)
        database.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
            " VALUES (?, ?, ?, ?, ?)",
            ("layer_styles", "attributes", "layer_styles", "styles of the layers", stamp),
        )
        for layer in layers:
            if layer.name in styles:
                qml, sld = styles[layer.name]
                database.execute(
                    "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,"
                    " styleName, styleQML, styleSLD, useAsDefault, description, owner, update_time)"
                    " VALUES ('', '', ?, 'geom', ?, ?, ?, 1, ?, '', ?)",
                    (layer.file_name, layer.file_name, qml, sld, clean_text(layer.name), stamp),
                )
