"""A new project: its files, that nothing is overwritten, and that the sheet comes back as a survey."""

import numpy as np
import pytest
from python_calamine import CalamineWorkbook
from small_projects import CRS, INVENTORY

from spreadmap.errors import OutputError
from spreadmap.io.project_file import COLUMNS
from spreadmap.pipeline import check_project, new_project, read_project

FILES = {"spreadmap.toml", "inventory.csv", "survey.csv", "work_log.csv", "field_sheet.pdf", "field_sheet.xlsx"}


def test_the_files_of_a_new_project(tmp_path):
    made = new_project(tmp_path / "town")
    assert {path.name for path in made} == FILES
    assert all(path.stat().st_size > 0 for path in made)
    for name, kind in (("inventory", "inventory"), ("survey", "surveys"), ("work_log", "work_log")):
        header = (tmp_path / "town" / f"{name}.csv").read_text(encoding="utf-8").strip().split(",")
        assert set(header) <= set(COLUMNS[kind])


def test_two_projects_are_the_same_bytes(tmp_path):
    one, two = new_project(tmp_path / "one"), new_project(tmp_path / "two")
    assert [path.name for path in one] == [path.name for path in two]
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_nothing_is_overwritten(tmp_path):
    new_project(tmp_path / "town")
    with pytest.raises(OutputError, match="is not an empty folder, and nothing in it is overwritten"):
        new_project(tmp_path / "town")
    file = tmp_path / "file"
    file.write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match=r"is not an empty folder.*Name a new folder"):
        new_project(file)
    assert file.read_text(encoding="utf-8") == "x"
    (tmp_path / "empty").mkdir()
    assert len(new_project(tmp_path / "empty")) == len(FILES)


def test_a_new_project_asks_for_what_is_missing(tmp_path):
    new_project(tmp_path / "town")
    assert "Give the working CRS" in check_project(tmp_path / "town")[0].sentence()


def test_the_workbook_comes_back_as_a_survey_and_a_filled_project_is_read(tmp_path):
    folder = tmp_path / "town"
    new_project(folder)
    header = CalamineWorkbook.from_path(str(folder / "field_sheet.xlsx")).get_sheet_by_index(0).to_python()[0]
    assert set(header) <= set(COLUMNS["surveys"])
    row = dict.fromkeys(header, "") | {"plant_id": "P01", "inspected_on": "2026-05-18", "status": "suspect"}
    (folder / "survey.csv").write_text(",".join(header) + "\n" + ",".join(row.values()) + "\n", encoding="utf-8")
    (folder / "inventory.csv").write_text(INVENTORY, encoding="utf-8")
    toml = (folder / "spreadmap.toml").read_text(encoding="utf-8")
    toml = toml.replace('crs = "" ', f'crs = "{CRS}" ').replace(
        'crs = "EPSG:4326"             # of', f'crs = "{CRS}" # of'
    )
    (folder / "spreadmap.toml").write_text(toml, encoding="utf-8")
    values, _ = read_project(folder)
    assert values.surveys.status.tolist() == ["suspect"]
    assert values.as_of.isoformat() == "2026-05-18"
    assert np.isfinite(values.inventory.longitude).all()
    assert not values.faults
