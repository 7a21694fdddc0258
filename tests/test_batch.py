"""A batch loses nothing: killed anywhere, on a full or read-only disk, with the clock set back, with a damaged history.

After each fault earlier deliveries are as they were, the history is sound, and the next run succeeds.
"""

import datetime as dt
import os
import shutil
import signal
import sqlite3
import subprocess
from contextlib import closing, contextmanager

import numpy as np
import pytest
from light_runs import POINTS, Server, check_next_run, check_state, deliveries, hashes, make_base, use_kept

from spreadmap import pipeline
from spreadmap.errors import LockedError, OutputError
from spreadmap.io import history_store
from spreadmap.io.history import open_history
from spreadmap.io.history_store import COPY, HISTORY
from spreadmap.io.lock import LOCK
from spreadmap.io.run_folder import run_folders
from spreadmap.pipeline_history import show_history

STEPS_KILLED = 6
KILLS = 200
LEVELS = 60


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """A project with two deliveries; runs of it take what was worked out from a file."""
    return make_base(tmp_path_factory.mktemp("batch"))


@pytest.fixture(scope="module")
def server(base):
    """Runs in processes of their own."""
    started = Server(base.kept)
    yield started
    started.close()


@pytest.fixture
def project(base, tmp_path):
    """A copy of the project, in which runs are light."""
    copy = shutil.copytree(base.project, tmp_path / "town")
    with use_kept(base.kept):
        yield copy


def test_there_are_twenty_points_and_more(base):
    assert len(POINTS) + STEPS_KILLED >= 20
    assert len(base.steps) > 2 * STEPS_KILLED


@pytest.mark.parametrize("point", POINTS)
def test_killed_at_a_named_point(point, project, server):
    before = deliveries(project)
    ended, _ = server.run(project, point=point)
    assert ended == -signal.SIGKILL
    check_state(project, before)
    with open_history(project) as history:
        ((known,),) = history.rows("SELECT count(*) FROM runs")
    is_new = len(run_folders(project)) > known
    is_locked = (project / LOCK).exists() and bool((project / LOCK).read_text(encoding="utf-8"))
    check_next_run(project)
    log = (run_folders(project)[-1] / "run.log").read_text(encoding="utf-8")
    assert ("2026-09-14-3 is complete and was not in the history yet: entered" in log) == is_new
    assert ("a run that died had left the project locked: " in log) == is_locked


@pytest.mark.parametrize("part", range(STEPS_KILLED))
def test_killed_before_a_product(part, base, project, server):
    before = deliveries(project)
    ended, _ = server.run(project, point=base.steps[(2 * part + 1) * len(base.steps) // (2 * STEPS_KILLED)])
    assert ended == -signal.SIGKILL
    assert deliveries(project) == before
    check_state(project, before)
    check_next_run(project)


def test_killed_in_the_first_run(base, tmp_path, server):
    for number, point in enumerate(["the history is open", "half of the run is entered", "the run is entered"]):
        project = tmp_path / f"town {number}"
        project.mkdir()
        for name in ("spreadmap.toml", "inventory.csv", "survey.csv"):
            shutil.copy(base.project / name, project)
        assert server.run(project, point=point)[0] == -signal.SIGKILL
        check_state(project, {})
        with use_kept(base.kept):
            delivery = pipeline.run_project(project)
        assert len(run_folders(project)) == 1 + (point != "the history is open")
        check_state(project, {})
        assert delivery.folder == run_folders(project)[-1]


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_killed_at_random_moments(base, tmp_path, server):
    seconds = max(server.run(shutil.copytree(base.project, tmp_path / f"timed {n}"))[1] for n in range(3))
    rng = np.random.default_rng(11)
    told = {"before the folder had its name": 0, "after it": 0, "not at all: the run was over": 0}
    with use_kept(base.kept):
        for number, moment in enumerate(rng.uniform(0.001, 1.05 * seconds, KILLS)):
            project = shutil.copytree(base.project, tmp_path / f"town {number}")
            before = deliveries(project)
            ended, _ = server.run(project, seconds=float(moment))
            assert ended in (0, -signal.SIGKILL)
            check_state(project, before)
            has_new = len(run_folders(project)) > len(before)
            told[list(told)[2 if ended == 0 else int(has_new)]] += 1
            check_next_run(project)
            shutil.rmtree(project)
    print(f"\n{KILLS} kills within {seconds:.2f} s of a run: {told}")
    assert told["before the folder had its name"] > KILLS / 4


@contextmanager
def small_disk(folder, megabytes):
    """A disk of its own, which can be filled; skipped where this user may not mount one."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip(f"no small disk can be mounted here: {made.stderr.decode().strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder, leave):
    """Fill a disk but for some bytes; return the file that fills it."""
    usage = os.statvfs(folder)
    filler = folder / "filler"
    filler.write_bytes(b"\0" * max(0, usage.f_bavail * usage.f_frsize - leave))
    return filler


def sizes_of(project):
    return sum(path.stat().st_size for path in run_folders(project)[-1].rglob("*") if path.is_file())


@pytest.mark.parametrize("share", [0.0, 0.05, 0.3, 0.6, 0.9, 1.0, 1.02])
def test_a_full_disk_delivers_nothing_or_everything(share, project, tmp_path):
    with small_disk(tmp_path / "disk", 64) as disk:
        town = shutil.copytree(project, disk / "town")
        before, needed = deliveries(town), sizes_of(town)
        filler = fill(disk, int(share * needed))
        with pytest.raises(OutputError, match=r"[Ff]ree the disk"):
            pipeline.run_project(town)
        filler.unlink()
        check_state(town, before)
        check_next_run(town)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_disk_that_is_full_at_any_byte_delivers_nothing_or_everything(base, tmp_path):
    done, refused = 0, 0
    with use_kept(base.kept), small_disk(tmp_path / "disk", 64) as disk:
        for share in (np.arange(LEVELS) + 0.5) / LEVELS * 1.5:
            town = shutil.copytree(base.project, disk / "town")
            before, needed = deliveries(town), sizes_of(town)
            filler = fill(disk, int(share * needed))
            try:
                delivery = pipeline.run_project(town)
            except OutputError:
                refused += 1
            else:
                done += 1
                differ = [
                    name for name, digest in hashes(delivery.folder).items() if before["2026-09-14-2"][name] != digest
                ]
                assert set(differ) <= {"run.log", "manifest.json", "changes.csv"}
            filler.unlink()
            check_state(town, before)
            shutil.rmtree(town)
    print(f"\n{LEVELS} disks with 0 to 1.5 times the room of a delivery: {refused} refused, {done} whole")
    assert refused > LEVELS / 2


def test_a_read_only_disk_is_refused(project, tmp_path):
    with small_disk(tmp_path / "disk", 64) as disk:
        town = shutil.copytree(project, disk / "town")
        before = deliveries(town)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with pytest.raises(OutputError, match="Give this user the right to write"):
            pipeline.run_project(town)
        assert pipeline.check_project(town) == ()
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
        check_state(town, before)
        check_next_run(town)


def test_a_clock_that_is_set_back_moves_nothing(project):
    before = deliveries(project)
    delivery = pipeline.run_project(project, clock=lambda: dt.datetime(2001, 1, 1, tzinfo=dt.UTC))
    assert delivery.folder.name == "2026-09-14-3"
    check_state(project, before)
    with open_history(project) as history:
        started = [row[0] for row in history.rows("SELECT started FROM runs ORDER BY id")]
    assert started[2].startswith("2001-01-01")
    assert started[1] > started[2]
    check_next_run(project)


def test_two_runs_at_once_do_not_meet(project, base):
    before, refused = deliveries(project), []

    def step(line):
        if line == base.steps[3]:
            with pytest.raises(LockedError, match=f"in use: .* process {os.getpid()}") as caught:
                pipeline.run_project(project)
            refused.append(caught.value)

    pipeline.run_project(project, progress=step)
    assert len(refused) == 1
    assert len(run_folders(project)) == len(before) + 1
    check_state(project, before)
    check_next_run(project)


def test_a_run_that_came_in_while_another_read_is_not_passed_over(project, monkeypatch):
    read, calls = pipeline.read_project, []

    def slow_read(*arguments):
        found = read(*arguments)
        calls.append(arguments)
        if len(calls) == 1:
            pipeline.run_project(project)
        return found

    monkeypatch.setattr(pipeline, "read_project", slow_read)
    delivery = pipeline.run_project(project)
    assert delivery.folder.name == "2026-09-14-4"
    assert len(calls) == 3
    logs = [(folder / "run.log").read_text(encoding="utf-8") for folder in run_folders(project)]
    assert ["they are read again" in log for log in logs] == [False, False, False, True]


def test_a_run_that_failed_is_on_record(project, monkeypatch):
    def full(*_, **__):
        raise OutputError("The disk is full. Free the disk, then run again.")

    before = deliveries(project)
    with monkeypatch.context() as patched:
        patched.setattr(pipeline, "write_delivery", full)
        with pytest.raises(OutputError, match="The disk is full"):
            pipeline.run_project(project)
    check_state(project, before)
    assert [row[3] for row in show_history(project).tables[0].rows] == ["done", "done", "failed"]
    check_next_run(project)


def test_a_history_that_another_program_holds_is_told(project, monkeypatch):
    monkeypatch.setattr(history_store, "WAIT_S", 0.2)
    before = deliveries(project)
    with closing(sqlite3.connect(project / HISTORY)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(LockedError, match="in use by another program: database is locked. Close what has it open"):
            pipeline.run_project(project)
    check_state(project, before)
    check_next_run(project)


def damage_a_page(path):
    content = bytearray(path.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 4096] = bytes([7]) * 4096
    path.write_bytes(content)


DAMAGES = {
    "a page": (damage_a_page, "is damaged"),
    "the head": (lambda path: path.write_bytes(b"\7" * 5000), "is damaged"),
    "the tail": (lambda path: path.write_bytes(path.read_bytes()[: 3 * 4096]), "is damaged"),
    "all of it": (lambda path: path.write_bytes(b""), "missing or empty"),
    "the file": (lambda path: path.unlink(), "missing or empty"),
}


@pytest.mark.parametrize("what", DAMAGES)
def test_a_damaged_history_is_refused_with_the_way_back(what, project):
    before = deliveries(project)
    harm, says = DAMAGES[what]
    harm(project / HISTORY)
    for command in (pipeline.run_project, pipeline.check_project):
        if command is pipeline.check_project and what in ("a page", "the tail"):
            continue  # a check reads withdrawals only, and those pages are whole
        with pytest.raises(OutputError, match=says) as caught:
            command(project)
    assert f"copy {COPY} to {HISTORY}" in str(caught.value).replace("Copy", "copy")
    assert deliveries(project) == before
    # the way back, as the message has it
    for left in project.glob(f"{HISTORY}*"):
        if left.name != COPY:
            left.unlink()
    shutil.copy(project / COPY, project / HISTORY)
    check_state(project, before)
    check_next_run(project)


def test_a_damaged_history_without_a_copy_says_what_is_lost(project):
    (project / COPY).unlink()
    damage_a_page(project / HISTORY)
    with pytest.raises(OutputError, match=r"No sound copy is there. Move history.sqlite out of .*starts a new history"):
        pipeline.run_project(project)
    (project / HISTORY).unlink()
    check_next_run(project)


def test_a_damaged_copy_is_no_way_back(project):
    damage_a_page(project / HISTORY)
    damage_a_page(project / COPY)
    with pytest.raises(OutputError, match="No sound copy is there"):
        pipeline.run_project(project)


def test_a_delivery_whose_manifest_is_damaged_is_told_when_it_is_not_known(project):
    for left in project.glob(f"{HISTORY}*"):
        left.unlink()
    (run_folders(project)[0] / "manifest.json").write_text("{", encoding="utf-8")
    with pytest.raises(OutputError, match=r"manifest.json cannot be read, .* move it away"):
        pipeline.run_project(project)
