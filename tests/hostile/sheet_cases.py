"""Workbooks: formulas, merged cells, dates as numbers, errors, sheets that reach to the far corner."""

import datetime as dt
import re
import zipfile
from pathlib import Path

import xlsxwriter
from hostile.case_files import EAST, HEADER, INVENTORY, NORTH, PROJECT, case, inventory_from, make_project, put

ROWS = [[f"P{n:02d}", "Rosa hybrida", EAST + 3 * n, NORTH] for n in range(1, 31)]
TOML = inventory_from("plants.xlsx", crs=True)
PLAIN = {"strings_to_formulas": False, "strings_to_urls": False}


def workbook(folder: Path, change=None, toml: str = TOML, top: int = 0, options=None, names=("Plants",)) -> Path:
    """Write a project whose inventory is a workbook; `change` gets the book and its first sheet, filled already."""
    make_project(folder, toml)
    path = folder / "plants.xlsx"
    with xlsxwriter.Workbook(path, PLAIN | (options or {})) as book:
        sheet, *_ = [book.add_worksheet(name) for name in names]
        for number, cells in enumerate([HEADER.split(","), *ROWS]):
            sheet.write_row(number + top, 0, cells)
        if change is not None:
            change(book, sheet)
    return path


def sheet(name: str, change=None, **how) -> None:
    """Write down a case of a workbook."""
    put(name, lambda folder: workbook(folder, change, **how))


def repack(path: Path, part: str, change) -> None:
    """Change the text of one part of a workbook."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[part] = change(parts[part].decode()).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def stored(path: Path) -> None:
    """Make a workbook say that its results were reckoned, as spreadsheet programs do when they save."""
    repack(path, "xl/workbook.xml", lambda text: text.replace(' fullCalcOnLoad="1"', ""))


def typed(row: int, column: int, value):
    return lambda book, page: page.write(row, column, value)


sheet("sheet_in_order")
sheet("sheet_with_formulas_never_reckoned", lambda book, page: page.write_formula(5, 2, "=C5+3"))
sheet("sheet_with_empty_rows_on_top", top=3)
sheet("sheet_with_keys_as_numbers", typed(5, 0, 7))
sheet("sheet_with_a_flag_as_a_key", lambda book, page: page.write_boolean(5, 0, True))
sheet("sheet_with_decimal_commas_as_text", typed(5, 2, "700015,0"))
sheet("sheet_with_formula_text", lambda book, page: (page.write(0, 4, "note"), page.write_string(5, 4, "=1+1")))
sheet("sheet_with_a_second_one", names=("Plants", "Notes"))
sheet(
    "sheet_with_the_second_one_named",
    toml=inventory_from("plants.xlsx", crs=True, more='sheet = "Notes"\n'),
    names=("Plants", "Notes"),
)
sheet("sheet_misspelt", toml=inventory_from("plants.xlsx", crs=True, more='sheet = "Plant"\n'))
sheet("sheet_with_a_cell_in_the_far_corner", typed(1_048_575, 16_383, "x"))
sheet("sheet_with_a_cell_far_down", typed(900_000, 1, "x"))
sheet("sheet_with_merged_hosts", lambda book, page: page.merge_range(5, 1, 9, 1, "Rosa canina"))
sheet("sheet_with_merged_keys", lambda book, page: page.merge_range(5, 0, 6, 0, "P05"))
sheet("sheet_with_a_merged_title", lambda book, page: page.merge_range(0, 0, 0, 3, "Roses of the town"), top=1)


@case
def sheet_with_formulas_and_results(folder):
    stored(workbook(folder, lambda book, page: page.write_formula(5, 2, "=C5+3", None, EAST + 15)))


@case
def sheet_with_formulas_without_results(folder):
    path = workbook(folder, lambda book, page: page.write_formula(5, 2, "=C5+3", None, EAST + 15))
    stored(path)
    repack(path, "xl/worksheets/sheet1.xml", lambda text: re.sub(r"(</f>)<v>[^<]*</v>", r"\1", text))


@case
def sheet_with_errors(folder):
    stored(
        workbook(
            folder, lambda book, page: (page.write(0, 4, "note"), page.write_formula(5, 4, "=1/0", None, "#DIV/0!"))
        )
    )


@case
def sheet_with_links_to_other_files(folder):
    def link(book, page):
        page.write(0, 4, "note")
        page.write_formula(5, 4, "='/etc/[passwd]Sheet1'!A1", None, "root")
        page.write_url(6, 4, "external:/etc/passwd")

    stored(workbook(folder, link))


@case
def sheet_with_entities(folder):
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>'
    path = workbook(folder)
    repack(path, "xl/sharedStrings.xml", lambda text: text.replace("?>", f"?>{bomb}", 1).replace("Rosa hybrida", "&c;"))


@case
def sheet_with_an_entity_from_a_file(folder):
    path = workbook(folder)
    entity = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    repack(path, "xl/worksheets/sheet1.xml", lambda text: text.replace("?>", f"?>{entity}", 1))


@case
def sheet_cut_short(folder):
    path = workbook(folder)
    path.write_bytes(path.read_bytes()[:2000])


@case
def sheet_that_is_text(folder):
    make_project(folder, TOML, plants__xlsx=INVENTORY)


@case
def sheet_of_the_old_kind(folder):
    make_project(
        folder, inventory_from("plants.xls", crs=True), plants__xls=b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600
    )


@case
def sheet_with_macros(folder):
    make_project(folder, inventory_from("plants.xlsm", crs=True), plants__xlsm=b"PK\x03\x04")


@case
def sheet_that_is_a_zip_of_something_else(folder):
    make_project(folder, TOML)
    with zipfile.ZipFile(folder / "plants.xlsx", "w") as archive:
        archive.writestr("readme.txt", "nothing")


def dated(folder: Path, day, options=None) -> Path:
    """Write a project whose survey is a workbook with one kind of date."""
    make_project(folder, PROJECT.replace("survey.csv", "survey.xlsx"))
    with xlsxwriter.Workbook(folder / "survey.xlsx", PLAIN | (options or {})) as book:
        page, form = book.add_worksheet(), book.add_format({"num_format": "yyyy-mm-dd"})
        page.write_row(0, 0, ["plant_id", "inspected_on", "status"])
        for number in range(1, 26):
            page.write_row(number, 0, [f"P{number:02d}", "2026-05-18", "clean"])
        page.write_row(26, 0, ["P26", "", "clean"])
        if isinstance(day, dt.datetime):
            page.write_datetime(26, 1, day, form)
        else:
            page.write(26, 1, day)
    return folder / "survey.xlsx"


put("sheet_with_real_dates", lambda folder: dated(folder, dt.datetime(2026, 5, 18)))
put("sheet_with_dates_as_numbers", lambda folder: dated(folder, 46160))
put("sheet_with_dates_as_numbers_from_1904", lambda folder: dated(folder, 44698, {"date_1904": True}))
put("sheet_with_real_dates_from_1904", lambda folder: dated(folder, dt.datetime(2026, 5, 18), {"date_1904": True}))
put("sheet_with_dates_as_small_numbers", lambda folder: dated(folder, 18))
