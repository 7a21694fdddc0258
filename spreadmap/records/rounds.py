"""The state of the plants at the survey before the last one, and what changed since then."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from spreadmap.records.state import plant_state
from spreadmap.values.arrays import BoolArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.words import Status


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeKind:
    """Plants that changed in one way, by their positions in the inventory, and the words for it."""

    key: str
    label: str
    plants: tuple[int, ...]


def survey_before(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, system: PestSystem, first_on: dt.date | None
) -> PlantState | None:
    """Return the state on the last day of the survey before the last one.

    Parameters
    ----------
    inventory, surveys, work_log, system
        As for `plant_state`.
    first_on : date or None
        First day of the last survey; None where nobody looked.

    Returns
    -------
    PlantState or None
        None where no inspection of the system is older than the last survey.
    """
    if first_on is None:
        return None
    of_system = (surveys.pest_system == system.key) | (surveys.pest_system == "")
    older = surveys.inspected_on[of_system & (surveys.inspected_on < np.datetime64(first_on))]
    if not len(older):
        return None
    state, _ = plant_state(inventory, surveys, work_log, system, older.max())
    return state


def changes_between(before: PlantState, now: PlantState) -> tuple[ChangeKind, ...]:
    """Return plants that are new, taken out, cleared, reopened or gone since a state; no plant stands in two kinds.

    Notes
    -----
    Bound by tests/test_rounds.py. A place is reopened where a plant was taken out before and something was found there
    since, or its order was opened again; a suspect that turned out confirmed is new.
    """
    was, is_ = before.status.astype(str), now.status.astype(str)
    again = (now.has_regrowth & ~before.has_regrowth) | (~np.isnat(now.reopened_on) & np.isnat(before.reopened_on))
    stood_out = was == Status.REMOVED.value
    reopened = stood_out & (again | (is_ == Status.INFECTED.value))
    found = np.isin(is_, (Status.INFECTED.value, Status.SUSPECT.value))
    confirmed = (is_ == Status.INFECTED.value) & (was != Status.INFECTED.value) & ~reopened
    suspect = (is_ == Status.SUSPECT.value) & ~np.isin(was, (Status.SUSPECT.value, Status.INFECTED.value)) & ~reopened
    taken = (is_ == Status.REMOVED.value) & ~stood_out
    had = np.isin(was, (Status.INFECTED.value, Status.SUSPECT.value))
    cleared = had & (is_ == Status.CLEAN.value)
    gone = (is_ == Status.NOT_FOUND.value) & (was != Status.NOT_FOUND.value)
    first_look = (was == Status.NOT_INSPECTED.value) & ~found & (is_ == Status.CLEAN.value)
    kinds = (
        ("confirmed", "Newly confirmed", confirmed),
        ("suspect", "Newly suspect", suspect),
        ("reopened", "Reopened: taken out, and something is there again", reopened),
        ("taken", "Taken out", taken),
        ("cleared", "Cleared by a test", cleared),
        ("gone", "Looked for, not there any more", gone),
        ("seen", "Looked at for the first time, nothing seen", first_look),
    )
    return tuple(ChangeKind(key=key, label=label, plants=positions(flags)) for key, label, flags in kinds)


def positions(flags: BoolArray) -> tuple[int, ...]:
    """Return the positions of the plants that are marked."""
    return tuple(int(row) for row in np.flatnonzero(flags))
