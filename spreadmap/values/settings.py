"""Every default of spreadmap, written once, with its unit, its status and its source.

Status: `read` (read in the named source), `computed` (from a read source), `assumed` (our assumption),
`trade` (common practice, no source). A setting that rests on an assumption says so in every product's metadata.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.epidemic_settings import AheadSettings, DetectionSettings, InfectionSettings
from spreadmap.values.fit_settings import FitSettings
from spreadmap.values.page_settings import PageSettings
from spreadmap.values.removal_settings import RemovalSettings
from spreadmap.values.setting import OWN, STATUSES, setting
from spreadmap.values.survey_settings import SurveySettings

__all__ = [
    "STATUSES",
    "AheadSettings",
    "CalendarSettings",
    "CostSettings",
    "DeliverySettings",
    "DetectionSettings",
    "FitSettings",
    "GridSettings",
    "InfectionSettings",
    "InputSettings",
    "InspectionSettings",
    "KernelSettings",
    "PageSettings",
    "PhysicalKernelSettings",
    "PressureSettings",
    "RemovalSettings",
    "SettingNote",
    "Settings",
    "SourceSettings",
    "SurveySettings",
    "WindSettings",
    "ZoneSettings",
    "list_settings",
    "setting",
]

BERGH = (
    "moment fit to 10.95 +- 20.34 m, Bergh & McCoy 1997, Environ Entomol 26:256-264, doi 10.1093/ee/26.2.256, abstract: "
    "another mite species, trap catches; weak. If the catches follow density per area, the true mean is 48.7 m"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class KernelSettings:
    """How arrivals thin out with distance."""

    family: str = setting("wald", "-", "computed", BERGH)
    mean_m: float = setting(10.95, "m", "computed", BERGH, least=0.3, most=10_000)
    shape_m: float = setting(3.17, "m", "computed", BERGH, least=1e-3, most=1e6)
    reading: str = setting(
        "distance", "-", "assumed", "None: our choice; what mean_m says, wald only: distance, the mean distance itself; "
        "catch_curve, the mean of trap catches along a line, sd_m their standard deviation, both of the density per area", choices=("distance", "catch_curve"))  # fmt: skip
    sd_m: float = setting(
        20.34, "m", "read", "Bergh & McCoy 1997, doi 10.1093/ee/26.2.256, abstract; used by the reading catch_curve alone, "
        "shape_m by the reading distance", least=0.1, most=100_000)  # fmt: skip
    scale_m: float = setting(
        10.0, "m", "assumed", "None: our choice; used by every family but wald", least=0.1, most=10_000
    )
    shape: float = setting(
        2.0, "-", "assumed", "None: our choice; used by families with a shape but wald; student_2d needs more than 1, "
        "inverse_power and logistic more than 2", least=1e-2, most=100)  # fmt: skip
    far_share: float = setting(
        0.0, "-", "assumed", "None: our choice; share of all arrivals that an exponential kernel carries far", least=0, most=1)  # fmt: skip
    far_mean_m: float = setting(
        100.0, "m", "assumed", "None: our choice; mean distance of the far share, exponential per area", least=0.3, most=10_000)  # fmt: skip
    scale_run: tuple[float, ...] = setting(
        (0.5, 2.0, 5.0), "-", "assumed", "None: our choice; every length of the kernel is multiplied together"
    )


SKARPAAS = (
    "Skarpaas & Shea 2007, Am Nat 170:421-430, read in two public transcriptions of its equations, not in the paper"
)
KATUL = "Katul et al. 2005, Am Nat 166:368-381"


@dataclass(frozen=True, slots=True, kw_only=True)
class PhysicalKernelSettings:
    """How far air carries a mite that falls from a height, by physics, instead of a kernel with given lengths."""

    use_physics: bool = setting(
        False, "yes or no", "assumed", "None: our choice; nobody has measured how this mite flies", least=0, most=1
    )
    release_height_m: float = setting(
        1.0, "m", "assumed", "None: our choice; shoots of a shrub rose", least=0.05, most=50
    )
    reference_height_m: float = setting(
        10.0,
        "m",
        "trade",
        "height of a weather station's anemometer, common practice; look it up for your record",
        least=0.5,
        most=200,
    )
    least_speed_m_s: float = setting(
        0.2, "m/s", "assumed", "None: our choice; a class of calm hours is taken to blow this much: cups stand still in a breath", least=0.01, most=2)  # fmt: skip
    wind_profile: str = setting("log", "-", "read", f"{SKARPAAS}, eq. A1 and A2", choices=("log", "power"))
    canopy_height_m: float = setting(
        0.3,
        "m",
        "assumed",
        "None: our choice; with roughness_share 0.1 it makes the roughness 0.03 m of open ground with grass and few "
        "obstacles, codes.wmo.int/wmdr/SurfaceRoughnessDavenport/open",
        least=0.005,
        most=40,
    )
    displacement_share: float = setting(0.7, "share of the canopy height", "read", SKARPAAS, least=0, most=0.95)
    roughness_share: float = setting(0.1, "share of the canopy height", "read", SKARPAAS, least=0.001, most=0.5)
    falling_speed_from: str = setting(
        "given",
        "-",
        "assumed",
        "None: our choice; given: falling_speed_m_s, body: length, width and density",
        choices=("given", "body"),
    )
    falling_speed_m_s: float = setting(
        0.10,
        "m/s",
        "computed",
        "near the middle of 0.08 to 0.13 m/s, which bodies of 140 x 35 to 170 x 45 um have at the density of water; "
        "no eriophyid has been measured",
        least=0.005,
        most=5,
    )
    body_length_um: float = setting(
        150.0,
        "um",
        "read",
        "wiki.pestinfo.org/wiki/Phyllocoptes_fructiphilus; 140 to 170 um at ipm.uga.edu",
        least=20,
        most=3000,
    )
    body_width_um: float = setting(
        40.0, "um", "read", "wiki.pestinfo.org/wiki/Phyllocoptes_fructiphilus", least=10, most=3000
    )
    body_density_kg_m3: float = setting(
        1000.0, "kg/m3", "assumed", "None: our choice; density of water", least=100, most=3000
    )
    turbulence_form: str = setting(
        "dissipation",
        "-",
        "read",
        f"{SKARPAAS}, eq. A4; canopy_height: {KATUL}, from memory",
        choices=("canopy_height", "dissipation"),
    )
    vertical_gust_ratio: float = setting(
        1.3, "vertical gusts per friction speed", "read", f"{SKARPAAS}, eq. A4", least=0.1, most=5
    )
    dissipation_constant: float = setting(3.125, "-", "read", f"{SKARPAAS}, eq. A4", least=0.5, most=10)
    mixing_length_share: float = setting(
        0.4, "share of the canopy height", "assumed", f"0.3 to 0.4, {KATUL}, from memory", least=0.01, most=2
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WindSettings:
    """How much the wind bends the spread, and which hours count."""

    wind_influence: float = setting(
        0.5, "-", "assumed", "None: our choice; evidence conflicts, Thresh 1966 doi 10.1111/j.1744-7348.1966.tb04381.x "
        "against Bergh & McCoy 1997", least=0, most=1)  # fmt: skip
    near_radius_m: float = setting(1.0, "m", "assumed", OWN, least=0, most=1000)
    harmonics: int = setting(
        8, "-", "assumed", "None: our choice; sixteen sectors carry no finer detail", least=1, most=32
    )
    hours_after_sunrise: float = setting(
        3.0, "h", "assumed", "near Bergh 2001, doi 10.1603/0046-225X-30.2.318", least=0, most=12
    )
    hours_before_sunset: float = setting(
        3.0, "h", "assumed", "near Bergh 2001, doi 10.1603/0046-225X-30.2.318", least=0, most=12
    )
    least_temperature_c: float = setting(
        12.0, "deg C", "assumed", "near Nault & Styer 1969, abstract", least=-20, most=40
    )
    most_rain_mm: float = setting(0.0, "mm/h", "assumed", OWN, least=0, most=100)
    calm_below_m_s: float = setting(
        0.5, "m/s", "assumed", "near the 0.45 m/s at which a predatory mite takes its dispersal stance, abstract", least=0, most=10)  # fmt: skip
    raster_concentration: float = setting(
        1.0, "-", "assumed", "None: our choice; used where a wind raster has no mean scalar speed", least=0, most=50)  # fmt: skip
    nearest_wind_cell_m: float = setting(
        2000.0, "m", "assumed", "None: our choice; how far away a wind cell may lie that stands in for one without a value", least=0, most=100_000)  # fmt: skip
    speed_bounds_m_s: tuple[float, ...] = setting(
        (1.6, 3.4, 5.5, 8.0), "m/s", "assumed", "None: our choice; where Beaufort 2, 3, 4 and 5 begin (WMO scale, from memory). Classes of speed begin at 0, at calm_below_m_s and at these", least=0.1, most=60)  # fmt: skip
    gusty_from_m_s: float = setting(
        8.0, "m/s", "assumed", "None: our choice; where Beaufort 5 begins. Such hours are counted and told; no map changes", least=0, most=100)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceSettings:
    """How strongly a plant sends and receives."""

    size_factor: dict[str, float] = setting(
        {"S": 0.5, "M": 1.0, "L": 2.0, "XL": 4.0}, "-", "assumed", OWN, least=0, most=1000
    )
    canopy_radius_m: dict[str, float] = setting(
        {"S": 0.25, "M": 0.4, "L": 0.6, "XL": 0.9}, "m", "assumed", OWN, least=0.01, most=20)  # fmt: skip
    suspect_chance: float = setting(
        0.5, "-", "assumed", "None: our choice; share of suspects that turn out infected", least=0, most=1
    )
    reservoir_plants_per_100_m2: float = setting(5.0, "per 100 m2", "assumed", OWN, least=0, most=10_000)
    reservoir_chance: float = setting(0.3, "-", "assumed", OWN, least=0, most=1)
    partly_removed_strength: float = setting(0.3, "-", "assumed", OWN, least=0, most=1)
    screen_factor: float = setting(
        0.5, "-", "read", "Windham et al. 2016, ASHS abstract Paper23024: more than 50 % fewer cases; one study", least=0, most=1)  # fmt: skip
    screen_least_height_m: float = setting(
        1.8, "m", "read", "Windham et al. 2016, ASHS abstract Paper23024", least=0, most=50
    )
    flight_season: str = setting(
        "dated", "-", "assumed", "None: our choice; dated: the monthly weights of the pest system's file; modelled: weights from "
        "the course of mite numbers by the project's daily temperatures, where the file states what it is reckoned from",
        choices=("dated", "modelled"))  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GridSettings:
    """Where the raster lies and how fine it is."""

    cell_m: float = setting(2.0, "m", "assumed", OWN, least=0.25, most=1000)
    cell_one_site_m: float = setting(
        1.0, "m", "assumed", "None: our choice; when all plants stand on one site", least=0.25, most=1000
    )
    margin_m: float = setting(200.0, "m", "assumed", OWN, least=0, most=5000)
    most_cells: int = setting(
        64_000_000, "cells", "assumed", "None: our choice; coarser cells beyond, and said so", least=100, most=10**11
    )
    stream_above_cells: int = setting(
        64_000_000, "cells", "assumed", "None: our choice; larger rasters are written tile by tile, without holding them in memory", least=0, most=10**11)  # fmt: skip
    chance_breaks: tuple[float, ...] = setting(
        (0.01, 0.05, 0.2, 0.5), "-", "assumed", "None: our choice; where classes of the chance of infection begin in calibrated mode. They never move between surveys", least=0.001, most=0.999)  # fmt: skip
    mantissa_bits: int = setting(
        23, "bits", "assumed", "None: our choice; 23 keeps single precision as it is; 10 makes files several times smaller at a relative error of 2^-11 = 0.0005 at most", least=4, most=23)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionSettings:
    """How often to look, by distance from a confirmed plant, and how long a look takes."""

    interval_near_days: int = setting(7, "days", "assumed", OWN, least=1, most=365)
    interval_middle_days: int = setting(14, "days", "assumed", OWN, least=1, most=365)
    interval_far_days: int = setting(30, "days", "assumed", OWN, least=1, most=365)
    near_m: float = setting(10.0, "m", "assumed", OWN, least=0, most=1000)
    middle_m: float = setting(100.0, "m", "assumed", OWN, least=0, most=10_000)
    touching_m: float = setting(
        1.0, "m", "assumed", "near ASHS 2019 abstract Paper30621: 73 % of nearest neighbours in one field", least=0, most=20)  # fmt: skip
    minutes_per_plant: float = setting(
        1.5, "person-minutes", "trade", "common practice, no source", least=0.05, most=120
    )
    hours_per_survey: float = setting(24.0, "person-hours", "assumed", OWN, least=0, most=10_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class CostSettings:
    """What work costs; every figure is an order of magnitude until a desk gives its own."""

    currency: str = setting("US$", "-", "assumed", "None: our choice; only a word printed beside sums")
    labour_per_hour: float = setting(
        45.0,
        "per person-hour",
        "assumed",
        "within 25 to 75 of a consumer cost guide (second-hand)",
        least=0,
        most=10_000,
    )
    disposal_per_bag: float = setting(8.0, "per bag", "assumed", OWN, least=0, most=10_000)
    bags: dict[str, float] = setting(
        {"S": 1.0, "M": 2.0, "L": 3.0, "XL": 5.0}, "bags per plant", "assumed", OWN, least=0, most=1000
    )
    replacement_per_plant: float = setting(
        60.0, "per plant, planting included", "assumed", "near 40 to 80 for a plant of 5 gallons, cost guides (second-hand)", least=0, most=100_000)  # fmt: skip
    test_per_sample: float = setting(
        60.0, "per sample", "assumed", "near 55 US$, a state clinic's price list of 2011 (read)", least=0, most=100_000
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneSettings:
    """The three rings, and the lines of the rules of thumb."""

    core_share: float = setting(0.50, "-", "assumed", OWN, least=0.01, most=0.9999)
    inner_share: float = setting(0.95, "-", "assumed", OWN, least=0.01, most=0.9999)
    outer_share: float = setting(0.99, "-", "assumed", OWN, least=0.01, most=0.9999)
    focus_chain_m: float = setting(100.0, "m", "assumed", OWN, least=1, most=10_000)
    wild_host_line_m: float = setting(
        100.0, "m", "read", "Epstein, Hill & Nutter 1997, Weed Sci 45:172-178, doi 10.1017/S004317450009264X, abstract: "
        "no infection beyond 100 m in three years under the conditions of the study; a rule of thumb, not a limit", least=0, most=10_000)  # fmt: skip
    outer_line_m: float = setting(
        800.0,
        "m",
        "read",
        "half a mile, a 1995 symposium abstract of the same group, second-hand",
        least=0,
        most=50_000,
    )
    release_clean_months: int = setting(
        24, "months", "assumed", "None: our choice; symptoms up to two years after infection, Shires et al. 2019, APS Plant "
        "Health 2019 abstract ab669", least=1, most=240)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class InputSettings:
    """What is done with rows that cannot be used."""

    most_rows_aside: float = setting(0.05, "share of a file", "assumed", OWN, least=0, most=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureSettings:
    """How sums over sources are made: every pair, or fast within an error that is kept."""

    rtol: float = setting(
        1e-3, "share of the sum", "assumed", f"{OWN}; about a tenth of what any map shows", least=3e-4, most=0.1
    )
    method: str = setting(
        "auto", "-", "assumed", f"{OWN}; auto: the one with less work", choices=("auto", "exact", "fast")
    )
    check: bool = setting(
        False, "yes or no", "assumed", f"{OWN}; compares fast sums with exact ones at some places", least=0, most=1
    )
    probes: int = setting(64, "places", "assumed", OWN, least=1, most=10_000)
    most_memory_gb: float = setting(
        8.0, "GB", "assumed", f"{OWN}; a sum that would hold more is refused", least=0.01, most=10_000
    )
    most_mesh_gb: float = setting(
        0.5,
        "GB",
        "assumed",
        f"{OWN}; for rasters written tile by tile: a coarser mesh with wider stamps beyond",
        least=0.001,
        most=10_000,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarSettings:
    """How windows of the season are told from daily temperatures."""

    degree_day_method: str = setting(
        "average", "-", "read", "Rutgers, plant-pest-advisory.rutgers.edu/obtaining-your-local-growing-degree-day-information: "
        "mean of 24 hours less the base; near it, the mean of lowest and highest; the other methods give the spread",
        choices=("average", "single_sine", "double_sine", "single_triangle", "double_triangle"))  # fmt: skip
    most_filled_days: int = setting(
        3, "d", "assumed", f"{OWN}; longer gaps of the temperatures stay gaps", least=0, most=14)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings of a run; each group is one table `[settings.<group>]` of the project file."""

    kernel: KernelSettings = field(default_factory=KernelSettings)
    physics: PhysicalKernelSettings = field(default_factory=PhysicalKernelSettings)
    wind: WindSettings = field(default_factory=WindSettings)
    sources: SourceSettings = field(default_factory=SourceSettings)
    grid: GridSettings = field(default_factory=GridSettings)
    removal: RemovalSettings = field(default_factory=RemovalSettings)
    inspection: InspectionSettings = field(default_factory=InspectionSettings)
    survey: SurveySettings = field(default_factory=SurveySettings)
    costs: CostSettings = field(default_factory=CostSettings)
    zones: ZoneSettings = field(default_factory=ZoneSettings)
    inputs: InputSettings = field(default_factory=InputSettings)
    pressure: PressureSettings = field(default_factory=PressureSettings)
    calendar: CalendarSettings = field(default_factory=CalendarSettings)
    infection: InfectionSettings = field(default_factory=InfectionSettings)
    detection: DetectionSettings = field(default_factory=DetectionSettings)
    fit: FitSettings = field(default_factory=FitSettings)
    ahead: AheadSettings = field(default_factory=AheadSettings)
    page: PageSettings = field(default_factory=PageSettings)
    delivery: DeliverySettings = field(default_factory=DeliverySettings)


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingNote:
    """One setting as it is listed in the documentation and in every delivery."""

    name: str
    value: Any
    unit: str
    status: str
    source: str
    least: float | None
    most: float | None
    choices: tuple[str, ...]


def list_settings(settings: Settings) -> tuple[SettingNote, ...]:
    """Return every setting with its value, unit, status and source, as `group.name`."""
    notes = []
    for group in fields(settings):
        values = getattr(settings, group.name)
        if not is_dataclass(values):
            msg = f"{group.name} is not a group of settings"
            raise TypeError(msg)
        notes += [
            SettingNote(name=f"{group.name}.{item.name}", value=getattr(values, item.name), **item.metadata)
            for item in fields(values)
        ]
    return tuple(notes)
