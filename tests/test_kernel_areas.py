"""Masses in rectangles and means over discs: against plain quadrature, closed forms, and what the maps compute."""

import math

import numpy as np
import pytest
import slow_reference as slow
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.special import erf
from small_worlds import ONE_OF_EACH, WALD, receptors_at, sources_at, spread_of

from spreadmap.dispersal.areas import RELATIVE_ERROR_BOUND, mass_in_rectangle, mean_over_disc
from spreadmap.dispersal.kernels import KERNELS, Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_at_points, pressure_on_grid
from spreadmap.values.grid import Grid

ONE = Engine(workers=1)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
SPIKES = [
    Kernel(family="weibull", scale_m=10.0, shape=0.3),
    Kernel(family="gamma", scale_m=10.0, shape=0.3),
    Kernel(family="weibull", scale_m=10.0, shape=1.0),
]
# west, south, east, north: about the source, off its middle, on a side, on a corner, beside, far, a long strip
RECTANGLES = [
    (-5.0, -5.0, 5.0, 5.0),
    (-0.3, -7.0, 9.0, 0.2),
    (0.0, -3.0, 6.0, 3.0),
    (0.0, 0.0, 4.0, 4.0),
    (1e-9, -3.0, 6.0, 3.0),
    (1.0, 2.0, 3.0, 4.0),
    (-60.0, 35.0, -58.0, 37.0),
    (-200.0, 5.0, 200.0, 6.0),
]


def plain(kernel):
    return (kernel.family, kernel.scale_m) if kernel.shape is None else (kernel.family, kernel.scale_m, kernel.shape)


@BY_FAMILY
def test_a_rectangle_holds_the_mass_that_quadrature_finds(kernel):
    # bearing by bearing from the source; the strip and the far cell point by point
    for west, south, east, north in ((-5.0, -5.0, 5.0, 5.0), (0.0, 0.0, 4.0, 4.0), (1.0, 2.0, 3.0, 4.0)):
        side = east - west
        expected = slow.cell_mean(plain(kernel), [], 0.0, (west + east) / 2, (south + north) / 2, side) * side**2
        assert float(mass_in_rectangle(kernel, west, south, east, north)) == pytest.approx(expected, rel=1e-7)
    for west, south, east, north in ((-60.0, 35.0, -58.0, 37.0), (900.0, 0.0, 900.5, 0.5)):
        expected, _ = dblquad(
            lambda y, x: slow.location_density(plain(kernel)[0], math.hypot(x, y), *plain(kernel)[1:]),
            west, east, south, north, epsabs=0, epsrel=1e-11,
        )  # fmt: skip
        assert float(mass_in_rectangle(kernel, west, south, east, north)) == pytest.approx(
            expected, rel=RELATIVE_ERROR_BOUND, abs=1e-250
        )


@BY_FAMILY
def test_a_square_about_the_source_is_eight_times_a_right_triangle(kernel):
    # along its edge F(h / cos t) over an eighth of a turn, by a rule with many points
    x, w = np.polynomial.legendre.leggauss(300)
    turn = (x + 1) * math.pi / 8
    for half in (0.1, 2.0, 30.0):
        expected = 8 * float(kernel.mass_within(half / np.cos(turn)) @ w) * math.pi / 8 / (2 * math.pi)
        found = float(mass_in_rectangle(kernel, -half, -half, half, half))
        assert found == pytest.approx(expected, rel=RELATIVE_ERROR_BOUND)


@pytest.mark.parametrize("rectangle", RECTANGLES, ids=str)
def test_a_gaussian_rectangle_is_a_product_of_error_functions_by_either_way(rectangle):
    # exponential_power of shape 2 is the same density, and goes along the edges
    west, south, east, north = (side / 10.0 for side in rectangle)
    expected = (erf(east) - erf(west)) * (erf(north) - erf(south)) / 4
    closed = float(mass_in_rectangle(Kernel(family="gaussian", scale_m=10.0), *rectangle))
    edges = float(mass_in_rectangle(Kernel(family="exponential_power", scale_m=10.0, shape=2.0), *rectangle))
    assert edges == pytest.approx(closed, rel=RELATIVE_ERROR_BOUND, abs=0)
    # the plain difference has lost its digits where the cell lies far out
    assert closed == pytest.approx(expected, rel=1e-12, abs=1e-17)


@pytest.mark.parametrize("kernel", [*ONE_OF_EACH, *SPIKES], ids=lambda kernel: kernel.in_words())
def test_cells_that_tile_a_rectangle_add_up_to_it(kernel):
    # the source on a corner of four cells, on a side, and within one
    for at in ((0.0, 0.0), (0.0, 1.3), (-0.7, 1.3)):
        west, south = np.meshgrid(np.arange(-20.0, 20.0, 4.0) - at[0], np.arange(-20.0, 20.0, 4.0) - at[1])
        cells = mass_in_rectangle(kernel, west, south, west + 4.0, south + 4.0)
        assert cells.shape == (10, 10)
        assert (cells >= 0).all()
        whole = float(mass_in_rectangle(kernel, -20 - at[0], -20 - at[1], 20 - at[0], 20 - at[1]))
        assert cells.sum() == pytest.approx(whole, rel=RELATIVE_ERROR_BOUND)


@BY_FAMILY
def test_the_plane_holds_everything_and_no_area_nothing(kernel):
    edge = 3 * float(kernel.quantile(1 - 1e-9))
    assert float(mass_in_rectangle(kernel, -edge, -edge, edge, edge)) == pytest.approx(1, abs=2e-9)
    assert float(mass_in_rectangle(kernel, 0.0, -1.0, 0.0, 1.0)) == 0.0
    half = float(mass_in_rectangle(kernel, 0.0, -edge, edge, edge))
    assert half == pytest.approx(0.5, abs=2e-9)


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(
    family=st.sampled_from(sorted(KERNELS)),
    shape=st.floats(0.3, 6.0),
    scale=st.floats(0.3, 1e4),
    place=st.tuples(st.floats(-100, 100), st.floats(-100, 100)),
    side=st.floats(0.25, 100.0),
)
def test_turning_and_mirroring_a_rectangle_changes_nothing(family, shape, scale, place, side):
    kernel = Kernel(family=family, scale_m=scale, shape=KERNELS[family].least_shape + shape)
    (west, south), (east, north) = place, (place[0] + side, place[1] + 2 * side)
    one = float(mass_in_rectangle(kernel, west, south, east, north))
    turned = float(mass_in_rectangle(kernel, south, -east, north, -west))
    mirrored = float(mass_in_rectangle(kernel, -east, south, -west, north))
    assert (turned, mirrored) == pytest.approx((one, one), rel=1e-9, abs=1e-250)
    assert 0 <= one <= 1 + 1e-12


@pytest.mark.parametrize("kernel", [*ONE_OF_EACH, *SPIKES], ids=lambda kernel: kernel.in_words())
@pytest.mark.parametrize("cell_m", [1.0, 10.0])
def test_the_map_has_these_masses(kernel, cell_m):
    grid = Grid(west=-10.5 * cell_m, north=10.5 * cell_m, cell_m=cell_m, n_rows=21, n_cols=21)
    at = np.array([0.31, -0.22]) * cell_m
    result = pressure_on_grid(grid, sources_at(at), spread_of(kernel), ONE)
    west = grid.easting[None, :] - cell_m / 2 - at[0]
    south = grid.northing[:, None] - cell_m / 2 - at[1]
    expected = mass_in_rectangle(kernel, west, south, west + cell_m, south + cell_m) / cell_m**2
    counts = expected > 1e-12 * expected.max()
    assert result.values[counts] == pytest.approx(expected[counts], rel=result.error_bound, abs=0)


@pytest.mark.parametrize("kernel", [*ONE_OF_EACH, *SPIKES], ids=lambda kernel: kernel.in_words())
def test_receptors_have_these_means(kernel):
    distance = 0.9 * np.array([0.0, 0.3, 0.99, 1.0, 1.0001, 1.3, 1.9, 2.1, 5.0, 40.0, 300.0])
    result = pressure_at_points(
        receptors_at(*[(0.0, d) for d in distance], radius=0.9), sources_at((0, 0)), spread_of(kernel), ONE
    )
    expected = mean_over_disc(kernel, distance, 0.9)
    counts = expected > 1e-12 * expected.max()
    # where a rim passes the source of a spike of a shape below one, within a twentieth of the radius, the maps are coarser
    if kernel.shape is not None and kernel in SPIKES and kernel.shape < 1:
        counts &= np.abs(distance / 0.9 - 1) > 0.05
    assert result.density[counts] == pytest.approx(expected[counts], rel=result.error_bound, abs=0)


@BY_FAMILY
def test_a_disc_has_the_mean_that_quadrature_finds(kernel):
    for distance, radius in ((0.4, 0.9), (0.9, 0.9), (1.3, 0.9), (9.0, 4.0), (150.0, 0.4)):
        expected = slow.disc_mean(plain(kernel), [], 0.0, 0.0, distance, radius)
        assert float(mean_over_disc(kernel, distance, radius)) == pytest.approx(expected, rel=3e-7, abs=1e-11)


@pytest.mark.parametrize("kernel", [*ONE_OF_EACH, *SPIKES], ids=lambda kernel: kernel.in_words())
def test_a_disc_about_the_source_holds_the_mass_within_its_radius(kernel):
    for radius in (0.3, 5.0, 80.0):
        expected = float(kernel.mass_within(radius)) / (math.pi * radius**2)
        assert float(mean_over_disc(kernel, 0.0, radius)) == pytest.approx(expected, rel=1e-14)
        # and hardly another one a little off
        assert float(mean_over_disc(kernel, 1e-9, radius)) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("kernel", [*ONE_OF_EACH, *SPIKES], ids=lambda kernel: kernel.in_words())
def test_a_disc_whose_rim_passes_through_the_source_has_no_jump(kernel):
    at, inside, outside = mean_over_disc(kernel, np.array([0.9, 0.9 - 1e-13, 0.9 + 1e-13]), 0.9)
    # a spike turns this fast: within a nanometre's share it may change by a few hundredths
    slack = 0.05 if kernel in SPIKES else 1e-6
    assert (inside, outside) == pytest.approx((at, at), rel=slack)
    # worked by hand for F = 1 - exp(-r/a) (weibull of shape 1): the mean over half the bearings of F(2R cos t)
    if (kernel.family, kernel.shape) == ("weibull", 1.0):
        x, w = np.polynomial.legendre.leggauss(200)
        turn = x * math.pi / 2
        mass = float(-np.expm1(-2 * 0.9 * np.cos(turn) / 10.0) @ w) * (math.pi / 2) / (2 * math.pi)
        assert at * math.pi * 0.9**2 == pytest.approx(mass, rel=RELATIVE_ERROR_BOUND)


def test_a_small_disc_has_the_density_at_its_place_and_one_of_no_size_exactly():
    r = np.array([1.0, 10.0, 100.0])
    assert mean_over_disc(WALD, r, 1e-4) == pytest.approx(WALD.location_density(r), rel=1e-7)
    assert mean_over_disc(WALD, r, 0.0).tolist() == WALD.location_density(r).tolist()
    assert np.isfinite(mean_over_disc(SPIKES[0], 0.0, 0.0))


def test_discs_come_in_the_shape_they_were_asked_in():
    distance, radius = np.array([[1.0], [5.0]]), np.array([0.2, 0.4, 0.8])
    found = mean_over_disc(WALD, distance, radius)
    assert found.shape == (2, 3)
    assert float(found[1, 2]) == pytest.approx(float(mean_over_disc(WALD, 5.0, 0.8)), rel=1e-13)


def test_a_mixture_has_the_mass_and_mean_of_its_parts():
    far = Kernel(family="gaussian", scale_m=80.0)
    kernel = Kernel(family="wald", scale_m=10.95, shape=3.17, far_share=0.2, far=far)
    for rectangle in RECTANGLES:
        parts = 0.8 * mass_in_rectangle(WALD, *rectangle) + 0.2 * mass_in_rectangle(far, *rectangle)
        assert float(mass_in_rectangle(kernel, *rectangle)) == pytest.approx(float(parts), rel=1e-13)
    parts = 0.8 * mean_over_disc(WALD, 7.0, 2.0) + 0.2 * mean_over_disc(far, 7.0, 2.0)
    assert float(mean_over_disc(kernel, 7.0, 2.0)) == pytest.approx(float(parts), rel=1e-13)


@pytest.mark.parametrize("rectangle", [(5.0, 0.0, 1.0, 2.0), (0.0, 3.0, 1.0, 2.0), (0.0, 0.0, math.inf, 1.0)])
def test_a_rectangle_the_wrong_way_round_is_told(rectangle):
    with pytest.raises(InputError, match=r"rectangle 0 of 1 has west .* and 1 in all are unusable; allowed: finite"):
        mass_in_rectangle(WALD, *rectangle)


@pytest.mark.parametrize(("distance", "radius"), [(-1.0, 1.0), (1.0, -1.0), (math.nan, 1.0)])
def test_a_disc_that_is_nowhere_is_told(distance, radius):
    with pytest.raises(InputError, match=r"disc 1 of 2 has distance .* and 1 in all are unusable; allowed: finite"):
        mean_over_disc(WALD, np.array([1.0, distance]), np.array([1.0, radius]))
