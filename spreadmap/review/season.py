"""The season on the page: the year in bars, what is open, next and missed, and why nothing is done about the rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.season_picture import (
    bar,
    dates_below,
    lanes_of,
    share_of_year,
    spoken,
    whiskers,
)
from spreadmap.review.season_says import season_told
from spreadmap.review.tables import table
from spreadmap.values.calendar import Basis, Season, SeasonEntry, SystemSeason, WindowState
from spreadmap.values.words import WindowKind

WIDTH, LEFT, RIGHT = 660.0, 56.0, 652.0
TOP, NAME, LANE, BAR = 34.0, 18.0, 15.0, 9.0
MOST_SITES = 6


def place_of(share: float) -> float:
    """Return where a share of the year lies in the drawing."""
    return round(LEFT + share * (RIGHT - LEFT), 1)


def year_drawing(say: Words, systems: Sequence[SystemSeason], as_of: dt.date, name: str) -> Html:
    """Return the year in bars as a drawing, `name` its own; nothing where no system has a window in the year."""
    drawn = [(one, lanes) for one in systems if (lanes := lanes_of(one, as_of.year))]
    if not drawn:
        return Html("")
    parts: list[Html] = []
    top = TOP
    for one, lanes in drawn:
        parts.append(tag("text", sentence(say.phrase(one.system.common_name)), x=LEFT, y=top + 12, class_="name"))
        parts.append(tag("text", say("noun.host", n=one.hosts), x=RIGHT, y=top + 12, class_="count"))
        top += NAME
        for index, lane in enumerate(lanes):
            if not index or lanes[index - 1].kind is not lane.kind:
                parts.append(tag("text", say(f"season.{lane.kind.value}"), x=LEFT - 6, y=top + 8.5, class_="kind"))
            parts += [part for entry in lane.entries for part in entry_marks(say, entry, as_of.year, top, name)]
            top += LANE
        parts.append(tag("path", d=f"M{LEFT} {top + 1.5}H{RIGHT}", class_="rule"))
        top += 5
    return tag(
        "div",
        tag(
            "svg",
            tag("defs", late_pattern(name)),
            *month_marks(say, as_of.year, top),
            *parts,
            *today_marks(say, as_of, top),
            viewBox=f"0 0 {WIDTH:g} {top:g}",
            role="img",
            aria_label=spoken(say, [one for one, _ in drawn], as_of),
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


def month_marks(say: Words, year: int, bottom: float) -> list[Html]:
    """Return the months over the bars."""
    starts = [share_of_year(dt.date(year, month, 1), year) for month in range(1, 13)]
    lines = [tag("path", d=f"M{place_of(share)} {TOP - 6}V{bottom}", class_="rule") for share in [*starts, 1.0]]
    middles = [(first + last) / 2 for first, last in zip(starts, [*starts[1:], 1.0], strict=True)]
    return [
        *lines,
        *(
            tag("text", say(f"month_short.{month}"), x=place_of(share), y=TOP - 9, class_="month")
            for month, share in enumerate(middles, start=1)
        ),
    ]


def today_marks(say: Words, as_of: dt.date, bottom: float) -> list[Html]:
    """Return the line on the date of the state, and the date."""
    share = (share_of_year(as_of, as_of.year) + share_of_year(as_of, as_of.year, after=True)) / 2
    at = place_of(share)
    side = "start" if share < 0.1 else "end" if share > 0.9 else "middle"
    return [
        tag("path", d=f"M{at} {TOP - 6}V{bottom}", class_="today"),
        tag("text", say.day(as_of), x=at, y=TOP - 23, class_="today-date", text_anchor=side),
    ]


def entry_marks(say: Words, entry: SeasonEntry, year: int, top: float, name: str) -> list[Html]:
    """Return one window: its spread, its bar, and its dates where degree-days rule."""
    early, late = whiskers(entry, year)
    first, last = bar(entry.begins.on, entry.ends.on, year)
    kind = entry.window.kind
    is_late = kind is WindowKind.TOO_LATE
    marks = [
        tag("path", d=f"M{place_of(early)} {top + BAR / 2:g}H{place_of(late)}", class_="spread"),
        tag(
            "rect",
            tag("title", f"{say.phrase(entry.window.name)}: {say.period(entry.begins.on, entry.ends.on)}"),
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


def key(say: Words) -> Html:
    """Return what bars and lines mean."""
    signs = [
        tag(
            "span",
            tag("span", class_=f"bar {kind.value.replace('_', '-')}", aria_hidden="true"),
            say(f"season.{kind.value}"),
        )
        for kind in WindowKind
    ]
    return tag("p", *signs, tag("span", say("season.key")), class_="year-key")


def season_answer(say: Words, season: Season) -> str:
    """Return in one sentence what is open and what comes next for the pests on record."""
    told = [one for one in season.systems if one.is_told_of]
    if not told:
        return say("season.no_host")
    opened = sum(
        entry.window.kind is not WindowKind.TOO_LATE for one in told for entry in one.of_state(WindowState.OPEN)
    )
    coming = [
        (entry, one.system.common_name)
        for one in told
        for entry in one.of_state(WindowState.NEXT)
        if entry.window.kind is not WindowKind.TOO_LATE
    ]
    said = say("season.open_count", n=opened)
    if not coming:
        return say("season.answer", open=said)
    entry, pest = min(coming, key=lambda row: row[0].begins.on)
    return say(
        "season.answer_next",
        open=said,
        day=say.day(entry.begins.on),
        pest=say.phrase(pest),
        window=say.phrase(entry.window.name),
    )


def season_parts(say: Words, season: Season) -> tuple[Html | None, ...]:
    """Return what the section holds: the year, the windows by state, damage, cosmetic findings, the other systems."""
    told = [one for one in season.systems if one.is_told_of]
    others = [one for one in season.systems if not one.is_told_of]
    drawing = year_drawing(say, told, season.as_of, "told")
    return (
        join(drawing, key(say)) if drawing else None,
        *(state_table(say, told, state) for state in WindowState),
        sentences(say, "season.damage", [(one, say.told(one.look_again_says)) for one in told]),
        sentences(say, "season.cosmetic", [(one, say.told(one.nothing_says)) for one in told]),
        sentences(say, "season.where", [(one, where(say, one)) for one in told]),
        other_parts(say, others, season),
        tag("ul", *(tag("li", say.told(text)) for text in season.remarks)) if season.remarks else None,
    )


def state_table(say: Words, systems: Sequence[SystemSeason], state: WindowState) -> Html | None:
    """Return the windows of one state; nothing where there is none."""
    rows = [(entry, one) for one in systems for entry in one.of_state(state)]
    if state is WindowState.NEXT:
        rows.sort(key=lambda row: row[0].begins.on)
    if not rows:
        return None
    names = ("window", "when", "was_for" if state is WindowState.MISSED else "what")
    heads = [say(f"season.head_{name}") for name in names]
    made = [window_row(say, entry, one) for entry, one in rows]
    return table(say(f"season.state_{state.value}"), heads, made, kind="season")


def window_row(say: Words, entry: SeasonEntry, system: SystemSeason) -> Html:
    """Return one window as a row: what, when and by what, what to do and on what it rests."""
    window = entry.window
    which = f"{say.phrase(system.system.common_name)}, {say(f'season.{window.kind.value}')}"
    rests = say.told(entry.says) if window.degree_days is not None else None
    sign = join(say("season.sign"), " ", say.told(window.sign), ".") if window.sign else None
    return tag(
        "tr",
        tag("th", say.told(window.name, begins=True), tag("span", which, class_="under"), scope="row"),
        tag(
            "td",
            tag("span", when(say, entry), class_="days"),
            tag("span", spread_words(say, entry), class_="under"),
            class_="when",
        ),
        tag(
            "td",
            say.told(window.advice),
            *(tag("span", text, class_="under") for text in (sign, rests) if text),
            class_="why",
        ),
    )


def when(say: Words, entry: SeasonEntry) -> str:
    """Return the days of a window."""
    return say("season.all_year") if entry.is_all_year else say.period(entry.begins.on, entry.ends.on)


def spread_words(say: Words, entry: SeasonEntry) -> str:
    """Return on what the days rest, and the spread of dates; that of degree-days stands in the entry's own words."""
    if entry.is_all_year:
        return ""
    begins, ends = entry.begins.basis, entry.ends.basis
    if begins is ends is Basis.DATES:
        days = entry.window.spread_days
        by_dates = say("season.by_dates")
        return say("season.spread", by=by_dates, days=say("noun.day", n=days)) if days else by_dates
    if begins is ends:
        return say(f"season.by_{begins.value}")
    return say("season.by_two", opening=say(f"season.by_{begins.value}"), closing=say(f"season.by_{ends.value}"))


def sentences(say: Words, lead: str, said: Sequence[tuple[SystemSeason, str]]) -> Html | None:
    """Return a sentence for each system that has one; nothing where none has."""
    items = [
        tag("li", tag("b", f"{sentence(say.phrase(one.system.common_name))}. "), text) for one, text in said if text
    ]
    return join(tag("p", say(lead), class_="lead-in"), tag("ul", *items)) if items else None


def where(say: Words, system: SystemSeason) -> str:
    """Return on which sites the hosts stand, those with findings first."""
    ordered = sorted(system.sites, key=lambda site: (-site.findings, -site.hosts, site.site_id))
    named = [f"{site.name or say('season.no_site')} ({say.amount(site.hosts)})" for site in ordered[:MOST_SITES]]
    if not named:
        return ""
    more = len(ordered) - MOST_SITES
    return f"{say('season.and_more', sites=', '.join(named), n=more) if more > 0 else ', '.join(named)}."


def other_parts(say: Words, others: Sequence[SystemSeason], season: Season) -> Html | None:
    """Return the season of systems that were neither looked for nor found, to be opened by who wants it."""
    without = ""
    if season.without_hosts:
        without = say("findings.without_hosts", pests=", ".join(say.phrase(name) for name in season.without_hosts))
    if not others:
        return tag("p", without, class_="why") if without else None
    return tag(
        "details",
        tag("summary", say("season.others", n=len(others))),
        year_drawing(say, others, season.as_of, "others"),
        tag(
            "ul",
            *(
                tag(
                    "li",
                    tag("b", f"{sentence(say.phrase(one.system.common_name))}. "),
                    season_told(say, one),
                    f" {say('season.hosts', where=where(say, one))}",
                )
                for one in others
            ),
        ),
        tag("p", without, class_="why") if without else None,
        class_="others",
    )
