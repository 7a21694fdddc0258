"""What work costs, by site and owner."""

from __future__ import annotations

from dataclasses import dataclass

COSTS_STANDING = "order of magnitude: rates are assumptions until the desk sets its own in settings.costs"


@dataclass(frozen=True, slots=True, kw_only=True)
class CostRow:
    """Removal and the next survey on one site for one owner, in the currency of the table.

    `plants` come out in `person_hours`, set-up and travel included; `looked_at` are looked at in `inspection_hours`, the
    way to their beds included, and `tests` suspects among them are sampled.
    """

    site: str
    owner: str
    plants: int
    person_hours: float
    labour: float
    disposal: float
    replacement: float
    looked_at: int
    inspection_hours: float
    inspection: float
    tests: int
    testing: float

    @property
    def removal(self) -> float:
        """Return labour, disposal and replacement together."""
        return self.labour + self.disposal + self.replacement

    @property
    def total(self) -> float:
        """Return the cost of removal, looking and tests."""
        return self.removal + self.inspection + self.testing


@dataclass(frozen=True, slots=True, kw_only=True)
class CostTable:
    """Costs of the whole removal list and of the next survey; an order of magnitude until a desk gives its own rates."""

    currency: str
    rows: tuple[CostRow, ...]

    @property
    def removal_hours(self) -> float:
        """Return the person-hours of all removals [h]."""
        return sum(row.person_hours for row in self.rows)

    @property
    def inspection_hours(self) -> float:
        """Return the person-hours of the next survey [h]."""
        return sum(row.inspection_hours for row in self.rows)

    @property
    def removal(self) -> float:
        """Return the cost of all removals."""
        return sum(row.removal for row in self.rows)

    @property
    def inspection(self) -> float:
        """Return the cost of looking."""
        return sum(row.inspection for row in self.rows)

    @property
    def tests(self) -> int:
        """Return the number of samples."""
        return sum(row.tests for row in self.rows)

    @property
    def testing(self) -> float:
        """Return the cost of tests."""
        return sum(row.testing for row in self.rows)

    @property
    def total(self) -> float:
        """Return the cost of removals, the next survey and its tests."""
        return self.removal + self.inspection + self.testing
