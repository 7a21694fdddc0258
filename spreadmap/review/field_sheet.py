"""The field sheet: empty for a new project, filled with the next survey's plants after a run."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path

import matplotlib as mpl
import numpy as np
import xlsxwriter
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from spreadmap.review.language import SOURCE, Words
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Face, PlannedSystem
from spreadmap.values.survey_answer import RANDOM_MARK
from spreadmap.values.words import ALLOWED_EVIDENCE, SURVEY_STATUSES, Method, Status

SHEET_COLUMNS = ("plant_id", "bed_id", "inspected_on", "observer", "method", "status", "evidence", "symptoms",
                 "sample_id", "note")  # fmt: skip
"""Columns of a survey table, so that a filled workbook comes back as one."""
HELP_COLUMNS = ("order", "site", "due_on", "easting", "northing")
"""Columns for the walk, behind the others; a survey table does not read them."""
SHEET_WIDTHS = (12, 10, 13, 10, 9, 13, 18, 26, 12, 30)
PAPER_WIDTHS = (54, 46, 58, 48, 38, 150, 74, 104, 54, 94)
"""Widths in points on paper; together 720, so that the sheet also fits US letter paper, landscape, unscaled."""
TICK_WORDS = (Status.CLEAN, Status.SUSPECT, Status.INFECTED, Status.NOT_FOUND)
TICKS = "status_ticks"
BLANK_ROWS = 25
LINE = 17.0
FOOT_LINES = 6
ENGLISH = Words(SOURCE, "metric")
"""Words of an empty sheet for a project that has no settings yet."""
MADE_ON = dt.datetime(2000, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One plant to look at: what is printed before the walk."""

    plant_id: str
    bed_id: str
    site: str
    order: int
    due_on: str
    easting: float
    northing: float
    note: str = ""


def sheet_rows(system: PlannedSystem, inputs: ProjectInputs) -> tuple[SheetRow, ...]:
    """Return the plants of the next survey's hours in the order of the walk: site by site, bed by bed, near to near.

    `order` keeps the place on the inspection list; plants that chance chose carry that in their note, from which a
    survey that comes back is read as a random one.
    """
    inventory, inspection = inputs.inventory, system.plan.inspection
    listed = np.flatnonzero(inspection.within_hours)
    listed = listed[np.argsort(inspection.walk[listed], kind="stable")]
    names = dict(zip(inputs.sites.site_id.tolist(), inputs.sites.name.tolist(), strict=True))
    return tuple(
        SheetRow(
            plant_id=str(inventory.plant_id[plant]),
            bed_id=str(inventory.bed_id[plant]),
            site=str(names.get(inventory.site_id[plant], "")) or str(inventory.site_id[plant]),
            order=int(place) + 1,
            due_on=str(inspection.due_on[place]),
            easting=round(float(inventory.easting[plant]), 1),
            northing=round(float(inventory.northing[plant]), 1),
            note=RANDOM_MARK if inspection.is_random[place] else "",
        )
        for place, plant in zip(listed.tolist(), inspection.plant[listed].tolist(), strict=True)
    )


def title_of(say: Words, face: Face, pest: str) -> str:
    """Return the heading of a filled sheet."""
    return say(
        "sheet.title",
        pest=say.phrase(pest),
        day=face.as_of.isoformat(),
        until=face.valid_until.isoformat(),
        mode=say(f"sheet.mode_{face.mode.value}"),
    )


@cache
def _fonts() -> tuple[str, str]:
    """Register fonts that hold more than Latin letters, and return their names, plain and bold."""
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for name, file in (("sheet", "DejaVuSans.ttf"), ("sheet-bold", "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    return "sheet", "sheet-bold"


def field_sheet_pdf(rows: Sequence[SheetRow] = (), title: str = "", say: Words = ENGLISH) -> bytes:
    """Return a sheet for the field, landscape; the same bytes every time.

    Without rows it is one page of empty ones. With rows every page belongs to one site, which its heading names.
    """
    plain, bold = _fonts()
    buffer = io.BytesIO()
    page = Canvas(buffer, pagesize=landscape(A4), invariant=1)
    page.setTitle(say("sheet.name"))
    title = title or say("sheet.empty_title")
    page.beginForm(TICKS)
    _draw_ticks(page)
    page.endForm()
    pages: list[tuple[str, Sequence[SheetRow | None]]] = []
    for site, group in groupby(rows, key=lambda row: row.site):
        plants = list(group)
        pages += [(site, plants[first : first + BLANK_ROWS]) for first in range(0, len(plants), BLANK_ROWS)]
    pages = pages or [("", [None] * BLANK_ROWS)]
    for number, (site, lines) in enumerate(pages, start=1):
        page.setFont(bold, 9)
        page.drawString(36, landscape(A4)[1] - 26, _fit(title, bold, 9, 720))
        page.setFont(plain, 9)
        if rows:
            where = site or say("sheet.no_site")
            place = say("sheet.page", site=where, n=number, pages=len(pages))
            page.drawString(36, landscape(A4)[1] - 40, _fit(place, plain, 9, 720))
        _draw_table(say, page, lines)
        page.showPage()
    page.save()
    return buffer.getvalue()


def _draw_table(say: Words, page: Canvas, lines: Sequence[SheetRow | None]) -> None:
    """Draw the head, one line per plant, and the words under the table."""
    plain, bold = _fonts()
    left, top = 36.0, landscape(A4)[1] - 48
    for row in range(len(lines) + 1):
        x, foot = left, top - (row + 1) * LINE
        filled = lines[row - 1] if row else None
        for name, wide in zip(SHEET_COLUMNS, PAPER_WIDTHS, strict=True):
            page.rect(x, foot, wide, LINE)
            if row == 0:
                page.setFont(bold, 7)
                page.drawString(x + 3, foot + 5, name)
            elif name == "status":
                page.saveState()
                page.translate(x, foot)
                page.doForm(TICKS)
                page.restoreState()
            elif filled is not None and name in ("plant_id", "bed_id", "note"):
                page.setFont(plain, 7.5)
                page.drawString(x + 3, foot + 5, _fit(getattr(filled, name), plain, 7.5, wide - 5))
            x += wide
    page.setFont(plain, 7)
    for number in range(FOOT_LINES):
        text = _fit(say(f"sheet.foot_{number + 1}", mark=RANDOM_MARK), plain, 7, 720)
        page.drawString(left, top - (len(lines) + 1) * LINE - 13 - 10.5 * number, text)


def _fit(text: str, font: str, size: float, wide: float) -> str:
    """Return a text on one line, cut with a sign where it is wider than its place."""
    text = " ".join(str(text).split())
    if pdfmetrics.stringWidth(text, font, size) <= wide:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", font, size) > wide:
        text = text[:-1]
    return f"{text}…"


def _draw_ticks(page: Canvas) -> None:
    """Draw a box to tick before every status word of one row, from its lower left corner."""
    plain, _ = _fonts()
    page.setFont(plain, 6)
    x = 4.0
    for status in TICK_WORDS:
        page.rect(x, 5, 6, 6)
        page.drawString(x + 8, 5.5, status.value)
        x += 8 + page.stringWidth(status.value, plain, 6) + 5


def field_sheet_xlsx(rows: Sequence[SheetRow] = ()) -> bytes:
    """Return the sheet as a workbook whose columns come back as a survey table; the same bytes every time.

    Every column but the date is formatted as text: a key typed as 007 stays 007. Behind the survey's own columns a
    filled sheet has `HELP_COLUMNS`.
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
    for column, name in enumerate(HELP_COLUMNS if rows else (), start=len(SHEET_COLUMNS)):
        sheet.write_string(0, column, name, bold)
        sheet.set_column(column, column, 24 if name == "site" else 12)
    for line, row in enumerate(rows, start=1):
        sheet.write_string(line, 0, row.plant_id, text)
        sheet.write_string(line, 1, row.bed_id, text)
        if row.note:
            sheet.write_string(line, SHEET_COLUMNS.index("note"), row.note, text)
        for column, name in enumerate(HELP_COLUMNS, start=len(SHEET_COLUMNS)):
            value = getattr(row, name)
            write = sheet.write_string if isinstance(value, str) else sheet.write_number
            write(line, column, value)
    lists = {
        "status": [status.value for status in SURVEY_STATUSES],
        "method": [method.value for method in Method],
        "evidence": sorted({each.value for allowed in ALLOWED_EVIDENCE.values() for each in allowed}),
    }
    last = max(5000, len(rows))
    for name, words in lists.items():
        column = SHEET_COLUMNS.index(name)
        sheet.data_validation(1, column, last, column, {"validate": "list", "source": words})
    sheet.freeze_panes(1, 1)
    book.close()
    return buffer.getvalue()
