"""What changed since the survey before: new, taken out, cleared, reopened; and the switch between the two dates."""

from __future__ import annotations

from spreadmap.records.rounds import ChangeKind, changes_between
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import plant_head, site_names, table
from spreadmap.review.words import amount, day, several, status_word, together
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.surveys import PlantState

MOST_ROWS = 200
FIRST_ROWS = 12
IN_WORDS = {
    "confirmed": "newly confirmed",
    "suspect": "newly suspect",
    "reopened": "reopened",
    "taken": "taken out",
    "cleared": "cleared",
    "gone": "not there any more",
}
"""Kinds of change that the answer names; the others stand in the list only."""


def changes_of(system: SystemResult) -> tuple[ChangeKind, ...]:
    """Return the kinds of change of one system; none where there was no survey before."""
    return () if system.before is None else changes_between(system.before, system.state)


def changed_answer(system: SystemResult) -> str:
    """Return in one sentence how many plants are new, taken out, cleared and reopened since the survey before."""
    if system.before is None:
        return "There is no earlier survey of this pest on record, so nothing can be compared."
    said = [
        f"{amount(len(kind.plants))} {IN_WORDS[kind.key]}"
        for kind in changes_of(system)
        if kind.key in IN_WORDS and (kind.plants or kind.key in {"confirmed", "cleared", "reopened"})
    ]
    return f"Since the survey that ended on {day(system.before.as_of)}: {together(said)}."


def changed_details(key: str, system: SystemResult, result: SurveyResult) -> Html | None:
    """Return the switch between the two dates and the plants that changed; nothing without a survey before."""
    before = system.before
    if before is None:
        return None
    kinds = [kind for kind in changes_of(system) if kind.plants]
    return join(
        date_switch(key, before, system.state),
        changed_table(kinds, before, system, result) if kinds else None,
        tag(
            "p",
            "A plant found for the first time may have been infected for long: what is new is the finding. A look that sees "
            "nothing clears no plant that was found before; a test does.",
            class_="why",
        ),
    )


def date_switch(key: str, before: PlantState, now: PlantState) -> Html:
    """Return two choices: the map shows the state now, or at the survey before."""
    choices = [
        tag(
            "label",
            tag("input", type="radio", name=f"{key}-date", value=value, data_state_of=key, checked=value == "now",
                autocomplete="off"),
            day(state.as_of),
        )
        for value, state in (("before", before), ("now", now))
    ]  # fmt: skip
    return tag("fieldset", tag("legend", "The map shows the state of"), *choices, class_="dates")


def changed_table(kinds: list[ChangeKind], before: PlantState, system: SystemResult, result: SurveyResult) -> Html:
    """Return the plants that changed, kind by kind."""
    names, state = site_names(result), system.state
    rows: list[Html] = []
    total = sum(len(kind.plants) for kind in kinds)
    for kind in kinds:
        for plant in kind.plants[: MOST_ROWS - len(rows)]:
            rows.append(
                tag(
                    "tr",
                    tag("td", kind.label, class_="word"),
                    plant_head(result.inputs.inventory, names, plant),
                    tag("td", status_word(before.status[plant], before.evidence[plant])),
                    tag("td", status_word(state.status[plant], state.evidence[plant])),
                    tag("td", day(state.status_on[plant]), class_="word"),
                )
            )
    heads = ("Change", "Plant, bed, site", f"On {day(before.as_of)}", "Now", "Since")
    made = table(f"{several(total, 'plant')} changed", heads, rows, first=FIRST_ROWS, kind="changed")
    if len(rows) < total:
        return join(
            made, tag("p", f"{amount(total - len(rows))} further plants stand in the plants layer.", class_="why")
        )
    return made
