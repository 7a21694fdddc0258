"""Whole runs of the demo with files: complete, the same bytes again, never over an earlier one."""

import hashlib
import json
import os
import shutil
from pathlib import Path

import pytest

from spreadmap.errors import LockedError
from spreadmap.io.lock import ProjectLock
from spreadmap.pipeline import run_project, utc_now


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def again(demo_runs, tmp_path_factory):
    """A copy of the demo project with its two deliveries, run once more; and what the deliveries held before."""
    project = tmp_path_factory.mktemp("again") / "town"
    shutil.copytree(demo_runs.project, project)
    before = {folder.name: hashes(folder) for folder in (project / "runs").iterdir()}
    return project, before, run_project(project)


def test_the_run_folder_is_complete(demo_runs):
    assert demo_runs.late.folder == demo_runs.project / "runs" / "2026-09-14-1"
    names = set(hashes(demo_runs.late.folder))
    for product in (
        "review.html", "public/review.html", "data_dictionary.csv", "metadata.xml", "changes.csv", "summary.json",
        "manifest.json", "rejected_rows.csv", "run.log", "rose_rosette/removal_list.shp", "rose_rosette/zones.shp",
        "rose_rosette/plants.shp", "rose_rosette/inspection_list.shp", "rose_rosette/risk.tif",
        "rose_rosette/rose_rosette.gpkg", "rose_rosette/risk.sld", "rose_rosette/removal_list.sld",
    ):  # fmt: skip
        assert product in names
    assert len([step for step in demo_runs.steps if step.startswith("write ")]) >= 12
    manifest = json.loads((demo_runs.late.folder / "manifest.json").read_text(encoding="utf-8"))
    assert "manifest.json" not in json.dumps(manifest.get("products", {}))


def test_another_run_gives_the_same_bytes_but_for_what_it_says_of_the_one_before(demo_runs, again):
    first, second = hashes(demo_runs.late.folder), hashes(again[2].folder)
    assert first.keys() == second.keys()
    differ = {name for name in first if first[name] != second[name]}
    assert differ <= {"run.log", "changes.csv", "manifest.json", "summary.json", "review.html"}
    # what was worked out and delivered is the same; only the delivery before is another one
    assert not [name for name in differ if name.startswith(("rose_rosette/", "public/"))]


def test_a_further_run_never_overwrites_and_says_that_nothing_changed(again):
    project, before, delivery = again
    assert delivery.folder.name == "2026-09-14-2"
    assert {name: hashes(project / "runs" / name) for name in before} == before
    latest = json.loads((project / "latest.json").read_text(encoding="utf-8"))
    assert "2026-09-14-2" in json.dumps(latest)
    changes = (delivery.folder / "changes.csv").read_text(encoding="utf-8").strip().splitlines()
    assert len(changes) == 1  # the header alone: same keys, same content
    assert not [path for path in (project / "runs").iterdir() if path.name.startswith(".")]


def test_the_second_of_two_runs_says_who_holds_the_lock(demo_runs):
    with ProjectLock(demo_runs.project, utc_now()), pytest.raises(LockedError, match=f"{os.getpid()}"):
        run_project(demo_runs.project)


def test_earlier_dates_give_the_state_of_that_day(demo_runs):
    assert demo_runs.early.folder.name == "2026-07-13-1"
    said = json.loads((demo_runs.early.folder / "summary.json").read_text(encoding="utf-8"))
    assert "2026-07-13" in json.dumps(said)
