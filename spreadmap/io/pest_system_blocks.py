"""The keys of a pest system's TOML file, checked, and what they become."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, NoReturn, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from spreadmap.values.course import Course, Stated, StatedDay
from spreadmap.values.pest_system import (
    Conflict,
    CutPart,
    DegreeDays,
    Development,
    Figure,
    LookAgain,
    LookAlike,
    Moving,
    Overwintering,
    PestSystem,
    Statement,
    Treatment,
    Window,
    celsius,
)
from spreadmap.values.words import SeasonType, TreatmentCaution, TreatmentClass, Verdict, WindowKind

NO_FLIGHT = "None: no season of flight on file; used for no map"


def month_day(text: object) -> tuple[int, int]:
    """Return month and day of a text MM-DD.

    Raises
    ------
    ValueError
        If it is none.
    """
    try:
        day = dt.date.fromisoformat(f"2001-{text}")
    except ValueError:
        msg = "a day of the year is written MM-DD, for example 04-15"
        raise ValueError(msg) from None
    return day.month, day.day


def refuse(key: str, found: object, allowed: str, remedy: str) -> NoReturn:
    """Refuse one key of a block: the value found, what is allowed, what to do."""
    kind, template = "own", "{allowed}"
    raise PydanticCustomError(kind, template, {"key": key, "found": str(found), "allowed": allowed, "remedy": remedy})


MonthDay = Annotated[tuple[int, int], BeforeValidator(month_day)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Degrees = Literal["C", "F"]
Standing = Literal["read", "computed", "assumed", "trade"]
"""How well a figure is known: the words of `values.settings.STATUSES`."""


class _Block(BaseModel):
    """Keys are checked: an unknown one is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class _Told(_Block):
    """What has a status and a source."""

    status: Standing
    source: Text


def _check_unit(unit: str | None, **temperatures: float | None) -> None:
    """Refuse a temperature, or degree-days, without unit."""
    given = [f"{key} = {value:g}" for key, value in temperatures.items() if value is not None]
    if given and unit is None:
        refuse("unit", f"nothing, beside {' and '.join(given)}", "C or F", 'Write unit = "C" or unit = "F".')


def _written(day: tuple[int, int]) -> str:
    """Return a day of the year as it is written in a file."""
    return f"{day[0]:02d}-{day[1]:02d}"


class DegreeDaysBlock(_Told):
    """Degree-days of a window."""

    first: Annotated[Number, Field(ge=0)]
    last: Annotated[Number, Field(ge=0)]
    base: Number
    upper: Number | None = None
    unit: Degrees | None = None
    counted_from: MonthDay

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse a missing unit and turned ends."""
        _check_unit(self.unit, base=self.base)
        if self.last < self.first:
            refuse("last", f"{self.last:g}", f"first = {self.first:g} or more", "Turn first and last round.")
        if self.upper is not None and self.upper <= self.base:
            refuse("upper", f"{self.upper:g}", f"above base = {self.base:g}", "Correct one of them.")
        return self

    def value(self) -> DegreeDays:
        """Return the value."""
        return DegreeDays(**self.model_dump())


class WindowBlock(_Told):
    """One window of the season; days are written MM-DD."""

    name: Text
    kind: WindowKind = WindowKind.LOOK
    begins: MonthDay
    ends: MonthDay
    over_new_year: bool = False
    spread_days: Annotated[int, Field(ge=0, le=90)] = 0
    spread_status: Standing = "assumed"
    spread_source: Text = "None: our choice"
    sign: str = ""
    advice: Text
    degree_days: DegreeDaysBlock | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse a window that ends before it begins, unless it says that it runs over the new year."""
        ends = _written(self.ends)
        if self.ends < self.begins and not self.over_new_year:
            refuse("ends", ends, f"{_written(self.begins)} or later", "Turn the days round, or write over_new_year = true "
                   "if the window runs into the next year.")  # fmt: skip
        if self.over_new_year and self.ends >= self.begins:
            allowed = f"only where ends, {ends}, is before begins"
            refuse("over_new_year", "true", allowed, "Remove it or correct the days.")
        return self

    def value(self) -> Window:
        """Return the value."""
        plain = self.model_dump(exclude={"over_new_year", "degree_days"})
        return Window(**plain, degree_days=self.degree_days.value() if self.degree_days else None)


class LookAgainBlock(_Told):
    """Damage that shows when its mites have left."""

    seen_from: MonthDay
    seen_to: MonthDay
    mites_left: MonthDay
    window: Text


class DevelopmentBlock(_Told):
    """Development by temperature."""

    organism: Text
    lower_threshold: Number | None = None
    upper_threshold: Number | None = None
    degree_days_per_generation: Annotated[Number, Field(gt=0)] | None = None
    unit: Degrees | None = None
    is_stand_in: bool = False

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse thresholds without unit, or turned."""
        _check_unit(
            self.unit,
            lower_threshold=self.lower_threshold,
            upper_threshold=self.upper_threshold,
            degree_days_per_generation=self.degree_days_per_generation,
        )
        lower, upper = self.lower_threshold, self.upper_threshold
        if lower is not None and upper is not None and upper <= lower:
            refuse("upper_threshold", f"{upper:g}", f"above lower_threshold = {lower:g}", "Correct one of them.")
        return self


class StatedBlock(_Told):
    """A number."""

    value: Annotated[Number, Field(ge=0)]


class WarmthBlock(_Told):
    """A temperature."""

    value: Number


class StatedDayBlock(_Told):
    """A day of the year."""

    value: MonthDay


class CourseBlock(_Block):
    """What the course of numbers through a year is reckoned from."""

    organism: Text
    unit: Degrees | None = None
    growth_per_day: StatedBlock
    at_temperature: WarmthBlock
    loss_per_day: StatedBlock
    overwintered_share: StatedBlock
    starts_on: StatedDayBlock | None = None
    starts_at_degree_days: StatedBlock | None = None
    stops_on: StatedDayBlock | None = None
    stops_below_daylight_h: StatedBlock | None = None
    rests_above: WarmthBlock | None = None
    rest_window_days: StatedBlock | None = None
    resting_loss_per_day: StatedBlock | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse a missing unit, shares beyond one, and a season without start or stop, or with two starts."""
        _check_unit(self.unit, at_temperature=self.at_temperature.value)
        if self.growth_per_day.value <= 0:
            refuse("growth_per_day.value", f"{self.growth_per_day.value:g}", "above 0", "Correct it.")
        if not 0 < self.overwintered_share.value <= 1:
            refuse("overwintered_share.value", f"{self.overwintered_share.value:g}", "above 0 to 1", "Correct it.")
        if (self.starts_on is None) == (self.starts_at_degree_days is None):
            found = "none of them" if self.starts_on is None else "both"
            refuse("starts_on", found, "one of starts_on and starts_at_degree_days", "Give one of them.")
        if self.stops_on is None and self.stops_below_daylight_h is None:
            refuse("stops_on", "nothing", "stops_on, stops_below_daylight_h or both", "Give one of them.")
        if self.stops_below_daylight_h is not None and self.stops_below_daylight_h.value > 24:
            refuse("stops_below_daylight_h.value", f"{self.stops_below_daylight_h.value:g}", "0 to 24", "Correct it.")
        days = self.rest_window_days
        if days is not None and not (1 <= days.value <= 60 and days.value == int(days.value)):
            refuse("rest_window_days.value", f"{days.value:g}", "a whole number, 1 to 60", "Correct it.")
        for key in ("rest_window_days", "resting_loss_per_day"):
            if getattr(self, key) is not None and self.rests_above is None:
                refuse(
                    key, "no rests_above beside it", f"{key} only beside rests_above", "Add rests_above or remove it."
                )
        return self

    def as_value(self) -> Course:
        """Return the value."""
        kinds = {StatedDayBlock: StatedDay, StatedBlock: Stated, WarmthBlock: Stated}
        given = {name: getattr(self, name) for name in type(self).model_fields}
        told = {name: kinds[type(each)](**each.model_dump()) for name, each in given.items() if isinstance(each, _Told)}
        return Course(organism=self.organism, unit=self.unit or "C", **told)


class FigureBlock(_Told):
    """One figure."""

    what: Text
    value: Number | Annotated[list[Number], Field(min_length=2, max_length=2)] | Text
    unit: Text

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse a range whose ends are turned."""
        if isinstance(self.value, list) and self.value[1] < self.value[0]:
            refuse("value", self.value, "a range [low, high]", "Turn it round.")
        return self

    def as_value(self) -> Figure:
        """Return the value."""
        value = (self.value[0], self.value[1]) if isinstance(self.value, list) else self.value
        return Figure(what=self.what, value=value, unit=self.unit, status=self.status, source=self.source)


class StatementBlock(_Told):
    """One sentence."""

    says: Text


class ConflictBlock(_Block):
    """Sources that differ."""

    about: Text
    statements: Annotated[list[StatementBlock], Field(min_length=2)]

    def value(self) -> Conflict:
        """Return the value."""
        return Conflict(about=self.about, statements=tuple(Statement(**each.model_dump()) for each in self.statements))


class OverwinteringBlock(_Told):
    """Stage and site."""

    stage: Text
    site: Text


class MovingBlock(_Told):
    """Ways of moving."""

    ways: Annotated[list[Text], Field(min_length=1)]


class LookAlikeBlock(_Block):
    """What it may be instead."""

    name: Text
    how: Text
    by: Literal["eye", "lens", "test", "time"] = "eye"
    is_serious: bool = False
    status: Standing = "assumed"
    source: Text = "None: our choice"

    @model_validator(mode="before")
    @classmethod
    def _one_line(cls, given: object) -> object:
        """Take a plain line "what it may be: how to tell" as well."""
        if isinstance(given, str) and ":" in given:
            name, how = given.split(":", 1)
            return {"name": name, "how": how}
        return given


class CutPartBlock(_Told):
    """A part that is cut off."""

    part: Text
    begins: MonthDay
    ends: MonthDay
    how: Text


class TreatmentBlock(_Told):
    """Classes and cautions of treatment."""

    classes: Annotated[list[TreatmentClass], Field(min_length=1)]
    cautions: list[TreatmentCaution] = Field(default_factory=list)
    note: str = ""


class FlightBlock(_Told):
    """Relative numbers of mites in the air, January to December."""

    weight: Annotated[list[Annotated[Number, Field(ge=0)]], Field(min_length=12, max_length=12)]


class SystemBlock(_Block):
    """One file."""

    common_name: Text
    scientific_name: Text
    other_names: list[Text] = Field(default_factory=list)
    eppo_code: str = ""
    eppo_status: Standing | None = None
    eppo_source: str = ""
    pathogen: str = ""
    vector: str = ""
    host_genera: Annotated[list[Text], Field(min_length=1)]
    hosts_note: str = ""
    host_list_is_open: bool = False
    woody_genera: list[Text] = Field(default_factory=list)
    symptom_words: list[Text] = Field(default_factory=list)
    season_type: SeasonType = SeasonType.WARM
    season_note: str = ""
    verdict: Verdict
    verdict_reason: Text
    caution: str = ""
    sources: Annotated[list[Text], Field(min_length=1)]
    flight: FlightBlock | None = None
    overwintering: OverwinteringBlock | None = None
    development: list[DevelopmentBlock] = Field(default_factory=list)
    course: CourseBlock | None = None
    windows: list[WindowBlock] = Field(default_factory=list)
    look_again: LookAgainBlock | None = None
    moving: MovingBlock | None = None
    damage: StatementBlock | None = None
    look_alikes: list[LookAlikeBlock] = Field(default_factory=list)
    treatment: TreatmentBlock | None = None
    cut_parts: list[CutPartBlock] = Field(default_factory=list)
    discard_how: StatementBlock | None = None
    conflicts: list[ConflictBlock] = Field(default_factory=list)
    figures: list[FigureBlock] = Field(default_factory=list)

    @model_validator(mode="after")
    def _check(self) -> Self:
        """Refuse parts that do not fit each other."""
        names = [window.name for window in self.windows]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            refuse("windows", twice, "a name of its own for every window", "Rename one of the two.")
        if self.look_again is not None:
            looks = [window.name for window in self.windows if window.kind is WindowKind.LOOK]
            if self.look_again.window not in looks:
                refuse("look_again.window", self.look_again.window, ", ".join(looks) or "no window of kind look is there",
                       "Give the name of a window of kind look.")  # fmt: skip
        if self.eppo_code and not (self.eppo_status and self.eppo_source):
            refuse("eppo_code", self.eppo_code, "a code with its status and source", "Add eppo_status and eppo_source.")
        if self.course is not None:
            self._check_course(self.course)
        self._check_verdict()
        return self

    def _check_course(self, course: CourseBlock) -> None:
        """Refuse a course whose growth does not go with thresholds of the file."""
        known = {each.organism: each for each in self.development if each.lower_threshold is not None}
        if course.organism not in known:
            refuse("course.organism", course.organism, "; ".join(known) or "no development with a lower_threshold is there",
                   "Give the organism of the development whose thresholds go with the growth.")  # fmt: skip
        source, warmth = known[course.organism], course.at_temperature.value
        lower = celsius(source.lower_threshold or 0.0, source.unit or "C")
        if celsius(warmth, course.unit or "C") <= lower:
            refuse("course.at_temperature.value", f"{warmth:g} {course.unit}", f"above the lower threshold, {lower:g} C",
                   "Give the temperature at which the growth was found.")  # fmt: skip

    def _check_verdict(self) -> None:
        """Refuse parts that the verdict does not allow or that it needs."""
        verdict = self.verdict
        if verdict is Verdict.REMOVE_WITH_ROOTS and self.flight is None:
            refuse("flight", "nothing", "twelve monthly weights, for the system is mapped", "Add [flight].")
        if (verdict is Verdict.CUT_PARTS) != bool(self.cut_parts):
            refuse("cut_parts", f"{len(self.cut_parts)} parts", "parts with the verdict cut_parts, and only with it",
                   "Add the parts, or correct the verdict.")  # fmt: skip
        if self.discard_how is not None and verdict is not Verdict.DISCARD_PLANT:
            refuse("discard_how", self.discard_how.says, "only with the verdict discard_plant", "Remove it.")

    def value(self, key: str) -> PestSystem:
        """Return the pest system under its key."""
        named = {"common_name", "scientific_name", "eppo_code", "eppo_source", "pathogen", "vector", "hosts_note",
                 "host_list_is_open", "season_type", "season_note", "verdict", "verdict_reason", "caution"}  # fmt: skip
        flight, treatment = self.flight, self.treatment
        return PestSystem(
            key=key,
            **self.model_dump(include=named),
            eppo_status=self.eppo_status or "",
            other_names=tuple(self.other_names),
            host_genera=tuple(self.host_genera),
            woody_genera=tuple(self.woody_genera),
            symptom_words=tuple(self.symptom_words),
            sources=tuple(self.sources),
            flight_weight=tuple(flight.weight) if flight else (1.0,) * 12,
            flight_weight_status=flight.status if flight else "assumed",
            flight_weight_source=flight.source if flight else NO_FLIGHT,
            overwintering=Overwintering(**self.overwintering.model_dump()) if self.overwintering else None,
            development=tuple(Development(**each.model_dump(exclude_none=True)) for each in self.development),
            windows=tuple(window.value() for window in self.windows),
            course=self.course.as_value() if self.course else None,
            look_again=LookAgain(**self.look_again.model_dump()) if self.look_again else None,
            moving=Moving(**{**self.moving.model_dump(), "ways": tuple(self.moving.ways)}) if self.moving else None,
            damage=Statement(**self.damage.model_dump()) if self.damage else None,
            look_alikes=tuple(LookAlike(**each.model_dump()) for each in self.look_alikes),
            treatment=_treatment(treatment),
            cut_parts=tuple(CutPart(**each.model_dump()) for each in self.cut_parts),
            discard_how=Statement(**self.discard_how.model_dump()) if self.discard_how else None,
            conflicts=tuple(conflict.value() for conflict in self.conflicts),
            figures=tuple(figure.as_value() for figure in self.figures),
        )


def _treatment(block: TreatmentBlock | None) -> Treatment:
    """Return the treatment classes; none recommended where the file says nothing."""
    if block is None:
        return Treatment()
    plain = block.model_dump(exclude={"classes", "cautions"})
    return Treatment(**plain, classes=tuple(block.classes), cautions=tuple(block.cautions))
