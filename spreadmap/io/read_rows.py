"""Cells of a table as typed columns; a row with a bad cell is put aside with its first fault."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

import numpy as np

from spreadmap.errors import InputError, InventoryError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import COLUMNS, FileBlock, suggestion
from spreadmap.io.read_tables import Table
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, TextArray
from spreadmap.values.project import Fault, RejectedRow

YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
DAY_ZERO = dt.date(1899, 12, 30)
"""Day zero of a spreadsheet's day numbers: 1 January 2000 is number 36526 there."""
FIRST_YEAR, LAST_YEAR = 1900, 2100
"""Years outside are typing slips; our choice."""
COLUMNS_OF_ALL_KINDS = tuple(sorted({name for names in COLUMNS.values() for name in names}))
DATE_PARTS = {
    "yyyy": r"(?P<year>\d{4})",
    "yy": r"(?P<short>\d{2})",
    "mm": r"(?P<month>\d{1,2})",
    "dd": r"(?P<day>\d{1,2})",
}


class Rows:
    """One table with our column names.

    Raises
    ------
    InputError
        If the mapping names a column that the file does not have.
    """

    def __init__(self, table: Table, block: FileBlock, book: FaultBook) -> None:
        self.table, self.block, self.book = table, block, book
        self._bad: dict[int, Fault] = {}
        names = {name.casefold(): index for index, name in reversed(list(enumerate(table.header)))}
        self._column: dict[str, int] = {}
        for ours, theirs in block.columns.items():
            if theirs.strip().casefold() not in names:
                hint = suggestion(theirs, table.header)
                msg = (
                    f"has no column {shown(theirs)} (for {ours}); allowed: {', '.join(table.header)}. {hint}Correct the "
                    "mapping in the project file"
                )
                raise InputError(msg)
            self._column[ours] = names[theirs.strip().casefold()]
        self._names = names
        folded = [name.casefold() for name in table.header]
        for ours in COLUMNS_OF_ALL_KINDS:
            place = self.where(ours)
            if place is not None and folded.count(folded[place]) > 1:
                msg = f"has two columns named {shown(table.header[place])}. Rename one of them"
                raise InputError(msg)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.table)

    def where(self, name: str) -> int | None:
        """Return the position of one of our columns, None if the file does not have it."""
        return self._column.get(name, self._names.get(name.casefold()))

    def has(self, name: str) -> bool:
        """Return whether the file has one of our columns."""
        return self.where(name) is not None

    def need(self, *names: str) -> None:
        """Raise InputError where none of the columns is there."""
        if not any(self.has(name) for name in names):
            msg = (
                f"has no column for {' or '.join(names)}; its columns are {', '.join(self.table.header)}. Add it, or map "
                "the file's own column to it in the project file"
            )
            raise InputError(msg)

    def bad(self, index: int, name: str, found: str, allowed: str, remedy: str) -> None:
        """Put a row aside; the first fault of a row is the one that is told."""
        if index not in self._bad:
            place = self.where(name)
            column = self.table.header[place] if place is not None else name
            self._bad[index] = Fault(
                file=self.table.file, row=self.table.row[index], column=column, found=found, allowed=allowed,
                remedy=remedy, weight="aside",
            )  # fmt: skip

    def is_bad(self, index: int) -> bool:
        """Return whether a row was put aside."""
        return index in self._bad

    def kept(self) -> BoolArray:
        """Return which rows are still good, shape (rows,)."""
        good = np.ones(len(self), dtype=np.bool_)
        good[list(self._bad)] = False
        return good

    def finish(self, most_aside: float) -> None:
        """Hand the rows put aside to the book; too many of them stop the run."""
        table = self.table
        for number, cells, reason in table.bad_rows:
            self.book.add(Fault(file=table.file, row=number, column="", found=reason, allowed="",
                                remedy="Mend the row.", weight="aside"))  # fmt: skip
            self.book.rejected.append(RejectedRow(file=table.file, row=number, reason=reason, text=" | ".join(cells)))
        for index in sorted(self._bad):
            fault = self._bad[index]
            self.book.add(fault)
            self.book.rejected.append(
                RejectedRow(
                    file=table.file, row=fault.row or 0, reason=fault.sentence(), text=" | ".join(table.cells[index])
                )
            )
        self.book.rows[table.file] = len(table) - len(self._bad)
        lost, every = len(self._bad) + len(table.bad_rows), len(table) + len(table.bad_rows)
        if every and lost / every > most_aside:
            self.book.stop(
                table.file, f"{lost} of {every} rows cannot be used",
                "Mend the rows listed, or raise settings.inputs.most_rows_aside.",
                allowed=f"at most {most_aside:.0%} of a file", error=InventoryError,
            )  # fmt: skip

    def text(self, name: str) -> TextArray:
        """Return a column as text, empty where the file does not have it, shape (rows,)."""
        place = self.where(name)
        cells = [""] * len(self) if place is None else [row[place] for row in self.table.cells]
        return np.array(cells, dtype=object) if cells else np.zeros(0, dtype=object)

    def number(self, name: str, default: float, least: float, most: float) -> FloatArray:
        """Return a column as numbers; blank cells take the default, others outside the range put their row aside."""
        values = np.full(len(self), default, dtype=np.float64)
        for index, cell in enumerate(self.text(name).tolist()):
            if not cell:
                continue
            given = cell.replace(",", ".") if self.table.decimal_comma else cell
            try:
                value = float(given)
            except ValueError:
                value = float("nan")
            if not least <= value <= most:
                self.bad(index, name, shown(cell), f"a number from {least:g} to {most:g}", "Correct the cell.")
            values[index] = value
        return values

    def word(self, name: str, allowed: Sequence[str], default: str = "") -> TextArray:
        """Return a column of fixed words, mapped by the block's own words; others put their row aside."""
        words = {key.strip().casefold(): value for key, value in self.block.words.items()}
        known = {word.casefold(): word for word in allowed}
        found = []
        for index, cell in enumerate(self.text(name).tolist()):
            word = words.get(cell.casefold(), cell)
            if not word:
                found.append(default)
                continue
            if word.casefold() not in known:
                self.bad(index, name, shown(cell), ", ".join(word for word in allowed if word),
                         f"{suggestion(word, list(allowed))}Correct the cell or map the word in the project file.")  # fmt: skip
            found.append(known.get(word.casefold(), default))
        return np.array(found, dtype=object) if found else np.zeros(0, dtype=object)

    def flag(self, name: str, *, default: bool) -> BoolArray:
        """Return a column of yes and no."""
        found = self.word(name, (*YES, *NO))
        return np.array([default if word == "" else word in YES for word in found.tolist()], dtype=np.bool_)

    def whole_number(self, name: str, default: float, least: float, most: float) -> FloatArray:
        """Return a column as whole numbers (still as floats, NaN may be the default)."""
        values = self.number(name, default, least, most)
        for index in np.flatnonzero(np.isfinite(values) & (values != np.round(values))).tolist():
            self.bad(index, name, f"'{values[index]:g}'", "a whole number", "Correct the cell.")
        return values

    def date(self, name: str, *, lenient: bool = False) -> DateArray:
        """Return a column of dates; blank cells are NaT.

        Others that are no date put their row aside, or count as unknown, and that is told, where `lenient`.
        """
        found = np.full(len(self), "NaT", dtype="datetime64[D]")
        for index, cell in enumerate(self.text(name).tolist()):
            if not cell:
                continue
            day = parse_day(cell, self.block.date_format, has_day_numbers=self.table.has_day_numbers)
            if day is None:
                form = self.block.date_format or "YYYY-MM-DD"
                if lenient:
                    place = self.where(name)
                    self.book.assume(
                        self.table.file, f"{shown(cell)} is no date written {form}", "It was taken as unknown.",
                        column=self.table.header[place] if place is not None else name, row=self.table.row[index],
                    )  # fmt: skip
                    continue
                self.bad(index, name, shown(cell), f"a date written {form}",
                         "Correct the cell, or declare date_format in the file's block.")  # fmt: skip
            else:
                found[index] = day
        return found


def fold_key(key: str) -> str:
    """Return a key without what people do not see: capitals, and spaces."""
    return "".join(key.split()).casefold()


def parse_day(cell: str, date_format: str = "", *, has_day_numbers: bool = False) -> dt.date | None:
    """Return the date in a cell, None if there is none; no order of day and month is ever guessed."""
    text = cell.strip()
    iso = re.fullmatch(r"(\d{4}-\d{2}-\d{2})([T ]\d{2}:\d{2}\S*)?", text)
    try:
        day = dt.date.fromisoformat(iso[1]) if iso else _other_day(text, date_format, has_day_numbers=has_day_numbers)
    except ValueError:
        return None
    return day if day is not None and FIRST_YEAR <= day.year <= LAST_YEAR else None


def _other_day(text: str, date_format: str, *, has_day_numbers: bool) -> dt.date | None:
    """Return a date in a declared form, or a spreadsheet's day number."""
    if has_day_numbers and re.fullmatch(r"\d{5}", text):
        return DAY_ZERO + dt.timedelta(days=int(text))
    if not date_format:
        return None
    pattern = re.escape(date_format.lower())
    for part, form in DATE_PARTS.items():
        if part != "yy" or "year" not in pattern:
            pattern = pattern.replace(part, form, 1)
    match = re.fullmatch(pattern, text)
    if match is None:
        return None
    parts = match.groupdict()
    year = int(parts["year"]) if parts.get("year") else 2000 + int(parts["short"])
    return dt.date(year, int(parts["month"]), int(parts["day"]))
