"""One file as columns of text, whatever its format; the meaning of columns comes later."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import CRS

from spreadmap.errors import InputError
from spreadmap.io.faults import CONTROL, FaultBook
from spreadmap.io.guard import TEXTS

MOST_COLUMNS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One file as text. `columns` are the file's own, of one length; `row` is the number of each row in the file.

    For a .csv or .xlsx the header is row 1; for a layer of shapes, `row` is the number of the feature, first 1.
    `decimal_comma` says that 1,5 is one and a half; `has_day_numbers` that a date may come as a spreadsheet's day
    number. `bad_rows` are rows that cannot be told apart into columns, with the reason.
    """

    file: str
    header: tuple[str, ...]
    columns: tuple[list[str], ...]
    row: Sequence[int]
    geometry: np.ndarray | None = None
    crs: CRS | None = None
    decimal_comma: bool = False
    has_day_numbers: bool = False
    bad_rows: tuple[tuple[int, list[str], str], ...] = ()

    def __len__(self) -> int:
        """Return the number of rows that could be told apart."""
        return len(self.row)

    @property
    def is_text(self) -> bool:
        """Return whether the file is delimited text, by its ending."""
        return Path(self.file).suffix.lower() in TEXTS

    @property
    def cells(self) -> list[list[str]]:
        """Return all rows, each as a list of cells."""
        return [self.cells_of(index) for index in range(len(self))]

    def cells_of(self, index: int) -> list[str]:
        """Return the cells of one row."""
        return [column[index] for column in self.columns]


def table_from_records(
    records: Sequence[Sequence[str]],
    file: str,
    book: FaultBook,
    *,
    decimal_comma: bool = False,
    has_day_numbers: bool = False,
) -> Table:
    """Return a table from rows of which the first that is not empty is the header; empty rows are passed over.

    Raises
    ------
    InputError
        If there is no header, or it has too many columns.
    """
    first = next((number for number, record in enumerate(records) if any(cell.strip() for cell in record)), None)
    if first is None:
        msg = "is empty. Give a table with column names in its first row"
        raise InputError(msg)
    header = _header(records[first])
    columns, rows, bad = _columns(records[first + 1 :], range(first + 2, len(records) + 1), len(header))
    header, *columns = _without_control([header, *columns], file, book)
    return _table(file, header, columns, rows, bad, book, decimal_comma, has_day_numbers)


def table_from_columns(
    columns: list[list[str]], file: str, book: FaultBook, *, decimal_comma: bool, is_tidy: bool
) -> Table | None:
    """Return a table from columns of one length, each with its name on top; None where it must be read row by row.

    Where the text `is_tidy`, there are no spaces to take from the ends of cells and no signs that cannot be seen.
    """
    names = [column[0].strip() for column in columns]
    if not any(names):
        return None
    header = _header(names)
    cells = [column[1:] if is_tidy else list(map(str.strip, column[1:])) for column in columns]
    if any(any(column) for column in cells[len(header) :]):
        return None
    kept, rows = _without_blank(cells[: len(header)], range(2, len(columns[0]) + 1))
    if not is_tidy:
        header, *kept = _without_control([header, *kept], file, book)
    return _table(file, header, kept, rows, [], book, decimal_comma, has_day_numbers=False)


def _header(cells: Sequence[str]) -> list[str]:
    """Return the names of columns without empty ones at the end (InputError if there are too many)."""
    header = [cell.strip() for cell in cells]
    while not header[-1]:
        header.pop()
    if len(header) > MOST_COLUMNS:
        msg = f"has {len(header)} columns; allowed: {MOST_COLUMNS}. Export the columns that are needed"
        raise InputError(msg)
    return header


def _table(
    file: str, header: list[str], columns: list[list[str]], rows: Sequence[int], bad: list[tuple[int, list[str], str]],
    book: FaultBook, decimal_comma: bool, has_day_numbers: bool,
) -> Table:  # fmt: skip
    """Return a table after telling which columns have no name."""
    _say_nameless(header, columns, file, book)
    return Table(
        file=file,
        header=tuple(header),
        columns=tuple(columns),
        row=rows,
        decimal_comma=decimal_comma,
        has_day_numbers=has_day_numbers,
        bad_rows=tuple(bad),
    )


def _columns(
    records: Sequence[Sequence[str]], numbers: Sequence[int], width: int
) -> tuple[list[list[str]], Sequence[int], list[tuple[int, list[str], str]]]:
    """Return columns, the number of each row, and the rows that do not fit the header."""
    if not all(records):
        kept = [index for index, record in enumerate(records) if record]
        records, numbers = [records[index] for index in kept], [numbers[index] for index in kept]
    bad: list[tuple[int, list[str], str]] = []
    if {len(record) for record in records} <= {width}:
        columns = [list(map(str.strip, column)) for column in zip(*records, strict=True)]
    else:
        records, numbers, bad = _sort_out(records, numbers, width)
        columns = [list(column) for column in zip(*records, strict=True)]
    if not records:
        return [[] for _ in range(width)], [], bad
    return *_without_blank(columns, numbers), bad


def _without_blank(columns: list[list[str]], numbers: Sequence[int]) -> tuple[list[list[str]], Sequence[int]]:
    """Return columns without rows of empty cells, and the number of each row."""
    blank = {index for index, cell in enumerate(columns[0]) if not cell} if "" in columns[0] else set()
    blank = {index for index in blank if not any(column[index] for column in columns)}
    if not blank:
        return columns, numbers
    kept = [index for index in range(len(columns[0])) if index not in blank]
    return [[column[index] for index in kept] for column in columns], [numbers[index] for index in kept]


def _sort_out(
    records: Sequence[Sequence[str]], numbers: Sequence[int], width: int
) -> tuple[list[list[str]], list[int], list[tuple[int, list[str], str]]]:
    """Return the rows that fit the header, their numbers, and the others with the reason; empty ones are left out."""
    fit, rows, bad = [], [], []
    for number, record in zip(numbers, records, strict=True):
        row = [cell.strip() for cell in record]
        while len(row) > width and not row[-1]:
            row.pop()
        if not any(row):
            continue
        if len(row) != width:
            bad.append((number, row, f"{len(row)} cells where the header has {width}"))
            continue
        fit.append(row)
        rows.append(number)
    return fit, rows, bad


def _without_control(columns: list[list[str]], file: str, book: FaultBook) -> list[list[str]]:
    """Return columns without signs that cannot be seen, and tell how many cells held some."""
    cleaned, count = [], 0
    for column in columns:
        whole = "".join(column)
        # what must go is never printable, and the question is asked faster so
        if whole.isprintable() or CONTROL.search(whole) is None:
            cleaned.append(column)
            continue
        count += sum(CONTROL.search(cell) is not None for cell in column)
        cleaned.append([CONTROL.sub("", cell).strip() for cell in column])
    if count:
        book.assume(file, f"{count} cells hold control characters or hidden signs", "They were taken out.")
    return cleaned


def _say_nameless(header: list[str], columns: list[list[str]], file: str, book: FaultBook) -> None:
    """Tell which columns have cells and no name."""
    without = [
        str(number)
        for number, (name, column) in enumerate(zip(header, columns, strict=True), start=1)
        if not name and any(column)
    ]
    if without:
        book.assume(file, f"column {', '.join(without)} has no name", "It was not read.")


def layer_table(
    file: str, header: Sequence[str], columns: list[list[str]], count: int, geometry: np.ndarray | None,
    crs: CRS | None, book: FaultBook,
) -> Table:  # fmt: skip
    """Return a table of features, numbered from 1."""
    head, *cleaned = _without_control([list(header), *columns], file, book)
    return Table(
        file=file,
        header=tuple(head),
        columns=tuple(cleaned),
        row=range(1, count + 1),
        geometry=geometry,
        crs=crs,
    )


def cell_text(value: object) -> str:
    """Return a typed cell of a sheet or layer as text: whole numbers without a point, dates as ISO."""
    if isinstance(value, str):
        return value.strip()
    if value is None or (isinstance(value, float | np.floating) and np.isnan(value)):
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    if isinstance(value, dt.datetime):
        # a sheet keeps times as fractions of a day: 13:00 may come as 12:59:59.999
        if value.microsecond and value.year < dt.MAXYEAR:
            value = (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)
        has_time = value.time() != dt.time(0)
        return value.isoformat(sep=" ", timespec="minutes") if has_time else value.date().isoformat()
    return str(value).strip()
