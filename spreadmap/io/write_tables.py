"""Lists as CSV and XLSX: text stays text, whatever a spreadsheet would like to make of it."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import xlsxwriter

from spreadmap.errors import OutputError
from spreadmap.io.layers import Layer
from spreadmap.io.short_names import POSITION, Column, Kind
from spreadmap.io.web_geometry import in_degrees
from spreadmap.values.arrays import to_date
from spreadmap.values.project import RejectedRow

STARTS_A_FORMULA = re.compile(r"^'*[=+\-@\t\r]")
QUOTED = re.compile(r"^'+[=+\-@\t\r]")


def quote_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: where it could, one quote comes in front."""
    return f"'{text}" if STARTS_A_FORMULA.match(text) else text


def unquote_formula(text: str) -> str:
    """Return the text that `quote_formula` was given."""
    return text[1:] if QUOTED.match(text) else text


def write_csv(path: Path, head: Sequence[str], rows: Iterable[Sequence[object]], *, guard: bool = True) -> Path:
    """Write a table as UTF-8 CSV with commas; texts are guarded against formulas, numbers are not touched.

    Without `guard` texts stay as they are: only for tables in which every word is our own.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            table = csv.writer(file, lineterminator="\n")
            table.writerow(head)
            for row in rows:
                table.writerow([quote_formula(value) if guard and isinstance(value, str) else value for value in row])
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def table_of(layer: Layer) -> tuple[tuple[Column, ...], list[list[Any]]]:
    """Return a point layer as a table with easting, northing, longitude and latitude, one list per row.

    Numbers that were not assessed are None here: a table without types has no need of a code.
    """
    place = np.asarray(layer.geometry, dtype=object)
    degrees = in_degrees(place, layer.crs)
    position = (
        np.round(shapely.get_x(place), 3),
        np.round(shapely.get_y(place), 3),
        np.round(shapely.get_x(degrees), 7),
        np.round(shapely.get_y(degrees), 7),
    )
    spec = [column for column in layer.spec if not _is_date_text(layer, column) and column.name != "is_cut"]
    values = [_cells(column, layer.columns[column.name]) for column in spec]
    values += [np.asarray(axis, dtype=np.float64).tolist() for axis in position]
    return (*spec, *POSITION), [list(row) for row in zip(*values, strict=True)]


def _is_date_text(layer: Layer, column: Column) -> bool:
    """Return whether a column only repeats a day as text."""
    return column.name.endswith("_text") and column.name.removesuffix("_text") in layer.columns


def _cells(column: Column, values: Any) -> list[Any]:
    """Return a column as Python values; None where nothing was assessed."""
    if column.kind is Kind.DATE:
        return [to_date(value) for value in values]
    cells = values.tolist()
    if column.kind in (Kind.NUMBER, Kind.WHOLE):
        return [None if column.missing == str(cell).removesuffix(".0") else cell for cell in cells]
    return list(cells)


def write_list_csv(path: Path, layer: Layer) -> Path:
    """Write a point layer as CSV with its long names and its position in metres and degrees."""
    spec, rows = table_of(layer)
    return write_csv(path, [column.name for column in spec], rows)


def write_list_xlsx(
    path: Path, layer: Layer, cautions: Sequence[str], about: Sequence[tuple[str, str]], as_of: dt.date
) -> Path:
    """Write a point layer as a workbook: the list, the cautions, and what the numbers mean.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    spec, rows = table_of(layer)
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    try:
        with xlsxwriter.Workbook(path, options) as book:
            book.set_properties({"created": dt.datetime.combine(as_of, dt.time()), "title": layer.name})
            head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
            day = book.add_format({"num_format": "yyyy-mm-dd"})
            wrap = book.add_format({"text_wrap": True, "valign": "top"})
            sheet = book.add_worksheet(layer.name)
            for col, column in enumerate(spec):
                sheet.write_string(0, col, column.name.replace("_", " "), head)
                sheet.set_column(col, col, 14 if column.kind is not Kind.TEXT else 18)
                for row, values in enumerate(rows, start=1):
                    _write_cell(sheet, row, col, values[col], day)
            sheet.freeze_panes(1, 1)
            sheet.autofilter(0, 0, max(len(rows), 1), len(spec) - 1)
            sheet.set_landscape()
            sheet.repeat_rows(0)
            _write_words(book.add_worksheet("cautions"), [(text,) for text in cautions], wrap)
            _write_words(book.add_worksheet("about"), about, wrap)
    except (xlsxwriter.exceptions.XlsxWriterException, OSError) as error:
        msg = f"{path.name} could not be written: {error}. Close it if it is open, or free the disk."
        raise OutputError(msg) from error
    return path


def _write_cell(sheet: Any, row: int, col: int, value: Any, day: Any) -> None:
    """Write one cell in its own type; a text is never looked at for formulas or addresses."""
    if isinstance(value, dt.date):
        sheet.write_datetime(row, col, dt.datetime.combine(value, dt.time()), day)
    elif isinstance(value, str):
        if value:
            sheet.write_string(row, col, value)
    elif value is not None:
        sheet.write_number(row, col, value)


def _write_words(sheet: Any, rows: Sequence[Sequence[str]], wrap: Any) -> None:
    """Write rows of texts."""
    for row, texts in enumerate(rows):
        for col, text in enumerate(texts):
            sheet.write_string(row, col, text, wrap)
    widths = (100,) if all(len(texts) == 1 for texts in rows) else (24, 100)
    for col, width in enumerate(widths):
        sheet.set_column(col, col, width)


def write_rejected(path: Path, rejected: Sequence[RejectedRow]) -> Path:
    """Write the rows that were put aside, each with its reason and its text as it stood in the file."""
    rows = [(row.file, row.row, row.reason, _one_line(row.text)) for row in rejected]
    return write_csv(path, ("file", "row", "reason", "text"), rows)


def _one_line(text: str) -> str:
    """Return a text of a row without line ends and without the zero byte, which no CSV can hold."""
    return text.replace("\x00", "").replace("\r", " ").replace("\n", " ")
