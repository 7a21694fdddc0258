"""What changed since the last delivery: plants that came, changed or went, by the desk's own key."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spreadmap.io.layers import Layer
from spreadmap.io.short_names import FACE
from spreadmap.io.write_tables import unquote_formula, write_csv

HEAD = ("system", "plant_id", "change", "status_before", "status_now", "row_sha256")
INSERT, UPDATE, DELETE = "insert", "update", "delete"
NOT_COMPARED = {column.name for column in FACE} | {"is_cut"}
"""What every row says of its delivery; it differs each time and is no change of the plant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveredPlant:
    """A plant as it was last delivered: its status, and the hash of its row."""

    status: str
    row_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One plant that differs from the last delivery. `change` is insert, update or delete."""

    system: str
    plant_id: str
    change: str
    status_before: str
    status_now: str
    row_sha256: str


def delivered_plants(plants: Layer) -> dict[str, DeliveredPlant]:
    """Return what a plants layer says of every plant, by its key."""
    compared = [column.name for column in plants.spec if column.name not in NOT_COMPARED]
    columns = [np.asarray(plants.columns[name]).astype(object) for name in compared]
    rows = zip(*columns, strict=True)
    places = [shape.wkb_hex for shape in plants.geometry]
    return {
        str(key): DeliveredPlant(
            status=str(status),
            row_sha256=hashlib.sha256("\x1f".join([place, *map(str, row)]).encode()).hexdigest(),
        )
        for key, status, place, row in zip(
            plants.columns["plant_id"], plants.columns["status"], places, rows, strict=True
        )
    }


def compare(system: str, now: Mapping[str, DeliveredPlant], before: Mapping[str, DeliveredPlant]) -> tuple[Change, ...]:
    """Return every difference between two deliveries, in the order of the inventory, deleted plants last."""
    changes = [
        Change(
            system=system,
            plant_id=key,
            change=UPDATE if key in before else INSERT,
            status_before=before[key].status if key in before else "",
            status_now=plant.status,
            row_sha256=plant.row_sha256,
        )
        for key, plant in now.items()
        if key not in before or before[key].row_sha256 != plant.row_sha256
    ]
    changes += [
        Change(system=system, plant_id=key, change=DELETE, status_before=plant.status, status_now="", row_sha256="")
        for key, plant in before.items()
        if key not in now
    ]
    return tuple(changes)


def write_changes(path: Path, changes: Sequence[Change]) -> Path:
    """Write `changes.csv`; the first delivery has every plant as an insert."""
    rows = [(c.system, c.plant_id, c.change, c.status_before, c.status_now, c.row_sha256) for c in changes]
    return write_csv(path, HEAD, rows)


def read_changes(path: Path) -> tuple[Change, ...]:
    """Return what `write_changes` wrote."""
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(Change(**{name: unquote_formula(row[name]) for name in HEAD}) for row in csv.DictReader(file))
