"""Layers as a GIS desk gets them, made of what a run found: columns of one length beside their geometry."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from pydantic_core import to_json

from spreadmap.io.hidden_columns import columns_of_hidden, hidden_values
from spreadmap.io.short_names import GEOMETRY, LAYERS, NOT_ASSESSED, PLANTS_AHEAD, Column, Kind
from spreadmap.values.ahead import Ahead
from spreadmap.values.arrays import FloatArray, IntArray, TextArray
from spreadmap.values.plan import Line, Ring
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Face, PlannedSystem, SystemResult
from spreadmap.values.settings import RemovalSettings, Settings
from spreadmap.values.words import SetUp

ACTION = "remove whole plant with all roots"
GREEN_ACTION = "test first; then remove whole plant with roots"
HELD_ACTION = "none: put off or refused by the manager"
RECOMMENDED = "recommended zone; only the plant-health authority demarcates"
LINE_ADVICE = "line of a rule of thumb, not a limit"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One layer: geometry in the working CRS, and every column of `short_names.LAYERS[name]`, in its order.

    `dropped` counts shapes that were left out because they had no area or no position.
    """

    name: str
    crs: str
    geometry: npt.NDArray[np.object_]
    columns: dict[str, npt.NDArray[Any]]
    dropped: int = 0
    more: tuple[Column, ...] = ()
    """Columns of this delivery behind those of the table, such as chances in calibrated mode."""
    own_name: str = ""
    """What the desk calls it, where that differs."""
    own_fields: Mapping[str, str] = field(default_factory=dict)
    """Column to what the desk calls its field in a Shapefile, where that differs."""

    @property
    def spec(self) -> tuple[Column, ...]:
        """Return what each column is."""
        return LAYERS[self.name] + self.more

    @property
    def file_name(self) -> str:
        """Return the name of its files and tables, without ending."""
        return self.own_name or self.name

    @property
    def short_names(self) -> list[str]:
        """Return the fields of its columns in a Shapefile."""
        return [self.own_fields.get(column.name, column.short) for column in self.spec]

    @property
    def geometry_type(self) -> str:
        """Return the one geometry type of the layer."""
        return GEOMETRY[self.name]

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.geometry)


def clean_text(value: object) -> str:
    """Return a text without control characters, which neither XML nor a table can hold; line ends become spaces."""
    found = str(value)
    # nothing that is printable is thrown out, and nearly every text is
    text = found if found.isprintable() else "".join(
        " " if char in "\t\r\n" else "" if ord(char) < 32 or 127 <= ord(char) < 160 or 0xD800 <= ord(char) < 0xE000
        or ord(char) in (0xFFFE, 0xFFFF) else char
        for char in found
    )  # fmt: skip
    return text.strip()


def each_word(column: Sequence[object] | npt.NDArray[Any], change: Callable[[Any], str]) -> TextArray:
    """Return a column of texts, every value changed; each different value is looked at once."""
    values = column.tolist() if isinstance(column, np.ndarray) else list(column)
    changed = {value: change(value) for value in set(values)}
    return np.fromiter(map(changed.__getitem__, values), dtype=object, count=len(values))


def is_one_value(column: npt.NDArray[Any]) -> bool:
    """Return whether all rows of a column hold the same, as what is said of the whole delivery does.

    0 and -0 are not the same: they are written differently.
    """
    # most columns that change tell it by their ends
    if not len(column) or column[0] != column[-1] or not np.all(column == column[0]):
        return False
    return column.dtype.kind != "f" or bool(np.all(np.signbit(column) == np.signbit(column[0])))


def texts(values: Sequence[object] | npt.NDArray[Any]) -> TextArray:
    """Return a column of texts; nothing is kept of what no table can hold."""
    return each_word(values, clean_text)


def flags(values: npt.NDArray[Any]) -> TextArray:
    """Return Y and N."""
    return np.where(np.asarray(values, dtype=bool), "Y", "N").astype(object)


def numbers(values: npt.NDArray[Any], assessed: npt.NDArray[Any] | None = None) -> FloatArray:
    """Return numbers, with the code for "not assessed" where there is none."""
    given = np.asarray(values, dtype=np.float64)
    known = np.isfinite(given) if assessed is None else np.isfinite(given) & assessed
    return np.where(known, given, float(NOT_ASSESSED))


def day_texts(days: npt.NDArray[Any], none: str | None = "") -> npt.NDArray[np.object_]:
    """Return days as YYYY-MM-DD, and `none` where there is none; each different day is looked at once."""
    known, place = np.unique(days, return_inverse=True)
    words = np.datetime_as_string(known, unit="D").astype(object)
    words[np.isnat(known)] = none
    return np.asarray(words[place], dtype=object)


def number_texts(values: npt.NDArray[Any]) -> list[str]:
    """Return numbers as `repr` writes them, each the shortest text that is exactly this number.

    The library for JSON writes a whole column at once, and as `repr` does between 0.0001 and 1e16.
    """
    if not len(values):
        return []
    words = to_json(values.tolist()).decode("ascii")[1:-1].split(",")
    size = np.abs(values)
    for row in np.flatnonzero(~(((size >= 1e-4) & (size < 1e16)) | (size == 0))).tolist():
        words[row] = repr(values[row].item())
    return words


def make_layer(
    name: str, crs: str, geometry: npt.NDArray[Any], columns: dict[str, Any], more: tuple[Column, ...] = ()
) -> Layer:
    """Return a layer with every column of its table in the fixed order and type.

    Parameters
    ----------
    name : str
        One of `short_names.LAYERS`.
    crs : str
        Working CRS, as text.
    geometry : array of shapely geometries, shape (n,)
        Missing and empty ones are dropped and counted.
    columns : dict
        Long name to values (n,). Dates are given once; their texts are made here.
    more : tuple of Column
        Columns behind those of the table.

    Raises
    ------
    ValueError
        If a column is missing, not in the table, or of another length.
    """
    count = len(geometry)
    shapes = np.asarray(geometry, dtype=object)
    keep = np.array([shape is not None and not shape.is_empty for shape in shapes], dtype=bool)
    given = dict(columns)
    spec = LAYERS[name] + more
    for column in spec:
        if column.kind is Kind.DATE:
            given[f"{column.name}_text"] = day_texts(np.asarray(given[column.name], dtype="datetime64[D]"))
    given.setdefault("is_cut", np.full(count, "N", dtype=object))
    wanted = [column.name for column in spec]
    unknown = set(given) - set(wanted) - {"is_cut"}
    missing = set(wanted) - set(given)
    if unknown or missing:
        msg = f"layer {name}: columns {sorted(unknown)} are not in its table, {sorted(missing)} are missing"
        raise ValueError(msg)
    ready = {column.name: _typed(column, given[column.name], count)[keep] for column in spec}
    return Layer(name=name, crs=crs, geometry=shapes[keep], columns=ready, dropped=int((~keep).sum()), more=more)


def _typed(column: Column, values: Any, count: int) -> npt.NDArray[Any]:
    """Return a column in the type of its table; one value stands for all rows."""
    one_for_all = np.ndim(values) == 0
    if column.kind is Kind.TEXT or column.kind is Kind.FLAG:
        array: npt.NDArray[Any] = texts([values] * count if one_for_all else values)
    else:
        dtype: Any = {Kind.WHOLE: np.int64, Kind.NUMBER: np.float64, Kind.DATE: "datetime64[D]"}[column.kind]
        array = np.full(count, values, dtype=dtype) if one_for_all else np.asarray(values).astype(dtype)
    if len(array) != count:
        msg = f"column {column.name} has {len(array)} values where {count} are needed"
        raise ValueError(msg)
    return array


def face_columns(face: Face, system_key: str) -> dict[str, Any]:
    """Return what every row says of the delivery."""
    return {
        "system": system_key,
        "quantity": face.quantity,
        "unit": face.unit,
        "period_from": np.datetime64(face.period_from),
        "period_to": np.datetime64(face.period_to),
        "condition": face.condition,
        "mode": face.mode.value,
        "as_of": np.datetime64(face.as_of),
        "valid_until": np.datetime64(face.valid_until),
    }


def _constant_days(columns: dict[str, Any], count: int) -> dict[str, Any]:
    """Return the columns with single days repeated for every row."""
    return {
        name: np.full(count, value) if isinstance(value, np.datetime64) else value for name, value in columns.items()
    }


def plant_columns(inputs: ProjectInputs, plant: IntArray) -> dict[str, Any]:
    """Return what the inventory says of the plants at these positions."""
    inventory = inputs.inventory
    return {
        "plant_id": inventory.plant_id[plant],
        "bed_id": inventory.bed_id[plant],
        "site_id": inventory.site_id[plant],
        "owner": inventory.owner[plant],
        "host": inventory.host[plant],
        "size_class": inventory.size_class[plant],
        "is_synthetic": flags(inventory.is_synthetic[plant]),
        "position_precision_m": numbers(inventory.position_precision_m[plant]),
        "note": inventory.note[plant],
    }


def points(inputs: ProjectInputs, plant: IntArray) -> npt.NDArray[Any]:
    """Return the plants' positions as points, shape of `plant`."""
    inventory = inputs.inventory
    return np.asarray(shapely.points(inventory.easting[plant], inventory.northing[plant]), dtype=object)


def pressure_classes(pressure: FloatArray, breaks: tuple[float, ...]) -> IntArray:
    """Return the class of every pressure, 1 for the lowest; a value on a break belongs to the class above it."""
    return np.searchsorted(np.asarray(breaks, dtype=np.float64), pressure, side="right").astype(np.int64) + 1


def set_ups(inputs: ProjectInputs, plant: IntArray) -> tuple[list[str], list[bool]]:
    """Return the kind of set-up and whether the site is private, for the plants at these positions."""
    sites = inputs.sites
    kind = dict(zip(sites.site_id.tolist(), sites.set_up.tolist(), strict=True))
    private = dict(zip(sites.site_id.tolist(), sites.is_private.tolist(), strict=True))
    keys = inputs.inventory.site_id[plant].tolist()
    return [kind.get(key) or "" for key in keys], [bool(private.get(key, False)) for key in keys]


def removal_layer(result: SystemResult, inputs: ProjectInputs, settings: RemovalSettings) -> Layer:
    """Return the removal list as points, in its order."""
    removal, state = result.plan.removal, result.state
    plant, count = removal.plant, len(removal)
    kinds, private = set_ups(inputs, plant)
    checks = min(removal.regrowth_on.shape[1] if removal.regrowth_on.ndim == 2 else 0, 5)
    regrowth = np.full((count, 5), "NaT", dtype="datetime64[D]")
    if checks:
        # the last one is the next bud break, however many come before it
        regrowth[:, : checks - 1] = removal.regrowth_on[:, : checks - 1]
        regrowth[:, 4] = removal.regrowth_on[:, -1]
    columns = {
        **plant_columns(inputs, plant),
        "rank": np.arange(1, count + 1),
        "evidence": state.evidence[plant],
        "found_on": state.first_found_on[plant],
        "action": [
            HELD_ACTION if held else GREEN_ACTION if green else ACTION
            for held, green in zip(removal.is_held, removal.is_green, strict=True)
        ],
        "onward_relative": removal.onward,
        "person_minutes": removal.person_minutes,
        "set_up_minutes": removal.set_up_minutes,
        "set_up": kinds,
        "cumulative_hours": removal.cumulative_hours,
        "within_hours": flags(removal.within_hours),
        "earliest_on": removal.earliest_on,
        "week": removal.week,
        "planned_on": removal.planned_on,
        "day_order": removal.day_order,
        "avoided": removal.avoided,
        "cost": removal.cost,
        "is_green": flags(removal.is_green),
        "decision": removal.decision,
        "decision_reason": removal.decision_reason,
        **{f"regrowth_{check + 1}_on": regrowth[:, check] for check in range(4)},
        "bud_break_on": regrowth[:, 4],
        "replant_from": removal.replant_from,
        "rank_low": removal.rank_low,
        "rank_high": removal.rank_high,
        "rank_holds": flags(removal.rank_holds),
        "reason": removal.reason,
        "cautions": [
            plant_cautions(bool(synthetic), owned, kind == SetUp.TRAFFIC, settings)
            for synthetic, owned, kind in zip(inputs.inventory.is_synthetic[plant], private, kinds, strict=True)
        ],
        **_constant_days(face_columns(result.lists_face, result.triage.system.key), count),
    }
    return make_layer("removal_list", inputs.crs, points(inputs, plant), columns)


def plant_cautions(is_synthetic: bool, is_private: bool, is_traffic: bool, settings: RemovalSettings) -> str:
    """Return the cautions that go with one plant, in few words."""
    parts = [f"Locate ticket first ({settings.locate_ticket_days} working days)."]
    if is_private:
        parts.append("Private ground: settle access and notice, confirm before digging.")
    if is_traffic:
        parts.append("Traffic control by the local manual.")
    if is_synthetic:
        parts.append("Position is synthetic: find out which plant of the bed it is.")
    return " ".join(parts)


def inspection_layer(result: PlannedSystem, inputs: ProjectInputs) -> Layer:
    """Return the inspection list as points, in its order."""
    listed, state = result.plan.inspection, result.state
    plant, count = listed.plant, len(listed)
    columns = {
        **plant_columns(inputs, plant),
        "rank": np.arange(1, count + 1),
        "status": state.status[plant],
        "last_inspected_on": state.last_inspected_on[plant],
        "relative_pressure": listed.pressure,
        "pressure_class": pressure_classes(listed.pressure, result.breaks),
        "is_touching": flags(listed.is_touching),
        "distance_m": numbers(listed.distance_m),
        "interval_days": listed.interval_days,
        "due_on": listed.due_on,
        "person_minutes": listed.person_minutes,
        "set_up_minutes": listed.set_up_minutes,
        "worth": listed.worth,
        "within_hours": flags(listed.within_hours),
        "walk_order": listed.walk,
        "is_random": flags(listed.is_random),
        "is_overdue": flags(listed.is_overdue),
        "rank_low": listed.rank_low,
        "rank_high": listed.rank_high,
        "rank_holds": flags(listed.rank_holds),
        "reason": listed.reason,
        **_constant_days(face_columns(result.lists_face, result.triage.system.key), count),
    }
    columns |= hidden_values(result.unseen, plant)
    return make_layer("inspection_list", inputs.crs, points(inputs, plant), columns, columns_of_hidden(result.unseen))


def plants_layer(result: SystemResult, inputs: ProjectInputs) -> Layer:
    """Return every plant of the inventory with its state and, where it is a candidate, its relative pressure."""
    state, count = result.state, len(inputs.inventory)
    everyone = np.arange(count)
    candidate = np.isfinite(result.hidden.relative_exposure)
    pressure = result.exposure.pressure
    columns = {
        **plant_columns(inputs, everyone),
        "status": state.status,
        "evidence": state.evidence,
        "status_on": state.status_on,
        "first_found_on": state.first_found_on,
        "last_inspected_on": state.last_inspected_on,
        "inspections": state.inspections,
        "removed_on": state.removed_on,
        "roots_complete": state.roots_complete,
        "has_regrowth": flags(state.has_regrowth),
        "is_standing": flags(state.is_standing),
        "is_host": flags(state.is_host),
        "relative_pressure": numbers(pressure, candidate),
        "pressure_class": np.where(candidate, pressure_classes(pressure, result.breaks), NOT_ASSESSED),
        "is_touching": np.where(candidate, flags(result.hidden.is_touching), "U"),
        **_constant_days(face_columns(result.lists_face, result.triage.system.key), count),
    }
    more = (*columns_of_hidden(result.unseen), *(PLANTS_AHEAD if result.ahead.plants is not None else ()))
    columns |= hidden_values(result.unseen, everyone) | ahead_columns(result.ahead)
    return make_layer("plants", inputs.crs, points(inputs, everyone), columns, more)


def ahead_columns(ahead: Ahead) -> dict[str, Any]:
    """Return the chances of every plant if nothing is done; no column in relative mode."""
    plants = ahead.plants
    if plants is None:
        return {}
    return {
        "infected_by_survey": numbers(plants.infected_by_survey),
        "infected_by_horizon": numbers(plants.infected_by_horizon),
        "showing_by_survey": numbers(plants.showing_by_survey),
        "showing_by_horizon": numbers(plants.showing_by_horizon),
        "ahead_first_on": plants.first_on,
    }


def zones_layer(result: SystemResult, inputs: ProjectInputs) -> Layer:
    """Return the rings of every focus and the lines of the rules of thumb as polygons; lines first, to lie below."""
    lines, rings = result.zones.lines, tuple(reversed(result.zones.rings))
    zones: list[Line | Ring] = [*lines, *rings]
    below, above = len(lines), len(rings)

    def of_rings(values: list[float]) -> FloatArray:
        return np.concatenate([np.full(below, float(NOT_ASSESSED)), numbers(np.array(values, dtype=np.float64))])

    columns = {
        "zone": [line.name for line in lines] + ["ring"] * above,
        "focus": of_rings([ring.focus for ring in rings]),
        "ring": ["line"] * below + [ring.name for ring in rings],
        "share": of_rings([ring.share for ring in rings]),
        "area_m2": [*(line.polygon.area for line in lines), *(ring.area_m2 for ring in rings)],
        "area_low_m2": of_rings([ring.area_low_m2 for ring in rings]),
        "area_high_m2": of_rings([ring.area_high_m2 for ring in rings]),
        "reach_far_m": of_rings([ring.reach_far_m for ring in rings]),
        "reach_near_m": of_rings([ring.reach_near_m for ring in rings]),
        "distance_m": [*(line.distance_m for line in lines), *[float(NOT_ASSESSED)] * above],
        "plants_inside": [zone.plants_inside for zone in zones],
        "confirmed_in_focus": of_rings([ring.confirmed_in_focus for ring in rings]),
        "host_share": of_rings([ring.host_share for ring in rings]),
        "infection_share": of_rings([ring.infection_share for ring in rings]),
        "inspect_every_days": of_rings([ring.inspect_every_days for ring in rings]),
        "sites": ["; ".join(zone.sites_inside) for zone in zones],
        "owners": ["; ".join(zone.owners_inside) for zone in zones],
        "parcels": [""] * below + ["; ".join(ring.parcels_inside) for ring in rings],
        "reservoirs": ["; ".join(line.reservoirs_inside) for line in lines] + [""] * above,
        "advice": [f"{line.advice} ({LINE_ADVICE})" for line in lines]
        + [
            f"inspect at least every {ring.inspect_every_days} days, nearer plants as the inspection list says; test "
            "suspects; core does not mean dig"
            for ring in rings
        ],
        "source": [line.source for line in lines] + [""] * above,
        "release": [""] * below + [result.zones.release] * above,
        "lift_from": np.array([None] * below + [result.zones.lift_from] * above, dtype="datetime64[D]"),
        "recommended": RECOMMENDED,
        **_constant_days(face_columns(result.pressure_face, result.triage.system.key), below + above),
    }
    polygons = [line.polygon for line in lines] + [ring.polygon for ring in rings]
    return make_layer("zones", inputs.crs, _shapes(polygons), columns)


def zone_ranges_layer(result: SystemResult, inputs: ProjectInputs) -> Layer:
    """Return the smallest and the largest area of every ring over the scale run; the largest first, to lie below."""
    rings = tuple(reversed(result.zones.rings))
    polygons = [ring.high for ring in rings] + [ring.low for ring in rings]
    columns = {
        "focus": [ring.focus for ring in rings] * 2,
        "ring": [ring.name for ring in rings] * 2,
        "share": [ring.share for ring in rings] * 2,
        "bound": ["high"] * len(rings) + ["low"] * len(rings),
        "area_m2": [polygon.area for polygon in polygons],
        **_constant_days(face_columns(result.pressure_face, result.triage.system.key), len(polygons)),
    }
    return make_layer("zone_ranges", inputs.crs, _shapes(polygons), columns)


def _shapes(polygons: Sequence[shapely.Geometry]) -> npt.NDArray[np.object_]:
    """Return areas as one kind of geometry."""
    geometry = np.empty(len(polygons), dtype=object)
    geometry[:] = [many_polygons(polygon) for polygon in polygons]
    return geometry


def many_polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of any shape as one geometry; points and lines are left out."""
    parts = shapely.get_parts(shapely.make_valid(shape)).tolist()
    flat = [one for part in parts for one in shapely.get_parts(part).tolist() if one.geom_type == "Polygon"]
    return shapely.MultiPolygon([polygon for polygon in flat if not polygon.is_empty])


def system_layers(result: SystemResult, inputs: ProjectInputs, settings: Settings) -> tuple[Layer, ...]:
    """Return the layers of one pest system, in the order in which they are delivered."""
    return (
        removal_layer(result, inputs, settings.removal),
        inspection_layer(result, inputs),
        zones_layer(result, inputs),
        zone_ranges_layer(result, inputs),
        plants_layer(result, inputs),
    )
