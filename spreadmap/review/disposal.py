"""What the page says of a finding besides counts: what speaks against it, and what is thrown away or cut for it."""

from __future__ import annotations

import numpy as np

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import plant_head, site_names, table
from spreadmap.review.words import sentence, several
from spreadmap.values.plan import Disposal
from spreadmap.values.results import Identification, SurveyResult, Triage
from spreadmap.values.words import Verdict

MOST_GROUPS = 12
MOST_ROWS = 50


def doubts(item: Triage) -> Html | None:
    """Return what speaks against the identifications of one system, and how to tell; nothing where nothing does."""
    doubtful = [group for group in item.identifications if group.misfit]
    if not doubtful:
        return None
    lines = [tag("li", f"{several(len(group.plants), 'plant')}: {group.misfit}") for group in doubtful[:MOST_GROUPS]]
    more = len(doubtful) - len(lines)
    if more > 0:
        lines.append(tag("li", f"{more} further groups of findings stand in summary.json."))
    return join(
        tag("p", "Check what it is:", class_="lead-in"),
        tag("ul", *lines, *(tag("li", text) for text in own_ways(item, doubtful))),
    )


def own_ways(item: Triage, groups: list[Identification]) -> tuple[str, ...]:
    """Return how to tell what else fits; the system's own look-alikes stand in a list of their own."""
    known = tuple(alike.sentence for alike in item.system.look_alikes)
    says = [text for group in groups[:MOST_GROUPS] for text in group.tell_apart if not text.startswith(known)]
    return tuple(dict.fromkeys(says))


def disposal_answer(item: Triage, result: SurveyResult) -> str:
    """Return in one sentence how many plants are discarded or cut for one system, and how many are set apart."""
    chosen = next((each for each in result.disposals if each.system_key == item.system.key), None)
    name = sentence(item.system.common_name)
    if chosen is None:
        return f"{name}: {several(item.infected, 'plant')} confirmed."
    if item.system.verdict is Verdict.CUT_PARTS:
        plants = len(np.unique(chosen.parts.plant))
        unsure = len(np.unique(chosen.parts.plant[~chosen.parts.is_confirmed]))
        return (
            f"{name}: parts of {several(plants, 'plant')} to cut off{f', {unsure} of them suspect' if unsure else ''}."
        )
    confirmed = int(np.sum(chosen.discard.is_confirmed))
    apart = len(chosen.discard) - confirmed
    return f"{name}: {several(confirmed, 'plant')} to discard{f', {apart} to set apart' if apart else ''}."


def disposal_of(item: Triage, result: SurveyResult) -> Html | None:
    """Return what is discarded or cut for one system; nothing where nothing was found or nothing is done."""
    chosen = next((each for each in result.disposals if each.system_key == item.system.key), None)
    if chosen is None or not item.is_found:
        return None
    if item.system.verdict is Verdict.DISCARD_PLANT:
        return join(*_discard(chosen, item, result), *_remarks(chosen))
    if item.system.verdict is Verdict.CUT_PARTS:
        return join(*_cut(chosen, item, result), *_remarks(chosen))
    return None


def _remarks(disposal: Disposal) -> list[Html]:
    return [tag("p", text, class_="why") for text in disposal.remarks]


def _discard(disposal: Disposal, item: Triage, result: SurveyResult) -> list[Html]:
    """Return how plants are discarded, and the first of them."""
    listed, names = disposal.discard, site_names(result)
    how = item.system.discard_how.says if item.system.discard_how is not None else ""
    confirmed = int(np.sum(listed.is_confirmed))
    says = f"{several(confirmed, 'plant')} to discard, {len(listed) - confirmed} to set apart. {how}"
    rows = [
        tag(
            "tr",
            plant_head(result.inputs.inventory, names, int(listed.plant[row])),
            tag("td", listed.action[row], class_="why"),
        )
        for row in range(min(len(listed), MOST_ROWS))
    ]
    made = table("Plants to discard, without root work", ("Plant, bed, site", "What to do"), rows, kind="discard")
    return [tag("p", says, class_="why"), *([made, _rest(item, "discard_list", len(listed))] if len(listed) else [])]


def _cut(disposal: Disposal, item: Triage, result: SurveyResult) -> list[Html]:
    """Return which parts are cut, when, and the first plants."""
    listed, names = disposal.parts, site_names(result)
    rows = [
        tag(
            "tr",
            plant_head(result.inputs.inventory, names, int(listed.plant[row])),
            tag("td", listed.part[row], class_="word"),
            tag("td", f"{listed.begins_on[row]} to {listed.ends_on[row]}", class_="date"),
            tag("td", listed.how[row], class_="why"),
        )
        for row in range(min(len(listed), MOST_ROWS))
    ]
    heads = ("Plant, bed, site", "Part", "When", "How")
    made = table("Parts to cut off and destroy; the plant stays", heads, rows, kind="cut")
    return [made, _rest(item, "cut_list", len(listed))]


def _rest(item: Triage, name: str, count: int) -> Html:
    """Return where the whole list stands."""
    return tag("p", f"The whole list, {several(count, 'row')}: {item.system.key}/{name}.csv.", class_="why")
