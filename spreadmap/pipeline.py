"""The job's steps, in the job's order: `analyse` without files, `run_project` with files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.decisions.calendar import season_calendar, season_of_system
from spreadmap.decisions.disposal import dispose
from spreadmap.decisions.next_survey import shared_hours, survey_headlines, with_survey
from spreadmap.engine import Engine
from spreadmap.errors import OutputError
from spreadmap.io.demo import copy_demo
from spreadmap.io.doctor import doctor_lines as doctor
from spreadmap.io.explain_systems import explain_systems as systems
from spreadmap.io.history import (
    adopt_folders,
    delivered_folders,
    forecasts_on_record,
    last_delivery,
    open_history,
    record_failure,
    record_run,
)
from spreadmap.io.history_store import mark_of
from spreadmap.io.lock import ProjectLock
from spreadmap.io.new_project import write_new_project
from spreadmap.io.read_project import check_project, read_project
from spreadmap.io.run_folder import RunFolder
from spreadmap.io.run_log import RunLog, write_fault_report
from spreadmap.io.streamed import RasterStore
from spreadmap.io.summary import plain, summary_values
from spreadmap.io.survey_plan import survey_plan_folder, write_survey_plan
from spreadmap.io.versions import software_version
from spreadmap.io.write_delivery import write_delivery
from spreadmap.outbreak.score_survey import with_scores
from spreadmap.pipeline_fit import usable_fits
from spreadmap.pipeline_pages import render_pages
from spreadmap.pipeline_system import analyse_system, footing_of, plan_system
from spreadmap.records.flight_season import flight_season
from spreadmap.records.identify import identify
from spreadmap.records.state import is_inspected_for, plant_state, uninspected_state, worst_status
from spreadmap.records.triage import triage
from spreadmap.review.field_sheet import field_sheet_pdf, field_sheet_xlsx
from spreadmap.review.headlines import headlines
from spreadmap.review.pictures import field_sheets
from spreadmap.values.calendar import SystemSeason
from spreadmap.values.fit import HistoryFit
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Disposal
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import PlannedSurvey, PlannedSystem, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import PlantState

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


def analyse(
    project: ProjectInputs,
    settings: Settings,
    engine: Engine,
    store: RasterStore | None = None,
    fits: Mapping[str, HistoryFit] | None = None,
) -> SurveyResult:
    """Return the answer to one survey, from inputs that are already read. Opens no file but the store's.

    Parameters
    ----------
    project : ProjectInputs
    settings : Settings
    engine : Engine
    store : RasterStore, optional
        Takes rasters of more than `settings.grid.stream_above_cells` cells tile by tile; without it all are in memory.
    fits : mapping of str to HistoryFit, optional
        By the key of a pest system the fit that may be used on the project's date; its results are calibrated, those of
        all other systems relative.

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
            fit = None if fits is None else fits.get(system.key)
            result, more = analyse_system(project, state, verdict, settings, engine, store, fit)
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


def plan_next_survey(
    project: ProjectInputs, settings: Settings, engine: Engine, fits: Mapping[str, HistoryFit] | None = None
) -> PlannedSurvey:
    """Return the lists of the next survey as `analyse` makes them, without maps, zones and what comes."""
    as_of, settings = np.datetime64(project.as_of), shared_hours(settings)
    planned: list[PlannedSystem] = []
    remarks: list[str] = []
    for plain_system in project.pest_systems:
        if not plain_system.is_mapped:
            continue
        system, says = flight_season(plain_system, project.temperature, project.latitude_deg, settings)
        state, more = plant_state(project.inventory, project.surveys, project.work_log, system, as_of)
        verdict = triage(state, system, project.as_of)
        fit = None if fits is None else fits.get(system.key)
        base = footing_of(project, state, verdict, settings, engine, fit)
        one, unseen, _ = plan_system(project, state, verdict, base, settings, engine)
        planned.append(one)
        remarks += [*says, *more, *base.says, *unseen.hidden.remarks]
    return PlannedSurvey(inputs=project, settings=settings, systems=tuple(planned), remarks=tuple(remarks))


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
    mark = mark_of(folder)
    inputs, settings = read_project(folder, as_of)
    with ProjectLock(folder, started) as lock:
        if lock.took_over:
            log.say(f"a run that died had left the project locked: {lock.took_over}")
        if mark_of(folder) != mark:
            log.say("the history was written on while the files were read: they are read again")
            inputs, settings = read_project(folder, as_of)
        try:
            return _deliver(folder, inputs, settings, engine or Engine(), log, started, clock)
        except OutputError:
            record_failure(folder, inputs.as_of, started, clock(), software_version())
            raise


def _deliver(
    folder: Path,
    inputs: ProjectInputs,
    settings: Settings,
    engine: Engine,
    log: RunLog,
    started: dt.datetime,
    clock: Callable[[], dt.datetime],
) -> Delivery:
    """Analyse a project that is locked, deliver, and enter the run into the history."""
    log.say(f"read {len(inputs.files)} files, {len(inputs.inventory)} plants, {len(inputs.surveys)} inspections")
    for fault in inputs.faults:
        log.say(f"[{fault.weight}] {fault.sentence()}")
    store = RasterStore(project=folder, crs=inputs.crs, mantissa_bits=settings.grid.mantissa_bits, hear=log.say)
    fits, says = usable_fits(folder, inputs, settings)
    result = analyse(inputs, settings, engine, store, fits)
    result = replace(result, remarks=(*result.remarks, *says))
    for remark in result.remarks:
        log.say(remark)
    with open_history(folder) as history:
        for name in adopt_folders(history, folder):
            log.say(f"{name} is complete and was not in the history yet: entered")
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
                history=history,
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
            surveys=inputs.survey_parts,
            decisions=inputs.decisions,
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
    fits, says = usable_fits(folder, inputs, settings)
    result = plan_next_survey(inputs, settings, engine or Engine(), fits)
    result = replace(result, remarks=(*result.remarks, *says))
    where = survey_plan_folder(folder, result) if to is None else to.resolve()
    summary = write_survey_plan(where, result, field_sheets(result), may_replace=to is None)
    return Delivery(folder=where, summary=plain(summary), headlines=survey_headlines(result))


def new_project(folder: Path) -> tuple[Path, ...]:
    """Make a project folder with a commented project file, empty tables and an empty field sheet."""
    return write_new_project(folder, {"field_sheet.pdf": field_sheet_pdf(), "field_sheet.xlsx": field_sheet_xlsx()})


def run_demo(folder: Path, *, progress: Callable[[str], None] | None = None) -> Delivery:
    """Copy the demo project to a folder and run it."""
    return run_project(copy_demo(folder), progress=progress)
