"""One sheet of a workbook: its last stored values, merged cells, and what a sheet may claim to be."""

from __future__ import annotations

import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree

from python_calamine import CalamineError, CalamineWorkbook

from spreadmap.errors import InputError
from spreadmap.io import guard
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock, suggestion
from spreadmap.io.table import Table, cell_text, table_from_records

MOST_CELLS = 25_000_000
"""Largest sheet that is laid out, empty cells included; two cells in far corners claim far more."""
MOST_MERGED = 2_000_000
PROLOG_BYTES = 65_536
CELL = re.compile(rb"<(?:\w+:)?c(?=[\s>/])")
"""Where a cell begins. The text is cut there: looking for the end of each takes for ever where there is none."""
FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
STORED = re.compile(rb"<(?:\w+:)?(?:v|t)(?:\s[^>]*)?>[^<]")
COLUMN = re.compile(rb"""\sr=["']([A-Za-z]{1,9})\d""")
ROW = re.compile(rb"""\sr=["'][A-Za-z]*(\d{1,9})["']""")
WORKBOOK, RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
IS_ERROR = b't="e"'


@dataclass(frozen=True, slots=True, kw_only=True)
class _Book:
    """What a workbook says of itself: part of each sheet by name, and whether its results are still to be reckoned."""

    parts: dict[str, str]
    is_unreckoned: bool
    counts_from_1904: bool


def read_sheet(path: Path, file: str, block: FileBlock, book: FaultBook) -> Table:
    """Return one sheet of a workbook: values as last stored, cells merged downward repeated in each of their rows.

    Raises
    ------
    InputError
        If it cannot be read, has no such sheet, claims to be too large, or holds formulas without results.
    """
    guard.check_zip(path)
    parts = _parts(path)
    try:
        with CalamineWorkbook.from_path(str(path)) as workbook:
            names = workbook.sheet_names
            name = _choose(names, block)
            _check_part(path, name, parts, file, book)
            sheet = workbook.get_sheet_by_name(name)
            values = sheet.to_python(skip_empty_area=False)
            merged = list(sheet.merged_cell_ranges or ())
    except (CalamineError, OSError, IndexError, ValueError, OverflowError) as error:
        if isinstance(error, InputError):
            raise
        msg = f"cannot be read as a workbook ({' '.join(str(error).split())}). Save it again as .xlsx"
        raise InputError(msg) from error
    # a stray cell far down makes a million empty rows
    nothing = [""] * max((len(row) for row in values[:1]), default=0)
    records = [[cell_text(value) for value in row] if row != nothing else [] for row in values]
    _fill_merged(records, merged, file, book)
    head = next((row for row in records if any(row)), [])
    width = max((index + 1 for index, cell in enumerate(head) if cell), default=0)
    records = [[*row, *[""] * (width - len(row))] if row else row for row in records]
    return table_from_records(records, file, book, has_day_numbers=not parts.counts_from_1904)


def _choose(names: list[str], block: FileBlock) -> str:
    """Return the sheet that the project file means: the first one where it names none."""
    if not names:
        msg = "holds no sheet. Save it again as .xlsx"
        raise InputError(msg)
    name = block.sheet or names[0]
    if name not in names:
        hint = suggestion(name, names)
        msg = f"has no sheet {shown(name)}; allowed: {', '.join(names)}. {hint}Correct sheet = in the project file"
        raise InputError(msg)
    return name


def _parts(path: Path) -> _Book:
    """Return what the workbook says of itself, after looking that no part declares entities."""
    try:
        with zipfile.ZipFile(path) as archive:
            for entry in archive.infolist():
                if entry.filename.lower().endswith((".xml", ".rels")):
                    with archive.open(entry) as part:
                        prolog = part.read(PROLOG_BYTES)
                    if b"<!DOCTYPE" in prolog or b"<!ENTITY" in prolog:
                        msg = "declares XML entities, which no spreadsheet program writes. Save it again as .xlsx"
                        raise InputError(msg)
            names = set(archive.namelist())
            if not {WORKBOOK, RELATIONS} <= names:
                return _Book(parts={}, is_unreckoned=False, counts_from_1904=False)
            tree, ways = (ElementTree.fromstring(archive.read(name)) for name in (WORKBOOK, RELATIONS))
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, ElementTree.ParseError, KeyError,
            ValueError) as error:  # fmt: skip
        if isinstance(error, InputError):
            raise
        msg = f"cannot be unpacked as a workbook ({error}). Save it again as .xlsx"
        raise InputError(msg) from error
    targets = {each.get("Id", ""): each.get("Target", "") for each in ways}
    parts = {}
    for each in tree.iter():
        if each.tag.endswith("}sheet"):
            key = next((value for name, value in each.attrib.items() if name.endswith("}id")), "")
            target = targets.get(key, "")
            parts[each.get("name", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    notes = {each.tag.rpartition("}")[2]: each.attrib for each in tree.iter()}
    return _Book(
        parts={name: part for name, part in parts.items() if str(PurePosixPath(part)) in names},
        is_unreckoned=notes.get("calcPr", {}).get("fullCalcOnLoad", "0") in ("1", "true"),
        counts_from_1904=notes.get("workbookPr", {}).get("date1904", "0") in ("1", "true"),
    )


def _check_part(path: Path, name: str, parts: _Book, file: str, book: FaultBook) -> None:
    """Refuse a sheet that claims too many cells or holds formulas without results; tell of formulas and errors."""
    if name not in parts.parts:
        return
    with zipfile.ZipFile(path) as archive:
        data = archive.read(parts.parts[name])
    rows = max(map(int, set(ROW.findall(data))), default=0)
    columns = max((_column_number(letters) for letters in set(COLUMN.findall(data))), default=0)
    if rows * columns > MOST_CELLS:
        msg = (
            f"sheet {shown(name)} reaches to row {rows:,} and column {columns:,}, empty cells included; allowed: "
            f"{MOST_CELLS:,} cells. Delete stray cells far from the table, or export it as CSV"
        )
        raise InputError(msg)
    formulas = without = errors = 0
    if FORMULA.search(data) or IS_ERROR in data:
        for cell in CELL.split(data)[1:]:
            marks, _, inside = cell.partition(b">")
            has_formula = FORMULA.search(inside) is not None
            formulas += has_formula
            without += has_formula and STORED.search(inside) is None and b't="str"' not in marks
            errors += IS_ERROR in marks
    if formulas and (parts.is_unreckoned or without):
        msg = (
            f"sheet {shown(name)} holds {formulas} formulas, and results of {formulas if parts.is_unreckoned else without} "
            "are not stored; formulas are never evaluated. Open and save it in a spreadsheet program, or paste their values"
        )
        raise InputError(msg)
    if formulas:
        book.assume(file, f"{formulas} cells hold formulas", "The results stored with the file were read.")
    if errors:
        book.assume(file, f"{errors} cells hold errors such as #N/A", "They were read as empty.")


def _column_number(letters: bytes) -> int:
    """Return the number of a column from its letters: A is 1, AA is 27."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _fill_merged(
    records: list[list[str]], merged: list[tuple[tuple[int, int], tuple[int, int]]], file: str, book: FaultBook
) -> None:
    """Repeat the value of cells merged downward in each of their rows; cells merged across keep theirs on the left."""
    filled = 0
    for (top, left), (bottom, _) in merged:
        below = records[top + 1 : bottom + 1]
        if not below or left >= len(records[top]) or not records[top][left]:
            continue
        filled += len(below)
        if filled > MOST_MERGED:
            msg = f"holds more than {MOST_MERGED:,} cells merged with the one above. Take the cells apart, and save it again"
            raise InputError(msg)
        for row in below:
            row.extend([""] * (left + 1 - len(row)))
            row[left] = records[top][left]
    if filled:
        book.assume(
            file, f"{filled} cells are merged with the one above", "Its value was taken for each of their rows."
        )
