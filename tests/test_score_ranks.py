"""Orders compared: weighted figures equal repeated plants, ranges come from whole beds, random orders are exact."""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import hypergeom

from spreadmap.outbreak.score import auc, hits_in_first
from spreadmap.outbreak.score_ranks import (
    REDRAWS,
    figures_over,
    first_part,
    groups_of,
    random_range,
    range_of,
    rank_figures,
    redrawn,
)
from spreadmap.outbreak.score_sample import Sample


def made_sample(orders, found, bed=None):
    n = len(found)
    return Sample(
        found=np.array(found, dtype=bool),
        orders={name: np.array(order, dtype=float) for name, order in orders.items()},
        bed=np.arange(n) if bed is None else np.array(bed),
        in_rings={},
        hours=n // 2,
        chances=None,
        remarks=(),
    )


@pytest.fixture
def drawn():
    rng = np.random.default_rng(11)
    return np.round(rng.normal(size=80), 1), rng.random(80) < 0.25, rng.integers(0, 4, 80)


def test_figures_of_plants_that_count_once_are_the_plain_ones(drawn):
    order, found, _ = drawn
    figures = rank_figures(groups_of(order), found, np.arange(80), np.ones((1, 80)), 0.15)
    assert figures.auc[0] == pytest.approx(auc(order, found), abs=1e-12)
    assert figures.in_first[0] == pytest.approx(hits_in_first(order, found, 12), abs=1e-12)
    assert figures.hits[0] == found.sum()


def test_figures_of_plants_that_count_often_are_those_of_repeated_plants(drawn):
    order, found, times = drawn
    figures = rank_figures(groups_of(order), found, np.arange(80), times[None, :].astype(float), 0.5)
    again = np.repeat(np.arange(80), times)
    assert figures.auc[0] == pytest.approx(auc(order[again], found[again]), abs=1e-12)
    if len(again) % 2 == 0:
        expected = hits_in_first(order[again], found[again], len(again) // 2)
        assert figures.in_first[0] == pytest.approx(expected, abs=1e-12)
    assert figures.pairs[0] == found[again].sum() * (~found[again]).sum()


def test_plants_without_a_distance_share_the_last_places():
    figures = rank_figures(
        groups_of(np.array([-np.inf, -1.0, -np.inf])),
        np.array([True, True, False]),
        np.arange(3),
        np.ones((1, 3)),
        1 / 3,
    )
    assert (figures.auc[0], figures.in_first[0]) == (0.75, 1.0)


def test_only_plants_of_one_survey_are_compared():
    # within each survey the order is perfect; across them it would not be
    one = made_sample({"x": [2, 1]}, [True, False])
    two = made_sample({"x": [20, 10]}, [True, False])
    assert figures_over([one, two], "x").auc[0] == 1
    assert figures_over([one, two], "x").pairs[0] == 2


def test_redrawing_is_the_same_every_time_and_follows_the_plain_figure(drawn):
    order, found, _ = drawn
    sample = made_sample({"x": order, "y": -order}, found)
    first, second = redrawn([sample], ("x", "y")), redrawn([sample], ("x", "y"))
    assert np.array_equal(first["x"].auc, second["x"].auc)
    assert len(first["x"].auc) == REDRAWS
    assert np.mean(first["x"].auc) == pytest.approx(auc(order, found), abs=0.01)
    # both rules are seen on the same beds, so that an order and its reverse add up to one in every redraw
    assert first["x"].auc + first["y"].auc == pytest.approx(np.ones(REDRAWS), abs=1e-12)


def test_the_range_has_the_spread_of_the_rank_sum():
    # plants alone in their beds: near the standard error of Hanley & McNeil 1982 (from memory) for exponential scores
    rng = np.random.default_rng(12)
    found = np.arange(400) < 100
    order = np.where(found, rng.exponential(3.0, 400), rng.exponential(1.0, 400))
    area = auc(order, found)
    q1, q2 = area / (2 - area), 2 * area**2 / (1 + area)
    variance = (area * (1 - area) + 99 * (q1 - area**2) + 299 * (q2 - area**2)) / (100 * 300)
    spread = np.std(redrawn([made_sample({"x": order}, found)], ("x",))["x"].auc)
    assert spread == pytest.approx(math.sqrt(variance), rel=0.25)


def test_plants_that_share_a_bed_widen_the_range():
    rng = np.random.default_rng(13)
    of_bed, in_bed = np.repeat(rng.normal(size=20), 20), rng.random(400) < 0.1
    found = (np.repeat(rng.random(20), 20) < 0.3) | in_bed
    alone = made_sample({"x": of_bed}, found)
    together = made_sample({"x": of_bed}, found, np.repeat(np.arange(20), 20))
    narrow, wide = (np.ptp(range_of(redrawn([each], ("x",))["x"].auc)) for each in (alone, together))
    assert wide > 1.5 * narrow


def test_a_range_needs_half_of_its_redraws():
    assert range_of(np.array([1.0, 2.0, np.nan])) == pytest.approx((1.025, 1.975))
    assert np.isnan(range_of(np.array([1.0, np.nan, np.nan]))).all()


def test_orders_at_random_hold_a_hypergeometric_number():
    sample = made_sample({}, np.arange(40) < 9)
    law = hypergeom(40, 9, 4)
    low, high = random_range([sample])
    assert law.cdf(low - 1) < 0.025 <= law.cdf(low)
    assert law.cdf(high - 1) < 0.975 <= law.cdf(high)


def test_orders_at_random_over_two_surveys_are_those_of_all_pairs_of_orders():
    # every placing of 2 found of 3 plants beside 1 found of 2: the first tenth is one plant of each
    counts = [
        (0 in one) + (0 in other)
        for one in itertools.combinations(range(3), 2)
        for other in itertools.combinations(range(2), 1)
    ]
    low, high = random_range([made_sample({}, [1, 1, 0]), made_sample({}, [1, 0])])
    assert (low, high) == (min(counts), max(counts)) == (0, 2)


def test_a_tenth_is_rounded_up():
    assert [first_part(plants) for plants in (0, 1, 10, 11, 400)] == [0, 1, 1, 2, 40]


def test_groups_keep_the_order_and_put_neighbours_together():
    rng = np.random.default_rng(14)
    order = rng.normal(size=10_000)
    assert groups_of(np.array([1.0, 3.0, 1.0, 2.0])).tolist() == [2, 0, 2, 1]
    groups = groups_of(order, 100)
    assert np.bincount(groups).tolist() == [100] * 100
    assert (np.diff(groups[np.argsort(-order)]) >= 0).all()
    found = rng.random(10_000) < 0.1
    one = (np.zeros(10_000, dtype=np.int64), np.ones((1, 1)), 0.1)
    exact, rough = (rank_figures(each, found, *one) for each in (groups_of(order), groups))
    assert rough.auc[0] == pytest.approx(exact.auc[0], abs=1e-3)
    assert rough.in_first[0] == pytest.approx(exact.in_first[0], abs=1e-9)
