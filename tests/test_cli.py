"""The command: good runs, failing runs, exit codes, and a quick --help."""

import io
import json
import subprocess
import sys
import time
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import pytest
from light_runs import LIGHT
from rich.console import Console
from small_projects import CRS, INVENTORY, PROJECT, make_project
from typer.testing import CliRunner

from spreadmap import __version__, pipeline
from spreadmap.cli import EXIT_CODES, SHOWN_OF_A_KIND, app, exit_code, fault_lines, fault_table, main
from spreadmap.errors import CrsError, InputError, LockedError, OutputError, SettingsError, SpreadmapError
from spreadmap.io.read_project import check_project
from spreadmap.values.project import Fault

RUNNER = CliRunner()
DEMO = Path(__file__).parent.parent / "data_demo" / "project"


class Ended(NamedTuple):
    """What a command came to."""

    returncode: int
    stdout: str
    stderr: str


def command(*words):
    """Run a command in this process, as `python -m spreadmap` does in one of its own."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["spreadmap", *map(str, words)])
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
    return Ended(code, out.getvalue(), err.getvalue())


def process(*words):
    """Run a command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "spreadmap", *map(str, words)], capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (SpreadmapError("x"), 1),
        (InputError("x"), 3),
        (CrsError("x"), 3),
        (SettingsError("x"), 4),
        (OutputError("x"), 5),
        (LockedError("x"), 6),
    ],
)
def test_every_error_has_its_exit_code(error, code):
    assert exit_code(error) == code
    assert {number for _, number in EXIT_CODES} == {3, 4, 5, 6}


def test_new_then_check_says_what_is_missing(tmp_path):
    made = command("new", tmp_path / "town")
    assert made.returncode == 0
    assert (tmp_path / "town" / "spreadmap.toml").is_file()
    checked = command("check", tmp_path / "town", "--report", tmp_path / "faults.csv")
    assert checked.returncode in (3, 4)
    assert "crs" in checked.stdout
    assert (tmp_path / "faults.csv").read_text(encoding="utf-8").startswith("weight,file,row")
    again = command("new", tmp_path / "town")
    assert again.returncode == 5
    assert "town" in again.stderr
    assert "Traceback" not in again.stderr


def test_check_of_the_demo_lists_its_faults_and_writes_nothing():
    before = sorted(path.name for path in DEMO.iterdir())
    result = command("check", DEMO)
    assert result.returncode == 0
    assert "'infcted'; allowed: clean, suspect, infected, removed, not_found" in result.stdout
    assert "[aside]" in result.stdout
    assert sorted(path.name for path in DEMO.iterdir()) == before


def test_a_folder_without_a_project_is_a_settings_fault(tmp_path):
    result = process("run", tmp_path)
    assert result.returncode == 4
    assert "spreadmap.toml" in result.stderr
    assert "Traceback" not in result.stderr
    assert list(tmp_path.iterdir()) == []
    assert command("run", tmp_path) == Ended(result.returncode, result.stdout, result.stderr)


def test_a_folder_that_is_not_there_is_named_once():
    result = command("check", "/nowhere/at all")
    assert result.returncode == 4
    assert result.stdout.startswith("[stop] spreadmap.toml: there is no folder '/nowhere/at all'. Make a project with")


def test_it_says_its_version():
    assert command("--version") == Ended(0, f"spreadmap {__version__}\n", "")


def test_a_wrong_date_is_wrong_use(tmp_path):
    result = command("run", tmp_path, "--as-of", "14.09.2026")
    assert result.returncode == 2
    assert "2026-09-14" in result.stderr


def test_a_run_prints_its_summary_as_json_and_nothing_else(tmp_path):
    folder = make_project(tmp_path / "town", PROJECT + LIGHT)
    ran = process("run", folder, "--json")
    assert ran.returncode == 0, ran.stderr
    said = json.loads(ran.stdout)
    assert said["triage"]
    assert said["run_folder"] == "runs/2026-05-18-1"
    assert [path.name for path in (folder / "runs").iterdir() if path.name[0] != "."] == ["2026-05-18-1"]
    told = json.loads((folder / "runs/2026-05-18-1/summary.json").read_text(encoding="utf-8"))
    assert said["triage"] == told["triage"]


def test_the_demo_is_copied_and_run(tmp_path, monkeypatch, demo_runs):
    asked = []
    monkeypatch.setattr(pipeline, "run_project", lambda folder, **_: asked.append(folder) or demo_runs.late)
    made = command("demo", tmp_path / "demo")
    assert made.returncode == 0, made.stderr
    assert asked == [tmp_path / "demo"]
    copied, source = (sorted(path.name for path in folder.rglob("*")) for folder in (tmp_path / "demo", DEMO))
    assert copied == source
    assert made.stdout.splitlines()[-1] == f"Review page: {demo_runs.late.folder / 'review.html'}"
    assert set(demo_runs.late.headlines) <= set(made.stdout.splitlines())


def test_faults_of_the_project_file_alone_are_settings_faults_for_check_and_for_run(tmp_path):
    folder = make_project(
        tmp_path, PROJECT.replace(f'crs = "{CRS}"\n\n[[inputs.inv', 'crs = "EPSG:4326"\n\n[[inputs.inv')
    )
    assert command("check", folder).returncode == 4
    assert command("run", folder).returncode == 4


def test_a_fault_of_the_project_file_beside_others_is_a_settings_fault_for_check_and_for_run(tmp_path):
    toml = PROJECT.replace('pest_system = "rose_rosette"', "pest_system = 7")
    folder = make_project(tmp_path, toml, inventory__csv=INVENTORY.replace(",Rosa hybrida", ","))
    for word in ("check", "run"):
        done = command(word, folder)
        assert done.returncode == 4
        assert "30 of 30 rows cannot be used" in done.stdout + done.stderr
    (folder / "spreadmap.toml").write_text(PROJECT, encoding="utf-8")
    assert command("check", folder).returncode == 3


def test_many_faults_of_a_kind_are_counted(tmp_path):
    rows = "".join(f"P{number:02d},18.05.2026,clean\n" for number in range(1, 31))
    folder = make_project(tmp_path, survey__csv=f"plant_id,inspected_on,status\n{rows}")
    checked = command("check", folder, "--report", tmp_path / "all.csv")
    assert checked.returncode == 3
    assert checked.stdout.count("'18.05.2026'") == 3
    assert "... and 27 more rows like these" in checked.stdout
    assert (tmp_path / "all.csv").read_text(encoding="utf-8").count("18.05.2026") == 30


def test_a_terminal_gets_a_table_and_a_pipe_gets_lines(tmp_path):
    rows = "".join(f"P{number:02d},18.05.2026,clean\n" for number in range(1, 31))
    folder = make_project(tmp_path, survey__csv=f"plant_id,inspected_on,status\n{rows}")
    faults = check_project(folder)
    out = io.StringIO()
    Console(file=out, force_terminal=True, width=200, color_system=None).print(fault_table(faults))
    table = out.getvalue()
    for head in ("where", "found", "allowed", "what to do"):
        assert head in table
    assert table.index("stop") < table.index("aside")
    assert table.count("'18.05.2026'") == SHOWN_OF_A_KIND
    assert "27 more rows" in table
    assert len(fault_lines(faults)) == len(
        [line for line in command("check", folder).stdout.splitlines() if line[:1] == "["]
    )
    assert "│" not in command("check", folder).stdout


def test_a_long_name_goes_on_in_the_next_line_of_a_narrow_table():
    fault = Fault(
        file="inputs/survey_of_the_whole_town_2026_05.csv", row=2, column="inspected_on", found="'x'", allowed="",
        remedy="Raise settings.inputs.most_rows_aside.", weight="stop",
    )  # fmt: skip
    out = io.StringIO()
    Console(file=out, force_terminal=True, width=80, color_system=None).print(fault_table([fault]))
    assert "…" not in out.getvalue()
    cells = [line.split("│") for line in out.getvalue().splitlines() if "│" in line]
    where, remedy = ("".join(cell[place].strip() for cell in cells) for place in (2, 5))
    assert where == "inputs/survey_of_the_whole_town_2026_05.csvrow 2inspected_on"
    assert "settings.inputs.most_rows_aside." in remedy


def test_text_of_files_is_no_markup_in_the_table():
    fault = Fault(
        file="a.csv", row=2, column="x", found="'[bold red]x[/]'", allowed="", remedy="Mend it.", weight="stop"
    )
    out = io.StringIO()
    Console(file=out, force_terminal=True, width=200, color_system=None).print(fault_table([fault]))
    assert "[bold red]x[/]" in out.getvalue()


@pytest.mark.parametrize("day", ["20260603", "2026-W23-1", "2026-6-3"])
def test_a_date_has_one_form(tmp_path, day):
    assert command("run", tmp_path, "--as-of", day).returncode == 2


def test_demo_refuses_a_folder_with_other_things(tmp_path):
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    result = command("demo", tmp_path)
    assert result.returncode == 5
    assert "not empty" in result.stderr


def test_doctor_names_every_copy_and_a_stray_variable():
    result = RUNNER.invoke(app, ["doctor"], env={"PROJ_LIB": "/somewhere/else"})
    assert result.exit_code == 0
    for word in ("Python", "GDAL", "PROJ", "pyogrio", "rasterio", "PROJ_LIB is set to '/somewhere/else'"):
        assert word in result.stdout


def best_time(*code):
    times = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run([sys.executable, *code], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return min(times)


def test_help_does_not_load_the_heavy_libraries():
    result = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "spreadmap", "--help"], capture_output=True, text=True, check=True
    )
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in result.stderr.splitlines() if "|" in line}
    assert not loaded & {"numpy", "scipy", "pandas", "geopandas", "rasterio", "folium", "numba", "shapely"}


@pytest.mark.long
def test_help_takes_a_quarter_of_the_heavy_imports():
    ours = best_time("-m", "spreadmap", "--help")
    heavy = best_time("-c", "import geopandas, rasterio, folium, scipy")
    print(f"\n--help {ours:.2f} s, heavy imports {heavy:.2f} s, ratio {ours / heavy:.2f}")
    assert ours <= heavy / 4


def test_a_planned_survey_leaves_history_alone_and_is_json(tmp_path):
    folder = make_project(tmp_path / "town")
    before = sorted(path.name for path in folder.iterdir())
    made = RUNNER.invoke(app, ["plan-survey", str(folder), "--date", "2026-06-15", "--hours", "1", "--json"])
    assert made.exit_code == 0, made.output
    said = json.loads(made.stdout)
    assert (said["survey_on"], said["hours"], said["systems"][0]["system"]) == ("2026-06-15", 1.0, "rose_rosette")
    assert 0 < said["systems"][0]["plants"] < 29
    assert said["folder"] == (folder / "survey_plan" / "2026-06-15").resolve().as_posix()
    assert (folder / "survey_plan/2026-06-15/rose_rosette/field_sheet.pdf").read_bytes().startswith(b"%PDF")
    assert sorted(path.name for path in folder.iterdir()) == sorted([*before, "survey_plan"])


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (("--date", "2026-05-17", "--hours", "4"), 4, "day of the survey is 2026-05-17; allowed: 2026-05-18"),
        (("--date", "2026-06-15", "--hours", "0"), 4, "hours of the survey are 0; allowed: above 0"),
        (("--date", "15.06.2026"), 2, "2026-09-14"),
        ((), 2, "--date"),
    ],
)
def test_a_survey_that_cannot_be_planned_says_why_and_writes_nothing(tmp_path, options, code, says):
    folder = make_project(tmp_path / "town")
    result = RUNNER.invoke(app, ["plan-survey", str(folder), *options])
    refused = isinstance(result.exception, SpreadmapError)
    assert (exit_code(result.exception) if refused else result.exit_code) == code
    assert says in " ".join((str(result.exception) if refused else result.output).split())
    assert not (folder / "survey_plan").exists()
