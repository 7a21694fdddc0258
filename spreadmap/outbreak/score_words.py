"""What a score says, in sentences. In relative mode they speak of orders only."""

from __future__ import annotations

import datetime as dt

import numpy as np

from spreadmap.values.score import RuleScore, ScoreFigures

RULE_WORDS = {
    "chance": "the forecast",
    "inspection_list": "the inspection list",
    "pressure": "relative infection pressure alone",
    "distance": "distance to the nearest known case",
    "same_place": "same place as last time",
    "base_rate": "no order at all",
}
PLAIN_RULES = ("distance", "same_place", "base_rate")
LEAST_FOUND = 10
"""Found plants below which a sentence warns that they are few; None: our choice."""


def day(date: dt.date) -> str:
    """Return a date as it is said, `2 July 2026`."""
    return f"{date.day} {date:%B %Y}"


def number(value: float) -> str:
    """Return a number of plants; a tenth is shown where equal places share a plant."""
    return f"{value:,.1f}".removesuffix(".0")


def share(value: float, total: float) -> str:
    """Return a part of a total in whole percent."""
    return f"{100 * value / total:.0f} %"


def plants(count: float) -> str:
    """Return a count with its noun."""
    return f"{number(count)} {'plant' if count == 1 else 'plants'}"


def nothing_to_score(last_forecast: dt.date | None, as_of: dt.date) -> tuple[str, ...]:
    """Return why there is no score."""
    if last_forecast is None:
        return (
            f"Nothing to score: no forecast from before {day(as_of)} is on record. This run's forecast is kept; the next "
            "survey will be held against it.",
        )
    return (
        f"Nothing to score: since the forecast of {day(last_forecast)} no plant was inspected on which nothing had been "
        "seen before.",
    )


def sentences(figures: ScoreFigures, forecast_as_of: dt.date, *, is_relative: bool) -> tuple[str, ...]:
    """Return the answer: how many were found, where they stood in the order, and which plain rule was better."""
    said = [
        f"Since the forecast of {day(forecast_as_of)}, {plants(figures.inspected)} on which nothing had been seen "
        f"{'was' if figures.inspected == 1 else 'were'} inspected; {number(figures.found)} of them "
        f"{'is' if figures.found == 1 else 'are'} confirmed now."
    ]
    if figures.found in (0, figures.inspected):
        which = "None was found" if figures.found == 0 else "All were found"
        said.append(f"{which}, so no order of the plants is better than another.")
        return (*said, *([] if is_relative else chance_sentences(figures)))
    said += [order_sentence(figures), *verdicts(figures, is_relative=is_relative)]
    if figures.found < LEAST_FOUND:
        said.append(f"{plants(figures.found)} found: too few to judge a rule by.")
    return tuple(said)


def order_sentence(figures: ScoreFigures) -> str:
    """Return what the first tenth of each order held."""
    first, *others = figures.rules
    beside = "; ".join(
        f"{RULE_WORDS[rule.rule]} {number(rule.in_tenth)}" for rule in others if rule.rule in ("distance", "same_place")
    )
    return (
        f"The first tenth of the order of {RULE_WORDS[first.rule]} ({plants(figures.tenth)}) held "
        f"{number(first.in_tenth)} of the {number(figures.found)} found ({share(first.in_tenth, figures.found)}); "
        f"{beside}; orders at random hold {number(figures.random_low)} to {number(figures.random_high)}."
    )


def verdicts(figures: ScoreFigures, *, is_relative: bool) -> tuple[str, ...]:
    """Return which plain rule did better than the forecast, by the order and, with chances, by the Brier score."""
    first = figures.rules[0]
    plain = [rule for rule in figures.rules if rule.rule in PLAIN_RULES]
    said = [better_sentence(first, rule) for rule in plain if rule.auc > first.auc]
    if not said:
        equal = [rule for rule in plain if rule.auc == first.auc]
        said = [f"{RULE_WORDS[rule.rule].capitalize()} was as good as the forecast." for rule in equal] or [
            f"No plain rule ordered the plants better. {clear_sentence(first, plain)}"
        ]
    said += [tenth_sentence(first, rule) for rule in plain if rule.in_tenth > first.in_tenth and rule.auc <= first.auc]
    return tuple(said) if is_relative else (*said, *chance_sentences(figures))


def better_sentence(first: RuleScore, rule: RuleScore) -> str:
    """Return that a plain rule ordered the plants better, and how clearly."""
    if np.isnan(rule.auc_ahead_high):
        sure = "there are too few beds for a range of the difference"
    elif rule.auc_ahead_high < 0:
        sure = "clearly so when beds are redrawn"
    else:
        sure = "not clearly: with beds redrawn the difference changes sides"
    return (
        f"The plain rule was better: {RULE_WORDS[rule.rule]} put the found plant before the other in {share(rule.auc, 1)} "
        f"of pairs, {RULE_WORDS[first.rule]} in {share(first.auc, 1)}; {sure}."
    )


def tenth_sentence(first: RuleScore, rule: RuleScore) -> str:
    """Return that a plain rule held more in its first tenth only."""
    return (
        f"In the first tenth the plain rule was better: {RULE_WORDS[rule.rule]} held {number(rule.in_tenth)}, "
        f"{RULE_WORDS[first.rule]} {number(first.in_tenth)}."
    )


def clear_sentence(first: RuleScore, plain: list[RuleScore]) -> str:
    """Return how far ahead of the best plain rule the forecast was."""
    rival = max(plain, key=lambda rule: rule.auc)
    said = (
        f"{RULE_WORDS[first.rule].capitalize()} put the found plant before the other in {share(first.auc, 1)} of pairs, "
        f"{RULE_WORDS[rival.rule]} in {share(rival.auc, 1)}"
    )
    if np.isnan(rival.auc_ahead_low):
        return f"{said}; there are too few beds for a range of the difference."
    clear = "the lead holds" if rival.auc_ahead_low > 0 else "the lead does not always hold"
    return f"{said}; with beds redrawn {clear}."


def chance_sentences(figures: ScoreFigures) -> tuple[str, ...]:
    """Return how good the stated chances of being found were."""
    said = []
    count = figures.count
    if count is not None and np.isfinite(count.low):
        where = "inside" if count.inside else "outside"
        said.append(
            f"The forecast expected {number(round(count.expected, 1))} found plants ({number(count.low)} to "
            f"{number(count.high)}); {number(count.found)} is {where} that range."
        )
    if np.isinf(figures.rules[0].log_score):
        said.append("A plant was found, or missed, to which the forecast had given no chance of it at all.")
    for rule in figures.rules:
        if rule.rule in PLAIN_RULES and np.isfinite(rule.skill_over) and rule.skill_over < 0:
            said.append(
                f"The plain rule was better: {RULE_WORDS[rule.rule]} has the Brier score {rule.brier:.4f}, the forecast "
                f"{figures.rules[0].brier:.4f}."
            )
    return tuple(said)
