"""Where the outbreaks of a fit's draws begin on the date of the state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.outbreak.events import Start
from spreadmap.values.arrays import FloatArray
from spreadmap.values.rates import Rates


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedStart:
    """Laws and rates by draw, and for each of them the state from which its members start.

    What is hidden in one draw belongs together, and to its rates. Over all draws `infected` (n,) is the chance of every
    plant of being infected at the start, and `showing` returns that of being so and showing symptoms on a day, (n,) [-]:
    both better known than from the members.
    """

    fitted: tuple[tuple[Spread, Rates], ...]
    starts: tuple[Start, ...]
    infected: FloatArray
    showing: Callable[[np.datetime64], FloatArray]

    def __post_init__(self) -> None:
        """Refuse starts that do not belong to the draws."""
        if len(self.fitted) != len(self.starts) or not self.fitted:
            msg = (
                f"{len(self.fitted)} draws and {len(self.starts)} starts; one start belongs to each draw, one at least"
            )
            raise ValueError(msg)
