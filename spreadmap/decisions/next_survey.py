"""The next survey: plants drawn at random, plants chosen by what a look is worth, and hours shared with removal."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np

from spreadmap.decisions.inspection import onward_if_infected, rank_inspections
from spreadmap.decisions.places import work_places
from spreadmap.decisions.removal_words import Knowledge
from spreadmap.decisions.survey_sizes import most_infected_given, random_order
from spreadmap.decisions.survey_statement import EXCLUDED_AT, Sizes, last_survey, many, sizes_of, survey_statements
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.outbreak.exposure import candidates
from spreadmap.values.arrays import FloatArray, to_date
from spreadmap.values.inventory import Inventory, ScreenSegments
from spreadmap.values.plan import InspectionList, RemovalList
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Exposure, HiddenFirstForm, PlannedSurvey
from spreadmap.values.settings import Settings
from spreadmap.values.survey_answer import HoursShare, RandomSample, SurveyAnswer
from spreadmap.values.surveys import PlantState

MOST_HOURS = 10_000.0
"""As for settings.inspection.hours_per_survey [h]."""
SHARES = tuple(step / 10 for step in range(11))
"""Shares of one pot of hours that are tried for looking [-]."""


def shared_hours(settings: Settings) -> Settings:
    """Return settings in which one pot of person-hours is shared, where `settings.survey.looking_share` asks for it.

    The pot is one survey's hours and one week's crew hours of all people together.
    """
    share = settings.survey.looking_share
    if share == 0:
        return settings
    pot = person_hours(settings)
    return replace(
        settings,
        inspection=replace(settings.inspection, hours_per_survey=share * pot),
        removal=replace(settings.removal, crew_hours_per_week=(1 - share) * pot / settings.removal.people_per_crew),
    )


def with_survey(
    project: ProjectInputs, settings: Settings, on: dt.date, hours: float | None
) -> tuple[ProjectInputs, Settings]:
    """Return inputs and settings with the day and the person-hours of a planned survey; without hours those of the settings.

    Raises
    ------
    SettingsError
        If the day lies before the date of the state, or the hours are not above zero; both at once.
    """
    stated = settings.inspection.hours_per_survey if hours is None else hours
    faults = []
    if on < project.as_of:
        faults.append(
            f"the day of the survey is {on}; allowed: {project.as_of}, the date of the state, or later. Give a later day, or "
            "bring the project's surveys and as_of up to date"
        )
    if not 0 < stated <= MOST_HOURS:
        faults.append(
            f"the hours of the survey are {stated:g}; allowed: above 0 to {MOST_HOURS:g} person-hours. Say how many hours "
            "all people together have"
        )
    if faults:
        msg = "; ".join(faults) + "."
        raise SettingsError(msg)
    if hours is not None:
        settings = replace(
            settings,
            inspection=replace(settings.inspection, hours_per_survey=float(hours)),
            survey=replace(settings.survey, looking_share=0.0),
        )
    return replace(project, next_survey_on=on, horizon_on=max(project.horizon_on, on)), settings


def person_hours(settings: Settings) -> float:
    """Return the person-hours of one survey and of one week's removal together [h]."""
    return (
        settings.inspection.hours_per_survey + settings.removal.crew_hours_per_week * settings.removal.people_per_crew
    )


def plan_inspections(
    project: ProjectInputs,
    state: PlantState,
    exposure: Exposure,
    hidden: HiddenFirstForm,
    spread: Spread,
    screens: ScreenSegments,
    settings: Settings,
    engine: Engine,
    *,
    weight: FloatArray | None = None,
    healthy: FloatArray | None = None,
    known: Knowledge | None = None,
    removal: RemovalList | None = None,
) -> tuple[InspectionList, RandomSample]:
    """Return where the next survey looks, and which of its plants chance chose.

    Parameters
    ----------
    project, state : what stands where, the day of the next survey, and what is known of n plants
    exposure, hidden, spread, screens, settings, engine
        As for `rank_inspections` and `onward_if_infected`.
    weight, healthy : arrays, shape (n,), optional
        How much speaks for each plant's being infected and showing it, in any unit; how surely it is still healthy [-].
    known : Knowledge, optional
        Fitted rates, by which contact counts, and chances, which are told; without them none is.
    removal : RemovalList, optional
        What it points at without listing it is tested first.
    """
    rates, chances = (None, None) if known is None else (known.rates, known.hidden)
    inventory = project.inventory
    sample = random_sample(inventory, state, settings, project.next_survey_on)
    onward = onward_if_infected(inventory, state, spread, screens, settings, engine, healthy, rates)
    ranked = rank_inspections(
        inventory,
        state,
        exposure,
        hidden,
        settings,
        project.as_of,
        project.next_survey_on,
        weight=weight,
        onward=onward,
        drawn=sample.plant,
        chance=None if chances is None else chances.infected,
        to_test=() if removal is None else removal.pointed_at,
    )
    return ranked, sample


def random_sample(inventory: Inventory, state: PlantState, settings: Settings, next_survey_on: dt.date) -> RandomSample:
    """Return the plants of the next survey that chance chooses, so that a clean result becomes a statement.

    Drawn from all standing hosts that are not confirmed, the same for the same keys, seed and day. So many as the design
    asks for, where their share of the hours reaches that far; else as many as the quick check asks for; else as many as
    that share reaches. Plants chosen by risk come on top and are not counted for the statement.

    Parameters
    ----------
    inventory, state : n plants and what is known of them
    settings : Settings
        Design, minutes and hours of the survey.
    next_survey_on : date
        Each survey draws anew.

    References
    ----------
    None: our choice.
    """
    design, look = settings.survey, settings.inspection
    among = np.flatnonzero(candidates(state))
    lot, sensitivity = len(among), settings.detection.visual_symptomatic
    order = random_order(inventory.plant_id[among].tolist(), (design.random_seed, next_survey_on.toordinal()))
    queue = among[order]
    # The first k of a random order are k plants drawn at random, and what the way to their beds takes is known for each k.
    place = work_places(inventory)[0][queue]
    cost = np.full(lot, look.minutes_per_plant)
    cost[np.unique(place, return_index=True)[1]] += design.minutes_per_place
    room = int(np.sum(np.cumsum(cost) <= design.random_share * look.hours_per_survey * 60.0 + 1e-9))
    sizes = sizes_of(lot, sensitivity, design) if lot else (None, None, None, None)
    size = next((each for each in (sizes[0], sizes[2]) if each is not None and each <= room), room)
    sample = np.sort(queue[:size])
    return RandomSample(
        plant=sample, lot=lot, wanted=sizes[0], sentence=_sample_words(lot, size, sizes, sensitivity, cost, settings)
    )


def _sample_words(
    lot: int,
    size: int,
    sizes: Sizes,
    sensitivity: float,
    cost: FloatArray,
    settings: Settings,
) -> str:
    """Return what a clean look at the plants drawn will allow to be said."""
    design = settings.survey
    if lot == 0:
        return "No standing host is left to draw from."
    strict = f"{100 * design.design_prevalence:g} % at {100 * design.design_confidence:g} % confidence"
    need = (
        "one look at every plant is not enough for it (not reachable)"
        if sizes[0] is None
        else f"it needs {many(sizes[0])}, {cost[: sizes[0]].sum() / 60:.1f} h with the way to their beds"
    )
    most_hours = design.random_share * settings.inspection.hours_per_survey
    if size == 0:
        return (
            f"No plant is drawn at random: {most_hours:.1f} h are set aside for it. A clean survey then states nothing. Raise "
            f"settings.survey.random_share or the hours of the survey; for {strict}, {need}."
        )
    most = most_infected_given(lot, size, 0, EXCLUDED_AT, sensitivity)
    allows = (
        f"{many(size)} of {lot} drawn at random, {cost[:size].sum() / 60:.1f} h with the way to their beds. Found clean, they "
        f"allow to say: with {100 * EXCLUDED_AT:g} % confidence at most {100 * most / lot:.2g} % of the plants show symptoms"
    )
    if size == sizes[0]:
        return f"{allows}; that holds the design, {strict}. Plants chosen by risk come on top and are not counted."
    return f"{allows}. Not the design of {strict}: {need}. Plants chosen by risk come on top and are not counted."


def hours_shares(removal: RemovalList, inspection: InspectionList, settings: Settings) -> tuple[HoursShare, ...]:
    """Return what every tenth of one pot of person-hours, given to looking, looks at and takes out.

    The pot is one survey's hours of looking and one week's of removal together. Plants come in the order of their lists;
    worth is that of the lists, in parts of all of it.
    """
    people, pot = settings.removal.people_per_crew, person_hours(settings)
    looking = np.cumsum(inspection.person_minutes + inspection.set_up_minutes) / 60.0
    removing = removal.cumulative_hours * people
    worth, avoided = float(inspection.worth.sum()), float(removal.avoided.sum())
    rows = []
    for share in SHARES:
        looked = int(np.sum(looking <= share * pot + 1e-9))
        removed = int(np.sum(removing <= (1 - share) * pot + 1e-9))
        rows.append(
            HoursShare(
                share=share,
                looking_hours=share * pot,
                removing_hours=(1 - share) * pot,
                looked_at=looked,
                looked_worth=float(inspection.worth[:looked].sum()) / worth if worth > 0 else 0.0,
                removed=removed,
                removed_worth=float(removal.avoided[:removed].sum()) / avoided if avoided > 0 else 0.0,
            )
        )
    return tuple(rows)


def survey_answer(
    project: ProjectInputs,
    state: PlantState,
    sample: RandomSample,
    removal: RemovalList,
    inspection: InspectionList,
    settings: Settings,
) -> SurveyAnswer:
    """Return what the last survey allows to be said, the plants drawn for the next one, and how hours could be shared."""
    last = last_survey(project.inventory, project.surveys, state, settings.detection, settings.survey.survey_days)
    remarks = []
    if len(inspection) and not inspection.within_hours.any():
        remarks.append(
            f"The next survey reaches no plant: it has {settings.inspection.hours_per_survey:g} person-hours. Raise "
            "settings.inspection.hours_per_survey, or plan a survey with hours of its own."
        )
    return SurveyAnswer(
        first_on=to_date(last.first_on),
        last_on=to_date(last.last_on),
        statements=survey_statements(project.inventory, project.sites, last, settings),
        sample=sample,
        hours=hours_shares(removal, inspection, settings),
        remarks=tuple(remarks),
    )


def survey_headlines(result: PlannedSurvey) -> tuple[str, ...]:
    """Return what a person who planned a survey wants to hear first."""
    if not result.systems:
        return ("No pest system whose plants come out with their roots is on file here: there is no list to walk.",)
    lines: list[str] = []
    for system in result.systems:
        look, hours = system.plan.inspection, 0.0 if system.costs is None else system.costs.inspection_hours
        within = look.within_hours
        lines.append(
            f"{system.triage.system.common_name}: {many(int(within.sum()))} of {len(look)} in {hours:.1f} person-hours, "
            f"{int((look.is_random & within).sum())} drawn at random; {int((look.is_overdue & ~within).sum())} overdue by their "
            "interval are not reached."
        )
        if system.survey is not None:
            lines += [system.survey.sample.sentence, *system.survey.remarks]
    return tuple(lines)
