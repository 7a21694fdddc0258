"""Decisions of managers as a table: own words, reasons that must be given, what is put aside."""

import dataclasses

import numpy as np
import pytest
from small_projects import write_sheet
from small_records import inventory_at

from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import FileBlock
from spreadmap.io.read_decisions import read_decisions
from spreadmap.io.read_surveys import read_work_log
from spreadmap.values.settings import InputSettings, Settings

LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))
PLANTS = dataclasses.replace(
    inventory_at(*((i, 0) for i in range(4))), plant_id=np.array([f"P{i}" for i in range(4)], dtype=object)
)
HEADER = "plant_id,decided_on,decision,until,reason"


def read(folder, rows, header=HEADER, reader=read_decisions, **keys):
    path = folder / "decisions.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    found = reader([FileBlock(file=path.name, **keys)], [path], PLANTS, LENIENT, book)
    book.raise_if_stopped()
    return found, book


def test_decisions_are_read_in_their_own_words(tmp_path):
    rows = [
        "P0,2026-09-15,accept,,",
        "p1,2026-09-15,later,2026-11-01,market week",
        "P2,2026-09-15,Refuse,,owner",
        "P3,,,,",
    ]
    found, book = read(tmp_path, rows, words={"later": "put_off"})
    assert found.plant_id.tolist() == ["P0", "P1", "P2"]  # an empty decision is none
    assert found.decision.tolist() == ["accept", "put_off", "refuse"]
    assert found.until.astype(str).tolist() == ["NaT", "2026-11-01", "NaT"]
    assert found.reason.tolist() == ["", "market week", "owner"]
    assert "1 keys differ" in book.faults[0].sentence()


def test_the_guard_of_the_page_is_taken_off_a_reason_once_and_off_text_only(tmp_path):
    row = "P0,2026-09-15,refuse,,''-5 cm only"
    found, _ = read(tmp_path, [row])
    assert found.reason.tolist() == ["'-5 cm only"]
    path = write_sheet(tmp_path / "decisions.xlsx", [HEADER.split(","), row.split(",")])
    found = read_decisions([FileBlock(file=path.name)], [path], PLANTS, LENIENT, FaultBook())
    assert found.reason.tolist() == ["''-5 cm only"]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("P9,2026-09-15,accept,,", "'P9'; allowed: a key of the inventory"),
        ("P0,,accept,,", "no date; allowed: the day of the decision"),
        ("P0,2026-09-15,maybe,,", "'maybe'; allowed: accept, put_off, refuse"),
        ("P0,2026-09-15,put off,,", "Did you mean 'put_off'"),
        ("P0,2026-09-15,refuse,,", "no reason; allowed: why the answer is refuse. Write it in a few words."),
        ("P0,2026-09-15,put_off,2026-09-15,market", "column 'until'"),
    ],
)
def test_faulty_decisions_are_put_aside(tmp_path, row, says):
    found, book = read(tmp_path, [row])
    assert len(found) == 0
    assert says in book.faults[0].sentence()


def test_a_table_without_decisions_in_it_is_refused(tmp_path):
    with pytest.raises(InputError, match="decision"):
        read(tmp_path, ["P0,2026-09-15"], header="plant_id,decided_on")


def test_no_table_is_no_decisions():
    assert len(read_decisions([], [], PLANTS, LENIENT, FaultBook())) == 0


def test_the_work_log_tells_of_orders_opened_again(tmp_path):
    header = "plant_id,done_on,done,roots_complete,reopened_on"
    log, _ = read(tmp_path, ["P0,2026-06-01,yes,yes,2026-06-20", "P1,2026-06-01,yes,yes,"], header, read_work_log)
    assert log.reopened_on.astype(str).tolist() == ["2026-06-20", "NaT"]
    log, book = read(tmp_path, ["P0,2026-06-01,yes,yes,2026-05-20"], header, read_work_log)
    assert len(log) == 0
    assert "column 'reopened_on'" in book.faults[0].sentence()
