"""The inspections that looked at one plant each, and when a plant that is confirmed by now was first seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, DateArray, IntArray, no_dates
from spreadmap.values.inventory import Inventory
from spreadmap.values.surveys import PlantState, Surveys
from spreadmap.values.words import Evidence, Method, Status

LOOKED = (Status.CLEAN.value, Status.SUSPECT.value, Status.INFECTED.value)
SEEN = (Status.SUSPECT.value, Status.INFECTED.value)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """Inspections of one pest system whose plant is known, in the order of their dates; one item per inspection.

    `is_test` says whether the result rests on a test; `is_by_test` whether the inspection itself was one, and not a
    look whose finding a test bore out. `row` is the position in the surveys.
    """

    plant: IntArray
    on: DateArray
    is_test: BoolArray
    is_by_test: BoolArray
    is_seen: BoolArray
    row: IntArray


def looks_at(surveys: Surveys, inventory: Inventory, system_key: str, last: np.datetime64) -> Looks:
    """Return the inspections up to a date that looked at one plant each for a pest system.

    Left out are beds inspected as a whole, of which no plant is known, and plants that were gone.
    """
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    plant = np.array([place.get(key, -1) for key in surveys.plant_id.tolist()], dtype=np.int64)
    counts = (
        (plant >= 0)
        & (surveys.inspected_on <= last)
        & np.isin(surveys.pest_system.astype(str), [system_key, ""])
        & np.isin(surveys.status.astype(str), LOOKED)
        & ~surveys.is_bed_count
    )
    rows = np.flatnonzero(counts)
    rows = rows[np.argsort(surveys.inspected_on[rows], kind="stable")]
    by_test = np.asarray(surveys.method[rows] == Method.TEST.value, dtype=np.bool_)
    return Looks(
        plant=plant[rows],
        on=surveys.inspected_on[rows],
        is_test=by_test | np.asarray(surveys.evidence[rows] == Evidence.LAB.value, dtype=np.bool_),
        is_by_test=by_test,
        is_seen=np.isin(surveys.status[rows].astype(str), SEEN),
        row=rows,
    )


def seen_on(looks: Looks, state: PlantState) -> DateArray:
    """Return when each plant that is confirmed by now was first seen with symptoms, shape (n,); no date for others.

    A suspect that was confirmed later counts from the day on which it became one. A negative test between clears it.
    """
    days = no_dates(len(state))
    known = ~np.isnat(state.first_found_on)
    for row in np.flatnonzero(known[looks.plant] & (looks.on <= state.first_found_on[looks.plant])):
        plant = looks.plant[row]
        if looks.is_seen[row]:
            days[plant] = looks.on[row] if np.isnat(days[plant]) else days[plant]
        elif looks.is_test[row]:
            days[plant] = np.datetime64("NaT")
    return np.where(known & np.isnat(days), state.first_found_on, days)
