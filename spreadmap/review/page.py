"""The review page: one file in which a survey is read, decided and defended, with one map beside the text."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from spreadmap.review.decide import decision_values, removal_values
from spreadmap.review.frame import PageFigure, Raw, ReviewMap, packed_text
from spreadmap.review.ground import HATCH, UNSEEN, ground_of, ground_of_sites
from spreadmap.review.language import SOURCE, Words, words_of
from spreadmap.review.legend import layer_of, legend
from spreadmap.review.markup import Html, escaped, join, script_text, script_value, tag
from spreadmap.review.plants_layer import PlantsLayer
from spreadmap.review.points import drawn_status, plant_points
from spreadmap.review.removal_list import list_values
from spreadmap.review.rose import wind_rose
from spreadmap.review.sections import in_short, key_of, memo
from spreadmap.review.shape_cards import shape_says, shape_title
from spreadmap.review.tables import Bounds
from spreadmap.review.views import View, views
from spreadmap.review.words import has_wind, mode_sentence, residents
from spreadmap.values.page_settings import PageSettings, tile_host
from spreadmap.values.results import SurveyResult
from spreadmap.values.web import WebRaster, WebShape, WebShapes
from spreadmap.values.words import Mode, Status

MOST_ZOOM = 22
MOST_ZOOM_PUBLIC = 16
SCRIPTS = (
    "inflate.js",
    "canvas.js",
    "overlay.js",
    "ground.js",
    "find.js",
    "views.js",
    "removal.js",
    "stills.js",
    "page.js",
)

SHARED_WORDS = {
    "group": "number.group",
    "point": "number.point",
    "under": "share.under",
    "over": "share.over",
    "share": "share.whole",
    "article": "share.article",
    "hours": "unit.hours",
    "plants": "noun.plant",
    "decision_on": "tools.decision_on",
    "reason_for": "tools.reason_for",
    "put_off_until": "tools.until",
}
"""Texts that scripts share with the rest of the page, by the names that scripts use."""


def render_review(
    result: SurveyResult,
    rasters: Mapping[str, WebRaster],
    shapes: Mapping[str, WebShapes],
    *,
    public: bool = False,
) -> bytes:
    """Return the review page as one HTML file that fetches nothing.

    Parameters
    ----------
    result : SurveyResult
        What the run found.
    rasters : mapping
        Pictures of surfaces by name, in the order of their switches. A surface named as a pest system's key is that
        system's; the first is shown when the page opens. `<key>/without_reservoirs` is named as such.
    shapes : mapping
        Shapes by any name; all are drawn, on one layer per kind.
    public : bool
        For everyone: only surface, dates and two sentences for residents. No plant, key, shape, owner or note; give
        it surfaces at block level.

    Returns
    -------
    bytes
        UTF-8. The same values give the same bytes.

    Notes
    -----
    Text of users stands in the page as escaped text or as JSON in ASCII, and reaches the map through `textContent`;
    none of it passes a template. Bound by test_review_page.py and test_review_browser.py.
    """
    say, settings = words_of(result.settings.page), result.settings.page
    drawn_shapes = () if public else tuple(shape for group in shapes.values() for shape in group.shapes)
    ring_bounds = {
        (int(shape.properties.get("focus", "0") or 0), shape.name): box
        for shape in drawn_shapes
        if shape.kind == "ring" and (box := shape_bounds(shape)) is not None
    }
    known = {} if public else ground_of_sites(result)
    grounds = {ground_of(shape, known) for shape in drawn_shapes}
    drawn = set() if public else {str(word) for word in drawn_status(result)}
    grounds |= {UNSEEN} if Status.NOT_INSPECTED.value in drawn else set()
    told = public_text(say, result) if public else memo(say, result, ring_bounds)
    page = PageFigure(
        title=say("face.title", name=result.inputs.name, day=say.day(result.inputs.as_of)),
        before_map=join(
            Html('<main class="public">' if public else "<main>"),
            head(say, result, public=public),
            Html(f'<figure class="stage" aria-label="{escaped(say("map.stage"))}"><div class="map-frame">'),
        ),
        after_map=join(
            map_buttons(say, public=public),
            rose_inset(say, result),
            Html("</div>"),
            HATCH,
            Html("<figcaption>"),
            None if public else tag("p", class_="map-says"),
            legend(say, result, rasters, drawn_shapes, drawn, grounds),
            Html('</figcaption></figure><article class="memo">'),
            told,
            foot(say, settings, has_english=f'lang="{SOURCE}"' in told),
            Html("</article></main>"),
        ),
        style=packed_text("assets", "page.css"),
        language=say.language,
        tile_host=tile_host(settings.tile_address),
    )
    page.first_script = Raw(
        f"{script_text(packed_text('assets', 'say.js'))}\n"
        f"const spreadmapWords = spreadmapSay({script_value(script_words(say))});"
    )
    shown = map_bounds(result, rasters, ring_bounds.values(), public=public)
    most_zoom = MOST_ZOOM_PUBLIC if public else MOST_ZOOM
    review_map = ReviewMap(page, centre=centre_of(shown, result), most_zoom=most_zoom, spoken=say("map.spoken"))
    plants = None
    if not public:
        plants = PlantsLayer(page, plant_points(say, result, next(iter(rasters.values()), None)), say)
        review_map.add_child(plants)
    more = page_values(say, result, rasters, drawn_shapes, public=public)
    values = map_values(say, rasters, drawn_shapes, shown, result, known)
    page.last_script = Raw(
        "\n".join(
            (
                *(script_text(packed_text("assets", name)) for name in SCRIPTS),
                f"spreadmapPage({review_map.get_name()}, {plants.get_name() if plants else 'null'}, "
                f"{script_value({**values, **more})});",
            )
        )
    )
    return page.render().encode("utf-8")


def script_words(say: Words) -> dict[str, Any]:
    """Return the texts of the page's scripts: their own, and those that they share with the rest of the page."""
    return say.section("script") | {name: say.raw(key) for name, key in SHARED_WORDS.items()}


def map_buttons(say: Words, *, public: bool) -> Html:
    """Return what stands on the map: the way back to the whole of it, and whether it follows the text."""
    follow, find = None, None
    if not public:
        field = tag(
            "input", type="search", data_find=True, placeholder=say("map.find"), autocomplete="off",
            aria_label=say("map.find_label"),
        )  # fmt: skip
        find = tag("span", field, tag("span", role="status", data_found=True), class_="find")
        box = tag("input", type="checkbox", data_follow=True, checked=True, autocomplete="off")
        follow = tag("label", box, say("map.follow"), class_="follow")
    return tag(
        "div",
        tag("button", say("map.whole"), type="button", class_="home", data_home=True),
        follow,
        find,
        class_="map-buttons",
    )


def rose_inset(say: Words, result: SurveyResult) -> Html | None:
    """Return the rose of the flight hours that stands in a corner of the map; nothing without a wind record."""
    system = result.systems[0] if result.systems else None
    drawing = wind_rose(say, system.climate) if system is not None and has_wind(system) else None
    return tag("div", drawing, class_="rose-inset") if drawing else None


def page_values(
    say: Words, result: SurveyResult, rasters: Mapping[str, WebRaster], shapes: tuple[WebShape, ...], *, public: bool
) -> dict[str, Any]:
    """Return what the script of the text needs: views of the sections, lists, decisions."""
    if public:
        start = View(says="", layers=tuple(f"surface {key}" for key in list(rasters)[:1]))
        return {"views": {"start": start.packed()}, "removals": [], "decisions": None}
    boxes: dict[tuple[str, str], Bounds] = {}
    for index, shape in enumerate(shapes):
        box = shape_bounds(shape)
        if box is not None:
            boxes[shape.kind, f"{index}"] = box
    return {
        "views": views(say, result, rasters, shapes, boxes, key_of),
        "removals": [
            {
                **removal_values(say, key_of("removal", system, result), system, result),
                **list_values(say, system, result),
            }
            for system in result.systems
            if len(system.plan.removal)
        ],
        "decisions": decision_values(result),
    }


def head(say: Words, result: SurveyResult, *, public: bool) -> Html:
    """Return name, dates, quantity, condition and mode, and on the full page what to do first."""
    inputs = result.inputs
    facts: list[tuple[str, str]] = [("state_of", say.day(inputs.as_of))]
    if result.systems:
        face = result.systems[0].face
        shown = say(
            "face.shown_words",
            quantity=say.phrase(face.quantity),
            condition=say.phrase(face.condition),
            period=say.period(face.period_from, face.period_to),
        )
        facts += [("valid_until", say.day(face.valid_until)), ("shown", shown), ("mode", mode_sentence(say, face))]
    else:
        facts.append(("valid_until", say.day(inputs.next_survey_on)))
    return tag(
        "header",
        tag("p", say("face.eyebrow_public" if public else "face.eyebrow"), class_="eyebrow"),
        tag("h1", inputs.name),
        tag(
            "dl",
            *(
                tag("div", tag("dt", say(f"face.{name}")), tag("dd", text), class_="wide" if name == "shown" else None)
                for name, text in facts
            ),
            class_="face",
        ),
        None if public else in_short(say, result),
    )


def public_text(say: Words, result: SurveyResult) -> Html:
    """Return what residents read: two sentences, and how to read the map."""
    first, second = residents(say, result)
    return tag(
        "section",
        tag("p", first, class_="answer"),
        tag("p", second, class_="answer"),
        tag("p", public_map(say, result), class_="why"),
        aria_label=say("residents.public_label"),
    )


def public_map(say: Words, result: SurveyResult) -> str:
    """Return how the public map is to be read: it ranks areas, or with a fit gives chances for squares."""
    face = result.systems[0].face if result.systems else None
    if face is None or face.mode is Mode.RELATIVE:
        return say("residents.public_map")
    return say("calibrated.public_map", until=say.day(face.period_to))


def foot(say: Words, settings: PageSettings, *, has_english: bool) -> Html:
    """Return how the page was made, what it asks of whom, and the licence of the map script inside it.

    `has_english` says that sentences of other rooms stay English on a page of another language.
    """
    host = tile_host(settings.tile_address)
    asks = say("foot.asks", host=host) if host else say("foot.asks_nobody")
    return tag(
        "footer",
        tag("p", f"{say('foot.made')} {asks}"),
        None if say.is_source or not has_english else tag("p", say("foot.in_english")),
        tag("p", say("foot.in_metres")) if say.is_us else None,
        tag(
            "details",
            tag("summary", say("foot.licence")),
            tag("pre", packed_text("vendored", "leaflet_licence.txt"), lang="en"),
        ),
    )


def corners(bounds: Bounds) -> list[list[float]]:
    """Return bounds as south-west and north-east corner."""
    south, west, north, east = (round(value, 7) for value in bounds)
    return [[south, west], [north, east]]


def coordinates(value: Any) -> Iterator[tuple[float, float]]:
    """Yield longitude and latitude of every point of a GeoJSON geometry, feature or coordinate list."""
    if isinstance(value, Mapping):
        for name in ("geometry", "geometries", "features", "coordinates"):
            if value.get(name) is not None:
                yield from coordinates(value[name])
    elif isinstance(value, (list, tuple)) and value and isinstance(value[0], (int, float)):
        yield float(value[0]), float(value[1])
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from coordinates(item)


def shape_bounds(shape: WebShape) -> Bounds | None:
    """Return the bounds of a shape; None for one without points."""
    points = list(coordinates(shape.geojson))
    if not points:
        return None
    east, north = np.array(points).T
    return float(north.min()), float(east.min()), float(north.max()), float(east.max())


def map_bounds(
    result: SurveyResult, rasters: Mapping[str, WebRaster], rings: Iterable[Bounds], *, public: bool
) -> Bounds | None:
    """Return what the map shows when the page opens: all plants and rings, or for everyone the first surface."""
    inventory = result.inputs.inventory
    if not public and len(inventory):
        north, east = inventory.latitude, inventory.longitude
        boxes = np.array([(north.min(), east.min(), north.max(), east.max()), *rings])
        south, west = boxes[:, :2].min(axis=0).tolist()
        top, right = boxes[:, 2:].max(axis=0).tolist()
        return south, west, top, right
    for raster in rasters.values():
        return raster.south, raster.west, raster.north, raster.east
    return None


def centre_of(bounds: Bounds | None, result: SurveyResult) -> tuple[float, float]:
    """Return latitude and longitude of the middle."""
    if bounds is None:
        return result.inputs.latitude_deg, result.inputs.longitude_deg
    return (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2


def map_values(
    say: Words,
    rasters: Mapping[str, WebRaster],
    shapes: tuple[WebShape, ...],
    shown: Bounds | None,
    result: SurveyResult,
    known: Mapping[str, str],
) -> dict[str, Any]:
    """Return what the page's script draws besides plants."""
    settings = result.settings.page
    tiles = {"address": settings.tile_address, "attribution": settings.tile_attribution}
    return {
        "bounds": None if shown is None else corners(shown),
        "attribution": say("face.state", day=say.day(result.inputs.as_of)),
        "units": say.units,
        "tiles": tiles if settings.tile_address else None,
        "rasters": [
            {
                "layer": f"surface {key}",
                "png": "data:image/png;base64," + base64.b64encode(raster.png).decode("ascii"),
                "bounds": corners((raster.south, raster.west, raster.north, raster.east)),
            }
            for key, raster in rasters.items()
        ],
        "shapes": [
            {
                "layer": layer_of(shape),
                "kind": shape.kind,
                "ground": ground_of(shape, known),
                "name": shape.name,
                "title": shape_title(say, shape),
                "says": shape_says(say, shape),
                "geometry": shape.geojson,
            }
            for shape in shapes
        ],
    }
