"""The order of looking against a slow one that picks again and again, how far hours reach, and the walk."""

import numpy as np
import pytest

from spreadmap.decisions.looking import Looks, order_by_worth, reached, walk


def looks_of(worth, place, minutes=1.5, group=0, reach=5.0):
    n = len(worth)
    return Looks(
        worth=np.asarray(worth, dtype=float),
        minutes=np.broadcast_to(np.asarray(minutes, dtype=float), n),
        place=np.asarray(place),
        group=np.broadcast_to(np.asarray(group), n),
        reach_minutes=reach,
    )


def picked_again_and_again(looks, opened):
    """The best run of the best place after every pick, in plain loops."""
    left, opened = list(range(len(looks))), set(np.flatnonzero(opened).tolist())
    order = []
    while left:
        best, chosen = -1.0, []
        for place in sorted({int(looks.place[i]) for i in left}):
            queue = sorted(
                (i for i in left if looks.place[i] == place), key=lambda i: -looks.worth[i] / looks.minutes[i]
            )
            for end in range(1, len(queue) + 1):
                reach = 0.0 if place in opened else looks.reach_minutes
                rate = looks.worth[queue[:end]].sum() / (reach + looks.minutes[queue[:end]].sum())
                if rate > best + 1e-12:
                    best, chosen = rate, queue[:end]
        opened.add(int(looks.place[chosen[0]]))
        order += chosen
        left = [i for i in left if i not in chosen]
    return order


@pytest.mark.parametrize("seed", range(40))
def test_the_order_is_that_of_picking_the_best_run_again_and_again(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 14))
    looks = looks_of(rng.exponential(size=n), rng.integers(0, 5, n), rng.uniform(0.5, 4, n), reach=rng.uniform(0, 9))
    opened = rng.uniform(size=5) < 0.3
    order, added = order_by_worth(looks, np.arange(n), opened)
    assert order.tolist() == picked_again_and_again(looks, opened)
    # every place that was not open costs its way once, at the first of its plants
    first = {int(place): at for at, place in reversed(list(enumerate(looks.place[order].tolist())))}
    wanted = [
        0.0 if opened[looks.place[i]] or first[int(looks.place[i])] != at else looks.reach_minutes
        for at, i in enumerate(order)
    ]
    assert added.tolist() == wanted


def test_equal_plants_keep_the_order_of_the_inventory_and_groups_come_first():
    looks = looks_of([1, 1, 1, 1], [0, 1, 0, 1], reach=0.0)
    assert order_by_worth(looks, np.arange(4), np.zeros(2, bool))[0].tolist() == [0, 1, 2, 3]
    looks = looks_of([9, 1, 9, 1], [0, 1, 2, 3], group=[1, 0, 1, 0])
    assert order_by_worth(looks, np.arange(4), np.zeros(4, bool))[0].tolist() == [1, 3, 0, 2]


def test_no_worth_at_all_is_an_order_too():
    order, added = order_by_worth(looks_of([0, 0, 0], [1, 0, 1]), np.arange(3), np.zeros(2, bool))
    assert sorted(order.tolist()) == [0, 1, 2]
    assert added.sum() == 10
    assert len(order_by_worth(looks_of([], []), np.arange(0), np.zeros(0, bool))[0]) == 0


def test_hours_are_never_passed_and_more_never_reach_fewer():
    rng = np.random.default_rng(5)
    n = 80
    looks = looks_of(rng.exponential(size=n), rng.integers(0, 12, n))
    drawn, overdue = rng.uniform(size=n) < 0.1, rng.uniform(0, 2, n)
    before = 0
    for minutes in (0, 6, 30, 60, 90, 120, 200):
        taken = reached(looks, drawn, overdue, minutes, 0.25)
        used = 1.5 * taken.sum() + 5 * len(set(looks.place[taken].tolist()))
        assert used <= minutes + 1e-9
        assert taken.sum() >= before
        before = int(taken.sum())
    assert taken.all()
    assert reached(looks, drawn, overdue, 60, 0.25)[drawn].all()


def test_the_share_for_overdue_plants_goes_to_the_longest_overdue():
    looks = looks_of([9, 8, 7, 1, 1, 1], range(6), reach=0.5)  # two minutes each
    overdue = np.array([0, 0, 0, 1.5, 3.0, 0.9])
    assert np.flatnonzero(reached(looks, np.zeros(6, bool), overdue, 8, 0.5)).tolist() == [0, 1, 3, 4]
    assert np.flatnonzero(reached(looks, np.zeros(6, bool), overdue, 8, 0.25)).tolist() == [0, 1, 2, 4]
    assert np.flatnonzero(reached(looks, np.zeros(6, bool), overdue, 8, 0.0)).tolist() == [0, 1, 2, 3]


def test_sites_are_not_left_before_they_are_done():
    looks = looks_of([9, 5, 8, 1, 7], [0, 1, 2, 3, 4])
    site = np.array([0, 0, 1, 1, 0])
    steps = walk(looks, np.ones(5, bool), np.arange(5.0), np.zeros(5), site)
    assert np.argsort(steps).tolist() == [0, 4, 1, 2, 3]
    assert walk(looks, np.zeros(5, bool), np.arange(5.0), np.zeros(5), site).tolist() == [0] * 5


def test_urgent_groups_lead_the_walk_though_they_are_worth_less():
    looks = looks_of([9, 1], [0, 1], group=[2, 0])
    assert walk(looks, np.ones(2, bool), np.zeros(2), np.zeros(2), np.array([0, 1])).tolist() == [2, 1]
