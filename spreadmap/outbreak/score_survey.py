"""Every old forecast against the inspections that followed it, beside plain rules, one by one and all together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from spreadmap.outbreak.looks import looks_at
from spreadmap.outbreak.score import (
    brier_score,
    count_of_independent,
    crps_of_count,
    crps_of_ensemble,
    hits_in_first,
    interval_of_count,
    log_score,
    murphy_parts,
    reliability_table,
    skill,
)
from spreadmap.outbreak.score_ranks import (
    LEAST_BEDS,
    beds_with_any,
    figures_over,
    first_part,
    random_range,
    range_of,
    redrawn,
)
from spreadmap.outbreak.score_sample import Sample, sample_of
from spreadmap.outbreak.score_words import nothing_to_score, sentences
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.score import (
    CountScore,
    Forecast,
    RingScore,
    RuleScore,
    ScoreFigures,
    SurveyScore,
    SystemScore,
)
from spreadmap.values.words import RING_NAMES, Mode

RULES = ("inspection_list", "pressure", "distance", "same_place", "base_rate")
CHANCE = "chance"
CLASS_EDGES = (0.0, 0.01, 0.05, 0.20, 0.50, 1.0)
"""Edges of the classes of the chance of being found [-]; None: our choice, the classes of the map in calibrated mode."""
DISTANCE_EDGES_M = (1.0, 3.0, 10.0, 30.0, 100.0)
"""Distances between which the plain distance rule tells no plants apart when it states a chance [m]; our choice."""
PLACE_EDGES = (1e-9, 0.05, 0.20, 0.50)
"""Shares of a bed found before, likewise [-]; our choice."""
INTERVAL = 0.9
"""Share that the intervals of numbers of found plants hold [-]; our choice."""


def with_scores(result: SurveyResult, kept: Mapping[str, Sequence[Forecast]]) -> SurveyResult:
    """Return a result whose systems hold the scores of their old forecasts.

    Parameters
    ----------
    result : SurveyResult
    kept : mapping
        For every pest system's key the forecasts on record, one per date, oldest first.
    """
    systems = tuple(
        replace(system, score=score_forecasts(system, result, kept.get(system.triage.system.key, ())))
        for system in result.systems
    )
    return replace(result, systems=systems)


def score_forecasts(system: SystemResult, result: SurveyResult, kept: Sequence[Forecast]) -> SystemScore:
    """Return the scores of the forecasts of one pest system that are older than the run.

    Every forecast answers for the inspections after its date, up to and with the date of the next one on record, so
    that no inspection counts twice.
    """
    project, key, mode = result.inputs, system.triage.system.key, system.face.mode
    old = [forecast for forecast in kept if forecast.as_of < project.as_of]
    if not old:
        return SystemScore(system_key=key, mode=mode, says=nothing_to_score(None, project.as_of))
    looks = looks_at(project.surveys, project.inventory, key, np.datetime64(project.as_of))
    ends: list[dt.date] = [*(forecast.as_of for forecast in old[1:]), project.as_of]
    scores: list[SurveyScore] = []
    samples: list[tuple[Forecast, Sample]] = []
    for forecast, end in zip(old, ends, strict=True):
        sample = sample_of(forecast, system.state, project, looks, np.datetime64(end))
        if not len(sample.found):
            continue
        samples.append((forecast, sample))
        figures = figures_of([sample])
        said = sentences(figures, forecast.as_of, is_relative=sample.chances is None)
        remarks = sample.remarks if sample.chances is None else (sample.chances.says, *sample.remarks)
        scores.append(
            SurveyScore(
                mode=Mode.RELATIVE if sample.chances is None else Mode.CALIBRATED,
                forecast_as_of=forecast.as_of,
                valid_until=forecast.valid_until,
                scored_to=end,
                figures=figures,
                says=said,
                remarks=remarks,
                found_plants=tuple(sample.plants[sample.found].tolist()),
                first_plants=tuple(sample.first.tolist()),
                rings=forecast.rings if forecast.crs == project.crs else (),
            )
        )
    if not samples:
        return SystemScore(system_key=key, mode=mode, says=nothing_to_score(old[-1].as_of, project.as_of))
    same = [sample for _, sample in samples if (sample.chances is None) == (samples[-1][1].chances is None)]
    return SystemScore(
        system_key=key,
        mode=Mode.RELATIVE if samples[-1][1].chances is None else Mode.CALIBRATED,
        surveys=tuple(scores),
        running=scores[-1].figures if len(same) == 1 else figures_of(same),
    )


def figures_of(samples: Sequence[Sample]) -> ScoreFigures:
    """Return the figures of one survey, or of several together; all of them with chances, or none."""
    plants, hits = sum(len(each.found) for each in samples), sum(int(each.found.sum()) for each in samples)
    low, high = random_range(samples)
    figures = ScoreFigures(
        inspected=plants,
        found=hits,
        tenth=sum(first_part(len(each.found)) for each in samples),
        hours=sum(each.hours for each in samples),
        random_low=low,
        random_high=high,
        rules=rule_scores(samples),
        rings=ring_scores(samples),
    )
    if any(each.chances is None for each in samples):
        return figures
    chance, found = _chances(samples), _found(samples)
    return replace(
        figures,
        reliability=reliability_table(chance, found, CLASS_EDGES),
        murphy=murphy_parts(chance, found, CLASS_EDGES),
        count=count_score(samples),
    )


def rule_scores(samples: Sequence[Sample]) -> tuple[RuleScore, ...]:
    """Return how the orders did, the forecast's own first."""
    chances = all(each.chances is not None for each in samples)
    rules = (CHANCE, *RULES) if chances else RULES
    if chances:
        samples = [
            replace(each, orders={CHANCE: each.chances.found, **each.orders}) for each in samples if each.chances
        ]
    point = {rule: figures_over(samples, rule) for rule in rules}
    again = redrawn(samples, rules) if beds_with_any(samples) >= LEAST_BEDS else None
    first, scores = rules[0], []
    for rule in rules:
        auc, tenth = float(point[rule].auc[0]), float(point[rule].in_first[0])
        score = RuleScore(rule=rule, auc=auc, in_tenth=tenth, in_hours=hits_within_hours(samples, rule))
        if rule != first:
            score = replace(
                score,
                auc_ahead=float(point[first].auc[0]) - auc,
                tenth_ahead=float(point[first].in_first[0]) - tenth,
            )
            if again is not None:
                auc_low, auc_high = range_of(again[first].auc - again[rule].auc)
                tenth_low, tenth_high = range_of(again[first].in_first - again[rule].in_first)
                score = replace(
                    score,
                    auc_ahead_low=auc_low,
                    auc_ahead_high=auc_high,
                    tenth_ahead_low=tenth_low,
                    tenth_ahead_high=tenth_high,
                )
        scores.append(with_chances(score, samples) if chances else score)
    return tuple(scores)


def hits_within_hours(samples: Sequence[Sample], rule: str) -> float:
    """Return how many found plants a rule puts among as many first ones as stand within the hours of the list."""
    return sum(hits_in_first(each.orders[rule], each.found, each.hours) for each in samples)


def with_chances(score: RuleScore, samples: Sequence[Sample]) -> RuleScore:
    """Return a rule's score with Brier and log score; orders that state no chance are left as they are."""
    mine = _chances(samples)
    found = _found(samples)
    if score.rule == CHANCE:
        chance = mine
    elif score.rule in ("distance", "same_place", "base_rate"):
        chance = np.concatenate([stated_by(score.rule, each) for each in samples])
    else:
        return score
    brier = brier_score(chance, found)
    return replace(
        score,
        brier=brier,
        log_score=log_score(chance, found),
        skill_over=np.nan if score.rule == CHANCE else skill(brier_score(mine, found), brier),
    )


def stated_by(rule: str, sample: Sample) -> FloatArray:
    """Return the chance that a plain rule states for every plant, shape (n,) [-].

    Notes
    -----
    A plain rule knows classes, no chances. It is told the rate of each class in this very survey, the plant itself left
    out and one plant of the overall rate added: more than anybody could know beforehand, so that it is a hard rival.
    """
    base = float(sample.found.mean())
    if rule == "base_rate":
        return np.full(len(sample.found), base)
    if rule == "distance":
        place = np.searchsorted(DISTANCE_EDGES_M, -sample.orders[rule])
    else:
        place = np.searchsorted(PLACE_EDGES, sample.orders[rule])
    plants = np.bincount(place)[place]
    hits = np.bincount(place, weights=sample.found)[place]
    return np.asarray((hits - sample.found + base) / plants)


def ring_scores(samples: Sequence[Sample]) -> tuple[RingScore, ...]:
    """Return plants inside the rings, from the innermost name outward; over surveys the sums."""
    names = [name for name in RING_NAMES if any(name in each.in_rings for each in samples)]
    scores = []
    for name in names:
        parts = [(each, *each.in_rings[name]) for each in samples if name in each.in_rings]
        scores.append(
            RingScore(
                name=name,
                share=parts[-1][1],
                inspected=sum(int(inside.sum()) for _, _, inside in parts),
                found=sum(int((inside & each.found).sum()) for each, _, inside in parts),
            )
        )
    return tuple(scores)


def count_score(samples: Sequence[Sample]) -> CountScore:
    """Return how well the numbers of found plants were foretold; over surveys means and sums."""
    scores = [one_count(each) for each in samples]
    fair = [each.crps_fair for each in scores if np.isfinite(each.crps_fair)]
    return CountScore(
        expected=sum(each.expected for each in scores),
        found=sum(each.found for each in scores),
        crps=float(np.mean([each.crps for each in scores])),
        crps_fair=float(np.mean(fair)) if fair else np.nan,
        low=scores[0].low if len(scores) == 1 else np.nan,
        high=scores[0].high if len(scores) == 1 else np.nan,
        intervals=sum(each.intervals for each in scores),
        inside=sum(each.inside for each in scores),
        inside_expected=sum(each.inside_expected for each in scores),
        beds=sum(each.beds for each in scores),
        beds_inside=sum(each.beds_inside for each in scores),
        beds_inside_expected=sum(each.beds_inside_expected for each in scores),
    )


def one_count(sample: Sample) -> CountScore:
    """Return how well the number of found plants of one survey was foretold, in all and by beds.

    Intervals of beds take the plants of a bed as found each by itself: they are too narrow where plants share a fate.
    """
    chances = sample.chances
    if chances is None:
        msg = "a forecast without chances foretells no number"
        raise ValueError(msg)
    hits = int(sample.found.sum())
    low, high, holds = interval_of_count(chances.mass, INTERVAL)
    inside, expected = 0, 0.0
    by_bed = np.argsort(sample.bed, kind="stable")
    beds = np.split(by_bed, np.flatnonzero(np.diff(sample.bed[by_bed])) + 1)
    for here in beds:
        bed_low, bed_high, bed_holds = interval_of_count(count_of_independent(chances.found[here]), INTERVAL)
        inside += bed_low <= int(sample.found[here].sum()) <= bed_high
        expected += bed_holds
    return CountScore(
        expected=float(chances.found.sum()),
        found=hits,
        crps=crps_of_count(chances.mass, hits),
        crps_fair=crps_of_ensemble(chances.members, hits, fair=True),
        low=low,
        high=high,
        intervals=1,
        inside=int(low <= hits <= high),
        inside_expected=holds,
        beds=len(beds),
        beds_inside=inside,
        beds_inside_expected=expected,
    )


def _chances(samples: Sequence[Sample]) -> FloatArray:
    return np.concatenate([each.chances.found for each in samples if each.chances is not None])


def _found(samples: Sequence[Sample]) -> BoolArray:
    return np.concatenate([each.found for each in samples])
