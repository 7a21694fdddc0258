"""spreadmap: after each survey, what to remove first, where to look next, where the line runs."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__all__ = [
    "Engine",
    "InputError",
    "OutputError",
    "ProjectInputs",
    "Settings",
    "SettingsError",
    "SpreadmapError",
    "SurveyResult",
    "__version__",
    "analyse",
    "check_project",
    "read_project",
    "run_project",
]

__version__ = "0.1.0"

# Loaded when first used, so that `spreadmap --help` does not wait for libraries it does not need.
_HOME = {
    "Engine": "spreadmap.engine",
    "InputError": "spreadmap.errors",
    "OutputError": "spreadmap.errors",
    "ProjectInputs": "spreadmap.values.project",
    "Settings": "spreadmap.values.settings",
    "SettingsError": "spreadmap.errors",
    "SpreadmapError": "spreadmap.errors",
    "SurveyResult": "spreadmap.values.results",
    "analyse": "spreadmap.pipeline",
    "check_project": "spreadmap.pipeline",
    "read_project": "spreadmap.pipeline",
    "run_project": "spreadmap.pipeline",
}


def __getattr__(name: str) -> Any:
    """Return a public name from the room where it lives."""
    if name not in _HOME:
        msg = f"module 'spreadmap' has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return list(__all__)
