"""A new project: commented project file, empty tables, a field sheet on paper and as a workbook."""

from __future__ import annotations

import datetime as dt
import io
from importlib import resources
from pathlib import Path

import xlsxwriter
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfgen.canvas import Canvas

from spreadmap.errors import OutputError
from spreadmap.values.words import ALLOWED_EVIDENCE, SURVEY_STATUSES, Method

TEMPLATES = ("spreadmap.toml", "inventory.csv", "survey.csv", "work_log.csv")
SHEET_COLUMNS = ("plant_id", "bed_id", "inspected_on", "observer", "method", "status", "evidence", "symptoms",
                 "sample_id", "note")  # fmt: skip
SHEET_WIDTHS = (12, 10, 13, 10, 9, 13, 18, 26, 12, 30)
BLANK_ROWS = 24
FOOT = (
    "status: clean (inspected, nothing seen), suspect, infected (test, or typical symptoms together), not_found. An empty "
    "row was not inspected.",
    "The map is not a diagnosis: confirm before digging on other people's land. Local codes come first.",
)
MADE_ON = dt.datetime(2000, 1, 1)


def new_project(folder: Path) -> tuple[Path, ...]:
    """Make a project folder and return the files in it.

    Raises
    ------
    OutputError
        If the folder is not empty, or cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"{folder} is not an empty folder, and nothing in it is overwritten. Name a new folder."
        raise OutputError(msg)
    files = {name: (resources.files("spreadmap.io") / "templates" / name).read_bytes() for name in TEMPLATES} | {
        "field_sheet.pdf": field_sheet_pdf(),
        "field_sheet.xlsx": field_sheet_xlsx(),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (folder / name).write_bytes(content)
    except OSError as error:
        msg = f"{folder} could not be written: {error}. Name another folder."
        raise OutputError(msg) from error
    return tuple(folder / name for name in files)


def field_sheet_pdf() -> bytes:
    """Return a sheet for the field, one landscape page; the same bytes every time."""
    buffer = io.BytesIO()
    width, height = landscape(A4)
    page = Canvas(buffer, pagesize=landscape(A4), invariant=1)
    page.setTitle("Field sheet")
    page.setFont("Helvetica-Bold", 12)
    page.drawString(36, height - 36, "Field sheet: one row per inspected plant")
    total, left, top, line = sum(SHEET_WIDTHS), 36.0, height - 52, 17.5
    page.setFont("Helvetica", 8)
    for row in range(BLANK_ROWS + 1):
        x = left
        for name, share in zip(SHEET_COLUMNS, SHEET_WIDTHS, strict=True):
            wide = (width - 72) * share / total
            page.rect(x, top - (row + 1) * line, wide, line)
            if row == 0:
                page.drawString(x + 3, top - line + 5, name)
            x += wide
    for number, sentence in enumerate(FOOT):
        page.drawString(left, top - (BLANK_ROWS + 2) * line - 11 * number, sentence)
    page.save()
    return buffer.getvalue()


def field_sheet_xlsx() -> bytes:
    """Return the sheet as a workbook whose columns come back as a survey table; the same bytes every time."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Field sheet", "created": MADE_ON})
    sheet = book.add_worksheet("survey")
    bold = book.add_format({"bold": True})
    for column, (name, wide) in enumerate(zip(SHEET_COLUMNS, SHEET_WIDTHS, strict=True)):
        sheet.write_string(0, column, name, bold)
        sheet.set_column(column, column, wide)
    lists = {
        "status": [status.value for status in SURVEY_STATUSES],
        "method": [method.value for method in Method],
        "evidence": sorted({each.value for allowed in ALLOWED_EVIDENCE.values() for each in allowed}),
    }
    for name, words in lists.items():
        column = SHEET_COLUMNS.index(name)
        sheet.data_validation(1, column, 5000, column, {"validate": "list", "source": words})
    sheet.freeze_panes(1, 1)
    book.close()
    return buffer.getvalue()
