"""The field sheet, empty and filled: what stands on paper, and how the workbook's cells take what is typed."""

import io
import re
import subprocess
import zipfile
from dataclasses import replace
from itertools import pairwise

import numpy as np
from made_results import made_result
from python_calamine import CalamineWorkbook
from reportlab.pdfbase.pdfmetrics import stringWidth

from spreadmap.io.project_file import COLUMNS
from spreadmap.review.field_sheet import (
    BLANK_ROWS,
    FOOT_LINES,
    HELP_COLUMNS,
    PAPER_WIDTHS,
    SHEET_COLUMNS,
    TICK_WORDS,
    SheetRow,
    _fonts,
    field_sheet_pdf,
    field_sheet_xlsx,
    sheet_rows,
    title_of,
)
from spreadmap.review.language import Words
from spreadmap.values.survey_answer import RANDOM_MARK
from spreadmap.values.words import ALLOWED_EVIDENCE, SURVEY_STATUSES, Method

EN = Words("en", "metric")
ES = Words("es", "metric")


def foot_of(say):
    return [say(f"sheet.foot_{line + 1}", mark=RANDOM_MARK) for line in range(FOOT_LINES)]


LETTER_WIDTH = 11 * 72  # US letter, landscape, in points
MARGIN = 36


def pages_of(pdf):
    return len(re.findall(rb"/Type /Page\b", pdf))


def row(number, site="Mill Green", plant_id=None):
    return SheetRow(
        plant_id=plant_id or f"{number:03d}", bed_id="B1", site=site, order=number, due_on="2026-09-14", easting=1.0,
        northing=2.0,
    )  # fmt: skip


def test_the_empty_sheet_is_one_page_and_the_same_bytes_every_time():
    pdf = field_sheet_pdf()
    assert pdf.startswith(b"%PDF")
    assert pages_of(pdf) == 1
    assert pdf == field_sheet_pdf()
    assert field_sheet_xlsx() == field_sheet_xlsx()


def test_the_paper_prints_keys_beds_sites_and_boxes(tmp_path, pdftotext):
    file = tmp_path / "sheet.pdf"
    file.write_bytes(field_sheet_pdf([row(1), row(2, plant_id="Роза-7")], "Field sheet, rose rosette"))
    text = subprocess.run([pdftotext, "-layout", str(file), "-"], check=True, capture_output=True).stdout.decode()
    assert "Field sheet, rose rosette" in text
    assert "Mill Green. Page 1 of 1" in text
    assert re.search(r"001\s+B1", text)
    assert "Роза-7" in text
    for status in TICK_WORDS:
        assert len(re.findall(rf"{status.value}(?! =)", text)) >= 2
    for name in SHEET_COLUMNS:
        assert name in text


def test_every_page_belongs_to_one_site():
    rows = [row(number) for number in range(BLANK_ROWS + 1)] + [row(99, "Long Walk")]
    assert pages_of(field_sheet_pdf(rows)) == 3


def test_the_paper_says_what_every_tick_word_means_and_the_cautions():
    foot = " ".join(foot_of(EN))
    for status in TICK_WORDS:
        assert f"{status.value} = " in foot
    assert "The map is not a diagnosis" in foot
    assert "confirm before digging" in foot


def test_the_sheet_fits_letter_paper_and_the_ticks_fit_their_column():
    plain, bold = _fonts()
    assert sum(PAPER_WIDTHS) <= LETTER_WIDTH - 2 * MARGIN
    assert (
        max(stringWidth(sentence, plain, 7) for say in (EN, ES) for sentence in foot_of(say))
        <= LETTER_WIDTH - 2 * MARGIN
    )
    words = sum(stringWidth(status.value, plain, 6) for status in TICK_WORDS)
    boxes = 4 + 8 * len(TICK_WORDS) + 5 * (len(TICK_WORDS) - 1)  # margin, boxes, gaps between words
    assert words + boxes <= PAPER_WIDTHS[SHEET_COLUMNS.index("status")]
    heads = zip(SHEET_COLUMNS, PAPER_WIDTHS, strict=True)
    assert all(stringWidth(name, bold, 7) <= wide - 3 for name, wide in heads)


def test_the_workbook_has_the_survey_columns_in_their_order():
    header = CalamineWorkbook.from_filelike(io.BytesIO(field_sheet_xlsx())).get_sheet_by_index(0).to_python()[0]
    assert header == [name for name in COLUMNS["surveys"] if name in SHEET_COLUMNS]
    assert len(header) == len(SHEET_COLUMNS)


def test_the_lists_offer_every_word_that_is_read_and_no_other():
    with zipfile.ZipFile(io.BytesIO(field_sheet_xlsx())) as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    lists = {
        SHEET_COLUMNS[ord(letter) - ord("A")]: set(words.split(","))
        for letter, words in re.findall(r'sqref="([A-Z])2:[^"]*"><formula1>"([^"]*)"', sheet)
    }
    assert lists == {
        "status": {status.value for status in SURVEY_STATUSES},
        "method": {method.value for method in Method},
        "evidence": {each.value for allowed in ALLOWED_EVIDENCE.values() for each in allowed},
    }


def test_keys_are_typed_as_text_and_days_as_dates():
    with zipfile.ZipFile(io.BytesIO(field_sheet_xlsx())) as book:
        sheet, styles = (book.read(f"xl/{name}.xml").decode() for name in ("worksheets/sheet1", "styles"))
    cells = re.search(r"<cellXfs.*?</cellXfs>", styles, re.DOTALL).group()
    formats = re.findall(r'<xf numFmtId="(\d+)"', cells)
    # 49 is the built-in text format, ECMA-376 part 1, 18.8.30
    codes = {"0": "General", "49": "@"} | dict(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    given = {}
    for first, last, style in re.findall(r'<col min="(\d+)" max="(\d+)"[^>]*? style="(\d+)"', sheet):
        given |= dict.fromkeys(SHEET_COLUMNS[int(first) - 1 : int(last)], codes[formats[int(style)]])
    assert given == dict.fromkeys(SHEET_COLUMNS, "@") | {"inspected_on": "yyyy-mm-dd"}


def test_hostile_keys_stay_text_in_the_workbook():
    keys = ["=1+1", "007", '<b onload="x">']
    made = field_sheet_xlsx([row(number, plant_id=key) for number, key in enumerate(keys, start=1)])
    table = CalamineWorkbook.from_filelike(io.BytesIO(made)).get_sheet_by_index(0).to_python()
    assert [line[0] for line in table[1:]] == keys
    assert table[0][len(SHEET_COLUMNS) :] == list(HELP_COLUMNS)
    with zipfile.ZipFile(io.BytesIO(made)) as book:
        assert "<f>" not in book.read("xl/worksheets/sheet1.xml").decode()


def test_the_rows_are_the_survey_hours_site_by_site_and_bed_by_bed():
    result = made_result()
    system = result.systems[0]
    rows = sheet_rows(system, result.inputs)
    inspection = system.plan.inspection
    listed = inspection.plant[inspection.within_hours]
    assert {line.plant_id for line in rows} == set(result.inputs.inventory.plant_id[listed].tolist())
    assert sorted(line.order for line in rows) == list(range(1, len(listed) + 1))
    for walked in ([line.site for line in rows], [(line.site, line.bed_id) for line in rows]):
        changes = sum(a != b for a, b in pairwise(walked))
        assert changes == len(set(walked)) - 1
    walked = np.argsort(inspection.walk[inspection.within_hours])
    assert [line.plant_id for line in rows] == result.inputs.inventory.plant_id[listed][walked].tolist()
    drawn = result.inputs.inventory.plant_id[inspection.plant[inspection.is_random]].tolist()
    assert {line.plant_id for line in rows if line.note == RANDOM_MARK} == set(drawn)
    assert {line.note for line in rows} == {"", RANDOM_MARK}
    assert np.isfinite([line.easting for line in rows]).all()


def test_titles_of_both_languages_fit_their_line():
    _, bold = _fonts()
    face = made_result().systems[0].face
    for say in (EN, ES):
        assert stringWidth(title_of(say, face, "rose rosette"), bold, 9) <= LETTER_WIDTH - 2 * MARGIN


def test_the_title_says_dates_and_mode_and_no_chance():
    title = title_of(EN, made_result().systems[0].face, "rose rosette")
    assert "relative" in title
    assert not re.search("chance|probab|likel", title)


def test_a_plant_that_chance_chose_carries_its_note_on_paper_and_back(tmp_path, pdftotext):
    drawn = replace(row(1), note=RANDOM_MARK)
    file = tmp_path / "sheet.pdf"
    file.write_bytes(field_sheet_pdf([drawn, row(2)], "t"))
    text = subprocess.run([pdftotext, "-layout", str(file), "-"], check=True, capture_output=True).stdout.decode()
    (line,) = [line for line in text.splitlines() if re.search(r"001\s+B1", line)]
    assert RANDOM_MARK in line
    table = (
        CalamineWorkbook.from_filelike(io.BytesIO(field_sheet_xlsx([drawn, row(2)]))).get_sheet_by_index(0).to_python()
    )
    assert [cells[SHEET_COLUMNS.index("note")] for cells in table] == ["note", RANDOM_MARK, ""]
