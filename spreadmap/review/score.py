"""How earlier forecasts did: the answer in sentences, and every order beside the plain rules."""

from __future__ import annotations

import io

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.outbreak.score_words import RULE_WORDS
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.tables import table
from spreadmap.review.words import amount, day, part, sentence, several
from spreadmap.values.results import SurveyResult
from spreadmap.values.score import ReliabilityRow, RuleScore, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode

ONLY_INSPECTED = (
    "Only plants that were really inspected count, and nobody inspects at random: these figures compare orders of the "
    "plants; they are no census."
)
ORDERS_ONLY = (
    "In relative mode a forecast puts plants in an order and says nothing else of them; so only orders are scored."
)
ADDED = "Only plants of one survey are compared with each other."


def score_answer(score: SystemScore) -> tuple[str, ...]:
    """Return what the newest score says first: how many were found, and which order was better; or why there is none."""
    if not score.surveys:
        return score.says
    counted, *others = score.surveys[-1].says
    return (counted, others[1]) if len(others) > 1 else (counted, *others)


def further_says(survey: SurveyScore) -> tuple[str, ...]:
    """Return the sentences of a score that stand below its answer."""
    _, *others = survey.says
    return (others[0], *others[2:]) if len(others) > 1 else ()


def score_details(score: SystemScore) -> Html:
    """Return everything below the answer: reasons, tables of the newest survey, of the rings, and the totals."""
    if not score.surveys:
        return Html("")
    last = score.surveys[-1]
    figures, pooled = last.figures, score.running
    reasons = (ONLY_INSPECTED, ORDERS_ONLY) if score.mode is Mode.RELATIVE else (ONLY_INSPECTED,)
    parts: list[Html | None] = [
        tag("p", " ".join((*further_says(last), *reasons)), class_="why"),
        rule_table(figures, f"Forecast of {day(last.forecast_as_of)} against inspections up to {day(last.scored_to)}"),
        ring_score_table(figures) if figures.rings else None,
        reliability_table_of(figures.reliability) if figures.reliability else None,
        listed(last.remarks),
    ]
    if len(score.surveys) > 1 and pooled is not None:
        parts += [
            survey_table(score.surveys),
            rule_table(pooled, f"All {len(score.surveys)} forecasts together"),
            tag("p", ADDED, class_="why"),
        ]
    return join(*parts)


def listed(remarks: tuple[str, ...]) -> Html | None:
    """Return remarks as a list; nothing where there are none."""
    return tag("ul", *(tag("li", text) for text in remarks)) if remarks else None


def rule_table(figures: ScoreFigures, caption: str) -> Html:
    """Return every order with what it held; the forecast stands first."""
    has_chances = figures.murphy is not None
    heads = [
        "Order by",
        f"Found in the first tenth ({amount(figures.tenth)})",
        f"Found within the hours ({amount(figures.hours)})",
        "Pairs in order",
        "Forecast ahead by",
    ]
    heads += ["Brier score", "Log score", "Skill over it"] if has_chances else []
    rows = [rule_row(rule, figures, has_chances=has_chances) for rule in figures.rules]
    return table(caption, heads, rows, kind="score")


def rule_row(rule: RuleScore, figures: ScoreFigures, *, has_chances: bool) -> Html:
    """Return one order; figures that do not exist are a dash."""
    found = figures.found
    cells = [
        f"{plain(rule.in_tenth)} of {amount(found)}",
        f"{plain(rule.in_hours)} of {amount(found)}",
        part(rule.auc) if np.isfinite(rule.auc) else "–",
        lead(rule),
    ]
    if has_chances:
        cells += [digits(rule.brier), digits(rule.log_score), digits(rule.skill_over, 2)]
    name = tag("th", sentence(RULE_WORDS[rule.rule]), scope="row")
    return tag("tr", name, *(tag("td", cell, class_="number") for cell in cells))


def lead(rule: RuleScore) -> str:
    """Return by how many percent of pairs the forecast was ahead of a rule, with its range."""
    if not np.isfinite(rule.auc_ahead):
        return "–"
    said = signed(rule.auc_ahead)
    if not np.isfinite(rule.auc_ahead_low):
        return said
    return f"{said} ({signed(rule.auc_ahead_low)} to {signed(rule.auc_ahead_high)})"


def signed(share: float) -> str:
    """Return a difference of shares in percent with its sign."""
    whole = round(100 * share)
    return f"{'−' if whole < 0 else '+' if whole > 0 else ''}{abs(whole)} %"


def plain(value: float) -> str:
    """Return a number of plants, with a tenth where equal places share one."""
    return f"{value:,.1f}".removesuffix(".0")


def digits(value: float, places: int = 4) -> str:
    """Return a score; a dash where there is none."""
    if np.isnan(value):
        return "–"
    return "without end" if np.isinf(value) else f"{value:.{places}f}".replace("-", "−")


def ring_score_table(figures: ScoreFigures) -> Html:
    """Return how many of the found plants stood inside the rings of each name."""
    rows = [
        tag(
            "tr",
            tag("th", sentence(ring.name), scope="row"),
            tag("td", part(ring.share), class_="number"),
            tag("td", amount(ring.inspected), class_="number"),
            tag("td", f"{amount(ring.found)} of {amount(figures.found)}", class_="number"),
            tag("td", part(ring.found / figures.found) if figures.found else "–", class_="number"),
        )
        for ring in figures.rings
    ]
    heads = ("Ring", "Drawn to hold, of arrivals", "Inspected inside", "Found inside", "Of all found")
    return table("Newly found plants inside the rings of that forecast", heads, rows, kind="score")


def survey_table(surveys: tuple[SurveyScore, ...]) -> Html:
    """Return one row per scored forecast."""
    rows = [
        tag(
            "tr",
            tag("th", day(survey.forecast_as_of), scope="row"),
            tag("td", day(survey.scored_to), class_="date"),
            tag("td", amount(survey.figures.inspected), class_="number"),
            tag("td", amount(survey.figures.found), class_="number"),
            *(
                tag("td", share_in_order(survey.figures, rule), class_="number")
                for rule in (None, "distance", "same_place")
            ),
        )
        for survey in surveys
    ]
    heads = ("Forecast of", "Scored to", "Inspected", "Found", "Forecast: pairs in order", "Distance", "Same place")
    return table("Forecast by forecast", heads, rows, kind="score")


def share_in_order(figures: ScoreFigures, name: str | None) -> str:
    """Return the share of pairs in order of one rule, by default the forecast's own."""
    for rule in figures.rules:
        if name in (None, rule.rule):
            return part(rule.auc) if np.isfinite(rule.auc) else "–"
    return "–"


def reliability_table_of(rows: tuple[ReliabilityRow, ...]) -> Html:
    """Return what was said and what came, by classes of the chance of being found."""
    made = [
        tag(
            "tr",
            tag("th", f"{part(row.low)} to {part(row.high)}", scope="row"),
            tag("td", amount(row.plants), class_="number"),
            tag("td", part(row.mean_chance), class_="number"),
            tag("td", f"{part(row.rate)} ({part(row.rate_low)} to {part(row.rate_high)})", class_="number"),
        )
        for row in rows
        if row.plants
    ]
    heads = ("Chance of being found, as said", "Plants", "Mean said", "Really found, with 95 % range")
    return table("What was said and what came", heads, made, kind="score")


def score_pictures(result: SurveyResult) -> dict[str, bytes]:
    """Return the reliability pictures by their path in the run folder; none in relative mode."""
    return {
        f"{system.triage.system.key}/reliability.png": reliability_png(
            system.score.running, f"{result.inputs.name}: {system.triage.system.common_name}"
        )
        for system in result.systems
        if system.score is not None and system.score.running is not None and system.score.running.reliability
    }


def reliability_png(figures: ScoreFigures, title: str) -> bytes:
    """Return the picture of what was said against what came; the same bytes every time.

    On the line, what was said is what came. Bars are 95 % ranges after Clopper and Pearson; the dashed line is the rate
    of all plants, and below stands how many plants each class holds.
    """
    rows = [row for row in figures.reliability if row.plants]
    figure = Figure(figsize=(5.6, 6.2), dpi=110)
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1, height_ratios=[4, 1])
    said, came = np.array([row.mean_chance for row in rows]), np.array([row.rate for row in rows])
    ends = np.array([[row.rate - row.rate_low, row.rate_high - row.rate] for row in rows]).T
    most = float(min(1.0, 1.08 * max(*said, *(row.rate_high for row in rows), 0.02)))
    upper.plot([0, most], [0, most], color="#888888", linewidth=1)
    upper.axhline(figures.found / figures.inspected, color="#888888", linewidth=1, linestyle="--")
    upper.errorbar(said, came, yerr=np.maximum(ends, 0.0), fmt="o", color="#2f4858", capsize=3)
    upper.set_xlim(0, most)
    upper.set_ylim(0, most)
    upper.set_xlabel("Chance of being found, as forecast")
    upper.set_ylabel("Share really found")
    names = [f"{row.low:.0%} to {row.high:.0%}" for row in rows]
    bars = lower.bar(range(len(rows)), [row.plants for row in rows], color="#b0a58c")
    lower.bar_label(bars, [several(row.plants, "plant") for row in rows], fontsize=7)
    lower.set_xticks(range(len(rows)), names, fontsize=8)
    lower.set_yticks([])
    lower.margins(y=0.3)
    figure.suptitle(title, fontsize=11, fontweight="bold", parse_math=False)
    figure.text(
        0.5, 0.02, f"{several(figures.inspected, 'plant')} really inspected, {amount(figures.found)} found. "
        "Bars: 95 % range; dashed: all plants together.", ha="center", fontsize=8,
    )  # fmt: skip
    figure.subplots_adjust(top=0.92, bottom=0.13, left=0.13, right=0.96, hspace=0.32)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
