"""Laws of the scores: perfect and useless forecasts, ties, scalings, and slow versions of every sum."""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import binom, poisson

from spreadmap.outbreak.score import (
    auc,
    brier_score,
    class_of,
    count_of_independent,
    crps_of_count,
    crps_of_ensemble,
    hits_in_first,
    interval_of_count,
    log_score,
    murphy_parts,
    rate_range,
    reliability_table,
    skill,
)

EDGES = (0.0, 0.01, 0.05, 0.2, 0.5, 1.0)


@pytest.fixture
def forecast():
    rng = np.random.default_rng(5)
    chance = rng.beta(0.6, 4.0, 400)
    return chance, rng.random(400) < chance


def test_a_perfect_forecast_has_score_zero_and_its_reverse_one():
    found = np.array([True, False, False, True])
    assert brier_score(found.astype(float), found) == 0 == log_score(found.astype(float), found)
    assert brier_score(1.0 - found, found) == 1
    assert math.isinf(log_score(1.0 - found, found))


def test_scores_of_nobody_are_not_numbers():
    none, nobody = np.zeros(0), np.zeros(0, dtype=bool)
    assert math.isnan(brier_score(none, nobody))
    assert math.isnan(log_score(none, nobody))
    assert math.isnan(auc(none, nobody))
    assert hits_in_first(none, nobody, 3) == 0


def test_the_honest_chance_has_the_least_expected_score():
    # both scores are proper: over all outcomes of one plant, the true chance 0.3 is the best thing to say
    true, said = 0.3, np.linspace(0.01, 0.99, 99)
    for score in (brier_score, log_score):
        expected = [
            true * score(np.array([p]), np.array([True])) + (1 - true) * score(np.array([p]), np.array([False]))
            for p in said
        ]
        assert said[int(np.argmin(expected))] == pytest.approx(true, abs=1e-12)


def test_the_base_rate_has_skill_zero(forecast):
    _, found = forecast
    base = np.full(len(found), found.mean())
    assert skill(brier_score(base, found), found.mean() * (1 - found.mean())) == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(skill(0.1, 0.0))


def test_murphy_parts_add_up_to_the_brier_score(forecast):
    parts = murphy_parts(*forecast, EDGES)
    whole = parts.reliability - parts.resolution + parts.uncertainty + parts.residual
    assert whole == pytest.approx(parts.brier, abs=1e-14)
    assert parts.residual != 0


def test_the_residual_is_what_lies_inside_the_classes(forecast):
    # Stephenson and others 2008: mean of (p - class mean)^2 less twice the mean of (p - class mean)(y - class rate)
    chance, found = forecast
    place = class_of(chance, EDGES)
    inside = 0.0
    for index in np.unique(place):
        p, y = chance[place == index], found[place == index].astype(float)
        inside += ((p - p.mean()) ** 2).sum() - 2 * ((p - p.mean()) * (y - y.mean())).sum()
    assert murphy_parts(chance, found, EDGES).residual == pytest.approx(inside / len(chance), abs=1e-14)


def test_every_plant_is_in_one_class_and_edges_go_up():
    assert class_of(np.array([0.0, 0.01, 0.0099, 0.5, 1.0]), EDGES).tolist() == [0, 1, 0, 4, 4]


def test_reliability_rows_hold_all_plants(forecast):
    rows = reliability_table(*forecast, EDGES)
    assert sum(row.plants for row in rows) == 400
    assert sum(row.found for row in rows) == forecast[1].sum()
    assert all(row.rate_low <= row.rate <= row.rate_high for row in rows if row.plants)
    (empty,) = reliability_table(np.zeros(0), np.zeros(0, dtype=bool), (0.0, 1.0))
    assert (empty.plants, math.isnan(empty.rate)) == (0, True)


def test_the_range_of_a_rate_holds_it_as_promised():
    # each tail of Clopper and Pearson's ends holds exactly a fortieth of the binomial
    low, high = rate_range(7, 40)
    assert binom.sf(6, 40, low) == pytest.approx(0.025, abs=1e-10)
    assert binom.cdf(7, 40, high) == pytest.approx(0.025, abs=1e-10)
    assert rate_range(0, 40)[0] == 0
    assert rate_range(40, 40)[1] == 1


def test_auc_counts_pairs_one_by_one():
    rng = np.random.default_rng(2)
    order, found = np.round(rng.normal(size=60), 1), rng.random(60) < 0.3
    pairs = [
        1.0 if order[one] > order[other] else 0.5 if order[one] == order[other] else 0.0
        for one in np.flatnonzero(found)
        for other in np.flatnonzero(~found)
    ]
    assert auc(order, found) == pytest.approx(np.mean(pairs), abs=1e-12)
    assert auc(-order, found) == pytest.approx(1 - np.mean(pairs), abs=1e-12)
    assert auc(np.exp(order), found) == auc(order, found)


def test_auc_needs_found_and_others():
    assert math.isnan(auc(np.arange(3.0), np.ones(3, dtype=bool)))
    assert math.isnan(auc(np.arange(3.0), np.zeros(3, dtype=bool)))
    assert auc(np.zeros(3), np.array([True, False, False])) == 0.5
    assert auc(np.array([-np.inf, -np.inf, 1.0]), np.array([False, True, True])) == 0.75


def test_hits_in_first_with_ties_are_the_mean_over_all_orders():
    order, found = np.array([2.0, 1.0, 1.0, 1.0, 0.0]), np.array([False, True, False, True, True])
    for first in range(1, 6):
        over = []
        for shuffle in itertools.permutations(range(5)):
            by = sorted(shuffle, key=lambda plant: -order[plant])
            over.append(found[by[:first]].sum())
        assert hits_in_first(order, found, first) == pytest.approx(np.mean(over), abs=1e-12)
    assert hits_in_first(order, found, 9) == 3
    assert hits_in_first(order, found, 0) == 0


@pytest.mark.parametrize("fair", [False, True])
def test_crps_of_an_ensemble_is_its_double_loop(fair):
    rng = np.random.default_rng(3)
    members = rng.poisson(6.0, 30).astype(float)
    away = np.mean([abs(x - 4) for x in members])
    among = sum(abs(x - y) for x in members for y in members) / (2 * 30 * (29 if fair else 30))
    assert crps_of_ensemble(members, 4, fair=fair) == pytest.approx(away - among, abs=1e-12)


def test_crps_of_one_member_is_its_distance():
    assert crps_of_ensemble(np.array([5.0]), 3, fair=False) == 2
    assert math.isnan(crps_of_ensemble(np.array([5.0]), 3, fair=True))
    assert math.isnan(crps_of_ensemble(np.zeros(0), 3, fair=False))


def test_the_fair_crps_does_not_hang_on_the_number_of_members():
    # over many ensembles from one Poisson law the fair score has the law's own score, the classic one more
    rng = np.random.default_rng(4)
    law = crps_of_count(poisson.pmf(np.arange(60), 6.0), 4)
    few = [crps_of_ensemble(rng.poisson(6.0, 3), 4, fair=True) for _ in range(20_000)]
    classic = [crps_of_ensemble(rng.poisson(6.0, 3), 4, fair=False) for _ in range(20_000)]
    assert np.mean(few) == pytest.approx(law, abs=4 * np.std(few) / math.sqrt(20_000))
    assert np.mean(classic) > law + 0.2


def test_crps_of_a_count_is_that_of_its_many_members():
    rng = np.random.default_rng(6)
    mass = rng.dirichlet(np.ones(8))
    members = np.repeat(np.arange(8), np.rint(mass * 100_000).astype(int)).astype(float)
    for count in (0, 3, 7, 11):
        assert crps_of_count(mass, count) == pytest.approx(crps_of_ensemble(members, count, fair=False), abs=1e-3)


def test_a_certain_count_scores_its_distance():
    assert [crps_of_count(np.array([0.0, 0.0, 1.0]), count) for count in range(6)] == [2, 1, 0, 1, 2, 3]


def test_counts_of_independent_plants_are_those_of_all_outcomes():
    chance = np.array([0.1, 0.5, 0.7, 0.0, 1.0])
    mass = np.zeros(6)
    for outcome in itertools.product((0, 1), repeat=5):
        mass[sum(outcome)] += np.prod([p if hit else 1 - p for p, hit in zip(chance, outcome, strict=True)])
    assert count_of_independent(chance) == pytest.approx(mass, abs=1e-15)
    assert count_of_independent(np.full(500, 0.02))[:40] == pytest.approx(
        binom.pmf(np.arange(40), 500, 0.02), abs=1e-12
    )
    assert count_of_independent(np.zeros(0)).tolist() == [1.0]


def test_an_interval_holds_what_it_says():
    mass = binom.pmf(np.arange(31), 30, 0.2)
    low, high, holds = interval_of_count(mass, 0.9)
    assert holds == pytest.approx(mass[low : high + 1].sum(), abs=1e-15)
    assert holds >= 0.9
    assert (low, high) == (binom.ppf(0.05, 30, 0.2), binom.ppf(0.95, 30, 0.2))
    assert interval_of_count(np.array([1.0]), 0.9) == (0, 0, 1.0)
