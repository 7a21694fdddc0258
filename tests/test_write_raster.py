"""Surfaces as files and as pictures: values, place, classes, and the same bytes twice."""

import io
import math
import warnings

import numpy as np
import pytest
import rasterio
from made_results import CRS, made_inputs, made_result, made_surface
from PIL import Image
from pyproj import Transformer

from spreadmap.errors import OutputError
from spreadmap.io.styles import CLASS_COLOURS, rgb
from spreadmap.io.write_raster import (
    NO_CLASS,
    face_tags,
    surface_classes,
    transform_of,
    warp_to_web,
    web_classes,
    write_class_raster,
    write_surface,
)
from spreadmap.values.grid import Grid, Surface

BREAKS = (0.02, 0.3, 1.0, 14.0)
TAGS = face_tags(made_result().systems[0].face, "rose_rosette", BREAKS)


@pytest.fixture
def surface():
    return made_surface(made_inputs())


def test_a_surface_reads_back_with_place_unit_and_face(tmp_path, surface):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        write_surface(tmp_path / "risk.tif", surface, CRS, "Relative infection pressure", TAGS)
    with rasterio.open(tmp_path / "risk.tif") as file:
        np.testing.assert_array_equal(file.read(1), surface.values.astype(np.float32))
        assert file.dtypes == ("float32",)
        assert math.isnan(file.nodata)
        assert file.crs.to_epsg() == 25832
        assert file.bounds == (surface.grid.region[0], surface.grid.region[2], *surface.grid.region[1::2])
        assert file.units == ("1 = one confirmed medium plant, still air, 10 m away",)
        assert file.descriptions == ("Relative infection pressure",)
        tags = file.tags()
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
    assert tags["PERIOD"] == "2026-09-14/2026-10-12"
    assert [float(value) for value in tags["BREAKS"].split()] == list(BREAKS)
    assert (tags["CONDITION"], tags["MODE"]) == ("if nothing is done", "relative")
    assert (tags["AS_OF"], tags["VALID_UNTIL"]) == ("2026-09-14", "2026-10-12")


def test_classes_read_back_with_their_colours(tmp_path, surface):
    write_class_raster(tmp_path / "risk_class.tif", surface, BREAKS, CRS, "class", TAGS)
    with rasterio.open(tmp_path / "risk_class.tif") as file:
        np.testing.assert_array_equal(file.read(1), surface_classes(surface.values, BREAKS))
        assert file.nodata == NO_CLASS
        colours = file.colormap(1)
    assert [colours[number + 1][:3] for number in range(5)] == [rgb(colour) for colour in CLASS_COLOURS]


def test_overviews_average_values_and_keep_the_commonest_class(tmp_path):
    # 1024 cells a side in blocks of 2 x 2: three of class 1, one of class 3
    values = np.zeros((1024, 1024))
    values[1::2, 1::2] = 0.5
    large = Surface(grid=Grid(west=0, north=2048, cell_m=2.0, n_rows=1024, n_cols=1024), values=values)
    write_surface(tmp_path / "risk.tif", large, CRS, "x", TAGS)
    write_class_raster(tmp_path / "class.tif", large, BREAKS, CRS, "x", TAGS)
    with rasterio.open(tmp_path / "risk.tif") as file:
        assert file.overviews(1) == [2]
        np.testing.assert_allclose(file.read(1, out_shape=(512, 512)), 0.125)
    with rasterio.open(tmp_path / "class.tif") as file:
        assert set(np.unique(file.read(1, out_shape=(512, 512)))) == {1}


def test_the_same_surface_gives_the_same_bytes(tmp_path, surface):
    for name in ("one", "two"):
        write_surface(tmp_path / f"{name}.tif", surface, CRS, "x", TAGS)
        write_class_raster(tmp_path / f"{name}_class.tif", surface, BREAKS, CRS, "x", TAGS)
    assert (tmp_path / "one.tif").read_bytes() == (tmp_path / "two.tif").read_bytes()
    assert (tmp_path / "one_class.tif").read_bytes() == (tmp_path / "two_class.tif").read_bytes()
    assert warp_to_web(surface, CRS, BREAKS) == warp_to_web(surface, CRS, BREAKS)


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path, surface):
    with pytest.raises(OutputError, match=r"risk.tif could not be written"):
        write_surface(tmp_path / "nowhere" / "risk.tif", surface, CRS, "x", TAGS)


def test_no_value_is_no_class_and_a_value_on_a_break_is_in_the_class_above():
    values = np.array([np.nan, 0.0, 0.02, 0.3, 14.0, 1e9])
    assert surface_classes(values, BREAKS).tolist() == [NO_CLASS, 1, 2, 3, 5, 5]


def picture(web):
    with Image.open(io.BytesIO(web.png)) as image:
        assert image.mode == "P"
        clear = image.info["transparency"]
        return np.array(image), np.array(image.convert("RGBA")), clear


def test_a_picture_lies_where_its_surface_lies():
    # one high cell far from the middle of a 10 km grid: at most a pixel and a half off after the change of projection
    grid = Grid(west=560_000.0, north=5_940_000.0, cell_m=20.0, n_rows=500, n_cols=500)
    values = np.zeros(grid.shape)
    values[460:463, 30:33] = 100.0
    web = warp_to_web(Surface(grid=grid, values=values), CRS, (50.0,))
    index, _, _ = picture(web)
    rows, cols = np.nonzero(index == 2)
    to_web = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    (left, right), (bottom, top) = to_web.transform([web.west, web.east], [web.south, web.north])
    east = left + (cols.mean() + 0.5) / index.shape[1] * (right - left)
    north = top - (rows.mean() + 0.5) / index.shape[0] * (top - bottom)
    back = Transformer.from_crs("EPSG:3857", CRS, always_xy=True).transform(east, north)
    assert math.hypot(back[0] - grid.easting[31], back[1] - grid.northing[461]) < 30.0


def test_no_value_and_the_lowest_class_are_clear(surface):
    index, colours, clear = picture(warp_to_web(surface, CRS, BREAKS))
    assert clear[:2] == b"\x00\x00"
    assert (colours[index <= 1][:, 3] == 0).all()
    assert (colours[index >= 2][:, 3] == 255).all()
    assert {tuple(colour[:3]) for colour in colours[index == 5]} == {rgb(CLASS_COLOURS[4])}
    assert {0, 1, 5} <= set(np.unique(index).tolist())


def test_classes_of_a_picture_close_up_without_gap():
    classes = web_classes(BREAKS)
    assert [entry.low for entry in classes] == [0.0, *BREAKS]
    assert [entry.high for entry in classes] == [*BREAKS, math.inf]
    assert [entry.colour for entry in classes] == list(CLASS_COLOURS)


def test_a_large_surface_is_made_coarser_at_the_same_place(surface):
    full, small = warp_to_web(surface, CRS, BREAKS), warp_to_web(surface, CRS, BREAKS, most_side=20)
    index, _, _ = picture(small)
    assert max(index.shape) == 20
    pixel = (full.east - full.west) / 20
    assert abs(full.west - small.west) < pixel
    assert abs(full.east - small.east) < pixel


def test_a_surface_without_any_value_is_a_clear_picture(surface):
    empty = Surface(grid=surface.grid, values=np.full(surface.grid.shape, np.nan))
    index, _, _ = picture(warp_to_web(empty, CRS, BREAKS))
    assert (index == 0).all()


def test_the_first_row_is_the_northernmost(surface):
    assert transform_of(surface.grid) @ (0, 0) == (surface.grid.west, surface.grid.north)
