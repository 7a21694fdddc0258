"""The spread ahead on the page: the answer, every course of action beside the others, and what holds."""

from __future__ import annotations

from spreadmap.outbreak.actions import LATER, LIST, NOTHING
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.review.words import amount, day, part, sentence
from spreadmap.values.ahead import Ahead, NewCases, Scenario
from spreadmap.values.words import Mode

FIRST_PAIRS = ((LIST, NOTHING), (LIST, LATER))
MOST_PLACES = 20


def ahead_answer(ahead: Ahead) -> str:
    """Return in a sentence or two what the list avoids, and what waiting costs."""
    if all(each.share_avoided == each.share_low == each.share_high == 0 for each in ahead.scenarios):
        return f"No course of action makes a difference by {day(ahead.horizon_on)}."
    said = [one.says for pair in FIRST_PAIRS for one in ahead.comparisons if (one.better, one.than) == pair]
    return " ".join(said)


def ahead_details(ahead: Ahead) -> Html:
    """Return everything below the answer: what was assumed, the table of the courses, and all comparisons."""
    told = set(FIRST_PAIRS)
    others = [one.says for one in ahead.comparisons if (one.better, one.than) not in told]
    parts: list[Html | None] = [
        tag("p", basis(ahead), class_="why"),
        scenario_table(ahead),
        tag("ul", *(tag("li", text) for text in (*others, *ahead.remarks))) if others or ahead.remarks else None,
        place_table(ahead) if ahead.places else None,
    ]
    return join(*parts)


def basis(ahead: Ahead) -> str:
    """Return on what the numbers rest."""
    return (
        f"New cases are plants infected from {day(ahead.as_of)} to {day(ahead.horizon_on)}, whether they show it by then "
        f"or not. {ahead.rates_say} Every course was run with the same {amount(ahead.draws * ahead.members)} outbreaks; "
        "surveys look at every standing host."
    )


def scenario_table(ahead: Ahead) -> Html:
    """Return the courses of action one below the other."""
    is_calibrated = ahead.mode is Mode.CALIBRATED
    heads = ["Course of action", "Taken out by plan", "Surveys"]
    if is_calibrated:
        heads += [f"New cases by {day(ahead.next_survey_on)}", f"New cases by {day(ahead.horizon_on)}", "Avoided"]
    else:
        heads += ["New cases avoided", "Range over rates and lengths"]
    rows = [scenario_row(each, is_first=number == 0) for number, each in enumerate(ahead.scenarios)]
    caption = "New cases under each course of action"
    caption += ", with the middle 90 % of the outbreaks" if is_calibrated else ", as shares of those if nothing is done"
    return table(caption, heads, rows, kind="scenarios")


def scenario_row(scenario: Scenario, *, is_first: bool) -> Html:
    """Return one course of action."""
    cells = [amount(scenario.taken_out), amount(scenario.looks)]
    if scenario.by_next_survey is not None and scenario.by_horizon is not None and scenario.avoided is not None:
        cells += [ranged(scenario.by_next_survey), ranged(scenario.by_horizon)]
        cells.append("–" if is_first else ranged(scenario.avoided))
    elif is_first:
        cells += ["–", "–"]
    else:
        cells += [part(scenario.share_avoided), f"{part(scenario.share_low)} to {part(scenario.share_high)}"]
    name = tag("th", sentence(scenario.says), scope="row")
    return tag("tr", name, *(tag("td", cell, class_="number") for cell in cells))


def ranged(cases: NewCases) -> str:
    """Return a number of plants with its middle 90 %."""
    return f"{cases.expected:.0f} ({cases.low_90:.0f} to {cases.high_90:.0f})"


def place_table(ahead: Ahead) -> Html:
    """Return the beds and sites with most new cases to come, if nothing is done; calibrated mode only."""
    most = sorted(ahead.places, key=lambda place: -place.by_horizon.expected)[:MOST_PLACES]
    rows = [
        tag(
            "tr",
            tag("th", f"{place.kind} {place.name}", scope="row"),
            tag("td", amount(place.hosts), class_="number"),
            tag("td", part(place.chance_by_survey), class_="number"),
            tag("td", part(place.chance_by_horizon), class_="number"),
            tag("td", ranged(place.by_horizon), class_="number"),
            tag("td", "–" if place.first_on is None else place.first_on.isoformat(), class_="date"),
        )
        for place in most
    ]
    heads = (
        "Bed or site", "Hosts", f"A new case by {day(ahead.next_survey_on)}", f"A new case by {day(ahead.horizon_on)}",
        f"New cases by {day(ahead.horizon_on)}", "First, if any, by",
    )  # fmt: skip
    return table("Where new cases are to be expected if nothing is done", heads, rows, kind="places")
