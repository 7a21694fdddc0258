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
    Status.INFECTED: (Evidence.TYPICAL_SYMPTOMS, Evidence.LAB),
    Status.REMOVED: (Evidence.WORK_LOG,),
    Status.NOT_FOUND: (Evidence.VISUAL,),
}
"""Which evidence goes with which status; the first, weakest one is taken where a table gives none, and that is told."""


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


class Decision(StrEnum):
    """What a manager decided about a plant of the removal list."""

    ACCEPT = "accept"
    PUT_OFF = "put_off"
    REFUSE = "refuse"
    OPEN = ""


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


class SeasonType(StrEnum):
    """When a pest system is at work."""

    WARM = "warm"
    COOL = "cool"
    COOL_TWO_PEAKS = "cool_two_peaks"
    """Spring and autumn, with a rest in the heat of summer."""
    SPRING = "spring"
    CONTINUOUS = "continuous"


class WindowKind(StrEnum):
    """What a window of the season is for."""

    LOOK = "look"
    ACT = "act"
    TOO_LATE = "too_late"


class TreatmentClass(StrEnum):
    """How far a treatment comes in question, in classes of our own. None of them names a substance to use."""

    NONE = "none"
    DORMANT_ONLY = "dormant_only"
    CONTACT_WHEN_COUNTED = "contact_when_counted"
    LICENSED_ONLY = "licensed_only"


class TreatmentCaution(StrEnum):
    """What a treatment may do wrong."""

    KILLS_PREDATORS = "kills_predators"
    MISSES_THIS_MITE = "misses_this_mite"
    HOST_SENSITIVE_TO_OIL = "host_sensitive_to_oil"
    RESISTANCE = "resistance"


TREATMENT_CLASS_SAYS: dict[TreatmentClass, str] = {
    TreatmentClass.NONE: "No treatment is recommended.",
    TreatmentClass.DORMANT_ONLY: "Only a treatment of the dormant plant, at the moment stated, reaches the mites.",
    TreatmentClass.CONTACT_WHEN_COUNTED: "A contact treatment of the active stages, only after a person counted mites.",
    TreatmentClass.LICENSED_ONLY: "A treatment made for mites of this group, by a licensed applicator, after the label.",
}
TREATMENT_CAUTION_SAYS: dict[TreatmentCaution, str] = {
    TreatmentCaution.KILLS_PREDATORS: "Broad-spectrum treatments kill the mites' enemies and have made mites worse.",
    TreatmentCaution.MISSES_THIS_MITE: "Many treatments made for spider mites do nothing to mites of this group.",
    TreatmentCaution.HOST_SENSITIVE_TO_OIL: "The host may be harmed by oil.",
    TreatmentCaution.RESISTANCE: "Mites of this kind are reported to become resistant.",
}


class Mode(StrEnum):
    """Whether numbers are ranks and ratios only, or chances fitted to the survey history."""

    RELATIVE = "relative"
    CALIBRATED = "calibrated"


class SetUp(StrEnum):
    """What a crew has to set up before it can work at a site."""

    BED = "bed"
    TRAFFIC = "traffic"


RING_NAMES = ("core", "inner", "outer")
