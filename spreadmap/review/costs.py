"""What the work and the next survey cost, on the page."""

from __future__ import annotations

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.review.words import amount, hours, sentence
from spreadmap.values.costs import COSTS_STANDING, CostRow, CostTable

MOST_ROWS = 40
FIRST_ROWS = 8


def costs_answer(costs: CostTable) -> str:
    """Return in one sentence what all of it costs, with the hours of looking beside those of removing."""
    if not costs.rows:
        return "There is nothing to take out and nothing to look at."
    return (
        f"About {money(costs.total, costs.currency)} in all: {hours(costs.removal_hours)} of removing "
        f"({money(costs.removal, costs.currency)}) beside {hours(costs.inspection_hours)} of looking in the next survey "
        f"({money(costs.inspection + costs.testing, costs.currency)} with tests)."
    )


def costs_details(costs: CostTable) -> Html | None:
    """Return how far the sums can be trusted, and the table by site and owner."""
    if not costs.rows:
        return None
    shown = costs.rows[:MOST_ROWS]
    heads = ("Site, owner", "Plants out", "Removing", "Removal", "Looked at", "Looking", "Looking and tests", "Total")
    made = table(
        f"By site and owner, {costs.currency}; the whole removal list and one survey",
        heads,
        [cost_row(row) for row in shown],
        first=FIRST_ROWS,
        kind="costs",
    )
    left = len(costs.rows) - len(shown)
    more = tag("p", f"{amount(left)} further rows stand in costs.csv.") if left else None
    return join(tag("p", f"{sentence(COSTS_STANDING)}.", class_="why"), made, more)


def cost_row(row: CostRow) -> Html:
    """Return one site of one owner."""
    return tag(
        "tr",
        tag("th", row.site, tag("span", row.owner, class_="under"), scope="row"),
        tag("td", amount(row.plants), class_="number"),
        tag("td", hours(row.person_hours), class_="number"),
        tag("td", amount(row.removal), class_="number"),
        tag("td", amount(row.looked_at), class_="number"),
        tag("td", hours(row.inspection_hours), class_="number"),
        tag("td", amount(row.inspection + row.testing), class_="number"),
        tag("td", amount(row.total), class_="number"),
    )


def money(value: float, currency: str) -> str:
    """Return a sum to two digits that count: the rates are no better known."""
    if value <= 0:
        return f"0 {currency}"
    digits = 10 ** max(0, len(str(int(value))) - 2)
    return f"{amount(round(value / digits) * digits)} {currency}"
