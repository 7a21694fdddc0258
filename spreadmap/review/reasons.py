"""Why a plant stands on a list: the list's own words in English and metres, else said from its figures."""

from __future__ import annotations

import numpy as np

from spreadmap.review.language import Words, sentence
from spreadmap.values.hidden import Hidden
from spreadmap.values.plan import InspectionList, RemovalList
from spreadmap.values.results import SystemResult
from spreadmap.values.words import Evidence, Status

MOSTLY_WILD = 0.5
"""Part of the pressure from which on wild stands are named [-]."""
SURE = (Evidence.LAB.value, Evidence.TYPICAL_SYMPTOMS.value)


def removal_reason(say: Words, system: SystemResult, removal: RemovalList, index: int) -> str:
    """Return on what a plant's place on the removal list rests, and where what it sends falls, or how much that is."""
    own = None if say.is_us else say.own(str(removal.reason[index]))
    if own is not None:
        return own
    finding, total = finding_words(say, system, int(removal.plant[index])), float(removal.onward.sum())
    share = say.part(float(removal.onward[index]) / total if total > 0 else 0.0)
    return say("removal.reason_sends", finding=finding, share=share)


def finding_words(say: Words, system: SystemResult, plant: int) -> str:
    """Return on what a finding rests, with its date."""
    state, unseen = system.state, system.unseen
    if state.status[plant] == Status.REMOVED.value:
        if state.has_regrowth[plant] or np.isnat(state.reopened_on[plant]):
            return say("removal.reason_regrowth", day=dated(say, state.removed_on[plant]))
        return say("removal.reason_reopened", day=dated(say, state.reopened_on[plant]))
    if state.status[plant] != Status.INFECTED.value:
        chance = say.chance(float(unseen.infected[plant])) if isinstance(unseen, Hidden) else "–"
        return say("calibrated.finding_none", share=chance)
    evidence = str(state.evidence[plant])
    return say(f"removal.reason_{evidence if evidence in SURE else 'other'}", day=dated(say, state.status_on[plant]))


def dated(say: Words, day: np.datetime64) -> str:
    """Return a date, or that it is not known."""
    return say.day(day) or say("removal.unknown_day")


def look_reason(say: Words, system: SystemResult, look: InspectionList, index: int) -> str:
    """Return why a plant of the inspection list is looked at, without any chance."""
    if say.takes_own_words:
        return str(look.reason[index])
    plant = int(look.plant[index])
    state, exposure = system.state, system.exposure
    parts = []
    distance, pressure = float(look.distance_m[index]), float(exposure.pressure[plant])
    if look.is_touching[index]:
        parts.append(say("inspection.touches"))
    elif np.isfinite(distance):
        parts.append(say("inspection.away", distance=say.length(distance)))
    if state.status[plant] == Status.SUSPECT.value:
        parts.append(say("inspection.suspect_on", day=dated(say, state.status_on[plant])))
    if state.inspections[plant] == 0:
        parts.append(say("inspection.never"))
    if pressure > 0:
        parts.append(say("inspection.pressure", pressure=say.figures(pressure)))
        wild = float(exposure.from_reservoirs[plant]) / pressure
        if wild >= MOSTLY_WILD:
            parts.append(say("inspection.from_wild", share=say.part(wild)))
    return f"{sentence('; '.join(parts))}." if parts else say("inspection.regular")
