"""Defaults of removal: crews, minutes and dates, what a plant is worth, when its place may be planted again."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.setting import OWN, setting

SIMULATED = (
    "simulation of our own, 20 outbreaks: between surveys 28 days apart the order by value left 0.79 of the new infections "
    "of fullest bed first, 91 days apart 0.96; nothing between was tried"
)

GREEN_TRIED = (
    "simulation of our own, 4 outbreaks, 8 crew hours a week: credited for a year like confirmed plants, the green ones cost 20 "
    "healthy plants an outbreak and left 66 new infections; credited for 112 days 6 healthy plants and 64 infections"
)
"""Chosen on four other outbreaks: 112 days are about the time until a hidden plant shows and is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovalSettings:
    """Crews, minutes and dates of removal work."""

    crew_hours_per_week: float = setting(
        30.0, "h", "assumed", "None: our choice; working hours of one crew", least=0, most=10_000
    )
    people_per_crew: int = setting(2, "persons", "assumed", OWN, least=1, most=100)
    working_days: tuple[int, ...] = setting((0, 1, 2, 3, 4), "weekday, Monday 0", "trade", "common practice, no source")
    person_minutes: dict[str, float] = setting(
        {"S": 20.0, "M": 30.0, "L": 45.0, "XL": 90.0}, "person-minutes", "assumed", "near a construction unit-cost page and trade forum answers", least=0.1, most=10_000)  # fmt: skip
    set_up_minutes_bed: float = setting(20.0, "person-minutes", "assumed", OWN, least=0, most=10_000)
    set_up_minutes_traffic: float = setting(60.0, "person-minutes", "assumed", OWN, least=0, most=10_000)
    travel_minutes: float = setting(10.0, "person-minutes", "assumed", OWN, least=0, most=10_000)
    locate_ticket_days: int = setting(
        2, "working days", "read", "a utility's page, kremc.com/safety/digging-safely; law differs", least=0, most=60
    )
    hand_dig_zone_m: float = setting(
        0.61, "m", "read", "24 in, the same page; 18 in elsewhere; law differs", least=0, most=5
    )
    regrowth_check_days: tuple[int, ...] = setting(
        (14, 28, 56, 84), "days", "assumed", "None: our choice; and again at the next bud break"
    )
    value_days: int = setting(
        365, "days", "assumed", "None: our choice; what a plant sends counts until then or until the horizon, whichever is "
        "later, so that one found in autumn counts as the source it is next spring", least=1, most=3650)  # fmt: skip
    near_share: float = setting(
        0.95, "share of arrivals", "assumed", "None: our choice; receivers within the distance of this share are told apart one "
        "by one, the rest counts to first order", least=0.1, most=0.9999)  # fmt: skip
    green_plants: bool = setting(
        False, "yes or no", "assumed", "None: our choice; true puts plants that only the model points at on the removal list, in "
        "calibrated mode alone", least=0, most=1)  # fmt: skip
    green_days: int = setting(112, "days of the growing season", "computed", GREEN_TRIED, least=1, most=3650)
    green_price: float = setting(
        1.0, "infections per healthy plant", "assumed", "None: our choice; how many infections the loss of one healthy plant may "
        "not exceed", least=0, most=1000)  # fmt: skip
    notice_days: int = setting(
        0, "days", "assumed", "None: our choice; from the date of the state until work may begin on private ground, where the sites "
        "table gives no notice_days; law differs, set it for your place", least=0, most=730)  # fmt: skip
    longest_interval_days: int = setting(60, "days", "computed", SIMULATED, least=1, most=730)
    replant_seasons: int = setting(
        2, "growing seasons", "assumed", "None: our choice; sources ask for none to two years", least=0, most=20
    )
    replant_clean_months: int = setting(
        12, "months", "assumed", "None: our choice; without a confirmed case near by", least=0, most=240
    )
    replant_within_m: float = setting(
        100.0,
        "m",
        "assumed",
        "None: our choice; after the distance at which wild hosts are cleared",
        least=0,
        most=10_000,
    )
    bud_break: tuple[int, int] = setting((3, 15), "month, day", "assumed", "None: our choice; set it for your place")
    start_before_hour: int = setting(
        10, "hour of day", "assumed", "near Bergh 2001; printed advice, not a constraint", least=0, most=24
    )
    gust_stop_km_h: float = setting(
        15.0, "km/h", "assumed", "None: our choice; printed advice, not a constraint", least=0, most=200
    )
