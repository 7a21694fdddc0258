"""The curve of hours and the checks for regrowth as tables, and what the page says of both."""

import csv
import re
from dataclasses import replace

import numpy as np
import pytest
from made_results import made_result

from spreadmap.decisions.regrowth import hole_checks
from spreadmap.io.removal_tables import write_removal_tables
from spreadmap.io.short_names import REGROWTH_CHECKS, REMOVAL_CURVE
from spreadmap.review.headlines import headlines
from spreadmap.review.language import Words
from spreadmap.review.removal_list import removal_table
from spreadmap.review.removal_words import avoided_sentence, holes_sentence
from spreadmap.review.words import undone_sentence
from spreadmap.values.settings import RemovalSettings, Settings
from spreadmap.values.words import Mode

EN = Words("en", "metric")


def system_with(**removal):
    system = made_result().systems[0]
    return replace(system, plan=replace(system.plan, removal=replace(system.plan.removal, **removal)))


def with_hole():
    """The made system; its plant 029 was taken out on 20 August and had been found on 3 August."""
    result = made_result()
    system = result.systems[0]
    found = system.state.first_found_on.copy()
    found[29] = np.datetime64("2026-08-03")
    state = replace(system.state, first_found_on=found)
    holes = hole_checks(result.inputs.inventory, state, result.settings, result.inputs.as_of)
    return replace(system, plan=replace(system.plan, holes=holes)), result


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_curve_is_written_point_by_point_with_its_mode(tmp_path):
    system, result = made_result().systems[0], made_result()
    written = write_removal_tables(tmp_path, system, result.inputs)
    assert {path.name: count for path, count in written.items()} == {"removal_curve.csv": 7}
    rows = rows_of(tmp_path / "removal_curve.csv")
    assert list(rows[0]) == [column.name for column in REMOVAL_CURVE if not column.name.endswith("_text")]
    assert [row["plants"] for row in rows] == [str(number) for number in range(7)]
    assert rows[0]["share_avoided"] == "0.0"
    assert rows[-1]["share_avoided"] == "1.0"
    told = ("infections_avoided", "infections_low", "infections_high")
    assert {row[name] for row in rows for name in told} == {""}  # none is stated in relative mode
    assert {row["mode"] for row in rows} == {"relative"}
    assert all("arrivals" in row["share_of"] for row in rows)


def test_holes_are_written_with_their_next_check(tmp_path):
    system, result = with_hole()
    write_removal_tables(tmp_path, system, result.inputs)
    (row,) = rows_of(tmp_path / "regrowth_checks.csv")
    assert list(row) == [column.name for column in REGROWTH_CHECKS if not column.name.endswith("_text")]
    assert (row["plant_id"], row["removed_on"], row["checks_from"]) == ("029", "2026-08-20", "2026-08-20")
    assert row["next_check_on"] == "2026-09-17"  # the look of 14 September made the check of 3 September
    assert row["is_overdue"] == "N"
    assert row["is_case_near"] == "Y"


def test_the_page_says_what_the_hours_avoid_with_the_range():
    """The made list takes 1.25, 1.5, 1.75, 2.1, 2.5 and 2.8 hours; its shares are 0, 1/6, 2/6 ... 1."""
    result = replace(made_result(), settings=Settings(removal=RemovalSettings(crew_hours_per_week=1.5)))
    hours = np.array([0.0, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0])
    curve = replace(made_result().systems[0].plan.removal.curve, hours=hours)
    says = avoided_sentence(EN, system_with(curve=curve), result)
    assert says.startswith("Of the arrivals on healthy hosts that the plants on the list would send until the horizon")
    assert "33 % (11 % to 58 %)" in says  # 1.5 hours reach the second point
    assert says.count("avoid ") == 4
    assert "removal_curve.csv" in says
    calibrated = system_with(curve=curve)
    calibrated = replace(calibrated, face=replace(calibrated.face, mode=Mode.CALIBRATED))
    assert avoided_sentence(EN, calibrated, result).startswith(
        "Of the infections that the plants on the list would cause"
    )


@pytest.mark.parametrize("curve", [None, "short"])
def test_no_curve_is_no_sentence(curve):
    result = made_result()
    assert avoided_sentence(EN, system_with(curve=None), result) == ""
    no_crew = replace(result, settings=Settings(removal=RemovalSettings(crew_hours_per_week=0.0)))
    assert avoided_sentence(EN, result.systems[0], no_crew) == ""


def test_a_crew_without_hours_has_no_weeks_of_work():
    result = made_result()
    system = result.systems[0]
    idle = replace(system, plan=replace(system.plan, backlog_weeks=float("inf")))
    assert undone_sentence(EN, system).endswith("of what all of them send to plants still healthy. One crew works "
                                                f"{system.plan.backlog_weeks:.1f} weeks on the whole list.")  # fmt: skip
    assert undone_sentence(EN, idle).endswith("of what all of them send to plants still healthy.")
    lines = headlines(replace(result, systems=(idle,)))
    assert any(line.endswith("the crew has no hours, settings.removal.crew_hours_per_week is 0.") for line in lines)
    assert not any("inf " in line for line in lines)


def test_the_page_says_which_holes_are_looked_at_next():
    system, _ = with_hole()
    says = holes_sentence(EN, system)
    assert says.startswith("1 place where a confirmed plant was taken out; next check for sprouts on 17 September 2026")
    assert "overdue" not in says
    passed = {"next_check_on": np.array(["2026-08-30"], dtype="datetime64[D]"), "is_overdue": np.array([True])}
    late = replace(system, plan=replace(system.plan, holes=replace(system.plan.holes, **passed)))
    assert "1 check for sprouts is overdue, since 30 August 2026: look now" in holes_sentence(EN, late)
    assert "next" not in holes_sentence(EN, late)
    assert holes_sentence(EN, made_result().systems[0]) == ""


def test_the_table_shows_cost_day_decision_and_ranks_that_do_not_hold():
    count = 6
    decision = np.array(["", "refuse", *[""] * (count - 2)], dtype=object)
    why = np.array(["", "<b>no</b>", *[""] * (count - 2)], dtype=object)
    shown = re.sub(
        r"<[^>]+>",
        "",
        str(removal_table(EN, "removal", system_with(decision=decision, decision_reason=why), made_result())),
    )
    assert "99 US$" in shown
    assert "2026-09-17, no. 1" in shown
    assert "not before 2026-09-17" in shown
    assert "replant from 2028-12-01" in shown
    assert "Manager: refused: &lt;b&gt;no&lt;/b&gt;." in shown
    assert shown.count("(does not hold)") == 1
