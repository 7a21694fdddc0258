"""Insert, update, delete by the desk's own key."""

from dataclasses import replace

import numpy as np
import pytest
from made_results import HOSTILE_TEXTS, PLANTS, made_inventory, made_result

from spreadmap.io.changes import compare, delivered_plants, read_changes, write_changes
from spreadmap.io.layers import plants_layer


def delivered(result):
    return delivered_plants(plants_layer(result.systems[0], result.inputs))


def with_inventory(result, **columns):
    return replace(result, inputs=replace(result.inputs, inventory=replace(result.inputs.inventory, **columns)))


def kinds(changes):
    return [(change.change, change.plant_id) for change in changes]


def test_the_first_delivery_is_all_inserts():
    result = made_result()
    changes = compare("s", delivered(result), {})
    assert kinds(changes) == [("insert", key) for key in result.inputs.inventory.plant_id]
    assert {change.status_before for change in changes} == {""}


def test_the_same_delivery_again_changes_nothing():
    assert compare("s", delivered(made_result()), delivered(made_result())) == ()


def test_another_period_alone_is_no_change():
    result = made_result()
    system = result.systems[0]
    later = replace(system, face=replace(system.face, valid_until=system.face.valid_until.replace(day=30)))
    assert compare("s", delivered(replace(result, systems=(later,))), delivered(result)) == ()


def test_a_status_that_moved_is_an_update_that_says_so():
    result = made_result()
    system = result.systems[0]
    status = system.state.status.copy()
    status[3] = "suspect"
    moved = replace(result, systems=(replace(system, state=replace(system.state, status=status)),))
    (change,) = compare("s", delivered(moved), delivered(result))
    assert (change.change, change.plant_id) == ("update", "003")
    assert (change.status_before, change.status_now) == ("clean", "suspect")


@pytest.mark.parametrize(
    "columns",
    [
        {"note": np.array(["changed", *[""] * (PLANTS - 1)], dtype=object)},
        {"easting": made_inventory().easting + np.eye(1, PLANTS)[0] * 0.01},
    ],
    ids=["note", "place"],
)
def test_a_note_or_a_place_that_changed_is_an_update(columns):
    result = made_result()
    assert kinds(compare("s", delivered(with_inventory(result, **columns)), delivered(result))) == [("update", "000")]


def test_a_new_key_is_an_insert_and_the_old_one_a_delete():
    result = made_result()
    keys = result.inputs.inventory.plant_id.copy()
    keys[4] = "new"
    changes = compare("s", delivered(with_inventory(result, plant_id=keys)), delivered(result))
    assert kinds(changes) == [("insert", "new"), ("delete", "004")]
    assert changes[1].status_before == "clean"


def test_changes_read_back_as_they_were_written(tmp_path):
    result = made_result()
    keys = result.inputs.inventory.plant_id.copy()
    keys[:10] = [text.replace("\x00", "") for text in HOSTILE_TEXTS]
    keys[10:13] = ["-5", "'=x", "+49 5"]
    changes = compare("s", delivered(with_inventory(result, plant_id=keys)), {})
    assert read_changes(write_changes(tmp_path / "changes.csv", changes)) == changes
