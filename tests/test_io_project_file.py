"""The project file: its template is complete, misspelt keys are told with a suggestion, all faults together."""

import re
import tomllib
from dataclasses import replace
from importlib import resources

import pytest
from small_projects import PROJECT

from spreadmap.errors import SettingsError
from spreadmap.io.project_file import COLUMNS, parse_project_file, read_project_file
from spreadmap.io.read_settings import read_settings
from spreadmap.values.settings import Settings

TEMPLATE = (resources.files("spreadmap.io") / "templates" / "spreadmap.toml").read_text(encoding="utf-8")


def uncommented(text):
    """Return the template with every commented key and table in use, and a CRS."""
    keys = re.compile(r'^# (?=\[|[a-z_0-9S]+ = |"[^"]*" = )')
    lines = [keys.sub("", line) for line in text.split("# ---- Inputs")[1].splitlines()]
    head = text.split("# ---- Inputs")[0].replace('crs = "" ', 'crs = "EPSG:32614" ')
    kept = [line for line in lines if not line.startswith(("#   ", " ."))]
    return "\n".join([*(keys.sub("", line) for line in head.splitlines()), *kept[1:]])


def test_every_key_of_the_template_can_be_used_as_it_stands():
    project = parse_project_file(tomllib.loads(uncommented(TEMPLATE)))
    assert len(project.project.holidays) == 2
    assert project.inputs.surveys[0].dates.keys() == {"MAY26", "JUL26"}
    settings = read_settings(project.settings)
    # names, codes and a CRS of the desk have no default that could stand there: they are examples
    assert settings.delivery.domains["ring"].keys() == {"core", "inner", "outer", "line"}
    desk = replace(settings.delivery, crs="", file_names={}, short_names={}, domains={})
    assert replace(settings, delivery=desk) == Settings()


def test_the_template_names_every_column_and_every_kind():
    project = parse_project_file(tomllib.loads(uncommented(TEMPLATE)))
    for kind, names in COLUMNS.items():
        block = getattr(project.inputs, kind)[0]
        shown = set(getattr(block, "columns", {})) | {name for name in names if f"# {name} " in TEMPLATE}
        assert shown >= set(names) - {"bed_id", "n_inspected", "n_infected"}, kind


def test_the_template_as_delivered_asks_for_a_crs():
    with pytest.raises(SettingsError, match=r"'project.crs' is empty. Give the working CRS"):
        parse_project_file(tomllib.loads(TEMPLATE))


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("name =", "nmae =", r"'project.nmae'; allowed: name, .*Did you mean 'name'\?"),
        ("[[inputs.inventory]]", "[[inputs.inventry]]", r"'inputs.inventry';.*Did you mean 'inventory'"),
        ("pest_system =", "pest_sytem =", r"'inputs.surveys.1.pest_sytem'.*Did you mean 'pest_system'"),
        ('file = "survey.csv"', "file = 3", r"'inputs.surveys.1.file' = '3'; allowed: a valid string"),
        ('name = "Testing"', 'name = "T"\nas_of = "2026-09-14"', r"'project.as_of' = '2026-09-14'"),
        ('file = "survey.csv"', 'sheet = "a"', r"'inputs.surveys.1.file' is missing. Add it."),
        ('file = "survey.csv"', 'file = "s.csv"\ncolumns = {plant = "x"}', r"columns.plant'.*Did you mean 'plant_id'"),
    ],
)
def test_a_faulty_key_says_where_what_and_the_remedy(before, after, says):
    assert before in PROJECT
    with pytest.raises(SettingsError, match=says):
        parse_project_file(tomllib.loads(PROJECT.replace(before, after, 1)))


def test_all_faults_come_together_and_can_be_counted():
    text = PROJECT.replace("name =", "nmae =").replace("pest_system =", "pest_sytem =")
    with pytest.raises(SettingsError, match="nmae") as caught:
        parse_project_file(tomllib.loads(text))
    assert len(caught.value.faults) == 3  # a stranger, a missing name, another stranger
    assert all(fault.weight == "stop" for fault in caught.value.faults)


def test_a_block_may_stand_once_without_double_brackets():
    single = parse_project_file(tomllib.loads(PROJECT.replace("[[", "[").replace("]]", "]")))
    assert single == parse_project_file(tomllib.loads(PROJECT))


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        ('components = ["u"]', "u and v, u and v and speed, direction and speed"),
        ('components = ["u", "u"]', "Name the bands of one period"),
        ("months = [13]", "less than or equal to 12"),
        ('speed_unit = "furlongs"', "'m/s', 'km/h', 'mph' or 'knots'"),
    ],
)
def test_a_wind_raster_whose_parts_do_not_fit_is_refused(extra, says):
    text = PROJECT + '\n[inputs.wind_raster]\nfile = "w.tif"\n'
    text += extra if "speed_unit" in extra else f'speed_unit = "m/s"\n{extra}\n'
    with pytest.raises(SettingsError, match=says):
        parse_project_file(tomllib.loads(text))


def test_files_that_are_no_project_file_say_so(tmp_path):
    with pytest.raises(
        SettingsError, match=r"there is no spreadmap.toml in folder .*Make a project with `spreadmap new FOLDER`"
    ):
        read_project_file(tmp_path)
    path = tmp_path / "spreadmap.toml"
    path.write_text("[project\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="is not TOML"):
        read_project_file(tmp_path)
    path.write_bytes(b"name = '\xff'")
    with pytest.raises(SettingsError, match="is not UTF-8 text"):
        read_project_file(tmp_path)


@pytest.mark.parametrize(
    ("mapping", "says"),
    [
        ({"kernl": {}}, r"'settings.kernl'; .*Did you mean 'kernel'\?"),
        ({"kernel": 3}, r"'settings.kernel' = '3'; allowed: a table"),
        ({"kernel": {"mean": 1.0}}, r"'settings.kernel.mean'.*Did you mean 'mean_m'"),
        ({"kernel": {"mean_m": "5"}}, r"'settings.kernel.mean_m' = '5'; allowed: a valid number"),
        ({"kernel": {"mean_m": 0.1}}, r"allowed: 0.3 to 10000 \[m\]"),
        ({"kernel": {"mean_m": float("nan")}}, r"'nan';"),
        ({"grid": {"most_cells": 1000.5}}, r"'settings.grid.most_cells'.*valid integer"),
        ({"kernel": {"family": "waldd"}}, r"Did you mean 'wald'"),
        ({"kernel": {"scale_run": [0.0, 2.0]}}, "numbers above zero"),
        ({"zones": {"core_share": 0.99}}, "core below inner below outer"),
        ({"removal": {"person_minutes": {"s": 1.0}}}, r"person_minutes.s'.*Did you mean 'S'"),
        ({"removal": {"working_days": [7]}}, r"0 \(Monday\) to 6"),
        ({"removal": {"bud_break": [2, 30]}}, "month and day"),
        ({"wind": {"wind_influence": 1.5}}, r"allowed: 0 to 1 \[-\]"),
    ],
)
def test_a_faulty_setting_says_where_what_and_the_remedy(mapping, says):
    with pytest.raises(SettingsError, match=says):
        read_settings(mapping)


def test_settings_are_taken_over_and_others_keep_their_default():
    settings = read_settings({"removal": {"person_minutes": {"S": 5.0}}, "kernel": {"mean_m": 20, "scale_run": [0.5]}})
    default = Settings()
    assert settings.removal.person_minutes == {**default.removal.person_minutes, "S": 5.0}
    assert settings.kernel.mean_m == 20.0
    assert settings.kernel.scale_run == (0.5,)
    assert settings.zones == default.zones
    assert read_settings({}) == default
