"""Every column of every delivered layer: its long name, its short name for Shapefiles, type, unit and meaning.

A value that can be missing has a code that says "not assessed": -9999 for numbers, an empty text with an empty date,
U for Y/N flags. Zero never means "not assessed". Short names never change between deliveries.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from spreadmap.values.calendar import Basis, WindowState
from spreadmap.values.plan import BEARINGS
from spreadmap.values.survey_answer import Basis as SurveyBasis
from spreadmap.values.words import RING_NAMES, Decision, Evidence, SetUp, SizeClass, Status, WindowKind

NOT_ASSESSED = -9999
FLAGS = ("Y", "N", "U")
SHORT_LENGTH = 10


class Kind(StrEnum):
    """What a column holds: keys and words, whole numbers, numbers, a calendar day, or Y, N, U."""

    TEXT = "text"
    WHOLE = "whole number"
    NUMBER = "number"
    DATE = "date"
    FLAG = "flag"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column. `width` is the room kept for a text in a Shapefile [bytes]; longer texts widen it, up to 254."""

    name: str
    short: str
    kind: Kind
    unit: str
    meaning: str
    missing: str = "never missing"
    allowed: tuple[str, ...] = ()
    width: int = 0


def _text(name: str, short: str, width: int, meaning: str, *, missing: str = "empty text",
          allowed: tuple[str, ...] = ()) -> Column:  # fmt: skip
    """Return a column of texts."""
    return Column(
        name=name, short=short, kind=Kind.TEXT, unit="-", meaning=meaning, missing=missing, allowed=allowed, width=width
    )


def _number(name: str, short: str, unit: str, meaning: str, *, whole: bool = False, can_miss: bool = False) -> Column:
    """Return a column of numbers."""
    missing = str(NOT_ASSESSED) if can_miss else "never missing"
    kind = Kind.WHOLE if whole else Kind.NUMBER
    return Column(name=name, short=short, kind=kind, unit=unit, meaning=meaning, missing=missing)


def _date(name: str, short: str, meaning: str) -> tuple[Column, Column]:
    """Return a day twice: as a date, and as text YYYY-MM-DD for programs that read dates differently."""
    day = Column(name=name, short=short, kind=Kind.DATE, unit="day", meaning=meaning, missing="empty date (null)")
    text = _text(f"{name}_text", f"{short}_t", 10, f"{meaning}; as text YYYY-MM-DD")
    return day, text


def _flag(name: str, short: str, meaning: str, *, missing: str = "U") -> Column:
    """Return a column of Y, N and U."""
    return Column(name=name, short=short, kind=Kind.FLAG, unit="-", meaning=meaning, missing=missing, allowed=FLAGS)


FACE = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _text("quantity", "quantity", 40, "What the numbers of the model say", missing="never missing"),
    _text("unit", "unit", 60, "Unit of these numbers", missing="never missing"),
    *_date("period_from", "per_from", "First day of the period the numbers hold for"),
    *_date("period_to", "per_to", "Last day of the period the numbers hold for"),
    _text("condition", "condition", 40, "What is assumed to be done in the period", missing="never missing"),
    _text(
        "mode",
        "mode",
        10,
        "relative: ranks and ratios only; calibrated: chances by a fit to the survey history",
        missing="never missing",
        allowed=("relative", "calibrated"),
    ),
    *_date("as_of", "as_of", "Date of the state of the plants"),
    *_date("valid_until", "valid_to", "After this day a newer delivery replaces this one"),
)
"""What every layer says of itself, row by row."""

IS_CUT = _flag("is_cut", "is_cut", "Y: a text of this row was cut at 254 bytes here, or has ? for letters of another "
               "encoding; it is whole in the other formats", missing="never missing")  # fmt: skip

_PLANT = (
    _text("plant_id", "plant_id", 32, "Key of the plant, as the inventory gives it", missing="never missing"),
    _text("bed_id", "bed_id", 24, "Bed"),
    _text("site_id", "site_id", 24, "Site"),
    _text("owner", "owner", 40, "Owner of the plant"),
    _text("host", "host", 40, "Scientific name as given"),
    _text("size_class", "size", 4, "Size of the plant", allowed=tuple(SizeClass)),
)
_PLACE = (
    _flag("is_synthetic", "synthetic", "Y: spread over a bed with a count; never a surveyed position"),
    _number("position_precision_m", "precis_m", "m", "Precision of the position", can_miss=True),
    _text("note", "note", 40, "Note of the inventory"),
)
_RANKS = (
    _number("rank_low", "rank_low", "-", "Best rank over scale run and assumed rates, or draws of a fit", whole=True),
    _number("rank_high", "rank_high", "-", "Worst rank over the same", whole=True),
    _flag("rank_holds", "rank_holds", "Y: stays on its side of the cut-off in all of it"),
    _text("reason", "reason", 80, "Why it stands where it stands on the list"),
)

REMOVAL_LIST = (
    *_PLANT,
    _number("rank", "rank", "-", "Order of removal, 1 first", whole=True),
    _text("evidence", "evidence", 16, "On what the finding rests", allowed=tuple(e for e in Evidence if e)),
    *_date("found_on", "found_on", "First confirmed finding on record"),
    _text("action", "action", 40, "What to do", missing="never missing"),
    _number("onward_relative", "onward", "unit of pressure",
            "What it sends to plants still healthy, in medium plants each 10 m from one confirmed medium plant"),
    _number("person_minutes", "person_min", "person-minutes", "Work on the plant alone"),
    _number("set_up_minutes", "set_up_min", "person-minutes", "Set-up and travel it adds to those before it"),
    _text("set_up", "set_up", 8, "Kind of set-up at its site", allowed=tuple(SetUp)),
    _number("cumulative_hours", "cum_hours", "crew hours", "Crew hours used when it is out"),
    _flag("within_hours", "within_hrs", "Y: this week's crew hours reach it"),
    *_date("earliest_on", "earliest", "First day on which digging can start: locate ticket, notice and working days"),
    _number("week", "week", "-", "Week of work, 1 the first; 0: none planned", whole=True),
    *_date("planned_on", "planned", "Day of work, if all before it goes as planned"),
    _number("day_order", "day_order", "-", "Order in the day's work, beds with fewer confirmed plants first; 0: no day",
            whole=True),
    _number("avoided", "avoided", "share or infections",
            "What its removal avoids after those before it: share of the list's arrivals in relative mode, infections in "
            "calibrated mode"),
    _number("cost", "cost", "currency of the settings", "Labour with set-up, disposal and replacement"),
    _flag("is_green", "is_green", "Y: no finding, on the list by the model alone; test first"),
    _text("decision", "decision", 8, "What the manager decided; put_off and refuse stand outside the plan",
          allowed=tuple(each for each in Decision if each)),
    _text("decision_reason", "dec_reason", 40, "Why, in the manager's words"),
    *_date("regrowth_1_on", "regrow_1", "First check for regrowth, if removed on the earliest day"),
    *_date("regrowth_2_on", "regrow_2", "Second check for regrowth"),
    *_date("regrowth_3_on", "regrow_3", "Third check for regrowth"),
    *_date("regrowth_4_on", "regrow_4", "Fourth check for regrowth"),
    *_date("bud_break_on", "bud_brk", "Check at the next bud break"),
    *_date("replant_from", "replant", "First day on which roses may stand there again, if nothing is found meanwhile"),
    *_RANKS,
    _text("cautions", "cautions", 80, "Cautions for this plant; the usual ones stand in the workbook and the summary"),
    *_PLACE,
    IS_CUT,
    *FACE,
)  # fmt: skip

INSPECTION_LIST = (
    *_PLANT,
    _number("rank", "rank", "-", "Order of inspection, 1 first", whole=True),
    _text("status", "status", 16, "Status on the as-of date", missing="never missing", allowed=tuple(Status)),
    *_date("last_inspected_on", "last_ins", "Last inspection on record"),
    _number("relative_pressure", "pressure", "unit of pressure", "Relative infection pressure on the plant"),
    _number("pressure_class", "p_class", "-", "Class of pressure by the fixed breaks, 1 lowest", whole=True),
    _flag("is_touching", "touching", "Y: within touching distance of a confirmed plant"),
    _number("distance_m", "distance_m", "m", "Distance to the nearest confirmed plant", can_miss=True),
    _number("interval_days", "every_days", "days", "How often to look", whole=True),
    *_date("due_on", "due_on", "Next inspection"),
    _number("person_minutes", "person_min", "person-minutes", "Time for one look"),
    _number(
        "set_up_minutes", "set_up_min", "person-minutes", "Way to its bed, where it is the first one there by rank"
    ),
    _number(
        "worth",
        "worth",
        "-",
        "What a look is worth, 100 where it is worth most: what speaks for its being infected "
        "times what it would send onward",
    ),
    _flag("within_hours", "within_hrs", "Y: the hours of the next survey reach it"),
    _number("walk_order", "walk", "-", "Place in the walk, 1 first; 0: the hours do not reach it", whole=True),
    _flag("is_random", "random", "Y: drawn at random, so that a clean survey becomes a statement"),
    _flag("is_overdue", "overdue", "Y: its interval has run out by the day of the next survey"),
    *_RANKS,
    *_PLACE,
    IS_CUT,
    *FACE,
)

PLANTS = (
    *_PLANT,
    _text("status", "status", 16, "Status on the as-of date; not_inspected is never the same as clean",
          missing="never missing", allowed=tuple(Status)),
    _text("evidence", "evidence", 16, "On what the status rests", allowed=tuple(e for e in Evidence if e)),
    *_date("status_on", "stat_on", "Date of the status"),
    *_date("first_found_on", "found_on", "First confirmed finding on record"),
    *_date("last_inspected_on", "last_ins", "Last inspection on record"),
    _number("inspections", "inspects", "-", "Inspections on record up to the as-of date", whole=True),
    *_date("removed_on", "removed", "Day of removal"),
    _text("roots_complete", "roots", 8, "Whether the whole root system came out", allowed=("yes", "partly", "no")),
    _flag("has_regrowth", "regrowth", "Y: a sprout was seen after removal and not taken out since"),
    _flag("is_standing", "standing", "N: taken out or not found"),
    _flag("is_host", "is_host", "Y: the pest system can live on it"),
    _number("relative_pressure", "pressure", "unit of pressure",
            "Relative infection pressure; standing hosts without a confirmed finding only", can_miss=True),
    _number("pressure_class", "p_class", "-", "Class of pressure by the fixed breaks, 1 lowest", whole=True,
            can_miss=True),
    _flag("is_touching", "touching", "Y: within touching distance of a confirmed plant"),
    *_PLACE,
    IS_CUT,
    *FACE,
)  # fmt: skip

ZONES = (
    _text("zone", "zone", 40, "ring, or the name of the line of a rule of thumb", missing="never missing"),
    _number("focus", "focus", "-", "Number of the focus, largest first; lines have none", whole=True, can_miss=True),
    _text("ring", "ring", 8, "Which ring; what is done inside is its own column", allowed=(*RING_NAMES, "line"),
          missing="never missing"),
    _number("share", "share", "-", "Share of the focus's arrivals inside, by definition of the ring", can_miss=True),
    _number("area_m2", "area_m2", "m2", "Area"),
    _number("area_low_m2", "area_low", "m2", "Smallest area over the scale run, or over draws of the fit", can_miss=True),
    _number("area_high_m2", "area_high", "m2", "Largest area over the same", can_miss=True),
    _number("reach_far_m", "reach_far", "m", "Farthest distance of the line from the focus's centre",
            can_miss=True),
    _number("reach_near_m", "reach_near", "m", "Nearest distance of the line from the focus's centre", can_miss=True),
    _number("distance_m", "distance_m", "m", "Distance of a rule-of-thumb line from confirmed plants", can_miss=True),
    _number("plants_inside", "plants_in", "-", "Plants of the inventory inside", whole=True, can_miss=True),
    _number("confirmed_in_focus", "confirmed", "-", "Confirmed plants of the focus", whole=True, can_miss=True),
    _number("host_share", "host_share", "-", "Share of the arrivals on host plants that falls inside", can_miss=True),
    _number("infection_share", "infec_shr", "-", "Share of expected new infections that falls inside", can_miss=True),
    _number("inspect_every_days", "every_days", "days", "How often to look inside", whole=True, can_miss=True),
    _text("sites", "sites", 40, "Sites it touches"),
    _text("owners", "owners", 40, "Owners it touches"),
    _text("parcels", "parcels", 40, "Keys of the sites or parcels that a ring shares ground with"),
    _text("reservoirs", "reservoirs", 40, "Wild stands inside a line"),
    _text("advice", "advice", 80, "What to do inside"),
    _text("source", "source", 80, "Where the rule of a line comes from"),
    _text("release", "release", 80, "What must be seen for how long before a ring may be lifted"),
    *_date("lift_from", "lift_on", "First day on which a ring may be lifted, if all came out on the as-of date"),
    _text("recommended", "recommend", 80, "Standing of the zone", missing="never missing"),
    IS_CUT,
    *FACE,
)  # fmt: skip

ZONE_RANGES = (
    _number("focus", "focus", "-", "Number of the focus, largest first", whole=True),
    _text("ring", "ring", 8, "Ring", missing="never missing", allowed=RING_NAMES),
    _number("share", "share", "-", "Share of the focus's arrivals inside"),
    _text("bound", "bound", 8, "low: the smallest area over the run; high: the largest", missing="never missing",
          allowed=("low", "high")),
    _number("area_m2", "area_m2", "m2", "Area"),
    IS_CUT,
    *FACE,
)  # fmt: skip

BLOCKS = (
    _text("block", "block", 24, "Block of 50 m, by the corner south-west in the working CRS of the project",
          missing="never missing"),
    _number("host_plants", "hosts", "-", "Host plants standing in the block", whole=True),
    _text("confirmed", "confirmed", 8, "Confirmed plants, in bands", missing="never missing",
          allowed=("none", "1-4", "5-19", "20+", "not stated")),
    _number("pressure_class", "p_class", "-", "Class of the mean relative pressure on the block's hosts, 1 lowest",
            whole=True, can_miss=True),
    *FACE,
)  # fmt: skip

LAYERS: dict[str, tuple[Column, ...]] = {
    "removal_list": REMOVAL_LIST,
    "inspection_list": INSPECTION_LIST,
    "zones": ZONES,
    "zone_ranges": ZONE_RANGES,
    "plants": PLANTS,
    "blocks": BLOCKS,
}
"""The columns of every layer, in their order."""

GEOMETRY = {
    "removal_list": "Point",
    "inspection_list": "Point",
    "zones": "MultiPolygon",
    "zone_ranges": "MultiPolygon",
    "plants": "Point",
    "blocks": "Polygon",
}
"""The one geometry type of every layer."""

POSITION = (
    _number("easting", "easting", "m", "Position in the CRS of the delivery, rounded to 0.001"),
    _number("northing", "northing", "m", "Position in the CRS of the delivery, rounded to 0.001"),
    _number("longitude", "longitude", "deg", "WGS 84, rounded to 1e-7"),
    _number("latitude", "latitude", "deg", "WGS 84, rounded to 1e-7"),
)
"""Columns that tables without geometry carry besides."""

_FOUND = _flag("is_confirmed", "confirmed", "Y: confirmed; N: suspect, look again first", missing="never missing")

DISCARD_LIST = (
    *_PLANT,
    _number("rank", "rank", "-", "Order, confirmed plants first", whole=True),
    _FOUND,
    _text("action", "action", 80, "What to do with the plant as it stands; no root work", missing="never missing"),
    _text("how", "how", 80, "How it is done"),
    _text("reason", "reason", 80, "Why the system asks for it", missing="never missing"),
    _text("caution", "caution", 80, "What to mind"),
    *_PLACE,
    *FACE,
)

CUT_LIST = (
    *_PLANT,
    _number("rank", "rank", "-", "Order, what is due first before the rest", whole=True),
    _FOUND,
    _text("part", "part", 40, "Part that is cut off; the plant stays", missing="never missing"),
    *_date("begins_on", "begins", "First day on which it is cut"),
    *_date("ends_on", "ends", "Last day on which it is cut"),
    _text("how", "how", 80, "How it is cut and destroyed", missing="never missing"),
    _text("reason", "reason", 80, "Why the system asks for it", missing="never missing"),
    _text("caution", "caution", 80, "What to mind"),
    *_PLACE,
    *FACE,
)

_BASES = tuple(basis.value for basis in Basis)


def _season_day(name: str, short: str, which: str) -> tuple[Column, ...]:
    """Return the columns of a first or last day."""
    return (
        *_date(f"{name}_on", f"{short}_on", f"{which} day, by what counts"),
        *_date(f"{name}_earliest", f"{short}_min", f"Earliest {which.lower()} day of the spread"),
        *_date(f"{name}_latest", f"{short}_max", f"Latest {which.lower()} day of the spread"),
        _text(f"{name}_basis", f"{short}_basis", 28, f"On what the {which.lower()} day rests", missing="never missing",
              allowed=_BASES),
        *_date(f"{name}_by_dates", f"{short}_date", f"{which} day by the dates on file"),
        *_date(f"{name}_by_degree_days", f"{short}_heat", f"{which} day by degree-days"),
        _number(f"{name}_difference_days", f"{short}_diff", "d", "Days by which degree-days come later than dates",
                whole=True, can_miss=True),
    )  # fmt: skip


CALENDAR = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _text("common_name", "name", 40, "Pest system in words", missing="never missing"),
    _text("site_id", "site_id", 24, "Site that has hosts; empty for hosts without a site"),
    _text("site", "site", 40, "Name of the site"),
    _number("hosts", "hosts", "plants", "Standing hosts on the site", whole=True),
    _number("findings", "findings", "plants", "Of them confirmed or suspect", whole=True),
    _text("window", "window", 60, "Name of the window", missing="never missing"),
    _text("kind", "kind", 8, "What the window is for", missing="never missing", allowed=tuple(WindowKind)),
    _text("state", "state", 8, "Where the date of the state lies", missing="never missing", allowed=tuple(WindowState)),
    *_season_day("begins", "beg", "First"),
    *_season_day("ends", "end", "Last"),
    _text("advice", "advice", 80, "What to do in the window", missing="never missing"),
    _text("rests_on", "rests_on", 80, "On what the days rest, in sentences", missing="never missing"),
    _text("status", "status", 8, "How well the window is known", missing="never missing"),
    _text("source", "source", 80, "Where the window comes from", missing="never missing"),
    *_date("as_of", "as_of", "Date of the state"),
)

SCENARIOS = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _text("row", "row", 12, "What the row tells", missing="never missing", allowed=("course", "comparison")),
    _text("course", "course", 32, "Course of action, by its key", missing="never missing"),
    _text("against", "against", 32, "Course of action it is compared with"),
    _text("says", "says", 80, "Course of action or comparison in words", missing="never missing"),
    _number("taken_out", "taken_out", "plants", "Plants that come out by plan before the horizon", whole=True, can_miss=True),
    _number("surveys", "surveys", "-", "Surveys before the horizon", whole=True, can_miss=True),
    _number("share_avoided", "share", "-", "Share of the new cases under nothing done that the course avoids", can_miss=True),
    _number("share_low", "share_low", "-", "Least share over the draws of rates and law", can_miss=True),
    _number("share_high", "share_hi", "-", "Largest share over the draws of rates and law", can_miss=True),
    _flag("holds", "holds", "Y: the course leaves fewer new cases than the other over all of the range"),
    _number("ratio_low", "ratio_low", "-", "New cases over those of the other course, least of the draws", can_miss=True),
    _number("ratio_high", "ratio_hi", "-", "New cases over those of the other course, largest of the draws", can_miss=True),
    _text("mode", "mode", 10, "relative: shares and ratios only", missing="never missing",
          allowed=("relative", "calibrated")),
    *_date("as_of", "as_of", "Date of the state of the plants"),
    *_date("next_survey_on", "next_on", "Next survey"),
    *_date("horizon_on", "horizon", "Horizon: what is infected up to its morning counts"),
    _number("seed", "seed", "-", "Seed of the random numbers", whole=True),
    _number("outbreaks", "outbreaks", "-", "Outbreaks drawn for every course", whole=True),
    _text("rests_on", "rests_on", 80, "On what the rates rest", missing="never missing"),
)  # fmt: skip


def _cases(name: str, short: str, what: str) -> tuple[Column, ...]:
    """Return the columns of a number of plants: mean, and middle 50 and 90 % of the outbreaks."""
    return (
        _number(f"{name}_expected", f"{short}_mean", "plants", f"{what}: mean of the outbreaks", can_miss=True),
        _number(f"{name}_low_50", f"{short}_25", "plants", f"{what}: a quarter lie below", can_miss=True),
        _number(f"{name}_high_50", f"{short}_75", "plants", f"{what}: a quarter lie above", can_miss=True),
        _number(f"{name}_low_90", f"{short}_05", "plants", f"{what}: a twentieth lie below", can_miss=True),
        _number(f"{name}_high_90", f"{short}_95", "plants", f"{what}: a twentieth lie above", can_miss=True),
    )


SCENARIO_NUMBERS = (
    *_cases("by_next_survey", "srv", "New cases by the next survey"),
    *_cases("by_horizon", "hor", "New cases by the horizon"),
    *_cases("avoided", "avd", "New cases avoided, outbreak by outbreak"),
)
"""Columns of scenarios.csv in calibrated mode only."""

PLANTS_AHEAD = (
    _number("infected_by_survey", "inf_survey", "-", "Chance of being infected by the next survey, if nothing is done",
            can_miss=True),
    _number("infected_by_horizon", "inf_horiz", "-", "Chance of being infected by the horizon, if nothing is done",
            can_miss=True),
    _number("showing_by_survey", "show_surv", "-", "Chance of showing symptoms by the next survey, if nothing is done",
            can_miss=True),
    _number("showing_by_horizon", "show_hor", "-", "Chance of showing symptoms by the horizon, if nothing is done",
            can_miss=True),
    *_date("ahead_first_on", "first_on", "If it becomes infected by the horizon, it is by this day in half of the outbreaks"),
)  # fmt: skip
"""Columns of the plants layer in calibrated mode only, behind all others."""

SURVEY_STATEMENT = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _text("site_id", "site_id", 24, "Site; empty for all sites together"),
    _text("place", "place", 40, "Name of the site", missing="never missing"),
    *_date("first_on", "first_on", "First day of the last survey"),
    *_date("last_on", "last_on", "Last day of the last survey"),
    _number("plants", "plants", "plants", "Standing hosts not confirmed before the survey", whole=True),
    _number("looked_at", "looked_at", "plants", "Of them looked at", whole=True),
    _number("drawn", "drawn", "plants", "Of them drawn at random, by the note of their rows", whole=True),
    _text("basis", "basis", 20, "How the plants that count were chosen", missing="never missing",
          allowed=tuple(basis.value for basis in SurveyBasis)),
    _number("counted", "counted", "plants", "Plants the statement rests on", whole=True),
    _number("noticed", "noticed", "plants", "Confirmed or suspect among them", whole=True),
    _number("sensitivity", "sensitiv", "-", "Share of showing plants that one look notices, mean"),
    _number("design_plants", "design_n", "plants", "Showing plants at the design prevalence, rounded down, 1 at least",
            whole=True),
    _number("confidence", "confidence", "-", "Confidence that fewer plants than that showed symptoms; not told where one "
            "was noticed", can_miss=True),
    _number("most_showing_95", "most_95", "plants", "At most so many showed symptoms, at 95 % confidence", whole=True),
    _number("excluded_prevalence_95", "excluded", "-", "Smallest prevalence that is excluded at 95 % confidence",
            can_miss=True),
    _flag("is_statement", "statement", "N: plants were not drawn at random; a comparison, not a statement"),
    _number("size_needed", "needed", "plants", "Plants to draw at random for the design; missing: not reachable", whole=True,
            can_miss=True),
    _number("passes_needed", "passes", "-", "Passes over every plant for the design, at the least", whole=True,
            can_miss=True),
    _number("quick_size_needed", "quick_n", "plants", "Plants to draw at random for the quick check; missing: not "
            "reachable", whole=True, can_miss=True),
    _text("says", "says", 80, "What the survey allows to be said, and what it does not", missing="never missing"),
    *_date("as_of", "as_of", "Date of the state of the plants"),
)  # fmt: skip

COSTS = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _text("site", "site", 40, "Site", missing="never missing"),
    _text("owner", "owner", 40, "Owner"),
    _number("plants", "plants", "plants", "Plants of the removal list, beyond this week's hours too", whole=True),
    _number("removal_hours", "rem_hours", "person-hours", "Removal with set-up and travel"),
    _number("labour", "labour", "currency", "Labour of removal"),
    _number("disposal", "disposal", "currency", "Disposal"),
    _number("replacement", "replace", "currency", "Replacement, planting included"),
    _number("removal", "removal", "currency", "Labour, disposal and replacement"),
    _number("looked_at", "looked_at", "plants", "Plants the next survey looks at", whole=True),
    _number("inspection_hours", "ins_hours", "person-hours", "Looking with the way to the beds"),
    _number("inspection", "inspection", "currency", "Looking"),
    _number("tests", "tests", "samples", "Suspects that are sampled", whole=True),
    _number("testing", "testing", "currency", "Tests"),
    _number("total", "total", "currency", "Removal, looking and tests"),
    _text("currency", "currency", 8, "Currency, a word only", missing="never missing"),
    _text("standing", "standing", 80, "How far the sums can be trusted", missing="never missing"),
    *_date("as_of", "as_of", "Date of the state of the plants"),
)  # fmt: skip

RING_REACH = (
    _text("system", "system", 32, "Pest system, by its key", missing="never missing"),
    _number("focus", "focus", "-", "Number of the focus, largest first", whole=True),
    _text("ring", "ring", 8, "Ring", missing="never missing", allowed=RING_NAMES),
    _text("bearing", "bearing", 4, "Bearing from the centre of the focus, from grid north", missing="never missing",
          allowed=BEARINGS),
    _number("bearing_deg", "bear_deg", "deg", "The same in degrees, clockwise"),
    _number("reach_m", "reach_m", "m", "Farthest distance of the ring that way; 0: it does not lie that way"),
    *_date("as_of", "as_of", "Date of the state of the plants"),
    *_date("valid_until", "valid_to", "After this day a newer delivery replaces this one"),
)  # fmt: skip

REMOVAL_CURVE = (
    _number("crew_hours", "crew_hours", "crew hours", "Crew hours along the removal list, set-up and travel included"),
    _number("plants", "plants", "plants", "Plants taken out by then", whole=True),
    _number("share_avoided", "share", "-", "Share avoided of what all plants to be planned on the list would bring about"),
    _number("share_low", "share_low", "-", "Its least value over the scale run and the assumed rates, or over draws of the fit"),
    _number("share_high", "share_high", "-", "Its greatest value over the same"),
    _number("infections_avoided", "infections", "infections", "Infections avoided; calibrated mode only", can_miss=True),
    _number("infections_low", "inf_low", "infections", "Its least value over draws of the fit", can_miss=True),
    _number("infections_high", "inf_high", "infections", "Its greatest value over the same", can_miss=True),
    _text("share_of", "share_of", 80, "Of what it is a share", missing="never missing"),
    _text("mode", "mode", 10, "relative: ranks and ratios only", missing="never missing",
          allowed=("relative", "calibrated")),
    *_date("as_of", "as_of", "Date of the state"),
)  # fmt: skip

REGROWTH_CHECKS = (
    _text("plant_id", "plant_id", 32, "Key of the plant that was taken out", missing="never missing"),
    _text("bed_id", "bed_id", 24, "Bed"),
    _text("site_id", "site_id", 24, "Site"),
    *_date("removed_on", "removed", "Day of removal, the last one where a sprout was dug out"),
    _text("roots_complete", "roots", 8, "Whether the whole root system came out", allowed=("yes", "partly", "no")),
    *_date("checks_from", "chk_from", "Day from which checks count: removal, or the last sprout"),
    *_date("next_check_on", "next_chk", "Next check for sprouts; empty: all were made"),
    _flag("is_overdue", "overdue", "Y: that day has passed"),
    _flag("has_regrowth", "regrowth", "Y: a sprout stands there; it is on the removal list"),
    _flag("is_reopened", "reopened", "Y: the order was opened again; it is on the removal list"),
    *_date("replant_from", "replant", "First day on which roses may stand there again, if nothing is found meanwhile"),
    _flag("is_case_near", "case_near", "Y: a confirmed plant stands near by, so that the clean months have not begun"),
    *_date("as_of", "as_of", "Date of the state"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "discard_list": DISCARD_LIST, "cut_list": CUT_LIST, "calendar": CALENDAR, "scenarios": SCENARIOS,
    "survey_statement": SURVEY_STATEMENT, "costs": COSTS, "ring_reach": RING_REACH,
    "removal_curve": REMOVAL_CURVE, "regrowth_checks": REGROWTH_CHECKS,
}  # fmt: skip
"""Lists that are delivered as CSV only; the first two where a verdict asks for them and something was found."""
