"""The rose of the hours in which mites fly, as a drawing inside the page and as a picture."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, cast

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.review.markup import Html, join, tag
from spreadmap.review.words import part
from spreadmap.values.arrays import FloatArray
from spreadmap.values.wind import WindClimate

if TYPE_CHECKING:
    from matplotlib.projections.polar import PolarAxes

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

    Filled sectors are flight hours, dashed outlines all hours of the record, both to one scale. Nothing is drawn for
    calm hours: their share stands in the words beside it.
    """
    largest = float(max(climate.sector_share.max(), climate.sector_share_all_hours.max()))
    if climate.sector_share.max() <= 0:
        return Html("")

    def wedges(shares: FloatArray, kind: str) -> list[Html]:
        return [
            tag("path", d=wedge(sector, RADIUS * math.sqrt(float(share) / largest)), class_=kind)
            for sector, share in enumerate(shares)
            if share > 0
        ]

    first = int(climate.sector_share.argmax())
    spoken = (
        f"Rose of flight hours, toward which air moves: most often {SECTOR_NAMES[first]} "
        f"({part(float(climate.sector_share[first]))}), calm {part(climate.calm_share)}"
    )
    if climate.sector_share_all_hours.max() > 0:
        spoken += "; the dashed outline is every hour of the record"
    rim = tag("circle", r=RADIUS, class_="rim")
    letters = [
        tag("text", letter, x=x, y=y)
        for letter, x, y in (("N", "0", "-46"), ("E", "51", "4"), ("S", "0", "54"), ("W", "-51", "4"))
    ]
    return tag(
        "svg", rim, *wedges(climate.sector_share, "fly"), *wedges(climate.sector_share_all_hours, "all"), *letters,
        class_="rose", viewBox="-60 -60 120 120", role="img", aria_label=spoken,
    )  # fmt: skip


def rose_words(climate: WindClimate) -> Html:
    """Return what the rose shows, in words."""
    first = int(climate.sector_share.argmax())
    every = ""
    if climate.sector_share_all_hours.max() > 0:
        most = int(climate.sector_share_all_hours.argmax())
        every = (
            f" Dashed: all hours, {SECTOR_NAMES[most]} {part(float(climate.sector_share_all_hours[most]))}, calm "
            f"{part(climate.calm_share_all_hours)}."
        )
    return join(
        f"Toward which air moves: {SECTOR_NAMES[first]} {part(float(climate.sector_share[first]))} of flight hours, calm "
        f"{part(climate.calm_share)}.{every} From: {climate.basis}."
    )


def wind_rose_png(climate: WindClimate, title: str) -> bytes:
    """Return a picture of two roses, flight hours beside every hour of the record; the same bytes every time.

    Empty bytes where there is no direction to draw. North is up, bearings run clockwise, areas are shares.
    """
    pairs = [
        ("While mites fly", climate.sector_share, climate.calm_share, "#52796f"),
        ("Every hour of the record", climate.sector_share_all_hours, climate.calm_share_all_hours, "#b0a58c"),
    ]
    pairs = [pair for pair in pairs if pair[1].max() > 0]
    if not pairs:
        return b""
    largest = max(float(shares.max()) for _, shares, _, _ in pairs)
    figure = Figure(figsize=(4.2 * len(pairs), 4.8), dpi=110)
    FigureCanvasAgg(figure)
    ticks = largest * np.array([0.25, 0.5, 1.0])
    for place, (name, shares, calm, colour) in enumerate(pairs, start=1):
        axes = cast("PolarAxes", figure.add_subplot(1, len(pairs), place, projection="polar"))
        axes.set_theta_zero_location("N")
        axes.set_theta_direction(-1)
        width = 2 * np.pi / len(shares)
        axes.bar(np.arange(len(shares)) * width, np.sqrt(shares), width=0.84 * width, color=colour, linewidth=0)
        axes.set_ylim(0, np.sqrt(largest) * 1.02)
        axes.set_yticks(np.sqrt(ticks), [f"{tick:.0%}" for tick in ticks], fontsize=8, color="#444444")
        axes.set_xticks(np.arange(8) * np.pi / 4, ["N", "NE", "E", "SE", "S", "SW", "W", "NW"])
        axes.set_title(f"{name}\ncalm or variable: {calm:.0%}", fontsize=10)
    figure.suptitle(title, fontsize=11, fontweight="bold", parse_math=False)
    figure.text(0.5, 0.05, "Directions toward which air moves. Area is share of hours.", ha="center", fontsize=8)
    figure.text(0.5, 0.015, f"From: {climate.basis}.", ha="center", fontsize=8, parse_math=False)
    figure.subplots_adjust(top=0.78, bottom=0.15, wspace=0.35)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
