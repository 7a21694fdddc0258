"""What work costs, by site and owner."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CostRow:
    """Removal on one site for one owner, in the currency of the table.

    `person_hours` include set-up and travel. `total` is labour, disposal and replacement together.
    """

    site: str
    owner: str
    plants: int
    person_hours: float
    labour: float
    disposal: float
    replacement: float

    @property
    def total(self) -> float:
        """Return the sum."""
        return self.labour + self.disposal + self.replacement


@dataclass(frozen=True, slots=True, kw_only=True)
class CostTable:
    """Costs of the whole removal list and of the next survey; an order of magnitude until a desk gives its own rates."""

    currency: str
    rows: tuple[CostRow, ...]
    inspection_hours: float
    inspection: float
    tests: int
    testing: float

    @property
    def removal(self) -> float:
        """Return the cost of all removals."""
        return sum(row.total for row in self.rows)

    @property
    def total(self) -> float:
        """Return the cost of removals, the next survey and its tests."""
        return self.removal + self.inspection + self.testing
