"""Surveys are known by their content: given twice they count once, withdrawn they do not count, and nothing is erased."""

import datetime as dt
import json
import shutil
from dataclasses import fields

import numpy as np
import pytest
from made_forecasts import made_forecast
from small_projects import PROJECT, make_project, write_sheet
from typer.testing import CliRunner

from spreadmap.cli import app, exit_code
from spreadmap.errors import InputError, SettingsError
from spreadmap.io.forecast_file import forecast_text, pack_forecast
from spreadmap.io.history import forecasts_on_record, open_history, part_row
from spreadmap.io.history_surveys import last_survey, restore, withdraw, withdrawn_surveys
from spreadmap.io.read_project import check_project, read_project
from spreadmap.pipeline_history import show_history, undo_survey
from spreadmap.values.project import SurveyPart

RUNNER = CliRunner()
NOW = dt.datetime(2026, 9, 20, 8, 0, tzinfo=dt.UTC)
HEAD = "plant_id,inspected_on,status\n"
SECOND = '\n[[inputs.surveys]]\nfile = "{}"\npest_system = "rose_rosette"\n'


def survey(day, infected):
    return "".join(f"P{number:02d},{day},{'infected' if number in infected else 'clean'}\n" for number in range(1, 31))


MAY, JULY, SEPTEMBER = survey("2026-05-18", {2}), survey("2026-07-13", {2, 3}), survey("2026-09-14", {2, 3, 4})


def town(folder, *files, **more):
    """Write a project whose surveys are in one file each."""
    toml = PROJECT + "".join(SECOND.format(f"survey_{number}.csv") for number in range(2, len(files) + 1))
    named = {f"survey_{number}__csv": HEAD + rows for number, rows in enumerate(files, start=1)}
    named["survey__csv"] = named.pop("survey_1__csv")
    return make_project(folder, toml, **named, **more)


def counted(folder, as_of=None):
    """Enter a run that counted what is read now; return what was read."""
    inputs, _ = read_project(folder, as_of)
    with open_history(folder) as history:
        number = len(history.rows("SELECT id FROM runs")) + 1
        history.add_run(inputs.as_of.isoformat(), f"runs/{inputs.as_of}-{number}", "", "", "done", "0",
                        surveys=map(part_row, inputs.survey_parts))  # fmt: skip
    return inputs


def same(one, other, *, but=()):
    return all(
        np.array_equal(getattr(one, field.name), getattr(other, field.name))
        for field in fields(one)
        if field.name not in but
    )


def assumed(inputs):
    return [fault.sentence() for fault in inputs.faults if fault.weight == "assumed"]


def told_of(inputs, words):
    return [sentence for sentence in assumed(inputs) if words in sentence]


# given twice


def test_the_same_inspections_under_another_name_count_once(tmp_path):
    alone = counted(town(tmp_path / "one", MAY, JULY))
    twice = counted(town(tmp_path / "two", MAY, JULY, JULY))
    assert same(alone.surveys, twice.surveys)
    assert twice.survey_parts == alone.survey_parts
    assert told_of(twice, "survey_3.csv, column 'inspected_on': 30 inspections of 2026-07-13 are those of survey_2.csv")
    assert not told_of(alone, "count once")


def test_another_form_and_another_order_of_the_rows_are_no_other_survey(tmp_path):
    folder = town(tmp_path, MAY, "".join(reversed(MAY.splitlines(keepends=True))))
    rows = [row.split(",") for row in (HEAD + MAY).splitlines()]
    write_sheet(folder / "may.xlsx", rows)
    with (folder / "spreadmap.toml").open("a", encoding="utf-8") as file:
        file.write(SECOND.format("may.xlsx"))
    inputs, _ = read_project(folder)
    assert len(inputs.surveys) == 30
    assert [part.file for part in inputs.survey_parts] == ["survey.csv"]
    assert len(told_of(inputs, "are those of survey.csv, one by one. They count once.")) == 2


def test_a_file_that_is_named_twice_is_read_once(tmp_path):
    folder = make_project(tmp_path, PROJECT + SECOND.format("survey.csv"))
    inputs, _ = read_project(folder)
    assert len(inputs.surveys) == 2
    assert told_of(inputs, "survey.csv: the file is named twice. It was read once")


def test_one_inspection_that_differs_makes_another_survey(tmp_path):
    inputs = counted(town(tmp_path, MAY, MAY.replace("P07,2026-05-18,clean", "P07,2026-05-18,suspect")))
    assert len(inputs.surveys) == 60
    assert len(inputs.survey_parts) == 2


def test_a_file_that_grows_holds_the_surveys_it_held(tmp_path):
    first = counted(town(tmp_path, MAY + JULY))
    later = counted(town(tmp_path, MAY + JULY + SEPTEMBER))
    assert [part.rows_sha256 for part in first.survey_parts] == [part.rows_sha256 for part in later.survey_parts[:2]]
    with open_history(tmp_path) as history:
        assert [(part.day.isoformat(), part.rows) for part in last_survey(history, 28).parts] == [("2026-09-14", 30)]
        assert last_survey(history, 28).first_run == 2


# withdrawn


def test_a_withdrawn_survey_leaves_the_project_as_if_it_had_never_been(tmp_path):
    never = counted(town(tmp_path / "never", MAY, JULY))
    folder = town(tmp_path / "town", MAY, JULY, SEPTEMBER)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    counted(folder)
    said = undo_survey(folder, clock=lambda: NOW)
    assert said[0] == (
        "Withdrawn: the survey of 2026-09-14, 30 inspections in survey_3.csv; first counted by runs/2026-09-14-1."
    )
    now = counted(folder)
    assert same(now.surveys, never.surveys)
    assert (now.as_of, now.survey_parts) == (never.as_of, never.survey_parts)
    (remark,) = told_of(now, "withdrawn")
    assert remark == (
        "survey_3.csv, column 'inspected_on': 30 inspections of 2026-09-14 belong to a survey that was withdrawn. They do "
        "not count; `spreadmap undo FOLDER --restore` lets the survey count again."
    )
    assert remark in [fault.sentence() for fault in check_project(folder)]
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.name in before} == before


def test_what_is_withdrawn_can_be_taken_back_and_all_of_it_stays_on_record(tmp_path):
    folder = town(tmp_path, MAY, JULY, SEPTEMBER)
    whole = counted(folder)
    for _ in range(2):
        undo_survey(folder, clock=lambda: NOW)
    assert read_project(folder)[0].as_of == dt.date(2026, 5, 18)
    assert undo_survey(folder, take_back=True, clock=lambda: NOW)[0] == (
        "Counts again: the survey of 2026-07-13, 30 inspections in survey_2.csv."
    )
    assert read_project(folder)[0].as_of == dt.date(2026, 7, 13)
    undo_survey(folder, take_back=True, clock=lambda: NOW)
    assert same(counted(folder).surveys, whole.surveys)
    with pytest.raises(InputError, match="no survey that is withdrawn"):
        undo_survey(folder, take_back=True, clock=lambda: NOW)
    kept = show_history(folder).values["withdrawals"]
    assert [(row["number"], row["state"], row["day"]) for row in kept] == [
        (1, "withdrawn", "2026-09-14"), (2, "withdrawn", "2026-07-13"),
        (3, "counts again", "2026-07-13"), (4, "counts again", "2026-09-14"),
    ]  # fmt: skip


@pytest.mark.parametrize("how", ["under another name", "in a file that grows", "read after the inventory grew"])
def test_a_withdrawn_survey_stays_withdrawn(tmp_path, how):
    folder = town(tmp_path, MAY, SEPTEMBER + "P31,2026-09-14,clean\n")
    counted(folder)
    undo_survey(folder, clock=lambda: NOW)
    if how == "under another name":
        town(folder, MAY, JULY, SEPTEMBER + "P31,2026-09-14,clean\n")
    elif how == "in a file that grows":
        town(folder, MAY, SEPTEMBER + "P31,2026-09-14,clean\n" + survey("2026-10-12", {5}))
    else:
        rows = (folder / "inventory.csv").read_text(encoding="utf-8")
        (folder / "inventory.csv").write_text(rows + "P31,Rosa hybrida,700093,4080000\n", encoding="utf-8")
    days = {part.day.isoformat() for part in read_project(folder)[0].survey_parts}
    assert days == {"2026-05-18"} | {
        "under another name": {"2026-07-13"}, "in a file that grows": {"2026-10-12"},
    }.get(how, set())  # fmt: skip


def test_a_corrected_survey_counts_again_and_that_is_told(tmp_path):
    folder = town(tmp_path, MAY, SEPTEMBER)
    counted(folder)
    undo_survey(folder, clock=lambda: NOW)
    (folder / "survey_2.csv").write_text(HEAD + survey("2026-09-14", {2, 3}), encoding="utf-8")
    inputs = counted(folder)
    assert [part.day.isoformat() for part in inputs.survey_parts] == ["2026-05-18", "2026-09-14"]
    assert told_of(
        inputs, "survey_2.csv, column 'inspected_on': 30 inspections of 2026-09-14 differ from those of the same"
    )
    with open_history(folder) as history:
        assert last_survey(history, 28).first_run == 2
    undo_survey(folder, clock=lambda: NOW)
    assert read_project(folder)[0].as_of == dt.date(2026, 5, 18)


def test_a_correction_of_the_words_is_a_correction(tmp_path):
    folder = town(tmp_path, MAY, SEPTEMBER)
    counted(folder)
    undo_survey(folder, clock=lambda: NOW)
    with (folder / "spreadmap.toml").open("a", encoding="utf-8") as file:
        file.write('[inputs.surveys.words]\n"infected" = "suspect"\n')
    assert [part.day.isoformat() for part in read_project(folder)[0].survey_parts] == ["2026-05-18", "2026-09-14"]


# which survey is the last one


def test_the_last_survey_is_of_what_came_in_last_the_last_days(tmp_path):
    folder = town(tmp_path, MAY + JULY, survey("2026-08-30", {2}) + survey("2026-09-14", {2}))
    counted(folder)
    with open_history(folder) as history:
        days = {part.day.isoformat() for part in last_survey(history, 28).parts}
        assert days == {"2026-08-30", "2026-09-14"}
        assert {part.day.isoformat() for part in last_survey(history, 15).parts} == {"2026-09-14"}
    # results of a laboratory for an older day come in late
    town(folder, MAY + JULY, survey("2026-08-30", {2}) + survey("2026-09-14", {2}), "P09,2026-07-13,infected\n")
    counted(folder)
    with open_history(folder) as history:
        (part,) = last_survey(history, 28).parts
    assert (part.file, part.day.isoformat(), part.rows) == ("survey_3.csv", "2026-07-13", 1)


def test_days_of_one_survey_are_set_in_the_project_file(tmp_path):
    folder = town(tmp_path, MAY + JULY, survey("2026-08-30", {2}) + survey("2026-09-14", {2}))
    with (folder / "spreadmap.toml").open("a", encoding="utf-8") as file:
        file.write("[settings.survey]\nsurvey_days = 7\n")
    counted(folder)
    assert "the survey of 2026-09-14," in undo_survey(folder, clock=lambda: NOW)[0]


def test_a_run_of_an_earlier_date_does_not_move_the_last_survey(tmp_path):
    folder = town(tmp_path, MAY, JULY, SEPTEMBER)
    counted(folder)
    counted(folder, dt.date(2026, 7, 13))
    assert "the survey of 2026-09-14," in undo_survey(folder, clock=lambda: NOW)[0]


def test_a_survey_whose_file_is_gone_is_not_the_last(tmp_path):
    folder = town(tmp_path, MAY, JULY, SEPTEMBER)
    counted(folder)
    town(folder, MAY, JULY)
    counted(folder, dt.date(2026, 9, 14))
    assert "the survey of 2026-07-13," in undo_survey(folder, clock=lambda: NOW)[0]


def test_without_a_run_there_is_nothing_to_withdraw(tmp_path):
    folder = town(tmp_path, MAY)
    with pytest.raises(InputError, match="holds no survey that counts"):
        undo_survey(folder, clock=lambda: NOW)
    counted(folder)
    undo_survey(folder, clock=lambda: NOW)
    with pytest.raises(InputError, match="holds no survey that counts"):
        undo_survey(folder, clock=lambda: NOW)
    with pytest.raises(SettingsError, match=r"there is no folder "):
        undo_survey(tmp_path / "nowhere", clock=lambda: NOW)


def test_when_all_is_withdrawn_the_date_has_to_be_given(tmp_path):
    folder = town(tmp_path, MAY)
    counted(folder)
    undo_survey(folder, clock=lambda: NOW)
    with pytest.raises(InputError, match="as_of is not given and there is no inspection"):
        read_project(folder)
    assert len(read_project(folder, dt.date(2026, 5, 18))[0].surveys) == 0


# what rests on a withdrawn survey


def test_a_forecast_that_rests_on_a_withdrawn_survey_is_left_out_of_the_score(tmp_path):
    part = SurveyPart(file="s.csv", day=dt.date(2026, 5, 18), rows=3, rows_sha256="a", source_sha256="b")
    forecast = made_forecast(("1", "2"))
    row = ("rose_rosette", "2026-05-18", "2026-06-18", "relative", pack_forecast(forecast_text(forecast)))
    with open_history(tmp_path) as history:
        history.add_run(
            "2026-05-18", "runs/2026-05-18-1", "", "", "done", "0", forecasts=[row], surveys=[part_row(part)]
        )
        assert len(forecasts_on_record(history)[0]["rose_rosette"]) == 1
        withdraw(history, last_survey(history, 28), NOW, "0")
        assert forecasts_on_record(history) == (
            {}, ("The forecast of 2026-05-18 for rose_rosette is left out of the score: it rests on a survey that was "
                 "withdrawn.",),
        )  # fmt: skip
        # a run without that survey makes another forecast of the same date
        history.add_run("2026-05-18", "runs/2026-05-18-2", "", "", "done", "0", forecasts=[row])
        kept, remarks = forecasts_on_record(history)
        assert (len(kept["rose_rosette"]), remarks) == (1, ())
        restore(history, NOW, "0")
        assert len(forecasts_on_record(history)[0]["rose_rosette"]) == 1
    assert withdrawn_surveys(tmp_path) == ()


def test_scores_are_entered_once_until_they_change(tmp_path):
    with open_history(tmp_path) as history:
        for content in ("{}", "{}", '{"found": 1}', "{}"):
            history.add_run("2026-09-14", None, "", "", "done", "0",
                            scores=[("rose_rosette", "2026-05-18", "2026-07-13", "relative", content)])  # fmt: skip
        assert history.rows("SELECT run, content FROM scores ORDER BY run") == [
            (1, "{}"), (3, '{"found": 1}'), (4, "{}"),
        ]  # fmt: skip


# the commands


def test_the_commands_show_and_undo(tmp_path):
    folder = town(tmp_path / "town", MAY, JULY)
    assert RUNNER.invoke(app, ["history", str(folder)]).output == "No run is on record.\n"
    counted(folder)
    done = RUNNER.invoke(app, ["undo", str(folder)])
    assert (done.exit_code, done.output.splitlines()[0][:42]) == (0, "Withdrawn: the survey of 2026-07-13, 30 in")
    said = RUNNER.invoke(app, ["history", str(folder)]).output.splitlines()
    assert said[:3] == [
        "Runs", "run\tas_of\tfolder\tresult\tended\tversion\tinspections\tplants_changed\tproducts",
        "1\t2026-07-13\truns/2026-07-13-1\tdone\t\t0\t60\t0\t0",
    ]  # fmt: skip
    assert "2026-07-13\tsurvey_2.csv\t30\t1\t1\twithdrawn" in said
    assert "2026-05-18\tsurvey.csv\t30\t1\t1\tcounts" in said
    assert "No fit is on record." in said
    values = json.loads(RUNNER.invoke(app, ["history", str(folder), "--json"]).output)
    assert sorted(values) == ["decisions", "fits", "runs", "scores", "surveys", "withdrawals"]
    assert [row["state"] for row in values["surveys"]] == ["counts", "withdrawn"]
    back = RUNNER.invoke(app, ["undo", str(folder), "--restore"])
    assert back.output.startswith("Counts again: the survey of 2026-07-13")
    nothing = RUNNER.invoke(app, ["undo", str(folder), "--restore"])
    assert exit_code(nothing.exception) == 3


def test_showing_writes_nothing(tmp_path):
    folder = town(tmp_path / "town", MAY, JULY)
    counted(folder)
    before = sorted(path.name for path in folder.iterdir())
    show_history(folder)
    assert sorted(path.name for path in folder.iterdir()) == before
    shutil.rmtree(folder)
    with pytest.raises(SettingsError, match=r"there is no folder "):
        show_history(folder)
