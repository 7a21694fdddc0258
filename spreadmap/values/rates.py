"""What turns infection pressure into infections per day."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spreadmap.errors import SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Rates of infection on a day of full flight; a day of flight weight 0.3 counts as 0.3 of one.

    A medium plant of ordinary susceptibility under an arrival density of `d` medium plants per m2 (sum of strength
    times location kernel, mean over its canopy disc) is infected at `per_day_m2 * d + background_per_day +
    contact_per_day * c` per day, where `c` is the strength of the infectious plants that touch it. Size and
    susceptibility of the receiver multiply all of it.

    per_day_m2 [m2 / day], contact_per_day [1 / day], background_per_day [1 / day]; all finite and not negative.
    """

    per_day_m2: float
    contact_per_day: float
    background_per_day: float

    def __post_init__(self) -> None:
        """Refuse what is no rate."""
        for name in ("per_day_m2", "contact_per_day", "background_per_day"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                msg = f"{name} is {value}; allowed: a finite rate of zero or more."
                raise SettingsError(msg)
