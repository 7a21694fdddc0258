"""Chances of hidden infection: closed forms, laws, the slow version, and records that contradict themselves."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hidden_worlds import (
    ALWAYS,
    NOWHERE,
    hidden_in,
    inventory_at,
    line_of,
    rates_of,
    settings_with,
    still_air,
    surveys_of,
    system_of,
    work_of,
)  # fmt: skip
from scipy.stats import norm
from slow_reference import hidden_among

import spreadmap.outbreak.hidden_now as hidden_now
from spreadmap.engine import Engine
from spreadmap.pressure import pressure_at_points
from spreadmap.records.sources import receptors_of
from spreadmap.values.inventory import Sources

JUNE = system_of(flight=(0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0))
QUICK = {"latency_median_days": 10.0, "latency_sigma": 0.05}
ONE = inventory_at((0.0, 0.0))
PASSES = ("2025-11-03", "2025-11-04", "2025-11-05", "2025-11-06")
B = 0.02
PRIOR = 1 - math.exp(-30 * B)  # thirty days of June, by hand


def june(rows=(), settings=None, **more):
    return hidden_in(
        ONE, rows, "2025-11-10", rates_of(background=B), settings or settings_with(**QUICK), system=JUNE, **more
    )


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_one_exposure_and_clean_passes_by_hand(count):
    hidden = june([("p0", on, "clean", "visual") for on in PASSES[:count]])
    left = PRIOR * 0.45**count
    assert hidden.infectious[0] == pytest.approx(left / (left + 1 - PRIOR), rel=1e-6)
    assert hidden.not_yet_infectious[0] == pytest.approx(0.0, abs=1e-9)
    assert hidden.symptomatic[0] == pytest.approx(hidden.infectious[0], rel=1e-6)
    assert hidden.half_show_by[0] == np.datetime64("2025-11-10")  # all show already


def test_without_evidence_the_prior_stands():
    hidden = june()
    assert hidden.infected[0] == pytest.approx(PRIOR, rel=1e-6)
    assert hidden.healthy[0] == pytest.approx(1 - PRIOR, rel=1e-6)
    assert hidden.expected_infected == pytest.approx(PRIOR, rel=1e-6)
    # 162 days from 1 June to 10 November, less the mean of an exponential cut at 30 days, by hand.
    assert hidden.days_infected[0] == pytest.approx(162 - (1 / B - 30 * (1 - PRIOR) / PRIOR), abs=0.3)


def test_an_eye_that_misses_nothing_leaves_nothing():
    hidden = june([("p0", PASSES[0], "clean", "visual")], settings_with(detection={"visual_symptomatic": 1.0}, **QUICK))
    assert hidden.infected[0] == pytest.approx(0.0, abs=1e-6)


def test_a_negative_test_of_a_symptomless_plant_by_hand():
    hidden = june([("p0", PASSES[0], "clean", "lab")], settings_with(latency_median_days=300.0, latency_sigma=0.05))
    assert hidden.infected[0] == pytest.approx(PRIOR * 0.4 / (PRIOR * 0.4 + 1 - PRIOR), rel=1e-6)
    assert hidden.symptomatic[0] == pytest.approx(0.0, abs=1e-6)


def test_a_test_and_a_look_share_one_latency():
    """Half show on the day of both: (shown x 0.45 x 0.05 + not x 0.4) by hand, infection on 15 June for all."""
    days = 141  # 15 June to 3 November
    settings = settings_with(latency_median_days=float(days), latency_sigma=0.4)
    hidden = june([("p0", PASSES[0], "clean", "visual"), ("p0", PASSES[0], "clean", "lab")], settings)
    # On one day the worse row is told last; both are clean. Shares over June differ little from those of its middle.
    shown = np.mean([norm.cdf(math.log((141 + late) / days) / 0.4) for late in np.arange(-14.5, 15.5)])
    left = PRIOR * (shown * 0.45 * 0.05 + (1 - shown) * 0.4)
    assert hidden.infected[0] == pytest.approx(left / (left + 1 - PRIOR), rel=6e-3)


def test_infectious_only_after_its_days():
    settings = settings_with(infectious_after_days=200.0, **QUICK)
    hidden = june(settings=settings)
    assert hidden.infectious[0] == pytest.approx(0.0, abs=1e-9)
    assert hidden.not_yet_infectious[0] == pytest.approx(PRIOR, rel=1e-6)
    assert np.isnan(hidden_in(ONE, [("p0", "2025-11-03", "infected", "lab")], "2025-11-10", rates_of(background=B),
                              settings, system=JUNE).healthy[0])  # fmt: skip


def test_date_by_which_half_show_by_hand():
    settings = settings_with(latency_median_days=200.0, latency_sigma=0.02)
    hidden = june(settings=settings)
    # Infections about the middle of June show about 200 days later: 1 January, within the width of June.
    assert abs(hidden.half_show_by[0] - np.datetime64("2026-01-01")) <= np.timedelta64(4, "D")


def test_looks_outside_the_growing_season_tell_nothing_and_the_clock_stands_still():
    winter = settings_with(growing_from=(4, 1), growing_to=(10, 31), **QUICK)
    assert june([("p0", PASSES[0], "clean", "visual")], winter).infected[0] == pytest.approx(PRIOR, rel=1e-6)
    late = settings_with(growing_from=(4, 1), growing_to=(6, 30), latency_median_days=100.0, latency_sigma=0.02)
    hidden = hidden_in(ONE, [], "2026-03-01", rates_of(background=B), late, system=JUNE)
    # Up to 30 days passed in June; the other 70 and more begin on 1 April.
    assert hidden.half_show_by[0] >= np.datetime64("2026-06-10")


def test_a_suspect_counts_with_its_stated_share():
    hidden = june([("p0", PASSES[0], "suspect", "visual")])
    assert hidden.infected[0] == pytest.approx(0.5 + 0.5 * PRIOR, rel=1e-6)


def observer_case(rows, by_observer, observers):
    surveys = surveys_of(*rows)
    surveys = replace(surveys, observer=np.array(observers, dtype=object))
    return hidden_in(ONE, surveys, "2025-11-10", rates_of(background=B),
                     settings_with(detection={"by_observer": by_observer}, **QUICK), system=JUNE)  # fmt: skip


def test_each_observer_has_a_sensitivity_and_strangers_are_told():
    rows = [("p0", PASSES[0], "clean", "visual"), ("p0", PASSES[1], "clean", "visual")]
    hidden = observer_case(rows, {"crew A": 0.9}, ["Crew A", "crew B"])
    left = PRIOR * 0.1 * 0.45
    assert hidden.infected[0] == pytest.approx(left / (left + 1 - PRIOR), rel=1e-6)
    (remark,) = hidden.remarks
    assert "surveys.csv, row 1" in remark
    assert "crew B" in remark
    assert "0.55" in remark
    assert "crew C" in observer_case(rows, {"crew C": 0.9}, ["", ""]).remarks[1]


def test_order_of_the_rows_does_not_matter_and_clean_after_infected_stays_infected():
    rows = [("p0", on, "clean", "visual") for on in PASSES[:3]]
    assert june(rows).infected[0] == june(rows[::-1]).infected[0]
    hidden = june([("p0", PASSES[0], "infected", "typical_symptoms"), ("p0", PASSES[1], "clean", "visual")])
    assert np.isnan(hidden.infected[0])
    assert hidden.infected_in[0].sum() == pytest.approx(1.0, rel=1e-5)


def test_removed_before_planted_is_told_and_passed_over():
    plants = replace(line_of(2), planted_on=np.array(["2025-10-01", "NaT"], dtype="datetime64[D]"))
    hidden = hidden_in(plants, [("p0", "2025-08-01", "clean", "visual")], "2025-11-10", rates_of(background=B),
                       settings_with(**QUICK), work=work_of(("p0", "2025-09-01", "yes", "NaT")), system=JUNE)  # fmt: skip
    assert "1 planting dates lie after" in hidden.remarks[0]
    assert "p0" in hidden.remarks[0]
    later = replace(line_of(1), planted_on=np.array(["2025-07-20"], dtype="datetime64[D]"))
    assert (
        hidden_in(later, [], "2025-11-10", rates_of(background=B), settings_with(**QUICK), system=JUNE).infected[0] == 0
    )


def test_a_clean_bed_counts_for_all_its_plants():
    plants = inventory_at((0.0, 0.0), (500.0, 0.0), (900.0, 0.0), bed=("a", "a", "b"))
    surveys = surveys_of(("p0", PASSES[0], "clean", "visual"), ("p1", PASSES[0], "clean", "visual"))
    surveys = replace(surveys, row=[4, 4], is_bed_count=[True, True])
    hidden = hidden_in(plants, surveys, "2025-11-10", rates_of(background=B), settings_with(**QUICK), system=JUNE)
    left = PRIOR * 0.45
    assert hidden.infected[:2] == pytest.approx([left / (left + 1 - PRIOR)] * 2, rel=1e-6)
    assert hidden.infected[2] == pytest.approx(PRIOR, rel=1e-6)
    part = replace(surveys, row=[4, 5])  # two counts, neither of the whole bed
    hidden = hidden_in(plants, part, "2025-11-10", rates_of(background=B), settings_with(**QUICK), system=JUNE)
    assert hidden.infected == pytest.approx([PRIOR] * 3, rel=1e-6)


FOUND = ("p0", "2025-09-01", "infected", "typical_symptoms")
STRONG = rates_of(per_day_m2=0.6, contact=0.01, background=1e-4)


def test_nearer_is_never_less_and_more_clean_passes_never_raise():
    plants, settings = line_of(8, 3.0), settings_with()
    # A look at the last plant keeps the beginning of time where it is.
    first = [FOUND, ("p7", "2025-07-01", "clean", "visual")]
    hidden = hidden_in(plants, first, "2025-11-10", STRONG, settings)
    assert hidden.settled
    assert (np.diff(hidden.infected[1:]) < 0).all()
    rows, last = first, hidden.infected
    for on in ("2025-07-01", "2025-08-15", "2025-10-01", "2025-11-01"):
        rows = [*rows, ("p3", on, "clean", "visual")]
        now = hidden_in(plants, rows, "2025-11-10", STRONG, settings).infected
        assert now[3] < last[3]
        assert (now[1:] <= last[1:] + 1e-4).all()
        last = now


def test_moving_all_dates_moves_nothing_else():
    plants, settings = line_of(4), settings_with()
    here = hidden_in(plants, [FOUND, ("p2", "2025-10-01", "clean", "visual")], "2025-11-10", STRONG, settings)
    there = hidden_in(
        plants, [("p0", "2027-09-03", "infected", "typical_symptoms"), ("p2", "2027-10-03", "clean", "visual")],
        "2027-11-12", STRONG, settings,
    )  # fmt: skip
    assert there.infected == pytest.approx(here.infected, rel=1e-9, nan_ok=True)


def test_removal_ends_what_a_plant_sends_and_roots_left_do_not():
    plants, settings = line_of(3), settings_with()

    def second(*work):
        return hidden_in(plants, [FOUND], "2025-11-10", STRONG, settings, work=work_of(*work)).infected[1]

    stays, out = second(), second(("p0", "2025-09-03", "yes", "NaT"))
    partly, sprouts = second(("p0", "2025-09-03", "partly", "NaT")), second(("p0", "2025-09-03", "yes", "2025-10-20"))
    again = second(("p0", "2025-09-03", "partly", "NaT"), ("p0", "2025-10-01", "yes", "NaT"))
    assert out < sprouts < partly < stays
    assert out < again < partly


def test_the_fixed_point_is_one(monkeypatch):
    plants, settings = line_of(12, 1.0), settings_with()
    hidden = hidden_in(plants, [FOUND], "2025-11-10", STRONG, settings)
    assert hidden.settled
    assert hidden.change < 1e-4
    monkeypatch.setattr(hidden_now, "SETTLED", 1e-10)
    monkeypatch.setattr(hidden_now, "FRESH", 1e-6)
    exact = hidden_in(plants, [FOUND], "2025-11-10", STRONG, settings)
    assert exact.iterations > hidden.iterations
    assert hidden.infected == pytest.approx(exact.infected, abs=5e-4, nan_ok=True)
    monkeypatch.setattr(hidden_now, "MOST_ITERATIONS", 2)
    rough = hidden_in(plants, [FOUND], "2025-11-10", STRONG, settings)
    assert not rough.settled
    assert "did not settle after 2 rounds" in rough.remarks[-1]


def test_one_and_two_workers_give_the_same_bits():
    rng = np.random.default_rng(5)
    plants = inventory_at(*rng.uniform(0, 400, (1100, 2)))
    rows = [
        ("p0", "2025-09-01", "infected", "lab"),
        *((f"p{i}", "2025-09-01", "clean", "visual") for i in range(1, 900)),
    ]
    weak = rates_of(per_day_m2=0.02, contact=0.001, background=1e-5)
    one, two = (hidden_in(plants, rows, "2025-11-10", weak, settings_with(), workers=count) for count in (1, 2))
    for name in ("infectious", "not_yet_infectious", "healthy", "symptomatic", "infected_in"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def day_by_day(plants, settings, rates, looks, until, certain, days):
    """The slow version of the worlds here: densities from the exact sums, everything else in plain loops."""
    n = len(plants)
    everyone = receptors_of(plants, np.ones(n, dtype=bool), settings.sources)
    kernel = np.zeros((n, n))
    for j in range(n):
        one = Sources(easting=plants.easting[[j]], northing=plants.northing[[j]], strength=[1.0], plant=[j])
        kernel[:, j] = pressure_at_points(everyone, one, still_air(), Engine(workers=1)).density
    gap = np.hypot(plants.easting[:, None] - plants.easting, plants.northing[:, None] - plants.northing)
    touch = (gap <= settings.inspection.touching_m) & (gap > 0)
    median, sigma = settings.infection.latency_median_days, settings.infection.latency_sigma

    def shown(infected, on):
        return 0.5 * (1 + math.erf(math.log((on - infected - 0.5) / median) / sigma / math.sqrt(2)))

    numbers = (rates.per_day_m2, rates.contact_per_day, rates.background_per_day)
    infected = hidden_among(
        kernel, touch, [0.0] * n, numbers, [1.0] * n, [1.0] * n, [1.0] * days, looks, shown,
        round(settings.infection.infectious_after_days), until, certain, 12,
    )  # fmt: skip
    return np.array(infected)


def test_slow_version_agrees():
    plants = inventory_at((0, 0), (0.9, 0), (4, 0), (4, 5), (15, 0), (0, 12))
    settings = settings_with()
    as_of = np.datetime64("2025-11-10")
    rows = [FOUND, ("p1", "2025-08-01", "clean", "visual"), ("p1", "2025-10-10", "clean", "visual"),
            ("p2", "2025-10-15", "clean", "lab"), ("p4", "2025-07-20", "clean", "visual"),
            ("p4", "2025-11-01", "infected", "typical_symptoms")]  # fmt: skip
    hidden = hidden_in(plants, rows, as_of, STRONG, settings, work=work_of(("p0", "2025-09-20", "yes", "NaT")))
    start = hidden.step_from[0]
    days = int((as_of - start) / np.timedelta64(1, "D"))

    def at(text):
        return int((np.datetime64(text) - start) / np.timedelta64(1, "D"))

    seen = (1.0, 0.0, 0.0)
    looks = [
        [(at("2025-09-01"), *seen)],
        [(at("2025-08-01"), 0.45, 1.0, 1.0), (at("2025-10-10"), 0.45, 1.0, 1.0)],
        [(at("2025-10-15"), 0.05, 0.4, 1.0)],
        [],
        [(at("2025-07-20"), 0.45, 1.0, 1.0), (at("2025-11-01"), *seen)],
        [],
    ]
    until = [at("2025-09-20"), days, days, days, days, days]
    slow = day_by_day(plants, settings, STRONG, looks, until, [True, False, False, False, True, False], days)
    green = [1, 2, 3, 5]
    assert hidden.infected[green] == pytest.approx(slow[green].sum(axis=1), rel=0.01)
    ready = slow[:, : days - 14].sum(axis=1)
    assert hidden.infectious[green] == pytest.approx(ready[green], rel=0.015)
    age = (slow * (days - 0.5 - np.arange(days))).sum(axis=1) / slow.sum(axis=1)
    assert hidden.days_infected == pytest.approx(age, abs=3.5)  # half a step


def test_wild_stands_press_and_no_plants_are_no_fault():
    wild = Sources(easting=[3.0], northing=[0.0], strength=[5.0], plant=[-1])
    settings = settings_with()
    hidden = hidden_in(line_of(2, 30.0), [], "2025-11-10", rates_of(per_day_m2=0.05), settings, wild=wild)
    assert hidden.infected[0] > 10 * hidden.infected[1] > 0
    nobody = hidden_in(
        inventory_at(), [], "2025-11-10", rates_of(per_day_m2=0.05), settings, wild=NOWHERE, system=ALWAYS
    )
    assert len(nobody) == 0
    assert nobody.expected_infected == 0.0
