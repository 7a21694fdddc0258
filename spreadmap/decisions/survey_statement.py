"""What the last survey allows to be said and what it does not, and the plants drawn at random for the next one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from spreadmap.decisions.survey_sizes import (
    detection_chance,
    infected_of,
    most_infected_given,
    passes_of_lot,
    survey_size,
)
from spreadmap.outbreak.looks import looks_at
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.settings import DetectionSettings, Settings, SurveySettings
from spreadmap.values.survey_answer import (
    RANDOM_MARK,
    WHOLE,
    Basis,
    SurveyStatement,
)
from spreadmap.values.surveys import PlantState, Surveys
from spreadmap.values.words import Status

EXCLUDED_AT = 0.95
"""Confidence at which the smallest prevalence that is excluded is told [-]; the one that survey practice tells it at."""
Sizes = tuple[int | None, int | None, int | None, int | None]
"""Plants and passes needed for the design, then for the quick check; None: not reachable, no number of passes."""
NOT_SHOWING = "Plants infected and not yet showing are outside of this."
COMPARISON = (
    "This would hold had the plants been drawn at random. They were not: they were chosen by risk or by convenience, so "
    "that it is a comparison and no statement."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LastSurvey:
    """The last survey plant by plant, shape (n,): the lot, who was looked at, drawn, noticed, and how sharply [-].

    `lot` are standing hosts not confirmed before the survey. `sensitivity` is that of the sharpest look of the survey:
    passes are not independent, so that a second one adds nothing here.
    """

    first_on: np.datetime64
    last_on: np.datetime64
    lot: BoolArray
    looked_at: BoolArray
    drawn: BoolArray
    noticed: BoolArray
    sensitivity: FloatArray


def last_survey(
    inventory: Inventory, surveys: Surveys, state: PlantState, settings: DetectionSettings, survey_days: int
) -> LastSurvey:
    """Return the inspections of the last `survey_days` days up to the last inspection of a pest system.

    A plant counts as drawn at random where the note of one of its rows says so (`RANDOM_MARK`); as noticed where it was
    confirmed or suspect in these days and was not cleared by a test. Beds inspected as a whole are left out: which of
    their plants were looked at is not known.
    """
    n = len(inventory)
    looks = looks_at(surveys, inventory, state.system_key, state.as_of)
    last = looks.on.max() if len(looks.on) else np.datetime64("NaT", "D")
    first = last - np.timedelta64(survey_days - 1, "D")
    rows = looks.on >= first
    plant = looks.plant[rows]
    named = {name.strip().casefold(): value for name, value in settings.by_observer.items()}
    sharp = [
        settings.test_symptomatic if by_test else named.get(str(who).strip().casefold(), settings.visual_symptomatic)
        for who, by_test in zip(surveys.observer[looks.row[rows]], looks.is_by_test[rows], strict=True)
    ]
    sensitivity, looked_at, seen, drawn = (
        np.zeros(n),
        np.zeros(n, np.bool_),
        np.zeros(n, np.bool_),
        np.zeros(n, np.bool_),
    )
    np.maximum.at(sensitivity, plant, np.array(sharp, dtype=np.float64))
    looked_at[plant] = True
    seen[plant[looks.is_seen[rows]]] = True
    marked = [RANDOM_MARK in str(note).casefold() for note in surveys.note[looks.row[rows]]]
    drawn[plant[np.array(marked, dtype=np.bool_)]] = True
    before = state.first_found_on < first
    there = state.is_standing | looked_at | (state.removed_on >= first)
    lot = state.is_host & there & ~before
    cleared = state.status == Status.CLEAN.value
    return LastSurvey(
        first_on=first,
        last_on=last,
        lot=lot,
        looked_at=looked_at & lot,
        drawn=drawn & lot,
        noticed=seen & ~cleared & lot,
        sensitivity=sensitivity,
    )


def survey_statements(
    inventory: Inventory, sites: Sites, survey: LastSurvey, settings: Settings
) -> tuple[SurveyStatement, ...]:
    """Return what a survey allows to be said of all sites together, then of every site with plants of the lot."""
    names = dict(zip(sites.site_id.tolist(), sites.name.tolist(), strict=True))
    keys = sorted(
        {str(key) for key in inventory.site_id[survey.lot]} - {""}, key=lambda key: (names.get(key) or key, key)
    )
    lots = [("", WHOLE, survey.lot)]
    if len(keys) > 1:
        lots += [(key, str(names.get(key) or key), survey.lot & (inventory.site_id == key)) for key in keys]
    return tuple(_statement(key, place, lot, survey, settings) for key, place, lot in lots)


def _statement(site_id: str, place: str, lot: BoolArray, survey: LastSurvey, settings: Settings) -> SurveyStatement:
    """Return what a survey allows to be said of one lot."""
    design, plants = settings.survey, int(lot.sum())
    looked_at, drawn = survey.looked_at & lot, survey.drawn & lot
    basis, counted = Basis.CHOSEN, looked_at
    if not looked_at.any():
        basis = Basis.NONE
    elif looked_at.sum() == plants:
        basis = Basis.EVERY
    elif drawn.any():
        basis, counted = Basis.RANDOM, drawn
    n, noticed = int(counted.sum()), int((survey.noticed & counted).sum())
    sensitivity = float(survey.sensitivity[counted].mean()) if n else settings.detection.visual_symptomatic
    fewest = max(1, infected_of(plants, design.design_prevalence))
    sizes = sizes_of(plants, settings.detection.visual_symptomatic, design)
    most = most_infected_given(plants, n, noticed, EXCLUDED_AT, sensitivity) if n else plants
    clean = n > 0 and noticed == 0
    made = SurveyStatement(
        site_id=site_id,
        place=place,
        plants=plants,
        looked_at=int(looked_at.sum()),
        drawn=int(drawn.sum()),
        counted=n,
        noticed=noticed,
        basis=basis,
        sensitivity=sensitivity,
        design_plants=fewest,
        confidence=detection_chance(plants, min(fewest, plants), n, sensitivity) if clean else float("nan"),
        most_showing=most,
        size_needed=sizes[0],
        passes_needed=sizes[1],
        quick_size_needed=sizes[2],
        quick_passes_needed=sizes[3],
        sentence="",
    )
    return _told(made, design)


def sizes_of(plants: int, sensitivity: float, design: SurveySettings) -> Sizes:
    """Return plants and passes needed for the design, then for the quick check."""
    if plants == 0:
        return None, None, None, None
    strict, quick = (
        (design.design_prevalence, design.design_confidence),
        (design.quick_prevalence, design.quick_confidence),
    )
    return (
        _size(plants, *strict, sensitivity),
        passes_of_lot(plants, *strict, sensitivity),
        _size(plants, *quick, sensitivity),
        passes_of_lot(plants, *quick, sensitivity),
    )


@cache
def _size(plants: int, prevalence: float, confidence: float, sensitivity: float) -> int | None:
    """Return `survey_size`; many sites are of one size."""
    return survey_size(plants, prevalence, confidence, sensitivity)


def _told(made: SurveyStatement, design: SurveySettings) -> SurveyStatement:
    """Return a statement with its sentence."""
    return replace(made, sentence=" ".join(_sentences(made, design)))


def _sentences(made: SurveyStatement, design: SurveySettings) -> list[str]:
    """Return what a survey allows to be said of one lot, and what it does not, sentence by sentence."""
    if made.plants == 0:
        return ["No standing host: there is nothing to say."]
    if made.basis is Basis.NONE:
        return [f"None of {many(made.plants)} was looked at: nothing can be said.", needed_words(made, design)]
    looked = {
        Basis.EVERY: f"All {made.plants} plants were looked at, so that no draw was needed",
        Basis.RANDOM: f"{many(made.counted)} of {made.plants}, drawn at random, {_were(made.counted)} looked at",
        Basis.CHOSEN: f"{many(made.counted)} of {made.plants} {_were(made.counted)} looked at",
    }[made.basis]
    found = (
        f"and {many(made.noticed)} {_were(made.noticed)} noticed, confirmed or suspect: the pest is there"
        if made.noticed
        else "and none was noticed"
    )
    said = [f"{looked}, {found}."]
    eye = f"One look notices {100 * made.sensitivity:.0f} % of the plants that show symptoms"
    if made.most_showing >= made.plants:
        said.append(f"{eye}: that is too little to rule anything out at {100 * EXCLUDED_AT:g} % confidence.")
    else:
        rest = f", {made.most_showing - made.noticed} of them unnoticed" if made.noticed else ""
        said.append(
            f"{eye}: with {100 * EXCLUDED_AT:g} % confidence at most {made.most_showing} of the {made.plants} plants "
            f"({100 * made.most_showing / made.plants:.2g} %) showed any{rest}."
        )
    if not made.noticed:
        what = "none" if made.design_plants == 1 else f"fewer than {made.design_plants} plants"
        said.append(
            f"Confidence that {what} showed symptoms (design: {100 * design.design_prevalence:g} %): "
            f"{100 * made.confidence:.0f} %, with {100 * design.design_confidence:g} % asked for."
        )
    if made.basis is Basis.CHOSEN:
        said.append(COMPARISON)
    said.append(NOT_SHOWING)
    if not made.noticed and (made.basis is Basis.CHOSEN or made.confidence < design.design_confidence):
        said.append(needed_words(made, design))
    return said


def needed_words(made: SurveyStatement, design: SurveySettings) -> str:
    """Return how many plants or passes the design asks for, with "not reachable" as an answer."""
    asked = f"{100 * design.design_prevalence:g} % at {100 * design.design_confidence:g} % confidence"
    if made.size_needed is not None:
        return f"For {asked}, {many(made.size_needed)} of {made.plants} must be drawn at random and looked at."
    passes = "no number of passes is" if made.passes_needed is None else f"{made.passes_needed} passes at the least are"
    return (
        f"For {asked}, one look at every plant is not enough (not reachable): {passes} needed, and more where the same "
        "eyes overlook the same plant again."
    )


def many(number: int) -> str:
    """Return a number of plants."""
    return f"{number} plant" if number == 1 else f"{number} plants"


def _were(number: int) -> str:
    """Return the verb for a number of plants."""
    return "was" if number == 1 else "were"
