"""Members of an ensemble by events: numbers by counter, lists and bounds, closed forms, and the slow daily model."""

import itertools
import math

import numpy as np
import pytest
import slow_reference as slow
from made_fields import bent_wind, law_in
from scipy import stats
from small_outbreaks import PER_PLANT, apart, clock_of, course_of, draw_of, ground_at, world_of
from small_worlds import ONE_OF_EACH, receptors_at, rose_toward, screens_of, sources_at, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.outbreak import compiled_contacts as contacts
from spreadmap.outbreak import compiled_events as compiled
from spreadmap.outbreak import events
from spreadmap.outbreak.arrival_tables import arrival_tables
from spreadmap.outbreak.counters import even_at, key_for, poisson_at
from spreadmap.outbreak.events import NEVER, days_of_member, run_draw, run_draws
from spreadmap.outbreak.ground import GROUP_PLANTS
from spreadmap.pressure import pressure_at_points

SEED = 11
RNG = np.random.default_rng(20260921)
WIND = spread_of(rose=rose_toward(70))
TWO_STRANDS = Spread(
    kernel=Kernel(family="exponential", scale_m=8.0),
    climate=WIND.climate,
    wind_influence=0.5,
    near_radius_m=1.0,
    strands=(
        (0.7, spread_of(Kernel(family="exponential", scale_m=3.0), rose=rose_toward(200))),
        (0.3, spread_of(Kernel(family="exponential", scale_m=20.0))),
    ),
)


def scattered(n, side, seed=3):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, side, (n, 2))


# numbers by counter


def test_numbers_by_counter_are_even_and_apart():
    keys = [key_for(np.uint64(5), i) for i in range(4)]
    rows = np.array([[even_at(np.uint64(key), i) for i in range(5000)] for key in keys])
    assert rows.min() > 0
    assert rows.max() < 1
    for row in rows:
        assert stats.kstest(row, "uniform").pvalue > 0.001
        assert abs(np.corrcoef(row[:-1], row[1:])[0, 1]) < 4 / math.sqrt(5000)
    between = np.corrcoef(rows)[np.triu_indices(4, 1)]
    assert np.abs(between).max() < 4 / math.sqrt(5000)
    assert even_at(np.uint64(keys[0]), 3) == rows[0, 3]


def test_the_mixing_function_is_that_of_its_source():
    # The first numbers of SplitMix64 from seed 0, worked by its formulas in whole numbers of Python.
    def splitmix(state):
        z = state % 2**64
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9 % 2**64
        z = (z ^ (z >> 27)) * 0x94D049BB133111EB % 2**64
        return z ^ (z >> 31)

    for number in range(3):
        assert int(key_for(np.uint64(0), number)) == splitmix((number + 1) * 0x9E3779B97F4A7C15)


@pytest.mark.parametrize("mean", [0.0, 0.3, 4.0, 40.0])
def test_poisson_numbers_have_their_law(mean):
    drawn = np.array([poisson_at(np.uint64(key_for(np.uint64(9), i)), mean) for i in range(8000)])
    assert abs(drawn.mean() - mean) <= 4 * math.sqrt(mean / 8000)
    if mean:
        assert abs(drawn.var() / mean - 1) < 4 * math.sqrt((2 + 1 / mean) / 8000)
        assert abs((drawn == 0).mean() - math.exp(-mean)) < 4 * math.sqrt(math.exp(-mean) / 8000) + 1e-3


# lists of what a source reaches


def listed(ground, spread, source):
    """Return (plants, bound, strand) of every entry of a source's own list and of its group's."""
    run = events._Run(SEED, world_of(ground), spread)
    while (done := compiled._make_lists(source, run.land, run.law, run.pool, run.work)) < 0:
        run._grow(done)
    _, begin, length, _, entries, _ = run.pool
    found, group = [], ground.tree.home[source]
    for place in (source, len(ground) + group)[: 1 + (group >= 0)]:
        for one in entries[begin[place] : begin[place] + length[place]]:
            first, last = ground.tree.part[one["node"], :2]
            found.append((ground.tree.order[first:last], float(one["bound"]), int(one["strand"])))
    return found, run


@pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
@pytest.mark.parametrize("wind", ["none", "one", "bent"])
def test_a_list_holds_every_plant_once_and_no_hazard_exceeds_its_bound(kernel, wind):
    weight = np.random.default_rng(4).choice([0.0, 0.5, 1.0, 4.0], 400)
    ground, spread = ground_at(scattered(400, 90), weight=weight, radius=0.4), law_in(wind, kernel, 90.0)
    sources = (np.flatnonzero(weight == 0)[0], 0, 17, 399)
    assert {bool(ground.tree.home[source] >= 0) for source in sources} == {True, False}
    for source in sources:
        found, run = listed(ground, spread, source)
        seen = np.zeros(400, dtype=int)
        whole = 0.0
        for plants, bound, strand in found:
            seen[plants] += 1
            law = (*run.law[:10], *run.law[14:16])
            value = np.array(
                [contacts.pair_value(strand, source, i, run.land[0], *law) if i != source else 0.0 for i in plants]
            )
            assert value.max() * weight[plants].sum() <= bound * (1 + 1e-6)
            whole += float(value @ weight[plants])
        assert np.array_equal(seen, weight > 0)
        # The hazards are those of the sums that maps and fits use.
        others = np.flatnonzero((weight > 0) & (np.arange(400) != source))
        sums = pressure_at_points(
            receptors_at(*np.c_[ground.easting, ground.northing][others], radius=0.4),
            sources_at((ground.easting[source], ground.northing[source])), spread, Engine(workers=1),
        )  # fmt: skip
        assert whole == pytest.approx(float(sums.density @ weight[others]), rel=3e-4)
        assert sum(bound for _, bound, _ in found) < 4 * whole


def test_bounds_of_strands_add_up_to_little_more_than_the_law():
    ground = ground_at(scattered(300, 60), radius=0.4)
    found, _ = listed(ground, TWO_STRANDS, 5)
    assert {strand for _, _, strand in found} == {0, 1}
    others = np.flatnonzero(np.arange(300) != 5)
    sums = pressure_at_points(
        receptors_at(*np.c_[ground.easting, ground.northing][others], radius=0.4),
        sources_at((ground.easting[5], ground.northing[5])), TWO_STRANDS, Engine(workers=1),
    )  # fmt: skip
    assert 1 <= sum(bound for _, bound, _ in found) / sums.density.sum() < 4


def test_neighbours_that_touch_are_told_with_their_weights():
    ground = ground_at([(0, 0), (0.5, 0), (0.9, 0), (5, 0)], weight=[1, 2, 0, 1], touching_m=1.0)
    told = [ground.touching[a:b].tolist() for a, b in itertools.pairwise(ground.touch_start)]
    assert told == [[1], [0], [0, 1], []]
    assert np.diff(ground.touch_heaped).tolist() == [2, 1, 1, 2]


def test_groups_are_small_and_hold_every_plant_that_can_be_infected_once():
    weight = np.random.default_rng(4).choice([0.0, 1.0], 300)
    tree = ground_at(scattered(300, 90), weight=weight).tree
    assert np.array_equal(tree.home >= 0, weight > 0)
    for group in np.unique(tree.home[tree.home >= 0]):
        first, last = tree.part[group, :2]
        assert sorted(tree.order[first:last]) == np.flatnonzero(tree.home == group).tolist()
        assert 1 <= last - first <= GROUP_PLANTS
    few = ground_at(scattered(5, 9)).tree
    assert few.home.tolist() == [0] * 5


def test_draws_that_share_a_law_come_to_the_same_together_and_alone():
    ground = ground_at(scattered(300, 60), radius=0.4, touching_m=2.0)
    world = world_of(ground, sick=[0, 1], days=60, after=5, kept=1)
    draws = [
        draw_of(world, rate, 0.01, spread=WIND, number=number) for number, rate in enumerate((5.0, 20.0, 0.0, 9.0))
    ]
    for alone, together in zip(draws, run_draws(SEED, 20, world, draws), strict=True):
        one = run_draw(SEED, 20, world, alone)
        assert one.new.sum() > 0
        assert np.array_equal(one.new, together.new)
        assert np.array_equal(one.plant_infected, together.plant_infected)


def test_alias_tables_give_every_entry_its_share():
    bound = np.array([0.0, 3.0, 1.0, 0.5, 0.0, 7.5])
    share, other = np.zeros(6), np.zeros(6, dtype=np.int64)
    total = contacts.fill_alias(bound, 6, share, other, np.zeros(6, dtype=np.int64), np.zeros(6, dtype=np.int64))
    got = share / 6
    for at in range(6):
        got[other[at]] += (1 - share[at]) / 6 if other[at] != at else 0.0
    assert total == 12
    assert got == pytest.approx(bound / 12)


def test_bounds_that_were_too_low_are_put_up_and_change_no_law(monkeypatch):
    ground = ground_at(scattered(400, 200), radius=0.4)
    world = world_of(ground, sick=[0, 1], days=60, after=5)
    draw = draw_of(world, per_day_m2=40.0, spread=spread_of())
    usual = run_draw(SEED, 200, world, draw).new.mean()
    monkeypatch.setattr(events, "MARGIN", 0.3)
    low = run_draw(SEED, 200, world, draw).new
    error = low.std() / math.sqrt(200)
    assert abs(low.mean() - usual) < 6 * error


# closed forms


def counts_of(world, draw, members, seed=SEED):
    """Return in how many members each plant is infected by the horizon."""
    return run_draw(seed, members, world, draw).plant_infected[0, -1]


@pytest.mark.parametrize(
    ("spread", "screens", "touching_m"),
    [
        (spread_of(), screens_of(), 0.0),
        (WIND, screens_of((10, -5, 10, 30, 0.3)), 1.5),
        (TWO_STRANDS, screens_of(), 0.0),
        (spread_of(Kernel(family="student_2d", scale_m=10.0, shape=1.4), rose_toward(300)), screens_of(), 0.0),
        (bent_wind(Kernel(family="exponential", scale_m=6.0), 40.0), screens_of(), 0.0),
    ],
    ids=["plain", "wind, screen and touch", "strands", "heavy tail", "bent wind"],
)
def test_one_source_and_many_receivers(spread, screens, touching_m):
    """Receivers that do not send yet are infected apart from each other, each with 1 - exp(-hazard)."""
    n, members, days = 300, 4000, 40
    rng = np.random.default_rng(8)
    places = scattered(n, 40)
    places[0] = (9, 9)
    weight = rng.choice([0.5, 1.0, 2.0], n)
    flight = rng.choice([0.0, 0.4, 1.0], days)
    ground = ground_at(places, weight=weight, strength=np.full(n, 2.0), touching_m=touching_m, radius=0.4)
    world = world_of(
        ground, sick=[0], after=days, clock=clock_of(days, [13, 26], flight=flight), screens=screens, kept=1
    )
    beta, contact = 6.0, 0.02
    receivers = receptors_at(*places, radius=0.4, plant=np.arange(n))
    density = pressure_at_points(
        receivers, sources_at(places[0], plant=[0]), spread, Engine(workers=1), screens=screens
    ).density  # fmt: skip
    touch = (np.hypot(*(places - places[0]).T) <= touching_m) * contact
    chance = 1 - np.exp(-2.0 * weight * (beta * density + touch) * flight.sum())
    found = counts_of(world, draw_of(world, beta, contact, spread=spread), members)
    assert found[0] == 0
    expected, spreads = chance[1:] * members, np.sqrt(members * chance * (1 - chance))[1:]
    score = (found[1:] - expected) / spreads
    assert np.abs(score).max() < 4.5
    assert stats.chi2.sf(np.sum(score**2), n - 1) > 0.001
    assert stats.chi2.cdf(np.sum(score**2), n - 1) > 0.001


def test_the_number_of_infections_from_outside_is_poisson():
    n, days = 2000, 50
    outside = np.where(np.arange(n) < 500, 4e-4, 0.0)
    world = world_of(ground_at(scattered(n, 1000)), days=days, kept=1)
    new = run_draw(SEED, 1500, world, draw_of(world, outside=outside)).new.ravel()
    chance = 1 - math.exp(-4e-4 * days)
    assert abs(new.mean() - 500 * chance) < 4 * math.sqrt(500 * chance / 1500)
    assert abs(new.var() / (500 * chance * (1 - chance)) - 1) < 4 * math.sqrt(2 / 1500)
    assert counts_of(world, draw_of(world, outside=outside), 50)[500:].sum() == 0


def test_three_plants_with_exponential_waiting_times():
    """A infects B and C, B infects C: P(C healthy at t) = exp(-ac t) [exp(-ab t) + ab (exp(-bc t) - exp(-ab t)) / (ab - bc)].

    Days are short against the rates, so that whole days change it by less than rate x day.
    """
    groups, days, rate = 500, 1200, 5e-4
    places, _ = apart(groups, 3)
    # B sends three times as strongly as A, C not to speak of; B receives twice as much as C.
    ground = ground_at(places, weight=[1.0, 2.0, 1.0] * groups, strength=[1.0, 3.0, 1e-9] * groups)
    world = world_of(ground, sick=range(0, 3 * groups, 3), clock=clock_of(days, range(100, days, 100)), kept=1)
    members = 40
    found = counts_of(world, draw_of(world, per_day_m2=rate / PER_PLANT), members).reshape(groups, 3)
    ab, ac, bc = 2 * rate, rate, 3 * rate
    healthy_b = math.exp(-ab * days)
    healthy_c = math.exp(-ac * days) * (healthy_b + ab * (math.exp(-bc * days) - healthy_b) / (ab - bc))
    for plant, healthy in ((1, healthy_b), (2, healthy_c)):
        share = found[:, plant].sum() / (groups * members)
        assert abs(share - (1 - healthy)) < 4 * math.sqrt(healthy * (1 - healthy) / (groups * members)) + bc


def test_infection_times_pushed_through_their_own_pressure_are_unit_exponential():
    """Time rescaling: the hazards summed up to a plant's infection are exponential with mean one."""
    n, days, members = 60, 4000, 12
    places = scattered(n, 60)
    ground = ground_at(places)
    spread = spread_of(Kernel(family="exponential", scale_m=10.0), rose_toward(120))
    world = world_of(ground, sick=[0], after=30, clock=clock_of(days, range(200, days, 200)))
    draw = draw_of(world, per_day_m2=2.0, spread=spread)
    receptors = receptors_at(*places, plant=np.arange(n))
    rate = np.array(
        [
            2.0 * pressure_at_points(receptors, sources_at(place, plant=[j]), spread, Engine(workers=1)).density
            for j, place in enumerate(places)
        ]
    )  # (source, receiver) per day
    rng, passed = np.random.default_rng(1), []
    for member in range(members):
        on, *_ = days_of_member(SEED, member, world, draw)
        sends = np.where(on < 0, 0, on + 30)
        assert on.max() < NEVER
        for i in range(1, n):
            before = float(np.sum(rate[:, i] * np.clip(on[i] - sends, 0, None)))
            today = float(np.sum(rate[sends <= on[i], i]))
            # Where within its day is not known: it lies as an exponential cut off at the day's hazard does.
            passed.append(before - math.log1p(-rng.random() * -math.expm1(-today)))
    assert stats.kstest(passed, "expon").pvalue > 0.001


# the slow daily model


@pytest.mark.parametrize("members", [1000, pytest.param(5000, marks=[pytest.mark.long, pytest.mark.timeout(1800)])])
def test_members_have_the_law_of_the_model_told_day_by_day(members):
    n, days = 7, 26
    places = scattered(n, 12, seed=6)
    spread = spread_of(Kernel(family="exponential", scale_m=4.0))
    beta, outside, weight = 9.0, np.full(n, 0.004), np.array([1, 1, 2, 1, 0.5, 1, 1.0])
    hazard = [
        [
            0.0 if i == j else beta * weight[i] * slow.location_density("exponential", math.dist(places[i], places[j]), 4.0)
            for j in range(n)
        ]
        for i in range(n)
    ]  # fmt: skip
    given = {"sick": [0], "out_on": {0: 9, 4: 15}, "surveys": [8, 16]}
    rng = np.random.default_rng(5)
    told = [
        slow.outbreak_by_days(
            hazard, outside * weight, days, 3, [4], given["sick"], given["out_on"], given["surveys"], 0.6, 2, rng
        )
        for _ in range(members)
    ]
    slow_on = np.array([[days if day is None else day for day in one] for one in told], dtype=float)
    clock = clock_of(days, given["surveys"])
    course = course_of(n, 3, gone=given["out_on"], surveyed=[1, 2], takes_out=True, delay_days=2.0)
    world = world_of(
        ground_at(places, weight=weight), sick=given["sick"], after=3.0, latency=(3.5, 1e-3), seen=0.6, courses=(course,),
        clock=clock,
    )  # fmt: skip
    draw = draw_of(world, beta, outside=outside * weight, spread=spread)
    fast_on = np.array([days_of_member(SEED, member, world, draw)[0] for member in range(members)], dtype=float)
    fast_on = np.minimum(fast_on, days)
    for plant in range(1, n):
        one, two = (on[:, plant] for on in (slow_on, fast_on))
        share = ((one < days).mean() + (two < days).mean()) / 2
        assert abs((one < days).mean() - (two < days).mean()) < 4 * math.sqrt(2 * share * (1 - share) / members)
        assert abs(one.mean() - two.mean()) < 4 * math.sqrt((one.var() + two.var()) / members)
    sizes = [(on[:, 1:] < days).sum(axis=1) for on in (slow_on, fast_on)]
    table = np.array([np.bincount(size, minlength=n) for size in sizes])
    table = table[:, table.sum(axis=0) > 0]
    assert stats.chi2_contingency(table).pvalue > 0.001


# courses of action, member by member


def with_courses(places, courses, **more):
    ground = ground_at(places)
    return world_of(ground, courses=courses, **more)


def test_courses_with_nothing_different_have_the_same_members():
    places, stretches = scattered(200, 50), 3
    course = course_of(
        200, stretches, gone={0: 7}, surveyed=[1, 2], takes_out=True, crew_hours=20.0, hours=np.ones(200)
    )
    world = with_courses(places, (course, course), sick=[0, 1], after=3, latency=(5.0, 0.5), seen=0.5,
                         clock=clock_of(40, [14, 28]), kept=2)  # fmt: skip
    tally = run_draw(SEED, 50, world, draw_of(world, 20.0, spread=spread_of()))
    assert tally.new[0].sum() > 100
    for counts in (tally.new, tally.infected, tally.showing, tally.found, tally.plant_infected, tally.plant_showing):
        assert np.array_equal(counts[0], counts[1])


def test_taking_a_source_out_earlier_never_makes_a_case():
    places = scattered(300, 60)
    courses = tuple(course_of(300, 2, gone=dict.fromkeys(range(5), day)) for day in (NEVER, 30, 12, 1))
    world = with_courses(places, courses, sick=range(5), after=4, clock=clock_of(60, [30]))
    new = run_draw(SEED, 150, world, draw_of(world, 1.5, spread=spread_of())).new[:, :, -1]
    assert np.all(np.diff(new, axis=0) <= 0)
    assert np.all(np.diff(new.mean(axis=1)) < 0)


def test_a_plant_that_is_out_or_not_planted_yet_is_not_infected():
    places = scattered(50, 15)
    stands_from = np.zeros(50)
    stands_from[10:20] = 25
    course = course_of(50, 1, gone=dict.fromkeys(range(20, 30), 5))
    world = with_courses(places, (course,), sick=[0], days=60, stands_from=stands_from)
    draw = draw_of(world, 200.0, spread=spread_of())
    on, _, _, gone = days_of_member(SEED, 0, world, draw)
    assert np.all(on[1:10] < NEVER)
    assert on[10:20].min() >= 25
    assert np.all((on[20:30] < 5) | (on[20:30] == NEVER))
    assert np.array_equal(np.unique(gone), [5, NEVER])


def test_missed_roots_send_their_share():
    """Receivers only: with all roots missed the source's hazard after removal is that of the roots."""
    n, days, members = 101, 20, 600
    places, _ = apart(1, n)
    hazard = 0.03
    for share, expected in ((0.0, 5.0), (1.0, 5.0 + 0.3 * 15), (0.5, None)):
        course = course_of(n, 1, gone={0: 5}, missed_share=share)
        world = with_courses(places, (course,), sick=[0], days=days, after=days, roots=0.3, kept=1)
        share_infected = counts_of(world, draw_of(world, hazard / PER_PLANT), members)[1:].mean() / members
        if expected is None:
            low, high = (1 - math.exp(-hazard * x) for x in (5.0, 9.5))
            assert abs(share_infected - (low + high) / 2) < 0.02
        else:
            chance = 1 - math.exp(-hazard * expected)
            assert abs(share_infected - chance) < 4 * math.sqrt(chance * (1 - chance) / (100 * members))


def test_a_screen_of_one_course_holds_back_and_changes_nothing_else():
    n = 80
    places = np.r_[
        [(0.0, 0.0)], np.c_[np.full(40, -6.0), np.linspace(-5, 5, 40)], np.c_[np.full(39, 6.0), np.linspace(-5, 5, 39)]
    ]
    screen = screens_of((3, -50, 3, 50, 0.25))
    courses = (course_of(n, 1), course_of(n, 1, more_screens=screen))
    world = with_courses(places, courses, sick=[0], days=20, after=20, kept=2)
    # Hazard from outside stays as it is behind the screen, but for the share it leaves.
    outside = np.full(n, 1e-3)
    left = (np.zeros(0), np.where(places[:, 0] > 3, 0.5, 1.0))
    draw = draw_of(world, 3.0, outside=outside, spread=spread_of(), left=left)
    tally = run_draw(SEED, 1500, world, draw)
    plain, screened = tally.plant_infected[:, -1]
    assert np.array_equal(plain[1:41], screened[1:41])
    density = pressure_at_points(
        receptors_at(*places, radius=0.001), sources_at((0, 0)), spread_of(), Engine(workers=1)
    ).density  # fmt: skip
    chance = 1 - np.exp(-20 * (3.0 * 0.25 * density[41:] + 0.5e-3))
    assert abs(screened[41:].sum() - 1500 * chance.sum()) < 4 * math.sqrt(1500 * chance.sum())


def test_surveys_find_what_shows_and_crews_take_it_out_in_turn():
    n, days = 40, 60
    places, _ = apart(1, n)
    crew = {"takes_out": True, "crew_hours": 7.0, "free_from": 12.0, "delay_days": 3.0, "hours": np.full(n, 2.0)}
    course = course_of(n, 3, surveyed=[1, 2], **crew)
    # All are infected from outside on the first days; they show after 5 days and never send.
    world = with_courses(places, (course,), after=days, latency=(4.5, 1e-3), seen=1.0, clock=clock_of(days, [10, 20]))
    on, shows, found, gone = days_of_member(SEED, 0, world, draw_of(world, outside=np.full(n, 0.2)))
    early = on <= 5
    assert np.array_equal(shows[on < NEVER], on[on < NEVER] + 5)
    assert set(found[early]) == {10}
    # Seven crew hours a week at two hours each: one plant every two days, from day 13 (10 + 3, after day 12) on.
    turns = np.sort(gone[early])
    assert turns.tolist() == [15 + 2 * turn for turn in range(early.sum())]
    assert np.all(on[np.argsort(gone[early])] >= 0)


def test_out_of_the_growing_season_nothing_shows_and_nothing_is_seen():
    n, days = 30, 40
    places, _ = apart(1, n)
    season = np.r_[np.ones(8), np.zeros(days - 8)]
    courses = tuple(course_of(n, 3, surveyed=[at]) for at in (1, 2))
    world = with_courses(places, courses, latency=(2.5, 1e-3), after=days, clock=clock_of(days, [7, 20], season=season),
                         checks=[days])  # fmt: skip
    draw = draw_of(world, outside=np.full(n, 0.3))
    tally = run_draw(SEED, 20, world, draw)
    assert tally.found[0].min() > 0
    assert tally.found[1].max() == 0
    on, shows, *_ = days_of_member(SEED, 0, world, draw)
    assert np.all(shows[on > 5] == NEVER)


def test_hidden_plants_start_as_their_chances_say():
    n, members = 2000, 60
    chance = np.tile([0.2, 0.1, 0.05], (n, 1))
    world = world_of(ground_at(scattered(n, 500)), unsure=np.arange(n), chance=chance, days=60, after=14.0,
                     latency=(69.0, 0.71), checks=[0, 14, 60])  # fmt: skip
    draw = draw_of(world)
    tally = run_draw(SEED, members, world, draw)
    assert tally.new.sum() == 0
    share = tally.infected[0, :, 0].mean() / n
    assert abs(share - 0.35) < 4 * math.sqrt(0.35 * 0.65 / (n * members))
    assert abs(tally.showing[0, :, 0].mean() / n - 0.05) < 0.003
    assert tally.showing[0, :, 2].mean() > tally.showing[0, :, 1].mean() > tally.showing[0, :, 0].mean()


def test_the_dates_of_hidden_infections_are_those_of_even_pressure():
    """Told anew by plants infected evenly over ten years before the start: who is hidden now, and when do they show?"""
    from spreadmap.outbreak.compiled_events import EXPOSED, SENDING, hidden_age

    rng, after, median, sigma = np.random.default_rng(2), 14.0, 69.0, 0.71
    age = rng.uniform(0, 3650, 400_000)
    latency = median * np.exp(sigma * rng.standard_normal(len(age)))
    hidden = latency > age
    for state, mine in ((EXPOSED, hidden & (age < after)), (SENDING, hidden & (age >= after))):
        drawn = np.array(
            [hidden_age(np.uint64(key_for(np.uint64(3), i)), state, after, median, sigma) for i in range(2500)]
        )
        assert stats.ks_2samp(drawn[:, 0], age[mine]).pvalue > 0.001
        assert stats.ks_2samp(drawn[:, 1], (latency - age)[mine]).pvalue > 0.001


def test_room_that_is_short_at_first_changes_nothing(monkeypatch):
    ground = ground_at(scattered(300, 60), radius=0.4)
    world = world_of(ground, sick=[0, 1], days=60, after=5, kept=1)
    draw = draw_of(world, 30.0, spread=WIND)
    roomy = run_draw(SEED, 20, world, draw)
    for name, size in (("ENTRIES_AT_FIRST", 16), ("LINKS_AT_FIRST", 2), ("WORK_AT_FIRST", 4)):
        monkeypatch.setattr(events, name, size)
    tight = run_draw(SEED, 20, world, draw)
    assert np.array_equal(roomy.plant_infected, tight.plant_infected)
    assert np.array_equal(roomy.new, tight.new)


def test_cutting_time_more_finely_keeps_the_law():
    places = scattered(200, 50)
    sizes = []
    for cuts in ([], range(3, 60, 3)):
        world = world_of(ground_at(places), sick=[0], clock=clock_of(60, cuts), after=6)
        sizes.append(run_draw(SEED, 500, world, draw_of(world, 3.0, spread=spread_of())).new.ravel())
    assert stats.ks_2samp(*sizes).pvalue > 0.001


def test_worlds_that_do_not_fit_are_refused():
    world = world_of(ground_at([(0, 0), (5, 0)]))
    with pytest.raises(InputError, match="outside do not fit 2 plants"):
        run_draw(SEED, 1, world, draw_of(world, outside=[0.0, 0.0, 0.0]))


def test_a_world_without_plants_or_without_hosts_has_no_cases():
    empty = world_of(ground_at(np.zeros((0, 2))))
    assert run_draw(SEED, 2, empty, draw_of(empty, 1.0)).new.sum() == 0
    lone = world_of(ground_at([(0, 0)], weight=[0.0]), sick=[0])
    assert run_draw(SEED, 2, lone, draw_of(lone, 1.0)).new.sum() == 0


def test_arrival_tables_of_a_kernel_without_a_bound_at_the_source():
    ground = ground_at(scattered(60, 5), radius=0.4)
    tables = arrival_tables(spread_of(Kernel(family="gamma", scale_m=6.0, shape=1.2)), ground)
    assert tables.greatest[0, 0] >= 1e249
    assert np.all(np.diff(tables.greatest[0]) <= 0)
