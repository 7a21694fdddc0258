"""Survey sizes: laws, limits, words, bad input."""

import numpy as np
import pytest
from scipy import stats

from spreadmap.decisions.survey_sizes import (
    clean_survey_sentence,
    detection_chance,
    drawn_at_random,
    most_infected_after_clean,
    passes_needed,
    survey_size,
    survey_size_of_large_lot,
    upper_limit_of_prevalence,
)
from spreadmap.errors import SettingsError


@pytest.mark.parametrize("sensitivity", [0.3, 0.55, 1.0])
def test_the_chance_is_that_of_drawing_and_looking(sensitivity):
    rng = np.random.default_rng(11)
    met = rng.hypergeometric(12, 88, 30, size=200_000)
    noticed = rng.binomial(met, sensitivity) > 0
    chance = detection_chance(100, 12, 30, sensitivity)
    assert noticed.mean() == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / 200_000) + 1e-4)


def test_more_looks_more_cases_and_sharper_eyes_never_notice_less():
    looks = [detection_chance(80, 5, n, 0.5) for n in range(81)]
    assert (np.diff(looks) >= -1e-12).all()
    assert looks[0] == 0
    cases = [detection_chance(80, d, 30, 0.5) for d in range(81)]
    assert (np.diff(cases) >= -1e-12).all()
    eyes = [detection_chance(80, 5, 30, s) for s in (0, 0.2, 0.6, 1)]
    assert (np.diff(eyes) > 0).all()


def test_looking_at_all_plants_notices_each_case_by_its_own():
    assert detection_chance(50, 3, 50, 0.6) == pytest.approx(1 - 0.4**3, rel=1e-12)


def test_the_size_is_the_smallest_that_is_enough():
    for plants, prevalence, confidence, sensitivity in ((137, 0.05, 0.9, 0.7), (2000, 0.01, 0.95, 0.9)):
        size = survey_size(plants, prevalence, confidence, sensitivity)
        infected = int(plants * prevalence)
        assert detection_chance(plants, infected, size, sensitivity) >= confidence
        assert detection_chance(plants, infected, size - 1, sensitivity) < confidence


def test_a_large_finite_lot_comes_to_the_large_lot():
    assert survey_size(1_000_000, 0.01, 0.95, 0.8) == pytest.approx(survey_size_of_large_lot(0.01, 0.95, 0.8), abs=1)


def test_not_reachable_is_an_answer():
    assert survey_size(100, 0.01, 0.95, 0.8) is None
    assert survey_size(30, 0.01, 0.5) is None  # less than one plant
    assert survey_size_of_large_lot(0.01, 0.95, 0.0) is None
    assert passes_needed(0.95, 0.0) is None


def test_after_a_clean_look_one_more_case_would_have_been_noticed():
    most = most_infected_after_clean(300, 120, 0.9, 0.55)
    assert detection_chance(300, most, 120, 0.55) < 0.9 <= detection_chance(300, most + 1, 120, 0.55)
    assert most_infected_after_clean(300, 0, 0.9) == 300
    assert upper_limit_of_prevalence(0, 0.9) == 1
    assert upper_limit_of_prevalence(10_000_000, 0.9, 0.5) == pytest.approx(-np.log(0.1) / 5_000_000, rel=1e-6)


def test_draws_are_even_and_the_same_for_the_same_seed():
    keys = [f"P{number:03d}" for number in range(60)]
    assert (drawn_at_random(keys, 20, 5) == drawn_at_random(keys, 20, 5)).all()
    turned = drawn_at_random(keys[::-1], 20, 5)
    assert {keys[::-1][place] for place in turned} == {keys[place] for place in drawn_at_random(keys, 20, 5)}
    counts = np.zeros(60)
    for seed in range(600):
        counts[drawn_at_random(keys, 20, seed)] += 1
    assert stats.chisquare(counts).pvalue > 0.001


def test_words_of_a_clean_survey():
    said = clean_survey_sentence(500, 129, 0.95, 1.0, is_random=True)
    assert "with 95 % confidence at most 9 plants (1.8 %)" in said
    assert "not yet showing are not counted" in said
    assert "had the plants been drawn at random. They were not" in clean_survey_sentence(
        500, 129, 0.95, 1.0, is_random=False
    )
    assert "too few to rule anything out" in clean_survey_sentence(500, 1, 0.95, 0.5, is_random=True)
    assert "nothing can be said" in clean_survey_sentence(500, 0, 0.95, 0.5, is_random=True)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: detection_chance(0, 0, 0), "plants are 0; allowed: 1 or more"),
        (lambda: detection_chance(10, 11, 12), "infected is 11; allowed: 0 to 10.*looked_at is 12; allowed: 0 to 10"),
        (lambda: detection_chance(10, 1, 1, 1.2), "sensitivity is 1.2; allowed: 0 to 1"),
        (
            lambda: survey_size(10, 0.0, 1.0),
            "design prevalence is 0.0; .*confidence is 1.0; allowed: above 0 and below 1",
        ),
        (lambda: drawn_at_random(["a"], 2, 1), "2 plants are to be drawn; allowed: 0 to 1"),
    ],
)
def test_bad_numbers_are_told(call, says):
    with pytest.raises(SettingsError, match=says):
        call()
