"""Freedom from disease in a finite lot.

Cannon & Roe 1982, Livestock disease surveys: a field manual for veterinarians; the published value 399 for 1600 animals,
1 % diseased, 99 % confidence was read (it.scribd.com/doc/7215883). The other values are computed with exact arithmetic.
"""

import math

import pytest

from spreadmap.decisions.survey_sizes import (
    detection_chance,
    most_infected_after_clean,
    passes_needed,
    survey_size,
    survey_size_of_large_lot,
    upper_limit_of_prevalence,
)


def test_the_published_value():
    assert survey_size(1600, 0.01, 0.99) == 399
    # n = (1 - (1 - c)^(1/D)) (N - (D - 1)/2), as printed
    approximate = (1 - 0.01 ** (1 / 16)) * (1600 - 15 / 2)
    assert approximate == pytest.approx(398.2935, abs=5e-5)


@pytest.mark.parametrize(
    ("plants", "infected", "printed"), [(100, 5, 44.17), (500, 10, 128.27), (1000, 10, 257.70), (1000, 50, 56.73)]
)
def test_the_closed_approximation_is_next_to_the_exact_size(plants, infected, printed):
    approximate = (1 - 0.05 ** (1 / infected)) * (plants - (infected - 1) / 2)
    assert approximate == pytest.approx(printed, abs=0.005)
    assert survey_size(plants, infected / plants, 0.95) == math.ceil(approximate)


def test_the_closed_approximation_with_imperfect_detection():
    # (N - (D s - 1)/2) / s (1 - (1 - c)^(1/D)); computed 160.66
    approximate = (500 - (10 * 0.8 - 1) / 2) / 0.8 * (1 - 0.05 ** (1 / 10))
    assert approximate == pytest.approx(160.66, abs=0.005)
    assert survey_size(500, 0.02, 0.95, 0.8) == math.ceil(approximate)


def test_imperfect_detection():
    for looked_at, chance in ((100, 0.8273924361574), (150, 0.9370573642), (160, 0.9492083721)):
        assert detection_chance(500, 10, looked_at, 0.8) == pytest.approx(chance, rel=1e-9)
    assert survey_size(500, 0.02, 0.95, 0.8) == 161


def test_the_rule_of_three():
    assert upper_limit_of_prevalence(100, 0.95) == pytest.approx(0.02951304961, rel=1e-9)
    assert upper_limit_of_prevalence(299, 0.95) == pytest.approx(0.009969146793, rel=1e-9)
    # two-sided Clopper-Pearson, 97.5 % on one side
    assert upper_limit_of_prevalence(100, 0.975) == pytest.approx(0.03621669265, rel=1e-9)


@pytest.mark.parametrize(
    ("confidence", "prevalence", "sensitivity", "sizes"),
    [
        (0.95, 0.05, 1.0, (45, 56, 59)), (0.95, 0.05, 0.8, (56, 70, 74)), (0.95, 0.05, 0.6, (75, 93, 99)),
        (0.95, 0.02, 1.0, (78, 129, 149)), (0.95, 0.02, 0.8, (97, 161, 186)), (0.95, 0.02, 0.6, (None, 215, 249)),
        (0.95, 0.01, 1.0, (95, 225, 299)), (0.95, 0.01, 0.8, (None, 281, 373)), (0.95, 0.01, 0.6, (None, 376, 498)),
        (0.90, 0.01, 1.0, (90, 184, 230)), (0.90, 0.01, 0.8, (None, 231, 287)), (0.90, 0.01, 0.6, (None, 308, 383)),
    ],
)  # fmt: skip
def test_sizes_with_imperfect_detection_by_lot(confidence, prevalence, sensitivity, sizes):
    found = (
        survey_size(100, prevalence, confidence, sensitivity),
        survey_size(500, prevalence, confidence, sensitivity),
        survey_size_of_large_lot(prevalence, confidence, sensitivity),
    )
    assert found == sizes


def test_one_hidden_case_needs_passes_not_samples():
    seen = [1 - 0.4**passes for passes in (1, 2, 3, 4)]
    assert [round(100 * each) for each in seen] == [60, 84, 94, 97]
    assert [passes_needed(confidence, 0.6) for confidence in (0.6, 0.84, 0.936, 0.97)] == [1, 2, 3, 4]


def test_a_clean_survey_allows_one_case_fewer_than_it_was_made_for():
    assert most_infected_after_clean(500, 129, 0.95) == 9
    assert most_infected_after_clean(500, 128, 0.95) == 10
