"""Columns of hidden infection: chances in calibrated mode, ranks and weights in relative mode."""

from __future__ import annotations

from typing import Any

import numpy as np

from spreadmap.io.short_names import FLAGS, NOT_ASSESSED, Column, Kind
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.hidden import Hidden, HiddenOrder


def _number(name: str, short: str, meaning: str, kind: Kind = Kind.NUMBER) -> Column:
    """Return a column of numbers that can be missing."""
    return Column(name=name, short=short, kind=kind, unit="-", meaning=meaning, missing=str(NOT_ASSESSED))


_SHOW = "If it is infected, half of such plants show symptoms by this day"
HALF_SHOW = (
    Column(name="half_show_by", short="half_show", kind=Kind.DATE, unit="day", meaning=_SHOW,
           missing="empty date (null)"),
    Column(name="half_show_by_text", short="half_sho_t", kind=Kind.TEXT, unit="-",
           meaning=f"{_SHOW}; as text YYYY-MM-DD", missing="empty text", width=10),
)  # fmt: skip
HIDDEN_CHANCES = (
    _number("hidden_not_yet", "hid_notyet", "Chance of being infected and not yet infectious"),
    _number("hidden_infectious", "hid_infect", "Chance of being infectious, with or without unnoticed symptoms"),
    _number("hidden_healthy", "hid_health", "Chance of being healthy"),
    *HALF_SHOW,
)
"""Columns of the plants layer and the inspection list in calibrated mode only, behind all others."""
HIDDEN_RANKS = (
    _number("hidden_rank", "hid_rank", "Order of weight by pressure in time, contact, inspections and latency, 1 first; "
            "rates are assumed, not fitted", Kind.WHOLE),
    _number("hidden_weight", "hid_weight", "The same as a relative weight, 100 for the first"),
    _number("hidden_rank_low", "hid_low", "Best such rank over the assumed range of rates", Kind.WHOLE),
    _number("hidden_rank_high", "hid_high", "Worst such rank over the assumed range of rates", Kind.WHOLE),
    Column(name="hidden_rank_holds", short="hid_holds", kind=Kind.FLAG, unit="-",
           meaning="Y: stays in the same tenth of the plants over the assumed range of rates", missing="U",
           allowed=FLAGS),
    *HALF_SHOW,
)  # fmt: skip
"""Columns of the plants layer and the inspection list in relative mode only, behind all others."""


def columns_of_hidden(hidden: Hidden | HiddenOrder | None) -> tuple[Column, ...]:
    """Return the columns that go with what is known of hidden infection; none where nothing was reckoned."""
    if hidden is None:
        return ()
    return HIDDEN_CHANCES if isinstance(hidden, Hidden) else HIDDEN_RANKS


def hidden_values(hidden: Hidden | HiddenOrder | None, plant: IntArray) -> dict[str, Any]:
    """Return the values of those columns for plants of the inventory."""
    if hidden is None:
        return {}
    if isinstance(hidden, Hidden):
        return {
            "hidden_not_yet": _known(hidden.not_yet_infectious[plant]),
            "hidden_infectious": _known(hidden.infectious[plant]),
            "hidden_healthy": _known(hidden.healthy[plant]),
            "half_show_by": hidden.half_show_by[plant],
        }
    ranked = hidden.rank[plant] > 0

    def whole(values: IntArray) -> IntArray:
        return np.where(ranked, values[plant], NOT_ASSESSED)

    return {
        "hidden_rank": whole(hidden.rank),
        "hidden_weight": _known(hidden.weight[plant]),
        "hidden_rank_low": whole(hidden.rank_low),
        "hidden_rank_high": whole(hidden.rank_high),
        "hidden_rank_holds": np.where(ranked, np.where(hidden.rank_holds[plant], "Y", "N"), "U").astype(object),
        "half_show_by": hidden.half_show_by[plant],
    }


def _known(values: FloatArray) -> FloatArray:
    """Return numbers with the code for those that are not known."""
    return np.where(np.isfinite(values), values, float(NOT_ASSESSED))
