"""The chance of being found: symptoms begin between passes, passes miss, and the course nearest the work done counts."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from made_forecasts import FIRST, SECOND, SEES, made_course, made_forecast, made_world
from scipy.stats import binom

from spreadmap.outbreak.looks import looks_at
from spreadmap.outbreak.score import count_of_independent
from spreadmap.outbreak.score_chances import (
    at_dates,
    chance_found,
    chances_of,
    count_masses,
    nearest_course,
    passes_of,
)

COURSE = made_course([[0.1], [0.4]])


def days(*text):
    return np.array(text, dtype="datetime64[D]")


def found(showing, infected=None, tests=None, passes=None):
    showing = np.array([showing], dtype=float)
    shape = showing.shape
    return chance_found(
        showing,
        showing if infected is None else np.array([infected], dtype=float),
        np.zeros(shape, dtype=bool) if tests is None else np.array([tests]),
        np.ones(shape, dtype=bool) if passes is None else np.array([passes]),
        COURSE,
    )[0]


def test_one_pass_by_eye_finds_what_shows():
    assert found([0.4]) == pytest.approx(0.4 * SEES.visual, abs=1e-12)


def test_a_test_finds_what_does_not_show_as_well():
    said = 0.4 * SEES.test + (0.7 - 0.4) * SEES.test_symptomless
    assert found([0.4], [0.7], [True]) == pytest.approx(said, abs=1e-12)


def test_no_pass_finds_nothing():
    assert found([0.4], [0.9], [False], [False]) == 0


def test_several_passes_are_all_outcomes_added_up():
    # symptoms begin before pass 1, 2 or 3, or never; each later pass finds or misses
    showing = [0.1, 0.3, 0.6]
    begins = np.diff(showing, prepend=0.0)
    said = 0.0
    for start, weight in enumerate(begins):
        for finds in itertools.product((0, 1), repeat=3 - start):
            chance = np.prod([SEES.visual if hit else 1 - SEES.visual for hit in finds])
            said += weight * chance * any(finds)
    assert found(showing) == pytest.approx(said, abs=1e-12)


def test_more_passes_find_more_and_never_more_than_show():
    assert found([0.5]) < found([0.5, 0.5]) < found([0.5] * 20) <= 0.5


def test_chances_between_dates_are_straight_and_level_beyond():
    values = np.array([[0.0, 0.2], [0.5, 0.2], [0.6, 0.8]])
    on = days("2026-06-01", "2026-06-11", "2026-07-01")
    asked = np.array([days("2026-05-01", "2026-06-06", "2026-06-11"), days("2026-06-21", "2026-07-01", "2026-08-01")])
    said = at_dates(values, on, asked)
    assert said[0] == pytest.approx([0.0, 0.25, 0.5], abs=1e-12)
    assert said[1] == pytest.approx([0.5, 0.8, 0.8], abs=1e-12)


def test_one_date_is_level_everywhere():
    assert at_dates(np.array([[0.3]]), days("2026-06-01"), np.array([days("2026-01-01", "2026-12-01")])).tolist() == [
        [0.3, 0.3]
    ]


def test_the_course_nearest_to_the_work_done_counts():
    nothing, all_, some = (
        made_course([[0.1], [0.4]], taken_out=out, condition=name)
        for name, out in (("nothing", ()), ("all", ("a", "b", "c")), ("some", ("a",)))
    )
    for removed, name in (((), "nothing"), (("a", "b", "c"), "all"), (("b", "c"), "all"), (("a",), "some")):
        assert nearest_course((nothing, all_, some), frozenset(removed)).condition == name


def test_passes_stand_in_the_order_of_their_dates():
    project, _ = made_world(
        ("p1", "2026-07-01", "clean", "visual"), ("p1", "2026-06-01", "clean", "lab"), ("p0", "2026-06-15", "clean", "visual")
    )  # fmt: skip
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    dates, is_test, is_pass = passes_of(np.array([1, 0]), looks, looks.on > np.datetime64(FIRST), np.datetime64(SECOND))
    assert dates[0].astype(str).tolist() == ["2026-06-01", "2026-07-01"]
    assert is_test.tolist() == [[True, False], [False, False]]
    assert is_pass.tolist() == [[True, True], [True, False]]


def test_a_test_of_a_plant_that_was_found_is_no_pass_of_its_own():
    project, _ = made_world(
        ("p0", "2026-07-01", "suspect", "visual"), ("p0", "2026-07-09", "infected", "lab"), ("p1", "2026-07-01", "clean", "lab"),
        ("p2", "2026-06-20", "infected", "lab"),
    )  # fmt: skip
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    within = looks.on > np.datetime64(FIRST)
    _, is_test, is_pass = passes_of(np.array([0, 1, 2]), looks, within, np.datetime64(SECOND))
    assert is_pass.tolist() == [[True], [True], [True]]
    assert is_test.tolist() == [[False], [True], [True]]


def test_a_look_that_a_test_bore_out_was_a_look():
    project, _ = made_world(("p0", "2026-07-01", "infected", "lab"))
    project.surveys = replace(project.surveys, method=np.array(["visual"], dtype=object))
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    assert (looks.is_test.tolist(), looks.is_by_test.tolist()) == ([True], [False])


def test_without_members_every_plant_is_found_by_itself():
    chance = np.array([0.1, 0.2, 0.6])
    mass, members = count_masses(chance, COURSE, np.datetime64(SECOND))
    assert mass == pytest.approx(count_of_independent(chance), abs=1e-15)
    assert len(members) == 0


def test_members_spread_the_number_found():
    chance = np.array([0.2, 0.3, 0.5])
    course = replace(COURSE, members_showing=np.array([[9.0, 9.0], [2.0, 8.0]]))
    mass, drawn = count_masses(chance, course, np.datetime64(SECOND))
    share = chance.sum() / 5  # mean of two and eight at the date nearest to the inspections
    numbers = np.arange(9)
    assert mass == pytest.approx((binom.pmf(numbers, 2, share) + binom.pmf(numbers, 8, share)) / 2, abs=1e-12)
    assert (mass * numbers).sum() == pytest.approx(chance.sum(), abs=1e-12)
    assert len(drawn) == 2
    assert np.array_equal(drawn, count_masses(chance, course, np.datetime64(SECOND))[1])


def test_chances_of_the_listed_plants_under_the_work_done():
    project, _ = made_world(("p1", "2026-07-13", "clean", "visual"), ("p0", "2026-07-13", "clean", "lab"))
    looks = looks_at(project.surveys, project.inventory, "rose_rosette", np.datetime64(SECOND))
    nothing = made_course([[0.0, 0.0], [0.4, 0.8]], [[0.1, 0.1], [0.5, 0.9]])
    done = made_course([[0.0, 0.0], [0.1, 0.2]], taken_out=("x", "y"), condition="list done")
    forecast = made_forecast(["p0", "p1"], courses=(nothing, done))
    within = looks.on > np.datetime64(FIRST)
    asked = (forecast, np.array([0, 1]), np.array([0, 1]), looks, within)
    said = chances_of(*asked, frozenset(), np.datetime64(SECOND))
    assert said.found == pytest.approx([0.4 * 0.95 + 0.1 * 0.6, 0.8 * 0.55], abs=1e-12)
    work = chances_of(*asked, frozenset({"x", "y"}), np.datetime64(SECOND))
    assert work.found == pytest.approx([0.1 * 0.95, 0.2 * 0.55], abs=1e-12)
    assert work.says.endswith("list done; it differs in 0 plants.")
    assert chances_of(made_forecast(["p0", "p1"]), *asked[1:], frozenset(), np.datetime64(SECOND)) is None
