"""Fast sums behind screens against the exact ones, on grids and at points; and what a screen is."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_fields import EXACT, FAST, awkward_sources, law_in, square, worst
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, screens_of, sources_at, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points, pressure_on_grid
from spreadmap.pressure.compiled import crosses
from spreadmap.pressure.fast import fast_grid
from spreadmap.pressure.shade import fast_rtol, groups_of, least_left, smooth_table
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.tables import even_table
from spreadmap.values.settings import PressureSettings

ONE, TWO = Engine(workers=1), Engine(workers=2)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
WINDS = pytest.mark.parametrize("wind", ["still", "one", "bent"])
SIDE = 192.0


def hedge(factor, side=SIDE, pieces=12, bow=0.05):
    """Return a bowed hedge of many pieces across the middle, and a short one of its own beside it."""
    turn = np.linspace(0.1, 0.8, pieces + 1)
    line = np.stack([0.5 + bow * np.sin(9 * turn), turn], axis=1) * side
    rows = [(*line[k], *line[k + 1], factor) for k in range(pieces)]
    return screens_of(*rows, (0.2 * side, 0.6 * side, 0.3 * side, 0.62 * side, max(factor, 0.3)))


def both_grids(grid, sources, law, screens, engine=ONE):
    """Return the fast result and the exact values."""
    fast, exact = (pressure_on_grid(grid, sources, law, engine, screens=screens, settings=how) for how in (FAST, EXACT))
    return fast, exact.values


def both_points(law, screens, radius=0.4, side=600.0, count=300, senders=50, engine=ONE):
    """Return fast and exact sums at plants that partly send themselves."""
    rng = np.random.default_rng(4)
    beds = rng.uniform(0, side, (6, 2))[rng.integers(0, 6, count)] + rng.uniform(0, side / 15, (count, 2))
    places = np.where(rng.uniform(size=(count, 1)) < 0.6, beds, rng.uniform(0, side, (count, 2)))
    receptors = receptors_at(*places, radius=radius, plant=np.arange(count))
    sources = sources_at(*places[:senders], strength=np.linspace(0.5, 2, senders), plant=np.arange(senders))
    weight = rng.uniform(0, 1, count)
    return [
        pressure_at_points(receptors, sources, law, engine, screens=screens, receptor_weight=weight, settings=how)
        for how in (FAST, EXACT)
    ]


@BY_FAMILY
@WINDS
def test_every_family_in_every_wind_is_the_exact_sum_behind_a_hedge(kernel, wind):
    screens = hedge(0.5)
    fast, exact = both_grids(square(192), awkward_sources(SIDE), law_in(wind, kernel, SIDE), screens)
    assert fast.method == "fast", fast.why
    assert fast.error_bound <= 1e-3
    assert worst(fast.values, exact) <= 1e-3
    assert fast.values.min() >= 0


@pytest.mark.parametrize("factor", [0.9, 0.3, 0.05, 0.0])
def test_little_or_nothing_that_is_left_keeps_its_error(factor):
    # what passes may be a small difference of large sums: then it is summed anew
    screens = hedge(factor)
    law = spread_of(WALD, rose_toward(60.0))
    # with one source alone nothing else fills its shadow
    fast, exact = both_grids(square(192), sources_at((40.2, 80.3)), law, screens)
    assert fast.method == "fast"
    assert worst(fast.values, exact) <= 1e-3
    assert ((fast.values == 0) == (exact == 0)).all()
    assert (exact == 0).any() == (factor == 0.0)


@settings(max_examples=15, derandomize=True, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.floats(-20.0, 120.0)] * 4, st.floats(0.0, 1.0)), min_size=1, max_size=7
    ),
    st.sampled_from([WALD, ONE_OF_EACH[2], ONE_OF_EACH[8]]), st.integers(0, 100),
)  # fmt: skip
def test_any_screens_are_the_exact_sum(pieces, kernel, seed):
    screens, sources = screens_of(*pieces), awkward_sources(100.0, seed, 8)
    fast, exact = both_grids(square(100), sources, spread_of(kernel, rose_toward(200.0)), screens)
    assert worst(fast.values, exact) <= 1e-3
    assert ((fast.values == 0) == (exact == 0)).all()


@WINDS
def test_many_sources_far_from_each_other_lose_only_what_counts(wind):
    # far sources are left out where near ones outweigh them; their shadows are not told then, within the error
    sources = awkward_sources(1200.0, count=60)
    screens = screens_of((600.0, 100.0, 610.0, 900.0, 0.5), (300.0, 300.0, 500.0, 310.0, 0.4))
    fast, exact = both_grids(square(240, 5.0), sources, law_in(wind, WALD, 1200.0), screens)
    assert fast.method == "fast"
    assert worst(fast.values, exact) <= 1e-3


def test_strands_behind_a_hedge_are_the_sum_of_their_laws():
    near, far = spread_of(WALD, rose_toward(60.0)), spread_of(Kernel(family="exponential", scale_m=20.0))
    mixture = replace(near, strands=((0.7, near), (0.3, far)))
    grid, sources, screens = square(192), awkward_sources(SIDE), hedge(0.5)
    parts = [both_grids(grid, sources, law, screens)[1] for law in (near, far)]
    fast, _ = both_grids(grid, sources, mixture, screens)
    assert fast.method == "fast"
    assert worst(fast.values, 0.7 * parts[0] + 0.3 * parts[1]) <= 1e-3


def test_a_screen_that_holds_nothing_back_changes_nothing():
    grid, sources, law = square(192), awkward_sources(SIDE), spread_of()
    bare = pressure_on_grid(
        grid, sources, law, ONE, settings=PressureSettings(method="fast", rtol=fast_rtol(hedge(1.0), 1e-3))
    )
    with_hedge = pressure_on_grid(grid, sources, law, ONE, screens=screens_of((60, 0, 60, 192, 1.0)), settings=FAST)
    assert with_hedge.values.tolist() == bare.values.tolist()


def test_one_worker_and_two_give_the_same_bits_behind_a_hedge():
    sources, law, grid, screens = (
        awkward_sources(300.0, count=40),
        spread_of(rose=rose_toward(60.0)),
        square(300),
        hedge(0.5, 300.0),
    )
    one, two = (both_grids(grid, sources, law, screens, engine)[0].values for engine in (ONE, TWO))
    assert one.tobytes() == two.tobytes()
    one, two = (both_points(law, screens, engine=engine)[0] for engine in (ONE, TWO))
    assert one.density.tobytes() == two.density.tobytes()
    assert one.sent.tobytes() == two.sent.tobytes()


def test_any_tile_behind_a_hedge_is_that_part_of_the_map():
    sources, law, grid, screens = (
        awkward_sources(300.0),
        spread_of(rose=rose_toward(60.0)),
        square(300),
        hedge(0.5, 300.0),
    )
    field, _ = fast_grid(grid, sources, law_at(law, sources), ONE, FAST, screens)
    whole = pressure_on_grid(grid, sources, law, ONE, screens=screens, settings=FAST).values
    assert field.tile(17, 160, 101, 263) == pytest.approx(whole[17:160, 101:263], rel=2e-4)
    assert field.tile(128, 256, 0, 300).tolist() == whole[128:256].tolist()


def test_the_choice_with_screens_is_made_by_counted_work():
    law, screens = spread_of(rose=rose_toward(60.0)), hedge(0.5, 600.0)
    assert pressure_on_grid(square(50), awkward_sources(50.0), law, ONE, screens=screens).method == "exact"
    assert pressure_on_grid(square(600), awkward_sources(600.0, count=600), law, TWO, screens=screens).method == "fast"


def test_a_check_tells_the_error_behind_screens():
    asked = PressureSettings(method="fast", check=True, probes=20)
    law, screens = spread_of(rose=rose_toward(60.0)), hedge(0.2)
    result = pressure_on_grid(square(192), awkward_sources(SIDE), law, ONE, screens=screens, settings=asked)
    assert 0 < result.checked <= result.error_bound


@WINDS
@pytest.mark.parametrize("factor", [0.5, 0.1, 0.0])
def test_plants_behind_a_hedge_are_the_exact_sum(wind, factor):
    fast, exact = both_points(law_in(wind, WALD, 600.0), hedge(factor, 600.0))
    assert fast.method == "fast", fast.why
    assert fast.error_bound <= 1e-3
    for found, true in ((fast.density, exact.density), (fast.sent, exact.sent)):
        assert worst(found, true) <= 1e-3
        assert ((found == 0) == (true == 0)).all()


@BY_FAMILY
def test_every_family_at_plants_behind_a_hedge(kernel):
    fast, exact = both_points(spread_of(kernel, rose_toward(60.0)), hedge(0.5, 600.0), radius=0.0)
    assert worst(fast.density, exact.density) <= 1e-3
    assert worst(fast.sent, exact.sent) <= 1e-3


def test_what_a_hemmed_in_source_sends_is_summed_anew():
    # a source in a closed ring of hedge sends a hundredth of what it would; others send all
    turn = np.linspace(0, 2 * np.pi, 25)
    ring = np.stack([300 + 20 * np.sin(turn), 300 + 20 * np.cos(turn)], axis=1)
    screens = screens_of(*[(*ring[k], *ring[k + 1], 0.01) for k in range(24)])
    rng = np.random.default_rng(1)
    places = rng.uniform(0, 600, (200, 2))
    places = places[np.hypot(*(places - 300).T) > 30]
    receptors, sources = receptors_at(*places, radius=0.4), sources_at((300.3, 299.1), (100, 100), (500, 90))
    fast, exact = (
        pressure_at_points(
            receptors, sources, spread_of(rose=rose_toward(60.0)), ONE, screens=screens,
            receptor_weight=np.ones(len(places)), settings=how,
        )
        for how in (FAST, EXACT)
    )  # fmt: skip
    bare = pressure_at_points(
        receptors, sources, spread_of(rose=rose_toward(60.0)), ONE, receptor_weight=np.ones(len(places))
    )
    assert exact.sent[0] == pytest.approx(0.01 * bare.sent[0], rel=1e-3)
    assert fast.sent == pytest.approx(exact.sent, rel=1e-3)


def test_a_line_of_pieces_has_no_leak_at_its_joints():
    # straight through the joint of two pieces, from either side and whichever way they were drawn
    for ends in [((5, 0, 5, 5), (5, 5, 5, 10)), ((5, 5, 5, 0), (5, 5, 5, 10)), ((5, 0, 5, 5), (5, 10, 5, 5))]:
        assert sum(crosses(10.0, 10.0, *piece) for piece in ends) == 1
    grid = square(11, 1.0)
    law, sources = spread_of(), sources_at((0.5, 5.5))
    screens = screens_of((4.0, -20.0, 4.0, 5.5, 0.25), (4.0, 5.5, 4.0, 30.0, 0.25))
    bare, shaded = (pressure_on_grid(grid, sources, law, ONE, screens=one).values for one in (None, screens))
    assert shaded[:, 4:] == pytest.approx(0.25 * bare[:, 4:], rel=1e-12)
    assert shaded[:, :4].tolist() == bare[:, :4].tolist()


def test_what_must_be_left_follows_the_screens():
    assert least_left(screens_of((0, 0, 1, 1, 0.5), (0, 0, 1, 2, 0.3))) == pytest.approx(0.27)  # 0.9 times the least
    assert least_left(screens_of((0, 0, 1, 1, 0.5))) == pytest.approx(0.45)
    assert least_left(screens_of((0, 0, 1, 1, 0.0))) == 0.25
    assert fast_rtol(screens_of((0, 0, 1, 1, 0.5)), 1e-3) < 0.45e-3


def test_groups_hold_every_source_once_and_within_their_box():
    rng = np.random.default_rng(2)
    sources = sources_at(*rng.uniform(0, 500, (300, 2)))
    order, start, box = groups_of(sources, 60.0)
    assert sorted(order.tolist()) == list(range(300))
    for k in range(len(start) - 1):
        some = order[start[k] : start[k + 1]]
        assert (np.abs(sources.easting[some] - box[k, 0]) <= box[k, 2] + 1e-9).all()
        assert (np.abs(sources.northing[some] - box[k, 1]) <= box[k, 3] + 1e-9).all()
        assert box[k, 2:].max() <= 30.0


def test_a_polynomial_is_used_only_where_it_was_tried_and_kept_the_error():
    law = law_at(spread_of(WALD, rose_toward(60.0)), sources_at((0, 0)))[0]
    even = even_table(law.spread, 4096.0, 1 / 3, 1.0)
    loose, strict = (smooth_table(law, even, 128.0, 1.0, 8.0, 4096.0, allowed) for allowed in (1e-3, 1e-6))
    assert not loose[:, :2].any()
    assert loose.sum() > strict.sum() > 0
    assert (loose | ~strict).all()
