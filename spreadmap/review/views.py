"""What the map shows beside each section: layers, extent, order numbers, the walk, plants with a ring round them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from spreadmap.review.changes import changes_of
from spreadmap.review.language import Words
from spreadmap.review.tables import Bounds
from spreadmap.values.inventory import Inventory
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.web import WebShape
from spreadmap.values.words import Mode

KeyOf = Callable[[str, SystemResult, SurveyResult], str]
MARGIN_DEG = 0.00008
"""Margin round a view, about nine metres, so that one plant alone has surroundings."""
MOST_MARKED = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The map beside one section. `layers` are switched on, all others off; without `bounds` the whole map is shown.

    `numbers` is the section whose list gives the order numbers. `route` and `marked` are positions in the inventory.
    `before_on` is the day of the state that the section's switch can show. `has_still` says whether the section has a
    map of its own in print.
    """

    says: str
    layers: tuple[str, ...]
    bounds: Bounds | None = None
    numbers: str = ""
    route: tuple[int, ...] = ()
    marked: tuple[int, ...] = ()
    before_on: str = ""
    has_still: bool = True

    def packed(self) -> dict[str, Any]:
        """Return the view as the script reads it."""
        bounds = self.bounds
        return {
            "says": self.says,
            "layers": list(self.layers),
            "bounds": None
            if bounds is None
            else [[round(bounds[0], 7), round(bounds[1], 7)], [round(bounds[2], 7), round(bounds[3], 7)]],
            "numbers": self.numbers,
            "route": list(self.route),
            "marked": list(self.marked),
            "before_on": self.before_on,
            "still": self.has_still,
        }


def around(inventory: Inventory, plants: Iterable[int]) -> Bounds | None:
    """Return the bounds of some plants with a margin; None where there are none."""
    rows = np.array(list(plants), dtype=np.int64)
    if not len(rows):
        return None
    north, east = inventory.latitude[rows], inventory.longitude[rows]
    return (
        float(north.min()) - MARGIN_DEG,
        float(east.min()) - MARGIN_DEG,
        float(north.max()) + MARGIN_DEG,
        float(east.max()) + MARGIN_DEG,
    )


def walk_of(system: SystemResult) -> tuple[int, ...]:
    """Return the plants of the next survey in the order of the walk."""
    look = system.plan.inspection
    reached = np.flatnonzero(look.walk > 0)
    return tuple(int(look.plant[index]) for index in reached[np.argsort(look.walk[reached], kind="stable")])


def union(boxes: Iterable[Bounds]) -> Bounds | None:
    """Return the bounds of several; None where there are none."""
    every = np.array(list(boxes))
    if not len(every):
        return None
    south, west = every[:, :2].min(axis=0).tolist()
    north, east = every[:, 2:].max(axis=0).tolist()
    return south, west, north, east


def views(
    say: Words,
    result: SurveyResult,
    surfaces: Iterable[str],
    shapes: tuple[WebShape, ...],
    boxes: Mapping[tuple[str, str], Bounds],
    key_of: KeyOf,
) -> dict[str, dict[str, Any]]:
    """Return the view of every section, by its key, as the script reads it; `start` is the page's top.

    Parameters
    ----------
    say : Words
    result : SurveyResult
    surfaces : iterable of str
        Keys of the pictures of surfaces, the first one first.
    shapes : tuple of WebShape
    boxes : mapping
        Bounds of all shapes of one kind and focus or name, by `(kind, name)`.
    key_of : callable
        Gives a section's key for one system.
    """
    surface = tuple(f"surface {key}" for key in list(surfaces)[:1])
    shown = next(iter(result.systems), None)
    is_chance = shown is not None and shown.face.mode is Mode.CALIBRATED
    ground = ("plants", "site", "screen", "reservoir")
    made: dict[str, View] = {
        "start": View(
            says=say("calibrated.view_start" if is_chance else "view.start"), layers=(*ground, *surface, "ring"), has_still=False
        ),
        "findings": View(says=say("view.record"), layers=ground),
        "season": View(says=say("view.record"), layers=ground, has_still=False),
        "cautions": View(says=say("view.cautions"), layers=ground, has_still=False),
        "residents": View(
            says=say("calibrated.view_residents" if is_chance else "view.residents"), layers=surface,
            has_still=False,
        ),
    }  # fmt: skip
    for system in result.systems:
        for name, view in system_views(say, system, result, surface, shapes, boxes, key_of).items():
            made[key_of(name, system, result)] = view
    return {key: view.packed() for key, view in made.items()}


def system_views(
    say: Words,
    system: SystemResult,
    result: SurveyResult,
    surface: tuple[str, ...],
    shapes: tuple[WebShape, ...],
    boxes: Mapping[tuple[str, str], Bounds],
    key_of: KeyOf,
) -> dict[str, View]:
    """Return the views of the sections of one pest system."""
    inventory, removal = result.inputs.inventory, system.plan.removal
    this_week = removal.plant[removal.within_hours] if removal.within_hours.any() else removal.plant
    walk = walk_of(system)
    rules = tuple(dict.fromkeys(f"line {shape.name}" for shape in shapes if shape.kind == "line"))
    unsure = removal.plant[~removal.rank_holds][:MOST_MARKED].tolist()
    is_chance = system.face.mode is Mode.CALIBRATED
    wild = ("reservoir",) if any(shape.kind == "reservoir" for shape in shapes) else ()
    made = {
        "removal": View(
            says=say("view.removal"),
            layers=("plants", "site", "screen"),
            bounds=around(inventory, this_week.tolist()),
            numbers=key_of("removal", system, result),
        ),
        "inspection": View(
            says=say("calibrated.view_inspection" if is_chance else "view.inspection", n=len(walk)),
            layers=("plants", "site", *surface),
            bounds=around(inventory, walk),
            route=walk,
        ),
        "lines": View(
            says=say("view.lines"),
            layers=("plants", "site", "ring", "ring_range", *rules, *wild),
            bounds=union(box for (kind, _), box in boxes.items() if kind == "ring"),
        ),
        "survey": View(
            says=say("view.survey"),
            layers=("plants", "site"),
        ),
        "sure": View(
            says=say("calibrated.view_sure" if is_chance else "view.sure"),
            layers=("plants", "site", "ring_range", *wild, "screen"),
            marked=tuple(unsure),
        ),
        "ahead": View(
            says=say("calibrated.view_ahead" if is_chance else "view.ahead"),
            layers=("plants", "site", *surface),
            has_still=False,
        ),
        "costs": View(
            says=say("view.removal"),
            layers=("plants", "site"),
            numbers=key_of("removal", system, result),
            bounds=around(inventory, removal.plant.tolist()),
            has_still=False,
        ),
    }
    if system.before is not None:
        changed = [row for kind in changes_of(system) if kind.key != "seen" for row in kind.plants]
        made["changed"] = View(
            says=say("view.changed"),
            layers=("plants", "site"),
            marked=tuple(changed[:MOST_MARKED]),
            before_on=say.day(system.before.as_of),
        )
    if system.score is not None and system.score.surveys:
        last = system.score.surveys[-1]
        made["score"] = View(
            says=say("view.score", day=say.day(last.forecast_as_of)),
            layers=("plants", "site", "old_ring"),
            bounds=union(
                [
                    *(box for (kind, _), box in boxes.items() if kind == "old_ring"),
                    *([box] if (box := around(inventory, last.found_plants)) is not None else []),
                ]
            ),
            marked=last.found_plants[:MOST_MARKED],
        )
    elif system.score is not None:
        made["score"] = View(says=say("view.state"), layers=("plants", "site"), has_still=False)
    return made
