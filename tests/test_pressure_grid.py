"""Cell means on grids: known masses, adaptive quadrature, mass on the raster, and the laws of a sum over sources."""

import math

import numpy as np
import pytest
import slow_reference as slow
from scipy.special import erf
from small_worlds import ONE_OF_EACH, WALD, receptors_at, rose_toward, screens_of, sources_at, spread_of

from spreadmap.dispersal.bearings import never_negative, turned
from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_at_points, pressure_on_grid
from spreadmap.values.grid import Grid

ONE = Engine(workers=1)
BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)


def plain(kernel):
    return (kernel.family, kernel.scale_m) if kernel.shape is None else (kernel.family, kernel.scale_m, kernel.shape)


def square(cells, cell_m=2.0, west=0.0, south=0.0):
    return Grid(west=west, north=south + cells * cell_m, cell_m=cell_m, n_rows=cells, n_cols=cells)


def on(grid, sources, law, **more):
    return pressure_on_grid(grid, sources, law, ONE, **more).values


def centred(cells, cell_m=2.0):
    """Return a grid of an odd number of cells whose middle cell is centred on (0, 0)."""
    half = cells * cell_m / 2
    return square(cells, cell_m, -half, -half)


@BY_FAMILY
@pytest.mark.parametrize("cell_m", [1.0, 10.0])
def test_cells_have_the_mean_that_adaptive_quadrature_finds(kernel, cell_m):
    # every rule and each hand-over between them; the source stands off the middle of its cell
    grid, rose, at = centred(81, cell_m), rose_toward(60.0), np.array([0.31, -0.22]) * cell_m
    result = pressure_on_grid(grid, sources_at(at), spread_of(kernel, rose, 0.5, 1.0), ONE)
    for off in (0, 1, 2, 3, 4, 6, 9, 14, 22, 40):
        for row, col in ((40 - off, 40), (40, 40 + off), (40 + off, 40 - off), (40 + off // 2, 40 + off)):
            east, north = grid.easting[col] - at[0], grid.northing[row] - at[1]
            expected = slow.cell_mean(plain(kernel), 0.5 * rose, 1.0, east, north, cell_m)
            if expected > 1e-12 * result.values.max():
                assert result.values[row, col] == pytest.approx(expected, rel=result.error_bound, abs=0), (row, col)


def test_a_steady_wind_is_followed_from_cell_to_cell():
    # fine detail by bearing: 32 harmonics of a nearly steady wind
    rose, grid = rose_toward(75.0, 400.0, 32), centred(121, 2.0)
    result = pressure_on_grid(grid, sources_at((0.4, 0.3)), spread_of(WALD, rose, 1.0, 1.0), ONE)
    for row, col in ((60, 61), (58, 66), (57, 71), (50, 90), (56, 120), (61, 75)):
        east, north = grid.easting[col] - 0.4, grid.northing[row] - 0.3
        expected = slow.cell_mean(plain(WALD), rose, 1.0, east, north, 2.0)
        assert result.values[row, col] == pytest.approx(expected, rel=1e-3)


@BY_FAMILY
@pytest.mark.parametrize("wind", [False, True])
def test_mass_on_the_raster_is_the_mass_in_its_extent(kernel, wind):
    # 601 m wide: the mass in the square lies between those of the inscribed and the circumscribed circle
    grid, law = centred(301), spread_of(kernel, rose_toward(60.0) if wind else None)
    mass = on(grid, sources_at((0.3, -0.7)), law).sum() * 4.0
    inner, outer = kernel.mass_within(300.0), kernel.mass_within(303 * math.sqrt(2))
    assert inner - 1e-3 <= mass <= outer + 1e-3
    assert mass <= 1 + 1e-5


@BY_FAMILY
def test_mass_on_a_raster_is_known_to_a_thousandth(kernel):
    # a source at the middle of the square: its mass there by integration over an eighth of it
    angle = (np.arange(2000) + 0.5) / 2000 * math.pi / 4
    for side in (62.0, 602.0):
        expected = kernel.mass_within(side / 2 / np.cos(angle)).mean()
        mass = on(centred(int(side // 2)), sources_at((0, 0)), spread_of(kernel)).sum() * 4.0
        assert mass == pytest.approx(float(expected), abs=1e-3)
        assert mass == pytest.approx(float(expected), rel=1e-5)


def test_a_gaussian_raster_is_a_product_of_error_functions():
    # closed form for every cell, wherever the source stands
    grid, a, at = centred(41, 5.0), 10.0, (1.3, -2.1)
    values = on(grid, sources_at(at), spread_of(Kernel(family="gaussian", scale_m=a)))
    along = [
        (erf((centre - zero + 2.5) / a) - erf((centre - zero - 2.5) / a)) / 2
        for centre, zero in ((grid.northing[:, None], at[1]), (grid.easting[None, :], at[0]))
    ]
    expected = along[0] * along[1] / 25.0
    counts = expected > 1e-12 * expected.max()
    assert values[counts] == pytest.approx(expected[counts], rel=1e-4, abs=0)


def test_the_mass_of_a_cell_does_not_depend_on_how_it_is_cut():
    law, sources = spread_of(rose=rose_toward(60.0)), sources_at((3.3, 4.4), (17.0, 9.0))
    coarse, fine = on(square(5, 4.0), sources, law), on(square(20, 1.0), sources, law)
    assert coarse == pytest.approx(fine.reshape(5, 4, 5, 4).mean(axis=(1, 3)), rel=3e-4)


@pytest.mark.parametrize("place", [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (1.0 - 1e-9, 0.0), (0.3, 1e-13)])
def test_a_source_in_the_middle_on_an_edge_and_on_a_corner(place):
    # cells are 2 m wide about zero: (1, 0) lies on an edge, (1, 1) on a corner
    grid = centred(31)
    mass = on(grid, sources_at(place), spread_of()).sum() * 4.0
    assert mass == pytest.approx(on(grid, sources_at((0.1, 0.2)), spread_of()).sum() * 4.0, rel=5e-3)
    assert mass <= 1.0


def test_a_source_on_a_corner_gives_its_four_cells_alike():
    values = on(centred(31), sources_at((1.0, 1.0)), spread_of())
    assert values[14:16, 15:17] == pytest.approx(np.full((2, 2), values[14, 15]), rel=1e-9)


def test_a_grid_of_small_cells_agrees_with_points():
    law, sources = spread_of(rose=rose_toward(60.0)), sources_at((11.3, 8.2), (30.0, 31.0), strength=[1.0, 3.0])
    grid = square(40, 1.0)
    places = np.stack(np.meshgrid(grid.easting, grid.northing), axis=-1).reshape(-1, 2)
    # a disc of the cell's area has nearly the cell's mean, away from the source
    discs = pressure_at_points(receptors_at(*places, radius=math.sqrt(1 / math.pi)), sources, law, ONE).density
    far = np.min([np.hypot(places[:, 0] - e, places[:, 1] - n) for e, n in ((11.3, 8.2), (30.0, 31.0))], axis=0) > 4
    assert on(grid, sources, law).ravel()[far] == pytest.approx(discs[far], rel=2e-3)


def test_pressure_of_two_sources_is_the_sum_of_each():
    grid, law = square(60), spread_of(rose=rose_toward(60.0))
    one, two = sources_at((20, 33), strength=[2.0]), sources_at((70, 80), strength=[0.5])
    both = sources_at((20, 33), (70, 80), strength=[2.0, 0.5])
    assert on(grid, both, law) == pytest.approx(on(grid, one, law) + on(grid, two, law), rel=1e-12)


def test_moving_everything_moves_the_map():
    law = spread_of(rose=rose_toward(60.0))
    here = on(square(60), sources_at((20, 33)), law)
    there = on(square(60, west=5e5, south=4.3e6), sources_at((5e5 + 20, 4.3e6 + 33)), law)
    assert there == pytest.approx(here, rel=1e-6)


def test_a_quarter_turn_of_everything_turns_the_map():
    rose, grid = rose_toward(60.0), centred(61)
    before = on(grid, sources_at((9.0, 4.0)), spread_of(rose=rose))
    # clockwise: (east, north) becomes (north, -east), and the array turns with it
    after = on(grid, sources_at((4.0, -9.0)), spread_of(rose=turned(rose, 90.0)))
    assert after == pytest.approx(np.rot90(before, -1), rel=1e-6)


def test_reversed_wind_mirrors_the_map():
    rose, grid = rose_toward(60.0), centred(61)
    ahead, back = (on(grid, sources_at((0, 0)), spread_of(rose=turned(rose, by))) for by in (0.0, 180.0))
    assert back == pytest.approx(ahead[::-1, ::-1], rel=1e-9)


def test_wind_from_the_west_puts_more_on_the_east():
    values = on(centred(61), sources_at((0, 0)), spread_of(rose=rose_toward(90.0)))
    assert values[:, 31:].sum() > 2 * values[:, :30].sum()
    assert values[:30].sum() == pytest.approx(values[31:].sum(), rel=1e-9)


def test_no_wind_is_the_same_in_all_directions():
    values = on(centred(61), sources_at((0, 0)), spread_of())
    for image in (values.T, values[::-1], values[:, ::-1]):
        assert values == pytest.approx(image, rel=1e-9)


@BY_FAMILY
def test_farther_is_never_more_beyond_the_peak(kernel):
    values = on(centred(121), sources_at((0, 0)), spread_of(kernel))
    for ray in (values[60, 64:], values[:56, 60][::-1]):
        assert (np.diff(ray) <= 0).all()


def test_first_row_is_north_and_first_column_west():
    values = on(square(20), sources_at((5.0, 35.0)), spread_of())
    # the source stands in the third column from the west and the third row from the north
    assert np.unravel_index(values.argmax(), values.shape) == (2, 2)


def test_nothing_is_negative_even_in_a_steady_wind():
    rose = never_negative(rose_toward(30.0, 500.0, 8))
    assert on(centred(161), sources_at((0.2, 0.3)), spread_of(rose=rose, wind_influence=1.0)).min() >= 0.0


def test_one_worker_and_two_give_the_same_bits():
    rng = np.random.default_rng(9)
    sources, law = sources_at(*rng.uniform(0, 200, (20, 2))), spread_of(rose=rose_toward(60.0))
    one, two = (pressure_on_grid(square(100), sources, law, Engine(workers=n)).values for n in (1, 2))
    assert one.tobytes() == two.tobytes()


def test_a_part_of_the_map_is_the_same_as_the_whole():
    law, sources = spread_of(rose=rose_toward(60.0)), sources_at((33.0, 41.0), (-200.0, 900.0))
    whole = on(square(100), sources, law)
    part = pressure_on_grid(Grid(west=60.0, north=140.0, cell_m=2.0, n_rows=20, n_cols=30), sources, law, ONE).values
    assert part == pytest.approx(whole[30:50, 30:60], rel=3e-4)


def test_wide_maps_are_cut_into_pieces_without_a_seam():
    # more columns than are worked on together
    grid = Grid(west=-1100.0, north=10.0, cell_m=2.0, n_rows=9, n_cols=1101)
    values = on(grid, sources_at((1.0, 1.0)), spread_of())
    assert values == pytest.approx(values[:, ::-1], rel=1e-7, abs=0)


def test_screens_shade_what_lies_behind_them_and_nothing_else():
    rng = np.random.default_rng(10)
    grid, law, origins = square(40), spread_of(rose=rose_toward(60.0)), rng.uniform(0, 80, (5, 2))
    pieces = [(*ends, factor) for ends, factor in zip(rng.uniform(0, 80, (6, 4)), rng.uniform(0, 1, 6), strict=True)]
    screens = screens_of(*pieces)
    expected = np.zeros(grid.shape)
    for origin in origins:
        bare = on(grid, sources_at(origin), law)
        for row, north in enumerate(grid.northing):
            for col, east in enumerate(grid.easting):
                share = slow.passed((*origin, east, north), [(piece[:4], piece[4]) for piece in pieces])
                expected[row, col] += bare[row, col] * share
    assert on(grid, sources_at(*origins), law, screens=screens) == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize("ends", [(10.0, -50.0, 10.0, 50.0), (-50.0, 11.0, 50.0, 11.0), (30.0, -2.0, 10.0, -30.0)])
def test_a_screen_shades_alike_from_both_of_its_ends(ends):
    grid, law = centred(41), spread_of()
    one = on(grid, sources_at((0.3, 0.4)), law, screens=screens_of((*ends, 0.5)))
    other = on(grid, sources_at((0.3, 0.4)), law, screens=screens_of((*ends[2:], *ends[:2], 0.5)))
    assert one.tolist() == other.tolist()
    bare = on(grid, sources_at((0.3, 0.4)), law)
    assert set(np.round(one / bare, 9).ravel().tolist()) == {0.5, 1.0}


def test_a_screen_in_line_with_the_source_and_one_of_no_length_shade_nothing():
    grid, law, source = centred(41), spread_of(), sources_at((0.3, 0.4))
    bare = on(grid, source, law)
    for ends in ((10.3, 0.4, 20.3, 0.4), (5.0, 5.0, 5.0, 5.0), (0.3, 0.4, 0.3, 20.0)):
        assert on(grid, source, law, screens=screens_of((*ends, 0.5))).tolist() == bare.tolist()
    assert on(grid, source, law, screens=screens_of()).tolist() == bare.tolist()


@pytest.mark.parametrize(
    ("family", "scale", "shape"),
    [
        ("wald", 0.3, 1e-3),
        ("wald", 1e4, 1e6),
        ("wald", 0.3, 1e6),
        ("student_2d", 1.0, 1.01),
        ("student_2d", 0.1, 100.0),
        ("exponential_power", 10.0, 0.01),
        ("exponential_power", 0.1, 100.0),
        ("lognormal", 10.0, 100.0),
        ("lognormal", 10.0, 0.01),
        ("inverse_power", 1.0, 2.01),
        ("inverse_power", 0.1, 100.0),
        ("logistic", 1.0, 2.01),
        ("logistic", 1e4, 100.0),
        ("weibull", 10.0, 0.01),
        ("weibull", 0.1, 100.0),
        ("gamma", 10.0, 0.01),
        ("gamma", 0.1, 100.0),
        ("exponential", 0.1, None),
        ("gaussian", 1e4, None),
    ],
)
@pytest.mark.parametrize("cell_m", [0.25, 1000.0])
def test_the_ends_of_what_settings_allow_stay_finite_and_keep_their_mass(family, scale, shape, cell_m):
    kernel = Kernel(family=family, scale_m=scale, shape=shape)
    law = spread_of(kernel, rose_toward(60.0), 1.0, 1.0)
    values = on(centred(21, cell_m), sources_at((0.3 * cell_m, 0.2 * cell_m)), law)
    assert np.isfinite(values).all()
    assert values.min() >= 0
    # the mass lies between those of a circle inside and of one around the square
    inner, outer = kernel.mass_within(10 * cell_m), kernel.mass_within(15.5 * cell_m)
    assert inner - 1e-3 <= values.sum() * cell_m**2 <= outer + 1e-3


def test_no_sources_give_zero():
    result = pressure_on_grid(square(4), sources_at(), spread_of(), ONE)
    assert result.values.tolist() == np.zeros((4, 4)).tolist()
    assert result.error_bound == 0.0


def test_one_cell_and_a_source_far_outside_work():
    law = spread_of(rose=rose_toward(60.0))
    near = on(square(1, 10.0), sources_at((5.0, 5.0)), law)
    assert near.shape == (1, 1)
    far = on(square(1, 10.0), sources_at((3000.0, 5.0)), law)[0, 0]
    expected = slow.density_at(plain(WALD), 0.5 * rose_toward(60.0), 1.0, -2995.0, 0.0)
    assert far == pytest.approx(expected, rel=1e-3, abs=0)


@pytest.mark.parametrize("place", [(math.nan, 0.0), (0.0, math.inf)])
def test_a_source_that_is_nowhere_is_told(place):
    with pytest.raises(InputError, match=r"source 1 of 2 lies at \(.*\), and 1 in all are not finite; allowed: finite"):
        pressure_on_grid(square(4), sources_at((0, 0), place), spread_of(), ONE)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"n_rows": 0}, "needs at least one row and one column, not 0 x 4"),
        ({"cell_m": 0.0}, "a cell above zero"),
        ({"west": math.nan}, "finite corners"),
    ],
)
def test_a_grid_of_no_size_is_told(change, match):
    with pytest.raises(InputError, match=match):
        Grid(**{"west": 0.0, "north": 8.0, "cell_m": 2.0, "n_rows": 4, "n_cols": 4, **change})


def test_a_source_on_a_cell_edge_up_to_rounding_loses_nothing():
    # 0.9 m cells from -90: the edge at zero lies there only up to rounding
    grid = Grid(west=-90.0, north=90.0, cell_m=0.9, n_rows=200, n_cols=200)
    values = pressure_on_grid(grid, sources_at((0.0, 0.0)), spread_of(WALD), Engine(workers=1)).values
    shifted = Grid(west=-90.0 - 1e-6, north=90.0, cell_m=0.9, n_rows=200, n_cols=200)
    moved = pressure_on_grid(shifted, sources_at((0.0, 0.0)), spread_of(WALD), Engine(workers=1)).values
    assert values.sum() == pytest.approx(moved.sum(), rel=1e-6)
