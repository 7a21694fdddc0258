"""The lines of the rules of thumb: wild hosts are cleared to here, hosts are watched to there."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.decisions.ground import Ground
from spreadmap.records.state import confirmed
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Reservoirs
from spreadmap.values.plan import Line
from spreadmap.values.settings import ZoneSettings

CELL_SHARE = 0.1
"""Places in one square of this share of the distance count as the hull round them: the line then runs outside the exact
one by 1 - sqrt(1 - CELL_SHARE^2 / 2) = 0.25 % of the distance at most, which is less than its arcs are cut short."""
BLOCK_SHARE = 0.3
"""Hulls in one block of this share of the distance are widened together; larger blocks cost more, smaller ones add up."""


def area_within(easting: FloatArray, northing: FloatArray, distance_m: float) -> BaseGeometry:
    """Return all ground within a distance of some places, as valid polygons.

    Circles are drawn as 64 corners, 0.12 % of the distance too near at most; see `CELL_SHARE` for the other side.

    Parameters
    ----------
    easting, northing : arrays, shape (n,) [m]
    distance_m : float
        Zero or more. [m]
    """
    places = np.c_[easting, northing]
    if len(places) == 0 or distance_m <= 0:
        return shapely.MultiPolygon()
    cell = _numbered(places, CELL_SHARE * distance_m)
    order = np.argsort(cell, kind="stable")
    hulls = shapely.convex_hull(shapely.multipoints(shapely.points(places[order]), indices=cell[order]))
    block = _numbered(np.asarray(shapely.get_coordinates(shapely.centroid(hulls))), BLOCK_SHARE * distance_m)
    order = np.argsort(block, kind="stable")
    together = shapely.geometrycollections(hulls[order], indices=block[order])
    return shapely.union_all(shapely.buffer(together, distance_m, quad_segs=16))


def _numbered(places: FloatArray, side_m: float) -> IntArray:
    """Return the number of the square that each place lies in, 0 upward without gaps, shape (n,)."""
    squares = np.floor((places - places.min(axis=0)) / side_m).astype(np.int64)
    _, number = np.unique(squares[:, 0] * (squares[:, 1].max() + 1) + squares[:, 1], return_inverse=True)
    return np.asarray(number, dtype=np.int64)


def lines(ground: Ground, reservoirs: Reservoirs, settings: ZoneSettings, notes: dict[str, str]) -> tuple[Line, ...]:
    """Return the wild-host clearing line round standing hosts and the outer line round confirmed plants.

    `notes` maps a setting's name to its source, to be printed beside each line. A line round no plant is left out.
    """
    state = ground.state
    plans = (
        (
            "wild-host line",
            settings.wild_host_line_m,
            state.is_host & state.is_standing,
            "Clear wild hosts inside, with their roots, where the land allows it.",
            notes["zones.wild_host_line_m"],
        ),
        (
            "outer line",
            settings.outer_line_m,
            confirmed(state),
            "Watch hosts out to here; a rule of thumb, not a limit of spread.",
            notes["zones.outer_line_m"],
        ),
    )
    return tuple(
        _line(name, distance, around, advice, source, ground, reservoirs)
        for name, distance, around, advice, source in plans
        if around.any()
    )


def _line(
    name: str,
    distance_m: float,
    around: BoolArray,
    advice: str,
    source: str,
    ground: Ground,
    reservoirs: Reservoirs,
) -> Line:
    """Return one line with what lies inside."""
    area = area_within(ground.inventory.easting[around], ground.inventory.northing[around], distance_m)
    shapely.prepare(area)
    stands = np.array(reservoirs.geometry, dtype=object)
    inside = np.asarray(shapely.intersects(area, stands), dtype=np.bool_) if len(stands) else np.zeros(0, np.bool_)
    crossed = ground.sites_in(area)
    plants = ground.hosts_of(ground.plants_in(area))
    return Line(
        name=name,
        distance_m=distance_m,
        polygon=area,
        advice=advice,
        source=source,
        reservoirs_inside=tuple(str(key) for key in reservoirs.reservoir_id[inside]),
        plants_inside=len(plants),
        sites_inside=ground.site_names(crossed),
        owners_inside=ground.owners(crossed, plants),
    )
