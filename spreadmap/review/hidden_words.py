"""What the lists say of hidden infection: chances with their range in calibrated mode, nothing of the kind otherwise."""

from __future__ import annotations

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


def hidden_head(say: Words, unseen: Unseen) -> str:
    """Return the head of the column of hidden infection; nothing in relative mode, which has no such column."""
    return say("calibrated.infected_now") if isinstance(unseen, Hidden) else ""


def hidden_cell(say: Words, system: SystemResult, plant: int) -> Html | None:
    """Return the cell of one plant: how surely it is infected, now and by the next survey, and when such plants show it."""
    unseen, ahead = system.unseen, system.ahead
    if not isinstance(unseen, Hidden):
        return None
    under, shows = [], unseen.half_show_by[plant]
    if ahead.plants is not None and np.isfinite(ahead.plants.infected_by_survey[plant]):
        share = say.chance(float(ahead.plants.infected_by_survey[plant]))
        under.append(say("calibrated.later", share=share, day=ahead.next_survey_on.isoformat()))
    if not np.isnat(shows):
        under.append(say("calibrated.shows_by", day=str(shows)))
    return tag(
        "td",
        chance_words(say, unseen, plant),
        *(tag("span", text, class_="under") for text in under),
        class_="number chance",
    )
