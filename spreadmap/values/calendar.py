"""The calendar of the season: every window of every pest system with hosts, held against one date."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from spreadmap.values.pest_system import PestSystem, Window
from spreadmap.values.words import WindowKind


class WindowState(StrEnum):
    """Where a date lies: inside a window, before it, behind it."""

    OPEN = "open"
    NEXT = "next"
    MISSED = "missed"


class Basis(StrEnum):
    """On what a day rests."""

    DATES = "dates"
    DEGREE_DAYS = "degree_days"
    AT_THE_LATEST = "degree_days_at_the_latest"
    """Temperatures are missing before it: the degree-days were reached on that day or earlier."""
    NOT_BEFORE = "degree_days_not_before"
    """The record ends before the degree-days were reached: the day after its last."""
    LENGTH = "length_of_dates"
    """The first day was put off beyond the last day of the dates: as many days after it as the dates lie apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonDay:
    """The first or last day of a window in one year.

    `on` is the day that counts, by what `basis` says; `earliest` and `latest` are its spread. `by_dates` is the day of
    the file's dates, `by_degree_days` the one of its degree-days, None where they give none.
    """

    on: dt.date
    basis: Basis
    earliest: dt.date
    latest: dt.date
    by_dates: dt.date
    by_degree_days: dt.date | None = None

    @property
    def difference_days(self) -> int | None:
        """Return by how many days degree-days come later than dates [d]; None where one of them gives no day."""
        return None if self.by_degree_days is None else (self.by_degree_days - self.by_dates).days


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonEntry:
    """One window in one year. `says` tells on what its days rest, in sentences."""

    window: Window
    state: WindowState
    begins: SeasonDay
    ends: SeasonDay
    says: str

    @property
    def is_all_year(self) -> bool:
        """Return whether the window never closes."""
        return self.ends.on - self.begins.on >= dt.timedelta(days=364)


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowsNow:
    """The windows of which is told on a date, those of one kind in the order of the system's file.

    `opened` are useful now, `late` say that it is too late now; `missed` was the last to close, `coming` is the next to open.
    """

    opened: tuple[SeasonEntry, ...]
    late: tuple[SeasonEntry, ...]
    missed: SeasonEntry | None
    coming: SeasonEntry | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHosts:
    """Standing hosts of one system on one site, and how many of them are confirmed or suspect."""

    site_id: str
    name: str
    hosts: int
    findings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemSeason:
    """The season of one pest system. `entries` come in the order of their first days.

    `says` names what is open, missed and next; `look_again_says` when to look again after damage whose mites have
    left; `nothing_says` why nothing is done. The last two are empty where they do not hold.
    """

    system: PestSystem
    is_found: bool
    is_told_of: bool
    sites: tuple[SiteHosts, ...]
    entries: tuple[SeasonEntry, ...]
    says: str
    look_again_says: str = ""
    nothing_says: str = ""
    temperature_says: tuple[str, ...] = ()

    @property
    def hosts(self) -> int:
        """Return how many standing hosts there are."""
        return sum(site.hosts for site in self.sites)

    def of_state(self, state: WindowState) -> tuple[SeasonEntry, ...]:
        """Return the entries of one state; none is missed whose window is open again."""
        again = {entry.window.name for entry in self.entries if entry.state is WindowState.OPEN}
        return tuple(
            entry
            for entry in self.entries
            if entry.state is state and not (state is WindowState.MISSED and entry.window.name in again)
        )

    def windows_now(self) -> WindowsNow:
        """Return what is open, what was the last to be missed, and what comes next.

        A window of the kind "too late" counts while it is open and is never waited for; one that runs over the new year
        is not missed.
        """
        place = {window.name: index for index, window in enumerate(self.system.windows)}

        def of(state: WindowState, *, too_late: bool = False) -> list[SeasonEntry]:
            some = (one for one in self.of_state(state) if (one.window.kind is WindowKind.TOO_LATE) is too_late)
            return sorted(some, key=lambda entry: place[entry.window.name])

        missed = (entry for entry in of(WindowState.MISSED) if not entry.window.runs_over_new_year)
        return WindowsNow(
            opened=tuple(of(WindowState.OPEN)),
            late=tuple(of(WindowState.OPEN, too_late=True)),
            missed=max(missed, key=lambda entry: entry.ends.on, default=None),
            coming=min(of(WindowState.NEXT), key=lambda entry: entry.begins.on, default=None),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The season of all systems that have hosts here, findings first.

    `without_hosts` are names of systems on file that have none. `remarks` are said once, for all of them.
    """

    as_of: dt.date
    systems: tuple[SystemSeason, ...]
    without_hosts: tuple[str, ...]
    remarks: tuple[str, ...]
