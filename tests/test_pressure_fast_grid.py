"""Fast sums on grids against the exact ones: every family, every wind, every scale, and the laws of a sum."""

from dataclasses import replace

import numpy as np
import pytest
from astropy.convolution import convolve_fft
from hypothesis import given, settings
from hypothesis import strategies as st
from made_fields import EXACT, FAST, awkward_sources, bent_wind, law_in, square, worst
from scipy.signal import fftconvolve
from small_worlds import ONE_OF_EACH, WALD, rose_toward, sources_at, spread_of

from spreadmap.dispersal.bearings import turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure.choice import Way
from spreadmap.pressure.fast import fast_grid, grid_scene, too_heavy
from spreadmap.pressure.strands import law_at
from spreadmap.values.grid import Grid
from spreadmap.values.settings import PressureSettings

ONE, TWO = Engine(workers=1), Engine(workers=2)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
WINDS = pytest.mark.parametrize("wind", ["still", "one", "bent"])


def both(grid, sources, law, engine=ONE):
    """Return the fast result and the exact values."""
    fast = pressure_on_grid(grid, sources, law, engine, settings=FAST)
    return fast, pressure_on_grid(grid, sources, law, engine, settings=EXACT).values


@BY_FAMILY
@WINDS
def test_every_family_in_every_wind_is_the_exact_sum(kernel, wind):
    # on top of sources, between two, at the edge, and from one off the map
    fast, exact = both(square(128), awkward_sources(128.0), law_in(wind, kernel, 128.0))
    assert fast.method == "fast", fast.why
    assert fast.error_bound <= 1e-3
    assert worst(fast.values, exact) <= 1e-3
    assert fast.values.min() >= 0


@settings(max_examples=12, derandomize=True, deadline=None)
@given(
    st.sampled_from(ONE_OF_EACH), st.floats(np.log(0.3), np.log(300.0)), st.sampled_from([0.5, 1.0, 5.0]),
    st.booleans(),
)  # fmt: skip
def test_any_scale_keeps_the_error_or_sums_pairs(kernel, log_scale, cell_m, has_wind):
    scaled = kernel.scaled(float(np.exp(log_scale)) * cell_m / float(kernel.quantile(0.5)))
    law = spread_of(scaled, rose_toward(60.0) if has_wind else None)
    fast, exact = both(square(64, cell_m), awkward_sources(64 * cell_m, count=6), law)
    assert worst(fast.values, exact) <= 1e-3
    assert fast.error_bound <= 1e-3
    assert fast.method == "fast" or fast.why


def test_a_larger_error_may_be_asked_for_and_a_smaller_one_is_kept():
    sources, law = awkward_sources(128.0), spread_of(rose=rose_toward(60.0))
    exact = pressure_on_grid(square(128), sources, law, ONE, settings=EXACT).values
    for rtol in (3e-4, 1e-2):
        found = pressure_on_grid(square(128), sources, law, ONE, settings=PressureSettings(rtol=rtol, method="fast"))
        assert found.method == "fast"
        assert worst(found.values, exact) <= rtol


@WINDS
def test_far_upwind_and_far_away_keep_their_digits(wind):
    # the map's maximum and its faintest cells lie twelve orders of magnitude apart
    grid = Grid(west=0.0, north=2000.0, cell_m=5.0, n_rows=400, n_cols=400)
    fast, exact = both(grid, sources_at((1900.0, 1900.0), (1880.0, 1950.0)), law_in(wind, WALD, 2000.0))
    assert fast.method == "fast"
    assert exact.min() < 1e-10 * exact.max()
    assert worst(fast.values, exact) <= 1e-3


def test_sources_of_any_number_add_up():
    grid, law = square(96), spread_of(rose=rose_toward(60.0))
    one, two = sources_at((20, 33), strength=[2.0]), sources_at((70, 80), strength=[0.5])
    together = sources_at((20, 33), (70, 80), strength=[2.0, 0.5])
    single = [pressure_on_grid(grid, some, law, ONE, settings=FAST).values for some in (one, two, together)]
    assert single[2] == pytest.approx(single[0] + single[1], rel=1e-3)


@WINDS
def test_twice_the_strength_is_twice_the_map(wind):
    grid, law = square(96), law_in(wind, WALD, 96.0)
    once, twice = (
        pressure_on_grid(grid, sources_at((20, 33), (50, 51), strength=[s, s]), law, ONE, settings=FAST).values
        for s in (1.0, 2.0)
    )
    assert twice == pytest.approx(2 * once, rel=1e-12)


@pytest.mark.parametrize("shift", [(5e5, 4.3e6), (0.37, 0.81)])
def test_moving_everything_moves_the_map(shift):
    law, places = spread_of(rose=rose_toward(60.0)), np.array([(20.2, 33.7), (61.1, 44.0)])
    here = pressure_on_grid(square(96), sources_at(*places), law, ONE, settings=FAST).values
    grid = square(96, west=shift[0], south=shift[1])
    there = pressure_on_grid(grid, sources_at(*(places + shift)), law, ONE, settings=FAST).values
    assert there == pytest.approx(here, rel=1e-6)


def test_a_quarter_turn_of_everything_turns_the_map():
    rose, grid = rose_toward(60.0), square(97, west=-48.5, south=-48.5)
    before = pressure_on_grid(grid, sources_at((9.0, 4.0)), spread_of(rose=rose), ONE, settings=FAST).values
    law = spread_of(rose=turned(rose, 90.0))
    after = pressure_on_grid(grid, sources_at((4.0, -9.0)), law, ONE, settings=FAST).values
    assert after == pytest.approx(np.rot90(before, -1), rel=1e-3)


@BY_FAMILY
def test_mass_on_the_raster_is_the_mass_in_its_extent(kernel):
    # a source at the middle of a square: its mass there by integration over an eighth of it
    angle = (np.arange(2000) + 0.5) / 2000 * np.pi / 4
    expected = float(kernel.mass_within(100.0 / np.cos(angle)).mean())
    grid = square(200, west=-100.0, south=-100.0)
    values = pressure_on_grid(grid, sources_at((0.0, 0.0)), spread_of(kernel), ONE, settings=FAST).values
    assert values.sum() == pytest.approx(expected, rel=2e-4)


@WINDS
def test_one_worker_and_two_give_the_same_bits(wind):
    sources, law, grid = awkward_sources(300.0, count=40), law_in(wind, WALD, 300.0), square(300)
    one, two = (pressure_on_grid(grid, sources, law, engine, settings=FAST).values for engine in (ONE, TWO))
    assert one.tobytes() == two.tobytes()


def test_any_tile_is_that_part_of_the_map():
    sources, law, grid = awkward_sources(300.0), spread_of(rose=rose_toward(60.0)), square(300)
    field, _ = fast_grid(grid, sources, law_at(law, sources), ONE, FAST)
    whole = pressure_on_grid(grid, sources, law, ONE, settings=FAST).values
    # other tiles are cut elsewhere: the same numbers but for the order of rounding
    assert field.tile(17, 160, 101, 263) == pytest.approx(whole[17:160, 101:263], rel=1e-9)


def test_references_of_others_agree_where_they_are_right():
    # sources on cell centres and a kernel that is smooth from cell to cell
    kernel, cells = Kernel(family="student_2d", scale_m=12.0, shape=1.8), 101
    sources, grid = sources_at((20.5, 30.5), (70.5, 41.5), strength=[1.0, 2.5]), square(cells)
    fast = pressure_on_grid(grid, sources, spread_of(kernel), ONE, settings=FAST).values
    image = pressure_on_grid(
        square(2 * cells - 1, west=-cells + 0.5, south=-cells + 0.5), sources_at((0.0, 0.0)), spread_of(kernel), ONE,
        settings=EXACT,
    ).values  # fmt: skip
    dots = np.zeros((cells, cells))
    dots[cells - 1 - 30, 20], dots[cells - 1 - 41, 70] = 1.0, 2.5
    assert fast == pytest.approx(fftconvolve(dots, image, mode="same"), rel=1e-3)
    others = convolve_fft(dots, image, boundary="fill", fill_value=0.0, normalize_kernel=False, allow_huge=True)
    assert fast == pytest.approx(others, rel=1e-3)


def test_the_choice_is_made_by_counted_work():
    law = spread_of(rose=rose_toward(60.0))
    few = pressure_on_grid(square(50), awkward_sources(50.0), law, ONE)
    assert (few.method, few.error_bound) == ("exact", 3e-4)
    assert "few" in few.why
    many = pressure_on_grid(square(600), awkward_sources(600.0, count=400), law, TWO)
    assert many.method == "fast"
    assert "mesh of" in many.why
    assert "stamps out to" in many.why


def test_a_check_tells_the_error_at_probes():
    law, sources = spread_of(rose=rose_toward(60.0)), awkward_sources(128.0)
    asked = PressureSettings(method="fast", check=True, probes=20)
    result = pressure_on_grid(square(128), sources, law, ONE, settings=asked)
    assert 0 < result.checked <= result.error_bound
    assert pressure_on_grid(square(128), sources, law, ONE, settings=FAST).checked is None


def test_single_precision_is_the_same_map():
    law, sources = spread_of(rose=rose_toward(60.0)), awkward_sources(128.0)
    double, single = (
        pressure_on_grid(square(128), sources, law, ONE, settings=FAST, dtype=dtype).values
        for dtype in (np.float64, np.float32)
    )
    assert single.dtype == np.float32
    assert single == pytest.approx(double, rel=1e-6)


def test_strands_are_the_sum_of_their_laws():
    near, far = spread_of(WALD, rose_toward(60.0)), spread_of(Kernel(family="exponential", scale_m=20.0))
    mixture = replace(near, strands=((0.7, near), (0.3, far)))
    grid, sources = square(96), awkward_sources(96.0)
    parts = [pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values for law in (near, far)]
    for how in (EXACT, FAST):
        found = pressure_on_grid(grid, sources, mixture, ONE, settings=how)
        assert found.method == how.method
        assert worst(found.values, 0.7 * parts[0] + 0.3 * parts[1]) <= 1e-3


def test_a_bent_mixture_is_the_sum_of_its_laws():
    near, far = bent_wind(WALD, 96.0), spread_of(Kernel(family="exponential", scale_m=20.0), rose_toward(200.0))
    mixture = replace(near, strands=((0.7, near), (0.3, far)))
    grid, sources = square(96), awkward_sources(96.0)
    parts = [pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values for law in (near, far)]
    found = pressure_on_grid(grid, sources, mixture, ONE, settings=FAST)
    assert worst(found.values, 0.7 * parts[0] + 0.3 * parts[1]) <= 1e-3


def test_more_memory_than_allowed_is_refused_with_the_figure():
    grid = Grid(west=0.0, north=1e6, cell_m=1.0, n_rows=1_000_000, n_cols=1_000_000)
    with pytest.raises(InputError, match=r"would take about 8e\+03 GB; allowed: 8 GB .*tile by tile"):
        pressure_on_grid(grid, sources_at((0, 0)), spread_of(), ONE)


@pytest.mark.parametrize("place", [(np.nan, 0.0), (0.0, np.inf)])
def test_a_source_that_is_nowhere_is_told(place):
    with pytest.raises(InputError, match="source 1 of 2 lies at .* not finite; allowed: finite metres"):
        pressure_on_grid(square(10), sources_at((0, 0), place), spread_of(), ONE, settings=FAST)


def test_sources_without_strength_give_nothing():
    result = pressure_on_grid(square(10), sources_at((5, 5), strength=[0.0]), spread_of(), ONE, settings=FAST)
    assert result.values.tolist() == np.zeros((10, 10)).tolist()


def test_a_mesh_that_takes_too_much_memory_gives_way_to_pairs():
    sources, grid = sources_at((20, 20), (40_000, 900)), square(96)
    scene = grid_scene(grid, sources, law_at(spread_of(), sources))
    fine = Way(step_m=1.0, cut_m=8.5, reach_m=4e4, mesh_error=1e-4, work_ns=1.0)
    assert "would take 3.6" in too_heavy(fine, scene, PressureSettings(most_memory_gb=1.0))
    assert too_heavy(fine, scene, PressureSettings(most_memory_gb=4.0)) is None
    assert too_heavy(replace(fine, step_m=0.0), scene, PressureSettings(most_memory_gb=0.01)) is None
