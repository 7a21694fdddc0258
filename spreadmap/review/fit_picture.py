"""The picture of a fit: prior beside posterior, and the history beside those made with the draws."""

from __future__ import annotations

import io

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from spreadmap.values.fit import Check, Estimate, HistoryFit

SEEN, MADE, PRIOR = "#b3372b", "#3d6b8f", "#9a9a9a"


def fit_png(fit: HistoryFit, title: str) -> bytes:
    """Return the picture of a fit as PNG, the same bytes for the same fit.

    On the left 95 % of prior (grey) and posterior (blue) of every free parameter, in units of the prior's middle for
    rates and lengths; on the right what was seen (red) on the range in which 90 % of what the fit foretells lies (blue), for
    every statistic in multiples of the made ones' middle.
    """
    figure = Figure(figsize=(10.0, 5.0), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2)
    _estimates(left, [one for one in fit.estimates if not one.is_fixed])
    _checks(right, fit.checks)
    word = "accepted" if fit.accepted else "refused"
    figure.suptitle(f"{title}\nsurveys {fit.first_look} to {fit.last_look}, state of {fit.as_of}: {word}", fontsize=10)
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def _estimates(axes: object, estimates: list[Estimate]) -> None:
    """Draw prior and posterior of every parameter."""
    names = []
    for row, one in enumerate(estimates):
        linear = one.name.startswith("wind")
        scale = 1.0 if linear else one.prior[1]
        values = [np.array(part) / scale for part in (one.prior, one.posterior)]
        if not linear:
            values = [np.log10(part) for part in values]
        for part, colour, at in ((values[0], PRIOR, row + 0.15), (values[1], MADE, row - 0.15)):
            axes.plot(part[[0, 2]], [at, at], color=colour, linewidth=4, solid_capstyle="butt")  # type: ignore[attr-defined]
            axes.plot(part[1], at, "|", color="black", markersize=10)  # type: ignore[attr-defined]
        names.append(f"{one.name}{'' if one.moved else ' (data say nothing)'}")
    axes.set_yticks(range(len(names)), names, fontsize=8)  # type: ignore[attr-defined]
    axes.set_xlabel("wind: components; others: powers of ten about the prior's middle", fontsize=8)  # type: ignore[attr-defined]
    axes.set_title("grey prior, blue posterior, 95 %", fontsize=9)  # type: ignore[attr-defined]


def _checks(axes: object, checks: tuple[Check, ...]) -> None:
    """Draw what was seen on what was made."""
    names: list[str] = []
    for check in checks:
        for item, label in enumerate(check.label):
            middle = check.middle[item]
            if not np.isfinite(middle) or not np.isfinite(check.seen[item]):
                continue
            scale, row = max(float(middle), 1e-9), len(names)
            axes.plot(np.array([check.low[item], check.high[item]]) / scale, [row, row], color=MADE, linewidth=4,  # type: ignore[attr-defined]
                      solid_capstyle="butt")  # fmt: skip
            axes.plot(check.seen[item] / scale, row, "o", color=SEEN)  # type: ignore[attr-defined]
            names.append(f"{check.name[:34]}, {label} (p {check.p:.2g})")
    axes.set_yticks(range(len(names)), names, fontsize=7)  # type: ignore[attr-defined]
    axes.set_xlabel("multiples of the middle the fit foretells", fontsize=8)  # type: ignore[attr-defined]
    axes.set_title("red seen, blue 90 % of what the fit foretells", fontsize=9)  # type: ignore[attr-defined]
