"""Overviews of a raster: how large they are, and how cells of one are made of four cells of the level below."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from spreadmap.io.tiff_layout import BLOCK
from spreadmap.values.arrays import IntArray

Cells = npt.NDArray[Any]


def sizes_of_levels(shape: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the sizes of a raster and its overviews, each half as wide and high, until one block holds the last."""
    sizes = [shape]
    while max(sizes[-1]) > BLOCK:
        n_rows, n_cols = sizes[-1]
        sizes.append((-(-n_rows // 2), -(-n_cols // 2)))
    return sizes


def mean_halved(values: Cells, rows_held: IntArray, cols_held: IntArray) -> Cells:
    """Return means of two by two cells, (n_rows / 2, n_cols / 2) rounded up, in the type of `values`.

    Parameters
    ----------
    values : array, shape (n_rows, n_cols)
        NaN is no value: means are over the others, NaN where there is none.
    rows_held, cols_held : arrays, shape (n_rows,) and (n_cols,)
        How many rows and columns of the full map each row and column stands for: fewer at the edge, so that the mean of
        means is the mean of the map's cells. [-]
    """
    n_rows, n_cols = values.shape
    is_even = n_rows % 2 == 0 and n_cols % 2 == 0
    if is_even and rows_held[-1] == rows_held[0] and cols_held[-1] == cols_held[0]:
        pairs = values[0::2] + values[1::2]
        means = pairs[:, 0::2] + pairs[:, 1::2]
        means *= means.dtype.type(0.25)
        if not np.isnan(means).any():
            return np.asarray(means)
    more = ((0, n_rows % 2), (0, n_cols % 2))
    known = ~np.isnan(values)
    weight = np.pad(rows_held[:, None] * cols_held[None, :] * known, more)
    total = _fours(weight * np.pad(np.where(known, values, 0.0).astype(np.float64), more))
    held = _fours(weight)
    means = np.divide(total, held, out=np.full(held.shape, np.nan), where=held > 0)
    return np.asarray(means, dtype=values.dtype)


def _fours(values: Cells) -> Cells:
    """Return the sums of two by two cells."""
    pairs = values[0::2] + values[1::2]
    return np.asarray(pairs[:, 0::2] + pairs[:, 1::2])


def commonest_halved(classes: npt.NDArray[np.uint8], no_class: int) -> npt.NDArray[np.uint8]:
    """Return the commonest class of two by two cells, the higher one where two are as common; `no_class` does not count."""
    n_rows, n_cols = classes.shape
    padded = np.pad(classes, ((0, n_rows % 2), (0, n_cols % 2)), constant_values=no_class)
    four = [padded[row::2, col::2] for row in (0, 1) for col in (0, 1)]
    best = np.zeros(four[0].shape, dtype=np.int16)
    for one in four:
        count = sum((one == other).astype(np.int16) for other in four)
        np.maximum(best, np.where(one == no_class, 0, 256 * count + one), out=best)
    return np.where(best == 0, no_class, best % 256).astype(np.uint8)
