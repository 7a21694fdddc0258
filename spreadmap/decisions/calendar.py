"""The windows of the season on one date: which are open, which were missed, which come next, and on what that rests."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spreadmap.decisions.season_words import (
    NOT_VALIDATED,
    SOUTH,
    entry_words,
    look_again_words,
    nothing_words,
    season_words,
    temperature_words,
)
from spreadmap.decisions.window_heat import HeatDay, HeatSpan, count_begins, heat_span
from spreadmap.records.triage import day_of_year
from spreadmap.values.calendar import Basis, Season, SeasonDay, SeasonEntry, SiteHosts, SystemSeason, WindowState
from spreadmap.values.pest_system import Window
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Triage
from spreadmap.values.settings import CalendarSettings
from spreadmap.values.surveys import DailyTemperature, PlantState
from spreadmap.values.words import Status

FINDINGS = (Status.INFECTED.value, Status.SUSPECT.value)
DAY = dt.timedelta(days=1)


def season_of_system(
    project: ProjectInputs, found: Triage, state: PlantState, settings: CalendarSettings
) -> SystemSeason:
    """Return the season of one pest system: its windows on the date of the state, and the sites that have hosts.

    Parameters
    ----------
    project : ProjectInputs
        Its daily temperatures serve all sites.
    found : Triage
        Of the system.
    state : PlantState
        Of the system; standing hosts and findings count.
    settings : CalendarSettings

    Returns
    -------
    SystemSeason

    Notes
    -----
    Degree-days rule where the record of temperatures reaches a window's figures, else the file's dates, and each
    entry says which. Bound by test_calendar.py.
    """
    system, as_of = found.system, project.as_of
    made = [entries_of(window, as_of, project.temperature, settings) for window in system.windows]
    # The sort is stable: of windows that open on one day, the file's first comes first.
    entries = tuple(sorted((entry for one in made for entry in one.entries), key=lambda entry: entry.begins.on))
    season = SystemSeason(
        system=system,
        is_found=found.is_found,
        is_told_of=found.is_told_of,
        sites=sites_of(project, state),
        entries=entries,
        says="",
        temperature_says=tuple(dict.fromkeys(text for one in made for text in one.remarks)),
    )
    again = look_again_words(season, as_of, last_seen_on(state, as_of))
    says = season_words(season)
    return SystemSeason(
        system=system,
        is_found=season.is_found,
        is_told_of=season.is_told_of,
        sites=season.sites,
        entries=entries,
        says=" ".join(text for text in (says, again) if text),
        look_again_says=again,
        nothing_says=nothing_words(found),
        temperature_says=season.temperature_says,
    )


def season_calendar(project: ProjectInputs, systems: Sequence[SystemSeason]) -> Season:
    """Return the season of all systems that have hosts here: what comes out first, other findings, then the rest."""
    here = [one for one in systems if one.hosts or one.is_found]
    here.sort(
        key=lambda one: (
            not (one.is_found and one.system.is_mapped),
            not one.is_found,
            not one.is_told_of,
            one.system.key,
        )
    )
    remarks = [NOT_VALIDATED, *temperature_words(project.temperature, project.as_of)]
    if project.latitude_deg < 0:
        remarks.append(SOUTH)
    remarks += [text for one in here for text in one.temperature_says]
    return Season(
        as_of=project.as_of,
        systems=tuple(here),
        without_hosts=tuple(one.system.common_name for one in systems if not (one.hosts or one.is_found)),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def sites_of(project: ProjectInputs, state: PlantState) -> tuple[SiteHosts, ...]:
    """Return the sites with standing hosts of a system, by their keys; plants without a site come last."""
    names = dict(zip(project.sites.site_id.tolist(), project.sites.name.tolist(), strict=True))
    hosts = state.is_host & state.is_standing
    found = np.isin(state.status.astype(str), FINDINGS) & state.is_standing
    here = np.flatnonzero(hosts | found)
    keys, place = np.unique(project.inventory.site_id[here].astype(str), return_inverse=True)
    counts = [np.bincount(place, weights=which[here], minlength=len(keys)) for which in (hosts, found)]
    made = [
        SiteHosts(site_id=key, name=str(names.get(key) or key), hosts=int(standing), findings=int(sick))
        for key, standing, sick in zip(keys.tolist(), *counts, strict=True)
    ]
    return tuple(sorted(made, key=lambda site: (site.site_id == "", site.site_id)))


def last_seen_on(state: PlantState, as_of: dt.date) -> tuple[dt.date, ...]:
    """Return the days of this year on which the standing findings were seen, the latest first."""
    found = np.isin(state.status.astype(str), FINDINGS) & state.is_standing & ~np.isnat(state.status_on)
    days = {dt.date.fromisoformat(str(day)) for day in np.unique(state.status_on[found])}
    return tuple(sorted((day for day in days if day.year == as_of.year and day <= as_of), reverse=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowYears:
    """The entries of one window, and what its temperatures lack."""

    entries: tuple[SeasonEntry, ...]
    remarks: tuple[str, ...]


def entries_of(
    window: Window, as_of: dt.date, record: DailyTemperature | None, settings: CalendarSettings
) -> WindowYears:
    """Return a window in every year in which it touches the year of a date, and the next one if all of those are over."""
    entries: list[SeasonEntry] = []
    remarks: list[str] = []
    for year in range(as_of.year - 1, as_of.year + 2):
        begins = day_of_year(year, window.begins)
        ends = day_of_year(year + window.runs_over_new_year, window.ends)
        count = None if window.degree_days is None else count_begins(window.degree_days, begins)
        heat = (
            None
            if window.degree_days is None or count is None or record is None or not len(record)
            else heat_span(record, window.degree_days, count, settings)
        )
        entry = entry_of(window, begins, ends, as_of, heat)
        is_needed = year > as_of.year and all(one.state is WindowState.MISSED for one in entries)
        if is_needed or entry.begins.on.year <= as_of.year <= entry.ends.on.year:
            entries.append(
                SeasonEntry(
                    window=window,
                    state=entry.state,
                    begins=entry.begins,
                    ends=entry.ends,
                    says=entry_words(entry, record, count, heat),
                )
            )
            remarks += heat.remarks if heat is not None else ()
    return WindowYears(entries=tuple(entries), remarks=tuple(remarks))


def entry_of(window: Window, begins: dt.date, ends: dt.date, as_of: dt.date, heat: HeatSpan | None) -> SeasonEntry:
    """Return one window in one year, from its dates and, where a record reaches that far, its degree-days."""
    spread = dt.timedelta(days=window.spread_days)
    first = day_of_window(begins, spread, None if heat is None else heat.first, heat)
    last = day_of_window(ends, spread, None if heat is None else heat.last, heat)
    if last.on < first.on:
        # The temperatures put off the first day beyond the last one of the dates: the window keeps its length.
        moved = first.on + (ends - begins)
        last = SeasonDay(
            on=moved,
            basis=Basis.LENGTH,
            earliest=max(first.on, moved - spread),
            latest=moved + spread,
            by_dates=ends,
        )
    state = WindowState.OPEN
    if as_of < first.on:
        state = WindowState.NEXT
    elif as_of > last.on:
        state = WindowState.MISSED
    return SeasonEntry(window=window, state=state, begins=first, ends=last, says="")


def day_of_window(by_dates: dt.date, spread: dt.timedelta, heat: HeatDay | None, span: HeatSpan | None) -> SeasonDay:
    """Return the day that counts, and its spread.

    Degree-days that were reached with no temperature missing before count first. Reached behind a gap, they count
    where they come before the date, for it was that day or earlier. Not reached while no temperature is missing, the
    day is not before the record's end. In all other cases the date counts.
    """
    dated = SeasonDay(
        on=by_dates,
        basis=Basis.DATES,
        earliest=by_dates - spread,
        latest=by_dates + spread,
        by_dates=by_dates,
        by_degree_days=None,
    )
    if heat is None or span is None:
        return dated
    if heat.on is not None and heat.is_sure:
        return SeasonDay(
            on=heat.on,
            basis=Basis.DEGREE_DAYS,
            earliest=min(heat.on, heat.earliest or heat.on),
            latest=max(heat.on, heat.latest or heat.on),
            by_dates=by_dates,
            by_degree_days=heat.on,
        )
    if heat.on is not None and heat.on < by_dates:
        return SeasonDay(
            on=heat.on,
            basis=Basis.AT_THE_LATEST,
            earliest=min(heat.on, by_dates - spread, heat.earliest or heat.on),
            latest=heat.on,
            by_dates=by_dates,
            by_degree_days=heat.on,
        )
    if heat.on is None and heat.is_sure and by_dates <= span.until:
        first = span.until + DAY
        return SeasonDay(
            on=first,
            basis=Basis.NOT_BEFORE,
            earliest=first,
            latest=first + spread,
            by_dates=by_dates,
            by_degree_days=None,
        )
    return dated
