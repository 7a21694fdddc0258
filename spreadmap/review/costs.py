"""What the work and the next survey cost, on the page."""

from __future__ import annotations

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.values.costs import CostRow, CostTable

MOST_ROWS = 40
FIRST_ROWS = 8
HEADS = ("site", "plants", "removing", "removal", "looked", "looking", "tests", "total")


def costs_answer(say: Words, costs: CostTable) -> str:
    """Return in one sentence what all of it costs, with the hours of looking beside those of removing."""
    if not costs.rows:
        return say("costs.nothing")
    return say(
        "costs.answer",
        total=money(say, costs.total, costs.currency),
        removing=say.hours(costs.removal_hours),
        removal=money(say, costs.removal, costs.currency),
        looking=say.hours(costs.inspection_hours),
        inspection=money(say, costs.inspection + costs.testing, costs.currency),
    )


def costs_details(say: Words, costs: CostTable) -> Html | None:
    """Return how far the sums can be trusted, and the table by site and owner."""
    if not costs.rows:
        return None
    shown = costs.rows[:MOST_ROWS]
    made = table(
        say("costs.caption", currency=costs.currency),
        [say(f"costs.head_{name}") for name in HEADS],
        [cost_row(say, row) for row in shown],
        first=FIRST_ROWS,
        kind="costs",
    )
    left = len(costs.rows) - len(shown)
    more = tag("p", say("costs.further", n=left)) if left else None
    return join(tag("p", say("costs.standing"), class_="why"), made, more)


def cost_row(say: Words, row: CostRow) -> Html:
    """Return one site of one owner."""
    return tag(
        "tr",
        tag("th", row.site, tag("span", row.owner, class_="under"), scope="row"),
        tag("td", say.amount(row.plants), class_="number"),
        tag("td", say.hours(row.person_hours), class_="number"),
        tag("td", say.amount(row.removal), class_="number"),
        tag("td", say.amount(row.looked_at), class_="number"),
        tag("td", say.hours(row.inspection_hours), class_="number"),
        tag("td", say.amount(row.inspection + row.testing), class_="number"),
        tag("td", say.amount(row.total), class_="number"),
    )


def money(say: Words, value: float, currency: str) -> str:
    """Return a sum to two digits that count: the rates are no better known."""
    if value <= 0:
        return f"0 {currency}"
    digits = 10 ** max(0, len(str(int(value))) - 2)
    return f"{say.amount(round(value / digits) * digits)} {currency}"
