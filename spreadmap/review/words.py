"""The sentences of the page. In relative mode none of them states how many plants, or whether one plant, is infected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from spreadmap.dispersal.kernels import kernel_from_settings
from spreadmap.values.arrays import to_date
from spreadmap.values.hidden import Hidden
from spreadmap.values.plan import RemovalList, Zones
from spreadmap.values.results import Face, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.words import Evidence, Mode, Status, Verdict

FORBIDDEN_WORDS = (
    "chance of infection",
    "chance of being infected",
    "chance that it is infected",
    "infection chance",
    "infection probability",
    "likelihood",
    "likely infected",
    "odds",
    "probab",
    "risk of infection",
    "% infected",
    "percent infected",
)
"""Words that would read a relative pressure as a chance; they stand nowhere in a page of relative mode."""

STATUS_WORDS = {
    Status.CLEAN.value: "clean",
    Status.SUSPECT.value: "suspect",
    Status.INFECTED.value: "confirmed",
    Status.REMOVED.value: "taken out",
    Status.NOT_FOUND.value: "looked for, not there",
    Status.NOT_INSPECTED.value: "not inspected",
}
EVIDENCE_WORDS = {
    Evidence.NONE.value: "",
    Evidence.VISUAL.value: "by eye",
    Evidence.LAB.value: "by test",
    Evidence.TYPICAL_SYMPTOMS.value: "by the typical symptoms together",
    Evidence.WORK_LOG.value: "by the work log",
}
CLASS_WORDS = ("very low", "low", "middle", "high", "very high")
RINGS_DO = "Core: inspect and test first, which does not mean dig. Inner: inspect. Outer: watch."
NOT_A_CHANCE = (
    "The numbers rank places and say how many times more arrives here than there. They say of no plant that it is "
    "infected: plants on the model's evidence alone are inspected and tested, never dug out."
)
LOOKING_ORDER = (
    "A look is worth what speaks for a plant's being infected times what it would send to healthy ones, per minute with the "
    "way to its bed. A share of the hours goes first to plants whose interval by distance has run out."
)
AUTHORITY = "Recommended zones; only the plant-health authority demarcates."


def amount(value: float) -> str:
    """Return a number of things with thousands apart."""
    return f"{value:,.0f}"


def several(value: float, one: str, many: str = "") -> str:
    """Return a count with its noun."""
    return f"{amount(value)} {one if round(value) == 1 else many or one + 's'}"


def day(value: dt.date | np.datetime64 | None) -> str:
    """Return a date as it is said, `2 July 2026`; nothing for no date."""
    date = to_date(value) if isinstance(value, np.datetime64) else value
    return "" if date is None else f"{date.day} {date:%B %Y}"


def period(first: dt.date, last: dt.date) -> str:
    """Return a period, naming the year once where it is one."""
    start = f"{first.day} {first:%B}" if first.year == last.year else day(first)
    return f"{start} to {day(last)}"


def together(names: Sequence[str]) -> str:
    """Return names as a list in words: `a`, `a and b`, `a, b and c`."""
    return " and ".join([text for text in (", ".join(names[:-1]), *names[-1:]) if text])


def sentence(text: str) -> str:
    """Return text with a capital at its beginning."""
    return f"{text[:1].upper()}{text[1:]}"


def part(value: float) -> str:
    """Return a share in whole percent, never rounding a part to nothing or to all."""
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return f"{100 * value:.0f} %"


def hours(value: float) -> str:
    """Return hours to a tenth."""
    return f"{value:.1f}".removesuffix(".0") + " h"


def area(square_m: float) -> str:
    """Return an area in square metres, or in hectares from one hectare on."""
    return f"{square_m / 10_000:.1f} ha" if square_m >= 10_000 else f"{amount(square_m)} m²"


def status_word(status: str, evidence: str) -> str:
    """Return a status with what it rests on, in words."""
    word, rests = STATUS_WORDS.get(status, status), EVIDENCE_WORDS.get(evidence, evidence)
    return f"{word}, {rests}" if rests else word


def default_class_labels(breaks: tuple[float, ...]) -> tuple[str, ...]:
    """Return words for the classes between breaks, lowest first, for a system that comes without a raster."""
    if len(breaks) + 1 == len(CLASS_WORDS):
        return CLASS_WORDS
    return tuple(f"class {index + 1} of {len(breaks) + 1}" for index in range(len(breaks) + 1))


def mode_sentence(face: Face) -> str:
    """Return what kind of number the page shows."""
    if face.mode is Mode.RELATIVE:
        return "Relative: ranks and ratios"
    return "Calibrated on the survey history"


def findings_answer(triage: tuple[Triage, ...]) -> str:
    """Return in one sentence which findings count and which do not."""
    serious = [item for item in triage if item.system.verdict is Verdict.REMOVE_WITH_ROOTS and item.is_found]
    harmless = [item for item in triage if item.system.verdict is not Verdict.REMOVE_WITH_ROOTS and item.is_found]
    if not serious and not harmless:
        return "Nothing was found, neither confirmed nor suspect."
    said = [
        f"{item.system.common_name} is the dangerous one: {several(item.infected, 'plant')} confirmed, "
        f"{amount(item.suspect)} suspect"
        for item in serious
    ]
    names = together([item.system.common_name for item in harmless])
    if names:
        said.append(f"{names} {'calls' if len(harmless) == 1 else 'call'} for no removal with roots")
    return f"{sentence('; '.join(said))}."


def other_systems(triage: tuple[Triage, ...]) -> tuple[str, ...]:
    """Return a sentence for every system on file that was neither looked for nor found, those with hosts here first.

    What it would mean is said for those whose hosts stand here; the others are only named.
    """
    others = [item for item in triage if not item.is_told_of]
    said = [
        f"{sentence(item.system.common_name)}, {several(item.hosts, 'host')} here: {item.system.verdict_reason}"
        for item in others
        if item.hosts
    ]
    names = [item.system.common_name for item in others if not item.hosts]
    return (*said, *([f"Without a host here: {', '.join(names)}."] if names else []))


def removal_minutes(removal: RemovalList) -> float:
    """Return the person-minutes of the whole list, set-up and travel included."""
    return float(removal.person_minutes.sum() + removal.set_up_minutes.sum())


def crew_hours_used(removal: RemovalList) -> float:
    """Return the crew hours of the plants within the cut-off."""
    within = removal.cumulative_hours[removal.within_hours]
    return float(within[-1]) if len(within) else 0.0


def listed_plants(system: SystemResult) -> str:
    """Return how many plants are on the removal list and of which kind, `74 plants (73 confirmed, 1 sprouting again)`."""
    removal = system.plan.removal
    again = int(np.sum(system.state.status[removal.plant] == Status.REMOVED.value))
    if not again:
        return several(len(removal), "confirmed plant")
    return (
        f"{several(len(removal), 'plant')} ({amount(len(removal) - again)} confirmed, {amount(again)} sprouting again)"
    )


def removal_answer(system: SystemResult, result: SurveyResult) -> str:
    """Return in one sentence what comes out this week."""
    removal = system.plan.removal
    weekly = result.settings.removal.crew_hours_per_week
    if len(removal) == 0:
        return "Nothing comes out: no confirmed plant stands."
    within = int(removal.within_hours.sum())
    if bool(removal.is_held.all()):
        return f"Nothing comes out: {listed_plants(system)} must, and every one was put off or refused."
    if within == 0:
        return f"{listed_plants(system)} must come out, but {hours(weekly)} of crew time do not reach for the first."
    what = listed_plants(system)
    if within < len(removal):
        what = f"{amount(within)} of {what}"
    elif within > 1:
        what = f"all {what}"
    return (
        f"Take out {what} with all their roots, from {day(removal.earliest_on.min())} on: "
        f"{hours(crew_hours_used(removal))} of the week's {hours(weekly)} of crew time."
    )


def undone_sentence(system: SystemResult) -> str:
    """Return what stays undone beyond the crew hours and what it keeps sending."""
    removal = system.plan.removal
    left = ~removal.within_hours & ~removal.is_held
    if not len(removal):
        return ""
    if not left.any():
        return "Nothing on the list stays undone, so the order does not matter this week."
    total = float(removal.onward.sum())
    share = (
        f", and with them {part(float(removal.onward[left].sum()) / total)} of what all of them send" if total else ""
    )
    return (
        f"Left undone: {several(int(left.sum()), 'plant')}{share} to plants still healthy. One crew works "
        f"{system.plan.backlog_weeks:.1f} weeks on the whole list."
    )


def inspection_answer(system: SystemResult, result: SurveyResult) -> str:
    """Return in one sentence where the next survey looks."""
    look = system.plan.inspection
    if len(look) == 0:
        return "There is no standing host left to look at."
    reach, touching = int(look.within_hours.sum()), int(look.is_touching.sum())
    settings = result.settings.inspection
    first = (
        f"first the {several(touching, 'plant')} that {'touches' if touching == 1 else 'touch'} a confirmed one, then those "
        "at which a minute of looking is worth most"
        if touching
        else "those first at which a minute of looking is worth most"
    )
    drawn = int((look.is_random & look.within_hours).sum())
    chance = f"; {several(drawn, 'plant')} of them drawn at random" if drawn else ""
    return (
        f"Look at {several(reach, 'plant')} in the {hours(settings.hours_per_survey)} of the next survey, "
        f"by {day(result.inputs.next_survey_on)}: {first}{chance}."
    )


def never_seen_sentence(triage: Triage) -> str:
    """Return how many hosts nobody looked at."""
    if triage.hosts == 0:
        return "No host of this pest stands in the inventory."
    share = part(triage.not_inspected / triage.hosts)
    return (
        f"{amount(triage.not_inspected)} of {amount(triage.hosts)} standing hosts ({share}) were never inspected; "
        "never inspected is not clean."
    )


def latency_sentence(settings: Settings) -> str:
    """Return how long an infected plant shows nothing: the middle, and what holds 95 % of a log-normal."""
    middle, spread = settings.infection.latency_median_days, np.exp(1.96 * settings.infection.latency_sigma)
    return (
        f"A green plant that is infected shows it after {middle:.0f} days of the growing season in the middle, "
        f"{middle / spread:.0f} to {middle * spread:.0f} for nearly all: a clean look today is no answer for later."
    )


def line_answer(system: SystemResult) -> str:
    """Return in one sentence where the line runs."""
    cores = [ring for ring in system.zones.rings if ring.name == "core"]
    if not cores:
        return "There is no line to draw: no confirmed plant stands."
    outer = [ring for ring in system.zones.rings if ring.name == "outer"]
    far = max((ring.reach_far_m for ring in outer), default=0.0)
    return (
        f"{several(len(cores), 'focus', 'foci')}; the outermost line runs at most {amount(far)} m from the middle of "
        f"its focus and holds {part(outer[0].share)} of the arrivals until the next survey."
        if outer
        else f"{several(len(cores), 'focus', 'foci')}, each with its core."
    )


def release_sentence(zones: Zones) -> str:
    """Return what must be seen before a ring may be lifted, and when that can be at the earliest."""
    if not zones.release or zones.lift_from is None:
        return zones.release
    return (
        f"{zones.release} If all came out today and none was found after it, that could be on {day(zones.lift_from)}."
    )


def sure_answer(system: SystemResult) -> str:
    """Return in one sentence how much of the list stands on firm ground."""
    removal, look = system.plan.removal, system.plan.inspection
    if len(removal) == 0:
        return "How far the mite flies is weakly known; read distances as orders of magnitude."
    if bool(removal.within_hours.all()):
        kept = int(look.rank_holds.sum())
        return (
            "How far the mite flies is weakly known. Removal does not depend on it this week, since the whole list is done; "
            f"of the plants to look at, {part(kept / max(1, len(look)))} keep their side of the cut-off whatever the scale."
        )
    return (
        f"How far the mite flies is weakly known, yet {amount(int(removal.rank_holds.sum()))} of {amount(len(removal))} "
        "plants on the list keep their side of the cut-off whatever the scale."
    )


def kernel_sentence(settings: Settings) -> str:
    """Return on what the law of distance rests."""
    if settings.physics.use_physics:
        run = ", ".join(f"× {factor:g}" for factor in settings.kernel.scale_run)
        return (
            "Law of distance: reckoned from release height, falling speed, wind and turbulence, a kernel for each class of "
            "wind speed. The physics is that of seeds; for this mite nothing of it was measured. The whole reckoning was "
            f"therefore repeated with every length {run}."
        )
    kernel, made = settings.kernel, kernel_from_settings(settings.kernel)
    mean = "" if made.family == "wald" and made.far is None else f" ({made.mean_in_words()})"
    run = ", ".join(f"× {factor:g}" for factor in kernel.scale_run)
    if kernel.family != "wald":
        rests = "No trial of this pest stands behind it. "
    elif kernel.reading == "catch_curve":
        rests = (
            "It rests on one study of another mite species, caught in traps (Bergh and McCoy 1997), read as if the catches "
            f"followed density per area; if they follow the distance, the true mean is nearer {kernel.mean_m:.0f} m. "
        )
    else:
        rests = (
            "It rests on one study of another mite species, caught in traps (Bergh and McCoy 1997); if those catches follow "
            "density per area, the true mean is nearer 49 m. "
        )
    return (
        f"Law of distance: {made.in_words()}{mean}. {rests}The whole reckoning was therefore repeated with every length "
        f"{run}: rank ranges in the lists, and area ranges of the rings, are the span of that run."
    )


def wind_sentence(system: SystemResult) -> str:
    """Return on what the directions rest."""
    climate = system.climate
    if not has_wind(system):
        return "There is no wind record: spread is drawn the same in all directions."
    said = f"Directions come from {climate.basis}"
    if climate.hours_used:
        said += f"; {part(climate.calm_share)} of the hours in which mites fly are calm"
    return f"{said}."


def has_wind(system: SystemResult) -> bool:
    """Return whether directions differ at all."""
    return bool(np.any(np.abs(system.climate.rose) > 1e-9)) or system.climate.field is not None


def unseen_sentence(system: SystemResult) -> str:
    """Return what is said of hidden infection: how many plants in calibrated mode, how far the order holds otherwise."""
    unseen = system.unseen
    if unseen is None:
        return "Hidden infection was not reckoned."
    rests = (
        "the pressure each plant stood under week by week, contact, every clean look or test with its sensitivity, and the "
        "time until symptoms show"
    )
    if isinstance(unseen, Hidden):
        return (
            f"Among plants that are not confirmed about {unseen.expected_infected:.0f} are infected already, by {rests}. "
            "A green plant is not diagnosed by this: look, test, and decide then."
        )
    among = unseen.rank > 0
    held = part(float(unseen.rank_holds[among].mean())) if among.any() else part(0.0)
    return (
        f"Where to look follows {rests}. How fast the disease spreads is assumed here, not fitted; over the assumed range "
        f"{held} of the plants stay in their tenth of that order. It is an order of looking and no diagnosis."
    )


def reservoir_sentence(system: SystemResult) -> str:
    """Return how much of the pressure wild stands bring."""
    among = np.isfinite(system.hidden.relative_exposure)
    total = float(system.exposure.pressure[among].sum())
    wild = float(system.exposure.from_reservoirs[among].sum())
    if total <= 0 or wild <= 0:
        return "No wild stand adds to the pressure on these plants; the map with and without wild stands is the same."
    return (
        f"Wild stands bring {part(wild / total)} of the pressure on plants not yet confirmed. How many plants they hold is "
        "an assumption; every map is also made without them."
    )


def residents(result: SurveyResult) -> tuple[str, str]:
    """Return two sentences for residents and the press; no place, no number, no name."""
    found = [item for item in result.triage if item.system.verdict is Verdict.REMOVE_WITH_ROOTS and item.is_found]
    contact = f" Contact: {result.inputs.contact.rstrip('. ')}." if result.inputs.contact.strip() else ""
    until = day(result.inputs.next_survey_on)
    if not found:
        seen = any(item.is_found for item in result.triage)
        what = "The galls and felts found look alarming but are harmless to people" if seen else "Nothing was found"
        return (
            f"{what} in the survey of {day(result.inputs.as_of)}, and no plant has to come out.",
            f"The next survey is on {until}; please tell us what you see.{contact}",
        )
    name, genera = found[0].system.common_name, " and ".join(found[0].system.host_genera)
    return (
        f"{sentence(name)} is harmless to people and to plants other than {genera}, but there is no cure: an infected "
        "plant has to come out with all its roots before it infects its neighbours.",
        f"Our crews are at work until the next survey on {until}; please use no leaf blower near affected plants, leave cut "
        f"stems where they are and tell us what you see.{contact}",
    )
