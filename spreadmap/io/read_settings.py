"""Settings from the project file: names, types and ranges checked against `values/settings.py`."""

from __future__ import annotations

import calendar
import json
import math
from collections.abc import Mapping
from dataclasses import fields
from itertools import pairwise
from typing import Any, get_type_hints

from pydantic import TypeAdapter, ValidationError

from spreadmap.dispersal.kernels import KERNELS, settings_that_do_not_fit
from spreadmap.dispersal.physics import physics_faults
from spreadmap.errors import SettingsError
from spreadmap.io.desk import desk_faults
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.project_file import PROJECT_FILE, suggestion
from spreadmap.values.page_settings import tile_host
from spreadmap.values.settings import Settings


def read_settings(mapping: Mapping[str, Any]) -> Settings:
    """Return the settings, defaults where the mapping says nothing.

    Parameters
    ----------
    mapping : mapping of group name to a mapping of setting name to value
        The table `[settings]` of a project file.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        If a name is misspelt, a value has a wrong type, or lies outside its range. All faults together.
    """
    book = FaultBook()
    groups = {item.name: item for item in fields(Settings)}
    hints = get_type_hints(Settings)
    made: dict[str, Any] = {}
    for name, values in mapping.items():
        if name not in groups:
            _unknown(book, f"settings.{name}", name, list(groups))
        elif not isinstance(values, Mapping):
            book.stop(PROJECT_FILE, f"'settings.{name}' = {shown(values)}", f"Write it as [settings.{name}].",
                      allowed="a table", error=SettingsError)  # fmt: skip
        else:
            made[name] = _read_group(book, name, hints[name], values)
    settings = None if book.has_stopped else Settings(**made)
    if settings is not None:
        _check_together(book, settings)
    book.raise_if_stopped()
    return settings if settings is not None else Settings()


def _unknown(book: FaultBook, where: str, name: str, known: list[str]) -> None:
    """Note a name that is no setting."""
    hint = suggestion(name, known)
    book.stop(PROJECT_FILE, f"'{where}'", f"{hint}Correct or remove the key.", allowed=", ".join(known),
              error=SettingsError)  # fmt: skip


def _read_group(book: FaultBook, group: str, kind: type[Any], values: Mapping[str, Any]) -> Any:
    """Return one group of settings, defaults where a value was faulty (the faults are in the book)."""
    known = {item.name: item for item in fields(kind)}
    hints = get_type_hints(kind)
    defaults = kind()
    good: dict[str, Any] = {}
    for name, value in values.items():
        where = f"settings.{group}.{name}"
        if name not in known:
            _unknown(book, where, name, list(known))
            continue
        default = getattr(defaults, name)
        # A table that is empty by default holds names of the user's own, such as those of observers.
        if isinstance(default, dict) and default and isinstance(value, Mapping):
            stray = [key for key in value if key not in default]
            for key in stray:
                _unknown(book, f"{where}.{key}", key, list(default))
            value = {**default, **{key: item for key, item in value.items() if key not in stray}}
        try:
            # through JSON, strict: a list may become a tuple, but text never becomes a number
            checked = TypeAdapter(hints[name]).validate_json(json.dumps(value, default=str), strict=True)
        except ValidationError as error:
            said = error.errors(include_url=False)[0]["msg"].removeprefix("Input should be ")
            book.stop(PROJECT_FILE, f"'{where}' = {shown(value)}", "Correct the value.", allowed=said,
                      error=SettingsError)  # fmt: skip
            continue
        _check_range(book, where, checked, known[name].metadata)
        good[name] = checked
    return kind(**good)


def _check_range(book: FaultBook, where: str, value: Any, notes: Mapping[str, Any]) -> None:
    """Note numbers outside what the setting allows."""
    numbers = list(value.values()) if isinstance(value, dict) else list(value) if isinstance(value, tuple) else [value]
    least, most, unit = notes["least"], notes["most"], notes["unit"]
    for number in numbers:
        if isinstance(number, str | dict):
            continue
        low = least is not None and number < least
        high = most is not None and number > most
        if low or high or not math.isfinite(number):
            book.stop(PROJECT_FILE, f"'{where}' = {shown(value)}", "Correct the value.",
                      allowed=f"{'any' if least is None else least} to {'any' if most is None else most} [{unit}]",
                      error=SettingsError)  # fmt: skip
            return
    if notes["choices"] and value not in notes["choices"]:
        book.stop(PROJECT_FILE, f"'{where}' = {shown(value)}", "Choose one of these.",
                  allowed=", ".join(notes["choices"]), error=SettingsError)  # fmt: skip


def _check_together(book: FaultBook, settings: Settings) -> None:
    """Note values that are fine alone but not together."""
    zones, removal = settings.zones, settings.removal
    if settings.kernel.family not in KERNELS:
        book.stop(PROJECT_FILE, f"'settings.kernel.family' = {shown(settings.kernel.family)}",
                  f"{suggestion(settings.kernel.family, list(KERNELS))}Choose one of these.",
                  allowed=", ".join(KERNELS), error=SettingsError)  # fmt: skip
    else:
        for name, allowed, remedy in settings_that_do_not_fit(settings.kernel):
            found = getattr(settings.kernel, name)
            book.stop(PROJECT_FILE, f"'settings.kernel.{name}' = {shown(found)}", remedy, allowed=allowed,
                      error=SettingsError)  # fmt: skip
    if not zones.core_share < zones.inner_share < zones.outer_share:
        book.stop(PROJECT_FILE, f"'settings.zones' shares = {zones.core_share}, {zones.inner_share}, {zones.outer_share}",
                  "Put them in order.", allowed="core below inner below outer", error=SettingsError)  # fmt: skip
    if any(day not in range(7) for day in removal.working_days) or not removal.working_days:
        book.stop(PROJECT_FILE, f"'settings.removal.working_days' = {shown(removal.working_days)}", "Correct the days.",
                  allowed="0 (Monday) to 6 (Sunday), at least one", error=SettingsError)  # fmt: skip
    if any(factor <= 0 for factor in settings.kernel.scale_run):
        book.stop(PROJECT_FILE, f"'settings.kernel.scale_run' = {shown(settings.kernel.scale_run)}",
                  "Correct the factors.", allowed="numbers above zero", error=SettingsError)  # fmt: skip
    limits = settings.grid.chance_breaks
    if not limits or any(above <= below for below, above in pairwise(limits)):
        book.stop(PROJECT_FILE, f"'settings.grid.chance_breaks' = {shown(limits)}", "Put them in order.",
                  allowed="one number or more, each above the one before it", error=SettingsError)  # fmt: skip
    # alone, each value was checked already: what is left is how heights and lengths fit together
    for found, allowed, remedy in physics_faults(settings.physics) if settings.physics.use_physics else ():
        book.stop(PROJECT_FILE, found, remedy, allowed=allowed, error=SettingsError)
    for found, allowed, remedy in desk_faults(settings.delivery):
        book.stop(PROJECT_FILE, found, remedy, allowed=allowed, error=SettingsError)
    infection = settings.infection
    days = {"removal.bud_break": removal.bud_break, "infection.growing_from": infection.growing_from,
            "infection.growing_to": infection.growing_to}  # fmt: skip
    for name, (month, day) in days.items():
        if not (1 <= month <= 12 and 1 <= day <= calendar.monthrange(2001, month)[1]):
            book.stop(PROJECT_FILE, f"'settings.{name}' = {shown((month, day))}", "Correct the day.",
                      allowed="month and day, for example [3, 15]", error=SettingsError)  # fmt: skip
    _check_tiles(book, settings)
    low, high = infection.assumed_onward_range
    if not low <= infection.assumed_onward <= high:
        book.stop(PROJECT_FILE, f"'settings.infection.assumed_onward_range' = {shown(infection.assumed_onward_range)}",
                  "Put them in order.", allowed="assumed_onward between its first and its last number",
                  error=SettingsError)  # fmt: skip


def _check_tiles(book: FaultBook, settings: Settings) -> None:
    """Note an address of map tiles that is none, or that says nothing of whose tiles they are."""
    page = settings.page
    try:
        host = tile_host(page.tile_address)
    except ValueError:
        book.stop(PROJECT_FILE, f"'settings.page.tile_address' = {shown(page.tile_address)}", "Correct the address.",
                  allowed="https://host/path with each of {z}, {x}, {y} once", error=SettingsError)  # fmt: skip
        return
    if host and not page.tile_attribution.strip():
        book.stop(PROJECT_FILE, "'settings.page.tile_attribution' is empty", "Say whose tiles they are: their licence asks for "
                  "it on the map.", allowed="a short text", error=SettingsError)  # fmt: skip
