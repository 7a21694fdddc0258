"""Who is scored: listed with nothing seen, and really inspected after the forecast; who counts as found, and when."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from made_forecasts import CRS, SECOND, THIRD, made_forecast, made_ring, made_world

from spreadmap.outbreak.looks import looks_at, seen_on
from spreadmap.outbreak.score_sample import beds_of, sample_of

BEFORE, AFTER = "2026-05-18", "2026-07-13"
KEYS = ["p0", "p1", "p2", "p3", "p4", "p5"]


def sample(rows, *, forecast=None, last=SECOND, **world):
    project, state = made_world(*rows, **world)
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(project.as_of))
    return sample_of(forecast or made_forecast(KEYS), state, project, looks, np.datetime64(last))


def clean(*keys, on=AFTER):
    return [(key, on, "clean", "visual") for key in keys]


def found(*keys, on=AFTER, evidence="typical_symptoms"):
    return [(key, on, "infected", evidence) for key in keys]


def test_only_inspected_plants_are_scored():
    scored = sample([*clean("p0", "p3"), *found("p2")])
    assert scored.found.tolist() == [False, True, False]
    assert scored.orders["inspection_list"].tolist() == [0, -2, -3]
    assert scored.orders["pressure"].tolist() == [6, 4, 3]
    assert scored.orders["distance"].tolist() == [0, -20, -30]


def test_inspections_up_to_the_forecast_do_not_count():
    assert len(sample(clean("p0", on=BEFORE)).found) == 0
    assert len(sample(clean("p0", on="2026-05-19")).found) == 1


def test_inspections_after_the_last_day_do_not_count():
    rows = [*clean("p0"), *found("p0", "p1", on="2026-09-14")]
    scored = sample(rows, as_of=THIRD)
    assert scored.found.tolist() == [False]


@pytest.mark.parametrize("status", ["removed", "not_found"])
def test_a_plant_that_was_gone_was_not_inspected(status):
    evidence = "work_log" if status == "removed" else "visual"
    assert len(sample([("p0", AFTER, status, evidence)]).found) == 0


def test_a_bed_inspected_as_a_whole_tells_of_no_plant():
    project, state = made_world(*clean("p0"), *found("p1"))
    whole = project.surveys.is_bed_count.copy()
    whole[1] = True
    project.surveys = replace(project.surveys, is_bed_count=whole)
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    scored = sample_of(made_forecast(KEYS), state, project, looks, np.datetime64(SECOND))
    assert scored.found.tolist() == [False]
    assert "Left out, beds inspected as a whole, of which no plant is known: 1." in scored.remarks


def test_inspections_for_another_pest_do_not_count():
    project, state = made_world(*clean("p0"))
    other = replace(project.surveys, pest_system=np.array(["leaf_gall"], dtype=object))
    assert len(looks_at(other, project.inventory, "rose_rosette", np.datetime64(SECOND)).plant) == 0
    assert len(state) == 6


def test_what_was_seen_before_is_left_out():
    rows = [("p0", BEFORE, "suspect", "visual"), *found("p0", evidence="lab"), *clean("p1")]
    scored = sample(rows)
    assert scored.found.tolist() == [False]
    assert any("something had been seen before" in text and text.endswith(": 1.") for text in scored.remarks)
    listed = sample(clean("p0", "p1"), forecast=made_forecast(KEYS, suspects=["p0"]))
    assert len(listed.found) == 1


def test_an_open_suspect_is_left_out_until_it_is_settled():
    suspect = [("p0", AFTER, "suspect", "visual"), *clean("p1")]
    scored = sample(suspect)
    assert scored.found.tolist() == [False]
    assert "Left out, plants that became suspects and are not settled: 1." in scored.remarks
    # a test in autumn settles it: it was found in July
    later = sample([*suspect, *found("p0", on="2026-09-14", evidence="lab")], as_of=THIRD)
    assert later.found.tolist() == [True, False]


def test_a_negative_test_between_starts_anew():
    rows = [
        ("p0", BEFORE, "suspect", "visual"),
        ("p0", "2026-05-30", "clean", "lab"),
        *found("p0", on="2026-07-01", evidence="lab"),
    ]
    project, state = made_world(*rows)
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    assert seen_on(looks, state)[0] == np.datetime64("2026-07-01")
    assert np.isnat(seen_on(looks, state)[1:]).all()


def test_a_case_that_a_later_test_took_back_is_none():
    rows = [*found("p0"), ("p0", "2026-08-01", "clean", "lab"), *clean("p1")]
    assert not sample(rows, as_of=THIRD).found.any()


def test_cases_that_were_not_listed_are_told():
    scored = sample([*clean("p0"), *found("p5")], forecast=made_forecast(KEYS[:3]))
    assert "Found on plants that the forecast did not list: 1." in scored.remarks
    assert len(scored.found) == 1


def test_a_listed_plant_that_left_the_inventory_is_passed_over():
    scored = sample(clean("p0"), forecast=made_forecast(["gone", "p0"]))
    assert scored.orders["inspection_list"].tolist() == [-1]


def test_late_inspections_and_the_work_done_are_told():
    forecast = replace(made_forecast(KEYS, removal=("p4", "p5")), valid_until=dt.date(2026, 7, 1))
    scored = sample(
        [*found("p4", "p5", on=BEFORE), *clean("p0")], forecast=forecast, work=[("p4", "2026-06-01", "yes", "NaT")]
    )
    assert "Plants to take out that were out by 2026-07-13: 1 of 2." in scored.remarks
    assert "Inspections after the forecast's last day, scored all the same: 1." in scored.remarks


def test_the_hours_of_the_list_are_counted_among_inspected_plants():
    assert sample(clean("p1", "p2"), forecast=made_forecast(KEYS, within=2)).hours == 1


def test_rings_of_one_name_count_together():
    rings = [made_ring("core", 0.5, -1, 1), made_ring("core", 0.5, 29, 31), made_ring("outer", 0.99, -1, 31)]
    scored = sample(clean("p0", "p1", "p3", "p5"), forecast=made_forecast(KEYS, rings=rings))
    assert scored.in_rings["core"][0] == 0.5
    assert scored.in_rings["core"][1].tolist() == [True, False, True, False]
    assert scored.in_rings["outer"][1].tolist() == [True, True, True, False]


def test_rings_of_another_reference_system_are_not_scored():
    forecast = made_forecast(KEYS, rings=[made_ring("core", 0.5, -1, 1)], crs="EPSG:25832")
    scored = sample(clean("p0"), forecast=forecast)
    assert forecast.crs != CRS
    assert scored.in_rings == {}
    assert "The rings were drawn in another reference system and are not scored." in scored.remarks


def test_a_plant_without_a_bed_is_a_bed_by_itself():
    project, _ = made_world(beds=["a", "a", "", "", "b", "a"])
    beds = beds_of(project.inventory, np.arange(6))
    assert beds[0] == beds[1] == beds[5]
    assert len(set(beds.tolist())) == 4
