"""Whole runs of one small project in moments: what was worked out and rendered once is taken from a file.

Neither writes anything into a project, so that a run is the same to the disk. Run as a program, this file serves runs
in processes of their own, which can be killed at a named point or after some seconds.
"""

import hashlib
import json
import os
import pickle
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from generator import make_project, write_project_files

from spreadmap import pipeline
from spreadmap.cli import exit_code
from spreadmap.errors import SpreadmapError
from spreadmap.io import history, lock, run_folder, run_log
from spreadmap.io.history_store import HISTORY
from spreadmap.io.read_project import read_project
from spreadmap.io.run_folder import read_latest, run_folders

LIGHT = """
[settings.ahead]
draws = 2
members = 2
[settings.grid]
margin_m = 20.0
cell_m = 4.0
cell_one_site_m = 4.0
"""

POINTS = {
    "the project is read": (pipeline, "read_project", "after", 1),
    "the lock is taken, its file says nothing": (lock, "take", "after", 1),
    "the lock is signed": (lock.ProjectLock, "__enter__", "after", 1),
    "everything is worked out": (pipeline, "analyse", "after", 1),
    "the history is open": (pipeline, "open_history", "after", 1),
    "folders of dead runs are entered": (pipeline, "adopt_folders", "after", 1),
    "the hidden folder is made": (run_folder.RunFolder, "__enter__", "after", 1),
    "the log is written": (run_log.RunLog, "write", "after", 1),
    "the first file is on the disk": (os, "fsync", "after", 2),
    "some files are on the disk": (os, "fsync", "after", 30),
    "all files are on the disk": (Path, "rename", "before", 1),
    "the folder has its name": (Path, "rename", "after", 1),
    "the new latest.json lies beside the old one": (Path, "replace", "before", 1),
    "latest.json is the new one": (Path, "replace", "after", 1),
    "the delivery is complete": (run_folder.RunFolder, "__exit__", "after", 1),
    # read row by row while the transaction goes on
    "half of the run is entered": (history, "part_row", "before", 1),
    "the run is entered": (pipeline, "record_run", "after", 1),
    "the new copy of the history lies beside the old one": (Path, "replace", "before", 2),
    "the history has its copy": (history.History, "__exit__", "after", 1),
    "the lock's file is gone": (lock.ProjectLock, "_close", "before", 1),
}
"""Where a run can be killed: what is called, before or after it, and the how manieth call of it."""


@dataclass(frozen=True)
class Base:
    """A project with two deliveries, the steps of a run, and the file of what was worked out and rendered."""

    project: Path
    steps: tuple[str, ...]
    kept: Path


def make_base(folder):
    """Make the project and its two deliveries."""
    project = write_project_files(folder / "town", make_project(plants=80, confirmed=6, seed=2), LIGHT)
    inputs, settings = read_project(project)
    result = pipeline.analyse(inputs, settings, pipeline.Engine(workers=1))
    kept, steps = folder / "kept.pickle", []
    kept.write_bytes(pickle.dumps((result, pipeline.render_pages(result))))
    with use_kept(kept):
        pipeline.run_project(project)
        pipeline.run_project(project, progress=steps.append)
    return Base(project=project, steps=tuple(step for step in steps if step.startswith("write ")), kept=kept)


class use_kept:
    """Let runs take what was worked out and rendered from a file; use it in a `with`."""

    def __init__(self, kept):
        result, pages = pickle.loads(kept.read_bytes())
        self.instead = {"analyse": lambda *_: result, "render_pages": lambda _: pages}

    def __enter__(self):
        self.before = {name: getattr(pipeline, name) for name in self.instead}
        for name, function in self.instead.items():
            setattr(pipeline, name, function)

    def __exit__(self, *_):
        for name, function in self.before.items():
            setattr(pipeline, name, function)


def hashes(folder):
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def deliveries(project):
    return {folder.name: hashes(folder) for folder in run_folders(project)}


def check_state(project, before):
    """Earlier deliveries are as they were, a new one is complete, and the history is sound and true."""
    now = deliveries(project)
    assert {name: now[name] for name in before} == before
    for name in now:
        products = json.loads((project / "runs" / name / "manifest.json").read_text(encoding="utf-8"))["products"]
        assert {each["path"]: each["sha256"] for each in products} == {
            path: digest for path, digest in now[name].items() if path not in ("manifest.json", "run.log")
        }
    latest = read_latest(project)
    assert latest is None or latest.name in now
    if not (project / HISTORY).exists():
        return
    with closing(sqlite3.connect(project / HISTORY)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        entered = database.execute("SELECT id, folder FROM runs WHERE folder IS NOT NULL").fetchall()
        for number, folder in entered:
            said = dict(database.execute("SELECT product, sha256 FROM deliveries WHERE run = ?", (number,)).fetchall())
            assert said.items() <= now[folder.removeprefix("runs/")].items()
    assert len(now) - len(entered) in (0, 1)


def check_next_run(project):
    """The next run succeeds, enters what a dead one left, says that nothing changed, and leaves nothing lying about."""
    count = len(run_folders(project))
    delivery = pipeline.run_project(project)
    assert len(run_folders(project)) == count + 1
    assert read_latest(project) == delivery.folder
    assert (delivery.folder / "changes.csv").read_text(encoding="utf-8").count("\n") == 1
    check_state(project, {})
    with closing(sqlite3.connect(project / HISTORY)) as database:
        assert database.execute("SELECT count(*) FROM runs WHERE folder IS NOT NULL").fetchall() == [(count + 1,)]
    left = [path.name for path in (*project.iterdir(), *(project / "runs").iterdir()) if path.name.startswith(".")]
    assert left == []


class Server:
    """Runs in processes of their own, forked from one that has loaded everything and started no thread."""

    def __init__(self, kept):
        self.process = subprocess.Popen(
            [sys.executable, __file__, str(kept)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, project, *, point="", seconds=0.0):
        """Run a project, killed at a point or after seconds where they are given; return how it ended and how long."""
        self.process.stdin.write(json.dumps({"project": str(project), "point": point, "seconds": seconds}) + "\n")
        self.process.stdin.flush()
        said = json.loads(self.process.stdout.readline())
        return said["ended"], said["seconds"]

    def close(self):
        self.process.communicate()


def armed(owner, name, when, nth):
    """Let a process die before or after the nth call of a function."""
    real, calls = getattr(owner, name), [0]

    def function(*given, **named):
        calls[0] += 1
        if calls[0] == nth and when == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        value = real(*given, **named)
        if calls[0] == nth:
            os.kill(os.getpid(), signal.SIGKILL)
        return value

    setattr(owner, name, function)


def child(asked):
    """Run as asked in this process, and end it."""

    def step(line):
        if line == asked["point"]:
            os.kill(os.getpid(), signal.SIGKILL)

    if asked["point"] in POINTS:
        armed(*POINTS[asked["point"]])
    code = 0
    try:
        pipeline.run_project(Path(asked["project"]), progress=step)
    except SpreadmapError as error:
        code = exit_code(error)
    os._exit(code)


def serve(kept):
    """Answer every line of standard input with how the run that it asks for ended."""
    with use_kept(kept):
        for line in sys.stdin:
            asked, start = json.loads(line), time.monotonic()
            number = os.fork()
            if number == 0:
                child(asked)
            if asked["seconds"]:
                time.sleep(asked["seconds"])
                os.kill(number, signal.SIGKILL)
            _, status = os.waitpid(number, 0)
            ended = os.waitstatus_to_exitcode(status)
            sys.stdout.write(json.dumps({"ended": ended, "seconds": time.monotonic() - start}) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    serve(Path(sys.argv[1]))
