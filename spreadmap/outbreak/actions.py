"""Courses of action made from one plan: nothing, the list on its dates, later, with more crews, a ring, more surveys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.errors import InputError
from spreadmap.records.state import due_for_removal
from spreadmap.values.action import Action
from spreadmap.values.arrays import DateArray, FloatArray, IntArray, no_dates
from spreadmap.values.inventory import Inventory, ScreenSegments
from spreadmap.values.plan import Plan
from spreadmap.values.settings import RemovalSettings, Settings
from spreadmap.values.surveys import PlantState

NOTHING_DONE = "if nothing is done"
LIST_DONE = "if the list is taken out on its dates"
WEEK = np.timedelta64(7, "D")
HOURS_SLACK = 1e-9
NOTHING, LIST, LATER, RING, TWICE_CREW, TWICE_SURVEYS = (
    "nothing", "list", "list_later", "ring", "twice_crew", "twice_surveys",
)  # fmt: skip


def crew_dates(earliest_on: DateArray, cumulative_hours: FloatArray, hours_per_week: float) -> DateArray:
    """Return when each plant of a list is out: what a week's crew hours reach on the earliest date, the rest later.

    Parameters
    ----------
    earliest_on : `datetime64[D]`, shape (n,)
        First day on which digging can start.
    cumulative_hours : array, shape (n,)
        Crew hours used when a plant is out, in the order of work. [h]
    hours_per_week : float
        Of all crews together; without any, nothing comes out. [h]

    Returns
    -------
    `datetime64[D]`, shape (n,)
        No date for plants that never come out.
    """
    if hours_per_week <= 0:
        return no_dates(len(earliest_on))
    weeks = np.maximum(np.ceil((cumulative_hours - HOURS_SLACK) / hours_per_week) - 1, 0).astype(np.int64)
    return np.asarray(earliest_on + weeks * WEEK, dtype="datetime64[D]")


def plant_hours(inventory: Inventory, plan: Plan, settings: RemovalSettings) -> FloatArray:
    """Return the crew hours of each plant, shape (n,) [h]: its own minutes, and set-up as plants of the list have it.

    Where the list is empty, set-up and travel of a bed count for each plant.
    """
    own = np.array([settings.person_minutes[size] for size in inventory.size_class.tolist()], dtype=np.float64)
    listed = plan.removal.set_up_minutes
    set_up = float(listed.mean()) if len(listed) else settings.set_up_minutes_bed + settings.travel_minutes
    return (own + set_up) / 60.0 / settings.people_per_crew


def nothing_done(inventory: Inventory, plan: Plan, as_of: np.datetime64, every_days: int, settings: Settings) -> Action:
    """Return the course in which surveys go on and no plant comes out."""
    return Action(
        key=NOTHING,
        says=NOTHING_DONE,
        removal_on=no_dates(len(inventory)),
        crew_hours=plant_hours(inventory, plan, settings.removal),
        crew_hours_per_week=0.0,
        crew_free_on=as_of,
        delay_days=settings.removal.locate_ticket_days,
        found_come_out=False,
        survey_every_days=every_days,
    )


def list_done(
    inventory: Inventory,
    plan: Plan,
    as_of: np.datetime64,
    every_days: int,
    settings: Settings,
    *,
    crews: float = 1.0,
    later_weeks: int = 0,
) -> Action:
    """Return the course in which the list comes out on its dates, and after it what later surveys find.

    Parameters
    ----------
    inventory, plan, as_of, settings
        As elsewhere; `plan.removal` holds the earliest and the planned dates; what is planned for no day stays.
    every_days : int
        Interval of surveys. [d]
    crews : float
        Multiples of the crew hours of the settings. [-]
    later_weeks : int
        By how much all removals are put off. [weeks]
    """
    weekly, listed = crews * settings.removal.crew_hours_per_week, plan.removal
    # Twice the crews are through in half the time from the first day on which digging can start.
    waits = (listed.planned_on - listed.earliest_on).astype(np.float64)
    is_planned = ~np.isnat(listed.planned_on)
    days = np.where(is_planned, np.floor(np.where(is_planned, waits, 0.0) / crews), 0.0).astype(np.int64)
    dates = listed.earliest_on + days.astype("timedelta64[D]") + later_weeks * WEEK
    removal_on = no_dates(len(inventory))
    removal_on[listed.plant[is_planned]] = dates[is_planned]
    free = max(dates[is_planned], default=as_of + later_weeks * WEEK)
    return replace(
        nothing_done(inventory, plan, as_of, every_days, settings),
        key=LIST,
        says=LIST_DONE,
        removal_on=removal_on,
        crew_hours_per_week=weekly,
        crew_free_on=free,
        found_come_out=True,
    )


def ring_done(
    inventory: Inventory, state: PlantState, plan: Plan, listed: Action, radius_m: float, settings: Settings
) -> Action:
    """Return the course in which, after the list, every standing host within a radius of a plant on it comes out.

    Nearest first, with the hours of `plant_hours`, in the crew hours of the course `listed`.
    """
    order = hosts_within(inventory, state, radius_m)
    hours = plant_hours(inventory, plan, settings.removal)
    # What the list plans itself keeps its date.
    order = order[np.isnat(listed.removal_on[order])]
    total = np.cumsum(hours[order])
    removal_on = listed.removal_on.copy()
    removal_on[order] = crew_dates(np.full(len(order), listed.crew_free_on), total, listed.crew_hours_per_week)
    free = listed.crew_free_on
    if len(order) and listed.crew_hours_per_week > 0:
        days = int(np.ceil(7.0 * float(total[-1]) / listed.crew_hours_per_week))
        free = free + np.timedelta64(days, "D")
    return replace(
        listed,
        key=RING,
        says=f"if every host within {radius_m:g} m of a confirmed plant comes out after the list, as crew hours allow",
        removal_on=removal_on,
        crew_free_on=free,
    )


def hosts_within(inventory: Inventory, state: PlantState, radius_m: float) -> IntArray:
    """Return the standing hosts within a radius [m] of a plant due for removal, nearest first."""
    due = due_for_removal(state)
    others = np.flatnonzero(state.is_standing & state.is_host & ~due)
    if not due.any() or not len(others):
        return np.zeros(0, dtype=np.int64)
    tree = cKDTree(np.c_[inventory.easting[due], inventory.northing[due]])
    distance, _ = tree.query(np.c_[inventory.easting[others], inventory.northing[others]])
    near = distance <= radius_m
    return np.asarray(others[near][np.argsort(distance[near], kind="stable")], dtype=np.int64)


def with_surveys(action: Action, every_days: int, says: str, key: str) -> Action:
    """Return a course with surveys at another interval [d]."""
    return replace(action, key=key, says=says, survey_every_days=every_days)


def with_screen(action: Action, screens: ScreenSegments) -> Action:
    """Return a course in which further screens stand from the date of the state on, beside those that stand already."""
    return replace(
        action, key=f"{action.key}_screen", says=f"{action.says}, with a screen planted", more_screens=screens
    )


def with_missed_roots(action: Action, share: float) -> Action:
    """Return a course in which a share of the plants taken out leaves roots that go on sending weakly [-]."""
    return replace(
        action,
        key=f"{action.key}_missed_roots",
        says=f"{action.says}, with roots left in {100 * share:.0f} % of the holes",
        missed_roots_share=share,
    )


def usual_actions(
    inventory: Inventory, state: PlantState, plan: Plan, every_days: int, settings: Settings
) -> tuple[Action, ...]:
    """Return the courses that every run compares, nothing done first.

    Parameters
    ----------
    inventory, state, plan, settings
        As elsewhere.
    every_days : int
        Days from the state to the next survey, and between surveys after it. [d]
    """
    as_of, own = state.as_of, settings.ahead
    given = (inventory, plan, as_of, every_days, settings)
    listed = list_done(*given)
    weeks = "a week" if own.later_weeks == 1 else f"{own.later_weeks} weeks"
    often = max(1, every_days // 2)
    return (
        nothing_done(*given),
        listed,
        replace(
            list_done(*given, later_weeks=own.later_weeks), key=LATER, says=f"if the list is taken out {weeks} later"
        ),
        replace(
            list_done(*given, crews=2.0),
            key=TWICE_CREW,
            says="if the list is taken out with twice the crew hours",
        ),
        with_surveys(
            listed, often, f"if the list is taken out on its dates and surveys come every {often} days", TWICE_SURVEYS
        ),
        ring_done(inventory, state, plan, listed, own.ring_m, settings),
    )


def check_actions(inventory: Inventory, state: PlantState, actions: tuple[Action, ...]) -> None:
    """Refuse courses of action that do not fit the plants.

    Raises
    ------
    InputError
        If a course has another number of plants, or takes a plant out before it was planted or before the state.
    """
    for action in actions:
        if len(action.removal_on) != len(inventory):
            msg = (
                f"course of action '{action.key}' is for {len(action.removal_on)} plants and the inventory has "
                f"{len(inventory)}; allowed: one date per plant. Make the plan from this inventory."
            )
            raise InputError(msg)
        for word, first in (
            ("planted on", inventory.planted_on),
            ("the state is of", np.full(len(inventory), state.as_of)),
        ):
            early = np.flatnonzero(action.removal_on < first)
            if len(early):
                plant = early[0]
                msg = (
                    f"course of action '{action.key}': plant {inventory.plant_id[plant]} is taken out on "
                    f"{action.removal_on[plant]} and {word} {first[plant]}, {len(early)} such in all; allowed: not before. "
                    "Correct planted_on in the inventory, or the dates of the plan."
                )
                raise InputError(msg)
