"""What is decided: which plants come out, where to look, which lines are drawn."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray, freeze_columns
from spreadmap.values.words import Decision


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemovalCurve:
    """What crew hours avoid along the removal list, one item per plant in its order, nothing done first.

    `hours` are crew hours, `share` is the part avoided of what all plants on the list would bring about if they stayed
    until the horizon: arrivals on healthy hosts in relative mode, infections in calibrated mode [-]; `low`, `high` are
    its range over the scale run and the assumed rates, or over draws of the fit. `infections` [-] and their range
    `infections_low`, `infections_high` are NaN in relative mode.
    """

    hours: FloatArray
    plants: IntArray
    share: FloatArray
    low: FloatArray
    high: FloatArray
    infections: FloatArray
    infections_low: FloatArray
    infections_high: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        infections = ("infections", "infections_low", "infections_high")
        numbers = dict.fromkeys(("hours", "share", "low", "high", *infections), np.float64)
        freeze_columns(self, {**numbers, "plants": np.int64}, len(self.hours))

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.hours)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackingPrice:
    """The plants of this week, packed by bed, against as many minutes of digging by value alone, whatever the set-up.

    Hours are crew hours with set-up and travel. `packed`, `by_value` are what the two avoid: infections in calibrated
    mode, shares of arrivals in relative mode.
    """

    packed_hours: float
    by_value_hours: float
    packed: float
    by_value: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemovalList:
    """Plants in the order in which they should come out; one item per plant, first is most urgent.

    `plant` is the position in the inventory. `onward` is what the plant sends to plants still healthy, in medium
    plants each standing 10 m from one confirmed medium plant in still air. `person_minutes` are for the plant alone,
    `set_up_minutes` what it adds for set-up and travel after those before it. `cumulative_hours` are crew hours.
    `rank_low`, `rank_high` are the best and worst rank over all that `ranks_over` names; `rank_holds` says whether the
    plant stays on its side of the cut-off in all of it. `regrowth_on` is (n, checks).

    `avoided` is what taking it out avoids once those before it are gone: infections in calibrated mode; in relative
    mode its share of the arrivals that the whole list sends. `week` is the week of work, 1 the first, 0 none planned;
    `planned_on` and `day_order` are day and place in that day's work. `is_green` marks plants without a finding.
    `decision` and `decision_reason` are the manager's; plants that are put off or refused are listed last and planned
    for no week. `replant_from` is the first day on which the place may be planted again, if nothing is found meanwhile.
    `pointed_at` are the plants without a finding that by the fitted rates are worth taking out, on the list or not; none
    in relative mode.
    """

    plant: IntArray
    onward: FloatArray
    person_minutes: FloatArray
    set_up_minutes: FloatArray
    cumulative_hours: FloatArray
    within_hours: BoolArray
    earliest_on: DateArray
    regrowth_on: DateArray
    rank_low: IntArray
    rank_high: IntArray
    rank_holds: BoolArray
    reason: TextArray
    avoided: FloatArray
    week: IntArray
    planned_on: DateArray
    day_order: IntArray
    cost: FloatArray
    is_green: BoolArray
    decision: TextArray
    decision_reason: TextArray
    replant_from: DateArray
    curve: RemovalCurve | None = None
    packing: PackingPrice | None = None
    remarks: tuple[str, ...] = ()
    ranks_over: str = "the kernel's lengths or the assumed rates"
    pointed_at: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Freeze every column."""
        names = ("onward", "person_minutes", "set_up_minutes", "cumulative_hours", "avoided", "cost")
        numbers = dict.fromkeys(names, np.float64)
        whole = dict.fromkeys(("plant", "rank_low", "rank_high", "week", "day_order"), np.int64)
        flags = dict.fromkeys(("within_hours", "rank_holds", "is_green"), np.bool_)
        dates = dict.fromkeys(("earliest_on", "regrowth_on", "planned_on", "replant_from"), "datetime64[D]")
        text = dict.fromkeys(("reason", "decision", "decision_reason"), object)
        freeze_columns(self, {**numbers, **whole, **flags, **dates, **text}, len(self.plant))

    def __len__(self) -> int:
        """Return the number of plants on the list."""
        return len(self.plant)

    @property
    def is_held(self) -> BoolArray:
        """Return which plants a manager put off or refused, shape (n,)."""
        return np.isin(self.decision.astype(str), [Decision.PUT_OFF.value, Decision.REFUSE.value])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HoleChecks:
    """Places where a confirmed plant was taken out, the next check for regrowth first.

    `checks_from` is the day from which checks count: the removal, or the last sprout. `next_check_on` has no date where
    all checks were made. `replant_from` holds if nothing is found meanwhile; `is_case_near` says that a confirmed plant
    stands near by, so that its months have not begun.
    """

    plant: IntArray
    removed_on: DateArray
    roots_complete: TextArray
    checks_from: DateArray
    next_check_on: DateArray
    is_overdue: BoolArray
    has_regrowth: BoolArray
    is_reopened: BoolArray
    replant_from: DateArray
    is_case_near: BoolArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        dates = dict.fromkeys(("removed_on", "checks_from", "next_check_on", "replant_from"), "datetime64[D]")
        flags = dict.fromkeys(("is_overdue", "has_regrowth", "is_reopened", "is_case_near"), np.bool_)
        freeze_columns(self, {**dates, **flags, "plant": np.int64, "roots_complete": object}, len(self.plant))

    def __len__(self) -> int:
        """Return the number of places."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectionList:
    """Standing host plants without a confirmed status, in the order in which they should be looked at.

    `pressure` is the relative infection pressure on the plant. `is_touching` marks plants whose distance to a
    confirmed plant is within the touching distance. `worth` is what a look is worth, 100 for the plant at which it is
    worth most [-]. `set_up_minutes` is what reaching its place adds after those before it on the list. `within_hours`
    says whether the next survey's hours reach it: as one of the plants `is_random` that chance chose, as one that
    `is_overdue` by the interval of its distance, or by its worth. `walk` is its place in the walk, 1 first, 0 where the
    hours do not reach it.
    """

    plant: IntArray
    pressure: FloatArray
    is_touching: BoolArray
    distance_m: FloatArray
    interval_days: IntArray
    due_on: DateArray
    person_minutes: FloatArray
    within_hours: BoolArray
    rank_low: IntArray
    rank_high: IntArray
    rank_holds: BoolArray
    reason: TextArray
    worth: FloatArray
    set_up_minutes: FloatArray
    is_random: BoolArray
    is_overdue: BoolArray
    walk: IntArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("pressure", "distance_m", "person_minutes", "worth", "set_up_minutes"), np.float64)
        whole = dict.fromkeys(("plant", "rank_low", "rank_high", "interval_days", "walk"), np.int64)
        flags = dict.fromkeys(("is_touching", "within_hours", "rank_holds", "is_random", "is_overdue"), np.bool_)
        freeze_columns(
            self, {**numbers, **whole, **flags, "due_on": "datetime64[D]", "reason": object}, len(self.plant)
        )

    def __len__(self) -> int:
        """Return the number of plants on the list."""
        return len(self.plant)


BEARINGS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
"""Sixteen bearings from grid north, clockwise, 22.5 degrees apart."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """One ring of one focus: the smallest area that holds `share` of the focus's arrivals until `valid_until`.

    `name` is core, inner or outer. `reach_far_m`, `reach_near_m` are the farthest and the nearest distance of
    the line from the focus's centre of strength. `host_share` is the share of arrivals *on host plants* that falls
    inside, `infection_share` that of expected new infections, whose receivers count by how surely they are still healthy.
    `area_low_m2`, `area_high_m2` are the range over the scale run, or over draws of the fit, `low` and `high` the smallest
    and the largest area of it: the line runs somewhere between theirs. `reach_by_bearing_m` is the farthest distance of
    the line from the centre in each of `BEARINGS`, 0 where the ring does not lie that way. `parcels_inside` are the keys
    of the sites or parcels that it shares ground with. `inspect_every_days` is what is done inside.
    """

    focus: int
    name: str
    share: float
    polygon: BaseGeometry
    area_m2: float
    area_low_m2: float
    area_high_m2: float
    reach_far_m: float
    reach_near_m: float
    plants_inside: int
    confirmed_in_focus: int
    host_share: float
    inspect_every_days: int
    sites_inside: tuple[str, ...]
    owners_inside: tuple[str, ...]
    infection_share: float
    low: BaseGeometry
    high: BaseGeometry
    reach_by_bearing_m: tuple[float, ...]
    parcels_inside: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A line of a rule of thumb: `name`, its distance, what to do inside, where the rule comes from, what it crosses."""

    name: str
    distance_m: float
    polygon: BaseGeometry
    advice: str
    source: str
    reservoirs_inside: tuple[str, ...]
    plants_inside: int = 0
    sites_inside: tuple[str, ...] = ()
    owners_inside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zones:
    """All rings of all foci, then the lines of the rules of thumb. Recommended; only the authority demarcates.

    `release` says what must be seen for how long before a ring may be lifted, `lift_from` the first day on which that can
    be, if every confirmed plant came out on the date of the state and none is found after it.
    """

    rings: tuple[Ring, ...]
    lines: tuple[Line, ...]
    release: str = ""
    lift_from: dt.date | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What the run recommends for one pest system."""

    removal: RemovalList
    inspection: InspectionList
    backlog_weeks: float
    remarks: tuple[str, ...]
    holes: HoleChecks | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DiscardList:
    """Herbaceous plants that are thrown away as they stand, without root work; one item per plant.

    `plant` is the position in the inventory. `is_confirmed` is false for suspects, which are set apart until a lens
    or a test decides.
    """

    plant: IntArray
    is_confirmed: BoolArray
    action: TextArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(self, {"plant": np.int64, "is_confirmed": np.bool_, "action": object}, len(self.plant))

    def __len__(self) -> int:
        """Return the number of plants on the list."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartsList:
    """Parts that are cut off and destroyed; one item per plant and part. The plant itself stays.

    `begins_on`, `ends_on` are the next days, from the as-of date on, on which the part is cut.
    """

    plant: IntArray
    is_confirmed: BoolArray
    part: TextArray
    begins_on: DateArray
    ends_on: DateArray
    how: TextArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        dates = dict.fromkeys(("begins_on", "ends_on"), "datetime64[D]")
        freeze_columns(
            self,
            {"plant": np.int64, "is_confirmed": np.bool_, "part": object, "how": object, **dates},
            len(self.plant),
        )

    def __len__(self) -> int:
        """Return the number of items on the list."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Disposal:
    """What one system without root work asks for: plants to discard, parts to cut, or nothing, with the reason."""

    system_key: str
    reason: str
    discard: DiscardList
    parts: PartsList
    remarks: tuple[str, ...]
