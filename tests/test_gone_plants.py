"""Plants that leave the inventory stay on record with their dates, and with no other delivery's."""

import csv
import datetime as dt
from dataclasses import replace

from made_results import AS_OF, made_result

from spreadmap.io.changes import Change
from spreadmap.io.gone_plants import KEYS_AT_ONCE, gone_before, gone_now
from spreadmap.io.history import last_delivery, open_history, record_run
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.write_delivery import write_delivery

NOON = dt.datetime(2026, 9, 14, 12, tzinfo=dt.UTC)
LATER, LATEST = dt.date(2026, 10, 12), dt.date(2026, 11, 9)


def deliver(project, result):
    """Deliver a result, enter it, and return the rows of its gone_plants.csv."""
    with open_history(project) as history:
        before, plants = last_delivery(history)
        with RunFolder(project, result.inputs.as_of) as run:
            write_delivery(run.path, result, previous=plants, previous_folder=before, history=history)
        record_run(history, project, run.final, as_of=result.inputs.as_of, started=NOON, ended=NOON, result="done",
                   version="0", files=result.inputs.files)  # fmt: skip
    with (run.final / "gone_plants.csv").open(encoding="utf-8", newline="") as file:
        return [tuple(row) for row in csv.reader(file)][1:]


def on(day, *, old="004", new="004"):
    """The made result of another day, one plant of it under another key."""
    result = made_result()
    keys = result.inputs.inventory.plant_id.copy()
    keys[keys == old] = new
    inventory = replace(result.inputs.inventory, plant_id=keys)
    return replace(result, inputs=replace(result.inputs, inventory=inventory, as_of=day))


def test_a_plant_that_went_is_told_with_its_dates_from_then_on(tmp_path):
    assert deliver(tmp_path, on(AS_OF)) == []
    gone = [("rose_rosette", "004", "2026-09-14", "2026-10-12", "clean")]
    assert deliver(tmp_path, on(LATER, new="new")) == gone
    assert deliver(tmp_path, on(LATEST, new="new")) == gone


def test_a_plant_that_changed_before_it_went_keeps_its_first_day(tmp_path):
    deliver(tmp_path, on(AS_OF))
    changed = on(LATER)
    owner = changed.inputs.inventory.owner.copy()
    owner[:] = "county"
    inventory = replace(changed.inputs.inventory, owner=owner)
    deliver(tmp_path, replace(changed, inputs=replace(changed.inputs, inventory=inventory)))
    gone = [("rose_rosette", "004", "2026-09-14", "2026-11-09", "clean")]
    assert deliver(tmp_path, on(LATEST, new="new")) == gone
    assert deliver(tmp_path, on(LATEST, new="new")) == gone


def test_a_plant_that_came_back_is_gone_no_more(tmp_path):
    deliver(tmp_path, on(AS_OF))
    deliver(tmp_path, on(LATER, new="new"))
    assert deliver(tmp_path, on(LATEST)) == [("rose_rosette", "new", "2026-10-12", "2026-11-09", "clean")]


def test_a_plant_dug_out_stays_in_its_layer_with_its_day(tmp_path):
    # removed is a state of a plant that stands in the inventory: it does not leave the delivery
    deliver(tmp_path, on(AS_OF))
    with open_history(tmp_path) as history:
        _, plants = last_delivery(history)
    assert plants["rose_rosette"]["029"].status == "removed"


def test_more_keys_than_one_question_holds(tmp_path):
    sizes = []

    class Asked:
        def rows(self, question, values=()):
            sizes.append(len(values) - 1)
            return [(key, "2026-09-14") for key in values[1:]]

    count = 2 * KEYS_AT_ONCE + 1
    changes = [
        Change(system="s", plant_id=f"k{row}", change="delete", status_before="clean", status_now="", row_sha256="")
        for row in range(count)
    ]
    found = gone_now(Asked(), changes, AS_OF)
    assert sizes == [KEYS_AT_ONCE, KEYS_AT_ONCE, 1]
    assert [each.plant_id for each in found] == [f"k{row}" for row in range(count)]
    assert {each.first_delivered_on for each in found} == {"2026-09-14"}


def test_a_formula_for_a_key_stays_text_and_a_new_history_knows_of_none(tmp_path):
    with open_history(tmp_path) as history:
        assert gone_before(history) == ()
    deliver(tmp_path, on(AS_OF, new="=1+1"))
    assert deliver(tmp_path, on(LATER))[0][1] == "'=1+1"
