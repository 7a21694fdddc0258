"""Which confirmed plants come out first, and how far a crew's hours reach."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from spreadmap.decisions.dates import regrowth_dates, working_day_after
from spreadmap.dispersal.spread import Spread, unit_density
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import plant_sources, receiving_weight, receptors_of
from spreadmap.records.state import due_for_removal
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory, ScreenSegments, Sites, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import RemovalList
from spreadmap.values.settings import RemovalSettings, Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Evidence, SetUp, Status

BY_EVIDENCE = {
    Evidence.LAB.value: "Confirmed by test",
    Evidence.TYPICAL_SYMPTOMS.value: "Confirmed by typical symptoms",
}
HOURS_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jobs:
    """The plants to take out, shape (n,): minutes of each, and of setting up its place, `place` a number per place."""

    plant: IntArray
    minutes: FloatArray
    set_up: FloatArray
    place: IntArray


def work_places(inventory: Inventory) -> tuple[IntArray, list[str]]:
    """Return the place of every plant, shape (n,), and the places in words.

    A place is what is set up once: a bed of a site, else the site, else the plant by itself.
    """
    number: dict[tuple[str, str, str], int] = {}
    words: list[str] = []
    place = np.empty(len(inventory), dtype=np.int64)
    for index, (bed, site, plant) in enumerate(
        zip(inventory.bed_id, inventory.site_id, inventory.plant_id, strict=True)
    ):
        key = (site, bed, "" if bed or site else plant)
        if key not in number:
            number[key] = len(words)
            words.append(f"bed {bed}" if bed else f"site {site}" if site else f"plant {plant}")
        place[index] = number[key]
    return place, words


def set_up_minutes(inventory: Inventory, sites: Sites, plant: IntArray, settings: RemovalSettings) -> FloatArray:
    """Return the person-minutes to travel to and set up at each plant's place, shape of `plant`."""
    traffic = {key for key, kind in zip(sites.site_id, sites.set_up, strict=True) if kind == SetUp.TRAFFIC.value}
    minutes = [
        settings.set_up_minutes_traffic if site in traffic else settings.set_up_minutes_bed
        for site in inventory.site_id[plant].tolist()
    ]
    return np.array(minutes, dtype=np.float64) + settings.travel_minutes


def removal_order(onward: FloatArray, jobs: Jobs) -> tuple[IntArray, FloatArray]:
    """Return the order of plants by onward infections per person-minute, and the set-up each adds.

    A place is set up once. It is opened with the run of its best plants that is worth most per minute, set-up
    included; the plants left there are then reckoned again, without set-up. Each of these is worth less per minute
    than the run before it, so that sorting runs by worth is the same as picking the best again and again. Equal
    values keep the order of the inventory.

    Parameters
    ----------
    onward : array, shape (n,)
        Onward infections (relative).
    jobs : Jobs

    Returns
    -------
    order, added : arrays, shape (n,)
        Positions in the order of work, and the set-up minutes of each plant in that order.
    """
    added = np.zeros(len(onward))
    runs: list[tuple[float, int, list[int]]] = []
    best_first = np.argsort(-onward / jobs.minutes, kind="stable")
    queues = best_first[np.argsort(jobs.place[best_first], kind="stable")]
    ends = np.flatnonzero(np.diff(jobs.place[queues])) + 1
    for queue in np.split(queues, ends) if len(queues) else []:
        worth = np.cumsum(onward[queue]) / (jobs.set_up[queue[0]] + np.cumsum(jobs.minutes[queue]))
        first = int(np.argmax(worth)) + 1
        added[queue[0]] = jobs.set_up[queue[0]]
        runs.append((-float(worth[first - 1]), int(queue[0]), queue[:first].tolist()))
        runs += [(-float(onward[i] / jobs.minutes[i]), int(i), [int(i)]) for i in queue[first:]]
    order = np.array([i for run in sorted(runs, key=lambda run: run[:2]) for i in run[2]], dtype=np.int64)
    return order, added[order]


def onward_by_place(
    inventory: Inventory,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
) -> tuple[FloatArray, list[str]]:
    """Return what each source sends to the healthy hosts of each place, shape (places, sources) [units], and names.

    First order: a receiver that several sources reach counts for each of them in full. Without a fitted rate there is
    no telling how full a receiver is, so that the parts of two sources add up and taking one out leaves the worth of
    the others as it was; only set-up is reckoned again after each pick.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    place, words = work_places(inventory)
    receiving = np.flatnonzero(weight > 0)
    receiving = receiving[np.argsort(place[receiving], kind="stable")]
    groups = np.split(receiving, np.flatnonzero(np.diff(place[receiving])) + 1) if len(receiving) else []
    sent = np.zeros((len(groups), len(sources)))
    for row, group in enumerate(groups):
        mine = np.zeros(len(inventory), dtype=np.bool_)
        mine[group] = True
        receptors = receptors_of(inventory, mine, settings.sources)
        sums = pressure_at_points(receptors, sources, spread, engine, screens=screens, receptor_weight=weight[mine])
        if sums.sent is not None:
            sent[row] = sums.sent
    return sent / unit_density(spread.kernel), [words[place[group[0]]] for group in groups]


def rank_removals(
    inventory: Inventory,
    sites: Sites,
    state: PlantState,
    spread: Spread,
    screens: ScreenSegments,
    system: PestSystem,
    settings: Settings,
    as_of: dt.date,
    holidays: Collection[dt.date],
    engine: Engine,
) -> RemovalList:
    """Return every confirmed plant, and regrowth of removed ones, in the order in which they should come out.

    Order: expected onward infections (relative) to hosts still healthy, per person-minute with set-up and travel.
    Crew hours of one week draw the cut-off and leave nobody off the list. Arrivals on confirmed plants count nothing.

    Parameters
    ----------
    inventory, sites, state : n plants, polygons with their set-up, and what is known of the plants
    spread, screens : kernel and wind, screens that count
    system : PestSystem
    settings : Settings
    as_of : date
        The locate ticket is asked for on this day.
    holidays : dates without work
    engine : Engine

    Returns
    -------
    RemovalList

    Raises
    ------
    ValueError
        If the pest system's verdict does not call for removal with roots: such a list must not be made.
    SettingsError
        If there is no working day within a year.

    References
    ----------
    None: our choice.
    """
    if not system.is_mapped:
        msg = f"{system.key}: its verdict is {system.verdict}, so no removal list may be made"
        raise ValueError(msg)
    jobs = _jobs(inventory, sites, state, settings.removal)
    sources = _sources_of(jobs, inventory, state, settings)
    by_place, names = onward_by_place(inventory, state, sources, spread, screens, settings, engine)
    onward = by_place.sum(axis=0)
    order, added = removal_order(onward, jobs)
    hours, within = _cut_off(order, added, jobs, settings.removal)
    low, high, holds = _over_scales(order, within, jobs, inventory, state, sources, spread, screens, settings, engine)
    earliest = working_day_after(as_of, settings.removal.locate_ticket_days, settings.removal.working_days, holidays)
    private = {key for key, closed in zip(sites.site_id, sites.is_private, strict=True) if closed}
    return RemovalList(
        plant=jobs.plant[order],
        onward=onward[order],
        person_minutes=jobs.minutes[order],
        set_up_minutes=added,
        cumulative_hours=hours,
        within_hours=within,
        earliest_on=np.full(len(order), np.datetime64(earliest), dtype="datetime64[D]"),
        regrowth_on=np.tile(regrowth_dates(earliest, settings.removal), (len(order), 1)),
        rank_low=low,
        rank_high=high,
        rank_holds=holds,
        reason=np.array(
            [
                _reason(state, int(jobs.plant[i]), names, by_place[:, i], inventory.site_id[jobs.plant[i]] in private)
                for i in order
            ],
            dtype=object,
        ),
    )


def _jobs(inventory: Inventory, sites: Sites, state: PlantState, settings: RemovalSettings) -> Jobs:
    """Return the plants to take out with their minutes and places."""
    plant = np.flatnonzero(due_for_removal(state))
    minutes = [settings.person_minutes[size] for size in inventory.size_class[plant].tolist()]
    return Jobs(
        plant=plant,
        minutes=np.array(minutes, dtype=np.float64),
        set_up=set_up_minutes(inventory, sites, plant, settings),
        place=work_places(inventory)[0][plant],
    )


def _sources_of(jobs: Jobs, inventory: Inventory, state: PlantState, settings: Settings) -> Sources:
    """Return the plants to take out as sources, in the order of the jobs; strength zero where a plant sends nothing."""
    every = plant_sources(inventory, state, settings.sources)
    strength = np.zeros(len(inventory))
    strength[every.plant] = every.strength
    return Sources(
        easting=inventory.easting[jobs.plant],
        northing=inventory.northing[jobs.plant],
        strength=strength[jobs.plant],
        plant=jobs.plant,
    )


def _cut_off(order: IntArray, added: FloatArray, jobs: Jobs, settings: RemovalSettings) -> tuple[FloatArray, BoolArray]:
    """Return the crew hours up to each plant in the order of work, and whether one week reaches it."""
    hours = np.cumsum(added + jobs.minutes[order]) / 60.0 / settings.people_per_crew
    return hours, hours <= settings.crew_hours_per_week + HOURS_SLACK


def _over_scales(
    order: IntArray,
    within: BoolArray,
    jobs: Jobs,
    inventory: Inventory,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
) -> tuple[IntArray, IntArray, BoolArray]:
    """Return best and worst rank over the scale run, and whether each plant stays on its side of the cut-off."""
    weight = receiving_weight(inventory, state, settings.sources)
    receptors = receptors_of(inventory, weight > 0, settings.sources)
    ranks, sides = [np.arange(1, len(order) + 1)], [within]
    for factor in settings.kernel.scale_run:
        sums = pressure_at_points(
            receptors, sources, spread.scaled(factor), engine, screens=screens, receptor_weight=weight[weight > 0]
        )
        sent = sums.sent if sums.sent is not None else np.zeros(len(sources))
        other, added = removal_order(sent, jobs)
        rank, side = np.empty(len(order), dtype=np.int64), np.empty(len(order), dtype=np.bool_)
        rank[other] = np.arange(1, len(order) + 1)
        side[other] = _cut_off(other, added, jobs, settings.removal)[1]
        ranks.append(rank[order])
        sides.append(side[order])
    table = np.array(ranks, dtype=np.int64)
    same = np.array(sides, dtype=np.bool_)
    return table.min(axis=0), table.max(axis=0), np.all(same == same[0], axis=0)


def _reason(state: PlantState, plant: int, names: list[str], parts: FloatArray, is_private: bool) -> str:
    """Return why a plant stands where it stands, with the two largest parts of what it sends."""
    if state.status[plant] == Status.REMOVED.value:
        says = f"Regrowth seen after the removal on {_day(state.removed_on[plant])}"
    else:
        says = f"{BY_EVIDENCE.get(state.evidence[plant], 'Confirmed')} on {_day(state.status_on[plant])}"
    total = float(parts.sum())
    if total > 0:
        largest = np.argsort(-parts, kind="stable")[:2]
        shares = [f"{100 * parts[i] / total:.0f} % falls on {names[i]}" for i in largest if parts[i] / total >= 0.005]
        says += f"; of what it would send to healthy hosts, {' and '.join(shares)}."
    else:
        says += "; no healthy host of the inventory lies within its reach. It comes out all the same."
    return says + (" Private ground: settle access first." if is_private else "")


def _day(day: np.datetime64) -> str:
    """Return a date as it is printed."""
    return "an unknown date" if np.isnat(day) else str(np.datetime_as_string(day, unit="D"))
