"""Single-precision numbers with fewer bits of mantissa, which pack several times smaller."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

WHOLE = 23
"""Bits of mantissa that a single-precision number stores [-]."""
LEAST_NORMAL = float(np.finfo(np.float32).tiny)


def rounded(values: npt.NDArray[np.float32], bits: int) -> npt.NDArray[np.float32]:
    """Return values rounded to the nearest number whose mantissa has `bits` stored bits, ties to the even one.

    The relative error is 2^-(bits + 1) at most from 1.2e-38 on (IEEE 754 single precision); NaN and infinity stay, and
    so does what would become infinite. Bound by test_raster_sink.py.
    """
    if bits >= WHOLE:
        return values
    shift = WHOLE - bits
    raw = np.ascontiguousarray(values).view(np.uint32)
    half = (raw >> np.uint32(shift)) & np.uint32(1)
    half += np.uint32((1 << (shift - 1)) - 1)
    half += raw
    half &= np.uint32(0xFFFFFFFF ^ ((1 << shift) - 1))
    found = half.view(np.float32)
    kept = ~np.isfinite(found)
    if kept.any():
        found[kept] = values[kept]
    return found


def rounding_tags(bits: int) -> dict[str, str]:
    """Return what a raster says of its rounding; nothing where there is none."""
    if bits >= WHOLE:
        return {}
    return {
        "ROUNDING": f"mantissa of single precision rounded to {bits} bits; relative error {2.0 ** -(bits + 1):.3g} at most"
    }
