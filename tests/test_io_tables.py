"""Tables of every format give the same cells, as text; what cannot be read says so."""

import csv
import datetime as dt
import io
import json
import zipfile

import numpy as np
import pyogrio
import pytest
import shapely
from small_projects import CRS, EAST, NORTH, plants_frame, write_sheet

from spreadmap.errors import CrsError, InputError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_rows import Rows, parse_day
from spreadmap.io.read_tables import read_table
from spreadmap.io.table import cell_text


def table_of(path, book=None, **block):
    return read_table(path, path.name, FileBlock(file=path.name, **block), book if book is not None else FaultBook())


def write(path, data):
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def column(table, name):
    return [row[table.header.index(name)] for row in table.cells]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_with_and_without_its_mark_reads_without_assumption(tmp_path, encoding):
    book = FaultBook()
    table = table_of(write(tmp_path / "a.csv", "plant_id,host\n007,Rosa gallica Évêque\n".encode(encoding)), book)
    assert table.header == ("plant_id", "host")
    assert table.cells == [["007", "Rosa gallica Évêque"]]
    assert book.faults == []


def test_windows_text_is_read_and_told(tmp_path):
    book = FaultBook()
    table = table_of(write(tmp_path / "a.csv", "plant_id,host\n1,Évêque – 5 €\n".encode("cp1252")), book)
    assert column(table, "host") == ["Évêque – 5 €"]
    (fault,) = book.faults
    assert fault.weight == "assumed"
    assert "read as Windows-1252" in fault.found


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"a,b\n\x00,1\n", "is not text"),
        (b"a,b\n\x81,1\n", "is neither UTF-8 nor Windows-1252"),
        (b"", "is empty"),
        (b"\n\n", "is empty"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path, data, says):
    with pytest.raises(InputError, match=says):
        table_of(write(tmp_path / "a.csv", data))


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_found_outside_quotes(tmp_path, separator):
    text = f'"a;,|x"{separator}b\n1{separator}2\n'
    assert table_of(write(tmp_path / "a.csv", text)).cells == [["1", "2"]]


def test_a_decimal_comma_counts_with_semicolons_only(tmp_path):
    for text, expected in (("day;minimum_c\nx;1,5\n", 1.5), ("day,minimum_c\nx,1.5\n", 1.5)):
        block = FileBlock(file="a.csv")
        rows = Rows(table_of(write(tmp_path / "a.csv", text)), block, FaultBook())
        assert rows.number("minimum_c", np.nan, -90, 60).tolist() == [expected]
    rows = Rows(table_of(write(tmp_path / "a.csv", 'day,minimum_c\nx,"1,5"\n')), block, FaultBook())
    rows.number("minimum_c", np.nan, -90, 60)
    assert rows.is_bad(0)


def test_zeros_in_front_and_words_for_nothing_stay_as_they_are(tmp_path):
    cells = ["007", "NA", "None", "nan", "null", "1e5", "1.0", "TRUE", "-", "01-02"]
    path = write(tmp_path / "a.csv", "plant_id,host\n" + "".join(f"{cell},x\n" for cell in cells))
    assert column(table_of(path), "plant_id") == cells
    sheet = write_sheet(tmp_path / "a.xlsx", [["plant_id", "host"], *([cell, "x"] for cell in cells)])
    assert column(table_of(sheet), "plant_id") == cells


@pytest.mark.parametrize(
    "text", ["=1+1", "=cmd|' /C calc'!A0", "+1", "@SUM(A1)", "-2+3", "<script>alert(1)</script>", "{{7*7}}"]
)
def test_formula_text_passes_as_text(tmp_path, text):
    out = io.StringIO()
    csv.writer(out).writerows([["plant_id", "note"], ["1", text]])
    assert column(table_of(write(tmp_path / "a.csv", out.getvalue())), "note") == [text]
    assert column(table_of(write_sheet(tmp_path / "a.xlsx", [["plant_id", "note"], ["1", text]])), "note") == [text]


def test_rows_keep_their_numbers_over_blank_lines_and_ragged_ones_are_put_aside(tmp_path):
    table = table_of(write(tmp_path / "a.csv", "a,b\n1,2\n\n3\n4,5,6\n7,8,,\n"))
    assert dict(zip(table.row, table.cells, strict=True)) == {2: ["1", "2"], 6: ["7", "8"]}
    assert [(row, reason) for row, _, reason in table.bad_rows] == [
        (4, "1 cells where the header has 2"),
        (5, "3 cells where the header has 2"),
    ]


def test_quoted_line_ends_stay_in_their_cell(tmp_path):
    assert table_of(write(tmp_path / "a.csv", 'a,b\n"x\ny",1\n')).cells == [["x\ny", "1"]]


def test_a_sheet_gives_dates_numbers_and_texts(tmp_path):
    path = write_sheet(
        tmp_path / "a.xlsx",
        [["plant_id", "day", "n", "t"], ["007", dt.date(2026, 5, 18), 12.0, 1.5], [8, "", "", ""]],
        "May",
    )
    table = table_of(path, sheet="May")
    assert table.cells == [["007", "2026-05-18", "12", "1.5"], ["8", "", "", ""]]
    assert list(table.row) == [2, 3]
    with pytest.raises(InputError, match=r"has no sheet 'Mai'; allowed: May. Did you mean 'May'\?"):
        table_of(path, sheet="Mai")


def test_a_spreadsheets_day_number_is_a_date_in_sheets_only():
    # 36526 is 1 January 2000 in the 1900 date system of ECMA-376 part 1, 18.17.4.1
    assert parse_day("36526", has_day_numbers=True) == dt.date(2000, 1, 1)
    assert parse_day("36526") is None


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, ""), (float("nan"), ""), (True, "yes"), (3.0, "3"), (0.1, "0.1"), (1e20, "1e+20"),
     (dt.datetime(2026, 5, 18), "2026-05-18"), (dt.datetime(2026, 5, 18, 13, 5), "2026-05-18 13:05"),
     (dt.datetime(2026, 5, 18, 12, 59, 59, 999000), "2026-05-18 13:00"),
     (dt.datetime(2026, 5, 17, 23, 59, 59, 999000), "2026-05-18"),
     (dt.datetime(2026, 5, 18, 13, 5, 59), "2026-05-18 13:05")],
)  # fmt: skip
def test_typed_cells_become_text(value, text):
    assert cell_text(value) == text


def layer_file(folder, ending, frame):
    """Write a layer; a `.zip` holds the parts of a Shapefile flat, a `folder.zip` in a folder."""
    if not ending.endswith("zip"):
        pyogrio.write_dataframe(frame, folder / f"plants{ending}")
        return folder / f"plants{ending}"
    parts = folder / "parts"
    parts.mkdir()
    pyogrio.write_dataframe(frame, parts / "plants.shp")
    with zipfile.ZipFile(folder / "plants.zip", "w") as archive:
        for part in sorted(parts.iterdir()):
            archive.write(part, part.name if ending == ".zip" else f"city/{part.name}")
    return folder / "plants.zip"


@pytest.mark.parametrize("ending", [".gpkg", ".shp", ".zip", "folder.zip", ".geojson"])
def test_every_format_of_shapes_gives_the_same_plants(tmp_path, ending):
    frame = plants_frame()
    frame = frame.to_crs("EPSG:4326") if ending == ".geojson" else frame
    table = table_of(layer_file(tmp_path, ending, frame))
    assert column(table, "plant_id") == ["001", "002", "003", "004"]
    assert column(table, "host") == ["Rosa hybrida"] * 4
    assert list(table.row) == [1, 2, 3, 4]
    assert table.crs.to_epsg() == (4326 if ending == ".geojson" else 32614)
    expected = shapely.get_coordinates(frame.geometry.to_numpy())
    np.testing.assert_allclose(shapely.get_coordinates(table.geometry), expected, atol=1e-6)


def test_a_geojson_with_a_null_shape_and_a_nested_value_is_read(tmp_path):
    features = [
        {"type": "Feature", "properties": {"plant_id": "007", "x": {"a": 1}}, "geometry": None},
        {"type": "Feature", "properties": {"plant_id": "8"},
         "geometry": {"type": "Point", "coordinates": [-96.7, 36.8, 300.0]}},
    ]  # fmt: skip
    path = write(tmp_path / "a.geojson", json.dumps({"type": "FeatureCollection", "features": features}))
    table = table_of(path)
    assert column(table, "plant_id") == ["007", "8"]
    assert table.geometry[0] is None
    assert not shapely.has_z(table.geometry[1])


def test_dates_of_layers_become_iso(tmp_path):
    frame = plants_frame(1).assign(planted=np.array(["2026-05-18"], dtype="datetime64[ms]"))
    for ending in (".gpkg", ".shp", ".geojson"):
        # a Shapefile knows days, but no times: there the day goes in as its text
        kept = frame.assign(planted=["2026/05/18"]) if ending == ".shp" else frame
        table = table_of(layer_file(tmp_path, ending, kept.to_crs(4326)))
        assert parse_day(column(table, "planted")[0]) == dt.date(2026, 5, 18)


@pytest.mark.parametrize("zipped", [False, True])
@pytest.mark.parametrize(
    ("missing", "error", "says"),
    [(".prj", CrsError, "has no .prj and so no CRS; it is never guessed"), (".shx", InputError, ".shx missing"),
     (".dbf", InputError, ".dbf missing")],
)  # fmt: skip
def test_half_a_shapefile_is_refused(tmp_path, missing, error, says, zipped):
    path = layer_file(tmp_path, ".shp", plants_frame())
    path.with_suffix(missing).unlink()
    if zipped:
        with zipfile.ZipFile(tmp_path / "plants.zip", "w") as archive:
            for part in sorted(tmp_path.glob("plants.*")):
                if part.suffix != ".zip":
                    archive.write(part, part.name)
        path = tmp_path / "plants.zip"
    with pytest.raises(error, match=says):
        table_of(path)


def test_a_shapefile_without_prj_takes_the_declared_crs_and_a_contradiction_is_refused(tmp_path):
    path = layer_file(tmp_path, ".shp", plants_frame())
    with pytest.raises(CrsError, match=r"has the CRS WGS 84 / UTM zone 14N, but its block declares EPSG:32615"):
        table_of(path, crs="EPSG:32615")
    assert table_of(path, crs=CRS).crs.to_epsg() == 32614
    path.with_suffix(".prj").unlink()
    assert table_of(path, crs=CRS).crs.to_epsg() == 32614


def test_a_layer_is_asked_for_where_there_are_several(tmp_path):
    path = tmp_path / "a.gpkg"
    for name, count in (("roses", 2), ("trees", 3)):
        pyogrio.write_dataframe(plants_frame(count), path, layer=name)
    with pytest.raises(InputError, match="has 2 layers; allowed: roses, trees"):
        table_of(path)
    with pytest.raises(InputError, match=r"has no layer 'rosses'.*Did you mean 'roses'\?"):
        table_of(path, layer="rosses")
    assert len(table_of(path, layer="trees")) == 3


@pytest.mark.parametrize("ending", [".gpkg", ".shp", ".xlsx", ".zip", ".geojson"])
def test_a_file_cut_short_is_refused_in_our_words(tmp_path, ending):
    if ending == ".xlsx":
        path = write_sheet(tmp_path / "plants.xlsx", [["a", "b"], ["1", "2"]])
    else:
        path = layer_file(tmp_path, ending, plants_frame().to_crs(4326))
    data = path.read_bytes()
    path.write_bytes(data[: 60 if ending == ".shp" else len(data) // 2])
    with pytest.raises(InputError, match=r"cannot be|Export it again|Save it again|Make the zip again"):
        table_of(path)


@pytest.mark.parametrize("place", ["header", "data"])
def test_a_zip_damaged_inside_is_refused(tmp_path, place):
    path = layer_file(tmp_path, ".zip", plants_frame())
    with zipfile.ZipFile(path) as archive:
        start = archive.getinfo("plants.shp").header_offset
    data = bytearray(path.read_bytes())
    data[start + (0 if place == "header" else 30 + len("plants.shp") + 20)] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"'plants.shp' in it cannot be unpacked .*Make the zip again"):
        table_of(path)


def test_a_mapped_column_that_is_not_there_is_named(tmp_path):
    table = table_of(write(tmp_path / "a.csv", "Rose No,host\n1,x\n"))
    with pytest.raises(
        InputError, match=r"has no column 'Rose Nr' \(for plant_id\); allowed: Rose No, host. Did you mean 'Rose No'\?"
    ):
        Rows(table, FileBlock(file="a.csv", columns={"plant_id": "Rose Nr"}), FaultBook())
    rows = Rows(table, FileBlock(file="a.csv", columns={"plant_id": "ROSE NO"}), FaultBook())
    assert rows.text("plant_id").tolist() == ["1"]


def test_two_columns_of_one_name_are_refused(tmp_path):
    table = table_of(write(tmp_path / "a.csv", "host,HOST\n1,x\n"))
    with pytest.raises(InputError, match="has two columns named"):
        Rows(table, FileBlock(file="a.csv"), FaultBook())


def test_positions_stand_where_the_frame_puts_them(tmp_path):
    table = table_of(layer_file(tmp_path, ".gpkg", plants_frame(1)))
    assert (table.geometry[0].x, table.geometry[0].y) == (EAST, NORTH)
