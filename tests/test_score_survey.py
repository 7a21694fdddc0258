"""Old forecasts scored one by one and together, and what is said: plain rules that were better, nothing to score."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from made_forecasts import FIRST, SECOND, THIRD, made_course, made_forecast, made_ring, made_world

from spreadmap.outbreak.score import auc, brier_score, count_of_independent
from spreadmap.outbreak.score_chances import Chances
from spreadmap.outbreak.score_sample import Sample
from spreadmap.outbreak.score_survey import INTERVAL, RULES, figures_of, score_forecasts, stated_by
from spreadmap.outbreak.score_words import sentences
from spreadmap.review.words import FORBIDDEN_WORDS
from spreadmap.values.words import Mode

KEYS = [f"p{number}" for number in range(60)]


def looked(found, on="2026-07-13", plants=60):
    return [
        (f"p{n}", on, "infected", "typical_symptoms") if n in found else (f"p{n}", on, "clean", "visual")
        for n in range(plants)
    ]


def scored(kept, *rows, as_of=SECOND, mode=Mode.RELATIVE, plants=60):
    project, state = made_world(*rows, plants=plants, as_of=as_of)
    system = SimpleNamespace(
        state=state,
        triage=SimpleNamespace(system=SimpleNamespace(key="rose_rosette")),
        face=SimpleNamespace(mode=mode),
    )
    return score_forecasts(system, SimpleNamespace(inputs=project), kept)


def rule(figures, name):
    return next(each for each in figures.rules if each.rule == name)


def test_nothing_on_record_is_said():
    score = scored((), *looked({1}))
    assert (score.surveys, score.running) == ((), None)
    assert score.says[0].startswith("Nothing to score: no forecast from before 13 July 2026 is on record.")


def test_a_forecast_of_the_same_day_is_not_scored():
    assert "no forecast from before" in scored([made_forecast(KEYS, as_of=SECOND)], *looked({1})).says[0]


def test_a_forecast_without_inspections_after_it_is_not_scored():
    score = scored([made_forecast(KEYS)], *looked({1}, on="2026-05-01"))
    assert score.says[0].startswith("Nothing to score: since the forecast of 18 May 2026 no plant was inspected")


def test_one_forecast_against_one_survey():
    score = scored([made_forecast(KEYS, within=10)], *looked({0, 2, 30}))
    (survey,) = score.surveys
    figures = survey.figures
    assert (figures.inspected, figures.found, figures.tenth, figures.hours) == (60, 3, 6, 10)
    list_ = rule(figures, "inspection_list")
    assert (list_.in_tenth, list_.in_hours) == (2, 2)
    found = np.isin(np.arange(60), [0, 2, 30])
    assert list_.auc == pytest.approx(auc(-np.arange(60.0), found), abs=1e-12)
    assert rule(figures, "base_rate").auc == 0.5
    assert rule(figures, "base_rate").in_tenth == pytest.approx(0.3)
    assert figures == score.running
    assert figures.murphy is None
    assert "held 2 of the 3 found (67 %)" in survey.says[1]
    assert "3 plants found: too few to judge a rule by." in survey.says


def test_where_the_plain_rule_was_better_it_says_so():
    # the forecast lists the plants from the wrong end; distance has them right
    forecast = made_forecast(KEYS[::-1], distance=np.arange(60)[::-1] * 10.0)
    says = scored([forecast], *looked(set(range(12)))).surveys[0].says
    better = [text for text in says if text.startswith("The plain rule was better: distance to the nearest known case")]
    assert better == [
        "The plain rule was better: distance to the nearest known case put the found plant before the other in 100 % of "
        "pairs, the inspection list in 0 %; clearly so when beds are redrawn."
    ]
    assert any("same place as last time put" in text for text in says)


def test_where_no_plain_rule_was_better_it_says_so():
    forecast = made_forecast(KEYS, distance=np.arange(60)[::-1] * 10.0)
    says = " ".join(scored([forecast], *looked(set(range(12)))).surveys[0].says)
    assert "No plain rule ordered the plants better." in says
    assert "The plain rule was better" not in says


def test_a_plain_rule_that_is_as_good_is_called_so():
    says = scored([made_forecast(KEYS)], *looked(set(range(12)))).surveys[0].says
    assert "Distance to the nearest known case was as good as the forecast." in says


def test_a_survey_that_found_nothing_judges_no_order():
    says = scored([made_forecast(KEYS)], *looked(set())).surveys[0].says
    assert says[-1] == "None was found, so no order of the plants is better than another."


@pytest.mark.parametrize("infected", [set(), {0, 2, 30}, set(range(12)), set(range(30, 60)), set(range(60))])
def test_relative_mode_speaks_of_orders_only(infected):
    rings = [made_ring("core", 0.5, -1, 100)]
    score = scored([made_forecast(KEYS, rings=rings, removal=("p3",))], *looked(infected))
    for survey in score.surveys:
        for text in (*survey.says, *survey.remarks):
            assert not any(word in text.lower() for word in (*FORBIDDEN_WORDS, "chance"))
        assert (survey.figures.murphy, survey.figures.count, survey.figures.reliability) == (None, None, ())
        assert all(np.isnan(each.brier) and np.isnan(each.log_score) for each in survey.figures.rules)


def test_every_inspection_counts_for_one_forecast():
    rows = [*looked({0, 1}), *looked({0, 1, 5, 6, 7}, on="2026-09-14")]
    kept = [made_forecast(KEYS), made_forecast(KEYS[2:], as_of=SECOND)]
    score = scored(kept, *rows, as_of=THIRD)
    assert [(each.forecast_as_of, each.scored_to) for each in score.surveys] == [(FIRST, SECOND), (SECOND, THIRD)]
    assert [each.figures.found for each in score.surveys] == [2, 3]
    assert (score.running.inspected, score.running.found) == (60 + 58, 5)
    assert score.running.tenth == sum(each.figures.tenth for each in score.surveys)
    for name in RULES:
        parts = [rule(each.figures, name) for each in score.surveys]
        assert rule(score.running, name).in_tenth == pytest.approx(sum(each.in_tenth for each in parts), abs=1e-9)
        pairs = [each.figures.found * (each.figures.inspected - each.figures.found) for each in score.surveys]
        pooled = np.average([each.auc for each in parts], weights=pairs)
        assert rule(score.running, name).auc == pytest.approx(pooled, abs=1e-12)


def test_a_run_between_two_surveys_takes_over():
    kept = [made_forecast(KEYS), made_forecast(KEYS[::-1], as_of=dt.date(2026, 6, 1))]
    (survey,) = scored(kept, *looked({0})).surveys
    assert survey.forecast_as_of == dt.date(2026, 6, 1)
    assert rule(survey.figures, "inspection_list").auc == 0


def test_found_plants_inside_the_rings_are_counted():
    rings = [made_ring("core", 0.5, -1, 11), made_ring("outer", 0.99, -1, 301)]
    figures = scored([made_forecast(KEYS, rings=rings)], *looked({0, 20, 50})).surveys[0].figures
    assert [(ring.name, ring.share, ring.inspected, ring.found) for ring in figures.rings] == [
        ("core", 0.5, 2, 1), ("outer", 0.99, 31, 2),
    ]  # fmt: skip


@pytest.fixture
def honest():
    """A sample whose chances are true: found plants are drawn with them, in beds of twenty."""
    rng = np.random.default_rng(21)
    chance = rng.beta(0.7, 5.0, 2000)
    found = rng.random(2000) < chance
    mass = np.zeros(0)
    return Sample(
        found=found,
        orders={
            "inspection_list": chance,
            "pressure": chance,
            "distance": -rng.exponential(20.0, 2000),
            "same_place": np.round(rng.random(2000), 1),
            "base_rate": np.zeros(2000),
        },
        bed=np.repeat(np.arange(100), 20),
        in_rings={},
        hours=100,
        chances=Chances(found=chance, mass=mass, members=mass, says=""),
        remarks=(),
    )


def with_count(sample):
    return replace(sample, chances=replace(sample.chances, mass=count_of_independent(sample.chances.found)))


def test_true_chances_beat_every_plain_rule_and_their_intervals_hold(honest):
    figures = figures_of([with_count(honest)])
    first = figures.rules[0]
    assert first.rule == "chance"
    assert first.brier == pytest.approx(brier_score(honest.chances.found, honest.found), abs=1e-15)
    for name in ("distance", "same_place", "base_rate"):
        assert rule(figures, name).skill_over > 0
        assert rule(figures, name).auc_ahead_low > 0
    assert np.isnan(rule(figures, "pressure").brier)
    assert figures.murphy.reliability < 0.002
    count = figures.count
    assert (count.intervals, count.inside) == (1, 1)
    assert count.inside_expected >= INTERVAL
    # beds are held as often as they should be: four standard deviations of a binomial
    spread = np.sqrt(count.beds_inside_expected * (1 - count.beds_inside_expected / count.beds))
    assert abs(count.beds_inside - count.beds_inside_expected) < 4 * spread
    assert sum(row.plants for row in figures.reliability) == 2000


def test_chances_that_are_too_high_lose_to_the_base_rate(honest):
    boastful = replace(honest, chances=replace(honest.chances, found=np.sqrt(honest.chances.found)))
    figures = figures_of([with_count(boastful)])
    assert rule(figures, "base_rate").skill_over < 0
    says = sentences(figures, FIRST, is_relative=False)
    assert any(text.startswith("The plain rule was better: no order at all has the Brier score") for text in says)
    assert any(text.endswith("is outside that range.") for text in says)


def test_a_plain_rule_is_told_the_rates_of_others_only():
    # a class with one plant knows nothing but the overall rate
    sample = SimpleNamespace(
        found=np.array([True, True, False, False]), orders={"distance": -np.array([0.5, 20.0, 20.0, 20.0])}
    )
    base = 0.5
    said = stated_by("distance", sample)
    assert said == pytest.approx([base, (0 + base) / 3, (1 + base) / 3, (1 + base) / 3], abs=1e-12)
    sample.found = np.ones(4, dtype=bool)
    assert stated_by("base_rate", sample).tolist() == [1, 1, 1, 1]


def test_a_calibrated_forecast_is_scored_by_its_chances():
    showing = np.vstack([np.zeros(60), np.where(np.arange(60) < 10, 0.8, 0.02)])
    members = np.arange(4, 16)
    kept = [made_forecast(KEYS, courses=(made_course(showing, members=members),))]
    score = scored(kept, *looked({0, 1, 2, 3, 4, 40}), mode=Mode.CALIBRATED)
    (survey,) = score.surveys
    assert (score.mode, survey.mode) == (Mode.CALIBRATED, Mode.CALIBRATED)
    count = survey.figures.count
    assert count.expected == pytest.approx(0.55 * (10 * 0.8 + 50 * 0.02), abs=1e-6)
    assert count.found == 6
    assert count.inside == 1
    assert 0 < count.crps_fair < 6
    assert any(text.startswith("The forecast expected 5 found plants") for text in survey.says)
    assert survey.remarks[0].startswith(
        "Scored under the course of action nearest to the work done: if nothing is done"
    )


def test_a_relative_forecast_is_not_mixed_with_a_calibrated_one():
    showing = np.vstack([np.zeros(60), np.full(60, 0.1)])
    kept = [made_forecast(KEYS), made_forecast(KEYS, as_of=SECOND, courses=(made_course(showing, on=(SECOND, THIRD)),))]
    rows = [*looked({0, 1}), *looked({0, 1, 5}, on="2026-09-14")]
    score = scored(kept, *rows, as_of=THIRD)
    assert [each.mode for each in score.surveys] == [Mode.RELATIVE, Mode.CALIBRATED]
    assert score.running == score.surveys[-1].figures
