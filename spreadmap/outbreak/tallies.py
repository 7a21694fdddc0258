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

    `new` and `showing` are (courses, draws, members, checks); members in which each plant is infected and shows (kept,
    checks, n); new cases by place (draws x members, places) by the survey and the horizon, and the day of the first.
    """

    new: IntArray
    showing: IntArray
    plant_infected: IntArray
    plant_showing: IntArray
    place_by_survey: IntArray
    place_by_horizon: IntArray
    place_first: IntArray

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
        self._infected: IntArray | None = None
        self._shown: IntArray | None = None

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
            if self._infected is None or self._shown is None:
                self._infected, self._shown = one.plant_infected.astype(np.int64), one.plant_showing.astype(np.int64)
            else:
                self._infected += one.plant_infected
                self._shown += one.plant_showing

    def totals(self) -> Totals:
        """Return the counts of all draws taken in."""
        none = np.zeros((0, 0, 0), dtype=np.int64)
        by_survey, by_horizon, first = (
            np.concatenate([each[part] for each in self._places]).astype(np.int64) for part in range(3)
        )
        return Totals(
            new=np.stack(self._new, axis=1),
            showing=np.stack(self._showing, axis=1),
            plant_infected=none if self._infected is None else self._infected,
            plant_showing=none if self._shown is None else self._shown,
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


def plants_ahead(totals: Totals, among: BoolArray, period: Period) -> PlantsAhead:
    """Return the chances of every plant under the first course of action; NaN for those not in `among`."""
    members, checks = totals.members, period.checks
    survey = int(np.searchsorted(checks, period.survey_day))
    infected, showing = totals.plant_infected[0], totals.plant_showing[0]

    def share(counts: IntArray) -> FloatArray:
        return np.where(among, counts / members, np.nan)

    return PlantsAhead(
        infected_by_survey=share(infected[survey]),
        infected_by_horizon=share(infected[-1]),
        showing_by_survey=share(showing[survey]),
        showing_by_horizon=share(showing[-1]),
        first_on=first_dates(infected, period),
    )


def first_dates(infected: IntArray, period: Period) -> np.ndarray:
    """Return when half of the members with each plant infected by the horizon have it, straight between the checks.

    `infected` (checks, n) counts members; no date for plants that are infected in none.
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
