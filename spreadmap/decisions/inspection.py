"""Where to look next."""

from __future__ import annotations

import datetime as dt

import numpy as np

from spreadmap.outbreak.exposure import candidates, ranks
from spreadmap.values.arrays import IntArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.plan import InspectionList
from spreadmap.values.results import Exposure, HiddenFirstForm
from spreadmap.values.settings import InspectionSettings, Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status

TOUCHING, SUSPECT, OTHER = 0, 1, 2


def interval_days(hidden: HiddenFirstForm, settings: InspectionSettings) -> IntArray:
    """Return how often each plant is looked at, by its distance from a confirmed plant, shape (n,) [d]."""
    distance = hidden.distance_to_confirmed_m
    return np.where(
        distance <= settings.near_m,
        settings.interval_near_days,
        np.where(distance <= settings.middle_m, settings.interval_middle_days, settings.interval_far_days),
    ).astype(np.int64)


def rank_inspections(
    inventory: Inventory,
    state: PlantState,
    exposure: Exposure,
    hidden: HiddenFirstForm,
    settings: Settings,
    as_of: dt.date,
    next_survey_on: dt.date | None = None,
) -> InspectionList:
    """Return the standing hosts that are not confirmed, in the order in which they should be looked at.

    Plants that touch a confirmed one come first, because contact is not part of the relative pressure; then suspects,
    because a test settles them; then the rest. Within each of the three, the relative infection pressure decides, and
    the order of the inventory where that is equal. Hours of the next survey draw the cut-off. A plant is due after the
    interval of its distance, counted from its last inspection, and at once where there was none or where it is a
    suspect. What the hours of the next survey reach is due on its day at the latest.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    exposure, hidden : pressure with its scale run; touching plants and distances
    settings : Settings
    as_of : date
        No plant is due before this day.
    next_survey_on : date, optional
        Day of the next survey.

    Returns
    -------
    InspectionList
        `rank_low`, `rank_high`, `rank_holds` compare the order with those of the scale run.

    References
    ----------
    None: our choice.
    """
    among = candidates(state)
    plants = np.flatnonzero(among)
    group = np.full(len(plants), OTHER)
    group[state.status[plants] == Status.SUSPECT.value] = SUSPECT
    group[hidden.is_touching[plants]] = TOUCHING
    look = settings.inspection
    within = (np.arange(len(plants)) + 1) * look.minutes_per_plant / 60.0 <= look.hours_per_survey + 1e-9
    by_pressure = np.vstack([ranks(exposure.pressure, among), exposure.scale_rank])[:, plants]
    orders = [np.lexsort((row, group)) for row in by_pressure]
    table = np.empty_like(by_pressure)
    for row, each in zip(table, orders, strict=True):
        row[each] = np.arange(1, len(plants) + 1)
    table = table[:, orders[0]]
    order = plants[orders[0]]
    reach = int(within.sum())
    days = interval_days(hidden, look)[order]
    last, today = state.last_inspected_on[order], np.datetime64(as_of)
    due = np.where(np.isnat(last), today, np.maximum(last + days.astype("timedelta64[D]"), today))
    due = np.where(state.status[order] == Status.SUSPECT.value, today, due)
    if next_survey_on is not None:
        due = np.where(within, np.minimum(due, np.datetime64(next_survey_on)), due)
    return InspectionList(
        plant=order,
        pressure=exposure.pressure[order],
        is_touching=hidden.is_touching[order],
        distance_m=hidden.distance_to_confirmed_m[order],
        interval_days=days,
        due_on=due,
        person_minutes=np.full(len(plants), look.minutes_per_plant),
        within_hours=within,
        rank_low=table.min(axis=0),
        rank_high=table.max(axis=0),
        rank_holds=np.all((table <= reach) == (table[0] <= reach), axis=0),
        reason=np.array([_reason(state, exposure, hidden, int(plant)) for plant in order], dtype=object),
    )


def _reason(state: PlantState, exposure: Exposure, hidden: HiddenFirstForm, plant: int) -> str:
    """Return in words why a plant is looked at, without any chance."""
    parts = []
    distance, pressure = hidden.distance_to_confirmed_m[plant], exposure.pressure[plant]
    if hidden.is_touching[plant]:
        parts.append("touches a confirmed plant")
    elif np.isfinite(distance):
        parts.append(f"{distance:.0f} m from the nearest confirmed plant")
    if state.status[plant] == Status.SUSPECT.value:
        parts.append(f"suspect on {state.status_on[plant]}, take a sample")
    if state.inspections[plant] == 0:
        parts.append("never inspected")
    if pressure > 0:
        parts.append(f"relative infection pressure {_plain(float(pressure))}")
        wild = exposure.from_reservoirs[plant] / pressure
        if wild >= 0.5:
            parts.append(f"{100 * wild:.0f} % of it from wild stands")
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else "Regular interval."


def _plain(pressure: float) -> str:
    """Return a pressure with two or more digits, never in powers of ten."""
    if pressure < 0.01:
        return "below 0.01"
    return f"{pressure:.2f}" if pressure < 1 else f"{pressure:.1f}" if pressure < 10 else f"{pressure:.0f}"
