"""Defaults of a survey's design: what it must not miss, and how its hours are shared out."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.setting import setting

EU_BUFFER = (
    "1 % at 90 % confidence in the buffer zone of a vector-borne plant disease: Regulation (EU) 2020/1201, article 10"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveySettings:
    """What the next survey has to be able to say, and how many of its hours go where."""

    design_prevalence: float = setting(0.01, "share of the plants", "read", EU_BUFFER, least=0.0001, most=1)
    design_confidence: float = setting(0.90, "-", "read", EU_BUFFER, least=0.01, most=0.9999)
    quick_prevalence: float = setting(
        0.05, "share of the plants", "trade", "common practice, no source", least=0.0001, most=1
    )
    quick_confidence: float = setting(0.95, "-", "trade", "common practice, no source", least=0.01, most=0.9999)
    survey_days: int = setting(
        28, "days", "assumed", "None: our choice; inspections of so many days up to the last one are the last survey",
        least=1, most=365)  # fmt: skip
    random_share: float = setting(
        0.25, "share of the hours of a survey", "assumed", "None: our choice; at most so much goes to plants drawn at random",
        least=0, most=1)  # fmt: skip
    random_seed: int = setting(
        1, "-", "assumed", "None: our choice; another number draws other plants", least=0, most=2**31 - 1
    )
    overdue_share: float = setting(
        0.25, "share of the hours of a survey", "assumed",
        "None: our choice; so much goes first to plants whose interval by distance has run out, the longest overdue first", least=0, most=1)  # fmt: skip
    minutes_per_place: float = setting(
        5.0, "person-minutes per bed", "assumed", "None: our choice; to reach a bed and begin", least=0, most=1000
    )
    looking_share: float = setting(
        0.0, "share of one pot of hours", "assumed",
        "None: our choice; 0: hours_per_survey for looking and crew_hours_per_week for removal, each as it stands; above 0: "
        "both are put into one pot, of which this share is for looking", least=0, most=1)  # fmt: skip
