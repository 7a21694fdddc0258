"""One setting: a field of a frozen dataclass that carries its unit, its status and its source."""

from __future__ import annotations

from dataclasses import field
from typing import Any

OWN = "None: our choice"
STATUSES = ("read", "computed", "assumed", "trade")


def setting(default: Any, unit: str, status: str, source: str, *, least: float | None = None, most: float | None = None,
            choices: tuple[str, ...] = ()) -> Any:  # fmt: skip
    """Return a dataclass field that carries its unit, status, source and allowed range."""
    if status not in STATUSES:
        msg = f"status {status!r} is not one of {STATUSES}"
        raise ValueError(msg)
    notes = {"unit": unit, "status": status, "source": source, "least": least, "most": most, "choices": choices}
    if isinstance(default, dict):
        return field(default_factory=lambda: dict(default), metadata=notes)
    return field(default=default, metadata=notes)
