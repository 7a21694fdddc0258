"""The picture of a fit: prior beside posterior, and the history beside those made with the draws."""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.values.fit import Check, Estimate, HistoryFit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SEEN, MADE, PRIOR = "#b3372b", "#3d6b8f", "#9a9a9a"
WIDE, ROW_IN, LEAST_IN = 14.0, 0.4, 5.0
"""Width of the picture, height of a row and least height of the picture [in]."""
NAME_SIGNS = 60
"""Signs of a name on one line [-]."""
FARTHEST = 3.0
"""What was seen further off stands on the edge as an arrow, in ways from the middle to the end of the range [-]."""
LEAST_WAY = 1e-9
"""Stands for the way to the end of a range without width, in the statistic's own unit."""


def fit_png(fit: HistoryFit, title: str) -> bytes:
    """Return the picture of a fit as PNG, the same bytes for the same fit.

    On the left 95 % of prior (grey) and posterior (blue) of every free parameter, in units of the prior's middle for
    rates and lengths. On the right what was seen (red) beside the range in which 90 % of what the fit foretells lies (blue):
    every statistic is drawn with that range from -1 to 1 and its middle at 0, and its numbers stand beside it.
    """
    estimates = [one for one in fit.estimates if not one.is_fixed]
    rows = [(check, item) for check in fit.checks for item in range(len(check.label)) if _is_told(check, item)]
    figure = Figure(figsize=(WIDE, max(LEAST_IN, ROW_IN * len(rows) + 1.5)), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2, width_ratios=[1.0, 1.2])
    _estimates(left, estimates)
    _checks(right, rows)
    word = "accepted" if fit.accepted else "refused"
    figure.suptitle(f"{title}\nsurveys {fit.first_look} to {fit.last_look}, state of {fit.as_of}: {word}", fontsize=11)
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def _is_told(check: Check, item: int) -> bool:
    """Return whether a statistic was seen and made."""
    return bool(np.isfinite([column[item] for column in (check.low, check.middle, check.high, check.seen)]).all())


def _estimates(axes: Axes, estimates: list[Estimate]) -> None:
    """Draw prior and posterior of every parameter, the first on top."""
    names = []
    for row, one in enumerate(estimates):
        linear = one.name.startswith("wind")
        scale = 1.0 if linear else one.prior[1]
        values = [np.array(part) / scale for part in (one.prior, one.posterior)]
        if not linear:
            values = [np.log10(part) for part in values]
        for part, colour, at in ((values[0], PRIOR, row - 0.15), (values[1], MADE, row + 0.15)):
            axes.plot(part[[0, 2]], [at, at], color=colour, linewidth=4, solid_capstyle="butt")
            axes.plot(part[1], at, "|", color="black", markersize=10)
        names.append(f"{one.name}{'' if one.moved else chr(10) + '(data say nothing)'}")
    axes.set_yticks(range(len(names)), names, fontsize=8)
    axes.invert_yaxis()
    axes.set_xlabel("wind: components; others: powers of ten about the prior's middle", fontsize=8)
    axes.set_title("95 % of prior (grey) and posterior (blue)", fontsize=9)


def way_off(check: Check, item: int) -> float:
    """Return how far off what was seen is: 0 at the middle, 1 and -1 at the ends of the range of 90 % [-]."""
    off = float(check.seen[item] - check.middle[item])
    ends = check.high[item] - check.middle[item] if off > 0 else check.middle[item] - check.low[item]
    return off / max(float(ends), LEAST_WAY)


def _checks(axes: Axes, rows: list[tuple[Check, int]]) -> None:
    """Draw what was seen on what was made, the first on top."""
    names = []
    for row, (check, item) in enumerate(rows):
        off = way_off(check, item)
        axes.plot([-1.0, 1.0], [row, row], color=MADE, linewidth=4, solid_capstyle="butt")
        axes.plot(0.0, row, "|", color="black", markersize=10)
        sign = "o" if abs(off) <= FARTHEST else (">" if off > 0 else "<")
        axes.plot(float(np.clip(off, -FARTHEST, FARTHEST)), row, sign, color=SEEN, clip_on=False)
        said = f"{check.seen[item]:.3g} ({check.low[item]:.3g} to {check.high[item]:.3g})"
        axes.text(FARTHEST + 0.2, row, said, fontsize=7, va="center", clip_on=False)
        name = f"{check.name}: {check.label[item]} [{check.unit}], p\u00a0{check.p:.2g}"
        names.append("\n".join(textwrap.wrap(name, NAME_SIGNS)))
    axes.set_yticks(range(len(names)), names, fontsize=7)
    axes.set_xlim(-FARTHEST, FARTHEST)
    axes.invert_yaxis()
    axes.set_xlabel("-1 to 1: range in which 90 % of what the fit foretells lies, 0 its middle", fontsize=8)
    axes.set_title("seen (red; in numbers, with the range) beside what the fit foretells (blue)", fontsize=9)
