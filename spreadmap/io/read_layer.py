"""One layer of shapes: GeoPackage, Shapefile (also zipped), GeoJSON."""

from __future__ import annotations

import json
import re
import sqlite3
import warnings
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from pyproj import CRS

from spreadmap.errors import CrsError, InputError
from spreadmap.io import guard
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock, suggestion
from spreadmap.io.read_crs import file_crs, parse_crs, same_crs
from spreadmap.io.table import Table, cell_text, layer_table

MAY_NAME_CRS = re.compile(rb'"crs"|\\u00[4-7]', re.IGNORECASE)
"""What a GeoJSON that names a CRS must hold: the word, or a letter of it written by its number."""


def read_layer(path: Path, file: str, block: FileBlock, ending: str, book: FaultBook, shapes: bool) -> Table:
    """Return one layer of shapes.

    Raises
    ------
    InputError
        If it is not what its ending says, cannot be read, or (CrsError) has no CRS or another than declared.
    """
    guard.check_beside(path)
    address = str(path)
    beside: list[str] = []
    if ending == ".zip":
        inner, beside = guard.find_zipped_shapefile(path, block.layer)
        address = f"/vsizip/{path}/{inner}"
    elif ending == ".shp":
        beside = guard.shapefile_parts(path)
    elif ending in (".geojson", ".json"):
        _check_named_crs(path, file, book)
    layer = _choose_layer(path, block) if ending == ".gpkg" else None
    # without it SQLite may write a file beside one that another program left half open
    how = {"IMMUTABLE": "YES"} if ending == ".gpkg" else {}
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            info = pyogrio.read_info(address, layer=layer, **how)
            guard.check_driver(info["driver"], guard.TABLES[ending])
            meta, _, wkb, data = pyogrio.raw.read(
                address, layer=layer, read_geometry=shapes, datetime_as_string=True, force_2d=True, **how
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, UnboundLocalError) as error:
        # pyogrio leaves the text of a CRS that it cannot write out unset: an UnboundLocalError of its own
        if isinstance(error, InputError):
            raise
        msg = f"cannot be read ({' '.join(str(error).split())}). Export it again"
        raise InputError(msg) from error
    for text in sorted({str(each.message).replace(str(path.parent), "") for each in said}):
        book.assume(file, f"reading it gave the warning {shown(text, 150)}", "Look at the layer in a GIS.")
    if beside and ".cpg" not in beside and any(not _is_ascii(column) for column in data):
        book.assume(
            file, f"has no .cpg; its text was read as {meta['encoding']}", "Check accents, or add the .cpg file."
        )
    columns = [_texts(column) for column in data]
    count = len(wkb) if wkb is not None else len(columns[0]) if columns else 0
    geometry = shapely.from_wkb(wkb, on_invalid="ignore") if shapes and wkb is not None else None
    crs = layer_crs(meta["crs"], block, beside) if geometry is not None else None
    return layer_table(file, [str(name) for name in meta["fields"]], columns, count, geometry, crs, book)


def _texts(column: np.ndarray) -> list[str]:
    """Return a column of a layer as text."""
    values = column.tolist()
    if column.dtype != object:
        return [cell_text(value) for value in values]
    return [layer_text(value) for value in values]


def layer_text(value: object) -> str:
    """Return a cell of a layer; the date form of some drivers (2026/05/18) becomes ISO."""
    text = json.dumps(value) if isinstance(value, list | dict) else cell_text(value)
    if len(text) >= 10 and text[4] == "/" and text[7] == "/" and text[:4].isdigit():
        text = text[:10].replace("/", "-") + text[10:]
    return text


def _is_ascii(column: np.ndarray) -> bool:
    """Return whether a column of text has no accents."""
    return column.dtype != object or all(value is None or str(value).isascii() for value in column.tolist())


def _check_named_crs(path: Path, file: str, book: FaultBook) -> None:
    """Refuse a GeoJSON whose CRS is an address, which GDAL would fetch, or a name that is not known (CrsError).

    The member "crs" is of the format of 2008 (geojson.org/geojson-spec.html, section 3); RFC 7946 took it out.
    """
    data = path.read_bytes()
    if MAY_NAME_CRS.search(data) is None:
        return
    try:
        # objects as tuples of pairs: of two members of one name neither is lost
        whole = json.loads(data, object_pairs_hook=tuple)
    except (ValueError, RecursionError) as error:
        msg = f"cannot be read as JSON ({str(error) or 'nested too deep'}). Export it again"
        raise InputError(msg) from error
    for named in _named_crs(whole):
        if named is None:
            book.assume(file, "says on purpose that it has no CRS", "Longitude and latitude were taken (RFC 7946).")
            continue
        kind = str(_member(named, "type"))
        name = _member(_member(named, "properties"), "name") if kind.casefold() == "name" else None
        if not isinstance(name, str):
            msg = (
                f"has a CRS of type {shown(kind)}, which is an address or a code of an old kind and is never looked up; "
                "allowed: a name. Export it again in longitude and latitude (RFC 7946), without the member crs"
            )
            raise CrsError(msg)
        if not re.match(r"(urn:ogc:def:crs:|EPSG:|OGC:|CRS:)", name, flags=re.IGNORECASE):
            msg = f"names the CRS {shown(name)}; allowed: a name such as urn:ogc:def:crs:EPSG::32614. Export it again"
            raise CrsError(msg)
        file_crs(name)


def _member(item: Any, name: str) -> Any:
    """Return the member of a JSON object, given as pairs, whatever its capitals; empty text if there is none."""
    pairs = item if isinstance(item, tuple) else ()
    return next((value for key, value in pairs if key.casefold() == name), "")


def _named_crs(whole: Any) -> Iterator[Any]:
    """Yield the value of every member crs, wherever it stands, but not among properties."""
    waiting = [whole]
    while waiting:
        item = waiting.pop()
        if isinstance(item, list):
            waiting += [each for each in item if isinstance(each, list | tuple)]
        elif isinstance(item, tuple):
            for key, value in item:
                if key.casefold() == "crs":
                    yield value
                elif key not in ("properties", "coordinates") and isinstance(value, list | tuple):
                    waiting.append(value)


def _choose_layer(path: Path, block: FileBlock) -> str:
    """Return the layer of a GeoPackage that the project file means, after looking that it is a plain table.

    The file is asked without GDAL: a view may ask for anything, and without end.
    """
    for part in ("wal", "journal"):
        beside = path.with_name(f"{path.name}-{part}")
        if beside.is_file() and beside.stat().st_size:
            msg = f"is being written: {shown(beside.name)} lies beside it. Close the program that has it open"
            raise InputError(msg)
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            told = database.execute("SELECT table_name, data_type FROM gpkg_contents ORDER BY rowid").fetchall()
            kinds = {str(name).casefold(): (str(kind), str(sql)) for name, kind, sql in database.execute(
                "SELECT name, type, sql FROM sqlite_master WHERE type IN ('table', 'view')")}  # fmt: skip
    except (sqlite3.Error, UnicodeDecodeError) as error:
        msg = f"cannot be opened as a GeoPackage ({error}). Export it again"
        raise InputError(msg) from error
    names = [str(name) for name, kind in told if kind == "features" or name == block.layer]
    if block.layer not in names and (block.layer or len(names) != 1):
        what = f"has no layer {shown(block.layer)}" if block.layer else f"has {len(names)} layers"
        msg = f'{what}; allowed: {", ".join(names)}. {suggestion(block.layer, names)}Say which: layer = "name"'
        raise InputError(msg)
    layer = block.layer or names[0]
    kind, sql = kinds.get(layer.casefold(), ("", ""))
    if kind != "table" or "virtual" in sql.casefold().split()[:2]:
        msg = f"layer {shown(layer)} is a view or a virtual table; allowed: a table. Export the layer as a table"
        raise InputError(msg)
    return layer


def layer_crs(text: str | None, block: FileBlock, beside: Sequence[str]) -> CRS:
    """Return the CRS of a layer: its own, or the declared one where it has none; a contradiction is refused."""
    declared = parse_crs(block.crs) if block.crs else None
    if text is None:
        if declared is None:
            missing = "has no .prj and so no CRS" if beside and ".prj" not in beside else "has no CRS"
            msg = f'{missing}; it is never guessed. Export it with one, or declare crs = "EPSG:..." in its block'
            raise CrsError(msg)
        return declared
    own = file_crs(text)
    if declared is not None and not same_crs(own, declared):
        msg = f"has the CRS {own.name}, but its block declares {block.crs}. Remove crs from the block, or export again"
        raise CrsError(msg)
    return own
