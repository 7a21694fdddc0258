"""What is decided: which plants come out, where to look, which lines are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray, freeze_columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RemovalList:
    """Confirmed plants in the order in which they should come out; one item per plant, first is most urgent.

    `plant` is the position in the inventory. `onward` is what the plant sends to plants still healthy, in medium
    plants each standing 10 m from one confirmed medium plant in still air. `person_minutes` are for the plant alone,
    `set_up_minutes` what it adds for set-up and travel after those before it. `cumulative_hours` are crew hours.
    `rank_low`, `rank_high` are the best and worst rank over the scale run; `rank_holds` says whether the plant stays
    on its side of the cut-off in all of it. `regrowth_on` is (n, checks).
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

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("onward", "person_minutes", "set_up_minutes", "cumulative_hours"), np.float64)
        whole = dict.fromkeys(("plant", "rank_low", "rank_high"), np.int64)
        flags = dict.fromkeys(("within_hours", "rank_holds"), np.bool_)
        dates = dict.fromkeys(("earliest_on", "regrowth_on"), "datetime64[D]")
        freeze_columns(self, {**numbers, **whole, **flags, **dates, "reason": object}, len(self.plant))

    def __len__(self) -> int:
        """Return the number of plants on the list."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectionList:
    """Standing host plants without a confirmed status, in the order in which they should be looked at.

    `pressure` is the relative infection pressure on the plant. `is_touching` marks plants whose distance to a
    confirmed plant is within the touching distance. `within_hours` says whether the next survey's hours reach it.
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

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("pressure", "distance_m", "person_minutes"), np.float64)
        whole = dict.fromkeys(("plant", "rank_low", "rank_high", "interval_days"), np.int64)
        flags = dict.fromkeys(("is_touching", "within_hours", "rank_holds"), np.bool_)
        freeze_columns(
            self, {**numbers, **whole, **flags, "due_on": "datetime64[D]", "reason": object}, len(self.plant)
        )

    def __len__(self) -> int:
        """Return the number of plants on the list."""
        return len(self.plant)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """One ring of one focus: the smallest area that holds `share` of the focus's arrivals until `valid_until`.

    `name` is core, inner or outer. `reach_far_m`, `reach_near_m` are the farthest and the nearest distance of
    the line from the focus's centre of strength. `host_share` is the share of arrivals *on host plants* that falls
    inside. `area_low_m2`, `area_high_m2` are the range over the scale run. `inspect_every_days` is what is done inside.
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
    """All rings of all foci, then the lines of the rules of thumb. Recommended; only the authority demarcates."""

    rings: tuple[Ring, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What the run recommends for one pest system."""

    removal: RemovalList
    inspection: InspectionList
    backlog_weeks: float
    remarks: tuple[str, ...]


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
