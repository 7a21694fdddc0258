"""How often the checks of a fit refuse fits of other laws than those that made the history, and of the very law."""

import math
from dataclasses import replace

import numpy as np
from fit_worlds import Truth, beliefs_of, field_of, problem_of, spread_out

from spreadmap.engine import Engine
from spreadmap.outbreak.fit import kept_of
from spreadmap.outbreak.fit_chain import Pace, columns_of, run_chains
from spreadmap.outbreak.fit_predict import predictive_checks
from spreadmap.outbreak.fit_residuals import infection_checks, kept_states
from spreadmap.outbreak.fit_types import BACKGROUND, EAST, NORTH, SCALE
from spreadmap.outbreak.fit_world import prepare
from spreadmap.values.fit_settings import FitSettings

PACE = Pace(chains=2, warm_up=600, batch=600, most_iterations=600, effective_size=1, most_r_hat=9)
DAYS, BEGAN, PLANTS, PER_HECTARE, FIRST = (45.0, 60.0, 75.0), 100.0, 2000, 20, 5
LEAST_SEEN, MOST = 30, 600
SQUARE_M = 100.0
"""Side of the squares that stand for beds [m]."""
RATE = 18.0
"""One infected plant makes about one more in four weeks at 20 plants a hectare [m2/day]."""


def holding(**at):
    """Return the usual priors with parameters held at values: `p1=0.0` holds the second at zero."""
    beliefs = beliefs_of()
    mean, free = list(beliefs.mean), list(beliefs.free)
    for name, value in at.items():
        place = int(name[1:])
        mean[place], free[place] = value, False
    return replace(beliefs, mean=tuple(mean), free=tuple(free))


TRUE = Truth(rate=RATE, east=1.0)
LAWS = {
    # truth, chance per pass, chance claimed, what is believed
    "as told": (TRUE, 0.8, 0.8, beliefs_of()),
    "lengths held at five times the true ones": (TRUE, 0.8, 0.8, holding(**{f"p{SCALE}": math.log(5)})),
    "lengths held at a third of the true ones": (TRUE, 0.8, 0.8, holding(**{f"p{SCALE}": -math.log(3)})),
    "direction held at the opposite of the true one": (
        TRUE, 0.8, 0.8, holding(**{f"p{EAST}": -1.0, f"p{NORTH}": 0.0})
    ),
    "wind of strength 2, held at none": (
        replace(TRUE, east=2.0), 0.8, 0.8, holding(**{f"p{EAST}": 0.0, f"p{NORTH}": 0.0})
    ),
    "background of 2e-4, held at none": (
        replace(TRUE, background=2e-4), 0.8, 0.8, holding(**{f"p{BACKGROUND}": math.log(1e-12)})
    ),
    "half of what is claimed is noticed": (TRUE, 0.45, 0.9, beliefs_of()),
}  # fmt: skip


def history_of(law, seed):
    """Return the survey history of one outbreak of a law as the fit is told it, and its beds."""
    truth, chance, claimed, beliefs = LAWS[law]
    rng = np.random.default_rng([seed, list(LAWS).index(law)])
    surveys = [(BEGAN + day, chance) for day in DAYS]
    while True:
        places = field_of(PLANTS, PER_HECTARE, rng)
        first = rng.choice(PLANTS, FIRST, replace=False)
        made = spread_out(places, truth, first, BEGAN, surveys[-1][0], surveys, rng, most=MOST)
        if made is not None and np.isfinite(made.found).sum() >= LEAST_SEEN:
            break
    made.looks = [(plant, day, claimed, hit) for plant, day, _, hit in made.looks]
    problem = problem_of(places, truth, made, 0.0, surveys[0][0], surveys[-1][0], beliefs)
    return problem, np.unique(places // SQUARE_M, axis=0, return_inverse=True)[1].ravel()


def checks_of(law, seed):
    """Return the p of every check of one fit, by name, and whether the fit is refused."""
    problem, beds = history_of(law, seed)
    settings, crew = FitSettings(), Engine()
    ready = prepare(problem, crew)
    chains = run_chains(ready.world, PACE, seed, crew)
    kept = kept_of(chains, ready, columns_of(chains))
    checks = predictive_checks(problem, settings.survey_gap_days, kept, beds, settings.replicates, seed, crew)
    checks += infection_checks(problem, kept_states(chains, ready), crew)
    return {check.name: check.p for check in checks}, min(check.p for check in checks) < settings.least_p


def refused(law, outbreaks):
    """Return how many fits of so many outbreaks of a law are refused; say so, and by which check, and its middle p."""
    found = [checks_of(law, seed) for seed in range(outbreaks)]
    least = FitSettings().least_p
    print(f"{law}: {sum(off for _, off in found)} of {outbreaks} refused", flush=True)
    for name in found[0][0]:
        p = [each[name] for each, _ in found]
        print(f"    {name}: {sum(one < least for one in p)} below {least:g}, median p {np.median(p):.3f}", flush=True)
    return sum(off for _, off in found)


if __name__ == "__main__":
    for one in LAWS:
        refused(one, 20)
