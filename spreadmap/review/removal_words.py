"""Sentences about what crew hours avoid, and about places where plants were taken out."""

from __future__ import annotations

import numpy as np

from spreadmap.review.words import day, hours, part, several
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.words import Mode

TIMES = (0.5, 1.0, 2.0, 4.0)
"""Multiples of the week's crew hours for which the page says what they avoid [-]."""


def avoided_sentence(system: SystemResult, result: SurveyResult) -> str:
    """Return what the week's hours, half and several times as many avoid, with the range; nothing where nothing waits."""
    curve, weekly = system.plan.removal.curve, result.settings.removal.crew_hours_per_week
    if curve is None or len(curve) < 2 or weekly <= 0 or not curve.share[-1] > 0:
        return ""
    points = []
    for many in TIMES:
        reach = int(np.searchsorted(curve.hours, many * weekly * (1 + 1e-9), side="right")) - 1
        points.append(
            f"{hours(many * weekly)} avoid {part(float(curve.share[reach]))} "
            f"({part(float(curve.low[reach]))} to {part(float(curve.high[reach]))})"
        )
        if reach == len(curve) - 1:
            break
    of_what = (
        "the arrivals on healthy hosts that the plants on the list would send"
        if system.face.mode is Mode.RELATIVE
        else "the infections that the plants on the list would cause"
    )
    return (
        f"Of {of_what} until the horizon if they stayed: {'; '.join(points)}. In brackets the range over the scale run; "
        "the whole curve stands in removal_curve.csv."
    )


def holes_sentence(system: SystemResult) -> str:
    """Return which places where plants were taken out must be looked at next; nothing where there are none."""
    holes = system.plan.holes
    if holes is None or not len(holes):
        return ""
    waits = ~np.isnat(holes.next_check_on)
    late, again = int(holes.is_overdue.sum()), int((holes.has_regrowth | holes.is_reopened).sum())
    said = [f"{several(len(holes), 'place')} where a confirmed plant was taken out"]
    if late:
        oldest = holes.next_check_on[waits & holes.is_overdue].min()
        said.append(f"{several(late, 'check')} for sprouts overdue, the oldest since {day(oldest)}")
    if (coming := waits & ~holes.is_overdue).any():
        said.append(f"next check for sprouts on {day(holes.next_check_on[coming].min())}")
    if again:
        said.append(f"{several(again, 'place')} due again for a sprout or an order opened again")
    return f"{'; '.join(said)}. Dates and replanting stand in regrowth_checks.csv."
