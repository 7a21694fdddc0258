"""Traps of fast sums, each with a test that falls into it if the code does."""

import numpy as np
import pytest
from made_fields import EXACT, FAST, awkward_sources, square, worst
from scipy import fft
from scipy.interpolate import BSpline
from small_worlds import ONE_OF_EACH, WALD, rose_toward, sources_at, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure.compiled_mesh import lay_down, read_points
from spreadmap.pressure.kept import Kept
from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.rules import reach_of_cell
from spreadmap.pressure.splines import NODE_VALUES, cell_weights, spline_spectrum
from spreadmap.pressure.split import far_share, near_share

ONE = Engine(workers=1)
BY_FAMILY = {kernel.family: kernel for kernel in ONE_OF_EACH}


def fast_and_exact(grid, sources, law):
    fast = pressure_on_grid(grid, sources, law, ONE, settings=FAST)
    assert fast.method == "fast", fast.why
    return fast.values, pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values


def test_a_transform_in_single_precision_would_drown_the_far_cells():
    # 1.4 km of default kernel: the far corner holds 1e-11 of the maximum, below any floor of single precision
    grid = square(280, 5.0)
    fast, exact = fast_and_exact(grid, sources_at((20.0, 20.0)), spread_of(WALD, rose_toward(60.0)))
    assert exact.min() / exact.max() < np.finfo(np.float32).eps * 1e-2
    assert fast.min() >= 0
    assert worst(fast, exact) <= 1e-3


def test_a_place_within_its_cell_counts():
    # moved by a third of a cell, the cells about the source change by tens of per cent, and the fast sum with them
    grid, law = square(64), spread_of()
    maps = [fast_and_exact(grid, sources_at((32.0 + shift, 32.5)), law) for shift in (0.1, 0.4)]
    assert np.abs(maps[1][1] / maps[0][1] - 1).max() > 0.3
    for fast, exact in maps:
        assert worst(fast, exact) <= 1e-3


@pytest.mark.parametrize("cell_m", [0.5, 5.0])
def test_cells_are_means_and_not_their_middles(cell_m):
    grid, law, place = square(64, cell_m), spread_of(rose=rose_toward(60.0)), (30.2 * cell_m, 31.7 * cell_m)
    fast, exact = fast_and_exact(grid, sources_at(place), law)
    east, north = np.meshgrid(grid.easting - place[0], grid.northing - place[1])
    middles = law.density(east, north, law.coefficients_at(np.zeros(1), np.zeros(1))[0])
    assert np.abs(middles / exact - 1).max() > 0.05
    assert worst(fast, exact) <= 1e-3


def test_a_fat_tail_is_not_cut():
    # 5 % of this kernel lies beyond the map's far edge seen from the source
    kernel = Kernel(family="student_2d", scale_m=50.0, shape=1.5)
    assert float(kernel.mass_beyond(1000.0)) > 0.04
    fast, exact = fast_and_exact(square(200, 5.0), sources_at((3.0, 3.0)), spread_of(kernel, rose_toward(60.0)))
    assert worst(fast, exact, 0.0) <= 1e-3


@pytest.mark.parametrize("family", ["gaussian", "student_2d", "exponential"])
def test_nothing_comes_round_the_edge_of_the_transform(family):
    # a kernel as wide as the map, sharply directed: what the padding lets round would show on the other side
    scaled = BY_FAMILY[family].scaled(200.0 / float(BY_FAMILY[family].quantile(0.5)))
    law = spread_of(scaled, rose_toward(60.0), 1.0)
    fast, exact = fast_and_exact(square(96), sources_at((0.2, 0.3), (95.9, 95.8)), law)
    assert worst(fast, exact) <= 1e-3


def test_the_peak_of_a_narrow_kernel_does_not_ring():
    # infinite at the source, gone after five cells: a spline through the peak would ring far beyond them
    narrow = BY_FAMILY["weibull"].scaled(0.3 / float(BY_FAMILY["weibull"].quantile(0.5)))
    result = pressure_on_grid(square(64), awkward_sources(64.0), spread_of(narrow), ONE, settings=FAST)
    exact = pressure_on_grid(square(64), awkward_sources(64.0), spread_of(narrow), ONE, settings=EXACT).values
    assert worst(result.values, exact) <= 1e-3


def test_an_infinite_density_at_the_source_is_a_finite_mass():
    for family in ("weibull", "gamma"):
        fast, exact = fast_and_exact(square(64), sources_at((32.5, 32.5), (20.0, 20.0)), spread_of(BY_FAMILY[family]))
        assert np.isfinite(fast).all()
        assert worst(fast, exact) <= 1e-3


def test_a_map_far_from_all_sources_keeps_its_digits_or_is_summed_pair_by_pair():
    law, grid = spread_of(WALD, rose_toward(60.0)), square(64)
    for away in (200.0, 1500.0):
        sources = sources_at((-away, 20.0), (-away, 30.0))
        found = pressure_on_grid(grid, sources, law, ONE, settings=FAST)
        exact = pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values
        assert found.values.min() > 0
        assert worst(found.values, exact) <= 1e-3


def test_a_weak_source_beside_a_strong_one_is_seen():
    sources = sources_at((20.2, 20.7), (80.1, 80.4), strength=[1e6, 1e-2])
    fast, exact = fast_and_exact(square(96), sources, spread_of(rose=rose_toward(60.0)))
    assert worst(fast, exact) <= 1e-3


def test_what_is_kept_belongs_to_one_law():
    # laws that differ in one thing only, one after the other
    grid, sources = square(64), awkward_sources(64.0)
    laws = [
        spread_of(WALD, rose_toward(60.0)), spread_of(WALD, rose_toward(61.0)), spread_of(WALD.scaled(1.01), rose_toward(60.0)),
        spread_of(WALD, rose_toward(60.0), near_radius_m=2.0), spread_of(WALD, rose_toward(60.0), 0.6), spread_of(WALD),
    ]  # fmt: skip
    maps = [pressure_on_grid(grid, sources, law, ONE, settings=FAST).values for law in laws]
    for law, found in zip(laws, maps, strict=True):
        exact = pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values
        assert worst(found, exact) <= 1e-3
        assert sum(np.array_equal(found, other) for other in maps) == 1


def test_rules_are_tried_once_for_a_law_and_a_size():
    law, rose = spread_of(WALD.scaled(1.2345)), np.zeros(0, dtype=complex)
    assert reach_of_cell(law, rose, 1.7, 512.0) is reach_of_cell(law, rose, 1.7, 512.0)
    assert reach_of_cell(law, rose, 1.8, 512.0) is not reach_of_cell(law, rose, 1.7, 512.0)


def test_what_is_kept_stays_within_its_bytes():
    kept = Kept(most_bytes=1000)
    for number in range(5):
        kept.get(number, lambda: np.zeros(40))
    assert len(kept) == 3
    assert kept.get(4, lambda: np.ones(40)).sum() == 0
    assert kept.get(0, lambda: np.ones(40)).sum() == 40
    assert kept.get("large", lambda: np.zeros(1000)).sum() == 0
    assert kept.get("large", lambda: np.ones(1000)).sum() == 1000
    kept.clear()
    assert len(kept) == 0


def test_near_and_far_share_are_all():
    distance = np.linspace(0, 3.0, 200)
    near = np.array([near_share(float(r), 2.5) for r in distance])
    assert near + far_share(distance, 2.5) == pytest.approx(np.ones(200), abs=1e-13)
    assert near[0] == 1.0
    assert (near[distance >= 2.5] == 0).all()
    assert far_share(distance, 0.0).tolist() == np.ones(200).tolist()


@pytest.mark.parametrize("width", [0.01, 0.3, 1.0])
def test_weights_of_cells_are_means_of_the_spline(width):
    centre = np.array([7.0, 7.3, 7.5, 8.0 - width / 2])
    first, weight = cell_weights(centre, width)
    spline = BSpline.basis_element(np.arange(-3.0, 4.0), extrapolate=False)
    points = (np.arange(2000) + 0.5) / 2000 - 0.5
    for at, start, found in zip(centre, first, weight, strict=True):
        expected = [np.nan_to_num(spline(start + k - at - width * points)).mean() for k in range(7)]
        assert found == pytest.approx(expected, abs=1e-6)
        assert found.sum() == pytest.approx(1.0, abs=1e-12)


def test_the_spectrum_of_the_spline_is_its_transform():
    image = np.zeros(32)
    image[:3], image[-2:] = NODE_VALUES, NODE_VALUES[2:0:-1]
    assert spline_spectrum(17, 32) == pytest.approx(fft.rfft(image).real, abs=1e-14)


def test_laying_down_and_reading_off_keep_sum_and_middle():
    mesh = mesh_over((0.0, 50.0, 0.0, 50.0), 5.0, 100.0)
    parts = np.zeros((1, mesh.n_rows, mesh.n_cols))
    lay_down(mesh.east_of(np.array([13.7])), mesh.north_of(np.array([21.2])), np.array([[2.0]]), parts)
    rows, cols = np.indices(parts[0].shape)
    assert parts.sum() == pytest.approx(2.0)
    assert (parts[0] * cols).sum() / 2 * 5.0 + mesh.west == pytest.approx(13.7)
    assert (parts[0] * rows).sum() / 2 * 5.0 + mesh.south == pytest.approx(21.2)
    out = np.zeros(1)
    read_points(mesh.east_of(np.array([17.0])), mesh.north_of(np.array([3.0])), np.ones(parts[0].shape), out)
    assert out[0] == pytest.approx(1.0)


@pytest.mark.parametrize("scale", [2.0, 5.0, 20.0])
def test_the_hole_of_a_kernel_about_a_lonely_source_is_not_filled_with_noise(scale):
    # this kernel starts from nothing at its source: only pairs keep a relative error there
    law = spread_of(WALD.scaled(scale), rose_toward(60.0))
    fast = pressure_on_grid(square(128), sources_at((40.3, 40.6), (90.1, 90.2)), law, ONE, settings=FAST)
    exact = pressure_on_grid(square(128), sources_at((40.3, 40.6), (90.1, 90.2)), law, ONE, settings=EXACT).values
    assert worst(fast.values, exact) <= 1e-3
    assert fast.error_bound <= 1e-3
