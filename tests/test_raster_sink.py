"""Rasters written tile by tile: their values, overviews and bytes, and what is left after a kill."""

import json
import math
import pickle
import signal
import subprocess
import sys
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from made_fields import FAST, awkward_sources, law_in
from made_results import CRS, made_result
from small_worlds import WALD
from test_gdal_opens import output_of

from spreadmap.engine import Engine
from spreadmap.errors import OutputError
from spreadmap.io import tiff_layout
from spreadmap.io.band import PACKINGS, Band
from spreadmap.io.raster_assembly import TILE
from spreadmap.io.raster_sink import RasterSink, SeveralSinks
from spreadmap.io.write_raster import face_tags, write_class_raster, write_surface
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure.tiles import pressure_tiles
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.tile import Tile

BREAKS = (0.02, 0.3, 1.0, 14.0)
TAGS = face_tags(made_result().systems[0].face, "rose_rosette", BREAKS)
ROWS, COLS = 2 * TILE + 101, TILE + 903
GRID = Grid(west=560_000.0, north=5_940_000.0, cell_m=2.0, n_rows=ROWS, n_cols=COLS)
"""Six tiles, four overviews, and no side that halves evenly."""
ONE, TWO = Engine(workers=1), Engine(workers=2)


def made_values(grid=GRID):
    """Return values over nine orders of magnitude, smooth enough to pack."""
    east, north = np.arange(grid.n_cols) / 300, np.arange(grid.n_rows) / 500
    return (np.exp(-east[None, :]) * (1 + 0.3 * np.sin(9 * north[:, None])) * 10 ** -north[:, None]).astype(np.float32)


VALUES = made_values()


def sink_at(path, key="made", grid=GRID, **more):
    band = Band(grid=grid, crs=CRS, description="Relative infection pressure", tags=TAGS, **more)
    return RasterSink(path=path, band=band, key=key)


def cut(values, tile):
    return values[tile.row : tile.row + tile.n_rows, tile.col : tile.col + tile.n_cols]


def fill(sink, values=VALUES, engine=ONE):
    todo = sink.todo()
    engine.map(lambda tile: sink.write(tile, cut(values, tile)), todo)
    return todo


def written(path, values=VALUES, **more):
    sink = sink_at(path, **more)
    fill(sink, values)
    return sink.finish()


@pytest.fixture(scope="module")
def raster(tmp_path_factory):
    return written(tmp_path_factory.mktemp("raster") / "risk.tif")


def overview(path, level):
    with rasterio.open(path, **({"overview_level": level - 1} if level else {})) as file:
        return file.read(1)


def test_a_raster_reads_back_with_place_unit_and_face(raster):
    with rasterio.open(raster) as file:
        np.testing.assert_array_equal(file.read(1), VALUES)
        assert file.dtypes == ("float32",)
        assert math.isnan(file.nodata)
        assert file.crs.to_epsg() == 25832
        assert file.bounds == (GRID.region[0], GRID.region[2], *GRID.region[1::2])
        assert file.units == ("1 = one confirmed medium plant, still air, 10 m away",)
        assert file.descriptions == ("Relative infection pressure",)
        assert {name: value for name, value in file.tags().items() if name != "AREA_OR_POINT"} == TAGS
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.block_shapes == [(512, 512)]
    assert list(raster.parent.iterdir()) == [raster]


def test_it_says_what_a_raster_written_in_one_piece_says(tmp_path):
    grid = replace(GRID, n_rows=700, n_cols=600)
    surface = Surface(grid=grid, values=made_values(grid))
    for breaks, write in ((), lambda path: write_surface(path, surface, CRS, "risk", TAGS)), (
        BREAKS, lambda path: write_class_raster(path, surface, BREAKS, CRS, "risk", TAGS)
    ):  # fmt: skip
        write(tmp_path / "piece.tif")
        sink = RasterSink(
            path=tmp_path / "tiles.tif", key="made",
            band=Band(grid=grid, crs=CRS, description="risk", tags=TAGS, breaks=breaks),
        )  # fmt: skip
        fill(sink, surface.values.astype(np.float32))
        with rasterio.open(tmp_path / "piece.tif") as piece, rasterio.open(sink.finish()) as tiles:
            assert repr(tiles.profile) == repr(piece.profile)  # NaN is not itself
            assert tiles.overviews(1) == piece.overviews(1)
            assert tiles.tags() == piece.tags()
            assert (tiles.units, tiles.descriptions) == (piece.units, piece.descriptions)
            np.testing.assert_array_equal(tiles.read(1), piece.read(1))
            if breaks:
                assert tiles.colormap(1) == piece.colormap(1)


@pytest.mark.gdal
@pytest.mark.parametrize(("most_classic", "packing"), [(2**32 - 1, "deflate"), (0, "deflate"), (0, "none")])
def test_a_gdal_of_the_machine_s_own_sees_the_layout(tmp_path, gdal_tools, monkeypatch, most_classic, packing):
    # 0: places take eight bytes as in a file above 4 GB
    monkeypatch.setattr(tiff_layout, "MOST_CLASSIC", most_classic)
    path = written(tmp_path / "risk.tif", packing=packing, mantissa_bits=10)
    assert path.read_bytes()[2] == (42 if most_classic else 43)
    said = json.loads(output_of(gdal_tools["gdalinfo"], "-json", "-checksum", path))
    (band,) = said["bands"]
    assert said["size"] == [COLS, ROWS]
    assert said["metadata"]["IMAGE_STRUCTURE"]["LAYOUT"] == "COG"
    assert said["metadata"][""]["AS_OF"] == "2026-09-14"
    assert "10 bits" in said["metadata"][""]["ROUNDING"]
    assert (band["type"], band["noDataValue"], band["block"]) == ("Float32", "NaN", [512, 512])
    assert [one["size"] for one in band["overviews"]] == [[1476, 2099], [738, 1050], [369, 525], [185, 263]]
    assert said["geoTransform"] == [560_000.0, 2.0, 0.0, 5_940_000.0, 0.0, -2.0]


def test_overviews_are_means_of_the_map_s_cells(raster):
    for level in range(1, 5):
        side, found = 2**level, overview(raster, level)
        sums = VALUES.astype(np.float64)
        for axis, length in enumerate((ROWS, COLS)):
            sums = np.add.reduceat(sums, np.arange(0, length, side), axis=axis)
        held = [np.diff(np.r_[np.arange(0, length, side), length]) for length in (ROWS, COLS)]
        np.testing.assert_allclose(found, sums / (held[0][:, None] * held[1][None, :]), rtol=1e-6)


def test_no_value_stays_no_value_in_map_and_overviews(tmp_path):
    values = VALUES.copy()
    values[:600, :600] = np.nan
    path = written(tmp_path / "risk.tif", values)
    np.testing.assert_array_equal(overview(path, 0), values)
    for level in (1, 3, 4):
        last = 600 // 2**level
        found = overview(path, level)
        assert np.isnan(found[:last, :last]).all()
        assert np.isfinite(found[last + 1 :]).all()


@pytest.mark.parametrize("packing", list(PACKINGS))
def test_rounding_keeps_its_stated_bound_in_map_and_overviews(tmp_path, raster, packing):
    path = written(tmp_path / "risk.tif", mantissa_bits=10, packing=packing)
    for level in range(5):
        np.testing.assert_allclose(overview(path, level), overview(raster, level), rtol=2**-11, atol=0)
    with rasterio.open(path) as file:
        assert "10 bits; relative error 0.000488 at most" in file.tags()["ROUNDING"]


def test_rounding_makes_files_smaller(tmp_path, raster):
    assert written(tmp_path / "risk.tif", mantissa_bits=8).stat().st_size < 0.5 * raster.stat().st_size


def test_classes_are_those_of_one_piece_and_overviews_hold_the_commonest(tmp_path):
    path = written(tmp_path / "class.tif", breaks=BREAKS)
    full, half = overview(path, 0), overview(path, 1)
    np.testing.assert_array_equal(full, 1 + np.searchsorted(BREAKS, VALUES, side="right"))
    four = np.stack([full[row:-1:2, col:-1:2] for row in (0, 1) for col in (0, 1)])
    agree = (four == four[0]).all(axis=0)
    np.testing.assert_array_equal(half[:-1, :-1][agree], four[0][agree])
    assert set(np.unique(overview(path, 4))) <= set(np.unique(full))


def test_bytes_depend_on_nothing_but_the_values(tmp_path, raster):
    # other order, other threads, other name
    for name, engine in (("one", ONE), ("two", TWO)):
        sink = sink_at(tmp_path / f"{name}.tif")
        engine.map(lambda tile, sink=sink: sink.write(tile, cut(VALUES, tile)), sink.todo()[::-1])
        assert sink.finish().read_bytes() == raster.read_bytes()


KILLED = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import test_raster_sink as made
from spreadmap.io import raster_sink

def half_a_tile(file, levels, seed):
    whole(file, levels[:1], seed)
    file.flush()
    os.kill(os.getpid(), signal.SIGKILL)

whole = raster_sink.write_tile
sink = made.sink_at(Path(sys.argv[1]))
for index, tile in enumerate(sink.todo()):
    if index == 2:
        raster_sink.write_tile = half_a_tile
    sink.write(tile, made.cut(made.VALUES, tile))
"""


def test_after_a_kill_only_unfinished_tiles_are_made(tmp_path, raster):
    path = tmp_path / "risk.tif"
    done = subprocess.run([sys.executable, "-c", KILLED, str(path), str(Path(__file__).parent)], check=False)
    assert done.returncode == -signal.SIGKILL
    sink = sink_at(path)
    left = sorted(one.name for one in sink.folder.iterdir())
    assert len([name for name in left if name.endswith(".tile")]) == 2
    assert len([name for name in left if name.endswith(".tmp")]) == 1
    assert fill(sink) == sink.tiles[2:]
    assert sink.todo() == ()
    assert sink.finish().read_bytes() == raster.read_bytes()
    assert list(tmp_path.iterdir()) == [path]


def test_a_kill_while_tiles_are_put_together_costs_no_tile(tmp_path, raster, monkeypatch):
    sink = sink_at(tmp_path / "risk.tif")
    fill(sink)
    with monkeypatch.context() as patch:
        patch.setattr("spreadmap.io.raster_assembly.Assembly._copy_lines", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError, match="division"):
            sink.finish()
    assert not sink.path.exists()
    assert sink.todo() == ()
    assert sink.finish().read_bytes() == raster.read_bytes()


@pytest.mark.parametrize("harm", ["flipped", "short", "empty", "no header"])
def test_a_tile_that_is_not_as_it_was_written_is_made_again(tmp_path, harm):
    sink = sink_at(tmp_path / "risk.tif")
    fill(sink)
    tile = sink.folder / "1_0.tile"
    data = bytearray(tile.read_bytes())
    data[len(data) // 2] ^= 1
    tile.write_bytes({"flipped": data, "short": data[:-9], "empty": b"", "no header": b"\x05\x00\x00\x00hello"}[harm])
    assert sink.todo() == (sink.tiles[2],)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"key": "another"}, "key differ"),
        ({"mantissa_bits": 10}, "mantissa_bits differ"),
        ({"grid": replace(GRID, west=0.0), "packing": "zstd"}, "grid, packing differ"),
        ({"breaks": BREAKS}, "breaks differ"),
    ],
)
def test_tiles_of_another_job_are_refused(tmp_path, more, says):
    sink = sink_at(tmp_path / "risk.tif")
    sink.todo()
    sink.write(sink.tiles[0], cut(VALUES, sink.tiles[0]))
    with pytest.raises(OutputError, match=rf"risk.tif.part holds tiles of another job: {says}.*remove the folder"):
        sink_at(tmp_path / "risk.tif", **more).todo()
    assert sink.has(sink.tiles[0])


def test_a_record_that_cannot_be_read_is_another_job(tmp_path):
    sink = sink_at(tmp_path / "risk.tif")
    sink.todo()
    (sink.folder / "job.json").write_text("[")
    with pytest.raises(OutputError, match="tiles of another job"):
        sink.todo()


def test_a_raster_with_a_missing_tile_is_not_finished(tmp_path):
    sink = sink_at(tmp_path / "risk.tif")
    sink.todo()
    sink.write(sink.tiles[0], cut(VALUES, sink.tiles[0]))
    with pytest.raises(OutputError, match=r"risk.tif: 5 of 6 tiles are missing"):
        sink.finish()


def test_values_that_do_not_fit_are_refused(tmp_path):
    sink = sink_at(tmp_path / "risk.tif")
    sink.todo()
    for tile, shape in ((sink.tiles[0], (3, 4)), (Tile(row=1, col=0, n_rows=5, n_cols=5), (5, 5))):
        with pytest.raises(OutputError, match=r"values do not fit Tile.*Give the tiles that the sink asks for"):
            sink.write(tile, np.zeros(shape, dtype=np.float32))


def test_an_unknown_packing_is_refused(tmp_path):
    with pytest.raises(OutputError, match="packing 'rar' is not one of deflate, zstd, none"):
        sink_at(tmp_path / "risk.tif", packing="rar")


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match=r"risk.tif could not be written.*Free the disk"):
        sink_at(tmp_path / "nowhere" / "risk.tif").todo()


def test_an_old_raster_stays_until_the_new_one_is_whole(tmp_path):
    path = tmp_path / "risk.tif"
    path.write_bytes(b"old")
    sink = sink_at(path)
    fill(sink)
    assert path.read_bytes() == b"old"
    sink.finish()
    np.testing.assert_array_equal(overview(path, 0), VALUES)


def test_several_rasters_are_made_of_the_same_values(tmp_path, raster):
    both = SeveralSinks(sinks=(sink_at(tmp_path / "risk.tif"), sink_at(tmp_path / "class.tif", breaks=BREAKS)))
    both.sinks[0].todo()
    both.sinks[0].write(both.tiles[0], cut(VALUES, both.tiles[0]))
    before = (both.sinks[0].folder / "0_0.tile").stat().st_mtime_ns
    assert fill(both) == both.tiles
    assert (both.sinks[0].folder / "0_0.tile").stat().st_mtime_ns == before
    assert both.finish()[0].read_bytes() == raster.read_bytes()
    assert both.waiting == ()
    assert both.todo() == ()


def test_a_coarse_surface_is_the_overview_that_fits(tmp_path, raster):
    sink = sink_at(raster)
    for most, level in ((10_000, 0), (2100, 1), (600, 3), (10, 4)):
        coarse = sink.coarse(most)
        np.testing.assert_array_equal(coarse.values, overview(raster, level))
        assert coarse.grid.cell_m == 2.0 * 2**level
        assert (coarse.grid.west, coarse.grid.north) == (GRID.west, GRID.north)


def test_a_sink_is_small_and_can_be_sent_to_a_worker(tmp_path):
    sink = sink_at(tmp_path / "risk.tif")
    sent = pickle.dumps(sink)
    assert len(sent) < 3000
    sink.todo()
    for tile in sink.tiles:
        pickle.loads(sent).write(tile, cut(VALUES, tile))
    assert sink.todo() == ()


def most_memory(tmp_path, rows):
    """Return the most memory that arrays took while a raster of some rows of tiles was made [bytes]."""
    sink = sink_at(tmp_path / f"{rows}.tif", grid=replace(GRID, n_rows=rows * TILE, n_cols=TILE))
    tracemalloc.start()
    for tile in sink.todo():
        sink.write(tile, np.full(tile.shape, tile.row + 1, dtype=np.float32))
    sink.finish()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_does_not_grow_with_the_map(tmp_path):
    assert most_memory(tmp_path, 8) < 1.1 * most_memory(tmp_path, 2)


@pytest.mark.parametrize("wind", ["still", "bent"])
def test_streamed_values_are_those_in_memory(tmp_path, wind):
    # to the last bit: the same mesh, the same cuts; 2 m cells, sources in and outside the map
    grid = Grid(west=0.0, north=2.0 * 2300, cell_m=2.0, n_rows=2300, n_cols=2100)
    sources, law = awkward_sources(4000.0, count=60), law_in(wind, WALD, 4000.0)
    memory = pressure_on_grid(grid, sources, law, ONE, settings=FAST)
    sinks = [sink_at(tmp_path / f"{name}.tif", grid=grid) for name in ("one", "two")]
    for sink, engine in zip(sinks, (ONE, TWO), strict=True):
        done = pressure_tiles(grid, sources, law, engine, sink, settings=FAST, unit_per_m2=1e-4)
        assert (done.method, done.tiles_computed, done.tiles) == ("fast", 4, 4)
        assert done.error_bound == memory.error_bound
        sink.finish()
    np.testing.assert_array_equal(overview(sinks[0].path, 0), (memory.values / 1e-4).astype(np.float32))
    assert sinks[0].path.read_bytes() == sinks[1].path.read_bytes()
