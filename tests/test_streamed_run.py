"""Whole runs whose rasters are written tile by tile: what is delivered, and what a killed run leaves for the next."""

import json
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from generator import make_project, write_project_files

from spreadmap import pipeline, pipeline_system
from spreadmap.engine import Engine
from spreadmap.errors import OutputError
from spreadmap.io.streamed import RasterStore, put_in_place
from spreadmap.pipeline import analyse, run_project
from spreadmap.values.settings import GridSettings, Settings

ONE = Engine(workers=1)
RASTERS = ("risk", "risk_without_reservoirs", "risk_class")
STREAM = "\n[settings.grid]\nstream_above_cells = 0\ncell_m = 1.0\n"
WHOLE = "\n[settings.grid]\ncell_m = 1.0\n"


def project_in(folder, more):
    return write_project_files(folder, make_project(plants=120, confirmed=8, seed=2), more)


def band_of(folder, name):
    with rasterio.open(folder / "rose_rosette" / f"{name}.tif") as file:
        return file.read(1), file.profile | {"nodata": str(file.nodata)}, file.tags()


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Return the same project run in memory and tile by tile, and what the second one said."""
    folder, said = tmp_path_factory.mktemp("runs"), []
    whole = run_project(project_in(folder / "whole", WHOLE))
    streamed = run_project(project_in(folder / "streamed", STREAM), progress=said.append)
    return whole.folder, streamed.folder, said


@pytest.mark.parametrize("name", RASTERS)
def test_a_streamed_raster_is_the_one_from_memory(runs, name):
    (expected, profile, tags), (found, streamed_profile, streamed_tags) = (band_of(run, name) for run in runs[:2])
    assert streamed_profile == profile
    assert streamed_tags == tags
    if name == "risk_class":
        assert (found != expected).mean() < 1e-3
    else:
        # two sums of pairs, each within 3e-4
        np.testing.assert_allclose(found, expected, rtol=6e-4, atol=1e-12 * expected.max())


def test_the_delivery_names_the_same_files_and_the_same_cells(runs):
    names = [{path.relative_to(run).as_posix() for path in run.rglob("*")} for run in runs[:2]]
    assert names[0] == names[1]
    assert '<gco:Distance uom="m">1</gco:Distance>' in (runs[1] / "metadata.xml").read_text(encoding="utf-8")
    said = json.loads((runs[1] / "manifest.json").read_text(encoding="utf-8"))
    assert {f"rose_rosette/{name}.tif" for name in RASTERS} <= {product["path"] for product in said["products"]}


def test_progress_is_told_and_nothing_is_left_beside_the_runs(runs):
    assert any(line.startswith("risk: ") and line.endswith("tiles") for line in runs[2])
    assert not (runs[1].parent / ".tiles").exists()


def test_a_run_after_one_that_failed_late_computes_no_tile_again(tmp_path, monkeypatch, runs):
    project = project_in(tmp_path / "town", STREAM)

    def disk_full(*_, **__):
        msg = "the disk is full"
        raise OutputError(msg)

    with monkeypatch.context() as patch:
        patch.setattr(pipeline, "write_delivery", disk_full)
        with pytest.raises(OutputError, match="the disk is full"):
            run_project(project)
    made = list((project / "runs" / ".tiles").rglob("*.tif"))
    assert {path.stem for path in made} == set(RASTERS)
    with monkeypatch.context() as patch:
        patch.setattr(pipeline_system, "pressure_tiles", lambda *_, **__: 1 / 0)
        delivery = run_project(project)
    for name in RASTERS:
        assert (delivery.folder / "rose_rosette" / f"{name}.tif").read_bytes() == (
            runs[1] / "rose_rosette" / f"{name}.tif"
        ).read_bytes()
    assert not (project / "runs" / ".tiles").exists()


def test_rounding_is_told_whether_streamed_or_not(tmp_path, runs):
    for name, start in (("whole", WHOLE), ("streamed", STREAM)):
        delivery = run_project(project_in(tmp_path / name, f"{start}mantissa_bits = 10\n"))
        found, _, tags = band_of(delivery.folder, "risk")
        assert "10 bits; relative error 0.000488" in tags["ROUNDING"]
        expected = band_of(runs[0 if name == "whole" else 1], "risk")[0]
        np.testing.assert_allclose(found, expected, rtol=2**-11)


def test_tenths_are_told_once(tmp_path):
    said = []
    tell = RasterStore(project=tmp_path, crs="EPSG:25832", mantissa_bits=23, hear=said.append).progress("risk")
    for done in range(1, 401):
        tell(done, 400)
    assert len(said) == 11
    assert said[-1] == "risk: 400 of 400 tiles"


def test_a_raster_is_copied_where_the_disk_knows_no_second_names(tmp_path, monkeypatch):
    (tmp_path / "made.tif").write_bytes(b"raster")
    monkeypatch.setattr("os.link", lambda *_: (_ for _ in ()).throw(OSError("no links")))
    assert put_in_place(tmp_path / "made.tif", tmp_path / "there.tif").read_bytes() == b"raster"
    with pytest.raises(OutputError, match=r"there.tif could not be written"):
        put_in_place(tmp_path / "made.tif", tmp_path / "nowhere" / "there.tif")


def test_plants_with_wild_stands_and_plants_alone_are_two_maps(tmp_path):
    project = make_project(plants=120, confirmed=8, seed=2)
    grid = GridSettings(stream_above_cells=0, cell_m=1.0)
    store = RasterStore(project=tmp_path, crs=project.crs, mantissa_bits=23)
    (tmp_path / "runs").mkdir()
    (streamed,) = analyse(project, Settings(grid=grid), ONE, store).systems
    (memory,) = analyse(project, Settings(grid=replace(grid, stream_above_cells=10**9)), ONE, store).systems
    assert streamed.raster_grid == streamed.cells == memory.cells == memory.surface.grid
    assert memory.raster_grid is None
    assert set(store.files) == {f"rose_rosette/{name}.tif" for name in RASTERS}
    alone, both = memory.surface_without_reservoirs, memory.surface
    assert (both.values > 1.5 * alone.values).any()
    for name, expected in (("risk", both), ("risk_without_reservoirs", alone)):
        with rasterio.open(store.files[f"rose_rosette/{name}.tif"]) as file:
            # two sums of pairs, each within 3e-4
            top = expected.values.max()
            np.testing.assert_allclose(file.read(1), expected.values, rtol=6e-4, atol=1e-12 * top)
    # a map of few cells is its own overview
    np.testing.assert_allclose(streamed.surface.values, both.values, rtol=6e-4, atol=1e-12 * both.values.max())
