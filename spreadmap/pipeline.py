"""The job's steps, in the job's order: `analyse` without files, `run_project` with files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.decisions.calendar import season_calendar, season_of_system
from spreadmap.decisions.costs import work_costs
from spreadmap.decisions.disposal import dispose
from spreadmap.decisions.next_survey import (
    plan_inspections,
    shared_hours,
    survey_answer,
    survey_headlines,
    with_survey,
)
from spreadmap.decisions.plan import plan_work
from spreadmap.decisions.regrowth import hole_checks
from spreadmap.decisions.removal import rank_removals
from spreadmap.decisions.removal_words import Knowledge
from spreadmap.decisions.zones import draw_zones
from spreadmap.dispersal.climate import flight_climate
from spreadmap.dispersal.spread import Spread, breaks, spread_from_settings, unit_density
from spreadmap.dispersal.toward import reach_sentences
from spreadmap.engine import Engine
from spreadmap.io.demo import copy_demo
from spreadmap.io.doctor import doctor_lines as doctor
from spreadmap.io.explain_systems import explain_systems as systems
from spreadmap.io.history import (
    adopt_folders,
    delivered_folders,
    forecasts_on_record,
    last_delivery,
    open_history,
    record_run,
)
from spreadmap.io.lock import ProjectLock
from spreadmap.io.new_project import write_new_project
from spreadmap.io.public import block_surface
from spreadmap.io.read_project import check_project, read_project
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.run_log import RunLog, write_fault_report
from spreadmap.io.streamed import RasterStore
from spreadmap.io.summary import plain, summary_values
from spreadmap.io.survey_plan import survey_plan_folder, write_survey_plan
from spreadmap.io.versions import software_version
from spreadmap.io.web_geometry import place_shapes, zone_shapes
from spreadmap.io.write_delivery import write_delivery
from spreadmap.io.write_raster import RISK, RISK_ALONE, RISK_CLASS, warp_to_web
from spreadmap.outbreak.actions import NOTHING_DONE
from spreadmap.outbreak.ahead import spread_ahead
from spreadmap.outbreak.exposure import plant_exposure
from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.outbreak.hidden_order import hidden_or_order, looking_weight
from spreadmap.outbreak.score_survey import with_scores
from spreadmap.pressure import pressure_on_grid
from spreadmap.pressure.tiles import pressure_tiles, tile_job
from spreadmap.records.extent import grid_around
from spreadmap.records.flight_season import flight_season
from spreadmap.records.identify import identify
from spreadmap.records.rounds import survey_before
from spreadmap.records.sources import join_sources, plant_sources, reservoir_sources, screen_segments
from spreadmap.records.state import is_inspected_for, plant_state, uninspected_state, worst_status
from spreadmap.records.triage import triage
from spreadmap.review.field_sheet import field_sheet_pdf, field_sheet_xlsx
from spreadmap.review.headlines import headlines
from spreadmap.review.page import render_review
from spreadmap.review.pictures import field_sheets, season_pictures, wind_roses
from spreadmap.review.score import score_pictures
from spreadmap.values.calendar import SystemSeason
from spreadmap.values.grid import Grid, Surface
from spreadmap.values.hidden import Hidden
from spreadmap.values.inventory import ScreenSegments, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Disposal
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Face, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState
from spreadmap.values.words import Mode

__all__ = [
    "Delivery",
    "analyse",
    "check_project",
    "doctor",
    "new_project",
    "plan_survey",
    "read_project",
    "run_demo",
    "run_project",
    "systems",
    "write_fault_report",
]

REACH_SHARE = 0.95
"""Share of landings whose distance is told toward bearings [-]."""


def analyse(
    project: ProjectInputs, settings: Settings, engine: Engine, store: RasterStore | None = None
) -> SurveyResult:
    """Return the answer to one survey, from inputs that are already read. Opens no file but the store's.

    Parameters
    ----------
    project : ProjectInputs
    settings : Settings
    engine : Engine
    store : RasterStore, optional
        Takes rasters of more than `settings.grid.stream_above_cells` cells tile by tile; without it all are in memory.

    Returns
    -------
    SurveyResult
        Triage of every pest system; maps, lists and zones for those whose verdict is removal with roots.
    """
    as_of, settings = np.datetime64(project.as_of), shared_hours(settings)
    flights = [
        flight_season(system, project.temperature, project.latitude_deg, settings) for system in project.pest_systems
    ]
    project = replace(project, pest_systems=tuple(system for system, _ in flights))
    findings: list[Triage] = []
    mapped: list[SystemResult] = []
    states: list[PlantState] = []
    remarks = [text for _, says in flights for text in says]
    disposals: list[Disposal] = []
    seasons: list[SystemSeason] = []
    for system, state, says in states_of(project, as_of):
        verdict = replace(
            triage(state, system, project.as_of),
            identifications=identify(project.inventory, project.surveys, state, system, project.pest_systems),
        )
        season = season_of_system(project, verdict, state, settings.calendar)
        seasons.append(season)
        verdict = replace(verdict, season_says=season.says)
        findings.append(verdict)
        states.append(state)
        remarks += says
        if system.is_mapped:
            result, more = analyse_system(project, state, verdict, settings, engine, store)
            mapped.append(result)
            remarks += more
        else:
            disposals.append(dispose(project.inventory, state, system, project.as_of))
    return SurveyResult(
        inputs=project,
        settings=settings,
        triage=tuple(findings),
        systems=tuple(mapped),
        remarks=tuple(remarks),
        status_words=worst_status(states, len(project.inventory)),
        disposals=tuple(disposals),
        season=season_calendar(project, seasons),
    )


def states_of(project: ProjectInputs, as_of: np.datetime64) -> Iterator[tuple[PestSystem, PlantState, tuple[str, ...]]]:
    """Yield every pest system with the state of the plants and sentences about contradictions.

    The records are told again for each system that is mapped or was looked for; for all others once.
    """
    blank: PlantState | None = None
    for system in project.pest_systems:
        if system.is_mapped or is_inspected_for(project.surveys, system, as_of):
            yield system, *plant_state(project.inventory, project.surveys, project.work_log, system, as_of)
            continue
        if blank is None:
            blank, _ = plant_state(project.inventory, project.surveys, project.work_log, system, as_of)
        yield system, uninspected_state(blank, project.inventory, system), ()


def analyse_system(
    project: ProjectInputs,
    state: PlantState,
    verdict: Triage,
    settings: Settings,
    engine: Engine,
    store: RasterStore | None = None,
) -> tuple[SystemResult, tuple[str, ...]]:
    """Return maps, lists and zones of one pest system, and sentences about what was assumed."""
    inventory, system = project.inventory, verdict.system
    as_of = np.datetime64(project.as_of)
    climate = flight_climate(
        project.wind_hours,
        project.wind_raster,
        system.flight_weight,
        project.longitude_deg,
        project.latitude_deg,
        settings.wind,
    )
    spread = spread_from_settings(settings, climate)
    screens, screen_says = screen_segments(project.screens, inventory, state, settings, as_of)
    grid, grid_says = grid_around(inventory, settings.grid)
    plants = plant_sources(inventory, state, settings.sources)
    wild = reservoir_sources(project.reservoirs, spacing_m=grid.cell_m)
    sources = join_sources(plants, wild)

    exposure = plant_exposure(inventory, state, plants, wild, spread, screens, settings, engine)
    hidden = hidden_infection(inventory, state, exposure, settings)
    records = (project.surveys, project.work_log)
    unseen, starts = hidden_or_order(None, inventory, state, *records, wild, spread, screens, system, settings, engine)
    if store is None or grid.n_rows * grid.n_cols <= settings.grid.stream_above_cells:
        store = None
        own = relative_surface(grid, plants, spread, screens, settings, engine)
        wild_ones = relative_surface(grid, wild, spread, screens, settings, engine)
        both = Surface(grid=grid, values=own.values + wild_ones.values)
    else:
        told = (face_of(project), system.key)
        both, own = streamed_surfaces(grid, plants, wild, spread, screens, settings, engine, store, told)

    removal = rank_removals(
        inventory,
        project.sites,
        state,
        spread,
        screens,
        system,
        settings,
        project.as_of,
        project.holidays,
        engine,
        Knowledge(
            wild=wild,
            decisions=project.decisions,
            horizon_on=project.horizon_on,
            next_survey_on=project.next_survey_on,
        ),
    )
    healthy = unseen.healthy if isinstance(unseen, Hidden) else None
    inspection, sample = plan_inspections(
        project,
        state,
        exposure,
        hidden,
        spread,
        screens,
        settings,
        engine,
        weight=looking_weight(unseen),
        healthy=healthy,
    )
    holes = hole_checks(inventory, state, settings, project.as_of)
    plan = plan_work(removal, inspection, settings, holes)
    ahead = spread_ahead(
        inventory,
        state,
        plan,
        wild,
        spread,
        screens,
        system,
        np.datetime64(project.next_survey_on),
        np.datetime64(project.horizon_on),
        settings,
        engine,
        assumed=starts,
    )
    land = (inventory, project.sites, project.reservoirs, state)
    zones = draw_zones(*land, plants, spread, settings, engine, healthy=healthy)
    survey = survey_answer(project, state, sample, removal, inspection, settings)
    return SystemResult(
        triage=verdict,
        state=state,
        climate=climate,
        sources=sources,
        exposure=exposure,
        hidden=hidden,
        unseen=unseen,
        surface=both,
        surface_without_reservoirs=own,
        breaks=breaks(spread.kernel),
        unit_per_m2=unit_density(spread.kernel),
        reach_says=reach_sentences(spread, REACH_SHARE),
        ahead=ahead,
        courses=ahead.courses,
        plan=plan,
        survey=survey,
        before=survey_before(inventory, project.surveys, project.work_log, system, survey.first_on),
        costs=work_costs(plan, inventory, project.sites, state, settings),
        zones=zones,
        face=face_of(project),
        raster_grid=None if store is None else grid,
    ), (*screen_says, *grid_says, *climate.remarks, *unseen.remarks)


def relative_surface(
    grid: Grid, sources: Sources, spread: Spread, screens: ScreenSegments, settings: Settings, engine: Engine
) -> Surface:
    """Return the relative infection pressure on an ordinary medium plant in every cell [units]."""
    values = pressure_on_grid(grid, sources, spread, engine, screens=screens, settings=settings.pressure).values
    return Surface(grid=grid, values=values / unit_density(spread.kernel))


def streamed_surfaces(
    grid: Grid,
    plants: Sources,
    wild: Sources,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
    store: RasterStore,
    told: tuple[Face, str],
) -> tuple[Surface, Surface]:
    """Write the rasters of one system tile by tile; return all sources' surface and the plants' in wider cells [units].

    `told` is what the rasters say of themselves, and the pest system's key. Tiles that a killed run finished stay.
    """
    face, system_key = told
    both, alone = (RISK, RISK_CLASS), (RISK_ALONE,)
    work = [(join_sources(plants, wild), both), (plants, alone)] if len(wild) else [(plants, both + alone)]
    seen: dict[str, Surface] = {}
    unit = unit_density(spread.kernel)
    for sources, names in work:
        asked: dict[str, Any] = {"screens": screens, "settings": settings.pressure, "unit_per_m2": unit}
        key = tile_job(grid, sources, spread, **asked).key
        sinks = store.sinks(names, grid, face, system_key, breaks(spread.kernel), key)
        if sinks.waiting:
            pressure_tiles(grid, sources, spread, engine, sinks, progress=store.progress(names[0]), **asked)
        seen |= store.keep(system_key, sinks)
    return seen[RISK], seen[RISK_ALONE]


def face_of(project: ProjectInputs) -> Face:
    """Return what every product of this run says of itself."""
    return Face(
        quantity="Relative infection pressure",
        unit="1 = one confirmed medium plant, still air, 10 m away",
        period_from=project.as_of,
        period_to=project.next_survey_on,
        condition=NOTHING_DONE,
        mode=Mode.RELATIVE,
        as_of=project.as_of,
        valid_until=project.next_survey_on,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """A finished run: its folder, the summary as it stands in `summary.json`, and a few lines for the terminal."""

    folder: Path
    summary: dict[str, Any]
    headlines: tuple[str, ...]


def utc_now() -> dt.datetime:
    """Return the wall clock, in UTC. Only the log and the history are told."""
    return dt.datetime.now(dt.UTC)


def run_project(
    folder: Path,
    *,
    as_of: dt.date | None = None,
    engine: Engine | None = None,
    progress: Callable[[str], None] | None = None,
    clock: Callable[[], dt.datetime] = utc_now,
) -> Delivery:
    """Read a project, analyse it, and deliver: a complete run folder, or none.

    Parameters
    ----------
    folder : Path
        The project's folder.
    as_of : date, optional
        Date of the state; default the project file's, else the last inspection's.
    engine : Engine, optional
    progress : callable, optional
        Called with every step in words.
    clock : callable, optional
        Tells the time to log and history; nothing else hears it.

    Returns
    -------
    Delivery

    Raises
    ------
    InputError, SettingsError
        If something that came in refuses the run; nothing is written then.
    LockedError
        If another run holds the project.
    OutputError
        If a product could not be written; earlier deliveries are untouched.
    """
    folder = folder.resolve()
    log = RunLog(clock, progress)
    started = clock()
    inputs, settings = read_project(folder, as_of)
    with ProjectLock(folder, started):
        log.say(f"read {len(inputs.files)} files, {len(inputs.inventory)} plants, {len(inputs.surveys)} inspections")
        for fault in inputs.faults:
            log.say(f"[{fault.weight}] {fault.sentence()}")
        store = RasterStore(project=folder, crs=inputs.crs, mantissa_bits=settings.grid.mantissa_bits, hear=log.say)
        result = analyse(inputs, settings, engine or Engine(), store)
        for remark in result.remarks:
            log.say(remark)
        with open_history(folder) as history:
            adopt_folders(history, folder)
            kept, unreadable = forecasts_on_record(history)
            for remark in unreadable:
                log.say(remark)
            result = with_scores(result, kept)
            before, previous = last_delivery(history)
            with RunFolder(folder, inputs.as_of, delivered_folders(history)) as run:
                write_delivery(
                    run.path,
                    result,
                    pages=render_pages(result),
                    previous=previous,
                    previous_folder=before,
                    rasters=store.files,
                    step=lambda name: log.say(f"write {name}"),
                )
                log.say("complete")
                log.write(run.path)
            record_run(
                history,
                folder,
                run.final,
                as_of=inputs.as_of,
                started=started,
                ended=clock(),
                result="done",
                version=software_version(),
                files=inputs.files,
            )
        store.clear()
    return Delivery(folder=run.final, summary=plain(summary_values(result, ())), headlines=headlines(result))


def plan_survey(
    folder: Path,
    *,
    on: dt.date,
    hours: float | None = None,
    to: Path | None = None,
    engine: Engine | None = None,
) -> Delivery:
    """Plan a survey of a project: field sheets and the list of a walk, complete or none; no run, nothing in the history.

    Parameters
    ----------
    folder : Path
        The project's folder.
    on : date
        Day of the survey.
    hours : float, optional
        Person-hours of the survey; default those of the settings. [h]
    to : Path, optional
        A new or empty folder; default `survey_plan/<date>` in the project, where an earlier plan gives way.

    Raises
    ------
    InputError, SettingsError
        If something that came in refuses the plan.
    OutputError
        If the plan could not be written; an earlier one stays.
    """
    folder = folder.resolve()
    inputs, settings = with_survey(*read_project(folder, None), on, hours)
    result = analyse(inputs, settings, engine or Engine())
    where = survey_plan_folder(folder, result) if to is None else to.resolve()
    summary = write_survey_plan(where, result, field_sheets(result), may_replace=to is None)
    return Delivery(folder=where, summary=plain(summary), headlines=survey_headlines(result))


def new_project(folder: Path) -> tuple[Path, ...]:
    """Make a project folder with a commented project file, empty tables and an empty field sheet."""
    return write_new_project(folder, {"field_sheet.pdf": field_sheet_pdf(), "field_sheet.xlsx": field_sheet_xlsx()})


def run_demo(folder: Path, *, progress: Callable[[str], None] | None = None) -> Delivery:
    """Copy the demo project to a folder and run it."""
    return run_project(copy_demo(folder), progress=progress)


def render_pages(result: SurveyResult) -> dict[str, bytes]:
    """Return the pages of a run by their path in its folder."""
    crs = result.inputs.crs
    rasters = {}
    shapes = {"places": place_shapes(result.inputs)}
    for system in result.systems:
        key = system.triage.system.key
        rasters[key] = warp_to_web(system.surface, crs, system.breaks)
        rasters[f"{key}/without_reservoirs"] = warp_to_web(system.surface_without_reservoirs, crs, system.breaks)
        shapes[key] = zone_shapes(system, crs)
    public = {
        system.triage.system.key: warp_to_web(block_surface(system.surface, result.inputs), crs, system.breaks)
        for system in result.systems
    }
    return {
        "review.html": render_review(result, rasters, shapes),
        "public/review.html": render_review(result, public, {}, public=True),
        **field_sheets(result),
        **wind_roses(result),
        **score_pictures(result),
        **season_pictures(result),
    }
