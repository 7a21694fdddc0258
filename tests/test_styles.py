"""Styles fit their layers, keep to the fixed colours, and never set red beside green."""

import colorsys
import xml.etree.ElementTree as ET

import pytest
from made_results import CRS, made_result

from spreadmap.io.short_names import GEOMETRY, LAYERS
from spreadmap.io.styles import (
    CLASS_COLOURS,
    OGC,
    SE,
    SIGNS,
    class_colours,
    class_words,
    qml_of_layer,
    qml_of_raster,
    rgb,
    sld_of_layer,
    sld_of_raster,
    styled_column,
)
from spreadmap.io.write_raster import warp_to_web

BREAKS = (0.02, 0.3, 1.0, 14.0)


@pytest.mark.parametrize("layer", sorted(SIGNS))
@pytest.mark.parametrize("short", [True, False])
def test_a_style_asks_for_a_field_that_its_layer_has(layer, short):
    fields = {column.short if short else column.name for column in LAYERS[layer]}
    sld = ET.fromstring(sld_of_layer(layer, short=short).split("\n", 1)[1])
    asked = {element.text for element in sld.iter(f"{{{OGC}}}PropertyName")}
    qml = ET.fromstring(qml_of_layer(layer, short=short).split("\n", 1)[1])
    assert asked == {styled_column(layer, short=short)} <= fields
    assert qml.find("renderer-v2").get("attr") in asked


@pytest.mark.parametrize("layer", sorted(SIGNS))
def test_every_allowed_value_has_a_sign_of_its_own(layer):
    column, signs = SIGNS[layer]
    allowed = next(spec.allowed for spec in LAYERS[layer] if spec.name == column)
    values = [sign.value for sign in signs]
    assert len(set(values)) == len(values)
    assert set(allowed) - {"U"} <= set(values)
    qml = ET.fromstring(qml_of_layer(layer).split("\n", 1)[1])
    assert [category.get("value") for category in qml.iter("category")] == values


def test_statuses_differ_in_shape_or_filling_and_not_in_colour_alone():
    looks = {(sign.shape, bool(sign.fill) and sign.fill != "#ffffff") for sign in SIGNS["plants"][1]}
    assert len(looks) == len(SIGNS["plants"][1])


def test_no_green_anywhere():
    # a hue between 80 and 170 degrees with some strength reads as green
    for _, signs in SIGNS.values():
        for colour in {part for sign in signs for part in (sign.fill, sign.line) if part}:
            hue, _, strength = colorsys.rgb_to_hls(*(part / 255 for part in rgb(colour)))
            assert not (80 / 360 < hue < 170 / 360 and strength > 0.2), colour


def test_classes_darken_from_low_to_high():
    light = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in map(rgb, CLASS_COLOURS)]
    assert light == sorted(light, reverse=True)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_the_ends_of_the_ramp_are_kept_for_fewer_classes(count):
    colours = class_colours(count)
    assert (colours[0], colours[-1], len(set(colours))) == (CLASS_COLOURS[0], CLASS_COLOURS[-1], count)


def test_a_surface_is_drawn_between_its_fixed_breaks():
    sld = ET.fromstring(sld_of_raster("risk", BREAKS, is_classed=False).split("\n", 1)[1])
    assert [float(each.text) for each in sld.iter(f"{{{SE}}}Threshold")] == list(BREAKS)
    assert [each.text for each in sld.iter(f"{{{SE}}}Value")] == list(CLASS_COLOURS)


def test_classes_are_drawn_by_their_numbers():
    sld = ET.fromstring(sld_of_raster("risk_class", BREAKS, is_classed=True).split("\n", 1)[1])
    assert [float(each.text) for each in sld.iter(f"{{{SE}}}Threshold")] == [1.5, 2.5, 3.5, 4.5]


@pytest.mark.parametrize("layer", sorted(SIGNS))
def test_areas_are_drawn_as_areas_and_points_as_points(layer):
    sld = ET.fromstring(sld_of_layer(layer).split("\n", 1)[1])
    drawn = {each.tag.rpartition("}")[2] for each in sld.iter() if each.tag.endswith("Symbolizer")}
    is_point = GEOMETRY[layer] == "Point"
    assert drawn == {"PointSymbolizer" if is_point else "PolygonSymbolizer"}
    qml = ET.fromstring(qml_of_layer(layer).split("\n", 1)[1])
    assert {each.get("type") for each in qml.iter("symbol")} == {"marker" if is_point else "fill"}
    assert qml.findtext("layerGeometryType") == ("0" if is_point else "2")


def test_page_and_gis_draw_a_surface_in_the_same_classes():
    # the page's raster, its classes and what a GIS draws: one set of breaks, words and colours
    system = made_result().systems[0]
    page = warp_to_web(system.surface, CRS, system.breaks).classes
    sld = ET.fromstring(sld_of_raster("risk", system.breaks, is_classed=False).split("\n", 1)[1])
    limits = [float(each.text) for each in sld.iter(f"{{{SE}}}Threshold")]
    assert [each.high for each in page[:-1]] == limits == list(system.breaks)
    colours = [each.text for each in sld.iter(f"{{{SE}}}Value")]
    assert [each.colour for each in page] == colours
    items = list(ET.fromstring(qml_of_raster(system.breaks).split("\n", 1)[1]).iter("item"))
    assert [float(each.get("value")) for each in items] == [*system.breaks, float("inf")]
    assert [each.get("color") for each in items] == colours
    assert [each.get("label") for each in items] == list(class_words(len(items)))
