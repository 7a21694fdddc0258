"""In which order to take plants out: what each is worth per minute, once those before it are gone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from scipy.sparse import csr_array

from spreadmap.errors import SettingsError
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray

SLACK = 1e-9
"""Relative slack of minutes and rates, for rounding [-]."""
LARGEST_DOSE = 30.0
"""Larger doses are cut: a plant escapes one of 30 once in 1e13 times [-]."""
STALE = 5e-3
"""A place is reckoned anew when what its plants are worth has moved by this share of its best run [-]: our choice."""
MANY_JOBS, TRIED_JOBS, PAIRS_UP_TO, ROUNDS = 25, 40, 12, 5
"""A week of more jobs wastes little and is left as it is; how many jobs are tried as the beginning of one, up to how
many in pairs, and how often it is mended."""
MOST_DENSE = 20_000
"""Places of fewer pairs than this, gaps included, are tables without gaps, which are read faster [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contributions:
    """What n jobs send to m receivers, row by row: job j sends `dose` to `receiver`, from `start[j]` to `start[j + 1]`.

    A receiver under doses that sum to D escapes with exp(-D). `healthy` (m,) is how many healthy plants it stands for
    [plants], `elsewhere` (m,) the dose from what is no job [-]. `far` (n,) is what a job does besides, to first order
    [infections]. `loss` (n,) is what taking it out costs [infections]: jobs with a loss above zero may be left out.
    """

    start: IntArray
    receiver: IntArray
    dose: FloatArray
    healthy: FloatArray
    elsewhere: FloatArray
    far: FloatArray
    loss: FloatArray

    def __len__(self) -> int:
        """Return the number of jobs."""
        return len(self.far)

    def row_sums(self, values: FloatArray) -> FloatArray:
        """Return the sum of values (pairs,) over each job's pairs, shape (n,)."""
        job = np.repeat(np.arange(len(self)), np.diff(self.start))
        return np.bincount(job, weights=values, minlength=len(self)).astype(np.float64)

    def dose_on_receivers(self) -> FloatArray:
        """Return the dose of all jobs and of what is no job on every receiver, shape (m,)."""
        sums = np.bincount(self.receiver, weights=np.minimum(self.dose, LARGEST_DOSE), minlength=len(self.healthy))
        return np.asarray(self.elsewhere + sums)

    def only(self, jobs: IntArray) -> Contributions:
        """Return some of the jobs, and the receivers they reach; the others go on sending."""
        chosen = np.zeros(len(self), dtype=np.bool_)
        chosen[jobs] = True
        mine = np.repeat(chosen, np.diff(self.start))
        others = np.bincount(
            self.receiver[~mine], weights=np.minimum(self.dose[~mine], LARGEST_DOSE), minlength=len(self.healthy)
        )
        count = np.diff(self.start)[jobs]
        first = self.start[jobs]
        pairs = np.arange(count.sum()) + np.repeat(first - np.cumsum(count) + count, count)
        reached, receiver = np.unique(self.receiver[pairs], return_inverse=True)
        return Contributions(
            start=np.concatenate([[0], np.cumsum(count)]), receiver=receiver, dose=self.dose[pairs],
            healthy=self.healthy[reached], elsewhere=(self.elsewhere + others)[reached], far=self.far[jobs],
            loss=self.loss[jobs],
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Order:
    """Jobs in the order of work, all columns of one length.

    `job` is the position among the jobs, `added` the set-up it adds [person-minutes], `gain` the infections it avoids
    once those before it are gone, `week` the week in which it is done (1 is the first, 0: never).
    """

    job: IntArray
    added: FloatArray
    gain: FloatArray
    week: IntArray


def pick_order(
    worth: Contributions,
    minutes: FloatArray,
    set_up: FloatArray,
    place: IntArray,
    *,
    week_minutes: float | Sequence[float] = np.inf,
    ready: IntArray | None = None,
    pack: bool = True,
    weeks: int | None = None,
) -> Order:
    """Return the order of jobs by infections avoided per minute, reckoned anew after each pick.

    A place is set up once a week. It is opened with the run of its plants that is worth most per minute, set-up
    included; sources that share receivers are worth more together than one by one, and a run counts that. What does
    not fit into what is left of a week waits for the next, and something that fits goes before it.

    Parameters
    ----------
    worth : Contributions, n jobs
    minutes, set_up : arrays, shape (n,)
        Of each job, above zero; and of opening its place, zero or more. [person-minutes]
    place : array, shape (n,)
        Number of each job's place.
    week_minutes : float or sequence of floats
        Person-minutes of a week, or of the first weeks, the last of which goes on. Infinite: one week without end.
    ready : array, shape (n,), optional
        The first week in which a job can be done, 1 or more.
    pack : bool
        Try other beginnings for the first week, and keep the best: a knapsack is seldom filled best by taking the best
        thing first.
    weeks : int, optional
        After so many weeks, what is left is left out.

    Returns
    -------
    Order
        Every job without a loss, and those with one that are worth it.

    Raises
    ------
    SettingsError
        If minutes are not above zero, or there are hours in no week.

    Notes
    -----
    Taking out set S avoids sum_i h_i (exp(-D_i(S)) - exp(-D_i)), with D_i(S) the dose that is left. What one job avoids
    never falls when others go, so the best run of a place can only rise: places whose receivers lost a source are
    reckoned again. Bound by test_order.py, against the best of all orders.

    References
    ----------
    None: our choice.
    """
    _check(minutes, set_up)
    first = np.ones(len(worth), dtype=np.int64) if ready is None else np.asarray(ready, dtype=np.int64)
    tables = _Tables(worth, minutes, set_up, place, first)
    later = _weeks(week_minutes)
    room = next(later)
    kept = _first_week(worth, minutes, set_up, place, first, tables, room, later) if pack and np.isfinite(room) else []
    search = _Search(tables)
    for number, minutes_left in enumerate(_weeks(week_minutes), start=1):
        if not search.work(number, minutes_left, kept if number == 1 else ()) or number == weeks:
            break
    return search.told()


def gains_in_order(worth: Contributions, jobs: IntArray) -> FloatArray:
    """Return the infections that each of some jobs avoids, taken one after another, shape of `jobs`."""
    dose, gains = worth.dose_on_receivers(), np.zeros(len(jobs))
    for turn, job in enumerate(jobs.tolist()):
        pairs = slice(int(worth.start[job]), int(worth.start[job + 1]))
        receiver, sent = worth.receiver[pairs], np.minimum(worth.dose[pairs], LARGEST_DOSE)
        gains[turn] = worth.far[job] + float((worth.healthy[receiver] * np.exp(-dose[receiver]) * np.expm1(sent)).sum())
        dose[receiver] = np.maximum(dose[receiver] - sent, worth.elsewhere[receiver])
    return gains


def _first_week(
    worth: Contributions, minutes: FloatArray, set_up: FloatArray, place: IntArray, ready: IntArray, tables: _Tables,
    room: float, later: Iterator[float],
) -> list[int]:  # fmt: skip
    """Return the jobs of the first week in the order in which they are picked, if that beats picking the best first.

    Only the jobs that would be picked first are tried. Each of them is put first in turn, pairs of them where they are
    few; then each job of the best week, and each place of it, is left out in turn. The rest is filled up as usual.
    """
    greedy = _Search(tables)
    more = greedy.work(1, room)
    if not more or len(greedy.picked) > MANY_JOBS:
        return []
    for number, each in enumerate(later, start=2):
        if len(greedy.picked) >= TRIED_JOBS or not greedy.work(number, each):
            break
    some = np.sort(np.array([job for job, *_ in greedy.picked[:TRIED_JOBS]], dtype=np.int64))
    if not len(some):
        return []
    part = _Tables(worth.only(some), minutes[some], set_up[some], place[some], ready[some])
    nobody = np.zeros(len(some), dtype=np.bool_)

    def filled(forced: Sequence[int], barred: BoolArray) -> tuple[float, list[int]]:
        chosen = list(forced)
        needs = part.minutes[chosen].sum() + part.opening[np.unique(part.place_of[chosen])].sum()
        if needs > room * (1 + SLACK) or (ready[some[chosen]] > 1).any():
            return -np.inf, []
        search = _Search(part, barred)
        search.work(1, room, chosen or None)
        value = sum(gain - float(part.worth.loss[job]) for job, _, gain, week in search.picked if week == 1)
        return value, [job for job, _, _, week in search.picked if week == 1]

    first = filled((), nobody)
    sets: list[tuple[int, ...]] = [(job,) for job in range(len(some))]
    if len(some) <= PAIRS_UP_TO:
        sets += list(combinations(range(len(some)), 2))
    best = max([first, *(filled(each, nobody) for each in sets)], key=lambda each: each[0])
    for _ in range(ROUNDS):
        tries = []
        for job in best[1]:
            for out in (np.arange(len(some)) == job, part.place_of == part.place_of[job]):
                tries += [filled((), out), filled([each for each in best[1] if not out[each]], out)]
        better = max(tries, key=lambda each: each[0], default=best)
        if better[0] <= best[0] * (1 + SLACK):
            break
        best = better
    return some[best[1]].tolist() if best[0] > first[0] * (1 + SLACK) else []


def _check(minutes: FloatArray, set_up: FloatArray) -> None:
    """Refuse times that are no times."""
    if not (np.isfinite(minutes).all() and (np.asarray(minutes) > 0).all()):
        worst = float(np.min(np.nan_to_num(minutes, nan=-1.0)))
        msg = (
            f"person-minutes of a removal: {worst:g}; allowed: more than zero. Correct settings.removal.person_minutes."
        )
        raise SettingsError(msg)
    if not (np.isfinite(set_up).all() and (np.asarray(set_up) >= 0).all()):
        msg = (
            f"set-up minutes of a place: {float(np.min(set_up)):g}; allowed: zero or more. Correct "
            "settings.removal.set_up_minutes_bed, set_up_minutes_traffic and travel_minutes."
        )
        raise SettingsError(msg)


def _weeks(week_minutes: float | Sequence[float]) -> Iterator[float]:
    """Yield the minutes of week after week, the last ones for ever."""
    given = [float(each) for each in np.atleast_1d(week_minutes)]
    if not given or not given[-1] > 0 or min(given) < 0:
        msg = (
            f"crew minutes by week: {given}; allowed: zero or more, more than zero in the last. Correct "
            "settings.removal.crew_hours_per_week."
        )
        raise SettingsError(msg)
    yield from given
    while True:
        yield given[-1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Place:
    """One place: its jobs, and their pairs with receivers of its own numbering; a table without gaps where it is small."""

    jobs: IntArray
    receivers: IntArray
    dose: Any
    grown: Any
    minutes: FloatArray
    optional: BoolArray
    set_up: float


@dataclass(slots=True, eq=False)
class _Run:
    """The best run of a place: its jobs, infections and minutes up to each of them.

    `is_stale`: reckon it anew when a week begins, for less room or fewer jobs were open to it than will be then.
    """

    jobs: list[int] = field(default_factory=list)
    gains: list[float] = field(default_factory=list)
    needs: list[float] = field(default_factory=list)
    is_stale: bool = True


class _Tables:
    """What does not change while jobs are picked: pairs by job and by receiver, and the places."""

    def __init__(
        self, worth: Contributions, minutes: FloatArray, set_up: FloatArray, place: IntArray, ready: IntArray
    ) -> None:
        self.worth, self.ready = worth, ready
        self.minutes, self.set_up = np.asarray(minutes, dtype=np.float64), np.asarray(set_up, dtype=np.float64)
        cut = np.minimum(worth.dose, LARGEST_DOSE)
        shape = (len(worth), len(worth.healthy))
        self.rows = csr_array((cut, worth.receiver, worth.start), shape=shape)
        self.columns = csr_array((np.expm1(cut), worth.receiver, worth.start), shape=shape).tocsc()
        self.optional = worth.loss > 0
        self.fixed = worth.far - worth.loss
        # Places are numbered by their first jobs, so that of two equal ones the first in the inventory is taken.
        _, begins, number = np.unique(np.asarray(place), return_index=True, return_inverse=True)
        self.place_of = np.argsort(np.argsort(begins, kind="stable"), kind="stable")[number]
        order = np.argsort(self.place_of, kind="stable")
        edges = np.searchsorted(self.place_of[order], np.arange(len(begins) + 1))
        self.places = [self._made(order[low:high]) for low, high in pairwise(edges.tolist())]
        self.opening = np.array([each.set_up for each in self.places], dtype=np.float64)
        self.dose = worth.dose_on_receivers()
        self.weight = worth.healthy * np.exp(-self.dose)
        self.gain = np.asarray(csr_array((np.expm1(cut), worth.receiver, worth.start), shape=shape) @ self.weight)
        self.gain += self.fixed

    def _made(self, jobs: IntArray) -> _Place:
        """Return one place with its own pairs."""
        part = self.rows[jobs]
        receivers, columns = np.unique(part.indices, return_inverse=True)
        shape = (len(jobs), len(receivers))
        dose = csr_array((part.data, columns, part.indptr), shape=shape)
        grown = csr_array((np.expm1(part.data), columns, part.indptr), shape=shape)
        small = shape[0] * shape[1] <= MOST_DENSE
        return _Place(
            jobs=jobs, receivers=receivers, dose=dose.toarray() if small else dose,
            grown=grown.toarray() if small else grown, minutes=self.minutes[jobs], optional=self.optional[jobs],
            set_up=float(self.set_up[jobs[0]]),
        )  # fmt: skip


class _Search:
    """The state of the search: doses that are left, places with their best runs, what was picked."""

    def __init__(self, tables: _Tables, barred: BoolArray | None = None) -> None:
        self._tables = tables
        self._dose, self._weight, self._gain = tables.dose.copy(), tables.weight.copy(), tables.gain.copy()
        count = len(tables.places)
        self._left = np.ones(len(tables.gain), dtype=np.bool_) if barred is None else ~barred
        self._runs = [_Run() for _ in range(count)]
        self._open = np.zeros(count, dtype=np.bool_)
        self._rate, self._moved, self._worth_of_run = np.full(count, -np.inf), np.zeros(count), np.zeros(count)
        self._shortest = np.array(
            [place.minutes[self._left[place.jobs]].min(initial=np.inf) for place in tables.places], dtype=np.float64
        )
        self._week, self._room = 1, np.inf
        self.picked: list[tuple[int, float, float, int]] = []

    def work(self, week: int, room: float, forced: Sequence[int] | None = ()) -> bool:
        """Fill one week, some jobs first; return whether anything is left to do in a later one.

        Without a list of jobs, not even an empty one, no job is begun that takes longer than the week.
        """
        if week <= self._week and week > 1:
            return True  # a long job runs on through this week
        self._week, self._room = week, room
        stale = [number for number, run in enumerate(self._runs) if run.is_stale or self._open[number]]
        self._open[:] = False
        for number in stale:
            self._reckon(number)
        for job in forced or ():
            self._force(job)
        if self._fill() == 0 and not forced and forced is not None and room > 0:
            self._begin_long(room)
        return bool(np.any(self._left & (~self._tables.optional | (self._gain > 0))))

    def _fill(self) -> int:
        """Pick run after run while one fits into the week; return how many."""
        picked = 0
        while len(self._rate):
            # A place whose shortest job does not fit keeps the run it has for the next week.
            holds = self._shortest + np.where(self._open, 0.0, self._tables.opening) <= self._room * (1 + SLACK)
            rate = np.where(holds, self._rate, -np.inf)
            number = int(np.argmax(rate))
            if not rate[number] > -np.inf:
                break
            if self._moved[number] > 0 or self._runs[number].needs[-1] > self._room * (1 + SLACK):
                self._reckon(number)
                continue
            self._pick(number)
            picked += 1
        return picked

    def _force(self, job: int) -> None:
        """Pick one job whatever it is worth."""
        number = int(self._tables.place_of[job])
        place = self._tables.places[number]
        start = 0.0 if self._open[number] else place.set_up
        at = int(np.searchsorted(place.jobs, job))
        self._runs[number] = _Run(
            jobs=[at], gains=[float(self._gain[job])], needs=[start + float(place.minutes[at])], is_stale=True
        )
        self._pick(number)

    def _begin_long(self, room: float) -> None:
        """Take the best job that no week holds, if there is one: it is done when the weeks it needs are over."""
        self._room = np.inf
        for number in range(len(self._runs)):
            self._reckon(number)
        if np.isfinite(self._rate).any():
            number = int(np.argmax(self._rate))
            run = self._runs[number]
            del run.jobs[1:], run.gains[1:], run.needs[1:]
            self._week += max(int(np.ceil(run.needs[0] / room - SLACK)) - 1, 0)
            self._pick(number)
        for each in self._runs:
            each.is_stale = True

    def _reckon(self, number: int) -> None:
        """Find the best run of a place: jobs picked one after another for as long as its worth per minute rises."""
        place, room = self._tables.places[number], self._room * (1 + SLACK)
        run = self._runs[number] = _Run(is_stale=False)
        self._rate[number], self._moved[number], self._worth_of_run[number] = -np.inf, 0.0, 0.0
        left = self._left[place.jobs]
        if not left.any():
            return
        able = left & (self._tables.ready[place.jobs] <= self._week)
        run.is_stale = bool((left & ~able).any())
        gain, total, best = self._gain[place.jobs], 0.0, -np.inf
        spent = 0.0 if self._open[number] else place.set_up
        dose: FloatArray | None = None
        while able.any():
            fits = able & (spent + place.minutes <= room)
            run.is_stale = run.is_stale or bool((able & ~fits).any())
            rate = np.where(fits & (~place.optional | (gain > 0)), gain / place.minutes, -np.inf)
            job = int(np.argmax(rate))
            if not rate[job] > -np.inf:
                break
            total, spent = total + float(gain[job]), spent + float(place.minutes[job])
            if total / spent <= best * (1 + SLACK):
                break
            best = total / spent
            run.jobs.append(job)
            run.gains.append(total)
            run.needs.append(spent)
            able[job] = False
            if not able.any():
                break
            dose = self._dose[place.receivers] if dose is None else dose
            if isinstance(place.dose, np.ndarray):
                dose = dose - place.dose[job]
            else:
                low, high = place.dose.indptr[job], place.dose.indptr[job + 1]
                dose[place.dose.indices[low:high]] -= place.dose.data[low:high]
            weight = self._tables.worth.healthy[place.receivers] * np.exp(-dose)
            gain = np.asarray(place.grown @ weight) + self._tables.fixed[place.jobs]
        self._rate[number], self._worth_of_run[number] = best, run.gains[-1] if run.gains else 0.0

    def _pick(self, number: int) -> None:
        """Take the jobs of a place's run out, and reckon again what they change."""
        place, run, before = self._tables.places[number], self._runs[number], 0.0
        jobs = place.jobs[run.jobs]
        for turn, job in enumerate(jobs.tolist()):
            added = place.set_up if turn == 0 and not self._open[number] else 0.0
            avoided = run.gains[turn] - before + float(self._tables.worth.loss[job])
            self.picked.append((job, added, avoided, self._week))
            before = run.gains[turn]
        self._left[jobs] = False
        self._shortest[number] = place.minutes[self._left[place.jobs]].min(initial=np.inf)
        self._room -= run.needs[-1]
        self._open[number] = True
        self._take_off(jobs)
        self._moved[number] = np.inf
        for each in np.flatnonzero(self._moved > STALE * self._worth_of_run).tolist():
            self._reckon(each)

    def _take_off(self, jobs: IntArray) -> None:
        """Take the doses of some jobs off their receivers; note what all others are worth now, and how much that moved."""
        rows, table, worth = self._tables.rows, self._tables.columns, self._tables.worth
        parts = [slice(rows.indptr[job], rows.indptr[job + 1]) for job in jobs.tolist()]
        receivers = np.concatenate([rows.indices[part] for part in parts])
        np.subtract.at(self._dose, receivers, np.concatenate([rows.data[part] for part in parts]))
        touched = np.unique(receivers)
        self._dose[touched] = np.maximum(self._dose[touched], worth.elsewhere[touched])
        fresh = worth.healthy[touched] * np.exp(-self._dose[touched])
        more = fresh - self._weight[touched]
        self._weight[touched] = fresh
        first, count = table.indptr[touched], table.indptr[touched + 1] - table.indptr[touched]
        where = np.arange(count.sum()) + np.repeat(first - np.cumsum(count) + count, count)
        moved = np.bincount(
            table.indices[where], weights=table.data[where] * np.repeat(more, count), minlength=len(worth)
        )
        self._gain += moved
        moved[~self._left] = 0.0
        self._moved += np.bincount(self._tables.place_of, weights=moved, minlength=len(self._moved))

    def told(self) -> Order:
        """Return what was picked."""
        columns = list(zip(*self.picked, strict=True)) if self.picked else [()] * 4
        return Order(
            job=np.array(columns[0], dtype=np.int64),
            added=np.array(columns[1], dtype=np.float64),
            gain=np.array(columns[2], dtype=np.float64),
            week=np.array(columns[3], dtype=np.int64),
        )
