"""Whole runs with files: the same bytes twice, killed at every product, two at once."""

import datetime as dt
import hashlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from spreadmap.errors import LockedError
from spreadmap.io.demo import copy_demo
from spreadmap.io.lock import ProjectLock
from spreadmap.pipeline import run_project, utc_now

KILLED = """
import os, signal, sys
from pathlib import Path
from spreadmap.pipeline import run_project

def step(line):
    if line == sys.argv[2]:
        os.kill(os.getpid(), signal.SIGKILL)

run_project(Path(sys.argv[1]), progress=step)
"""


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """One demo project with a finished run, and the steps that run took."""
    project = copy_demo(tmp_path_factory.mktemp("demo") / "town")
    steps: list[str] = []
    delivery = run_project(project, progress=steps.append)
    return project, delivery, [step for step in steps if step.startswith("write ")]


def test_the_run_folder_is_complete(done):
    project, delivery, steps = done
    assert delivery.folder == project / "runs" / "2026-09-14-1"
    names = set(hashes(delivery.folder))
    for product in (
        "review.html", "public/review.html", "data_dictionary.csv", "metadata.xml", "changes.csv", "summary.json",
        "manifest.json", "rejected_rows.csv", "run.log", "rose_rosette/removal_list.shp", "rose_rosette/zones.shp",
        "rose_rosette/plants.shp", "rose_rosette/inspection_list.shp", "rose_rosette/risk.tif",
        "rose_rosette/rose_rosette.gpkg", "rose_rosette/risk.sld", "rose_rosette/removal_list.sld",
    ):  # fmt: skip
        assert product in names
    assert len(steps) >= 12
    manifest = json.loads((delivery.folder / "manifest.json").read_text(encoding="utf-8"))
    assert "manifest.json" not in json.dumps(manifest.get("products", {}))


def test_a_second_run_gives_the_same_bytes(done, tmp_path):
    _, delivery, _ = done
    again = run_project(copy_demo(tmp_path / "town"))
    first, second = hashes(delivery.folder), hashes(again.folder)
    assert first.keys() == second.keys()
    assert {name for name in first if first[name] != second[name]} == {"run.log"}


def test_a_third_run_never_overwrites_and_says_that_nothing_changed(done):
    project, delivery, _ = done
    before = hashes(delivery.folder)
    again = run_project(project)
    assert again.folder.name == "2026-09-14-2"
    assert hashes(delivery.folder) == before
    latest = json.loads((project / "latest.json").read_text(encoding="utf-8"))
    assert "2026-09-14-2" in json.dumps(latest)
    changes = (again.folder / "changes.csv").read_text(encoding="utf-8").strip().splitlines()
    assert len(changes) == 1  # the header alone: same keys, same content


def killed_at(project: Path, step: str) -> int:
    return subprocess.run(
        [sys.executable, "-c", KILLED, str(project), step], check=False, capture_output=True
    ).returncode


def check_kill(project: Path, step: str) -> None:
    before = {path.name: hashes(path) for path in (project / "runs").iterdir() if not path.name.startswith(".")}
    assert killed_at(project, step) == -signal.SIGKILL
    after = {path.name: hashes(path) for path in (project / "runs").iterdir() if not path.name.startswith(".")}
    assert after == before


def test_killed_runs_leave_earlier_deliveries_and_the_next_run_succeeds(done):
    project, _, steps = done
    for step in (steps[0], steps[len(steps) // 2], steps[-1]):
        check_kill(project, step)
    assert run_project(project).folder.is_dir()
    assert not [path for path in (project / "runs").iterdir() if path.name.startswith(".")]


@pytest.mark.long
def test_killed_at_every_product(done):
    project, _, steps = done
    for step in steps:
        check_kill(project, step)
    assert run_project(project).folder.is_dir()
    print(f"\nkilled at {len(steps)} products, earlier deliveries untouched each time")


def test_the_second_of_two_runs_says_who_holds_the_lock(done):
    project, _, _ = done
    with ProjectLock(project, utc_now()), pytest.raises(LockedError, match=f"{os.getpid()}"):
        run_project(project)
    assert run_project(project).folder.is_dir()


def test_earlier_dates_give_the_state_of_that_day(done, tmp_path):
    project = copy_demo(tmp_path / "town")
    early = run_project(project, as_of=dt.date(2026, 7, 13))
    assert early.folder.name == "2026-07-13-1"
