"""What a run found, ready to be shown and written."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from spreadmap.values.ahead import Ahead
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray, TextArray
from spreadmap.values.calendar import Season
from spreadmap.values.costs import CostTable
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.hidden import Hidden, HiddenOrder
from spreadmap.values.inventory import Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Disposal, Plan, Zones
from spreadmap.values.project import ProjectInputs
from spreadmap.values.score import Course, SystemScore
from spreadmap.values.settings import Settings
from spreadmap.values.survey_answer import SurveyAnswer
from spreadmap.values.surveys import PlantState
from spreadmap.values.wind import WindClimate
from spreadmap.values.words import Mode

PRESSURE = ("Relative infection pressure", "1 = one confirmed medium plant, still air, 10 m away")
CHANCE = ("Chance of infection in the period", "share of medium plants standing there healthy, 0 to 1")
BOTH = ("Chances, and relative infection pressure", "chances 0 to 1; pressure 1 = a confirmed plant 10 m away")
"""Quantity and unit of the maps: in relative mode, in calibrated mode, and of calibrated tables that hold both."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """What every product says of itself: quantity, period, condition, mode and dates."""

    quantity: str
    unit: str
    period_from: dt.date
    period_to: dt.date
    condition: str
    mode: Mode
    as_of: dt.date
    valid_until: dt.date

    def sentence(self) -> str:
        """Return the face in one sentence."""
        return (
            f"{self.quantity} [{self.unit}], {self.period_from:%Y-%m-%d} to {self.period_to:%Y-%m-%d}, "
            f"{self.condition}; {self.mode.value} mode; state of {self.as_of:%Y-%m-%d}, "
            f"valid until {self.valid_until:%Y-%m-%d}."
        )

    def of(self, told: tuple[str, str]) -> Face:
        """Return the face of a product that holds another quantity: its name and unit."""
        return replace(self, quantity=told[0], unit=told[1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """Relative infection pressure on every plant [multiples of the unit], and its parts.

    `pressure` counts all sources, `from_plants` the inventory's own, `from_reservoirs` the wild stands.
    `scale_rank` is (scales, n): the rank of every plant (1 is highest) for each factor of the scale run.
    """

    pressure: FloatArray
    from_plants: FloatArray
    from_reservoirs: FloatArray
    scale_factors: FloatArray
    scale_rank: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HiddenFirstForm:
    """Standing host plants without symptoms, ranked by the pressure they stood under; no chance is stated.

    `relative_exposure` is NaN where the plant is no candidate (no host, removed, confirmed).
    `is_touching` marks candidates within the touching distance of a confirmed plant.
    """

    relative_exposure: FloatArray
    is_touching: BoolArray
    distance_to_confirmed_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A pest system that fits a finding: whether the genus is on its list of hosts, and which words matched."""

    system: PestSystem
    is_host: bool
    matched: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Identification:
    """Findings of one system on one genus with one symptom text, held against all systems on file.

    `plants` are positions in the inventory. `fits` are the systems that fit, best first. `misfit` says what speaks
    against the surveyor's identification, and is empty where nothing does. `tell_apart` says what to do.
    """

    plants: tuple[int, ...]
    genus: str
    symptoms: str
    fits: tuple[Fit, ...]
    misfit: str
    tell_apart: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Triage:
    """What the findings of one pest system amount to, and what they justify."""

    system: PestSystem
    infected: int
    suspect: int
    clean: int
    not_inspected: int
    hosts: int
    says: str
    season_says: str
    identifications: tuple[Identification, ...] = ()

    @property
    def is_found(self) -> bool:
        """Return whether anything of this system was found, confirmed or suspect."""
        return self.infected + self.suspect > 0

    @property
    def is_told_of(self) -> bool:
        """Return whether the records speak of this system: it is mapped, was found, or was looked for."""
        return self.system.is_mapped or self.is_found or self.clean > 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedSystem:
    """One mapped pest system up to its lists: all that the next survey needs, and no map, zone or forecast."""

    triage: Triage
    state: PlantState
    exposure: Exposure
    hidden: HiddenFirstForm
    breaks: tuple[float, ...]
    plan: Plan
    face: Face
    unseen: Hidden | HiddenOrder | None = None
    """Hidden infection: chances in calibrated mode, their order alone in relative mode; None where nobody asked."""
    survey: SurveyAnswer | None = None
    """What the last survey allows to be said, and what is drawn for the next one."""
    costs: CostTable | None = None
    """What the work and the next survey cost, by site and owner."""

    @property
    def lists_face(self) -> Face:
        """Return what lists and tables of plants say of themselves: in calibrated mode they hold pressure and chances."""
        return self.face if self.face.mode is Mode.RELATIVE else self.face.of(BOTH)

    @property
    def pressure_face(self) -> Face:
        """Return what a product says of itself that holds shares of arrivals and classes of pressure in either mode."""
        return self.face if self.face.mode is Mode.RELATIVE else self.face.of(PRESSURE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SystemResult(PlannedSystem):
    """All that was computed for one mapped pest system; the surfaces hold what its face says."""

    climate: WindClimate
    sources: Sources
    surface: Surface
    surface_without_reservoirs: Surface
    unit_per_m2: float
    ahead: Ahead
    zones: Zones
    reach_says: tuple[str, ...] = ()
    """Directional distances of landings, in sentences."""
    raster_grid: Grid | None = None
    """Cells of the delivered rasters where they were written tile by tile; the surfaces are then in coarser cells."""
    courses: tuple[Course, ...] = ()
    """Chances of every plant of the inventory under each course of action; none in relative mode."""
    before: PlantState | None = None
    """The state at the survey before the last one; None where there was none."""
    score: SystemScore | None = None
    """How the forecasts on record did; None where nobody asked."""
    chance_breaks: tuple[float, ...] = ()
    """Limits between the classes of the surfaces where these hold chances [-]; none in relative mode."""

    @property
    def surface_breaks(self) -> tuple[float, ...]:
        """Return the limits between the classes of the surfaces, in their own unit."""
        return self.chance_breaks or self.breaks

    @property
    def cells(self) -> Grid:
        """Return the grid of the delivered rasters."""
        return self.surface.grid if self.raster_grid is None else self.raster_grid


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedSurvey:
    """The next survey of a project: the lists of all mapped pest systems."""

    inputs: ProjectInputs
    settings: Settings
    systems: tuple[PlannedSystem, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurveyResult(PlannedSurvey):
    """The answer to one survey: triage of every system, and maps and lists for those with a removal verdict."""

    systems: tuple[SystemResult, ...]
    triage: tuple[Triage, ...]
    status_words: TextArray
    """The worst status of every plant over all systems, for maps that show every plant once."""
    disposals: tuple[Disposal, ...] = ()
    """What is discarded or cut for the systems whose plants do not come out with their roots."""
    season: Season | None = None
    """The windows of all systems that have hosts here."""
