"""What may not come into a sum: places and numbers that are not finite, and more memory than is allowed."""

from __future__ import annotations

import numpy as np

from spreadmap.errors import InputError
from spreadmap.values.arrays import FloatArray


def check_places(what: str, easting: FloatArray, northing: FloatArray) -> None:
    """Refuse positions that are not finite."""
    wrong = ~(np.isfinite(easting) & np.isfinite(northing))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        msg = (
            f"{what} {first} of {len(easting)} lies at ({easting[first]}, {northing[first]}), and {int(wrong.sum())} "
            "in all are not finite; allowed: finite metres in the working CRS. Leave these places out."
        )
        raise InputError(msg)


def check_numbers(what: str, values: FloatArray, count: int, least: float = -np.inf) -> None:
    """Refuse numbers that are too few, not finite, or below `least`."""
    wrong = ~(np.isfinite(values) & (values >= least))
    if values.shape != (count,) or wrong.any():
        found = f", {int(wrong.sum())} of them unusable such as {values[wrong][0]}" if wrong.any() else ""
        limit = f" from {least:g} on" if np.isfinite(least) else ""
        msg = (
            f"{what} are {values.size} numbers{found}; allowed: {count} finite numbers{limit}, one per receptor. "
            "Check what made them."
        )
        raise InputError(msg)


def refuse_memory(what: str, needed_bytes: float, most_gb: float, remedy: str) -> None:
    """Refuse a sum that would hold more than is allowed."""
    if needed_bytes > most_gb * 1e9:
        msg = (
            f"{what} would take about {needed_bytes / 1e9:.3g} GB; allowed: {most_gb:g} GB "
            f"(settings.pressure.most_memory_gb). {remedy}"
        )
        raise InputError(msg)
