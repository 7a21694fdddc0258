"""One pest system whose plants come out with their roots: from what is known of the plants to maps, lists and zones."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from spreadmap.decisions.costs import work_costs
from spreadmap.decisions.next_survey import plan_inspections, survey_answer
from spreadmap.decisions.plan import plan_work
from spreadmap.decisions.regrowth import hole_checks
from spreadmap.decisions.removal import rank_removals
from spreadmap.decisions.removal_words import Knowledge
from spreadmap.decisions.zones import draw_zones
from spreadmap.dispersal.climate import flight_climate
from spreadmap.dispersal.spread import Spread, breaks, spread_from_settings, unit_density
from spreadmap.dispersal.toward import reach_sentences
from spreadmap.engine import Engine
from spreadmap.io.streamed import RasterStore
from spreadmap.io.write_raster import RISK, RISK_ALONE, RISK_CLASS
from spreadmap.outbreak.actions import NOTHING_DONE
from spreadmap.outbreak.ahead import spread_ahead
from spreadmap.outbreak.chance_surface import ChanceSink, chance_of, period_sources
from spreadmap.outbreak.exposure import plant_exposure
from spreadmap.outbreak.fit_use import mean_law, mean_rates
from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.outbreak.hidden_order import Unseen, hidden_or_order, looking_weight
from spreadmap.outbreak.scene import Scene
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure.tiles import pressure_tiles, tile_job
from spreadmap.records.extent import grid_around
from spreadmap.records.rounds import survey_before
from spreadmap.records.sources import join_sources, plant_sources, reservoir_sources, screen_segments
from spreadmap.values.ahead import Ahead
from spreadmap.values.arrays import FloatArray
from spreadmap.values.content import content_key
from spreadmap.values.fit import HistoryFit
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.inventory import ScreenSegments, Sources
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import CHANCE, PRESSURE, Face, PlannedSystem, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.wind import WindClimate
from spreadmap.values.words import Mode

REACH_SHARE = 0.95
"""Share of landings whose distance is told toward bearings [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Footing:
    """What one system's run rests on: wind, the law of arrivals, what sends, and the cells of its maps.

    `spread` is the law of maps and lists: the fit's own at its mean where there is a fit, else that of the settings,
    which `scene` has in any case.
    """

    scene: Scene
    climate: WindClimate
    spread: Spread
    plants: Sources
    grid: Grid
    fit: HistoryFit | None
    says: tuple[str, ...]


def footing_of(
    project: ProjectInputs,
    state: PlantState,
    verdict: Triage,
    settings: Settings,
    engine: Engine,
    fit: HistoryFit | None,
) -> Footing:
    """Return what one system's run rests on."""
    inventory, system = project.inventory, verdict.system
    climate = flight_climate(
        project.wind_hours, project.wind_raster, system.flight_weight, project.longitude_deg, project.latitude_deg,
        settings.wind,
    )  # fmt: skip
    law = spread_from_settings(settings, climate)
    screens, screen_says = screen_segments(project.screens, inventory, state, settings, np.datetime64(project.as_of))
    grid, grid_says = grid_around(inventory, settings.grid)
    scene = Scene(
        inventory=inventory, state=state, surveys=project.surveys, work_log=project.work_log,
        wild=reservoir_sources(project.reservoirs, spacing_m=grid.cell_m), spread=law, screens=screens, system=system,
        settings=settings, engine=engine,
    )  # fmt: skip
    return Footing(
        scene=scene, climate=climate, spread=law if fit is None else mean_law(fit, law),
        plants=plant_sources(inventory, state, settings.sources), grid=grid, fit=fit,
        says=(*screen_says, *grid_says, *climate.remarks),
    )  # fmt: skip


def plan_system(
    project: ProjectInputs, state: PlantState, verdict: Triage, base: Footing, settings: Settings, engine: Engine
) -> tuple[PlannedSystem, Unseen, Knowledge]:
    """Return the lists of one pest system, what is hidden, and what decisions know beside the state."""
    inventory, scene, spread, plants = project.inventory, base.scene, base.spread, base.plants
    wild, screens = scene.wild, scene.screens
    exposure = plant_exposure(inventory, state, plants, wild, spread, screens, settings, engine)
    near = hidden_infection(inventory, state, exposure, settings)
    unseen = hidden_or_order(scene, base.fit)
    known = knowledge_of(project, base, unseen)
    removal = rank_removals(
        inventory, project.sites, state, spread, screens, verdict.system, settings, project.as_of, project.holidays,
        engine, known,
    )  # fmt: skip
    inspection, sample = plan_inspections(
        project, state, exposure, near, spread, screens, settings, engine, weight=looking_weight(unseen.hidden),
        healthy=None if known.hidden is None else known.hidden.healthy, known=known, removal=removal,
    )  # fmt: skip
    plan = plan_work(removal, inspection, settings, hole_checks(inventory, state, settings, project.as_of))
    planned = PlannedSystem(
        triage=verdict, state=state, exposure=exposure, hidden=near, breaks=breaks(spread.kernel), plan=plan,
        face=face_of(project, Mode.RELATIVE if base.fit is None else Mode.CALIBRATED), unseen=unseen.hidden,
        survey=survey_answer(project, state, sample, removal, inspection, settings),
        costs=work_costs(plan, inventory, project.sites, state, settings),
    )  # fmt: skip
    return planned, unseen, known


def analyse_system(
    project: ProjectInputs,
    state: PlantState,
    verdict: Triage,
    settings: Settings,
    engine: Engine,
    store: RasterStore | None = None,
    fit: HistoryFit | None = None,
) -> tuple[SystemResult, tuple[str, ...]]:
    """Return maps, lists and zones of one pest system, and sentences about what was assumed.

    With a fit that may be used on the project's date the result is calibrated, without one relative.
    """
    base = footing_of(project, state, verdict, settings, engine, fit)
    inventory, scene, spread, plants = project.inventory, base.scene, base.spread, base.plants
    planned, unseen, known = plan_system(project, state, verdict, base, settings, engine)
    ahead = spread_ahead(
        inventory, state, planned.plan, scene.wild, spread, scene.screens, verdict.system,
        np.datetime64(project.next_survey_on), np.datetime64(project.horizon_on), settings, engine,
        assumed=unseen.assumed, begin=unseen.begin,
    )  # fmt: skip
    shown = sending(project, base, unseen, ahead)
    both, own, is_streamed = surfaces(base, shown, engine, store, planned.face)
    zones = draw_zones(
        inventory, project.sites, project.reservoirs, state, plants, spread, settings, engine,
        healthy=None if known.hidden is None else known.hidden.healthy, laws=tuple(law for law, _ in unseen.laws),
    )  # fmt: skip
    first_on = None if planned.survey is None else planned.survey.first_on
    return SystemResult(
        **{each.name: getattr(planned, each.name) for each in fields(planned)},
        climate=base.climate, sources=join_sources(plants, scene.wild), surface=both, surface_without_reservoirs=own,
        unit_per_m2=unit_density(spread.kernel), reach_says=reach_sentences(spread, REACH_SHARE), ahead=ahead,
        courses=ahead.courses, zones=zones, raster_grid=base.grid if is_streamed else None,
        before=survey_before(inventory, project.surveys, project.work_log, verdict.system, first_on),
        chance_breaks=() if base.fit is None else settings.grid.chance_breaks,
    ), (*base.says, *unseen.hidden.remarks)  # fmt: skip


def knowledge_of(project: ProjectInputs, base: Footing, unseen: Unseen) -> Knowledge:
    """Return what decisions know beside the state: rates, chances and laws from a fit only."""
    return Knowledge(
        wild=base.scene.wild,
        rates=None if base.fit is None else mean_rates(base.fit),
        hidden=unseen.chances,
        laws=unseen.laws,
        decisions=project.decisions,
        horizon_on=project.horizon_on,
        next_survey_on=project.next_survey_on,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sending:
    """What the maps show: what sends, the density of arrivals that counts as one, and what the sum amounts to.

    In relative mode the sum is the pressure itself. In calibrated mode it counts expected infections from known sources,
    `outside` more come from nowhere known, and the map shows the chance of at least one; None in relative mode [-].
    """

    plants: Sources
    wild: Sources
    one_per_m2: float
    breaks: tuple[float, ...]
    outside: float | None = None

    def shown(self, values: FloatArray) -> FloatArray:
        """Return what the map shows for a sum, any shape."""
        return values if self.outside is None else chance_of(values + self.outside)


def sending(project: ProjectInputs, base: Footing, unseen: Unseen, ahead: Ahead) -> Sending:
    """Return what the maps show: pressure of what is known to send, or with a fit chances until the next survey."""
    scene = base.scene
    if base.fit is None or unseen.chances is None:
        return Sending(
            plants=base.plants, wild=scene.wild, one_per_m2=unit_density(base.spread.kernel),
            breaks=breaks(base.spread.kernel),
        )  # fmt: skip
    undone = ahead.courses[0] if ahead.courses else None
    sent = period_sources(scene, unseen.chances, undone, mean_rates(base.fit), np.datetime64(project.next_survey_on))
    return Sending(
        plants=sent.plants, wild=sent.wild, one_per_m2=sent.one_per_m2, outside=sent.outside,
        breaks=scene.settings.grid.chance_breaks,
    )  # fmt: skip


def surfaces(
    base: Footing, shown: Sending, engine: Engine, store: RasterStore | None, face: Face
) -> tuple[Surface, Surface, bool]:
    """Return the map of all sources and of the plants alone, and whether they were written tile by tile."""
    scene, grid = base.scene, base.grid
    law = (base.spread, scene.screens, scene.settings, engine)
    if store is not None and grid.n_rows * grid.n_cols > scene.settings.grid.stream_above_cells:
        both, own = streamed_surfaces(grid, shown, *law, store, (face, scene.system.key))
        return both, own, True
    own_sum, wild_sum = (sum_on_grid(grid, each, shown.one_per_m2, *law) for each in (shown.plants, shown.wild))
    both, own = (Surface(grid=grid, values=shown.shown(values)) for values in (own_sum + wild_sum, own_sum))
    return both, own, False


def sum_on_grid(
    grid: Grid, sources: Sources, one_per_m2: float, spread: Spread, screens: ScreenSegments, settings: Settings,
    engine: Engine,
) -> FloatArray:  # fmt: skip
    """Return what arrives on an ordinary medium plant in every cell, (n_rows, n_cols), in what counts as one [-]."""
    values = pressure_on_grid(grid, sources, spread, engine, screens=screens, settings=settings.pressure).values
    return values / one_per_m2


def streamed_surfaces(
    grid: Grid,
    shown: Sending,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
    store: RasterStore,
    told: tuple[Face, str],
) -> tuple[Surface, Surface]:
    """Write the rasters of one system tile by tile; return all sources' map and the plants' in wider cells.

    `told` is what the rasters say of themselves, and the pest system's key. Tiles that a killed run finished stay.
    """
    face, system_key = told
    both, alone = (RISK, RISK_CLASS), (RISK_ALONE,)
    plants, wild = shown.plants, shown.wild
    work = [(join_sources(plants, wild), both), (plants, alone)] if len(wild) else [(plants, both + alone)]
    seen: dict[str, Surface] = {}
    asked: dict[str, Any] = {"screens": screens, "settings": settings.pressure, "unit_per_m2": shown.one_per_m2}
    for sources, names in work:
        key = tile_job(grid, sources, spread, **asked).key
        if shown.outside is not None:
            key = content_key(key, shown.outside)
        sinks = store.sinks(names, grid, face, system_key, shown.breaks, key)
        if sinks.waiting:
            taking = sinks if shown.outside is None else ChanceSink(sink=sinks, outside=shown.outside)
            pressure_tiles(grid, sources, spread, engine, taking, progress=store.progress(names[0]), **asked)
        seen |= store.keep(system_key, sinks)
    return seen[RISK], seen[RISK_ALONE]


def face_of(project: ProjectInputs, mode: Mode) -> Face:
    """Return what the maps of this run say of themselves."""
    quantity, unit = PRESSURE if mode is Mode.RELATIVE else CHANCE
    return Face(
        quantity=quantity,
        unit=unit,
        period_from=project.as_of,
        period_to=project.next_survey_on,
        condition=NOTHING_DONE,
        mode=mode,
        as_of=project.as_of,
        valid_until=project.next_survey_on,
    )
