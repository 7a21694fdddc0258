"""What is thrown away or cut where no whole plant comes out with its roots; often nothing, on purpose."""

from __future__ import annotations

import datetime as dt

import numpy as np

from spreadmap.records.triage import day_of_year
from spreadmap.values.arrays import IntArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import CutPart, PestSystem
from spreadmap.values.plan import DiscardList, Disposal, PartsList
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status, Verdict

DISCARD = "discard the plant as it stands; no root work"
SET_APART = "set apart and look with a lens before anything is thrown away"
NOTHING = "Nothing is removed, discarded or cut."


def dispose(inventory: Inventory, state: PlantState, system: PestSystem, as_of: dt.date) -> Disposal:
    """Return the discard list, the list of parts to cut, or two empty lists, with the reason.

    Parameters
    ----------
    inventory, state : n plants
    system : PestSystem
    as_of : date
        Parts are cut in the next of their windows, or in the one that is open.

    Raises
    ------
    ValueError
        If the system's verdict is removal with roots: `rank_removals` makes that list.

    References
    ----------
    None: our choice.
    """
    if system.is_mapped:
        msg = f"{system.key}: its verdict is {system.verdict}, so its plants stand on the removal list"
        raise ValueError(msg)
    found = np.flatnonzero(
        np.isin(state.status.astype(str), [Status.INFECTED.value, Status.SUSPECT.value]) & state.is_standing
    )
    nothing = found[:0]
    remarks: tuple[str, ...] = ()
    thrown, cut = nothing, nothing
    if system.verdict is Verdict.DISCARD_PLANT:
        thrown, remarks = _without_woody(inventory, found, system)
    elif system.verdict is Verdict.CUT_PARTS:
        cut = found
    else:
        remarks = (NOTHING,)
    return Disposal(
        system_key=system.key,
        reason=system.verdict_reason,
        discard=_discard_list(thrown, state),
        parts=_parts_list(cut, state, system.cut_parts, as_of),
        remarks=remarks,
    )


def _without_woody(inventory: Inventory, found: IntArray, system: PestSystem) -> tuple[IntArray, tuple[str, ...]]:
    """Return the plants that may be thrown away, and a sentence about woody ones that stay."""
    woody = {genus.casefold() for genus in system.woody_genera}
    stays = np.array(
        [(host.split() or [""])[0].casefold() in woody for host in inventory.host[found].tolist()], dtype=bool
    )
    count = int(stays.sum())
    if not count:
        return found, ()
    plants = "1 plant is woody and stays" if count == 1 else f"{count} plants are woody and stay"
    return found[~stays], (f"{system.common_name}: {plants}; a woody host is not discarded.",)


def _discard_list(plants: IntArray, state: PlantState) -> DiscardList:
    """Return the list, confirmed plants first."""
    confirmed = state.status[plants] == Status.INFECTED.value
    order = np.argsort(~confirmed, kind="stable")
    return DiscardList(
        plant=plants[order],
        is_confirmed=confirmed[order],
        action=np.where(confirmed[order], DISCARD, SET_APART).astype(object),
    )


def _parts_list(plants: IntArray, state: PlantState, parts: tuple[CutPart, ...], as_of: dt.date) -> PartsList:
    """Return one item per part and plant, the part that is due first before the others."""
    dated = sorted(((*next_days(part, as_of), number) for number, part in enumerate(parts)))
    plant = np.tile(plants, len(dated))
    chosen = [parts[number] for _, _, number in dated for _ in range(len(plants))]
    begins = [begin for begin, _, _ in dated for _ in range(len(plants))]
    ends = [end for _, end, _ in dated for _ in range(len(plants))]
    return PartsList(
        plant=plant,
        is_confirmed=state.status[plant] == Status.INFECTED.value,
        part=np.array([part.part for part in chosen], dtype=object),
        begins_on=np.array(begins, dtype="datetime64[D]"),
        ends_on=np.array(ends, dtype="datetime64[D]"),
        how=np.array([part.how for part in chosen], dtype=object),
    )


def next_days(part: CutPart, as_of: dt.date) -> tuple[dt.date, dt.date]:
    """Return first and last day on which a part is cut: the open stretch from `as_of` on, else the next one."""
    for year in range(as_of.year - 1, as_of.year + 2):
        begins = day_of_year(year, part.begins)
        ends = day_of_year(year + (part.ends < part.begins), part.ends)
        if ends >= as_of:
            return max(begins, as_of), ends
    msg = f"no window of '{part.part}' ends within a year of {as_of}"
    raise ValueError(msg)
