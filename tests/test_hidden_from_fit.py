"""Chances of hidden infection from the draws of a fit: by hand for few plants, and what must hold for many."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hidden_worlds import ALWAYS, NOWHERE, inventory_at, settings_with, still_air, surveys_of, work_of
from made_fits import fit_with, states_of
from scipy.stats import norm
from simulated_outbreaks import Truth, disc_mean

from spreadmap.engine import Engine
from spreadmap.outbreak.hidden_from_fit import LEAST, hidden_from_fit
from spreadmap.outbreak.scene import Scene
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.inventory import Sources

AS_OF = "2026-08-01"
FOUND = ("p0", "2026-07-01", "infected", "lab")
RADIUS = 0.4


def scene_of(places, *rows, work=(), wild=NOWHERE, settings=None, workers=1, **inventory):
    plants, records, log = replace(inventory_at(*places), **inventory), surveys_of(FOUND, *rows), work_of(*work)
    state, _ = plant_state(plants, records, log, ALWAYS, np.datetime64(AS_OF))
    return Scene(
        inventory=plants, state=state, surveys=records, work_log=log, wild=wild, spread=still_air(), screens=NO_SCREENS,
        system=ALWAYS, settings=settings or settings_with(), engine=Engine(workers=workers),
    )  # fmt: skip


def density(distance):
    return disc_mean(distance, Truth(radius_m=RADIUS))


def test_one_exposure_by_hand():
    """p0 sends since June; p1, 4 m away, stands healthy on 12 July in the only draw: 20 days, 6 of them early."""
    scene = scene_of([(0, 0), (4, 0)])
    fit = fit_with(states_of({"p0": "2026-06-01"}), "2026-07-12", "2026-07-20", rate=0.9, background=1e-3)
    hidden = hidden_from_fit(fit, scene)[0]
    force = 0.9 * density(4.0) + 1e-3
    early, late = -math.expm1(-6 * force), math.exp(-6 * force) * -math.expm1(-14 * force)
    assert hidden.infectious[1] == pytest.approx(early, rel=2e-3)
    assert hidden.not_yet_infectious[1] == pytest.approx(late, rel=2e-3)
    assert hidden.healthy[1] == pytest.approx(math.exp(-20 * force), rel=2e-3)
    assert np.isnan(hidden.healthy[0])
    assert hidden.expected_infected == pytest.approx(early + late, rel=2e-3)


def test_the_part_of_the_day_on_which_a_fit_ends_is_not_told_twice():
    scene = scene_of([(0, 0), (4, 0)])
    states = states_of({"p0": "2026-06-01"})
    whole, part = (
        hidden_from_fit(fit_with(states, "2026-07-27", "2026-07-28", background=1e-3, rate=0, ends_at=at), scene)[0]
        for at in (0.0, 0.75)
    )
    assert -math.log(whole.healthy[1]) == pytest.approx(5 * 1e-3)
    assert -math.log(part.healthy[1]) == pytest.approx(4.25 * 1e-3)


def test_contact_size_and_wild_stands_count_by_hand():
    settings = settings_with()
    wild = Sources(easting=[10.0], northing=[0.0], strength=[3.0], plant=[-1])
    scene = scene_of([(0, 0), (0.9, 0), (30, 0)], wild=wild, size_class=np.array(["M", "L", "M"], dtype=object))
    fit = fit_with(states_of({"p0": "2026-06-01"}), "2026-07-22", "2026-07-28", rate=0.05, contact=0.002, background=0)
    healthy = hidden_from_fit(fit, scene)[0].healthy
    big = settings.sources.canopy_radius_m["L"]
    near = disc_mean(0.9, Truth(radius_m=big)) + 3 * disc_mean(9.1, Truth(radius_m=big))
    assert -math.log(healthy[1]) == pytest.approx(2 * 10 * (0.05 * near + 0.002), rel=0.01)
    assert -math.log(healthy[2]) == pytest.approx(10 * 0.05 * (density(30) + 3 * density(20)), rel=0.01)


def test_a_share_of_the_states_is_the_chance_and_the_rest_is_open_to_what_came_since():
    """p1 is infected in one of four draws; in each of the others it has the chance by hand, 10 days before the state."""
    scene = scene_of([(0, 0), (4, 0)])
    known = {"p0": "2026-06-01"}
    fit = fit_with(states_of(known, known, {**known, "p1": "2026-06-20"}, known), "2026-07-22", "2026-07-28", rate=2.0)
    hidden, begin = hidden_from_fit(fit, scene)
    since = -math.expm1(-10 * 2.0 * density(4.0))
    assert hidden.infected[1] == pytest.approx(0.25 + 0.75 * since, rel=2e-3)
    assert hidden.infectious[1] == pytest.approx(0.25)
    # what goes on is certain in the draw that says so, and open by the same chance in the others
    sums = [start.chance.sum() for start in begin.starts]
    assert sums == pytest.approx([since, since, 1.0, since], rel=2e-3)


@pytest.mark.parametrize("passes", [0, 1, 4])
def test_symptoms_after_clean_passes_by_hand(passes):
    """p1 was infected on 12 May in every draw; all passes were on one day, 50 days later, each missing 0.45."""
    rows = [("p1", "2026-07-01", "clean", "visual")] * passes
    settings = settings_with(latency_median_days=60.0, latency_sigma=0.5)
    fit = fit_with(states_of({"p0": "2026-05-01", "p1": "2026-05-12"}), "2026-06-20", "2026-07-28")
    hidden = hidden_from_fit(fit, scene_of([(0, 0), (4, 0)], *rows, settings=settings))[0]

    def share(days):
        return norm.cdf(math.log(days / 60.0) / 0.5)

    def over_the_week(value):  # the step of the infection is 9 to 15 May: weeks end on the date of the state
        return np.mean([value(day) for day in np.arange(0.5, 7)])

    left = 0.45**passes
    shows = over_the_week(lambda d: share(53 - d) * left + share(84 - d) - share(53 - d))
    all_ = over_the_week(lambda d: share(53 - d) * left + 1 - share(53 - d))
    assert hidden.symptomatic[1] == pytest.approx(shows / all_, abs=2e-3)

    def showing_after(days):
        return over_the_week(lambda d: share(53 - d) * left + share(84 + days - d) - share(53 - d))

    day = next(days for days in range(600) if showing_after(days) >= all_ / 2)
    assert abs((hidden.half_show_by[1] - np.datetime64(AS_OF)).astype(int) - day) <= 1


def test_a_suspect_has_its_own_share_and_shows_it():
    rows = [("p1", "2026-07-20", "suspect", "visual")]
    settings = settings_with()
    fit = fit_with(states_of({"p0": "2026-06-01"}), "2026-07-22", "2026-07-28", rate=2.0)
    hidden, _ = hidden_from_fit(fit, scene_of([(0, 0), (4, 0)], *rows))
    q, since = settings.sources.suspect_chance, -math.expm1(-10 * 2.0 * density(4.0))
    assert hidden.infected[1] == pytest.approx(q + (1 - q) * since, rel=2e-3)
    assert hidden.symptomatic[1] == pytest.approx(q)
    assert hidden.half_show_by[1] == np.datetime64(AS_OF) or q < 0.5


def test_a_source_taken_out_sends_until_then_and_its_roots_go_on():
    fit = fit_with(states_of({"p0": "2026-06-01"}), "2026-07-22", "2026-07-28", rate=2.0)
    places = [(0, 0), (4, 0)]

    def dose(*work):
        return -math.log(hidden_from_fit(fit, scene_of(places, work=work))[0].healthy[1])

    whole = dose()
    assert dose(("p0", "2026-07-26", "yes", "NaT")) == pytest.approx(0.4 * whole, rel=1e-3)
    assert dose(("p0", "2026-07-26", "partly", "NaT")) == pytest.approx((0.4 + 0.6 * 0.3) * whole, rel=1e-3)


def test_a_long_gap_has_sources_of_its_own():
    """From 1 May to 1 August plants infected in May send in June: more are infected than by p0 alone."""
    places = [(0, 0), *((3.0 * k, 3.0) for k in range(20))]
    fit = fit_with(states_of(*[{"p0": "2026-04-01"}] * 40), "2026-05-01", "2026-05-20", rate=6.0)
    hidden = hidden_from_fit(fit, scene_of(places))[0]
    alone = [1 - math.exp(-92 * 6.0 * density(math.hypot(3.0 * k, 3.0))) for k in range(20)]
    assert hidden.infected[1] == pytest.approx(alone[0], rel=0.15)
    assert hidden.infected[20] > 3 * alone[19]
    assert hidden.infected[1] < 1


def test_far_plants_have_small_chances_and_starts_keep_their_sum():
    places = [(0, 0), *((20.0 + 5 * k, 0) for k in range(400))]
    scene = scene_of(places)
    fit = fit_with(states_of(*[{"p0": "2026-06-01"}] * 30), "2026-07-22", "2026-07-28", rate=0.3, background=1e-6)
    hidden, begin = hidden_from_fit(fit, scene)
    chance = hidden.infected[1:]
    assert (chance > 0).all()
    assert chance[-1] < 1e-4
    sums = np.array([start.chance.sum() for start in begin.starts])
    # plants of small chance are drawn: each start has other ones, and on average their sum
    assert len({tuple(start.unsure) for start in begin.starts}) > 10
    assert abs(sums.mean() - chance.sum()) < 4 * math.sqrt(chance.sum() * LEAST / len(sums))


def test_what_is_told_hangs_together():
    places = [(0, 0), (3, 0), (6, 0), (40, 0)]
    known = {"p0": "2026-06-01"}
    fit = fit_with(states_of(known, {**known, "p1": "2026-07-18"}), "2026-07-22", "2026-07-28", rate=1.0)
    hidden = hidden_from_fit(fit, scene_of(places))[0]
    among = np.isfinite(hidden.healthy)
    total = hidden.not_yet_infectious + hidden.infectious + hidden.healthy
    assert total[among] == pytest.approx(1.0)
    assert hidden.infected_in[among].sum(axis=1) == pytest.approx(hidden.infected[among], rel=1e-4)
    assert hidden.infected_in[0].sum() == pytest.approx(1.0)
    assert (hidden.symptomatic[among] <= hidden.infected[among] + 1e-12).all()
    # infected on 18 July, 13.5 days before the state: not yet infectious after 14
    assert hidden.infectious[1] == pytest.approx(0.0, abs=1e-9)
    assert "rest on 2 states of the fit" in hidden.remarks[-1]


def test_one_worker_and_two_make_the_same_bits():
    places = [(3.0 * (k % 5), 3.0 * (k // 5)) for k in range(25)]
    fit = fit_with(states_of(*[{"p0": "2026-04-01"}] * 6), "2026-05-20", "2026-05-28", rate=3.0, contact=0.01)
    one, two = (hidden_from_fit(fit, scene_of(places, workers=workers)) for workers in (1, 2))
    for name in ("infectious", "healthy", "symptomatic", "half_show_by", "infected_in"):
        assert getattr(one[0], name).tobytes() == getattr(two[0], name).tobytes()
    for a, b in zip(one[1].starts, two[1].starts, strict=True):
        assert a.chance.tobytes() == b.chance.tobytes()


def test_plants_that_no_iteration_has_as_infected_keep_a_small_chance():
    """p1 was followed and never infected in 2,000 iterations; p2 and p3 were not, and 0.3 infections were neglected."""
    sizes = np.array(["M", "M", "M", "L"], dtype=object)
    states = replace(states_of({"p0": "2026-06-01"}), plant_id=np.array(["p0", "p1"], dtype=object))
    fit = fit_with(states, AS_OF, AS_OF, background=0, rate=0, iterations=2000, neglected=0.3)
    hidden, _ = hidden_from_fit(fit, scene_of([(0, 0), (4, 0), (90, 0), (99, 0)], size_class=sizes))
    assert hidden.infected[1:] == pytest.approx([0.5 / 2000, 0.1, 0.2])
    # every day flies alike: the last two of 57 weeks, of which there are a year before the first record, are too late
    assert hidden.infectious[1:] == pytest.approx((1 - 2 / 57) * hidden.infected[1:])


def test_a_hidden_source_sends_from_when_it_is_infectious():
    """p1, infected in the course of 10 July, is infectious at noon of the 24th: 7.5 days until the state."""
    scene = scene_of([(1000, 0), (0, 0), (4, 0)])
    fit = fit_with(
        states_of({"p0": "2026-06-01", "p1": "2026-07-10"}), "2026-07-20", "2026-07-28", rate=2.0, background=0
    )
    hidden, _ = hidden_from_fit(fit, scene)
    assert -math.log(hidden.healthy[2]) == pytest.approx(7.5 * 2.0 * density(4.0), rel=2e-3)
