"""The benchmark of decisions: its simulator keeps its own law, and its rows in a shortened form.

The long test runs the rows of `benchmarks/decisions.py` on the first ten of its fifty outbreaks. Tens drawn from the fifty lie
around the ratio of all: 97.5 % of them at most 0.13 above it, 0.18 against the ring, and 0.06 where two laws order one list, as
the benchmark prints. Each bound is the figure asked of fifty and so much more. A ratio also depends on how large the outbreaks
are, since an order is worth nothing without a backlog: other tens, of milder outbreaks, lie above these bounds.
"""

import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

import decisions as study
import decisions_world as world
from decisions_rules import Programme, Rule

OUTBREAKS = 10
FEW, FEW_AGAINST_RING, FEW_OF_ONE_LIST = 0.13, 0.18, 0.06
"""By how much the ratio of ten outbreaks may lie above what fifty are asked for."""


@pytest.fixture(scope="module")
def one():
    """A town with its rates and the numbers of one outbreak."""
    town = world.make_town(301)
    rate = world.Town.rates(town)
    return town, rate, world.draw_fate(town, 301, rate)


def run(fate, removals=()):
    """Return an outbreak to the end, plants being taken out on the way: (day, plants) rows in order."""
    outbreak = world.Outbreak(fate)
    for day, plants in removals:
        outbreak.run_until(day)
        outbreak.remove(np.asarray(plants, dtype=np.int64), day)
    outbreak.run_until(float(world.END_D))
    return outbreak


def test_the_town_has_the_stated_size(one):
    town = one[0]
    assert len(town.east) == world.PLANTS
    assert len(np.unique(town.bed)) == world.BEDS
    assert 140 < world.PLANTS / (world.SIDE_M**2 / 1e4) < 155  # about 150 roses a hectare, 0.17 km2
    assert town.distance.min() > 0.2


def test_kernel_and_wind_keep_all_mass():
    # sums over a fine ring table: worked by hand, mass 1 and mean factor 1
    r = np.geomspace(1e-3, 1e5, 200_001)
    f = 2 * np.pi * r * world.wald_density(r)
    assert np.trapezoid(f, r) == pytest.approx(1, abs=1e-4)
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    factor = world.wind_factor(np.sin(angle), np.cos(angle), 70.0)
    assert factor.mean() == pytest.approx(1, abs=1e-9)
    assert np.rad2deg(angle[factor.argmax()]) == pytest.approx(70)


def test_latency_share_is_that_of_drawn_periods(one):
    after = np.concatenate([one[2].symptoms_after, world.draw_fate(one[0], 302, one[1]).symptoms_after])
    for days in (40, 66, 100, 200, 365):
        share = float(world.latency_share(np.array([float(days)]))[0])
        assert (after <= days).mean() == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / len(after)) + 1e-3)


def test_a_removal_of_nobody_changes_nothing(one):
    free, empty = run(one[2]), run(one[2], [(500.0, []), (700.0, [])])
    np.testing.assert_array_equal(free.infected, empty.infected)
    np.testing.assert_array_equal(free.by, empty.by)


@pytest.mark.parametrize("draw", range(4))
def test_removals_put_infections_off_and_never_add_any(one, draw):
    free = run(one[2])
    rng = np.random.default_rng(draw)
    removals = [(float(day), rng.choice(world.PLANTS, 120, replace=False)) for day in (300, 500, 700)]
    treated = run(one[2], removals)
    assert (treated.infected >= free.infected).all()
    assert np.isfinite(treated.infected).sum() < np.isfinite(free.infected).sum()
    caught = np.flatnonzero(treated.by >= 0)
    assert len(caught) > 50
    assert (treated.infected[caught] < treated.removed[treated.by[caught]]).all()  # what is out sends nothing


def test_what_is_out_is_not_infected_any_more(one):
    free = run(one[2])
    day = 420.0
    later = np.flatnonzero((free.infected > day) & np.isfinite(free.infected))
    assert len(later) > 100
    treated = run(one[2], [(day, later)])
    assert not np.isfinite(treated.infected[later]).any()


def test_every_infection_is_the_earliest_contact(one):
    """The event queue against a plain search over all sources, for some plants."""
    _, rate, fate = one
    outbreak = run(fate)
    number = np.random.default_rng([301, 3]).standard_exponential((world.PLANTS, world.PLANTS), dtype=np.float32)
    days = np.arange(world.END_D + 1)
    flown = world.flown_before(days.astype(float))
    sick = np.flatnonzero(outbreak.infected < world.END_D)
    base = float(world.flown_before(float(world.BEGIN_D)))
    for plant in np.random.default_rng(0).choice(world.PLANTS, 40, replace=False):
        if plant in fate.founders:
            continue
        best = (
            np.inf if base + fate.wild_dose[plant] > flown[-1] else np.interp(base + fate.wild_dose[plant], flown, days)
        )
        need_of = np.divide(
            number[:, plant], rate[:, plant], out=np.full(world.PLANTS, np.inf), where=rate[:, plant] > 0
        )
        for source in sick[need_of[sick] < flown[-1]]:
            begin = outbreak.infected[source] + world.SENDS_AFTER_D
            shows = max(outbreak.infected[source] + fate.symptoms_after[source], begin)
            given = world.HIDDEN_STRENGTH * (
                world.flown_before(np.clip(days, begin, max(shows, begin))) - world.flown_before(begin)
            ) + (world.flown_before(np.maximum(days, shows)) - world.flown_before(shows))
            need = float(need_of[source])
            if given[-1] > need:
                best = min(best, float(np.interp(need, given, days)))
        # by whole days, since strength changes within one
        assert (outbreak.infected[plant] == np.inf and best > world.END_D - 2) or outbreak.infected[plant] == (
            pytest.approx(best, abs=1.5)
        )


def test_hours_are_kept(one):
    town, rate, fate = one
    for hours in (2, 8):
        result = Programme(town, fate, Rule(removal="fullest bed first", hours=hours), rate, town.wild_rates()).run()
        weeks = sum(
            world.WORK_FROM <= (world.START_D + 7 * week) % world.YEAR <= world.WORK_TO for week in range(world.WEEKS)
        )
        assert 0 < result.removal_hours <= hours * weeks + 3  # the last job may run on beyond the last week
        assert result.healthy_taken == 0


@pytest.mark.long
def test_one_rule_gives_one_result(one):
    town, rate, fate = one
    rule = Rule(removal="value", hours=8, price=1.0)
    first, second = (Programme(town, fate, rule, rate, town.wild_rates()).run() for _ in range(2))
    assert asdict(first) == asdict(second)


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_infections_are_those_of_the_integrated_hazard():
    infections, hazard, course = study.check_simulator(range(301, 313))
    z = (infections - hazard) / np.sqrt(hazard)
    print(f"\ninfections {infections}, integrated hazard {hazard:.0f}, z {z:.2f}; course {course.mean(axis=0)}")
    assert abs(z) < 3.3  # once in a thousand seeds by chance
    # calibrated to 99 at the start and 752 new in three seasons; a new draw of twelve towns has a standard error of 8 and 45
    assert course[:, 0].mean() == pytest.approx(99, abs=35)
    assert (course[:, -1] - course[:, 0]).mean() == pytest.approx(752, abs=180)


@pytest.fixture(scope="module")
def ten():
    """Results of the rules that the shortened rows need."""
    names = [f"{name} {hours} h" for hours in (4, 8) for name in (*study.SIMPLE, "counted within 10 m", "with green")]
    rules = study.GROUPS["hours"] | study.GROUPS["crew"] | study.GROUPS["pot"] | study.GROUPS["law"]
    names += ["order 8 h", "kernel x 0.5", "kernel x 5", "wind + 90", "fullest bed first 7 h", "fullest bed first 14 h"]
    seeds = range(study.FIRST_SEED, study.FIRST_SEED + OUTBREAKS)
    results = study.measure({name: rules[name] for name in names}, seeds)
    print()
    study.print_rules(results)
    return results


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(
    ("first", "second", "asked"),
    [
        ("with green 4 h", "best", 0.42),
        ("with green 8 h", "nearest first 8 h", 0.58),
        ("with green 8 h", "fullest bed first 8 h", 0.68),
        ("with green 8 h", "ring 1 m 8 h", 0.75),
        ("with green 4 h", "counted within 10 m 4 h", 0.80),
        ("with green 8 h", "counted within 10 m 8 h", 0.85),
        # 1.9 times the hours of fullest bed first, stated as what is left
        ("with green 4 h", "fullest bed first 7 h", 1.0 - FEW),
    ],
)  # fmt: skip
def test_rows(ten, first, second, asked):
    against = study.best_simple(ten, 4) if second == "best" else second
    value, low, high = study.ratio(*study.paired(ten, first, against))
    print(f"{first} / {against}: asked {asked} of fifty, measured {value:.3f} [{low:.3f}, {high:.3f}]")
    assert value <= asked + (FEW_AGAINST_RING if "ring" in second else FEW)


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", ["kernel x 0.5", "kernel x 5", "wind + 90"])
def test_the_order_hardly_depends_on_the_law(ten, name):
    value, low, high = study.ratio(*study.paired(ten, name, "order 8 h"))
    print(f"{name}: regret asked <= 0.05 of fifty, measured {value - 1:.3f} [{low - 1:.3f}, {high - 1:.3f}]")
    assert value <= 1.05 + FEW_OF_ONE_LIST
    left = study.mean_new(ten, name)
    assert left <= min(study.mean_new(ten, f"{simple} 8 h") for simple in study.SIMPLE[:3])
