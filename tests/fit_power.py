"""How often the predictive check refuses fits to histories of other laws than those told, and of the very law told."""

from dataclasses import replace

import numpy as np
from fit_worlds import Truth, beliefs_of, field_of, problem_of, spread_out

from spreadmap.engine import Engine
from spreadmap.outbreak.fit import kept_of
from spreadmap.outbreak.fit_chain import Pace, columns_of, run_chains
from spreadmap.outbreak.fit_predict import predictive_checks
from spreadmap.outbreak.fit_world import prepare
from spreadmap.values.fit_settings import FitSettings

PACE = Pace(chains=2, warm_up=600, batch=600, most_iterations=600, effective_size=1, most_r_hat=9)
DAYS, BEGAN, PLANTS = (45.0, 60.0, 75.0), 100.0, 2000
SQUARE_M = 60.0
"""Side of the squares that stand for beds [m]."""
STILL = (True, True, False, False, True, False, False)
LAWS = {
    # truth, chance per pass, chance claimed, parameters that are free
    "as told": (Truth(east=1.0), 0.8, 0.8, None),
    "half of what is claimed is noticed": (Truth(east=1.0), 0.45, 0.9, None),
    "wind of strength 2, held at none": (Truth(east=2.0), 0.8, 0.8, STILL),
    "two lengths, one of 8 m and one of 160 m": (
        Truth(scale=8.0, shape=20.0, family="two exponentials"),
        0.8,
        0.8,
        None,
    ),
}


def history_of(law, seed):
    """Return the survey history of one outbreak of a law as the fit is told it, and its beds."""
    truth, chance, claimed, free = LAWS[law]
    rng = np.random.default_rng([seed, list(LAWS).index(law)])
    surveys = [(BEGAN + day, chance) for day in DAYS]
    while True:
        places = field_of(PLANTS, 60, rng)
        made = spread_out(
            places, truth, rng.choice(PLANTS, 5, replace=False), BEGAN, surveys[-1][0], surveys, rng, most=600
        )
        if made is not None and np.isfinite(made.found).sum() >= 30:
            break
    made.looks = [(plant, day, claimed, hit) for plant, day, _, hit in made.looks]
    beliefs = beliefs_of() if free is None else beliefs_of(free=free)
    told = replace(truth, family="exponential", shape=None)
    problem = problem_of(places, told, made, 0.0, surveys[0][0], surveys[-1][0], beliefs)
    return problem, np.unique(places // SQUARE_M, axis=0, return_inverse=True)[1].ravel()


def checks_of(law, seed):
    """Return the p of every check of one fit, by name, and whether the fit is refused."""
    problem, beds = history_of(law, seed)
    settings, crew = FitSettings(), Engine()
    ready = prepare(problem, crew)
    chains = run_chains(ready.world, PACE, seed, crew)
    kept = kept_of(chains, ready, columns_of(chains))
    checks = predictive_checks(problem, settings.survey_gap_days, kept, beds, settings.replicates, seed, crew)
    return {check.name: check.p for check in checks}, min(check.p for check in checks) < settings.least_p


def refused(law, outbreaks):
    """Return how many fits of so many outbreaks of a law are refused; say so, and by which check."""
    found = [checks_of(law, seed) for seed in range(outbreaks)]
    least = FitSettings().least_p
    by = {name: sum(p[name] < least for p, _ in found) for name in found[0][0]}
    print(f"{law}: {sum(off for _, off in found)} of {outbreaks} refused; {by}", flush=True)
    return sum(off for _, off in found)


if __name__ == "__main__":
    for one in LAWS:
        refused(one, 20)
