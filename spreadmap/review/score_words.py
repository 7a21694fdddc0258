"""What a score says, sentence by sentence: the score's own words in English, in other languages from its figures."""

from __future__ import annotations

import numpy as np

from spreadmap.outbreak.score_words import LEAST_FOUND, PLAIN_RULES
from spreadmap.review.language import Words, sentence
from spreadmap.values.score import RuleScore, ScoreFigures, SurveyScore
from spreadmap.values.words import Mode

SAID_BESIDE = ("distance", "same_place")


def says_of(say: Words, survey: SurveyScore) -> tuple[str, ...]:
    """Return how many were found, where they stood in the order, and which plain rule was better."""
    if say.is_source or not survey.figures.rules:
        return survey.says
    figures, is_relative = survey.figures, survey.mode is Mode.RELATIVE
    day = say.day(survey.forecast_as_of)
    said = [say("score.counted", day=day, plants=say("noun.plant", n=figures.inspected), found=figures.found)]
    chances = [] if is_relative else chance_sentences(say, figures)
    if figures.found in (0, figures.inspected):
        which = say("score.none_found") if figures.found == 0 else say("score.all_found")
        return (*said, which, *chances)
    said += [order_sentence(say, figures), *verdicts(say, figures), *chances]
    if figures.found < LEAST_FOUND:
        said.append(say("score.too_few", plants=say("noun.plant", n=figures.found)))
    return tuple(said)


def rule_name(say: Words, rule: RuleScore) -> str:
    """Return the name of an order of the plants."""
    return say(f"rule.{rule.rule}")


def order_sentence(say: Words, figures: ScoreFigures) -> str:
    """Return what the first tenth of each order held."""
    first, *others = figures.rules
    beside = [f"{rule_name(say, rule)} {say.short(rule.in_tenth)}" for rule in others if rule.rule in SAID_BESIDE]
    return say(
        "score.order",
        rule=rule_name(say, first),
        plants=say("noun.plant", n=figures.tenth),
        held=say.short(first.in_tenth),
        found=figures.found,
        share=say.part(first.in_tenth / figures.found),
        beside="; ".join(beside),
        low=say.short(figures.random_low),
        high=say.short(figures.random_high),
    )


def verdicts(say: Words, figures: ScoreFigures) -> list[str]:
    """Return which plain rule ordered the plants better than the forecast, and how clearly."""
    first = figures.rules[0]
    plain = [rule for rule in figures.rules if rule.rule in PLAIN_RULES]
    said = [better_sentence(say, first, rule) for rule in plain if rule.auc > first.auc]
    if not said:
        equal = [rule for rule in plain if rule.auc == first.auc]
        said = [say("score.as_good", rule=sentence(rule_name(say, rule))) for rule in equal]
    if not said and plain:
        said = [clear_sentence(say, first, max(plain, key=lambda rule: rule.auc))]
    return said + [
        say(
            "score.better_tenth",
            rule=rule_name(say, rule),
            held=say.short(rule.in_tenth),
            forecast=rule_name(say, first),
            own=say.short(first.in_tenth),
        )
        for rule in plain
        if rule.in_tenth > first.in_tenth and rule.auc <= first.auc
    ]


def better_sentence(say: Words, first: RuleScore, rule: RuleScore) -> str:
    """Return that a plain rule ordered the plants better, and how clearly."""
    sure = "score.few_beds"
    if np.isfinite(rule.auc_ahead_high):
        sure = "score.clearly" if rule.auc_ahead_high < 0 else "score.not_clearly"
    return say(
        "score.better",
        rule=rule_name(say, rule),
        share=say.part(rule.auc),
        forecast=rule_name(say, first),
        own=say.part(first.auc),
        sure=say(sure),
    )


def clear_sentence(say: Words, first: RuleScore, rival: RuleScore) -> str:
    """Return how far ahead of the best plain rule the forecast was."""
    sure = "score.few_beds"
    if np.isfinite(rival.auc_ahead_low):
        sure = "score.lead_holds" if rival.auc_ahead_low > 0 else "score.lead_does_not"
    return say(
        "score.no_better",
        forecast=sentence(rule_name(say, first)),
        own=say.part(first.auc),
        rule=rule_name(say, rival),
        share=say.part(rival.auc),
        sure=say(sure),
    )


def chance_sentences(say: Words, figures: ScoreFigures) -> list[str]:
    """Return how good the stated chances of being found were."""
    said, count = [], figures.count
    if count is not None and np.isfinite(count.low):
        where = say("calibrated.inside" if count.inside else "calibrated.outside")
        low, high = say.short(count.low), say.short(count.high)
        expected = say.short(count.expected)
        said.append(say("calibrated.expected", expected=expected, low=low, high=high, found=count.found, where=where))
    if np.isinf(figures.rules[0].log_score):
        said.append(say("calibrated.no_chance"))
    for rule in figures.rules:
        if rule.rule in PLAIN_RULES and np.isfinite(rule.skill_over) and rule.skill_over < 0:
            own, forecast = say.decimal(rule.brier, 4), say.decimal(figures.rules[0].brier, 4)
            said.append(say("calibrated.brier_better", rule=rule_name(say, rule), own=own, forecast=forecast))
    return said
