"""Layers made of a result: every column, in order, in its type, with codes instead of gaps."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from made_results import AS_OF, CONFIRMED, HOSTILE_TEXTS, PLANTS, REMOVED, made_result, without_findings

from spreadmap.io.layers import (
    ACTION,
    RECOMMENDED,
    clean_text,
    make_layer,
    many_polygons,
    pressure_classes,
    system_layers,
)
from spreadmap.io.short_names import FLAGS, LAYERS, NOT_ASSESSED, Kind


def layers_of(result):
    return {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}


@pytest.mark.parametrize("make", [made_result, lambda: without_findings(made_result())])
def test_every_column_has_its_type_and_its_allowed_values(make):
    for name, layer in layers_of(make()).items():
        assert list(layer.columns) == [column.name for column in LAYERS[name]]
        for column in LAYERS[name]:
            values = layer.columns[column.name]
            assert len(values) == len(layer)
            if column.kind is Kind.DATE:
                assert values.dtype == np.dtype("datetime64[D]")
            elif column.kind is Kind.TEXT:
                allowed = {*column.allowed} or {str(value) for value in values}
                assert set(values.tolist()) <= allowed | ({""} if column.missing == "empty text" else set())
            elif column.kind is Kind.FLAG:
                assert set(values.tolist()) <= set(FLAGS)
            else:
                assert np.isfinite(values).all()
                if column.missing == "never missing":
                    assert (values != NOT_ASSESSED).all()


def test_removal_list_keeps_its_order_and_says_whole_plant():
    result = made_result()
    layer = layers_of(result)["removal_list"]
    assert layer.columns["plant_id"].tolist() == [result.inputs.inventory.plant_id[plant] for plant in CONFIRMED]
    assert layer.columns["rank"].tolist() == [1, 2, 3, 4, 5, 6]
    assert set(layer.columns["action"]) == {ACTION}
    assert layer.columns["onward_relative"].tolist() == result.systems[0].plan.removal.onward.tolist()
    assert [shape.x for shape in layer.geometry] == result.inputs.inventory.easting[list(CONFIRMED)].tolist()


def test_regrowth_checks_and_bud_break_have_their_own_columns():
    result = made_result()
    layer, given = layers_of(result)["removal_list"], result.systems[0].plan.removal.regrowth_on
    for check in range(4):
        assert (layer.columns[f"regrowth_{check + 1}_on"] == given[:, check]).all()
    assert (layer.columns["bud_break_on"] == given[:, 4]).all()


def test_two_checks_only_leave_the_others_empty():
    result = made_result()
    system = result.systems[0]
    removal = replace(system.plan.removal, regrowth_on=system.plan.removal.regrowth_on[:, [0, 4]])
    few = replace(result, systems=(replace(system, plan=replace(system.plan, removal=removal)),))
    columns = layers_of(few)["removal_list"].columns
    assert (columns["regrowth_1_on"] == removal.regrowth_on[:, 0]).all()
    assert np.isnat(columns["regrowth_2_on"]).all()
    assert (columns["bud_break_on"] == removal.regrowth_on[:, 1]).all()


def test_cautions_name_private_ground_traffic_and_synthetic_positions():
    layer = layers_of(made_result())["removal_list"]
    by_key = dict(zip(layer.columns["plant_id"], layer.columns["cautions"], strict=True))
    assert "Traffic" in by_key["000"]
    assert "synthetic" not in by_key["000"]
    assert "Private ground" in by_key["028"]
    assert "synthetic" in by_key["028"]


def test_synthetic_positions_are_marked_in_every_layer_of_plants():
    result = made_result()
    truth = dict(zip(result.inputs.inventory.plant_id, result.inputs.inventory.is_synthetic, strict=True))
    for name in ("removal_list", "inspection_list", "plants"):
        columns = layers_of(result)[name].columns
        assert {
            key: flag == "Y" for key, flag in zip(columns["plant_id"], columns["is_synthetic"], strict=True)
        }.items() <= truth.items()


def test_a_plant_that_is_no_candidate_has_no_pressure_rather_than_zero():
    columns = layers_of(made_result())["plants"].columns
    for index in range(PLANTS):
        if index in CONFIRMED + REMOVED:
            assert columns["relative_pressure"][index] == NOT_ASSESSED
            assert columns["pressure_class"][index] == NOT_ASSESSED
            assert columns["is_touching"][index] == "U"
        else:
            assert columns["relative_pressure"][index] > 0
            assert columns["pressure_class"][index] >= 1


def test_missing_numbers_and_days_get_their_codes():
    layers = layers_of(made_result())
    assert layers["plants"].columns["position_precision_m"][25] == NOT_ASSESSED
    assert layers["inspection_list"].columns["distance_m"][-1] == NOT_ASSESSED
    found = layers["removal_list"].columns
    assert np.isnat(found["found_on"][CONFIRMED.index(14)])
    assert found["found_on_text"][CONFIRMED.index(14)] == ""
    assert found["found_on_text"][0] == "2026-08-03"


def test_zones_hold_rings_and_lines_core_on_top():
    result = made_result()
    layer = layers_of(result)["zones"]
    assert layer.columns["ring"].tolist() == ["line", "outer", "inner", "core"]
    assert layer.columns["share"].tolist() == [NOT_ASSESSED, 0.99, 0.95, 0.5]
    assert layer.columns["distance_m"].tolist() == [100.0, NOT_ASSESSED, NOT_ASSESSED, NOT_ASSESSED]
    assert set(layer.columns["recommended"]) == {RECOMMENDED}
    assert layer.columns["area_m2"][0] == result.systems[0].zones.lines[0].polygon.area
    assert all(shape.geom_type == "MultiPolygon" for shape in layer.geometry)


def test_face_stands_in_every_row():
    for layer in layers_of(made_result()).values():
        assert set(layer.columns["as_of"]) == {np.datetime64(AS_OF)}
        assert set(layer.columns["valid_until_text"]) == {"2026-10-12"}
        assert set(layer.columns["mode"]) == {"relative"}
        assert set(layer.columns["condition"]) == {"if nothing is done"}


def test_a_value_on_a_break_belongs_to_the_class_above():
    assert pressure_classes(np.array([0.0, 0.99, 1.0, 5.0]), (1.0, 5.0)).tolist() == [1, 1, 2, 3]


def test_empty_shapes_are_dropped_and_counted():
    layer = layers_of(made_result())["zones"]
    shapes = layer.geometry.copy()
    shapes[1] = shapely.MultiPolygon()
    columns = {name: values for name, values in layer.columns.items() if not name.endswith("_text")}
    fewer = make_layer("zones", layer.crs, shapes, columns)
    assert (len(fewer), fewer.dropped) == (3, 1)
    assert fewer.columns["ring"].tolist() == ["line", "inner", "core"]


def test_a_column_that_is_not_in_the_table_is_refused():
    layer = layers_of(made_result())["zones"]
    columns = {name: values for name, values in layer.columns.items() if name != "focus"} | {"colour": "red"}
    with pytest.raises(ValueError, match=r"\['colour'\] are not in its table, \['focus'\] are missing"):
        make_layer("zones", layer.crs, layer.geometry, columns)


def test_a_column_of_another_length_is_refused():
    layer = layers_of(made_result())["zones"]
    with pytest.raises(ValueError, match="column focus has 2 values where 4"):
        make_layer("zones", layer.crs, layer.geometry, layer.columns | {"focus": [1, 2]})


def test_many_polygons_leaves_out_points_and_lines():
    mixed = shapely.GeometryCollection(
        [shapely.box(0, 0, 1, 1), shapely.Point(5, 5), shapely.LineString([(0, 0), (9, 9)])]
    )
    assert many_polygons(mixed).equals(shapely.MultiPolygon([shapely.box(0, 0, 1, 1)]))
    assert many_polygons(shapely.Polygon()).is_empty


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_cleaned_text_has_no_control_character_and_stays_cleaned(text):
    cleaned = clean_text(text)
    assert all(ord(char) >= 32 for char in cleaned)
    assert clean_text(cleaned) == cleaned
    printable = [char for char in text if char.isprintable() and char != " "]
    assert [char for char in cleaned if char.isprintable() and char != " "] == printable
