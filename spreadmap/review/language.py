"""One language of the page: its texts by key, and numbers, dates, lengths and areas as it says them."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from numbers import Real
from typing import Any

import numpy as np

from spreadmap.review.markup import Html, escaped, join, tag
from spreadmap.review.told import Retold, shapes_of
from spreadmap.values.arrays import to_date
from spreadmap.values.page_settings import PageSettings

SOURCE = "en"
"""The language in which all other rooms, and the files of the pest systems, say their sentences."""
PHRASES = ("phrase.", "calibrated.phrase.")
SENTENCES = ("sentence.", "calibrated.sentence.")
FOOT_M, MILE_M = 0.3048, 1609.344
MOST_CERTAIN = 0.999
"""Chances above it are said as this one: a few hundred draws know no certainty [-]. None: our choice."""
KM_PER_MILE = MILE_M / 1000
ACRE_M2 = 4046.8564224
LONG_FEET = 5280.0
"""From here on a length is said in miles [ft]."""

Text = str | Mapping[str, str]


def flattened(values: Mapping[str, Any], before: str = "") -> dict[str, Text]:
    """Return nested tables as texts by dotted keys; a table of `one` and `other` is one text with two forms."""
    made: dict[str, Text] = {}
    for name, value in values.items():
        key = f"{before}{name}"
        if isinstance(value, Mapping) and value.keys() != {"one", "other"}:
            made |= flattened(value, f"{key}.")
        else:
            made[key] = value
    return made


@cache
def texts_of(language: str) -> Mapping[str, Text]:
    """Return all texts of a language by key."""
    text = files("spreadmap.review").joinpath("languages", f"{language}.toml").read_text(encoding="utf-8")
    return flattened(tomllib.loads(text))


@cache
def phrases_of(language: str) -> Mapping[str, str]:
    """Return the fixed sentences of other rooms in a language, by the English ones."""
    source, mine = texts_of(SOURCE), texts_of(language)
    return {str(text): str(mine[key]) for key, text in source.items() if key.startswith(PHRASES)}


@cache
def retold_in(language: str) -> Retold:
    """Return the sentences of other rooms in a language, fixed ones and those with places."""
    source, mine = texts_of(SOURCE), texts_of(language)
    phrases, placed = dict(phrases_of(language)), {}
    for key, text in source.items():
        if not key.startswith(SENTENCES):
            continue
        if "{" in str(text):
            placed[key] = str(text)
        else:
            phrases[str(text)] = str(mine[key])
    return Retold(
        phrases=phrases,
        shapes=shapes_of(placed, {key: str(mine[key]) for key in placed}),
        months={str(source[f"month.{number}"]): str(mine[f"month.{number}"]) for number in range(1, 13)},
        group=str(mine["number.group"]),
        point=str(mine["number.point"]),
        day=str(mine["date.day"]),
        short_day=str(mine["date.short"]),
    )


@dataclass(frozen=True, slots=True)
class Words:
    """A language with its units; called with a key it returns the text, its places filled."""

    language: str
    units: str

    def __call__(self, key: str, /, **values: object) -> str:
        """Return the text of a key; numbers among the values are written out, and `n` chooses between one and many.

        Raises
        ------
        KeyError
            If the language has no such text, or a place of it gets no value.
        """
        text = texts_of(self.language)[key]
        if isinstance(text, Mapping):
            count = values["n"]
            is_one = isinstance(count, Real) and round(float(count)) == 1
            text = text["one" if is_one else "other"]
        written = {name: self.amount(float(each)) if isinstance(each, Real) else each for name, each in values.items()}
        return self.with_articles(text, written).format_map(written)

    def with_articles(self, text: str, values: Mapping[str, object]) -> str:
        """Return a text without its article before places whose share has none: `74 %` has one, `under 1 %` has not."""
        texts = texts_of(self.language)
        article, bare = texts["share.article"], (texts["share.under"], texts["share.over"])
        for name in [name for name, value in values.items() if value in bare]:
            text = text.replace(f"{article}{{{name}}}", f"{{{name}}}")
        return text

    def raw(self, key: str) -> Text:
        """Return the text of a key with its places open, for a script that fills them."""
        return texts_of(self.language)[key]

    def section(self, name: str) -> dict[str, Text]:
        """Return the texts of one section by their last names, for a script."""
        start = f"{name}."
        return {key.removeprefix(start): text for key, text in texts_of(self.language).items() if key.startswith(start)}

    def phrase(self, text: str) -> str:
        """Return a fixed sentence of another room in this language, or the text itself where it has none."""
        return phrases_of(self.language).get(text, text)

    def told(self, text: str, *, begins: bool = False) -> Html:
        """Return what another room says as part of the page: in this language, or marked as English.

        With `begins` it has a capital at its beginning.
        """
        if self.is_source or not text:
            return Html(escaped(sentence(text) if begins else text))
        made: list[Html] = []
        for piece in retold_in(self.language).pieces(text):
            said = sentence(piece.text) if begins and not made else piece.text
            made += [
                *([Html(" ")] if made else []),
                Html(escaped(said)) if piece.is_mine else tag("span", said, lang=SOURCE),
            ]
        return join(*made)

    def own(self, text: str) -> str | None:
        """Return what another room says wholly in this language; None where it has no words for all of it."""
        return text if self.is_source else retold_in(self.language).whole(text)

    def worded(self, text: str) -> str:
        """Return a part of a sentence that another room says in this language, or as it stands."""
        return text if self.is_source else retold_in(self.language).value(text) or text

    @property
    def is_source(self) -> bool:
        """Return whether this is the language in which all other rooms speak."""
        return self.language == SOURCE

    @property
    def takes_own_words(self) -> bool:
        """Return whether sentences with lengths can be taken as other rooms say them: in English and in metres."""
        return self.is_source and not self.is_us

    # --- numbers

    def decimal(self, value: float, places: int) -> str:
        """Return a number with decimals and thousands apart."""
        whole, _, rest = f"{value:,.{places}f}".partition(".")
        whole = whole.replace(",", self("number.group"))
        return f"{whole}{self('number.point')}{rest}" if rest else whole

    def amount(self, value: float) -> str:
        """Return a number of things with thousands apart."""
        return self.decimal(value, 0)

    def short(self, value: float, places: int = 1) -> str:
        """Return a number with decimals where it has any."""
        said = self.decimal(value, places)
        point = self("number.point")
        return said.rstrip("0").removesuffix(point) if point in said else said

    def figures(self, value: float) -> str:
        """Return a number to two digits that count, never in powers of ten."""
        if not np.isfinite(value):
            return ""
        exact = Decimal(f"{value:.1e}")
        return self.decimal(float(exact), max(0, -int(exact.normalize().as_tuple().exponent)))

    def part(self, value: float) -> str:
        """Return a share in whole percent, never rounding a part to nothing or to all."""
        if 0 < value < 0.01:
            return self("share.under")
        if 0.99 < value < 1:
            return self("share.over")
        return self("share.whole", n=100 * value)

    def chance(self, value: float) -> str:
        """Return a chance that rests on draws in whole percent, and never as certain."""
        return self.part(min(value, MOST_CERTAIN))

    # --- dates

    def day(self, value: dt.date | np.datetime64 | None) -> str:
        """Return a date as it is said, `2 July 2026`; nothing for no date."""
        date = to_date(value) if isinstance(value, np.datetime64) else value
        if date is None:
            return ""
        return self("date.day", day=str(date.day), month=self.month(date.month), year=str(date.year))

    def month(self, number: int) -> str:
        """Return the name of a month."""
        return self(f"month.{number}")

    def period(self, first: dt.date, last: dt.date) -> str:
        """Return a period, naming the year once where it is one."""
        start = self.day(first)
        if first.year == last.year:
            start = self("date.short", day=str(first.day), month=self.month(first.month))
        return self("date.period", first=start, last=self.day(last))

    # --- measures

    @property
    def is_us(self) -> bool:
        """Return whether lengths are told in feet."""
        return self.units == "us"

    def hours(self, value: float) -> str:
        """Return hours to a tenth."""
        return self("unit.hours", value=self.short(value))

    def length(self, metres: float) -> str:
        """Return a distance in whole metres, or in feet, from a mile on in miles."""
        if not self.is_us:
            return self("unit.metres", value=self.amount(metres))
        feet = metres / FOOT_M
        if feet >= LONG_FEET:
            return self("unit.miles", value=self.decimal(metres / MILE_M, 1))
        return self("unit.feet", value=self.amount(feet))

    def short_length(self, metres: float) -> str:
        """Return a distance of a few metres to a hundredth, or in feet to a tenth."""
        if self.is_us:
            return self("unit.feet", value=self.short(metres / FOOT_M, 1))
        return self("unit.metres", value=self.short(metres, 2))

    def plain_length(self, metres: float) -> str:
        """Return a distance as a whole number without its unit, which stands in a heading."""
        return self.amount(metres / FOOT_M if self.is_us else metres)

    @property
    def length_unit(self) -> str:
        """Return the unit of `plain_length`."""
        return self("unit.foot_sign" if self.is_us else "unit.metre_sign")

    def speed(self, km_per_hour: float) -> str:
        """Return a speed of wind in whole kilometres, or miles, per hour."""
        if self.is_us:
            return self("unit.miles_per_hour", value=self.amount(km_per_hour / KM_PER_MILE))
        return self("unit.km_per_hour", value=self.amount(km_per_hour))

    def area(self, square_m: float) -> str:
        """Return an area in square metres or hectares, or in square feet or acres."""
        if self.is_us:
            if square_m >= ACRE_M2:
                return self("unit.acres", value=self.decimal(square_m / ACRE_M2, 1))
            return self("unit.square_feet", value=self.amount(square_m / FOOT_M**2))
        if square_m >= 10_000:
            return self("unit.hectares", value=self.decimal(square_m / 10_000, 1))
        return self("unit.square_metres", value=self.amount(square_m))

    def together(self, names: Sequence[str]) -> str:
        """Return names as a list in words: `a`, `a and b`, `a, b and c`."""
        if len(names) < 2:
            return "".join(names)
        return self("list.and", first=", ".join(names[:-1]), last=names[-1])


def words_of(settings: PageSettings) -> Words:
    """Return the words of the language and units that a project asks for."""
    return Words(settings.language, settings.units)


def sentence(text: str) -> str:
    """Return text with a capital at its beginning, but for the path of a file."""
    return text if "/" in text.partition(" ")[0] else f"{text[:1].upper()}{text[1:]}"
