"""The sentences of the page. In relative mode none of them states how many plants, or whether one plant, is infected."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.kernels import KERNELS, Kernel, kernel_from_settings
from spreadmap.review.language import Words, sentence
from spreadmap.values.hidden import Hidden
from spreadmap.values.plan import RemovalList, Zones
from spreadmap.values.results import Face, SurveyResult, SystemResult, Triage
from spreadmap.values.settings import Settings
from spreadmap.values.words import Mode, Status, Verdict

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
    "posibilidad de infección",
    "posibilidad de estar infectad",
    "riesgo de infección",
    "verosimilitud",
    "% infectad",
    "por ciento infectad",
    "seguramente infectad",
)
"""Words that would read a relative pressure as a chance; they stand nowhere in a page of relative mode, in any language."""
CLASSES = 5
"""Number of classes that have words of their own."""
BERGH_PER_AREA_M = 49.0
"""Mean distance if the catches of the one trapping study follow density per area, to two digits [m]."""


def status_word(say: Words, status: str, evidence: str) -> str:
    """Return a status with what it rests on, in words."""
    word = say(f"status.{status}")
    return say("status.resting", status=word, evidence=say(f"evidence.{evidence}")) if evidence else word


def default_class_labels(say: Words, breaks: tuple[float, ...]) -> tuple[str, ...]:
    """Return words for the classes between breaks, lowest first, for a system that comes without a raster."""
    count = len(breaks) + 1
    if count == CLASSES:
        return tuple(say(f"phrase.class_{index + 1}") for index in range(count))
    return tuple(say("class.numbered", at=index + 1, count=count) for index in range(count))


def mode_sentence(say: Words, face: Face) -> str:
    """Return what kind of number the page shows."""
    return say("face.relative") if face.mode is Mode.RELATIVE else say("calibrated.face")


def name_of(say: Words, item: Triage) -> str:
    """Return the common name of a pest."""
    return say.phrase(item.system.common_name)


def findings_answer(say: Words, triage: tuple[Triage, ...]) -> str:
    """Return in one sentence which findings count and which do not."""
    serious = [item for item in triage if item.system.verdict is Verdict.REMOVE_WITH_ROOTS and item.is_found]
    harmless = [item for item in triage if item.system.verdict is not Verdict.REMOVE_WITH_ROOTS and item.is_found]
    if not serious and not harmless:
        return say("findings.nothing")
    said = [
        say(
            "findings.serious", pest=name_of(say, item), plants=say("noun.plant", n=item.infected), suspect=item.suspect
        )
        for item in serious
    ]
    if harmless:
        names = say.together([name_of(say, item) for item in harmless])
        said.append(say("findings.harmless", pests=names, n=len(harmless)))
    return f"{sentence('; '.join(said))}."


def other_systems(say: Words, triage: tuple[Triage, ...]) -> tuple[str, ...]:
    """Return a sentence for every system on file that was neither looked for nor found, those with hosts here first.

    What it would mean is said for those whose hosts stand here; the others are only named.
    """
    others = [item for item in triage if not item.is_told_of]
    said = [
        say(
            "findings.with_hosts",
            pest=sentence(name_of(say, item)),
            hosts=say("noun.host", n=item.hosts),
            why=say.phrase(item.system.verdict_reason),
        )
        for item in others
        if item.hosts
    ]
    names = [name_of(say, item) for item in others if not item.hosts]
    return (*said, *([say("findings.without_hosts", pests=", ".join(names))] if names else []))


def verdict_words(say: Words, item: Triage) -> str:
    """Return what was found of a pest, and what that justifies."""
    if item.is_found:
        found = say(
            "findings.both",
            confirmed=say("noun.confirmed_plant", n=item.infected),
            suspect=say("noun.suspect_plant", n=item.suspect),
        )
    else:
        found = say("findings.neither")
    verdict = say(f"verdict.{item.system.verdict.value}")
    return say("findings.on_record", pest=sentence(name_of(say, item)), found=found, verdict=verdict)


def removal_minutes(removal: RemovalList) -> float:
    """Return the person-minutes of the whole list, set-up and travel included."""
    return float(removal.person_minutes.sum() + removal.set_up_minutes.sum())


def crew_hours_used(removal: RemovalList) -> float:
    """Return the crew hours of the plants within the cut-off."""
    within = removal.cumulative_hours[removal.within_hours]
    return float(within[-1]) if len(within) else 0.0


def listed_plants(say: Words, system: SystemResult) -> str:
    """Return how many plants are on the removal list and of which kind, `74 plants (73 confirmed, 1 sprouting again)`."""
    removal = system.plan.removal
    again = int(np.sum(system.state.status[removal.plant] == Status.REMOVED.value))
    green = int(removal.is_green.sum())
    if not again and not green:
        return say("noun.confirmed_plant", n=len(removal))
    kinds = [say("removal.kind_confirmed", n=len(removal) - again - green)]
    kinds += [say("removal.kind_sprouting", n=again)] if again else []
    kinds += [say("removal.kind_green", n=green)] if green else []
    return say("removal.kinds", plants=say("noun.plant", n=len(removal)), kinds=", ".join(kinds))


def removal_answer(say: Words, system: SystemResult, result: SurveyResult) -> str:
    """Return in one sentence what comes out this week."""
    removal = system.plan.removal
    weekly = say.hours(result.settings.removal.crew_hours_per_week)
    if len(removal) == 0:
        return say("removal.none")
    within, what = int(removal.within_hours.sum()), listed_plants(say, system)
    if bool(removal.is_held.all()):
        return say("removal.all_held", plants=what)
    if within == 0:
        return say("removal.no_hours", plants=sentence(what), hours=weekly)
    if within < len(removal):
        what = say("removal.some_of", some=within, plants=what)
    elif within > 1:
        what = say("removal.all_of", plants=what)
    return say(
        "removal.answer",
        plants=what,
        day=say.day(removal.earliest_on.min()),
        used=say.hours(crew_hours_used(removal)),
        hours=weekly,
    )


def undone_sentence(say: Words, system: SystemResult) -> str:
    """Return what stays undone beyond the crew hours and what it keeps sending."""
    removal = system.plan.removal
    left = ~removal.within_hours & ~removal.is_held
    if not len(removal):
        return ""
    if not left.any():
        return say("removal.nothing_undone")
    total = float(removal.onward.sum())
    share = say("removal.undone_share", share=say.part(float(removal.onward[left].sum()) / total)) if total else ""
    undone = say("removal.undone", plants=say("noun.plant", n=int(left.sum())), share=share)
    weeks = system.plan.backlog_weeks  # infinite for a crew without hours
    return f"{undone} {say('removal.undone_weeks', weeks=say.decimal(weeks, 1))}" if np.isfinite(weeks) else undone


def inspection_answer(say: Words, system: SystemResult, result: SurveyResult) -> str:
    """Return in one sentence where the next survey looks."""
    look = system.plan.inspection
    if len(look) == 0:
        return say("inspection.none")
    reach, touching = int(look.within_hours.sum()), int(look.is_touching.sum())
    drawn = int((look.is_random & look.within_hours).sum())
    return say(
        "inspection.answer",
        plants=say("noun.plant", n=reach),
        hours=say.hours(result.settings.inspection.hours_per_survey),
        day=say.day(result.inputs.next_survey_on),
        first=say("inspection.first_touching", n=touching) if touching else say("inspection.first_worth"),
        drawn=say("inspection.drawn", n=drawn) if drawn else "",
    )


def never_seen_sentence(say: Words, triage: Triage) -> str:
    """Return how many hosts nobody looked at."""
    if triage.hosts == 0:
        return say("inspection.no_host")
    share = say.part(triage.not_inspected / triage.hosts)
    return say("inspection.never_seen", never=triage.not_inspected, hosts=triage.hosts, share=share)


def latency_sentence(say: Words, settings: Settings) -> str:
    """Return how long an infected plant shows nothing: the middle, and what holds 95 % of a log-normal."""
    middle, spread = settings.infection.latency_median_days, float(np.exp(1.96 * settings.infection.latency_sigma))
    return say("inspection.latency", middle=middle, least=middle / spread, most=middle * spread)


def line_answer(say: Words, system: SystemResult) -> str:
    """Return in one sentence where the line runs."""
    cores = [ring for ring in system.zones.rings if ring.name == "core"]
    if not cores:
        return say("lines.none")
    outer = [ring for ring in system.zones.rings if ring.name == "outer"]
    foci = say("noun.focus", n=len(cores))
    if not outer:
        return say("lines.cores_only", foci=foci)
    far = max(ring.reach_far_m for ring in outer)
    return say("lines.answer", foci=foci, far=say.length(far), share=say.part(outer[0].share))


def release_sentence(say: Words, zones: Zones, settings: Settings) -> str:
    """Return what must be seen before a ring may be lifted, and when that can be at the earliest."""
    if not zones.release:
        return ""
    said = say("lines.release", months=settings.zones.release_clean_months, days=settings.inspection.interval_far_days)
    return said if zones.lift_from is None else f"{said} {say('lines.lift_from', day=say.day(zones.lift_from))}"


def sure_answer(say: Words, system: SystemResult) -> str:
    """Return in one sentence how much of the list stands on firm ground."""
    removal, look = system.plan.removal, system.plan.inspection
    if system.face.mode is Mode.CALIBRATED:
        if len(removal) == 0:
            return say("calibrated.sure_no_list")
        return say("calibrated.sure", kept=int(removal.rank_holds.sum()), plants=len(removal))
    if len(removal) == 0:
        return say("sure.no_list")
    if bool(removal.within_hours.all()):
        kept = int(look.rank_holds.sum())
        return say("sure.whole_list", share=say.part(kept / max(1, len(look))))
    return say("sure.kept", kept=int(removal.rank_holds.sum()), plants=len(removal))


def kernel_sentence(say: Words, settings: Settings) -> str:
    """Return on what the law of distance rests."""
    kernel = settings.kernel
    run = ", ".join(f"× {say.short(factor, 2)}" for factor in kernel.scale_run)
    if settings.physics.use_physics:
        return say("sure.kernel_physics", run=run)
    made = kernel_from_settings(kernel)
    law = made.in_words() if say.takes_own_words else law_words(say, made)
    if made.family != "wald" or made.far is not None:
        law = f"{law} ({mean_words(say, made)})"
    if kernel.family != "wald":
        rests = say("sure.kernel_no_trial")
    elif kernel.reading == "catch_curve":
        rests = say("sure.kernel_per_area", mean=say.length(kernel.mean_m))
    else:
        rests = say("sure.kernel_by_distance", mean=say.length(BERGH_PER_AREA_M))
    return say("sure.kernel", law=law, rests=rests, run=run)


def law_words(say: Words, made: Kernel) -> str:
    """Return family, lengths and shape of a law of distance."""
    form = KERNELS[made.family]
    length = say.short_length(made.scale_m)
    said = say("sure.law_mean" if form.scale_name == "mean_m" else "sure.law_scale", family=made.family, length=length)
    if made.shape is not None:
        shape = say.short_length(made.shape) if form.shape_is_length else say.short(made.shape, 2)
        said = say("sure.law_shape", law=said, shape=shape)
    if made.far is None:
        return said
    return say("sure.law_far", law=said, share=say.part(made.far_share), far=law_words(say, made.far))


def mean_words(say: Words, made: Kernel) -> str:
    """Return the mean distance of a law, or that there is none."""
    if say.takes_own_words:
        return made.mean_in_words()
    mean = made.mean_m()
    if np.isfinite(mean):
        return say("sure.mean", length=say.short_length(mean))
    return say("sure.no_mean", length=say.short_length(float(made.quantile(0.5))))


def wind_sentence(say: Words, system: SystemResult) -> str:
    """Return on what the directions rest."""
    climate = system.climate
    if not has_wind(system):
        return say("sure.no_wind")
    if not climate.hours_used:
        return say("sure.wind", basis=say.worded(climate.basis))
    return say("sure.wind_calm", basis=say.worded(climate.basis), share=say.part(climate.calm_share))


def has_wind(system: SystemResult) -> bool:
    """Return whether directions differ at all."""
    return bool(np.any(np.abs(system.climate.rose) > 1e-9)) or system.climate.field is not None


def unseen_sentence(say: Words, system: SystemResult) -> str:
    """Return what is said of hidden infection: how many plants in calibrated mode, how far the order holds otherwise."""
    unseen = system.unseen
    if unseen is None:
        return say("sure.unseen_not_asked")
    if isinstance(unseen, Hidden):
        return say("calibrated.unseen", n=unseen.expected_infected)
    among = unseen.rank > 0
    held = say.part(float(unseen.rank_holds[among].mean()) if among.any() else 0.0)
    return say("sure.unseen_order", share=held)


def map_sentence(say: Words, system: SystemResult) -> str:
    """Return what a map of chances gives; nothing for one of relative pressure, whose legend says all."""
    face = system.face
    if face.mode is Mode.RELATIVE:
        return ""
    return say("calibrated.map", day=say.day(face.period_from), until=say.day(face.period_to))


def drawn_sentence(say: Words, system: SystemResult) -> str:
    """Return what the brackets behind a chance of hidden infection mean; nothing where there are none."""
    unseen = system.unseen
    return say("calibrated.drawn_says") if isinstance(unseen, Hidden) and unseen.worth > 0 else ""


def reservoir_sentence(say: Words, system: SystemResult) -> str:
    """Return how much of the pressure wild stands bring."""
    among = np.isfinite(system.hidden.relative_exposure)
    total = float(system.exposure.pressure[among].sum())
    wild = float(system.exposure.from_reservoirs[among].sum())
    if total <= 0 or wild <= 0:
        return say("sure.no_wild")
    return say("sure.wild", share=say.part(wild / total))


def residents(say: Words, result: SurveyResult) -> tuple[str, str]:
    """Return two sentences for residents and the press; no place, no number, no name."""
    found = [item for item in result.triage if item.system.verdict is Verdict.REMOVE_WITH_ROOTS and item.is_found]
    contact = result.inputs.contact.rstrip(". ")
    ends = f" {say('residents.contact', contact=contact)}" if contact.strip() else ""
    until = say.day(result.inputs.next_survey_on)
    if not found:
        seen = any(item.is_found for item in result.triage)
        what = say("residents.harmless") if seen else say("residents.nothing")
        return (
            say("residents.no_plant", what=what, day=say.day(result.inputs.as_of)),
            say("residents.next_survey", day=until) + ends,
        )
    pest, genera = name_of(say, found[0]), say.together(found[0].system.host_genera)
    return sentence(say("residents.found", pest=pest, genera=genera)), say("residents.at_work", day=until) + ends
