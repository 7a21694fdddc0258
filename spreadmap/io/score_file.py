"""`score.json`: how the forecasts on record did, for whoever runs many projects."""

from __future__ import annotations

import math
from typing import Any

from spreadmap.io.summary import plain
from spreadmap.outbreak.score_words import RULE_WORDS
from spreadmap.values.results import SurveyResult
from spreadmap.values.score import RuleScore, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode

SAYS = (
    "Every forecast on record against the inspections after its date, up to the date of the next one: plants that it "
    "listed, on which nothing had been seen, and that were really inspected."
)
NOT_ASKED = "Nothing to score: this delivery was made without a look at earlier ones."
OF_CHANCES = ("brier", "log_score", "skill_over")


def score_values(result: SurveyResult) -> dict[str, Any]:
    """Return the scores of a run; a system without any says why."""
    return {
        "project": result.inputs.name,
        "as_of": result.inputs.as_of,
        "says": SAYS,
        "systems": [system_values(each.score, each.triage.system.key, each.face.mode) for each in result.systems],
    }


def system_values(score: SystemScore | None, key: str, mode: Mode) -> dict[str, Any]:
    """Return the scores of one system."""
    if score is None:
        return {"system": key, "mode": mode, "says": [NOT_ASKED], "surveys": [], "running": None}
    running = None if score.running is None else figure_values(score.running)
    surveys = sum(survey.mode is score.mode for survey in score.surveys)
    return {
        "system": key,
        "mode": score.mode,
        "says": score.says,
        "surveys": [survey_values(survey) for survey in score.surveys],
        "running": None if running is None else {"surveys": surveys, **running},
    }


def survey_values(survey: SurveyScore) -> dict[str, Any]:
    """Return one forecast with its score."""
    return {
        "forecast_as_of": survey.forecast_as_of,
        "forecast_valid_until": survey.valid_until,
        "scored_to": survey.scored_to,
        "mode": survey.mode,
        "says": survey.says,
        "remarks": survey.remarks,
        **figure_values(survey.figures),
    }


def figure_values(figures: ScoreFigures) -> dict[str, Any]:
    """Return figures; those of chances only where there are any, with infinite scores as text."""
    values: dict[str, Any] = {
        "inspected": figures.inspected,
        "found": figures.found,
        "first_tenth": figures.tenth,
        "within_hours": figures.hours,
        "random_order_in_tenth": [figures.random_low, figures.random_high],
        "rules": [rule_values(rule, has_chances=figures.murphy is not None) for rule in figures.rules],
        "rings": [
            {
                "ring": ring.name,
                "share_of_arrivals": ring.share,
                "inspected": ring.inspected,
                "found": ring.found,
                "share_of_found": ring.found / figures.found if figures.found else None,
            }
            for ring in figures.rings
        ],
    }
    if figures.murphy is not None:
        values |= {"murphy": figures.murphy, "reliability": figures.reliability, "count": figures.count}
    return values


def rule_values(rule: RuleScore, *, has_chances: bool) -> dict[str, Any]:
    """Return the score of one rule."""
    values: dict[str, Any] = {"name": RULE_WORDS[rule.rule], **plain(rule)}
    for name in OF_CHANCES:
        if not has_chances:
            del values[name]
        elif math.isinf(getattr(rule, name)):
            values[name] = "infinite"
    return values
