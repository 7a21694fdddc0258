"""Sums tile by tile: exact or fast, the mesh held to its limit, and what is told and refused."""

import pickle
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from made_fields import EXACT, FAST, awkward_sources, law_in, worst
from small_worlds import WALD, rose_toward, screens_of, sources_at, spread_of

from spreadmap.dispersal.kernels import Kernel
from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure import tiles as module
from spreadmap.pressure.mesh import mesh_over
from spreadmap.pressure.strands import law_at
from spreadmap.pressure.tiles import TileWork, pressure_tiles, tile_job, way_within
from spreadmap.values.grid import Grid
from spreadmap.values.settings import PressureSettings
from spreadmap.values.tile import part_of, tiles_over

ONE, TWO = Engine(workers=1), Engine(workers=2)
GRID = Grid(west=100.0, north=300.0, cell_m=2.0, n_rows=90, n_cols=70)
WIDE = Kernel(family="student_2d", scale_m=50.0, shape=1.5)


@dataclass
class Basket:
    """A sink that keeps tiles in memory."""

    grid: Grid
    side: int = 32
    kept: dict = field(default_factory=dict)

    @property
    def tiles(self):
        return tiles_over(self.grid, self.side)

    def todo(self):
        return tuple(tile for tile in self.tiles if tile not in self.kept)

    def write(self, tile, values):
        assert values.dtype == np.float32
        self.kept[tile] = values.copy()

    def values(self):
        whole = np.full(self.grid.shape, np.nan, dtype=np.float32)
        for tile, values in self.kept.items():
            whole[tile.row : tile.row + tile.n_rows, tile.col : tile.col + tile.n_cols] = values
        return whole


def streamed(grid, sources, law, engine=ONE, side=32, **more):
    basket = Basket(grid, side)
    return pressure_tiles(grid, sources, law, engine, basket, **more), basket.values()


def test_tiles_cover_a_grid_once_and_lie_where_their_cells_lie():
    counted = np.zeros(GRID.shape)
    for tile in tiles_over(GRID, 32):
        part = part_of(GRID, tile)
        assert part.shape == tile.shape
        np.testing.assert_allclose(part.easting, GRID.easting[tile.col : tile.col + tile.n_cols], rtol=1e-14)
        np.testing.assert_allclose(part.northing, GRID.northing[tile.row : tile.row + tile.n_rows], rtol=1e-14)
        counted[tile.row : tile.row + tile.n_rows, tile.col : tile.col + tile.n_cols] += 1
    assert (counted == 1).all()


@pytest.mark.parametrize("wind", ["still", "one", "bent"])
def test_sums_of_pairs_are_those_of_the_whole_grid(wind):
    sources, law = awkward_sources(200.0), law_in(wind, WALD, 200.0)
    whole = pressure_on_grid(GRID, sources, law, ONE, settings=EXACT)
    done, values = streamed(GRID, sources, law, settings=EXACT)
    assert (done.method, done.why, done.error_bound) == ("exact", "asked for", whole.error_bound)
    assert worst(values, whole.values) <= 2 * whole.error_bound


@pytest.mark.parametrize("how", [FAST, EXACT])
def test_screens_are_kept_from_tile_to_tile(how):
    sources, law = sources_at((150.0, 200.0)), law_in("one", WALD, 200.0)
    screens = screens_of((160.0, 150.0, 160.0, 290.0, 0.25))
    whole = pressure_on_grid(GRID, sources, law, ONE, screens=screens, settings=EXACT)
    done, values = streamed(GRID, sources, law, screens=screens, settings=how)
    assert done.method == how.method
    assert worst(values, whole.values) <= done.error_bound + whole.error_bound
    assert values[50, 65] < 0.3 * streamed(GRID, sources, law)[1][50, 65]


@pytest.mark.parametrize("strength", [[], [0.0, 0.0]])
def test_no_sources_give_zero(strength):
    sources = sources_at(*[(150.0, 200.0)] * len(strength), strength=np.array(strength))
    done, values = streamed(GRID, sources, law_in("one", WALD, 200.0))
    assert (values == 0).all()
    assert (done.why, done.error_bound) == ("nothing to sum", 0.0)


def test_small_sums_are_made_pair_by_pair_and_large_ones_fast():
    few, law = sources_at((150.0, 200.0)), law_in("one", WALD, 200.0)
    assert streamed(GRID, few, law)[0].why == "6.3e+03 pairs are few"
    large, many = replace(GRID, n_rows=400, n_cols=400), awkward_sources(600.0, count=2000)
    assert streamed(large, many, law, side=200)[0].method == "fast"


def test_the_unit_divides():
    sources, law = awkward_sources(200.0), law_in("one", WALD, 200.0)
    plain, halves = (streamed(GRID, sources, law, unit_per_m2=unit)[1] for unit in (1.0, 2.0))
    np.testing.assert_allclose(halves, plain / 2, rtol=1e-7)


LARGE = Grid(west=0.0, north=3000.0, cell_m=1.0, n_rows=3000, n_cols=3000)


def test_a_mesh_limited_in_size_is_coarser_within_the_same_error():
    # many sources want a fine mesh; a hundredth of its memory is allowed
    rng = np.random.default_rng(4)
    sources = sources_at(*rng.uniform(0, 3000, (20_000, 2)))
    law_of = spread_of(WIDE, rose_toward(60.0))
    law = law_at(law_of, sources)
    free = PressureSettings(method="fast", check=True, probes=24, most_mesh_gb=100.0)
    tight = replace(free, most_mesh_gb=0.004)
    region = (0.0, 3000.0, 0.0, 3000.0)
    sizes = []
    for setting in (free, tight):
        way = way_within(LARGE, sources, law, setting)
        sizes.append(mesh_over(region, way.step_m, way.reach_m).bytes + way.middle_bytes)
    assert sizes[1] <= 4e6 < sizes[0]
    corner = replace(LARGE, n_rows=200, n_cols=200)
    done, values = streamed(corner, sources, law_of, side=200, settings=replace(tight, probes=200))
    assert done.method == "fast"
    assert done.checked <= done.error_bound <= 1e-3
    assert values.min() >= 0


def test_a_check_compares_with_exact_sums():
    sources, law = awkward_sources(600.0, count=2000), law_in("one", WALD, 600.0)
    grid = replace(GRID, n_rows=400, n_cols=400)
    checked = streamed(grid, sources, law, settings=replace(FAST, check=True))[0]
    assert 0 < checked.checked <= 1e-3
    assert streamed(grid, sources, law, settings=FAST)[0].checked is None
    assert streamed(GRID, sources, law, settings=replace(EXACT, check=True))[0].checked is None


def test_only_missing_tiles_are_computed_and_told(monkeypatch):
    sources, law, basket, told, computed = awkward_sources(200.0), law_in("one", WALD, 200.0), Basket(GRID), [], []
    real = module.tile_values

    def counted(ready, job, tile):
        computed.append(tile)
        return real(ready, job, tile)

    monkeypatch.setattr(module, "tile_values", counted)
    for tile in basket.tiles[:4]:
        basket.kept[tile] = np.zeros(tile.shape, dtype=np.float32)
    done = pressure_tiles(GRID, sources, law, TWO, basket, progress=lambda *counts: told.append(counts))
    assert sorted(computed) == sorted(basket.tiles[4:])
    assert told == [(count, 9) for count in range(5, 10)]
    assert (done.tiles_computed, done.tiles) == (5, 9)
    again = pressure_tiles(GRID, sources, law, TWO, basket)
    assert (again.tiles_computed, again.why) == (0, "every tile was there")


def test_the_field_is_made_once_and_given_back(monkeypatch):
    made, real = [], module._ready
    monkeypatch.setattr(module, "_ready", lambda job, engine: made.append(job.key) or real(job, engine))
    streamed(GRID, awkward_sources(200.0), law_in("one", WALD, 200.0), TWO)
    assert len(made) == 1
    assert module.READY._field is None


def test_a_worker_elsewhere_needs_the_work_alone():
    # as a process of its own would have it: nothing made ready, everything sent as bytes
    sources, law = awkward_sources(600.0, count=2000), law_in("one", WALD, 600.0)
    grid = replace(GRID, n_rows=400, n_cols=400)
    here = streamed(grid, sources, law, settings=FAST, side=200)[1]
    work = TileWork(job=tile_job(grid, sources, law, settings=FAST), sink=Basket(grid, 200))
    sent = pickle.dumps(work)
    assert len(sent) < 40 * len(sources) + 20_000
    module.READY.forget()
    there = pickle.loads(sent)
    for tile in there.sink.tiles:
        there(tile)
    module.READY.forget()
    np.testing.assert_array_equal(there.sink.values(), here)


def test_an_error_in_a_sink_ends_the_work_and_leaves_no_field():
    class Full(Basket):
        def write(self, tile, values):
            msg = "disk is full"
            raise OSError(msg)

    with pytest.raises(OSError, match="disk is full"):
        pressure_tiles(GRID, awkward_sources(200.0), law_in("one", WALD, 200.0), TWO, Full(GRID))
    assert module.READY._field is None


def test_the_key_changes_with_everything_that_values_depend_on():
    sources, law = awkward_sources(200.0), law_in("one", WALD, 200.0)
    stronger = replace(sources, strength=sources.strength * 2)
    keys = {
        tile_job(*job, **more).key
        for job, more in (
            ((GRID, sources, law), {}),
            ((replace(GRID, west=101.0), sources, law), {}),
            ((GRID, stronger, law), {}),
            ((GRID, sources, law.scaled(2.0)), {}),
            ((GRID, sources, law_in("bent", WALD, 200.0)), {}),
            ((GRID, sources, law), {"settings": PressureSettings(rtol=2e-3)}),
            ((GRID, sources, law), {"unit_per_m2": 2.0}),
            ((GRID, sources, law), {"screens": screens_of((0.0, 0.0, 1.0, 1.0, 0.5))}),
        )
    }
    assert len(keys) == 8
    assert tile_job(GRID, awkward_sources(200.0), law_in("one", WALD, 200.0)).key in keys


def test_places_that_are_not_finite_are_refused_before_a_tile_is_made():
    with pytest.raises(InputError, match=r"source 1 of 2 lies at \(nan"):
        streamed(GRID, sources_at((1.0, 1.0), (np.nan, 1.0)), law_in("one", WALD, 200.0))


def test_a_mesh_beyond_the_allowed_memory_is_refused():
    rng = np.random.default_rng(4)
    sources = sources_at(*rng.uniform(0, 3000, (20_000, 2)))
    setting = PressureSettings(method="fast", most_memory_gb=1e-4)
    with pytest.raises(InputError, match=r"mesh over 3000 x 3000 cells.*most_memory_gb"):
        streamed(LARGE, sources, spread_of(WIDE), settings=setting)


@pytest.mark.parametrize("workers", [1, 3])
def test_the_engine_tells_of_every_item_in_order(workers):
    told = []
    assert Engine(workers=workers).map(lambda item: item * 2, range(20), told.append) == list(range(0, 40, 2))
    assert told == list(range(1, 21))
