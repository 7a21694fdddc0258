"""The chance of being found that a calibrated forecast gave each plant, under the work and the inspections really done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from spreadmap.outbreak.looks import Looks
from spreadmap.outbreak.score import count_of_independent
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, no_dates
from spreadmap.values.score import Course, Forecast

SEED = 20_260_401
"""Of the numbers drawn for the members' found plants; the same every time."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chances:
    """Chance of being found of each of n plants, weights of the number of found plants, and members of that number."""

    found: FloatArray
    mass: FloatArray
    members: FloatArray
    says: str


def nearest_course(courses: tuple[Course, ...], removed: frozenset[str]) -> Course:
    """Return the course of action whose removals differ in fewest plants from those really done; the first if equal."""
    return min(courses, key=lambda course: len(removed.symmetric_difference(course.taken_out)))


def at_dates(values: FloatArray, on: DateArray, when: DateArray) -> FloatArray:
    """Return chances (d, n) on dates `on` (d,) at dates `when` (n, k), straight between, level beyond; shape (n, k)."""
    days, asked = on.astype(np.int64).astype(np.float64), when.astype(np.int64).astype(np.float64)
    result = np.empty(when.shape)
    right = np.clip(np.searchsorted(days, asked, side="left"), 0, len(days) - 1)
    left = np.maximum(right - 1, 0)
    plant = np.arange(when.shape[0])[:, None]
    step = np.where(right > left, days[right] - days[left], 1.0)
    share = np.clip((asked - days[left]) / step, 0.0, 1.0)
    share = np.where(right == left, 1.0, share)
    result[:] = (1.0 - share) * values[left, plant] + share * values[right, plant]
    return result


def chance_found(
    showing: FloatArray, infected: FloatArray, is_test: BoolArray, is_pass: BoolArray, course: Course
) -> FloatArray:
    """Return the chance that at least one pass finds a plant, shape (n,) [-].

    Parameters
    ----------
    showing, infected : arrays, shape (n, k)
        Chances at the date of each pass, in the order of dates.
    is_test, is_pass : arrays, shape (n, k)
        Whether a pass was a test; whether there was one at all.
    course : Course
        Holds the sensitivities.

    Notes
    -----
    A plant that begins to show before pass j is missed by every pass from j on. Passes miss apart from each other,
    which makes the chance an upper limit: a plant missed once is easier to miss again.

    References
    ----------
    None: our choice; counting by the pass before which symptoms begin.
    """
    sees = course.sensitivity
    finds = np.where(is_pass, np.where(is_test, sees.test, sees.visual), 0.0)
    missed = np.cumprod((1.0 - finds)[:, ::-1], axis=1)[:, ::-1]
    rising = np.maximum.accumulate(showing, axis=1)
    begins = np.diff(rising, axis=1, prepend=0.0)
    quiet = np.maximum(infected[:, -1] - rising[:, -1], 0.0)
    tests = (is_test & is_pass).sum(axis=1)
    by_symptoms = (begins * (1.0 - missed)).sum(axis=1)
    by_test = quiet * (1.0 - (1.0 - sees.test_symptomless) ** tests)
    return np.asarray(np.clip(by_symptoms + by_test, 0.0, 1.0))


def chances_of(
    forecast: Forecast,
    rows: IntArray,
    plants: IntArray,
    looks: Looks,
    within: BoolArray,
    removed: frozenset[str],
    last: np.datetime64,
) -> Chances | None:
    """Return the chances that a forecast gave the plants of its `rows`; None in relative mode.

    Parameters
    ----------
    forecast : Forecast
    rows, plants : arrays, shape (n,)
        Places in the forecast and in the inventory.
    looks, within : inspections, and which of them are the ones after the forecast
    removed : keys of the plants of the removal list that were taken out meanwhile
    last : `datetime64[D]`
    """
    if not forecast.courses:
        return None
    course = nearest_course(forecast.courses, removed)
    dates, is_test, is_pass = passes_of(plants, looks, within, last)
    mine = course.only(rows)
    chance = chance_found(
        at_dates(mine.showing, mine.on, dates), at_dates(mine.infected, mine.on, dates), is_test, is_pass, course
    )
    mass, members = count_masses(chance, course, last)
    differ = len(removed.symmetric_difference(course.taken_out))
    return Chances(
        found=chance,
        mass=mass,
        members=members,
        says=f"Scored under the course of action nearest to the work done: {course.condition}; it differs in "
        f"{differ} {'plant' if differ == 1 else 'plants'}.",
    )


def passes_of(
    plants: IntArray, looks: Looks, within: BoolArray, last: np.datetime64
) -> tuple[DateArray, BoolArray, BoolArray]:
    """Return dates, tests and existence of the passes over each plant, each (n, most passes), in the order of dates.

    A test of a plant that a look had found, on the same day or later, is no pass of its own: it was made because the
    plant was found, and counting it would let the outcome speak for the forecast.
    """
    seen = no_dates(int(looks.plant.max(initial=-1)) + 1)
    for look in np.flatnonzero(within & looks.is_seen & ~looks.is_by_test)[::-1]:
        seen[looks.plant[look]] = looks.on[look]
    within = within & ~(looks.is_by_test & (looks.on >= seen[looks.plant]))
    row_of = {int(plant): row for row, plant in enumerate(plants)}
    mine: list[list[int]] = [[] for _ in row_of]
    for look in np.flatnonzero(within):
        row = row_of.get(int(looks.plant[look]))
        if row is not None:
            mine[row].append(int(look))
    most = max((len(each) for each in mine), default=0) or 1
    dates = np.full((len(plants), most), last, dtype="datetime64[D]")
    is_test, is_pass = np.zeros((2, len(plants), most), dtype=np.bool_)
    for row, each in enumerate(mine):
        dates[row, : len(each)], is_test[row, : len(each)] = looks.on[each], looks.is_by_test[each]
        dates[row, len(each) :] = looks.on[each[-1]] if each else last
        is_pass[row, : len(each)] = True
    return dates, is_test, is_pass


def count_masses(chance: FloatArray, course: Course, last: np.datetime64) -> tuple[FloatArray, FloatArray]:
    """Return the weights of the number of found plants, and one drawn number per member.

    Members foresee how many plants show symptoms. The plants inspected hold the same share of them in every member, so
    that a number found is binomial in each; without members every plant is found by itself.
    """
    at = int(np.argmin(np.abs((course.on - last).astype(np.int64))))
    showing = np.rint(course.members_showing[at]).astype(np.int64)
    if not len(showing) or showing.sum() == 0:
        return count_of_independent(chance), np.zeros(0)
    share = min(1.0, float(chance.sum() / showing.mean()))
    numbers = np.arange(showing.max() + 1)
    mass = binom.pmf(numbers[None, :], showing[:, None], share).mean(axis=0)
    drawn = np.random.default_rng(SEED).binomial(showing, share)
    return mass / mass.sum(), drawn.astype(np.float64)
