"""All from which hidden infection is reckoned, in one value: plants, records, what sends, law of arrivals, settings."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.past import Past, past_of
from spreadmap.values.inventory import Inventory, ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState, Surveys, WorkLog


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """The n plants of an inventory with what is known of them for one pest system, and all that bears on them.

    `surveys`, `work_log` are all records; what lies after the date of `state` is passed over. `wild` stands send all the
    time, `screens` count as they stand now. `spread` is the law of the settings.
    """

    inventory: Inventory
    state: PlantState
    surveys: Surveys
    work_log: WorkLog
    wild: Sources
    spread: Spread
    screens: ScreenSegments
    system: PestSystem
    settings: Settings
    engine: Engine

    def past(self) -> Past:
        """Return what the records say of the past of every plant."""
        return past_of(self.inventory, self.state, self.surveys, self.work_log, self.system, self.settings)
