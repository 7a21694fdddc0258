"""What is said of the season, in sentences."""

from __future__ import annotations

import datetime as dt

from spreadmap.decisions.window_heat import HeatSpan
from spreadmap.records.triage import MONTHS, day_of_year
from spreadmap.values.calendar import Basis, SeasonDay, SeasonEntry, SystemSeason, WindowState
from spreadmap.values.pest_system import DegreeDays
from spreadmap.values.results import Triage
from spreadmap.values.surveys import DailyTemperature
from spreadmap.values.words import Verdict

NOT_VALIDATED = (
    "Published windows are ranges and are not validated for every region: begin to look before one opens, and write down "
    "what you see."
)
SOUTH = (
    "The windows on file are those of northern mid-latitudes and this place lies south of the equator: their dates do not "
    "hold here. Put systems with your own dates into the project's folder pest_systems."
)
NO_RECORD = "The project has no daily temperatures: all windows are told by dates."


def day_words(day: dt.date) -> str:
    """Return a date as it is said, `2 July 2026`."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def short_words(day: dt.date) -> str:
    """Return a date without its year, `2 July`."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def span_words(first: dt.date, last: dt.date) -> str:
    """Return two days and what lies between, the year once where it is one."""
    return f"{short_words(first) if first.year == last.year else day_words(first)} to {day_words(last)}"


def temperature_words(record: DailyTemperature | None, as_of: dt.date) -> tuple[str, ...]:
    """Return what the temperatures are: their days, that they serve all sites, and whether some lie ahead."""
    if record is None or not len(record):
        return (NO_RECORD,)
    first, last = (dt.date.fromisoformat(str(day)) for day in (record.day.min(), record.day.max()))
    says = [f"Daily temperatures, {span_words(first, last)}: one record for all sites."]
    if last > as_of:
        says.append(f"The temperatures after {day_words(as_of)} are taken as the record gives them.")
    return tuple(says)


def heat_figures(asked: DegreeDays) -> str:
    """Return the figures of a window as its source prints them."""
    return (
        f"{asked.first:g} to {asked.last:g}, base {asked.base:g} {asked.unit}, counted from "
        f"{asked.counted_from[1]} {MONTHS[asked.counted_from[0] - 1]}"
    )


def entry_words(
    entry: SeasonEntry, record: DailyTemperature | None, count: dt.date | None, heat: HeatSpan | None
) -> str:
    """Return on what the days of an entry rest: degree-days first, then dates, and the difference."""
    window = entry.window
    by_dates = f"By dates {span_words(entry.begins.by_dates, entry.ends.by_dates)}"
    spread = f", {window.spread_days} days earlier or later" if window.spread_days else ""
    if window.degree_days is None or count is None:
        return "All year." if entry.is_all_year else f"{by_dates}{spread}."
    figures = heat_figures(window.degree_days)
    if record is None or not len(record):
        return f"{by_dates}{spread}; there are no temperatures for its degree-days ({figures})."
    if heat is None:
        last = dt.date.fromisoformat(str(record.day.max()))
        return f"{by_dates}{spread}: the temperatures end on {day_words(last)}, before its degree-days ({figures}) are counted."
    ended = ""
    if heat.first.on is None or heat.last.on is None:
        wanted = window.degree_days.first if heat.first.on is None else window.degree_days.last
        ended = (
            f"By {day_words(heat.until)}, where the temperatures end, {_figure(heat.reached)} of {wanted:g} "
            f"degree-days had come together{'' if heat.last.is_sure else ', or more, for some days are missing'}."
        )
    elif Basis.DATES in (entry.begins.basis, entry.ends.basis):
        ended = (
            "Temperatures are missing before the degree-days were reached: "
            f"{span_words(heat.first.on, heat.last.on)} at the latest."
        )
    if entry.begins.basis is Basis.DATES and entry.ends.basis is Basis.DATES:
        return f"{by_dates}{spread}, not by degree-days ({figures}). {ended}"
    says = (
        f"By degree-days ({figures}) it {'opens' if entry.state is WindowState.NEXT else 'opened'} {_on(entry.begins)} "
        f"and {'closed' if entry.state is WindowState.MISSED else 'closes'} {_on(entry.ends)}.",
        ended,
        f"{by_dates}{spread}.",
        _differences(entry),
        _by_other_ways(entry),
    )
    return " ".join(text for text in says if text)


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def _on(day: SeasonDay) -> str:
    """Return a day with what is sure about it."""
    words = {
        Basis.DATES: f"on {day_words(day.on)} by dates",
        Basis.DEGREE_DAYS: f"on {day_words(day.on)}",
        Basis.AT_THE_LATEST: f"on {day_words(day.on)} at the latest",
        Basis.NOT_BEFORE: f"not before {day_words(day.on)}",
        Basis.LENGTH: f"on {day_words(day.on)}, as long after as by dates",
    }
    return words[day.basis]


def _differences(entry: SeasonEntry) -> str:
    """Return by how much degree-days differ from dates, where they give days that count."""
    differs = []
    for does, day in (("opens", entry.begins), ("closes", entry.ends)):
        days = day.difference_days
        if days is None or day.basis is Basis.DATES:
            continue
        much = f"{abs(days)} day{'' if abs(days) == 1 else 's'} {'later' if days > 0 else 'earlier'} than"
        differs.append(f"{does} {much if days else 'on the same day as'} by dates")
    return f"By degree-days it {' and '.join(differs)}." if differs else ""


def _by_other_ways(entry: SeasonEntry) -> str:
    """Return the spread over the ways of summing, where degree-days gave a day."""
    ways = []
    for noun, day in (("opening", entry.begins), ("closing", entry.ends)):
        if day.basis is Basis.DEGREE_DAYS and day.earliest != day.latest:
            ways.append(f"{noun} {short_words(day.earliest)} to {short_words(day.latest)}")
    return f"Spread over five ways of summing a day's warmth: {', '.join(ways)}." if ways else ""


def season_words(season: SystemSeason) -> str:
    """Return which windows are open, which was the last to be missed, and which comes next."""
    if not season.system.windows:
        return "No window of the season is on file for this system."
    now = season.windows_now()
    says = [f"Open now, until {_until(entry.ends)}: {entry.window.name}. {entry.window.advice}" for entry in now.opened]
    if not now.opened:
        says.append("No window is open.")
    says += [
        f"Too late now, until {_until(entry.ends)}: {entry.window.name}. {entry.window.advice}" for entry in now.late
    ]
    if now.missed is not None:
        says.append(f"Over since {_until(now.missed.ends)}, too late this year: {now.missed.window.name}.")
    if now.coming is not None:
        advice = "" if now.opened else f" {now.coming.window.advice}"
        says.append(f"Next, from {_from(now.coming.begins)}: {now.coming.window.name}.{advice}")
    return " ".join(says)


def _until(day: SeasonDay) -> str:
    """Return a last day, and that degree-days say so where they do."""
    words = {
        Basis.DATES: "",
        Basis.DEGREE_DAYS: " by degree-days",
        Basis.AT_THE_LATEST: " at the latest by degree-days",
        Basis.NOT_BEFORE: " at least by degree-days",
        Basis.LENGTH: " or about",
    }
    return f"{short_words(day.on)}{words[day.basis]}"


def _from(day: SeasonDay) -> str:
    """Return a first day, and that degree-days say so where they do."""
    if day.basis is Basis.NOT_BEFORE:
        return f"{day_words(day.on)} at the earliest by degree-days"
    return day_words(day.on) + ("" if day.basis is Basis.DATES else " by degree-days")


def look_again_words(season: SystemSeason, as_of: dt.date, seen: tuple[dt.date, ...]) -> str:
    """Return when to look again after damage whose mites have left; nothing where it does not show.

    Parameters
    ----------
    season : SystemSeason
    as_of : date
    seen : dates
        Days of this year on which the standing findings were seen, the latest first.
    """
    again, window = season.system.look_again, season.system.look_again_window
    if again is None or window is None:
        return ""
    days = [day for day in (*seen, as_of) if _is_within(again.seen_from, again.seen_to, day)]
    entries = [entry for entry in season.entries if entry.window.name == window.name]
    opened = next((entry for entry in entries if entry.state is WindowState.OPEN), None)
    coming = next((entry for entry in entries if entry.state is WindowState.NEXT), None)
    if not days or (opened is not None and not seen):
        return ""
    left = day_of_year(days[0].year, again.mites_left)
    when = f"in {MONTHS[left.month - 1]} (by {short_words(left)})"
    does = f"is made by mites that leave {when}"
    if left <= as_of:
        does = f"was made by mites that {'left' if left <= days[0] else 'have left since,'} {when}"
    says = f"Damage seen in {MONTHS[days[0].month - 1]} {does}"
    if opened is not None:
        return f"{says}: look again now, until {_until(opened.ends)}."
    return "" if coming is None else f"{says}: look again from {_from(coming.begins)}."


def _is_within(first: tuple[int, int], last: tuple[int, int], day: dt.date) -> bool:
    """Return whether a date lies between two days of the year, both included."""
    today = (day.month, day.day)
    return first <= today <= last if first <= last else today >= first or today <= last


def nothing_words(found: Triage) -> str:
    """Return why nothing is done about a cosmetic finding; nothing where something is, or nothing was found."""
    if not found.is_found or found.system.verdict is not Verdict.NO_ACTION:
        return ""
    return f"Nothing is to be done about it: {found.system.verdict_reason}"
