"""What the last survey allows to be said: sums by hand, what counts, and words."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy import stats
from small_records import inventory_at, sites_of, state_with, surveys_of

from spreadmap.decisions.survey_statement import last_survey, survey_statements
from spreadmap.values.settings import DetectionSettings, Settings
from spreadmap.values.survey_answer import RANDOM_MARK, WHOLE, Basis

DAY, BEFORE = "2026-09-12", "2026-06-01"


def statements_of(plants, surveys, state, settings=None, sites=None):
    settings = settings or Settings()
    last = last_survey(plants, surveys, state, settings.detection, settings.survey.survey_days)
    return survey_statements(plants, sites or sites_of(), last, settings)


def looked(*numbers, day=DAY, status="clean", evidence="visual"):
    return [(f"p{number}", day, status, evidence) for number in numbers]


def noted(surveys, drawn):
    marks = [f"west side, {RANDOM_MARK.upper()}" if key in drawn else "" for key in surveys.plant_id]
    return replace(surveys, note=np.array(marks, dtype=object))


PLANTS = inventory_at(*[(3 * i, 0) for i in range(20)], site="a")


def test_all_looked_at_needs_no_draw_and_is_reckoned_by_hand():
    # 20 plants at 1 % are less than one plant, which counts as one: one look notices it with 0.55
    (whole,) = statements_of(PLANTS, surveys_of(*looked(*range(20))), state_with(PLANTS))
    assert (whole.place, whole.plants, whole.looked_at, whole.basis) == (WHOLE, 20, 20, Basis.EVERY)
    assert whole.confidence == pytest.approx(0.55)
    # all misses of D cases: 0.45^D <= 0.05 from D = 4 on (0.041), so that 3 of 20 are the most and 20 % is excluded
    assert whole.most_showing == 3
    assert whole.excluded == pytest.approx(4 / 20)
    # one case: 0.45^k <= 0.1 from three passes on; one look at every plant is not enough
    assert (whole.size_needed, whole.passes_needed) == (None, 3)
    assert "so that no draw was needed" in whole.sentence
    assert "not reachable" in whole.sentence
    assert "3 passes at the least" in whole.sentence
    assert "not yet showing are outside" in whole.sentence
    assert "comparison" not in whole.sentence


def test_some_looked_at_are_a_comparison_and_that_is_said():
    (whole,) = statements_of(PLANTS, surveys_of(*looked(*range(10))), state_with(PLANTS))
    assert whole.basis is Basis.CHOSEN
    # one case of 20 is among ten with one half, and noticed with 0.55
    assert whole.confidence == pytest.approx(0.275)
    assert "They were not" in whole.sentence
    assert "no statement" in whole.sentence


def test_only_plants_drawn_at_random_count_where_there_are_any():
    surveys = noted(surveys_of(*looked(*range(10)), *looked(19, status="suspect")), {"p0", "p1", "p2", "p3", "p19"})
    (whole,) = statements_of(PLANTS, surveys, state_with(PLANTS, suspect=[19]))
    assert (whole.basis, whole.looked_at, whole.drawn, whole.counted, whole.noticed) == (Basis.RANDOM, 11, 5, 5, 1)
    assert np.isnan(whole.confidence)
    assert "the pest is there" in whole.sentence
    (clean,) = statements_of(
        PLANTS, noted(surveys_of(*looked(*range(10))), {"p0", "p1", "p2", "p3"}), state_with(PLANTS)
    )
    # one case of 20 is among four with a fifth, and noticed with 0.55
    assert clean.confidence == pytest.approx(0.11)
    assert "drawn at random, were looked at" in clean.sentence
    assert "They were not" not in clean.sentence


def test_confirmed_before_is_no_part_of_the_lot_and_what_was_found_now_is():
    early = surveys_of(*looked(0, day=BEFORE, status="infected", evidence="lab"), *looked(*range(1, 20)))
    state = state_with(PLANTS, infected=[0])
    found = np.where(np.arange(20) == 0, np.datetime64(BEFORE), np.datetime64("NaT"))
    (whole,) = statements_of(PLANTS, early, replace(state, first_found_on=found))
    assert (whole.plants, whole.looked_at, whole.noticed) == (19, 19, 0)
    now = surveys_of(*looked(0, status="infected", evidence="lab"), *looked(*range(1, 20)))
    (whole,) = statements_of(PLANTS, now, state)
    assert (whole.plants, whole.noticed) == (20, 1)


def test_looks_of_an_earlier_survey_do_not_count():
    surveys = surveys_of(*looked(*range(20), day=BEFORE), *looked(3, 4))
    (whole,) = statements_of(PLANTS, surveys, state_with(PLANTS))
    assert whole.looked_at == 2
    longer = Settings(survey=replace(Settings().survey, survey_days=200))
    assert statements_of(PLANTS, surveys, state_with(PLANTS), longer)[0].looked_at == 20


def test_the_sharpest_look_counts_and_a_second_pass_adds_nothing():
    surveys = surveys_of(*looked(*range(20)), *looked(*range(20), day="2026-09-05"), *looked(0, evidence="lab"))
    (whole,) = statements_of(PLANTS, surveys, state_with(PLANTS))
    assert whole.sensitivity == pytest.approx((19 * 0.55 + 0.95) / 20)
    keen = Settings(detection=DetectionSettings(by_observer={" Kim": 0.8}))
    seen = surveys_of(*looked(*range(20)))
    by_kim = replace(seen, observer=np.array(["kim"] * 10 + [""] * 10, dtype=object))
    assert statements_of(PLANTS, by_kim, state_with(PLANTS), keen)[0].sensitivity == pytest.approx(0.675)


def test_nobody_looked():
    (whole,) = statements_of(PLANTS, surveys_of(), state_with(PLANTS))
    assert (whole.basis, whole.most_showing) == (Basis.NONE, 20)
    assert np.isnan(whole.confidence)
    assert np.isnan(whole.excluded)
    assert "nothing can be said" in whole.sentence
    none = inventory_at()
    (empty,) = statements_of(none, surveys_of(), state_with(none))
    assert empty.sentence == "No standing host: there is nothing to say."


def test_sites_come_by_name_after_the_whole():
    plants = inventory_at(*[(3 * i, 0) for i in range(30)], site=["z"] * 10 + ["b"] * 20)
    square = shapely.box(0, 0, 1, 1)
    sites = sites_of(("z", square, "bed", False, ""), ("b", square, "bed", False, ""))
    made = statements_of(plants, surveys_of(*looked(*range(10))), state_with(plants), sites=sites)
    assert [each.site_id for each in made] == ["", "b", "z"]
    assert [each.looked_at for each in made] == [10, 0, 10]
    assert made[2].basis is Basis.EVERY
    assert made[0].plants == made[1].plants + made[2].plants


def test_a_large_clean_lot_says_how_many_must_be_drawn():
    # 0.55 and 1 % of 500 at 90 %: 5 cases; smallest n with 1 - sum Hyp(h; 500, 5, n) 0.45^h >= 0.9, found by trying all
    plants = inventory_at(*[(3 * i, 0) for i in range(500)])
    (whole,) = statements_of(plants, surveys_of(*looked(*range(100))), state_with(plants))
    h = np.arange(6)
    by_size = [1 - np.sum(stats.hypergeom.pmf(h, 500, 5, n) * 0.45**h) for n in range(501)]
    assert whole.size_needed == int(np.argmax(np.array(by_size) >= 0.9))
    assert whole.confidence == pytest.approx(by_size[100])
    assert f"{whole.size_needed} plants of 500 must be drawn" in whole.sentence
