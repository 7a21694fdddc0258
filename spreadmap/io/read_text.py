"""Delimited text: encoding, separator, quotes."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import numpy as np

from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock
from spreadmap.io.table import Table, table_from_columns, table_from_records
from spreadmap.values.arrays import IntArray

SEPARATORS = (",", ";", "\t", "|")
UTF_32 = (b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")
UTF_16 = (b"\xff\xfe", b"\xfe\xff")
LOOKED_AT = 2000
"""Bytes that are looked at for text of two bytes a letter."""
AFTER_THE_END = "after the end"
NOT_EMPTY = re.compile(r"^.*\S.*$", re.MULTILINE)


def read_text(path: Path, file: str, block: FileBlock, book: FaultBook) -> Table:
    """Return a delimited table.

    Raises
    ------
    InputError
        If it is no text, in no encoding that is known, empty, or its quotes do not close.
    """
    text = decode(path.read_bytes(), file, book)
    declared, text = _declared_separator(text)
    separator = block.separator or declared or _sniff(text)
    has_comma = separator in (";", "\t")
    plain = plain_columns(text, separator)
    if plain is not None:
        columns, is_tidy = plain
        table = table_from_columns(columns, file, book, decimal_comma=has_comma, is_tidy=is_tidy)
        if table is not None:
            return table
    return table_from_records(_records(text, separator, file, book), file, book, decimal_comma=has_comma)


def decode(data: bytes, file: str, book: FaultBook) -> str:
    """Return text from UTF-8, UTF-16, or else Windows-1252; without a mark of the encoding that is told.

    Raises
    ------
    InputError
        If the bytes are none of these, or two of them mixed.
    """
    if data.startswith(UTF_32):
        msg = "is UTF-32 text, which is not read. Save it as UTF-8"
        raise InputError(msg)
    bare = "" if data.startswith(UTF_16) else _bare_utf_16(data)
    if bare or data.startswith(UTF_16):
        try:
            text = data.decode(bare or "utf-16")
        except UnicodeDecodeError as error:
            msg = "is not whole UTF-16 text. Save it as UTF-8"
            raise InputError(msg) from error
        if bare:
            book.assume(file, "has two bytes a letter and no mark; it was read as UTF-16", "Save the file as UTF-8.")
        return text
    if b"\x00" in data:
        row = data[: data.index(b"\x00")].count(b"\n") + 1
        msg = f"is not text: row {row} holds a byte of zero. Export it as CSV again"
        raise InputError(msg)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        wrong = error
    row = data[: wrong.start].count(b"\n") + 1
    if not data.decode("utf-8-sig", errors="ignore").isascii():
        msg = f"mixes UTF-8 with another encoding in row {row} (byte {wrong.start}). Save it as UTF-8"
        raise InputError(msg)
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        msg = f"is neither UTF-8 nor Windows-1252 text (byte {error.start}). Save it as UTF-8"
        raise InputError(msg) from error
    book.assume(file, "is not UTF-8; it was read as Windows-1252", "Check accents, or save the file as UTF-8.")
    return text


def _bare_utf_16(data: bytes) -> str:
    """Return which UTF-16 the bytes are without a mark, nothing if they are not: every second byte is zero."""
    start = data[:LOOKED_AT]
    half = len(start) // 2
    if half < 2 or len(data) % 2:
        return ""
    zeros_first, zeros_second = start[0::2].count(0), start[1::2].count(0)
    if zeros_second >= 0.9 * half and not zeros_first:
        return "utf-16-le"
    return "utf-16-be" if zeros_first >= 0.9 * half and not zeros_second else ""


def _declared_separator(text: str) -> tuple[str, str]:
    """Return the separator that a first line such as "sep=;" declares, and the text without that line."""
    line, end, rest = text.partition("\n")
    word = line.strip("\r")
    if end and len(word) == 5 and word.casefold().startswith("sep=") and word[4] in SEPARATORS:
        return word[4], rest
    return "", text


def _sniff(text: str) -> str:
    """Return the separator that stands most often, outside quotes, in the first line that is not empty."""
    line = NOT_EMPTY.search(text)
    outside = "".join(part for index, part in enumerate((line[0] if line else "").split('"')) if index % 2 == 0)
    return max(SEPARATORS, key=outside.count)


def plain_columns(text: str, separator: str) -> tuple[list[list[str]], bool] | None:
    """Return a text as columns, and whether it is tidy: nothing in it that cannot be seen, no space at a cell's end.

    None where quotes have work to do or rows differ in length. Faster than row by row.
    """
    text = text.replace("\r\n", "\n").rstrip("\n")
    if "\r" in text or not text:
        return None
    data = np.frombuffer(text.encode("utf-8"), dtype=np.uint8)
    is_line_end = data == ord("\n")
    ends = np.flatnonzero(is_line_end | (data == ord(separator)))
    if '"' in text:
        if not _only_round_cells(np.flatnonzero(data == ord('"')), ends, len(data)):
            return None
        text = text.replace('"', "")
    rows, lines = text.count("\n") + 1, is_line_end[ends]
    width = int(np.argmax(lines)) + 1 if rows > 1 else len(ends) + 1
    if len(ends) != rows * width - 1 or not lines[width - 1 :: width].all():
        return None
    cells = text.replace("\n", separator).split(separator)
    return [cells[column::width] for column in range(width)], _is_tidy(text, separator)


def _only_round_cells(quotes: IntArray, ends: IntArray, length: int) -> bool:
    """Return whether quotes do nothing but stand round a whole cell each; `ends` are where cells end."""
    opened, closed = quotes[::2], quotes[1::2]
    if len(opened) != len(closed):
        return False
    cell = np.searchsorted(ends, opened)
    first, last = np.concatenate([[0], ends + 1]), np.concatenate([ends, [length]]) - 1
    return bool(np.all((opened == first[cell]) & (closed == last[cell])))


def _is_tidy(text: str, separator: str) -> bool:
    """Return whether no cell has a space at its end, and nothing is there that cannot be seen."""
    ends = (f"{separator} ", f" {separator}", "\n ", " \n")
    # of the signs that can be seen or taken for an empty place, the space is the only one that is printable
    if text.endswith(" ") or any(end in text for end in ends):
        return False
    return text.replace("\n", "").replace(separator, "").isprintable()


def _records(text: str, separator: str, file: str, book: FaultBook) -> list[list[str]]:
    """Return the rows of a text; quotes that swallow rows are refused, others that are out of order are told."""
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error:
        return _loose_records(text, separator, file, book)
    if '"' in text and (len(records) != len(text.rstrip("\n").split("\n")) or "\r" in text):
        _check_swallowed(records, separator)
    return records


def _loose_records(text: str, separator: str, file: str, book: FaultBook) -> list[list[str]]:
    """Return the rows of a text whose quotes are out of order; one that never closes is refused."""
    try:
        records = list(csv.reader(io.StringIO(f"{text}\n{AFTER_THE_END}\n", newline=""), delimiter=separator))
    except csv.Error as error:
        msg = f"cannot be told apart into columns ({error}). Check quotes, or export it again"
        raise InputError(msg) from error
    # where a quote is open at the end, the line that was added lies inside it
    if not records or records.pop() != [AFTER_THE_END]:
        msg = f"row {len(records) + 1}: a quote opens and is never closed. Close or remove it, or export the file again"
        raise InputError(msg)
    _check_swallowed(records, separator)
    book.assume(file, "has quotes inside quoted text that are not doubled", "They were read as they stand; check them.")
    return records


def _check_swallowed(records: list[list[str]], separator: str) -> None:
    """Refuse a cell that holds whole rows, because its quote was closed too late (InputError)."""
    breaks = max((len(record) for record in records[:1]), default=0) - 1
    if breaks < 1:
        return
    for number, record in enumerate(records, start=1):
        for cell in record:
            if "\n" not in cell and "\r" not in cell:
                continue
            lines = cell.splitlines()
            inner = lines[1:-1]
            swallowed = len(lines) > 1 and (
                cell.count(separator) == breaks * (len(lines) - 1)
                or any(line.count(separator) == breaks for line in inner)
            )
            if swallowed:
                msg = (
                    f"row {number}: a quote opens and holds {len(lines)} lines that look like rows, "
                    f"{shown(lines[-1], 30)} the last of them. Close or remove the quote, or export the file again"
                )
                raise InputError(msg)
