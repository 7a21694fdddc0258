"""Effective size, seconds and memory of the fit to a survey history; run it alone on a free machine.

    python tests/benchmarks/fit.py            all sizes
    python tests/benchmarks/fit.py seen       one of: seen, hidden, large

Goals on two cores, over three chains, for an effective size of 200 of rate and scale: 5,000 plants all seen 30 s; with
hidden plants 3 min; 100,000 plants with about 300 seen 6 min; below 1 GB.
"""

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from fit_worlds import Truth, field_of, problem_of, spread_out

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import Pace, columns_of, progress_of, run_chains
from spreadmap.outbreak.fit_world import prepare

PACE = Pace(chains=3, warm_up=1500, batch=1000, most_iterations=12_000, effective_size=200, most_r_hat=1.05)
BEGAN = 150.0
"""Day of the begin; the fit is told that it began within 150 days before the first survey."""
CASES = {
    # plants, chance per pass, days to symptoms, days to infectious, days of the surveys, plants infected at the start
    "seen": (5_000, 1.0, 0.0, 0.0, (60.0, 80.0), 8),
    "hidden": (5_000, 0.55, 10.0, 5.0, (60.0, 80.0), 8),
    "large": (100_000, 0.85, 5.0, 0.0, (60.0, 85.0), 20),
}


def measure(name):
    """Print what one size takes."""
    plants, chance, incubation, latent, days, first = CASES[name]
    rng = np.random.default_rng(2)
    places = field_of(plants, 60, rng)
    truth = Truth(incubation=incubation, infectious_after=latent, east=1.0)
    start = rng.choice(plants, first, replace=False)
    surveys = [(BEGAN + day, chance) for day in days]
    outbreak = spread_out(places, truth, start, BEGAN, surveys[-1][0], surveys, rng)
    problem = problem_of(places, truth, outbreak, surveys[0][0] - 150.0, surveys[0][0], surveys[-1][0])
    began, busy = time.perf_counter(), time.process_time()
    ready = prepare(problem, Engine())
    prepared = time.perf_counter() - began
    chains = run_chains(ready.world, PACE, 1, Engine())
    seconds, processor = time.perf_counter() - began, time.process_time() - busy
    size, hat = progress_of(chains)
    lines = columns_of(chains)
    rate, scale = (np.percentile(np.exp(lines[:, :, p]), [2.5, 50, 97.5]).round(2).tolist() for p in (0, 1))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{name}: {plants} plants, {ready.noticed} seen of {int(np.isfinite(outbreak.infected).sum())} infected, "
        f"{len(ready.tracked)} followed; prepared in {prepared:.1f} s, {seconds:.1f} s in all "
        f"({processor:.0f} processor s), {lines.shape[1]} iterations, "
        f"effective size {size:.0f} (200 in {seconds * 200 / max(size, 1):.0f} s), R-hat {hat:.3f}, peak {peak:.2f} GB; "
        f"rate {rate} (true {truth.rate}), length factor {scale} (true 1)",
        flush=True,
    )


if __name__ == "__main__":
    for case in sys.argv[1:] or CASES:
        measure(case)
