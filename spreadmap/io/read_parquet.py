"""GeoParquet and plain Parquet tables, with the library of the extra `parquet`.

Of the geometry the format says in JSON what it is (geoparquet.org/releases/v1.0.0, from memory): its column, its encoding, its
CRS. A CRS that is left out is longitude and latitude; one that is null is not known.
"""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from spreadmap.errors import CrsError, InputError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.guard import MOST_UNPACKED_BYTES
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_crs import file_crs
from spreadmap.io.read_layer import layer_crs, layer_text
from spreadmap.io.table import MOST_COLUMNS, Table, layer_table

MOST_CELLS = 500_000_000
"""A few bytes can stand for any number of equal cells: so many are taken for an attack."""
GEO = b"geo"


def read_parquet(path: Path, file: str, block: FileBlock, book: FaultBook, shapes: bool) -> Table:
    """Return a Parquet table; its geometry where the file says that it has one.

    Raises
    ------
    InputError
        If the extra `parquet` is not installed, the file cannot be read, is far larger than it looks, or says of its geometry
        what cannot be; CrsError where that has no CRS or another than declared.
    """
    try:
        arrow, parquet = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    except ImportError as error:
        msg = (
            f"is Parquet, and {error.name or 'a library'} is not installed. Install the extra for it: pip install "
            "'spreadmap[parquet]', or save the table as GeoPackage"
        )
        raise InputError(msg) from error
    try:
        with parquet.ParquetFile(path, memory_map=False, pre_buffer=False) as opened:
            _check_size(opened.metadata)
            said = (opened.schema_arrow.metadata or {}).get(GEO)
            whole = opened.read(use_threads=False)
        columns = [_cells(arrow, whole.column(place)) for place in range(whole.num_columns)]
    except (arrow.ArrowException, OSError, ValueError, OverflowError, KeyError) as error:
        if isinstance(error, InputError):
            raise
        msg = f"cannot be read ({' '.join(str(error).split())[:200]}). Export it again"
        raise InputError(msg) from error
    names = [str(name) for name in whole.column_names]
    geometry, crs = None, None
    if shapes and said is not None:
        about = _about_geometry(said, names)
        wkb = columns[names.index(about["name"])]
        geometry = shapely.force_2d(shapely.from_wkb(np.array([*wkb, None], dtype=object)[:-1], on_invalid="ignore"))
        crs = layer_crs(_crs_text(about), block, ())
    has_bytes = [place for place, cells in enumerate(columns) if any(isinstance(cell, bytes) for cell in cells)]
    kept = [place for place in range(len(names)) if place not in has_bytes]
    texts = [[layer_text(cell) for cell in columns[place]] for place in kept]
    return layer_table(file, [names[place] for place in kept], texts, whole.num_rows, geometry, crs, book)


def _check_size(metadata: Any) -> None:
    """Refuse a table that would unpack to far more than an inventory (InputError)."""
    if metadata.num_columns > MOST_COLUMNS:
        msg = f"has {metadata.num_columns} columns; allowed: {MOST_COLUMNS}. Export the columns that are needed"
        raise InputError(msg)
    unpacked = sum(metadata.row_group(number).total_byte_size for number in range(metadata.num_row_groups))
    if unpacked > MOST_UNPACKED_BYTES or metadata.num_rows * metadata.num_columns > MOST_CELLS:
        msg = (
            f"would unpack to {metadata.num_rows:,} rows and {unpacked / 2**20:.0f} MB; allowed: {MOST_CELLS:,} cells and "
            f"{MOST_UNPACKED_BYTES / 2**20:.0f} MB. Split it"
        )
        raise InputError(msg)


def _cells(arrow: Any, column: Any) -> list[Any]:
    """Return the values of a column; a time that no calendar here can hold is read as its number."""
    if arrow.types.is_timestamp(column.type):
        # nanoseconds have no place in the standard library's times
        column = column.cast(arrow.timestamp("us", column.type.tz), safe=False)
    values: list[Any] = column.to_pylist()
    return values


def _about_geometry(said: bytes, names: list[str]) -> dict[str, Any]:
    """Return what a file says of its main geometry, and its name; InputError where that cannot be used."""
    try:
        about = json.loads(said)
        name = about["primary_column"]
        column = {"name": name, **about["columns"][name]}
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        msg = "says nothing that can be understood of its geometry (key 'geo'). Export it again as GeoParquet"
        raise InputError(msg) from error
    if name not in names:
        msg = f"names the geometry column {shown(name)}, which it does not have. Export it again"
        raise InputError(msg)
    if column.get("encoding") != "WKB":
        msg = f"has shapes in the encoding {shown(column.get('encoding'))}; allowed: WKB. Export it again"
        raise InputError(msg)
    return column


def _crs_text(about: dict[str, Any]) -> str | None:
    """Return the CRS of a geometry as text, None where it is not known (CrsError if it cannot be understood)."""
    if "crs" not in about:
        return "OGC:CRS84"
    if about["crs"] is None:
        return None
    try:
        return file_crs(CRS.from_user_input(json.dumps(about["crs"])).to_wkt()).to_wkt()
    except (CRSError, RecursionError) as error:
        msg = "carries a CRS that cannot be understood. Export it again with a CRS that has an EPSG code"
        raise CrsError(msg) from error
