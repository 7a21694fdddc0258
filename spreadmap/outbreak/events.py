"""Members of an ensemble by events: the world they share, one draw of law and rates, and what they come to.

The law is that of the model told day by day (tests/slow_reference.py): on every day a healthy plant is infected with
the chance 1 - exp(-hazard), the hazard being the sum over infectious plants. No tail of the kernel is cut and nothing
is put on a grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.errors import InputError
from spreadmap.outbreak import compiled_events as compiled
from spreadmap.outbreak.arrival_tables import MARGIN, ArrivalTables, arrival_tables
from spreadmap.outbreak.compiled_contacts import WINDOWS, fill_windows
from spreadmap.outbreak.counters import key_for
from spreadmap.outbreak.ground import Ground
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import ScreenSegments
from spreadmap.values.rates import Rates

NEVER = compiled.NEVER
ENTRIES_AT_FIRST = 65_536
LINKS_AT_FIRST = 4096
WORK_AT_FIRST = 4096
MARGIN_STEP = 2.0
NO_SCREENS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))
BEARINGS = 128


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Life:
    """How infection runs in a plant and how it is found.

    Days from infection to sending, median [season days] and log spread [-] of latency, chance of being seen in a pass
    once it shows [-], and strength of roots that were missed [-].
    """

    infectious_after_days: float
    latency_median_days: float
    latency_sigma: float
    seen_per_pass: float
    roots_strength: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """Days counted from the date of the state.

    `flight` and `season` (days + 1,) say how many days of full flight and of the growing season have passed by the
    morning of each; `stretch` are the days on which stretches begin, and the horizon.
    """

    flight: FloatArray
    season: IntArray
    stretch: IntArray

    @property
    def days(self) -> int:
        """Return the number of days to the horizon."""
        return len(self.flight) - 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What is known at the start of n plants.

    `state` is 0 for healthy or drawn, 4 for known to be infected and sending. `unsure` are plants whose state is drawn,
    with their chances (unsure, 3) of being infected and not sending, sending, and showing; ascending. `stands_from` is a
    day.

    Where the past was reckoned `heaped` (unsure, steps) are the weights of infection up to the end of every step of it,
    `since` and `passed` (steps + 1,) the days and the days of the growing season from the borders of the steps until
    now, the last of them zero; without it how long hidden plants have been infected is drawn as if the past were even.
    """

    state: np.ndarray
    unsure: IntArray
    chance: FloatArray
    stands_from: np.ndarray
    heaped: np.ndarray = field(default_factory=lambda: np.zeros((0, 0), dtype=np.float32))
    since: FloatArray = field(default_factory=lambda: np.zeros(1))
    passed: FloatArray = field(default_factory=lambda: np.zeros(1))

    def packed(self) -> tuple[Any, ...]:
        """Return the start as compiled code takes it."""
        return (
            np.array(self.state, dtype=np.uint8), np.array(self.unsure, dtype=np.int64),
            np.array(self.chance, dtype=np.float64).reshape(-1, 3), np.array(self.stands_from, dtype=np.int32),
            np.require(self.heaped, np.float32, ["C", "W"]), np.array(self.since, dtype=np.float64),
            np.array(self.passed, dtype=np.float64),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseRun:
    """One course of action in days, n plants.

    `gone` is the day from which a plant is out, `NEVER` for those that stay; `surveyed` (stretches,) whether a stretch
    begins with a survey. Found plants come out where `takes_out`, by crews of `crew_hours` a week that are free from
    day `free_from` on, `delay_days` after the finding at the earliest; `hours` is the work on each plant. Of all plants
    taken out the share `missed_share` leaves roots. `more_screens` stand in this course only.
    """

    gone: np.ndarray
    surveyed: np.ndarray
    takes_out: bool
    crew_hours: float
    free_from: float
    delay_days: float
    hours: FloatArray
    missed_share: float = 0.0
    more_screens: ScreenSegments = NO_SCREENS

    def packed(self, outside_left: FloatArray) -> tuple[Any, ...]:
        """Return the course as compiled code takes it."""
        crew = [self.crew_hours, self.free_from, self.delay_days, self.missed_share, float(self.takes_out)]
        return (
            np.array(self.gone, dtype=np.int32),
            np.array(self.surveyed, dtype=np.uint8),
            np.array(crew, dtype=np.float64),
            np.array(self.hours, dtype=np.float64),
            self.more_screens.ends.copy(),
            self.more_screens.factor.copy(),
            np.array(outside_left, dtype=np.float64),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """All that the draws share.

    `checks` are days on which is counted, `place` (n,) is the place of every plant or -1; of the first `kept` courses
    single plants are counted, of the first one the places.
    """

    ground: Ground
    start: Start
    clock: Clock
    life: Life
    courses: tuple[CourseRun, ...]
    screens: ScreenSegments
    checks: IntArray
    place: IntArray
    places: int
    kept: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draw:
    """One draw of what is not known: law and rates.

    `outside` (n,) is the hazard from outside on each plant [per day of full flight], `outside_left` the share of it that
    the more screens of each course leave, empty where there are none.
    """

    number: int
    spread: Spread
    rates: Rates
    outside: FloatArray
    outside_left: tuple[FloatArray, ...]
    start: Start | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """What the members of one draw came to; counts, each (courses, members, checks) unless said otherwise.

    `new` were infected after the start, `infected` and `showing` are all that nobody knows of at the start, `found`
    those found since. `plant_infected`, `plant_showing` (kept, checks, n) count members, `begun_infected`, `begun_showing`
    (checks, n) those of them in which the plant was infected at the start. `place_new` is (members,
    checks, places), `place_first` (members, places) the day of the first new case.
    """

    new: IntArray
    infected: IntArray
    showing: IntArray
    found: IntArray
    plant_infected: np.ndarray
    plant_showing: np.ndarray
    begun_infected: np.ndarray
    begun_showing: np.ndarray
    place_new: np.ndarray
    place_first: np.ndarray


class _Run:
    """Arrays that compiled code works on, for all draws of one law and rates of their own; grown when too short."""

    def __init__(self, seed: int, world: World, spread: Spread) -> None:
        self.world, self.spread = world, spread
        self.seed_key = key_for(np.uint64(seed), 0)
        ground, n = world.ground, len(world.ground)
        tree = ground.tree
        land = np.column_stack([ground.easting, ground.northing, ground.radius_m, ground.weight, ground.strength])
        self.land = (
            np.ascontiguousarray(land.reshape(n, 5)), tree.order, tree.heaped, tree.box, tree.part, ground.touch_start,
            ground.touching, ground.touch_heaped, tree.home,
        )  # fmt: skip
        life, clock = world.life, world.clock
        self.clock = (
            np.array(clock.flight, dtype=np.float64), np.array(clock.season, dtype=np.int64),
            np.array(clock.stretch, dtype=np.int64),
        )  # fmt: skip
        self.life = (
            float(life.infectious_after_days), float(life.latency_median_days), float(life.latency_sigma),
            float(life.seen_per_pass), float(life.roots_strength),
        )  # fmt: skip
        self.margin = MARGIN
        self.law = self._law()
        self.links, self.room, self.wide = LINKS_AT_FIRST, ENTRIES_AT_FIRST, WORK_AT_FIRST
        self.state, self.pool, self.work = self._state(), self._pool(), self._work()

    def take(self, draw: Draw) -> None:
        """Go over to another draw of the same law."""
        self.draw_key = key_for(self.seed_key, draw.number)
        heaped = np.concatenate([[0.0], np.cumsum(draw.outside)])
        self.rates = (float(draw.rates.per_day_m2), float(draw.rates.contact_per_day), heaped)
        self.start = (draw.start or self.world.start).packed()
        self.courses = [course.packed(left) for course, left in zip(self.world.courses, draw.outside_left, strict=True)]

    def _law(self) -> tuple[Any, ...]:
        tables: ArrivalTables = arrival_tables(self.spread, self.world.ground, self.margin)
        windows = np.zeros((len(tables.strands), WINDOWS, BEARINGS))
        if tables.roses.shape[1]:
            for row, window in zip(tables.strands, windows, strict=True):
                fill_windows(tables.roses[int(row[10])], float(row[12]), window)
        screens = self.world.screens
        return (
            tables.strands, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope, tables.log_density,
            tables.pieces, tables.roses, tables.exact_m, tables.simple_m, tables.greatest, tables.here,
            tables.log_first, tables.per_log, screens.ends.copy(), screens.factor.copy(), windows,
        )  # fmt: skip

    def _state(self) -> tuple[Any, ...]:
        n, days = len(self.world.ground), self.world.clock.days
        never = [np.full(n, NEVER, dtype=np.int32) for _ in range(5)]
        return (
            *never, np.zeros(n, dtype=np.uint8), np.zeros(n, dtype=np.int64), np.full(days + 1, -1, dtype=np.int64),
            np.zeros(self.links, dtype=np.int64), np.zeros(self.links, dtype=np.int64),
        )  # fmt: skip

    def _pool(self) -> tuple[Any, ...]:
        lists = len(self.world.ground) + len(self.world.ground.tree.part)
        whole = [np.zeros(lists, dtype=np.int64) for _ in range(3)]
        return np.full(lists, -1.0), *whole, np.zeros(self.room, dtype=compiled.ENTRY), np.zeros(1, dtype=np.int64)

    def _work(self) -> tuple[Any, ...]:
        whole = [np.zeros(self.wide, dtype=np.int64) for _ in range(6)]
        return (*whole, *(np.zeros(self.wide) for _ in range(4)))

    def begin(self, member: int) -> tuple[Any, int]:
        """Return the key of a member and how many plants are infected at its start, drawn into the state."""
        for days in self.state[:5]:
            days.fill(NEVER)
        key = np.uint64(key_for(self.draw_key, member))
        return key, int(compiled.start_member(key, self.start, self.clock, self.life, self.state))

    def course(self, member: int, number: int) -> tuple[int, int]:
        """Run one course; return how many plants were infected at the start and at the horizon.

        Numbers by counter make it no matter how often a course is begun again, with more room.
        """
        key, begun = np.uint64(key_for(self.draw_key, member)), self.begun
        while True:
            count = int(
                compiled.run_course(
                    key, begun, self.rates, self.land, self.law, self.clock, self.life, self.start,
                    self.courses[number], self.state, self.pool, self.work,
                )
            )  # fmt: skip
            if count >= 0:
                return begun, count
            self._grow(count)
            _, begun = self.begin(member)

    begun: int = 0

    def _grow(self, what: int) -> None:
        """Make room for what could not be done."""
        if what == compiled.LINKS_FULL:
            self.links *= 4
            self.state = self._state()
        elif what == compiled.POOL_FULL:
            self.room *= 2
            old, self.pool = self.pool, self._pool()
            for before, now in zip(old, self.pool, strict=True):
                now[: len(before)] = before
        elif what == compiled.WORK_SHORT:
            self.wide *= 4
            self.work = self._work()
        else:
            self.margin *= MARGIN_STEP
            self.law, self.pool = self._law(), self._pool()


def run_draw(seed: int, members: int, world: World, draw: Draw) -> Tally:
    """Return what `run_draws` does for one draw."""
    return run_draws(seed, members, world, (draw,))[0]


def run_draws(seed: int, members: int, world: World, draws: Sequence[Draw]) -> tuple[Tally, ...]:
    """Run all members of draws that share one law under every course of action.

    Parameters
    ----------
    seed : int
        Of all random numbers; zero or more.
    members : int
    world : World
    draws : sequence of Draw
        With the `spread` of the first: what a source reaches is told once for all of them. The number of a draw is part
        of every random number.

    Returns
    -------
    tuple of Tally, one per draw; the same whichever draws are run together

    Raises
    ------
    InputError
        If a length does not fit the plants.
    """
    for draw in draws:
        check_world(world, draw)
    run = _Run(seed, world, draws[0].spread) if draws and len(world.ground) else None
    found = []
    for draw in draws:
        if run is not None:
            run.take(draw)
        found.append(_tally_of(run, members, world))
    return tuple(found)


def _tally_of(run: _Run | None, members: int, world: World) -> Tally:
    """Return what the members of one draw come to; nothing without plants."""
    courses, checks, n = len(world.courses), len(world.checks), len(world.ground)
    counts = np.zeros((4, courses, members, checks), dtype=np.int32)
    plant = np.zeros((2, world.kept, checks, n), dtype=np.int32)
    at_start = np.zeros((2, checks if world.kept else 0, n), dtype=np.int32)
    place_new = np.zeros((members, checks, world.places), dtype=np.int32)
    place_first = np.full((members, world.places), NEVER, dtype=np.int32)
    if run is not None:
        for member in range(members):
            _, run.begun = run.begin(member)
            if world.kept:
                compiled.count_plants(run.begun, run.state, world.checks, at_start[0], at_start[1])
            for number in range(courses):
                begun, count = run.course(member, number)
                new, infected, showing, found = counts[:, number, member]
                compiled.count_course(count, begun, run.state, world.checks, new, infected, showing, found)
                if number < world.kept:
                    compiled.count_plants(count, run.state, world.checks, plant[0, number], plant[1, number])
                if number == 0 and world.places:
                    compiled.count_places(
                        count, begun, run.state, world.checks, world.place, place_new[member], place_first[member]
                    )
                compiled.forget_course(count, begun, run.state)
    new, infected, showing, found = counts.astype(np.int64)
    return Tally(
        new=new,
        infected=infected,
        showing=showing,
        found=found,
        plant_infected=plant[0],
        plant_showing=plant[1],
        begun_infected=at_start[0],
        begun_showing=at_start[1],
        place_new=place_new,
        place_first=place_first,
    )


def days_of_member(seed: int, member: int, world: World, draw: Draw, course: int = 0) -> tuple[IntArray, ...]:
    """Return for one member the days on which each plant is infected, shows, is found and is gone, each (n,).

    `NEVER` where it does not happen by the horizon; -1 for plants infected at the start.
    """
    check_world(world, draw)
    run = _Run(seed, world, draw.spread)
    run.take(draw)
    _, run.begun = run.begin(member)
    run.course(member, course)
    infected, _, shows, gone, found = (run.state[at].astype(np.int64) for at in range(5))
    return infected, shows, found, gone


def check_world(world: World, draw: Draw) -> None:
    """Refuse lengths that do not fit together: compiled code does not look."""
    n, days, stretches = len(world.ground), world.clock.days, len(world.clock.stretch) - 1
    stretch, start = world.clock.stretch, draw.start or world.start
    wrong = [
        name
        for name, fits in (
            ("start", len(start.state) == n and len(start.stands_from) == n),
            ("unsure plants", start.chance.shape == (len(start.unsure), 3) and bool(np.all(np.diff(start.unsure) > 0))),
            (
                "steps of the past",
                len(start.heaped) in (0, len(start.unsure))
                and len(start.since) == len(start.passed) == start.heaped.shape[1] + 1,
            ),
            ("clock", len(world.clock.season) == days + 1),
            (
                "stretches",
                stretches >= 1 and stretch[0] == 0 and stretch[-1] == days and bool(np.all(np.diff(stretch) > 0)),
            ),
            ("courses", all(len(one.gone) == n == len(one.hours) for one in world.courses)),
            ("surveys", all(len(one.surveyed) == stretches for one in world.courses)),
            ("outside", len(draw.outside) == n and len(draw.outside_left) == len(world.courses)),
            ("places", len(world.place) == n),
        )
        if not fits
    ]
    if wrong:
        msg = f"spread ahead: {', '.join(wrong)} do not fit {n} plants, {days} days and {stretches} stretches"
        raise InputError(msg)
