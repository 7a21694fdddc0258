"""What a click on a ring, a line, a site, a wild stand or a screen says."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from spreadmap.review.language import Words
from spreadmap.values.web import WebShape

RINGS = ("ring", "ring_range", "old_ring")
RING_NAMES = ("core", "inner", "outer")
FIXED = ("standing", "ground", "advice")
"""Properties whose text is ours; all others are users' words, or names."""


def shape_title(say: Words, shape: WebShape) -> str:
    """Return what a shape is, and its name: rings and lines have words of their own, places those of users."""
    name = shape.name
    if shape.kind in RINGS and name in RING_NAMES:
        name = say(f"ring.{name}")
    elif shape.kind == "line":
        name = say.phrase(name)
    return say("shape.title", kind=say(f"shape.{shape.kind}"), name=name)


def shape_says(say: Words, shape: WebShape) -> list[list[str]]:
    """Return the lines of a shape's card, name and text; numbers in the page's language and units."""
    made = []
    for name, text in shape.properties.items():
        if not text:
            continue
        figures = shape.figures.get(name)
        if figures is not None and name in MEASURED:
            text = MEASURED[name](say, figures)
        elif name in FIXED:
            text = say.phrase(text)
        made.append([say.phrase(name), text])
    return made


def area_words(say: Words, figures: tuple[float, ...]) -> str:
    """Return an area with its range, or the range alone."""
    *middle, low, high = (say.area(figure) for figure in figures)
    if middle:
        return say("card.range", middle=middle[0], low=low, high=high)
    return say("ahead.between", low=low, high=high)


MEASURED: Mapping[str, Callable[[Words, tuple[float, ...]], str]] = {
    "area": area_words,
    "distance": lambda say, figures: say.length(figures[0]),
    "height": lambda say, figures: say.short_length(figures[0]),
    "share of arrivals": lambda say, figures: say.part(figures[0]),
    "lets through": lambda say, figures: say("card.lets_through", share=say.part(figures[0])),
    "inspect every": lambda say, figures: say("noun.day", n=figures[0]),
}
"""How numbers behind properties are said."""
