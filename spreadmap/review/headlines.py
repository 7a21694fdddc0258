"""What a person at a terminal hears first after a run."""

from __future__ import annotations

import math

from spreadmap.values.results import SurveyResult


def headlines(result: SurveyResult) -> tuple[str, ...]:
    """Return what a person at a terminal wants to hear first."""
    lines = [found.says for found in result.triage if found.is_told_of]
    lines += [item.misfit for found in result.triage for item in found.identifications if item.misfit]
    for system in result.systems:
        removal, plan = system.plan.removal, system.plan
        plants = "1 plant" if len(removal) == 1 else f"{len(removal)} plants"
        within, weeks = int(removal.within_hours.sum()), plan.backlog_weeks
        work = (
            f"{weeks:.1f} weeks of work in all"
            if math.isfinite(weeks)
            else "the crew has no hours, settings.removal.crew_hours_per_week is 0"
        )
        lines.append(f"{plants} on the removal list, {within} of them within this week's crew hours; {work}.")
        lines += [one.says for one in system.ahead.comparisons[:2]]
    told = [fault.sentence() for fault in result.inputs.faults if fault.column in ("as_of", "host", "evidence")]
    lines += told
    others = len(result.inputs.faults) - len(result.inputs.rejected) - len(told)
    if others > 0:
        lines.append(f"{others} remarks on the inputs stand in run.log.")
    if result.inputs.rejected:
        lines.append(f"{len(result.inputs.rejected)} rows were put aside: see rejected_rows.csv.")
    return tuple(lines)
