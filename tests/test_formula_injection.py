"""No table that goes out lets a spreadsheet run what somebody wrote into a note: every CSV and every sheet is looked at."""

import csv
import io
import re
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from made_results import PLANTS, made_result

from spreadmap.io.run_log import write_fault_report
from spreadmap.io.survey_plan import write_survey_plan
from spreadmap.io.write_delivery import write_delivery
from spreadmap.review.pictures import field_sheets
from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.project import Fault, RejectedRow

FORMULAS = ("=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "'=1+1", '=HYPERLINK("http://x","y")',
            "=cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0")  # fmt: skip
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
RUNS = ("=", "+", "-", "@", "\t", "\r")


def hostile_result():
    """A result in which every text that comes from files begins like a formula."""
    made = made_result(reason=FORMULAS[0])
    texts = np.array([FORMULAS[row % len(FORMULAS)] for row in range(PLANTS)], dtype=object)
    keys = np.array([f"{text} {row}" for row, text in enumerate(texts)], dtype=object)
    inventory = replace(
        made.inputs.inventory, plant_id=keys, note=texts, owner=texts, host=texts, bed_id=texts, site_id=texts
    )
    sites = replace(made.inputs.sites, name=texts[:2], owner=texts[:2])
    rejected = tuple(RejectedRow(file=text, row=1, reason=text, text=text) for text in FORMULAS)
    inputs = replace(made.inputs, inventory=inventory, sites=sites, rejected=rejected, name="=1+1")
    system = made.systems[0]
    removal = replace(system.plan.removal, decision_reason=texts[: len(system.plan.removal)])
    system = replace(system, plan=replace(system.plan, removal=removal))
    codes = {"core": "=1+1", "inner": "+1", "outer": "@x", "line": "-x"}
    profile = DeliverySettings(formats=("shapefile", "geopackage", "csv", "kml", "gpx"), domains={"ring": codes})
    return replace(
        made, inputs=inputs, systems=(system,), remarks=("=1+1",), settings=replace(made.settings, delivery=profile)
    )


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Every CSV and workbook that such a result makes."""
    folder, result = tmp_path_factory.mktemp("formulas"), hostile_result()
    (folder / "run").mkdir()
    write_delivery(folder / "run", result, pages=field_sheets(result))
    write_survey_plan(folder / "plan", result, field_sheets(result))
    faults = [
        Fault(file=text, row=None, column=text, found=text, allowed=text, remedy=text, weight="stop")
        for text in FORMULAS
    ]
    write_fault_report(folder / "faults.csv", faults)
    return folder


def cells_of(data: bytes) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(data.decode("utf-8"), newline="")) for cell in row]


def test_no_cell_of_a_csv_begins_like_a_formula_unless_it_is_a_number(written):
    paths = sorted(written.rglob("*.csv"))
    names = {path.name for path in paths}
    assert {"plants.csv", "zones.csv", "changes.csv", "rejected_rows.csv", "faults.csv", "gone_plants.csv", "costs.csv",
            "inspection_list.csv", "removal_list.csv", "blocks.csv"} <= names  # fmt: skip
    quoted = 0
    for path in paths:
        for cell in cells_of(path.read_bytes()):
            # "-" stands for "no unit"
            assert not cell.startswith(RUNS) or cell == "-" or NUMBER.fullmatch(cell), f"{path.name}: {cell!r}"
            quoted += cell.startswith("'")
    assert quoted > 10 * PLANTS


def test_no_workbook_holds_a_formula_or_a_link(written):
    books = sorted(written.rglob("*.xlsx"))
    assert len(books) >= 3
    for path in books:
        with zipfile.ZipFile(path) as book:
            for name in book.namelist():
                if "worksheets/" in name:
                    sheet = book.read(name).decode("utf-8")
                    assert "<f>" not in sheet, (path.name, name)
                    assert "<hyperlink" not in sheet, (path.name, name)
                assert "externalLink" not in name
