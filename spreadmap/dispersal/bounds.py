"""What a physical quantity may be: checked where it comes in, all faults told together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray


def require_above_zero(where: str, quantities: Mapping[str, tuple[FloatArray | float, str]], remedy: str) -> None:
    """Refuse numbers that are not finite or not above zero.

    Parameters
    ----------
    where : str
        What is being worked out, as it begins the message.
    quantities : mapping of parameter name to (value or array, unit)
    remedy : str
        What to do, a sentence.

    Raises
    ------
    SettingsError
        If any value is not above zero; names the first one of every parameter, all parameters at once.
    """
    faults = []
    for name, (given, unit) in quantities.items():
        values = np.atleast_1d(np.asarray(given, dtype=np.float64))
        wrong = values[~(np.isfinite(values) & (values > 0))]
        if wrong.size:
            faults.append(f"{name} is {wrong[0]:g} {unit}; allowed: above 0 {unit}")
    if faults:
        msg = f"{where}: {'; '.join(faults)}. {remedy}"
        raise SettingsError(msg)
