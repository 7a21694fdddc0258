"""The season on the page and as a picture: lanes, the line of the date, words, the same bytes, text kept as text."""

import datetime as dt
import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from made_page import ATTACKS, made_page
from made_results import HOSTILE_TEXTS, made_result, made_system, without_findings
from PIL import Image, ImageColor
from small_seasons import again_of, calendar_on, cosmetic_of, day, heat_of, record_of, window_of

from spreadmap.review.frame import packed_text
from spreadmap.review.language import Words
from spreadmap.review.pictures import season_pictures
from spreadmap.review.season import LEFT, RIGHT, place_of, season_answer, season_parts, state_table, year_drawing
from spreadmap.review.season_picture import FILLS, TODAY, bar, dates_below, lanes_of, season_png, share_of_year
from spreadmap.review.words import FORBIDDEN_WORDS
from spreadmap.values.calendar import WindowState
from spreadmap.values.words import WindowKind

EN = Words("en", "metric")
LOOK = window_of("mites find leaves", (3, 20), (5, 10), heat=heat_of(10, 30))
LATE = window_of("galls are closed", (6, 1), (9, 19), WindowKind.TOO_LATE)
AUTUMN = window_of("autumn", (9, 20), (11, 30))
ALWAYS = window_of("take out", (1, 1), (12, 31), WindowKind.ACT, spread=0)
PRUNE = window_of("prune", (2, 1), (3, 14), WindowKind.ACT)


def made(as_of="2026-07-20", name="Made town"):
    rose = replace(made_system(), windows=(ALWAYS, PRUNE))
    lime = cosmetic_of(LOOK, LATE, AUTUMN, again=again_of())
    return calendar_on(as_of, rose, lime, record=record_of("2026-01-01", as_of), name=name)


class Parts(HTMLParser):
    """Elements with attributes, and the text that is shown; every element must be closed."""

    def __init__(self, text):
        super().__init__()
        self.open, self.elements, self.texts = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, name, attributes):
        self.elements.append((name, dict(attributes)))
        self.open.append(name)

    def handle_endtag(self, name):
        assert self.open.pop() == name

    def handle_data(self, text):
        self.texts.append(text)

    def of_class(self, name):
        return [attributes for _, attributes in self.elements if name in (attributes.get("class") or "").split()]

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.texts))


def drawn(as_of="2026-07-20"):
    _, season = made(as_of)
    return Parts(year_drawing(EN, season.systems, season.as_of, "told"))


# --- lanes and places


def test_a_year_is_as_long_as_its_days():
    assert share_of_year(day("2026-01-01"), 2026) == 0
    assert share_of_year(day("2026-12-31"), 2026, after=True) == 1
    assert share_of_year(day("2026-03-01"), 2026) == pytest.approx(59 / 365)
    assert share_of_year(day("2028-03-01"), 2028) == pytest.approx(60 / 366)
    assert bar(day("2025-12-01"), day("2026-01-31"), 2026) == pytest.approx((0, 31 / 365))
    assert (place_of(0), place_of(1)) == (LEFT, RIGHT)


def test_windows_of_one_kind_share_a_lane_unless_they_meet():
    _, season = made()
    lanes = {one.system.key: lanes_of(one, 2026) for one in season.systems}
    assert [(lane.kind, len(lane.entries)) for lane in lanes["lime_gall"]] == [
        (WindowKind.LOOK, 2),
        (WindowKind.TOO_LATE, 1),
    ]
    # pruning meets the window of the whole year
    assert [[entry.window.name for entry in lane.entries] for lane in lanes["rose_rosette"]] == [
        ["take out"],
        ["prune"],
    ]
    assert lanes_of(season.systems[0], 2031) == ()


def test_dates_are_drawn_below_only_where_degree_days_rule():
    _, season = made()
    below = {
        entry.window.name: dates_below(entry, 2026)
        for entry in season.systems[1].entries
        if entry.begins.on.year == 2026
    }
    assert below["mites find leaves"] == bar(day("2026-03-20"), day("2026-05-10"), 2026)
    assert below["autumn"] is None


# --- the drawing


def test_bars_lie_where_their_days_are():
    (look, _) = drawn().of_class("look")
    # by degree-days 10 to 30 March: days 68 to 89 of 365, the last one whole
    assert float(look["x"]) == pytest.approx(LEFT + 68 / 365 * (RIGHT - LEFT), abs=0.06)
    assert float(look["x"]) + float(look["width"]) == pytest.approx(LEFT + 89 / 365 * (RIGHT - LEFT), abs=0.11)
    assert len(drawn().of_class("dates")) == 1
    assert len(drawn().of_class("too-late")) == 1


@pytest.mark.parametrize(("as_of", "side"), [("2026-01-02", "start"), ("2026-07-20", "middle"), ("2026-12-30", "end")])
def test_the_line_lies_on_the_date_and_its_words_inside(as_of, side):
    (line,), (words,) = drawn(as_of).of_class("today"), drawn(as_of).of_class("today-date")
    at = float(re.match(r"M([\d.]+) ", line["d"])[1])
    assert at == pytest.approx(LEFT + ((day(as_of) - dt.date(2026, 1, 1)).days + 0.5) / 365 * (RIGHT - LEFT), abs=0.06)
    assert words["text-anchor"] == side


def test_the_drawing_is_told_to_who_does_not_see_it():
    (svg,) = [attributes for name, attributes in drawn().elements if name == "svg"]
    assert svg["role"] == "img"
    assert "with a line on 20 July 2026" in svg["aria-label"]
    assert "Gall mite of lime, open now: galls are closed" in svg["aria-label"]
    assert "look" in drawn().texts
    assert "too late" in drawn().texts


def test_nothing_is_drawn_of_nothing():
    assert year_drawing(EN, (), day("2026-07-20"), "told") == ""


def test_colours_are_told_apart_in_grey():
    def light(colour):
        parts = np.array(ImageColor.getrgb(colour)) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ (0.2126, 0.7152, 0.0722)) + 0.05

    look, act, late = light(FILLS[WindowKind.LOOK]), light(FILLS[WindowKind.ACT]), light(FILLS[WindowKind.TOO_LATE])
    # contrast as WCAG 2 reckons it; neighbours that differ by 3 can be told apart, white is hatched besides
    assert look / act > 3
    assert late / act > 10
    assert late / look > 1.8
    assert 1.05 / light(TODAY) > 4.5
    css = packed_text("assets", "page.css")
    assert all(f".year .{kind} {{ fill: {FILLS[WindowKind(kind)]}" in css for kind in ("look", "act"))


# --- the section


def parts(season):
    return Parts("".join(part for part in season_parts(EN, season) if part))


def test_open_next_and_missed_windows_are_listed_by_state():
    _, season = made()
    tables = {state: Parts(state_table(EN, season.systems, state)) for state in WindowState}
    assert "Galls are closed" in tables[WindowState.OPEN].text
    assert "1 June to 19 September 2026" in tables[WindowState.OPEN].text
    assert "20 September to 30 November 2026" in tables[WindowState.NEXT].text
    assert "10 March to 30 March 2026" in tables[WindowState.MISSED].text.replace("10 to", "10 March to")
    assert "opens 10 days earlier than by dates" in tables[WindowState.MISSED].text
    assert "all year" in tables[WindowState.OPEN].text


def test_the_next_window_comes_first_in_its_table():
    _, season = made()
    text = Parts(state_table(EN, season.systems, WindowState.NEXT)).text
    assert text.index("Autumn") < text.index("Prune")
    assert "the next opens on 20 September 2026: Gall mite of lime, autumn." in season_answer(EN, season)
    assert season_answer(EN, season).startswith("1 window is open")


def test_damage_cosmetic_findings_and_remarks_are_said():
    _, season = made()
    text = parts(season).text
    assert "made by mites that left in May (by 31 May): look again from 20 September 2026." in text
    assert "Nothing is to be done about it: The galls do no lasting harm." in text
    assert "Market square (24), Yard of a private owner (5)." in text
    assert "not validated for every region" in text


def test_systems_nobody_looked_for_are_kept_apart():
    _, season = made()
    quiet = replace(season.systems[1], is_found=False, is_told_of=False)
    season = replace(season, systems=(season.systems[0], quiet), without_hosts=("spruce rust mite",))
    found = parts(season)
    assert [name for name, _ in found.elements].count("svg") == 2
    assert [attributes["id"] for name, attributes in found.elements if name == "pattern"] == [
        "late-told",
        "late-others",
    ]
    assert "1 other system with hosts here" in found.text
    assert "Without a host here: spruce rust mite." in found.text
    nobody = replace(season, systems=(quiet,))
    assert season_answer(EN, nobody) == "No pest on record has a host here."


def test_the_page_has_a_section_of_the_season_and_no_forbidden_word():
    _, season = made()
    page = made_page(replace(made_result(), season=season)).decode("utf-8")
    assert 'id="season"' in page
    assert page == made_page(replace(made_result(), season=season)).decode("utf-8")
    (section,) = re.findall(r'<section id="season".*?</section>', page, re.DOTALL)
    assert not any(word in section.casefold() for word in FORBIDDEN_WORDS)
    Parts(section)
    assert 'id="season"' not in made_page(made_result()).decode("utf-8")
    assert 'id="season"' in made_page(replace(without_findings(made_result()), season=season)).decode("utf-8")
    assert "Season:" not in made_page(replace(made_result(), season=season), public=True).decode("utf-8")


@pytest.mark.parametrize("text", ATTACKS)
def test_text_of_users_stays_text(text):
    _, season = made()
    one = season.systems[1]
    entries = tuple(replace(entry, window=replace(entry.window, name=text, advice=text)) for entry in one.entries)
    sites = tuple(replace(site, name=text) for site in one.sites)
    hostile = replace(season, systems=(replace(one, entries=entries, sites=sites),))
    found = parts(hostile)
    assert not any(name in ("script", "img", "style") for name, _ in found.elements)
    assert not any(key.startswith("on") for _, attributes in found.elements for key in attributes)


# --- the picture


@pytest.fixture(scope="module")
def picture():
    return season_png(EN, made()[1], "Made town")


def test_the_picture_repeats_and_tells_what_it_shows(picture):
    assert picture == season_png(EN, made()[1], "Made town")
    with Image.open(io.BytesIO(picture)) as image:
        assert image.width > 1000
        assert "with a line on 20 July 2026" in image.text["Description"]
        assert "Software" not in image.text


def test_the_line_of_the_date_stands_where_the_date_is(picture):
    with Image.open(io.BytesIO(picture)) as image:
        pixels = np.asarray(image.convert("RGB"), dtype=int)
    near = np.abs(pixels - np.array(ImageColor.getrgb(TODAY))).sum(axis=2) < 40
    columns = np.flatnonzero(near.sum(axis=0) > 0.3 * pixels.shape[0])
    # axes from 8.5 % to 98 % of the width; 20 July is the 201st day, half over
    assert columns.mean() == pytest.approx(pixels.shape[1] * (0.085 + 0.895 * 200.5 / 365), abs=2)


def test_another_date_gives_another_picture(picture):
    assert season_png(EN, made("2026-07-21")[1], "Made town") != picture


@pytest.mark.parametrize("text", [*HOSTILE_TEXTS, r"$\frac{ & <b>", "$x$ \x00"])
def test_no_title_breaks_the_picture(text):
    _, season = made()
    one = replace(season.systems[0], system=replace(season.systems[0].system, common_name=text))
    assert season_png(EN, replace(season, systems=(one,)), text).startswith(b"\x89PNG")


def test_without_windows_there_is_no_picture():
    _, season = calendar_on("2026-07-20", cosmetic_of())
    assert season_png(EN, season, "Made town") == b""
    assert season_pictures(replace(made_result(), season=season)) == {}
    assert season_pictures(made_result()) == {}
    assert list(season_pictures(replace(made_result(), season=made()[1]))) == ["calendar.png"]
