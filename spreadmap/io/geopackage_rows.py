"""Rows of a GeoPackage's layer, put in by SQL: a general library takes each cell by itself.

The library makes the empty layer with all that belongs to it (CRS, contents, spatial index), and beside it a file of the
shapes alone with their index. Here rows are put in, and shapes and index copied from that file (OGC 12-128r14, annex F.3
for the index; from memory). The tests read them back by GDAL.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy.typing as npt

from spreadmap.io.layers import Layer, day_texts, is_one_value
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
        A GeoPackage in which a table of that name holds the shapes alone, in their order, numbered from 1, with their index.
    """
    table = layer.file_name
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("ATTACH ? AS drawn", (str(drawn),))
        # the folder is flushed as a whole before it gets its name: until then a broken file is nobody's
        database.execute("PRAGMA journal_mode = MEMORY")
        database.execute("PRAGMA synchronous = OFF")
        _check_shapes(database, table, len(layer))
        database.execute("BEGIN")
        triggers = database.execute(
            "SELECT name, sql FROM main.sqlite_master WHERE type = 'trigger' AND tbl_name = ? ORDER BY name", (table,)
        ).fetchall()
        for name, _ in triggers:
            database.execute(f'DROP TRIGGER main."{name}"')
        usual = _usual(layer)
        changing = [column for column in layer.spec if column.name not in usual]
        names = ", ".join(f'"{column.name}"' for column in layer.spec)
        marks = ", ".join(usual.get(column.name, "?") for column in layer.spec)
        shape = f'(SELECT geom FROM drawn."{table}" WHERE fid = ?)'
        for first in range(0, len(layer), ROWS_AT_ONCE):
            database.executemany(
                f'INSERT INTO main."{table}" (fid, geom, {names}) VALUES (?, {shape}, {marks})',
                _rows(layer, changing, range(first, min(first + ROWS_AT_ONCE, len(layer)))),
            )
        _take_index(database, table, len(layer))
        for _, sql in triggers:
            database.execute(sql)
        database.execute("COMMIT")


def _check_shapes(database: sqlite3.Connection, table: str, rows: int) -> None:
    """Refuse drawn shapes that are not one for each row: a row without a shape would be no error of the database."""
    found = database.execute(f'SELECT count(*), min(fid), max(fid) FROM drawn."{table}"').fetchone()
    if found != (rows, 1, rows):
        msg = f"{found[0]} shapes were drawn for {rows} rows"
        raise sqlite3.IntegrityError(msg)


def _usual(layer: Layer) -> dict[str, str]:
    """Return what is the same in all rows, by column, as SQL writes it: it need not be handed over with each row.

    Numbers with a fraction are left out: the database reads the last digits of a written one as it likes.
    """
    columns = [(column, layer.columns[column.name]) for column in layer.spec if column.kind is not Kind.NUMBER]
    cells = {column.name: _cells(column, values[:1])[0] for column, values in columns if is_one_value(values)}
    return {
        name: str(cell) if isinstance(cell, int) else "'" + cell.replace("'", "''") + "'"
        for name, cell in cells.items()
    }


def _rows(layer: Layer, changing: Sequence[Column], part: range) -> Iterator[tuple[Any, ...]]:
    """Return some rows of a layer as the table takes them: number, that of its shape, then the columns that change."""
    rows = slice(part.start, part.stop)
    cells = [_cells(column, layer.columns[column.name][rows]) for column in changing]
    number = range(part.start + 1, part.stop + 1)
    return zip(number, number, *cells, strict=True)


def _cells(column: Column, values: npt.NDArray[Any]) -> list[Any]:
    """Return a column as the database takes it: days as text, none as NULL."""
    cells: list[Any] = (day_texts(values, None) if column.kind is Kind.DATE else values).tolist()
    return cells


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
