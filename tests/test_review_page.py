"""The review page as text: the same bytes twice, nothing fetched, hostile text kept as text, words that must not stand."""

import base64
import datetime as dt
import hashlib
import json
import os
import re
import subprocess
import sys
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from made_page import ATTACKS, free_text, hostile_result, made_page, made_rasters, many_plants, with_text_everywhere
from made_results import CONFIRMED, PLANTS, SUSPECT, made_result, without_findings

from spreadmap.review.frame import PageFigure, ReviewMap, packed_text
from spreadmap.review.language import Words
from spreadmap.review.legend import legend
from spreadmap.review.markup import Html, escaped, script_text, script_value, tag
from spreadmap.review.page import SCRIPTS, coordinates, shape_bounds
from spreadmap.review.plants_layer import CODE, MARKS, NO_CLASS, SYNTHETIC_BIT, WORST_LAST, PlantPoints, PlantsLayer
from spreadmap.review.points import class_limits, drawn_status, plant_points
from spreadmap.review.words import FORBIDDEN_WORDS, removal_answer, residents, undone_sentence
from spreadmap.values.web import WebClass, WebShape

EN = Words("en", "metric")

SHOWN = {
    ("inventory", "plant_id"), ("inventory", "bed_id"), ("inventory", "host"), ("inventory", "note"),
    ("inventory", "owner"), ("decisions", "reason"), ("sites", "name"), ("sites", "owner"), ("sites", "access"),
    ("reservoirs", "reservoir_id"), ("reservoirs", "host"), ("reservoirs", "note"), ("screens", "screen_id"),
}  # fmt: skip
"""Texts of users that the full page shows, by table and column."""


class Page(HTMLParser):
    """A page taken apart: text that is shown, elements with their attributes, scripts, styles."""

    SILENT = ("script", "style", "title")
    EMPTY = ("meta", "input", "br", "img", "link")

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.texts: list[str] = []
        self.silent: dict[str, list[str]] = {name: [] for name in self.SILENT}
        self.feed(page.decode("utf-8"))
        self.close()

    def handle_starttag(self, name, attributes):
        self.elements.append((name, dict(attributes)))
        if name not in self.EMPTY:
            self.open.append(name)

    def handle_endtag(self, name):
        assert self.open.pop() == name, f"{name} closes nothing"

    def handle_data(self, text):
        if self.open and self.open[-1] in self.SILENT:
            self.silent[self.open[-1]].append(text)
        else:
            self.texts.append(text)

    @property
    def text(self) -> str:
        return " ".join(self.texts)

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for found, attributes in self.elements if found == name]


def packed_words(page: bytes) -> dict:
    """Return the words of the plants as a browser unpacks them."""
    (text,) = re.findall(r'"words":"([A-Za-z0-9+/=]+)"', page.decode("utf-8"))
    return json.loads(zlib.decompress(base64.b64decode(text)))


@pytest.fixture(scope="module")
def result():
    return made_result(notes=["seen from the road"])


@pytest.fixture(scope="module")
def page(result):
    return made_page(result)


@pytest.fixture(scope="module")
def hostile():
    return made_page(hostile_result())


# --- one file, nothing fetched, the same bytes


def test_the_same_values_give_the_same_bytes(result, page):
    assert made_page(result) == page
    assert made_page(made_result(notes=["seen from the road"])) == page


@pytest.mark.parametrize("seed", ["1", "2"])
def test_another_process_gives_the_same_bytes(page, seed):
    code = (
        "import sys; from made_page import made_page; from made_results import made_result;"
        "sys.stdout.buffer.write(made_page(made_result(notes=['seen from the road'])))"
    )
    path = os.pathsep.join((str(Path(__file__).parent), *filter(None, sys.path)))
    run = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": path},
        capture_output=True,
        check=True,
    )
    assert run.stdout == page


@pytest.mark.parametrize("make", [hostile_result, made_result], ids=["hostile", "plain"])
@pytest.mark.parametrize("public", [False, True])
def test_no_element_points_outside_whatever_users_wrote(make, public):
    parsed = Page(made_page(make(), public=public))
    for name, attributes in parsed.elements:
        for key in ("src", "href", "data", "action", "poster", "srcset", "background", "xlink:href"):
            value = attributes.get(key)
            assert value is None or value.startswith("#"), f"{name} {key}={value}"
    refreshing = {str(meta.get("http-equiv")).lower() for meta in parsed.all("meta")} - {"none"}
    assert refreshing == {"content-security-policy"}


@pytest.mark.parametrize("name", [*SCRIPTS, "plants.js"])
def test_our_scripts_neither_ask_the_network_nor_turn_text_into_markup(name):
    script = packed_text("assets", name)
    for call in (
        "fetch(", "XMLHttpRequest", "WebSocket", "EventSource", "sendBeacon", "import(", "Worker(", "window.open",
        "innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function",
    ):  # fmt: skip
        assert call not in script, call


def test_a_page_of_300_plants_stays_small():
    # the map script and its style are 166 kB, our scripts and style 74 kB; text, pictures and 300 plants share the rest
    page = made_page(many_plants(300))
    assert len(packed_words(page)["key"]) == 300
    assert len(page) < 320_000


def test_nothing_is_fetched(page):
    parsed = Page(page)
    for name, attributes in parsed.elements:
        for key in ("src", "href", "data", "action", "poster", "srcset"):
            value = attributes.get(key)
            assert value is None or value.startswith("#"), f"{name} {key}={value}"
    assert not {"link", "iframe", "object", "embed", "form", "base"} & {name for name, _ in parsed.elements}
    for style in parsed.silent["style"]:
        assert "@import" not in style
        assert all(url.startswith(("data:image/png;base64,", "#")) for url in re.findall(r"url\(([^)]*)\)", style))
    # addresses in comments and name spaces of the vendored files are no requests; ours hold none at all
    ours = page.decode().replace(script_text(packed_text("vendored", "leaflet.js")), "")
    assert "://" not in ours.replace(packed_text("vendored", "leaflet.css"), "")


def test_policy_language_title_and_landmarks(page, result):
    parsed = Page(page)
    metas = {meta.get("http-equiv") or meta.get("name"): meta.get("content") for meta in parsed.all("meta")}
    assert "default-src 'none'" in metas["Content-Security-Policy"]
    assert "connect-src 'none'" in metas["Content-Security-Policy"]
    assert metas["viewport"] == "width=device-width, initial-scale=1"
    assert parsed.all("html") == [{"lang": "en"}]
    assert result.inputs.name in "".join(parsed.silent["title"])
    assert len(parsed.all("main")) == len(parsed.all("h1")) == 1
    assert parsed.open == []


def test_ids_are_unique_and_every_link_leads_somewhere(page):
    parsed = Page(page)
    ids = [attributes["id"] for _, attributes in parsed.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {link["href"][1:] for link in parsed.all("a")} <= set(ids)


def test_tables_have_captions_and_scopes_and_rows_are_buttons(page):
    parsed = Page(page)
    assert len(parsed.all("caption")) == len(parsed.all("table")) == 10
    assert all(head.get("scope") in {"col", "row"} for head in parsed.all("th"))
    rows = [int(button["data-row"]) for button in parsed.all("button") if "data-row" in button]
    assert rows[: len(CONFIRMED)] == list(CONFIRMED)
    assert sum("data-bounds" in button for button in parsed.all("button")) == 3
    assert all(button["type"] == "button" for button in parsed.all("button"))


def test_vendored_files_are_those_of_the_checksums():
    folder = files("spreadmap.review").joinpath("vendored")
    lines = folder.joinpath("checksums.txt").read_text().splitlines()
    assert {line.split()[1] for line in lines} == {
        item.name for item in folder.iterdir() if item.name != "checksums.txt"
    }
    for line in lines:
        digest, name = line.split()
        assert hashlib.sha256(folder.joinpath(name).read_bytes()).hexdigest() == digest, name


def test_the_licence_of_the_map_script_stands_in_the_page(page):
    assert packed_text("vendored", "leaflet_licence.txt") in Page(page).text
    assert "leaflet" in packed_text("vendored", "leaflet.js")[:200].lower()


def test_other_maps_of_the_process_keep_their_links(page):
    import folium

    assert folium.Map.default_js
    assert ReviewMap.default_js == []


# --- hostile text


def test_hostile_text_neither_runs_nor_stops_the_page(hostile):
    parsed = Page(hostile)
    assert parsed.open == []
    assert len(parsed.all("script")) == 2  # the map script, and ours
    assert "img" not in {name for name, _ in parsed.elements}
    assert not any(key.startswith("on") for _, attributes in parsed.elements for key in attributes)
    for attack in ATTACKS:
        shown = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", "�", attack).replace("\r\n", "\n")
        assert shown in parsed.text.replace("\r\n", "\n"), attack


def test_hostile_text_cannot_end_the_script(hostile):
    ours = Page(hostile).silent["script"][-1]
    assert "</script" not in ours
    assert "<!--" not in ours


def test_template_signs_reach_the_plants_untouched(hostile):
    words = packed_words(hostile)
    assert words["key"][0] == "{{7*7}} 0"
    assert words["key"][10] == f"{ATTACKS[10]} 10"
    notes = dict(words["sparse"])["Note"]
    assert notes["7"] == ATTACKS[(7 + 3) % len(ATTACKS)]


def test_every_field_alone_keeps_what_a_template_would_change():
    # one name a field, so that no field can hide behind another that is shown rightly
    def said(field: str) -> str:
        return f"{field}={{{{7*7}}}}{{# gone #}}{{% raw %}}<b>"

    result = made_result(notes=[said(f"note{row}") for row in range(1, PLANTS)], reason=said("reason"))
    inputs, system = result.inputs, result.systems[0]
    inventory = replace(
        inputs.inventory,
        plant_id=np.array([said(f"key{row}") for row in range(PLANTS)], dtype=object),
        bed_id=np.array([said(f"bed{row}") for row in range(PLANTS)], dtype=object),
        host=np.array([said(f"host{row}") for row in range(PLANTS)], dtype=object),
    )
    sites = replace(inputs.sites, name=np.array([said("site0"), said("site1")], dtype=object))
    inputs = replace(inputs, name=said("name"), contact=said("contact"), inventory=inventory, sites=sites)
    page = made_page(replace(result, inputs=inputs, systems=(system,), remarks=(said("Remark"),)))
    parsed, words = Page(page), packed_words(page)
    listed = [int(button["data-row"]) for button in parsed.all("button") if "data-row" in button]
    assert set(CONFIRMED) <= set(listed)
    of_plants = [f"{at}{row}" for row in listed for at in ("key", "bed")]
    for field in ("name", "contact", "site0", "site1", "reason", "Remark", *of_plants):
        assert said(field) in parsed.text, field
    assert said("name") in "".join(parsed.silent["title"])
    assert words["key"] == inventory.plant_id.tolist()
    columns = dict(words["repeated"])
    for name, column in (("Bed", inventory.bed_id), ("Host", inventory.host)):
        assert [columns[name]["words"][index] for index in columns[name]["index"]] == column.tolist()
    assert set(columns["Site"]["words"]) == {said("site0"), said("site1")}
    assert dict(words["sparse"])["Note"] == {str(row): said(f"note{row}") for row in (*CONFIRMED, *SUSPECT) if row}
    assert "=49" not in page.decode()


@pytest.mark.parametrize("text", ["<b>", "&amp;", '"', "'", "{{x}}"])
def test_text_is_escaped_and_html_is_not(text):
    assert not {"<", '"', "'"} & set(escaped(text))
    assert escaped(Html(text)) == text
    assert tag("p", text, title=text).count(escaped(text)) == 2


def test_attributes():
    assert tag("td", "x", class_="a", data_row=3, hidden=True, title=None, open=False) == (
        '<td class="a" data-row="3" hidden>x</td>'
    )


def test_script_values_hold_no_sign_that_ends_a_script():
    value = {"a": ["</script>", "\u2028", "<!--", "&", "ä"]}
    text = script_value(value)
    assert json.loads(text) == value
    assert text.isascii()
    assert not set("<>&") & set(text)
    with pytest.raises(ValueError, match="Out of range float"):
        script_value(float("nan"))


def test_script_text_cannot_end_its_element():
    text = script_text("a='</script>';\n//# sourceMappingURL=a.map")
    assert text == "a='<\\/script>';"


# --- words


@pytest.mark.parametrize("make", [made_result, lambda: without_findings(made_result())])
def test_relative_mode_states_no_chance_of_infection(make):
    page = made_page(make())
    for text in (Page(page).text.lower(), json.dumps(packed_words(page)).lower()):
        for word in FORBIDDEN_WORDS:
            assert word not in text, word
    for word in FORBIDDEN_WORDS:
        assert word not in Page(made_page(make(), public=True)).text.lower(), word


def test_the_face_says_quantity_period_condition_mode_and_dates(page, result):
    text, face = Page(page).text, result.systems[0].face
    for said in (face.quantity, face.condition, face.unit, "Relative: ranks and ratios"):
        assert said in text
    assert EN.day(face.as_of) in text
    assert EN.day(face.valid_until) in text


@pytest.mark.parametrize("public", [False, True])
def test_the_face_stands_above_the_map_and_shows_its_own_period(result, public):
    # four different dates, so that none can stand for another
    system = result.systems[0]
    face = replace(
        system.face,
        quantity="Some quantity",
        condition="under some condition",
        as_of=dt.date(2026, 9, 14),
        period_from=dt.date(2026, 9, 20),
        period_to=dt.date(2026, 10, 3),
        valid_until=dt.date(2026, 10, 12),
    )
    page = made_page(replace(result, systems=(replace(system, face=face),)), public=public).decode()
    above = page[page.index('<dl class="face">') : page.index("</dl>")]
    for said in (
        "Some quantity", "under some condition", "20 September to 3 October 2026", "Relative: ranks and ratios",
        "14 September 2026", "12 October 2026",
    ):  # fmt: skip
        assert said in above, said
    assert page.index("</header>") < page.index("folium-map", page.index("<main"))


def test_every_section_answers(page):
    text = Page(page).text
    for said in (
        "What the findings are", "What to take out this week, in order", "Where to look next", "Where the line runs",
        "What the last survey allows to be said, and what it does not", "What it costs", "24 months without a confirmed plant",
        "How sure this is", "Before anyone digs", "What each course of action avoids", "What residents are told",
        "only the plant-health authority demarcates", "The galls do no lasting harm.", "Herbicide injury",
        "Here the week's 30 h of crew time end", "wild hosts, 100 m", "have buried lines located",
    ):  # fmt: skip
        assert said.lower() in text.lower(), said


def test_removal_sentences_count_what_the_list_holds(result):
    system = result.systems[0]
    # four of six within the hours: (20 + 60 + 30 + 30 + 45) minutes for two people, by hand
    assert removal_answer(EN, system, result).startswith(
        "Take out 4 of 6 confirmed plants with all their roots, from 17 Sept"
    )
    assert "1.5 h of the week's 30 h" in removal_answer(EN, system, result)
    # onward of the list is 9, 7.5, 6, 4.5, 3, 1.5; the last two are 4.5 of 31.5
    assert "2 plants, and with them 14 % of what" in undone_sentence(EN, system)
    plan = replace(system.plan, removal=replace(system.plan.removal, within_hours=np.ones(6, dtype=bool)))
    done = replace(system, plan=plan)
    assert removal_answer(EN, done, result).startswith("Take out all 6 confirmed plants")
    assert undone_sentence(EN, done) == "Nothing on the list stays undone, so the order does not matter this week."
    plan = replace(system.plan, removal=replace(system.plan.removal, within_hours=np.zeros(6, dtype=bool)))
    assert "do not reach for the first" in removal_answer(EN, replace(system, plan=plan), result)


def test_a_sprouting_plant_is_named_as_such(result):
    system = result.systems[0]
    status = system.state.status.copy()
    status[CONFIRMED[0]] = "removed"
    regrowth = np.arange(PLANTS) == CONFIRMED[0]
    state = replace(system.state, status=status, has_regrowth=regrowth)
    again = replace(result, systems=(replace(system, state=state),))
    assert "6 plants (5 confirmed, 1 sprouting again)" in removal_answer(EN, again.systems[0], again)
    assert drawn_status(again)[CONFIRMED[0]] == "regrowth"


def test_without_findings_the_page_says_so():
    text = Page(made_page(without_findings(made_result()))).text
    assert "Nothing comes out: no confirmed plant stands." in text
    assert "There is no line to draw" in text


def test_a_place_with_harmless_pests_only_has_no_list(result):
    harmless = replace(result, systems=(), triage=(replace(result.triage[1], infected=3),))
    page = made_page(harmless)
    text = Page(page).text
    assert "calls for no removal with roots" in text
    assert "What to take out" not in text
    assert "no plant has to come out" in text


def test_two_mapped_systems_share_one_page(result):
    system = result.systems[0]
    other = replace(system.triage.system, key="other", common_name="another disease")
    second = replace(system, triage=replace(system.triage, system=other))
    both = replace(result, systems=(system, second), triage=(*result.triage, second.triage))
    parsed = Page(made_page(both))
    ids = [attributes["id"] for _, attributes in parsed.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert "What to take out this week, in order · Another disease" in parsed.text


def test_without_wind_the_page_says_the_same_in_all_directions(result):
    system = result.systems[0]
    calm = replace(system.climate, rose=np.zeros(2, dtype=complex), sector_share=np.zeros(16), hours_used=0)
    text = Page(made_page(replace(result, systems=(replace(system, climate=calm),)))).text
    assert "the same in all directions" in text
    assert "Toward which air moves" not in text


def test_shares_never_round_to_nothing_or_all():
    assert [EN.part(value) for value in (0, 0.001, 0.01, 0.5, 0.994, 0.996, 1)] == [
        "0 %", "under 1 %", "1 %", "50 %", "over 99 %", "over 99 %", "100 %"
    ]  # fmt: skip
    assert [EN.chance(value) for value in (0.5, 0.996, 1)] == ["50 %", "over 99 %", "over 99 %"]


def test_areas_and_dates_in_words():
    assert [EN.area(9999.4), EN.area(10_000)] == ["9,999 m²", "1.0 ha"]
    assert EN.day(np.datetime64("2026-07-02")) == "2 July 2026"
    assert EN.day(np.datetime64("NaT")) == EN.day(None) == ""
    assert EN.period(dt.date(2026, 9, 1), dt.date(2026, 10, 2)) == "1 September to 2 October 2026"
    assert EN.period(dt.date(2026, 12, 1), dt.date(2027, 1, 2)) == "1 December 2026 to 2 January 2027"


# --- everyone's page


def test_the_public_page_holds_no_private_text(result):
    page = made_page(made_result(notes=["seen from the road"]), public=True)
    text = page.decode()
    inputs = result.inputs
    plants, around = inputs.inventory, (inputs.reservoirs.reservoir_id, inputs.screens.screen_id)
    for column in (plants.owner, plants.bed_id, plants.host, inputs.sites.name, inputs.sites.access,
                   inputs.surveys.observer, *around):  # fmt: skip
        for private in set(column.tolist()) - {"", "city"}:
            assert private not in text, private
    assert "seen from the road" not in text
    assert "spreadmapPlants(" not in text
    first, second = residents(EN, result)
    assert first in Page(page).text
    assert second in Page(page).text
    assert inputs.contact in text


def test_the_public_page_holds_no_plant_owner_or_note():
    # words that stand nowhere else, unlike the made survey's "003" or "city"
    result = made_result(notes=[f"SecretNote{row}" for row in range(PLANTS)], reason="SecretReason")
    inputs, count = result.inputs, len(result.inputs.inventory)
    columns = {
        name: np.array([f"Secret{name}{row}" for row in range(count)], dtype=object)
        for name in ("plant_id", "bed_id", "owner", "host", "source_batch")
    }
    sites = replace(inputs.sites, owner=np.array(["SecretSite0", "SecretSite1"], dtype=object))
    system = result.systems[0]
    rings = tuple(replace(ring, owners_inside=("SecretRing",)) for ring in system.zones.rings)
    system = replace(system, zones=replace(system.zones, rings=rings))
    inputs = replace(inputs, inventory=replace(inputs.inventory, **columns), sites=sites)
    secret = replace(result, inputs=inputs, systems=(system,))
    assert made_page(secret).decode().count("Secret") > count  # the full page does hold them
    page = made_page(secret, public=True).decode()
    assert "Secret" not in page
    assert not any("data-row" in attributes for _, attributes in Page(page.encode()).elements)
    # no plant's place either, to the seven digits that the map's corners carry
    for value in (*inputs.inventory.longitude, *inputs.inventory.latitude):
        assert f"{value:.6f}" not in page


def test_no_text_that_a_user_wrote_anywhere_stands_on_the_public_page_but_the_contact():
    secret = with_text_everywhere(made_result(), lambda name, row: f"Secret-{name}-{row}-Z")
    columns = free_text(secret.inputs)
    assert len(columns) >= 18
    full, page = made_page(secret), made_page(secret, public=True)
    words = zlib.decompress(base64.b64decode(re.search(rb'"words":"([^"]+)"', full)[1]))
    for name, column in columns:
        wanted = f"Secret-{name}.{column}-".encode()
        # texts that the full page shows; the others reach no page at all
        if (name, column) in SHOWN:
            assert wanted in full or wanted in words, (name, column)
        assert wanted not in page, (name, column)
    assert re.findall(r"Secret-[a-z_.]+", page.decode()) == ["Secret-contact"]


def test_attacks_in_every_text_of_every_input_run_nothing_and_end_nothing():
    for shift, attack in enumerate(ATTACKS):
        result = with_text_everywhere(made_result(), lambda name, row, a=attack: f"{a}{name}{row}")
        for public in (False, True) if shift % 4 == 0 else (False,):
            parsed = Page(made_page(result, public=public))
            assert parsed.open == []
            assert len(parsed.all("script")) == 2
            assert "img" not in {name for name, _ in parsed.elements}
            assert not any(key.startswith("on") for _, attributes in parsed.elements for key in attributes)
            assert "</script" not in parsed.silent["script"][-1]


# --- plants


def unpacked(points: PlantPoints) -> dict[str, np.ndarray]:
    packed = points.packed(EN)
    count, data = packed["count"], zlib.decompress(base64.b64decode(packed["numbers"]))
    kinds = (("longitude", "<i4"), ("latitude", "<i4"), ("row", "<u4"), ("status", "u1"), ("level", "u1"))
    columns, at = {}, 0
    for name, kind in kinds:
        columns[name] = np.frombuffer(data, kind, count, at)
        at += columns[name].nbytes
    assert at == len(data)
    return columns


def test_plants_are_packed_in_the_order_of_drawing_and_come_back(result):
    raster = next(iter(made_rasters(result).values()))
    columns = unpacked(plant_points(EN, result, raster))
    inventory = result.inputs.inventory
    row = columns["row"]
    assert sorted(row) == list(range(PLANTS))
    assert np.abs(columns["longitude"] * 1e-6 - inventory.longitude[row]).max() <= 0.5e-6 + 1e-12
    assert np.abs(columns["latitude"] * 1e-6 - inventory.latitude[row]).max() <= 0.5e-6 + 1e-12
    code = columns["status"] & ~np.uint8(SYNTHETIC_BIT)
    assert (np.diff(code.astype(int)) >= 0).all()
    assert set(row[-len(CONFIRMED) :]) == set(CONFIRMED)
    assert ((columns["status"] & SYNTHETIC_BIT) > 0).tolist() == inventory.is_synthetic[row].tolist()


def test_confirmed_lies_on_top_and_no_two_marks_look_alike():
    assert MARKS[-1].status == "infected"
    assert CODE["suspect"] > CODE["clean"] > CODE["not_inspected"]
    assert len({(mark.shape, mark.colour) for mark in MARKS}) == len(MARKS)
    assert sorted(WORST_LAST) == sorted(CODE)
    assert len({mark.shape for mark in MARKS}) >= len(MARKS) - 1  # a sprouting stump is a cross in another colour


def test_class_of_pressure_counts_for_plants_not_confirmed_only(result):
    points = plant_points(EN, result, None)
    breaks, pressure = result.systems[0].breaks, result.systems[0].exposure.pressure
    for row in range(PLANTS):
        expected = NO_CLASS if row in (*CONFIRMED, 29) else sum(pressure[row] >= limit for limit in breaks)
        assert points.pressure_class[row] == expected
    assert len(points.class_labels) == len(breaks) + 1


def test_a_plant_with_a_harmless_pest_never_looks_like_one_to_dig_out(result):
    system = result.systems[0]
    words = system.state.status.copy()
    words[2] = "infected"
    state = replace(system.state, is_host=np.arange(PLANTS) != 2)
    surveys = replace(result.inputs.surveys, pest_system=np.full(28, "lime_gall", dtype=object))
    found = replace(
        result,
        inputs=replace(result.inputs, surveys=surveys),
        systems=(replace(system, state=state),),
        status_words=words,
    )
    assert drawn_status(found)[2] == "cosmetic"
    assert "no plant is removed for it" in plant_points(EN, found, None).sparse["Other finding"][2]


def test_notes_are_carried_for_confirmed_and_suspect_plants_only():
    result = made_result(notes=[f"note {index}" for index in range(1, PLANTS)])
    assert set(plant_points(EN, result, None).sparse["Note"]) == {*CONFIRMED, *SUSPECT} - {0}


def test_a_hundred_thousand_plants_stay_small():
    count, random = 100_000, np.random.default_rng(7)
    points = PlantPoints(
        longitude=random.normal(10, 0.05, count),
        latitude=random.normal(50, 0.03, count),
        status=random.choice(np.array(["clean", "not_inspected", "suspect", "infected"], dtype=object), count),
        is_synthetic=random.random(count) < 0.2,
        pressure_class=random.integers(0, 5, count),
        class_labels=("a", "b", "c", "d", "e"),
        key=np.array([f"R{index:06d}" for index in range(count)], dtype=object),
        repeated={"Bed": np.array([f"bed {index // 40}" for index in range(count)], dtype=object)},
        sparse={},
        rank={},
    )
    page = PageFigure("many", Html("<main>"), Html("</main>"), "")
    review_map = ReviewMap(page, centre=(50.0, 10.0), most_zoom=20, spoken="map")
    review_map.add_child(PlantsLayer(page, points, EN))
    # 14 bytes a plant before packing, a third more in base64, and the words
    assert len(page.render()) < 4_000_000


def test_plants_belong_on_a_map():
    page = PageFigure("none", Html(""), Html(""), "")
    layer = PlantsLayer(page, plant_points(EN, made_result(), None), EN)
    with pytest.raises(TypeError, match="on a map inside a figure"):
        layer.render()


# --- drawings


def test_the_legend_lists_only_marks_that_occur(result):
    text = legend(EN, result, made_rasters(result), (), {"infected", "clean"}, set())
    assert "Confirmed" in text
    assert "Suspect" not in text
    assert "synthetic position" in text
    assert "not the same as low" in text


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.0, 0.02, "under 0.02"), (0.02, 1.0, "0.02 to 1"), (14.2, np.inf, "14 and more"), (-np.inf, 1.0, "under 1")],
)
def test_limits_of_a_class_in_words(low, high, said):
    assert class_limits(EN, WebClass(label="x", low=low, high=high, colour="#000000")) == said


def test_bounds_of_shapes():
    ring = [[10.0, 50.0], [10.2, 50.0], [10.1, 50.3], [10.0, 50.0]]
    shape = WebShape(kind="ring", name="core", geojson={"type": "Polygon", "coordinates": [ring]}, properties={})
    assert shape_bounds(shape) == (50.0, 10.0, 50.3, 10.2)
    assert list(coordinates({"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]}})) == [(1.0, 2.0)]
    assert shape_bounds(replace(shape, geojson={"type": "Polygon", "coordinates": []})) is None
