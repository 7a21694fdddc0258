"""Which pest systems fit a finding, by the plant's genus and the words of its symptoms, and how to tell them apart."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from spreadmap.values.inventory import Inventory
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.results import Fit, Identification
from spreadmap.values.surveys import PlantState, Surveys
from spreadmap.values.words import Status

FINDINGS = (Status.INFECTED, Status.SUSPECT)
CLAUSES = re.compile(r"[,;.:/\n()]|\band\b|\bbut\b|\bor\b")
WORDS = re.compile(r"[^\W\d_]+")
NOT = frozenset({"no", "not", "without", "never", "none"})
FILLERS = frozenset({"a", "an", "the", "on", "of", "in", "at", "to", "with", "some", "many", "few", "very"})
UNEQUAL = {"leaves": "leaf", "witches": "witch"}
MOST_OTHERS = 3
"""How many other systems a finding is held against in words."""


def word_stem(word: str) -> str:
    """Return a word without its plural ending, in small letters."""
    word = word.casefold()
    if word in UNEQUAL:
        return UNEQUAL[word]
    for ending, instead in (("ies", "y"), ("shes", "sh"), ("ches", "ch"), ("xes", "x"), ("sses", "ss")):
        if word.endswith(ending) and len(word) > len(ending) + 1:
            return word.removesuffix(ending) + instead
    return word[:-1] if word.endswith("s") and not word.endswith("ss") and len(word) > 3 else word


def symptom_clauses(text: str) -> tuple[frozenset[str], ...]:
    """Return the word stems of each clause of a symptom text; what is denied ("no prickles") is left out.

    A denial holds until the next comma, stop or "but": "no brooms and prickles" denies both.
    """
    clauses: list[frozenset[str]] = []
    is_denied = False
    rest = text.casefold().replace("'", "").replace("\u2019", "")
    for part, cut in _parts(rest):
        stems: set[str] = set()
        for word in WORDS.findall(part):
            is_denied = is_denied or word in NOT
            if not is_denied and word not in FILLERS:
                stems.add(word_stem(word))
        if stems:
            clauses.append(frozenset(stems))
        is_denied = is_denied and cut in ("and", "or")
    return tuple(clauses)


def _parts(text: str) -> list[tuple[str, str]]:
    """Return the parts of a text, each with what ends it."""
    parts, start = [], 0
    for cut in CLAUSES.finditer(text):
        parts.append((text[start : cut.start()], cut.group()))
        start = cut.end()
    return [*parts, (text[start:], "")]


def matched_words(clauses: Sequence[frozenset[str]], system: PestSystem) -> tuple[str, ...]:
    """Return the symptom words of a system that a symptom text names: all words of one within one clause."""
    found = []
    for phrase in system.symptom_words:
        wanted = frozenset().union(*symptom_clauses(phrase))
        if wanted and any(wanted <= clause for clause in clauses):
            found.append(phrase)
    return tuple(found)


def genus_of(host: str) -> str:
    """Return the genus that begins a host's name, or nothing."""
    first = (host.split() or [""])[0]
    return first[:1].upper() + first[1:].casefold()


def is_host_genus(genus: str, system: PestSystem) -> bool:
    """Return whether a genus is on a system's list of hosts."""
    return genus.casefold() in {name.casefold() for name in system.host_genera}


def fitting_systems(host: str, symptoms: str, systems: Sequence[PestSystem]) -> tuple[Fit, ...]:
    """Return the systems that fit host and symptoms, the best first.

    A system fits if the genus is on its list, or the list is open, and at least one of its symptom words is named.
    Order: genus on the list before an open list, more matched words before fewer, then by key.
    """
    clauses, genus = symptom_clauses(symptoms), genus_of(host)
    fits = []
    for system in systems:
        is_host = is_host_genus(genus, system)
        matched = matched_words(clauses, system) if is_host or system.host_list_is_open else ()
        if matched:
            fits.append(Fit(system=system, is_host=is_host, matched=matched))
    return tuple(sorted(fits, key=lambda fit: (not fit.is_host, -len(fit.matched), fit.system.key)))


def identify(
    inventory: Inventory, surveys: Surveys, state: PlantState, named: PestSystem, systems: Sequence[PestSystem]
) -> tuple[Identification, ...]:
    """Return what the findings of one system may be, one item per genus and symptom text.

    Parameters
    ----------
    inventory : Inventory, n plants
    surveys : Surveys
    state : PlantState
        Of the system `named`; its findings (confirmed and suspect plants that stand) are looked at.
    named : PestSystem
        What the surveyor wrote down.
    systems : sequence of PestSystem
        All that are on file.

    Returns
    -------
    tuple of Identification
        Sorted by genus, then by symptoms; empty where nothing was found.

    References
    ----------
    None: our choice. It compares words and diagnoses nothing.
    """
    found = np.flatnonzero(np.isin(state.status.astype(str), [word.value for word in FINDINGS]) & state.is_standing)
    if not len(found):
        return ()
    said = _last_symptoms(inventory, surveys, state)
    groups: dict[tuple[str, str], list[int]] = {}
    for plant in found.tolist():
        groups.setdefault((genus_of(inventory.host[plant]), said.get(plant, "")), []).append(plant)
    return tuple(
        _identification(genus, symptoms, tuple(plants), named, systems)
        for (genus, symptoms), plants in sorted(groups.items())
    )


def _last_symptoms(inventory: Inventory, surveys: Surveys, state: PlantState) -> dict[int, str]:
    """Return the symptoms last written down for every plant in which something was found."""
    place = {key: index for index, key in enumerate(inventory.plant_id.tolist())}
    asked = np.isin(surveys.pest_system.astype(str), [state.system_key, ""]) & (surveys.inspected_on <= state.as_of)
    told = np.isin(surveys.status.astype(str), [word.value for word in FINDINGS])
    said = np.array([bool(text.strip()) for text in surveys.symptoms.tolist()], dtype=np.bool_)
    rows = np.flatnonzero(asked & told & said)
    last: dict[int, str] = {}
    for row in rows[np.argsort(surveys.inspected_on[rows], kind="stable")].tolist():
        plant = place.get(surveys.plant_id[row])
        if plant is not None:
            last[plant] = " ".join(surveys.symptoms[row].split())
    return last


def _identification(
    genus: str, symptoms: str, plants: tuple[int, ...], named: PestSystem, systems: Sequence[PestSystem]
) -> Identification:
    """Return one group of findings held against all systems."""
    fits = fitting_systems(genus, symptoms, systems)
    others = tuple(fit for fit in fits if fit.system.key != named.key)
    return Identification(
        plants=plants,
        genus=genus,
        symptoms=symptoms,
        fits=fits,
        misfit=misfit_sentence(genus, symptoms, named, others),
        tell_apart=tell_apart(named, others, is_possible=named.host_list_is_open or is_host_genus(genus, named)),
    )


def misfit_sentence(genus: str, symptoms: str, named: PestSystem, others: Sequence[Fit]) -> str:
    """Return in a sentence what speaks against the surveyor's identification; nothing where nothing does."""
    name = named.common_name
    instead = f" {_names(others)} would fit." if others else ""
    if not genus:
        return f"Identified as {name} on a plant without a host's name: give the host."
    if not is_host_genus(genus, named):
        if not named.host_list_is_open:
            return f"Identified as {name} on {genus}: no host of it.{instead}"
        return f"Identified as {name} on {genus}: not among the hosts on file, whose list is open.{instead}"
    is_better = any(fit.is_host for fit in others)
    if symptoms and is_better and not matched_words(symptom_clauses(symptoms), named):
        return f"Identified as {name}, but '{symptoms}' is none of its symptoms on file.{instead}"
    return ""


def tell_apart(named: PestSystem, others: Sequence[Fit], *, is_possible: bool = True) -> tuple[str, ...]:
    """Return what to do to tell a finding from what it may be instead, as sentences.

    Where the plant is no host of the system that the surveyor named (`is_possible` false), the look-alikes are those of
    what fits best: nobody needs to tell a mite apart that cannot be there.
    """
    says = alike_sentences(named) if is_possible or not others else []
    for number, fit in enumerate(others[:MOST_OTHERS]):
        says.append(f"{fit.system.common_name} fits too ({', '.join(fit.matched)}): {shows(fit.system)}")
        if not is_possible and not number:
            says += alike_sentences(fit.system)
        says += [
            f"{alike.sentence} ({HOW[alike.by]})"
            for alike in fit.system.look_alikes
            if alike.name.casefold() in named.common_name.casefold()
            or named.common_name.casefold() in alike.name.casefold()
        ]
    return tuple(dict.fromkeys(says))


def alike_sentences(system: PestSystem) -> list[str]:
    """Return what a system may be mistaken for, how to tell, and by what."""
    return [
        f"{alike.sentence} ({HOW[alike.by]}{'; serious' if alike.is_serious else ''})" for alike in system.look_alikes
    ]


HOW = {"eye": "by eye", "lens": "with a lens", "test": "by a test", "time": "by waiting"}


def shows(system: PestSystem) -> str:
    """Return how a system shows, in a sentence."""
    return system.damage.says if system.damage is not None else f"look for {', '.join(system.symptom_words)}."


def _names(fits: Sequence[Fit]) -> str:
    """Return the names of the first systems that fit, as they begin a sentence."""
    names = [fit.system.common_name for fit in fits[:MOST_OTHERS]]
    text = " or ".join(names)
    return text[:1].upper() + text[1:]
