"""The rose of the hours in which mites fly, as a drawing inside the page."""

from __future__ import annotations

import math

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.words import part
from spreadmap.values.wind import WindClimate

SECTOR_NAMES = (
    "north", "north-north-east", "north-east", "east-north-east", "east", "east-south-east", "south-east",
    "south-south-east", "south", "south-south-west", "south-west", "west-south-west", "west", "west-north-west",
    "north-west", "north-north-west",
)  # fmt: skip
RADIUS = 42.0


def wedge(sector: int, radius: float) -> str:
    """Return the outline of one sector of a rose, north up, clockwise, to a hundredth of a unit."""
    points = []
    for side in (-0.42, 0.42):
        bearing = math.radians((sector + side) * 22.5)
        points.append(f"{radius * math.sin(bearing):.2f} {-radius * math.cos(bearing):.2f}")
    return f"M0 0L{points[0]}A{radius:.2f} {radius:.2f} 0 0 1 {points[1]}Z"


def wind_rose(climate: WindClimate) -> Html:
    """Return a rose of sixteen sectors *toward* which air moves; areas of the sectors are as their shares.

    Nothing is drawn for calm hours: their share stands in the words beside it.
    """
    largest = float(climate.sector_share.max())
    if largest <= 0:
        return Html("")
    wedges = [
        tag("path", d=wedge(sector, RADIUS * math.sqrt(float(share) / largest)))
        for sector, share in enumerate(climate.sector_share)
        if share > 0
    ]
    first = int(climate.sector_share.argmax())
    spoken = (
        f"Rose of flight hours, toward which air moves: most often {SECTOR_NAMES[first]} "
        f"({part(float(climate.sector_share[first]))}), calm {part(climate.calm_share)}"
    )
    rim = tag("circle", r=RADIUS, class_="rim")
    letters = [
        tag("text", letter, x=x, y=y)
        for letter, x, y in (("N", "0", "-46"), ("E", "51", "4"), ("S", "0", "54"), ("W", "-51", "4"))
    ]
    return tag(
        "svg", rim, *wedges, *letters, class_="rose", viewBox="-60 -60 120 120", role="img", aria_label=spoken
    )  # fmt: skip


def rose_words(climate: WindClimate) -> Html:
    """Return what the rose shows, in words."""
    first = int(climate.sector_share.argmax())
    return join(
        f"Toward which air moves: most often {SECTOR_NAMES[first]}, {part(float(climate.sector_share[first]))} of flight "
        f"hours; calm {part(climate.calm_share)}. Area is share."
    )
