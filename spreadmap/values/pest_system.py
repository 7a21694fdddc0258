"""A pest system: which mite (and pathogen) on which hosts, when, and what the finding justifies.

Every part that states something carries `status` (a word of `values.settings.STATUSES`) and `source`, in words.
Days of the year are (month, day) of an ordinary year.
"""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.course import Course
from spreadmap.values.words import SeasonType, TreatmentCaution, TreatmentClass, Verdict, WindowKind

FREEZING_F = 32.0
FAHRENHEIT_PER_CELSIUS = 1.8


def celsius(value: float, unit: str) -> float:
    """Return a temperature [C] from one in `unit`, C or F."""
    return value if unit == "C" else (value - FREEZING_F) / FAHRENHEIT_PER_CELSIUS


def celsius_days(value: float, unit: str) -> float:
    """Return degree-days [C d] from degree-days in `unit`, C or F."""
    return value if unit == "C" else value / FAHRENHEIT_PER_CELSIUS


@dataclass(frozen=True, slots=True, kw_only=True)
class DegreeDays:
    """A stretch of the degree-days counted from a day of the year, as its source prints it.

    `first`, `last` and the lower threshold `base` are in `unit` (C or F); `upper` is an upper threshold, if there is
    one. `counted_from` is the first day of the count.
    """

    first: float
    last: float
    base: float
    unit: str
    counted_from: tuple[int, int]
    status: str
    source: str
    upper: float | None = None

    @property
    def first_c_days(self) -> float:
        """Return where the window opens [C d]."""
        return celsius_days(self.first, self.unit)

    @property
    def last_c_days(self) -> float:
        """Return where the window closes [C d]."""
        return celsius_days(self.last, self.unit)

    @property
    def base_c(self) -> float:
        """Return the lower threshold [C]."""
        return celsius(self.base, self.unit)

    @property
    def upper_c(self) -> float | None:
        """Return the upper threshold [C], if there is one."""
        return None if self.upper is None else celsius(self.upper, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A window of the season, as first and last (month, day) of an ordinary year, with what it is for.

    A window whose `ends` is before its `begins` runs over the turn of the year. Both days may come `spread_days`
    earlier or later. `degree_days` say the same from temperatures, where a source gives them; `sign` is what shows it
    in the open, such as another plant in bloom.
    """

    name: str
    begins: tuple[int, int]
    ends: tuple[int, int]
    advice: str
    status: str
    source: str
    kind: WindowKind = WindowKind.LOOK
    spread_days: int = 0
    spread_status: str = "assumed"
    spread_source: str = "None: our choice"
    degree_days: DegreeDays | None = None
    sign: str = ""

    @property
    def runs_over_new_year(self) -> bool:
        """Return whether the window begins in one year and ends in the next."""
        return self.ends < self.begins


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAgain:
    """Damage that shows when its mites have left: look again when the named window opens.

    Damage first seen between `seen_from` and `seen_to` was made by mites that left by `mites_left`. `window` is the
    name of the window (kind look) in which looking is worth while again.
    """

    seen_from: tuple[int, int]
    seen_to: tuple[int, int]
    mites_left: tuple[int, int]
    window: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Development:
    """Development by temperature of an organism; it may stand in for a relative that nobody measured.

    Thresholds and degree-days per generation (egg to adult) are in `unit`, C or F.
    """

    organism: str
    status: str
    source: str
    unit: str = "C"
    lower_threshold: float | None = None
    upper_threshold: float | None = None
    degree_days_per_generation: float | None = None
    is_stand_in: bool = False

    @property
    def lower_c(self) -> float | None:
        """Return the lower threshold [C]."""
        return None if self.lower_threshold is None else celsius(self.lower_threshold, self.unit)

    @property
    def upper_c(self) -> float | None:
        """Return the upper threshold [C]."""
        return None if self.upper_threshold is None else celsius(self.upper_threshold, self.unit)

    @property
    def generation_c_days(self) -> float | None:
        """Return the degree-days from egg to adult [C d]."""
        if self.degree_days_per_generation is None:
            return None
        return celsius_days(self.degree_days_per_generation, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure: what it is, its value (a number, a range, or words), unit, status and source.

    Two figures of the same `what` are two sources; neither is preferred by its place.
    """

    what: str
    value: float | tuple[float, float] | str
    unit: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """One sentence of a source."""

    says: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """Sources that differ: what about, and what each of them says. Never averaged."""

    about: str
    statements: tuple[Statement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Overwintering:
    """As which stage and where the system passes the cold (or rests in the heat)."""

    stage: str
    site: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """The ways by which it gets from plant to plant."""

    ways: tuple[str, ...]
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAlike:
    """What a finding may be instead, and how to tell: by eye, lens, test, or by waiting.

    `is_serious` marks what would be worse than the system itself.
    """

    name: str
    how: str
    by: str = "eye"
    is_serious: bool = False
    status: str = "assumed"
    source: str = "None: our choice"

    @property
    def sentence(self) -> str:
        """Return what it may be and how to tell, as one line."""
        return f"{self.name}: {self.how}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPart:
    """A part of the plant that is cut off and destroyed, when, and how."""

    part: str
    begins: tuple[int, int]
    ends: tuple[int, int]
    how: str
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """Which classes of treatment come in question, from the least to the most, with their cautions."""

    classes: tuple[TreatmentClass, ...] = (TreatmentClass.NONE,)
    cautions: tuple[TreatmentCaution, ...] = ()
    note: str = ""
    status: str = "assumed"
    source: str = "None: our choice"


@dataclass(frozen=True, slots=True, kw_only=True)
class PestSystem:
    """One pest system, read from one TOML file.

    `host_genera` are genus names; with `host_list_is_open` plants of other genera may be hosts too; `woody_genera` are
    those that a verdict "discard plant" leaves standing. `course` holds what numbers through a year are reckoned from;
    None where too little is known. `flight_weight` has twelve numbers, January first: relative
    numbers of mites in the air [-]. `verdict_reason` is one sentence. `look_again` is None where damage and mites are
    seen together. `cut_parts` is filled for the verdict "cut parts" only, `discard_how` for "discard plant" only.
    """

    key: str
    common_name: str
    scientific_name: str
    eppo_code: str
    pathogen: str
    vector: str
    host_genera: tuple[str, ...]
    symptom_words: tuple[str, ...]
    verdict: Verdict
    verdict_reason: str
    flight_weight: tuple[float, ...]
    flight_weight_status: str
    flight_weight_source: str
    windows: tuple[Window, ...]
    look_alikes: tuple[LookAlike, ...]
    caution: str
    sources: tuple[str, ...]
    other_names: tuple[str, ...] = ()
    eppo_status: str = ""
    eppo_source: str = ""
    hosts_note: str = ""
    host_list_is_open: bool = False
    woody_genera: tuple[str, ...] = ()
    season_type: SeasonType = SeasonType.WARM
    season_note: str = ""
    overwintering: Overwintering | None = None
    development: tuple[Development, ...] = ()
    course: Course | None = None
    look_again: LookAgain | None = None
    moving: Moving | None = None
    damage: Statement | None = None
    treatment: Treatment = Treatment()
    cut_parts: tuple[CutPart, ...] = ()
    discard_how: Statement | None = None
    conflicts: tuple[Conflict, ...] = ()
    figures: tuple[Figure, ...] = ()

    def __post_init__(self) -> None:
        """Check the twelve monthly weights."""
        if len(self.flight_weight) != 12 or min(self.flight_weight) < 0:
            msg = f"{self.key}: flight_weight needs twelve numbers, none below zero"
            raise ValueError(msg)

    @property
    def is_mapped(self) -> bool:
        """Return whether this system gets maps and a removal list: only where whole plants come out with roots."""
        return self.verdict is Verdict.REMOVE_WITH_ROOTS

    @property
    def look_again_window(self) -> Window | None:
        """Return the window in which looking is worth while again after damage whose mites have left."""
        if self.look_again is None:
            return None
        return next((window for window in self.windows if window.name == self.look_again.window), None)

    def windows_of(self, kind: WindowKind) -> tuple[Window, ...]:
        """Return the windows of one kind: look, act, or too late."""
        return tuple(window for window in self.windows if window.kind is kind)

    def figures_of(self, what: str) -> tuple[Figure, ...]:
        """Return every figure of a quantity; more than one where sources differ."""
        return tuple(figure for figure in self.figures if figure.what == what)
