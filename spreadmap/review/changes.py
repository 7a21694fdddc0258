"""What changed since the survey before: new, taken out, cleared, reopened; and the switch between the two dates."""

from __future__ import annotations

from spreadmap.records.rounds import ChangeKind, changes_between
from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import plant_head, site_names, table
from spreadmap.review.words import status_word
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.surveys import PlantState

MOST_ROWS = 200
FIRST_ROWS = 12
ALWAYS_SAID = ("confirmed", "cleared", "reopened")
NOT_SAID = ("seen",)
"""Kinds of change that stand in the list only."""


def changes_of(system: SystemResult) -> tuple[ChangeKind, ...]:
    """Return the kinds of change of one system; none where there was no survey before."""
    return () if system.before is None else changes_between(system.before, system.state)


def changed_answer(say: Words, system: SystemResult) -> str:
    """Return in one sentence how many plants are new, taken out, cleared and reopened since the survey before."""
    if system.before is None:
        return say("changed.no_survey")
    said = [
        say(f"changed.count_{kind.key}", n=len(kind.plants))
        for kind in changes_of(system)
        if kind.key not in NOT_SAID and (kind.plants or kind.key in ALWAYS_SAID)
    ]
    return say("changed.answer", day=say.day(system.before.as_of), changes=say.together(said))


def changed_details(say: Words, key: str, system: SystemResult, result: SurveyResult) -> Html | None:
    """Return the switch between the two dates and the plants that changed; nothing without a survey before."""
    before = system.before
    if before is None:
        return None
    kinds = [kind for kind in changes_of(system) if kind.plants]
    return join(
        date_switch(say, key, before, system.state),
        changed_table(say, kinds, before, system, result) if kinds else None,
        tag("p", say("changed.why"), class_="why"),
    )


def date_switch(say: Words, key: str, before: PlantState, now: PlantState) -> Html:
    """Return two choices: the map shows the state now, or at the survey before."""
    choices = [
        tag(
            "label",
            tag("input", type="radio", name=f"{key}-date", value=value, data_state_of=key, checked=value == "now",
                autocomplete="off"),
            say.day(state.as_of),
        )
        for value, state in (("before", before), ("now", now))
    ]  # fmt: skip
    return tag("fieldset", tag("legend", say("changed.switch")), *choices, class_="dates")


def changed_table(
    say: Words, kinds: list[ChangeKind], before: PlantState, system: SystemResult, result: SurveyResult
) -> Html:
    """Return the plants that changed, kind by kind."""
    names, state = site_names(result), system.state
    rows: list[Html] = []
    total = sum(len(kind.plants) for kind in kinds)
    for kind in kinds:
        for plant in kind.plants[: MOST_ROWS - len(rows)]:
            rows.append(
                tag(
                    "tr",
                    tag("td", say(f"changed.kind_{kind.key}"), class_="word"),
                    plant_head(say, result.inputs.inventory, names, plant),
                    tag("td", status_word(say, before.status[plant], before.evidence[plant])),
                    tag("td", status_word(say, state.status[plant], state.evidence[plant])),
                    tag("td", say.day(state.status_on[plant]), class_="word"),
                )
            )
    heads = (
        say("changed.head_change"),
        say("removal.head_plant"),
        say("changed.head_then", day=say.day(before.as_of)),
        say("changed.head_now"),
        say("changed.head_since"),
    )
    caption = say("changed.caption", plants=say("noun.plant", n=total))
    made = table(caption, heads, rows, first=FIRST_ROWS, kind="changed")
    if len(rows) < total:
        return join(made, tag("p", say("changed.further", n=total - len(rows)), class_="why"))
    return made
