"""Any table as text cells, its row numbers and its shapes: each format has its own reader."""

from __future__ import annotations

from pathlib import Path

from spreadmap.io import guard
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_layer import read_layer
from spreadmap.io.read_parquet import read_parquet
from spreadmap.io.read_sheet import read_sheet
from spreadmap.io.read_text import read_text
from spreadmap.io.table import Table


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
    if ending in guard.TEXTS:
        return read_text(path, file, block, book)
    if ending == ".xlsx":
        return read_sheet(path, file, block, book)
    if ending == ".parquet":
        return read_parquet(path, file, block, book, shapes)
    return read_layer(path, file, block, ending, book, shapes)
