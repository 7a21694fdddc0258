"""The plants on which a forecast is scored: listed by it with nothing seen, and really inspected after it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from spreadmap.outbreak.looks import Looks, seen_on
from spreadmap.outbreak.score_chances import Chances, chances_of
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.inventory import Inventory
from spreadmap.values.project import ProjectInputs
from spreadmap.values.score import Forecast
from spreadmap.values.surveys import PlantState


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sample:
    """n plants of one forecast with what came of them.

    `orders` hold one value per plant and rule, higher first. `bed` numbers the plants' beds, a plant without a bed
    being one by itself. `in_rings` says for each name of a ring whether the plant stood in it. `hours` plants stand
    within the hours of the list. `chances` are None in relative mode. `plants` are their positions in the inventory,
    `first` those within the hours.
    """

    found: BoolArray
    orders: dict[str, FloatArray]
    bed: IntArray
    in_rings: dict[str, tuple[float, BoolArray]]
    hours: int
    chances: Chances | None
    remarks: tuple[str, ...]
    plants: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    first: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def sample_of(
    forecast: Forecast, state: PlantState, project: ProjectInputs, looks: Looks, last: np.datetime64
) -> Sample:
    """Return the plants on which a forecast is scored, by the inspections after it and up to a date.

    Parameters
    ----------
    forecast : Forecast
    state : PlantState
        What is known by now, which may be later than `last`: a suspect then may be settled since.
    project : ProjectInputs
    looks : Looks
    last : `datetime64[D]`

    Notes
    -----
    Plants on which something had been seen when the forecast was made are left out, because a test settles them and no
    forecast does; so are suspects that are still open.
    """
    inventory = project.inventory
    first = np.datetime64(forecast.as_of)
    within = (looks.on > first) & (looks.on <= last)
    looked = np.zeros(len(inventory), dtype=np.bool_)
    looked[looks.plant[within]] = True
    day = seen_on(looks, state)
    new = (day > first) & (day <= last)
    suspect_now = np.zeros(len(inventory), dtype=np.bool_)
    suspect_now[looks.plant[within & looks.is_seen]] = True
    open_ = suspect_now & ~new

    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    listed = np.array([place.get(key, -1) for key in forecast.plant_id.tolist()], dtype=np.int64)
    there = listed >= 0
    suspect = forecast.is_suspect | (there & (day[listed] <= first))
    scored = there & looked[listed] & ~suspect & ~open_[listed]
    rows, plants = np.flatnonzero(scored), listed[scored]
    outside = new.copy()
    outside[listed[there]] = False
    return Sample(
        found=new[plants],
        plants=plants,
        first=plants[rows < forecast.within],
        orders={
            "inspection_list": -rows.astype(np.float64),
            "pressure": forecast.pressure[rows],
            "distance": -forecast.distance_m[rows],
            "same_place": forecast.same_place[rows],
            "base_rate": np.zeros(len(rows)),
        },
        bed=beds_of(inventory, plants),
        in_rings=inside_rings(forecast, inventory, plants, project.crs),
        hours=int((rows < forecast.within).sum()),
        chances=chances_of(forecast, rows, plants, looks, within, removed_since(forecast, state, place, last), last),
        remarks=_remarks(
            forecast,
            state,
            place,
            last,
            late=int((within & (looks.on > np.datetime64(forecast.valid_until))).sum()),
            suspects=int((there & looked[listed] & suspect).sum()),
            still_open=int((there & looked[listed] & ~suspect & open_[listed]).sum()),
            outside=int(outside.sum()),
            beds=_bed_rows(project, forecast.system_key, first, last),
            moved=bool(forecast.rings) and forecast.crs != project.crs,
        ),
    )


def beds_of(inventory: Inventory, plants: IntArray) -> IntArray:
    """Return a number for the bed of each plant; a plant without a bed is one by itself."""
    names = [
        f"bed {inventory.site_id[plant]} {inventory.bed_id[plant]}" if inventory.bed_id[plant] else f"plant {plant}"
        for plant in plants.tolist()
    ]
    return np.unique(np.array(names, dtype=str), return_inverse=True)[1].astype(np.int64)


def inside_rings(
    forecast: Forecast, inventory: Inventory, plants: IntArray, crs: str
) -> dict[str, tuple[float, BoolArray]]:
    """Return for each name of a ring its share and which plants stand in any ring of that name; none in another CRS."""
    if forecast.crs != crs:
        return {}
    result = {}
    for name in dict.fromkeys(ring.name for ring in forecast.rings):
        rings = [ring for ring in forecast.rings if ring.name == name]
        inside = np.zeros(len(plants), dtype=np.bool_)
        for ring in rings:
            shapely.prepare(ring.polygon)
            inside |= shapely.intersects_xy(ring.polygon, inventory.easting[plants], inventory.northing[plants])
        result[name] = (rings[0].share, inside)
    return result


def removed_since(forecast: Forecast, state: PlantState, place: dict[str, int], last: np.datetime64) -> frozenset[str]:
    """Return the keys of the plants on the forecast's removal list that were taken out after it and up to a date."""
    first = np.datetime64(forecast.as_of)
    return frozenset(
        key
        for key in forecast.removal
        if (index := place.get(key)) is not None and first < state.removed_on[index] <= last
    )


def _bed_rows(project: ProjectInputs, system_key: str, first: np.datetime64, last: np.datetime64) -> int:
    """Return how many beds were inspected as a whole in a period."""
    surveys = project.surveys
    rows = (
        surveys.is_bed_count
        & (surveys.inspected_on > first)
        & (surveys.inspected_on <= last)
        & np.isin(surveys.pest_system.astype(str), [system_key, ""])
    )
    places = zip(surveys.file[rows].tolist(), surveys.row[rows].tolist(), strict=True)
    return len(set(places))


def _remarks(
    forecast: Forecast,
    state: PlantState,
    place: dict[str, int],
    last: np.datetime64,
    *,
    late: int,
    suspects: int,
    still_open: int,
    outside: int,
    beds: int,
    moved: bool,
) -> tuple[str, ...]:
    """Return what was left out of a score, and under which work it stands, in sentences."""
    out = len(removed_since(forecast, state, place, last))
    counted = (
        ("Left out, inspected plants on which something had been seen before (a test settles them)", suspects),
        ("Left out, plants that became suspects and are not settled", still_open),
        ("Left out, beds inspected as a whole, of which no plant is known", beds),
        ("Found on plants that the forecast did not list", outside),
        ("Inspections after the forecast's last day, scored all the same", late),
    )
    said = [f"{text}: {count}." for text, count in counted if count]
    if forecast.removal:
        said.insert(0, f"Plants to take out that were out by {last}: {out} of {len(forecast.removal)}.")
    if moved:
        said.append("The rings were drawn in another reference system and are not scored.")
    return tuple(said)
