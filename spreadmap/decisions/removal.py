"""Which confirmed plants come out first, and how far a crew's hours reach."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from spreadmap.decisions.dates import regrowth_dates, working_day_after
from spreadmap.decisions.places import set_up_minutes, work_places
from spreadmap.decisions.reasons import removal_reasons
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

HOURS_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jobs:
    """The plants to take out, shape (n,): minutes of each, and of setting up its place, `place` a number per place."""

    plant: IntArray
    minutes: FloatArray
    set_up: FloatArray
    place: IntArray


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


def onward_infections(
    inventory: Inventory,
    state: PlantState,
    sources: Sources,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
) -> FloatArray:
    """Return what each source sends to all healthy hosts, shape (sources,) [units].

    First order: a receiver that several sources reach counts for each of them in full. Without a fitted rate there is
    no telling how full a receiver is, so that the parts of two sources add up and taking one out leaves the worth of
    the others as it was; only set-up is reckoned again after each pick.
    """
    weight = receiving_weight(inventory, state, settings.sources)
    receptors = receptors_of(inventory, weight > 0, settings.sources)
    sums = pressure_at_points(
        receptors,
        sources,
        spread,
        engine,
        screens=screens,
        receptor_weight=weight[weight > 0],
        settings=settings.pressure,
    )
    sent = sums.sent if sums.sent is not None else np.zeros(len(sources))
    return np.asarray(sent / unit_density(spread.kernel))


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
    onward = onward_infections(inventory, state, sources, spread, screens, settings, engine)
    order, added = removal_order(onward, jobs)
    hours, within = _cut_off(order, added, jobs, settings.removal)
    low, high, holds = _over_scales(order, within, jobs, inventory, state, sources, spread, screens, settings, engine)
    earliest = working_day_after(as_of, settings.removal.locate_ticket_days, settings.removal.working_days, holidays)
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
        reason=removal_reasons(inventory, sites, state, sources, onward, spread, settings)[order],
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
    ranks, sides = [np.arange(1, len(order) + 1)], [within]
    for factor in settings.kernel.scale_run:
        sent = onward_infections(inventory, state, sources, spread.scaled(factor), screens, settings, engine)
        other, added = removal_order(sent, jobs)
        rank, side = np.empty(len(order), dtype=np.int64), np.empty(len(order), dtype=np.bool_)
        rank[other] = np.arange(1, len(order) + 1)
        side[other] = _cut_off(other, added, jobs, settings.removal)[1]
        ranks.append(rank[order])
        sides.append(side[order])
    table = np.array(ranks, dtype=np.int64)
    same = np.array(sides, dtype=np.bool_)
    return table.min(axis=0), table.max(axis=0), np.all(same == same[0], axis=0)
