"""Why a plant stands on the removal list, in plain words."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.decisions.places import work_places
from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.records.sources import canopy_radius, receiving_weight
from spreadmap.values.arrays import FloatArray, IntArray, TextArray
from spreadmap.values.inventory import Inventory, Sites, Sources
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Evidence, Status

BY_EVIDENCE = {
    Evidence.LAB.value: "Confirmed by test",
    Evidence.TYPICAL_SYMPTOMS.value: "Confirmed by typical symptoms",
}
NEIGHBOURS = 200
"""How many healthy hosts next to a source are told apart by place; what lies farther is not named."""
SOURCES_AT_ONCE = 500
LEAST_SHARE = 0.05
"""Parts below this share are not worth a word."""


def removal_reasons(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    sources: Sources,
    onward: FloatArray,
    spread: Spread,
    settings: Settings,
) -> TextArray:
    """Return a sentence or two for every source: what it rests on, and where most of what it sends falls.

    Parameters
    ----------
    inventory, sites, state : n plants, polygons, and what is known of the plants
    sources : Sources
        Plants to take out.
    onward : array, shape (sources,)
        What each sends to all healthy hosts. [units]
    spread, settings

    Returns
    -------
    text array, shape (sources,)
        The two largest parts by place, as shares of `onward`, rounded to whole per cent.
    """
    place, names = work_places(inventory)
    private = {key for key, closed in zip(sites.site_id, sites.is_private, strict=True) if closed}
    largest = largest_parts(inventory, state, sources, onward, place, spread, settings)
    says = []
    for plant, total, parts in zip(sources.plant.tolist(), onward, largest, strict=True):
        shares = [f"{100 * share:.0f} % falls on {names[key]}" for key, share in parts if share >= LEAST_SHARE]
        if total <= 0:
            where = "no healthy host of the inventory lies within its reach. It comes out all the same."
        elif shares:
            where = f"of what it would send to healthy hosts, {' and '.join(shares)}."
        else:
            where = "what it would send to healthy hosts falls on many places."
        access = " Private ground: settle access first." if inventory.site_id[plant] in private else ""
        says.append(f"{_finding(state, plant)}; {where}{access}")
    return np.array(says, dtype=object)


def largest_parts(
    inventory: Inventory,
    state: PlantState,
    sources: Sources,
    onward: FloatArray,
    place: IntArray,
    spread: Spread,
    settings: Settings,
) -> list[list[tuple[int, float]]]:
    """Return for every source the two places that receive most of what it sends, with their shares of it [-].

    Reckoned over the nearest 200 healthy hosts, their canopies by four points each and screens left out: enough for
    whole per cent in a sentence, while the order of the list rests on the exact sums.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    hosts = np.flatnonzero(weight > 0)
    if len(hosts) == 0 or len(sources) == 0:
        return [[] for _ in range(len(sources))]
    tree = cKDTree(np.c_[inventory.easting[hosts], inventory.northing[hosts]])
    many = min(NEIGHBOURS, len(hosts))
    # A rule of four points in a disc, exact to the third degree: at R / sqrt 2 on the axes, of equal weight.
    shift = canopy_radius(inventory, settings.sources)[hosts] / np.sqrt(2)
    parts: list[list[tuple[int, float]]] = []
    for first in range(0, len(sources), SOURCES_AT_ONCE):
        some = slice(first, first + SOURCES_AT_ONCE)
        east, north = sources.easting[some], sources.northing[some]
        _, near = tree.query(np.c_[east, north], k=[*range(1, many + 1)])
        sent = np.zeros(near.shape)
        for across, along in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            to_east = inventory.easting[hosts][near] + across * shift[near] - east[:, None]
            to_north = inventory.northing[hosts][near] + along * shift[near] - north[:, None]
            sent += spread.density_from(east, north, to_east, to_north) / 4
        sent *= weight[hosts][near] * sources.strength[some][:, None] / unit_density(spread.kernel)
        # A plant receives nothing from itself; a source with a sprout may be a receiver elsewhere in the list.
        sent[hosts[near] == sources.plant[some][:, None]] = 0.0
        parts += [
            _two(place[hosts[row]], part, total) for row, part, total in zip(near, sent, onward[some], strict=True)
        ]
    return parts


def _two(place: IntArray, sent: FloatArray, total: float) -> list[tuple[int, float]]:
    """Return the two places with the largest parts and their shares of the total."""
    keys, first = np.unique(place, return_inverse=True)
    sums = np.bincount(first, weights=sent)
    whole = max(total, float(sums.sum()))
    order = np.argsort(-sums, kind="stable")[:2]
    return [(int(keys[i]), float(sums[i] / whole)) for i in order] if whole > 0 else []


def _finding(state: PlantState, plant: int) -> str:
    """Return on what the finding rests, with its date."""
    if state.status[plant] == Status.REMOVED.value:
        return f"Regrowth seen after the removal on {_day(state.removed_on[plant])}"
    return f"{BY_EVIDENCE.get(state.evidence[plant], 'Confirmed')} on {_day(state.status_on[plant])}"


def _day(day: np.datetime64) -> str:
    """Return a date as it is printed."""
    return "an unknown date" if np.isnat(day) else str(np.datetime_as_string(day, unit="D"))
