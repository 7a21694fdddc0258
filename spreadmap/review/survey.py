"""What the last survey allows to be said, what chance chooses for the next one, and how hours could be shared."""

from __future__ import annotations

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.values.survey_answer import WHOLE, Basis, HoursShare, SurveyAnswer, SurveyStatement

MOST_SITES = 60
FIRST_SITES = 8
BASES = {Basis.EVERY: "every", Basis.RANDOM: "random", Basis.CHOSEN: "chosen", Basis.NONE: "nobody"}
"""How plants came to be chosen, by the names of their words."""


def survey_answer_words(say: Words, survey: SurveyAnswer) -> str:
    """Return in two sentences what the last survey of all sites allows to be said, and what it does not."""
    whole = survey.whole
    if whole.plants == 0:
        return say("survey.no_host")
    if whole.basis is Basis.NONE:
        return say("survey.nobody_looked")
    found = say("survey.not_noticed")
    if whole.noticed:
        found = say("survey.noticed", plants=say("noun.plant", n=whole.noticed))
    limit = say("survey.too_little")
    if whole.most_showing < whole.plants:
        limit = say("survey.at_most", share=say.part(whole.most_showing / whole.plants))
    return say("survey.comparison" if whole.basis is Basis.CHOSEN else "survey.statement", found=found, limit=limit)


def survey_details(say: Words, survey: SurveyAnswer) -> Html:
    """Return everything below the answer: the words of the whole, the sample, the sites, and the curve of shared hours."""
    when = None
    if survey.first_on is not None and survey.last_on is not None:
        when = say("survey.looked_from", first=say.day(survey.first_on), last=say.day(survey.last_on))
    parts: list[Html | None] = [
        tag("p", when, " " if when else None, say.told(survey.whole.sentence), class_="why"),
        tag("p", tag("b", say("survey.next")), " ", say.told(survey.sample.sentence), class_="why"),
        tag("ul", *(tag("li", say.told(text)) for text in survey.remarks)) if survey.remarks else None,
        statement_table(say, survey.statements) if len(survey.statements) > 1 else None,
        hours_table(say, survey.hours) if survey.hours else None,
    ]
    return join(*parts)


def statement_table(say: Words, statements: tuple[SurveyStatement, ...]) -> Html:
    """Return the statement of every site."""
    shown = statements[: 1 + MOST_SITES]
    rows = [
        tag(
            "tr",
            tag("th", say("survey.whole") if each.place == WHOLE else each.place, scope="row"),
            tag("td", say("survey.of", n=each.looked_at, plants=each.plants), class_="number"),
            tag("td", say.amount(each.noticed), class_="number"),
            tag("td", say.amount(each.most_showing), class_="number"),
            tag("td", say.part(each.confidence) if each.confidence == each.confidence else "–", class_="number"),
            tag("td", needed(say, each), class_="number"),
            tag("td", say(f"survey.basis_{BASES[each.basis]}"), class_="why"),
        )
        for each in shown
    ]
    names = ("site", "looked", "noticed", "most", "confidence", "needed", "basis")
    heads = [say(f"survey.head_{name}") for name in names]
    made = table(say("survey.caption"), heads, rows, first=FIRST_SITES, kind="survey")
    if len(shown) < len(statements):
        return join(made, tag("p", say("survey.further", n=len(statements) - len(shown))))
    return made


def needed(say: Words, statement: SurveyStatement) -> str:
    """Return how many plants the design asks for, or that one look at every plant is not enough."""
    if statement.size_needed is not None:
        return say.amount(statement.size_needed)
    if statement.passes_needed is None:
        return say("survey.never_reachable")
    return say("survey.not_reachable", n=statement.passes_needed)


def hours_table(say: Words, shares: tuple[HoursShare, ...]) -> Html:
    """Return what each share of one pot of hours looks at and takes out."""
    rows = [
        tag(
            "tr",
            tag("th", say("share.whole", n=100 * each.share), scope="row"),
            tag("td", say.hours(each.looking_hours), class_="number"),
            tag("td", say.amount(each.looked_at), class_="number"),
            tag("td", say.part(each.looked_worth), class_="number"),
            tag("td", say.hours(each.removing_hours), class_="number"),
            tag("td", say.amount(each.removed), class_="number"),
            tag("td", say.part(each.removed_worth), class_="number"),
        )
        for each in shares
    ]
    names = ("for_looking", "looking", "looked_at", "looked_worth", "removing", "removed", "removed_worth")
    heads = [say(f"survey.hours_{name}") for name in names]
    return table(say("survey.hours_caption"), heads, rows, kind="hours")
