"""Survey sizes: laws, limits, words, bad input."""

import numpy as np
import pytest
from scipy import stats

from spreadmap.decisions.survey_sizes import (
    detection_chance,
    most_infected_after_clean,
    most_infected_given,
    passes_needed,
    passes_of_lot,
    random_order,
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
    assert (random_order(keys, (5, 1)) == random_order(keys, (5, 1))).all()
    turned = random_order(keys[::-1], (5, 1))
    assert [keys[::-1][place] for place in turned] == [keys[place] for place in random_order(keys, (5, 1))]
    assert (random_order(keys, (5, 2)) != random_order(keys, (5, 1))).any()
    counts = np.zeros(60)
    for seed in range(600):
        first = random_order(keys, (seed, 1))[:20]
        assert len(set(first.tolist())) == 20
        counts[first] += 1
    assert stats.chisquare(counts).pvalue > 0.001


def test_the_limit_with_finds_is_that_of_simulated_surveys():
    # at the limit, surveys that notice at most as many are as rare as one less the confidence says; one below, not
    rng = np.random.default_rng(2)
    most = most_infected_given(400, 90, 3, 0.95, 0.55)
    for infected, rare in ((most + 1, True), (most, False)):
        met = rng.hypergeometric(infected, 400 - infected, 90, size=400_000)
        share = (rng.binomial(met, 0.55) <= 3).mean()
        assert bool(share <= 0.05 + 0.001) is rare
        assert share == pytest.approx(0.05, abs=0.012)
    assert most_infected_given(400, 90, 90, 0.95, 0.55) == 400


def test_with_all_looked_at_by_perfect_eyes_the_limit_is_what_was_found():
    assert most_infected_given(50, 50, 7, 0.99) == 7
    assert most_infected_given(50, 49, 7, 0.95) == 8  # the one not looked at
    assert most_infected_given(50, 0, 0, 0.95) == 50


def test_passes_of_a_lot_by_hand():
    # 300 plants at 1 % are 3: one pass misses all with 0.45^3 = 0.091; two with 0.45^6 = 0.0083
    assert passes_of_lot(300, 0.01, 0.9, 0.55) == 1
    assert passes_of_lot(300, 0.01, 0.95, 0.55) == 2
    # 30 plants at 1 % are less than one, which counts as one: 0.45^3 = 0.091
    assert passes_of_lot(30, 0.01, 0.9, 0.55) == 3
    assert passes_of_lot(30, 0.01, 0.9, 0.0) is None
    assert passes_of_lot(30, 0.01, 0.9, 1.0) == 1


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
        (lambda: most_infected_given(10, 4, 5, 0.9), "5 plants noticed of 4 looked at of 10; allowed: noticed up to"),
    ],
)
def test_bad_numbers_are_told(call, says):
    with pytest.raises(SettingsError, match=says):
        call()
