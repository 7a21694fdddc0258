"""The mean field of hidden infection against the truth of simulated outbreaks: what its ranks find, and its sum.

Only ranks are asserted. The sum of its values over the truth and ten bins are printed: they are not calibrated, which
is why no chance that anybody reads comes from it. A few outbreaks would pass a test of ten bins that sixty fail.
"""

import numpy as np
import pytest
from hidden_worlds import hidden_in, rates_of, settings_with, surveys_of, work_of
from scipy.stats import binom
from simulated_outbreaks import Truth, outbreak

START = np.datetime64("2024-01-01")
DAYS = 540
SURVEYS = tuple(range(372, 541, 28))
TRUTH = Truth()
EDGES = np.array([0.0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 1.0])
"""Ten bins, narrow where nearly all plants are."""


def chances(number, plants):
    """Return value, truth, and distance to a finding of every candidate of one outbreak; the seed is its number."""
    made = outbreak(TRUTH, plants, DAYS, SURVEYS[:-1], 0.8, np.random.default_rng(9000 + number))

    def date(day):
        return str(START + np.timedelta64(int(day), "D"))

    rows = [(f"p{i}", date(day), status, "visual" if status == "clean" else "typical_symptoms")
            for i, day, status in made.rows]  # fmt: skip
    work = work_of(*((f"p{i}", date(day), "yes", "NaT") for i, day in made.work))
    rates = rates_of(TRUTH.per_day_m2, TRUTH.contact_per_day, TRUTH.background_per_day)
    hidden = hidden_in(
        made.plants, surveys_of(*rows), START + np.timedelta64(DAYS, "D"), rates, settings_with(), work=work
    )
    assert hidden.settled
    among = np.isfinite(hidden.healthy)
    places = np.c_[made.plants.easting, made.plants.northing]
    found = sorted({i for i, _, status in made.rows if status != "clean"})
    away = np.hypot(*(places[among][:, None] - places[found]).T).min(axis=0, initial=np.inf)
    return hidden.infected[among], np.isfinite(made.infected)[among], away


def told_of(outbreaks, plants):
    """Print and return hidden infections in the top tenth: by the mean field, by distance, at random, and of how many."""
    field, near, even, total = 0, 0, 0.0, 0
    every = []
    for number in range(outbreaks):
        chance, truth, distance = chances(number, plants)
        every.append((chance, truth))
        top = -(-len(chance) // 10)
        field += int(truth[np.argsort(-chance, kind="stable")[:top]].sum())
        near += int(truth[np.argsort(distance, kind="stable")[:top]].sum())
        even += truth.sum() * top / len(chance)
        total += int(truth.sum())
    chance, truth = (np.concatenate(part) for part in zip(*every, strict=True))
    print(f"\n {outbreaks} outbreaks of {plants} plants: of {total} hidden infections the top tenth by the mean field holds "
          f"{field}, by distance to a finding {near}, at random {even:.1f}; sum of values over truth "
          f"{chance.sum() / total:.2f}")  # fmt: skip
    return field, near, even, total, chance, truth


def show_bins(chance, truth):
    bins = np.clip(np.searchsorted(EDGES, chance, side="right") - 1, 0, 9)
    for which in range(10):
        inside = bins == which
        count, expected = max(int(inside.sum()), 1), float(chance[inside].sum())
        least, most = binom.ppf([0.0005, 0.9995], count, expected / count)
        print(f"  {EDGES[which]:.3f}-{EDGES[which + 1]:.3f}: {int(inside.sum()):6d} plants, sum of values {expected:8.1f}, "
              f"infected {int(truth[inside].sum()):5d}, 99.9 % limits were it calibrated {least:.0f} to {most:.0f}")  # fmt: skip


def test_ranks_find_hidden_infection_far_better_than_chance():
    field, _, even, _, _, _ = told_of(15, 160)
    assert field > 3 * even


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_ranks_over_two_hundred_outbreaks():
    field, near, even, total, chance, truth = told_of(200, 320)
    show_bins(chance, truth)
    assert field > 5 * even
    # Both orders share most of their top tenth; what they differ by is a binomial part of what is to be found.
    assert field > near - 4 * np.sqrt(total) / 2
