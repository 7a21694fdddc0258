"""Scores of forecasts against printed values and values worked by hand.

Sources and how sure they are:

- Brier 0.0375 and AUC 0.75 are the examples in the documentation of scikit-learn (`brier_score_loss`, `roc_auc_score`),
  from memory; both are worked by hand in a line below. The library itself is the second opinion on made forecasts.
- CRPS of N(0, 1) at 0, 0.23369497725510913: README of the Python package properscoring 0.1, read there.
- Murphy's parts: four groups of forecasts, worked by hand after Murphy 1973 (J Appl Meteorol 12:595-600).
- Ensemble 1, 2, 4, 7 at 3: worked by hand, classic and with divisor m(m - 1) (Ferro 2014).
"""

import math

import numpy as np
import pytest
from scipy.stats import mannwhitneyu, norm
from sklearn.metrics import brier_score_loss, log_loss, roc_auc_score

from spreadmap.outbreak.score import (
    auc,
    brier_score,
    crps_of_count,
    crps_of_ensemble,
    log_score,
    murphy_parts,
    reliability_table,
    skill,
)

GROUPS = ((0.1, 10, 1), (0.3, 10, 2), (0.5, 10, 6), (0.9, 10, 9))
EDGES = (0.0, 0.2, 0.4, 0.6, 1.0)


def grouped():
    chance = np.concatenate([np.full(plants, said) for said, plants, _ in GROUPS])
    found = np.concatenate([np.arange(plants) < events for _, plants, events in GROUPS])
    return chance, found


def test_brier_of_four_plants():
    # ((0.1)^2 + (0.1)^2 + (0.2)^2 + (0.3)^2) / 4 = 0.15 / 4
    assert brier_score(np.array([0.1, 0.9, 0.8, 0.3]), np.array([False, True, True, False])) == pytest.approx(
        0.0375, abs=1e-15
    )


def test_auc_of_four_plants():
    # pairs (0.35, 0.1), (0.8, 0.1), (0.8, 0.4) in order, (0.35, 0.4) not: 3 of 4
    assert auc(np.array([0.1, 0.4, 0.35, 0.8]), np.array([False, False, True, True])) == 0.75


def test_murphy_parts_of_four_groups():
    parts = murphy_parts(*grouped(), EDGES)
    # squared misses 0, 0.01, 0.01, 0; squared distances of the rates from 0.45: 0.1225, 0.0625, 0.0225, 0.2025
    assert parts.reliability == pytest.approx((0.01 + 0.01) / 4, abs=1e-12)
    assert parts.resolution == pytest.approx((0.1225 + 0.0625 + 0.0225 + 0.2025) / 4, abs=1e-12)
    assert parts.uncertainty == pytest.approx(0.45 * 0.55, abs=1e-12)
    assert parts.brier == pytest.approx(0.15, abs=1e-12)
    assert parts.residual == pytest.approx(0.0, abs=1e-12)
    assert skill(parts.brier, parts.uncertainty) == pytest.approx(0.3939393939, abs=5e-11)


def test_auc_and_log_score_of_four_groups():
    chance, found = grouped()
    # 18 found, 22 not. A found plant of a group beats the others of lower groups and half of its own:
    # 1 x 9/2 + 2 x (9 + 8/2) + 6 x (17 + 4/2) + 9 x (21 + 1/2) = 338 of 396 pairs
    assert auc(chance, found) == pytest.approx(338 / 396, abs=1e-12)
    assert auc(chance, found) == pytest.approx(0.8535353535, abs=5e-11)
    by_hand = -sum(hits * math.log(p) + (plants - hits) * math.log(1 - p) for p, plants, hits in GROUPS) / 40
    assert log_score(chance, found) == pytest.approx(by_hand, abs=1e-12)
    assert log_score(chance, found) == pytest.approx(0.4673619108, abs=5e-11)


def test_reliability_table_of_four_groups():
    rows = reliability_table(*grouped(), EDGES)
    assert [(row.mean_chance, row.plants, row.found) for row in rows] == [
        (pytest.approx(said), plants, events) for said, plants, events in GROUPS
    ]
    # Clopper and Pearson's range of 1 of 10, textbook value 0.0025 to 0.4450 (from memory)
    assert (rows[0].rate_low, rows[0].rate_high) == (pytest.approx(0.0025, abs=5e-5), pytest.approx(0.4450, abs=5e-5))


@pytest.mark.parametrize("share", [0.02, 0.2, 0.9])
def test_made_forecasts_are_scored_as_by_scikit_learn(share):
    rng = np.random.default_rng(7)
    chance = np.round(rng.beta(2 * share, 2 * (1 - share), 500), 2).clip(0.01, 0.99)  # with ties
    found = rng.random(500) < chance
    assert 0 < found.sum() < 500
    assert brier_score(chance, found) == pytest.approx(brier_score_loss(found, chance), abs=1e-12)
    assert log_score(chance, found) == pytest.approx(log_loss(found, chance), abs=1e-12)
    assert auc(chance, found) == pytest.approx(roc_auc_score(found, chance), abs=1e-12)


def test_auc_against_the_rank_sum_statistic_of_scipy():
    rng = np.random.default_rng(1)
    order = np.round(rng.normal(size=200), 1)  # with ties
    found = rng.random(200) < 0.2
    said = mannwhitneyu(order[found], order[~found]).statistic / (found.sum() * (~found).sum())
    assert auc(order, found) == pytest.approx(said, abs=1e-12)


@pytest.mark.parametrize(
    ("mean", "spread", "value", "expected"),
    [(0, 1, 0, 0.23369497725510913), (0, 1, 1, 0.6024413576), (2, 3, 1, 0.8328479352)],
)
def test_crps_of_a_normal(mean, spread, value, expected):
    # the first printed; the others by the closed form of Gneiting & Raftery 2007, eq. 21, computed
    z = (value - mean) / spread
    closed = spread * (z * (2 * norm.cdf(z) - 1) + 2 * norm.pdf(z) - 1 / math.sqrt(math.pi))
    assert closed == pytest.approx(expected, abs=1e-10)
    step = 0.005
    at = np.arange(math.floor((mean - 9 * spread) / step), math.ceil((mean + 9 * spread) / step) + 1)
    mass = norm.cdf((at + 0.5) * step, mean, spread) - norm.cdf((at - 0.5) * step, mean, spread)
    # a count in steps of 0.005 is that normal, rounded: the error goes with the square of the step
    assert crps_of_count(mass, round(value / step) - at[0]) * step == pytest.approx(expected, abs=2e-5)
    members = mean + spread * norm.ppf((np.arange(4000) + 0.5) / 4000)
    assert crps_of_ensemble(members, value, fair=False) == pytest.approx(expected, abs=1e-3)


def test_crps_of_four_members():
    # mean distance (2 + 1 + 1 + 4) / 4 = 2; sum over all ordered pairs 2 x (1 + 3 + 6 + 2 + 5 + 3) = 40
    members = np.array([1.0, 2.0, 4.0, 7.0])
    assert crps_of_ensemble(members, 3, fair=False) == pytest.approx(2 - 40 / (2 * 16), abs=1e-12)
    assert crps_of_ensemble(members, 3, fair=True) == pytest.approx(2 - 40 / (2 * 4 * 3), abs=1e-12)
    assert 2 - 40 / 32 == 0.75
    assert pytest.approx(1 / 3) == 2 - 40 / 24
