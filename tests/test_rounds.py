"""What changed since the survey before: one plant worked by hand for every kind."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from made_results import PLANTS, made_inputs, made_state, made_system

from spreadmap.records.rounds import changes_between, survey_before
from spreadmap.values.surveys import Surveys

CASES = (
    # before, now, sprout now, the kind it is
    ("clean", "infected", False, "confirmed"),
    ("suspect", "infected", False, "confirmed"),
    ("not_inspected", "infected", False, "confirmed"),
    ("clean", "suspect", False, "suspect"),
    ("infected", "infected", False, None),
    ("suspect", "suspect", False, None),
    ("infected", "removed", False, "taken"),
    ("clean", "removed", False, "taken"),
    ("removed", "removed", True, "reopened"),
    ("removed", "infected", False, "reopened"),
    ("removed", "removed", False, None),
    ("suspect", "clean", False, "cleared"),
    ("infected", "clean", False, "cleared"),
    ("clean", "clean", False, None),
    ("clean", "not_found", False, "gone"),
    ("not_found", "not_found", False, None),
    ("not_inspected", "clean", False, "seen"),
    ("not_inspected", "not_inspected", False, None),
)


def states():
    now, before = made_state(), made_state()
    count = len(CASES)
    was = np.array([*(case[0] for case in CASES), *["clean"] * (PLANTS - count)], dtype=object)
    is_ = np.array([*(case[1] for case in CASES), *["clean"] * (PLANTS - count)], dtype=object)
    sprouts = np.array([*(case[2] for case in CASES), *[False] * (PLANTS - count)])
    return replace(before, status=was), replace(now, status=is_, has_regrowth=sprouts)


def test_every_plant_is_of_one_kind_or_unchanged():
    kinds = {row: kind.key for kind in changes_between(*states()) for row in kind.plants}
    assert sum(len(kind.plants) for kind in changes_between(*states())) == len(kinds)
    for row, (was, is_, sprouts, kind) in enumerate(CASES):
        assert kinds.get(row) == kind, (was, is_, sprouts)
    assert set(kinds) <= set(range(len(CASES)))


def test_an_order_opened_again_reopens_its_place():
    before, now = states()
    again = now.reopened_on.copy()
    again[10] = np.datetime64("2026-09-01")
    kinds = {kind.key: kind.plants for kind in changes_between(before, replace(now, reopened_on=again))}
    assert 10 in kinds["reopened"]
    # one that was opened before the survey before is nothing new
    both = changes_between(replace(before, reopened_on=again), replace(now, reopened_on=again))
    assert 10 not in {kind.key: kind.plants for kind in both}["reopened"]


def looks(days, system="rose_rosette"):
    count, text = len(days), np.full(len(days), "", dtype=object)
    return Surveys(
        plant_id=np.array([f"{row:03d}" for row in range(count)], dtype=object),
        inspected_on=np.array(days, dtype="datetime64[D]"),
        observer=text, method=np.full(count, "visual", dtype=object),
        pest_system=np.full(count, system, dtype=object), status=np.full(count, "suspect", dtype=object),
        evidence=np.full(count, "visual", dtype=object), symptoms=text, sample_id=text, survey_kind=text, note=text,
        file=text, row=np.arange(count), is_bed_count=np.zeros(count, dtype=bool),
    )  # fmt: skip


def test_the_survey_before_ends_on_its_last_day():
    inputs = made_inputs()
    surveys = looks(["2026-05-02", "2026-07-10", "2026-07-13", "2026-08-20", "2026-09-14"])
    state = survey_before(inputs.inventory, surveys, inputs.work_log, made_system(), dt.date(2026, 8, 20))
    assert state.as_of == np.datetime64("2026-07-13")
    assert state.status[:5].tolist() == ["suspect", "suspect", "suspect", "not_inspected", "not_inspected"]


@pytest.mark.parametrize(
    ("days", "system", "first"),
    [(["2026-08-20"], "rose_rosette", dt.date(2026, 8, 20)), (["2026-05-02"], "lime_gall", dt.date(2026, 8, 20)),
     (["2026-05-02"], "rose_rosette", None)],
    ids=["first survey", "another pest", "nobody looked"],
)  # fmt: skip
def test_without_an_earlier_survey_there_is_no_state_before(days, system, first):
    inputs = made_inputs()
    assert survey_before(inputs.inventory, looks(days, system), inputs.work_log, made_system(), first) is None
