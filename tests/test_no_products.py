"""Nothing that spreadmap says or writes names a product, a brand, a rate, an active ingredient or a person."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from made_results import made_result
from small_records import inventory_at, state_with

import spreadmap
from spreadmap.decisions.cautions import removal_cautions
from spreadmap.decisions.disposal import dispose
from spreadmap.io.disposal_tables import disposal_tables
from spreadmap.io.explain_systems import explain_systems
from spreadmap.io.pest_systems import read_pest_systems
from spreadmap.records.identify import tell_apart
from spreadmap.values.results import Fit
from spreadmap.values.settings import RemovalSettings
from spreadmap.values.words import TREATMENT_CAUTION_SAYS, TREATMENT_CLASS_SAYS

PACKAGE = Path(spreadmap.__file__).parent
ROOT = PACKAGE.parent
FILES = [
    path
    for path in [*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.toml"), *ROOT.glob("*.md")]
    if "vendored" not in path.parts
]

# halves of words, put together only when a text is searched
HALVES = (
    ("aba", "mectin"), ("mil", "bemectin"), ("spiro", "mesifen"), ("spiro", "tetramat"), ("spiro", "diclofen"),
    ("bifen", "azate"), ("hexy", "thiazox"), ("fenpy", "roximate"), ("pyri", "daben"), ("eto", "xazole"),
    ("clofen", "tezine"), ("fenbu", "tatin"), ("cyflu", "metofen"), ("aceq", "uinocyl"), ("carb", "aryl"),
    ("dico", "fol"), ("endo", "sulfan"), ("oxythio", "quinox"), ("dime", "thoate"), ("mala", "thion"),
    ("imida", "cloprid"), ("bifen", "thrin"), ("perme", "thrin"), ("chlor", "pyrifos"), ("glypho", "sate"),
    ("sul", "phur"), ("sul", "fur"), ("py", "rethr"), ("organo", "phosph"), ("carba", "mate"), ("nee", "m oil"),
    ("potassium", " salt"), ("kel", "thane"), ("mores", "tan"), ("thio", "dan"), ("flora", "mite"),
    ("hexy", "gon"), ("san", "mite"),
)  # fmt: skip
WORDS = re.compile("|".join(re.escape(first + second) for first, second in HALVES), re.IGNORECASE)
BRANDS = re.compile(
    "[\u00ae\u2122]|\\b(?:" + "|".join(("Av" + "id", "For" + "bid", "Sev" + "in", "Ju" + "do", "ble" + "ach")) + ")\\b"
)
UNIT = r"(?:ml|millilit\w+|fl\.? ?oz|ounces?|oz|pints?|quarts?|lbs?|pounds?|gal(?:lon)?s?|grams?|kg|lit(?:re|er)s?)"
RATE = re.compile(
    rf"\d\s*{UNIT}\s*(?:per|/|to the|in)\s|\d\s*%\s*(?:solution|oil|v/v|concentrat|mix)|v[:/]v\)", re.IGNORECASE
)
PERSON = re.compile(
    r"\b(?:Dr|Prof|Mr|Mrs|Ms)\.? [A-Z]|[\w.]+@(?!example\.)[\w-]+\.\w|\b(?:says|said|written|photo) by [A-Z]\w+ [A-Z]"
)
PATTERNS = {"ingredient": WORDS, "brand": BRANDS, "rate": RATE, "person": PERSON}


def named(text: str) -> list[str]:
    return [f"{kind}: {found.group()!r}" for kind, pattern in PATTERNS.items() for found in pattern.finditer(text)]


@pytest.mark.parametrize(
    "text",
    [
        HALVES[0][0] + HALVES[0][1] + " works",
        "take Some" + "thing\u00ae",
        "use " + "Av" + "id now",
        "5 ml per litre",
        "2 % oil",
        "ask Dr. Someone",
        "some.one@city.org",
    ],
)
def test_the_patterns_find_what_must_not_stand(text):
    assert named(text)


def test_there_are_files_to_read():
    assert len([path for path in FILES if path.parent.name == "pest_systems"]) == 19
    assert len(FILES) > 80


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_file_names_one(path):
    assert not named(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("key", [system.key for system in read_pest_systems()])
def test_no_explanation_names_one(key):
    lines = explain_systems(key).lines
    assert len(lines) > 8
    assert not named("\n".join(lines))


def test_no_list_of_a_run_names_one():
    systems = read_pest_systems()
    plants = inventory_at((0, 0), (1, 0), host="Begonia")
    texts = []
    for system in systems:
        if system.is_mapped:
            continue
        result = made_result()
        disposal = dispose(plants, state_with(plants, infected=[0], suspect=[1]), system, result.inputs.as_of)
        found = replace(result.triage[0], system=system, infected=1)
        inputs = replace(result.inputs, inventory=plants)
        filled = replace(result, inputs=inputs, triage=(found,), disposals=(disposal,))
        texts += [str(cell) for table in disposal_tables(filled) for row in table.rows for cell in row]
        texts += list(disposal.remarks)
    assert len(texts) > 50
    texts += [text for one in systems for other in systems for text in
              tell_apart(one, (Fit(system=other, is_host=True, matched=other.symptom_words),))]  # fmt: skip
    texts += removal_cautions(RemovalSettings())
    texts += [*TREATMENT_CLASS_SAYS.values(), *TREATMENT_CAUTION_SAYS.values()]
    assert not named("\n".join(texts))
