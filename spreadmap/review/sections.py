"""The memo: each section answers one question in a sentence, then says why, then gives the list."""

from __future__ import annotations

from collections.abc import Mapping

from spreadmap.decisions.cautions import removal_cautions
from spreadmap.review import tables, words
from spreadmap.review.ahead import ahead_answer, ahead_details
from spreadmap.review.changes import changed_answer, changed_details
from spreadmap.review.costs import costs_answer, costs_details
from spreadmap.review.decide import controls_of, removal_tools
from spreadmap.review.disposal import disposal_answer, disposal_of, doubts
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.removal_words import avoided_sentence, holes_sentence
from spreadmap.review.score import score_answer, score_details
from spreadmap.review.season import season_answer, season_parts
from spreadmap.review.survey import survey_answer_words, survey_details
from spreadmap.review.tables import Bounds
from spreadmap.values.calendar import Season
from spreadmap.values.costs import CostTable
from spreadmap.values.results import SurveyResult, SystemResult, Triage
from spreadmap.values.score import SystemScore
from spreadmap.values.survey_answer import SurveyAnswer
from spreadmap.values.words import Mode, Verdict


def section(key: str, question: str, answer: str, *parts: object) -> Html:
    """Return one section; `key` is its place in the page and, later, the view of the map that goes with it."""
    return tag(
        "section",
        tag("h2", question, id=f"{key}-title"),
        tag("p", answer, class_="answer"),
        *parts,
        id=key,
        aria_labelledby=f"{key}-title",
        data_view=key,
    )


def why(*sentences: str) -> Html:
    """Return a short paragraph of reasons."""
    return tag("p", " ".join(text for text in sentences if text), class_="why")


def listed(items: object, *, class_: str | None = None) -> Html:
    """Return sentences as a list."""
    return tag("ul", *(tag("li", item) for item in items), class_=class_)  # type: ignore[attr-defined]


def of_system(question: str, system: SystemResult, result: SurveyResult) -> str:
    """Return a question, with the pest named where the page treats more than one."""
    return question if len(result.systems) == 1 else f"{question} · {words.sentence(system.triage.system.common_name)}"


def key_of(name: str, system: SystemResult, result: SurveyResult) -> str:
    """Return the key of a section, one per pest where there is more than one."""
    return name if len(result.systems) == 1 else f"{name}-{result.systems.index(system) + 1}"


def findings(result: SurveyResult) -> Html:
    """Return what the findings are: every system, the harmless ones with their reasons."""
    ordered = sorted((item for item in result.triage if item.is_told_of), key=lambda item: not item.system.is_mapped)
    return section(
        "findings",
        "What the findings are",
        words.findings_answer(result.triage),
        tables.triage_table(ordered) if ordered else None,
        *(finding(item, result) for item in ordered),
        other_systems(result),
    )


def other_systems(result: SurveyResult) -> Html | None:
    """Return what else is on file and what it would mean; nothing where every system was looked for."""
    said = words.other_systems(result.triage)
    return (
        join(tag("p", "On file as well, neither looked for nor found:", class_="lead-in"), listed(said))
        if said
        else None
    )


def finding(item: Triage, result: SurveyResult) -> Html:
    """Return one pest: what its findings justify, its season, what it may be mistaken for."""
    system = item.system
    alike = (
        join(tag("p", "Not to be mistaken:", class_="lead-in"), listed(item.sentence for item in system.look_alikes))
        if system.look_alikes
        else None
    )
    return tag(
        "div",
        tag("h3", words.sentence(system.common_name)),
        why(words.sentence(item.says)),
        tag("p", tag("b", "Season. "), item.season_says, class_="why"),
        doubts(item),
        disposal_of(item, result),
        alike,
        class_="finding",
    )


def removal(system: SystemResult, result: SurveyResult) -> Html:
    """Return what comes out this week, in order, with the cut-off and what stays undone."""
    work = system.plan.removal
    settings = result.settings.removal
    totals = ""
    if len(work):
        totals = (
            f"The whole list: {words.amount(words.removal_minutes(work))} person-minutes with set-up and travel, "
            f"{words.hours(float(work.cumulative_hours[-1]))} for a crew of {settings.people_per_crew}."
        )
    dates = tables.dates_of(system)
    return section(
        key_of("removal", system, result),
        of_system("What to take out this week, in order", system, result),
        words.removal_answer(system, result),
        why(
            "Order: what a plant sends to plants still healthy, per person-minute, set-up and travel included. Every "
            "confirmed plant is on the list; crew hours only draw the cut-off."
            if len(work)
            else "",
            words.undone_sentence(system),
        ),
        removal_tools(key_of("removal", system, result), system, result) if len(work) else None,
        tables.removal_table(system, result, controls_of(system, result)) if len(work) else None,
        why(totals, avoided_sentence(system, result)) if totals else None,
        why(f"Look for new shoots from the root of what comes out first: {dates}.") if dates else None,
        why(holes_sentence(system)) if holes_sentence(system) else None,
    )


def inspection(system: SystemResult, result: SurveyResult) -> Html:
    """Return where the next survey looks first."""
    return section(
        key_of("inspection", system, result),
        of_system("Where to look next", system, result),
        words.inspection_answer(system, result),
        why(
            words.LOOKING_ORDER,
            words.never_seen_sentence(system.triage),
            words.latency_sentence(result.settings),
            words.NOT_A_CHANCE if is_relative(system) else "",
        ),
        tables.inspection_table(system, result) if len(system.plan.inspection) else None,
    )


def survey(system: SystemResult, result: SurveyResult, said: SurveyAnswer) -> Html:
    """Return what the last survey allows to be said, and what is drawn at random for the next one."""
    question = of_system("What the last survey allows to be said, and what it does not", system, result)
    return section(key_of("survey", system, result), question, survey_answer_words(said), survey_details(said))


def costs(system: SystemResult, result: SurveyResult, table: CostTable) -> Html:
    """Return what the work and the next survey cost."""
    question = of_system("What it costs", system, result)
    return section(key_of("costs", system, result), question, costs_answer(table), costs_details(table))


def lines(system: SystemResult, result: SurveyResult, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return where the lines run, what happens inside, and whose land they cross."""
    zones = system.zones
    return section(
        key_of("lines", system, result),
        of_system("Where the line runs", system, result),
        words.line_answer(system),
        why(
            words.AUTHORITY,
            "A ring is the smallest area that holds its share of what its focus sends; its edge is not the edge of the "
            "disease.",
            words.RINGS_DO,
            words.release_sentence(zones),
        ),
        tables.ring_table(zones, bounds) if zones.rings else None,
        tables.reach_table(zones) if zones.rings else None,
        tables.line_table(zones) if zones.lines else None,
    )


def sure(system: SystemResult, result: SurveyResult) -> Html:
    """Return what the answers rest on."""
    faults = [fault for fault in result.inputs.faults if fault.weight == "assumed"]
    aside = len(result.inputs.rejected)
    put_aside = (
        f"{words.several(aside, 'row')} of the inputs could not be used; they stand in rejected_rows.csv with reasons."
        if aside
        else "No row of the inputs was put aside."
    )
    synthetic = int(result.inputs.inventory.is_synthetic.sum())
    places = (
        f"{words.several(synthetic, 'plant')} of beds with a count {'stands' if synthetic == 1 else 'stand'} on synthetic "
        "positions, never surveyed ones."
        if synthetic
        else ""
    )
    assumed = [*dict.fromkeys((*result.remarks, *system.plan.remarks, *(fault.sentence() for fault in faults)))]
    return section(
        key_of("sure", system, result),
        of_system("How sure this is", system, result),
        words.sure_answer(system),
        listed(
            text
            for text in (
                words.kernel_sentence(result.settings),
                words.wind_sentence(system),
                " ".join(system.reach_says),
                words.reservoir_sentence(system),
                words.unseen_sentence(system),
                places,
                put_aside,
            )
            if text
        ),
        join(tag("h3", "Said and assumed by this run"), listed(words.sentence(text) for text in assumed))
        if assumed
        else None,
    )


def season(calendar: Season) -> Html:
    """Return the windows of the year: open, next and missed, and why nothing is done about cosmetic findings."""
    question = "Season: what is open, what comes next, what was missed"
    return section("season", question, season_answer(calendar), *season_parts(calendar))


def cautions(result: SurveyResult) -> Html:
    """Return the usual cautions of the work, and those of each pest."""
    own = [item.system.caution for item in result.triage if item.system.caution and item.is_told_of]
    return section(
        "cautions",
        "Before anyone digs",
        "Buried lines located, owners told, traffic set up, gloves on: before the first spade goes in.",
        listed((*removal_cautions(result.settings.removal), *dict.fromkeys(own))),
    )


def ahead(system: SystemResult, result: SurveyResult) -> Html:
    """Return what comes by the horizon under every course of action."""
    return section(
        key_of("ahead", system, result),
        of_system("What each course of action avoids", system, result),
        ahead_answer(system.ahead),
        ahead_details(system.ahead),
    )


def score(system: SystemResult, result: SurveyResult, scored: SystemScore) -> Html:
    """Return how the forecasts on record did, and where a plain rule was better."""
    question = of_system("How we did", system, result)
    return section(key_of("score", system, result), question, " ".join(score_answer(scored)), score_details(scored))


def changed(system: SystemResult, result: SurveyResult) -> Html:
    """Return what changed since the survey before, with the switch between the two dates."""
    key = key_of("changed", system, result)
    question = of_system("What changed since the last survey", system, result)
    return section(key, question, changed_answer(system), changed_details(key, system, result))


def told(result: SurveyResult) -> Html:
    """Return two sentences for residents."""
    first, second = words.residents(result)
    return section("residents", "What residents are told", first, tag("p", second, class_="answer"))


def is_relative(system: SystemResult) -> bool:
    """Return whether the numbers are ranks and ratios only."""
    return system.face.mode is Mode.RELATIVE


def memo(result: SurveyResult, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return all sections in the order in which they are read."""
    parts = [findings(result)]
    for system in result.systems:
        parts += [
            removal(system, result),
            *([costs(system, result, system.costs)] if system.costs is not None else []),
            ahead(system, result),
            inspection(system, result),
            *([survey(system, result, system.survey)] if system.survey is not None else []),
            lines(system, result, bounds),
        ]
    if result.season is not None:
        parts.append(season(result.season))
    parts += [changed(system, result) for system in result.systems]
    parts += [score(system, result, system.score) for system in result.systems if system.score is not None]
    parts.append(told(result))
    parts += [sure(system, result) for system in result.systems]
    parts.append(cautions(result))
    return join(*parts)


def in_short(result: SurveyResult) -> Html:
    """Return what to do on the first working day, before any reason."""
    items: list[Html] = []

    def item(name: str, text: str, key: str) -> Html:
        return tag("li", tag("a", name, href=f"#{key}"), tag("span", text))

    for system in result.systems:
        items += [
            item("Take out", words.removal_answer(system, result), key_of("removal", system, result)),
            item("Look", words.inspection_answer(system, result), key_of("inspection", system, result)),
        ]
    harmless = [found for found in result.triage if found.is_found and found.system.verdict is Verdict.NO_ACTION]
    for found in result.triage:
        if found.is_found and found.system.verdict in (Verdict.DISCARD_PLANT, Verdict.CUT_PARTS):
            does = "Discard" if found.system.verdict is Verdict.DISCARD_PLANT else "Cut"
            items.append(item(does, disposal_answer(found, result), "findings"))
    if harmless:
        names = words.together([found.system.common_name for found in harmless])
        items.append(
            item(
                "Leave",
                f"{words.sentence(names)}: no plant comes out for {'it' if len(harmless) == 1 else 'them'}.",
                "findings",
            )
        )
    if not items:
        items.append(item("Nothing", words.findings_answer(result.triage), "findings"))
    return tag("ol", *items, class_="in-short")
