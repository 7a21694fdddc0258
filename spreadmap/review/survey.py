"""What the last survey allows to be said, what chance chooses for the next one, and how hours could be shared."""

from __future__ import annotations

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.review.words import amount, day, hours, part
from spreadmap.values.survey_answer import Basis, HoursShare, SurveyAnswer, SurveyStatement

MOST_SITES = 60
FIRST_SITES = 8
BASIS_WORDS = {
    Basis.EVERY: "every plant: a statement",
    Basis.RANDOM: "drawn at random: a statement",
    Basis.CHOSEN: "chosen, not drawn: a comparison",
    Basis.NONE: "nobody looked",
}


def survey_answer_words(survey: SurveyAnswer) -> str:
    """Return in two sentences what the last survey of all sites allows to be said, and what it does not."""
    whole = survey.whole
    if whole.plants == 0:
        return "No standing host: there is nothing to say."
    if whole.basis is Basis.NONE:
        return "Nobody looked: nothing can be said."
    found = "Nothing was noticed" if whole.noticed == 0 else f"The pest is there, noticed on {_plants(whole.noticed)}"
    limit = (
        "too little was looked at to rule anything out"
        if whole.most_showing >= whole.plants
        else f"at 95 % confidence at most {part(whole.most_showing / whole.plants)} of the plants showed symptoms"
    )
    if whole.basis is Basis.CHOSEN:
        return f"{found}; had the plants been drawn at random, {limit}. They were not, so that this is no statement."
    return f"{found}; {limit}."


def survey_details(survey: SurveyAnswer) -> Html:
    """Return everything below the answer: the words of the whole, the sample, the sites, and the curve of shared hours."""
    when = (
        ""
        if survey.first_on is None or survey.last_on is None
        else f"Looked at from {day(survey.first_on)} to {day(survey.last_on)}. "
    )
    parts: list[Html | None] = [
        tag("p", when + survey.whole.sentence, class_="why"),
        tag("p", tag("b", "Next survey. "), survey.sample.sentence, class_="why"),
        tag("ul", *(tag("li", text) for text in survey.remarks)) if survey.remarks else None,
        statement_table(survey.statements) if len(survey.statements) > 1 else None,
        hours_table(survey.hours) if survey.hours else None,
    ]
    return join(*parts)


def statement_table(statements: tuple[SurveyStatement, ...]) -> Html:
    """Return the statement of every site."""
    shown = statements[: 1 + MOST_SITES]
    rows = [
        tag(
            "tr",
            tag("th", each.place, scope="row"),
            tag("td", f"{amount(each.looked_at)} of {amount(each.plants)}", class_="number"),
            tag("td", amount(each.noticed), class_="number"),
            tag("td", f"{amount(each.most_showing)}", class_="number"),
            tag("td", part(each.confidence) if each.confidence == each.confidence else "–", class_="number"),
            tag("td", needed(each), class_="number"),
            tag("td", BASIS_WORDS[each.basis], class_="why"),
        )
        for each in shown
    ]
    heads = (
        "Site",
        "Looked at",
        "Noticed",
        "At most showing, at 95 %",
        "Confidence below the design",
        "To draw for the design",
        "On what it rests",
    )
    made = table("What the last survey allows to be said, site by site", heads, rows, first=FIRST_SITES, kind="survey")
    if len(shown) < len(statements):
        more = f"{amount(len(statements) - len(shown))} further sites stand in survey_statement.csv."
        return join(made, tag("p", more))
    return made


def needed(statement: SurveyStatement) -> str:
    """Return how many plants the design asks for, or that one look at every plant is not enough."""
    if statement.size_needed is not None:
        return amount(statement.size_needed)
    passes = "no number of" if statement.passes_needed is None else f"{amount(statement.passes_needed)} or more"
    return f"not reachable; {passes} passes"


def hours_table(shares: tuple[HoursShare, ...]) -> Html:
    """Return what each share of one pot of hours looks at and takes out."""
    rows = [
        tag(
            "tr",
            tag("th", f"{100 * each.share:.0f} %", scope="row"),
            tag("td", hours(each.looking_hours), class_="number"),
            tag("td", amount(each.looked_at), class_="number"),
            tag("td", part(each.looked_worth), class_="number"),
            tag("td", hours(each.removing_hours), class_="number"),
            tag("td", amount(each.removed), class_="number"),
            tag("td", part(each.removed_worth), class_="number"),
        )
        for each in shares
    ]
    heads = (
        "For looking",
        "Looking",
        "Plants looked at",
        "Of all worth of looking",
        "Removing",
        "Plants taken out",
        "Of all that the list avoids",
    )
    caption = "One pot of person-hours, of one survey and one week of crews, shared between looking and removing"
    return table(caption, heads, rows, kind="hours")


def _plants(number: int) -> str:
    """Return a number of plants."""
    return "1 plant" if number == 1 else f"{amount(number)} plants"
