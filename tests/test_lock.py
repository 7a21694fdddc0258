"""One run per project; the second says who holds it, and a killed holder holds nobody up."""

import datetime as dt
import json
import os
import signal
import subprocess
import sys

import pytest

from spreadmap.errors import LockedError, OutputError
from spreadmap.io import lock
from spreadmap.io.lock import LOCK, ProjectLock, user_name

STARTED = dt.datetime(2026, 9, 14, 7, 30, tzinfo=dt.UTC)
HOLDER = """
import datetime as dt, pathlib, sys
from spreadmap.io.lock import ProjectLock
with ProjectLock(pathlib.Path(sys.argv[1]), dt.datetime(2026, 9, 14, 6, 0, tzinfo=dt.UTC)):
    print("held", flush=True)
    sys.stdin.readline()
"""


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def test_the_second_run_hears_who_holds_the_project(tmp_path, holder):
    with (
        pytest.raises(LockedError, match=rf"{user_name()} on .*, process {holder.pid}, since 2026-09-14T06:00:00"),
        ProjectLock(tmp_path, STARTED),
    ):
        pass


def test_a_killed_holder_holds_nobody_up(tmp_path, holder):
    os.kill(holder.pid, signal.SIGKILL)
    holder.wait()
    assert (tmp_path / LOCK).exists()
    with ProjectLock(tmp_path, STARTED) as taken:
        assert f'"pid": {os.getpid()}' in (tmp_path / LOCK).read_text()
        assert taken.took_over.endswith(f"process {holder.pid}, since 2026-09-14T06:00:00+00:00")


def test_a_holder_that_ends_gives_the_lock_back(tmp_path, holder):
    holder.communicate("go\n")
    assert not (tmp_path / LOCK).exists()
    with ProjectLock(tmp_path, STARTED):
        pass


def test_the_lock_is_given_back_after_an_error(tmp_path):
    with pytest.raises(KeyError, match="broken"), ProjectLock(tmp_path, STARTED):
        raise KeyError("broken")
    with ProjectLock(tmp_path, STARTED):
        pass


def test_two_locks_in_one_process_exclude_each_other(tmp_path):
    with (
        ProjectLock(tmp_path, STARTED),
        pytest.raises(LockedError, match=f"process {os.getpid()}"),
        ProjectLock(tmp_path, STARTED),
    ):
        pass


def test_a_held_lock_without_words_is_still_refused(tmp_path):
    with ProjectLock(tmp_path, STARTED):
        (tmp_path / LOCK).write_text("")
        with pytest.raises(LockedError, match="just starting or ending"), ProjectLock(tmp_path, STARTED):
            pass


def test_two_projects_do_not_meet(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    with ProjectLock(tmp_path / "a", STARTED), ProjectLock(tmp_path / "b", STARTED):
        pass


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"), ProjectLock(tmp_path / "nowhere", STARTED):
        pass


def left_by(host, started):
    return json.dumps({"user": "ann", "host": host, "pid": 12, "started": started.isoformat()})


@pytest.mark.parametrize("hours", [0.1, 23.9, -0.1, -23.9])
def test_what_a_run_on_another_machine_left_is_respected_for_a_day(tmp_path, hours):
    (tmp_path / LOCK).write_text(left_by("elsewhere", STARTED - dt.timedelta(hours=hours)))
    with (
        pytest.raises(
            LockedError, match=r"may be in use: ann on elsewhere, process 12, .* If it died, remove .*\.lock"
        ),
        ProjectLock(tmp_path, STARTED),
    ):
        pass
    # the file stays, and its holder's words with it
    assert json.loads((tmp_path / LOCK).read_text())["host"] == "elsewhere"


@pytest.mark.parametrize("hours", [24.1, 5000, -24.1])
def test_what_a_run_on_another_machine_left_long_ago_is_taken_over(tmp_path, hours):
    (tmp_path / LOCK).write_text(left_by("elsewhere", STARTED - dt.timedelta(hours=hours)))
    with ProjectLock(tmp_path, STARTED) as taken:
        assert taken.took_over.startswith("ann on elsewhere")
    assert not (tmp_path / LOCK).exists()


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"user": "ann"}', left_by("elsewhere", dt.datetime(2026, 9, 14, 7)), "null"]
)
def test_a_lock_file_that_says_nothing_is_taken_over(tmp_path, text):
    (tmp_path / LOCK).write_text(text)
    with ProjectLock(tmp_path, STARTED) as taken:
        assert taken.took_over == ""


def test_a_disk_that_knows_no_locks_is_told(tmp_path, monkeypatch):
    def unknown(_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(lock, "take", unknown)
    with pytest.raises(OutputError, match="move the project to a disk that knows"), ProjectLock(tmp_path, STARTED):
        pass
