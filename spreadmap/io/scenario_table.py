"""The courses of action of one pest system as a table."""

from __future__ import annotations

from pathlib import Path

from spreadmap.io.short_names import SCENARIO_NUMBERS, SCENARIOS
from spreadmap.io.write_tables import write_csv
from spreadmap.values.ahead import Ahead, NewCases, Scenario
from spreadmap.values.words import Mode


def write_scenarios(folder: Path, ahead: Ahead, system_key: str) -> Path:
    """Write `scenarios.csv`: one row per course of action, one per comparison of two.

    In relative mode there are shares and ratios only; numbers of plants come in calibrated mode.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    columns = [column.name for column in SCENARIOS if not column.name.endswith("_text")]
    if ahead.mode is Mode.CALIBRATED:
        columns += [column.name for column in SCENARIO_NUMBERS]
    about = {
        "system": system_key,
        "mode": ahead.mode.value,
        "as_of": ahead.as_of,
        "next_survey_on": ahead.next_survey_on,
        "horizon_on": ahead.horizon_on,
        "seed": ahead.seed,
        "outbreaks": ahead.draws * ahead.members,
        "rests_on": ahead.rates_say,
    }
    rows: list[dict[str, object]] = [{**about, **_scenario(each)} for each in ahead.scenarios]
    rows += [
        {
            **about,
            "row": "comparison",
            "course": one.better,
            "against": one.than,
            "says": one.says,
            "holds": "Y" if one.holds else "N",
            "ratio_low": _round(one.ratio_low),
            "ratio_high": _round(one.ratio_high),
            **_numbers("avoided", one.avoided),
        }
        for one in ahead.comparisons
    ]
    return write_csv(folder / "scenarios.csv", columns, [[row.get(name) for name in columns] for row in rows])


def _scenario(scenario: Scenario) -> dict[str, object]:
    """Return the cells of one course of action."""
    return {
        "row": "course",
        "course": scenario.key,
        "says": scenario.says,
        "taken_out": scenario.taken_out,
        "surveys": scenario.looks,
        "share_avoided": _round(scenario.share_avoided),
        "share_low": _round(scenario.share_low),
        "share_high": _round(scenario.share_high),
        **_numbers("by_next_survey", scenario.by_next_survey),
        **_numbers("by_horizon", scenario.by_horizon),
        **_numbers("avoided", scenario.avoided),
    }


def _numbers(name: str, cases: NewCases | None) -> dict[str, object]:
    """Return a number of plants with its ranges; nothing in relative mode."""
    if cases is None:
        return {}
    return {
        f"{name}_expected": _round(cases.expected),
        f"{name}_low_50": _round(cases.low_50),
        f"{name}_high_50": _round(cases.high_50),
        f"{name}_low_90": _round(cases.low_90),
        f"{name}_high_90": _round(cases.high_90),
    }


def _round(value: float) -> float:
    """Return a number with four decimals: the members tell no more."""
    return round(value, 4) + 0.0
