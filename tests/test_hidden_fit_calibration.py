"""Chances of hidden infection by a fit against the truth of simulated outbreaks: their sum, and ten bins of them.

The fit's rates and lengths are held at the truth, so that what is tried is the sampler's states, what came after the end
of the fit, and how both are put together. The simulator is the tests' own.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hidden_worlds import ALWAYS, NOWHERE, settings_with, still_air, surveys_of, work_of
from made_fits import fit_with
from scipy.stats import binom
from simulated_outbreaks import Truth, outbreak

from spreadmap.engine import Engine
from spreadmap.outbreak.fit import draws_of, evenly, states_of
from spreadmap.outbreak.fit_chain import Pace, columns_of, run_chains
from spreadmap.outbreak.fit_history import survey_history
from spreadmap.outbreak.fit_predict import day_on
from spreadmap.outbreak.fit_types import END, FREE
from spreadmap.outbreak.fit_world import prepare
from spreadmap.outbreak.hidden_from_fit import hidden_from_fit
from spreadmap.outbreak.scene import Scene
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.fit_settings import FitSettings
from spreadmap.values.settings import AheadSettings

START = np.datetime64("2024-01-01")
DAYS = 540
SURVEYS = (1, *range(372, 513, 28))
"""The look of the first day finds nothing; it says to the fit when the time began."""
TRUTH = Truth(background_per_day=1e-4)
HELD = 1e-3
"""Standard deviation of the logarithms of rates and lengths, which are held at the truth."""
EDGES = np.array([0.0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 1.0])
"""Ten bins, narrow where nearly all plants are."""
SEED = 9000


def held_settings():
    held = dict.fromkeys(
        ("rate_sd_log", "scale_sd_log", "background_sd_log", "contact_sd_log", "wind_sd"), HELD
    ) | {
        "rate_median_m2_per_day": TRUTH.per_day_m2, "background_median_per_day": TRUTH.background_per_day,
        "introductions_mean": 0.1, "start_days": 1,
    }  # fmt: skip
    settings = settings_with(contact_per_season=365 * TRUTH.contact_per_day)
    return replace(settings, fit=FitSettings(**held), ahead=AheadSettings())


def records_of(made):
    def date(day):
        return str(START + np.timedelta64(int(day), "D"))

    rows = [(f"p{i}", date(day), status, "visual" if status == "clean" else "typical_symptoms")
            for i, day, status in made.rows]  # fmt: skip
    return surveys_of(*rows), work_of(*((f"p{i}", date(day), "yes", "NaT") for i, day in made.work))


def fit_at_the_truth(scene, as_of, iterations):
    """Return a fit whose draws and states come from the sampler, without checks and without a second one."""
    engine = Engine(workers=1)
    history = survey_history(
        scene.inventory, scene.surveys, scene.work_log, NOWHERE, scene.spread, ALWAYS, scene.settings, as_of
    )
    ready = prepare(history.problem, engine)
    param = ready.world.param.copy()
    param[FREE] = 0.0
    ready = replace(ready, world=ready.world._replace(param=param))
    pace = Pace(
        chains=2, warm_up=1000, batch=iterations, most_iterations=iterations, effective_size=1e9, most_r_hat=1.0
    )
    chains = run_chains(ready.world, pace, 1, engine)
    kept = evenly(len(chains[0].kept), 10_000)
    end = day_on(history.problem.clock(), float(ready.world.number[END]))
    states = states_of(chains, kept, ready, history, scene.inventory)
    ends_on = str((history.problem.day_zero + np.timedelta64(int(end), "D")).astype("datetime64[D]"))
    draws = draws_of(columns_of(chains), history.problem, kept, len(chains[0].kept))
    return replace(fit_with(states, ends_on, str(as_of), ends_at=end - int(end)), draws=draws)


def chances_in(number, plants, iterations):
    """Return chance and truth of every candidate of one outbreak, and its number hidden as a mean with its variance."""
    made = outbreak(TRUTH, plants, DAYS, SURVEYS, 0.8, np.random.default_rng(SEED + number))
    surveys, work = records_of(made)
    as_of = START + np.timedelta64(DAYS, "D")
    state, _ = plant_state(made.plants, surveys, work, ALWAYS, as_of)
    if not (~np.isnat(state.first_found_on)).any():
        return None
    scene = Scene(
        inventory=made.plants, state=state, surveys=surveys, work_log=work, wild=NOWHERE, spread=still_air(),
        screens=NO_SCREENS, system=ALWAYS, settings=held_settings(), engine=Engine(workers=1),
    )  # fmt: skip
    fit = fit_at_the_truth(scene, np.datetime64(str(START + np.timedelta64(SURVEYS[-1], "D"))), iterations)
    hidden, begin = hidden_from_fit(fit, scene)
    among = np.isfinite(hidden.healthy)
    sums = np.array([start.chance.sum() for start in begin.starts])
    within = np.mean([(start.chance.sum(axis=1) * (1 - start.chance.sum(axis=1))).sum() for start in begin.starts])
    return hidden.infected[among], np.isfinite(made.infected)[among], sums.mean(), sums.var() + within


def told_of(outbreaks, plants, iterations):
    """Print sum over truth and ten bins; return chances, truth, and by how many standard deviations the sum is off."""
    chance, truth, expected, variance = [], [], 0.0, 0.0
    for number in range(outbreaks):
        one = chances_in(number, plants, iterations)
        if one is not None:
            chance.append(one[0])
            truth.append(one[1])
            expected, variance = expected + one[2], variance + one[3]
    chance, truth = np.concatenate(chance), np.concatenate(truth)
    off = (truth.sum() - expected) / math.sqrt(variance)
    print(f"\n {outbreaks} outbreaks of {plants} plants: {truth.sum()} hidden infections, sum of chances {chance.sum():.1f}, "
          f"sum over truth {chance.sum() / truth.sum():.3f}, off by {off:.2f} standard deviations")  # fmt: skip
    return chance, truth, off


def bins_off(chance, truth, level):
    """Print ten bins; return how many hold fewer or more infected plants than binomial limits allow."""
    bins, outside = np.clip(np.searchsorted(EDGES, chance, side="right") - 1, 0, 9), 0
    for which in range(10):
        inside = bins == which
        count, expected, came = int(inside.sum()), float(chance[inside].sum()), int(truth[inside].sum())
        least, most = binom.ppf([level / 2, 1 - level / 2], max(count, 1), expected / max(count, 1))
        outside += not least <= came <= most
        print(f"  {EDGES[which]:.3f}-{EDGES[which + 1]:.3f}: {count:6d} plants, sum of chances {expected:8.1f}, infected "
              f"{came:5d}, {100 * (1 - level):g} % limits {least:.0f} to {most:.0f}")  # fmt: skip
    return outside


def test_chances_by_a_fit_sum_to_what_is_hidden():
    chance, truth, off = told_of(5, 96, 2000)
    assert abs(off) < 3.29  # p > 0.001
    assert bins_off(chance, truth, 0.001) == 0


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_chances_by_a_fit_over_two_hundred_outbreaks():
    chance, truth, off = told_of(200, 96, 6000)
    assert abs(off) < 3.29
    assert bins_off(chance, truth, 0.001) == 0
