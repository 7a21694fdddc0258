"""What the map shows beside each section, what its ground says, and what the tools of the removal list know: as values."""

from dataclasses import replace

import numpy as np
import pytest
from made_page import made_shapes
from made_results import CONFIRMED, PLANTS, REMOVED, made_result, without_findings
from test_review_browser_lists import with_curve
from test_review_browser_views import with_before, with_score

from spreadmap.review.changes import changed_answer, changes_of
from spreadmap.review.decide import (
    curve_picture,
    decision_values,
    in_order,
    latest_decisions,
    most_hours,
    removal_columns,
    removal_values,
)
from spreadmap.review.ground import NO_HOST, SEEN, UNSEEN, ground_of, ground_of_sites
from spreadmap.review.language import Words
from spreadmap.review.page import page_values, shape_bounds
from spreadmap.review.points import drawn_before, drawn_status, plant_points
from spreadmap.review.views import MARGIN_DEG, around, union, walk_of
from spreadmap.review.words import latency_sentence
from spreadmap.values.surveys import Decisions

EN = Words("en", "metric")


@pytest.fixture(scope="module")
def result():
    return with_score(with_before(with_curve(made_result())))


@pytest.fixture(scope="module")
def shapes(result):
    return tuple(shape for group in made_shapes(result).values() for shape in group.shapes)


@pytest.fixture(scope="module")
def views(result, shapes):
    return page_values(EN, result, {"rose_rosette": None}, shapes, public=False)["views"]


def test_every_section_with_a_map_names_layers_that_exist(views, shapes):
    known = {"plants", "surface rose_rosette", *(shape.kind for shape in shapes)}
    known |= {f"line {shape.name}" for shape in shapes if shape.kind == "line"}
    known |= {"screen", "reservoir"}
    for key, view in views.items():
        assert view["layers"], key
        assert set(view["layers"]) <= known, key
        assert len(view["says"]) > 20, key


def test_lists_lines_and_scores_have_what_they_speak_of(views, result):
    assert views["removal"]["numbers"] == "removal"
    assert "surface rose_rosette" not in views["removal"]["layers"]
    assert views["inspection"]["route"] == list(walk_of(result.systems[0]))
    assert "surface rose_rosette" in views["inspection"]["layers"]
    assert {"ring", "site", "reservoir"} <= set(views["lines"]["layers"])
    assert "old_ring" in views["score"]["layers"]
    assert "ring" not in views["score"]["layers"]
    assert "ring_range" in views["sure"]["layers"]
    assert views["score"]["marked"] == [14, 21]
    assert views["residents"]["layers"] == ["surface rose_rosette"]
    assert sorted(views["changed"]["marked"]) == [8, 14, 21, 28, 29]
    assert views["changed"]["before_on"] == "13 July 2026"


def test_the_view_of_the_list_holds_this_weeks_plants_and_that_of_the_line_all_rings(views, result, shapes):
    inventory = result.inputs.inventory
    (south, west), (north, east) = views["removal"]["bounds"]
    for row in CONFIRMED[:4]:
        assert south < inventory.latitude[row] < north
        assert west < inventory.longitude[row] < east
    assert north == pytest.approx(inventory.latitude[CONFIRMED[3]] + MARGIN_DEG, abs=1e-6)
    (south, west), (north, east) = views["lines"]["bounds"]
    for shape in shapes:
        if shape.kind == "ring":
            box = shape_bounds(shape)
            assert south - 1e-6 <= box[0] < box[2] <= north + 1e-6
            assert west - 1e-6 <= box[1] < box[3] <= east + 1e-6


def test_the_walk_is_in_the_order_of_its_numbers(result):
    look = result.systems[0].plan.inspection
    assert walk_of(result.systems[0])[0] == look.plant[look.walk == 1][0]
    assert walk_of(result.systems[0])[-1] == look.plant[look.walk == look.walk.max()][0]
    turned = replace(look, walk=np.where(look.walk > 0, look.walk.max() + 1 - look.walk, 0))
    system = replace(result.systems[0], plan=replace(result.systems[0].plan, inspection=turned))
    assert walk_of(system) == tuple(reversed(walk_of(result.systems[0])))


def test_bounds_of_nothing_are_none(result):
    assert around(result.inputs.inventory, ()) is None
    assert union(()) is None
    assert union([(1, 2, 3, 4), (0, 3, 2, 5)]) == (0, 2, 3, 5)


def test_the_public_page_has_no_view_but_the_surface(result, shapes):
    assert page_values(EN, result, {"rose_rosette": None}, shapes, public=True) == {
        "views": {
            "start": {
                "says": "", "layers": ["surface rose_rosette"], "bounds": None, "numbers": "", "route": [],
                "marked": [], "before_on": "", "still": True,
            }
        },
        "removals": [],
        "decisions": None,
    }  # fmt: skip


def test_a_page_without_findings_has_views_and_no_tools():
    empty = without_findings(made_result())
    values = page_values(EN, empty, {}, (), public=False)
    assert values["removals"] == []
    assert values["views"]["removal"]["bounds"] is None
    assert changed_answer(EN, empty.systems[0]) == (
        "There is no earlier survey of this pest on record, so nothing can be compared."
    )


# --- ground


def test_ground_is_seen_unseen_or_without_hosts(result):
    system = result.systems[0]
    yard = result.inputs.inventory.site_id == "yard"

    def ground(**columns):
        state = replace(system.state, **columns)
        return ground_of_sites(replace(result, systems=(replace(system, state=state),)))

    assert ground() == {"market": SEEN, "yard": SEEN}
    status = np.where(yard, "not_inspected", system.state.status).astype(object)
    assert ground(status=status) == {"market": SEEN, "yard": UNSEEN}
    assert ground(is_host=~yard) == {"market": SEEN, "yard": NO_HOST}
    assert ground(is_standing=~yard) == {"market": SEEN, "yard": NO_HOST}


def test_only_sites_have_ground(shapes):
    known = {"market": UNSEEN}
    said = {(shape.kind, ground_of(shape, known)) for shape in shapes}
    assert ("site", UNSEEN) in said
    assert {ground for kind, ground in said if kind != "site"} == {""}


# --- two dates


def test_the_state_before_is_drawn_as_the_state_now_is(result):
    before, now = drawn_before(result), drawn_status(result)
    assert [before[row] for row in CONFIRMED] == ["infected"] * 3 + ["clean"] * 3
    assert [now[row] for row in CONFIRMED] == ["infected"] * 6
    assert before[REMOVED[0]] == "infected"
    assert now[REMOVED[0]] == "removed"
    assert drawn_before(made_result()) is None
    packed = plant_points(EN, result, None).packed(EN)
    assert packed["beforeOn"] == "13 July 2026"
    assert plant_points(EN, made_result(), None).packed(EN)["beforeOn"] == ""


def test_the_kinds_of_change_are_counted(result):
    kinds = {kind.key: len(kind.plants) for kind in changes_of(result.systems[0])}
    assert kinds == {"confirmed": 3, "suspect": 1, "reopened": 0, "taken": 1, "cleared": 0, "gone": 0, "seen": 0}


def test_when_a_hidden_case_shows_is_said_in_days_of_the_season():
    # 69 exp(-1.96 x 0.71) = 17.2 and 69 exp(1.96 x 0.71) = 277.5, worked by hand
    said = latency_sentence(EN, made_result().settings)
    assert "after 69 days of the growing season in the middle, 17 to 277 for nearly all" in said


# --- tools of the removal list


def test_filters_code_every_plant_of_the_list(result):
    system = result.systems[0]
    values, columns = removal_values(EN, "removal", system, result), removal_columns(EN, system, result)
    assert set(values["columns"]) == {"site", "owner", "evidence", "date"}
    for name, words in columns.items():
        order = in_order(name, words, system)
        assert [order[index] for index in values["columns"][name]["index"]] == words
    assert columns["date"] == ["3 August 2026"] * 3 + ["not stated"] + ["3 August 2026"] * 2
    assert in_order("date", columns["date"], system) == ["3 August 2026", "not stated"]


def test_the_slider_reaches_the_whole_list_and_this_week(result):
    system = result.systems[0]
    # 265 minutes of two people are 2.2 hours
    assert most_hours(system, 1.0) == 2.5
    assert most_hours(system, 30.0) == 30.0
    values = removal_values(EN, "removal", system, result)
    assert values["within"] == 4
    assert values["infections"] is None
    assert values["share"] == [0.1, 0.3, 0.5, 0.7, 0.9, 1.0]


def test_the_picture_of_the_curve_ends_where_the_curve_does(result):
    curve = result.systems[0].plan.removal.curve
    drawn = curve_picture(curve, 4.0)
    # the last point: 265/120 of 4 hours, all of it, 96 of 100 high
    assert "L552.1 4.0" in drawn
    assert curve_picture(None, 4.0) is None


def test_decisions_on_record_go_on(result):
    kept = Decisions(
        plant_id=np.array(["000", "000", "001"], dtype=object),
        decided_on=np.array(["2026-09-01", "2026-08-01", "2026-08-01"], dtype="datetime64[D]"),
        decision=np.array(["put_off", "accept", "refuse"], dtype=object),
        until=np.array(["2026-10-01", "NaT", "NaT"], dtype="datetime64[D]"),
        reason=np.array(["after the fair", "", "listed"], dtype=object),
    )
    decided = replace(result, inputs=replace(result.inputs, decisions=kept))
    values = decision_values(decided)
    assert sorted(values["kept"]) == [
        ["000", "2026-09-01", "put_off", "2026-10-01", "after the fair"],
        ["001", "2026-08-01", "refuse", "", "listed"],
    ]
    assert latest_decisions(decided) == {"000": ("2026-10-01", "after the fair"), "001": ("", "listed")}
    assert values["keys"] == {str(row): f"{row:03d}" for row in CONFIRMED}
    assert len(decided.inputs.inventory) == PLANTS
