"""The weights of flight by temperature, in place of the dated ones where a project asks for them and they can be had.

Expected numbers: by hand, or from the loop of `slow_weights`, which steps through each day in a thousand parts.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from generator import make_project

from spreadmap.engine import Engine
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.pipeline import analyse
from spreadmap.records.flight_season import flight_season, heat_rule, mite_season, whole_years
from spreadmap.values.course import Stated, StatedDay
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import DailyTemperature

SYSTEMS = {system.key: system for system in read_pest_systems()}
ROSE = SYSTEMS["rose_rosette"]
DATED = Settings()
MODELLED = replace(DATED, sources=replace(DATED.sources, flight_season="modelled"))


def stated(value):
    return Stated(value=value, status="assumed", source="made for a test")


def record_of(first="2025-01-01", last="2025-12-31", mean=17.5, swing=10.0, range_c=12.0, without=()):
    days = np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")
    days = days[~np.isin(days, np.array(without, dtype="datetime64[D]"))]
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(float)
    warmth = mean - swing * np.cos(2 * np.pi * (of_year - 18) / 365)
    return DailyTemperature(day=days, minimum_c=warmth - range_c / 2, maximum_c=warmth + range_c / 2)


def with_course(**changes):
    return replace(ROSE, course=replace(ROSE.course, **changes))


def slow_weights(record, growth_per_degree_day, threshold, loss, share, first, last):
    """Step through a year of steady days, and average each month."""
    months = [[] for _ in range(12)]
    now = share
    for day, warmth in zip(record.day.tolist(), (record.minimum_c + record.maximum_c) / 2, strict=True):
        flies = first <= (day.month, day.day) <= last
        months[day.month - 1].append(now if flies else 0.0)
        growth = growth_per_degree_day * max(warmth - threshold, 0.0)
        for _ in range(1000 if flies else 0):
            now += (growth * now * (1 - now) - loss * now) / 1000
    mean = [sum(month) / len(month) for month in months]
    return [value / max(mean) for value in mean]


def test_dated_weights_are_the_default_and_nothing_is_said():
    assert DATED.sources.flight_season == "dated"
    for system in SYSTEMS.values():
        assert flight_season(system, record_of(), 33.0, DATED) == (system, ())


def test_modelled_weights_are_those_of_a_slow_loop():
    record = record_of(range_c=0.0)
    found, _ = flight_season(ROSE, record, 33.0, MODELLED)
    # 0.253 a day at 25 C above 10.5 C: Haque and Kawai 2003, abstract [read]; loss and share as the file assumes them
    expected = slow_weights(record, 0.253 / 14.5, 10.5, 0.05, 0.001, (4, 1), (12, 31))
    assert found.flight_weight == pytest.approx(expected, abs=2e-3)
    assert found.flight_weight_status == "computed"
    assert "2025" in found.flight_weight_source
    assert replace(found, flight_weight=ROSE.flight_weight, flight_weight_status=ROSE.flight_weight_status,
                   flight_weight_source=ROSE.flight_weight_source) == ROSE  # fmt: skip


def test_a_warm_temperate_year_peaks_when_counts_did():
    # densest in July and August, active April to December, central Georgia: Monterrosa et al. 2022, abstract [read].
    # The figures of the course were not fitted to it.
    weights = flight_season(ROSE, record_of(), 33.0, MODELLED)[0].flight_weight
    assert sorted(np.argsort(weights)[-2:].tolist()) == [6, 7]
    assert weights[:3] == (0.0, 0.0, 0.0)
    assert min(weights[3:]) > 0
    assert np.all(np.diff(weights[7:]) < 0)


def test_what_is_said_names_the_weights_the_doubts_and_what_is_assumed():
    _, says = flight_season(ROSE, record_of(), 33.0, MODELLED)
    assert "July 1.00 (1.00)" in says[0]
    assert "April 0.00 (0.30)" in says[0]
    assert "weak evidence" in says[1]
    assert "another mite of the family" in says[1]
    assert "Assumed, not measured: loss per day, overwintered share, starts on, stops on." in says[1]
    assert "Its best month is July; with half the losses it would be July, with twice August." in says[1]
    assert "Mites are as warm as the air" in says[2]


def test_a_colder_place_peaks_later_and_flies_less_early():
    warm, cold = (flight_season(ROSE, record_of(mean=mean), 40.0, MODELLED)[0].flight_weight for mean in (17.5, 12.0))
    assert np.argmax(cold) > np.argmax(warm)
    assert cold[5] < warm[5]


def test_a_year_that_is_not_whole_makes_no_course():
    rule = heat_rule(ROSE, ROSE.course)
    both = record_of("2024-01-01", "2025-09-14")
    assert whole_years(both, rule, 3) == (2024,)
    assert whole_years(record_of("2023-12-01", "2026-01-31"), rule, 3) == (2024, 2025)
    gap = [f"2025-06-{day:02d}" for day in range(10, 14)]
    assert whole_years(record_of(without=gap), rule, 3) == ()
    assert whole_years(record_of(without=gap), rule, 4) == (2025,)


def test_the_mean_over_two_years_lies_between_them():
    warm, cold = record_of("2024-01-01", "2024-12-31", mean=18.0), record_of(mean=13.0)
    both = DailyTemperature(
        day=np.r_[warm.day, cold.day],
        minimum_c=np.r_[warm.minimum_c, cold.minimum_c],
        maximum_c=np.r_[warm.maximum_c, cold.maximum_c],
    )
    june = [flight_season(ROSE, record, 33.0, MODELLED)[0].flight_weight[5] for record in (cold, both, warm)]
    assert june[0] < june[1] < june[2]
    assert "2024 and 2025" in flight_season(ROSE, both, 33.0, MODELLED)[1][0]


@pytest.mark.parametrize(
    ("system", "record", "latitude", "why"),
    [
        (ROSE, None, 33.0, "the project has no daily temperatures"),
        (ROSE, record_of(last="2025-09-14"), 33.0, "cover no calendar year whole"),
        (ROSE, record_of(), -33.0, "the days of its course are those of the north"),
        (replace(ROSE, course=None), record_of(), 33.0, r"its file states no course of numbers \(\[course\]\)"),
        (with_course(starts_on=None, starts_at_degree_days=stated(3000.0)), record_of(mean=5.0), 33.0,
         "no mite is active on any day of 2025"),
    ],
)  # fmt: skip
def test_where_it_cannot_be_had_the_dated_weights_stay_and_it_is_said(system, record, latitude, why):
    found, says = flight_season(system, record, latitude, MODELLED)
    assert found is system
    assert len(says) == 1
    assert says[0].startswith("rose rosette: the season of flight was to be modelled and keeps the dated weights, for")
    assert re.search(why, says[0])


def test_systems_without_a_map_are_left_alone():
    maple = replace(SYSTEMS["maple_bladder_gall"], course=ROSE.course, development=ROSE.development)
    assert flight_season(maple, record_of(), 33.0, MODELLED) == (maple, ())


def test_fahrenheit_is_the_same_warmth():
    # by hand: 25 C = 77 F, 100 degree-days C = 180 F, rest above 20 C = 68 F
    in_c = with_course(
        starts_on=None, starts_at_degree_days=stated(100.0), rests_above=stated(20.0), resting_loss_per_day=stated(0.01)
    )
    in_f = with_course(
        unit="F",
        at_temperature=stated(77.0),
        starts_on=None,
        starts_at_degree_days=stated(180.0),
        rests_above=stated(68.0),
        resting_loss_per_day=stated(0.01),
    )
    weights = [flight_season(each, record_of(), 33.0, MODELLED)[0].flight_weight for each in (in_c, in_f)]
    assert weights[0] == pytest.approx(weights[1])
    # rests in the heat: nobody flies in July
    assert weights[0][6] == 0
    assert weights[0][9] > 0


def test_every_figure_of_the_course_arrives():
    full = with_course(
        stops_on=StatedDay(value=(10, 31), status="assumed", source="made for a test"),
        stops_below_daylight_h=stated(11.0),
        rests_above=stated(28.0),
        rest_window_days=stated(5.0),
        resting_loss_per_day=stated(0.02),
    )
    rule = heat_rule(full, full.course)
    season = mite_season(full.course, rule, 2.0)
    assert rule.lower_c == 10.5
    assert season.growth_per_degree_day == pytest.approx(0.253 / 14.5)
    assert (season.loss_per_day, season.overwintered_share) == (0.1, 0.001)
    assert (season.starts_on, season.stops_on) == ((4, 1), (10, 31))
    assert (season.stops_below_daylight_h, season.rests_above_c, season.rest_window_days) == (11.0, 28.0, 5)
    assert season.resting_loss_per_day == 0.02


def test_a_run_takes_the_modelled_season_and_says_so():
    project = replace(make_project(plants=40, confirmed=3, seed=5), temperature=record_of())
    engine = Engine(workers=1)
    dated, modelled = (analyse(project, settings, engine) for settings in (DATED, MODELLED))
    assert not any("season of flight" in text for text in dated.remarks)
    assert any(
        "the season of flight is modelled from the daily temperatures of 2025" in text for text in modelled.remarks
    )
    weights = [
        next(each for each in result.inputs.pest_systems if each.is_mapped).flight_weight
        for result in (dated, modelled)
    ]
    assert weights[0] == ROSE.flight_weight != weights[1]
    assert modelled.systems[0].triage.system.flight_weight == weights[1]
