"""Rules of removal and of looking, and the programme of three seasons in which one of them meets an outbreak."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from decisions_belief import Belief
from decisions_world import (
    DETECTION,
    EFFECT_D,
    END_D,
    PLANTS,
    SEASON_ENDS_D,
    START_D,
    WEEK_D,
    WEEKS,
    WORK_FROM,
    WORK_TO,
    YEAR,
    Fate,
    Outbreak,
    Town,
    flown_before,
)

from spreadmap.decisions.looking import Looks, reached
from spreadmap.decisions.order import Contributions, pick_order
from spreadmap.values.removal_settings import RemovalSettings

SURVEY_WEEKS = 2
HORIZON_D, GREEN_D = RemovalSettings().value_days, RemovalSettings().green_days
"""Days for which the removal of a case is credited, and days of the season for that of a green plant: the product's."""
LEAST_DOSE = 1e-3
"""Doses below this are summed to first order [-]."""
LEAST_CHANCE = 0.01
"""Green plants below this chance are never weighed for removal [-]."""
COUNTED_M = 10.0
LOOK_MINUTES, REACH_MINUTES = 1.5, 5.0
NEAR_M, MIDDLE_M = 10.0, 100.0
INTERVALS_D = (7.0, 14.0, 28.0)
SLACK = 1e-9


@dataclass(frozen=True, kw_only=True)
class Rule:
    """How a crew decides: `removal` names a rule; `price` of a healthy plant if green ones may go, infinite if not.

    `looking` is "all" (the whole town every second week, paid by others), "interval" or "value" (from the crew's hours,
    of which `share` are for looking). `scale` and `turn_deg` are the planner's errors in kernel and wind;
    `pack` lets the product try other beginnings of a week than the best job first. `green_days` are the days of the season
    for which a green plant is credited, infinite for those of a case.
    """

    removal: str
    hours: float
    price: float = np.inf
    looking: str = "all"
    share: float = 0.0
    overdue_share: float = 0.0
    scale: float = 1.0
    turn_deg: float = 0.0
    pack: bool = False
    green_days: float = GREEN_D

    @property
    def needs_belief(self) -> bool:
        return self.removal == "value" or self.looking == "value"


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """What was left of one outbreak: new infections by the end of each season, healthy plants taken, hours of both works.

    `believed` and `hidden` are sums over green plants, at some dates, of their chances and of those infected in truth.
    """

    at_start: int
    new: tuple[int, ...]
    healthy_taken: int
    removal_hours: float
    looking_hours: float
    weeks_of_backlog: float
    believed: float
    hidden: float


@dataclass(eq=False)
class Week:
    """What a rule may look at when it plans a week; `is_news`: somebody looked since the last one."""

    town: Town
    day: float
    found: np.ndarray
    standing: np.ndarray
    belief: Belief | None
    rate: np.ndarray
    wild: np.ndarray
    price: float
    room: float
    pack: bool = False
    green_days: float = GREEN_D
    is_news: bool = True

    @property
    def cases(self) -> np.ndarray:
        """Return found plants that stand, in the order of the inventory."""
        return np.flatnonzero(self.standing & np.isfinite(self.found))


def by_finding(week: Week) -> np.ndarray:
    """Return cases in the order of finding, those of one day in walking order."""
    return week.cases[np.argsort(week.found[week.cases], kind="stable")]


def by_fullest_bed(week: Week) -> np.ndarray:
    """Return cases bed by bed, the bed with most of them first."""
    cases = week.cases
    bed = week.town.bed[cases]
    count = np.bincount(bed, minlength=int(week.town.bed.max()) + 1)
    return cases[np.lexsort((cases, bed, -count[bed]))]


def by_nearest(week: Week) -> np.ndarray:
    """Return cases by their distance from the nearest other case that stands."""
    cases = week.cases
    if len(cases) < 2:
        return cases
    return cases[np.argsort(week.town.distance[np.ix_(cases, cases)].min(axis=1), kind="stable")]


def then_ring(radius_m: float) -> Callable[[Week], np.ndarray]:
    """Return the rule: cases in the order of finding, then green plants within a radius of any case, nearest first."""

    def rule(week: Week) -> np.ndarray:
        every = np.flatnonzero(np.isfinite(week.found))
        green = np.flatnonzero(week.standing & ~np.isfinite(week.found))
        if not len(every):
            return by_finding(week)
        away = week.town.distance[np.ix_(every, green)].min(axis=0)
        ring = green[away <= radius_m]
        return np.concatenate([by_finding(week), ring[np.argsort(away[away <= radius_m], kind="stable")]])

    return rule


SIMPLE: dict[str, Callable[[Week], np.ndarray]] = {
    "order of finding": by_finding,
    "fullest bed first": by_fullest_bed,
    "nearest first": by_nearest,
    "ring 1 m": then_ring(1.0),
    "ring 3 m": then_ring(3.0),
}


def first_order_only(far: np.ndarray) -> Contributions:
    """Return jobs that share no receiver, each worth a number."""
    return Contributions(
        start=np.zeros(len(far) + 1, dtype=np.int64), receiver=np.zeros(0, dtype=np.int64), dose=np.zeros(0),
        healthy=np.zeros(0), elsewhere=np.zeros(0), far=far, loss=np.zeros(len(far)),
    )  # fmt: skip


def counted(week: Week) -> tuple[np.ndarray, Contributions]:
    """Return cases, each worth the healthy-looking plants that stand within 10 m: no model at all."""
    cases = week.cases
    green = week.standing & ~np.isfinite(week.found)
    return cases, first_order_only((week.town.distance[cases][:, green] <= COUNTED_M).sum(axis=1) + 1e-6)


def flight_ahead(day: float) -> float:
    """Return days of full flight over the product's horizon, across the winter, once work takes effect [d]."""
    return float(flown_before(day + EFFECT_D + HORIZON_D) - flown_before(day + EFFECT_D))


@cache
def green_flight_ahead(day: float, season_days: float) -> float:
    """Return days of full flight until so many days of the season, in which one looks, have passed [d]."""
    begin = day + EFFECT_D
    end, left = begin, season_days
    while left > 0:
        left -= WORK_FROM <= end % YEAR <= WORK_TO
        end += 1.0
    return float(flown_before(end) - flown_before(begin))


def valued(week: Week) -> tuple[np.ndarray, Contributions]:
    """Return the jobs and what each would send to plants that are probably healthy."""
    belief = week.belief
    assert belief is not None
    is_case = week.standing & np.isfinite(week.found)
    green = week.standing & ~is_case
    healthy = np.where(green, 1.0 - belief.chance, 0.0)
    ahead = flight_ahead(week.day)
    chance = np.where(is_case, 1.0, np.where(green, belief.chance, 0.0))
    jobs = np.flatnonzero(is_case | (green & (chance >= LEAST_CHANCE) & np.isfinite(week.price)))
    rows = week.rate[jobs]
    for_green = green_flight_ahead(week.day, week.green_days) if np.isfinite(week.green_days) else ahead
    credited = np.where(is_case[jobs], ahead, for_green)
    onward = (rows @ healthy.astype(np.float32)) * credited * chance[jobs]
    if np.isfinite(week.price):
        keep = is_case[jobs] | (onward > week.price * (1 - chance[jobs]))
        jobs, rows, credited = jobs[keep], rows[keep], credited[keep]
    receivers = np.flatnonzero(green)
    dose = rows[:, receivers] * credited[:, None].astype(np.float32)
    expected = dose * chance[jobs, None].astype(np.float32)
    shared = expected >= LEAST_DOSE
    row, column = np.nonzero(shared)
    far = np.where(shared, 0.0, expected) @ healthy[receivers]
    # A plant infected with chance p lets a receiver escape with 1 - p + p exp(-dose), as in the product.
    given = dose[row, column].astype(np.float64)
    given = np.where(chance[jobs[row]] < 1, -np.log1p(chance[jobs[row]] * np.expm1(-given) * (1 - 1e-12)), given)
    sends = np.where(green, belief.current, 0.0)
    sends[jobs] = 0.0
    hidden = np.flatnonzero(sends > LEAST_DOSE)
    elsewhere = (sends[hidden].astype(np.float32) @ week.rate[hidden] + week.wild)[receivers] * ahead
    loss = (
        np.where(is_case[jobs], 0.0, week.price * (1 - chance[jobs]))
        if np.isfinite(week.price)
        else np.zeros(len(jobs))
    )
    return jobs, Contributions(
        start=np.searchsorted(row, np.arange(len(jobs) + 1)).astype(np.int64), receiver=column.astype(np.int64),
        dose=given, healthy=healthy[receivers], elsewhere=elsewhere.astype(np.float64),
        far=far.astype(np.float64), loss=loss,
    )  # fmt: skip


PACKED = {"counted within 10 m": counted, "value": valued}


@dataclass(eq=False)
class Crew:
    """Hours of one crew: what fits into the week is done; a job longer than any week runs on into the next."""

    town: Town
    debt: float = 0.0
    minutes_used: float = 0.0
    backlog: list[float] = field(default_factory=list)

    def work(self, week: Week, rule: str) -> tuple[np.ndarray, np.ndarray]:
        """Return the plants taken out and after how many days; counts minutes and debt."""
        if week.room <= SLACK:
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        done = self._packed(week, rule) if rule in PACKED else self._down_the_list(week, SIMPLE[rule](week))
        plants = np.array([plant for plant, _, _ in done], dtype=np.int64)
        minutes = float(sum(needed for _, needed, _ in done))
        self.minutes_used += minutes
        self.debt += max(minutes - week.room, 0.0)
        return plants, np.array([EFFECT_D + late for _, _, late in done])

    def _packed(self, week: Week, rule: str) -> list[tuple[int, float, float]]:
        if not len(week.cases) and not (np.isfinite(week.price) and week.is_news):
            return []
        jobs, worth = PACKED[rule](week)
        if not len(jobs):
            return []
        bed = self.town.bed[jobs]
        places = np.unique(bed)
        if not worth.loss.any() and self.town.minutes[jobs].sum() + self.town.set_up[places].sum() <= week.room:
            # No backlog: all goes, and the order does not matter.
            opens = np.zeros(len(jobs))
            opens[np.unique(bed, return_index=True)[1]] = self.town.set_up[places]
            return list(zip(jobs.tolist(), (self.town.minutes[jobs] + opens).tolist(), [0.0] * len(jobs), strict=True))
        order = pick_order(
            worth, self.town.minutes[jobs], self.town.set_up[bed], bed, week_minutes=week.room, weeks=1, pack=week.pack
        )
        minutes = order.added + self.town.minutes[jobs[order.job]]
        first = np.flatnonzero(order.week == 1)
        if not len(first) and len(order.job):
            return [(int(jobs[order.job[0]]), float(minutes[0]), self._late(float(minutes[0]), week.room))]
        return [(int(jobs[order.job[at]]), float(minutes[at]), 0.0) for at in first]

    def _down_the_list(self, week: Week, order: np.ndarray) -> list[tuple[int, float, float]]:
        room, opened, done = week.room, set(), []
        for plant in order.tolist():
            bed = int(self.town.bed[plant])
            need = float(self.town.minutes[plant]) + (0.0 if bed in opened else float(self.town.set_up[bed]))
            if need <= room + SLACK:
                done.append((plant, need, 0.0))
                opened.add(bed)
                room -= need
        if not done and len(order):
            plant = int(order[0])
            need = float(self.town.minutes[plant] + self.town.set_up[self.town.bed[plant]])
            return [(plant, need, self._late(need, week.room))]
        return done

    @staticmethod
    def _late(minutes: float, room: float) -> float:
        """Return days by which a job that no week holds is done later."""
        return WEEK_D * max(float(np.ceil(minutes / room - SLACK)) - 1.0, 0.0)


class Programme:
    """One rule in one outbreak, week by week.

    `passes` holds day, plants looked at and plants found of every pass; `kept` the planner's chances on the days of
    `keep`, NaN for plants that are found or gone.
    """

    def __init__(self, town: Town, fate: Fate, rule: Rule, rate: np.ndarray, wild: np.ndarray) -> None:
        self.town, self.rule, self.outbreak = town, rule, Outbreak(fate)
        self._fate, self._rate, self._wild = fate, rate, wild
        self._found = np.full(PLANTS, np.inf)
        self._last_look = np.full(PLANTS, START_D - 28.0)
        self._belief = Belief(rate, wild) if rule.needs_belief else None
        self._crew = Crew(town)
        self._spare = 0.0
        self._looking_minutes = 0.0
        self._sums = [0.0, 0.0]
        self.passes: list[tuple[float, np.ndarray, np.ndarray]] = []
        self.keep: set[float] = set()
        self.kept: dict[float, np.ndarray] = {}

    def run(self) -> Result:
        """Return what is left after three seasons."""
        for number in range(WEEKS):
            day = float(START_D + WEEK_D * number)
            self.outbreak.run_until(day)
            if not WORK_FROM <= day % YEAR <= WORK_TO:
                continue
            self._look(number, day)
            self._work(number, day)
        self.outbreak.run_until(float(END_D))
        return self._result()

    def _standing(self, day: float) -> np.ndarray:
        return self.outbreak.removed > day

    def _look(self, number: int, day: float) -> None:
        """Look at what the rule says, and bring the belief up to date."""
        rule, standing = self.rule, self._standing(day)
        if rule.looking == "all":
            seen = standing & (number % SURVEY_WEEKS == 0)
        else:
            minutes = rule.share * rule.hours * 60 + self._spare
            green = standing & ~np.isfinite(self._found)
            chosen = self._by_interval(green, day, minutes) if rule.looking == "interval" else None
            seen = self._by_value(green, number, day, minutes) if chosen is None else chosen
            places = len(np.unique(self.town.bed[seen]))
            self._looking_minutes += LOOK_MINUTES * float(seen.sum()) + REACH_MINUTES * places
        seen = seen & ~np.isfinite(self._found)
        if not seen.any():
            return
        shows = self.outbreak.shows_from <= day
        found = np.flatnonzero(seen & shows & (self._fate.look[:, number] < DETECTION))
        self._found[found] = day
        self._last_look[seen] = day
        self.passes.append((day, np.flatnonzero(seen), found))
        if self._belief is not None:
            self._belief.looked_at(number, np.flatnonzero(seen), found)
            self._belief.revise(number)
            if day in self.keep:
                self.kept[day] = np.where(self._standing(day) & ~np.isfinite(self._found), self._belief.chance, np.nan)
            if number % 8 == 0 and number:
                green = self._standing(day) & ~np.isfinite(self._found)
                self._sums[0] += float(self._belief.chance[green].sum())
                self._sums[1] += float((self.outbreak.infected[green] < day).sum())

    def _by_interval(self, green: np.ndarray, day: float, minutes: float) -> np.ndarray:
        """Return whole beds, the longest overdue first: weekly by a case, fortnightly up to 100 m, others monthly."""
        town, beds = self.town, int(self.town.bed.max()) + 1
        cases = np.flatnonzero(np.isfinite(self._found))
        away = town.distance[cases].min(axis=0) if len(cases) else np.full(PLANTS, np.inf)
        away[cases] = 0.0
        nearest, last = np.full(beds, np.inf), np.full(beds, np.inf)
        np.minimum.at(nearest, town.bed, away)
        np.minimum.at(last, town.bed[green], self._last_look[green])
        interval = np.where(nearest <= NEAR_M, INTERVALS_D[0], np.where(nearest <= MIDDLE_M, *INTERVALS_D[1:]))
        overdue = np.where(np.isfinite(last), (day - last) / interval, -1.0)
        need = np.bincount(town.bed[green], minlength=beds) * LOOK_MINUTES + REACH_MINUTES
        order = np.argsort(-overdue, kind="stable")
        order = order[overdue[order] > 0]
        chosen = order[np.cumsum(need[order]) <= minutes + SLACK]
        return green & np.isin(town.bed, chosen)

    def _by_value(self, green: np.ndarray, number: int, day: float, minutes: float) -> np.ndarray:
        """Return plants by what their finding would avoid, per minute: the product's own choice."""
        town, belief = self.town, self._belief
        assert belief is not None
        if belief.revised < number - 1:
            belief.revise(number)
        healthy = np.where(green, 1.0 - belief.chance, 0.0).astype(np.float32)
        onward = (self._rate @ healthy) * flight_ahead(day)
        plants = np.flatnonzero(green)
        looks = Looks(
            worth=(belief.unnoticed * onward)[plants] * DETECTION, minutes=np.full(len(plants), LOOK_MINUTES),
            place=town.bed[plants], group=np.zeros(len(plants), dtype=np.int64), reach_minutes=REACH_MINUTES,
        )  # fmt: skip
        cases = np.flatnonzero(np.isfinite(self._found))
        away = town.distance[cases][:, plants].min(axis=0) if len(cases) else np.full(len(plants), np.inf)
        interval = np.where(away <= NEAR_M, INTERVALS_D[0], np.where(away <= MIDDLE_M, *INTERVALS_D[1:]))
        overdue = (day - self._last_look[plants]) / interval
        taken = reached(looks, np.zeros(len(plants), dtype=np.bool_), overdue, minutes, self.rule.overdue_share)
        seen = np.zeros(PLANTS, dtype=np.bool_)
        seen[plants[taken]] = True
        return seen

    def _work(self, number: int, day: float) -> None:
        """Let the crew work for a week."""
        crew, rule = self._crew, self.rule
        whole = rule.hours * 60 * (1 - rule.share)
        paid = min(crew.debt, whole)
        crew.debt -= paid
        week = Week(
            town=self.town, day=day, found=self._found, standing=self._standing(day), belief=self._belief,
            rate=self._rate, wild=self._wild, price=rule.price, room=whole - paid,
            pack=rule.pack, green_days=rule.green_days, is_news=self._belief is None or self._belief.revised == number,
        )  # fmt: skip
        waiting = week.cases
        crew.backlog.append(float(self.town.minutes[waiting].sum()) / (rule.hours * 60))
        used = crew.minutes_used
        plants, after = crew.work(week, rule.removal)
        self._spare = max(week.room - (crew.minutes_used - used), 0.0) if rule.looking != "all" else 0.0
        for plant, late in zip(plants, after, strict=True):
            self.outbreak.remove(np.array([plant]), day + late)
        if self._belief is not None and len(plants):
            self._belief.removed(number, plants)

    def _result(self) -> Result:
        infected, removed = self.outbreak.infected, self.outbreak.removed
        start = int((infected < START_D).sum())
        return Result(
            at_start=start,
            new=tuple(int((infected < end).sum()) - start for end in SEASON_ENDS_D),
            healthy_taken=int((np.isfinite(removed) & (infected > removed)).sum()),
            removal_hours=self._crew.minutes_used / 60,
            looking_hours=self._looking_minutes / 60,
            weeks_of_backlog=float(np.mean(self._crew.backlog)),
            believed=self._sums[0],
            hidden=self._sums[1],
        )
