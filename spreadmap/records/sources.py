"""How strongly plants and wild stands send, and how strongly plants receive."""

from __future__ import annotations

import numpy as np
import shapely

from spreadmap.records.state import confirmed, weak_remains
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.inventory import Inventory, Receptors, Reservoirs, Screens, ScreenSegments, Sources
from spreadmap.values.settings import Settings, SourceSettings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

SIDES_M = 30.0
"""How far on either side of a screen confirmed plants are looked for, to tell a first invasion from a later one [m]."""
SQUARES_PER_STAND = 400
"""A stand is cut into about this many squares at most; more would not be seen from a plant outside."""


def size_factor(inventory: Inventory, settings: SourceSettings) -> FloatArray:
    """Return the size of every plant in multiples of a medium one, shape (n,) [-]."""
    return np.array([settings.size_factor[size] for size in inventory.size_class.tolist()], dtype=np.float64)


def canopy_radius(inventory: Inventory, settings: SourceSettings) -> FloatArray:
    """Return the canopy radius of every plant, shape (n,) [m]."""
    return np.array([settings.canopy_radius_m[size] for size in inventory.size_class.tolist()], dtype=np.float64)


def chance_infectious(state: PlantState, settings: SourceSettings) -> FloatArray:
    """Return the weight of every plant as a source: confirmed 1, suspects and remains of roots less, shape (n,) [-]."""
    weight = np.zeros(len(state))
    weight[(state.status == Status.SUSPECT.value) & state.is_standing & state.is_host] = settings.suspect_chance
    weight[weak_remains(state)] = settings.partly_removed_strength
    weight[confirmed(state)] = 1.0
    return weight


def plant_sources(inventory: Inventory, state: PlantState, settings: SourceSettings) -> Sources:
    """Return every plant that sends, with strength in multiples of one confirmed medium plant."""
    strength = chance_infectious(state, settings) * size_factor(inventory, settings)
    sends = np.flatnonzero(strength > 0)
    return Sources(
        easting=inventory.easting[sends], northing=inventory.northing[sends], strength=strength[sends], plant=sends
    )


def reservoir_sources(reservoirs: Reservoirs, spacing_m: float) -> Sources:
    """Return wild stands as sources: points as they are, areas cut into squares.

    Strength is plants times chance, each plant counted as a medium one. A square sends from the middle of its part
    of the stand, and as much as that part's share of the stand's area; so narrow strips keep their place and weight.

    Parameters
    ----------
    reservoirs : Reservoirs
    spacing_m : float
        Side of the squares, above zero; larger where a stand would need more than about 400 of them. [m]
    """
    places, strengths = [np.zeros((0, 2))], [np.zeros(0)]
    for geometry, count, chance in zip(
        reservoirs.geometry, reservoirs.plant_count, reservoirs.chance_infected, strict=True
    ):
        if geometry.is_empty or count * chance <= 0:
            continue
        middle, share = _parts(geometry, spacing_m)
        places.append(middle)
        strengths.append(count * chance * share)
    middles, strength = np.vstack(places), np.concatenate(strengths)
    return Sources(easting=middles[:, 0], northing=middles[:, 1], strength=strength, plant=np.full(len(strength), -1))


def _parts(geometry: shapely.Geometry, spacing_m: float) -> tuple[FloatArray, FloatArray]:
    """Return the middles of the parts of a stand, shape (parts, 2) [m], and their shares of it, summing to one."""
    area = shapely.area(geometry)
    if area <= 0:
        points = np.asarray(shapely.get_coordinates(geometry), dtype=np.float64)
        return points, np.full(len(points), 1.0 / len(points))
    west, south, east, north = shapely.bounds(geometry)
    # The box of a slanting strip holds many squares that the strip never meets: it may have ten times as many.
    side = max(
        spacing_m,
        float(np.sqrt(area / SQUARES_PER_STAND)),
        float(np.sqrt((east - west) * (north - south) / (10 * SQUARES_PER_STAND))),
    )
    n_east, n_north = int(np.ceil((east - west) / side)), int(np.ceil((north - south) / side))
    # Squares are centred on the stand, so that mirroring the stand mirrors its parts.
    left = (west + east - n_east * side) / 2 + side * np.arange(n_east)
    low = (south + north - n_north * side) / 2 + side * np.arange(n_north)
    corners = np.stack(np.meshgrid(left, low), axis=-1).reshape(-1, 2)
    squares = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + side, corners[:, 1] + side)
    pieces = shapely.intersection(squares, geometry)
    sizes = shapely.area(pieces)
    pieces, sizes = pieces[sizes > 0], sizes[sizes > 0]
    middle = np.asarray(shapely.get_coordinates(shapely.centroid(pieces)), dtype=np.float64)
    return middle, np.asarray(sizes / sizes.sum(), dtype=np.float64)


def join_sources(first: Sources, second: Sources) -> Sources:
    """Return the sources of both, in this order."""
    return Sources(
        easting=np.concatenate([first.easting, second.easting]),
        northing=np.concatenate([first.northing, second.northing]),
        strength=np.concatenate([first.strength, second.strength]),
        plant=np.concatenate([first.plant, second.plant]),
    )


def receptors_of(inventory: Inventory, keep: BoolArray, settings: SourceSettings) -> Receptors:
    """Return the kept plants as receptors with their canopy discs."""
    index = np.flatnonzero(keep)
    return Receptors(
        easting=inventory.easting[index],
        northing=inventory.northing[index],
        radius_m=canopy_radius(inventory, settings)[index],
        plant=index,
    )


def receiving_weight(inventory: Inventory, state: PlantState, settings: SourceSettings) -> FloatArray:
    """Return how much an arrival on each plant counts as onward infection, shape (n,) [-].

    Susceptibility times size for standing hosts that are healthy as far as is known; suspects by the share that turns
    out healthy; confirmed, removed and plants of other kinds count nothing.
    """
    healthy = np.where(state.status == Status.SUSPECT.value, 1.0 - settings.suspect_chance, 1.0)
    counts = state.is_standing & state.is_host & ~confirmed(state)
    return np.where(counts, healthy * inventory.susceptibility * size_factor(inventory, settings), 0.0)


def screen_segments(
    screens: Screens, inventory: Inventory, state: PlantState, settings: Settings, as_of: np.datetime64
) -> tuple[ScreenSegments, tuple[str, ...]]:
    """Return the pieces of the screens that hold arrivals back on a date, and sentences about those that do not.

    A screen counts when it is tall enough, was planted by then (or nobody wrote down when), and confirmed plants do
    not stand on both sides within 30 m.

    References
    ----------
    Windham et al. 2016, ASHS abstract Paper23024: fewer than half the cases behind a grass screen of 1.8 to 2.1 m;
    a screen did not slow the disease once it was inside. The 30 m are our choice.
    """
    sick = confirmed(state)
    places = np.c_[inventory.easting[sick], inventory.northing[sick]]
    pieces, factors, remarks = [np.zeros((0, 4))], [np.zeros(0)], []
    least = settings.sources.screen_least_height_m
    for key, geometry, height, planted, factor in zip(
        screens.screen_id, screens.geometry, screens.height_m, screens.planted_on, screens.factor, strict=True
    ):
        ends = _straight_pieces(geometry)
        if not height >= least:
            remarks.append(f"Screen {key} does not count: its height is not {least:g} m or more.")
        elif planted > as_of:
            remarks.append(f"Screen {key} does not count: it was not planted yet.")
        elif _both_sides(ends, places):
            remarks.append(
                f"Screen {key} does not count: confirmed plants stand on both sides of it, within {SIDES_M:g} m."
            )
        else:
            pieces.append(ends)
            factors.append(np.full(len(ends), factor))
    return ScreenSegments(ends=np.vstack(pieces), factor=np.concatenate(factors)), tuple(remarks)


def _straight_pieces(geometry: shapely.Geometry) -> FloatArray:
    """Return the straight pieces of a line or of several, shape (pieces, 4): easting, northing of both ends [m]."""
    pieces = [np.zeros((0, 4))]
    for part in shapely.get_parts(geometry):
        coords = np.asarray(shapely.get_coordinates(part), dtype=np.float64)
        ends = np.hstack([coords[:-1], coords[1:]])
        pieces.append(ends[np.any(ends[:, :2] != ends[:, 2:], axis=1)])
    return np.vstack(pieces)


def _both_sides(ends: FloatArray, places: FloatArray) -> bool:
    """Return whether places within 30 m lie on both sides of a line, each judged by its nearest straight piece."""
    nearest = np.full(len(places), np.inf)
    side = np.zeros(len(places))
    for piece in ends:
        start, along = piece[:2], piece[2:] - piece[:2]
        toward = places - start
        part = np.clip(toward @ along / (along @ along), 0.0, 1.0)
        gap = np.hypot(*(toward - part[:, None] * along).T)
        closer = gap < nearest
        nearest[closer] = gap[closer]
        side[closer] = np.sign(along[0] * toward[closer, 1] - along[1] * toward[closer, 0])
    near = nearest <= SIDES_M
    return bool(np.any(side[near] > 0) and np.any(side[near] < 0))
