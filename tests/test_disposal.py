"""Discard lists, lists of parts to cut, and empty lists: as values, as tables, on the page, and in a whole run."""

import csv
import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from generator import make_project
from made_results import made_result
from small_records import inventory_at, state_with, texts

from spreadmap.decisions.disposal import DISCARD, SET_APART, dispose, next_days
from spreadmap.engine import Engine
from spreadmap.io.disposal_tables import disposal_tables
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.io.short_names import TABLES
from spreadmap.io.write_delivery import write_delivery
from spreadmap.pipeline import analyse
from spreadmap.records.state import plant_state
from spreadmap.review.disposal import disposal_answer, disposal_of, doubts
from spreadmap.review.language import Words
from spreadmap.review.sections import in_short
from spreadmap.values.pest_system import CutPart
from spreadmap.values.settings import Settings

EN = Words("en", "metric")

SYSTEMS = {system.key: system for system in read_pest_systems()}
TODAY = dt.date(2026, 7, 20)


def made(key, hosts, **state):
    plants = inventory_at(*[(i, 0) for i in range(len(hosts))], host=hosts)
    return dispose(plants, state_with(plants, **state), SYSTEMS[key], TODAY)


def test_confirmed_plants_are_discarded_and_suspects_set_apart():
    listed = made("cyclamen_mite", ["Begonia"] * 4, suspect=[0], infected=[2, 3]).discard
    assert listed.plant.tolist() == [2, 3, 0]
    assert listed.is_confirmed.tolist() == [True, True, False]
    assert listed.action.tolist() == [DISCARD, DISCARD, SET_APART]
    assert "no root work" in DISCARD


def test_a_woody_host_is_not_discarded_and_that_is_said():
    made_of = made("broad_mite", ["Begonia", "Rhododendron x", "rhododendron y"], infected=[0, 1, 2])
    assert made_of.discard.plant.tolist() == [0]
    assert made_of.remarks == ("broad mite: 2 plants are woody and stay; a woody host is not discarded.",)


def test_parts_are_cut_in_the_order_in_which_they_are_due():
    listed = made("coneflower_rosette_mite", ["Echinacea"] * 2, infected=[0], suspect=[1]).parts
    assert listed.plant.tolist() == [0, 1, 0, 1]
    assert listed.is_confirmed.tolist() == [True, False, True, False]
    # the first window is open on 20 July, so it begins on that day
    assert [str(day) for day in listed.begins_on] == ["2026-07-20"] * 2 + ["2026-10-01"] * 2
    assert [str(day) for day in listed.ends_on] == ["2026-09-30"] * 2 + ["2026-11-30"] * 2
    assert "debris" in listed.part[2]


def test_no_action_is_two_empty_lists_with_the_reason():
    nothing = made("maple_bladder_gall", ["Acer"], infected=[0])
    assert len(nothing.discard) == len(nothing.parts) == 0
    assert nothing.reason == SYSTEMS["maple_bladder_gall"].verdict_reason
    assert nothing.remarks == ("Nothing is removed, discarded or cut.",)


@pytest.mark.parametrize("key", ["cyclamen_mite", "coneflower_rosette_mite"])
def test_nothing_found_makes_empty_lists(key):
    empty = made(key, ["Begonia"])
    assert len(empty.discard) == len(empty.parts) == 0


@pytest.mark.parametrize(
    ("begins", "ends", "day", "expected"),
    [
        ((6, 1), (6, 30), (2026, 5, 1), ("2026-06-01", "2026-06-30")),
        ((6, 1), (6, 30), (2026, 6, 30), ("2026-06-30", "2026-06-30")),
        ((6, 1), (6, 30), (2026, 7, 1), ("2027-06-01", "2027-06-30")),
        ((12, 1), (2, 29), (2027, 1, 5), ("2027-01-05", "2027-02-28")),
        ((12, 1), (2, 29), (2026, 6, 1), ("2026-12-01", "2027-02-28")),
    ],
)
def test_the_next_days_of_a_part(begins, ends, day, expected):
    part = CutPart(part="x", begins=begins, ends=ends, how="cut", status="assumed", source="made for a test")
    assert tuple(str(each) for each in next_days(part, dt.date(*day))) == expected


@pytest.fixture(scope="module")
def found():
    """A run over a town in which begonias, coneflowers and maples were found affected besides the roses."""
    project = make_project(plants=60, confirmed=4, seed=5)
    host = project.inventory.host.copy()
    host[:3], host[3:6], host[6:8] = "Begonia", "Echinacea purpurea", "Acer rubrum"
    inventory = replace(project.inventory, host=host)
    first = project.surveys
    system, status, symptoms = first.pest_system.copy(), first.status.copy(), first.symptoms.copy()
    system[:3], system[3:6], system[6:7], system[7:8] = (
        "cyclamen_mite",
        "coneflower_rosette_mite",
        "maple_bladder_gall",
        "rose_rosette",
    )
    status[:8] = texts(["infected", "infected", "suspect", "infected", "clean", "clean", "infected", "suspect"], 8)
    symptoms[6:8] = "red beads"
    evidence = np.where(status == "infected", "typical_symptoms", "visual").astype(object)
    surveys = replace(first, pest_system=system, status=status, symptoms=symptoms, evidence=evidence)
    return analyse(replace(project, inventory=inventory, surveys=surveys), Settings(), Engine(workers=1))


def test_a_run_carries_the_lists_of_every_unmapped_system(found):
    assert len(found.disposals) == 18
    by_key = {each.system_key: each for each in found.disposals}
    assert by_key["cyclamen_mite"].discard.plant.tolist() == [0, 1, 2]
    assert by_key["coneflower_rosette_mite"].parts.plant.tolist() == [3, 3]
    lengths = {key: len(each.discard) + len(each.parts) for key, each in by_key.items()}
    assert {key for key, length in lengths.items() if length} == {"cyclamen_mite", "coneflower_rosette_mite"}


def test_removal_lists_hold_no_plant_of_another_system(found):
    assert [system.triage.system.key for system in found.systems] == ["rose_rosette"]
    assert found.systems[0].plan.removal.plant.min() >= 8


def test_a_wrong_identification_is_said(found):
    rose = next(item for item in found.triage if item.system.key == "rose_rosette")
    (wrong,) = [group for group in rose.identifications if group.misfit]
    assert wrong.plants == (7,)
    assert wrong.misfit == "Identified as rose rosette on Acer: no host of it. Maple bladder gall mite would fit."
    assert "no host of it" in str(doubts(EN, rose))
    maple = next(item for item in found.triage if item.system.key == "maple_bladder_gall")
    assert doubts(EN, maple) is None


def test_tables_hold_what_the_dictionary_names_and_the_face(found):
    tables = {table.system_key: table for table in disposal_tables(found)}
    assert {key: table.name for key, table in tables.items()} == {
        "cyclamen_mite": "discard_list",
        "coneflower_rosette_mite": "cut_list",
    }
    for table in tables.values():
        named = [column.name for column in TABLES[table.name] if not column.name.endswith("_text")]
        assert list(table.head) == [*named, "easting", "northing", "longitude", "latitude"]
        for row in table.rows:
            cells = dict(zip(table.head, row, strict=True))
            assert cells["system"] == table.system_key
            assert cells["mode"] == "relative"
            assert cells["unit"] == ("plants" if table.name == "discard_list" else "parts of plants")
            assert cells["as_of"] == found.inputs.as_of
            assert cells["valid_until"] == found.inputs.next_survey_on
            assert cells["condition"] == "findings of the survey; no model"
    assert [row[0] for row in tables["cyclamen_mite"].rows] == ["000000", "000001", "000002"]


def test_the_delivery_holds_them_and_the_dictionary_explains_them(found, tmp_path):
    products = {product.path: product.rows for product in write_delivery(tmp_path, found)}
    assert products["cyclamen_mite/discard_list.csv"] == 3
    assert products["coneflower_rosette_mite/cut_list.csv"] == 2
    with (tmp_path / "coneflower_rosette_mite" / "cut_list.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["begins_on"] for row in rows] == sorted(row["begins_on"] for row in rows)
    assert {row["plant_id"] for row in rows} == {"000003"}
    dictionary = (tmp_path / "data_dictionary.csv").read_text(encoding="utf-8")
    assert "discard_list,table,action," in dictionary
    assert "cut_list,table,part," in dictionary
    folders = {path.name for path in tmp_path.iterdir() if path.is_dir()}
    assert folders == {"rose_rosette", "public", "cyclamen_mite", "coneflower_rosette_mite"}
    assert {path.parent.name for path in tmp_path.rglob("removal_list*")} == {"rose_rosette"}


def test_the_page_shows_the_lists_and_where_they_stand(found):
    said = {item.system.key: str(disposal_of(EN, item, found)) for item in found.triage}
    assert "2 plants to discard, 1 to set apart." in said["cyclamen_mite"]
    assert "cyclamen_mite/discard_list.csv" in said["cyclamen_mite"]
    assert "the plant stays" in said["coneflower_rosette_mite"]
    assert said["maple_bladder_gall"] == said["broad_mite"] == "None"


def test_the_first_lines_count_what_is_thrown_away_and_cut(found):
    said = {item.system.key: disposal_answer(EN, item, found) for item in found.triage}
    assert said["cyclamen_mite"] == "Cyclamen mite: 2 plants to discard, 1 to set apart."
    assert said["coneflower_rosette_mite"] == "Coneflower rosette mite: parts of 1 plant to cut off."
    # an ivy is woody and stays: of two confirmed plants one is thrown away
    host = found.inputs.inventory.host.copy()
    host[1] = "Hedera helix"
    inventory = replace(found.inputs.inventory, host=host)
    item = next(each for each in found.triage if each.system.key == "cyclamen_mite")
    state, _ = plant_state(
        inventory, found.inputs.surveys, found.inputs.work_log, item.system, np.datetime64(found.inputs.as_of)
    )
    thrown = dispose(inventory, state, item.system, found.inputs.as_of)
    ivy = replace(found, inputs=replace(found.inputs, inventory=inventory), disposals=(thrown,))
    assert disposal_answer(EN, item, ivy) == "Cyclamen mite: 1 plant to discard, 1 to set apart."
    assert "Cyclamen mite: 1 plant to discard, 1 to set apart." in str(in_short(EN, ivy))


def test_names_in_a_row():
    assert [EN.together(list("abcd"[:count])) for count in range(4)] == ["", "a", "a and b", "a, b and c"]


def test_a_hand_made_result_without_lists_says_nothing():
    result = made_result()
    assert disposal_tables(result) == ()
    assert all(disposal_of(EN, item, result) is None for item in result.triage)
