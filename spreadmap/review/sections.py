"""The memo: each section answers one question in a sentence, then says why, then gives the list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from spreadmap.review import tables, words
from spreadmap.review.ahead import ahead_answer, ahead_details
from spreadmap.review.cautions import caution_words
from spreadmap.review.changes import changed_answer, changed_details
from spreadmap.review.costs import costs_answer, costs_details
from spreadmap.review.decide import removal_tools
from spreadmap.review.disposal import disposal_answer, disposal_of, doubts
from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.removal_list import removal_table
from spreadmap.review.removal_words import avoided_sentence, holes_sentence
from spreadmap.review.score import score_answer, score_details
from spreadmap.review.season import season_answer, season_parts
from spreadmap.review.season_says import season_says
from spreadmap.review.survey import survey_answer_words, survey_details
from spreadmap.review.tables import Bounds
from spreadmap.values.calendar import Season
from spreadmap.values.costs import CostTable
from spreadmap.values.results import SurveyResult, SystemResult, Triage
from spreadmap.values.score import SystemScore
from spreadmap.values.survey_answer import SurveyAnswer
from spreadmap.values.words import Mode, Verdict


def section(key: str, question: str, answer: object, *parts: object) -> Html:
    """Return one section; `key` is its place in the page and the view of the map that goes with it."""
    return tag(
        "section",
        tag("h2", question, id=f"{key}-title"),
        tag("p", answer, class_="answer"),
        *parts,
        id=key,
        aria_labelledby=f"{key}-title",
        data_view=key,
    )


def why(*sentences: str) -> Html | None:
    """Return a short paragraph of reasons; nothing where there are none."""
    said = [text for text in sentences if text]
    return tag("p", *spaced(said), class_="why") if said else None


def spaced(parts: Iterable[object]) -> list[object]:
    """Return parts with a blank between each two of them."""
    return [each for part in parts for each in (" ", part)][1:]


def listed(items: Iterable[object], *, class_: str | None = None) -> Html:
    """Return sentences as a list."""
    return tag("ul", *(tag("li", item) for item in items), class_=class_)


def of_system(say: Words, name: str, system: SystemResult, result: SurveyResult) -> str:
    """Return the question of a section, with the pest named where the page treats more than one."""
    question = say(f"{name}.question")
    return question if len(result.systems) == 1 else f"{question} · {sentence(words.name_of(say, system.triage))}"


def key_of(name: str, system: SystemResult, result: SurveyResult) -> str:
    """Return the key of a section, one per pest where there is more than one."""
    return name if len(result.systems) == 1 else f"{name}-{result.systems.index(system) + 1}"


def findings(say: Words, result: SurveyResult) -> Html:
    """Return what the findings are: every system, the harmless ones with their reasons."""
    ordered = sorted((item for item in result.triage if item.is_told_of), key=lambda item: not item.system.is_mapped)
    return section(
        "findings",
        say("findings.question"),
        words.findings_answer(say, result.triage),
        tables.triage_table(say, ordered) if ordered else None,
        *(finding(say, item, result) for item in ordered),
        other_systems(say, result),
    )


def other_systems(say: Words, result: SurveyResult) -> Html | None:
    """Return what else is on file and what it would mean; nothing where every system was looked for."""
    said = words.other_systems(say, result.triage)
    return join(tag("p", say("findings.on_file"), class_="lead-in"), listed(said)) if said else None


def finding(say: Words, item: Triage, result: SurveyResult) -> Html:
    """Return one pest: what its findings justify, its season, what it may be mistaken for."""
    system = item.system
    alike = (
        join(
            tag("p", say("findings.alike"), class_="lead-in"),
            listed(say.told(one.sentence) for one in system.look_alikes),
        )
        if system.look_alikes
        else None
    )
    return tag(
        "div",
        tag("h3", sentence(words.name_of(say, item))),
        tag("p", *verdict(say, item), class_="why"),
        tag("p", tag("b", say("findings.season")), " ", season_says(say, item, result.season), class_="why"),
        doubts(say, item),
        disposal_of(say, item, result),
        alike,
        class_="finding",
    )


def verdict(say: Words, item: Triage) -> tuple[object, ...]:
    """Return what was found and what that justifies: the verdict's own words in English, else from its kind."""
    if say.is_source:
        return (sentence(item.says),)
    return words.verdict_words(say, item), " ", say.told(item.system.verdict_reason)


def removal(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return what comes out this week, in order, with the cut-off and what stays undone."""
    work, key = system.plan.removal, key_of("removal", system, result)
    totals = ""
    if len(work):
        totals = say(
            "removal.totals",
            minutes=words.removal_minutes(work),
            hours=say.hours(float(work.cumulative_hours[-1])),
            people=result.settings.removal.people_per_crew,
        )
    dates = tables.dates_of(say, system)
    return section(
        key,
        of_system(say, "removal", system, result),
        words.removal_answer(say, system, result),
        why(say("removal.order_why") if len(work) else "", words.undone_sentence(say, system)),
        removal_tools(say, key, system, result) if len(work) else None,
        removal_table(say, key, system, result) if len(work) else None,
        why(totals, avoided_sentence(say, system, result)) if totals else None,
        why(say("removal.shoots", dates=dates)) if dates else None,
        why(holes_sentence(say, system)),
    )


def inspection(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return where the next survey looks first."""
    return section(
        key_of("inspection", system, result),
        of_system(say, "inspection", system, result),
        words.inspection_answer(say, system, result),
        why(
            say("inspection.order_why"),
            words.never_seen_sentence(say, system.triage),
            words.latency_sentence(say, result.settings),
        ),
        why(
            say("inspection.not_a_chance") if is_relative(system) else words.unseen_sentence(say, system),
            words.drawn_sentence(say, system),
        ),
        tables.inspection_table(say, system, result) if len(system.plan.inspection) else None,
    )


def survey(say: Words, system: SystemResult, result: SurveyResult, said: SurveyAnswer) -> Html:
    """Return what the last survey allows to be said, and what is drawn at random for the next one."""
    question = of_system(say, "survey", system, result)
    return section(
        key_of("survey", system, result), question, survey_answer_words(say, said), survey_details(say, said)
    )


def costs(say: Words, system: SystemResult, result: SurveyResult, table: CostTable) -> Html:
    """Return what the work and the next survey cost."""
    question = of_system(say, "costs", system, result)
    return section(key_of("costs", system, result), question, costs_answer(say, table), costs_details(say, table))


def lines(say: Words, system: SystemResult, result: SurveyResult, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return where the lines run, what happens inside, and whose land they cross."""
    zones = system.zones
    return section(
        key_of("lines", system, result),
        of_system(say, "lines", system, result),
        words.line_answer(say, system),
        why(
            say("lines.authority"),
            say("lines.edge"),
            say("lines.do"),
            words.release_sentence(say, zones, result.settings),
        ),
        tables.ring_table(say, zones, bounds) if zones.rings else None,
        tables.reach_table(say, zones) if zones.rings else None,
        tables.line_table(say, zones) if zones.lines else None,
    )


def sure(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return what the answers rest on."""
    faults = [fault for fault in result.inputs.faults if fault.weight == "assumed"]
    aside, synthetic = len(result.inputs.rejected), int(result.inputs.inventory.is_synthetic.sum())
    assumed = [*dict.fromkeys((*result.remarks, *system.plan.remarks, *(fault.sentence() for fault in faults)))]
    said = (
        words.kernel_sentence(say, result.settings) if is_relative(system) else say("calibrated.kernel"),
        words.map_sentence(say, system),
        words.wind_sentence(say, system),
        tag("span", *spaced(say.told(text) for text in system.reach_says)) if system.reach_says else "",
        words.reservoir_sentence(say, system),
        words.unseen_sentence(say, system),
        say("sure.synthetic", n=synthetic) if synthetic else "",
        say("sure.put_aside", rows=say("noun.row", n=aside)) if aside else say("sure.nothing_aside"),
    )
    return section(
        key_of("sure", system, result),
        of_system(say, "sure", system, result),
        words.sure_answer(say, system),
        listed(text for text in said if text),
        join(tag("h3", say("sure.assumed")), listed(say.told(text, begins=True) for text in assumed))
        if assumed
        else None,
    )


def season(say: Words, calendar: Season) -> Html:
    """Return the windows of the year: open, next and missed, and why nothing is done about cosmetic findings."""
    return section("season", say("season.question"), season_answer(say, calendar), *season_parts(say, calendar))


def cautions(say: Words, result: SurveyResult) -> Html:
    """Return the usual cautions of the work, and those of each pest."""
    own = [item.system.caution for item in result.triage if item.system.caution and item.is_told_of]
    usual = caution_words(say, result.settings.removal)
    items = [*usual, *(say.told(text) for text in dict.fromkeys(own))]
    return section("cautions", say("cautions.question"), say("cautions.answer"), listed(items))


def ahead(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return what comes by the horizon under every course of action."""
    return section(
        key_of("ahead", system, result),
        of_system(say, "ahead", system, result),
        ahead_answer(say, system.ahead),
        ahead_details(say, system.ahead),
    )


def score(say: Words, system: SystemResult, result: SurveyResult, scored: SystemScore) -> Html:
    """Return how the forecasts on record did, and where a plain rule was better."""
    return section(
        key_of("score", system, result),
        of_system(say, "score", system, result),
        score_answer(say, scored),
        score_details(say, scored),
    )


def changed(say: Words, system: SystemResult, result: SurveyResult) -> Html:
    """Return what changed since the survey before, with the switch between the two dates."""
    key = key_of("changed", system, result)
    question = of_system(say, "changed", system, result)
    return section(key, question, changed_answer(say, system), changed_details(say, key, system, result))


def told(say: Words, result: SurveyResult) -> Html:
    """Return two sentences for residents."""
    first, second = words.residents(say, result)
    return section("residents", say("residents.question"), first, tag("p", second, class_="answer"))


def is_relative(system: SystemResult) -> bool:
    """Return whether the numbers are ranks and ratios only."""
    return system.face.mode is Mode.RELATIVE


def memo(say: Words, result: SurveyResult, bounds: Mapping[tuple[int, str], Bounds]) -> Html:
    """Return all sections in the order in which they are read."""
    parts = [findings(say, result)]
    for system in result.systems:
        parts += [
            removal(say, system, result),
            *([costs(say, system, result, system.costs)] if system.costs is not None else []),
            ahead(say, system, result),
            inspection(say, system, result),
            *([survey(say, system, result, system.survey)] if system.survey is not None else []),
            lines(say, system, result, bounds),
        ]
    if result.season is not None:
        parts.append(season(say, result.season))
    parts += [changed(say, system, result) for system in result.systems]
    parts += [score(say, system, result, system.score) for system in result.systems if system.score is not None]
    parts.append(told(say, result))
    parts += [sure(say, system, result) for system in result.systems]
    parts.append(cautions(say, result))
    return join(*parts)


def in_short(say: Words, result: SurveyResult) -> Html:
    """Return what to do on the first working day, before any reason."""
    items: list[Html] = []

    def item(name: str, text: str, key: str) -> Html:
        return tag("li", tag("a", say(f"short.{name}"), href=f"#{key}"), tag("span", text))

    for system in result.systems:
        items += [
            item("take_out", words.removal_answer(say, system, result), key_of("removal", system, result)),
            item("look", words.inspection_answer(say, system, result), key_of("inspection", system, result)),
        ]
    for found in result.triage:
        if found.is_found and found.system.verdict in (Verdict.DISCARD_PLANT, Verdict.CUT_PARTS):
            does = "discard" if found.system.verdict is Verdict.DISCARD_PLANT else "cut"
            items.append(item(does, disposal_answer(say, found, result), "findings"))
    harmless = [found for found in result.triage if found.is_found and found.system.verdict is Verdict.NO_ACTION]
    if harmless:
        names = sentence(say.together([words.name_of(say, found) for found in harmless]))
        items.append(item("leave", say("short.no_plant", pests=names, n=len(harmless)), "findings"))
    if not items:
        items.append(item("nothing", words.findings_answer(say, result.triage), "findings"))
    return tag("ol", *items, class_="in-short")
