"""A short name for what values hold: equal contents have equal names, on every machine and in every run."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np


def content_key(*values: Any) -> str:
    """Return 64 hexadecimal digits that tell the contents of values from others (SHA-256).

    Numbers, texts, dates, None, enums, arrays, sequences, mappings and dataclasses of these, nested at will.

    Raises
    ------
    TypeError
        If something else is among them: its contents are not known.
    """
    digest = hashlib.sha256()
    for value in values:
        for piece in _pieces(value):
            digest.update(len(piece).to_bytes(8, "little"))
            digest.update(piece)
    return digest.hexdigest()


def _pieces(value: Any) -> Iterator[bytes | memoryview]:
    """Yield a value as bytes, each kind marked so that neighbours cannot be taken for one another."""
    if isinstance(value, Enum):
        yield b"enum"
        yield from _pieces(value.value)
    elif value is None or isinstance(value, bool | int | float | complex | str | dt.date | np.generic):
        yield type(value).__name__.encode()
        yield str(value).encode() if isinstance(value, str) else repr(value).encode()
    elif isinstance(value, np.ndarray):
        yield f"array {value.dtype.str} {value.shape}".encode()
        if value.dtype.hasobject:
            for item in value.ravel():
                yield from _pieces(item)
        else:
            yield np.ascontiguousarray(value).tobytes()
    elif is_dataclass(value) and not isinstance(value, type):
        yield f"record {type(value).__name__}".encode()
        for item in fields(value):
            yield item.name.encode()
            yield from _pieces(getattr(value, item.name))
    elif isinstance(value, Mapping):
        yield f"mapping {len(value)}".encode()
        for name in sorted(value, key=str):
            yield from _pieces(name)
            yield from _pieces(value[name])
    elif isinstance(value, tuple | list):
        yield f"sequence {len(value)}".encode()
        for item in value:
            yield from _pieces(item)
    else:
        msg = f"no content key for a {type(value).__name__}; give numbers, texts, dates, arrays or records of them"
        raise TypeError(msg)
