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
from spreadmap.values.words import ALLOWED_EVIDENCE, SURVEY_STATUSES, Method, Status

TEMPLATES = ("spreadmap.toml", "inventory.csv", "survey.csv", "work_log.csv")
SHEET_COLUMNS = ("plant_id", "bed_id", "inspected_on", "observer", "method", "status", "evidence", "symptoms",
                 "sample_id", "note")  # fmt: skip
SHEET_WIDTHS = (12, 10, 13, 10, 9, 13, 18, 26, 12, 30)
PAPER_WIDTHS = (54, 46, 58, 48, 38, 150, 74, 104, 54, 94)
"""Widths in points on paper; together 720, so that the sheet also fits US letter paper, landscape, unscaled."""

TICK_WORDS = (Status.CLEAN, Status.SUSPECT, Status.INFECTED, Status.NOT_FOUND)
BLANK_ROWS = 25
FOOT = (
    "status, tick one: clean = inspected, nothing seen; suspect = symptoms seen, not confirmed; infected = test, or "
    "typical symptoms together;",
    "not_found = no such plant at its place. A row without a tick was not inspected, which is not the same as clean.",
    "method: visual (eye or lens) or test. evidence of infected: lab or typical_symptoms; of clean: visual or lab; of the "
    "others: visual; empty = what is usual.",
    "plant_id as in the inventory, with its leading zeros. inspected_on as year-month-day.",
    "The map is not a diagnosis: confirm before digging. On other people's land ask first. Local codes come first.",
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
    height = landscape(A4)[1]
    page = Canvas(buffer, pagesize=landscape(A4), invariant=1)
    page.setTitle("Field sheet")
    page.setFont("Helvetica-Bold", 12)
    page.drawString(36, height - 36, "Field sheet: one row per inspected plant")
    left, top, line = 36.0, height - 48, 17.0
    for row in range(BLANK_ROWS + 1):
        x, foot = left, top - (row + 1) * line
        for name, wide in zip(SHEET_COLUMNS, PAPER_WIDTHS, strict=True):
            page.rect(x, foot, wide, line)
            if row == 0:
                page.setFont("Helvetica-Bold", 8)
                page.drawString(x + 3, foot + 5, name)
            elif name == "status":
                _draw_ticks(page, x, foot)
            x += wide
    page.setFont("Helvetica", 8)
    for number, sentence in enumerate(FOOT):
        page.drawString(left, top - (BLANK_ROWS + 1) * line - 13 - 10.5 * number, sentence)
    page.save()
    return buffer.getvalue()


def _draw_ticks(page: Canvas, x: float, foot: float) -> None:
    """Draw a box to tick before every status word of one row."""
    page.setFont("Helvetica", 7)
    x += 4
    for status in TICK_WORDS:
        page.rect(x, foot + 5, 6, 6)
        page.drawString(x + 8, foot + 5.5, status.value)
        x += 8 + page.stringWidth(status.value, "Helvetica", 7) + 5


def field_sheet_xlsx() -> bytes:
    """Return the sheet as a workbook whose columns come back as a survey table; the same bytes every time.

    Every column but the date is formatted as text: a key typed as 007 stays 007.
    """
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Field sheet", "created": MADE_ON})
    sheet = book.add_worksheet("survey")
    bold = book.add_format({"bold": True})
    text, day = book.add_format({"num_format": "@"}), book.add_format({"num_format": "yyyy-mm-dd"})
    for column, (name, wide) in enumerate(zip(SHEET_COLUMNS, SHEET_WIDTHS, strict=True)):
        sheet.write_string(0, column, name, bold)
        sheet.set_column(column, column, wide, day if name == "inspected_on" else text)
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
