"""Every pest system that comes with spreadmap: complete, cited, consistent with its own verdict."""

import datetime as dt
import re

import numpy as np
import pytest
from small_records import inventory_at, sites_of, state_with
from small_worlds import screens_of, spread_of

from spreadmap.decisions.disposal import dispose
from spreadmap.decisions.removal import rank_removals
from spreadmap.engine import Engine
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.records.identify import fitting_systems, matched_words, symptom_clauses
from spreadmap.records.triage import day_of_year
from spreadmap.values.settings import STATUSES, Settings
from spreadmap.values.words import TREATMENT_CAUTION_SAYS, TREATMENT_CLASS_SAYS, SeasonType, Verdict, WindowKind

SYSTEMS = read_pest_systems()
EVERY = pytest.mark.parametrize("system", SYSTEMS, ids=lambda system: system.key)
VERDICTS = {
    Verdict.REMOVE_WITH_ROOTS: {"rose_rosette"},
    Verdict.DISCARD_PLANT: {"broad_mite", "cyclamen_mite", "phalaenopsis_mite"},
    Verdict.CUT_PARTS: {"coneflower_rosette_mite"},
}
HOW_READ = re.compile(r"\((?:read|from memory|second-hand|common practice, no source)\b[^()]*\)$")
TODAY = dt.date(2026, 7, 20)


def cited(system):
    """Yield (status, source) of everything a file states."""
    yield system.flight_weight_status, system.flight_weight_source
    yield system.treatment.status, system.treatment.source
    if system.eppo_code:
        yield system.eppo_status, system.eppo_source
    parts = [system.overwintering, system.moving, system.damage, system.look_again, system.discard_how]
    parts += [*system.development, *system.windows, *system.cut_parts, *system.figures, *system.look_alikes]
    parts += [window.degree_days for window in system.windows]
    parts += [] if system.course is None else system.course.stated().values()
    parts += [statement for conflict in system.conflicts for statement in conflict.statements]
    for part in parts:
        if part is not None:
            yield part.status, part.source
    for window in system.windows:
        yield window.spread_status, window.spread_source


def test_there_are_nineteen_with_four_verdicts():
    assert len(SYSTEMS) == 19
    for verdict, keys in VERDICTS.items():
        assert {system.key for system in SYSTEMS if system.verdict is verdict} == keys
    assert sum(system.verdict is Verdict.NO_ACTION for system in SYSTEMS) == 14
    assert {system.season_type for system in SYSTEMS} == set(SeasonType)


@EVERY
def test_every_statement_has_a_status_and_a_source(system):
    statements = list(cited(system))
    assert len(statements) > 6
    for status, source in statements:
        assert status in STATUSES
        assert len(source.strip()) > 8
        # what rests on memory, on the trade, or on nothing is never called read
        if source.startswith(("from memory", "common practice", "None")):
            assert status in {"assumed", "trade"}
        if source.startswith("common practice"):
            assert status == "trade"
        if status == "trade":
            assert source.startswith("common practice, no source")


@EVERY
def test_every_source_says_how_it_was_read(system):
    assert system.sources
    for source in system.sources:
        assert HOW_READ.search(source), source


@EVERY
def test_the_parts_a_reader_needs_are_there(system):
    assert system.verdict_reason.endswith(".")
    assert "." not in system.verdict_reason[:-1]
    assert system.host_genera == tuple(dict.fromkeys(system.host_genera))
    assert all(re.fullmatch(r"[A-Z][a-z]+", genus) for genus in system.host_genera)
    assert system.symptom_words
    assert system.look_alikes
    assert system.windows_of(WindowKind.LOOK)
    assert None not in (system.overwintering, system.moving, system.damage)
    assert set(system.woody_genera) <= set(system.host_genera)
    assert re.fullmatch(r"[A-Z0-9]{5,6}", system.eppo_code) or not system.eppo_code


@EVERY
def test_its_own_symptom_words_find_it(system):
    for phrase in system.symptom_words:
        assert phrase in matched_words(symptom_clauses(f"seen: {phrase}"), system)
        fits = fitting_systems(system.host_genera[0], phrase, SYSTEMS)
        assert system.key in {fit.system.key for fit in fits}


@EVERY
def test_windows_lie_in_the_year_and_do_not_promise_too_much(system):
    for window in system.windows:
        assert day_of_year(2026, window.begins)
        assert 0 <= window.spread_days <= 31
        if window.kind is WindowKind.TOO_LATE:
            assert window.degree_days is None
        heat = window.degree_days
        if heat is not None:
            assert heat.unit in {"C", "F"}
            assert 0 <= heat.first < heat.last


@EVERY
def test_look_again_points_behind_the_damage(system):
    if system.look_again is None:
        return
    window = system.look_again_window
    assert window.kind is WindowKind.LOOK
    damage = system.look_again
    assert damage.seen_from <= damage.seen_to
    assert window.begins > damage.seen_to or window.begins < damage.seen_from


def test_cool_systems_say_when_to_look_again():
    for system in SYSTEMS:
        if system.season_type in {SeasonType.COOL, SeasonType.COOL_TWO_PEAKS}:
            assert system.look_again is not None, system.key
            assert system.windows_of(WindowKind.TOO_LATE), system.key


@EVERY
def test_conflicts_show_two_sources_at_least(system):
    for conflict in system.conflicts:
        assert len({statement.says for statement in conflict.statements}) == len(conflict.statements) >= 2


def test_every_class_and_caution_of_treatment_has_words():
    classes = {each for system in SYSTEMS for each in system.treatment.classes}
    cautions = {each for system in SYSTEMS for each in system.treatment.cautions}
    assert classes == set(TREATMENT_CLASS_SAYS)
    assert cautions == set(TREATMENT_CAUTION_SAYS)


@EVERY
def test_only_the_verdict_removal_with_roots_makes_a_removal_list(system):
    plants = inventory_at((0, 0), (5, 0), host=f"{system.host_genera[0]} species")
    state = state_with(plants, infected=[0], suspect=[1])
    arguments = (plants, sites_of(), state, spread_of(), screens_of(), system, Settings(), TODAY, (), Engine(workers=1))
    if system.verdict is Verdict.REMOVE_WITH_ROOTS:
        assert rank_removals(*arguments).plant.tolist() == [0]
        with pytest.raises(ValueError, match="stand on the removal list"):
            dispose(plants, state, system, TODAY)
        return
    with pytest.raises(ValueError, match="no removal list may be made"):
        rank_removals(*arguments)
    made = dispose(plants, state, system, TODAY)
    assert (len(made.discard) > 0) == (system.verdict is Verdict.DISCARD_PLANT)
    assert (len(made.parts) > 0) == (system.verdict is Verdict.CUT_PARTS)
    assert made.reason == system.verdict_reason
    if system.verdict is Verdict.NO_ACTION:
        assert "Nothing is removed" in made.remarks[0]


def test_degrees_are_turned_into_celsius():
    hemlock = next(system for system in SYSTEMS if system.key == "hemlock_rust_mite")
    heat = hemlock.windows[0].degree_days
    # by hand: 50 F = 10 C; 450 F-days / 1.8 = 250 C-days
    assert heat.base_c == pytest.approx(10.0)
    assert heat.last_c_days == pytest.approx(250.0)
    rose = next(system for system in SYSTEMS if system.key == "rose_rosette")
    assert rose.development[0].lower_c == 10.5
    assert rose.development[0].generation_c_days == 81.2
    assert rose.development[0].is_stand_in
    assert np.isfinite([each.lower_c for system in SYSTEMS for each in system.development]).all()
