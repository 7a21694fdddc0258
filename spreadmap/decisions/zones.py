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

MANY_FORMS = 8
"""From so many foci of different forms on, they are drawn side by side [-]."""
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
    members = [sick[label == focus] for focus in range(int(label.max()) + 1 if len(label) else 0)]
    senders = [
        Sources(
            easting=inventory.easting[plants],
            northing=inventory.northing[plants],
            strength=strength[plants],
            plant=plants,
        )
        for plants in members
    ]
    drawn = _drawn(senders, laws, canopy_radius(inventory, settings.sources), settings, engine)
    weight = receiving_weight(inventory, state, settings.sources)
    receptors = receptors_of(inventory, weight > 0, settings.sources)
    found: list[Ring] = []
    for number, (sources_of_focus, (areas, runs)) in enumerate(zip(senders, drawn, strict=True), start=1):
        landing = np.zeros(len(inventory))
        sums = pressure_at_points(receptors, sources_of_focus, spread, engine, settings=settings.pressure)
        landing[weight > 0] = sums.density * weight[weight > 0]
        found += _rings_of(number, sources_of_focus, areas, runs, landing, inventory, sites, state, settings)
    return tuple(found)


def _rings_of(
    focus: int,
    sources: Sources,
    areas: list[BaseGeometry],
    runs: list[list[float]],
    landing: FloatArray,
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    settings: Settings,
) -> list[Ring]:
    """Return the three rings of one focus, whose arrivals on every plant are `landing`."""
    zones, look = settings.zones, settings.inspection
    shares = (zones.core_share, zones.inner_share, zones.outer_share)
    every = (look.interval_near_days, look.interval_middle_days, look.interval_far_days)
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


def _drawn(
    foci_senders: list[Sources], laws: tuple[Spread, ...], radius: FloatArray, settings: Settings, engine: Engine
) -> list[Drawn]:
    """Return for every focus the area of every share, each within the next, and its size over the scale run [m^2].

    Drawn about the first source and then moved, so that foci of the same form and wind are drawn once only; most foci
    are one plant. Many forms are drawn side by side, few one after the other with all workers on each.
    """
    forms = [_form_of(sources, laws[0], radius[sources.plant]) for sources in foci_senders]
    firsts = {form: number for number, form in reversed(list(enumerate(forms)))}
    todo = sorted(firsts.values())
    alone = Engine(workers=1) if len(todo) >= MANY_FORMS else engine

    def draw(number: int) -> Drawn:
        sources = foci_senders[number]
        areas, runs = _draw(sources, laws, radius[sources.plant], settings, alone)
        return _moved(areas, -_first_place(sources)), runs

    work = engine if len(todo) >= MANY_FORMS else Engine(workers=1)
    known = {forms[number]: drawn for number, drawn in zip(todo, work.map(draw, todo), strict=True)}
    return [
        (_moved(known[form][0], _first_place(sources)), known[form][1])
        for form, sources in zip(forms, foci_senders, strict=True)
    ]


def _first_place(sources: Sources) -> FloatArray:
    """Return easting and northing of the first source, (2,) [m]."""
    return np.array([sources.easting[0], sources.northing[0]])


def _moved(areas: list[BaseGeometry], by: FloatArray) -> list[BaseGeometry]:
    """Return areas moved by metres east and north."""
    return [shapely.transform(area, lambda places: places + by) for area in areas]


def _form_of(sources: Sources, law: Spread, radius: FloatArray) -> bytes:
    """Return what tells one form of a focus from another: places, strengths, canopies and wind."""
    offsets = np.round(np.stack([sources.easting, sources.northing], axis=1) - _first_place(sources), 6)
    most = max(float(sources.strength.max()), np.finfo(np.float64).tiny)
    wind = law.coefficients_at(sources.easting, sources.northing)
    return b"".join(part.tobytes() for part in (offsets, sources.strength / most, radius, wind))


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
        sets = level_sets(senders, laws[0], ascending, engine, pressure=settings.pressure)
        levels = tuple(sets[place] for place in places)
        for law in laws[1:]:
            run = level_sets(senders, law, ascending, engine, FOR_AREAS, settings.pressure)
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
