"""Quintic B-splines on a square mesh: weights of points and of whole cells, and the spectrum they are divided by.

A source is laid on a mesh by its 36 weights, and read off again by those of the receptor; dividing the spectrum of the
kernel's samples by the square of the splines' own makes both an interpolation of the kernel (particle-mesh scheme:
Essmann et al. 1995, J Chem Phys 103:8577, doi 10.1063/1.470117, abstract read). The mean over a cell is the mean of
the weights: a factor in the spectrum would have a kink where the mesh ends, and its ringing drowns the far cells.
"""

from __future__ import annotations

import numpy as np

from spreadmap.values.arrays import FloatArray, IntArray

ORDER = 6
"""Nodes that one point touches along one axis [-]."""
CELL_NODES = ORDER + 1
"""Nodes that one cell touches along one axis, for cells no wider than the mesh [-]."""
NODE_VALUES = np.array([66.0, 26.0, 1.0]) / 120.0
"""The spline at its middle and one and two nodes away."""


def spline_spectrum(modes: int, count: int) -> FloatArray:
    """Return the spectrum of the sampled spline for the first `modes` of `count` wave numbers, (modes,) [-]."""
    turn = 2 * np.pi * np.arange(modes) / count
    return np.asarray(NODE_VALUES[0] + 2 * NODE_VALUES[1] * np.cos(turn) + 2 * NODE_VALUES[2] * np.cos(2 * turn))


def _integral(place: FloatArray) -> FloatArray:
    """Return the spline's integral up to each place, from the nearer end: a sum of few and small sixth powers."""
    inner = 3.0 - np.abs(place)
    total = np.zeros_like(place)
    for node, factor in enumerate((1.0, -6.0, 15.0)):
        third = np.maximum(inner - node, 0.0) ** 3
        total += factor * third * third
    total /= 720.0
    return np.where(place > 0, 1.0 - total, total)


def cell_weights(centre: FloatArray, width: float) -> tuple[IntArray, FloatArray]:
    """Return the first node and the weights of the mean over cells, (n,) and (n, 7), lengths in mesh steps.

    Exact: differences of the spline's integral. `width` is at most 1.
    """
    first = np.ceil(centre - width / 2 - 3.0 - 1e-12).astype(np.int64)
    apart = first[:, None] + np.arange(CELL_NODES) - centre[:, None]
    upper, lower = (_integral(apart + side * width / 2) for side in (1, -1))
    return first, np.ascontiguousarray((upper - lower) / width)
