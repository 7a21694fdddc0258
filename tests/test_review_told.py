"""What other rooms say, said anew: by its shape, with numbers, dates and names in their places; or left in English."""

import pytest

from spreadmap.review.language import SOURCE, Words, retold_in
from spreadmap.review.told import LOOSE, VERBATIM, Retold, pattern_of, shapes_of

EN, ES = Words("en", "metric"), Words("es", "metric")
MONTHS = {EN.month(number): ES.month(number) for number in range(1, 13)}
ENGLISH = {
    "short": "{n} plants stand.",
    "long": "{n} plants stand. And more of it.",
    "screen": "Screen {key} does not count.",
    "span": "{first} to {last}",
    "whole": "Over {span}, {share}: {parts}.",
    "cold": "{n} too cold",
    "falls": "It falls on {place}.",
    "bed": "bed {bed}",
}
MINE = {
    "short": "Quedan {n} plantas.",
    "long": "Quedan {n} plantas, y más.",
    "screen": "La pantalla {key} no cuenta.",
    "span": "de {first} a {last}",
    "whole": "En {span}, {share}: {parts}.",
    "cold": "{n} muy frías",
    "falls": "Cae en {place}.",
    "bed": "el arriate {bed}",
}


def retold(phrases=None):
    return Retold(
        phrases=phrases or {}, shapes=shapes_of(ENGLISH, MINE), months=MONTHS, group="\u202f", point=",",
        day="{day} de {month} de {year}", short_day="{day} de {month}",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("english", "mine"),
    [
        ("5 plants stand.", "Quedan 5 plantas."),
        ("1234 plants stand.", "Quedan 1\u202f234 plantas."),
        ("1,234 plants stand. And more of it.", "Quedan 1\u202f234 plantas, y más."),
        ("Screen H.3 does not count.", "La pantalla H.3 no cuenta."),
        ("Screen {0} does not count.", "La pantalla {0} no cuenta."),
        ("Over 2 July 2026 to 3 July, 2%: 1 too cold.", "En de 2 de julio de 2026 a 3 de julio, 2 %: 1 muy frías."),
        ("Over 2026-07-02 to 5, 1.5 %: 1, 0.5, 2.", "En de 2 de julio de 2026 a 5, 1,5 %: 1; 0,5; 2."),
        ("Over 1 to 2, 3 %: 4 too cold, 12 too cold.", "En de 1 a 2, 3 %: 4 muy frías, 12 muy frías."),
        ("It falls on bed B7.", "Cae en el arriate B7."),
        ("It falls on Old Mill Lane.", "Cae en Old Mill Lane."),
    ],
)
def test_a_sentence_is_known_by_its_shape(english, mine):
    assert retold().whole(english) == mine


def test_what_has_no_shape_or_unknown_words_in_a_place_stays_english():
    told = retold()
    assert told.whole("Many plants stand.") is None
    assert told.whole("Over Mill Lane to 5, 3 %: 4 too cold.") is None
    assert told.whole("Nobody said this.") is None
    pieces = told.pieces("5 plants stand. Nobody said this. Screen A does not count.")
    assert [(piece.text, piece.is_mine) for piece in pieces] == [
        ("Quedan 5 plantas.", True), ("Nobody said this.", False), ("La pantalla A no cuenta.", True),
    ]  # fmt: skip


def test_a_place_never_holds_the_end_of_a_sentence():
    """What is not known before a sentence must not become part of its name."""
    pieces = retold().pieces("Nobody said this. 5 plants stand.")
    assert [piece.is_mine for piece in pieces] == [False, True]
    assert retold().whole("Screen A. B does not count.") is None


def test_a_fixed_sentence_goes_before_a_shape_that_is_as_long():
    told = retold({"7 plants stand.": "Siete.", "rose": "rosal"})
    assert told.whole("7 plants stand.") == "Siete."
    assert (told.value("Rose"), told.value("rose"), told.value("tulip")) == ("Rosal", "rosal", None)
    assert told.whole("") == ""


def test_a_phrase_is_whole_words():
    assert [piece.is_mine for piece in retold({"rose": "rosal"}).pieces("roses stand.")] == [False]


def test_a_name_holds_no_share():
    """What is left of a reason that has no words must not be taken for the name of a place."""
    parts = "74 % falls on bed B04, 30 m skyward and 26 % falls on bed B5, 3 m downwind"
    assert ES.own(f"Confirmed by test on 2026-09-14; of what it would send to healthy hosts, {parts}.") is None


def test_patterns_end_where_a_sentence_ends():
    assert pattern_of("{n} of {all}.").match("1 of 0.5.").group(0) == "1 of 0.5."
    assert pattern_of("{n} of").match("1 offer") is None


def test_english_pages_keep_the_words_of_other_rooms():
    assert EN.own("Nobody said this.") == EN.told("Nobody said this.") == "Nobody said this."
    assert EN.worded("hourly wind record, 5 hours of flight") == "hourly wind record, 5 hours of flight"


def test_spanish_pages_mark_what_stays_english_and_escape_both():
    assert ES.told("They stay missing.") == "Siguen faltando."
    assert ES.told("They stay missing. <b>x</b> it is.") == (
        'Siguen faltando. <span lang="en">&lt;b&gt;x&lt;/b&gt; it is.</span>'
    )
    assert ES.told("Screen <b> does not count: it was not planted yet.").startswith("La pantalla &lt;b&gt; no cuenta")


def test_a_path_keeps_its_small_letter_and_other_sentences_get_a_capital():
    text = "inputs/a.csv: 5 hours are missing between the first and the last."
    assert ES.told(text, begins=True) == "inputs/a.csv: faltan 5 horas entre la primera y la última."
    assert EN.told(text, begins=True).startswith("inputs/")
    assert EN.told("inventory, column", begins=True) == "Inventory, column"


REASON = (
    "Confirmed by test on 2026-09-14; of what it would send to healthy hosts, 74 % falls on 38 hosts within 5 m in bed B04 and "
    "over 99 % falls on bed B5, Mill Lane, 30 m downwind. Private ground: settle access first."
)


def test_the_reason_of_a_removal_is_told_with_its_beds():
    assert ES.own(REASON) == (
        "Confirmada por análisis el 14 de septiembre de 2026; de lo que enviaría a hospedantes sanos caen 74 % en 38 "
        "hospedantes a menos de 5 m en el arriate B04 y más del 99 % en el arriate B5, Mill Lane, 30 m a sotavento. Terreno "
        "privado: acordar antes el acceso."
    )


def test_every_sentence_of_the_files_is_known_again():
    """Each one with figures in its places that fit anywhere is read back as itself, not as another."""
    told = retold_in("es")
    assert len(told.shapes) > 120
    for shape in told.shapes:
        names = list(shape.pattern.groupindex)
        filled = shape.pattern.pattern.replace("(?= |$)", "")
        for name in names:
            for sign in ("?", ""):
                filled = filled.replace(f"(?P<{name}>(?:(?!\\. ).)+{sign})", "3")
        filled = filled.replace("\\", "")
        assert told.whole(filled) is not None, filled


def test_places_that_hold_names_are_few():
    assert VERBATIM.isdisjoint(LOOSE)
    assert SOURCE == "en"


def test_shares_without_an_article_lose_it():
    assert "envía menos del 1 % de" in ES("removal.reason_sends", finding="F", share=ES.part(0.001))
    assert "envía el 74 % de" in ES("removal.reason_sends", finding="F", share=ES.part(0.74))
