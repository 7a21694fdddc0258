"""Lists as CSV and XLSX: texts stay texts, numbers stay numbers, and the same bytes twice."""

import csv
import datetime as dt
import io
import warnings
import zipfile
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as np_st
from made_results import AS_OF, CONFIRMED, HOSTILE_TEXTS, made_result, without_findings
from python_calamine import CalamineWorkbook

from spreadmap.errors import OutputError
from spreadmap.io.layers import clean_text, is_one_value, number_texts, system_layers
from spreadmap.io.short_names import NOT_ASSESSED, POSITION, Kind
from spreadmap.io.web_geometry import in_degrees
from spreadmap.io.write_tables import (
    list_columns,
    quote_formula,
    unquote_formula,
    write_csv,
    write_layer_csv,
    write_list_xlsx,
    write_rejected,
)
from spreadmap.values.project import RejectedRow

ABOUT = (("quantity", "Relative infection pressure"), ("unit", "=1"))


def removal_of(result):
    return system_layers(result.systems[0], result.inputs, result.settings)[0]


def noted_removal(text):
    # plant 001 is on the removal list and has the first note
    return removal_of(made_result(notes=[text]))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "'=1", "''=1"])
def test_what_could_start_a_formula_is_quoted_and_comes_back(text):
    assert quote_formula(text) == "'" + text
    assert unquote_formula(quote_formula(text)) == text


@pytest.mark.parametrize("text", ["", "plain", "'quoted'", "a=1", "Rosa 'Äpfelblüte'", "3 - 4"])
def test_other_texts_are_left_alone(text):
    assert quote_formula(text) == text
    assert unquote_formula(text) == text


def test_a_csv_keeps_negative_numbers_as_numbers(tmp_path):
    path = write_csv(tmp_path / "x.csv", ("a", "b"), [(-1.5, "-1.5"), (None, "x")])
    assert path.read_text(encoding="utf-8") == "a,b\n-1.5,'-1.5\n,x\n"


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_notes_stay_texts_in_the_csv(tmp_path, text):
    path = write_layer_csv(tmp_path / "removal_list.csv", noted_removal(text))
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert unquote_formula(rows[1]["note"]) == clean_text(text)
    assert not rows[1]["note"].startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_notes_stay_texts_in_the_workbook(tmp_path, text):
    path = tmp_path / "removal_list.xlsx"
    write_list_xlsx(path, noted_removal(text), (text.replace("\x00", ""),), ABOUT, AS_OF)
    sheet = CalamineWorkbook.from_path(str(path)).get_sheet_by_name("removal_list").to_python()
    assert sheet[2][sheet[0].index("note")] == clean_text(text)
    with zipfile.ZipFile(path) as archive:
        sheets = [archive.read(name).decode() for name in archive.namelist() if "worksheets/sheet" in name]
        assert len(sheets) == 3
        assert all("<f>" not in text and "<hyperlink" not in text for text in sheets)


def written_cell_by_cell(layer):
    """Return a layer as the library for CSV writes it, one cell after another."""
    spec = list_columns(layer)
    columns = []
    for column in spec:
        values = layer.columns[column.name].tolist()
        if column.kind in (Kind.TEXT, Kind.FLAG):
            values = [quote_formula(text) for text in values]
        elif column.missing == str(NOT_ASSESSED):
            values = [None if value == NOT_ASSESSED else value for value in values]
        columns.append(values)
    if layer.geometry_type == "Point":
        degrees = in_degrees(layer.geometry, layer.crs)
        places = [(layer.geometry, shapely.get_x, 3), (layer.geometry, shapely.get_y, 3)]
        places += [(degrees, shapely.get_x, 7), (degrees, shapely.get_y, 7)]
        columns += [np.round(axis(shapes), digits).tolist() for shapes, axis, digits in places]
    else:
        columns.append([shape.wkt for shape in layer.geometry])
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    last = [column.name for column in POSITION] if layer.geometry_type == "Point" else ["wkt"]
    table.writerow([column.name for column in spec] + last)
    table.writerows(zip(*columns, strict=True))
    return text.getvalue()


@pytest.mark.parametrize("rows_at_once", [7, 50_000])
@pytest.mark.parametrize("place", range(5))
def test_whole_columns_are_written_as_cells_one_by_one_would_be(tmp_path, monkeypatch, place, rows_at_once):
    result = made_result(HOSTILE_TEXTS, reason='=the same, "in" all rows')
    layer = system_layers(result.systems[0], result.inputs, result.settings)[place]
    if layer.name == "plants":
        # texts that need care for one reason alone, and a column that says nothing at all
        notes = layer.columns["note"].copy()
        notes[12:16] = ["two\n-lines", "'=quoted", "", "two\nlines"]
        layer = replace(
            layer, columns=layer.columns | {"note": notes, "roots_complete": np.full(len(layer), "", object)}
        )
    changes = [not is_one_value(layer.columns[column.name]) for column in list_columns(layer)]
    assert any(changes)
    assert not all(changes)
    monkeypatch.setattr("spreadmap.io.write_tables.ROWS_AT_ONCE", rows_at_once)
    path = write_layer_csv(tmp_path / "x.csv", layer)
    with path.open(encoding="utf-8", newline="") as file:
        assert file.read() == written_cell_by_cell(layer)


@pytest.mark.parametrize(
    ("values", "alike"),
    [
        ([2.5, 2.5], True),
        ([0.0, -0.0], False),
        ([-0.0, -0.0], True),
        ([np.nan, np.nan], False),
        ([], False),
        ([1, 2, 1], False),
    ],
)
def test_what_is_the_same_in_all_rows_is_written_the_same(values, alike):
    assert is_one_value(np.array(values)) == alike


@given(np_st.arrays(np.float64, st.integers(0, 5)))
def test_any_numbers_are_written_as_repr_writes_them(values):
    assert number_texts(values) == [repr(value) for value in values.tolist()]


@given(np_st.arrays(np.int64, st.integers(0, 5)))
def test_any_whole_numbers_are_written_as_repr_writes_them(values):
    assert number_texts(values) == [repr(value) for value in values.tolist()]


def test_numbers_at_the_limits_of_plain_writing():
    edges = [1e-4, 1e16, 1e-5, 5e-324, 1e308, 0.1, 1 / 3, 123456.789, 9007199254740993.0, 100.0]
    values = [each for edge in edges for each in (edge, np.nextafter(edge, 0.0), np.nextafter(edge, np.inf), -edge)]
    values = np.array([*values, 0.0, -0.0, np.nan, np.inf, -np.inf])
    assert number_texts(values) == [repr(value) for value in values.tolist()]


def test_a_list_has_its_place_in_metres_and_degrees(tmp_path):
    result = made_result()
    path = write_layer_csv(tmp_path / "removal_list.csv", removal_of(result))
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    inventory = result.inputs.inventory
    assert [float(row["easting"]) for row in rows] == inventory.easting[list(CONFIRMED)].tolist()
    for row, plant in zip(rows, CONFIRMED, strict=True):
        assert abs(float(row["longitude"]) - inventory.longitude[plant]) < 1e-7
        assert abs(float(row["latitude"]) - inventory.latitude[plant]) < 1e-7
    assert rows[0]["plant_id"] == "000"
    assert rows[5]["position_precision_m"] == ""  # not assessed: a table without types needs no code


def test_workbook_cells_have_types(tmp_path):
    path = tmp_path / "removal_list.xlsx"
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        write_list_xlsx(path, removal_of(made_result()), ("Take care.",), ABOUT, AS_OF)
    book = CalamineWorkbook.from_path(str(path))
    assert book.sheet_names == ["removal_list", "cautions", "about"]
    head, first = book.get_sheet_by_name("removal_list").to_python()[:2]
    row = dict(zip(head, first, strict=True))
    assert row["plant id"] == "000"
    assert row["earliest on"] == dt.date(2026, 9, 17)
    assert row["onward relative"] == 9.0
    assert book.get_sheet_by_name("about").to_python()[1] == ["unit", "=1"]


def test_an_empty_list_has_its_head(tmp_path):
    layer = removal_of(without_findings(made_result()))
    assert write_layer_csv(tmp_path / "x.csv", layer).read_text(encoding="utf-8").startswith("plant_id,bed_id")
    write_list_xlsx(tmp_path / "x.xlsx", layer, (), ABOUT, AS_OF)
    assert len(CalamineWorkbook.from_path(str(tmp_path / "x.xlsx")).get_sheet_by_index(0).to_python()) == 1


def test_the_same_list_gives_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        write_list_xlsx(tmp_path / f"{name}.xlsx", removal_of(made_result()), ("Take care.",), ABOUT, AS_OF)
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()


@pytest.mark.parametrize("write", [
    lambda path: write_layer_csv(path, removal_of(made_result())),
    lambda path: write_list_xlsx(path, removal_of(made_result()), (), ABOUT, AS_OF),
])  # fmt: skip
def test_a_folder_that_is_not_there_is_an_output_error(tmp_path, write):
    with pytest.raises(OutputError, match="could not be written"):
        write(tmp_path / "nowhere" / "list")


def test_rejected_rows_keep_their_text_on_one_line(tmp_path):
    rows = [RejectedRow(file="survey.csv", row=7, reason="no such plant", text="=1+1,a\r\nb\x00,-2")]
    path = write_rejected(tmp_path / "rejected_rows.csv", rows)
    with path.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row == {"file": "survey.csv", "row": "7", "reason": "no such plant", "text": "'=1+1,a  b,-2"}
