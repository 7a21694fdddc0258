"""A whole delivery: every product, the same bytes twice, no warning, and safe against being killed anywhere."""

import csv
import hashlib
import json
import signal
import subprocess
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import pytest
from made_results import AS_OF, HOSTILE_TEXTS, made_inputs, made_result, made_system_result, without_findings

from spreadmap.errors import OutputError
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery

PAGES = {"review.html": b"<!doctype html>", "public/review.html": b"<!doctype html>"}
STEPS = [
    "rose_rosette/removal_list.shp", "rose_rosette/inspection_list.shp", "rose_rosette/zones.shp",
    "rose_rosette/zone_ranges.shp", "rose_rosette/plants.shp", "rose_rosette/rose_rosette.gpkg",
    "rose_rosette/removal_list.csv",
    "rose_rosette/inspection_list.csv", "rose_rosette/scenarios.csv", "rose_rosette/survey_statement.csv",
    "rose_rosette/removal_curve.csv",
    "rose_rosette/removal_list.xlsx", "rose_rosette/forecast.json",
    "rose_rosette/risk.tif", "rose_rosette/risk_without_reservoirs.tif", "rose_rosette/risk_class.tif", "public/blocks",
    "review.html",
    "public/review.html", "data_dictionary.csv", "metadata.xml", "changes.csv", "rejected_rows.csv", "score.json",
    "summary.json", "gone_plants.csv", "manifest.json",
]  # fmt: skip


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("make", [made_result, lambda: without_findings(made_result())])
def test_the_same_result_gives_the_same_bytes_without_a_warning(tmp_path, make):
    written = []
    for number in (1, 2):
        folder = tmp_path / str(number)
        folder.mkdir()
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            write_delivery(folder, make(), pages=PAGES)
        written.append(contents(folder))
    assert written[0] == written[1]


def test_steps_are_named_in_order_and_every_file_is_in_the_manifest(tmp_path):
    steps: list[str] = []
    products = write_delivery(tmp_path, made_result(HOSTILE_TEXTS), pages=PAGES, step=steps.append)
    assert steps == STEPS
    said = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))
    there = {name: hashlib.sha256(data).hexdigest() for name, data in contents(tmp_path).items()}
    assert {product["path"]: product["sha256"] for product in said["products"]} == {
        name: value for name, value in there.items() if name != "manifest.json"
    }
    assert sorted(product.path for product in products) == sorted(there.keys() - {"manifest.json"})
    rows = {product["path"]: product.get("rows") for product in said["products"]}
    assert rows["rose_rosette/plants.shp"] == 30
    assert rows["rose_rosette/removal_list.csv"] == 6
    assert rows["changes.csv"] == 30


def test_cut_texts_are_counted_in_manifest_and_dictionary(tmp_path):
    write_delivery(tmp_path, made_result(reason="ö" * 200))
    said = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))
    assert {p["path"]: p["rows_cut"] for p in said["products"] if p.get("rows_cut")} == {
        f"rose_rosette/removal_list.{end}": 6 for end in ("shp", "shx", "dbf", "prj", "cpg")
    }
    with (tmp_path / "data_dictionary.csv").open(encoding="utf-8", newline="") as file:
        counts = {(row["layer"], row["rows_cut"]) for row in csv.DictReader(file) if row["type"] == "text"}
    assert counts >= {("removal_list", "6"), ("plants", "0")}


def test_a_cosmetic_pest_alone_gets_papers_and_no_map(tmp_path):
    result = made_result()
    write_delivery(tmp_path, replace(result, systems=(), triage=result.triage[1:]))
    assert not list(tmp_path.rglob("*.tif"))
    assert {"summary.json", "manifest.json", "changes.csv", "metadata.xml"} <= contents(tmp_path).keys()


@pytest.mark.parametrize("name", ["../review.html", "/tmp/review.html", "a/../../x", "", "C:x", "a\\b"])
def test_a_page_cannot_leave_the_folder(tmp_path, name):
    folder = tmp_path / "run"
    folder.mkdir()
    with pytest.raises(OutputError, match="leads out of the run folder"):
        write_delivery(folder, made_result(), pages={name: b""})


@pytest.mark.parametrize("key", ["../x", "public", "A", "", "a b"])
def test_a_pest_system_whose_key_cannot_name_a_folder_is_refused(tmp_path, key):
    inputs = made_inputs()
    system = made_system_result(inputs)
    named = replace(system, triage=replace(system.triage, system=replace(system.triage.system, key=key)))
    with pytest.raises(OutputError, match="cannot name a folder"):
        write_delivery(tmp_path, replace(made_result(), systems=(named,)))


FULL_DISK = """
import json, pathlib, resource, signal, sys
sys.path.insert(0, sys.argv[1])
from made_results import AS_OF, made_result
from spreadmap.errors import OutputError
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery
project = pathlib.Path(sys.argv[2])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
said = []
for limit in (200, 600, 3000, 20000, 100000, 200000):
    reached = []
    try:
        with RunFolder(project, AS_OF) as run:
            # a file cannot grow beyond the limit: every library meets it as it meets a full disk
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
            try:
                write_delivery(run.path, made_result(), step=reached.append)
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        said.append([reached[-1], "finished"])
    except OutputError:
        said.append([reached[-1], "refused"])
print(json.dumps(said))
"""


def test_a_full_disk_is_an_output_error_at_every_product_and_leaves_nothing(tmp_path):
    tests = str(Path(__file__).parent)
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, tests, str(tmp_path)], capture_output=True, text=True, check=False
    )
    said = json.loads(done.stdout)
    assert {how for _, how in said} == {"refused"}, done.stderr
    assert len({step for step, _ in said}) >= 3
    assert list((tmp_path / "runs").iterdir()) == []


KILLED = """
import datetime as dt, json, os, pathlib, signal, sys
sys.path.insert(0, sys.argv[1])
from made_results import AS_OF, made_result
from spreadmap.io import history as h, run_folder
from spreadmap.io.history import adopt_folders, last_delivery, open_history, record_run
from spreadmap.io.lock import ProjectLock
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery
project, steps = pathlib.Path(sys.argv[2]), json.loads(sys.argv[3])
now = dt.datetime(2026, 9, 14, tzinfo=dt.UTC)

def die():
    os.kill(os.getpid(), signal.SIGKILL)

def run(kill_at):
    def step(name):
        if name == kill_at:
            die()
    if kill_at == "flush":
        run_folder.flush_tree = lambda folder: die()
    if kill_at == "latest":
        run_folder.write_latest = lambda *a: die()
    with ProjectLock(project, now), open_history(project) as history:
        adopt_folders(history, project)
        before, plants = last_delivery(history)
        with RunFolder(project, AS_OF) as made:
            write_delivery(made.path, made_result(), pages={"review.html": b"x", "public/review.html": b"x"},
                           previous=plants, previous_folder=before, step=step)
        if kill_at == "history":
            die()
        record_run(history, project, made.final, as_of=AS_OF, started=now, ended=now, result="done", version="0")

for kill_at in steps:
    child = os.fork()
    if child == 0:
        try:
            run(kill_at)
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    folders = sorted(each.name for each in (project / "runs").iterdir())
    print(json.dumps([kill_at, os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0, folders]), flush=True)
"""


def test_a_run_killed_at_any_product_leaves_earlier_runs_untouched_and_the_next_succeeds(tmp_path):
    steps = ["", *STEPS, "flush", "latest", "history", ""]
    tests = str(Path(__file__).parent)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", KILLED, tests, str(tmp_path), json.dumps(steps)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert [kill_at for kill_at, _, _ in said] == steps
    named = 0
    for kill_at, ended_by, folders in said:
        assert ended_by == (signal.SIGKILL if kill_at else 0), (kill_at, done.stderr)
        # killed after the folder had its name, a run is complete, and the next one counts it
        named += kill_at in ("", "latest", "history")
        assert [name for name in folders if not name.startswith(".")] == [
            f"2026-09-14-{number + 1}" for number in range(named)
        ]
        assert len([name for name in folders if name.startswith(".")]) == (kill_at in {*STEPS, "flush"}), kill_at
    assert said[-1][2] == ["2026-09-14-1", "2026-09-14-2", "2026-09-14-3", "2026-09-14-4"]
    assert json.loads((tmp_path / "latest.json").read_text())["folder"] == "runs/2026-09-14-4"
    runs = [contents(tmp_path / "runs" / f"2026-09-14-{number}") for number in (1, 2, 3, 4)]
    differ = {"changes.csv", "manifest.json", "summary.json"}
    for other in runs[1:]:
        assert {name: data for name, data in other.items() if name not in differ} == {
            name: data for name, data in runs[0].items() if name not in differ
        }
        # nothing changed since the first delivery, whoever was killed in between
        assert other["changes.csv"].count(b"\n") == 1
    for folder in (tmp_path / "runs").iterdir():
        manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        for product in manifest["products"]:
            assert hashlib.sha256((folder / product["path"]).read_bytes()).hexdigest() == product["sha256"]


def test_an_error_on_the_way_leaves_no_folder(tmp_path):
    def stop(name: str) -> None:
        if name == "metadata.xml":
            raise KeyError(name)

    with pytest.raises(KeyError, match=r"metadata.xml"), RunFolder(tmp_path, AS_OF) as run:
        write_delivery(run.path, made_result(), step=stop)
    assert list((tmp_path / "runs").iterdir()) == []
