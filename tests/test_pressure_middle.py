"""The middle mesh in blocks, and stamps from tables of nodes and of coefficients, against exact sums and each other."""

from dataclasses import replace

import numpy as np
import pytest
from made_fields import EXACT, FAST, awkward_sources, bent_wind, law_in, square, worst
from small_worlds import ONE_OF_EACH, WALD, rose_toward, sources_at, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.pressure import middle, near_nodes, pressure_on_grid
from spreadmap.pressure.choice import Way, ways
from spreadmap.pressure.exact import farthest_of
from spreadmap.pressure.fast import grid_scene, in_words, occupied_area
from spreadmap.pressure.grid_field import grid_field
from spreadmap.pressure.kept import rounded_up
from spreadmap.pressure.mesh import far_pieces
from spreadmap.pressure.middle import blocks_over, middle_sum
from spreadmap.pressure.near_nodes import NodeNear, nodes_of
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.trial import mesh_error
from spreadmap.values.inventory import Sources

ONE, TWO = Engine(workers=1), Engine(workers=2)
WINDS = pytest.mark.parametrize("wind", ["still", "one", "bent"])
STEPS = {"middle_m": 1.0, "cut_m": 9.0, "step_m": 4.0, "outer_m": 42.0}


def field_of(grid, sources, spread, engine=ONE, **steps):
    """Return the field that two meshes of chosen steps make, with the error that trying them finds."""
    law, given = law_at(spread, sources), STEPS | steps
    scene = grid_scene(grid, sources, law)
    error = sum(
        mesh_error(law, given[step], given[cut], scene.size_m, scene.nearest_m).relative
        for step, cut in (("middle_m", "cut_m"), ("step_m", "outer_m"))
    )
    way = Way(reach_m=4000.0, mesh_error=error, work_ns=0.0, **given)
    farthest = rounded_up(farthest_of(*grid.region, sources) + grid.cell_m)
    return grid_field(grid, sources, law, way, scene.region, farthest, 1e-3, engine)


def whole(field, engine=ONE):
    """Return all values of a field."""
    values = np.empty(field.grid.shape)
    field.fill(values, engine)
    return values


@WINDS
def test_two_meshes_and_stamps_are_the_exact_sum(wind, monkeypatch):
    monkeypatch.setattr(middle, "LENGTHS", (192,))
    # several blocks, sources at the edge and off the map; the kernel's hole about lonely sources is left out
    sources, grid = awkward_sources(200.0), square(200)
    kernel = Kernel(family="student_2d", scale_m=8.1, shape=2.1)
    law = law_in(wind, kernel, 200.0)
    field = field_of(grid, sources, law)
    assert len(field.middle.field.values) > 1
    found, exact = whole(field), pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values
    assert field.error_bound <= 1e-3
    assert worst(found, exact) <= 1e-3


@pytest.mark.parametrize("kernel", [ONE_OF_EACH[1], ONE_OF_EACH[4]], ids=lambda kernel: kernel.family)
def test_kernels_with_a_peak_and_a_fat_tail_are_split_three_ways(kernel):
    sources, grid, law = awkward_sources(160.0), square(160), spread_of(kernel, rose_toward(60.0))
    found = whole(field_of(grid, sources, law))
    assert worst(found, pressure_on_grid(grid, sources, law, ONE, settings=EXACT).values) <= 1e-3


def test_what_is_far_is_the_middle_and_the_rest():
    spread = spread_of(WALD)
    far, inner, rest = (
        far_pieces(spread, cut, 300.0, 0.5, until) for cut, until in ((9.0, np.inf), (9.0, 42.0), (42.0, np.inf))
    )
    assert inner + rest == pytest.approx(far, abs=1e-17)
    assert (inner[90:] == 0).all()
    assert (inner[30:80, 0] > 0).all()


def test_blocks_are_made_only_where_sources_are_near():
    sources, law = sources_at((20.0, 20.0)), law_at(spread_of(WALD), sources_at((20.0, 20.0)))
    field = middle_sum((0.0, 900.0, 0.0, 900.0), sources, law, 1.0, 9.0, 42.0, ONE)
    assert (field.index >= 0).sum() == len(field.values) == 1
    assert field.index[0, 0] == 0
    assert field.window(700, 720, 700, 720) is None
    far_off = sources_at((-500.0, 20.0))
    assert middle_sum((0.0, 900.0, 0.0, 900.0), far_off, law_at(spread_of(WALD), far_off), 1.0, 9.0, 42.0, ONE) is None


def test_cuts_between_blocks_do_not_show(monkeypatch):
    monkeypatch.setattr(middle, "LENGTHS", (256,))
    # a source next to the corner of four blocks; one block of all, whose corner lies elsewhere, gives the same
    law = law_at(spread_of(WALD, rose_toward(60.0)), sources_at((0.0, 0.0)))
    wide = (0.0, 600.0, 0.0, 600.0)
    blocks = blocks_over(wide, 1.0, 42.0)
    place = blocks.west + blocks.side + 0.3
    sources = sources_at((place, place))
    many = middle_sum(wide, sources, law, 1.0, 9.0, 42.0, ONE)
    lonely = middle_sum((place - 50.3, place + 9.7, place - 50.3, place + 9.7), sources, law, 1.0, 9.0, 42.0, ONE)
    shift = round(lonely.blocks.west - many.blocks.west)
    window = many.window(shift, shift + 60, shift, shift + 60)
    alone = lonely.window(0, 60, 0, 60)
    assert (many.index >= 0).sum() == 4
    assert window == pytest.approx(alone, abs=1e-9 * alone.max())


def test_a_kernel_too_wide_for_its_mesh_is_refused():
    assert blocks_over((0.0, 100.0, 0.0, 100.0), 1.0, 400.0) is None
    with pytest.raises(ValueError, match="no block holds a kernel that ends after 400 nodes"):
        middle_sum(
            (0.0, 9.0, 0.0, 9.0), sources_at((1, 1)), law_at(spread_of(), sources_at((1, 1))), 1.0, 9.0, 400.0, ONE
        )


@WINDS
def test_one_worker_and_two_make_the_same_bits_of_three_parts(wind):
    sources, grid, law = awkward_sources(300.0, count=40), square(300), law_in(wind, WALD, 300.0)
    one, two = (whole(field_of(grid, sources, law, engine), engine) for engine in (ONE, TWO))
    assert one.tobytes() == two.tobytes()


def test_a_middle_mesh_is_chosen_where_many_sources_stand_close():
    rng = np.random.default_rng(4)
    at = 1000.0 + rng.normal(0.0, 60.0, (60_000, 2))
    crowd = Sources(
        easting=at[:, 0], northing=at[:, 1], strength=np.ones(len(at)), plant=np.full(len(at), -1)
    )  # fmt: skip
    law = law_at(spread_of(rose=rose_toward(60.0)), crowd)
    way = ways(law, grid_scene(square(2000), crowd, law), 1e-3)
    assert way.middle_m > 0
    assert way.cut_m < way.outer_m
    assert way.far_cut_m == way.outer_m
    assert "near sources and stamps" in in_words(way, 1e9)
    # points read a mesh off one by one, and have no middle mesh
    no_blocks = replace(grid_scene(square(2000), crowd, law), inner=None)
    assert ways(law, no_blocks, 1e-3).middle_m == 0


def test_the_area_with_sources_is_counted_in_squares():
    # by hand: 256 squares of 1 m to a side; two sources share one of 2 m, a third stands in the far corner
    found = dict(occupied_area((0.0, 256.0, 0.0, 256.0), sources_at((0.5, 0.5), (1.5, 1.5), (255.5, 255.5))))
    assert found[1.0] == 3.0
    assert found[2.0] == 8.0
    assert found[128.0] == 2 * 128.0**2
    assert found[256.0] == 256.0**2


def test_a_rose_is_the_mean_of_the_nodes_about_its_source():
    # within the field, on a node and beyond its edge
    sources = sources_at((20.0, 33.0), (50.0, 50.0), (-30.0, 140.0), (99.0, 1.0))
    strand = law_at(bent_wind(WALD, 100.0), sources)[0]
    nodes = nodes_of(strand, sources)
    mean = np.einsum("jk,jkm->jm", nodes.weight, nodes.roses[nodes.corner])
    assert mean == pytest.approx(strand.roses, abs=1e-14)
    assert len(nodes.roses) < 16


def test_a_law_of_one_rose_has_one_node():
    sources = sources_at((20.0, 33.0), (50.0, 50.0))
    nodes = nodes_of(law_at(spread_of(rose=rose_toward(60.0)), sources)[0], sources)
    assert nodes.roses.shape[0] == 1
    assert nodes.weight.tolist() == [[1, 0, 0, 0]] * 2


def test_tables_of_nodes_and_of_coefficients_make_one_map(monkeypatch):
    rng = np.random.default_rng(6)
    at = rng.uniform(20.0, 180.0, (400, 2))
    sources = Sources(easting=at[:, 0], northing=at[:, 1], strength=rng.uniform(0.5, 2, 400), plant=np.full(400, -1))
    law, grid = bent_wind(WALD, 200.0, nodes=3), square(200)
    maps = []
    for most, through_nodes in ((1e9, True), (0.0, False)):
        monkeypatch.setattr(near_nodes, "MOST_BYTES", most)
        field = field_of(grid, sources, law)
        assert isinstance(field.near, NodeNear)
        assert (field.near.tiers[0][0].nodes is not None) == through_nodes
        maps.append(whole(field))
    assert maps[0] == pytest.approx(maps[1], rel=2e-5)
    assert worst(maps[0], pressure_on_grid(grid, sources, law, TWO, settings=EXACT).values) <= 1e-3


def test_bent_strands_beside_one_that_is_not_have_tables_of_their_own():
    near = bent_wind(WALD, 96.0)
    other = spread_of(Kernel(family="exponential", scale_m=20.0), rose_toward(200.0))
    mixture = replace(near, strands=((0.6, near), (0.4, other)))
    grid, sources = square(96), awkward_sources(96.0)
    exact = pressure_on_grid(grid, sources, mixture, ONE, settings=EXACT).values
    assert worst(pressure_on_grid(grid, sources, mixture, ONE, settings=FAST).values, exact) <= 1e-3
    assert worst(whole(field_of(grid, sources, mixture)), exact) <= 1e-3
