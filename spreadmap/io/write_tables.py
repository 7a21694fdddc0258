"""Lists as CSV and XLSX: text stays text, whatever a spreadsheet would like to make of it."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
import xlsxwriter

from spreadmap.errors import OutputError
from spreadmap.io.layers import Layer, day_texts, each_word, is_one_value, number_texts
from spreadmap.io.short_names import NOT_ASSESSED, POSITION, Column, Kind
from spreadmap.io.web_geometry import turned_places
from spreadmap.values.arrays import FloatArray, to_date
from spreadmap.values.project import RejectedRow

WKT = Column(
    name="wkt", short="wkt", kind=Kind.TEXT, unit="-", meaning="Area as well-known text in the CRS of the delivery"
)
"""The column of areas in a table."""
ROWS_AT_ONCE = 50_000
STARTS_A_FORMULA = re.compile(r"^'*[=+\-@\t\r\n]")
QUOTED = re.compile(r"^'+[=+\-@\t\r\n]")
NEEDS_CARE = re.compile(r"""^'*[=+\-@\t]|[,"\r]""", re.MULTILINE)
"""Of texts on lines of their own, what makes one of them more than a plain cell."""


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
            guarded = ([_safe(value) if isinstance(value, str) else value for value in row] for row in rows)
            table.writerows(guarded if guard else rows)
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def _safe(text: str) -> str:
    """Return a text as a cell: no formula, and no line end that the library would leave without quotes."""
    return quote_formula(text).replace("\r\n", "\n").replace("\r", "\n")


def list_columns(layer: Layer) -> tuple[Column, ...]:
    """Return the columns of a layer as a table has them: no day twice, no mark of cut texts."""
    return tuple(column for column in layer.spec if not _is_date_text(layer, column) and column.name != "is_cut")


def table_of(layer: Layer) -> tuple[tuple[Column, ...], list[list[Any]]]:
    """Return a point layer as a table with easting, northing, longitude and latitude, one list per row.

    Numbers that were not assessed are None here: a table without types has no need of a code.
    """
    spec = list_columns(layer)
    values = [_cells(column, layer.columns[column.name]) for column in spec]
    values += [axis.tolist() for axis in positions(layer.geometry, layer.crs)]
    return (*spec, *POSITION), [list(row) for row in zip(*values, strict=True)]


def positions(points: npt.NDArray[np.object_], crs: str) -> tuple[FloatArray, ...]:
    """Return easting, northing, longitude and latitude of points, each (n,), rounded to 0.001 and 1e-7."""
    east, north = shapely.get_x(points), shapely.get_y(points)
    longitude, latitude = turned_places(east, north, crs)
    return np.round(east, 3), np.round(north, 3), np.round(longitude, 7), np.round(latitude, 7)


def _is_date_text(layer: Layer, column: Column) -> bool:
    """Return whether a column only repeats a day as text."""
    return column.name.endswith("_text") and column.name.removesuffix("_text") in layer.columns


def _cells(column: Column, values: Any) -> list[Any]:
    """Return a column as Python values; None where nothing was assessed."""
    if column.kind is Kind.DATE:
        return [to_date(value) for value in values]
    cells: list[Any] = values.tolist()
    if column.missing == str(NOT_ASSESSED) and column.kind in (Kind.NUMBER, Kind.WHOLE):
        return [None if cell == NOT_ASSESSED else cell for cell in cells]
    return cells


def _csv_cells(column: Column, values: Any) -> list[str]:
    """Return a column as it stands in a CSV: texts guarded against formulas, numbers in full, nothing where unknown."""
    if column.kind is Kind.DATE:
        days: list[str] = day_texts(values).tolist()
        return days
    if column.kind in (Kind.TEXT, Kind.FLAG):
        words: list[str] = values.tolist()
        known = set(words)
        whole = "\n".join(known)
        if whole.count("\n") == len(known) - 1 and NEEDS_CARE.search(whole) is None:
            return words
        cells: list[str] = each_word(words, lambda text: _csv_word(_safe(text))).tolist()
        return cells
    figures = number_texts(values)
    if column.missing == str(NOT_ASSESSED):
        for row in np.flatnonzero(values == NOT_ASSESSED).tolist():
            figures[row] = ""
    return figures


def _csv_word(text: str) -> str:
    """Return a text as a cell, in quotes where it needs them."""
    if "," in text or '"' in text or "\n" in text:
        return '"' + text.replace('"', '""') + '"'
    return text


def write_layer_csv(path: Path, layer: Layer) -> Path:
    """Write a layer as CSV with its long names; points with their position, areas as well-known text (WKT).

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    spec = list_columns(layer)
    is_point = layer.geometry_type == "Point"
    head = [column.name for column in (*spec, *(POSITION if is_point else (WKT,)))]
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            file.write(",".join(head) + "\n")
            file.writelines(_csv_parts(layer, spec, is_point=is_point))
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def _csv_parts(layer: Layer, spec: Sequence[Column], *, is_point: bool) -> Iterator[str]:
    """Yield the rows of a layer as text, some at a time, so that a million of them take little memory.

    Whole columns are turned into cells: the library for CSV would look at each cell of a million rows by itself.
    """
    columns = [(column, layer.columns[column.name]) for column in spec]
    usual = {column: _csv_cells(column, values[:1])[0] for column, values in columns if is_one_value(values)}
    for first in range(0, len(layer), ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        shapes = layer.geometry[rows]
        cells: list[Iterable[str]] = []
        for is_usual, neighbours in groupby(columns, lambda each: each[0] in usual):
            if is_usual:
                cells.append([",".join(usual[column] for column, _ in neighbours)] * len(shapes))
            else:
                cells += [_csv_cells(column, values[rows]) for column, values in neighbours]
        if is_point:
            cells += [number_texts(axis) for axis in positions(shapes, layer.crs)]
        else:
            cells.append(map(_csv_word, shapely.to_wkt(shapes, rounding_precision=-1).tolist()))
        yield "\n".join(map(",".join, zip(*cells, strict=True))) + "\n"


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
