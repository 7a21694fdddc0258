"""What the findings of one pest system amount to, and what they justify."""

from __future__ import annotations

import datetime as dt

import numpy as np

from spreadmap.values.pest_system import PestSystem, Window
from spreadmap.values.results import Triage
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Status, Verdict, WindowKind

ADVICE = {
    Verdict.REMOVE_WITH_ROOTS: "Confirmed plants come out whole, with all their roots.",
    Verdict.DISCARD_PLANT: "Affected plants are discarded; no root work is done for it.",
    Verdict.CUT_PARTS: "Nothing is removed: affected parts are cut off and destroyed.",
    Verdict.NO_ACTION: "Nothing is removed: the removal list is empty on purpose.",
}

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def triage(state: PlantState, system: PestSystem, as_of: dt.date) -> Triage:
    """Return counts, the verdict in words and the season in words for one system.

    Counts are of plants that still stand; `hosts`, `clean` and `not_inspected` are of host plants only.
    """
    standing_hosts = state.is_host & state.is_standing

    def count(status: Status, among: np.ndarray) -> int:
        return int(np.sum((state.status == status.value) & among))

    infected, suspect = count(Status.INFECTED, state.is_standing), count(Status.SUSPECT, state.is_standing)
    return Triage(
        system=system,
        infected=infected,
        suspect=suspect,
        clean=count(Status.CLEAN, standing_hosts),
        not_inspected=count(Status.NOT_INSPECTED, standing_hosts),
        hosts=int(standing_hosts.sum()),
        says=verdict_sentence(system, infected, suspect),
        season_says=" ".join(
            text for text in (season_sentence(system.windows, as_of), look_again_sentence(system, as_of)) if text
        ),
    )


def verdict_sentence(system: PestSystem, infected: int, suspect: int) -> str:
    """Return what was found, what that justifies, and why, in plain sentences."""

    def plants(number: int, word: str) -> str:
        return f"{number} {word} plant" + ("" if number == 1 else "s")

    if infected + suspect:
        found = f"{plants(infected, 'confirmed')} and {plants(suspect, 'suspect')}"
    else:
        found = "no confirmed and no suspect plant"
    return f"{system.common_name}: {found} on record. {ADVICE[system.verdict]} {system.verdict_reason}"


def season_sentence(windows: tuple[Window, ...], as_of: dt.date) -> str:
    """Return which windows of the season are open on a date, which comes next, and which was the last to pass.

    A window of the kind "too late" is told while it is open and is never waited for.
    """
    if not windows:
        return "No window of the season is on file for this system."
    late = [window for window in windows if window.kind is WindowKind.TOO_LATE]
    windows = tuple(window for window in windows if window.kind is not WindowKind.TOO_LATE)
    opened = [window for window in windows if _is_open(window, as_of)]
    says = [f"Open now, until {_in_words(w.ends)}: {w.name}. {w.advice}" for w in opened]
    if not opened:
        says.append("No window is open.")
    says += [f"Too late now, until {_in_words(w.ends)}: {w.name}. {w.advice}" for w in late if _is_open(w, as_of)]
    ended = [
        window for window in windows if window not in opened and window.begins <= window.ends < (as_of.month, as_of.day)
    ]
    if ended:
        last = max(ended, key=lambda window: window.ends)
        says.append(f"Over since {_in_words(last.ends)}, too late this year: {last.name}.")
    closed = [window for window in windows if window not in opened]
    if closed:
        following = min(closed, key=lambda window: _next_begin(window, as_of))
        begins = _next_begin(following, as_of)
        advice = "" if opened else f" {following.advice}"
        says.append(f"Next, from {_in_words(following.begins)} {begins.year}: {following.name}.{advice}")
    return " ".join(says)


def look_again_sentence(system: PestSystem, as_of: dt.date) -> str:
    """Return when to look again after damage whose mites have left; nothing where it does not show on this date."""
    again, window = system.look_again, system.look_again_window
    if (
        again is None
        or window is None
        or not _is_within(again.seen_from, again.seen_to, as_of)
        or _is_open(window, as_of)
    ):
        return ""
    begins = _next_begin(window, as_of)
    left = "left" if _is_within(again.mites_left, again.seen_to, as_of) else "leave"
    return (
        f"Damage seen now was made by mites that {left} by {_in_words(again.mites_left)}: "
        f"look again from {_in_words(window.begins)} {begins.year}."
    )


def _is_open(window: Window, as_of: dt.date) -> bool:
    """Return whether a window is open on a date; one that ends before it begins runs over the turn of the year."""
    return _is_within(window.begins, window.ends, as_of)


def _is_within(begins: tuple[int, int], ends: tuple[int, int], as_of: dt.date) -> bool:
    """Return whether a date lies between two days of the year, both included, over the new year where they are turned."""
    today = (as_of.month, as_of.day)
    if begins <= ends:
        return begins <= today <= ends
    return today >= begins or today <= ends


def _next_begin(window: Window, as_of: dt.date) -> dt.date:
    """Return the next first day of a window after a date."""
    begins = day_of_year(as_of.year, window.begins)
    return begins if begins > as_of else day_of_year(as_of.year + 1, window.begins)


def day_of_year(year: int, month_day: tuple[int, int]) -> dt.date:
    """Return the date of a (month, day) in a year; 29 February becomes the 28th where the year has none."""
    month, day = month_day
    if (month, day) == (2, 29) and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        day = 28
    return dt.date(year, month, day)


def _in_words(month_day: tuple[int, int]) -> str:
    """Return a day of the year as it is spoken."""
    return f"{month_day[1]} {MONTHS[month_day[0] - 1]}"
