"""What a number of biology may be: checked where it comes in, all faults of one call told together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from spreadmap.errors import InputError, SettingsError

Check = tuple[str, npt.ArrayLike, str, npt.ArrayLike, str]
"""Name of the parameter, its value or array, its unit, whether (each) is allowed, and what is allowed."""


def require(where: str, checks: Sequence[Check], remedy: str, error: type[InputError] = SettingsError) -> None:
    """Refuse numbers that are not finite or not allowed.

    Parameters
    ----------
    where : str
        What is being worked out; it begins the message.
    checks : sequence of (name, value or array, unit, allowed or array of it, words for what is allowed)
    remedy : str
        What to do, a sentence.
    error : class, optional
        `SettingsError` unless the numbers came in as data.

    Raises
    ------
    SettingsError or the given error
        Names the first wrong value of every parameter, and how many there are.
    """
    faults = []
    for name, given, unit, allowed, words in checks:
        values = np.asarray(given, dtype=np.float64)
        wrong = values[~(np.isfinite(values) & np.broadcast_to(np.asarray(allowed, dtype=bool), values.shape))]
        if wrong.size:
            more = f" (and {wrong.size - 1} more)" if wrong.size > 1 else ""
            faults.append(f"{name} is {wrong[0]:g}{_unit(unit)}{more}; allowed: {words}{_unit(unit)}")
    if faults:
        msg = f"{where}: {'; '.join(faults)}. {remedy}"
        raise error(msg)


def require_choice(where: str, name: str, value: str, choices: Sequence[str], remedy: str) -> None:
    """Refuse a word that is not one of the choices (SettingsError)."""
    if value not in choices:
        msg = f"{where}: {name} is {value!r}; allowed: {', '.join(choices)}. {remedy}"
        raise SettingsError(msg)


def _unit(unit: str) -> str:
    return "" if unit == "-" else f" {unit}"
