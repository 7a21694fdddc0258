"""Defaults of the outbreak: how infection runs in one plant, and how well it is found."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.setting import OWN, setting

LATENCY = (
    "17 to 279 days from inoculation to symptoms as the central 95 % of a log-normal, common range of extension texts; "
    "30 to 146 days in Allington et al. 1968, J Econ Entomol 61:1132-1140, abstract, which gives 66 d and 0.48"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class InfectionSettings:
    """How a plant becomes infected, infectious and symptomatic."""

    contact_per_season: float = setting(
        1.3, "infections per active season and touching infectious plant", "assumed",
        "near ASHS 2019 abstract Paper30621: 73 % of nearest neighbours in one field, 1 - exp(-1.3)", least=0, most=100)  # fmt: skip
    background_per_season: float = setting(
        0.001, "infections per medium plant and active season", "assumed", OWN, least=0, most=10
    )
    infectious_after_days: float = setting(14.0, "days", "assumed", OWN, least=0, most=730)
    latency_median_days: float = setting(69.0, "days of the growing season", "computed", LATENCY, least=1, most=3650)
    latency_sigma: float = setting(0.71, "- (log)", "computed", LATENCY, least=0.01, most=3)
    growing_from: tuple[int, int] = setting(
        (3, 15),
        "month, day",
        "assumed",
        "None: our choice, near bud break; latency runs and symptoms are seen from this day on; set it for your place",
    )
    growing_to: tuple[int, int] = setting(
        (11, 30),
        "month, day",
        "assumed",
        "None: our choice, near hard frost; the last day on which latency runs and symptoms are seen; set it for your place",
    )
    assumed_onward: float = setting(
        2.0, "infections through the air per typical confirmed plant and full season", "assumed",
        "None: our choice; used where no survey history was fitted, for ranks alone", least=0.01, most=100)  # fmt: skip
    assumed_onward_range: tuple[float, float] = setting(
        (0.5, 8.0), "infections through the air per typical confirmed plant and full season", "assumed",
        "None: our choice; ranks that hold from the first to the last are marked", least=0.01, most=100)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionSettings:
    """Chance that a look or a test tells an infected plant; passes are not independent."""

    visual_symptomatic: float = setting(
        0.55, "chance per pass", "assumed",
        "within 0.47 to 0.61 of five crews on another disease: Futch 2009, Proc Fla State Hort Soc 122, abstract", least=0.01, most=1)  # fmt: skip
    test_symptomatic: float = setting(0.95, "chance per test", "assumed", OWN, least=0.01, most=1)
    test_symptomless: float = setting(0.6, "chance per test", "assumed", OWN, least=0, most=1)
    by_observer: dict[str, float] = setting(
        {}, "chance per pass on a symptomatic plant, by the name of the observer or group in the survey tables",
        "assumed", "None: our choice; observers that are not named here have visual_symptomatic", least=0.01, most=1)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class AheadSettings:
    """How the spread ahead is drawn, and which courses of action are compared."""

    draws: int = setting(
        50, "draws", "assumed", "None: our choice; draws of rates and law in calibrated mode, fewer where fewer were fitted", least=1, most=10_000)  # fmt: skip
    members: int = setting(20, "members per draw", "assumed", OWN, least=1, most=10_000)
    seed: int = setting(
        20_260, "-", "assumed", "None: our choice; the same seed gives the same numbers", least=0, most=2**31 - 1
    )
    most_infections: int = setting(
        20_000_000, "infections", "assumed",
        "None: our choice; members are fewer, and it is said, where all of them together would have more", least=1000, most=10**12)  # fmt: skip
    later_weeks: int = setting(
        4,
        "weeks",
        "assumed",
        "None: our choice; by how much the list is put off in the course that waits",
        least=1,
        most=104,
    )
    ring_m: float = setting(
        10.0, "m", "assumed", "None: our choice; in the course that clears rings every host this near a confirmed plant comes out", least=0, most=5000)  # fmt: skip
