"""Shapefiles and GeoPackages read back as they were given, and are the same bytes when written twice."""

import datetime as dt
import sqlite3
import struct
import warnings
import xml.etree.ElementTree as ET
from contextlib import closing
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely
from made_results import AS_OF, CRS, HOSTILE_TEXTS, made_result, without_findings

from spreadmap.errors import OutputError
from spreadmap.io.layers import clean_text, system_layers
from spreadmap.io.short_names import LAYERS, NOT_ASSESSED, Kind
from spreadmap.io.styles import qml_of_layer, sld_of_layer
from spreadmap.io.write_vector import _write, cut_layer, cut_text, write_geojson, write_geopackage, write_shapefile

LAYER_NAMES = ("removal_list", "inspection_list", "zones", "zone_ranges", "plants")


def layers_of(result):
    return {layer.name: layer for layer in system_layers(result.systems[0], result.inputs, result.settings)}


def styles_of(layers):
    return {name: (qml_of_layer(name), sld_of_layer(name, short=False)) for name in layers}


def read(path, layer=None):
    meta, _, wkb, data = pyogrio.raw.read(path, layer=layer)
    return meta, shapely.from_wkb(wkb), dict(zip(meta["fields"], data, strict=True))


@pytest.mark.parametrize("name", LAYER_NAMES)
def test_a_shapefile_reads_back_as_it_was_given(tmp_path, name):
    layer = layers_of(made_result(HOSTILE_TEXTS))[name]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        files, cut = write_shapefile(tmp_path, layer, AS_OF)
    assert cut == 0
    assert sorted(path.suffix for path in files) == [".cpg", ".dbf", ".prj", ".shp", ".shx"]
    assert all(path.is_file() for path in files)
    _, shapes, data = read(files[0])
    assert list(data) == [column.short for column in LAYERS[name]]
    assert all(found.equals(given) for found, given in zip(shapes, layer.geometry, strict=True))
    for column in LAYERS[name]:
        found, given = data[column.short], layer.columns[column.name]
        if column.kind is Kind.DATE:
            assert found.dtype == np.dtype("datetime64[D]")
            assert ((found == given) | (np.isnat(found) & np.isnat(given))).all()
        elif column.kind in (Kind.TEXT, Kind.FLAG):
            assert [text or "" for text in found] == given.tolist()
        else:
            np.testing.assert_array_equal(found.astype(float), given)


@pytest.mark.parametrize("name", LAYER_NAMES)
def test_an_empty_shapefile_keeps_its_fields_and_its_geometry_type(tmp_path, name):
    layer = layers_of(without_findings(made_result()))[name]
    files, _ = write_shapefile(tmp_path, layer, AS_OF)
    meta, shapes, data = read(files[0])
    assert len(shapes) == len(layer)
    assert meta["geometry_type"] == layer.geometry_type.removeprefix("Multi")
    assert list(data) == [column.short for column in LAYERS[name]]


def test_accents_survive_because_the_encoding_stands_beside(tmp_path):
    files, _ = write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    assert (tmp_path / "plants.cpg").read_text() == "UTF-8"
    assert read(files[0])[2]["host"][0] == "Rosa 'Äpfelblüte'"


def test_crs_and_ids_with_leading_zeros_survive(tmp_path):
    files, _ = write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    assert pyogrio.read_info(files[0])["crs"] == CRS
    assert read(files[0])[2]["plant_id"][:2].tolist() == ["000", "001"]


def test_a_long_text_is_cut_on_a_letter_flagged_and_whole_in_the_geopackage(tmp_path):
    layers = layers_of(made_result(reason="ü" * 200 + "end"))
    files, cut = write_shapefile(tmp_path, layers["removal_list"], AS_OF)
    data = read(files[0])[2]
    assert cut == len(layers["removal_list"])
    assert set(data["reason"]) == {"ü" * 127}
    assert set(data["is_cut"]) == {"Y"}
    package = write_geopackage(tmp_path / "x.gpkg", list(layers.values()), {}, AS_OF)
    whole = read(package, "removal_list")[2]
    assert set(whole["reason"]) == {"ü" * 200 + "end"}
    assert set(whole["is_cut"]) == {"N"}


@pytest.mark.parametrize(("letter", "kept"), [("a", 254), ("é", 127), ("木", 84), ("🌹", 63)])
def test_text_is_cut_at_254_bytes_and_never_inside_a_letter(letter, kept):
    assert cut_text(letter * 300) == letter * kept
    assert cut_text(letter) == letter


def test_only_rows_with_a_cut_text_are_flagged():
    layer = layers_of(made_result(notes=["n" * 255, "n" * 254]))["plants"]
    ready, cut = cut_layer(layer)
    assert cut == 1
    assert np.flatnonzero(ready.columns["is_cut"] == "Y").tolist() == [1]


def test_all_layers_lie_in_one_geopackage_with_their_styles(tmp_path):
    layers = layers_of(made_result(HOSTILE_TEXTS))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        path = write_geopackage(tmp_path / "all.gpkg", list(layers.values()), styles_of(layers), AS_OF)
    names = dict(pyogrio.list_layers(path).tolist())
    assert names == {
        "removal_list": "Point", "inspection_list": "Point", "zones": "MultiPolygon",
        "zone_ranges": "MultiPolygon", "plants": "Point",
        "layer_styles": None,
    }  # fmt: skip
    _, _, data = read(path, "plants")
    assert [text or "" for text in data["note"]][1:11] == [clean_text(text) for text in HOSTILE_TEXTS]
    with closing(sqlite3.connect(path)) as database:
        (version,) = database.execute("PRAGMA user_version").fetchone()
        styles = database.execute(
            "SELECT f_table_name, styleQML, styleSLD, useAsDefault, update_time FROM layer_styles"
        ).fetchall()
        (listed,) = database.execute("SELECT data_type FROM gpkg_contents WHERE table_name = 'layer_styles'").fetchone()
        stamps = {stamp for (stamp,) in database.execute("SELECT last_change FROM gpkg_contents")}
    assert version == 10200
    assert listed == "attributes"
    assert stamps == {"2026-09-14T00:00:00.000Z"}
    assert [style[0] for style in styles] == list(layers)
    for name, qml, sld, default, stamp in styles:
        assert default == 1
        assert dt.datetime.fromisoformat(stamp) == dt.datetime(2026, 9, 14, tzinfo=dt.UTC)
        attribute = ET.fromstring(qml.split("\n", 1)[1]).find("renderer-v2").get("attr")
        assert attribute in {column.name for column in LAYERS[name]}
        assert f">{attribute}<" in sld


# texts that SQL, a table or a CSV could take for something else; none, a code, and a number of seventeen digits
SAME_IN_ALL = {
    "owner": "O'Hara's \"Évêque\"; DROP TABLE plants; -- ?1", "host": "", "bed_id": "007", "note": "木" * 30,
    "removed_on": np.datetime64("NaT"), "removed_on_text": "", "first_found_on": np.datetime64("2026-02-28"),
    "first_found_on_text": "2026-02-28", "inspections": NOT_ASSESSED, "pressure_class": 0,
    "relative_pressure": 0.1 + 0.2, "position_precision_m": 123456.78901234567,
}  # fmt: skip


@pytest.mark.parametrize("rows", [1, 2, 30])
def test_what_is_the_same_in_all_rows_reads_back_in_each(tmp_path, monkeypatch, rows):
    layer = layers_of(made_result())["plants"]
    columns = {name: values[:rows] for name, values in layer.columns.items()}
    columns |= {name: np.full(rows, value, dtype=layer.columns[name].dtype) for name, value in SAME_IN_ALL.items()}
    layer = replace(layer, geometry=layer.geometry[:rows], columns=columns)
    monkeypatch.setattr("spreadmap.io.write_dbf.ROWS_AT_ONCE", 7)
    monkeypatch.setattr("spreadmap.io.geopackage_rows.ROWS_AT_ONCE", 7)
    package = write_geopackage(tmp_path / "x.gpkg", [layer], {}, AS_OF)
    files, _ = write_shapefile(tmp_path, layer, AS_OF)
    for path, names in ((package, [column.name for column in layer.spec]), (files[0], layer.short_names)):
        _, shapes, data = read(path, "plants")
        assert [shape.wkb for shape in shapes] == [shape.wkb for shape in layer.geometry]
        for column, name in zip(layer.spec, names, strict=True):
            found, given = data[name], layer.columns[column.name]
            if column.kind is Kind.DATE:
                np.testing.assert_array_equal(found.astype("datetime64[D]"), given)
            elif column.kind in (Kind.TEXT, Kind.FLAG):
                assert [text or "" for text in found] == given.tolist()
            else:
                assert found.tolist() == given.tolist()
    with closing(sqlite3.connect(package)) as database:
        kinds = "SELECT DISTINCT typeof(owner), typeof(host), typeof(removed_on), typeof(inspections) FROM plants"
        assert database.execute(kinds).fetchall() == [("text", "text", "null", "integer")]


@pytest.mark.parametrize("name", ["plants", "zones"])
def test_shapes_lie_in_a_geopackage_as_the_library_packs_them(tmp_path, name):
    layer = layers_of(made_result())[name]
    ours = write_geopackage(tmp_path / "ours.gpkg", [layer], {}, AS_OF)
    pyogrio.raw.write(
        tmp_path / "theirs.gpkg", shapely.to_wkb(layer.geometry), [], [], layer=name, driver="GPKG", crs=CRS,
        geometry_type=layer.geometry_type, dataset_options={"VERSION": "1.2"},
    )  # fmt: skip
    packed = []
    for path in (ours, tmp_path / "theirs.gpkg"):
        with closing(sqlite3.connect(path)) as database:
            packed.append(database.execute(f"SELECT fid, geom FROM {name} ORDER BY fid").fetchall())
    assert packed[0] == packed[1]
    assert len(packed[0]) == len(layer)


def test_a_row_without_a_drawn_shape_is_refused(tmp_path, monkeypatch):
    layer = layers_of(made_result())["plants"]
    write = _write

    def one_too_few(path, table, *arguments, **options):
        is_drawn = path.name.startswith(".shapes_of")
        write(path, replace(table, geometry=table.geometry[:-1]) if is_drawn else table, *arguments, **options)

    monkeypatch.setattr("spreadmap.io.write_vector._write", one_too_few)
    with pytest.raises(OutputError, match=f"{len(layer) - 1} shapes were drawn for {len(layer)} rows"):
        write_geopackage(tmp_path / "x.gpkg", [layer], {}, AS_OF)


@pytest.mark.parametrize("make", [made_result, lambda: without_findings(made_result())])
def test_the_same_layers_give_the_same_bytes(tmp_path, make):
    contents = []
    for number in (1, 2):
        folder = tmp_path / str(number)
        folder.mkdir()
        layers = layers_of(make())
        for layer in layers.values():
            write_shapefile(folder, layer, AS_OF)
        write_geopackage(folder / "all.gpkg", list(layers.values()), styles_of(layers), AS_OF)
        contents.append({path.name: path.read_bytes() for path in sorted(folder.iterdir())})
    assert contents[0] == contents[1]


def test_no_cell_of_a_table_holds_a_zero_byte(tmp_path):
    # programs that are not GDAL end a text there, or refuse the table
    write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    data = (tmp_path / "plants.dbf").read_bytes()
    start = int.from_bytes(data[8:10], "little")
    assert b"\x00" not in data[start:]
    assert data[-1:] == b"\x1a"


def test_numbers_stand_on_the_right_of_their_cells_and_texts_on_the_left(tmp_path):
    # as dBASE has them, from memory; GDAL reads them anywhere
    write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    data = (tmp_path / "plants.dbf").read_bytes()
    (start,) = struct.unpack_from("<H", data, 8)
    fields = [(data[place + 11 : place + 12], data[place + 16]) for place in range(32, start - 1, 32)]
    assert {kind for kind, _ in fields} == {b"C", b"D", b"N", b"F"}
    place = start + 1
    for kind, width in fields:
        cell = data[place : place + width]
        assert cell == (cell.strip().rjust(width) if kind in (b"N", b"F") else cell.strip().ljust(width))
        place += width


def test_the_table_header_carries_the_date_of_the_state(tmp_path):
    # bytes 1 to 3 of a dBASE header: year since 1900, month, day
    write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    assert tuple((tmp_path / "plants.dbf").read_bytes()[1:4]) == (126, 9, 14)


@pytest.mark.parametrize("bad", [1e300, np.nan, np.inf])
def test_a_number_that_would_be_changed_is_refused(tmp_path, bad):
    layer = layers_of(made_result())["zones"]
    values = layer.columns["area_m2"].copy()
    values[1] = bad
    wrong = replace(layer, columns=layer.columns | {"area_m2": values})
    with pytest.raises(OutputError, match=r"column 'area_m2': .* does not fit"):
        write_shapefile(tmp_path, wrong, AS_OF)


@pytest.mark.parametrize("value", [123456.789, 1e8 + 0.5, 9e14, 2 / 3, 1e-9, -2.2250738585072014e-308, 0.0, -9999.0])
def test_numbers_within_the_limit_survive_a_shapefile(tmp_path, value):
    layer = layers_of(made_result())["zones"]
    values = np.full(len(layer), value)
    files, _ = write_shapefile(tmp_path, replace(layer, columns=layer.columns | {"area_m2": values}), AS_OF)
    assert read(files[0])[2]["area_m2"].tolist() == values.tolist()


def test_a_whole_number_beyond_32_bits_is_refused(tmp_path):
    layer = layers_of(made_result())["plants"]
    wrong = replace(layer, columns=layer.columns | {"inspections": layer.columns["inspections"] + 2**31})
    with pytest.raises(OutputError, match=r"column 'inspections': .* 32 bits"):
        write_shapefile(tmp_path, wrong, AS_OF)


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match=r"plants.shp, layer 'plants' could not be written"):
        write_shapefile(tmp_path / "nowhere", layers_of(made_result())["plants"], AS_OF)


def test_missing_numbers_are_never_zero_in_a_file(tmp_path):
    files, _ = write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)
    data = read(files[0])[2]
    assert data["pressure"][0] == NOT_ASSESSED
    assert data["precis_m"][25] == NOT_ASSESSED


def test_geojson_is_in_degrees_without_a_crs_of_its_own(tmp_path):
    result = made_result()
    layer = layers_of(result)["plants"]
    degrees = shapely.points(result.inputs.inventory.longitude, result.inputs.inventory.latitude)
    path = write_geojson(tmp_path / "plants.geojson", layer, degrees)
    assert '"crs"' not in path.read_text(encoding="utf-8")
    _, shapes, _ = read(path)
    assert abs(shapes[3].x - result.inputs.inventory.longitude[3]) < 1e-7


def test_the_index_of_a_geopackage_finds_what_lies_in_a_box_and_nothing_else(tmp_path):
    layers = layers_of(made_result())
    path = write_geopackage(tmp_path / "x.gpkg", list(layers.values()), {}, AS_OF)
    assert [each.name for each in tmp_path.iterdir()] == ["x.gpkg"]
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        for name, layer in layers.items():
            assert database.execute(f"SELECT rtreecheck('rtree_{name}_geom')").fetchone() == ("ok",)
            (extent,) = database.execute(
                "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?", (name,)
            ).fetchall()
            np.testing.assert_allclose(extent, shapely.total_bounds(layer.geometry))
            counts = database.execute("SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = ?", (name,))
            assert counts.fetchone() == (len(layer),)
        triggers = database.execute("SELECT count(*) FROM sqlite_master WHERE type = 'trigger'").fetchone()
    assert triggers[0] >= 5 * len(layers)
    for name, layer in layers.items():
        box = shapely.box(564_999, 5_933_999, 565_005, 5_934_005)
        _, _, found, _ = pyogrio.raw.read(path, layer=name, bbox=box.bounds)
        wanted = layer.geometry[shapely.intersects(layer.geometry, box)]
        assert {shape.wkb for shape in shapely.from_wkb(found)} >= {shape.wkb for shape in wanted}
        assert len(found) < len(layer) or name.startswith("zone")


def test_a_geopackage_can_be_written_on_by_the_library(tmp_path):
    # triggers that count rows and keep the index were taken off while rows came in: they work again
    layer = layers_of(made_result())["plants"]
    path = write_geopackage(tmp_path / "x.gpkg", [layer], {}, AS_OF)
    pyogrio.raw.write(
        path, np.array([shapely.Point(565_500, 5_934_500).wkb], dtype=object), [np.array(["new"], dtype=object)], ["plant_id"],
        layer="plants", geometry_type="Point", crs=CRS, append=True,
    )  # fmt: skip
    assert pyogrio.read_info(path, layer="plants", force_feature_count=True)["features"] == len(layer) + 1
    assert len(pyogrio.raw.read(path, layer="plants", bbox=(565_400, 5_934_400, 565_600, 5_934_600))[2]) == 1


@pytest.mark.parametrize(
    ("encoding", "text", "held", "page"),
    [
        ("UTF-8", "Évêque 木 €", "Évêque 木 €", "UTF-8"),
        ("CP1252", "Évêque 木 €", "Évêque ? €", "1252"),
        ("ISO-8859-1", "Évêque 木 €", "Évêque ? ?", "88591"),
    ],
)
def test_letters_that_an_encoding_lacks_are_marked_and_told(tmp_path, encoding, text, held, page):
    layer = layers_of(made_result())["plants"]
    hosts = layer.columns["host"].copy()
    hosts[:] = "Rosa"
    hosts[3] = text
    files, cut = write_shapefile(tmp_path, replace(layer, columns=layer.columns | {"host": hosts}), AS_OF, encoding)
    assert cut == (held != text)
    assert (tmp_path / "plants.cpg").read_text() == page
    assert held.encode(encoding) in (tmp_path / "plants.dbf").read_bytes()
    data = read(files[0])[2]
    assert data["host"][3] == held
    assert np.flatnonzero(data["is_cut"] == "Y").tolist() == ([3] if held != text else [])


def test_a_text_of_another_encoding_has_room_for_254_of_its_own_letters():
    assert cut_text("é" * 300, encoding="CP1252") == "é" * 254
    assert cut_text("木" * 300, encoding="CP1252") == "?" * 254


@pytest.mark.parametrize(
    "value", [0, 1, -9999, 999_999_999, -99_999_999, 1_000_000_000, -100_000_000, 2**31 - 1, -(2**31) + 1]
)
def test_whole_numbers_survive_a_shapefile(tmp_path, value):
    layer = layers_of(made_result())["plants"]
    files, _ = write_shapefile(
        tmp_path, replace(layer, columns=layer.columns | {"inspections": np.full(len(layer), value)}), AS_OF
    )
    assert set(read(files[0])[2]["inspects"].tolist()) == {value}


def test_more_rows_than_are_handed_over_at_once(tmp_path, monkeypatch):
    layer = layers_of(made_result(HOSTILE_TEXTS))["plants"]
    (tmp_path / "whole").mkdir()
    (tmp_path / "parts").mkdir()
    write_shapefile(tmp_path / "whole", layer, AS_OF)
    write_geopackage(tmp_path / "whole" / "x.gpkg", [layer], {}, AS_OF)
    monkeypatch.setattr("spreadmap.io.write_dbf.ROWS_AT_ONCE", 7)
    monkeypatch.setattr("spreadmap.io.geopackage_rows.ROWS_AT_ONCE", 7)
    write_shapefile(tmp_path / "parts", layer, AS_OF)
    write_geopackage(tmp_path / "parts" / "x.gpkg", [layer], {}, AS_OF)
    for path in (tmp_path / "whole").iterdir():
        assert path.read_bytes() == (tmp_path / "parts" / path.name).read_bytes(), path.name


def test_places_of_points_are_written_as_the_library_writes_them(tmp_path):
    layer = layers_of(made_result())["plants"]
    files, _ = write_shapefile(tmp_path, layer, AS_OF)
    pyogrio.raw.write(
        tmp_path / "theirs.shp", shapely.to_wkb(layer.geometry), [], [], geometry_type="Point", crs=CRS,
        layer_options={"SPATIAL_INDEX": "NO"},
    )  # fmt: skip
    for path in files[:2]:
        assert path.read_bytes() == (tmp_path / f"theirs{path.suffix}").read_bytes()


@pytest.mark.parametrize("name", ["plants", "zones"])
def test_a_part_longer_than_the_format_allows_is_refused_before_anything_is_written(tmp_path, monkeypatch, name):
    layer = layers_of(made_result())[name]
    files, _ = write_shapefile(tmp_path, layer, AS_OF)
    sizes = {path.suffix: path.stat().st_size for path in files}
    for path in files:
        path.unlink()
    for part in (".shp", ".dbf"):
        monkeypatch.setattr("spreadmap.io.write_vector.MOST_PART_BYTES", sizes[part] - 1)
        with pytest.raises(OutputError, match=r"would have 0.0 GB; allowed: .*Take shapefile out of formats"):
            write_shapefile(tmp_path, layer, AS_OF)
        assert not list(tmp_path.iterdir())
    monkeypatch.setattr("spreadmap.io.write_vector.MOST_PART_BYTES", max(sizes.values()))
    write_shapefile(tmp_path, layer, AS_OF)


def test_a_table_that_cannot_be_completed_is_an_output_error(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("spreadmap.io.write_vector.write_dbf", full)
    with pytest.raises(OutputError, match=r"plants.dbf could not be written.*No space left"):
        write_shapefile(tmp_path, layers_of(made_result())["plants"], AS_OF)


def test_a_database_that_cannot_be_completed_is_an_output_error_and_leaves_no_shapes(tmp_path, monkeypatch):
    def full(*_):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("spreadmap.io.write_vector.add_rows", full)
    with pytest.raises(OutputError, match=r"x.gpkg, layer 'plants' could not be written: database or disk is full"):
        write_geopackage(tmp_path / "x.gpkg", [layers_of(made_result())["plants"]], {}, AS_OF)
    assert [each.name for each in tmp_path.iterdir()] == ["x.gpkg"]
