"""Typed columns: numbers, keys and dates mean the same taken together as one by one."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_projects import CRS, EAST, NORTH

from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock, InventoryBlock
from spreadmap.io.read_crs import working_crs
from spreadmap.io.read_inventory import read_inventory
from spreadmap.io.read_positions import parse_angle
from spreadmap.io.read_rows import MOST_HINTS, Rows, as_text, distinct, fold_key, fold_keys, is_number, to_numbers
from spreadmap.io.table import table_from_records
from spreadmap.io.toml_text import parse_toml
from spreadmap.values.settings import InputSettings, Settings

WORDS = st.sampled_from(
    ["1", "-2.5", "1e3", ".5", "5.", "nan", "inf", "1_000", "٣", "0x1", "", "1,5", "+7", "e5", "1e999", "--1"]
)


@given(st.lists(WORDS | st.text(max_size=5)))
def test_numbers_are_read_alike_alone_and_together(cells):
    together = to_numbers(cells, decimal_comma=False)
    alone = [float(cell) if is_number(cell) else math.nan for cell in cells]
    np.testing.assert_array_equal(together, alone)


def test_what_is_no_plain_number_is_none():
    cells = ["nan", "inf", "1_000", "٣", "0x1", "1,5", "", " 1", "1 000", "1e"]
    assert np.isnan(to_numbers(cells, decimal_comma=False)).all()
    assert to_numbers(["1,5"], decimal_comma=True).tolist() == [1.5]


@given(st.lists(st.text(max_size=6)))
def test_keys_are_folded_alike_alone_and_together(keys):
    assert fold_keys(keys) == [fold_key(key) for key in keys]


def test_keys_that_look_alike_are_alike():
    assert len({fold_key(key) for key in ("P 04", "p04", " P04", "P\u00a004")}) == 1
    assert fold_key("\u00c95") == fold_key("E\u03015")  # one letter, and a letter with an accent behind it


@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 2))))
def test_equal_rows_have_equal_numbers(rows):
    which, examples = distinct(
        as_text([first for first, _ in rows]), np.array([second for _, second in rows], dtype=float)
    )
    assert len(set(which.tolist())) == len(set(rows)) == len(examples)
    for number, row in zip(which.tolist(), rows, strict=True):
        assert rows[examples[number]] == row


def rows_of(header, *cells):
    book = FaultBook()
    return Rows(table_from_records([header, *cells], "a.csv", book), FileBlock(file="a.csv"), book)


def test_a_name_that_differs_in_spaces_and_strokes_is_taken_and_told():
    rows = rows_of(["Plant ID", "Size-class", "other"], ["1", "M", "x"])
    assert rows.cells("plant_id") == ["1"]
    rows.finish(1.0)
    assert [fault.remedy for fault in rows.book.faults] == ["Taken: 'Plant ID' as plant_id."]
    exact = rows_of(["plant_id", "Plant ID"], ["1", "2"])
    assert exact.cells("plant_id") == ["1"]
    exact.finish(1.0)
    assert not exact.book.faults
    with pytest.raises(InputError, match="has two columns for plant_id: 'Plant ID' and 'plant-id'. Rename one"):
        rows_of(["Plant ID", "plant-id"], ["1", "2"])


def test_a_missing_column_is_told_with_the_nearest_name():
    with pytest.raises(
        InputError, match=r"has no column for plant_id; its columns are plnat_id\. Did you mean 'plnat_id'\?"
    ):
        rows_of(["plnat_id"], ["1"]).need("plant_id")


def test_of_many_different_wrong_words_only_some_get_a_hint():
    wrong = [[f"infected{number}"] for number in range(2 * MOST_HINTS)]
    rows = rows_of(["status"], *wrong)
    rows.word("status", ["infected", "clean"])
    rows.finish(0.5)
    hinted = [fault for fault in rows.book.faults if "Did you mean" in fault.remedy]
    assert len(hinted) == MOST_HINTS
    assert len(rows.book.faults) == len(wrong) + 1  # and the whole file is refused


# ---- degrees and minutes


@given(st.floats(0, 89.999), st.sampled_from("NS"), st.booleans(), st.booleans())
def test_degrees_and_minutes_come_back_as_degrees(value, letter, seconds, in_front):
    degrees = int(value)
    minutes = (value - degrees) * 60
    text = f"{degrees}°{minutes:.9f}'"
    if seconds:
        whole = int(minutes)
        text = f"{degrees}° {whole}' {min((minutes - whole) * 60, 59.9999999):.7f}\""
    if "60.0" in text:
        return  # rounded up to the next whole: no such minute is written
    found = parse_angle(f"{letter} {text}" if in_front else f"{text} {letter}", "NS")
    assert found == pytest.approx(value if letter == "N" else -value, abs=1e-8)


@pytest.mark.parametrize(
    "text", ["36.5", "36 30 N", "36°30'", "36°60'N", "36°30'60\"N", "36°30'E", "N36°30'N", "36.5°30'N", "36°30.5'10\"N", "°30'N",
             "36°30'N W", "three°N", "", "1236°30'N"]
)  # fmt: skip
def test_an_angle_that_could_be_read_in_two_ways_is_none(text):
    assert parse_angle(text, "NS") is None


# ---- keys of an inventory


def kept_one_by_one(rows):
    """Which rows keep their place, told one after another: (key, count) in, flags out."""
    taken, kept = set(), []
    for key, count in rows:
        folded = fold_key(key)
        keys = [folded, *(f"{folded}-{number:03d}" for number in range(1, count + 1))] if count > 1 else [folded]
        kept.append(bool(key) and taken.isdisjoint(keys))
        if kept[-1]:
            taken |= set(keys)
    return kept


KEYS = st.sampled_from(["A", "a", "A ", "B", "A-001", "a-002", "B-001", "C", "", "D", "E-001-001", "E-001", "E"])


@given(st.lists(st.tuples(KEYS, st.sampled_from([1, 1, 1, 2, 3])), min_size=1, max_size=12))
def test_of_two_rows_with_one_key_the_first_keeps_it(tmp_path_factory, rows):
    lines = [f"{key},Rosa,{EAST + n},{NORTH},{count}" for n, (key, count) in enumerate(rows)]
    path = tmp_path_factory.mktemp("keys") / "a.csv"
    path.write_text("plant_id,host,easting,northing,count\n" + "\n".join(lines) + "\n", encoding="utf-8")
    book = FaultBook()
    lenient = Settings(inputs=InputSettings(most_rows_aside=1.0))
    inventory = read_inventory([InventoryBlock(file="a.csv", crs=CRS)], [path], working_crs(CRS), lenient, book)
    expected = kept_one_by_one([(key.strip(), count) for key, count in rows])
    aside = {fault.row for fault in book.faults if fault.weight == "aside"}
    assert aside == {number for number, kept in enumerate(expected, start=2) if not kept}
    plants = sum(count for (_, count), kept in zip(rows, expected, strict=True) if kept)
    assert (0 if inventory is None else len(inventory)) == plants


# ---- TOML


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = " + "[" * 3000, "nested too deep"),
        ("x = 0x" + "f" * 17, "more than 64 bits"),
        ("x = " + "9" * 5000, "."),
        ('x = "a\\u001bb"', "control characters"),
        ('"\\u202e" = 1', "control characters"),
        ("x", "."),
    ],
)
def test_toml_made_to_harm_is_refused_in_one_kind_of_error(text, says):
    with pytest.raises(ValueError, match=says):
        parse_toml(text)


def test_toml_of_64_bits_and_several_lines_is_read():
    whole = -(2**63)
    assert parse_toml(f'x = {whole}\ny = """a\nb"""\n') == {"x": whole, "y": "a\nb"}
