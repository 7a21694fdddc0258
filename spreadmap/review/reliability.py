"""What calibrated forecasts said against what came: as a drawing in the page, as a table, and as a picture of its own."""

from __future__ import annotations

import io

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.review.language import Words
from spreadmap.review.markup import Html, tag
from spreadmap.review.season_picture import drawable
from spreadmap.review.tables import table
from spreadmap.values.score import ReliabilityRow, ScoreFigures

SIDE, LEFT, TOP = 240.0, 46.0, 10.0
"""Side of the square in which the drawing's points lie, and where it begins."""
LEAST_RADIUS, MOST_RADIUS = 2.5, 6.5
LEAST_END = 0.02


def end_of(rows: list[ReliabilityRow]) -> float:
    """Return where both axes end [-]."""
    return float(min(1.0, 1.08 * max(*(row.mean_chance for row in rows), *(row.rate_high for row in rows), LEAST_END)))


def reliability_figure(say: Words, figures: ScoreFigures) -> Html:
    """Return the drawing: what was said along, what came upward; on the slanting line both are the same.

    Points are as large as the root of their number of plants; bars are 95 % ranges after Clopper and Pearson.
    """
    rows = [row for row in figures.reliability if row.plants]
    if not rows:
        return Html("")
    most, many = end_of(rows), max(row.plants for row in rows)
    x = [round(LEFT + SIDE * row.mean_chance / most, 1) for row in rows]

    def up(share: float) -> float:
        return round(TOP + SIDE * (1 - share / most), 1)

    base = up(figures.found / figures.inspected) if figures.inspected else up(0)
    marks = [
        tag("path", d=f"M{at} {up(row.rate_low)}V{up(row.rate_high)}", class_="bar")
        for at, row in zip(x, rows, strict=True)
    ]
    marks += [
        tag(
            "circle",
            cx=at,
            cy=up(row.rate),
            r=round(LEAST_RADIUS + MOST_RADIUS * (row.plants / many) ** 0.5, 1),
            class_="dot",
        )
        for at, row in zip(x, rows, strict=True)
    ]
    ticks = [most * step / 4 for step in range(5)]
    labels = [
        *(tag("text", say.part(tick), x=LEFT - 11, y=up(tick) + 3.5, class_="up") for tick in ticks),
        *(tag("text", say.part(tick), x=round(LEFT + SIDE * tick / most, 1), y=TOP + SIDE + 14) for tick in ticks[1:]),
        tag("text", say("calibrated.axis_said"), x=LEFT + SIDE / 2, y=TOP + SIDE + 30, class_="axis"),
        tag("text", say("calibrated.axis_found"), x=-(TOP + SIDE / 2), y=11, transform="rotate(-90)", class_="axis"),
    ]
    drawing = tag(
        "svg",
        tag("rect", x=LEFT, y=TOP, width=SIDE, height=SIDE, class_="frame"),
        tag("path", d=f"M{LEFT} {up(0)}L{LEFT + SIDE} {up(most)}", class_="same"),
        tag("path", d=f"M{LEFT} {base}H{LEFT + SIDE}", class_="base"),
        *marks,
        *labels,
        viewBox=f"0 0 {LEFT + SIDE + 14:g} {TOP + SIDE + 36:g}",
        role="img",
        aria_label=say("calibrated.figure_spoken", n=len(rows)),
    )
    foot = say("calibrated.figure_foot", plants=say("noun.plant", n=figures.inspected), found=figures.found)
    return tag("figure", drawing, tag("figcaption", foot), class_="reliability")


def reliability_table(say: Words, rows: tuple[ReliabilityRow, ...]) -> Html:
    """Return what was said and what came, by classes of the chance of being found."""
    made = [
        tag(
            "tr",
            tag("th", say("ahead.between", low=say.part(row.low), high=say.part(row.high)), scope="row"),
            tag("td", say.amount(row.plants), class_="number"),
            tag("td", say.part(row.mean_chance), class_="number"),
            tag(
                "td",
                say(
                    "calibrated.range",
                    middle=say.part(row.rate),
                    low=say.part(row.rate_low),
                    high=say.part(row.rate_high),
                ),
                class_="number",
            ),
        )
        for row in rows
        if row.plants
    ]
    heads = [say(f"calibrated.{name}") for name in ("said_class", "plants", "mean_said", "really_found")]
    return table(say("calibrated.reliability"), heads, made, kind="score")


def reliability_png(say: Words, figures: ScoreFigures, title: str) -> bytes:
    """Return the picture of what was said against what came; the same bytes every time.

    On the line, what was said is what came. Bars are 95 % ranges after Clopper and Pearson; the dashed line is the rate
    of all plants, and below stands how many plants each class holds.
    """
    rows = [row for row in figures.reliability if row.plants]
    figure = Figure(figsize=(5.6, 6.2), dpi=110)
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1, height_ratios=[4, 1])
    said, came = np.array([row.mean_chance for row in rows]), np.array([row.rate for row in rows])
    ends = np.array([[row.rate - row.rate_low, row.rate_high - row.rate] for row in rows]).T
    most = end_of(rows)
    upper.plot([0, most], [0, most], color="#888888", linewidth=1)
    upper.axhline(figures.found / figures.inspected, color="#888888", linewidth=1, linestyle="--")
    upper.errorbar(said, came, yerr=np.maximum(ends, 0.0), fmt="o", color="#2f4858", capsize=3)
    upper.set_xlim(0, most)
    upper.set_ylim(0, most)
    upper.set_xlabel(say("calibrated.axis_said"))
    upper.set_ylabel(say("calibrated.axis_found"))
    names = [say("ahead.between", low=say.part(row.low), high=say.part(row.high)) for row in rows]
    bars = lower.bar(range(len(rows)), [row.plants for row in rows], color="#b0a58c")
    lower.bar_label(bars, [say("noun.plant", n=row.plants) for row in rows], fontsize=7)
    lower.set_xticks(range(len(rows)), names, fontsize=8)
    lower.set_yticks([])
    lower.margins(y=0.3)
    figure.suptitle(drawable(title), fontsize=11, fontweight="bold", parse_math=False)
    foot = say("calibrated.figure_foot", plants=say("noun.plant", n=figures.inspected), found=figures.found)
    figure.text(0.5, 0.02, foot, ha="center", fontsize=8)
    figure.subplots_adjust(top=0.92, bottom=0.13, left=0.13, right=0.96, hspace=0.32)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
