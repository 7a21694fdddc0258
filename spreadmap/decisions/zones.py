"""Rings round every focus, and the lines of the rules of thumb. Recommended zones; only the authority demarcates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from spreadmap.decisions.focus_field import FOR_AREAS, FOR_POLYGONS, LevelSet, level_sets
from spreadmap.decisions.ground import Ground, ground_of
from spreadmap.decisions.lines import lines
from spreadmap.decisions.removal_words import evenly_spaced
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import canopy_radius, receiving_weight, size_factor
from spreadmap.records.state import due_for_removal
from spreadmap.values.arrays import FloatArray, IntArray, to_date
from spreadmap.values.inventory import Inventory, Receptors, Reservoirs, Sites, Sources
from spreadmap.values.plan import BEARINGS, Ring, Zones
from spreadmap.values.settings import Settings, ZoneSettings, list_settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import RING_NAMES

RANGE_DRAWS = 6
"""Draws of the fit over which areas are told, evenly spaced among all [-]; our choice: each is drawn anew."""
MANY_FORMS = 8
"""From so many foci of different forms on, they are drawn side by side [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """One ring as drawn: its area, the smallest and the largest area over all laws, and how far it reaches [m].

    `far_m` and `near_m` are the farthest and the nearest distance of the line of its hull from the centre of strength,
    `by_bearing_m` the farthest one of the area in each of `BEARINGS`.
    """

    area: BaseGeometry
    low: BaseGeometry
    high: BaseGeometry
    far_m: float
    near_m: float
    by_bearing_m: tuple[float, ...]

    def moved(self, by: FloatArray) -> Drawn:
        """Return the same, moved by metres east and north."""
        area, low, high = (
            shapely.transform(each, lambda places: places + by) for each in (self.area, self.low, self.high)
        )
        return replace(self, area=area, low=low, high=high)


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
    ground: Ground,
    sources: Sources,
    spread: Spread,
    settings: Settings,
    engine: Engine,
    healthy: FloatArray | None = None,
    laws: Sequence[Spread] = (),
) -> tuple[Ring, ...]:
    """Return core, inner and outer ring of every focus of confirmed plants.

    Each ring is the smallest area that holds its share of the focus's arrivals (see `level_sets`), united with the
    canopies of its confirmed plants and with the rings inside it. Screens are not reckoned.

    Parameters
    ----------
    ground : Ground
        What stands where, and what is known of it.
    sources : Sources
        Plants that send; only confirmed ones and regrowth make foci.
    spread, settings, engine
    healthy : array, shape (n,), optional
        How surely each plant is still healthy, for the share of expected new infections; without it suspects alone count
        in part. [-]
    laws : sequence of Spread
        Draws of the fit, over which areas are told; without any, the scale run.

    Returns
    -------
    tuple of Ring
        Focus by focus, largest first; core within inner within outer; every confirmed plant lies in its core.
        `host_share` and `infection_share` are zero where no healthy host receives anything. New infections are
        reckoned to first order: arrivals times what the receiver counts.

    References
    ----------
    None: our choice.
    """
    inventory, state = ground.inventory, ground.state
    strength = np.zeros(len(inventory))
    own = sources.plant >= 0
    strength[sources.plant[own]] = sources.strength[own]
    sick = np.flatnonzero(due_for_removal(state))
    label = foci(inventory.easting[sick], inventory.northing[sick], settings.zones.focus_chain_m)
    others = [spread.scaled(factor) for factor in settings.kernel.scale_run]
    every_law = (spread, *(evenly_spaced(laws, RANGE_DRAWS) if laws else others))
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
    radius = canopy_radius(inventory, settings.sources)
    drawn = _drawn(senders, every_law, radius, settings, engine)
    known = receiving_weight(inventory, state, settings.sources)
    size = size_factor(inventory, settings.sources)
    sure = (
        known if healthy is None else np.where(known > 0, inventory.susceptibility * size * np.nan_to_num(healthy), 0)
    )
    totals = [_sent(inventory, senders, weight, radius, spread, settings, engine) for weight in (known, sure)]
    found: list[Ring] = []
    for number, (focus, areas) in enumerate(zip(senders, drawn, strict=True), start=1):
        there = ground.plants_in_box(areas[-1].area)
        near = there[known[there] > 0]
        density = pressure_at_points(
            _receptors(inventory, near, radius), focus, spread, engine, settings=settings.pressure
        ).density
        landing = [
            (near, density * weight[near], total[number - 1])
            for weight, total in zip((known, sure), totals, strict=True)
        ]
        found += _rings_of(number, focus, areas, landing, there, ground, settings)
    return tuple(found)


def _receptors(inventory: Inventory, plants: IntArray, radius: FloatArray) -> Receptors:
    """Return some plants as receptors with their canopy discs."""
    return Receptors(
        easting=inventory.easting[plants],
        northing=inventory.northing[plants],
        radius_m=radius[plants],
        plant=plants,
    )


def _sent(
    inventory: Inventory,
    senders: list[Sources],
    weight: FloatArray,
    radius: FloatArray,
    spread: Spread,
    settings: Settings,
    engine: Engine,
) -> FloatArray:
    """Return what every focus sends to all weighted plants, shape (foci,): one sum for all foci together."""
    plants = np.concatenate([sources.plant for sources in senders]) if senders else np.zeros(0, dtype=np.int64)
    every = Sources(
        easting=inventory.easting[plants],
        northing=inventory.northing[plants],
        strength=np.concatenate([sources.strength for sources in senders]) if senders else np.zeros(0),
        plant=plants,
    )
    keep = np.flatnonzero(weight > 0)
    sums = pressure_at_points(
        _receptors(inventory, keep, radius),
        every,
        spread,
        engine,
        receptor_weight=weight[keep],
        settings=settings.pressure,
    )
    sent = np.zeros(len(plants)) if sums.sent is None else sums.sent
    focus = np.repeat(np.arange(len(senders)), [len(sources) for sources in senders])
    return np.bincount(focus, weights=sent, minlength=len(senders)).astype(np.float64)


def _rings_of(
    focus: int,
    sources: Sources,
    areas: list[Drawn],
    landing: list[tuple[IntArray, FloatArray, float]],
    there: IntArray,
    ground: Ground,
    settings: Settings,
) -> list[Ring]:
    """Return the three rings of one focus.

    `landing` are plants, arrivals on each and on all, of known and of sure hosts; `there` all plants in the widest's box.
    """
    zones, look = settings.zones, settings.inspection
    shares = (zones.core_share, zones.inner_share, zones.outer_share)
    every = (look.interval_near_days, look.interval_middle_days, look.interval_far_days)
    result = []
    for name, share, days, drawn in zip(RING_NAMES, shares, every, areas, strict=True):
        inside = ground.plants_in(drawn.area, there)
        plants, crossed = ground.hosts_of(inside), ground.sites_in(drawn.area)
        # Totals and parts may be fast sums, each within its error: together they might pass one.
        parts = [
            min(1.0, float(arrivals[np.isin(near, inside, assume_unique=True)].sum()) / total) if total > 0 else 0.0
            for near, arrivals, total in landing
        ]
        result.append(
            Ring(
                focus=focus,
                name=name,
                share=share,
                polygon=drawn.area,
                area_m2=float(drawn.area.area),
                area_low_m2=float(drawn.low.area),
                area_high_m2=float(drawn.high.area),
                reach_far_m=drawn.far_m,
                reach_near_m=drawn.near_m,
                plants_inside=len(plants),
                confirmed_in_focus=len(sources),
                host_share=parts[0],
                infection_share=parts[1],
                inspect_every_days=days,
                sites_inside=ground.site_names(crossed),
                owners_inside=ground.owners(crossed, plants),
                parcels_inside=ground.parcels(crossed),
                low=drawn.low,
                high=drawn.high,
                reach_by_bearing_m=drawn.by_bearing_m,
            )
        )
    return result


def _drawn(
    foci_senders: list[Sources], laws: tuple[Spread, ...], radius: FloatArray, settings: Settings, engine: Engine
) -> list[list[Drawn]]:
    """Return for every focus the rings of every share, each within the next.

    Drawn about the first source and then moved, so that foci of the same form and wind are drawn once only; most foci
    are one plant. Many forms are drawn side by side, few one after the other with all workers on each.
    """
    forms = [_form_of(sources, laws, radius[sources.plant]) for sources in foci_senders]
    firsts = {form: number for number, form in reversed(list(enumerate(forms)))}
    todo = sorted(firsts.values())
    alone = Engine(workers=1) if len(todo) >= MANY_FORMS else engine

    def draw(number: int) -> list[Drawn]:
        sources = foci_senders[number]
        drawn = _draw(sources, laws, radius[sources.plant], settings, alone)
        return [ring.moved(-_first_place(sources)) for ring in drawn]

    work = engine if len(todo) >= MANY_FORMS else Engine(workers=1)
    known = {forms[number]: drawn for number, drawn in zip(todo, work.map(draw, todo), strict=True)}
    return [
        [ring.moved(_first_place(sources)) for ring in known[form]]
        for form, sources in zip(forms, foci_senders, strict=True)
    ]


def _first_place(sources: Sources) -> FloatArray:
    """Return easting and northing of the first source, (2,) [m]."""
    return np.array([sources.easting[0], sources.northing[0]])


def _form_of(sources: Sources, laws: tuple[Spread, ...], radius: FloatArray) -> bytes:
    """Return what tells one form of a focus from another: places, strengths, canopies and wind."""
    offsets = np.round(np.stack([sources.easting, sources.northing], axis=1) - _first_place(sources), 6)
    most = max(float(sources.strength.max()), np.finfo(np.float64).tiny)
    winds = [law.coefficients_at(sources.easting, sources.northing) for law in laws]
    return b"".join(part.tobytes() for part in (offsets, sources.strength / most, radius, *winds))


def _draw(
    sources: Sources, laws: tuple[Spread, ...], radius: FloatArray, settings: Settings, engine: Engine
) -> list[Drawn]:
    """Return the rings of one focus; `laws` are the law of arrivals and, after it, those over which areas are told."""
    shares = (settings.zones.core_share, settings.zones.inner_share, settings.zones.outer_share)
    senders = sources.only(sources.strength > 0)
    # Whoever sets the shares may give them in any order; areas are found from the largest down.
    ascending = tuple(sorted(shares))
    places = [ascending.index(share) for share in shares]
    runs: list[list[BaseGeometry]] = []
    for law, budget in zip(laws, (FOR_POLYGONS, *[FOR_AREAS] * (len(laws) - 1)), strict=True):
        levels: list[LevelSet | None] = [None] * len(shares)
        if len(senders):
            sets = level_sets(senders, law, ascending, engine, budget, settings.pressure)
            levels = [sets[place] for place in places]
        runs.append(_areas(levels, sources, radius))
        if not len(senders):
            break
    mass = sources.strength if sources.strength.sum() > 0 else np.ones(len(sources))
    centre = np.array([np.average(sources.easting, weights=mass), np.average(sources.northing, weights=mass)])
    drawn = []
    for area, *others in zip(*runs, strict=True):
        by_size = sorted([area, *others], key=lambda each: float(each.area))
        hull, middle = shapely.convex_hull(area), shapely.Point(centre)
        drawn.append(
            Drawn(
                area=area,
                low=by_size[0],
                high=by_size[-1],
                far_m=float(shapely.hausdorff_distance(middle, hull)),
                near_m=float(shapely.distance(middle, shapely.boundary(hull))),
                by_bearing_m=reach_by_bearing(area, centre),
            )
        )
    return drawn


def _areas(levels: list[LevelSet | None], sources: Sources, radius: FloatArray) -> list[BaseGeometry]:
    """Return the areas of ascending shares, each with the canopies of the sources and the area before it."""
    area: BaseGeometry = shapely.Polygon()
    areas = []
    for level in levels:
        disc = radius + (level.grid.cell_m / 2 if level else 0.0)
        pieces = [area, *shapely.buffer(shapely.points(sources.easting, sources.northing), disc, quad_segs=8)]
        if level:
            pieces.append(_without_holes_at(level.polygon(), sources))
        area = shapely.union_all(pieces)
        areas.append(area)
    return areas


def reach_by_bearing(area: BaseGeometry, centre: FloatArray) -> tuple[float, ...]:
    """Return the farthest distance of an area from a centre in each of sixteen bearings; 0 where it lies not that way.

    Parameters
    ----------
    area : polygon or polygons
    centre : array, shape (2,)
        Easting and northing. [m]

    Returns
    -------
    tuple of 16 floats
        Along the ray from the centre toward grid north, 22.5 degrees and so on, clockwise. [m]
    """
    toward = np.deg2rad(360.0 / len(BEARINGS)) * np.arange(len(BEARINGS))
    east, north = np.sin(toward), np.cos(toward)
    rims = shapely.get_parts(shapely.boundary(area))
    starts, ends = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for rim in rims:
        corners = shapely.get_coordinates(rim) - centre
        starts.append(corners[:-1])
        ends.append(corners[1:])
    first, last = np.vstack(starts)[:, :, None], np.vstack(ends)[:, :, None]
    # Across and along each ray: a side of the rim meets the line of the ray where its ends lie across on both sides.
    across, across_end = (at[:, 0] * north - at[:, 1] * east for at in (first, last))
    along, along_end = (at[:, 0] * east + at[:, 1] * north for at in (first, last))
    part = np.divide(across, across - across_end, out=np.zeros_like(across), where=across != across_end)
    meets = (across * across_end <= 0) & ((across != across_end) | (across == 0))
    distance = np.where(meets, along + part * (along_end - along), 0.0)
    flat = meets & (across == 0) & (across_end == 0)
    distance = np.where(flat, np.maximum(along, along_end), distance)
    return tuple(float(value) for value in np.maximum(distance.max(axis=0, initial=0.0), 0.0))


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


def release_words(settings: ZoneSettings, inspect_every_days: int) -> str:
    """Return what must be seen for how long before a ring may be lifted."""
    return (
        f"A ring may be lifted after {settings.release_clean_months} months without a confirmed plant or a sprout in it, "
        f"counted from the last removal, one full season of flight among them, with every host inside looked at every "
        f"{inspect_every_days} days or more often while it grows. A find or a sprout starts the time anew. The months are "
        "an assumption; only the plant-health authority lifts what it demarcated."
    )


def draw_zones(
    inventory: Inventory,
    sites: Sites,
    reservoirs: Reservoirs,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    settings: Settings,
    engine: Engine,
    *,
    healthy: FloatArray | None = None,
    laws: Sequence[Spread] = (),
) -> Zones:
    """Return all rings of all foci and the two lines of the rules of thumb, with what lifts a ring.

    `healthy` and `laws` are as for `rings`.
    """
    notes = {note.name: note.source for note in list_settings(settings)}
    ground = ground_of(inventory, sites, state)
    found = rings(ground, sources, spread, settings, engine, healthy, laws)
    day = state.as_of.astype("datetime64[D]")
    months = settings.zones.release_clean_months
    # the same day of a later month, or its last day where that month is shorter
    month = day.astype("datetime64[M]") + months
    lift = min(month + (day - day.astype("datetime64[M]")), (month + 1).astype("datetime64[D]") - 1)
    return Zones(
        rings=found,
        lines=lines(ground, reservoirs, settings.zones, notes),
        release=release_words(settings.zones, settings.inspection.interval_far_days) if found else "",
        lift_from=to_date(np.datetime64(lift, "D")) if found else None,
    )
