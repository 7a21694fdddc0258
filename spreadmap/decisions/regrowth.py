"""What follows a removal: checks for sprouts, and when the place may be planted again."""

from __future__ import annotations

import datetime as dt

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.decisions.dates import regrowth_dates, replant_from
from spreadmap.records.state import confirmed, due_for_removal, reopened, sprouting
from spreadmap.values.arrays import DateArray, IntArray, no_dates
from spreadmap.values.inventory import Inventory
from spreadmap.values.plan import HoleChecks
from spreadmap.values.settings import RemovalSettings, Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status


def checks_after(out_on: DateArray, settings: RemovalSettings) -> DateArray:
    """Return the dates on which each hole is looked at, shape (n, checks), the next bud break last."""
    checks = np.full((len(out_on), len(settings.regrowth_check_days) + 1), "NaT", dtype="datetime64[D]")
    for day in np.unique(out_on[~np.isnat(out_on)]):
        checks[out_on == day] = regrowth_dates(day.item(), settings)
    return checks


def replant_days(
    inventory: Inventory, state: PlantState, plant: IntArray, out_on: DateArray, checks: DateArray,
    settings: Settings, as_of: dt.date,
) -> DateArray:  # fmt: skip
    """Return the first day on which each plant's place may be planted again, if nothing is found meanwhile.

    The last confirmed case near by counts from the day of its finding where it was taken out, and from the date of the
    state where it still stands; the plant itself counts, too.
    """
    removal, season = settings.removal, (settings.infection.growing_from, settings.infection.growing_to)
    found = state.first_found_on.copy()
    found[due_for_removal(state)] = np.datetime64(as_of)
    cases = np.flatnonzero(~np.isnat(found))
    last = no_dates(len(plant))
    if len(cases) and len(plant):
        tree = cKDTree(np.column_stack([inventory.easting[cases], inventory.northing[cases]]))
        places = np.column_stack([inventory.easting[plant], inventory.northing[plant]])
        for row, near in enumerate(tree.query_ball_point(places, removal.replant_within_m)):
            if near:
                last[row] = found[cases[near]].max()
    last_check = checks.max(axis=1) if checks.shape[1] else out_on
    return replant_from(out_on, last_check, last, removal, season)


def hole_checks(inventory: Inventory, state: PlantState, settings: Settings, as_of: dt.date) -> HoleChecks:
    """Return the places where a confirmed plant was taken out, with the checks for regrowth that are due.

    A sprout begins the checks anew, on the day it was seen; digging it out does so once more. A check counts as done when
    the place was looked at on its day or later and before the next one.

    References
    ----------
    None: our choice.
    """
    removed = (state.status == Status.REMOVED.value) & ~np.isnat(state.first_found_on) & ~np.isnat(state.removed_on)
    plant = np.flatnonzero(removed)
    began = np.fmax(state.removed_on[plant], state.sprout_on[plant])
    checks = checks_after(began, settings.removal)
    looked = state.last_inspected_on[plant]
    seen = np.where(looked > began, looked, np.datetime64("NaT"))
    ahead = np.isnat(seen)[:, None] | (checks > seen[:, None])
    nobody = np.datetime64("NaT", "D")
    following = [row[open_].min() if open_.any() else nobody for row, open_ in zip(np.sort(checks), ahead, strict=True)]
    next_on = np.array(following, dtype="datetime64[D]")
    order = np.lexsort((plant, np.where(np.isnat(next_on), np.datetime64("9999-12-31"), next_on)))
    again, grown = reopened(state)[plant], sprouting(state)[plant]
    return HoleChecks(
        plant=plant[order],
        removed_on=state.removed_on[plant][order],
        roots_complete=state.roots_complete[plant][order],
        checks_from=began[order],
        next_check_on=next_on[order],
        is_overdue=(next_on[order] < np.datetime64(as_of)),
        has_regrowth=grown[order],
        is_reopened=again[order],
        replant_from=replant_days(inventory, state, plant, began, checks, settings, as_of)[order],
        is_case_near=_cases_near(inventory, state, plant, settings.removal.replant_within_m)[order],
    )


def _cases_near(inventory: Inventory, state: PlantState, plant: IntArray, within_m: float) -> np.ndarray:
    """Return whether a confirmed plant still stands near each place."""
    sick = confirmed(state)
    if not sick.any() or not len(plant):
        return np.zeros(len(plant), dtype=np.bool_)
    tree = cKDTree(np.column_stack([inventory.easting[sick], inventory.northing[sick]]))
    away, _ = tree.query(np.column_stack([inventory.easting[plant], inventory.northing[plant]]))
    return np.asarray(away <= within_m)
