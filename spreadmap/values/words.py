"""The fixed words of the trade that inputs, results and products share."""

from __future__ import annotations

from enum import StrEnum


class Status(StrEnum):
    """What one inspection, or all of them together, says of a plant."""

    CLEAN = "clean"
    SUSPECT = "suspect"
    INFECTED = "infected"
    REMOVED = "removed"
    NOT_FOUND = "not_found"
    NOT_INSPECTED = "not_inspected"
    """Nobody looked. Never the same as clean, and never a word of a survey table."""


SURVEY_STATUSES = (Status.CLEAN, Status.SUSPECT, Status.INFECTED, Status.REMOVED, Status.NOT_FOUND)


class Evidence(StrEnum):
    """On what a status rests."""

    NONE = ""
    VISUAL = "visual"
    LAB = "lab"
    TYPICAL_SYMPTOMS = "typical_symptoms"
    WORK_LOG = "work_log"


ALLOWED_EVIDENCE: dict[Status, tuple[Evidence, ...]] = {
    Status.CLEAN: (Evidence.VISUAL, Evidence.LAB),
    Status.SUSPECT: (Evidence.VISUAL,),
    Status.INFECTED: (Evidence.LAB, Evidence.TYPICAL_SYMPTOMS),
    Status.REMOVED: (Evidence.WORK_LOG,),
    Status.NOT_FOUND: (Evidence.VISUAL,),
}
"""Which evidence goes with which status; the first one is taken where a table gives none."""


class Method(StrEnum):
    """How a plant was inspected: by eye or lens, or by a test beyond the eye (ISPM 5's distinction)."""

    VISUAL = "visual"
    TEST = "test"


class SurveyKind(StrEnum):
    """The three kinds of survey of ISPM 5 and ISPM 6."""

    DETECTION = "detection"
    DELIMITING = "delimiting"
    MONITORING = "monitoring"


class RootsComplete(StrEnum):
    """Whether the whole root system came out."""

    YES = "yes"
    PARTLY = "partly"
    NO = "no"
    UNKNOWN = ""


class SizeClass(StrEnum):
    """Size of a plant as the trade orders it."""

    S = "S"
    M = "M"
    L = "L"
    XL = "XL"


class Verdict(StrEnum):
    """What advice a pest system justifies for an affected plant."""

    REMOVE_WITH_ROOTS = "remove_with_roots"
    DISCARD_PLANT = "discard_plant"
    CUT_PARTS = "cut_parts"
    NO_ACTION = "no_action"


class Mode(StrEnum):
    """Whether numbers are ranks and ratios only, or chances fitted to the survey history."""

    RELATIVE = "relative"
    CALIBRATED = "calibrated"


class SetUp(StrEnum):
    """What a crew has to set up before it can work at a site."""

    BED = "bed"
    TRAFFIC = "traffic"


RING_NAMES = ("core", "inner", "outer")
