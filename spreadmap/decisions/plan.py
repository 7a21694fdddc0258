"""Removal and inspection together, with what must be said beside them."""

from __future__ import annotations

from spreadmap.values.plan import InspectionList, Plan, RemovalList
from spreadmap.values.settings import Settings


def plan_work(removal: RemovalList, inspection: InspectionList, settings: Settings) -> Plan:
    """Return the plan of one pest system.

    `backlog_weeks` says how long one crew works on the whole removal list; infinite where it has no hours.
    """
    weekly = settings.removal.crew_hours_per_week
    hours = float(removal.cumulative_hours[-1]) if len(removal) else 0.0
    weeks = hours / weekly if weekly > 0 else (float("inf") if hours else 0.0)
    left = int((~removal.within_hours).sum())
    remarks = []
    if len(removal) == 0:
        remarks.append("No confirmed plant stands: there is nothing to take out.")
    elif left == 0:
        remarks.append("No backlog: the order does not matter this week, the whole list fits into its crew hours.")
    else:
        remarks.append(
            f"{_plants(left, 'stands', 'stand')} outside the crew hours of this week, of {len(removal)} on the list."
        )
    shaky = int((~removal.rank_holds).sum())
    if shaky:
        remarks.append(
            f"{_plants(shaky, 'changes', 'change')} sides of the removal cut-off when the kernel's lengths change: "
            "weak evidence."
        )
    out_of_reach = int((~inspection.within_hours).sum())
    if out_of_reach:
        remarks.append(f"{_plants(out_of_reach, 'stays', 'stay')} outside the hours of the next survey.")
    remarks.append("Plants that only the model points at are inspected and tested first; none is on the removal list.")
    return Plan(removal=removal, inspection=inspection, backlog_weeks=weeks, remarks=tuple(remarks))


def _plants(number: int, one: str, more: str) -> str:
    """Return a number of plants with its verb."""
    return f"{number} plant {one}" if number == 1 else f"{number} plants {more}"
