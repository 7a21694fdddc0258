"""Review pages of the small made survey, plain and with hostile text in every field that a user fills."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
from made_results import AS_OF, CONFIRMED, HOSTILE_TEXTS, made_result

from spreadmap.io.web_geometry import place_shapes, zone_shapes
from spreadmap.io.write_raster import palette_png, warp_to_web
from spreadmap.review.page import render_review
from spreadmap.values.pest_system import LookAlike
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import SurveyResult
from spreadmap.values.surveys import Decisions, WorkLog
from spreadmap.values.web import WebRaster, WebShape, WebShapes

ATTACKS = (
    *HOSTILE_TEXTS,
    '"><img src=x onerror="window.ran=1">',
    "</title></style></script><script>window.ran=1</script>",
    "{{ cycler.__init__.__globals__.os.getpid() }}",
    "<!--<script>",
    "'; window.ran=1; '",
    "&lt;b&gt; &amp; \u2028 \u2029",
)
"""What must be shown as it stands, wherever a user wrote it."""


CURVE_OF_NUMBERS = ("infections", "infections_low", "infections_high")
"""Columns of a curve that are empty in relative mode."""


def made_rasters(result: SurveyResult) -> dict[str, WebRaster]:
    rasters = {}
    for system in result.systems:
        key, crs = system.triage.system.key, result.inputs.crs
        limits = system.surface_breaks
        rasters[key] = warp_to_web(system.surface, crs, limits)
        rasters[f"{key}/without_reservoirs"] = warp_to_web(system.surface_without_reservoirs, crs, limits)
    return rasters


def wide_raster(result: SurveyResult, side: int) -> WebRaster:
    """The made surface's classes on a picture of so many pixels a side: smooth hills, as a map of a city has them."""
    first = next(iter(made_rasters(result).values()))
    row, col = np.mgrid[0:side, 0:side] / side
    hills = np.sin(19 * row) * np.cos(23 * col) + np.sin(7 * row + 11 * col) + 0.5 * np.cos(61 * row * col)
    count = len(first.classes)
    classes = 1 + np.digitize(hills, np.quantile(hills, np.linspace(0, 1, count + 1)[1:-1]))
    png = palette_png(classes.astype(np.uint8), tuple(each.colour for each in first.classes))
    return replace(first, png=png)


def many_sites(count: int, west: float, south: float) -> WebShapes:
    """Return small sites of twenty corners each, side by side."""
    turn = np.linspace(0, 2 * np.pi, 21)
    shapes = []
    for index in range(count):
        east, north = west + (index % 100) * 6e-5, south + (index // 100) * 4e-5
        ring = [[round(east + 2e-5 * np.cos(t), 6), round(north + 1.4e-5 * np.sin(t), 6)] for t in turn]
        geometry = {"type": "Polygon", "coordinates": [ring]}
        shapes.append(WebShape(kind="site", name=f"S{index}", geojson=geometry, properties={}))
    return WebShapes(shapes=tuple(shapes))


def large_page(plants: int, listed: int = 6, sites: int = 0, side: int = 0) -> bytes:
    """The page of a survey of many plants, with a long list, many sites and a wide surface where they are asked for."""
    result = many_plants(plants)
    result = with_long_list(result, listed) if listed > 6 else result
    shapes, rasters = made_shapes(result), made_rasters(result)
    if sites:
        shapes["many"] = many_sites(sites, result.inputs.longitude_deg, result.inputs.latitude_deg)
    if side:
        rasters[next(iter(rasters))] = wide_raster(result, side)
    return render_review(result, rasters, shapes)


def made_shapes(result: SurveyResult) -> dict[str, WebShapes]:
    zones = {system.triage.system.key: zone_shapes(system, result.inputs.crs) for system in result.systems}
    return {"places": place_shapes(result.inputs), **zones}


def made_page(result: SurveyResult, *, public: bool = False) -> bytes:
    return render_review(result, made_rasters(result), made_shapes(result), public=public)


def filled(count: int, shift: int) -> np.ndarray:
    """Attacks one after the other; no two columns start with the same one."""
    return np.array([ATTACKS[(index + shift) % len(ATTACKS)] for index in range(count)], dtype=object)


TABLES = ("inventory", "surveys", "work_log", "decisions", "sites", "reservoirs", "screens")
KEYS = ("plant_id", "bed_id", "site_id", "pest_system")
"""Text by which tables are joined: it is filled where it is at home."""
FIXED = ("status", "evidence", "method", "survey_kind", "size_class", "set_up", "decision", "roots_complete")
"""Columns whose words are ours: readers let nothing else through."""


def free_text(inputs: ProjectInputs) -> list[tuple[str, str]]:
    """Return table and column of every text that users write freely."""
    return [
        (name, item.name)
        for name in TABLES
        for item in fields(getattr(inputs, name))
        if isinstance(column := getattr(getattr(inputs, name), item.name), np.ndarray)
        and column.dtype == object
        and item.name not in FIXED
        and (item.name not in KEYS or (name, item.name) in (("inventory", "plant_id"), ("inventory", "bed_id")))
    ]


def with_text_everywhere(result: SurveyResult, text: Callable[[str, int], str]) -> SurveyResult:
    """A survey with a row in every table and `text` of its name and number in every free text of every input."""
    inputs, system = result.inputs, result.systems[0]
    listed = inputs.inventory.plant_id[list(CONFIRMED)]
    day, later = np.datetime64(AS_OF), np.datetime64("2026-12-01")
    inputs = replace(
        inputs,
        decisions=Decisions(
            plant_id=listed[:1], decided_on=np.array([day]), decision=np.array(["put_off"], dtype=object),
            until=np.array([later]), reason=np.array([""], dtype=object),
        ),
        work_log=WorkLog(
            plant_id=listed[:1], done_on=np.array([day]), done=np.array([True]), note=np.array([""], dtype=object),
            roots_complete=np.array(["yes"], dtype=object), regrowth_on=np.array(["NaT"], dtype="datetime64[D]"),
        ),
        contact=text("contact", 0),
    )  # fmt: skip
    for name, column in free_text(inputs):
        table = getattr(inputs, name)
        values = np.array([text(f"{name}.{column}", row) for row in range(len(getattr(table, column)))], dtype=object)
        inputs = replace(inputs, **{name: replace(table, **{column: values})})
    decided = replace(inputs.decisions, plant_id=inputs.inventory.plant_id[list(CONFIRMED)][:1])
    removal = system.plan.removal
    held = replace(
        removal,
        decision=np.array(["put_off", *[""] * (len(removal) - 1)], dtype=object),
        decision_reason=np.array([text("decision", 0), *[""] * (len(removal) - 1)], dtype=object),
    )
    system = replace(system, plan=replace(system.plan, removal=held))
    return replace(result, inputs=replace(inputs, decisions=decided), systems=(system,))


def hostile_result() -> SurveyResult:
    """The made survey with attacks in keys, beds, sites, owners, hosts, notes, reasons, names and remarks."""
    result = made_result(reason=ATTACKS[3])
    inputs, system = result.inputs, result.systems[0]
    count = len(inputs.inventory)
    keys = np.array([f"{text} {index}" for index, text in enumerate(filled(count, 0))], dtype=object)
    inventory = replace(
        inputs.inventory,
        plant_id=keys,
        bed_id=filled(count, 1),
        host=filled(count, 2),
        note=filled(count, 3),
        owner=filled(count, 4),
    )
    sites = replace(inputs.sites, name=filled(len(inputs.sites), 5), owner=filled(len(inputs.sites), 6))
    pest = replace(
        system.triage.system,
        common_name=f"rose {ATTACKS[4]} {ATTACKS[0]}",
        look_alikes=tuple(LookAlike(name=text, how=text) for text in ATTACKS),
        caution=ATTACKS[1],
    )
    triage = replace(system.triage, system=pest, says=ATTACKS[2], season_says=ATTACKS[5])
    rings = tuple(
        replace(ring, sites_inside=tuple(ATTACKS[:3]), owners_inside=tuple(ATTACKS[3:]))
        for ring in system.zones.rings
    )  # fmt: skip
    lines = tuple(replace(line, name=ATTACKS[4], advice=ATTACKS[0], source=ATTACKS[3]) for line in system.zones.lines)
    plan = replace(
        system.plan,
        removal=replace(system.plan.removal, reason=filled(len(system.plan.removal), 0)),
        inspection=replace(system.plan.inspection, reason=filled(len(system.plan.inspection), 0)),
        remarks=tuple(ATTACKS),
    )
    climate = replace(system.climate, basis=ATTACKS[4])
    system = replace(
        system, triage=triage, plan=plan, climate=climate, zones=replace(system.zones, rings=rings, lines=lines)
    )
    return replace(
        result,
        inputs=replace(
            inputs, name=f"Town {ATTACKS[11]}", contact=ATTACKS[4], inventory=inventory, sites=sites,
            reservoirs=replace(inputs.reservoirs, reservoir_id=filled(1, 7), note=filled(1, 4)),
            screens=replace(inputs.screens, screen_id=filled(1, 4)),
        ),
        systems=(system,),
        triage=(triage, result.triage[1]),
        remarks=tuple(ATTACKS),
    )  # fmt: skip


def many_plants(count: int) -> SurveyResult:
    """The made survey with its clean plants repeated until there are `count`, a few metres apart."""
    result = made_result()
    take = np.concatenate([np.arange(30), np.full(count - 30, 2)])
    spot = np.arange(count - 30)
    inventory, system = result.inputs.inventory, result.systems[0]
    columns = {name: getattr(inventory, name)[take] for name in inventory.__dataclass_fields__}
    columns["plant_id"] = np.array([f"P{index}" for index in range(count)], dtype=object)
    columns["longitude"][30:] += (spot % 150) * 2e-5
    columns["latitude"][30:] += (spot // 150) * 1.5e-5
    state, exposure, hidden = system.state, system.exposure, system.hidden
    state_columns = {
        name: getattr(state, name)[take] for name in state.__dataclass_fields__ if name not in {"system_key", "as_of"}
    }
    bigger = replace(
        system,
        state=replace(state, **state_columns),
        exposure=replace(
            exposure,
            pressure=exposure.pressure[take],
            from_plants=exposure.from_plants[take],
            from_reservoirs=exposure.from_reservoirs[take],
            scale_rank=exposure.scale_rank[:, take],
        ),
        hidden=replace(
            hidden,
            relative_exposure=hidden.relative_exposure[take],
            is_touching=hidden.is_touching[take],
            distance_to_confirmed_m=hidden.distance_to_confirmed_m[take],
        ),
    )
    return replace(
        result,
        inputs=replace(result.inputs, inventory=replace(inventory, **columns)),
        systems=(bigger,),
        status_words=result.status_words[take],
    )


def with_long_list(result: SurveyResult, listed: int, within: int = 40) -> SurveyResult:
    """A survey of many plants with `listed` of its plants on the removal list, `within` of them this week."""
    system = result.systems[0]
    removal = system.plan.removal
    plant, spot = np.arange(30, 30 + listed), np.arange(listed)
    take = spot % len(removal)
    given = {name: getattr(removal, name) for name in removal.__dataclass_fields__}
    columns = {
        name: column[take]
        for name, column in given.items()
        if isinstance(column, np.ndarray) and len(column) == len(removal)
    }
    status, first = system.state.status.copy(), system.state.first_found_on.copy()
    status[plant] = "infected"
    first[plant] = system.state.first_found_on[removal.plant[0]]
    columns |= {
        "plant": plant,
        "onward": np.linspace(9.0, 0.1, listed),
        "cumulative_hours": np.cumsum(np.full(listed, 0.75)),
        "within_hours": spot < within,
        "week": 1 + spot // within,
        "rank_low": np.maximum(1, spot - 3),
        "rank_high": np.minimum(listed, spot + 4),
        "decision": np.full(listed, "", dtype=object),
        "decision_reason": np.full(listed, "", dtype=object),
        "reason": np.array([f"Reason of place {place + 1}." for place in spot], dtype=object),
    }
    curve = replace(
        removal.curve,
        hours=columns["cumulative_hours"],
        plants=spot + 1,
        share=np.linspace(1 / listed, 1, listed),
        low=np.linspace(0, 1, listed) ** 2,
        high=np.linspace(0, 1, listed) ** 0.5,
        **{name: np.full(listed, np.nan) for name in CURVE_OF_NUMBERS if hasattr(removal.curve, name)},
    )
    plan = replace(system.plan, removal=replace(removal, **columns, curve=curve))
    state = replace(system.state, status=status, first_found_on=first)
    return replace(result, systems=(replace(system, plan=plan, state=state),), status_words=status)
