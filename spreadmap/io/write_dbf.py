"""The table of a Shapefile (dBASE III), whole columns at a time: a general library takes each cell by itself.

Layout: Esri, Shapefile Technical Description, 1998, and dBASE III table files, from memory; read back by GDAL in the tests.
"""

from __future__ import annotations

import datetime as dt
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from spreadmap.io.layers import day_texts, is_one_value, number_texts
from spreadmap.io.short_names import Column, Kind

ROWS_AT_ONCE = 50_000
NUMBER_WIDTH, DECIMALS = 24, 15
WHOLE_WIDTH, WIDER_WHOLE_WIDTH = 9, 11
LETTERS = {Kind.TEXT: b"C", Kind.FLAG: b"C", Kind.WHOLE: b"N", Kind.NUMBER: b"F", Kind.DATE: b"D"}
CODE_PAGES = {"UTF-8": "UTF-8", "CP1252": "1252", "ISO-8859-1": "88591"}
"""What stands in the file beside the table, by encoding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a table: its name, what it holds, its room and its decimals."""

    name: str
    kind: Kind
    width: int
    decimals: int = 0

    def head(self) -> bytes:
        """Return the 32 bytes that describe it."""
        return struct.pack("<11sc4xBB14x", self.name.encode("ascii"), LETTERS[self.kind], self.width, self.decimals)


def field_of(column: Column, name: str, values: npt.NDArray[Any], encoding: str) -> Field:
    """Return the field that holds a column; texts get their usual room, more where one is longer."""
    if column.kind is Kind.NUMBER:
        return Field(name=name, kind=column.kind, width=NUMBER_WIDTH, decimals=DECIMALS)
    if column.kind is Kind.DATE:
        return Field(name=name, kind=column.kind, width=8)
    if column.kind is Kind.WHOLE:
        is_wide = len(values) and max(abs(int(values.min())) * 10, int(values.max())) >= 10**WHOLE_WIDTH
        return Field(name=name, kind=column.kind, width=WIDER_WHOLE_WIDTH if is_wide else WHOLE_WIDTH)
    longest = longest_text(words_of(values), encoding)
    return Field(name=name, kind=column.kind, width=max(column.width, longest, 1))


def words_of(values: npt.NDArray[Any]) -> set[str]:
    """Return the different texts of a column."""
    return set(values[:1].tolist() if is_one_value(values) else values.tolist())


def longest_text(texts: set[str], encoding: str) -> int:
    """Return how many bytes the longest of some texts takes [-]."""
    if "".join(texts).isascii():
        return max(map(len, texts), default=0)
    return max(len(text.encode(encoding, errors="replace")) for text in texts)


def table_bytes(fields: Sequence[Field], rows: int) -> int:
    """Return how long a table of so many rows is [-]."""
    return _head_bytes(fields) + rows * (1 + sum(field.width for field in fields)) + 1


def _head_bytes(fields: Sequence[Field]) -> int:
    return 32 + 32 * len(fields) + 1


def write_dbf(path: Path, fields: Sequence[Field], columns: Sequence[npt.NDArray[Any]], as_of: dt.date,
              encoding: str) -> None:  # fmt: skip
    """Write a table, and beside it the file that names its encoding; OSError where the disk is full.

    Parameters
    ----------
    path : Path
        Ends in .dbf; what stands there is replaced.
    fields : sequence of Field
    columns : sequence of arrays, each (n,)
        Texts fit their fields; days that are none stay blank.
    as_of : date
        Stands in the header for the day of writing.
    encoding : str
        One of `CODE_PAGES`.
    """
    rows = len(columns[0])
    record = np.dtype([("mark", "S1"), *((f"field_{place}", f"S{field.width}") for place, field in enumerate(fields))])
    length = _head_bytes(fields)
    day = (as_of.year - 1900, as_of.month, as_of.day)
    # byte 29 names a code page of old; 0x57 says that the letters are those of the system
    page = 0 if encoding == "UTF-8" else 0x57
    usual = np.full(min(rows, 1), b" ", dtype=record)
    changing = []
    for place, (field, values) in enumerate(zip(fields, columns, strict=True)):
        if is_one_value(values):
            usual[f"field_{place}"] = _cells(field, values[:1], encoding)
        else:
            changing.append((f"field_{place}", field, values))
    with path.open("wb") as file:
        file.write(struct.pack("<BBBBIHH17xB2x", 3, *day, rows, length, record.itemsize, page))
        file.write(b"".join(field.head() for field in fields) + b"\r")
        for first in range(0, rows, ROWS_AT_ONCE):
            part = slice(first, first + ROWS_AT_ONCE)
            written = bytearray(usual.tobytes() * min(ROWS_AT_ONCE, rows - first))
            table = np.frombuffer(written, dtype=record)
            for name, field, values in changing:
                table[name] = _cells(field, values[part], encoding)
            file.write(written)
        file.write(b"\x1a")
    path.with_suffix(".cpg").write_text(CODE_PAGES[encoding], encoding="ascii")


def _cells(field: Field, values: npt.NDArray[Any], encoding: str) -> npt.NDArray[np.bytes_]:
    """Return a column as the bytes of its cells, filled up with spaces; numbers stand on the right."""
    room = f"S{field.width}"
    if field.kind in (Kind.WHOLE, Kind.NUMBER):
        # the shortest text that is exactly this number has never more than 24 letters
        figures = map(str.rjust, number_texts(values), repeat(field.width))
        return np.frombuffer("".join(figures).encode("ascii"), dtype=room)
    if field.kind is Kind.DATE:
        days, place = np.unique(values, return_inverse=True)
        return np.array([day.replace("-", "").ljust(field.width) for day in day_texts(days).tolist()], dtype=room)[
            place
        ]
    place, known = pd.factorize(values)
    if "".join(known).isascii():
        cells = np.frombuffer((f"%-{field.width}s" * len(known) % tuple(known)).encode("ascii"), dtype=room)
    else:
        cells = np.array([word.encode(encoding).ljust(field.width) for word in known], dtype=room)
    return cells[place]
