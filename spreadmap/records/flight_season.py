"""Monthly weights of flight from daily temperatures, in place of those that a pest system's file dates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spreadmap.biology.development import growth_per_degree_day
from spreadmap.biology.heat import HeatRule, sum_heat
from spreadmap.biology.mite_season import ASSUMPTIONS, MONTHS, MiteSeason, monthly_flight_weights, season_course
from spreadmap.values.course import Course, Stated, StatedDay
from spreadmap.values.pest_system import PestSystem, celsius, celsius_days
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import DailyTemperature

MODELLED = "modelled"
TRIED_LOSSES = (0.5, 2.0)
"""Multiples of the loss with which the course is told once more: nobody has measured it, and it moves the peak."""


def flight_season(
    system: PestSystem, record: DailyTemperature | None, latitude_deg: float, settings: Settings
) -> tuple[PestSystem, tuple[str, ...]]:
    """Return a pest system with the weights of flight that a run uses, and sentences on what they rest.

    Parameters
    ----------
    system : PestSystem
    record : DailyTemperature, optional
        Every calendar year that it covers whole makes one course; gaps up to `calendar.most_filled_days` are bridged.
    latitude_deg : float
    settings : Settings
        `sources.flight_season` says whether the weights are the file's or modelled.

    Returns
    -------
    PestSystem, tuple of str
        The system as it is, with a sentence why, where weights were to be modelled and cannot be.

    References
    ----------
    None: our choice. The formulas stand in `biology.mite_season`.
    """
    if settings.sources.flight_season != MODELLED or not system.is_mapped:
        return system, ()
    keeps = f"{system.common_name}: the season of flight was to be modelled and keeps the dated weights, for"
    course = system.course
    if course is None:
        return system, (f"{keeps} its file states no course of numbers ([course]).",)
    if latitude_deg < 0:
        return system, (f"{keeps} the days of its course are those of the north.",)
    if record is None or not len(record):
        return system, (f"{keeps} the project has no daily temperatures.",)
    rule = heat_rule(system, course)
    filled = settings.calendar.most_filled_days
    years = whole_years(record, rule, filled)
    if not years:
        return system, (f"{keeps} the daily temperatures cover no calendar year whole.",)
    tried = [weights_of(record, rule, mite_season(course, rule, times), years, latitude_deg, filled)
             for times in (1.0, *TRIED_LOSSES)]  # fmt: skip
    weights = tried[0]
    if weights is None:
        return system, (f"{keeps} no mite is active on any day of {year_words(years)}.",)
    chosen = replace(
        system,
        flight_weight=weights,
        flight_weight_status="computed",
        flight_weight_source=f"course of mite numbers by the daily temperatures of {year_words(years)}; "
        f"thresholds of {course.organism}",
    )
    return chosen, (
        f"{system.common_name}: the season of flight is modelled from the daily temperatures of {year_words(years)}. "
        f"Weight of each month, in brackets the dated one: {month_words(weights, system.flight_weight)}.",
        f"{system.common_name}: the modelled season is weak evidence. {rests_words(course)} {peak_words(tried)}",
        f"Assumed for the modelled season: {' '.join(ASSUMPTIONS)}",
    )


def heat_rule(system: PestSystem, course: Course) -> HeatRule:
    """Return the thresholds that go with the growth, a day's warmth as a sine: the mean alone loses mild days."""
    source = next(each for each in system.development if each.organism == course.organism and each.lower_c is not None)
    return HeatRule(lower_c=source.lower_c or 0.0, upper_c=source.upper_c)


def mite_season(course: Course, rule: HeatRule, loss_times: float = 1.0) -> MiteSeason:
    """Return how the mite lives through the year in deg C, with a multiple of its losses."""

    def number(each: Stated | None, otherwise: float = 0.0) -> float:
        return otherwise if each is None else each.value

    def day(each: StatedDay | None) -> tuple[int, int] | None:
        return None if each is None else each.value

    start, light, rest = course.starts_at_degree_days, course.stops_below_daylight_h, course.rests_above
    warmth = celsius(course.at_temperature.value, course.unit)
    return MiteSeason(
        growth_per_degree_day=growth_per_degree_day(course.growth_per_day.value, warmth, rule),
        loss_per_day=course.loss_per_day.value * loss_times,
        overwintered_share=course.overwintered_share.value,
        starts_on=day(course.starts_on),
        starts_at_degree_days=None if start is None else celsius_days(start.value, course.unit),
        stops_on=day(course.stops_on),
        stops_below_daylight_h=None if light is None else light.value,
        rests_above_c=None if rest is None else celsius(rest.value, course.unit),
        rest_window_days=int(number(course.rest_window_days, 7)),
        resting_loss_per_day=number(course.resting_loss_per_day),
    )


def whole_years(record: DailyTemperature, rule: HeatRule, most_filled_days: int) -> tuple[int, ...]:
    """Return the calendar years of which no day is missing, short gaps bridged."""
    first, last = (
        int(day.astype("datetime64[Y]").astype(np.int64)) + 1970 for day in (record.day.min(), record.day.max())
    )
    return tuple(
        year
        for year in range(first, last + 1)
        if not sum_heat(record, rule, *ends_of(year), most_filled_days=most_filled_days).gaps
    )


def ends_of(year: int) -> tuple[np.datetime64, np.datetime64]:
    """Return the first and the last day of a year."""
    return np.datetime64(f"{year:04d}-01-01"), np.datetime64(f"{year:04d}-12-31")


def weights_of(
    record: DailyTemperature,
    rule: HeatRule,
    season: MiteSeason,
    years: tuple[int, ...],
    latitude_deg: float,
    most_filled_days: int,
) -> tuple[float, ...] | None:
    """Return the twelve weights over all years; None where no mite is active."""
    courses = [
        season_course(
            record, rule, season, *ends_of(year), latitude_deg=latitude_deg, most_filled_days=most_filled_days
        )
        for year in years
    ]
    if not any(course.is_active.any() for course in courses):
        return None
    return monthly_flight_weights(courses)


def year_words(years: tuple[int, ...]) -> str:
    """Return years as they are said."""
    return str(years[0]) if len(years) == 1 else f"{', '.join(map(str, years[:-1]))} and {years[-1]}"


def month_words(weights: tuple[float, ...], dated: tuple[float, ...]) -> str:
    """Return the weights of the months beside the dated ones."""
    return ", ".join(
        f"{month} {weight:.2f} ({old:.2f})" for month, weight, old in zip(MONTHS, weights, dated, strict=True)
    )


def rests_words(course: Course) -> str:
    """Return from what the course is reckoned, and what of it is assumed."""
    assumed = [key.replace("_", " ") for key, each in course.stated().items() if each.status == "assumed"]
    says = f"It is reckoned from the growth and the thresholds of {course.organism}."
    return f"{says} Assumed, not measured: {', '.join(assumed)}." if assumed else says


def peak_words(tried: list[tuple[float, ...] | None]) -> str:
    """Return the best month, and what it would be with other losses."""
    months = ["none" if each is None else MONTHS[int(np.argmax(each))] for each in tried]
    return f"Its best month is {months[0]}; with half the losses it would be {months[1]}, with twice {months[2]}."
