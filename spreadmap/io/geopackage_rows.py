"""Rows of a GeoPackage's layer, put in by SQL: a general library takes each cell by itself.

The library makes the empty layer with all that belongs to it (CRS, contents, spatial index); here come the rows, as the
standard lays them out (OGC 12-128r14: section 2.1.3 for shapes, annex F.3 for the index; from memory). The tests read them
back by GDAL.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from spreadmap.io.layers import Layer, day_texts
from spreadmap.io.short_names import Column, Kind

ROWS_AT_ONCE = 50_000


def add_rows(path: Path, layer: Layer, drawn: Path) -> None:
    """Put the rows of a layer into its empty table; sqlite3.Error where that fails.

    Parameters
    ----------
    path : Path
        The GeoPackage.
    layer : Layer
        Its table has the name and the columns of the layer, and a spatial index.
    drawn : Path
        A GeoPackage in which a table of that name holds the shapes alone, in their order; its index is taken over.
    """
    table = layer.file_name
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("ATTACH ? AS drawn", (str(drawn),))
        # the folder is flushed as a whole before it gets its name: until then a broken file is nobody's
        database.execute("PRAGMA journal_mode = MEMORY")
        database.execute("PRAGMA synchronous = OFF")
        database.execute("BEGIN")
        triggers = database.execute(
            "SELECT name, sql FROM main.sqlite_master WHERE type = 'trigger' AND tbl_name = ? ORDER BY name", (table,)
        ).fetchall()
        for name, _ in triggers:
            database.execute(f'DROP TRIGGER main."{name}"')
        (place,) = database.execute(
            "SELECT srs_id FROM main.gpkg_geometry_columns WHERE table_name = ?", (table,)
        ).fetchone()
        names = ", ".join(f'"{column.name}"' for column in layer.spec)
        marks = ", ".join("?" * (len(layer.spec) + 2))
        for first in range(0, len(layer), ROWS_AT_ONCE):
            rows = _rows(layer, slice(first, first + ROWS_AT_ONCE), place, first + 1)
            database.executemany(f'INSERT INTO main."{table}" (fid, geom, {names}) VALUES ({marks})', rows)
        _take_index(database, table, len(layer))
        for _, sql in triggers:
            database.execute(sql)
        database.execute("COMMIT")


def _rows(layer: Layer, part: slice, place: int, first: int) -> Iterator[tuple[Any, ...]]:
    """Return some rows of a layer as the table takes them: number, shape, then the columns."""
    shapes = layer.geometry[part]
    cells = [_cells(column, layer.columns[column.name][part]) for column in layer.spec]
    return zip(range(first, first + len(shapes)), _blobs(shapes, place), *cells, strict=True)


def _cells(column: Column, values: npt.NDArray[Any]) -> list[Any]:
    """Return a column as the database takes it: days as text, none as NULL."""
    cells: list[Any] = (day_texts(values, None) if column.kind is Kind.DATE else values).tolist()
    return cells


def _blobs(shapes: npt.NDArray[np.object_], place: int) -> list[bytes]:
    """Return shapes as the standard packs them: points without a box, areas with one."""
    packed = shapely.to_wkb(shapes, byte_order=1).tolist()
    if shapely.get_type_id(shapes[0]) == shapely.GeometryType.POINT:
        head = struct.pack("<2sBBi", b"GP", 0, 1, place)
        return [head + wkb for wkb in packed]
    boxes = shapely.bounds(shapes)[:, [0, 2, 1, 3]].tolist()
    return [struct.pack("<2sBBi4d", b"GP", 0, 3, place, *box) + wkb for box, wkb in zip(boxes, packed, strict=True)]


def _take_index(database: sqlite3.Connection, table: str, rows: int) -> None:
    """Take over the spatial index and the extent of the shapes, and say how many rows there are."""
    for part in ("node", "parent", "rowid"):
        name = f"rtree_{table}_geom_{part}"
        database.execute(f'DELETE FROM main."{name}"')
        database.execute(f'INSERT INTO main."{name}" SELECT * FROM drawn."{name}"')
    database.execute("UPDATE main.gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?", (rows, table))
    database.execute(
        "UPDATE main.gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT min_x, min_y, max_x, max_y FROM "
        "drawn.gpkg_contents WHERE table_name = ?) WHERE table_name = ?",
        (table, table),
    )
