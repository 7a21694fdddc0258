"""Where plants and shapes lie: into the working CRS, and what gives a wrong position away."""

from __future__ import annotations

from collections import Counter

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import CrsError
from spreadmap.io.read_crs import WorkingCrs, parse_crs, position_reasons, transform_shapes
from spreadmap.io.read_rows import Rows
from spreadmap.values.arrays import FloatArray

REMEDY_BY_KIND = {
    "swapped": "Swap the two columns in the project file.",
    "degrees": 'Declare crs = "EPSG:4326" in the block, or export in metres.',
}
UNTRUSTED = ("swapped", "degrees", "far", "range")


def judge_positions(rows: Rows, source: CRS, working: WorkingCrs, x: FloatArray, y: FloatArray, column: str,
                    *, blank_is_bad: bool = True) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return eastings and northings in the working CRS; rows without a usable position are put aside [m].

    Raises
    ------
    CrsError
        If most rows are wrong in the same way: then the file cannot be trusted.
    """
    easting, northing, reasons = position_reasons(source, working, x, y)
    wrong = Counter(reason for reason in reasons if reason[0] in UNTRUSTED)
    for (kind, words), count in wrong.most_common(1):
        if count > len(rows) / 2 and (count > 2 or column == "geometry"):
            msg = (
                f"{count} of {len(rows)} positions: {words}. "
                f"{REMEDY_BY_KIND.get(kind, 'Correct the CRS or the coordinates.')}"
            )
            raise CrsError(msg)
    for index, (kind, words) in enumerate(reasons):
        if kind and (blank_is_bad or kind != "blank"):
            remedy = "Swap the two cells." if kind == "swapped" else "Correct the position, or leave the row out."
            rows.bad(index, column, words, "", remedy)
    return easting, northing


def read_coordinates(rows: Rows) -> tuple[CRS, FloatArray, FloatArray, str]:
    """Return CRS, first and second coordinate of a table without shapes, and the name of the first column.

    Raises
    ------
    InputError
        If there are no coordinate columns, or (CrsError) the block does not say in which CRS they are.
    """
    rows.need("easting", "longitude")
    if not rows.block.crs:
        msg = 'has coordinate columns but no CRS; it is never guessed. Declare crs = "EPSG:..." in its block'
        raise CrsError(msg)
    source = parse_crs(rows.block.crs)
    across, along = ("longitude", "latitude") if rows.has("longitude") else ("easting", "northing")
    rows.need(along)
    if source.is_geographic != (across == "longitude"):
        wanted = "longitude and latitude" if source.is_geographic else "easting and northing"
        msg = f"has columns for {across} and {along}, but {rows.block.crs} has {wanted}. Correct crs or the columns"
        raise CrsError(msg)
    return source, rows.number(across, np.nan, -1e9, 1e9), rows.number(along, np.nan, -1e9, 1e9), across


def read_positions(rows: Rows, working: WorkingCrs) -> tuple[FloatArray, FloatArray, list[BaseGeometry | None]]:
    """Return eastings and northings in the working CRS [m], and polygons where there are some."""
    table, n = rows.table, len(rows)
    shapes: list[BaseGeometry | None] = [None] * n
    if table.geometry is None or table.crs is None:
        source, x, y, column = read_coordinates(rows)
        easting, northing = judge_positions(rows, source, working, x, y, column)
        return easting, northing, shapes
    whole = [geometry if geometry is not None else shapely.Point() for geometry in table.geometry.tolist()]
    centres = np.array([_centre(geometry) for geometry in whole], dtype=np.float64).reshape(n, 2)
    areas = [i for i, geometry in enumerate(whole) if geometry.area > 0]
    easting, northing = judge_positions(rows, table.crs, working, centres[:, 0], centres[:, 1], "geometry")
    areas = [i for i in areas if not rows.is_bad(i)]
    for i, moved in zip(areas, transform_shapes(table.crs, working, [whole[i] for i in areas]), strict=True):
        shapes[i] = shapely.make_valid(moved)
    return easting, northing, shapes


def _centre(geometry: BaseGeometry) -> tuple[float, float]:
    """Return a point for a shape, NaN for an empty one."""
    if geometry.is_empty:
        return float("nan"), float("nan")
    point = geometry if geometry.geom_type == "Point" else geometry.representative_point()
    x, y = shapely.get_coordinates(point)[0]
    return float(x), float(y)


def read_shapes(rows: Rows, working: WorkingCrs, kinds: tuple[str, ...]) -> list[BaseGeometry]:
    """Return the shapes of a table in the working CRS; a missing, empty or unfit shape puts its row aside."""
    table = rows.table
    if table.geometry is None or table.crs is None:
        source, x, y, column = read_coordinates(rows)
        east, north = judge_positions(rows, source, working, x, y, column)
        return [shapely.Point(a, b) for a, b in zip(east, north, strict=True)]
    given = [shape if shape is not None else shapely.Point() for shape in table.geometry.tolist()]
    first = np.array([shapely.get_coordinates(shape)[0] if not shape.is_empty else (np.nan, np.nan) for shape in given])
    first = first.reshape(len(given), 2)
    judge_positions(rows, table.crs, working, first[:, 0], first[:, 1], "geometry", blank_is_bad=False)
    shapes = []
    for index, moved in enumerate(transform_shapes(table.crs, working, given)):
        shape, repaired = moved, False
        finite = bool(np.isfinite(shapely.get_coordinates(shape)).all())
        if finite and not shape.is_empty and not shapely.is_valid(shape):
            shape, repaired = _of_kind(shapely.make_valid(shape), kinds), True
        if shape.is_empty or not finite or shape.geom_type not in kinds:
            found = (
                "an empty shape" if shape.is_empty else f"'{shape.geom_type}'" if finite else "a shape without place"
            )
            rows.bad(index, "geometry", found, ", ".join(kinds), "Draw it again, or leave it out.")
        elif repaired:
            rows.book.assume(table.file, "a shape crosses itself", "It was made valid.", row=table.row[index])
        shapes.append(shape)
    return shapes


def _of_kind(shape: BaseGeometry, kinds: tuple[str, ...]) -> BaseGeometry:
    """Return the parts of a repaired shape that are of an allowed kind: mending an area may leave lines beside it."""
    parts = [part for part in shapely.get_parts(shape).tolist() if part.geom_type in kinds]
    parts = [piece for part in parts for piece in shapely.get_parts(part).tolist()]
    return parts[0] if len(parts) == 1 else shapely.union_all(parts) if parts else shape
