"""Review pages of the small made survey, plain and with hostile text in every field that a user fills."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from made_results import HOSTILE_TEXTS, made_result

from spreadmap.io.web_geometry import place_shapes, zone_shapes
from spreadmap.io.write_raster import warp_to_web
from spreadmap.review.page import render_review
from spreadmap.values.pest_system import LookAlike
from spreadmap.values.results import SurveyResult
from spreadmap.values.web import WebRaster, WebShapes

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


def made_rasters(result: SurveyResult) -> dict[str, WebRaster]:
    rasters = {}
    for system in result.systems:
        key, crs = system.triage.system.key, result.inputs.crs
        rasters[key] = warp_to_web(system.surface, crs, system.breaks)
        rasters[f"{key}/without_reservoirs"] = warp_to_web(system.surface_without_reservoirs, crs, system.breaks)
    return rasters


def made_shapes(result: SurveyResult) -> dict[str, WebShapes]:
    zones = {system.triage.system.key: zone_shapes(system, result.inputs.crs) for system in result.systems}
    return {"places": place_shapes(result.inputs), **zones}


def made_page(result: SurveyResult, *, public: bool = False) -> bytes:
    return render_review(result, made_rasters(result), made_shapes(result), public=public)


def filled(count: int, shift: int) -> np.ndarray:
    """Attacks one after the other; no two columns start with the same one."""
    return np.array([ATTACKS[(index + shift) % len(ATTACKS)] for index in range(count)], dtype=object)


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
