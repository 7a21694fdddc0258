"""The history only grows, knows the last delivery, and catches up with runs that died before they could say so."""

import datetime as dt
import sqlite3
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
from made_results import AS_OF, PLANTS, made_result

from spreadmap.errors import OutputError
from spreadmap.io.changes import delivered_plants
from spreadmap.io.history import GROWS, HISTORY, VERSION, adopt_folders, last_delivery, open_history, record_run
from spreadmap.io.layers import plants_layer
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery

STARTED = dt.datetime(2026, 9, 14, 7, 30, tzinfo=dt.UTC)
ENDED = dt.datetime(2026, 9, 14, 7, 31, tzinfo=dt.UTC)


def deliver(project, result, *, record=True):
    with open_history(project) as history:
        adopt_folders(history, project)
        before, plants = last_delivery(history)
        with RunFolder(project, result.inputs.as_of) as run:
            write_delivery(run.path, result, previous=plants, previous_folder=before)
        if record:
            record_run(history, project, run.final, as_of=AS_OF, started=STARTED, ended=ENDED, result="done",
                       version="0.1.0", files=result.inputs.files)  # fmt: skip
    return run.final


def moved(result, key="003"):
    system = result.systems[0]
    status = system.state.status.copy()
    status[int(key)] = "suspect"
    return replace(result, systems=(replace(system, state=replace(system.state, status=status)),))


def renamed(result):
    keys = result.inputs.inventory.plant_id.copy()
    keys[4] = "new"
    inventory = replace(result.inputs.inventory, plant_id=keys)
    return replace(result, inputs=replace(result.inputs, inventory=inventory))


def expected(result):
    return delivered_plants(plants_layer(result.systems[0], result.inputs))


def test_a_new_project_has_no_last_delivery(tmp_path):
    with open_history(tmp_path) as history:
        assert last_delivery(history) == ("", {})


def test_the_last_delivery_is_kept_by_its_changes_alone(tmp_path):
    for result in (made_result(), moved(made_result()), renamed(moved(made_result())), made_result()):
        folder = deliver(tmp_path, result)
        with open_history(tmp_path) as history:
            name, plants = last_delivery(history)
        assert name == folder.relative_to(tmp_path).as_posix()
        assert plants == {"rose_rosette": expected(result)}
    with open_history(tmp_path) as history:
        ((rows,),) = history.rows("SELECT count(*) FROM plant_changes")
    # thirty inserts; one update; insert and delete; update back, insert and delete back
    assert rows == PLANTS + 1 + 2 + 3


def test_changes_compare_with_the_delivery_before(tmp_path):
    deliver(tmp_path, made_result())
    folder = deliver(tmp_path, renamed(moved(made_result())))
    lines = (folder / "changes.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert [line.split(",")[1:5] for line in lines] == [
        ["003", "update", "clean", "suspect"], ["new", "insert", "", "clean"], ["004", "delete", "clean", ""],
    ]  # fmt: skip


@pytest.mark.parametrize("unrecorded", [1, 2])
def test_a_run_that_died_before_the_history_is_caught_up_with(tmp_path, unrecorded):
    deliver(tmp_path, made_result())
    results = [moved(made_result()), renamed(made_result())][:unrecorded]
    for result in results:
        # with nothing adopted between, both compare with the same recorded delivery only if adoption fails
        folder = deliver(tmp_path, result, record=False)
    with open_history(tmp_path) as history:
        adopt_folders(history, tmp_path)
        name, plants = last_delivery(history)
        assert adopt_folders(history, tmp_path) == ()
        assert [row[0] for row in history.rows("SELECT result FROM runs ORDER BY id")] == ["done"] + [
            "found"
        ] * unrecorded
    assert name == folder.relative_to(tmp_path).as_posix()
    assert plants == {"rose_rosette": expected(results[-1])}


def test_a_lost_history_is_made_again_from_the_folders(tmp_path):
    for result in (made_result(), moved(made_result()), renamed(made_result())):
        folder = deliver(tmp_path, result)
    for left in tmp_path.glob(f"{HISTORY}*"):
        left.unlink()
    with open_history(tmp_path) as history:
        assert len(adopt_folders(history, tmp_path)) == 3
        name, plants = last_delivery(history)
    assert (name, plants) == (
        folder.relative_to(tmp_path).as_posix(),
        {"rose_rosette": expected(renamed(made_result()))},
    )


def test_surveys_are_known_by_their_content(tmp_path):
    deliver(tmp_path, made_result())
    deliver(tmp_path, made_result())
    with open_history(tmp_path) as history:
        seen = history.rows("SELECT role, path, rows, first_run FROM inputs_seen ORDER BY role")
    assert seen == [("inventory", "plants.csv", PLANTS, 1), ("surveys", "survey.csv", 28, 1)]


def test_every_product_is_entered_with_its_hash(tmp_path):
    folder = deliver(tmp_path, made_result())
    with open_history(tmp_path) as history:
        products = {name for (name,) in history.rows("SELECT product FROM deliveries WHERE length(sha256) = 64")}
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert products == there - {"manifest.json"}


def test_a_failed_run_is_entered_without_a_folder(tmp_path):
    with open_history(tmp_path) as history:
        record_run(history, tmp_path, None, as_of=AS_OF, started=STARTED, ended=ENDED, result="failed", version="0.1.0")
        assert history.rows("SELECT as_of, folder, started, ended, result FROM runs") == [
            ("2026-09-14", None, "2026-09-14T07:30:00+00:00", "2026-09-14T07:31:00+00:00", "failed")
        ]
        assert last_delivery(history) == ("", {})


@pytest.mark.parametrize("table", GROWS)
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid"])
def test_nothing_can_be_taken_out_or_changed(tmp_path, table, verb):
    deliver(tmp_path, made_result())
    if table == "fits":
        with closing(sqlite3.connect(tmp_path / HISTORY)) as database:
            database.execute("INSERT INTO fits VALUES (1, 'rose_rosette', '2026-09-14', 1, '', '0', x'00')")
            database.commit()
    change = verb.format(table).replace("rowid", "run" if table in ("deliveries", "plant_changes") else "as_of")
    change = change.replace("as_of", "sha256") if table == "inputs_seen" else change
    with (
        closing(sqlite3.connect(tmp_path / HISTORY)) as database,
        pytest.raises(sqlite3.IntegrityError, match="only grows"),
    ):
        database.execute(change)


def test_a_run_is_entered_whole_or_not_at_all(tmp_path):
    with open_history(tmp_path) as history:
        with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
            history.add_run("2026-09-14", "runs/x", "", "", "done", "0", products=[("a", "1"), ("a", "1")])
        assert history.rows("SELECT count(*) FROM runs") == [(0,)]


def test_a_history_of_a_newer_version_is_refused(tmp_path):
    with closing(sqlite3.connect(tmp_path / HISTORY)) as database:
        database.execute(f"PRAGMA user_version = {VERSION + 1}")
    with pytest.raises(OutputError, match="Install the newer spreadmap"):
        open_history(tmp_path)


def test_a_damaged_history_is_an_output_error(tmp_path):
    (tmp_path / HISTORY).write_bytes(np.full(5000, 7, dtype=np.uint8).tobytes())
    with pytest.raises(OutputError, match=r"cannot be used: .* Put back a copy"):
        open_history(tmp_path)


def test_another_reader_does_not_stop_the_writer(tmp_path):
    with open_history(tmp_path) as history:
        assert history.rows("PRAGMA journal_mode") == [("wal",)]
        assert history.rows("PRAGMA foreign_keys") == [(1,)]
