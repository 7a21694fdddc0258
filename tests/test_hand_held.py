"""KML and GPX: read back in degrees by another GDAL, without a word about people."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely
from made_results import HOSTILE_TEXTS, PLANTS, made_result, without_findings

from spreadmap.errors import OutputError
from spreadmap.io.hand_held import in_walking_order, write_gpx, write_kml
from spreadmap.io.layers import clean_text, system_layers
from spreadmap.io.web_geometry import in_degrees

GPX = "{http://www.topografix.com/GPX/1/1}"


def layers_of(result):
    return {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}


def private_result():
    """A result in which every word about people can be told from all others."""
    made = made_result(reason="Touches two.")
    inventory = replace(
        made.inputs.inventory,
        owner=np.array([f"OWNER{row}Z" for row in range(PLANTS)], dtype=object),
        note=np.array([f"NOTE{row}Z" for row in range(PLANTS)], dtype=object),
    )
    system = made.systems[0]
    removal = replace(
        system.plan.removal, decision_reason=np.array(["REASONZ"] * len(system.plan.removal), dtype=object)
    )
    rings = tuple(replace(ring, owners_inside=("OWNERZ",), sites_inside=("SITEZ",), parcels_inside=("PARCELZ",))
                  for ring in system.zones.rings)  # fmt: skip
    system = replace(system, plan=replace(system.plan, removal=removal), zones=replace(system.zones, rings=rings))
    return replace(made, inputs=replace(made.inputs, inventory=inventory), systems=(system,))


def test_no_word_about_people_leaves_the_desk(tmp_path):
    for layer in layers_of(private_result()).values():
        paths = [write_kml(tmp_path / f"{layer.name}.kml", layer)]
        if layer.name.endswith("list"):
            paths.append(tmp_path / f"{layer.name}.gpx")
            write_gpx(paths[-1], layer)
        for path in paths:
            text = path.read_text(encoding="utf-8")
            assert "rose_rosette" in text or path.suffix == ".gpx"
            for word in ("OWNER", "NOTE", "REASONZ", "SITEZ", "PARCELZ"):
                assert word not in text, f"{word} in {path.name}"


@pytest.mark.parametrize("name", ["removal_list", "inspection_list", "zones", "zone_ranges", "plants"])
def test_a_kml_reads_back_in_degrees_with_keys_as_names(tmp_path, name):
    layer = layers_of(made_result(HOSTILE_TEXTS))[name]
    path = write_kml(tmp_path / f"{name}.kml", layer)
    meta, _, wkb, _ = pyogrio.raw.read(path)
    assert meta["crs"] == "EPSG:4326"
    places = shapely.force_2d(shapely.from_wkb(wkb))
    wanted = in_degrees(layer.geometry, layer.crs)
    assert len(places) == len(wanted)
    assert np.abs(shapely.get_coordinates(places) - shapely.get_coordinates(wanted)).max() < 1e-7
    spaces = {"k": "http://www.opengis.net/kml/2.2"}
    names = [each.text for each in ET.parse(path).getroot().findall(".//k:Placemark/k:name", spaces)]
    first = [str(word) for word in layer.columns[layer.spec[0].name]]
    assert names == first


def test_a_gpx_holds_the_walk_in_its_order(tmp_path):
    layer = layers_of(made_result())["inspection_list"]
    path = tmp_path / "walk.gpx"
    count = write_gpx(path, layer)
    points = ET.parse(path).getroot().findall(f"{GPX}wpt")
    walked = in_walking_order(layer)
    assert count == len(points) == int((layer.columns["walk_order"] > 0).sum()) < len(layer)
    assert [point.findtext(f"{GPX}name") for point in points] == walked.columns["plant_id"].tolist()
    assert points[0].findtext(f"{GPX}desc").startswith("walk order 1; rank ")
    wanted = shapely.get_coordinates(in_degrees(walked.geometry, walked.crs))
    found = np.array([[float(point.get("lon")), float(point.get("lat"))] for point in points])
    np.testing.assert_allclose(found, wanted, atol=1e-8)


def test_a_gpx_says_what_its_numbers_hold_for(tmp_path):
    path = tmp_path / "x.gpx"
    write_gpx(path, layers_of(made_result())["removal_list"])
    about = ET.parse(path).getroot().findtext(f"{GPX}metadata/{GPX}desc")
    for said in (
        "Relative infection pressure",
        "relative mode",
        "state of 2026-09-14",
        "valid until 2026-10-12",
        "nothing",
    ):
        assert said in about


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_keys_and_hosts_stay_text(tmp_path, text):
    layer = layers_of(made_result())["removal_list"]
    hosts = np.full(len(layer), clean_text(text), dtype=object)
    layer = replace(layer, columns=layer.columns | {"plant_id": hosts, "host": hosts})
    path = tmp_path / "x.gpx"
    write_gpx(path, layer)
    point = ET.parse(path).getroot().find(f"{GPX}wpt")
    assert point.findtext(f"{GPX}name") == clean_text(text)
    assert f"host {clean_text(text)}" in point.findtext(f"{GPX}desc")
    kml = ET.parse(write_kml(tmp_path / "x.kml", layer)).getroot()
    names = [each.text for each in kml.iter("{http://www.opengis.net/kml/2.2}name")]
    assert clean_text(text) in names


def test_lists_without_a_row_are_files_without_a_place(tmp_path):
    layer = layers_of(without_findings(made_result()))["removal_list"]
    path = tmp_path / "x.gpx"
    assert write_gpx(path, layer) == 0
    assert ET.parse(path).getroot().findall(f"{GPX}wpt") == []
    assert pyogrio.read_info(write_kml(tmp_path / "x.kml", layer), force_feature_count=True)["features"] == 0


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    layer = layers_of(made_result())["removal_list"]
    for write, end in ((write_kml, "kml"), (write_gpx, "gpx")):
        with pytest.raises(OutputError, match=rf"x\.{end}.*could not be written"):
            write(tmp_path / "nowhere" / f"x.{end}", layer)
