"""Where plants and shapes lie: into the working CRS, and what gives a wrong position away."""

from __future__ import annotations

import re
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
ANGLE = re.compile(
    r"""([NSEW])?\s*(\d{1,3}(?:\.\d+)?)\s*[°º]\s*(?:(\d{1,2}(?:\.\d+)?)\s*['′’]\s*)?"""
    r"""(?:(\d{1,2}(?:\.\d+)?)\s*(?:["″”]|''|′′)\s*)?([NSEW])?""",
    re.IGNORECASE | re.ASCII,
)
DEGREES_ALLOWED = "decimal degrees such as -96.75, or with signs and letter such as 96°45'00\"W"
POINT = 0
"""What shapely.get_type_id says of a point; missing shapes are -1."""
AREA = ("Polygon", "MultiPolygon")
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
    wrong = Counter(reason for reason in reasons.values() if reason[0] in UNTRUSTED)
    for (kind, words), count in wrong.most_common(1):
        if count > len(rows) / 2 and (count > 2 or column == "geometry"):
            remedy = REMEDY_BY_KIND.get(kind, "Correct the CRS or the coordinates.")
            if kind == "swapped" and column == "geometry":
                remedy = "Export the file again with east before north."
            msg = f"{count} of {len(rows)} positions: {words}. {remedy}"
            raise CrsError(msg)
    swap = "Swap its two coordinates." if column == "geometry" else "Swap the two cells."
    for index, (kind, words) in reasons.items():
        if blank_is_bad or kind != "blank":
            remedy = swap if kind == "swapped" else "Correct the position, or leave the row out."
            rows.bad(index, column, words, "", remedy)
    return easting, northing


def parse_angle(cell: str, letters: str) -> float | None:
    """Return degrees from text such as 36°52'30"N or 36° 52.5' N, None where it is not that.

    Parameters
    ----------
    cell : str
        Degrees with their sign, minutes with theirs, seconds if any, and the letter of the hemisphere, which may stand in
        front. Without signs or letter a text could be read in two ways: then it is refused.
    letters : str
        The two letters allowed, the positive one first: "NS" or "EW".
    """
    match = ANGLE.fullmatch(cell.replace(",", ".").strip())
    if match is None:
        return None
    before, degrees, minutes, seconds, after = match.groups()
    letter = (before or after or "").upper()
    if (before and after) or not letter or letter not in letters:
        return None
    parts = [float(part) if part else 0.0 for part in (degrees, minutes, seconds)]
    # only the last part may have decimals
    if parts[1] >= 60 or parts[2] >= 60 or any("." in (part or "") for part in (degrees, minutes if seconds else "")):
        return None
    return (1 if letter == letters[0] else -1) * (parts[0] + parts[1] / 60 + parts[2] / 3600)


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
    # our own tables have both pairs: the CRS says which is meant
    is_metric = not rows.has("longitude") or (rows.has("easting") and not source.is_geographic)
    across, along = ("easting", "northing") if is_metric else ("longitude", "latitude")
    rows.need(along)
    if source.is_geographic != (across == "longitude"):
        wanted = "longitude and latitude" if source.is_geographic else "easting and northing"
        msg = f"has columns for {across} and {along}, but {rows.block.crs} has {wanted}. Correct crs or the columns"
        raise CrsError(msg)
    if not source.is_geographic:
        return source, rows.number(across, np.nan, -1e9, 1e9), rows.number(along, np.nan, -1e9, 1e9), across
    angles = 0

    def read_angle(cell: str, letters: str) -> float | None:
        nonlocal angles
        found = parse_angle(cell, letters)
        angles += found is not None
        return found

    x = rows.number(across, np.nan, -1e9, 1e9, other=lambda cell: read_angle(cell, "EW"), allowed=DEGREES_ALLOWED)
    y = rows.number(along, np.nan, -1e9, 1e9, other=lambda cell: read_angle(cell, "NS"), allowed=DEGREES_ALLOWED)
    if angles:
        rows.book.assume(rows.table.file, f"{angles} cells are degrees and minutes", "They were turned into degrees.",
                         column=across)  # fmt: skip
    return source, x, y, across


def read_positions(rows: Rows, working: WorkingCrs) -> tuple[FloatArray, FloatArray, dict[int, BaseGeometry]]:
    """Return eastings and northings in the working CRS [m], and by row the polygons where there are some.

    A plant is a point, a bed may be an area; lines and several points in one row put it aside. Of an area without a count
    a point inside is taken, and that is told.
    """
    table, n = rows.table, len(rows)
    if table.geometry is None or table.crs is None:
        source, x, y, column = read_coordinates(rows)
        easting, northing = judge_positions(rows, source, working, x, y, column)
        return easting, northing, {}
    kind, empty = shapely.get_type_id(table.geometry), shapely.is_empty(table.geometry)
    x, y = np.full(n, np.nan), np.full(n, np.nan)
    single = (kind == POINT) & ~empty
    x[single], y[single] = shapely.get_x(table.geometry[single]), shapely.get_y(table.geometry[single])
    areas: dict[int, BaseGeometry] = {}
    for index in np.flatnonzero(~single & (kind >= 0) & ~empty).tolist():
        shape = _point_or_area(table.geometry[index])
        if shape is None:
            rows.bad(index, "geometry", _said(table.geometry[index]), "one point, or an area for a bed",
                     "Give one row to each plant, or leave the row out.")  # fmt: skip
            continue
        x[index], y[index] = shapely.get_coordinates(shape.representative_point())[0]
        if shape.area > 0:
            areas[index] = shape
            if not shapely.is_valid(table.geometry[index]):
                rows.book.assume(table.file, "a shape crosses itself", "It was made valid.", row=table.row[index])
    easting, northing = judge_positions(rows, table.crs, working, x, y, "geometry")
    good = [index for index in areas if not rows.is_bad(index)]
    moved = transform_shapes(table.crs, working, [areas[index] for index in good])
    if good and not rows.has("count"):
        rows.book.assume(table.file, f"{len(good)} shapes are areas and there is no column count",
                         "Each was taken as one plant at a point inside it.")  # fmt: skip
    return easting, northing, {index: shapely.make_valid(shape) for index, shape in zip(good, moved, strict=True)}


def _said(shape: BaseGeometry) -> str:
    """Return a shape that cannot be used in a few words."""
    return f"'{shape.geom_type}'" + (" without size" if shape.geom_type in AREA else "")


def _point_or_area(shape: BaseGeometry) -> BaseGeometry | None:
    """Return the one point or the valid area that a shape is, None where it is neither or has no place."""
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        return None
    if shape.geom_type == "MultiPoint" and shapely.get_num_geometries(shape) == 1:
        return shapely.Point(shapely.get_coordinates(shape)[0])
    if shape.geom_type not in AREA:
        return None
    whole = _of_kind(shapely.make_valid(shape), AREA)
    return whole if whole.geom_type in AREA and not whole.is_empty else None


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
