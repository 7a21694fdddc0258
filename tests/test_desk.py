"""The profile of a GIS desk: refused where it is wrong, laid over layers where it is right, and nothing lost on the way."""

import csv
import re
import sqlite3
import subprocess
import xml.etree.ElementTree as ET
from contextlib import closing
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely
from made_results import AS_OF, CRS, made_inputs, made_result
from pyproj import Transformer
from small_projects import EAST, NORTH, PROJECT, make_project

from spreadmap.errors import CrsError, OutputError, SettingsError
from spreadmap.io.desk import (
    allowed_words,
    check_reaches,
    coded,
    every_column,
    named,
    placed,
    position_unit,
    turning_sentence,
)
from spreadmap.io.dictionary import write_dictionary
from spreadmap.io.layers import system_layers
from spreadmap.io.read_settings import read_settings
from spreadmap.io.short_names import LAYERS
from spreadmap.io.styles import OGC, SIGNS, qml_of_layer, sld_of_layer
from spreadmap.io.write_delivery import write_delivery
from spreadmap.io.write_layers import write_layers
from spreadmap.pipeline import run_project
from spreadmap.values.delivery_settings import DeliverySettings

FEET_IN_A_METRE = 3937 / 1200
"""US survey feet, by definition."""
RINGS = {"core": "1", "inner": "2", "outer": "3", "line": "9"}
STATUSES = {"clean": "C", "suspect": "S", "infected": "I", "removed": "R", "not_found": "F", "not_inspected": "N"}
PROFILE = DeliverySettings(
    formats=("shapefile", "geopackage", "csv", "kml", "gpx"),
    crs="EPSG:25833",
    file_names={"removal_list": "RoseDig", "plants": "RosePlants"},
    short_names={"plant_id": "ASSETID", "within_hours": "THISWEEK", "status": "STAT", "note": "mark"},
    domains={"ring": RINGS, "status": STATUSES},
)


def layers_of(result):
    return {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}


@pytest.fixture(scope="module")
def layers():
    return layers_of(made_result())


@pytest.fixture(scope="module")
def delivered(tmp_path_factory):
    """One delivery for a desk that asks for all but GeoParquet, and the files of its layers by name."""
    folder = tmp_path_factory.mktemp("desk")
    result = made_result()
    write_delivery(folder, replace(result, settings=replace(result.settings, delivery=PROFILE)))
    return folder


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        (
            {"formats": ["shapfile", "csv"]},
            r"formats' = 'shapfile, csv'; allowed: shapefile, .*Did you mean 'shapefile'",
        ),
        ({"formats": []}, "Name at least one"),
        ({"formats": ["csv", "csv"]}, "each once"),
        ({"formats": ["shapefile", "kml"]}, "cuts long texts: add a format"),
        ({"formats": "csv"}, "delivery.formats' = 'csv'"),
        ({"crs": "EPSG:4326"}, "not projected"),
        ({"crs": "EPSG:999999"}, "not known"),
        ({"crs": "https://example.org/crs"}, "not an authority and a code"),
        ({"crs": "+proj=utm +zone=14 +nadgrids=/etc/passwd"}, "not an authority and a code"),
        ({"encoding": "utf-7"}, "UTF-8, CP1252, ISO-8859-1"),
        ({"file_names": {"plant": "x"}}, "file_names.plant' = 'x'.*Did you mean 'plants'"),
        ({"file_names": {"plants": "../x"}}, "letters, digits and _"),
        ({"file_names": {"plants": "2026_plants"}}, "a letter first"),
        ({"file_names": {"plants": "Zones"}}, "a name that no other file has"),
        ({"file_names": {"plants": "risk"}}, "a name that no other file has"),
        ({"file_names": {"plants": "a", "zones": "A"}}, "a name that no other file has"),
        ({"short_names": {"plantid": "x"}}, "Did you mean 'plant_id'"),
        ({"short_names": {"plant_id": "ASSET_NUMBER"}}, "at most 10"),
        ({"short_names": {"plant_id": "ÄSSET"}}, "at most 10"),
        ({"short_names": {"plant_id": "BED_ID"}}, "plant_id and bed_id of removal_list are both 'bed_id'"),
        ({"domains": {"host": {"x": "1"}}}, "Only columns with fixed words have codes"),
        ({"domains": {"ring": {**RINGS, "ring": "4"}}}, "codes 'ring'"),
        ({"domains": {"ring": {"core": "1"}}}, "no code for inner, outer, line"),
        ({"domains": {"ring": {**RINGS, "line": "1"}}}, "one code for two words"),
        ({"domains": {"ring": {**RINGS, "line": ""}}}, "has the code ''"),
        ({"domains": {"ring": {**RINGS, "line": "a\tb"}}}, "has the code 'a b'"),
        ({"domains": {"ring": "1"}}, "delivery.domains"),
        ({"format": ["csv"]}, "Did you mean 'formats'"),
    ],
)
def test_a_wrong_profile_is_refused_with_the_remedy(profile, words):
    with pytest.raises(SettingsError, match=words):
        read_settings({"delivery": profile})


def test_geoparquet_without_its_library_is_refused_before_anything_is_read(monkeypatch):
    monkeypatch.setattr("spreadmap.io.desk.find_spec", lambda name: None)
    with pytest.raises(SettingsError, match=r"pip install 'spreadmap\[parquet\]'"):
        read_settings({"delivery": {"formats": ["geoparquet"]}})


def test_a_good_profile_is_taken_as_it_is():
    given = {
        "formats": list(PROFILE.formats), "crs": PROFILE.crs, "file_names": PROFILE.file_names,
        "short_names": PROFILE.short_names, "domains": PROFILE.domains,
    }  # fmt: skip
    assert read_settings({"delivery": given}).delivery == PROFILE


def test_two_names_may_change_places():
    swapped = {"plants": "zones", "zones": "plants"}
    assert read_settings({"delivery": {"file_names": swapped}}).delivery.file_names == swapped


def test_a_crs_of_another_place_is_refused():
    check_reaches(DeliverySettings(crs="EPSG:2267"), -96.76, 36.84)
    with pytest.raises(CrsError, match="EPSG:2267.*Oklahoma.*not for the place"):
        check_reaches(DeliverySettings(crs="EPSG:2267"), 10.0, 53.5)


def test_positions_in_survey_feet_are_those_of_the_metric_twin_times_the_definition(layers):
    # EPSG:2267 and EPSG:32124 are one projection of one datum, in US survey feet and in metres
    there = Transformer.from_crs("EPSG:4326", "EPSG:32614", always_xy=True)
    layer = replace(
        layers["plants"],
        crs="EPSG:32614",
        geometry=shapely.points([there.transform(-96.76, 36.84)] * len(layers["plants"])),
    )
    feet, metres = (placed(layer, DeliverySettings(crs=code)) for code in ("EPSG:2267", "EPSG:32124"))
    assert feet.crs == "EPSG:2267"
    ratio = shapely.get_coordinates(feet.geometry) / shapely.get_coordinates(metres.geometry)
    np.testing.assert_allclose(ratio, FEET_IN_A_METRE, rtol=1e-10)
    assert position_unit("EPSG:2267") == "US survey foot"
    assert position_unit("EPSG:32124") == "m"


def test_the_way_into_the_crs_of_the_delivery_is_told_with_its_accuracy():
    said = turning_sentence(made_inputs(), DeliverySettings(crs="EPSG:32633"))
    assert "from EPSG:25832 to EPSG:32633 (WGS 84 / UTM zone 33N, unit m)" in said
    assert "stated accuracy 1 m" in said
    assert "rasters stay in EPSG:25832" in said
    assert turning_sentence(made_inputs(), DeliverySettings()) == ""
    assert turning_sentence(made_inputs(), DeliverySettings(crs=CRS)) == ""


def test_words_become_codes_and_nothing_else_changes(layers):
    plain, code = layers["zones"], coded(layers["zones"], PROFILE)
    assert code.columns["ring"].tolist() == [RINGS[word] for word in plain.columns["ring"]]
    for name in plain.columns.keys() - {"ring"}:
        assert code.columns[name] is plain.columns[name]
    assert coded(plain, DeliverySettings()) is plain


def test_the_files_have_the_desks_names(delivered):
    folder = delivered / "rose_rosette"
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*")}
    for stem in ("RoseDig", "RosePlants", "zones", "zone_ranges", "inspection_list"):
        assert {f"{stem}.{end}" for end in ("shp", "dbf", "cpg", "sld", "qml")} <= names
        assert {f"csv/{stem}.csv", f"kml/{stem}.kml"} <= names
    assert {
        "gpx/RoseDig.gpx",
        "gpx/inspection_list.gpx",
        "removal_list.csv",
        "removal_list.xlsx",
        "rose_rosette.gpkg",
    } <= names
    assert not {"plants.shp", "removal_list.shp", "gpx/RosePlants.gpx", "gpx/zones.gpx"} & names


def test_shapefile_and_geopackage_have_the_desks_crs_fields_and_codes(delivered, layers):
    folder = delivered / "rose_rosette"
    for path, layer, key, status in (
        (folder / "RosePlants.shp", None, "ASSETID", "STAT"),
        (folder / "rose_rosette.gpkg", "RosePlants", "plant_id", "status"),
    ):
        meta, _, wkb, data = pyogrio.raw.read(path, layer=layer)
        columns = dict(zip(meta["fields"], data, strict=True))
        assert meta["crs"] == "EPSG:25833"
        assert columns[key].tolist() == layers["plants"].columns["plant_id"].tolist()
        assert columns[status].tolist() == [STATUSES[word] for word in layers["plants"].columns["status"]]
        there = Transformer.from_crs(CRS, "EPSG:25833", always_xy=True)
        at = shapely.get_coordinates(layers["plants"].geometry)
        np.testing.assert_allclose(
            shapely.get_coordinates(shapely.from_wkb(wkb)), np.column_stack(there.transform(*at.T)), atol=1e-6
        )


def test_styles_ask_for_the_desks_fields_and_codes(delivered):
    sld = ET.parse(delivered / "rose_rosette" / "RosePlants.sld").getroot()
    assert {each.text for each in sld.iter(f"{{{OGC}}}PropertyName")} == {"STAT"}
    assert {each.text for each in sld.iter(f"{{{OGC}}}Literal")} == set(STATUSES.values())
    with closing(sqlite3.connect(delivered / "rose_rosette" / "rose_rosette.gpkg")) as database:
        styles = dict(database.execute("SELECT f_table_name, styleQML FROM layer_styles").fetchall())
    assert styles.keys() == {"RoseDig", "RosePlants", "zones", "zone_ranges", "inspection_list"}
    assert 'attr="status"' in styles["RosePlants"]
    assert 'value="I"' in styles["RosePlants"]
    assert 'value="infected"' not in styles["RosePlants"]


def test_tables_keep_our_words_and_have_positions_in_the_desks_crs(delivered, layers):
    there = Transformer.from_crs(CRS, "EPSG:25833", always_xy=True)
    with (delivered / "rose_rosette" / "csv" / "RosePlants.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["status"] for row in rows] == layers["plants"].columns["status"].tolist()
    east, north = there.transform(*shapely.get_coordinates(layers["plants"].geometry).T)
    np.testing.assert_allclose([float(row["easting"]) for row in rows], east, atol=5.1e-4)
    np.testing.assert_allclose([float(row["northing"]) for row in rows], north, atol=5.1e-4)
    with (delivered / "rose_rosette" / "csv" / "zones.csv").open(encoding="utf-8", newline="") as file:
        shapes = [shapely.from_wkt(row["wkt"]) for row in csv.DictReader(file)]
    wanted = placed(layers["zones"], PROFILE).geometry
    assert all(found.equals_exact(shape, 0) for found, shape in zip(shapes, wanted, strict=True))


def test_the_dictionary_says_the_desks_names_codes_and_unit(tmp_path):
    path = write_dictionary(tmp_path / "d.csv", {"plants": 3}, desk=PROFILE, unit="US survey foot")
    with path.open(encoding="utf-8", newline="") as file:
        rows = {(row["layer"], row["long_name"]): row for row in csv.DictReader(file)}
    assert rows["plants", "plant_id"]["short_name"] == "ASSETID"
    assert rows["plants", "plant_id"]["file_name"] == "RosePlants"
    assert rows["zones", "ring"]["allowed"] == "1=core|2=inner|3=outer|9=line"
    assert rows["zone_ranges", "ring"]["allowed"] == "1=core|2=inner|3=outer"
    assert rows["tables of points", "easting"]["unit"] == "US survey foot"
    assert rows["tables of points", "longitude"]["unit"] == "deg"
    # tables that are no layers keep our names
    assert rows["cut_list", "plant_id"]["short_name"] == "plant_id"


def test_without_a_shapefile_styles_beside_have_long_names(tmp_path, layers):
    desk = DeliverySettings(formats=("geopackage",))
    paths = [
        each for written in write_layers(tmp_path, [layers["plants"]], "x", desk, AS_OF, str) for each in written.paths
    ]
    assert {path.name for path in paths} == {"plants.sld", "plants.qml", "x.gpkg"}
    assert (tmp_path / "plants.sld").read_text(encoding="utf-8") == sld_of_layer("plants", short=False)
    assert (tmp_path / "plants.qml").read_text(encoding="utf-8") == qml_of_layer("plants", short=False)


def test_every_sign_of_a_coded_column_has_a_code():
    for layer, (column, signs) in SIGNS.items():
        spec = next(each for each in every_column(layer) if each.name == column)
        if spec.allowed:
            desk = DeliverySettings(domains={column: {word: f"c{place}" for place, word in enumerate(spec.allowed)}})
            sld = sld_of_layer(layer, desk=desk)
            assert all(f">{desk.domains[column][sign.value]}<" in sld for sign in signs), layer


def test_a_delivery_is_the_same_bytes_twice(tmp_path, delivered):
    result = made_result()
    write_delivery(tmp_path, replace(result, settings=replace(result.settings, delivery=PROFILE)))
    for path in delivered.rglob("*"):
        if path.is_file():
            assert path.read_bytes() == (tmp_path / path.relative_to(delivered)).read_bytes(), path.name


def test_changes_do_not_depend_on_the_profile(tmp_path, delivered):
    write_delivery(tmp_path, made_result())
    assert (tmp_path / "changes.csv").read_bytes() == (delivered / "changes.csv").read_bytes()


def test_the_usual_profile_names_nothing_of_its_own(layers):
    for layer in layers.values():
        usual = named(layer, DeliverySettings())
        assert usual.file_name == layer.name
        assert usual.short_names == [column.short for column in LAYERS[layer.name] + layer.more]
        assert all(allowed_words(column, DeliverySettings()) == "|".join(column.allowed) for column in layer.spec)


def test_a_project_in_survey_feet_is_read_by_another_gdal(tmp_path, gdal_tools):
    project = make_project(tmp_path / "town", PROJECT + '[settings.delivery]\ncrs = "EPSG:2267"\n')
    folder = run_project(project).folder
    there = Transformer.from_crs("EPSG:32614", "EPSG:2267", always_xy=True)
    east, north = there.transform(EAST + 3, NORTH)
    for path, layer in ((folder / "rose_rosette" / "plants.shp", "plants"),
                        (folder / "rose_rosette" / "rose_rosette.gpkg", "plants")):  # fmt: skip
        done = subprocess.run([gdal_tools["ogrinfo"], "-al", "-fid", "1" if path.suffix == ".gpkg" else "0", path, layer],
                              capture_output=True, text=True, check=True)  # fmt: skip
        assert 'ID["EPSG",2267]' in done.stdout
        assert 'LENGTHUNIT["US survey foot"' in done.stdout
        assert "plant_id (String) = P01" in done.stdout
        found = re.search(r"POINT \(([\d.]+) ([\d.]+)\)", done.stdout)
        np.testing.assert_allclose([float(found[1]), float(found[2])], [east, north], atol=1e-3)
    with (folder / "data_dictionary.csv").open(encoding="utf-8", newline="") as file:
        units = {row["unit"] for row in csv.DictReader(file) if row["long_name"] == "easting"}
    assert units == {"US survey foot"}
    said = (folder / "metadata.xml").read_text(encoding="utf-8")
    assert "Vector layers were turned from EPSG:32614 to EPSG:2267" in said
    assert "stated accuracy 4 m" in said


@pytest.mark.parametrize("name", ["csv", "plants.sld"])
def test_a_place_that_is_taken_is_an_output_error(tmp_path, layers, name):
    # a file where a folder is due, a folder where a file is due
    (tmp_path / name).write_text("") if name == "csv" else (tmp_path / name).mkdir()
    with pytest.raises(OutputError, match=rf"{name} could not be"):
        list(write_layers(tmp_path, [layers["plants"]], "x", DeliverySettings(formats=("csv",)), AS_OF, str))
