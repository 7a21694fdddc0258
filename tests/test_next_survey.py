"""The next survey: plants drawn at random, hours shared with removal, a planned day, and bad input."""

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
from made_results import made_inputs, made_inspection, made_removal, made_result, without_findings
from small_records import inventory_at, state_with

from spreadmap.decisions.next_survey import (
    hours_shares,
    random_sample,
    shared_hours,
    survey_headlines,
    with_survey,
)
from spreadmap.decisions.survey_sizes import survey_size
from spreadmap.errors import OutputError, SettingsError
from spreadmap.io.survey_plan import write_survey_plan
from spreadmap.review.pictures import field_sheets
from spreadmap.values.settings import InspectionSettings, RemovalSettings, Settings, SurveySettings

ON = dt.date(2026, 10, 12)
BEDS = inventory_at(*[(3 * i, 0) for i in range(600)], bed=[f"b{i // 30}" for i in range(600)])
STATE = state_with(BEDS, infected=range(20))


def sample_of(hours, plants=BEDS, state=STATE, **survey):
    settings = Settings(inspection=InspectionSettings(hours_per_survey=hours), survey=SurveySettings(**survey))
    return random_sample(plants, state, settings, ON)


def test_the_sample_is_the_same_for_the_same_seed_and_day_and_another_for_others():
    first = sample_of(24)
    assert (first.plant == sample_of(24).plant).all()
    assert first.plant.tolist() != sample_of(24, random_seed=2).plant.tolist()
    settings = Settings(inspection=InspectionSettings(hours_per_survey=24))
    assert first.plant.tolist() != random_sample(BEDS, STATE, settings, dt.date(2026, 11, 9)).plant.tolist()
    assert not set(first.plant.tolist()) & set(range(20))
    assert len(set(first.plant.tolist())) == len(first)


def test_the_sample_holds_the_design_where_the_hours_reach_and_says_so():
    wanted = survey_size(580, 0.01, 0.9, 0.55)
    assert sample_of(1000).wanted == wanted
    made = sample_of(1000)
    assert len(made) == wanted
    assert "that holds the design, 1 % at 90 % confidence" in made.sentence
    assert f"{wanted} plants of 580 drawn at random" in made.sentence


def test_with_fewer_hours_it_is_the_quick_check_and_then_what_they_reach():
    quick = survey_size(580, 0.05, 0.95, 0.55)
    made = sample_of(24)
    assert len(made) == quick
    assert "Not the design" in made.sentence
    # a quarter of two hours are 30 minutes: by hand, a first plant with its way is 6.5, further ones 1.5 or 6.5
    few = sample_of(2)
    beds = len({BEDS.bed_id[plant] for plant in few.plant})
    assert 1.5 * len(few) + 5 * beds <= 30
    assert len(few) < quick
    assert "Not the design" in few.sentence


def test_no_hours_for_chance_and_nothing_to_draw_from():
    none = sample_of(24, random_share=0)
    assert len(none) == 0
    assert "A clean survey then states nothing" in none.sentence
    assert "Raise" in none.sentence
    gone = inventory_at((0, 0))
    assert sample_of(24, gone, state_with(gone, infected=[0])).sentence == "No standing host is left to draw from."


def test_a_lot_too_small_for_the_design_says_not_reachable():
    plants = inventory_at(*[(3 * i, 0) for i in range(30)], bed="b")
    made = sample_of(24, plants, state_with(plants))
    assert made.wanted is None
    assert "not reachable" in made.sentence


def test_one_pot_is_shared_as_asked_and_left_alone_otherwise():
    settings = Settings(
        inspection=InspectionSettings(hours_per_survey=24), removal=RemovalSettings(crew_hours_per_week=30)
    )
    assert shared_hours(settings) is settings
    made = shared_hours(replace(settings, survey=SurveySettings(looking_share=0.25)))
    # 24 + 2 people times 30 are 84 person-hours
    assert made.inspection.hours_per_survey == pytest.approx(21)
    assert made.removal.crew_hours_per_week == pytest.approx(31.5)
    all_looking = shared_hours(replace(settings, survey=SurveySettings(looking_share=1)))
    assert all_looking.removal.crew_hours_per_week == 0


def test_the_curve_of_shared_hours_by_hand():
    look = made_inspection(np.arange(30, dtype=float))
    removal = made_removal()
    settings = Settings(
        inspection=InspectionSettings(hours_per_survey=0.5), removal=RemovalSettings(crew_hours_per_week=1.0)
    )
    rows = hours_shares(removal, look, settings)
    assert [row.share for row in rows] == [step / 10 for step in range(11)]
    assert all(row.looking_hours + row.removing_hours == pytest.approx(2.5) for row in rows)
    # three plants with 5 + 1.5 minutes, all others 1.5: in half an hour 3 and then seven more
    assert rows[2].looked_at == 3 + int((30 - 19.5) / 1.5)
    assert rows[0].looked_at == 0
    assert rows[10].looked_at == len(look)
    # removal in person-hours: 80 minutes, 30, 30, 45, 50 and 30; two and a half hours hold the first three
    assert (rows[0].removed, rows[10].removed) == (3, 0)
    for column in ("looked_at", "looked_worth"):
        assert (np.diff([getattr(row, column) for row in rows]) >= 0).all()
    for column in ("removed", "removed_worth"):
        assert (np.diff([getattr(row, column) for row in rows]) <= 0).all()
    assert rows[10].looked_worth == pytest.approx(1)


def test_a_planned_survey_has_its_day_and_hours():
    inputs, settings = with_survey(made_inputs(), Settings(survey=SurveySettings(looking_share=0.5)), ON, 6)
    assert inputs.next_survey_on == ON
    assert settings.inspection.hours_per_survey == 6
    assert shared_hours(settings).inspection.hours_per_survey == 6
    late, same = with_survey(made_inputs(), Settings(), dt.date(2027, 3, 1), None)
    assert late.horizon_on == dt.date(2027, 3, 1)
    assert same.inspection.hours_per_survey == Settings().inspection.hours_per_survey


@pytest.mark.parametrize(
    ("on", "hours", "says"),
    [
        (dt.date(2026, 9, 13), 6, "the day of the survey is 2026-09-13; allowed: 2026-09-14, the date of the state"),
        (ON, 0, "the hours of the survey are 0; allowed: above 0 to 10000 person-hours. Say how many"),
        (ON, -2, "the hours of the survey are -2; allowed"),
        (ON, float("nan"), "the hours of the survey are nan; allowed"),
        (dt.date(2026, 9, 1), 0, "day of the survey is 2026-09-01.*; the hours of the survey are 0"),
    ],
)
def test_a_day_in_the_past_and_no_hours_are_refused_with_the_remedy(on, hours, says):
    with pytest.raises(SettingsError, match=says):
        with_survey(made_inputs(), Settings(), on, hours)


def test_a_plan_is_written_whole_in_walking_order_and_the_same_bytes(tmp_path):
    result = made_result()
    for name in ("one", "two"):
        summary = write_survey_plan(tmp_path / name, result, field_sheets(result))
    files = sorted(path.relative_to(tmp_path / "one").as_posix() for path in (tmp_path / "one").rglob("*.*"))
    assert files == [
        "rose_rosette/field_sheet.pdf", "rose_rosette/field_sheet.xlsx", "rose_rosette/inspection_list.csv",
        "rose_rosette/survey_statement.csv", "summary.json",
    ]  # fmt: skip
    assert [(tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes() for name in files] == [
        True
    ] * 5
    head, *rows = (tmp_path / "one/rose_rosette/inspection_list.csv").read_text(encoding="utf-8").splitlines()
    walk = head.split(",").index("walk_order")
    assert [int(row.split(",")[walk]) for row in rows] == list(range(1, 21))
    assert json.loads((tmp_path / "one/summary.json").read_text(encoding="utf-8"))["systems"][0]["plants"] == 20
    assert summary["systems"][0]["drawn_at_random"] == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "two"]


def test_a_plan_replaces_an_earlier_one_only_where_it_may(tmp_path):
    folder = tmp_path / "plan"
    folder.mkdir()
    (folder / "mine.txt").write_text("x")
    with pytest.raises(OutputError, match="is not an empty folder, and nothing in it is overwritten"):
        write_survey_plan(folder, made_result(), {})
    assert (folder / "mine.txt").exists()
    write_survey_plan(folder, made_result(), {}, may_replace=True)
    assert not (folder / "mine.txt").exists()
    assert (folder / "summary.json").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_plan_that_fails_leaves_the_earlier_one(tmp_path):
    folder = tmp_path / "plan"
    write_survey_plan(folder, made_result(), {})
    before = (folder / "summary.json").read_bytes()
    with pytest.raises(OutputError, match="could not be written"):
        write_survey_plan(
            folder,
            made_result(),
            {"summary.json/x": b"a file where a folder must be", "summary.json": b""},
            may_replace=True,
        )
    assert (folder / "summary.json").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_headlines_tell_hours_chance_and_what_is_not_reached():
    first, *more = survey_headlines(made_result())
    assert "20 plants of 23 in 0.8 person-hours, 2 drawn at random" in first
    assert more == ["2 plants of 23 drawn at random.", "Made for tests."]
    assert survey_headlines(replace(made_result(), systems=()))[0].startswith("No pest system")
    assert "0 plants of 0" in survey_headlines(without_findings(made_result()))[0]
