"""TOML text as a mapping, with whatever it may hold to do harm refused in one kind of error."""

from __future__ import annotations

import tomllib
from typing import Any

from spreadmap.io.faults import CONTROL, shown

MOST_WHOLE = 2**63
"""TOML promises whole numbers of 64 bits (toml.io/en/v1.0.0, Integer); Python's parser takes any."""


def parse_toml(text: str) -> dict[str, Any]:
    """Return the mapping that a TOML text describes.

    Raises
    ------
    ValueError
        If it is no TOML, is nested too deep, or holds a whole number of more than 64 bits or control characters.
    """
    try:
        mapping = tomllib.loads(text)
    except RecursionError as error:
        msg = "lists or tables are nested too deep"
        raise ValueError(msg) from error
    waiting: list[Any] = [mapping]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            waiting += [*item.keys(), *item.values()]
        elif isinstance(item, list):
            waiting += item
        elif isinstance(item, str) and CONTROL.search(item):
            msg = f"the text {shown(item)} holds control characters or hidden signs"
            raise ValueError(msg)
        elif isinstance(item, int) and not -MOST_WHOLE <= item < MOST_WHOLE:
            msg = "a whole number has more than 64 bits"
            raise ValueError(msg)
    return mapping
