"""Everything a run needs, read and checked, with no file left to open."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from spreadmap.values.inventory import Inventory, Reservoirs, Screens, Sites
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.surveys import DailyTemperature, Decisions, Surveys, WorkLog
from spreadmap.values.wind import WindHours, WindRaster


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault of an input: where, what was found, what is allowed, what to do.

    `weight` is `stop` (the run is refused), `aside` (the row was put aside), or `assumed` (the run goes on with the
    stated assumption).
    """

    file: str
    row: int | None
    column: str
    found: str
    allowed: str
    remedy: str
    weight: str

    def sentence(self) -> str:
        """Return the fault as one line."""
        where = self.file + (f", row {self.row}" if self.row is not None else "")
        where += f", column '{self.column}'" if self.column else ""
        allowed = f"; allowed: {self.allowed}" if self.allowed else ""
        return f"{where}: {self.found}{allowed}. {self.remedy}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectedRow:
    """A row that was put aside, with its text as it stood in the file."""

    file: str
    row: int
    reason: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """One file that was read: its role, its path relative to the project, its hash and how many rows it gave."""

    role: str
    path: str
    sha256: str
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPart:
    """The inspections of one day in one file: what a survey is known by, whatever its files are called.

    `rows_sha256` is the hash of the inspections themselves, in whatever form and order they stand. `source_sha256` is
    that of the file, with the columns and words by which it is read; `rows` how many inspections there are [-].
    """

    file: str
    day: dt.date
    rows: int
    rows_sha256: str
    source_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProjectInputs:
    """One project as read: tables, rasters, dates and the place, in the working CRS."""

    name: str
    crs: str
    longitude_deg: float
    latitude_deg: float
    as_of: dt.date
    next_survey_on: dt.date
    horizon_on: dt.date
    inventory: Inventory
    surveys: Surveys
    work_log: WorkLog
    pest_systems: tuple[PestSystem, ...]
    reservoirs: Reservoirs
    sites: Sites
    screens: Screens
    wind_hours: WindHours | None = None
    wind_raster: WindRaster | None = None
    temperature: DailyTemperature | None = None
    contact: str = ""
    holidays: tuple[dt.date, ...] = ()
    faults: tuple[Fault, ...] = ()
    rejected: tuple[RejectedRow, ...] = ()
    files: tuple[InputFile, ...] = field(default=())
    survey_parts: tuple[SurveyPart, ...] = ()
    decisions: Decisions = field(default_factory=Decisions)
