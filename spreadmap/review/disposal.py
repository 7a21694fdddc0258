"""What the page says of a finding besides counts: what speaks against it, and what is thrown away or cut for it."""

from __future__ import annotations

import numpy as np

from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import plant_head, site_names, table
from spreadmap.review.words import name_of
from spreadmap.values.plan import Disposal
from spreadmap.values.results import Identification, SurveyResult, Triage
from spreadmap.values.words import Verdict

MOST_GROUPS = 12
MOST_ROWS = 50


def doubts(say: Words, item: Triage) -> Html | None:
    """Return what speaks against the identifications of one system, and how to tell; nothing where nothing does."""
    doubtful = [group for group in item.identifications if group.misfit]
    if not doubtful:
        return None
    lines = [
        tag("li", say("noun.plant", n=len(group.plants)), ": ", say.told(group.misfit))
        for group in doubtful[:MOST_GROUPS]
    ]
    more = len(doubtful) - len(lines)
    if more > 0:
        lines.append(tag("li", say("findings.more_groups", n=more)))
    return join(
        tag("p", say("findings.check"), class_="lead-in"),
        tag("ul", *lines, *(tag("li", say.told(text)) for text in own_ways(item, doubtful))),
    )


def own_ways(item: Triage, groups: list[Identification]) -> tuple[str, ...]:
    """Return how to tell what else fits; the system's own look-alikes stand in a list of their own."""
    known = tuple(alike.sentence for alike in item.system.look_alikes)
    says = [text for group in groups[:MOST_GROUPS] for text in group.tell_apart if not text.startswith(known)]
    return tuple(dict.fromkeys(says))


def disposal_answer(say: Words, item: Triage, result: SurveyResult) -> str:
    """Return in one sentence how many plants are discarded or cut for one system, and how many are set apart."""
    chosen = next((each for each in result.disposals if each.system_key == item.system.key), None)
    name = sentence(name_of(say, item))
    if chosen is None:
        return say("disposal.confirmed", pest=name, plants=say("noun.confirmed_plant", n=item.infected))
    if item.system.verdict is Verdict.CUT_PARTS:
        plants = len(np.unique(chosen.parts.plant))
        unsure = len(np.unique(chosen.parts.plant[~chosen.parts.is_confirmed]))
        suspect = say("disposal.suspect", n=unsure) if unsure else ""
        return say("disposal.cut", pest=name, plants=say("noun.plant", n=plants), suspect=suspect)
    confirmed = int(np.sum(chosen.discard.is_confirmed))
    apart = len(chosen.discard) - confirmed
    more = say("disposal.apart", n=apart) if apart else ""
    return say("disposal.discard", pest=name, plants=say("noun.plant", n=confirmed), apart=more)


def disposal_of(say: Words, item: Triage, result: SurveyResult) -> Html | None:
    """Return what is discarded or cut for one system; nothing where nothing was found or nothing is done."""
    chosen = next((each for each in result.disposals if each.system_key == item.system.key), None)
    if chosen is None or not item.is_found:
        return None
    remarks = [tag("p", say.told(text), class_="why") for text in chosen.remarks]
    if item.system.verdict is Verdict.DISCARD_PLANT:
        return join(*_discard(say, chosen, item, result), *remarks)
    if item.system.verdict is Verdict.CUT_PARTS:
        return join(*_cut(say, chosen, item, result), *remarks)
    return None


def _discard(say: Words, disposal: Disposal, item: Triage, result: SurveyResult) -> list[Html]:
    """Return how plants are discarded, and the first of them."""
    listed, names = disposal.discard, site_names(result)
    how = item.system.discard_how.says if item.system.discard_how is not None else ""
    confirmed = int(np.sum(listed.is_confirmed))
    counts = say("disposal.counts", plants=say("noun.plant", n=confirmed), apart=len(listed) - confirmed)
    rows = [
        tag(
            "tr",
            plant_head(say, result.inputs.inventory, names, int(listed.plant[row])),
            tag("td", say.told(listed.action[row]), class_="why"),
        )
        for row in range(min(len(listed), MOST_ROWS))
    ]
    heads = (say("removal.head_plant"), say("disposal.head_what"))
    made = table(say("disposal.discard_caption"), heads, rows, kind="discard")
    says = tag("p", f"{counts} ", say.told(how), class_="why")
    return [says, *([made, _rest(say, item, "discard_list", len(listed))] if len(listed) else [])]


def _cut(say: Words, disposal: Disposal, item: Triage, result: SurveyResult) -> list[Html]:
    """Return which parts are cut, when, and the first plants."""
    listed, names = disposal.parts, site_names(result)
    rows = [
        tag(
            "tr",
            plant_head(say, result.inputs.inventory, names, int(listed.plant[row])),
            tag("td", say.told(listed.part[row]), class_="word"),
            tag(
                "td", say("date.period", first=str(listed.begins_on[row]), last=str(listed.ends_on[row])), class_="date"
            ),
            tag("td", say.told(listed.how[row]), class_="why"),
        )
        for row in range(min(len(listed), MOST_ROWS))
    ]
    heads = (say("removal.head_plant"), *(say(f"disposal.head_{name}") for name in ("part", "when", "how")))
    made = table(say("disposal.cut_caption"), heads, rows, kind="cut")
    return [made, _rest(say, item, "cut_list", len(listed))]


def _rest(say: Words, item: Triage, name: str, count: int) -> Html:
    """Return where the whole list stands."""
    rows = say("noun.row", n=count)
    return tag("p", say("disposal.whole_list", rows=rows, file=f"{item.system.key}/{name}.csv"), class_="why")
