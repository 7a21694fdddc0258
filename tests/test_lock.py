"""One run per project; the second says who holds it, and a killed holder holds nobody up."""

import datetime as dt
import os
import signal
import subprocess
import sys

import pytest

from spreadmap.errors import LockedError, OutputError
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
    with ProjectLock(tmp_path, STARTED):
        assert f'"pid": {os.getpid()}' in (tmp_path / LOCK).read_text()


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
