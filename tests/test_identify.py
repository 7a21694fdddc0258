"""Which pest systems fit a finding by host and symptom words, and what speaks against the surveyor's word."""

from dataclasses import replace

import pytest
from small_records import AS_OF, inventory_at, state_with, surveys_of, texts

from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.records.identify import (
    fitting_systems,
    genus_of,
    identify,
    matched_words,
    misfit_sentence,
    symptom_clauses,
    tell_apart,
    word_stem,
)

SYSTEMS = read_pest_systems()
BY_KEY = {system.key: system for system in SYSTEMS}
ROSE, BLADDER, BROAD = BY_KEY["rose_rosette"], BY_KEY["maple_bladder_gall"], BY_KEY["broad_mite"]


def keys(host, symptoms):
    return [fit.system.key for fit in fitting_systems(host, symptoms, SYSTEMS)]


@pytest.mark.parametrize(
    ("word", "stem"),
    [("beads", "bead"), ("Leaves", "leaf"), ("brushes", "brush"), ("patches", "patch"), ("glass", "glass"), ("as", "as"),
     ("berries", "berry"), ("boxes", "box"), ("witches", "witch"), ("needle", "needle")],
)  # fmt: skip
def test_plurals_fall_away(word, stem):
    assert word_stem(word) == stem


def test_clauses_keep_words_of_one_clause_together():
    assert symptom_clauses("Red shoots, black beads on the leaves") == (
        frozenset({"red", "shoot"}),
        frozenset({"black", "bead", "leaf"}),
    )
    assert symptom_clauses("") == symptom_clauses(" , ;") == ()
    assert matched_words(symptom_clauses("red shoots, black spots; beads"), BLADDER) == ()


@pytest.mark.parametrize(
    ("text", "matched"),
    [
        ("broom", True),
        ("Witches\u2019 brooms on one cane", True),
        ("no broom", False),
        ("no red colour and no prickles", False),
        ("without brooms or prickles", False),
        ("no brooms, but red growth", True),
        ("not red; excess prickles", True),
        ("broomrape", False),
    ],
)
def test_what_is_denied_does_not_count(text, matched):
    assert bool(matched_words(symptom_clauses(text), ROSE)) is matched


@pytest.mark.parametrize(
    ("host", "symptoms", "first"),
    [
        ("Rosa hybrida", "witches' broom and red growth", "rose_rosette"),
        ("Acer rubrum", "red beads on the leaves", "maple_bladder_gall"),
        ("Acer saccharum", "spindles", "maple_spindle_gall"),
        ("Acer", "crimson patches, felt", "maple_erineum_mites"),
        ("Picea abies", "bronzed needles, needle drop", "spruce_rust_mite"),
        ("Taxodium distichum", "brown needles", "baldcypress_rust_mite"),
        ("Ligustrum", "cupped leaves", "privet_rust_mite"),
        ("Echinacea purpurea", "tufts on the cones", "coneflower_rosette_mite"),
        ("Tilia", "nail galls", "linden_gall_mites"),
    ],
)
def test_host_and_symptoms_lead_to_the_system(host, symptoms, first):
    assert keys(host, symptoms)[0] == first


def test_host_and_symptoms_must_both_fit():
    assert "rose_rosette" not in keys("Acer rubrum", "witches' broom")
    assert keys("Rosa", "") == []
    assert keys("Rosa", "leaf miners") == []
    assert keys("", "broom") == []


def test_an_open_host_list_comes_after_hosts_that_are_named():
    found = fitting_systems("Rosa", "distorted leaves", SYSTEMS)
    assert [(fit.system.key, fit.is_host) for fit in found] == [("rose_rosette", True), ("broad_mite", False)]


def test_order_follows_the_number_of_matched_words_then_the_key():
    found = fitting_systems("Acer", "galls, red beads, black beads", SYSTEMS)
    assert [fit.system.key for fit in found[:2]] == ["maple_bladder_gall", "maple_spindle_gall"]
    assert fitting_systems("Acer", "galls, red beads", SYSTEMS[::-1]) == fitting_systems(
        "Acer", "galls, red beads", SYSTEMS
    )


def test_an_identification_on_no_host_is_said():
    others = fitting_systems("Acer", "red beads", SYSTEMS)
    says = misfit_sentence("Acer", "red beads", ROSE, others)
    assert says == "Identified as rose rosette on Acer: no host of it. Maple bladder gall mite would fit."
    assert misfit_sentence("Rosa", "broom", ROSE, ()) == ""
    assert "give the host" in misfit_sentence("", "broom", ROSE, ())
    assert "whose list is open" in misfit_sentence("Rosa", "strap leaves", BROAD, ())


def test_symptoms_of_another_system_on_the_same_host_are_said():
    others = tuple(fit for fit in fitting_systems("Acer", "spindles", SYSTEMS))
    assert "'spindles' is none of its symptoms on file. Maple spindle gall mite would fit." in misfit_sentence(
        "Acer", "spindles", BLADDER, others
    )
    # nothing else fits: words in another tongue are no misfit
    assert misfit_sentence("Acer", "rote Perlen", BLADDER, ()) == ""


def test_what_to_do_to_tell_apart():
    others = tuple(fit for fit in fitting_systems("Rosa", "distorted leaves", SYSTEMS) if fit.system is not ROSE)
    says = tell_apart(ROSE, others)
    assert any(text.startswith("Herbicide injury") and "by a test" in text for text in says)
    assert any(text.startswith("Chilli thrips") and "with a lens" in text for text in says)
    assert any(text.startswith("broad mite fits too (distorted leaves)") for text in says)
    assert any("serious" in text for text in tell_apart(BY_KEY["beech_erineum_mite"], ()))


def test_what_cannot_be_there_is_not_told_apart():
    plants, surveys, state = found_on(["Rosa a", "Quercus"], ["broom", "galls"], suspect=[0, 1])
    oak, rose = identify(plants, surveys, state, BLADDER, SYSTEMS)
    # a rose with a broom, written down as a mite of maples: what is told apart is rose rosette
    assert rose.misfit == "Identified as maple bladder gall mite on Rosa: no host of it. Rose rosette would fit."
    assert rose.tell_apart[0].startswith("rose rosette fits too (broom)")
    assert any(text.startswith("Herbicide injury") and "by a test" in text for text in rose.tell_apart)
    assert not any("Erineum" in text for text in rose.tell_apart)
    # nothing else fits: the look-alikes on file are all there is to say
    assert any("Erineum" in text for text in oak.tell_apart)
    # an open list of hosts rules nothing out
    (begonia,) = identify(*found_on(["Rosa a"], ["distorted leaves"], suspect=[0]), BROAD, SYSTEMS)
    assert begonia.tell_apart[0].startswith("Herbicide injury: no eggs")


def found_on(hosts, symptoms, **state):
    plants = inventory_at(*[(i, 0) for i in range(len(hosts))], host=hosts)
    rows = [(f"p{i}", "2026-09-01", "suspect", "visual") for i in range(len(hosts))]
    surveys = replace(surveys_of(*rows), symptoms=texts(symptoms, len(hosts)))
    return plants, surveys, state_with(plants, **state)


def test_findings_are_grouped_by_genus_and_symptoms():
    plants, surveys, state = found_on(
        ["Rosa a", "rosa b", "Acer", "Rosa c"], ["broom", "broom", "red beads", ""], suspect=[0, 2], infected=[1, 3]
    )
    groups = identify(plants, surveys, state, ROSE, SYSTEMS)
    assert [(group.genus, group.symptoms, group.plants) for group in groups] == [
        ("Acer", "red beads", (2,)),
        ("Rosa", "", (3,)),
        ("Rosa", "broom", (0, 1)),
    ]
    assert groups[0].misfit.startswith("Identified as rose rosette on Acer: no host of it.")
    assert [group.misfit for group in groups[1:]] == ["", ""]
    assert [fit.system.key for fit in groups[2].fits] == ["rose_rosette"]


def test_the_last_symptoms_of_this_system_up_to_the_day_count():
    plants = inventory_at((0, 0))
    rows = [
        ("p0", "2026-09-10", "suspect", "visual"),
        ("p0", "2026-05-01", "suspect", "visual"),
        ("p0", "2026-12-01", "suspect", "visual"),
        ("p0", "2026-09-12", "clean", "visual"),
        ("gone", "2026-09-12", "suspect", "visual"),
    ]
    said = texts(["late  broom", "early broom", "after the day", "nothing", "elsewhere"], 5)
    surveys = replace(surveys_of(*rows), symptoms=said)
    (group,) = identify(plants, surveys, state_with(plants, suspect=[0]), ROSE, SYSTEMS)
    assert surveys.inspected_on[2] > AS_OF
    assert group.symptoms == "late broom"
    other = replace(surveys, pest_system=texts("maple_bladder_gall", 5))
    (group,) = identify(plants, other, state_with(plants, suspect=[0]), ROSE, SYSTEMS)
    assert group.symptoms == ""


def test_nothing_found_is_nothing_to_identify():
    plants, surveys, state = found_on(["Rosa"], ["broom"])
    assert identify(plants, surveys, state, ROSE, SYSTEMS) == ()


@pytest.mark.parametrize(("host", "genus"), [("", ""), ("ROSA rugosa", "Rosa"), ("  acer ", "Acer")])
def test_the_genus_begins_the_name(host, genus):
    assert genus_of(host) == genus
