"""Coverage, bias and false wind of the fit over fresh outbreaks, with the known-times control: minutes to hours."""

from dataclasses import replace

import numpy as np
import pytest
from fit_outbreaks import (
    BEGAN,
    SETTINGS,
    WINDLESS,
    factor,
    held,
    known_times,
    line_of,
    told,
)  # fmt: skip
from fit_worlds import Truth, beliefs_of, field_of, problem_of, spread_out

from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.outbreak.fit_chain import Pace, columns_of, run_chains
from spreadmap.outbreak.fit_types import TIME
from spreadmap.outbreak.fit_world import prepare

OUTBREAKS = 40


@pytest.mark.long
@pytest.mark.timeout(0)
@pytest.mark.parametrize("name", SETTINGS)
def test_intervals_hold_the_truth(name):
    lines = [line_of(name, seed) for seed in range(OUTBREAKS)]
    print("\n".join(told(lines)), flush=True)
    if name == "rose":
        return  # shown whatever it is
    rows, plain = ([line[method] for line in lines] for method in ("fit", "two surveys"))
    for what in ("rate", "scale"):
        assert held(rows, what, "95") >= 34
        assert held(rows, what, "90") >= 31
        assert held(rows, what, "50") >= 13
    assert 0.9 <= factor(rows, "scale") <= 1.1
    assert 0.85 <= factor(rows, "rate") <= 1.15
    assert sum(row["wind held"] for row in rows) >= 34
    assert held(plain, "rate", "95") < 34  # the bar tells the usual fit apart


@pytest.mark.long
@pytest.mark.timeout(0)
@pytest.mark.parametrize("name", WINDLESS)
def test_no_wind_is_found_where_there_is_none(name):
    lines = [line_of(name, seed, windless=True) for seed in range(OUTBREAKS)]
    print("\n".join(told(lines)), flush=True)
    assert sum(line["fit"]["wind found"] for line in lines) <= 5


def small_outbreak(days, truth, seed=3):
    """Return outbreak and history of few plants."""
    rng = np.random.default_rng(seed)
    places = field_of(120, 200, rng)
    surveys = [(BEGAN + day, 1.0) for day in days]
    outbreak = spread_out(places, truth, [4], BEGAN, surveys[-1][0], surveys, rng)
    return outbreak, problem_of(places, truth, outbreak, 0.0, surveys[0][0], surveys[-1][0], beliefs_of())


def test_known_times_are_pinned():
    # one small outbreak: with every day known, the fit's times are the true ones
    outbreak, problem = small_outbreak((20.0, 40.0), Truth(rate=20.0, scale=12.0))
    ready = prepare(known_times(problem, outbreak), Engine(workers=1))
    chains = run_chains(
        ready.world,
        Pace(chains=2, warm_up=50, batch=50, most_iterations=50, effective_size=1, most_r_hat=2),
        1,
        Engine(workers=1),
    )
    times = chains[0].world.plant[TIME, : ready.noticed]
    np.testing.assert_allclose(times, outbreak.infected[ready.tracked[: ready.noticed]], atol=2e-3)
    assert columns_of(chains)[:, :, 9].max() <= 1 + np.sum(outbreak.infected == BEGAN)


def test_a_start_before_the_clock_is_refused():
    _, problem = small_outbreak((20.0, 40.0), Truth(rate=20.0, scale=12.0))
    with pytest.raises(InputError, match=r"began between day -5 and day 170.*day 0 or later"):
        replace(problem, first_day=-5.0)
