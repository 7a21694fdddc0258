"""The rose of the hours in which mites fly, as a drawing inside the page and as a picture."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, cast

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.season_picture import drawable
from spreadmap.values.arrays import FloatArray
from spreadmap.values.plan import BEARINGS
from spreadmap.values.wind import WindClimate

if TYPE_CHECKING:
    from matplotlib.projections.polar import PolarAxes

RADIUS = 42.0


def wedge(sector: int, radius: float) -> str:
    """Return the outline of one sector of a rose, north up, clockwise, to a hundredth of a unit."""
    points = []
    for side in (-0.42, 0.42):
        bearing = math.radians((sector + side) * 22.5)
        points.append(f"{radius * math.sin(bearing):.2f} {-radius * math.cos(bearing):.2f}")
    return f"M0 0L{points[0]}A{radius:.2f} {radius:.2f} 0 0 1 {points[1]}Z"


def wind_rose(say: Words, climate: WindClimate) -> Html:
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
    spoken = say(
        "rose.spoken", side=side(say, first), share=say.part(float(climate.sector_share[first])),
        calm=say.part(climate.calm_share),
    )  # fmt: skip
    if climate.sector_share_all_hours.max() > 0:
        spoken = f"{spoken} {say('rose.spoken_all')}"
    rim = tag("circle", r=RADIUS, class_="rim")
    letters = [
        tag("text", say(f"bearing.{letter}"), x=x, y=y)
        for letter, x, y in (("n", "0", "-46"), ("e", "51", "4"), ("s", "0", "54"), ("w", "-51", "4"))
    ]
    return tag(
        "svg", rim, *wedges(climate.sector_share, "fly"), *wedges(climate.sector_share_all_hours, "all"), *letters,
        class_="rose", viewBox="-60 -60 120 120", role="img", aria_label=spoken,
    )  # fmt: skip


def side(say: Words, sector: int) -> str:
    """Return the name of one of sixteen sectors, 0 north, clockwise."""
    return say(f"side.{BEARINGS[sector].lower()}")


def rose_words(say: Words, climate: WindClimate) -> Html:
    """Return what the rose shows, in words."""
    first, every = int(climate.sector_share.argmax()), ""
    if climate.sector_share_all_hours.max() > 0:
        most = int(climate.sector_share_all_hours.argmax())
        every = " " + say(
            "rose.all_hours",
            side=side(say, most),
            share=say.part(float(climate.sector_share_all_hours[most])),
            calm=say.part(climate.calm_share_all_hours),
        )
    flight = say(
        "rose.flight",
        side=side(say, first),
        share=say.part(float(climate.sector_share[first])),
        calm=say.part(climate.calm_share),
    )
    return join(flight, every, " ", say("rose.from"), " ", f"{say.worded(climate.basis)}.")


def wind_rose_png(say: Words, climate: WindClimate, title: str) -> bytes:
    """Return a picture of two roses, flight hours beside every hour of the record; the same bytes every time.

    Empty bytes where there is no direction to draw. North is up, bearings run clockwise, areas are shares.
    """
    pairs = [
        (say("rose.while"), climate.sector_share, climate.calm_share, "#52796f"),
        (say("rose.every"), climate.sector_share_all_hours, climate.calm_share_all_hours, "#b0a58c"),
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
        axes.set_yticks(np.sqrt(ticks), [say.part(float(tick)) for tick in ticks], fontsize=8, color="#444444")
        axes.set_xticks(np.arange(8) * np.pi / 4, [say(f"bearing.{name.lower()}") for name in BEARINGS[::2]])
        axes.set_title(f"{name}\n{say('rose.calm', share=say.part(calm))}", fontsize=10)
    figure.suptitle(drawable(title), fontsize=11, fontweight="bold", parse_math=False)
    figure.text(0.5, 0.05, say("rose.foot"), ha="center", fontsize=8)
    figure.text(0.5, 0.015, drawable(f"{say('rose.from')} {climate.basis}."), ha="center", fontsize=8, parse_math=False)
    figure.subplots_adjust(top=0.78, bottom=0.15, wspace=0.35)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
