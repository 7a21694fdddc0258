"""A plants layer that went out comes in again as the inventory of a project, whole: what was not assessed stays so."""

from dataclasses import replace

import numpy as np
import pytest
from made_results import AS_OF, CRS, made_result

from spreadmap.io.desk import coded, named, placed
from spreadmap.io.faults import FaultBook
from spreadmap.io.layers import system_layers
from spreadmap.io.project_file import COLUMNS, FileBlock, InventoryBlock
from spreadmap.io.read_crs import working_crs
from spreadmap.io.read_inventory import NOT_DELIVERED, read_inventory
from spreadmap.io.read_rows import CODED, Rows
from spreadmap.io.read_tables import read_table
from spreadmap.io.short_names import LAYERS, NOT_ASSESSED, Kind
from spreadmap.io.table import table_from_records
from spreadmap.io.write_parquet import write_geoparquet
from spreadmap.io.write_tables import write_layer_csv
from spreadmap.io.write_vector import write_geopackage, write_shapefile
from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.settings import Settings

COORDINATES_OF_TABLES_M = 0.02
"""Degrees of seven places are written to a hundredth of a metre; coordinates in feet to a thousandth."""


@pytest.fixture(scope="module")
def delivered():
    result = made_result()
    layers = {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}
    return layers["plants"], result.inputs.inventory


def read(path, **keys):
    book = FaultBook()
    block = InventoryBlock(file=path.name, **keys)
    inventory = read_inventory([block], [path], working_crs(CRS), Settings(), book)
    book.raise_if_stopped()
    return inventory, book


def assert_whole(back, first, within_m=0.0):
    for name in ("plant_id", "host", "size_class", "bed_id", "site_id", "owner", "note", "is_synthetic"):
        assert getattr(back, name).tolist() == getattr(first, name).tolist(), name
    away = np.hypot(back.easting - first.easting, back.northing - first.northing)
    assert away.max() <= within_m
    # what is synthetic has no precision, whatever stood in the cell
    known = np.where(first.is_synthetic, np.nan, first.position_precision_m)
    np.testing.assert_array_equal(back.position_precision_m, known)


LACKING_TOLD = "is a layer of an earlier delivery; it has no susceptibility, planted_on, source_batch"
CODES_TOLD = "10 cells hold -9999, the code of our own layers"
"""Of the thirty plants ten have no precision on record."""


def test_the_layer_of_a_geopackage_comes_back(tmp_path, delivered):
    layer, first = delivered
    back, book = read(write_geopackage(tmp_path / "town.gpkg", [layer], {}, AS_OF), layer="plants")
    assert_whole(back, first)
    assert [(each.weight, each.column, each.found) for each in book.faults] == [
        ("assumed", "", LACKING_TOLD),
        ("assumed", "position_precision_m", CODES_TOLD),
    ]


def test_a_shapefile_comes_back_by_its_short_names(tmp_path, delivered):
    layer, first = delivered
    write_shapefile(tmp_path, layer, AS_OF)
    back, book = read(tmp_path / "plants.shp")
    assert_whole(back, first)
    assert [(each.weight, each.column, each.found) for each in book.faults] == [
        ("assumed", "", LACKING_TOLD),
        ("assumed", "", "is a layer of an earlier delivery with its short names"),
        ("assumed", "precis_m", CODES_TOLD),
    ]
    assert book.faults[1].remedy == (
        "Taken: 'size' as size_class, 'synthetic' as is_synthetic, 'precis_m' as position_precision_m."
    )


def test_a_shapefile_in_the_desks_own_names_and_codes_comes_back_by_a_mapping(tmp_path, delivered):
    layer, first = delivered
    desk = DeliverySettings(
        crs="EPSG:25832",
        short_names={"plant_id": "ROSE_NO", "size_class": "SIZE_CL"},
        domains={"size_class": {"S": "1", "M": "2", "L": "3", "XL": "4"}},
    )
    write_shapefile(tmp_path, coded(named(placed(layer, desk), desk), desk), AS_OF)
    columns = {"plant_id": "ROSE_NO", "size_class": "SIZE_CL"}
    back, _ = read(tmp_path / "plants.shp", columns=columns, words={"1": "S", "2": "M", "3": "L", "4": "XL"})
    assert_whole(back, first, within_m=0.001)


@pytest.mark.parametrize("crs", ["EPSG:4326", CRS])
def test_of_the_two_pairs_of_coordinates_in_a_table_the_crs_says_which_is_meant(tmp_path, delivered, crs):
    layer, first = delivered
    back, book = read(write_layer_csv(tmp_path / "plants.csv", layer), crs=crs)
    assert_whole(back, first, within_m=COORDINATES_OF_TABLES_M)
    assert [each.found for each in book.faults] == [LACKING_TOLD]  # a table leaves the cell empty


def test_texts_that_begin_like_formulas_come_back_without_their_guard(tmp_path, delivered):
    layer, first = delivered
    texts = np.array(
        [f"{sign}{number}" for number in range(5) for sign in ("=", "+1 ", "-", "@", "'=", "'")], dtype=object
    )
    names = ("plant_id", "bed_id", "note")
    path = write_layer_csv(tmp_path / "plants.csv", replace(layer, columns=layer.columns | dict.fromkeys(names, texts)))
    assert "'=0" in path.read_text(encoding="utf-8")
    back, _ = read(path, crs=CRS)
    assert_whole(back, replace(first, **dict.fromkeys(names, texts)), within_m=COORDINATES_OF_TABLES_M)


@pytest.mark.parametrize("ending", ["csv", "gpkg", "shp", "parquet"])
def test_only_text_has_a_guard_that_is_taken_off(tmp_path, delivered, ending):
    layer = replace(delivered[0], columns=delivered[0].columns | {"note": np.full(30, "'-5 cm", dtype=object)})
    path = tmp_path / f"plants.{ending}"
    if ending == "csv":
        write_layer_csv(path, layer)
    elif ending == "gpkg":
        write_geopackage(path, [layer], {}, AS_OF)
    elif ending == "shp":
        write_shapefile(tmp_path, layer, AS_OF)
    else:
        pytest.importorskip("pyarrow")
        write_geoparquet(path, layer)
    # as surveys, work log and decisions are read: without shapes
    block, book = FileBlock(file=path.name), FaultBook()
    rows = Rows(read_table(path, path.name, block, book, shapes=False), block, book)
    assert rows.is_ours
    assert set(rows.cells("note")) == {"'-5 cm"}


def rows_of(header, *cells):
    book = FaultBook()
    return Rows(table_from_records([header, *cells], "a.csv", book), FileBlock(file="a.csv"), book)


CODED_INPUTS = sorted(CODED & {name for names in COLUMNS.values() for name in names})


def test_what_our_layers_do_not_hold_is_known():
    plants = {column.name for column in LAYERS["plants"]}
    places = {"easting", "northing", "longitude", "latitude"}
    from_size = {"height_m", "spread_m"}  # the size class stands for these
    assert set(COLUMNS["inventory"]) - plants - places - from_size - {"count"} == set(NOT_DELIVERED)


def test_the_columns_with_a_code_are_those_of_the_layers():
    numbers = {column.name for columns in LAYERS.values() for column in columns
               if column.kind in (Kind.NUMBER, Kind.WHOLE) and column.missing != "never missing"}  # fmt: skip
    assert numbers == CODED
    assert CODED_INPUTS == ["position_precision_m"]


@pytest.mark.parametrize("name", CODED_INPUTS)
@pytest.mark.parametrize("cell", ["-9999", "-9999.0", "-9999.000000000000000", "-9.999e3"])
def test_our_code_is_a_blank_cell_however_it_is_written(name, cell):
    rows = rows_of([name], [cell], ["2"], ["-9998"])
    assert rows.number(name, np.nan, 0, 100).tolist()[1] == 2
    assert np.isnan(rows.number(name, np.nan, 0, 100)[0])
    assert rows.kept().tolist() == [True, True, False]
    rows.finish(1.0)
    assert [fault.found for fault in rows.book.faults] == [
        f"1 cells hold {NOT_ASSESSED}, the code of our own layers", "'-9998'"
    ]  # fmt: skip


def test_the_code_means_nothing_in_a_column_of_others():
    rows = rows_of(["susceptibility"], ["-9999"], ["1"])
    rows.number("susceptibility", 1.0, 0, 100)
    assert rows.kept().tolist() == [False, True]


def test_short_names_mean_nothing_in_a_table_of_others():
    # a column "size" of any other maker holds what it likes
    rows = rows_of(["plant_id", "size", "system"], ["1", "12 in", "x"])
    assert rows.word("size_class", ["S", "M"]).tolist() == [""]
    assert rows.kept().all()


def test_a_quote_in_a_table_of_others_is_a_part_of_the_text():
    assert rows_of(["plant_id", "note"], ["1", "'-5 cm"]).cells("note") == ["'-5 cm"]
