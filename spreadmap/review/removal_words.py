"""Sentences about what crew hours avoid, and about places where plants were taken out."""

from __future__ import annotations

import numpy as np

from spreadmap.review.language import Words
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.words import Mode

TIMES = (0.5, 1.0, 2.0, 4.0)
"""Multiples of the week's crew hours for which the page says what they avoid [-]."""


def avoided_sentence(say: Words, system: SystemResult, result: SurveyResult) -> str:
    """Return what the week's hours, half and several times as many avoid, with the range; nothing where nothing waits."""
    curve, weekly = system.plan.removal.curve, result.settings.removal.crew_hours_per_week
    if curve is None or len(curve) < 2 or weekly <= 0 or not curve.share[-1] > 0:
        return ""
    points = []
    for many in TIMES:
        reach = int(np.searchsorted(curve.hours, many * weekly * (1 + 1e-9), side="right")) - 1
        share, low, high = (say.part(float(one[reach])) for one in (curve.share, curve.low, curve.high))
        points.append(say("removal.avoided_point", hours=say.hours(many * weekly), share=share, low=low, high=high))
        if reach == len(curve) - 1:
            break
    said = "; ".join(points)
    if system.face.mode is Mode.CALIBRATED:
        return say("calibrated.avoided_words", what=say("calibrated.avoided_of"), points=said)
    return say("removal.avoided", what=say("removal.avoided_of"), points=said)


def holes_sentence(say: Words, system: SystemResult) -> str:
    """Return which places where plants were taken out must be looked at next; nothing where there are none.

    What is overdue comes first, as work for today; a date to come is told apart from it.
    """
    holes = system.plan.holes
    if holes is None or not len(holes):
        return ""
    waits = ~np.isnat(holes.next_check_on)
    late, again = int(holes.is_overdue.sum()), int((holes.has_regrowth | holes.is_reopened).sum())
    said = [say("removal.holes", places=say("noun.place", n=len(holes)))]
    if late:
        oldest = holes.next_check_on[waits & holes.is_overdue].min()
        said.append(say("removal.holes_late", n=late, day=say.day(oldest)))
    if (coming := waits & ~holes.is_overdue).any():
        first = say.day(holes.next_check_on[coming].min())
        said.append(say("removal.holes_next" if late else "removal.holes_first", day=first))
    if again:
        said.append(say("removal.holes_again", places=say("noun.place", n=again)))
    return say("removal.holes_end", said="; ".join(said))
