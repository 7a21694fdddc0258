"""The public layer: blocks only, and not one private word in any of its files."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely
from made_results import AS_OF, CONFIRMED, HOSTILE_TEXTS, PLANTS, made_result, made_surface, without_findings

from spreadmap.io.public import (
    BLOCK_M,
    FEWEST_HOSTS,
    NOT_STATED,
    band,
    block_layer,
    block_surface,
    on_public_ground,
    write_public,
)
from spreadmap.io.short_names import NOT_ASSESSED
from spreadmap.values.grid import Surface

PRIVATE = 6
"""Plants of the made result that stand on private ground: the last six."""


def marked(result):
    """The same result with keys that cannot occur in a file by accident."""
    inventory = result.inputs.inventory
    named = replace(
        inventory,
        plant_id=np.array([f"KEY{number:03d}Z" for number in range(PLANTS)], dtype=object),
        bed_id=np.array([f"BED{number % 4}Z" for number in range(PLANTS)], dtype=object),
        owner=np.array([f"OWNER{number % 3}Z" for number in range(PLANTS)], dtype=object),
        note=np.array([*HOSTILE_TEXTS, *[f"NOTE{number}Z" for number in range(PLANTS - 10)]], dtype=object),
    )
    return replace(result, inputs=replace(result.inputs, inventory=named))


def private_words(result):
    inventory, sites = result.inputs.inventory, result.inputs.sites
    columns = (inventory.plant_id, inventory.bed_id, inventory.owner, inventory.note, sites.owner, sites.name,
               sites.access, result.inputs.surveys.observer)  # fmt: skip
    words = {str(word) for column in columns for word in column if str(word).strip()}
    # the city's own name says nothing about anybody; it also stands in "hosts in the city"
    return words - {"city"}


def test_no_private_word_in_any_public_file(tmp_path):
    result = marked(made_result(reason="REASONZ"))
    files = write_public(tmp_path, block_layer(result.systems, result.inputs), AS_OF)
    words = {*private_words(result), "REASONZ", "market", "yard"}
    assert len(words) > PLANTS
    assert {path.suffix for path in files} >= {".shp", ".dbf", ".gpkg", ".geojson", ".sld", ".qml"}
    for path in files:
        content = path.read_bytes()
        for word in words:
            assert word.encode() not in content, (path.name, word)
            assert json.dumps(word)[1:-1].encode() not in content, (path.name, word)


def test_private_ground_is_not_counted():
    result = made_result()
    layer = block_layer(result.systems, result.inputs)
    assert layer.columns["host_plants"].sum() == PLANTS - PRIVATE
    # of six confirmed plants, number 28 stands in the private yard
    assert layer.columns["confirmed"].tolist() == ["5-19"]
    assert len([plant for plant in CONFIRMED if plant < PLANTS - PRIVATE]) == 5


def test_a_plant_inside_a_private_polygon_is_private_even_without_a_key():
    result = made_result()
    inventory = replace(result.inputs.inventory, site_id=np.full(PLANTS, "", dtype=object))
    public = on_public_ground(replace(result.inputs, inventory=inventory))
    assert public.tolist() == [True] * (PLANTS - PRIVATE) + [False] * PRIVATE


def test_a_plant_of_a_private_site_is_private_even_outside_its_polygon():
    result = made_result()
    moved = replace(result.inputs.inventory, easting=result.inputs.inventory.easting + 10_000)
    public = on_public_ground(replace(result.inputs, inventory=moved))
    assert public.tolist() == [True] * (PLANTS - PRIVATE) + [False] * PRIVATE


def test_blocks_lie_on_whole_multiples_of_their_side():
    result = made_result()
    spread_out = replace(result.inputs.inventory, easting=565_000.0 + 37.0 * np.arange(PLANTS))
    layer = block_layer(result.systems, replace(result.inputs, inventory=spread_out))
    for square in layer.geometry:
        west, south, east, north = square.bounds
        assert (west % BLOCK_M, south % BLOCK_M) == (0, 0)
        assert (east - west, north - south) == (BLOCK_M, BLOCK_M)
    counted = on_public_ground(replace(result.inputs, inventory=spread_out))
    for square, hosts in zip(layer.geometry, layer.columns["host_plants"], strict=True):
        inside = shapely.intersects_xy(square, spread_out.easting, spread_out.northing)
        edge = (spread_out.easting == square.bounds[2]) | (spread_out.northing == square.bounds[3])
        assert hosts == (inside & ~edge & counted).sum()


@pytest.mark.parametrize(
    ("count", "word"), [(0, "none"), (1, "1-4"), (4, "1-4"), (5, "5-19"), (19, "5-19"), (20, "20+")]
)
def test_confirmed_plants_are_counted_in_bands(count, word):
    assert band(count) == word


def test_pressure_is_the_class_of_the_mean_over_candidates():
    result = made_result()
    system = result.systems[0]
    public = on_public_ground(result.inputs)
    known = public & np.isfinite(system.hidden.relative_exposure)
    mean = system.hidden.relative_exposure[known].mean()
    (level,) = block_layer(result.systems, result.inputs).columns["pressure_class"]
    assert level == 1 + sum(limit <= mean for limit in system.breaks)


def test_a_block_without_candidates_is_not_assessed():
    result = made_result()
    system = result.systems[0]
    hidden = replace(system.hidden, relative_exposure=np.full(PLANTS, np.nan))
    layer = block_layer([replace(system, hidden=hidden)], result.inputs)
    assert layer.columns["pressure_class"].tolist() == [NOT_ASSESSED]


def test_no_mapped_pest_gives_an_empty_layer(tmp_path):
    layer = block_layer([], made_result().inputs)
    assert len(layer) == 0
    write_public(tmp_path, layer, AS_OF)
    assert pyogrio.read_info(tmp_path / "blocks.shp")["features"] == 0
    assert pyogrio.read_info(tmp_path / "blocks.gpkg", layer="blocks")["geometry_type"] == "Polygon"


def test_public_files_hold_the_same_blocks(tmp_path):
    result = without_findings(made_result())
    layer = block_layer(result.systems, result.inputs)
    write_public(tmp_path, layer, AS_OF)
    assert {
        pyogrio.read_info(tmp_path / name, layer="blocks")["features"]
        for name in ("blocks.shp", "blocks.gpkg", "geojson/blocks.geojson")
    } == {1}
    with closing(sqlite3.connect(tmp_path / "blocks.gpkg")) as database:
        assert database.execute("SELECT f_table_name FROM layer_styles").fetchall() == [("blocks",)]
    _, _, _, data = pyogrio.raw.read(tmp_path / "blocks.shp")
    assert "none" in [values[0] for values in data]


def test_the_block_surface_keeps_the_mean_of_each_block():
    result = made_result()
    surface = made_surface(result.inputs)
    coarse = block_surface(surface, without_sites(result.inputs))
    assert coarse.grid.cell_m == BLOCK_M
    west, _, _, north = coarse.grid.region
    inside_col = (surface.grid.easting > west) & (surface.grid.easting < west + BLOCK_M)
    inside_row = (surface.grid.northing < north) & (surface.grid.northing > north - BLOCK_M)
    assert coarse.values[0, 0] == pytest.approx(np.nanmean(surface.values[np.ix_(inside_row, inside_col)]))


def test_a_block_without_values_has_none():
    inputs = made_result().inputs
    surface = made_surface(inputs)
    empty = block_surface(Surface(grid=surface.grid, values=np.full(surface.grid.shape, np.nan)), inputs)
    assert np.isnan(empty.values).all()


def without_sites(inputs):
    """The made inputs as if no ground were private."""
    return replace(inputs, sites=replace(inputs.sites, is_private=np.zeros(len(inputs.sites), dtype=bool)))


def test_the_public_map_says_nothing_of_private_ground():
    result = made_result()
    surface = made_surface(result.inputs)
    shown, every = block_surface(surface, result.inputs), block_surface(surface, without_sites(result.inputs))
    private = ~on_public_ground(result.inputs)
    inventory, grid = result.inputs.inventory, shown.grid
    row = np.floor((grid.north - inventory.northing[private]) / BLOCK_M).astype(int)
    col = np.floor((inventory.easting[private] - grid.west) / BLOCK_M).astype(int)
    assert np.isfinite(every.values[row, col]).all()
    assert np.isnan(shown.values[row, col]).all()
    kept = np.isfinite(shown.values)
    assert (shown.values[kept] == every.values[kept]).all()


def test_a_block_with_few_plants_does_not_say_how_many_are_confirmed():
    result = made_result()
    layer = block_layer(result.systems, result.inputs)
    few = layer.columns["host_plants"] < FEWEST_HOSTS
    assert (layer.columns["confirmed"][few] == NOT_STATED).all()
    assert (layer.columns["confirmed"][~few] != NOT_STATED).all()
