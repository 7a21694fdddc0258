"""Outbreaks for coverage: settings, histories, the same with every time known, the simple fit, and what intervals hold."""

import json
import math
import time
from dataclasses import replace

import numpy as np
from fit_worlds import Truth, field_of, problem_of, spread_out
from scipy.optimize import minimize
from scipy.special import i0, ndtri
from scipy.stats import chi2

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import Pace, columns_of, progress_of, run_chains
from spreadmap.outbreak.fit_diagnostics import is_outside_region
from spreadmap.outbreak.fit_types import EAST, NORTH, PARAMETERS, RATE, SCALE
from spreadmap.outbreak.fit_world import prepare

PLANTS, PER_HECTARE, FIRST = 5000, 60, 5
BEGAN = 150.0
"""Day of every outbreak's begin; the fit is told that it began within 150 days before the first survey."""
PACE = Pace(chains=2, warm_up=800, batch=400, most_iterations=8000, effective_size=200, most_r_hat=1.05)
KNOWN_PACE = Pace(chains=2, warm_up=400, batch=400, most_iterations=2000, effective_size=200, most_r_hat=1.05)
"""With every time known hardly anything is sampled but the parameters: two lines in three are worth a draw."""
LEAST_SEEN, LEAST_NEW, MOST = 8, 8, 1500
"""Outbreaks with fewer seen or new cases, or more infections, are drawn again: a loose filter, and stated."""
ROSE = Truth(
    rate=6.0, scale=10.95, shape=3.17, family="wald", infectious_after=14.0, incubation=69.0, sigma=0.71, east=1.0
)  # fmt: skip
SETTINGS = {
    # truth, chance per pass, days of surveys since the begin, days until noticed plants are taken out
    "gap_20": (Truth(east=1.0), 1.0, (50.0, 70.0), None),
    "gap_60": (Truth(east=1.0), 1.0, (30.0, 90.0), None),
    "seen_85": (Truth(east=1.0, incubation=5.0), 0.85, (50.0, 70.0), None),
    "seen_55": (Truth(east=1.0, incubation=10.0, infectious_after=5.0), 0.55, (60.0, 80.0), None),
    "removals": (Truth(east=1.0), 0.85, (50.0, 65.0, 80.0), 5.0),
    "rose": (ROSE, 0.55, (120.0, 150.0), 7.0),
}
WINDLESS = ("gap_20", "gap_60", "seen_55")
METHODS = ("fit", "known times", "two surveys")
WITHOUT_WIND = ("fit", "two surveys")
"""Methods on windless maps, which are there for false winds alone."""
POINTS = (2.5, 5.0, 25.0, 50.0, 75.0, 95.0, 97.5)
INTERVALS = {"50": (2, 4), "90": (1, 5), "95": (0, 6)}


def outbreak_of(name, seed, windless=False):
    """Return places, truth, outbreak, history and how often it was drawn again, of one fresh outbreak."""
    truth, chance, days, removal = SETTINGS[name]
    truth = replace(truth, east=0.0) if windless else truth
    rng = np.random.default_rng([seed, sorted(SETTINGS).index(name), int(windless)])
    cut = 0.01 if truth.sigma else 0.0
    surveys = [(BEGAN + day, chance) for day in days]
    again = 0
    while True:
        places = field_of(PLANTS, PER_HECTARE, rng)
        first = rng.choice(PLANTS, FIRST, replace=False)
        made = spread_out(
            places, truth, first, BEGAN, surveys[-1][0], surveys, rng, removal_after=removal, most=MOST, cut=cut
        )
        if made is not None:
            early = made.found == surveys[0][0]
            if early.sum() >= LEAST_SEEN and np.sum(np.isfinite(made.found) & ~early) >= LEAST_NEW:
                break
        again += 1
    problem = problem_of(
        places, truth, made, surveys[0][0] - 150.0, surveys[0][0], surveys[-1][0], fixed=truth.sigma == 0, cut=cut
    )
    return places, truth, made, problem, again


def known_times(problem, outbreak):
    """Return the same history as if every infection had been seen on its own day: what no fit can be better than."""
    infected = np.flatnonzero(outbreak.infected <= problem.end_day)
    eps, began = 1e-6, outbreak.infected.min()
    on = outbreak.infected[infected]
    rows = [(plant, day - eps, 0.0, 1.0) for plant, day in zip(infected, on, strict=True) if day > began]
    rows += [(plant, day + eps, 1.0, 0.0) for plant, day in zip(infected, on, strict=True)]
    rows += [(plant, problem.end_day, 0.0, 1.0) for plant in np.setdiff1d(np.arange(len(problem)), infected)]
    table = np.array(sorted(rows))
    noticed = np.zeros(len(problem), dtype=bool)
    noticed[infected] = True
    return replace(
        problem, noticed=noticed, look_plant=table[:, 0].astype(int), look_day=table[:, 1], pass_showing=table[:, 2],
        pass_silent=table[:, 3], first_day=began - 0.001, latest_day=began + 0.001,
        incubation=replace(problem.incubation, median_d=0.0, is_fixed=True),
    )  # fmt: skip


def loss_of_two_surveys(problem, outbreak, days):
    """Return -log of the likelihood that the usual fit to two surveys gives log rate, log factor on lengths, east, north.

    What was found before the last survey sends through all of the gap, and nothing else does; each other plant was
    found at the last survey with chance 1 - exp(-gap times force), by itself.
    """
    gap = days[-1] - days[-2]
    before, new = outbreak.found < BEGAN + days[-1], outbreak.found == BEGAN + days[-1]
    places = np.column_stack([problem.easting, problem.northing])
    way = places[~before][:, None] - places[before][None]
    r = np.maximum(np.hypot(way[:, :, 0], way[:, :, 1]), 1e-6)
    east, north, hit = way[:, :, 0] / r, way[:, :, 1] / r, new[~before]

    def loss(p):
        turn = np.exp(p[2] * east + p[3] * north) / i0(math.hypot(p[2], p[3]))
        force = math.exp(p[0]) * (problem.kernel.scaled(math.exp(p[1])).location_density(r) * turn).sum(axis=1)
        dose = np.maximum(gap * force, 1e-300)
        return float(dose[~hit].sum() - np.log(-np.expm1(-dose[hit])).sum())

    return loss


def two_surveys(problem, outbreak, days):
    """Return the likeliest log rate, log factor on lengths, east and north by the usual fit to two surveys.

    And as covariance the inverse of the curvature there.
    """
    loss = loss_of_two_surveys(problem, outbreak, days)
    middle = minimize(loss, np.array([math.log(5.0), 0.0, 0.0, 0.0]), method="L-BFGS-B", bounds=[(-9, 9)] * 4).x
    step, curve = 1e-3, np.empty((4, 4))
    one = np.eye(4) * step
    for i in range(4):
        for j in range(4):
            corners = [(1, 1), (1, -1), (-1, 1), (-1, -1)]
            curve[i, j] = sum(a * b * loss(middle + a * one[i] + b * one[j]) for a, b in corners) / (4 * step**2)
    return middle, np.linalg.inv(curve)


def fitted(problem, seed, pace=PACE):
    """Return the record of the chains, and effective size and R-hat of rate and scale."""
    chains = run_chains(prepare(problem, Engine()).world, pace, seed, Engine())
    return columns_of(chains), *progress_of(chains)


def row_of(points, wind, covariance, truth):
    """Return how far the middle is off and what intervals hold, of log rate and log scale, and whether wind is found."""
    row = {}
    for what, true in (("rate", math.log(truth.rate)), ("scale", 0.0)):
        at = points[what]
        held = {name: bool(at[low] <= true <= at[high]) for name, (low, high) in INTERVALS.items()}
        row[what] = {"off": float(at[3] - true), "width": float(at[6] - at[0])} | held
    limit, away = chi2.ppf(0.95, 2), wind - np.array([truth.east, truth.north])
    row["wind held"] = bool(away @ np.linalg.solve(covariance, away) <= limit)
    row["wind found"] = bool(wind @ np.linalg.solve(covariance, wind) > limit)
    turn = math.degrees(math.atan2(*wind) - math.atan2(truth.east, truth.north))
    row["bearing off"] = abs((turn + 180) % 360 - 180)
    return row


def row_of_draws(lines, truth):
    """Return `row_of` for draws."""
    points = {what: np.percentile(lines[:, :, p], POINTS) for what, p in (("rate", RATE), ("scale", SCALE))}
    wind = lines[:, :, [EAST, NORTH]].reshape(-1, 2)
    row = row_of(points, wind.mean(axis=0), np.cov(wind, rowvar=False), truth)
    assert row["wind found"] == is_outside_region(wind, np.zeros(2), 0.95)
    return row


def row_of_normal(middle, covariance, truth):
    """Return `row_of` for a normal law."""
    z = ndtri(np.array(POINTS) / 100)
    sd = np.sqrt(np.abs(np.diag(covariance)))
    points = {"rate": middle[0] + z * sd[0], "scale": middle[1] + z * sd[1]}
    return row_of(points, middle[2:], covariance[2:, 2:], truth)


def line_of(name, seed, windless=False):
    """Return what every method says of one outbreak, as a line for the store."""
    methods = WITHOUT_WIND if windless else METHODS
    _, truth, outbreak, problem, again = outbreak_of(name, seed, windless)
    line = {"setting": name, "seed": seed, "windless": windless, "drawn again": again,
            "seen": int(np.isfinite(outbreak.found).sum()), "infected": int(np.isfinite(outbreak.infected).sum())}  # fmt: skip
    if "fit" in methods:
        began = time.process_time()
        lines, size, hat = fitted(problem, seed)
        late = float(np.median(lines[:, :, PARAMETERS])) - BEGAN
        line["fit"] = row_of_draws(lines, truth) | {
            "start late": late, "size": size, "r hat": hat, "cpu s": time.process_time() - began,
        }  # fmt: skip
    if "known times" in methods:
        line["known times"] = row_of_draws(fitted(known_times(problem, outbreak), seed, KNOWN_PACE)[0], truth)
    if "two surveys" in methods:
        line["two surveys"] = row_of_normal(*two_surveys(problem, outbreak, SETTINGS[name][2]), truth)
    return line


def held(rows, what, share):
    """Return how many intervals hold the truth."""
    return sum(row[what][share] for row in rows)


def factor(rows, what):
    """Return the geometric mean of the middle over the truth [-]."""
    return math.exp(float(np.mean([row[what]["off"] for row in rows])))


def row_in_words(rows):
    """Return one method's row of the table: off, intervals that hold (50, 90, 95 %), width; wind."""
    said = []
    for what in ("scale", "rate"):
        counts = ", ".join(str(held(rows, what, share)) for share in INTERVALS)
        width = float(np.median([row[what]["width"] for row in rows]))
        said.append(f"{what} x {factor(rows, what):.2f}, {counts}, width {width:.2f}")
    wind = (sum(row["wind held"] for row in rows), sum(row["wind found"] for row in rows))
    bearing = float(np.mean([row["bearing off"] for row in rows]))
    return f"{'; '.join(said)}; wind held {wind[0]}, found {wind[1]}, bearing off {bearing:.0f} deg"


def told(lines):
    """Return the table of stored lines, one row for each setting and method."""
    out = []
    for windless in (False, True):
        for name in SETTINGS:
            mine = [line for line in lines if line["setting"] == name and line["windless"] == windless]
            for method in METHODS:
                rows = [line[method] for line in mine if method in line]
                if rows:
                    out.append(
                        f"{name}{', no wind' if windless else ''}, {method}, {len(rows)} outbreaks: {row_in_words(rows)}"
                    )
            if mine:
                out.append(f"    {_circumstances(mine)}")
    return out


def _circumstances(lines):
    """Return sizes, cost and convergence of the outbreaks of one setting."""
    seen, infected = (float(np.median([line[what] for line in lines])) for what in ("seen", "infected"))
    said = (
        f"median {seen:.0f} seen of {infected:.0f} infected; {sum(line['drawn again'] for line in lines)} drawn again"
    )
    fits = [line["fit"] for line in lines if "fit" in line]
    if fits:
        size, late, cpu = (float(np.median([fit[what] for fit in fits])) for what in ("size", "start late", "cpu s"))
        poor = sum(fit["r hat"] > PACE.most_r_hat or fit["size"] < 100 for fit in fits)
        said += f"; start {late:+.0f} d; effective size {size:.0f} in {cpu:.0f} processor s; {poor} not converged"
    return said


def read_store(path):
    """Return the lines of a store, none where there is no file."""
    return [json.loads(text) for text in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
