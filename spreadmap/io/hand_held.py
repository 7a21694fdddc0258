"""Layers for hand-held receivers and globes: KML and GPX in longitude and latitude, without owners, notes and reasons."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.io.layers import Layer
from spreadmap.io.short_names import NOT_ASSESSED, Kind
from spreadmap.io.web_geometry import in_degrees
from spreadmap.io.write_vector import write_plain
from spreadmap.values.arrays import TextArray

PRIVATE = frozenset({"owner", "owners", "note", "decision_reason", "parcels", "sites"})
"""Columns that may tell of people and their ground; a receiver can be lost."""
WAYPOINT_LAYERS = ("removal_list", "inspection_list")
"""The lists that crews walk along."""
TOLD: dict[str, tuple[str, ...]] = {
    "removal_list": ("rank", "action", "size_class", "host", "bed_id", "site_id", "earliest_on_text", "planned_on_text"),
    "inspection_list": ("walk_order", "rank", "status", "pressure_class", "size_class", "host", "bed_id", "site_id",
                        "due_on_text"),
}  # fmt: skip
"""What a waypoint says of its plant."""


def without_private(layer: Layer) -> tuple[str, ...]:
    """Return the columns of a layer that go into a KML, in their order; days as texts."""
    return tuple(
        column.name for column in layer.spec if column.name not in PRIVATE and column.kind is not Kind.DATE
        and column.name != "is_cut"
    )  # fmt: skip


def write_kml(path: Path, layer: Layer) -> Path:
    """Write one layer as KML; the first column names each place.

    Raises
    ------
    OutputError
        If a place has no longitude and latitude, or the file cannot be written.
    """
    names = without_private(layer)
    fields = {name: layer.columns[name] for name in names}
    return write_plain(path, _in_degrees(layer), fields, driver="KML", layer=layer.file_name,
                       dataset_options={"NameField": names[0]})  # fmt: skip


def write_gpx(path: Path, layer: Layer) -> int:
    """Write a list as GPX waypoints, those of an inspection list that the walk reaches, in its order.

    Returns
    -------
    int
        How many waypoints the file has.

    Raises
    ------
    OutputError
        If a place has no longitude and latitude, or the file cannot be written.
    """
    walked = in_walking_order(layer) if layer.name == "inspection_list" else layer
    keys = walked.columns["plant_id"]
    fields = {
        "name": keys,
        "desc": waypoint_words(walked),
        "type": np.full(len(walked), layer.file_name, dtype=object),
    }
    about = f"{walked.columns['quantity'][0]}; {_face(walked)}" if len(walked) else "no plant"
    write_plain(path, _in_degrees(walked), fields, driver="GPX", layer="waypoints",
                dataset_options={"METADATA_NAME": layer.file_name, "METADATA_DESCRIPTION": about})  # fmt: skip
    return len(walked)


def waypoint_words(layer: Layer) -> TextArray:
    """Return what each waypoint says: names and values of a few columns; what is not known is left out."""
    told = [(name, layer.columns[name].tolist()) for name in TOLD[layer.name]]
    words = np.empty(len(layer), dtype=object)
    for row in range(len(layer)):
        words[row] = "; ".join(
            f"{name.removesuffix('_text').replace('_', ' ')} {values[row]}"
            for name, values in told
            if values[row] not in ("", NOT_ASSESSED)
        )
    return words


def _face(layer: Layer) -> str:
    """Return what the numbers of a layer hold for, from its first row."""
    said: dict[str, Any] = {name: layer.columns[name][0] for name in (
        "unit", "period_from_text", "period_to_text", "condition", "mode", "as_of_text", "valid_until_text"
    )}  # fmt: skip
    return (
        f"{said['unit']}; {said['period_from_text']} to {said['period_to_text']}, {said['condition']}; {said['mode']} mode; "
        f"state of {said['as_of_text']}, valid until {said['valid_until_text']}"
    )


def in_walking_order(layer: Layer) -> Layer:
    """Return the plants of an inspection list that the hours reach, in the order of the walk."""
    walk = layer.columns["walk_order"]
    rows = np.argsort(walk, kind="stable")
    rows = rows[walk[rows] > 0]
    columns = {name: values[rows] for name, values in layer.columns.items()}
    return replace(layer, geometry=layer.geometry[rows], columns=columns)


def _in_degrees(layer: Layer) -> Layer:
    """Return a layer in longitude and latitude."""
    return replace(layer, geometry=in_degrees(layer.geometry, layer.crs), crs="EPSG:4326")
