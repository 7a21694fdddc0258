"""The season on the page: the year in bars, what is open, next and missed, and why nothing is done about the rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.season_picture import (
    KEY,
    KIND_WORDS,
    MONTHS,
    bar,
    dates_below,
    lanes_of,
    share_of_year,
    spoken,
    whiskers,
)
from spreadmap.review.tables import table
from spreadmap.review.words import amount, day, period, sentence, several
from spreadmap.values.calendar import Basis, Season, SeasonEntry, SystemSeason, WindowState
from spreadmap.values.words import WindowKind

WIDTH, LEFT, RIGHT = 660.0, 56.0, 652.0
TOP, NAME, LANE, BAR = 34.0, 18.0, 15.0, 9.0
MOST_SITES = 6
STATE_WORDS = {
    WindowState.OPEN: "Open now",
    WindowState.NEXT: "Next",
    WindowState.MISSED: "Missed this year",
}
BASIS_WORDS = {
    Basis.DATES: "by dates",
    Basis.DEGREE_DAYS: "by degree-days",
    Basis.AT_THE_LATEST: "by degree-days, at the latest",
    Basis.NOT_BEFORE: "by degree-days, not before",
    Basis.LENGTH: "as long after as by dates",
}


def place_of(share: float) -> float:
    """Return where a share of the year lies in the drawing."""
    return round(LEFT + share * (RIGHT - LEFT), 1)


def year_drawing(systems: Sequence[SystemSeason], as_of: dt.date, name: str) -> Html:
    """Return the year in bars as a drawing, `name` its own; nothing where no system has a window in the year."""
    drawn = [(one, lanes) for one in systems if (lanes := lanes_of(one, as_of.year))]
    if not drawn:
        return Html("")
    parts: list[Html] = []
    top = TOP
    for one, lanes in drawn:
        parts.append(tag("text", sentence(one.system.common_name), x=LEFT, y=top + 12, class_="name"))
        parts.append(tag("text", several(one.hosts, "host"), x=RIGHT, y=top + 12, class_="count"))
        top += NAME
        for index, lane in enumerate(lanes):
            if not index or lanes[index - 1].kind is not lane.kind:
                parts.append(tag("text", KIND_WORDS[lane.kind], x=LEFT - 6, y=top + 8.5, class_="kind"))
            parts += [part for entry in lane.entries for part in entry_marks(entry, as_of.year, top, name)]
            top += LANE
        parts.append(tag("path", d=f"M{LEFT} {top + 1.5}H{RIGHT}", class_="rule"))
        top += 5
    return tag(
        "div",
        tag(
            "svg",
            tag("defs", late_pattern(name)),
            *month_marks(as_of.year, top),
            *parts,
            *today_marks(as_of, top),
            viewBox=f"0 0 {WIDTH:g} {top:g}",
            role="img",
            aria_label=spoken([one for one, _ in drawn], as_of),
        ),
        class_="year",
    )


def late_pattern(name: str) -> Html:
    """Return the hatching of windows in which it is too late."""
    return tag(
        "pattern",
        tag("rect", width=6, height=6, class_="ground"),
        tag("rect", width=2.2, height=6, class_="stripe"),
        id=f"late-{name}",
        patternUnits="userSpaceOnUse",
        width=6,
        height=6,
        patternTransform="rotate(45)",
    )


def month_marks(year: int, bottom: float) -> list[Html]:
    """Return the months over the bars."""
    starts = [share_of_year(dt.date(year, month, 1), year) for month in range(1, 13)]
    lines = [tag("path", d=f"M{place_of(share)} {TOP - 6}V{bottom}", class_="rule") for share in [*starts, 1.0]]
    middles = [(first + last) / 2 for first, last in zip(starts, [*starts[1:], 1.0], strict=True)]
    return [
        *lines,
        *(
            tag("text", month, x=place_of(share), y=TOP - 9, class_="month")
            for month, share in zip(MONTHS, middles, strict=True)
        ),
    ]


def today_marks(as_of: dt.date, bottom: float) -> list[Html]:
    """Return the line on the date of the state, and the date."""
    share = (share_of_year(as_of, as_of.year) + share_of_year(as_of, as_of.year, after=True)) / 2
    at = place_of(share)
    side = "start" if share < 0.1 else "end" if share > 0.9 else "middle"
    return [
        tag("path", d=f"M{at} {TOP - 6}V{bottom}", class_="today"),
        tag("text", day(as_of), x=at, y=TOP - 23, class_="today-date", text_anchor=side),
    ]


def entry_marks(entry: SeasonEntry, year: int, top: float, name: str) -> list[Html]:
    """Return one window: its spread, its bar, and its dates where degree-days rule."""
    early, late = whiskers(entry, year)
    first, last = bar(entry.begins.on, entry.ends.on, year)
    kind = entry.window.kind
    is_late = kind is WindowKind.TOO_LATE
    marks = [
        tag("path", d=f"M{place_of(early)} {top + BAR / 2:g}H{place_of(late)}", class_="spread"),
        tag(
            "rect",
            tag("title", f"{entry.window.name}: {period(entry.begins.on, entry.ends.on)}"),
            x=place_of(first),
            y=top,
            width=round(place_of(last) - place_of(first), 1),
            height=BAR,
            class_=kind.value.replace("_", "-"),
            fill=f"url(#late-{name})" if is_late else None,
        ),
    ]
    if (below := dates_below(entry, year)) is not None:
        marks.append(tag("path", d=f"M{place_of(below[0])} {top + BAR + 3:g}H{place_of(below[1])}", class_="dates"))
    return marks


def key() -> Html:
    """Return what bars and lines mean."""
    signs = [
        tag("span", tag("span", class_=f"bar {kind.value.replace('_', '-')}", aria_hidden="true"), KIND_WORDS[kind])
        for kind in WindowKind
    ]
    return tag("p", *signs, tag("span", KEY), class_="year-key")


def season_answer(season: Season) -> str:
    """Return in one sentence what is open and what comes next for the pests on record."""
    told = [one for one in season.systems if one.is_told_of]
    if not told:
        return "No pest on record has a host here."
    opened = sum(
        entry.window.kind is not WindowKind.TOO_LATE for one in told for entry in one.of_state(WindowState.OPEN)
    )
    says = f"{sentence(several(opened, 'window'))} {'is' if opened == 1 else 'are'} open for the pests on record"
    coming = [
        (entry, one.system.common_name)
        for one in told
        for entry in one.of_state(WindowState.NEXT)
        if entry.window.kind is not WindowKind.TOO_LATE
    ]
    if coming:
        entry, pest = min(coming, key=lambda row: row[0].begins.on)
        says += f"; the next opens on {day(entry.begins.on)}: {pest}, {entry.window.name}"
    return f"{says}."


def season_parts(season: Season) -> tuple[Html | None, ...]:
    """Return what the section holds: the year, the windows by state, damage, cosmetic findings, the other systems."""
    told = [one for one in season.systems if one.is_told_of]
    others = [one for one in season.systems if not one.is_told_of]
    drawing = year_drawing(told, season.as_of, "told")
    return (
        join(drawing, key()) if drawing else None,
        *(state_table(told, state) for state in WindowState),
        sentences("Damage whose mites have left:", [(one, one.look_again_says) for one in told]),
        sentences("Cosmetic findings, and why nothing is done:", [(one, one.nothing_says) for one in told]),
        sentences("Where their hosts stand:", [(one, where(one)) for one in told]),
        other_parts(others, season),
        tag("ul", *(tag("li", text) for text in season.remarks)) if season.remarks else None,
    )


def state_table(systems: Sequence[SystemSeason], state: WindowState) -> Html | None:
    """Return the windows of one state; nothing where there is none."""
    rows = [(entry, one) for one in systems for entry in one.of_state(state)]
    if state is WindowState.NEXT:
        rows.sort(key=lambda row: row[0].begins.on)
    if not rows:
        return None
    heads = ("Window", "When", "What to do" if state is not WindowState.MISSED else "What it was for")
    return table(STATE_WORDS[state], heads, [window_row(entry, one) for entry, one in rows], kind="season")


def window_row(entry: SeasonEntry, system: SystemSeason) -> Html:
    """Return one window as a row: what, when and by what, what to do and on what it rests."""
    window = entry.window
    which = f"{system.system.common_name}, {KIND_WORDS[window.kind]}"
    rests = entry.says if window.degree_days is not None else ""
    sign = f"Sign in the open: {window.sign}." if window.sign else ""
    return tag(
        "tr",
        tag("th", sentence(window.name), tag("span", which, class_="under"), scope="row"),
        tag(
            "td",
            tag("span", when(entry), class_="days"),
            tag("span", spread_words(entry), class_="under"),
            class_="when",
        ),
        tag("td", window.advice, *(tag("span", text, class_="under") for text in (sign, rests) if text), class_="why"),
    )


def when(entry: SeasonEntry) -> str:
    """Return the days of a window."""
    return "all year" if entry.is_all_year else period(entry.begins.on, entry.ends.on)


def spread_words(entry: SeasonEntry) -> str:
    """Return on what the days rest, and the spread of dates; that of degree-days stands in the entry's own words."""
    if entry.is_all_year:
        return ""
    begins, ends = entry.begins.basis, entry.ends.basis
    if begins is ends is Basis.DATES:
        days = entry.window.spread_days
        return f"by dates, {several(days, 'day')} earlier or later" if days else "by dates"
    if begins is ends:
        return BASIS_WORDS[begins]
    return f"opening {BASIS_WORDS[begins]}; closing {BASIS_WORDS[ends]}"


def sentences(lead: str, said: Sequence[tuple[SystemSeason, str]]) -> Html | None:
    """Return a sentence for each system that has one; nothing where none has."""
    items = [tag("li", tag("b", f"{sentence(one.system.common_name)}. "), text) for one, text in said if text]
    return join(tag("p", lead, class_="lead-in"), tag("ul", *items)) if items else None


def where(system: SystemSeason) -> str:
    """Return on which sites the hosts stand, those with findings first."""
    ordered = sorted(system.sites, key=lambda site: (-site.findings, -site.hosts, site.site_id))
    named = ", ".join(f"{site.name or 'no site'} ({amount(site.hosts)})" for site in ordered[:MOST_SITES])
    more = len(ordered) - MOST_SITES
    rest = f" and {several(more, 'further site')}" if more > 0 else ""
    return f"{named}{rest}." if named else ""


def other_parts(others: Sequence[SystemSeason], season: Season) -> Html | None:
    """Return the season of systems that were neither looked for nor found, to be opened by who wants it."""
    without = f"Without a host here: {', '.join(season.without_hosts)}." if season.without_hosts else ""
    if not others:
        return tag("p", without, class_="why") if without else None
    return tag(
        "details",
        tag("summary", f"{several(len(others), 'other system')} with hosts here, neither looked for nor found"),
        year_drawing(others, season.as_of, "others"),
        tag(
            "ul",
            *(
                tag("li", tag("b", f"{sentence(one.system.common_name)}. "), one.says, f" Hosts: {where(one)}")
                for one in others
            ),
        ),
        tag("p", without, class_="why") if without else None,
        class_="others",
    )
