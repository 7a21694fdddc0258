"""The page in Spanish, in feet and with a background map, in a real browser; and in calibrated mode."""

import re
from dataclasses import replace
from urllib.parse import urlsplit

import numpy as np
import pytest
from made_page import hostile_result, made_page
from made_results import CONFIRMED, PLANTS, made_calibrated_ahead, made_result
from test_review_browser_lists import choose, slide, with_curve
from test_review_browser_views import with_before, with_score

from spreadmap.outbreak.score import murphy_parts, reliability_table
from spreadmap.outbreak.score_survey import CLASS_EDGES
from spreadmap.review.language import Words, texts_of
from spreadmap.review.words import FORBIDDEN_WORDS
from spreadmap.values.hidden import Hidden
from spreadmap.values.page_settings import PageSettings
from spreadmap.values.results import CHANCE
from spreadmap.values.score import RuleScore, ScoreFigures, SurveyScore, SystemScore
from spreadmap.values.words import Mode

pytestmark = pytest.mark.browser

ES = Words("es", "metric")
CUT_OFF = (
    "[...document.querySelectorAll('.table')].filter((one) => one.scrollWidth > one.clientWidth)"
    ".map((one) => one.firstElementChild.className)"
)
TILES = PageSettings(tile_address="https://tiles.test.invalid/{z}/{x}/{y}.png", tile_attribution="Tiles of <the> town")


def with_page(result, **settings):
    return replace(result, settings=replace(result.settings, page=PageSettings(**settings)))


def calibrated_result():
    """The made survey with chances made by hand: a hundredth for every place in the inventory."""
    result = with_curve(with_score(made_result()), mode=Mode.CALIBRATED)
    system, rng = result.systems[0], np.random.default_rng(3)
    among = np.isfinite(system.hidden.relative_exposure)
    chance = np.where(among, np.arange(PLANTS) / 100, np.nan)
    unseen = Hidden(
        not_yet_infectious=chance * 0.4, infectious=chance * 0.6, healthy=1 - chance, symptomatic=chance * 0.1,
        half_show_by=np.full(PLANTS, np.datetime64("2026-10-20")), days_infected=np.full(PLANTS, 20.0),
        infected_in=np.zeros((PLANTS, 2)), step_from=np.array(["2026-08-01", "2026-09-01"], dtype="datetime64[D]"),
        expected_infected=float(np.nansum(chance)), worth=40.0,
    )  # fmt: skip
    said = rng.beta(0.6, 6, 1200)
    found = rng.random(1200) < said
    figures = ScoreFigures(
        inspected=1200, found=int(found.sum()), tenth=120, hours=90, random_low=0, random_high=30, rings=(),
        rules=(
            RuleScore(rule="chance", auc=0.8, in_tenth=60, in_hours=40, brier=0.06, log_score=0.2),
            RuleScore(rule="distance", auc=0.7, in_tenth=40, in_hours=30, auc_ahead=0.1, auc_ahead_low=0.02,
                      auc_ahead_high=0.2, brier=0.07, log_score=0.3, skill_over=0.1),
        ),
        reliability=reliability_table(said, found, CLASS_EDGES),
        murphy=murphy_parts(said, found, CLASS_EDGES),
    )  # fmt: skip
    last = replace(system.score.surveys[0], mode=Mode.CALIBRATED, figures=figures)
    score = SystemScore(system_key="rose_rosette", mode=Mode.CALIBRATED, surveys=(last,), running=figures)
    both, alone = (
        replace(each, values=-np.expm1(-each.values)) for each in (system.surface, system.surface_without_reservoirs)
    )
    made = replace(
        system, unseen=unseen, ahead=made_calibrated_ahead(), score=score, face=system.face.of(CHANCE), surface=both,
        surface_without_reservoirs=alone, chance_breaks=(0.01, 0.05, 0.2, 0.5),
    )  # fmt: skip
    return replace(result, systems=(made,))


def opened(browser, folder, name, result, *, public=False):
    path = folder / name
    if not path.exists():
        path.write_bytes(made_page(result, public=public))
    browser.size(1280, 800)
    browser.complaints.clear()
    browser.requests.clear()
    browser.open(path)
    return browser


def spoken(browser):
    """Everything that the page says in all its states, with the words of its scripts."""
    said = [browser.run("document.body.innerText")]
    for hours in (0, 1, 2):
        slide(browser, hours)
        said.append(browser.run("document.body.innerText"))
    for key in browser.run("spreadmapReview.views.sections.map((one) => one.dataset.view)"):
        browser.do(f"spreadmapReview.views.apply('{key}')")
        said.append(browser.run("document.querySelector('.map-says').textContent"))
    for row in (2, CONFIRMED[0], 8):
        browser.do(f"spreadmapReview.plants.show({row})")
        said.append(browser.run("[...document.querySelectorAll('.leaflet-popup .card')].at(-1).textContent"))
    attributes = "[...document.querySelectorAll('[aria-label],[title],[placeholder]')].map((one) => ['aria-label',"
    attributes += " 'title', 'placeholder'].map((name) => one.getAttribute(name) || '').join(' '))"
    return said + browser.run(attributes)


# --- Spanish


@pytest.fixture
def spanish(browser, folder):
    result = with_page(with_curve(with_score(with_before(made_result()))), language="es")
    return opened(browser, folder, "es.html", result)


def test_scripts_speak_the_language_of_the_page(spanish):
    said = "\n".join(spoken(spanish))
    english, own = texts_of("en"), texts_of("es")
    for key, text in english.items():
        if key.startswith("script.") and isinstance(text, str) and "{" not in text and len(text.split()) > 1:
            assert text == own[key] or text not in said, key
    assert not any(word in said.casefold() for word in FORBIDDEN_WORDS)
    slide(spanish, 1)
    assert "1 h de cuadrilla: 2 de 6 plantas, que evitan el 30 % (15 % a 36 %)" in spanish.run(
        "document.querySelector('[data-figure]').textContent"
    )
    assert spanish.run("document.documentElement.lang") == "es"
    assert spanish.run("document.querySelector('.leaflet-control-zoom-in').title") == ES("script.zoom_in")
    spanish.do("spreadmapReview.plants.show(8)")
    close = "document.querySelector('.leaflet-popup-close-button').getAttribute('aria-label')"
    assert spanish.run(close) == "Cerrar"
    assert spanish.complaints == []
    spanish.picture("es_1280.png")


def test_decisions_of_a_spanish_page_are_those_that_the_reader_takes(spanish):
    choose(spanish, f'[data-decide="{CONFIRMED[0]}"] select', "accept")
    table = spanish.run("spreadmapReview.decisions.table()").splitlines()
    assert table[0] == "plant_id,decided_on,decision,until,reason"
    assert table[1].split(",")[2] == "accept"
    assert "1 decisión tomada aquí" in spanish.run("document.querySelector('[data-saved]').textContent")


@pytest.mark.parametrize("width", [1200, 1280])
def test_no_column_of_a_spanish_list_is_cut_off(spanish, width):
    spanish.size(width, 800)
    assert spanish.run(CUT_OFF) == []
    assert spanish.run("document.documentElement.scrollWidth") <= width


# --- feet


def test_the_scale_and_the_cards_are_in_feet_where_the_project_asks_for_it(browser, folder):
    page = opened(browser, folder, "feet.html", with_page(made_result(), units="us"))
    scales = page.run("[...document.querySelectorAll('.leaflet-control-scale-line')].map((one) => one.textContent)")
    assert len(scales) == 1
    assert scales[0].split()[1] in ("ft", "mi")
    page.do("(e => { e.focus(); e.value = ''; })(document.querySelector('[data-find]'))")
    page.call("Input.insertText", text="hedge-1")
    page.press("Enter", 13, "\r")
    page.wait("document.querySelector('.leaflet-popup .card') !== null")
    assert " ft" in page.run("document.querySelector('.leaflet-popup .card').textContent")
    # what a still map of a print says is as long as it says: a foot is 0.3048 m, a mile 1609.344 m
    for most in (0.5, 40, 700, 90_000):
        long, text = page.run(f"(s => [s.long, s.text])(spreadmapScale({most}, 'us'))")
        value, unit = text.split()
        assert long == pytest.approx(float(value) * {"ft": 0.3048, "mi": 1609.344}[unit])
        assert long <= max(most, 0.3048)
        long, text = page.run(f"(s => [s.long, s.text])(spreadmapScale({most}, 'metric'))")
        value, unit = text.split()
        assert long == pytest.approx(float(value) * {"m": 1, "km": 1000}[unit])


# --- a background map


@pytest.mark.parametrize("public", [False, True], ids=["full", "public"])
def test_with_tiles_one_host_is_asked_and_no_other(browser, folder, public):
    result = replace(made_result(), settings=replace(made_result().settings, page=TILES))
    page = opened(browser, folder, f"tiles_{public}.html", result, public=public)
    page.wait("document.querySelectorAll('.leaflet-tile-pane img').length > 0")
    asked = [urlsplit(url) for url in page.requests[1:] if not url.startswith(("data:", "blob:"))]
    assert {(url.scheme, url.netloc) for url in asked} == {("https", "tiles.test.invalid")}
    # the host does not exist; nothing else is complained of, above all no breach of the policy
    assert all("ERR_NAME_NOT_RESOLVED" in one for one in page.complaints), page.complaints
    assert "Tiles of <the> town" in page.run("document.querySelector('.leaflet-control-attribution').textContent")
    box = "document.querySelector('input[data-layer=tiles]')"
    # sections switch layers; the background is the reader's own
    for key in page.run("spreadmapReview.views.sections.map((one) => one.dataset.view)"):
        page.do(f"spreadmapReview.views.apply('{key}')")
        assert page.run(f"{box}.checked && document.querySelectorAll('.leaflet-tile-pane img').length > 0"), key
    page.do(f"{box}.click()")
    assert page.run("document.querySelectorAll('.leaflet-tile-pane img').length") == 0


def test_another_host_is_refused_by_the_policy(browser, folder):
    result = replace(made_result(), settings=replace(made_result().settings, page=TILES))
    page = opened(browser, folder, "tiles_other.html", result)
    page.complaints.clear()
    page.do("document.body.append(Object.assign(new Image(), {src: 'https://other.test.invalid/a.png'}))")
    page.run("new Promise((done) => setTimeout(done, 300))")
    assert any("other.test.invalid" in one and "Content Security Policy" in one for one in page.complaints)


def test_without_a_setting_nobody_is_asked_even_by_hostile_text(browser, folder):
    page = opened(browser, folder, "no_tiles.html", hostile_result())
    assert page.run("document.querySelector('input[data-layer=tiles]') === null")
    assert all(request.startswith(("data:", "blob:")) for request in page.requests[1:])


# --- calibrated mode


def test_calibrated_mode_says_chances_and_draws_what_was_said_against_what_came(browser, folder):
    page = opened(browser, folder, "calibrated_words.html", calibrated_result())
    heads = page.run("[...document.querySelectorAll('table.inspection th[scope=col]')].map((one) => one.textContent)")
    assert "Infected already" in heads
    look = made_result().systems[0].plan.inspection
    cells = page.run(
        "[...document.querySelectorAll('table.inspection tbody tr')].map((row) => row.cells[5].textContent)"
    )
    for plant, cell in zip(look.plant[:10].tolist(), cells, strict=False):
        assert cell.startswith(f"{plant} %" if plant else "0 %"), plant
        assert re.match(r"\d+ %(under )?\d+ % to \d+ %", cell), cell
        assert "half show by 2026-10-20" in cell
    assert page.run("document.querySelectorAll('.reliability circle').length") >= 3
    size = page.run("(r => [r.width, r.height])(document.querySelector('.reliability svg').getBoundingClientRect())")
    assert 200 < size[0] < 360
    page.do("spreadmapReview.plants.show(8)")
    # 8 of 100 with the worth of 40 states: 2.7 to 21.3 % by the score interval, as scipy has it in test_hidden.py
    card = page.run("[...document.querySelectorAll('.leaflet-popup .card')].at(-1).textContent")
    assert "Infected already8 % (3 % to 21 %)" in card
    assert "Infected by 12 October 20268 %" in card
    assert "Relative infection pressure" not in card
    assert "Calibrated on the survey history" in page.run("document.querySelector('.face').textContent")
    assert page.complaints == []
    page.do("document.querySelector('.reliability').scrollIntoView()")
    page.picture("calibrated.png")


CHANCE_WORDS = {
    "en": ("Chance of infection in the period", "50 % and more", "1 % to 5 %", "under 1 %", "chance of infection by the next"),
    "es": ("Posibilidad de infección en el período", "50 % y más", "1 % a 5 %", "menos de 1 %", "posibilidad de infección hasta"),
}  # fmt: skip


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_calibrated_map_says_that_it_shows_chances(browser, folder, language):
    result = with_page(calibrated_result(), language=language)
    page = opened(browser, folder, f"calibrated_{language}.html", result)
    quantity, most, some, least, view = CHANCE_WORDS[language]
    face, line, legend, says = page.run(
        "['.face', '.face-line', '.legend', '.map-says'].map((one) => document.querySelector(one).innerText)"
    )
    assert quantity in face
    assert quantity in line
    for words in (quantity, most, some, least):
        assert words in legend, words
    assert view in says
    said = page.run("document.body.innerText")
    assert RELATIVE_FACE[language] not in said
    public = opened(browser, folder, f"calibrated_public_{language}.html", result, public=True)
    assert quantity in public.run("document.body.innerText")
    assert PUBLIC_SAYS[language] in public.run("document.body.innerText")


RELATIVE_FACE = {"en": "Relative: ranks and ratios", "es": "Relativo: órdenes y proporciones"}
PUBLIC_SAYS = {
    "en": "for squares of 50 m the chance that an ordinary healthy plant there is infected by 12 October 2026",
    "es": "para cuadros de 50 m la posibilidad de que una planta sana ordinaria de allí se infecte hasta el 12 de octubre",
}


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_column_of_a_calibrated_list_is_cut_off(browser, folder, language):
    result = with_page(calibrated_result(), language=language)
    page = opened(browser, folder, f"calibrated_{language}.html", result)
    for width in (1200, 1280):
        page.size(width, 800)
        assert page.run(CUT_OFF) == [], width


def test_relative_mode_has_no_column_and_no_drawing_of_chances(spanish):
    assert spanish.run("document.querySelectorAll('.reliability').length") == 0
    heads = "document.querySelectorAll('table.inspection th[scope=col]').length"
    assert spanish.run(heads) == 6
    # ranks that do not hold are called weak
    assert "débil" in spanish.run("document.querySelector('table.inspection').textContent")


def test_the_score_of_a_survey_is_told_in_figures(browser, folder):
    page = opened(browser, folder, "calibrated_es.html", with_page(calibrated_result(), language="es"))
    said = page.run("document.querySelector('#score .answer').textContent")
    assert "se inspeccionaron 1\u202f200 plantas" in said
    assert isinstance(calibrated_result().systems[0].score.surveys[0], SurveyScore)
    assert "Ninguna regla sencilla ordenó mejor las plantas" in said
    assert page.run("document.querySelectorAll('[lang=en]').length") > 0
    assert page.complaints == []
