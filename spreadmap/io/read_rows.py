"""Cells of a table as typed columns; a row with a bad cell is put aside with its first fault."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Sequence

import numpy as np
import pandas

from spreadmap.errors import InputError, InventoryError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import COLUMNS, FileBlock, suggestion
from spreadmap.io.short_names import FACE, LAYERS, NOT_ASSESSED
from spreadmap.io.table import Table
from spreadmap.io.write_tables import unquote_formula
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray, empty_text
from spreadmap.values.project import Fault, RejectedRow

YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
DAY_ZERO = dt.date(1899, 12, 30)
"""Day zero of a spreadsheet's day numbers: 1 January 2000 is number 36526 there."""
FIRST_YEAR, LAST_YEAR = 1900, 2100
"""Years outside are typing slips; our choice."""
MOST_HINTS = 500
COLUMNS_OF_ALL_KINDS = tuple(sorted({name for names in COLUMNS.values() for name in names}))
OUR_SHORT_NAMES = {
    column.name: column.short
    for columns in LAYERS.values()
    for column in columns
    if column.name in COLUMNS_OF_ALL_KINDS
}
"""What our own Shapefiles call the columns that may come in."""
CODED = frozenset(
    column.name for columns in LAYERS.values() for column in columns if column.missing == str(NOT_ASSESSED)
)
"""Columns in which our own layers write a code where nothing was assessed."""
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
NUMBER_SIGNS = b"0123456789.+-eE"
UNIX_DAY_ZERO = dt.date(1970, 1, 1).toordinal()
DATE_PARTS = {
    "yyyy": r"(?P<year>\d{4})",
    "yy": r"(?P<short>\d{2})",
    "mm": r"(?P<month>\d{1,2})",
    "dd": r"(?P<day>\d{1,2})",
}


class Rows:
    """One table with our column names; `is_ours` says that it is a layer of an earlier delivery.

    Raises
    ------
    InputError
        If the mapping names a column that the file does not have.
    """

    def __init__(self, table: Table, block: FileBlock, book: FaultBook) -> None:
        self.table, self.block, self.book = table, block, book
        self._bad: dict[int, Fault] = {}
        self._waiting: set[int] = set()
        self._hints: dict[str, str] = {}
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
        self.is_ours = 2 * sum(column.name in names or column.short in names for column in FACE) >= len(FACE)
        self._loose = self._loose_names()
        self._short = self._short_names()
        self._coded: dict[str, int] = {}
        self._asked: set[str] = set()
        folded = [name.casefold() for name in table.header]
        for ours in COLUMNS_OF_ALL_KINDS:
            place = self.where(ours)
            if place is not None and folded.count(folded[place]) > 1:
                msg = f"has two columns named {shown(table.header[place])}. Rename one of them"
                raise InputError(msg)

    def _loose_names(self) -> dict[str, int]:
        """Return columns by our name where the file's differs in spaces and strokes only: "Plant ID" is plant_id."""
        taken = set(self._column.values())
        found: dict[str, int] = {}
        for index, name in enumerate(self.table.header):
            ours = re.sub(r"[\s./-]+", "_", name.casefold())
            if ours not in COLUMNS_OF_ALL_KINDS or ours in self._column or ours in self._names or index in taken:
                continue
            if ours in found:
                msg = (
                    f"has two columns for {ours}: {shown(self.table.header[found[ours]])} and {shown(name)}. Rename one"
                )
                raise InputError(msg)
            found[ours] = index
        return found

    def _short_names(self) -> dict[str, int]:
        """Return columns by our name where a layer of ours has its short names, as a Shapefile does.

        In any other file a column "size" may hold anything.
        """
        if not self.is_ours:
            return {}
        known = {*self._column, *self._names, *self._loose}
        return {
            ours: self._names[short]
            for ours, short in OUR_SHORT_NAMES.items()
            if ours not in known and short in self._names and self._names[short] not in self._column.values()
        }

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.table)

    def where(self, name: str) -> int | None:
        """Return the position of one of our columns, None if the file does not have it."""
        place = self._column.get(name, self._names.get(name.casefold()))
        return self._loose.get(name, self._short.get(name)) if place is None else place

    def has(self, name: str) -> bool:
        """Return whether the file has one of our columns."""
        return self.where(name) is not None

    def need(self, *names: str) -> None:
        """Raise InputError where none of the columns is there."""
        if not any(self.has(name) for name in names):
            hint = next(filter(None, (suggestion(name, self.table.header) for name in names)), "")
            has = ", ".join(self.table.header) or "none"
            msg = (
                f"has no column for {' or '.join(names)}; its columns are {has}. {hint}Add it, or map the file's own column "
                "to it in the project file"
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

    def wait(self, index: int) -> None:
        """Leave a row out whose plant may stand in a file of the inventory that could not be read; no fault of its own."""
        self._waiting.add(index)

    def hint(self, word: str, known: Sequence[str]) -> str:
        """Return "Did you mean" for a cell, for so many different ones: a column of notes would take hours."""
        if word not in self._hints and len(self._hints) < MOST_HINTS:
            self._hints[word] = suggestion(word, tuple(known))
        return self._hints.get(word, "")

    def is_bad(self, index: int) -> bool:
        """Return whether a row was put aside."""
        return index in self._bad

    def kept(self) -> BoolArray:
        """Return which rows are still good, shape (rows,)."""
        good = np.ones(len(self), dtype=np.bool_)
        good[[*self._bad, *self._waiting]] = False
        return good

    def finish(self, most_aside: float) -> None:
        """Hand the rows put aside to the book; too many of them stop the run."""
        table = self.table
        self._say_names(self._loose, "has columns whose names differ from ours in spaces or strokes")
        self._say_names(self._short, "is a layer of an earlier delivery with its short names")
        for name, count in self._coded.items():
            self.book.assume(
                table.file, f"{count} cells hold {NOT_ASSESSED}, the code of our own layers",
                "They were taken as not assessed.", column=table.header[self.where(name) or 0],
            )  # fmt: skip
        if waiting := len(self._waiting - self._bad.keys()):
            self.book.assume(table.file, f"{waiting} rows are of plants that stand in no inventory that could be read",
                             "They are looked at when all files of the inventory can be read.")  # fmt: skip
        for number, cells, reason in table.bad_rows:
            self.book.add(Fault(file=table.file, row=number, column="", found=reason, allowed="",
                                remedy="Mend the row.", weight="aside"))  # fmt: skip
            self.book.rejected.append(RejectedRow(file=table.file, row=number, reason=reason, text=" | ".join(cells)))
        for index in sorted(self._bad):
            fault = self._bad[index]
            self.book.add(fault)
            self.book.rejected.append(
                RejectedRow(
                    file=table.file, row=fault.row or 0, reason=fault.sentence(), text=" | ".join(table.cells_of(index))
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

    def _say_names(self, columns: dict[str, int], found: str) -> None:
        """Tell which columns were taken for ours by another name, of those that were looked at."""
        header = self.table.header
        taken = [f"{shown(header[place])} as {name}" for name, place in columns.items() if name in self._asked]
        if taken:
            self.book.assume(self.table.file, found, f"Taken: {', '.join(taken)}.")

    def cells(self, name: str) -> list[str]:
        """Return a column as a list of texts, empty where the file does not have it; not to be changed."""
        place = self.where(name)
        self._asked.add(name)
        if place is None:
            return [""] * len(self)
        column = self.table.columns[place]
        # text tables of ours guard their cells against spreadsheets, other formats need no guard
        is_guarded = self.is_ours and self.table.is_text and "'" in "".join(column)
        return list(map(unquote_formula, column)) if is_guarded else column

    def text(self, name: str) -> TextArray:
        """Return a column as text, empty where the file does not have it, shape (rows,)."""
        return as_text(self.cells(name)) if self.has(name) else empty_text(len(self))

    def number(
        self, name: str, default: float, least: float, most: float, *,
        other: Callable[[str], float | None] | None = None, allowed: str = "",
    ) -> FloatArray:  # fmt: skip
        """Return a column as numbers; blank cells take the default, others outside the range put their row aside.

        `other` may read a cell that is written in another way than as a plain number; `allowed` says so in words. The
        code that our own layers write in a column counts as a blank cell, and that is told.
        """
        cells = self.cells(name)
        values = np.full(len(self), default, dtype=np.float64)
        if self.where(name) is None:
            return values
        filled = is_filled(cells)
        given = cells if filled.all() else [cell for cell in cells if cell]
        values[filled] = to_numbers(given, decimal_comma=self.table.decimal_comma, other=other)
        if name in CODED and (coded := values == NOT_ASSESSED).any():
            self._coded[name] = int(coded.sum())
            values[coded], filled = default, filled & ~coded
        with np.errstate(invalid="ignore"):
            wrong = filled & ~((values >= least) & (values <= most))
        for index in np.flatnonzero(wrong).tolist():
            has_comma = "," in cells[index] and is_number(cells[index].replace(",", ".", 1))
            hint = "Write the decimal with a point. " if has_comma else ""
            self.bad(
                index,
                name,
                shown(cells[index]),
                allowed or f"a number from {least:g} to {most:g}",
                f"{hint}Correct the cell.",
            )
        return values

    def word(self, name: str, allowed: Sequence[str], default: str = "") -> TextArray:
        """Return a column of fixed words, mapped by the block's own words; others put their row aside."""
        words = {key.strip().casefold(): value for key, value in self.block.words.items()}
        known = {word.casefold(): word for word in allowed}
        cells, found, wrong = self.cells(name), {}, {}
        for cell in set(cells):
            word = words.get(cell.casefold(), cell)
            found[cell] = known.get(word.casefold(), default) if word else default
            if word and word.casefold() not in known:
                wrong[cell] = f"{self.hint(word, allowed)}Correct the cell or map the word in the project file."
        if wrong:
            said = ", ".join(word for word in allowed if word)
            for index, cell in enumerate(cells):
                if cell in wrong:
                    self.bad(index, name, shown(cell), said, wrong[cell])
        return as_text(list(map(found.__getitem__, cells)))

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
        cells = self.cells(name)
        unknown = np.iinfo(np.int64).min  # NaT as a number
        days: dict[str, int] = {"": unknown}
        wrong: set[str] = set()
        for cell in set(cells) - {""}:
            day = parse_day(cell, self.block.date_format, has_day_numbers=self.table.has_day_numbers)
            days[cell] = unknown if day is None else day.toordinal() - UNIX_DAY_ZERO
            if day is None:
                wrong.add(cell)
        if wrong:
            self._tell_dates(name, cells, wrong, lenient=lenient)
        found = np.fromiter(map(days.__getitem__, cells), dtype=np.int64, count=len(cells))
        return found.astype("datetime64[D]")

    def _tell_dates(self, name: str, cells: list[str], wrong: set[str], *, lenient: bool) -> None:
        """Put rows aside whose date is none, or tell that it was taken as unknown."""
        form = self.block.date_format or "YYYY-MM-DD"
        place = self.where(name)
        for index, cell in enumerate(cells):
            if cell not in wrong:
                continue
            if lenient:
                self.book.assume(
                    self.table.file, f"{shown(cell)} is no date written {form}", "It was taken as unknown.",
                    column=self.table.header[place] if place is not None else name, row=self.table.row[index],
                )  # fmt: skip
            else:
                self.bad(index, name, shown(cell), f"a date written {form}",
                         "Correct the cell, or declare date_format in the file's block.")  # fmt: skip


def as_text(cells: list[str]) -> TextArray:
    """Return texts as a column, shape (n,)."""
    return np.fromiter(cells, dtype=object, count=len(cells))


def is_filled(cells: list[str]) -> BoolArray:
    """Return which cells are not empty, shape (n,)."""
    return np.fromiter(map(bool, cells), dtype=np.bool_, count=len(cells))


def is_number(cell: str) -> bool:
    """Return whether a cell is a plain number: digits, sign, point, exponent; no words, no grouping, no other digits."""
    return NUMBER.fullmatch(cell) is not None


def to_numbers(
    cells: list[str], *, decimal_comma: bool, other: Callable[[str], float | None] | None = None
) -> FloatArray:
    """Return cells as numbers, NaN where one is none and `other` cannot read it either, shape (n,)."""
    given = [cell.replace(",", ".") for cell in cells] if decimal_comma else cells
    # of these signs alone, float() makes nothing that is_number would not let pass
    if not "".join(given).encode("utf-8", "surrogatepass").translate(None, NUMBER_SIGNS):
        try:
            return np.fromiter(map(float, given), dtype=np.float64, count=len(given))
        except ValueError:
            pass
    values = np.full(len(given), np.nan)
    for index, cell in enumerate(given):
        if is_number(cell):
            values[index] = float(cell)
        elif other is not None and (found := other(cells[index])) is not None:
            values[index] = found
    return values


def fold_key(key: str) -> str:
    """Return a key without what people do not see: capitals, spaces, and how an accent is put together."""
    if not key.isascii():
        key = unicodedata.normalize("NFC", key)
    return "".join(key.split()).casefold()


def fold_keys(keys: list[str]) -> list[str]:
    """Return `fold_key` of every key."""
    whole = "".join(keys)
    if keys and whole.isascii() and "".join(whole.split()) == whole:
        return "\n".join(keys).casefold().split("\n")
    return list(map(fold_key, keys))


def distinct(*columns: TextArray | DateArray | FloatArray) -> tuple[IntArray, list[int]]:
    """Return numbers that are equal where all columns are, and a row in which each number stands; shape (rows,)."""
    which = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        numbers, kinds = pandas.factorize(column)
        which = pandas.factorize(which * len(kinds) + numbers)[0].astype(np.int64)
    rows = np.zeros(int(which.max(initial=-1)) + 1, dtype=np.int64)
    rows[which] = np.arange(len(which))
    return which, rows.tolist()


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
