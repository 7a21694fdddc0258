"""How earlier forecasts did: the answer in sentences, and every order beside the plain rules."""

from __future__ import annotations

import numpy as np

from spreadmap.review.language import Words, sentence, words_of
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.reliability import reliability_figure, reliability_png, reliability_table
from spreadmap.review.score_words import says_of
from spreadmap.review.tables import table
from spreadmap.values.results import SurveyResult
from spreadmap.values.score import RuleScore, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode


def score_answer(say: Words, score: SystemScore) -> Html | str:
    """Return what the newest score says first: how many were found, and which order was better; or why there is none."""
    if not score.surveys:
        return join(*(join(say.told(text), " ") for text in score.says))
    counted, *others = says_of(say, score.surveys[-1])
    return " ".join((counted, others[1]) if len(others) > 1 else (counted, *others))


def further_says(say: Words, survey: SurveyScore) -> tuple[str, ...]:
    """Return the sentences of a score that stand below its answer."""
    _, *others = says_of(say, survey)
    return (others[0], *others[2:]) if len(others) > 1 else ()


def score_details(say: Words, score: SystemScore) -> Html:
    """Return everything below the answer: reasons, tables of the newest survey, of the rings, and the totals."""
    if not score.surveys:
        return Html("")
    last = score.surveys[-1]
    figures, pooled = last.figures, score.running
    reasons = [say("score.only_inspected"), *([say("score.orders_only")] if score.mode is Mode.RELATIVE else [])]
    caption = say("score.caption", day=say.day(last.forecast_as_of), last=say.day(last.scored_to))
    parts: list[Html | None] = [
        tag("p", " ".join((*further_says(say, last), *reasons)), class_="why"),
        rule_table(say, figures, caption),
        ring_score_table(say, figures) if figures.rings else None,
        reliability_figure(say, figures) if figures.reliability else None,
        reliability_table(say, figures.reliability) if figures.reliability else None,
        tag("ul", *(tag("li", say.told(text)) for text in last.remarks)) if last.remarks else None,
    ]
    if len(score.surveys) > 1 and pooled is not None:
        parts += [
            survey_table(say, score.surveys),
            rule_table(say, pooled, say("score.all_together", n=len(score.surveys))),
            tag("p", say("score.added"), class_="why"),
        ]
    return join(*parts)


def rule_table(say: Words, figures: ScoreFigures, caption: str) -> Html:
    """Return every order with what it held; the forecast stands first."""
    has_chances = figures.murphy is not None
    heads = [
        say("score.head_order"),
        say("score.head_tenth", n=figures.tenth),
        say("score.head_hours", n=figures.hours),
        say("score.head_pairs"),
        say("score.head_ahead"),
    ]
    heads += [say(f"calibrated.{name}") for name in ("brier", "log_score", "skill")] if has_chances else []
    rows = [rule_row(say, rule, figures, has_chances=has_chances) for rule in figures.rules]
    return table(caption, heads, rows, kind="score")


def rule_row(say: Words, rule: RuleScore, figures: ScoreFigures, *, has_chances: bool) -> Html:
    """Return one order; figures that do not exist are a dash."""
    cells = [
        say("survey.of", n=say.short(rule.in_tenth), plants=figures.found),
        say("survey.of", n=say.short(rule.in_hours), plants=figures.found),
        say.part(rule.auc) if np.isfinite(rule.auc) else "–",
        lead(say, rule),
    ]
    if has_chances:
        cells += [digits(say, rule.brier), digits(say, rule.log_score), digits(say, rule.skill_over, 2)]
    name = tag("th", sentence(say(f"rule.{rule.rule}")), scope="row")
    return tag("tr", name, *(tag("td", cell, class_="number") for cell in cells))


def lead(say: Words, rule: RuleScore) -> str:
    """Return by how many percent of pairs the forecast was ahead of a rule, with its range."""
    if not np.isfinite(rule.auc_ahead):
        return "–"
    said = signed(rule.auc_ahead)
    if not np.isfinite(rule.auc_ahead_low):
        return said
    return say("score.lead", lead=said, low=signed(rule.auc_ahead_low), high=signed(rule.auc_ahead_high))


def signed(share: float) -> str:
    """Return a difference of shares in percent with its sign."""
    whole = round(100 * share)
    return f"{'−' if whole < 0 else '+' if whole > 0 else ''}{abs(whole)} %"


def digits(say: Words, value: float, places: int = 4) -> str:
    """Return a score; a dash where there is none."""
    if np.isnan(value):
        return "–"
    return say("score.without_end") if np.isinf(value) else say.decimal(value, places).replace("-", "−")


def ring_score_table(say: Words, figures: ScoreFigures) -> Html:
    """Return how many of the found plants stood inside the rings of each name."""
    rows = [
        tag(
            "tr",
            tag("th", sentence(say(f"ring.{ring.name}")), scope="row"),
            tag("td", say.part(ring.share), class_="number"),
            tag("td", say.amount(ring.inspected), class_="number"),
            tag("td", say("survey.of", n=ring.found, plants=figures.found), class_="number"),
            tag("td", say.part(ring.found / figures.found) if figures.found else "–", class_="number"),
        )
        for ring in figures.rings
    ]
    heads = [say(f"score.ring_{name}") for name in ("name", "share", "inspected", "found", "part")]
    return table(say("score.ring_caption"), heads, rows, kind="score")


def survey_table(say: Words, surveys: tuple[SurveyScore, ...]) -> Html:
    """Return one row per scored forecast."""
    rows = [
        tag(
            "tr",
            tag("th", say.day(survey.forecast_as_of), scope="row"),
            tag("td", say.day(survey.scored_to), class_="date"),
            tag("td", say.amount(survey.figures.inspected), class_="number"),
            tag("td", say.amount(survey.figures.found), class_="number"),
            *(
                tag("td", share_in_order(say, survey.figures, rule), class_="number")
                for rule in (None, "distance", "same_place")
            ),
        )
        for survey in surveys
    ]
    names = ("forecast", "scored", "inspected", "found", "pairs", "distance", "same_place")
    return table(say("score.by_forecast"), [say(f"score.survey_{name}") for name in names], rows, kind="score")


def share_in_order(say: Words, figures: ScoreFigures, name: str | None) -> str:
    """Return the share of pairs in order of one rule, by default the forecast's own."""
    for rule in figures.rules:
        if name in (None, rule.rule):
            return say.part(rule.auc) if np.isfinite(rule.auc) else "–"
    return "–"


def score_pictures(result: SurveyResult) -> dict[str, bytes]:
    """Return the reliability pictures by their path in the run folder; none in relative mode."""
    say = words_of(result.settings.page)
    return {
        f"{system.triage.system.key}/reliability.png": reliability_png(
            say, system.score.running, f"{result.inputs.name}: {say.phrase(system.triage.system.common_name)}"
        )
        for system in result.systems
        if system.score is not None and system.score.running is not None and system.score.running.reliability
    }
