"""The spread ahead as it goes out: scenarios.csv, columns of plants, the page; chances in calibrated mode only."""

import csv
import re
from dataclasses import replace

import numpy as np
import pytest
from made_results import PLANTS, made_ahead, made_calibrated_ahead, made_result

from spreadmap.io.dictionary import write_dictionary
from spreadmap.io.layers import plants_layer
from spreadmap.io.scenario_table import write_scenarios
from spreadmap.io.short_names import LAYERS, NOT_ASSESSED, PLANTS_AHEAD, SCENARIO_NUMBERS, SCENARIOS, SHORT_LENGTH
from spreadmap.io.summary import ahead_values
from spreadmap.review.ahead import ahead_answer, ahead_details
from spreadmap.review.language import Words

EN = Words("en", "metric")

STATES_A_CHANCE = re.compile(r"chance|probab|likely|expected_|risk of infection", re.IGNORECASE)


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_relative_tables_hold_shares_and_ratios(tmp_path):
    rows = rows_of(write_scenarios(tmp_path, made_ahead(), "rose_rosette"))
    assert [row["row"] for row in rows] == ["course", "course", "comparison"]
    assert (rows[1]["course"], rows[1]["taken_out"], rows[1]["share_avoided"]) == ("list", "6", "0.75")
    assert (rows[2]["against"], rows[2]["holds"], rows[2]["ratio_high"]) == ("nothing", "Y", "0.4")
    assert {row["mode"] for row in rows} == {"relative"}
    assert {row["seed"] for row in rows} == {"7"}
    assert not any(STATES_A_CHANCE.search(name) for name in rows[0])
    assert list(rows[0]) == [column.name for column in SCENARIOS if not column.name.endswith("_text")]


def test_calibrated_tables_hold_numbers_too(tmp_path):
    rows = rows_of(write_scenarios(tmp_path, made_calibrated_ahead(), "rose_rosette"))
    assert (rows[0]["by_horizon_expected"], rows[0]["by_horizon_low_90"], rows[0]["avoided_high_50"]) == (
        "11.0",
        "4.0",
        "14.0",
    )
    assert rows[2]["avoided_high_90"] == "23.0"
    assert all(column.name in rows[0] for column in SCENARIO_NUMBERS)


def test_plants_get_chances_in_calibrated_mode_only():
    result = made_result()
    system = result.systems[0]
    plain = plants_layer(system, result.inputs)
    assert plain.spec == LAYERS["plants"]
    calibrated = plants_layer(replace(system, ahead=made_calibrated_ahead()), result.inputs)
    assert calibrated.spec == LAYERS["plants"] + PLANTS_AHEAD
    column = calibrated.columns["infected_by_horizon"]
    assert column[:6].tolist() == [NOT_ASSESSED] * 6
    assert column[6:] == pytest.approx(2 * np.arange(6, PLANTS) / 100)
    assert calibrated.columns["ahead_first_on_text"][0] == "2026-10-01"
    assert all(len(column.short) <= SHORT_LENGTH for column in (*PLANTS_AHEAD, *SCENARIO_NUMBERS, *SCENARIOS))
    shorts = [column.short for column in calibrated.spec]
    assert len(set(shorts)) == len(shorts)


def test_the_dictionary_tells_of_chances_where_they_are_delivered(tmp_path):
    relative = write_dictionary(tmp_path / "r.csv", {}).read_text(encoding="utf-8")
    calibrated = write_dictionary(tmp_path / "c.csv", {}, is_calibrated=True).read_text(encoding="utf-8")
    assert "infected_by_horizon" not in relative
    assert "infected_by_horizon" in calibrated
    assert "avoided_low_90" in calibrated


def test_the_page_says_what_the_list_avoids_and_on_what_it_rests():
    said = ahead_answer(EN, made_ahead()) + str(ahead_details(EN, made_ahead()))
    assert "Taking the list out leaves 10% to 40% of the new cases." in said
    assert "No rate was fitted." in said
    assert "240 outbreaks" in said
    assert not STATES_A_CHANCE.search(said)
    assert ">60 % to 90 %<" in said
    calibrated = str(ahead_details(EN, made_calibrated_ahead()))
    assert "11 (4 to 23)" in calibrated
    assert "bed bed-0 (market)" in calibrated


def test_nothing_that_makes_a_difference_is_an_answer():
    ahead = made_ahead()
    same = replace(
        ahead,
        scenarios=tuple(replace(each, share_avoided=0.0, share_low=0.0, share_high=0.0) for each in ahead.scenarios),
    )
    assert ahead_answer(EN, same) == "No course of action makes a difference by 31 October 2026."


def test_the_summary_has_no_number_of_plants_in_relative_mode():
    relative, calibrated = ahead_values(made_ahead()), ahead_values(made_calibrated_ahead())
    assert all("by_horizon" not in each and "avoided" not in each for each in relative["scenarios"])
    assert relative["places"] == []
    assert calibrated["scenarios"][0]["by_horizon"]["high_90"] == 23.0
    assert calibrated["places"][0]["chance_by_horizon"] == 0.8
