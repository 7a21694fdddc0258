"""Rings round every focus, and the lines of the rules of thumb. Recommended zones; only the authority demarcates."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from spreadmap.decisions.focus_field import FOR_AREAS, LevelSet, level_sets
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import canopy_radius, receiving_weight, receptors_of
from spreadmap.records.state import confirmed, due_for_removal
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory, Reservoirs, Sites, Sources
from spreadmap.values.plan import Line, Ring, Zones
from spreadmap.values.settings import Settings, ZoneSettings, list_settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import RING_NAMES

Drawn = tuple[list[BaseGeometry], list[list[float]]]
"""The three areas of a focus, and for each its sizes over the scale run [m^2]."""


def foci(easting: FloatArray, northing: FloatArray, chain_m: float) -> IntArray:
    """Return the focus of every place: places within `chain_m` belong together, shape (n,), numbered from 0.

    Foci are numbered by size, the largest first; equal ones by their first place.
    """
    n = len(easting)
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    pairs = cKDTree(np.c_[easting, northing]).query_pairs(chain_m, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(links, directed=False)
    _, firsts, sizes = np.unique(label, return_index=True, return_counts=True)
    number = np.empty(len(sizes), dtype=np.int64)
    number[np.lexsort((firsts, -sizes))] = np.arange(len(sizes))
    return np.asarray(number[label], dtype=np.int64)


def rings(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    settings: Settings,
    engine: Engine,
) -> tuple[Ring, ...]:
    """Return core, inner and outer ring of every focus of confirmed plants.

    Each ring is the smallest area that holds its share of the focus's arrivals (see `level_sets`), united with the
    canopies of its confirmed plants and with the rings inside it. Screens are not reckoned.

    Parameters
    ----------
    inventory, sites, state : what stands where, and what is known of it
    sources : Sources
        Plants that send; only confirmed ones and regrowth make foci.
    spread, settings, engine

    Returns
    -------
    tuple of Ring
        Focus by focus, largest first; core within inner within outer; every confirmed plant lies in its core.
        `host_share` is zero where no healthy host receives anything.

    References
    ----------
    None: our choice.
    """
    strength = np.zeros(len(inventory))
    own = sources.plant >= 0
    strength[sources.plant[own]] = sources.strength[own]
    sick = np.flatnonzero(due_for_removal(state))
    label = foci(inventory.easting[sick], inventory.northing[sick], settings.zones.focus_chain_m)
    laws = (spread, *(spread.scaled(factor) for factor in settings.kernel.scale_run))
    known: dict[bytes, Drawn] = {}
    found: list[Ring] = []
    for focus in range(int(label.max()) + 1 if len(label) else 0):
        plants = sick[label == focus]
        senders = Sources(
            easting=inventory.easting[plants],
            northing=inventory.northing[plants],
            strength=strength[plants],
            plant=plants,
        )
        areas, runs = _areas(senders, laws, inventory, settings, engine, known)
        found += _rings_of(focus + 1, senders, areas, runs, inventory, sites, state, spread, settings, engine)
    return tuple(found)


def _rings_of(
    focus: int,
    sources: Sources,
    areas: list[BaseGeometry],
    runs: list[list[float]],
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    spread: Spread,
    settings: Settings,
    engine: Engine,
) -> list[Ring]:
    """Return the three rings of one focus."""
    zones, look = settings.zones, settings.inspection
    shares = (zones.core_share, zones.inner_share, zones.outer_share)
    every = (look.interval_near_days, look.interval_middle_days, look.interval_far_days)
    weight = receiving_weight(inventory, state, settings.sources)
    landing = np.zeros(len(inventory))
    receptors = receptors_of(inventory, weight > 0, settings.sources)
    landing[weight > 0] = pressure_at_points(receptors, sources, spread, engine).density * weight[weight > 0]
    on_hosts = float(landing.sum())
    mass = sources.strength if sources.strength.sum() > 0 else np.ones(len(sources))
    centre = shapely.Point(np.average(sources.easting, weights=mass), np.average(sources.northing, weights=mass))
    result = []
    for name, share, days, area, run in zip(RING_NAMES, shares, every, areas, runs, strict=True):
        shapely.prepare(area)
        inside = shapely.intersects_xy(area, inventory.easting, inventory.northing)
        hull = shapely.convex_hull(area)
        crossed = _sites_in(area, sites)
        plants = inside & state.is_standing & state.is_host
        result.append(
            Ring(
                focus=focus,
                name=name,
                share=share,
                polygon=area,
                area_m2=float(area.area),
                area_low_m2=min([float(area.area), *run]),
                area_high_m2=max([float(area.area), *run]),
                reach_far_m=float(shapely.hausdorff_distance(centre, hull)),
                reach_near_m=float(shapely.distance(centre, shapely.boundary(hull))),
                plants_inside=int(plants.sum()),
                confirmed_in_focus=len(sources),
                host_share=float(landing[inside].sum()) / on_hosts if on_hosts > 0 else 0.0,
                inspect_every_days=days,
                sites_inside=_site_names(sites, crossed),
                owners_inside=_owners(sites, crossed, inventory, plants),
            )
        )
    return result


def _areas(
    sources: Sources,
    laws: tuple[Spread, ...],
    inventory: Inventory,
    settings: Settings,
    engine: Engine,
    known: dict[bytes, Drawn],
) -> Drawn:
    """Return the area of every share, each within the next, and its size over the scale run [m^2].

    Drawn about the first source and then moved, so that a focus of the same form and wind is drawn once only; most
    foci are one plant.
    """
    first = np.array([sources.easting[0], sources.northing[0]])
    radius = canopy_radius(inventory, settings.sources)[sources.plant]
    offsets = np.round(np.stack([sources.easting, sources.northing], axis=1) - first, 6)
    most = max(float(sources.strength.max()), np.finfo(np.float64).tiny)
    wind = laws[0].coefficients_at(sources.easting, sources.northing)
    form = b"".join(part.tobytes() for part in (offsets, sources.strength / most, radius, wind))
    if form not in known:
        areas, runs = _draw(sources, laws, radius, settings, engine)
        known[form] = [shapely.transform(area, lambda places: places - first) for area in areas], runs
    areas, runs = known[form]
    return [shapely.transform(area, lambda places: places + first) for area in areas], runs


def _draw(sources: Sources, laws: tuple[Spread, ...], radius: FloatArray, settings: Settings, engine: Engine) -> Drawn:
    """Return the area of every share of one focus, and its size over the scale run [m^2]."""
    shares = (settings.zones.core_share, settings.zones.inner_share, settings.zones.outer_share)
    senders = sources.only(sources.strength > 0)
    levels: tuple[LevelSet | None, ...] = (None,) * len(shares)
    runs: list[list[float]] = [[] for _ in shares]
    if len(senders):
        # Whoever sets the shares may give them in any order; areas are found from the largest down.
        ascending = tuple(sorted(shares))
        places = [ascending.index(share) for share in shares]
        sets = level_sets(senders, laws[0], ascending, engine)
        levels = tuple(sets[place] for place in places)
        for law in laws[1:]:
            run = level_sets(senders, law, ascending, engine, FOR_AREAS)
            for sizes, place in zip(runs, places, strict=True):
                sizes.append(run[place].area_m2)
    area: BaseGeometry = shapely.Polygon()
    areas = []
    for level in levels:
        disc = radius + (level.grid.cell_m / 2 if level else 0.0)
        pieces = [area, *shapely.buffer(shapely.points(sources.easting, sources.northing), disc, quad_segs=8)]
        if level:
            pieces.append(_without_holes_at(level.polygon(), sources))
        area = shapely.union_all(pieces)
        areas.append(area)
    return areas, runs


def _without_holes_at(area: BaseGeometry, sources: Sources) -> BaseGeometry:
    """Return an area without the holes in which a source stands: some kernels let nothing fall close to a plant."""
    filled = []
    for part in shapely.get_parts(area):
        holes = [
            hole
            for hole in part.interiors
            if not shapely.contains_xy(shapely.Polygon(hole), sources.easting, sources.northing).any()
        ]
        filled.append(shapely.Polygon(part.exterior, holes))
    return shapely.union_all(filled)


def _sites_in(area: BaseGeometry, sites: Sites) -> BoolArray:
    """Return which sites share ground with an area, shape (sites,)."""
    if len(sites) == 0:
        return np.zeros(0, dtype=np.bool_)
    return np.asarray(shapely.intersects(area, np.array(sites.geometry, dtype=object)), dtype=np.bool_)


def _site_names(sites: Sites, crossed: BoolArray) -> tuple[str, ...]:
    """Return the names of sites, their keys where they have none, sorted."""
    return tuple(sorted({str(sites.name[i] or sites.site_id[i]) for i in np.flatnonzero(crossed)} - {""}))


def _owners(sites: Sites, crossed: BoolArray, inventory: Inventory, plants: BoolArray) -> tuple[str, ...]:
    """Return the owners of sites and of plants, sorted."""
    return tuple(sorted({str(owner) for owner in (*sites.owner[crossed], *inventory.owner[plants])} - {""}))


def lines(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    reservoirs: Reservoirs,
    settings: ZoneSettings,
    notes: dict[str, str],
) -> tuple[Line, ...]:
    """Return the wild-host clearing line round standing hosts and the outer line round confirmed plants.

    `notes` maps a setting's name to its source, to be printed beside each line. A line round no plant is left out.
    """
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
    stands = np.array(reservoirs.geometry, dtype=object)
    found = []
    for name, distance, around, advice, source in plans:
        if not around.any():
            continue
        # Discs first, then their union: buffering all points at once needs memory that grows with the square.
        places = shapely.points(inventory.easting[around], inventory.northing[around])
        area = shapely.union_all(shapely.buffer(places, distance, quad_segs=16))
        shapely.prepare(area)
        inside = np.asarray(shapely.intersects(area, stands), dtype=np.bool_) if len(stands) else np.zeros(0, np.bool_)
        crossed = _sites_in(area, sites)
        plants = shapely.intersects_xy(area, inventory.easting, inventory.northing) & state.is_standing & state.is_host
        found.append(
            Line(
                name=name,
                distance_m=distance,
                polygon=area,
                advice=advice,
                source=source,
                reservoirs_inside=tuple(str(key) for key in reservoirs.reservoir_id[inside]),
                plants_inside=int(plants.sum()),
                sites_inside=_site_names(sites, crossed),
                owners_inside=_owners(sites, crossed, inventory, plants),
            )
        )
    return tuple(found)


def draw_zones(
    inventory: Inventory,
    sites: Sites,
    reservoirs: Reservoirs,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    settings: Settings,
    engine: Engine,
) -> Zones:
    """Return all rings of all foci and the two lines of the rules of thumb."""
    notes = {note.name: note.source for note in list_settings(settings)}
    return Zones(
        rings=rings(inventory, sites, state, sources, spread, settings, engine),
        lines=lines(inventory, sites, state, reservoirs, settings.zones, notes),
    )
