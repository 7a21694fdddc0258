"""Words of the page: the same keys and places in every language, none unused, none in English on a Spanish page."""

import datetime as dt
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from made_page import made_page
from made_results import made_calibrated_ahead, made_result, without_findings
from small_seasons import calendar_on
from test_review_browser_lists import with_curve
from test_review_browser_views import with_before, with_score

import spreadmap
from spreadmap.errors import SettingsError
from spreadmap.io.read_settings import read_settings
from spreadmap.outbreak.score_words import RULE_WORDS
from spreadmap.review.ahead import compared
from spreadmap.review.cautions import caution_words, worded
from spreadmap.review.language import PHRASES, SENTENCES, SOURCE, Words, phrases_of, texts_of, words_of
from spreadmap.review.plants_layer import MARKS
from spreadmap.review.words import FORBIDDEN_WORDS, kernel_sentence
from spreadmap.values.page_settings import LANGUAGES, PageSettings, tile_host
from spreadmap.values.settings import KernelSettings, RemovalSettings, Settings
from spreadmap.values.words import Evidence, Mode, Status, Verdict

EN, ES, FEET = Words("en", "metric"), Words("es", "metric"), Words("en", "us")
ROOM = Path(spreadmap.__file__).parent / "review"
OTHERS = [lang for lang in LANGUAGES if lang != SOURCE]
CALIBRATED = "calibrated."
"""Texts of this section stand in pages of calibrated mode alone."""


def forms(text):
    return [text] if isinstance(text, str) else [text["one"], text["other"]]


def places(text):
    return [Counter(re.findall(r"{(\w+)}", form)) for form in forms(text)]


def in_language(result, language, units="metric"):
    page = PageSettings(language=language, units=units)
    return replace(result, settings=replace(result.settings, page=page))


def whole_result():
    """The made survey with everything that has words of its own."""
    _, season = calendar_on("2026-09-14")
    return replace(with_curve(with_score(with_before(made_result()))), season=season)


@cache
def page_in(language, units="metric"):
    return made_page(in_language(whole_result(), language, units)).decode("utf-8")


class Shown(HTMLParser):
    """Text that is shown, with what is marked as another language apart; and attributes that are spoken."""

    VOID = ("meta", "input", "br")
    SILENT = ("script", "style")
    SPOKEN = ("aria-label", "title", "placeholder")

    def __init__(self, page):
        super().__init__()
        self.open, self.own, self.foreign = [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, name, attributes):
        given = dict(attributes)
        self.own += [given[key] for key in self.SPOKEN if given.get(key)]
        if name not in self.VOID:
            self.open.append((name, "lang" in given and name != "html"))

    def handle_endtag(self, name):
        self.open.pop()

    def handle_data(self, text):
        if any(name in self.SILENT for name, _ in self.open):
            return
        (self.foreign if any(mark for _, mark in self.open) else self.own).append(text)


# --- the files


def test_every_language_of_the_settings_has_a_file_and_no_other_stands_there():
    there = {item.name for item in files("spreadmap.review").joinpath("languages").iterdir()}
    assert there == {f"{language}.toml" for language in LANGUAGES}


@pytest.mark.parametrize("language", OTHERS)
def test_languages_have_the_same_keys_forms_and_places(language):
    source, other = texts_of(SOURCE), texts_of(language)
    assert list(source) == list(other)
    for key, text in source.items():
        assert isinstance(text, str) == isinstance(other[key], str), key
        assert set(places(text)[-1]) == set(places(other[key])[-1]), key
        assert all(forms(other[key])), key


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_has_two_forms_has_two(language):
    for key, text in texts_of(language).items():
        if not isinstance(text, str):
            assert text["one"] != text["other"], key


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_outside_calibrated_mode_speaks_of_chances(language):
    for key, text in texts_of(language).items():
        for form in () if key.startswith(CALIBRATED) else forms(text):
            assert not any(word in form.casefold() for word in FORBIDDEN_WORDS), key
    told = [text for key, text in texts_of(language).items() if key.startswith(CALIBRATED)]
    assert len(told) > 20


KEY = r"""["']((?:[a-z_]|{[^}]*})+\.(?:[a-z0-9_]|{[^}]*})+)["']"""


def asked_keys():
    """Patterns of the keys that the room's code asks for."""
    found = set()
    for path in ROOM.glob("*.py"):
        found |= set(re.findall(KEY, path.read_text(encoding="utf-8")))
    for path in (ROOM / "assets").glob("*.js"):
        found |= {f"script.{key}" for key in re.findall(r'\(?"([a-z_]+)"', path.read_text(encoding="utf-8"))}
    return [re.compile(re.sub(r"\\{[^}]*\\}", "[a-z0-9_]+", re.escape(key))) for key in found]


def test_no_text_is_unused():
    asked = asked_keys()
    unused = [
        key
        for key in texts_of(SOURCE)
        if not key.startswith((*PHRASES, *SENTENCES, "side.", "bearing."))
        and not any(each.fullmatch(key) for each in asked)
    ]
    assert unused == []


@cache
def whole_code():
    """All that the package says, strings over several lines put together, without review's own languages."""
    root = Path(spreadmap.__file__).parent
    code = "\n".join(path.read_text(encoding="utf-8") for path in root.rglob("*.py"))
    code += "\n".join(path.read_text(encoding="utf-8") for path in (root / "pest_systems").glob("*.toml"))
    return re.sub(r'"\s*\n\s*f?"', "", code)


def test_phrases_are_said_somewhere_as_they_stand():
    for phrase in phrases_of(SOURCE):
        # a look-alike is said as its name and how to tell it
        assert all(part in whole_code() for part in phrase.split(": ", 1)), phrase


def test_sentences_with_places_are_made_somewhere_of_the_same_words():
    """Every word of three letters or more of a sentence stands in the code, and of each long piece two in a row."""
    code, known = whole_code(), set(re.findall(r"[a-z]{3,}", whole_code().casefold()))
    for key, text in texts_of(SOURCE).items():
        if not key.startswith(SENTENCES):
            continue
        pieces = [piece.split() for piece in re.split(r"{\w+}", text)]
        assert set(re.findall(r"[a-z]{3,}", re.sub(r"{\w+}", "", text).casefold())) <= known, key
        for words in (words for words in pieces if len(words) > 4):
            rows = [" ".join(words[at : at + 2]) for at in range(len(words) - 1)]
            assert any(row in code for row in rows), (key, words)


def test_fixed_words_of_the_trade_all_have_words():
    for say in (EN, ES):
        for status in Status:
            assert say(f"status.{status.value}")
        for evidence in Evidence:
            assert not evidence.value or say(f"evidence.{evidence.value}")
        for verdict in Verdict:
            assert say(f"verdict.{verdict.value}")
        assert all(say(f"mark.{mark.status}") for mark in MARKS)
        assert all(say(f"rule.{rule}") for rule in RULE_WORDS)
    assert {EN(f"rule.{rule}") for rule in RULE_WORDS} == set(RULE_WORDS.values())


# --- numbers, dates, measures


def test_numbers_and_dates_are_those_of_the_language():
    assert [EN.amount(1234.6), ES.amount(1234.6)] == ["1,235", "1\u202f235"]
    assert [EN.decimal(0.25, 2), ES.decimal(0.25, 2)] == ["0.25", "0,25"]
    assert [EN.hours(1.5), ES.hours(1.5), ES.hours(2)] == ["1.5 h", "1,5 h", "2 h"]
    assert ES.day(dt.date(2026, 7, 2)) == "2 de julio de 2026"
    assert ES.day(np.datetime64("NaT")) == ""
    assert ES.period(dt.date(2026, 9, 1), dt.date(2026, 10, 2)) == "1 de septiembre a 2 de octubre de 2026"
    assert [say("noun.plant", n=1) for say in (EN, ES)] == ["1 plant", "1 planta"]
    assert [say("noun.plant", n=np.int64(0)) for say in (EN, ES)] == ["0 plants", "0 plantas"]
    assert ES.together(["a", "b", "c"]) == "a, b y c"
    assert ES.part(0.001) == "menos del 1 %"
    told = [EN.figures(value) for value in (0.00005312, 0.02, 1.0, 5.34, 14.2, 534.0, 12_345.0)]
    assert told == ["0.000053", "0.02", "1", "5.3", "14", "530", "12,000"]
    assert ES.figures(0.055) == "0,055"


def test_feet_miles_and_acres():
    # by the definitions: a foot is 0.3048 m, a mile 1,609.344 m, an acre 4,046.8564224 m2
    assert [FEET.length(100), FEET.length(1609.344)] == ["328 ft", "1.0 mi"]
    assert [FEET.plain_length(30.48), FEET.length_unit] == ["100", "ft"]
    assert [FEET.area(4046.85), FEET.area(4046.8564224)] == ["43,560 ft²", "1.0 acres"]
    assert FEET.short_length(0.6096) == "2 ft"
    assert FEET.speed(16.09344) == "10 mph"
    assert [EN.length(100), EN.short_length(0.61), EN.speed(15)] == ["100 m", "0.61 m", "15 km/h"]


def test_the_law_of_distance_is_told_in_the_language_and_its_units():
    default, far = KernelSettings(), KernelSettings(family="student_2d", far_share=0.05)
    said = kernel_sentence(ES, Settings(kernel=default))
    assert said.startswith("Ley de distancia: wald, media 10,95 m, forma 3,17 m. ")
    assert "× 0,5, × 2, × 5" in said
    # 10.95 m and 3.17 m are 35.9 and 10.4 feet
    assert "wald, mean 35.9 ft, shape 10.4 ft" in kernel_sentence(FEET, Settings(kernel=default))
    said = kernel_sentence(ES, Settings(kernel=far))
    assert "student_2d, escala 10 m, forma 2; el 5 % de las llegadas por exponential, " in said
    assert "distancia media" in said
    heavy = KernelSettings(family="inverse_power", shape=2.5)
    assert "sin distancia media" in kernel_sentence(ES, Settings(kernel=heavy))


def test_a_text_without_a_value_for_its_place_is_a_fault():
    with pytest.raises(KeyError, match="n"):
        EN("noun.plant")
    with pytest.raises(KeyError, match=r"no\.such"):
        EN("no.such")


def test_braces_of_users_are_no_places():
    assert EN("shape.title", kind="Site", name="{n} {{7*7}}") == "Site: {n} {{7*7}}"


def test_words_are_those_of_the_settings():
    assert words_of(PageSettings()) == EN
    assert words_of(PageSettings(language="es", units="us")) == Words("es", "us")


# --- the page


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_page_says_its_language_and_nothing_of_another_one(language):
    page = page_in(language)
    assert f'<html lang="{language}">' in page
    own = " ".join(Shown(page).own)
    for other in set(LANGUAGES) - {language}:
        for key, text in texts_of(other).items():
            mine = forms(texts_of(language)[key])
            for form in forms(text):
                # words of one language alone that no user and no file brings in
                if "{" in form or form in mine or len(form.split()) < 3:
                    continue
                assert form not in own, key


def test_what_stays_english_on_a_spanish_page_is_marked_and_said():
    shown = Shown(page_in("es"))
    foreign = " ".join(shown.foreign)
    assert "No rate was fitted" in foreign
    assert "28 of 29 plants were looked at." in foreign
    assert ES("foot.in_english") in shown.own
    # fixed sentences of other rooms are translated, not marked
    assert ES.phrase("if nothing is done") == "si no se hace nada"
    assert "Presión relativa de infección" in shown.own
    assert "Relative infection pressure" not in foreign
    assert Shown(page_in("en")).foreign == Shown(page_in("en")).foreign[-1:]  # the licence
    assert "Qué arrancar esta semana, en orden" in shown.own
    assert "Arrancar 4 de 6 plantas confirmadas con todas sus raíces, desde el 17 de septiembre de 2026" in " ".join(
        shown.own
    )


def test_ten_answers_are_in_the_language():
    page = page_in("es")
    answers = re.findall(r'<p class="answer">(.*?)</p>', page, re.DOTALL)
    assert len(answers) >= 12
    assert sum('lang="en"' in answer for answer in answers) == 0


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("make", [whole_result, lambda: without_findings(made_result())], ids=["whole", "nothing"])
def test_relative_mode_states_no_chance_in_any_language(language, make):
    for public in (False, True):
        shown = Shown(made_page(in_language(make(), language), public=public).decode("utf-8"))
        said = " ".join((*shown.own, *shown.foreign)).casefold()
        assert not any(word in said for word in FORBIDDEN_WORDS)


def test_the_same_values_give_the_same_bytes_in_spanish():
    assert made_page(in_language(whole_result(), "es")).decode("utf-8") == page_in("es")


def test_feet_on_the_page_leave_the_sums_metric():
    page = Shown(page_in("en", "us"))
    said = " ".join(page.own)
    # the outermost ring of the made survey reaches 50 m, the clearing line 100 m
    assert "at most 164 ft from the middle" in said
    assert "328 ft" in said
    assert "[ft]" in said
    # of lists too: four metres of the made list are thirteen feet
    assert "13 ft from the nearest confirmed plant" in said
    assert "Confirmed by test on 14 September 2026; it sends 29 % of what the whole list sends" in said
    assert not re.search(r"\d (m|ha|m²|km/h)\b", said.replace("10 m away", "").replace("hosts, 100 m", ""))


# --- the same sentences as in the data files


def spanish_words(**changes):
    ahead = made_result().systems[0].ahead
    return compared(ES, replace(ahead.comparisons[0], **changes), ahead)


def test_comparisons_are_told_from_their_figures():
    ahead = made_result().systems[0].ahead
    assert compared(EN, ahead.comparisons[0], ahead) == ahead.comparisons[0].says
    begins = "Arrancar la lista en sus fechas en lugar de no hacer nada"
    fewer = spanish_words(ratio_low=0.1, ratio_high=0.4, holds=True)
    assert (
        fewer
        == f"{begins} deja el 10 a 40 % de los casos nuevos hasta el 31 de octubre de 2026: menos en todo el rango."
    )
    assert "deja el 40 % de" in spanish_words(ratio_low=0.4, ratio_high=0.4)
    assert "produce el 120 % de" in spanish_words(ratio_low=1.2, ratio_high=1.2, holds=False, fails=True)
    assert "no se sostiene" in spanish_words(ratio_low=0.9, ratio_high=1.2, holds=False)
    assert "no cambia nada" in spanish_words(ratio_low=1.0, ratio_high=1.0, holds=False)


def test_calibrated_comparisons_carry_numbers():
    ahead = made_calibrated_ahead()
    one = replace(ahead.comparisons[0], holds=True)
    assert "evita 11 (4 a 23) casos nuevos hasta el 31 de octubre de 2026; el 90 %" in compared(ES, one, ahead)
    worse = replace(one, avoided=replace(one.avoided, expected=-11.0, low_90=-23.0, high_90=2.0), holds=False)
    assert "añade 11 (−2 a 23) casos nuevos" in compared(ES, worse, ahead)
    assert "no coinciden" in compared(ES, worse, ahead)


def test_cautions_are_those_of_every_other_product():
    from spreadmap.decisions.cautions import removal_cautions

    settings = RemovalSettings()
    assert caution_words(EN, settings) == worded(EN, settings) == list(removal_cautions(settings))
    assert "within 2 ft of a mark" in " ".join(caution_words(FEET, settings))
    assert len(caution_words(ES, settings)) == len(removal_cautions(settings))


# --- tiles


@pytest.mark.parametrize(
    ("address", "host"),
    [
        ("", ""),
        ("https://tiles.example.org/{z}/{x}/{y}.png", "https://tiles.example.org"),
        ("http://10.0.0.7:8080/base/{z}/{y}/{x}?key=a", "http://10.0.0.7:8080"),
    ],
)
def test_the_only_host_that_a_page_may_ask_is_that_of_the_tiles(address, host):
    assert tile_host(address) == host


@pytest.mark.parametrize(
    "address",
    [
        "tiles.example.org/{z}/{x}/{y}",
        "https://tiles.example.org/{z}/{x}",
        "https://{s}.example.org/{z}/{x}/{y}",
        "https://a.example.org; connect-src */{z}/{x}/{y}",
        'https://a.example.org/{z}/{x}/{y}"><script>',
        "https://user@a.example.org/{z}/{x}/{y}",
        "javascript://a/{z}/{x}/{y}",
        "https://*/{z}/{x}/{y}",
    ],
)
def test_what_is_no_plain_address_of_tiles_is_refused(address):
    with pytest.raises(ValueError, match="no plain address"):
        tile_host(address)


def test_the_project_file_chooses_language_units_and_tiles():
    given = {
        "language": "es",
        "units": "us",
        "tile_address": "https://t.example.org/{z}/{x}/{y}",
        "tile_attribution": "T",
    }
    assert read_settings({"page": given}).page == PageSettings(**given)
    with pytest.raises(SettingsError, match=r"'settings\.page\.language' = 'de'; allowed: en, es"):
        read_settings({"page": {"language": "de"}})
    with pytest.raises(SettingsError, match=r"'settings\.page\.tile_address' = .*; allowed: https://host/path"):
        read_settings({"page": {"tile_address": "tiles.example.org", "tile_attribution": "T"}})
    with pytest.raises(SettingsError, match=r"'settings\.page\.tile_attribution' is empty"):
        read_settings({"page": {"tile_address": "https://t.example.org/{z}/{x}/{y}", "tile_attribution": " "}})


def test_the_policy_names_the_host_of_the_tiles_and_no_other():
    page = PageSettings(tile_address="https://tiles.example.org/{z}/{x}/{y}.png", tile_attribution="Town <b>")
    made = made_page(replace(made_result(), settings=Settings(page=page))).decode("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', made)[1]
    assert "img-src data: blob: https://tiles.example.org;" in policy.replace("&#x27;", "'")
    assert "connect-src" in policy
    assert "https://tiles.example.org" in " ".join(Shown(made).own)  # the foot says who is asked
    assert "Town \\u003cb\\u003e" in made
    plain = re.search(r'Content-Security-Policy" content="([^"]*)"', page_in("en"))[1]
    assert "http" not in plain


def test_the_mode_of_the_made_survey_is_relative():
    assert made_result().systems[0].face.mode is Mode.RELATIVE
