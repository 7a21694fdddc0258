"""Shapes for a browser's map: longitude first, six decimals, the widest below."""

import json

import numpy as np
import pytest
import shapely
from made_results import CRS, HOSTILE_TEXTS, made_inputs, made_result
from pyproj import Transformer
from shapely.geometry import shape
from test_review_browser_views import with_score

from spreadmap.errors import OutputError
from spreadmap.io.web_geometry import in_degrees, place_shapes, to_wgs84, zone_shapes


def test_a_shape_comes_back_from_degrees_within_a_few_decimetres():
    circle = shapely.Point(565_000, 5_934_000).buffer(40)
    found = shape(to_wgs84(circle, CRS))
    back = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    turned = shapely.transform(found, lambda xy: np.column_stack(back.transform(xy[:, 0], xy[:, 1])))
    # simplified by 0.25 m, rounded to 1e-6 degree (0.11 m north, less east)
    assert turned.hausdorff_distance(circle) < 0.5


def test_longitude_comes_first_with_six_decimals():
    found = to_wgs84(shapely.Point(565_000, 5_934_000), CRS)
    longitude, latitude = found["coordinates"]
    assert 9 < longitude < 11
    assert 53 < latitude < 54
    assert (longitude, latitude) == (round(longitude, 6), round(latitude, 6))


def test_shapes_can_be_written_as_json_without_tuples():
    found = to_wgs84(shapely.MultiPolygon([shapely.box(565_000, 5_934_000, 565_010, 5_934_010)]), CRS)
    assert json.loads(json.dumps(found)) == found


def test_nothing_gives_nothing():
    assert len(in_degrees(np.empty(0, dtype=object), CRS)) == 0


def test_a_place_that_has_no_degrees_is_an_output_error():
    with pytest.raises(OutputError, match="has no longitude and latitude in EPSG:25832"):
        to_wgs84(shapely.Point(1e30, 1e30), CRS)


def test_rings_lie_above_lines_and_the_core_on_top():
    shapes = zone_shapes(made_result().systems[0], CRS).shapes
    assert [(item.kind, item.name) for item in shapes] == [
        ("line", "wild hosts, 100 m"), ("ring", "outer"), ("ring", "inner"), ("ring", "core"),
        ("ring_range", "inner"),
    ]  # fmt: skip
    assert [item.properties["focus"] for item in shapes[1:]] == ["1", "1", "1", "1"]
    core, inner = shape(shapes[3].geojson), shape(shapes[2].geojson)
    assert inner.contains(core)
    # the band begins where the smallest inner ring of the scale run ends
    ring, band = made_result().systems[0].zones.rings[1], shape(shapes[4].geojson)
    assert band.bounds == shape(to_wgs84(ring.high, CRS)).bounds
    assert not band.contains(shape(to_wgs84(ring.low, CRS)).centroid)


def test_rings_of_the_last_scored_forecast_lie_on_top_in_their_own_kind():
    result = with_score(made_result())
    assert [(item.kind, item.name) for item in zone_shapes(result.systems[0], CRS).shapes[5:]] == [("old_ring", "core")]


def test_sites_stands_and_screens_are_drawn_with_their_words():
    shapes = place_shapes(made_inputs()).shapes
    assert [(item.kind, item.name) for item in shapes] == [
        ("site", "Market square"), ("site", "Yard of a private owner"), ("reservoir", "wild-1"), ("screen", "hedge-1"),
    ]  # fmt: skip
    assert shapes[1].properties["ground"] == "private"
    assert shapes[3].properties == {"height": "2 m", "lets through": "50 % of arrivals"}


def test_hostile_words_are_passed_on_as_text():
    inputs = made_inputs()
    names = np.array(HOSTILE_TEXTS[3:5], dtype=object)
    object.__setattr__(inputs.sites, "name", names)
    assert [item.name for item in place_shapes(inputs).shapes[:2]] == list(HOSTILE_TEXTS[3:5])
