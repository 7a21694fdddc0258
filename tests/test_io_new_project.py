"""The field sheet of a new project: what stands on paper, and how the workbook's cells take what is typed."""

import base64
import re
import zipfile
import zlib

import pytest
from python_calamine import CalamineWorkbook
from reportlab.pdfbase.pdfmetrics import stringWidth

from spreadmap.errors import OutputError
from spreadmap.io.new_project import BLANK_ROWS, FOOT, PAPER_WIDTHS, SHEET_COLUMNS, TICK_WORDS, new_project
from spreadmap.io.project_file import COLUMNS
from spreadmap.values.words import ALLOWED_EVIDENCE, SURVEY_STATUSES, Method

LETTER_WIDTH = 11 * 72  # US letter, landscape, in points
MARGIN = 36


def page_text(pdf):
    """All strings that are drawn, in their order; reportlab packs a page by deflate and base 85."""
    stream = re.search(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL).group(1).strip()
    drawn = zlib.decompress(base64.a85decode(stream.removesuffix(b"~>")))
    texts = re.findall(rb"\(((?:\\.|[^\\)])*)\) Tj", drawn)
    return [re.sub(rb"\\(.)", rb"\1", text).decode("latin-1") for text in texts]


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    folder = tmp_path_factory.mktemp("new") / "town"
    return folder, new_project(folder)


def test_every_named_file_exists_and_two_projects_are_the_same_bytes(project, tmp_path):
    folder, made = project
    again = new_project(tmp_path / "other")
    assert sorted(made) == sorted(folder.iterdir())
    assert [path.name for path in made] == [path.name for path in again]
    assert [path.read_bytes() for path in made] == [path.read_bytes() for path in again]


def test_the_paper_has_one_page_with_a_box_for_every_status_in_every_row(project):
    pdf = (project[0] / "field_sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1
    drawn = page_text(pdf)
    assert [text for text in drawn if text in SHEET_COLUMNS] == list(SHEET_COLUMNS)
    for status in TICK_WORDS:
        assert drawn.count(status.value) == BLANK_ROWS
    assert drawn[-len(FOOT) :] == list(FOOT)


def test_the_paper_says_what_every_tick_word_means_and_the_cautions():
    foot = " ".join(FOOT)
    for status in TICK_WORDS:
        assert f"{status.value} = " in foot
    assert "The map is not a diagnosis" in foot
    assert "confirm before digging" in foot


def test_the_sheet_fits_letter_paper_and_the_ticks_fit_their_column():
    assert sum(PAPER_WIDTHS) <= LETTER_WIDTH - 2 * MARGIN
    assert max(stringWidth(sentence, "Helvetica", 8) for sentence in FOOT) <= LETTER_WIDTH - 2 * MARGIN
    words = sum(stringWidth(status.value, "Helvetica", 7) for status in TICK_WORDS)
    boxes = 4 + 8 * len(TICK_WORDS) + 5 * (len(TICK_WORDS) - 1)  # margin, boxes, gaps between words
    assert words + boxes <= PAPER_WIDTHS[SHEET_COLUMNS.index("status")]


def test_the_workbook_has_the_survey_columns_in_their_order(project):
    book = CalamineWorkbook.from_path(str(project[0] / "field_sheet.xlsx"))
    header = book.get_sheet_by_index(0).to_python()[0]
    assert header == [name for name in COLUMNS["surveys"] if name in SHEET_COLUMNS]
    assert len(header) == len(SHEET_COLUMNS)


def test_the_lists_offer_every_word_that_is_read_and_no_other(project):
    with zipfile.ZipFile(project[0] / "field_sheet.xlsx") as book:
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


def test_keys_are_typed_as_text_and_days_as_dates(project):
    with zipfile.ZipFile(project[0] / "field_sheet.xlsx") as book:
        sheet, styles = (book.read(f"xl/{name}.xml").decode() for name in ("worksheets/sheet1", "styles"))
    cells = re.search(r"<cellXfs.*?</cellXfs>", styles, re.DOTALL).group()
    formats = re.findall(r'<xf numFmtId="(\d+)"', cells)
    # 49 is the built-in text format, ECMA-376 part 1, 18.8.30
    codes = {"0": "General", "49": "@"} | dict(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    given = {}
    for first, last, style in re.findall(r'<col min="(\d+)" max="(\d+)"[^>]*? style="(\d+)"', sheet):
        given |= dict.fromkeys(SHEET_COLUMNS[int(first) - 1 : int(last)], codes[formats[int(style)]])
    assert given == dict.fromkeys(SHEET_COLUMNS, "@") | {"inspected_on": "yyyy-mm-dd"}


def test_a_folder_that_holds_something_is_refused_and_left_as_it_was(tmp_path):
    (tmp_path / "mine.txt").write_text("kept", encoding="utf-8")
    with pytest.raises(OutputError, match=r"is not an empty folder.*Name a new folder"):
        new_project(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
