"""The calendar as files: `calendar.ics` for a calendar program (RFC 5545), `calendar.csv` with a row per window and site."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from spreadmap.io.layers import clean_text
from spreadmap.io.short_names import CALENDAR, Kind
from spreadmap.io.write_tables import write_csv
from spreadmap.values.calendar import Season, SeasonDay, SeasonEntry, SiteHosts, SystemSeason, WindowState
from spreadmap.values.project import ProjectInputs
from spreadmap.values.words import WindowKind

MOST_OCTETS = 75
"""Longest line without its end [octets]: RFC 5545, section 3.1."""
LINE_END = "\r\n"
MAKER = "-//spreadmap//calendar 1//EN"
NAMES = uuid.UUID("5f1d7a52-6c1e-5b7e-9a3d-0c3a1f2b7e61")
"""A name space of our own; an event keeps its UID as long as project, system, window and year keep their names."""
FIRST_DAY = dt.date(2000, 1, 1)
"""SEQUENCE counts the days from here to the date of the state, so that a later calendar replaces an earlier one."""
KIND_SAYS = {WindowKind.LOOK: "Look", WindowKind.ACT: "Act", WindowKind.TOO_LATE: "Too late"}
MOST_SITES = 20


def calendar_ics(season: Season, inputs: ProjectInputs) -> bytes:
    """Return the windows that are open or to come, and the next survey, as one iCalendar object.

    Parameters
    ----------
    season : Season
    inputs : ProjectInputs
        Name of the project, date of the state and of the next survey.

    Returns
    -------
    bytes
        UTF-8; the same values give the same bytes.

    Notes
    -----
    A window is one event of whole days that blocks no time. Windows that never close are no events: the description
    of the next survey names them. "Too late" is an event only for what was found. Bound by test_calendar_file.py,
    which reads the bytes back by the rules of the RFC.

    References
    ----------
    RFC 5545 (2009), sections 3.1 (lines), 3.3.11 (text), 3.4 to 3.6 (objects), 3.8 (properties); RFC 7986, NAME.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{MAKER}",
        "CALSCALE:GREGORIAN",
        f"NAME:{escape(f'Plant health, {inputs.name}')}",
        f"X-WR-CALNAME:{escape(f'Plant health, {inputs.name}')}",
        *_survey(season, inputs),
    ]
    for system, entry in events(season):
        lines += _event(season, inputs, system, entry)
    lines.append("END:VCALENDAR")
    return "".join(fold(line) + LINE_END for line in lines).encode("utf-8")


def events(season: Season) -> Iterator[tuple[SystemSeason, SeasonEntry]]:
    """Yield the windows that become events."""
    for system in season.systems:
        for entry in system.entries:
            is_wanted = system.is_found or entry.window.kind is not WindowKind.TOO_LATE
            if entry.state is not WindowState.MISSED and not entry.is_all_year and is_wanted:
                yield system, entry


def escape(text: object) -> str:
    """Return a text as a property's value holds it (RFC 5545, 3.3.11); line ends of users become spaces."""
    return clean_text(text).replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")


def paragraphs(*texts: str) -> str:
    """Return texts as one value with line ends between them."""
    return "\\n".join(escape(text) for text in texts if text)


def fold(line: str) -> str:
    """Return a line broken into pieces of at most 75 octets, the later ones after a space; no character is cut."""
    pieces: list[str] = []
    piece, size = "", 0
    for char in line:
        octets = len(char.encode("utf-8"))
        # The space before a later piece is one of its octets.
        if size + octets > MOST_OCTETS - (1 if pieces else 0):
            pieces.append(piece)
            piece, size = "", 0
        piece, size = piece + char, size + octets
    return f"{LINE_END} ".join([*pieces, piece])


def _uid(*names: object) -> str:
    """Return an identifier that stays the same from run to run."""
    return str(uuid.uuid5(NAMES, "\x1f".join(str(name) for name in names)))


def _day(day: dt.date) -> str:
    return f"{day:%Y%m%d}"


def _frame(season: Season, uid: str, first: dt.date, last: dt.date) -> list[str]:
    """Return what every event has; the end of whole days is the day after the last (RFC 5545, 3.6.1)."""
    return [
        f"UID:{uid}",
        f"DTSTAMP:{_day(season.as_of)}T000000Z",
        f"SEQUENCE:{max(0, (season.as_of - FIRST_DAY).days)}",
        f"DTSTART;VALUE=DATE:{_day(first)}",
        f"DTEND;VALUE=DATE:{_day(last + dt.timedelta(days=1))}",
        "TRANSP:TRANSPARENT",
        "CLASS:PRIVATE",
    ]


def _event(season: Season, inputs: ProjectInputs, system: SystemSeason, entry: SeasonEntry) -> list[str]:
    """Return one window as the lines of an event."""
    window, name = entry.window, system.system.common_name
    uid = _uid(inputs.name, inputs.crs, system.system.key, window.name, entry.begins.by_dates.year)
    priority = 1 if system.is_found and system.system.is_mapped else 5 if system.is_found else 9
    text = paragraphs(
        window.advice,
        entry.says,
        system.look_again_says,
        system.nothing_says,
        f"Sign in the open: {window.sign}" if window.sign else "",
        sites_words(system),
        f"From: {window.source}",
        season.remarks[0] if season.remarks else "",
    )
    return [
        "BEGIN:VEVENT",
        *_frame(season, uid, entry.begins.on, entry.ends.on),
        f"SUMMARY:{escape(f'{KIND_SAYS[window.kind]}: {name}, {window.name}')}",
        f"DESCRIPTION:{text}",
        f"CATEGORIES:{escape(name)},{escape(KIND_SAYS[window.kind])}",
        f"PRIORITY:{priority}",
        "END:VEVENT",
    ]


def _survey(season: Season, inputs: ProjectInputs) -> list[str]:
    """Return the next survey as the lines of an event, with what is open all year."""
    always = [
        f"All year: {one.system.common_name}, {entry.window.name}. {entry.window.advice}"
        for one in season.systems
        for entry in one.entries
        if entry.is_all_year and entry.state is WindowState.OPEN
    ]
    day = inputs.next_survey_on
    return [
        "BEGIN:VEVENT",
        *_frame(season, _uid(inputs.name, inputs.crs, "next survey", day.isoformat()), day, day),
        f"SUMMARY:{escape(f'Next survey: {inputs.name}')}",
        f"DESCRIPTION:{paragraphs(f'The delivery of {season.as_of.isoformat()} is valid until this day.', *always)}",
        "CATEGORIES:Survey",
        "PRIORITY:1",
        "END:VEVENT",
    ]


def sites_words(system: SystemSeason) -> str:
    """Return where the hosts stand, those with findings first."""
    ordered = sorted(system.sites, key=lambda site: (-site.findings, -site.hosts, site.site_id))
    named = [f"{site.name or 'no site'} ({site.hosts})" for site in ordered[:MOST_SITES]]
    more = len(ordered) - len(named)
    rest = f" and {more} more" if more > 0 else ""
    return f"Hosts: {', '.join(named)}{rest}" if named else ""


def write_calendar_csv(path: Path, season: Season) -> Path:
    """Write every window in every year as one row per site that has hosts.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    spec = [column for column in CALENDAR if not column.name.endswith("_text")]
    rows = [
        [clean_text(row[column.name]) if column.kind is Kind.TEXT else row[column.name] for column in spec]
        for row in calendar_rows(season)
    ]
    return write_csv(path, [column.name for column in spec], rows)


def calendar_rows(season: Season) -> Iterator[dict[str, Any]]:
    """Yield the rows of `calendar.csv`, by the names of their columns."""
    for system in season.systems:
        for entry in system.entries:
            for site in system.sites:
                yield _row(season, system, entry, site)


def _row(season: Season, system: SystemSeason, entry: SeasonEntry, site: SiteHosts) -> dict[str, Any]:
    """Return one window on one site."""
    window = entry.window
    return {
        "system": system.system.key,
        "common_name": system.system.common_name,
        "site_id": site.site_id,
        "site": site.name,
        "hosts": site.hosts,
        "findings": site.findings,
        "window": window.name,
        "kind": window.kind.value,
        "state": entry.state.value,
        **_day_columns("begins", entry.begins),
        **_day_columns("ends", entry.ends),
        "advice": window.advice,
        "rests_on": entry.says,
        "status": window.status,
        "source": window.source,
        "as_of": season.as_of,
    }


def _day_columns(name: str, day: SeasonDay) -> dict[str, Any]:
    """Return a first or last day with its spread, its basis, and what dates and degree-days say."""
    return {
        f"{name}_on": day.on,
        f"{name}_earliest": day.earliest,
        f"{name}_latest": day.latest,
        f"{name}_basis": day.basis.value,
        f"{name}_by_dates": day.by_dates,
        f"{name}_by_degree_days": day.by_degree_days,
        f"{name}_difference_days": day.difference_days,
    }


def season_values(season: Season | None) -> dict[str, Any] | None:
    """Return the season as `summary.json` holds it; None where there is none."""
    if season is None:
        return None
    return {
        "systems": [
            {
                "system": one.system.key,
                "is_found": one.is_found,
                "hosts": one.hosts,
                "sites": [site.site_id for site in one.sites],
                "look_again": one.look_again_says,
                "nothing": one.nothing_says,
                "windows": [
                    {
                        "window": entry.window.name,
                        "kind": entry.window.kind.value,
                        "state": entry.state.value,
                        **_day_columns("begins", entry.begins),
                        **_day_columns("ends", entry.ends),
                        "rests_on": entry.says,
                    }
                    for entry in one.entries
                ],
            }
            for one in season.systems
        ],
        "without_hosts": season.without_hosts,
        "remarks": season.remarks,
    }
