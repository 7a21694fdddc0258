"""A run's folder is complete or not there, and earlier ones stay as they are."""

import datetime as dt
import errno
import json

import pytest

from spreadmap.errors import OutputError
from spreadmap.io.run_folder import RunFolder, read_latest, run_folders, write_latest

AS_OF = dt.date(2026, 9, 14)


def write_run(project, text="x", as_of=AS_OF):
    with RunFolder(project, as_of) as run:
        (run.path / "sub").mkdir()
        (run.path / "sub" / "product.txt").write_text(text)
    return run.final


def names(project):
    return sorted(path.name for path in (project / "runs").iterdir())


def test_a_finished_run_has_its_name_and_is_the_latest(tmp_path):
    final = write_run(tmp_path)
    assert names(tmp_path) == ["2026-09-14-1"]
    assert (final / "sub" / "product.txt").read_text() == "x"
    assert json.loads((tmp_path / "latest.json").read_text()) == {"folder": "runs/2026-09-14-1", "as_of": "2026-09-14"}
    assert read_latest(tmp_path) == final


def test_the_folder_is_hidden_until_it_is_complete(tmp_path):
    with RunFolder(tmp_path, AS_OF) as run:
        assert names(tmp_path) == [".2026-09-14-1.part"]
        assert not run.final.exists()
        assert not (tmp_path / "latest.json").exists()


def test_numbers_go_on_and_nothing_is_written_over(tmp_path):
    write_run(tmp_path, "first")
    write_run(tmp_path, "second")
    write_run(tmp_path, "other day", dt.date(2026, 10, 1))
    (tmp_path / "runs" / "2026-09-14-10").mkdir()
    final = write_run(tmp_path, "last")
    assert final.name == "2026-09-14-11"
    assert (tmp_path / "runs" / "2026-09-14-1" / "sub" / "product.txt").read_text() == "first"
    assert [path.name for path in run_folders(tmp_path)] == [
        "2026-09-14-1", "2026-09-14-2", "2026-09-14-10", "2026-09-14-11", "2026-10-01-1",
    ]  # fmt: skip


def test_the_number_of_a_folder_that_was_taken_away_is_not_used_again(tmp_path):
    with RunFolder(tmp_path, AS_OF, ["runs/2026-09-14-3", "runs/2026-08-01-9"]) as run:
        (run.path / "product.txt").write_text("x")
    assert run.final.name == "2026-09-14-4"


def test_after_an_error_nothing_remains_and_the_latest_stays(tmp_path):
    first = write_run(tmp_path)

    def fail() -> None:
        with RunFolder(tmp_path, AS_OF) as run:
            (run.path / "half.txt").write_text("half")
            raise KeyError("broken")

    with pytest.raises(KeyError, match="broken"):
        fail()
    assert names(tmp_path) == ["2026-09-14-1"]
    assert read_latest(tmp_path) == first


def test_what_a_dead_run_left_is_removed(tmp_path):
    left = tmp_path / "runs" / ".2026-09-01-3.part"
    left.mkdir(parents=True)
    (left / "half.txt").write_text("half")
    write_run(tmp_path)
    assert names(tmp_path) == ["2026-09-14-1"]


def test_a_folder_that_appeared_meanwhile_is_not_touched(tmp_path):
    def meet() -> None:
        with RunFolder(tmp_path, AS_OF) as run:
            run.final.mkdir()
            (run.final / "theirs.txt").write_text("theirs")

    with pytest.raises(OutputError, match="appeared meanwhile"):
        meet()
    assert names(tmp_path) == ["2026-09-14-1"]
    assert (tmp_path / "runs" / "2026-09-14-1" / "theirs.txt").read_text() == "theirs"


def test_a_place_that_cannot_be_written_is_an_output_error(tmp_path):
    (tmp_path / "runs").write_text("a file where the folder should be")
    with (
        pytest.raises(OutputError, match=r"cannot be written: .* Give this user the right"),
        RunFolder(tmp_path, AS_OF),
    ):
        pass


def test_latest_says_nothing_where_there_is_none_or_its_folder_is_gone(tmp_path):
    assert read_latest(tmp_path) is None
    assert run_folders(tmp_path) == ()
    write_latest(tmp_path, tmp_path / "runs" / "2026-09-14-1")
    assert read_latest(tmp_path) is None
    (tmp_path / "latest.json").write_text("no json")
    assert read_latest(tmp_path) is None


def fail_with(project, number):
    with RunFolder(project, AS_OF) as run:
        (run.path / "half.txt").write_text("half")
        raise OSError(number, "made for this test")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO, errno.EACCES])
def test_what_the_disk_refuses_is_an_output_error(tmp_path, number):
    first = write_run(tmp_path)
    with pytest.raises(OutputError, match=r"-2 could not be completed: .*made for this test. Free the disk.*run again"):
        fail_with(tmp_path, number)
    assert names(tmp_path) == ["2026-09-14-1"]
    assert read_latest(tmp_path) == first


def test_a_file_that_is_missing_is_a_defect(tmp_path):
    with pytest.raises(FileNotFoundError, match="made for this test"):
        fail_with(tmp_path, errno.ENOENT)
    assert names(tmp_path) == []
