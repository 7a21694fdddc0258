"""What a forecast keeps of itself, and how it did against the inspections that followed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry.base import BaseGeometry

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray, column, freeze_columns
from spreadmap.values.words import Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """Share of infected plants that one pass finds: by eye where they show, by test where they show and where not [-]."""

    visual: float
    test: float
    test_symptomless: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """What a calibrated forecast says of n plants under one course of action, on d dates. None in relative mode.

    `infected` and `showing` are (d, n): the chance that a plant is infected, and that it is and shows it [-].
    `members_showing` is (d, members): how many of the n plants show it in every member; (d, 0) where there are none.
    `taken_out` are the keys of the plants that this course takes out.
    """

    condition: str
    taken_out: tuple[str, ...]
    on: DateArray
    infected: FloatArray
    showing: FloatArray
    members_showing: FloatArray
    sensitivity: Sensitivity

    def __post_init__(self) -> None:
        """Freeze the arrays and check that they belong together."""
        numbers = dict.fromkeys(("infected", "showing", "members_showing"), np.float64)
        freeze_columns(self, {"on": "datetime64[D]", **numbers}, len(column(self.on, "datetime64[D]")))
        if self.infected.shape != self.showing.shape:
            msg = f"infected is {self.infected.shape} and showing {self.showing.shape}; they must have one shape"
            raise ValueError(msg)

    def only(self, plants: IntArray) -> Course:
        """Return the course for some of its plants, in the order given; the members keep their counts."""
        return Course(
            condition=self.condition,
            taken_out=self.taken_out,
            on=self.on,
            infected=self.infected[:, plants],
            showing=self.showing[:, plants],
            members_showing=self.members_showing,
            sensitivity=self.sensitivity,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ForecastRing:
    """One ring as it was drawn: the polygon in the forecast's CRS that holds `share` of a focus's arrivals."""

    focus: int
    name: str
    share: float
    polygon: BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """What a run said of one pest system, kept to be scored: one item per plant to inspect, first to look at first.

    `pressure` is the relative infection pressure. `distance_m` is the distance to the nearest case known then,
    infinite where there was none; `same_place` the share of the hosts of the plant's bed (of its site where it has no
    bed) that had been found by then [-]: the two plain rules. `within` plants were within the hours of the next
    survey. `removal` are the plants to take out, in order, by key. `courses` are empty in relative mode.
    """

    system_key: str
    mode: Mode
    as_of: dt.date
    valid_until: dt.date
    condition: str
    crs: str
    plant_id: TextArray
    pressure: FloatArray
    distance_m: FloatArray
    same_place: FloatArray
    is_suspect: BoolArray
    within: int
    removal: tuple[str, ...]
    rings: tuple[ForecastRing, ...]
    courses: tuple[Course, ...] = ()

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("pressure", "distance_m", "same_place"), np.float64)
        freeze_columns(self, {"plant_id": object, **numbers, "is_suspect": np.bool_}, len(self.plant_id))

    def __len__(self) -> int:
        """Return the number of plants to inspect."""
        return len(self.plant_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleScore:
    """How well one order of the plants did; `chances` figures are NaN for orders that state none.

    `auc` is the share of pairs of a found plant and another one in which the found one stands first [-].
    `in_tenth`, `in_hours` are how many found plants stand in the first tenth, and within the hours of the list; equal
    values share a place, so that they need not be whole. `auc_ahead` is the forecast's `auc` less that of this rule,
    `tenth_ahead` the same for `in_tenth`; low and high end 95 % of redrawn beds.
    """

    rule: str
    auc: float
    in_tenth: float
    in_hours: float
    auc_ahead: float = np.nan
    auc_ahead_low: float = np.nan
    auc_ahead_high: float = np.nan
    tenth_ahead: float = np.nan
    tenth_ahead_low: float = np.nan
    tenth_ahead_high: float = np.nan
    brier: float = np.nan
    log_score: float = np.nan
    skill_over: float = np.nan
    """1 - Brier score of the forecast / Brier score of this rule: above zero where the forecast was better [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RingScore:
    """Inspected and newly found plants inside all rings of one name; `share` is what each ring holds of arrivals."""

    name: str
    share: float
    inspected: int
    found: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliabilityRow:
    """Plants whose chance of being found lay from `low` on and below `high`: what was said and what came.

    `mean_chance` and `rate` are shares [-]; `rate_low`, `rate_high` the 95 % range of the rate after Clopper and Pearson.
    """

    low: float
    high: float
    plants: int
    found: int
    mean_chance: float
    rate: float
    rate_low: float
    rate_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Murphy:
    """Brier score = reliability - resolution + uncertainty + residual; the residual is what lies inside the classes."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    residual: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CountScore:
    """How well the number of found plants was foretold; over several surveys the means and sums.

    `crps_fair` is that of an ensemble of members, NaN where none was kept. `inside` of `intervals` intervals held the
    number, where `inside_expected` should have; the same for the numbers of single beds.
    """

    expected: float
    found: int
    crps: float
    crps_fair: float
    low: float
    high: float
    intervals: int
    inside: int
    inside_expected: float
    beds: int
    beds_inside: int
    beds_inside_expected: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreFigures:
    """The figures of one survey, or of all surveys together.

    `inspected` plants had shown nothing when the forecast was made and were inspected after it; `found` of them are
    confirmed now. `tenth`, `hours` are how many of them stand in the first tenth and within the hours of the list.
    `random_low`, `random_high` end 95 % of what orders at random hold of `found` in the first tenth, exactly.
    The first rule is the forecast itself.
    """

    inspected: int
    found: int
    tenth: int
    hours: int
    random_low: float
    random_high: float
    rules: tuple[RuleScore, ...]
    rings: tuple[RingScore, ...]
    reliability: tuple[ReliabilityRow, ...] = ()
    murphy: Murphy | None = None
    count: CountScore | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyScore:
    """One old forecast against the inspections from the day after it to `scored_to`; `says` in sentences.

    `found_plants` are the positions in the inventory of the plants found, `first_plants` those that the hours of the
    old list reached; `rings` those of the forecast, in the working CRS.
    """

    mode: Mode
    forecast_as_of: dt.date
    valid_until: dt.date
    scored_to: dt.date
    figures: ScoreFigures
    says: tuple[str, ...]
    remarks: tuple[str, ...]
    found_plants: tuple[int, ...] = ()
    first_plants: tuple[int, ...] = ()
    rings: tuple[ForecastRing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemScore:
    """All old forecasts of one pest system, oldest first, and the totals; `says` stands where there is nothing else."""

    system_key: str
    mode: Mode
    surveys: tuple[SurveyScore, ...] = ()
    running: ScoreFigures | None = None
    says: tuple[str, ...] = field(default=())
