"""Coordinate reference systems: which are allowed, how positions get into the working one, and what gives them away."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import CrsError
from spreadmap.values.arrays import BoolArray, FloatArray

WGS84 = CRS.from_epsg(4326)
MOST_SCALE_ERROR = 0.01
"""How far lengths in the working CRS may differ from true ones [-]; our choice."""
GRID_FILE = re.compile(r"""grids=[^\s"]*[/\\]|PARAMETERFILE\[[^\]]*[/\\]""", re.IGNORECASE)
"""A CRS that names a file by its path: PROJ would open it, or fetch it."""
SWAPPED_WITHIN_M = 20_000.0
"""How near the others a position with its metres in the other order stands; our choice."""
AREA_MARGIN_DEG = 3.0
"""How far outside its area of use a CRS is still accepted [deg]: towns at the edge of a zone use their neighbours'."""


def parse_crs(text: str) -> CRS:
    """Return the CRS of a code such as EPSG:32614; anything but authority and code is refused with CrsError."""
    if not re.fullmatch(r"(EPSG|ESRI|OGC|IGNF):[A-Za-z0-9]+", text.strip(), flags=re.IGNORECASE):
        msg = f"crs '{text}' is not an authority and a code. Write for example crs = \"EPSG:32614\""
        raise CrsError(msg)
    try:
        return CRS.from_user_input(text.strip().upper())
    except CRSError as error:
        msg = f"crs '{text}' is not known. Look the code up and correct it"
        raise CrsError(msg) from error


def file_crs(text: str) -> CRS:
    """Return the CRS that a file carries; one that cannot be understood or asks for a grid file is refused (CrsError)."""
    if GRID_FILE.search(text):
        msg = "carries a CRS that asks for a file of grid shifts. Export it again with a CRS that has an EPSG code"
        raise CrsError(msg)
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        msg = "carries a CRS that cannot be understood. Export it again with a CRS that has an EPSG code"
        raise CrsError(msg) from error


def same_crs(one: CRS, other: CRS) -> bool:
    """Return whether two CRS mean the same, whatever the order of their axes."""
    return one.equals(other, ignore_axis_order=True) or (one.to_epsg() is not None and one.to_epsg() == other.to_epsg())


@dataclass(frozen=True)
class WorkingCrs:
    """The projected, metric CRS in which everything is reckoned, and the way into it."""

    crs: CRS
    text: str

    @cached_property
    def to_degrees(self) -> Transformer:
        """Return the way to WGS 84, longitude first."""
        return Transformer.from_crs(self.crs, WGS84, always_xy=True)

    @cached_property
    def from_degrees(self) -> Transformer:
        """Return the way from WGS 84, longitude first."""
        return Transformer.from_crs(WGS84, self.crs, always_xy=True)

    def lon_lat(self, easting: FloatArray, northing: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return longitude and latitude (WGS 84) [deg]."""
        lon, lat = self.to_degrees.transform(easting, northing)
        return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)

    def convergence_deg(self, easting: FloatArray, northing: FloatArray) -> FloatArray:
        """Return by how much grid north lies clockwise of true north [deg]: bearing from grid = true - this."""
        return grid_convergence_deg(self.crs, *self.lon_lat(easting, northing))


def grid_convergence_deg(crs: CRS, lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Return by how much a CRS's grid north lies clockwise of true north, shape of `lon` [deg].

    A short step to the true north, seen on the grid, has the bearing of true north; grid north lies as far on the
    other side. In degrees both agree. Bound by test_io_crs.py against PROJ's own meridian convergence.
    """
    lon, lat = np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
    if crs.is_geographic:
        return np.zeros_like(lon)
    way = Transformer.from_crs(WGS84, crs, always_xy=True)
    step = 5e-5
    west, south = way.transform(lon, lat - step)
    east, north = way.transform(lon, lat + step)
    return np.asarray(
        -np.rad2deg(np.arctan2(np.asarray(east) - np.asarray(west), np.asarray(north) - np.asarray(south)))
    )


def working_crs(text: str) -> WorkingCrs:
    """Return the working CRS of a project.

    Raises
    ------
    CrsError
        If it is unknown, not projected, not in metres, or its axes do not run east and north.
    """
    crs = parse_crs(text)
    if not crs.is_projected:
        msg = f"the working crs '{text}' is not projected. Give one in metres, for example the UTM zone of the place"
        raise CrsError(msg)
    axes = crs.axis_info[:2]
    if any(abs(axis.unit_conversion_factor - 1.0) > 1e-12 for axis in axes):
        unit = axes[0].unit_name
        msg = (
            f"the working crs '{text}' is in {unit}; allowed: metre. Give the metric twin or the UTM zone of the place; "
            "files in feet may keep their own CRS, they are converted"
        )
        raise CrsError(msg)
    if {axis.direction for axis in axes} != {"east", "north"}:
        msg = f"the axes of the working crs '{text}' do not run east and north. Give one whose axes do"
        raise CrsError(msg)
    return WorkingCrs(crs, text.strip())


def check_scale(working: WorkingCrs, lon: float, lat: float) -> None:
    """Refuse a working CRS in which a metre on the ground is not about a metre (CrsError)."""
    step = 1e-4
    ends_lon, ends_lat = np.array([lon, lon, lon - step, lon + step]), np.array([lat - step, lat + step, lat, lat])
    easting, northing = working.from_degrees.transform(ends_lon, ends_lat)
    geod = WGS84.get_geod()
    if geod is None:
        return
    for first in (0, 2):
        _, _, true = geod.inv(ends_lon[first], ends_lat[first], ends_lon[first + 1], ends_lat[first + 1])
        drawn = np.hypot(easting[first + 1] - easting[first], northing[first + 1] - northing[first])
        if not np.isfinite(drawn) or abs(drawn / true - 1) > MOST_SCALE_ERROR:
            msg = (
                f"in the working crs '{working.text}' a length at the plants is {drawn / true:.3f} times the true one; "
                f"allowed: within {MOST_SCALE_ERROR:.0%}. Give the UTM zone or the national grid of the place"
            )
            raise CrsError(msg)


def transform_positions(
    source: CRS, working: WorkingCrs, x: FloatArray, y: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return eastings and northings in the working CRS; where a position cannot be transformed, infinity [m]."""
    if same_crs(source, working.crs):
        return x, y
    try:
        way = Transformer.from_crs(source, working.crs, always_xy=True)
        easting, northing = way.transform(x, y)
    except ProjError as error:
        msg = f"cannot be brought from {source.name} to {working.crs.name}. Export it in another CRS"
        raise CrsError(msg) from error
    return np.asarray(easting, dtype=np.float64), np.asarray(northing, dtype=np.float64)


def transform_shapes(source: CRS, working: WorkingCrs, shapes: list[BaseGeometry]) -> list[BaseGeometry]:
    """Return shapes in the working CRS."""
    if same_crs(source, working.crs):
        return shapes

    def move(places: FloatArray) -> FloatArray:
        return np.column_stack(transform_positions(source, working, places[:, 0], places[:, 1]))

    return [shapely.transform(shape, move) for shape in shapes]


def in_area_of_use(working: WorkingCrs, lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Return which positions lie where the working CRS is meant to be used, with a margin of three degrees."""
    area = working.crs.area_of_use
    if area is None:
        return np.ones(np.shape(lon), dtype=np.bool_)
    inside_lat = (lat >= area.south - AREA_MARGIN_DEG) & (lat <= area.north + AREA_MARGIN_DEG)
    width = (area.east - area.west) % 360.0 or 360.0
    from_west = np.mod(lon - area.west + AREA_MARGIN_DEG, 360.0)
    return np.asarray(inside_lat & (from_west <= width + 2 * AREA_MARGIN_DEG) & (np.abs(lat) <= 90))


def position_reasons(
    source: CRS, working: WorkingCrs, x: FloatArray, y: FloatArray
) -> tuple[FloatArray, FloatArray, dict[int, tuple[str, str]]]:
    """Return eastings, northings, and by the number of a position what gives it away: (kind, words).

    Kinds: `blank` (not finite), `zero` (0/0), `degrees` (degrees where metres are declared), `swapped` (longitude and
    latitude, or easting and northing of a position that would then stand beside the others), `range` (no such latitude
    or longitude), `far` (outside the area of use of the working CRS).
    """
    n = len(x)
    reasons: dict[int, tuple[str, str]] = {}
    finite = np.isfinite(x) & np.isfinite(y)
    zero = finite & (x == 0) & (y == 0)
    geographic = source.is_geographic
    degrees = finite & ~zero & (np.abs(x) <= 180) & (np.abs(y) <= 90) if not geographic else np.zeros(n, dtype=bool)
    good = finite & ~zero & ~degrees
    out = good & ((np.abs(x) > 360) | (np.abs(y) > 90)) if geographic else np.zeros(n, dtype=bool)
    easting, northing = np.full(n, np.nan), np.full(n, np.nan)
    usable = good & ~out
    easting[usable], northing[usable] = transform_positions(source, working, x[usable], y[usable])
    lon, lat = np.full(n, np.nan), np.full(n, np.nan)
    lon[usable], lat[usable] = working.lon_lat(easting[usable], northing[usable])
    lost = usable & ~(np.isfinite(easting) & np.isfinite(northing) & np.isfinite(lon) & np.isfinite(lat))
    strange = out | lost | (usable & ~in_area_of_use(working, np.nan_to_num(lon), np.nan_to_num(lat)))
    swapped = np.zeros(n, dtype=bool)
    at = np.flatnonzero(strange)
    if geographic:
        swapped[at] = (np.abs(x[at]) <= 90) & in_area_of_use(working, y[at], x[at])
    elif len(at) and (known := usable & ~strange).any():
        # metres in either order may lie in the area of use: only beside the others does the other order make sense
        turned = transform_positions(source, working, y[at], x[at])
        away = [part - np.median(good) for part, good in zip(turned, (easting[known], northing[known]), strict=True)]
        swapped[at] = np.hypot(*away) < SWAPPED_WITHIN_M
    pair = "longitude and latitude" if geographic else "easting and northing"
    words = {
        "blank": "no position", "zero": "position 0/0, which stands for unknown",
        "degrees": "degrees where the declared CRS is in metres or feet", "swapped": f"{pair} are swapped",
        "range": "no such longitude and latitude", "far": f"outside the area of use of {working.text}",
    }  # fmt: skip
    for kind, mask in (("far", strange), ("range", out), ("swapped", swapped), ("degrees", degrees), ("zero", zero),
                       ("blank", ~finite)):  # fmt: skip
        reasons |= dict.fromkeys(np.flatnonzero(mask).tolist(), (kind, words[kind]))
    return easting, northing, dict(sorted(reasons.items()))
