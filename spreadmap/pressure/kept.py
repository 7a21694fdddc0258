"""Tables and spectra that are dear to make and depend on the law of arrivals and on sizes only, kept by key."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.values.arrays import ComplexArray

Value = TypeVar("Value")
MOST_BYTES = 250_000_000
"""What is kept in all; the longest unused goes first."""
STEPS_PER_DOUBLING = 4


class Kept:
    """Values by key, the longest unused thrown out once they hold more than `most_bytes`. Safe among threads."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self._values: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return the value of a key, made now if it is not there; two threads may make it twice, alike."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
                kept: Value = self._values[key][0]
                return kept
        value = make()
        size = _bytes_of(value)
        with self._lock:
            if key not in self._values and size <= self.most_bytes:
                self._values[key] = (value, size)
                self._bytes += size
                while self._bytes > self.most_bytes:
                    self._bytes -= self._values.popitem(last=False)[1][1]
        return value

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._values.clear()
            self._bytes = 0

    def __len__(self) -> int:
        return len(self._values)


KEPT = Kept()
"""What this process keeps."""


def _bytes_of(value: Any) -> int:
    """Return about how much memory a value holds: its arrays, also those of its fields and items."""
    if isinstance(value, np.ndarray):
        return value.nbytes
    if isinstance(value, tuple | list):
        return 64 + sum(_bytes_of(item) for item in value)
    names = getattr(type(value), "__slots__", ())
    return 64 + sum(_bytes_of(getattr(value, name)) for name in names if hasattr(value, name))


def law_key(spread: Spread, rose: ComplexArray | None = None) -> Hashable:
    """Return what tells one law of arrivals from another: kernel, near radius and, if given, coefficients."""
    return spread.kernel, spread.near_radius_m, None if rose is None else (rose.shape, rose.tobytes())


def rounded_up(length_m: float) -> float:
    """Return a length that is at least as long, of one of a few sizes, so that tables serve neighbouring problems."""
    return float(2.0 ** (np.ceil(np.log2(length_m) * STEPS_PER_DOUBLING - 1e-9) / STEPS_PER_DOUBLING))
