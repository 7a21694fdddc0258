"""The errors spreadmap raises on purpose; anything else that surfaces is a defect."""

from __future__ import annotations

from typing import Any


class SpreadmapError(Exception):
    """Base of every error that is meant for the person at the desk."""


class InputError(SpreadmapError, ValueError):
    """What came in cannot be used: where it stands, what was found, what is allowed, what to do.

    `faults` holds every single fault as `values.project.Fault` where files were read.
    """

    faults: tuple[Any, ...] = ()


class InventoryError(InputError):
    """The plant inventory, a survey table or the work log cannot be used."""


class CrsError(InputError):
    """A coordinate reference system is missing, wrong, or does not fit the coordinates."""


class RasterError(InputError):
    """A raster (wind) cannot be used."""


class SettingsError(InputError):
    """A setting or the project file is not usable."""


class OutputError(SpreadmapError, OSError):
    """A product could not be written."""


class LockedError(SpreadmapError):
    """Another run of the same project holds the lock, or another program the history."""
