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
    layer = _choose_layer(address, block) if ending == ".gpkg" else None
    if layer is not None:
        _check_is_table(path, layer)
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            info = pyogrio.read_info(address, layer=layer)
            guard.check_driver(info["driver"], guard.TABLES[ending])
            meta, _, wkb, data = pyogrio.raw.read(
                address, layer=layer, read_geometry=shapes, datetime_as_string=True, force_2d=True
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
    crs = _layer_crs(meta["crs"], block, beside) if geometry is not None else None
    return layer_table(file, [str(name) for name in meta["fields"]], columns, count, geometry, crs, book)


def _texts(column: np.ndarray) -> list[str]:
    """Return a column of a layer as text."""
    values = column.tolist()
    if column.dtype != object:
        return [cell_text(value) for value in values]
    return [_layer_text(value) for value in values]


def _layer_text(value: object) -> str:
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
        whole = json.loads(data)
    except (ValueError, RecursionError) as error:
        msg = f"cannot be read as JSON ({str(error) or 'nested too deep'}). Export it again"
        raise InputError(msg) from error
    for named in _named_crs(whole):
        if named is None:
            book.assume(file, "says on purpose that it has no CRS", "Longitude and latitude were taken (RFC 7946).")
            continue
        kind = str(named.get("type", "")).casefold() if isinstance(named, dict) else ""
        name = (
            named.get("properties", {}).get("name")
            if kind == "name" and isinstance(named.get("properties"), dict)
            else None
        )
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


def _named_crs(whole: Any) -> Iterator[Any]:
    """Yield the value of every member crs, wherever it stands, but not among properties."""
    waiting = [whole]
    while waiting:
        item = waiting.pop()
        if isinstance(item, list):
            waiting += [each for each in item if isinstance(each, list | dict)]
        elif isinstance(item, dict):
            for key, value in item.items():
                if key.casefold() == "crs":
                    yield value
                elif key != "properties" and key != "coordinates" and isinstance(value, list | dict):
                    waiting.append(value)


def _check_is_table(path: Path, layer: str) -> None:
    """Refuse a layer of a GeoPackage that is no plain table: a view may ask for anything, and without end."""
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            found = database.execute(
                "SELECT type, sql FROM sqlite_master WHERE lower(name) = lower(?)", (layer,)
            ).fetchone()
    except sqlite3.Error as error:
        msg = f"cannot be opened ({error}). Export it again"
        raise InputError(msg) from error
    if found is None or found[0] != "table" or "virtual" in str(found[1]).casefold().split()[:2]:
        msg = f"layer {shown(layer)} is a view or a virtual table; allowed: a table. Export the layer as a table"
        raise InputError(msg)


def _choose_layer(address: str, block: FileBlock) -> str:
    """Return the layer of a GeoPackage that the project file means."""
    try:
        with warnings.catch_warnings():
            # what is wrong with it shows in what it holds
            warnings.simplefilter("ignore", RuntimeWarning)
            found = pyogrio.list_layers(address)
        names = [str(name) for name, kind in found if kind is not None or name == block.layer]
    except pyogrio.errors.DataSourceError as error:
        msg = f"cannot be opened ({' '.join(str(error).split())}). Export it again"
        raise InputError(msg) from error
    if block.layer and block.layer in names:
        return block.layer
    if not block.layer and len(names) == 1:
        return names[0]
    what = f"has no layer {shown(block.layer)}" if block.layer else f"has {len(names)} layers"
    msg = f'{what}; allowed: {", ".join(names)}. {suggestion(block.layer, names)}Say which: layer = "name"'
    raise InputError(msg)


def _layer_crs(text: str | None, block: FileBlock, beside: Sequence[str]) -> CRS:
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
