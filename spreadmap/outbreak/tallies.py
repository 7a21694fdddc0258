"""What the members of all draws came to, together: numbers of new cases, and chances of plants and places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spreadmap.outbreak.ensemble import Period
from spreadmap.outbreak.events import NEVER, Tally
from spreadmap.values.ahead import NewCases, PlaceAhead, PlantsAhead
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, TextArray, no_dates, to_date
from spreadmap.values.inventory import Inventory


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """Counts over all draws.

    `new` and `showing` are (courses, draws, members, checks); members in which each plant is infected and shows
    (kept, checks, n), and those in which it was infected at the start (checks, n); new cases by place (draws x
    members, places) by the survey and the horizon, and the day of the first.
    """

    new: IntArray
    showing: IntArray
    plant_infected: IntArray
    plant_showing: IntArray
    begun_infected: IntArray
    begun_showing: IntArray
    place_by_survey: np.ndarray
    place_by_horizon: np.ndarray
    place_first: np.ndarray

    @property
    def members(self) -> int:
        """Return the number of members of all draws together."""
        return int(self.new.shape[1] * self.new.shape[2])


class Adding:
    """Takes in the tallies of draws in their order, and keeps of each what is needed."""

    def __init__(self, survey: int) -> None:
        self._survey = survey
        self._new: list[IntArray] = []
        self._showing: list[IntArray] = []
        self._places: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        self._plants: list[IntArray] = []

    def take(self, tallies: Sequence[Tally]) -> None:
        """Add some draws."""
        for one in tallies:
            self._new.append(one.new)
            self._showing.append(one.showing)
            self._places.append(
                (
                    one.place_new[:, self._survey].astype(np.int32),
                    one.place_new[:, -1].astype(np.int32),
                    one.place_first,
                )
            )
            counts = (one.plant_infected, one.plant_showing, one.begun_infected, one.begun_showing)
            if not self._plants:
                self._plants = [np.zeros(each.shape, dtype=np.int64) for each in counts]
            for whole, each in zip(self._plants, counts, strict=True):
                whole += each

    def totals(self) -> Totals:
        """Return the counts of all draws taken in; the places among them are let go."""
        infected, showing, begun_infected, begun_showing = self._plants
        columns = [list(column) for column in zip(*self._places, strict=True)]
        self._places = []
        # One after the other, and the pieces of each let go: they are what an ensemble of many places holds most of.
        first, by_horizon, by_survey = (np.concatenate(columns.pop()) for _ in range(3))
        return Totals(
            new=np.stack(self._new, axis=1),
            showing=np.stack(self._showing, axis=1),
            plant_infected=infected,
            plant_showing=showing,
            begun_infected=begun_infected,
            begun_showing=begun_showing,
            place_by_survey=by_survey,
            place_by_horizon=by_horizon,
            place_first=first,
        )


def new_cases(numbers: IntArray) -> NewCases:
    """Return mean and middle 50 and 90 % of the numbers of all members."""
    values = np.asarray(numbers, dtype=np.float64).ravel()
    low_90, low_50, high_50, high_90 = np.quantile(values, [0.05, 0.25, 0.75, 0.95]).tolist()
    return NewCases(expected=float(values.mean()), low_50=low_50, high_50=high_50, low_90=low_90, high_90=high_90)


def beds_of(inventory: Inventory, hosts: BoolArray) -> tuple[IntArray, tuple[tuple[str, str], ...]]:
    """Return the number of every host's bed and site together, -1 for plants with neither, and their names."""
    keys = [
        f"{site}\n{bed}" if is_host and (site or bed) else ""
        for site, bed, is_host in zip(
            inventory.site_id.tolist(), inventory.bed_id.tolist(), hosts.tolist(), strict=True
        )
    ]
    names, number = np.unique(np.array(keys, dtype=str), return_inverse=True)
    none = int(len(names) > 0 and names[0] == "")
    parts = tuple((text.split("\n")[0], text.split("\n")[1]) for text in names[none:].tolist())
    return np.asarray(number - none, dtype=np.int64), parts


def places_ahead(
    totals: Totals, names: Sequence[tuple[str, str]], hosts: IntArray, period: Period
) -> tuple[PlaceAhead, ...]:
    """Return beds, then sites, in the order of their names; `names` are (site, bed), `hosts` how many stand in each."""
    found = []
    beds = sorted({name for name in names if name[1]})
    for site, bed in beds:
        rows = [row for row, name in enumerate(names) if name == (site, bed)]
        found.append(_place("bed", f"{bed} ({site})" if site else bed, rows, totals, hosts, period))
    for site in sorted({site for site, _ in names if site}):
        rows = [row for row, name in enumerate(names) if name[0] == site]
        found.append(_place("site", site, rows, totals, hosts, period))
    return tuple(found)


def _place(kind: str, name: str, rows: list[int], totals: Totals, hosts: IntArray, period: Period) -> PlaceAhead:
    """Return one place, of several numbers together."""
    by_survey, by_horizon = (
        counts[:, rows].sum(axis=1) for counts in (totals.place_by_survey, totals.place_by_horizon)
    )
    first = totals.place_first[:, rows].min(axis=1)
    came = first[first < NEVER]
    first_on = None if not len(came) else to_date(period.dates(np.array([np.median(came)]).astype(np.int64))[0])
    return PlaceAhead(
        kind=kind,
        name=name,
        hosts=int(hosts[rows].sum()),
        chance_by_survey=float((by_survey > 0).mean()),
        chance_by_horizon=float((by_horizon > 0).mean()),
        by_survey=new_cases(by_survey),
        by_horizon=new_cases(by_horizon),
        first_on=first_on,
    )


def chances_under(
    totals: Totals, course: int, among: BoolArray, begun: tuple[FloatArray, FloatArray] | None
) -> tuple[FloatArray, FloatArray]:
    """Return the chances of every plant of being infected and of showing under one of the kept courses, (checks, n) [-].

    Parameters
    ----------
    totals : Totals
    course : int
    among : array of bool, shape (n,)
        Zero for all others.
    begun : two arrays, shape (checks, n), optional
        The part of both that was infected at the start, where it is known better than from the members. [-]
    """
    members = totals.members
    infected, showing = totals.plant_infected[course] / members, totals.plant_showing[course] / members
    if begun is not None:
        infected = infected - totals.begun_infected / members + begun[0]
        showing = showing - totals.begun_showing / members + begun[1]
    infected = np.where(among, np.clip(infected, 0.0, 1.0), 0.0)
    return infected, np.where(among, np.clip(showing, 0.0, infected), 0.0)


def plants_ahead(infected: FloatArray, showing: FloatArray, among: BoolArray, period: Period) -> PlantsAhead:
    """Return the chances of every plant from those at the checks, (checks, n); NaN for those not in `among`."""
    survey = int(np.searchsorted(period.checks, period.survey_day))

    def of(chance: FloatArray) -> FloatArray:
        return np.where(among, chance, np.nan)

    return PlantsAhead(
        infected_by_survey=of(infected[survey]),
        infected_by_horizon=of(infected[-1]),
        showing_by_survey=of(showing[survey]),
        showing_by_horizon=of(showing[-1]),
        first_on=first_dates(infected, period),
    )


def first_dates(infected: FloatArray, period: Period) -> np.ndarray:
    """Return when half of each plant's chance of being infected by the horizon has come, straight between the checks.

    `infected` (checks, n) are the chances, rising; no date for plants that have none.
    """
    checks, half = period.checks.astype(np.float64), infected[-1] / 2.0
    dates = no_dates(infected.shape[1])
    some = np.flatnonzero(infected[-1] > 0)
    if not len(some):
        return dates
    counts = infected[:, some]
    after = np.argmax(counts >= half[some], axis=0)
    before = np.maximum(after - 1, 0)
    column = np.arange(len(some))
    step = counts[after, column] - counts[before, column]
    part = np.where(step > 0, (half[some] - counts[before, column]) / np.where(step > 0, step, 1), 0.0)
    day = checks[before] + part * (checks[after] - checks[before])
    dates[some] = period.dates(np.floor(day).astype(np.int64))
    return dates


def keys_out(keys: TextArray, out: BoolArray) -> tuple[str, ...]:
    """Return the keys of plants taken out."""
    return tuple(keys[out].tolist())
