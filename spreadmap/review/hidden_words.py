"""What the lists say of hidden infection: chances with their range in calibrated mode, nothing of the kind otherwise."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, tag
from spreadmap.values.hidden import Hidden, HiddenOrder
from spreadmap.values.results import SystemResult

Unseen = Hidden | HiddenOrder | None


def chance_words(say: Words, unseen: Hidden, plant: int) -> str:
    """Return the chance that a plant is infected already, `31 %`; a dash for plants that are no candidates."""
    chance = float(unseen.infected[plant])
    return say.chance(chance) if np.isfinite(chance) else "–"


def drawn_words(say: Words, unseen: Hidden) -> Callable[[int], str]:
    """Return what says the chance of a plant with the range over drawing, `31 % (22 % to 42 %)`, where there is one."""
    range_of = range_words(say, unseen)

    def said(plant: int) -> str:
        share, between = chance_words(say, unseen, plant), range_of(plant)
        return f"{share} ({between})" if between else share

    return said


def range_words(say: Words, unseen: Hidden) -> Callable[[int], str]:
    """Return what says how far drawing alone may move the chance of a plant, `22 % to 42 %`; nothing without draws."""
    low, high = unseen.drawn_range()

    def said(plant: int) -> str:
        if not np.isfinite(low[plant]):
            return ""
        return say("ahead.between", low=say.chance(float(low[plant])), high=say.chance(float(high[plant])))

    return said


def hidden_head(say: Words, unseen: Unseen) -> str:
    """Return the head of the column of hidden infection; nothing in relative mode, which has no such column."""
    return say("calibrated.infected_now") if isinstance(unseen, Hidden) else ""


def hidden_cell(say: Words, system: SystemResult, plant: int) -> Html | None:
    """Return the cell of one plant: how surely it is infected, now and by the next survey, and when such plants show it."""
    unseen, ahead = system.unseen, system.ahead
    if not isinstance(unseen, Hidden):
        return None
    under, shows = [range_words(say, unseen)(plant)], unseen.half_show_by[plant]
    if ahead.plants is not None and np.isfinite(ahead.plants.infected_by_survey[plant]):
        share = say.chance(float(ahead.plants.infected_by_survey[plant]))
        under.append(say("calibrated.later", share=share, day=ahead.next_survey_on.isoformat()))
    if not np.isnat(shows):
        under.append(say("calibrated.shows_by", day=str(shows)))
    return tag(
        "td",
        chance_words(say, unseen, plant),
        *(tag("span", text, class_="under") for text in under if text),
        class_="number chance",
    )
