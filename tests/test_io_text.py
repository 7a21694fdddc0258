"""Delimited text: the fast way gives what the slow way gives; encodings, quotes and separators say what is wrong."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spreadmap.errors import InputError
from spreadmap.io.faults import CONTROL, FaultBook, plain, shown
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_text import decode, plain_columns, read_text
from spreadmap.io.table import table_from_records

cells = st.text(st.sampled_from("ab ,;\t|'\u00e9.-"), max_size=4)
tables = st.integers(1, 4).flatmap(lambda width: st.lists(st.lists(cells, min_size=width, max_size=width), min_size=1))


@given(
    tables,
    st.sampled_from(",;\t|"),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_the_fast_way_reads_what_the_slow_way_reads(rows, separator, quoting, end):
    out = io.StringIO()
    csv.writer(out, delimiter=separator, quoting=quoting, lineterminator=end).writerows(rows)
    text = out.getvalue()
    fast = plain_columns(text, separator)
    if fast is None:
        return
    slow = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    while slow and not any(slow[-1]) and len(slow) > len(fast[0][0]):
        slow.pop()  # empty rows at the end are no rows
    assert [list(row) for row in zip(*fast[0], strict=True)] == [row or [""] for row in slow]


def test_most_texts_go_the_fast_way():
    for text in ("a,b\n1,2\n", 'a,b\n"1","2"\n', "a,b\r\n1,2\r\n", "a,b\n1,2"):
        assert plain_columns(text, ",") == ([["a", "1"], ["b", "2"]], True)
    for text in ('a,b\n"1,5",2\n', "a,b\n1\n", 'a,b\n"x""y",2\n', 'a,b\n"x\ny",2\n', "a,b\r1,2\r"):
        assert plain_columns(text, ",") is None


@given(st.text(st.characters(exclude_characters="\x00", codec="utf-8"), max_size=50))
def test_whatever_is_unicode_comes_back_without_assumption(text):
    book = FaultBook()
    assert decode(b"\xef\xbb\xbf" + text.encode(), "a.csv", book) == text
    assert decode(b"\xff\xfe" + text.encode("utf-16-le"), "a.csv", book) == text
    assert not book.faults


@pytest.fixture
def block():
    return FileBlock(file="a.csv")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('a,b,c\n1,"2,3\n4,5,6\n', "row 2: a quote opens and is never closed"),
        ('a,b,c\n1,"2,3\n4,5,6\n7,8",9\n', r"row 2: a quote opens and holds 3 lines .* '7,8' the last"),
        ('a,b,c\n1,"2,3\n4,5",6\n', r"row 2: a quote opens and holds 2 lines"),
    ],
)
def test_a_quote_that_swallows_rows_is_refused_with_its_row(tmp_path, block, text, says):
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=says):
        read_text(tmp_path / "a.csv", "a.csv", block, FaultBook())


def test_a_note_of_several_lines_and_loose_quotes_are_no_harm(tmp_path, block):
    book = FaultBook()
    (tmp_path / "a.csv").write_text('a,b,c\n1,"by the gate,\nleft",3\n', encoding="utf-8")
    assert read_text(tmp_path / "a.csv", "a.csv", block, book).cells == [["1", "by the gate,\nleft", "3"]]
    assert not book.faults
    (tmp_path / "a.csv").write_text('a,b,c\n1,"the "old" one",3\n', encoding="utf-8")
    assert read_text(tmp_path / "a.csv", "a.csv", block, book).cells[0][::2] == ["1", "3"]
    assert "not doubled" in book.faults[0].found


def test_row_numbers_count_from_the_top_of_the_file(tmp_path, block):
    for name, text in (("fast.csv", "\n\na,b\n1,2\n"), ("slow.csv", ",\n\na,b\n1,2\n\n3,4\n")):
        (tmp_path / name).write_text(text, encoding="utf-8")
        assert read_text(tmp_path / name, name, block, FaultBook()).row[0] == 4


def test_signs_that_cannot_be_seen_are_taken_out_and_told():
    book = FaultBook()
    table = table_from_records([["a\u200b", "b"], ["\x1b[31mx", "y"], ["x", "\u202ey"]], "a.csv", book)
    assert table.header == ("a", "b")
    assert table.cells == [["[31mx", "y"], ["x", "y"]]
    assert [fault.found for fault in book.faults] == ["3 cells hold control characters or hidden signs"]


@given(st.text(max_size=30))
def test_no_message_moves_the_cursor(text):
    assert plain(text).isprintable()
    assert shown(text).isprintable()
    assert CONTROL.search(shown(text)) is None
    book = FaultBook()
    book.stop(text, text, text, column=text, allowed=text)
    assert book.faults[0].sentence().isprintable()


def test_scripts_that_need_joiners_keep_them():
    assert CONTROL.search("\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645") is None


def test_nothing_that_must_go_is_printable():
    assert not [sign for sign in map(chr, range(0x110000)) if CONTROL.match(sign) and sign.isprintable()]


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("a,b\n1, 2\n", ["1", "2"]),
        ("a,b\n1 ,2\n", ["1", "2"]),
        ("a,b\n 1,2\n", ["1", "2"]),
        ("a,b\n1,2 ", ["1", "2"]),
        ('a,b\n1," 2"\n', ["1", "2"]),
        ("a,b\n1,\u00a02\n", ["1", "2"]),
        ("a,b\n1,2\u200b\n", ["1", "2"]),
        ("a,b\n1,2 3\n", ["1", "2 3"]),
    ],
)
def test_the_fast_way_takes_blanks_and_hidden_signs_out(tmp_path, block, text, cells):
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    book = FaultBook()
    assert read_text(tmp_path / "a.csv", "a.csv", block, book).cells == [cells]
    assert [fault.found for fault in book.faults] == (
        ["1 cells hold control characters or hidden signs"] if "\u200b" in text else []
    )


def test_quotes_that_hold_a_line_end_go_the_slow_way_though_rows_look_whole():
    assert plain_columns('p,q\nx,"a\nb",y\n', ",") is None
    assert plain_columns('p,q\n"",""\n', ",") == ([["p", ""], ["q", ""]], True)
