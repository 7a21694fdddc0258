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
from spreadmap.io.history import adopt_folders, last_delivery, open_history, record_run
from spreadmap.io.history_store import COPY, GROWS, HISTORY, MIGRATIONS, VERSION, read_into_memory
from spreadmap.io.history_view import history_tables
from spreadmap.io.layers import plants_layer
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery
from spreadmap.values.surveys import Decisions

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


def test_every_decision_is_entered_once(tmp_path):
    said = Decisions(
        plant_id=np.array(["003", "004"], dtype=object), decided_on=np.array(["2026-09-10", "2026-09-11"], dtype="datetime64[D]"),
        decision=np.array(["accept", "put_off"], dtype=object), until=np.array(["NaT", "2026-10-01"], dtype="datetime64[D]"),
        reason=np.array(["", "in bloom"], dtype=object),
    )  # fmt: skip
    with open_history(tmp_path) as history:
        for _ in range(2):
            record_run(history, tmp_path, None, as_of=AS_OF, started=STARTED, ended=ENDED, result="failed",
                       version="0.1.0", decisions=said)  # fmt: skip
        tables = {table.key: table for table in history_tables(history)}
    assert tables["decisions"].rows == (
        ("003", "2026-09-10", "accept", None, "", 1),
        ("004", "2026-09-11", "put_off", "2026-10-01", "in bloom", 1),
    )


ONE_ROW = {
    "fits": "INSERT INTO fits VALUES (1, 'rose_rosette', '2026-09-14', 1, '', '0', x'00')",
    "surveys": "INSERT INTO surveys VALUES (1, '2026-09-14', 'a', 'b', 'survey.csv', 28)",
    "withdrawals": "INSERT INTO withdrawals VALUES (1, 1, '', '0', 1, '2026-09-14', 'a', 'b', 'survey.csv', 28)",
    "decisions": "INSERT INTO decisions VALUES ('003', '2026-09-14', 'refuse', '', 'in bloom', 1)",
    "scores": "INSERT INTO scores VALUES (1, 'rose_rosette', '2026-07-13', '2026-09-14', 'relative', '{}')",
}


@pytest.mark.parametrize("table", GROWS)
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET {} = {}"])
def test_nothing_can_be_taken_out_or_changed(tmp_path, table, verb):
    deliver(tmp_path, made_result())
    with closing(sqlite3.connect(tmp_path / HISTORY)) as database:
        if table in ONE_ROW:
            database.execute(ONE_ROW[table])
            database.commit()
        column = database.execute(f"SELECT * FROM {table}").description[0][0]
        assert database.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
        with pytest.raises(sqlite3.IntegrityError, match="only grows"):
            database.execute(verb.format(table, column, column))


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


def test_another_reader_does_not_stop_the_writer(tmp_path):
    with open_history(tmp_path) as history:
        assert history.rows("PRAGMA journal_mode") == [("wal",)]
        assert history.rows("PRAGMA foreign_keys") == [(1,)]


def test_a_row_of_a_run_that_is_not_there_is_refused(tmp_path):
    with open_history(tmp_path) as history, pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        history.rows("INSERT INTO deliveries VALUES (7, 'a', 'b')")


def old_history(project, version=3):
    """Make a history as an older version made it, with one run."""
    with closing(sqlite3.connect(project / HISTORY)) as database:
        for number in range(1, version + 1):
            database.executescript(f"{MIGRATIONS[number][0]} PRAGMA user_version = {number};")
        database.execute("INSERT INTO runs VALUES (1, '2026-05-18', 'runs/2026-05-18-1', '', '', 'done', '0.1.0')")
        database.commit()


def asked(path, question):
    with closing(sqlite3.connect(path)) as database:
        return database.execute(question).fetchall()


@pytest.mark.parametrize("version", range(1, VERSION))
def test_before_a_migration_a_copy_is_kept(tmp_path, version):
    old_history(tmp_path, version)
    with open_history(tmp_path) as history:
        assert history.rows("PRAGMA user_version") == [(VERSION,)]
        assert history.rows("SELECT folder FROM runs") == [("runs/2026-05-18-1",)]
    kept = tmp_path / f"{HISTORY}.version_{version}"
    assert asked(kept, "PRAGMA user_version") == [(version,)]
    assert asked(kept, "SELECT folder FROM runs") == [("runs/2026-05-18-1",)]
    # a history of this version needs none
    with open_history(tmp_path):
        pass
    assert sorted(path.name for path in tmp_path.iterdir()) == [HISTORY, kept.name]


def test_without_a_copy_nothing_is_migrated(tmp_path):
    old_history(tmp_path)
    (tmp_path / f"{HISTORY}.version_3").mkdir()
    with pytest.raises(OutputError, match="version_3 could not be written: .*Free the disk"):
        open_history(tmp_path)
    assert asked(tmp_path / HISTORY, "PRAGMA user_version") == [(3,)]
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_after_every_entry_there_is_a_copy(tmp_path):
    with open_history(tmp_path):
        pass
    assert not (tmp_path / COPY).exists()
    for number in (1, 2):
        deliver(tmp_path, made_result())
        assert asked(tmp_path / COPY, "SELECT count(*) FROM runs") == [(number,)]
    with pytest.raises(sqlite3.IntegrityError, match="only grows"):
        asked(tmp_path / COPY, "DELETE FROM runs")


def test_reading_writes_nothing_and_reads_older_versions(tmp_path):
    assert read_into_memory(tmp_path) is None
    assert list(tmp_path.iterdir()) == []
    old_history(tmp_path)
    before = (tmp_path / HISTORY).read_bytes()
    with closing(read_into_memory(tmp_path)) as memory:
        assert memory.execute("SELECT folder FROM runs").fetchall() == [("runs/2026-05-18-1",)]
        assert memory.execute("SELECT * FROM surveys").fetchall() == []
    assert [path.name for path in tmp_path.iterdir()] == [HISTORY]
    assert (tmp_path / HISTORY).read_bytes() == before


def test_reading_sees_what_a_killed_run_left_in_the_log(tmp_path):
    deliver(tmp_path, made_result())
    with open_history(tmp_path) as history:
        history.add_run("2026-10-12", None, "", "", "failed", "0")
        with closing(read_into_memory(tmp_path)) as memory:
            assert memory.execute("SELECT count(*) FROM runs").fetchall() == [(2,)]
