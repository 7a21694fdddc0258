"""The year in bars: which lanes the windows take, and the picture that is delivered as a file."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font

from spreadmap.review.language import Words, sentence
from spreadmap.values.calendar import Season, SeasonEntry, SystemSeason, WindowState
from spreadmap.values.words import WindowKind

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FILLS = {WindowKind.ACT: "#14413d", WindowKind.LOOK: "#8fbcae", WindowKind.TOO_LATE: "#ffffff"}
"""Dark, middle and white: told apart without colour; the white one is hatched besides."""
HATCH, INK, SOFT, RULE, TODAY = "#8a5a2b", "#1b2220", "#55605c", "#d8d3c6", "#a83f00"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One line of the picture: windows of one kind that do not meet."""

    kind: WindowKind
    entries: tuple[SeasonEntry, ...]


def lanes_of(system: SystemSeason, year: int) -> tuple[Lane, ...]:
    """Return the lanes of one system in a year: to look, to act, too late; windows that meet take a lane each."""
    lanes = []
    for kind in WindowKind:
        rows: list[list[SeasonEntry]] = []
        for entry in system.entries:
            if entry.window.kind is not kind or not entry.begins.on.year <= year <= entry.ends.on.year:
                continue
            free = next((row for row in rows if row[-1].ends.latest < entry.begins.earliest), None)
            if free is None:
                rows.append([entry])
            else:
                free.append(entry)
        lanes += [Lane(kind=kind, entries=tuple(row)) for row in rows]
    return tuple(lanes)


def share_of_year(value: dt.date, year: int, *, after: bool = False) -> float:
    """Return where a day begins (or ends, with `after`) in a year, from 0 to 1; days outside lie on its edge."""
    first, last = dt.date(year, 1, 1), dt.date(year + 1, 1, 1)
    days = (value - first).days + (1 if after else 0)
    return min(1.0, max(0.0, days / (last - first).days))


def bar(first: dt.date, last: dt.date, year: int) -> tuple[float, float]:
    """Return begin and end of a stretch of days as shares of the year, both days whole."""
    return share_of_year(first, year), share_of_year(last, year, after=True)


def whiskers(entry: SeasonEntry, year: int) -> tuple[float, float]:
    """Return begin and end of a window with its spread, as shares of the year."""
    return bar(entry.begins.earliest, entry.ends.latest, year)


def dates_below(entry: SeasonEntry, year: int) -> tuple[float, float] | None:
    """Return the window by its dates where degree-days rule, as shares of the year; else None."""
    dated = entry.begins.by_dates, entry.ends.by_dates
    return None if dated == (entry.begins.on, entry.ends.on) else bar(*dated, year)


def spoken(say: Words, systems: Sequence[SystemSeason], as_of: dt.date) -> str:
    """Return what the picture shows, in a sentence for who does not see it."""
    parts = []
    for one in systems:
        opened = [say.phrase(entry.window.name) for entry in one.of_state(WindowState.OPEN)]
        now = say("season.open_now", windows=", ".join(opened)) if opened else say("season.none_open")
        parts.append(f"{say.phrase(one.system.common_name)}, {now}")
    return say("season.spoken", year=str(as_of.year), day=say.day(as_of), systems="; ".join(parts))


def drawable(text: str) -> str:
    """Return a text on one line, with a sign for a character lost in place of each that the font cannot draw."""
    known = get_font(findfont("DejaVu Sans")).get_charmap()
    return "".join(char if ord(char) in known else "\ufffd" for char in " ".join(text.split()))


def season_png(say: Words, season: Season, title: str) -> bytes:
    """Return a picture of the year with a line on the date of the state; the same bytes every time.

    Empty bytes where no system has a window.
    """
    year = season.as_of.year
    rows = [(one, lanes_of(one, year)) for one in season.systems]
    rows = [(one, lanes) for one, lanes in rows if lanes]
    if not rows:
        return b""
    tall = sum(len(lanes) + 1.3 for _, lanes in rows)
    high = 0.185 * tall + 1.75
    figure = Figure(figsize=(9.6, high), dpi=120)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.085, 0.95 / high, 0.895, 0.185 * tall / high))
    axes.set_xlim(0, 1)
    axes.set_ylim(tall - 0.1, -0.1)
    _months(say, axes, year, tall)
    place = 0.0
    with mpl.rc_context({"hatch.linewidth": 1.1, "hatch.color": HATCH}):
        for one, lanes in rows:
            place = _system(say, axes, one, lanes, place, year)
        _legend(say, figure, high)
    _today(say, axes, season.as_of)
    heading = drawable(say("season.heading", title=title, year=str(year)))
    figure.text(0.013, 1 - 0.2 / high, heading, fontsize=11.5, fontweight="bold", va="center", parse_math=False)
    buffer = io.BytesIO()
    says = spoken(say, [one for one, _ in rows], season.as_of)
    figure.savefig(buffer, format="png", metadata={"Software": None, "Description": drawable(says)})
    return buffer.getvalue()


def _months(say: Words, axes: Axes, year: int, tall: float) -> None:
    """Draw the months and take away the frame."""
    starts = [share_of_year(dt.date(year, month, 1), year) for month in range(1, 13)]
    middles = [(first + last) / 2 for first, last in zip(starts, [*starts[1:], 1.0], strict=True)]
    axes.vlines([*starts, 1.0], -0.1, tall, color=RULE, linewidth=0.8, zorder=0)
    axes.set_xticks(middles, [say(f"month_short.{month}") for month in range(1, 13)], fontsize=8.5, color=SOFT)
    axes.xaxis.tick_top()
    axes.tick_params(length=0)
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)


def _system(say: Words, axes: Axes, one: SystemSeason, lanes: Sequence[Lane], place: float, year: int) -> float:
    """Draw one system from a height downwards; return the height below it."""
    name = drawable(sentence(say.phrase(one.system.common_name)))
    hosts = say("noun.host", n=one.hosts)
    count = say("season.found", hosts=hosts) if one.is_found else hosts
    # White behind the words, for the lines of the months would run through them.
    behind = {"boxstyle": "square,pad=0.15", "facecolor": "white", "linewidth": 0}
    axes.text(
        0.004,
        place + 0.65,
        name,
        fontsize=9.5,
        fontweight="bold",
        va="center",
        color=INK,
        bbox=behind,
        parse_math=False,
    )
    axes.text(0.996, place + 0.65, count, fontsize=8, va="center", ha="right", color=SOFT, bbox=behind)
    place += 1.1
    for index, lane in enumerate(lanes):
        if not index or lanes[index - 1].kind is not lane.kind:
            axes.text(
                -0.008, place + 0.42, say(f"season.{lane.kind.value}"), fontsize=8, va="center", ha="right", color=SOFT
            )
        for entry in lane.entries:
            _bar(axes, entry, lane.kind, place, year)
        place += 1.0
    axes.axhline(place + 0.1, color=RULE, linewidth=0.6)
    return place + 0.2


def _today(say: Words, axes: Axes, as_of: dt.date) -> None:
    """Draw the line on the date of the state, and say the date."""
    share = (share_of_year(as_of, as_of.year) + share_of_year(as_of, as_of.year, after=True)) / 2
    axes.axvline(share, color=TODAY, linewidth=1.4, zorder=5)
    side = "left" if share < 0.1 else "right" if share > 0.9 else "center"
    axes.annotate(
        say.day(as_of), (share, 1), xycoords=("data", "axes fraction"), xytext=(0, 19), textcoords="offset points",
        ha=side, fontsize=9, fontweight="bold", color=TODAY,
    )  # fmt: skip


def _bar(axes: Axes, entry: SeasonEntry, kind: WindowKind, place: float, year: int) -> None:
    """Draw one window, its spread, and its dates where degree-days rule."""
    early, late = whiskers(entry, year)
    first, last = bar(entry.begins.on, entry.ends.on, year)
    axes.hlines(place + 0.4, early, late, color=SOFT, linewidth=1, zorder=2)
    axes.barh(
        place + 0.4, last - first, left=first, height=0.56, color=FILLS[kind], zorder=3,
        edgecolor=HATCH if kind is WindowKind.TOO_LATE else FILLS[WindowKind.ACT], linewidth=0.8,
        hatch="/////" if kind is WindowKind.TOO_LATE else None,
    )  # fmt: skip
    if (below := dates_below(entry, year)) is not None:
        axes.hlines(place + 0.84, *below, color=INK, linewidth=1.2, linestyle=(0, (1.5, 1)), zorder=3)


def _legend(say: Words, figure: Figure, high: float) -> None:
    """Draw what the bars and lines mean, in the order of the lanes."""
    marks = [
        mpl.patches.Patch(
            facecolor=FILLS[kind], label=say(f"season.{kind.value}"), linewidth=0.8,
            edgecolor=HATCH if kind is WindowKind.TOO_LATE else FILLS[WindowKind.ACT],
            hatch="/////" if kind is WindowKind.TOO_LATE else None,
        )
        for kind in WindowKind
    ]  # fmt: skip
    figure.legend(
        handles=marks, loc="center left", bbox_to_anchor=(0.075, 0.62 / high), ncols=3, frameon=False, fontsize=8.5,
        handlelength=2.6, columnspacing=1.8,
    )  # fmt: skip
    figure.text(0.085, 0.36 / high, say("season.key"), fontsize=8, va="center", color=SOFT)
    figure.text(
        0.085, 0.17 / high, say("season.ranges"), fontsize=8,
        va="center", color=SOFT,
    )  # fmt: skip
