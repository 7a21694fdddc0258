"""What managers decided about plants, and which of it still holds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, TextArray, empty_text
from spreadmap.values.inventory import Inventory
from spreadmap.values.surveys import Decisions, PlantState
from spreadmap.values.words import Decision


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdicts:
    """The decision that holds for every plant of the inventory, empty where there is none, with its reason.

    `is_held` marks plants that were put off or refused: they stay on the list, outside the cut-off.
    """

    decision: TextArray
    reason: TextArray
    is_held: BoolArray


def verdicts_of(inventory: Inventory, state: PlantState, decisions: Decisions | None, as_of: dt.date) -> Verdicts:
    """Return what was decided about every plant, the last decision up to a date counting.

    A decision of a day on which the plant was removed, or of a day before, is done with; so is putting off until a day
    that has come. On one day the later row counts.

    References
    ----------
    None: our choice.
    """
    decision, reason = empty_text(len(inventory)), empty_text(len(inventory))
    if decisions is not None and len(decisions):
        place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
        today = np.datetime64(as_of)
        for row in np.argsort(decisions.decided_on, kind="stable").tolist():
            index = place.get(decisions.plant_id[row])
            day, until = decisions.decided_on[row], decisions.until[row]
            if index is None or not day <= today or day <= state.removed_on[index]:
                continue
            word = Decision(decisions.decision[row])
            is_over = word is Decision.PUT_OFF and until <= today
            decision[index] = Decision.OPEN.value if is_over else word.value
            reason[index] = "" if is_over else decisions.reason[row]
            if word is Decision.PUT_OFF and not is_over and not np.isnat(until):
                told = f"until {np.datetime_as_string(until, unit='D')}"
                reason[index] = f"{reason[index]} ({told})" if reason[index] else told
    held = np.isin(decision.astype(str), [Decision.PUT_OFF.value, Decision.REFUSE.value])
    return Verdicts(decision=decision, reason=reason, is_held=np.asarray(held, dtype=np.bool_))
