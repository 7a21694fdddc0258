"""Why a plant stands on the removal list, in plain words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.decisions.onward import Onward
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
STEADY_WIND = 0.1
"""Mean direction of the wind, as the length of its mean vector after wind influence, below which no way is downwind [-]."""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What falls on one place: its number, its share of all that a plant sends, distance and bearing of its middle."""

    place: int
    share: float
    distance_m: float
    bearing_deg: float


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
        The two largest parts by place, as shares to first order of what the plant would send to healthy hosts, rounded
        to whole per cent.
    """
    place, names = work_places(inventory)
    site_names = {str(key): str(name) for key, name in zip(sites.site_id, sites.name, strict=True) if name}
    private = {str(key) for key, closed in zip(sites.site_id, sites.is_private, strict=True) if closed}
    first = {int(key): at for at, key in reversed(list(enumerate(place.tolist())))}
    winds = _mean_toward(spread, sources)
    largest = largest_parts(inventory, sources, onward, place)
    again = reopened(state)
    says = []
    for index, (plant, parts) in enumerate(zip(sources.plant.tolist(), largest, strict=True)):
        own_site = str(inventory.site_id[plant])
        shares = []
        for part in parts:
            if part.share < LEAST_SHARE:
                continue
            site = str(inventory.site_id[first[part.place]])
            name = names[part.place]
            if site and site != own_site and not name.startswith("site "):
                name = f"{name}, {site_names.get(site, f'site {site}')}"
            elif name == f"site {site}":
                name = site_names.get(site, name)
            where = " around it" if part.place == place[plant] else f", {_way(part, winds[index])}"
            shares.append(f"{100 * part.share:.0f} % falls on {name}{where}")
        if onward.relative[index] <= 0:
            where = "no healthy host of the inventory lies within its reach. It comes out all the same."
        elif shares:
            where = f"of what it would send to healthy hosts, {' and '.join(shares)}."
        else:
            where = "what it would send to healthy hosts falls on many places."
        access = " Private ground: settle access first." if own_site in private else ""
        says.append(f"{_finding(state, plant, again, hidden)}; {where}{access}")
    return np.array(says, dtype=object)


def largest_parts(inventory: Inventory, sources: Sources, onward: Onward, place: IntArray) -> list[list[Part]]:
    """Return for every source the two places that receive most of what it sends, the larger first.

    Over the receivers near enough to be told apart; what lies farther has a part in the whole, and no place.
    """
    start, receiver, share = onward.worth.start, onward.pair_receiver, onward.pair_share
    found: list[list[Part]] = []
    for index in range(len(sources)):
        pairs = slice(int(start[index]), int(start[index + 1]))
        keys, group = np.unique(place[receiver[pairs]], return_inverse=True)
        if not len(keys):
            found.append([])
            continue
        sums = np.bincount(group, weights=share[pairs])
        parts = []
        for best in np.argsort(-sums, kind="stable")[:2].tolist():
            mine = group == best
            weight = share[pairs][mine]
            if weight.sum() <= 0:
                continue
            east = np.average(inventory.easting[receiver[pairs][mine]], weights=weight) - sources.easting[index]
            north = np.average(inventory.northing[receiver[pairs][mine]], weights=weight) - sources.northing[index]
            parts.append(
                Part(
                    place=int(keys[best]), share=float(sums[best]), distance_m=float(np.hypot(east, north)),
                    bearing_deg=float(np.degrees(np.arctan2(east, north)) % 360.0),
                )
            )  # fmt: skip
        found.append(parts)
    return found


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
        chance = 100 * float(hidden.infected[plant]) if hidden is not None else float("nan")
        return f"No finding; infected with a chance of {chance:.0f} % by the fitted model: test it first"
    return f"{BY_EVIDENCE.get(state.evidence[plant], 'Confirmed')} on {_day(state.status_on[plant])}"


def _day(day: np.datetime64) -> str:
    """Return a date as it is printed."""
    return "an unknown date" if np.isnat(day) else str(np.datetime_as_string(day, unit="D"))
