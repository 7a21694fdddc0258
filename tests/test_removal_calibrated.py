"""The removal list where rates were fitted: infections, green plants, contact, and ranges over draws of the fit."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from small_records import FLIGHT, inventory_at, sites_of, state_with, system_of
from small_worlds import rose_toward, spread_of
from test_removal import ENGINE, NO_SCREENS, TODAY, list_of, only_believed, two_beds

from spreadmap.biology.season import flight_days
from spreadmap.decisions.reasons import chance_words
from spreadmap.decisions.removal import rank_removals
from spreadmap.decisions.removal_words import Knowledge
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates

RATES = Rates(per_day_m2=0.02, contact_per_day=0.002, background_per_day=1e-6)


def hidden_with(infected):
    """Return hidden infection from the chance of being infected of every plant, NaN for no candidate."""
    infected = np.asarray(infected, dtype=float)
    n = len(infected)
    return Hidden(
        not_yet_infectious=infected / 2, infectious=infected / 2, healthy=1 - infected, symptomatic=infected / 4,
        half_show_by=np.full(n, np.datetime64("2026-12-01")), days_infected=np.full(n, 30.0),
        infected_in=np.zeros((n, 1)), step_from=np.array(["2026-09-14"], dtype="datetime64[D]"),
        expected_infected=float(np.nansum(infected)), iterations=1, change=0.0, settled=True,
    )  # fmt: skip


def calibrated(plants, infected_of, infected, settings, **more):
    chance = np.zeros(len(plants))
    for plant, value in infected_of.items():
        chance[plant] = value
    chance[list(infected)] = np.nan
    known = Knowledge(rates=RATES, hidden=hidden_with(chance), **more)
    return rank_removals(plants, sites_of(), state_with(plants, infected=infected), spread_of(), NO_SCREENS, system_of(),
                         settings, TODAY, (), ENGINE, known)  # fmt: skip


def test_arrivals_on_plants_that_are_probably_infected_already_count_less():
    plants = two_beds()
    fresh = calibrated(plants, {}, [0, 3], only_believed())
    assert fresh.plant.tolist() == [3, 0]
    stale = calibrated(plants, dict.fromkeys(range(4, 10), 0.9), [0, 3], only_believed())
    assert stale.plant.tolist() == [0, 3]
    assert stale.avoided[1] < 0.2 * fresh.avoided[0]


def test_infections_avoided_are_the_sum_over_receivers_of_their_chance_to_escape():
    """Worked by hand from the rates: one confirmed medium plant, one healthy one 10 m away, no wind."""
    plants = inventory_at((0, 0), (10, 0))
    avoided = calibrated(plants, {}, [0], only_believed(value_days=365)).avoided[0]
    days = flight_days(np.datetime64(TODAY), np.datetime64("2027-09-21"), FLIGHT)
    density = float(spread_of().kernel.location_density(10.0))  # the canopy of 0.4 m changes it by less than 1 %
    background = np.exp(-RATES.background_per_day * days)
    assert avoided == pytest.approx(background * -np.expm1(-RATES.per_day_m2 * density * days), rel=0.01)


def test_touching_plants_are_infected_by_contact_where_the_rates_have_one():
    """1 m apart, the touching distance: the dose is more by the rate of contact times the days."""
    apart, touching = (
        calibrated(inventory_at((0, 0), (metres, 0)), {}, [0], only_believed()).avoided[0] for metres in (1.001, 0.999)
    )
    days = flight_days(np.datetime64(TODAY), np.datetime64("2027-09-21"), FLIGHT)
    dose_apart, dose_touching = -np.log1p(-apart), -np.log1p(-touching)
    assert dose_touching - dose_apart == pytest.approx(RATES.contact_per_day * days, rel=0.02)


def test_green_plants_come_onto_the_list_only_where_settings_and_fit_allow_it():
    """A green plant amid forty healthy ones, nine tenths surely infected; another hardly."""
    rng = np.random.default_rng(1)
    plants = inventory_at((0, 0), *rng.uniform(-8, 8, (40, 2)), (300, 0))
    chance = {0: 0.9, 1: 0.01}
    allowed = only_believed(green_plants=True, green_days=365)
    listed = calibrated(plants, chance, [41], allowed)
    assert listed.is_green.tolist() == (listed.plant == 0).tolist()
    assert listed.plant.tolist() == [0, 41]
    assert "No finding; infected with a chance of 90 % by the fitted model: test it first" in listed.reason[0]
    told = " ".join(listed.remarks)
    assert "removes 0.1 healthy plants to avoid" in told
    assert "at a price of 1 infection for a healthy plant" in told
    assert not calibrated(plants, chance, [41], only_believed(green_days=365)).is_green.any()
    relative = list_of(plants, state_with(plants, infected=[41]), settings=allowed)
    assert relative.plant.tolist() == [41]
    assert any("needs rates fitted to the surveys" in text for text in relative.remarks)
    dear = calibrated(plants, chance, [41], only_believed(green_plants=True, green_price=1000.0))
    assert dear.plant.tolist() == [41]


def test_a_green_plant_counts_only_until_it_would_be_found_anyway():
    """Worked by hand: 71 days of the growing season are left on 21 September, 41 of the next make 112: 25 April."""
    plants = inventory_at((0, 0), (10, 0), (900, 0))
    free = only_believed(green_plants=True, green_price=0.0)
    listed = calibrated(plants, {0: 0.9}, [2], free)
    avoided = float(listed.avoided[listed.plant == 0][0])
    today = np.datetime64(TODAY)
    days, year = (flight_days(today, np.datetime64(end), FLIGHT) for end in ("2027-04-25", "2027-09-21"))
    dose = RATES.per_day_m2 * float(spread_of().kernel.location_density(10.0)) * days
    assert 0 < days < year
    assert avoided == pytest.approx(np.exp(-RATES.background_per_day * year) * 0.9 * -np.expm1(-dose), rel=0.01)
    longer = calibrated(plants, {0: 0.9}, [2], only_believed(green_plants=True, green_price=0.0, green_days=3650))
    assert longer.avoided[longer.plant == 0][0] > 1.2 * avoided


def test_what_the_model_alone_points_at_is_told_though_it_is_not_listed():
    rng = np.random.default_rng(1)
    plants = inventory_at((0, 0), *rng.uniform(-8, 8, (40, 2)), (300, 0))
    chance = {0: 0.9, 1: 0.01}
    assert calibrated(plants, chance, [41], only_believed(green_days=365)).pointed_at == (0,)
    assert calibrated(plants, chance, [41], only_believed(green_price=1000.0)).pointed_at == ()
    assert list_of(plants, state_with(plants, infected=[41])).pointed_at == ()


def test_in_calibrated_mode_ranges_run_over_draws_of_the_fit():
    """Two plants in two beds, one with its neighbour in the east, the other in the west: draws disagree about the wind."""
    plants = inventory_at((0, 0), (15, 0), (500, 0), (485, 0), bed=["a", "a", "b", "b"])
    east, west = (spread_of(rose=rose_toward(bearing)) for bearing in (90, 270))
    strong = replace(RATES, per_day_m2=2 * RATES.per_day_m2)
    week = only_believed(crew_hours_per_week=0.5)

    def over(*laws):
        known = Knowledge(rates=RATES, hidden=hidden_with([np.nan, 0, np.nan, 0]), laws=laws)
        return rank_removals(plants, sites_of(), state_with(plants, infected=[0, 2]), east, NO_SCREENS, system_of(), week,
                             TODAY, (), ENGINE, known)  # fmt: skip

    alike, apart = over((east, RATES), (east, strong)), over((east, RATES), (west, strong))
    assert alike.plant.tolist() == apart.plant.tolist() == [0, 2]
    assert alike.rank_high.tolist() == [1, 2]
    assert alike.rank_holds.all()
    assert (apart.rank_low.tolist(), apart.rank_high.tolist()) == ([1, 1], [2, 2])
    assert not apart.rank_holds.any()
    curve = alike.curve
    assert curve.infections_low == pytest.approx(curve.infections)
    assert (curve.infections_high[1:] > curve.infections[1:]).all()
    assert "2 of its draws" in alike.ranks_over
    assert over().ranks_over == "the kernel's lengths"


def test_in_calibrated_mode_the_curve_counts_infections():
    plants = two_beds()
    ranked = calibrated(plants, {}, [0, 3], only_believed())
    assert ranked.curve.infections == pytest.approx(np.concatenate([[0], np.cumsum(ranked.avoided)]))


def test_a_horizon_that_ends_with_the_season_is_carried_across_the_winter():
    plants = two_beds()
    listed = {
        horizon: calibrated(plants, {}, [0, 3], only_believed(value_days=365), horizon_on=horizon).avoided[0]
        for horizon in (None, dt.date(2026, 12, 31), dt.date(2028, 12, 31))
    }
    assert listed[dt.date(2026, 12, 31)] == listed[None]
    assert listed[dt.date(2028, 12, 31)] > 1.2 * listed[None]


def test_what_others_infect_anyway_is_not_avoided():
    """A wild stand beside the healthy plant; hand-reckoned: its dose lets the plant escape with exp(-dose) beforehand."""
    plants = inventory_at((0, 0), (10, 0))
    wild = Sources(easting=[20.0], northing=[0.0], strength=[6.0], plant=[-1])
    alone = calibrated(plants, {}, [0], only_believed()).avoided[0]
    beside = calibrated(plants, {}, [0], only_believed(), wild=wild).avoided[0]
    dose = -6 * np.log1p(-alone)  # six plants at the same distance on the other side
    assert beside == pytest.approx(alone * np.exp(-dose), rel=0.01)


def test_two_plants_of_one_receiver_share_it():
    """Each alone avoids less than it would without the other, and both together what the sums say."""
    plants = inventory_at((0, 0), (20, 0), (10, 0), bed=["a", "b", "c"])
    both = calibrated(plants, {}, [0, 1], only_believed()).avoided
    one = calibrated(inventory_at((0, 0), (10, 0)), {}, [0], only_believed()).avoided[0]
    dose = -np.log1p(-one)
    assert both == pytest.approx([np.exp(-dose) - np.exp(-2 * dose), one], rel=0.01)


def test_no_chance_is_said_as_certain():
    said = [chance_words(chance) for chance in (0.0004, 0.043, 0.31, 0.994, 1.0)]
    assert said == ["below 0.1 %", "4.3 %", "31 %", "over 99 %", "over 99 %"]
