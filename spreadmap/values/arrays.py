"""Array types, and columns that cannot be changed after they were made."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
ComplexArray = npt.NDArray[np.complex128]
TextArray = npt.NDArray[np.object_]
"""Text of any length, one `str` per item; empty text means "nothing was given"."""
DateArray = npt.NDArray[np.datetime64]
"""`datetime64[D]`; NaT means "no date"."""


def column(values: Any, dtype: Any, length: int | None = None, name: str = "column") -> npt.NDArray[Any]:
    """Return a copy of `values` as a read-only array of `dtype`, checked for its length."""
    array = np.array(values, dtype=dtype)
    if length is not None and array.shape[:1] != (length,):
        msg = f"{name} has {array.shape[:1]} items where {length} are needed"
        raise ValueError(msg)
    array.setflags(write=False)
    return array


def freeze_columns(value: Any, dtypes: dict[str, Any], length: int) -> None:
    """Replace the named fields of a frozen dataclass by read-only columns of one length."""
    for name, dtype in dtypes.items():
        object.__setattr__(value, name, column(getattr(value, name), dtype, length, name))


def empty_text(length: int) -> TextArray:
    """Return `length` empty texts."""
    return np.full(length, "", dtype=object)


def no_dates(length: int) -> DateArray:
    """Return `length` missing dates."""
    return np.full(length, "NaT", dtype="datetime64[D]")


def even_steps(count: int, wanted: int) -> list[int]:
    """Return at most so many places among `count`, at even steps from the first; all where they are fewer."""
    taken = min(wanted, count)
    return [number * count // taken for number in range(taken)]


def to_date(value: np.datetime64) -> dt.date | None:
    """Return a `datetime.date`, or None where `value` is NaT."""
    return None if np.isnat(value) else value.astype("datetime64[D]").astype(dt.date)
