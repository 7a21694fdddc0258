"""Removal and inspection together, with what must be said beside them."""

from __future__ import annotations

import numpy as np

from spreadmap.values.plan import HoleChecks, InspectionList, PackingPrice, Plan, RemovalCurve, RemovalList
from spreadmap.values.settings import Settings


def plan_work(
    removal: RemovalList, inspection: InspectionList, settings: Settings, holes: HoleChecks | None = None
) -> Plan:
    """Return the plan of one pest system.

    `backlog_weeks` says how long one crew works on the removal list without what managers hold back; infinite where it
    has no hours. `holes` are the places where plants were taken out before.
    """
    weekly, held = settings.removal.crew_hours_per_week, removal.is_held
    hours = float(removal.cumulative_hours[~held].max(initial=0.0))
    weeks = hours / weekly if weekly > 0 else (float("inf") if hours else 0.0)
    left = int((~removal.within_hours & ~held).sum())
    remarks = []
    if len(removal) == 0:
        remarks.append("No confirmed plant stands: there is nothing to take out.")
    elif not weekly > 0:
        remarks.append(
            f"{_plants(left, 'waits', 'wait')} for a crew without hours: settings.removal.crew_hours_per_week is 0; "
            "allowed: above zero for anything to come out. Give the hours of a week."
        )
    elif left == 0:
        remarks.append(
            "No backlog: the order does not matter this week, the whole list fits into its crew hours. Put what is left of "
            "them into looking."
        )
    else:
        remarks.append(
            f"{_plants(left, 'stands', 'stand')} outside the crew hours of this week, of {len(removal)} on the list."
        )
        if removal.packing is not None:
            remarks.append(_packing_words(removal.packing, removal.curve))
    remarks += removal.remarks
    shaky = int((~removal.rank_holds).sum())
    if shaky:
        remarks.append(
            f"{_plants(shaky, 'changes', 'change')} sides of the removal cut-off when {removal.ranks_over} change: weak "
            "evidence."
        )
    out_of_reach = int((~inspection.within_hours).sum())
    if out_of_reach:
        remarks.append(f"{_plants(out_of_reach, 'stays', 'stay')} outside the hours of the next survey.")
    if not removal.is_green.any():
        remarks.append(
            "Plants that only the model points at are inspected and tested first; none is on the removal list."
            if not removal.pointed_at
            else f"{_plants(len(removal.pointed_at), 'has', 'have')} no finding and would be worth taking out by the fitted "
            "model alone: first on the inspection list, to be tested, and not on the removal list."
        )
    return Plan(removal=removal, inspection=inspection, backlog_weeks=weeks, remarks=tuple(remarks), holes=holes)


def _packing_words(price: PackingPrice, curve: RemovalCurve | None) -> str:
    """Return what packing by bed costs and saves this week, in one sentence."""
    is_calibrated = curve is not None and bool(np.isfinite(curve.infections).any())
    lost = price.by_value - price.packed
    number, unit = (abs(lost), "infections") if is_calibrated else (100 * abs(lost), "% of the list's arrivals")
    told = f"{number:.1f}"
    what = "as much as" if float(told) == 0 else f"{told} {unit} {'less' if lost > 0 else 'more'} than"
    return (
        f"Packed by bed, this week's work avoids {what} the same minutes of digging by value alone would, which take "
        f"{price.by_value_hours:.1f} crew hours with set-up instead of {price.packed_hours:.1f}."
    )


def _plants(number: int, one: str, more: str) -> str:
    """Return a number of plants with its verb."""
    return f"{number} plant {one}" if number == 1 else f"{number} plants {more}"
