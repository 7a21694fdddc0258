"""What surveyors saw and wrote down in Tallowmere, and what the crew did between two surveys."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from demo_spread import PARTLY_REMOVED_STRENGTH, Outbreak
from demo_town import Plants

MAY, JULY, SEPTEMBER = dt.date(2026, 5, 18), dt.date(2026, 7, 13), dt.date(2026, 9, 14)
SEES = 0.55
"""Chance that a surveyor notices a plant with symptoms in one pass; a plant already marked is seen again by 0.9."""
SEES_MARKED = 0.9
INSPECTED_SHARE = {MAY: 0.86, JULY: 0.92, SEPTEMBER: 0.95}
SKIPPED_BEDS = {MAY: ("B13",), JULY: (), SEPTEMBER: ()}
"""Beds that a survey left out altogether."""
CALLED_SUSPECT = 0.25
"""Share of noticed plants that the surveyor writes down as suspect."""
FALSE_SUSPECT = 0.003
"""Share of healthy-looking plants written down as suspect: frost, drift of herbicide, vigorous red shoots."""
SAMPLED = 0.6
"""Share of suspects from which a sample goes to the laboratory."""
LAB_FINDS = 0.95
JOBS = 24
"""Orders between the surveys of July and September."""
GALLED_MAPLES = 0.32
SIGNS = ("witches' broom", "red soft shoots", "crowded prickles", "broom and red shoots", "distorted flower buds")
DOUBTS = ("red shoots only", "strap leaves", "yellowing", "dense shoots")


@dataclass(frozen=True)
class Finding:
    """One inspection of one plant, in canonical words."""

    plant_id: str
    day: dt.date
    observer: str
    method: str
    pest_system: str
    status: str
    evidence: str
    symptoms: str
    sample_id: str
    bed: str


@dataclass(frozen=True)
class Job:
    """One entry of the work log."""

    plant_id: str
    day: dt.date
    done: bool
    roots: str
    regrowth_on: dt.date | None
    note: str


def observer_of(bed: str, day: dt.date) -> str:
    """Return the code of whoever walked a bed in a survey."""
    return f"OBS-{(sum(map(ord, bed)) + day.month) % 4 + 1}"


def inspect_roses(
    roses: Plants, outbreak: Outbreak, day: dt.date, marked: np.ndarray, random: np.random.Generator
) -> list[Finding]:
    """Return what is written down of the roses on a day; `marked`, those confirmed, is updated."""
    showing = outbreak.has_symptoms()[: len(roses)]
    ill = outbreak.is_infected()[: len(roses)]
    standing = outbreak.standing[: len(roses)]
    walked = (random.random(len(roses)) < INSPECTED_SHARE[day]) & ~np.isin(roses.bed, SKIPPED_BEDS[day])
    luck = random.random((len(roses), 4))
    findings = []
    for plant in np.flatnonzero(walked & standing):
        seen = showing[plant] and luck[plant, 0] < (SEES_MARKED if marked[plant] else SEES)
        doubt = not seen and not marked[plant] and luck[plant, 0] > 1 - FALSE_SUSPECT
        status, evidence, method, sample, symptoms = "clean", "visual", "visual", "", ""
        if seen and not marked[plant] and luck[plant, 1] < CALLED_SUSPECT:
            doubt = True
        elif seen:
            status, evidence = "infected", "typical_symptoms"
            symptoms = SIGNS[int(luck[plant, 2] * len(SIGNS))]
        if doubt:
            status, symptoms = "suspect", DOUBTS[int(luck[plant, 2] * len(DOUBTS))]
            if luck[plant, 3] < SAMPLED:
                sample, method, evidence = f"L{day:%y%m}-{plant:04d}", "test", "lab"
                status = "infected" if ill[plant] and luck[plant, 3] < SAMPLED * LAB_FINDS else "clean"
        marked[plant] |= status == "infected"
        findings.append(
            Finding(roses.plant_id[plant], day, observer_of(roses.bed[plant], day), method, "rose_rosette", status,
                    evidence, symptoms, sample, roses.bed[plant])
        )  # fmt: skip
    return findings


def inspect_counted_bed(outbreak: Outbreak, first: int, random: np.random.Generator) -> tuple[int, int]:
    """Return how many plants of the counted bed were looked at, and how many of them were noticed to be infected."""
    looked = random.random(len(outbreak.places) - first) < 0.8
    seen = outbreak.has_symptoms()[first:] & (random.random(len(looked)) < SEES)
    return int(looked.sum()), int((looked & seen).sum())


def inspect_maples(trees: Plants, day: dt.date, galled: np.ndarray, random: np.random.Generator) -> list[Finding]:
    """Return what is written down of the bladder galls on the maples."""
    maples = np.char.startswith(trees.taxon.astype(str), "Acer")
    findings = []
    for plant in np.flatnonzero(maples & (random.random(len(trees)) < 0.7)):
        told = ("infected", "typical_symptoms", "red beads on leaves") if galled[plant] else ("clean", "visual", "")
        findings.append(Finding(trees.plant_id[plant], day, "OBS-4", "visual", "maple_bladder_gall", *told, "", ""))
    return findings


def plan_jobs(roses: Plants, marked: np.ndarray, random: np.random.Generator) -> list[Job]:
    """Return the crew's jobs after the July survey: some of the confirmed plants outside private ground.

    One root system comes out partly, one plant sprouts again, one job is not done.
    """
    confirmed = np.flatnonzero(marked & (roses.site != "S05"))
    chosen = np.sort(random.permutation(confirmed)[:JOBS])
    jobs = []
    for number, plant in enumerate(chosen):
        day = dt.date(2026, 7, 21) + dt.timedelta(days=int(number // 6) * 2)
        partly, sprouts, left = number == 1, number == 2, number == len(chosen) - 1
        note = (
            "kerb in the way, part of the root left"
            if partly
            else "not reached, lines not marked in time"
            if left
            else ""
        )
        jobs.append(
            Job(roses.plant_id[plant], day, not left, "no" if left else "partly" if partly else "yes",
                dt.date(2026, 8, 27) if sprouts else None, note)
        )  # fmt: skip
    return jobs


def do_jobs(jobs: list[Job], roses: Plants, outbreak: Outbreak) -> None:
    """Let the epidemic run on, taking plants out on the days on which the crew did."""
    place = {key: index for index, key in enumerate(roses.plant_id)}
    for job in sorted(jobs, key=lambda each: (each.day, each.plant_id)):
        outbreak.advance(job.day)
        if job.done:
            # a sprout from a root nobody saw sends as weakly as a root left on purpose
            weak = job.roots != "yes" or job.regrowth_on is not None
            outbreak.remove(place[job.plant_id], PARTLY_REMOVED_STRENGTH if weak else 0.0)
