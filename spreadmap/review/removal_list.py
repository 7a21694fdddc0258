"""The removal list: its first rows as a table, and all rows as columns from which the page's script makes the others."""

from __future__ import annotations

from typing import Any

import numpy as np

from spreadmap.review.decide import controls_of, manager_words
from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.plants_layer import deflated_json
from spreadmap.review.reasons import removal_reason
from spreadmap.review.tables import FIRST_ROWS, place_words, plant_head, rank_range, site_names, table
from spreadmap.values.plan import RemovalList
from spreadmap.values.results import SurveyResult, SystemResult

PAGE_ROWS = 100
"""Rows of the list that stand in the page as it is opened, and on every further page of the list."""


def rank_words(say: Words, removal: RemovalList, index: int) -> str:
    """Return the range of ranks, marked where the plant changes sides of the cut-off within it."""
    said = rank_range(int(removal.rank_low[index]), int(removal.rank_high[index]))
    return said if removal.rank_holds[index] else say("removal.does_not_hold", rank=said)


def minutes_words(say: Words, removal: RemovalList, index: int) -> str:
    """Return the person-minutes of a plant, and what it adds for set-up."""
    own, added = removal.person_minutes[index], removal.set_up_minutes[index]
    return say.amount(own) + (f" + {say.amount(added)}" if added > 0 else "")


def planned_words(say: Words, removal: RemovalList, index: int) -> str:
    """Return the day of work with its order in the day."""
    day = removal.planned_on[index]
    if np.isnat(day):
        return say("removal.no_day")
    return say("removal.planned", day=str(day), at=str(removal.day_order[index]))


def why_words(say: Words, system: SystemResult, result: SurveyResult, index: int) -> str:
    """Return why a plant stands where it stands, what a manager decided, and whether its position is surveyed."""
    removal = system.plan.removal
    parts = [removal_reason(say, system, removal, index), manager_words(say, removal, index)]
    if result.inputs.inventory.is_synthetic[removal.plant[index]]:
        parts.append(say("removal.synthetic"))
    return " ".join(part for part in parts if part)


def removal_table(say: Words, key: str, system: SystemResult, result: SurveyResult) -> Html:
    """Return the first rows of the removal list of section `key`, with a line where the crew hours end."""
    removal, inventory, names = system.plan.removal, result.inputs.inventory, site_names(result)
    controls, currency = controls_of(say, system, result), result.settings.costs.currency
    rows = []
    for index in range(min(len(removal), PAGE_ROWS)):
        plant = int(removal.plant[index])
        if index and removal.within_hours[index - 1] and not removal.within_hours[index]:
            weekly = say.hours(result.settings.removal.crew_hours_per_week)
            rows.append(
                tag("tr", tag("td", say("removal.cut_line", hours=weekly), colspan=5), class_="cut-off"),
            )
        cost = f"{say.amount(removal.cost[index])} {currency}"
        rows.append(
            tag(
                "tr",
                tag(
                    "td", index + 1, tag("span", rank_words(say, removal, index), class_="under"), class_="number order"
                ),
                plant_head(say, inventory, names, plant),
                tag("td", minutes_words(say, removal, index), tag("span", cost, class_="under"), class_="number"),
                tag(
                    "td",
                    tag("span", planned_words(say, removal, index), class_="day"),
                    first_day(say("removal.not_before"), removal.earliest_on[index]),
                    first_day(say("removal.replant_from"), removal.replant_from[index]),
                    class_="date",
                ),
                tag("td", tag("span", why_words(say, system, result, index)), controls(index), class_="why"),
                class_=None if removal.within_hours[index] else "beyond",
                data_at=index,
            )
        )
    heads = [say(f"removal.head_{name}") for name in ("order", "plant", "minutes", "planned", "why")]
    made = table(say("removal.caption"), heads, rows, kind="removal")
    note = tag("p", say("removal.not_printed"), class_="print-only") if not removal.within_hours.all() else None
    return join(made, tag("div", class_="pages", data_pages=key), note)


def first_day(words: str, day: np.datetime64) -> Html:
    """Return a first day under the day of work."""
    return tag("span", f"{words} ", tag("span", str(day), class_="whole"), class_="under")


def list_values(say: Words, system: SystemResult, result: SurveyResult) -> dict[str, Any]:
    """Return the rows of a list that is longer than what stands in the page, deflated; empty for shorter ones."""
    removal, inventory, names = system.plan.removal, result.inputs.inventory, site_names(result)
    count = len(removal)
    if count <= PAGE_ROWS:
        return {"page": PAGE_ROWS, "first": FIRST_ROWS, "rows": ""}
    currency = result.settings.costs.currency
    controls = controls_of(say, system, result)
    every = range(count)
    columns = {
        "rank": [rank_words(say, removal, index) for index in every],
        "place": [place_words(say, inventory, names, int(plant)) for plant in removal.plant],
        "minutes": [minutes_words(say, removal, index) for index in every],
        "cost": [f"{say.amount(value)} {currency}" for value in removal.cost],
        "planned": [planned_words(say, removal, index) for index in every],
        "earliest": [str(day) for day in removal.earliest_on],
        "replant": [str(day) for day in removal.replant_from],
        "why": [why_words(say, system, result, index) for index in every],
        "decided": [list(controls.given(index)) for index in every],
    }
    return {"page": PAGE_ROWS, "first": FIRST_ROWS, "rows": deflated_json(columns)}
