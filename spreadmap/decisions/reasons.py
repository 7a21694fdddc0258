"""Why a plant stands on the removal list, in plain words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.decisions.onward import Onward, near_reach
from spreadmap.decisions.places import work_places
from spreadmap.dispersal.spread import Spread
from spreadmap.records.state import reopened
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, TextArray
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Inventory, Sites, Sources
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Evidence, Status

BY_EVIDENCE = {
    Evidence.LAB.value: "Confirmed by test",
    Evidence.TYPICAL_SYMPTOMS.value: "Confirmed by typical symptoms",
}
LEAST_SHARE = 0.05
"""Parts below this share are not worth a word."""
NEAR_M = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""A plant's own bed is cut at the first of these distances within which half of what falls on it falls [m]: our choice."""
STEADY_WIND = 0.1
"""Mean direction of the wind, as the length of its mean vector after wind influence, below which no way is downwind [-]."""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What falls on one place: its number, its share of all that a plant sends, distance and bearing of its middle.

    The place in which the plant stands is cut in two: `within_m` is not zero for the `hosts` plants so near to it [m].
    """

    place: int
    share: float
    distance_m: float
    bearing_deg: float
    within_m: float = 0.0
    hosts: int = 0


def removal_reasons(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    sources: Sources,
    onward: Onward,
    spread: Spread,
    settings: Settings,
    hidden: Hidden | None = None,
) -> TextArray:
    """Return a sentence or two for every source: what it rests on, and where most of what it sends falls.

    Parameters
    ----------
    inventory, sites, state : n plants, polygons, and what is known of the plants
    sources : Sources
        Plants to take out.
    onward : Onward
        What they would bring about, in the same order.
    spread : Spread
        Its wind says what is downwind.
    settings : Settings
    hidden : Hidden, optional
        For plants without a finding.

    Returns
    -------
    text array, shape (sources,)
        The two largest parts by place, the plant's own place cut into what stands nearest and the rest, as shares to first
        order of what the plant would send to healthy hosts, rounded to whole per cent.
    """
    place, names = work_places(inventory)
    site_names = {str(key): str(name) for key, name in zip(sites.site_id, sites.name, strict=True) if name}
    private = {str(key) for key, closed in zip(sites.site_id, sites.is_private, strict=True) if closed}
    first = {int(key): at for at, key in reversed(list(enumerate(place.tolist())))}
    winds = _mean_toward(spread, sources)
    largest = largest_parts(inventory, sources, onward, place)
    again = reopened(state)
    told_apart, reach = onward.worth.row_sums(onward.pair_share), near_reach(spread, settings)
    says = []
    for index, (plant, parts) in enumerate(zip(sources.plant.tolist(), largest, strict=True)):
        own_site = str(inventory.site_id[plant])
        shares = []
        for part in parts:
            site = str(inventory.site_id[first[part.place]])
            name = names[part.place]
            if site and site != own_site and not name.startswith("site "):
                name = f"{name}, {site_names.get(site, f'site {site}')}"
            elif name == f"site {site}":
                name = site_names.get(site, name)
            is_own = part.place == place[plant]
            where = _own_words(part, name) if is_own else f"{name}, {_way(part, winds[index])}"
            shares.append(f"{_per_cent(part.share)} falls on {where}")
        if onward.relative[index] <= 0:
            where = "no healthy host of the inventory lies within its reach. It comes out all the same."
        elif shares:
            where = f"of what it would send to healthy hosts, {' and '.join(shares)}."
        elif told_apart[index] < LEAST_SHARE:
            where = f"what it would send to healthy hosts falls more than {reach:.0f} m away."
        else:
            where = "what it would send to healthy hosts falls on many places."
        access = " Private ground: settle access first." if own_site in private else ""
        says.append(f"{_finding(state, plant, again, hidden)}; {where}{access}")
    return np.array(says, dtype=object)


def largest_parts(inventory: Inventory, sources: Sources, onward: Onward, place: IntArray) -> list[list[Part]]:
    """Return for every source the two parts that receive most of what it sends, the larger first.

    Parts are places, the source's own cut at one of `NEAR_M`. Over the receivers near enough to be told apart; what lies
    farther has a part in the whole, and no place.
    """
    start, receiver, share = onward.worth.start, onward.pair_receiver, onward.pair_share
    found: list[list[Part]] = []
    for index, plant in enumerate(sources.plant.tolist()):
        pairs = slice(int(start[index]), int(start[index + 1]))
        to, weight = receiver[pairs], share[pairs]
        east = inventory.easting[to] - sources.easting[index]
        north = inventory.northing[to] - sources.northing[index]
        away, is_own = np.hypot(east, north), place[to] == place[plant]
        near_m = _cut(away[is_own], weight[is_own])
        key = 2 * place[to] + (is_own & (away <= near_m))
        keys, group = np.unique(key, return_inverse=True)
        sums = np.bincount(group, weights=weight, minlength=len(keys))
        parts = []
        for best in np.argsort(-sums, kind="stable")[:2].tolist():
            mine = group == best
            if not sums[best] > 0 or sums[best] < LEAST_SHARE:
                continue
            middle = np.average(east[mine], weights=weight[mine]), np.average(north[mine], weights=weight[mine])
            is_near = bool(keys[best] % 2)
            parts.append(
                Part(
                    place=int(keys[best]) // 2, share=float(sums[best]), distance_m=float(np.hypot(*middle)),
                    bearing_deg=float(np.degrees(np.arctan2(*middle)) % 360.0),
                    within_m=near_m if is_near else 0.0, hosts=int(mine.sum()),
                )
            )  # fmt: skip
        found.append(parts)
    return found


def _cut(away: FloatArray, weight: FloatArray) -> float:
    """Return the first of `NEAR_M` within which half of some weights lie, zero where none is [m]."""
    half = 0.5 * float(weight.sum())
    return next((near for near in NEAR_M if half > 0 and weight[away <= near].sum() >= half), 0.0)


def _own_words(part: Part, name: str) -> str:
    """Return a part of the place in which the plant stands: what is nearest, or what is left of it."""
    if not part.within_m:
        return f"the rest of {name}"
    hosts = "1 host" if part.hosts == 1 else f"{part.hosts} hosts"
    return f"{hosts} within {part.within_m:g} m in {name}"


def _per_cent(share: float) -> str:
    """Return a share in whole per cent, never all of it where a part is left."""
    return "over 99 %" if 0.995 <= share < 1 - 1e-6 else f"{100 * share:.0f} %"


def _mean_toward(spread: Spread, sources: Sources) -> FloatArray:
    """Return the bearing toward which arrivals lean at each source, NaN where they hardly do, shape (sources,) [deg]."""
    mean = np.zeros(len(sources), dtype=np.complex128)
    for share, strand in spread.each_strand():
        rose = strand.coefficients_at(sources.easting, sources.northing)
        if rose.shape[1]:
            mean = mean + share * rose[:, 0]
    return np.where(np.abs(mean) >= STEADY_WIND, np.degrees(np.angle(mean)) % 360.0, np.nan)


def _way(part: Part, toward_deg: float) -> str:
    """Return distance and way of a place: downwind or upwind where the wind is steady enough, else the compass."""
    apart = abs((part.bearing_deg - toward_deg + 180.0) % 360.0 - 180.0)
    distance = f"{part.distance_m:.0f} m" if part.distance_m >= 1 else "less than 1 m"
    if apart <= 45.0:  # false where the wind has no mean way
        return f"{distance} downwind"
    if apart >= 135.0:
        return f"{distance} upwind"
    return f"{distance} to the {COMPASS[int((part.bearing_deg + 22.5) // 45.0) % 8]}"


def _finding(state: PlantState, plant: int, again: BoolArray, hidden: Hidden | None) -> str:
    """Return on what the finding rests, with its date."""
    if state.status[plant] == Status.REMOVED.value:
        if again[plant] and not state.has_regrowth[plant]:
            return f"Order opened again on {_day(state.reopened_on[plant])}: the roots are still in the ground"
        return f"Regrowth seen after the removal on {_day(state.removed_on[plant])}"
    if state.status[plant] != Status.INFECTED.value:
        chance = float(hidden.infected[plant]) if hidden is not None else float("nan")
        return f"No finding; infected with a chance of {chance_words(chance)} by the fitted model: test it first"
    return f"{BY_EVIDENCE.get(state.evidence[plant], 'Confirmed')} on {_day(state.status_on[plant])}"


def _day(day: np.datetime64) -> str:
    """Return a date as it is printed."""
    return "an unknown date" if np.isnat(day) else str(np.datetime_as_string(day, unit="D"))


def chance_words(chance: float) -> str:
    """Return a chance that rests on draws in per cent: small ones with a digit more, none as certain."""
    if chance < 0.001:
        return "below 0.1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{100 * chance:.1f} %" if chance < 0.1 else f"{100 * chance:.0f} %"
