"""Since when plants that are hidden at the start have been infected: by the weights of the steps of the past."""

from dataclasses import replace

import numpy as np
from scipy.stats import norm
from small_outbreaks import clock_of, draw_of, ground_at, world_of
from small_records import AS_OF, inventory_at, state_with
from test_ahead import _hidden_columns

from spreadmap.outbreak.ensemble import Period, start_for
from spreadmap.outbreak.events import Start, days_of_member, run_draw
from spreadmap.values.hidden import Hidden
from spreadmap.values.settings import Settings

SINCE = np.array([63.0, 56.0, 28.0, 21.0, 14.0, 7.0, 0.0])
"""Borders of six steps of the past [days before now]; two of the steps are used, the others weigh nothing."""
EXPOSED, SENDING = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
ALIKE = 2000


def shows_after(kind, weights, latency, passed=SINCE, after=14.0, days=120):
    """Return the day of symptoms of plants that are alike and hidden at the start; nothing else happens."""
    world = world_of(
        ground_at([(9.0 * i, 0.0) for i in range(ALIKE)]), days=days, after=after, latency=latency, clock=clock_of(days)
    )
    start = Start(
        state=np.zeros(ALIKE, dtype=np.uint8), unsure=np.arange(ALIKE), chance=np.tile(kind, (ALIKE, 1)),
        stands_from=np.zeros(ALIKE), heaped=np.tile(np.cumsum(weights), (ALIKE, 1)), since=SINCE, passed=passed,
    )  # fmt: skip
    return days_of_member(5, 0, world, replace(draw_of(world), start=start))[1]


def test_a_plant_infected_in_a_known_week_shows_a_latency_later():
    shows = shows_after(EXPOSED, (0, 0, 0, 0, 1, 0), latency=(29.5, 1e-9))
    assert (
        shows.min() == 16
    )  # infected 14 to 7 days ago, 29.5 days to symptoms: by hand 15.5 < time < 22.5, told next day
    assert shows.max() == 23
    assert abs(shows.mean() - 19.5) < 4 * 2.1 / np.sqrt(ALIKE)  # 16 and 23 half as often as the days between


def test_days_out_of_the_growing_season_are_no_latency():
    shows = shows_after(EXPOSED, (0, 0, 0, 0, 1, 0), latency=(29.5, 1e-9), passed=np.zeros(7))
    assert set(shows.tolist()) == {30}


def test_weights_outside_the_state_do_not_count():
    """Infected 63 to 56 days ago is infectious, 7 to 0 days ago is not: each state has its own part of the weights."""
    both = (0.9, 0, 0, 0, 0, 0.1)
    assert shows_after(SENDING, both, latency=(69.5, 1e-9)).max() <= 70 - 56
    assert shows_after(EXPOSED, both, latency=(69.5, 1e-9)).min() >= 70 - 7


def test_what_would_show_by_now_is_drawn_again():
    """Weights 3 : 1 on 63 to 56 and on 28 to 21 days ago, times the share that does not show yet after so long."""
    median, sigma = 40.0, 0.5
    age = np.concatenate([np.linspace(56, 63, 201), np.linspace(21, 28, 201)])
    silent = norm.sf(np.log(age / median) / sigma)
    early = 3 * silent[:201].mean() / (3 * silent[:201].mean() + silent[201:].mean())
    shows = shows_after(SENDING, (0.75, 0, 0.25, 0, 0, 0), (median, sigma), days=3000)
    # By hand: infected in the late step and silent so far, the plant shows within 10 days with this chance, and so on.
    soon = [np.mean(norm.sf(np.log(part / median) / sigma) - norm.sf(np.log((part + 10) / median) / sigma))
            / norm.sf(np.log(part / median) / sigma).mean() for part in (age[:201], age[201:])]  # fmt: skip
    expected = early * soon[0] + (1 - early) * soon[1]
    assert abs((shows <= 10).mean() - expected) < 4 * np.sqrt(expected * (1 - expected) / ALIKE)


def test_without_weights_the_past_is_even():
    given = shows_after(EXPOSED, (0, 0, 0, 0, 0, 0), latency=(29.5, 1e-9))
    assert given.min() == 16  # any age below 14 days alike
    assert given.max() == 30


def test_the_start_takes_steps_from_what_is_hidden():
    plants = inventory_at((0, 0), (5, 0), (9, 0))
    state = state_with(plants, infected=[1])
    among = np.array([True, False, True])
    columns = _hidden_columns(3, among, np.where(among, 0.3, np.nan))
    columns |= {
        "infected_in": np.array([[0.1, 0.2], [0.5, 0.5], [0.3, 0.0]]),
        "step_from": AS_OF - np.array([14, 7]).astype("timedelta64[D]"),
    }
    period = Period(as_of=AS_OF, next_survey=AS_OF + np.timedelta64(28, "D"), horizon=np.datetime64("2026-12-31"))
    start = start_for(plants, state, period, Hidden(**columns), Settings())
    assert start.unsure.tolist() == [0, 2]
    assert np.allclose(start.heaped, [[0.1, 0.3], [0.3, 0.3]])
    assert start.since.tolist() == [14.0, 7.0, 0.0]
    assert start.passed[-1] == 0
    assert len(start_for(plants, state, period, None, Settings()).heaped) == 0


def test_a_draw_s_own_start_stands_for_that_of_the_world():
    world = world_of(ground_at([(0.0, 0.0), (5.0, 0.0)]), days=10, kept=1)
    drawn = draw_of(world)
    start = Start(
        state=np.zeros(2, dtype=np.uint8), unsure=np.array([1]), chance=np.array([EXPOSED]), stands_from=np.zeros(2)
    )
    told = replace(drawn, start=start)
    assert run_draw(1, 3, world, drawn).plant_infected[0, -1].tolist() == [0, 0]
    assert run_draw(1, 3, world, told).plant_infected[0, -1].tolist() == [0, 3]
