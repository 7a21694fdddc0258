"""Which windows are open, missed and next, in a few sentences: the season's own in English, else from its entries."""

from __future__ import annotations

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join
from spreadmap.values.calendar import Season, SeasonEntry, SystemSeason
from spreadmap.values.results import Triage


def season_says(say: Words, item: Triage, season: Season | None) -> Html:
    """Return the season of one pest in sentences."""
    own = next((one for one in season.systems if one.system.key == item.system.key), None) if season else None
    return say.told(item.season_says) if say.is_source or own is None else season_told(say, own)


def season_told(say: Words, season: SystemSeason) -> Html:
    """Return the season of one pest in sentences, as its season says it."""
    if say.is_source:
        return say.told(season.says)
    return join(*(join(" " if at else "", part) for at, part in enumerate(windows_told(say, season))))


def windows_told(say: Words, season: SystemSeason) -> list[Html]:
    """Return the windows that are open, those in which it is too late, the last missed one and the next one."""
    if not season.system.windows:
        return [join(say("season.says_no_window"))]
    now = season.windows_now()
    told = [one(say, "says_open", say.day(entry.ends.on), entry, with_advice=True) for entry in now.opened]
    told += [] if now.opened else [join(say("season.says_none"))]
    told += [one(say, "says_late", say.day(entry.ends.on), entry, with_advice=True) for entry in now.late]
    if now.missed is not None:
        told.append(one(say, "says_over", say.day(now.missed.ends.on), now.missed))
    if now.coming is not None:
        day = say.day(now.coming.begins.on)
        told.append(one(say, "says_next", day, now.coming, with_advice=not now.opened))
    return told


def one(say: Words, name: str, day: str, entry: SeasonEntry, *, with_advice: bool = False) -> Html:
    """Return one window with its day, and what to do in it."""
    advice = (" ", say.told(entry.window.advice)) if with_advice else ()
    return join(say(f"season.{name}", day=day), " ", say.told(entry.window.name), ".", *advice)
