"""The spread ahead on the page: the answer, every course of action beside the others, and what holds."""

from __future__ import annotations

from spreadmap.outbreak.actions import LATER, LIST, NOTHING, RING, TWICE_CREW, TWICE_SURVEYS
from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.values.ahead import Ahead, Comparison, NewCases, Scenario
from spreadmap.values.words import Mode

FIRST_PAIRS = ((LIST, NOTHING), (LIST, LATER))
MOST_PLACES = 20
DOING = (NOTHING, LIST, LATER, TWICE_CREW, TWICE_SURVEYS, RING)
"""Courses of action that have words of their own."""


def ahead_answer(say: Words, ahead: Ahead) -> str:
    """Return in a sentence or two what the list avoids, and what waiting costs."""
    if all(each.share_avoided == each.share_low == each.share_high == 0 for each in ahead.scenarios):
        return say("ahead.no_difference", day=say.day(ahead.horizon_on))
    pairs = [[one for one in ahead.comparisons if (one.better, one.than) == pair] for pair in FIRST_PAIRS]
    return " ".join(compared(say, one, ahead) for found in pairs for one in found)


def compared(say: Words, one: Comparison, ahead: Ahead) -> str:
    """Return a comparison of two courses of action: its own words in English, in other languages from its figures."""
    if say.is_source or one.better not in DOING or one.than not in DOING:
        return one.says
    said = {
        "better": sentence(say(f"ahead.doing_{one.better}")),
        "than": say(f"ahead.doing_{one.than}"),
        "day": say.day(ahead.horizon_on),
    }
    is_same = one.ratio_low == one.ratio_high == 1.0 and not (one.holds or one.fails)
    if one.avoided is not None:
        if is_same and one.avoided.low_90 == one.avoided.high_90 == 0:
            return say("calibrated.no_difference", **said)
        name = ("avoids" if one.avoided.expected >= 0 else "adds") + ("" if one.holds or one.fails else "_unsure")
        return say(f"calibrated.{name}", cases=difference(say, one.avoided), **said)
    if is_same:
        return say("ahead.same", **said)
    least, most = (say.amount(100 * ratio) for ratio in (one.ratio_low, one.ratio_high))
    left = say("share.whole", n=least) if least == most else say("ahead.ratio", low=least, high=most)
    return say("ahead.holds" if one.holds else "ahead.fails" if one.fails else "ahead.unsure", left=left, **said)


def difference(say: Words, cases: NewCases) -> str:
    """Return a difference with its middle 90 %, its sign turned where it is told as cases added."""
    sign = -1 if cases.expected < 0 else 1
    low, high = sorted((sign * cases.low_90, sign * cases.high_90))
    return say("calibrated.range", middle=sign * cases.expected, low=signed(say, low), high=signed(say, high))


def signed(say: Words, value: float) -> str:
    """Return a whole number with the sign of less."""
    whole = round(value)
    return f"{'−' if whole < 0 else ''}{say.amount(abs(whole))}"


def ahead_details(say: Words, ahead: Ahead) -> Html:
    """Return everything below the answer: what was assumed, the table of the courses, and all comparisons."""
    told = set(FIRST_PAIRS)
    others = [tag("li", compared(say, one, ahead)) for one in ahead.comparisons if (one.better, one.than) not in told]
    others += [tag("li", say.told(text)) for text in ahead.remarks]
    parts: list[Html | None] = [
        basis(say, ahead),
        scenario_table(say, ahead),
        tag("ul", *others) if others else None,
        place_table(say, ahead) if ahead.places else None,
    ]
    return join(*parts)


def basis(say: Words, ahead: Ahead) -> Html:
    """Return on what the numbers rest."""
    first = say("ahead.basis", day=say.day(ahead.as_of), horizon=say.day(ahead.horizon_on))
    runs = say("ahead.runs", n=ahead.draws * ahead.members)
    return tag("p", f"{first} ", say.told(ahead.rates_say), f" {runs}", class_="why")


def scenario_table(say: Words, ahead: Ahead) -> Html:
    """Return the courses of action one below the other."""
    is_calibrated = ahead.mode is Mode.CALIBRATED
    heads = [say("ahead.head_course"), say("ahead.head_out"), say("ahead.head_surveys")]
    if is_calibrated:
        heads += [say("calibrated.new_by", day=say.day(day)) for day in (ahead.next_survey_on, ahead.horizon_on)]
        heads.append(say("calibrated.avoided"))
    else:
        heads += [say("ahead.head_avoided"), say("ahead.head_range")]
    rows = [scenario_row(say, each, is_first=number == 0) for number, each in enumerate(ahead.scenarios)]
    return table(say("calibrated.scenarios" if is_calibrated else "ahead.caption"), heads, rows, kind="scenarios")


def scenario_row(say: Words, scenario: Scenario, *, is_first: bool) -> Html:
    """Return one course of action."""
    cells = [say.amount(scenario.taken_out), say.amount(scenario.looks)]
    if scenario.by_next_survey is not None and scenario.by_horizon is not None and scenario.avoided is not None:
        cells += [ranged(say, scenario.by_next_survey), ranged(say, scenario.by_horizon)]
        cells.append("–" if is_first else ranged(say, scenario.avoided))
    elif is_first:
        cells += ["–", "–"]
    else:
        cells.append(say.part(scenario.share_avoided))
        cells.append(say("ahead.between", low=say.part(scenario.share_low), high=say.part(scenario.share_high)))
    own = say.takes_own_words or scenario.key not in DOING
    name = sentence(scenario.says if own else say(f"ahead.doing_{scenario.key}"))
    return tag("tr", tag("th", name, scope="row"), *(tag("td", cell, class_="number") for cell in cells))


def ranged(say: Words, cases: NewCases) -> str:
    """Return a number of plants with its middle 90 %."""
    return say(
        "calibrated.range", middle=cases.expected, low=signed(say, cases.low_90), high=signed(say, cases.high_90)
    )


def place_table(say: Words, ahead: Ahead) -> Html:
    """Return the beds and sites with most new cases to come, if nothing is done; calibrated mode only."""
    most = sorted(ahead.places, key=lambda place: -place.by_horizon.expected)[:MOST_PLACES]
    rows = [
        tag(
            "tr",
            tag("th", say(f"calibrated.kind_{place.kind}", name=place.name), scope="row"),
            tag("td", say.amount(place.hosts), class_="number"),
            tag("td", say.chance(place.chance_by_survey), class_="number"),
            tag("td", say.chance(place.chance_by_horizon), class_="number"),
            tag("td", ranged(say, place.by_horizon), class_="number"),
            tag("td", "–" if place.first_on is None else place.first_on.isoformat(), class_="date"),
        )
        for place in most
    ]
    survey, horizon = say.day(ahead.next_survey_on), say.day(ahead.horizon_on)
    heads = (
        say("calibrated.place"),
        say("ahead.head_hosts"),
        say("calibrated.a_case_by", day=survey),
        say("calibrated.a_case_by", day=horizon),
        say("calibrated.new_by", day=horizon),
        say("calibrated.first_by"),
    )
    return table(say("calibrated.places"), heads, rows, kind="places")
