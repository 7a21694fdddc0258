"""Tables beside the removal list: what crew hours avoid, and the checks of places where plants were taken out."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from spreadmap.io.layers import clean_text
from spreadmap.io.short_names import REGROWTH_CHECKS, REMOVAL_CURVE
from spreadmap.io.write_tables import write_csv
from spreadmap.values.arrays import to_date
from spreadmap.values.plan import HoleChecks, RemovalCurve
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import SystemResult
from spreadmap.values.words import Mode

SHARE_OF = {
    Mode.RELATIVE: "share of the arrivals on healthy hosts that the listed plants would send until the horizon",
    Mode.CALIBRATED: "share of the infections that the listed plants would cause until the horizon",
}


def write_removal_tables(folder: Path, system: SystemResult, inputs: ProjectInputs) -> dict[Path, int]:
    """Write the curve of hours and the checks for regrowth; return how many rows each file has."""
    written = {}
    curve, holes = system.plan.removal.curve, system.plan.holes
    if curve is not None:
        path = folder / "removal_curve.csv"
        rows = curve_rows(curve, system)
        write_csv(path, [column.name for column in REMOVAL_CURVE if not column.name.endswith("_text")], rows)
        written[path] = len(rows)
    if holes is not None and len(holes):
        path = folder / "regrowth_checks.csv"
        listed = hole_rows(holes, inputs)
        write_csv(path, [column.name for column in REGROWTH_CHECKS if not column.name.endswith("_text")], listed)
        written[path] = len(listed)
    return written


def curve_rows(curve: RemovalCurve, system: SystemResult) -> list[tuple[object, ...]]:
    """Return the rows of the curve, nothing done first."""
    face = system.face
    told = (SHARE_OF[face.mode], face.mode.value, face.as_of)
    columns = (curve.hours, curve.share, curve.low, curve.high)
    numbers = np.round(np.column_stack(columns), 6).tolist()
    infections = np.column_stack((curve.infections, curve.infections_low, curve.infections_high)).tolist()
    return [
        (round(hours, 4), plants, share, low, high, *(None if np.isnan(one) else round(one, 4) for one in few), *told)
        for (hours, share, low, high), plants, few in zip(numbers, curve.plants.tolist(), infections, strict=True)
    ]


def hole_rows(holes: HoleChecks, inputs: ProjectInputs) -> list[tuple[object, ...]]:
    """Return the rows of the checks for regrowth, the next one first."""
    inventory = inputs.inventory

    def yes(value: bool) -> str:
        return "Y" if value else "N"

    return [
        (
            clean_text(inventory.plant_id[plant]), clean_text(inventory.bed_id[plant]),
            clean_text(inventory.site_id[plant]), to_date(holes.removed_on[row]), holes.roots_complete[row],
            to_date(holes.checks_from[row]), to_date(holes.next_check_on[row]), yes(holes.is_overdue[row]),
            yes(holes.has_regrowth[row]), yes(holes.is_reopened[row]), to_date(holes.replant_from[row]),
            yes(holes.is_case_near[row]), inputs.as_of,
        )
        for row, plant in enumerate(holes.plant.tolist())
    ]  # fmt: skip
