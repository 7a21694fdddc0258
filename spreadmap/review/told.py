"""What other rooms say, in the language of the page: their sentences are known by their shape, and said anew.

A sentence stands in the files of the languages in English as its room makes it, with places for what changes. A text is
read from its beginning, sentence by sentence; what has no shape stays English.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

VERBATIM = frozenset({"key", "name", "bed", "site", "host", "file", "unit"})
"""Places that hold what users wrote, or signs that are the same in every language."""
LOOSE = frozenset({"place"})
"""Places that may hold what users wrote."""
NAMES = VERBATIM | LOOSE
SHARE = "%"
"""No name holds it: what does is the rest of a sentence that has no words."""
PLACE = re.compile(r"{(\w+)}")
INSIDE = r"(?:(?!\. ).)"
"""One sign of a place: it holds no end of a sentence."""
NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?(?:e[+-]?\d+)?")
LONG = re.compile(r"[1-9]\d{3,}")
"""A number that other rooms write without a sign between thousands."""
PERCENT = re.compile(r"(\d[\d,.]*) ?%")
SPOKEN_DAY = re.compile(r"(\d{1,2}) ([A-Z][a-z]+)(?: (\d{4}))?")
WRITTEN_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True)
class Shape:
    """A sentence of another room as a pattern, and the same in a language; `fixed` letters of it never change."""

    pattern: re.Pattern[str]
    mine: str
    fixed: int


@dataclass(frozen=True, slots=True)
class Told:
    """A piece of a text: in the language of the page, or as its room says it."""

    text: str
    is_mine: bool


@dataclass(frozen=True, slots=True, eq=False)
class Retold:
    """The sentences of other rooms in one language.

    `phrases` are those without places, `shapes` those with some, by English and own text. `months` are the names of the
    months, English and own; `group` and `point` are signs in numbers; `day` and `short_day` tell dates.
    """

    phrases: Mapping[str, str]
    shapes: tuple[Shape, ...]
    months: Mapping[str, str]
    group: str
    point: str
    day: str
    short_day: str

    def pieces(self, text: str) -> list[Told]:
        """Return a text in pieces, each said in this language or as it stands."""
        made: list[Told] = []
        while text:
            found = self.beginning(text)
            if found is None:
                end = text.find(". ")
                taken = text if end < 0 else text[: end + 1]
                made.append(Told(taken, is_mine=False))
            else:
                taken, mine = found
                made.append(Told(mine, is_mine=True))
            text = text[len(taken) :].lstrip()
        return made

    def whole(self, text: str) -> str | None:
        """Return a text in this language; None where a sentence of it has no shape."""
        pieces = self.pieces(text)
        return " ".join(piece.text for piece in pieces) if all(piece.is_mine for piece in pieces) else None

    def beginning(self, text: str) -> tuple[str, str] | None:
        """Return what a text begins with, as it stands and in this language: the longest phrase or sentence known."""
        best: tuple[int, int, str] | None = None
        for phrase, mine in self.phrases.items():
            if text.startswith(phrase) and ends_at(text, len(phrase)) and (best is None or len(phrase) > best[0]):
                best = len(phrase), len(phrase), mine
        for shape in self.shapes:
            found = shape.pattern.match(text)
            if found is None:
                continue
            if best is not None and (found.end(), shape.fixed) <= best[:2]:
                continue
            said = self.filled(shape, found)
            if said is not None:
                best = found.end(), shape.fixed, said
        return None if best is None else (text[: best[0]], best[2])

    def filled(self, shape: Shape, found: re.Match[str]) -> str | None:
        """Return a sentence with its places filled; None where one of them holds what has no words here."""
        values = {}
        for name, value in found.groupdict().items():
            own = None if name in VERBATIM else self.value(value)
            if own is None and name in NAMES and SHARE not in value:
                own = value
            if own is None:
                return None
            values[name] = own
        return shape.mine.format_map(values)

    def value(self, text: str) -> str | None:
        """Return what stands at a place in this language: a phrase, number, date, a sentence of its own, or a list."""
        if text in self.phrases:
            return self.phrases[text]
        lower = f"{text[:1].lower()}{text[1:]}"
        if lower in self.phrases:
            own = self.phrases[lower]
            return f"{own[:1].upper()}{own[1:]}"
        plain = self.number(text) or self.date(text) or self.months.get(text)
        return plain or self.part(text) or self.list_of(text)

    def part(self, text: str) -> str | None:
        """Return a text that one shape covers from end to end, the most fixed one; None for none."""
        best: tuple[int, str] | None = None
        for shape in self.shapes:
            found = shape.pattern.fullmatch(text)
            if found is None or (best is not None and shape.fixed <= best[0]):
                continue
            said = self.filled(shape, found)
            if said is not None:
                best = shape.fixed, said
        return None if best is None else best[1]

    def list_of(self, text: str) -> str | None:
        """Return parts between commas, each in this language; numbers with decimals are kept apart by semicolons."""
        parts = text.split(", ")
        if len(parts) < 2:
            return None
        own = [self.value(part) for part in parts]
        if any(each is None for each in own):
            return None
        are_numbers = self.point == "," and all(NUMBER.fullmatch(part) for part in parts)
        return ("; " if are_numbers and "." in text else ", ").join(str(each) for each in own)

    def number(self, text: str) -> str | None:
        """Return a number, or a share in per cent, with the signs of this language."""
        if LONG.fullmatch(text):
            text = f"{int(text):,}"
        if NUMBER.fullmatch(text):
            return text.replace(",", "\0").replace(".", self.point).replace("\0", self.group)
        share = PERCENT.fullmatch(text)
        return f"{self.number(share[1])} %" if share else "−" + str(self.number(text[1:])) if minus(text) else None

    def date(self, text: str) -> str | None:
        """Return a date as this language says it, with its year or without."""
        if WRITTEN_DAY.fullmatch(text):
            found = dt.date.fromisoformat(text)
            month = list(self.months.values())[found.month - 1]
            return self.day.format(day=found.day, month=month, year=found.year)
        spoken = SPOKEN_DAY.fullmatch(text)
        if spoken is None or spoken[2] not in self.months:
            return None
        said = self.day if spoken[3] else self.short_day
        return said.format(day=spoken[1], month=self.months[spoken[2]], year=spoken[3])


def minus(text: str) -> bool:
    """Return whether a text is a number below zero."""
    return text.startswith("-") and NUMBER.fullmatch(text[1:]) is not None


def ends_at(text: str, place: int) -> bool:
    """Return whether a sentence can end there: at the end of the text, or before a blank."""
    return place == len(text) or text[place] == " "


@cache
def pattern_of(english: str) -> re.Pattern[str]:
    """Return the pattern of an English sentence: what it says between its places, and in these anything short."""
    pieces = list(_pieces(english))
    signs = []
    for at, (text, is_place) in enumerate(pieces):
        is_last = at == len(pieces) - 1
        signs.append(f"(?P<{text}>{INSIDE}+{'' if is_last else '?'})" if is_place else re.escape(text))
    return re.compile(f"{''.join(signs)}(?= |$)")


def _pieces(english: str) -> Iterator[tuple[str, bool]]:
    """Yield what stands between places, and the places by their names."""
    for at, text in enumerate(PLACE.split(english)):
        if text:
            yield text, at % 2 == 1


def shapes_of(english: Mapping[str, str], mine: Mapping[str, str]) -> tuple[Shape, ...]:
    """Return the sentences of some keys, English and own, as shapes."""
    return tuple(
        Shape(pattern=pattern_of(text), mine=mine[key], fixed=len(PLACE.sub("", text))) for key, text in english.items()
    )
