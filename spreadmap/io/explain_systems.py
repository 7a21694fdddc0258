"""The pest systems on file as a person reads them at a terminal: a list, or one of them in full."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spreadmap.errors import SettingsError
from spreadmap.io.faults import shown
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.io.project_file import suggestion
from spreadmap.values.course import Course, Stated
from spreadmap.values.pest_system import DegreeDays, Development, Figure, PestSystem, Window
from spreadmap.values.words import TREATMENT_CAUTION_SAYS, TREATMENT_CLASS_SAYS

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemsOnFile:
    """Lines for a terminal, and the same as plain values for JSON."""

    lines: tuple[str, ...]
    values: Any


def explain_systems(key: str | None = None, *, project: Path | None = None) -> SystemsOnFile:
    """Return the list of pest systems, or everything that is on file of one.

    Parameters
    ----------
    key : str, optional
        Which one to explain.
    project : Path, optional
        A project's folder; the files in its folder `pest_systems` are read as well, and replace ours of that name.

    Raises
    ------
    SettingsError
        If a file cannot be used, the project's folder is not there, or no system has the key.
    """
    if project is not None and not project.is_dir():
        msg = f"'{project}' is no folder. Give the project's folder."
        raise SettingsError(msg)
    found = {system.key: system for system in read_pest_systems(project)}
    if key is None:
        wide = max(len(name) for name in found)
        lines = tuple(
            f"{name:{wide}}  {system.verdict.replace('_', ' '):17}  {system.common_name} ({system.scientific_name})"
            for name, system in found.items()
        )
        return SystemsOnFile(lines=lines, values=[system_values(system) for system in found.values()])
    if key not in found:
        msg = (
            f"pest system {shown(key)} is not on file; allowed: {', '.join(found)}. "
            f"{suggestion(key, list(found))}Correct the key."
        )
        raise SettingsError(msg)
    return SystemsOnFile(lines=system_lines(found[key]), values=system_values(found[key]))


def system_values(system: PestSystem) -> dict[str, Any]:
    """Return everything on file of one system as plain values; days of the year are MM-DD."""
    values: dict[str, Any] = dataclasses.asdict(system)
    for window in [*values["windows"], *values["cut_parts"]]:
        _write_days(window, "begins", "ends")
        if window.get("degree_days"):
            _write_days(window["degree_days"], "counted_from")
    for key in ("starts_on", "stops_on"):
        if values["course"] and values["course"][key]:
            _write_days(values["course"][key], "value")
    if values["look_again"]:
        _write_days(values["look_again"], "seen_from", "seen_to", "mites_left")
    return values


def _write_days(values: dict[str, Any], *names: str) -> None:
    """Write days of the year as MM-DD."""
    for name in names:
        month, day = values[name]
        values[name] = f"{month:02d}-{day:02d}"


def day_words(day: tuple[int, int]) -> str:
    """Return a day of the year in words."""
    return f"{day[1]} {MONTHS[day[0] - 1]}"


def cited(status: str, source: str) -> str:
    """Return status and source of a figure."""
    return f"[{status}: {source}]"


def system_lines(system: PestSystem) -> tuple[str, ...]:
    """Return one system in full, a line for each thing on file."""
    return (
        *_name_lines(system),
        *_life_lines(system),
        *_season_lines(system),
        *_verdict_lines(system),
        *_doubt_lines(system),
        "Sources:",
        *(f"  {source}" for source in system.sources),
    )


def _name_lines(system: PestSystem) -> list[str]:
    """Return names, code, hosts and symptoms."""
    lines = [f"{system.common_name}: {system.scientific_name}"]
    if system.other_names:
        lines.append(f"Also called: {', '.join(system.other_names)}.")
    code = f"{system.eppo_code} {cited(system.eppo_status, system.eppo_source)}" if system.eppo_code else "none on file"
    lines.append(f"EPPO code: {code}")
    lines += [f"{name}: {text}" for name, text in (("Pathogen", system.pathogen), ("Vector", system.vector)) if text]
    is_open = " and others" if system.host_list_is_open else ""
    lines.append(f"Hosts: {', '.join(system.host_genera)}{is_open}. {system.hosts_note}".rstrip())
    lines.append(f"Words of its symptoms: {', '.join(system.symptom_words) or 'none on file'}.")
    return lines


def _life_lines(system: PestSystem) -> list[str]:
    """Return damage, ways of moving, overwintering and development."""
    lines = []
    if system.damage is not None:
        lines.append(f"Damage: {system.damage.says} {cited(system.damage.status, system.damage.source)}")
    if system.moving is not None:
        lines.append(f"Moves by: {', '.join(system.moving.ways)} {cited(system.moving.status, system.moving.source)}")
    rests = system.overwintering
    if rests is not None:
        lines.append(f"Overwinters as: {rests.stage}; where: {rests.site} {cited(rests.status, rests.source)}")
    lines += [_development_line(each) for each in system.development]
    return lines + (_course_lines(system.course) if system.course is not None else [])


def _development_line(each: Development) -> str:
    """Return the development by temperature of one organism."""
    given = [
        f"{name} {value:g} {unit}"
        for name, value, unit in (
            ("lower threshold", each.lower_threshold, each.unit),
            ("upper threshold", each.upper_threshold, each.unit),
            ("a generation takes", each.degree_days_per_generation, f"degree-days {each.unit}"),
        )
        if value is not None
    ]
    stands_in = " (stands in for it)" if each.is_stand_in else ""
    return f"Development of {each.organism}{stands_in}: {', '.join(given)} {cited(each.status, each.source)}"


COURSE_WORDS = {
    "growth_per_day": ("growth", "a day"),
    "at_temperature": ("at a steady", "{unit}"),
    "loss_per_day": ("loss", "a day"),
    "overwintered_share": ("mites of the first day, as a share of the most the plants can bear", ""),
    "starts_on": ("starts on", ""),
    "starts_at_degree_days": ("starts at", "degree-days {unit} from the first day of the year"),
    "stops_on": ("stops on", ""),
    "stops_below_daylight_h": ("stops when days grow shorter than", "h"),
    "rests_above": ("rests above", "{unit}"),
    "rest_window_days": ("by the mean of", "days"),
    "resting_loss_per_day": ("loss at rest", "a day"),
}


def _course_lines(course: Course) -> list[str]:
    """Return what the course of numbers through a year is reckoned from."""
    lines = [f"Course of numbers by temperature, thresholds of {course.organism}:"]
    for key, each in course.stated().items():
        name, unit = COURSE_WORDS[key]
        value = f"{each.value:g}" if isinstance(each, Stated) else day_words(each.value)
        says = f"{name} {value} {unit.format(unit=course.unit)}".rstrip()
        lines.append(f"  {says} {cited(each.status, each.source)}")
    return lines


def _season_lines(system: PestSystem) -> list[str]:
    """Return the season and its windows."""
    lines = [f"Season: {system.season_type.replace('_', ' ')}. {system.season_note}".rstrip()]
    lines += [_window_line(window) for window in system.windows]
    again = system.look_again
    if again is not None:
        window = system.look_again_window
        begins = day_words(window.begins) if window is not None else "its window"
        lines.append(
            f"Damage seen {day_words(again.seen_from)} to {day_words(again.seen_to)} was made by mites that leave by "
            f"{day_words(again.mites_left)}: look again from {begins} {cited(again.status, again.source)}"
        )
    return lines


def _window_line(window: Window) -> str:
    """Return one window of the season."""
    spread = f", give or take {window.spread_days} days" if window.spread_days else ""
    heat = f"; {_heat_words(window.degree_days)}" if window.degree_days is not None else ""
    sign = f"; sign: {window.sign}" if window.sign else ""
    return (
        f"  {window.kind.replace('_', ' ')}, {day_words(window.begins)} to {day_words(window.ends)}{spread}{heat}{sign}: "
        f"{window.name}. {window.advice} {cited(window.status, window.source)}"
    )


def _heat_words(heat: DegreeDays) -> str:
    """Return a stretch of degree-days with base, unit and first day."""
    return (
        f"{heat.first:g} to {heat.last:g} degree-days {heat.unit} above {heat.base:g} {heat.unit} from "
        f"{day_words(heat.counted_from)} {cited(heat.status, heat.source)}"
    )


def _verdict_lines(system: PestSystem) -> list[str]:
    """Return the verdict with its reason, what is cut or thrown away, and the treatment classes."""
    lines = [f"Verdict: {system.verdict.replace('_', ' ')}. {system.verdict_reason}"]
    lines += [
        f"  cut {part.part}, {day_words(part.begins)} to {day_words(part.ends)}: {part.how} "
        f"{cited(part.status, part.source)}"
        for part in system.cut_parts
    ]
    if system.discard_how is not None:
        lines.append(f"  {system.discard_how.says} {cited(system.discard_how.status, system.discard_how.source)}")
    if system.woody_genera:
        lines.append(f"  Woody hosts stay: {', '.join(system.woody_genera)}.")
    treatment = system.treatment
    says = [TREATMENT_CLASS_SAYS[each] for each in treatment.classes]
    says += [TREATMENT_CAUTION_SAYS[each] for each in treatment.cautions]
    lines.append(f"Treatment: {' '.join([*says, treatment.note]).strip()} {cited(treatment.status, treatment.source)}")
    if system.caution:
        lines.append(f"Caution: {system.caution}")
    return lines


def _doubt_lines(system: PestSystem) -> list[str]:
    """Return look-alikes, conflicts between sources, and the figures."""
    how = {"eye": "by eye", "lens": "with a lens", "test": "by a test", "time": "by waiting"}
    lines = ["May be instead:"] if system.look_alikes else []
    lines += [
        f"  {alike.sentence} ({how[alike.by]}{', serious' if alike.is_serious else ''}) {cited(alike.status, alike.source)}"
        for alike in system.look_alikes
    ]
    for conflict in system.conflicts:
        lines.append(f"Sources differ, {conflict.about}:")
        lines += [f"  {each.says} {cited(each.status, each.source)}" for each in conflict.statements]
    if system.figures:
        lines.append("Figures:")
        lines += [f"  {each.what}: {figure_words(each)} {cited(each.status, each.source)}" for each in system.figures]
    return lines


def figure_words(figure: Figure) -> str:
    """Return the value of a figure with its unit."""
    if isinstance(figure.value, tuple):
        text = f"{figure.value[0]:g} to {figure.value[1]:g}"
    else:
        text = figure.value if isinstance(figure.value, str) else f"{figure.value:g}"
    return text if figure.unit in ("-", "month") else f"{text} {figure.unit}"
