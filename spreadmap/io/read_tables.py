"""Any table as text cells, its row numbers and its shapes, whatever the format; the meaning of columns comes later."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from pyproj import CRS
from python_calamine import CalamineError, CalamineWorkbook

from spreadmap.errors import CrsError, InputError
from spreadmap.io import guard
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import FileBlock, suggestion
from spreadmap.io.read_crs import file_crs, parse_crs, same_crs

SEPARATORS = (",", ";", "\t", "|")
MOST_COLUMNS = 2000
EXCEL_DAY_ZERO = dt.date(1899, 12, 30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One file as text. `cells` are rows of the file's own columns; `row` is the number of each row in the file.

    For a .csv or .xlsx the header is row 1; for a layer of shapes, `row` is the number of the feature, first 1.
    `decimal_comma` says that 1,5 is one and a half; `has_day_numbers` that a date may come as a spreadsheet's day
    number. `bad_rows` are rows that cannot be told apart into columns, with the reason.
    """

    file: str
    header: tuple[str, ...]
    cells: list[list[str]]
    row: list[int]
    geometry: np.ndarray | None = None
    crs: CRS | None = None
    decimal_comma: bool = False
    has_day_numbers: bool = False
    bad_rows: tuple[tuple[int, list[str], str], ...] = ()

    def __len__(self) -> int:
        """Return the number of rows that could be told apart."""
        return len(self.cells)


def read_table(path: Path, file: str, block: FileBlock, book: FaultBook, *, shapes: bool = True) -> Table:
    """Return a table from any of the formats.

    Parameters
    ----------
    path : Path
        A file that `guard.check_local_file` has let pass.
    file : str
        Its name in messages.
    block : FileBlock
        Its block in the project file.
    book : FaultBook
        Takes assumptions, for example about the encoding.
    shapes : bool
        Whether the table may have shapes; if not, formats of shapes are read for their columns alone.

    Returns
    -------
    Table

    Raises
    ------
    InputError
        If the file is not what it says, cannot be read, or (CrsError) has shapes without a CRS.
    """
    ending = guard.check_kind(path, tuple(guard.TABLES))
    if ending in (".csv", ".tsv", ".txt"):
        return _read_text(path, file, block, book)
    if ending == ".xlsx":
        return _read_sheet(path, file, block)
    return _read_layer(path, file, block, ending, book, shapes)


def _decode(data: bytes, file: str, book: FaultBook) -> str:
    """Return text from UTF-8, UTF-16 with its mark, or else Windows-1252 with a stated assumption."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            msg = "is not whole UTF-16 text. Save it as UTF-8"
            raise InputError(msg) from error
    if b"\x00" in data:
        msg = "is not text. Export it as CSV"
        raise InputError(msg)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        msg = f"is neither UTF-8 nor Windows-1252 text (byte {error.start}). Save it as UTF-8"
        raise InputError(msg) from error
    book.assume(file, "is not UTF-8; it was read as Windows-1252", "Check accents, or save the file as UTF-8.")
    return text


def _sniff(text: str) -> str:
    """Return the separator that stands most often, outside quotes, in the first line that is not empty."""
    line = next((line for line in text.splitlines() if line.strip()), "")
    outside = "".join(part for index, part in enumerate(line.split('"')) if index % 2 == 0)
    return max(SEPARATORS, key=outside.count)


def _read_text(path: Path, file: str, block: FileBlock, book: FaultBook) -> Table:
    """Return a delimited table."""
    text = _decode(path.read_bytes(), file, book)
    separator = block.separator or _sniff(text)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as error:
        msg = f"cannot be told apart into columns ({error}). Check quotes, or export it again"
        raise InputError(msg) from error
    while records and not any(cell.strip() for cell in records[0]):
        records.pop(0)
    return _table_from_records(records, file, decimal_comma=separator in (";", "\t"))


def _table_from_records(
    records: Sequence[Sequence[str]], file: str, *, decimal_comma: bool = False, has_day_numbers: bool = False
) -> Table:
    """Return a table from rows of which the first is the header; empty rows are passed over."""
    if not records or not any(cell.strip() for cell in records[0]):
        msg = "is empty. Give a table with column names in its first row"
        raise InputError(msg)
    header = tuple(cell.strip() for cell in records[0])
    while header and not header[-1]:
        header = header[:-1]
    if len(header) > MOST_COLUMNS:
        msg = f"has {len(header)} columns; allowed: {MOST_COLUMNS}. Export the columns that are needed"
        raise InputError(msg)
    cells, rows, bad = [], [], []
    for number, record in enumerate(records[1:], start=2):
        row = [cell.strip() for cell in record]
        while len(row) > len(header) and not row[-1]:
            row.pop()
        if not any(row):
            continue
        if len(row) != len(header):
            bad.append((number, row, f"{len(row)} cells where the header has {len(header)}"))
            continue
        cells.append(row)
        rows.append(number)
    return Table(file=file, header=header, cells=cells, row=rows, decimal_comma=decimal_comma,
                 has_day_numbers=has_day_numbers, bad_rows=tuple(bad))  # fmt: skip


def cell_text(value: object) -> str:
    """Return a typed cell of a sheet or layer as text: whole numbers without a point, dates as ISO."""
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


def _read_sheet(path: Path, file: str, block: FileBlock) -> Table:
    """Return one sheet of a workbook."""
    guard.check_zip(path)
    try:
        workbook = CalamineWorkbook.from_path(str(path))
        names = workbook.sheet_names
        name = block.sheet or names[0]
        if name not in names:
            hint = suggestion(name, names)
            msg = f"has no sheet {shown(name)}; allowed: {', '.join(names)}. {hint}Correct sheet = in the project file"
            raise InputError(msg)
        values = workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except (CalamineError, OSError, IndexError) as error:
        msg = f"cannot be read as a workbook ({error}). Save it again as .xlsx"
        raise InputError(msg) from error
    records = [[cell_text(value) for value in row] for row in values]
    width = max((index + 1 for index, cell in enumerate(records[0]) if cell), default=0) if records else 0
    records = [[*row, *[""] * (width - len(row))] for row in records]
    return _table_from_records(records, file, has_day_numbers=True)


def _read_layer(path: Path, file: str, block: FileBlock, ending: str, book: FaultBook, shapes: bool) -> Table:
    """Return one layer of shapes."""
    address = str(path)
    beside: list[str] = []
    if ending == ".zip":
        inner, beside = guard.find_zipped_shapefile(path, block.layer)
        address = f"/vsizip/{path}/{inner}"
    elif ending == ".shp":
        beside = guard.shapefile_parts(path)
    layer = _choose_layer(address, block) if ending == ".gpkg" else None
    try:
        info = pyogrio.read_info(address, layer=layer)
        guard.check_driver(info["driver"], guard.TABLES[ending])
        meta, _, wkb, data = pyogrio.raw.read(
            address, layer=layer, read_geometry=shapes, datetime_as_string=True, force_2d=True
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, UnboundLocalError) as error:
        # pyogrio leaves the text of a CRS that it cannot write out unset: an UnboundLocalError of its own
        if isinstance(error, InputError):
            raise
        msg = f"cannot be read ({' '.join(str(error).split())}). Export it again"
        raise InputError(msg) from error
    if beside and ".cpg" not in beside and any(not _is_ascii(column) for column in data):
        book.assume(
            file, f"has no .cpg; its text was read as {meta['encoding']}", "Check accents, or add the .cpg file."
        )
    columns = [[_layer_text(value) for value in column.tolist()] for column in data]
    count = len(wkb) if wkb is not None else len(columns[0]) if columns else 0
    geometry = shapely.from_wkb(wkb, on_invalid="ignore") if shapes and wkb is not None else None
    return Table(
        file=file,
        header=tuple(str(name) for name in meta["fields"]),
        cells=[list(row) for row in zip(*columns, strict=True)] if columns else [[] for _ in range(count)],
        row=list(range(1, count + 1)),
        geometry=geometry,
        crs=_layer_crs(meta["crs"], block, beside) if geometry is not None else None,
    )


def _layer_text(value: object) -> str:
    """Return a cell of a layer; the date form of some drivers (2026/05/18) becomes ISO."""
    text = json.dumps(value) if isinstance(value, list | dict) else cell_text(value)
    if len(text) >= 10 and text[4] == "/" and text[7] == "/" and text[:4].isdigit():
        text = text[:10].replace("/", "-") + text[10:]
    return text


def _is_ascii(column: np.ndarray) -> bool:
    """Return whether a column of text has no accents."""
    return column.dtype != object or all(value is None or str(value).isascii() for value in column.tolist())


def _choose_layer(address: str, block: FileBlock) -> str:
    """Return the layer of a GeoPackage that the project file means."""
    try:
        names = [str(name) for name, kind in pyogrio.list_layers(address) if kind is not None or name == block.layer]
    except pyogrio.errors.DataSourceError as error:
        msg = f"cannot be opened ({' '.join(str(error).split())}). Export it again"
        raise InputError(msg) from error
    if block.layer and block.layer in names:
        return block.layer
    if not block.layer and len(names) == 1:
        return names[0]
    found = f"has no layer {shown(block.layer)}" if block.layer else f"has {len(names)} layers"
    msg = f'{found}; allowed: {", ".join(names)}. {suggestion(block.layer, names)}Say which: layer = "name"'
    raise InputError(msg)


def _layer_crs(text: str | None, block: FileBlock, beside: Sequence[str]) -> CRS:
    """Return the CRS of a layer: its own, or the declared one where it has none; a contradiction is refused."""
    declared = parse_crs(block.crs) if block.crs else None
    if text is None:
        if declared is None:
            missing = "has no .prj and so no CRS" if beside and ".prj" not in beside else "has no CRS"
            msg = f'{missing}; it is never guessed. Export it with one, or declare crs = "EPSG:..." in its block'
            raise CrsError(msg)
        return declared
    own = file_crs(text)
    if declared is not None and not same_crs(own, declared):
        msg = f"has the CRS {own.name}, but its block declares {block.crs}. Remove crs from the block, or export again"
        raise CrsError(msg)
    return own
