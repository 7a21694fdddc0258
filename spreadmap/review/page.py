"""The review page: one file in which a survey is read, decided and defended, with one map beside the text."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from spreadmap.review.decide import decision_values, removal_values
from spreadmap.review.frame import PageFigure, Raw, ReviewMap, packed_text
from spreadmap.review.ground import HATCH, UNSEEN, ground_of, ground_of_sites
from spreadmap.review.legend import layer_of, legend
from spreadmap.review.markup import Html, join, script_text, script_value, tag
from spreadmap.review.plants_layer import PlantsLayer
from spreadmap.review.points import drawn_status, plant_points
from spreadmap.review.rose import wind_rose
from spreadmap.review.sections import in_short, key_of, memo
from spreadmap.review.tables import Bounds
from spreadmap.review.views import View, views
from spreadmap.review.words import day, has_wind, mode_sentence, period, residents
from spreadmap.values.results import SurveyResult
from spreadmap.values.web import WebRaster, WebShape, WebShapes
from spreadmap.values.words import Status

MOST_ZOOM = 22
MOST_ZOOM_PUBLIC = 16
SCRIPTS = ("canvas.js", "overlay.js", "find.js", "views.js", "removal.js", "stills.js", "page.js")
SHAPE_TITLES = {
    "ring": "Ring",
    "ring_range": "Range of a ring",
    "old_ring": "Ring of the last forecast",
    "line": "Line",
    "site": "Site",
    "reservoir": "Wild stand",
    "screen": "Screen",
}


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
    text = public_text(result) if public else memo(result, ring_bounds)
    page = PageFigure(
        title=f"{result.inputs.name}: state of {day(result.inputs.as_of)}",
        before_map=join(
            Html('<main class="public">' if public else "<main>"),
            head(result, public=public),
            Html('<figure class="stage" aria-label="Map and legend"><div class="map-frame">'),
        ),
        after_map=join(
            map_buttons(public=public),
            rose_inset(result),
            HATCH,
            Html("</div><figcaption>"),
            None if public else tag("p", class_="map-says"),
            legend(result, rasters, drawn_shapes, drawn, grounds),
            Html('</figcaption></figure><article class="memo">'),
            text,
            foot(),
            Html("</article></main>"),
        ),
        style=packed_text("assets", "page.css"),
    )
    shown = map_bounds(result, rasters, ring_bounds.values(), public=public)
    review_map = ReviewMap(page, centre=centre_of(shown, result), most_zoom=MOST_ZOOM_PUBLIC if public else MOST_ZOOM)
    plants = None
    if not public:
        plants = PlantsLayer(page, plant_points(result, next(iter(rasters.values()), None)))
        review_map.add_child(plants)
    more = page_values(result, rasters, drawn_shapes, public=public)
    page.last_script = Raw(
        "\n".join(
            (
                *(script_text(packed_text("assets", name)) for name in SCRIPTS),
                f"spreadmapPage({review_map.get_name()}, {plants.get_name() if plants else 'null'}, "
                f"{script_value({**map_values(rasters, drawn_shapes, shown, result, known), **more})});",
            )
        )
    )
    return page.render().encode("utf-8")


def map_buttons(*, public: bool) -> Html:
    """Return what stands on the map: the way back to the whole of it, and whether it follows the text."""
    follow, find = None, None
    if not public:
        field = tag(
            "input", type="search", data_find=True, placeholder="Find a plant or site", autocomplete="off",
            aria_label="Find a plant by its key, a site, wild stand or screen by its name",
        )  # fmt: skip
        find = tag("span", field, tag("span", role="status", data_found=True), class_="find")
        box = tag("input", type="checkbox", data_follow=True, checked=True, autocomplete="off")
        follow = tag("label", box, "Map follows the text", class_="follow")
    return tag(
        "div",
        tag("button", "Whole map", type="button", class_="home", data_home=True),
        follow,
        find,
        class_="map-buttons",
    )


def rose_inset(result: SurveyResult) -> Html | None:
    """Return the rose of the flight hours that stands in a corner of the map; nothing without a wind record."""
    system = result.systems[0] if result.systems else None
    drawing = wind_rose(system.climate) if system is not None and has_wind(system) else None
    return tag("div", drawing, class_="rose-inset") if drawing else None


def page_values(
    result: SurveyResult, rasters: Mapping[str, WebRaster], shapes: tuple[WebShape, ...], *, public: bool
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
        "views": views(result, rasters, shapes, boxes, key_of),
        "removals": [
            removal_values(key_of("removal", system, result), system, result)
            for system in result.systems
            if len(system.plan.removal)
        ],
        "decisions": decision_values(result),
    }


def head(result: SurveyResult, *, public: bool) -> Html:
    """Return name, dates, quantity, condition and mode, and on the full page what to do first."""
    inputs = result.inputs
    facts: list[tuple[str, str]] = [("State of", day(inputs.as_of))]
    if result.systems:
        face = result.systems[0].face
        facts += [
            ("Valid until", day(face.valid_until)),
            ("Shown", f"{face.quantity}, {face.condition}, {period(face.period_from, face.period_to)}"),
            ("Mode", mode_sentence(face)),
        ]
    else:
        facts.append(("Valid until", day(inputs.next_survey_on)))
    return tag(
        "header",
        tag("p", "Plant health, for everyone" if public else "Survey memo", class_="eyebrow"),
        tag("h1", inputs.name),
        tag(
            "dl",
            *(
                tag("div", tag("dt", name), tag("dd", text), class_="wide" if name == "Shown" else None)
                for name, text in facts
            ),
            class_="face",
        ),
        None if public else in_short(result),
    )


def public_text(result: SurveyResult) -> Html:
    """Return what residents read: two sentences, and how to read the map."""
    first, second = residents(result)
    return tag(
        "section",
        tag("p", first, class_="answer"),
        tag("p", second, class_="answer"),
        tag(
            "p",
            "The map ranks areas. It shows no single plant, and it says of no garden that a plant in it is diseased.",
            class_="why",
        ),
        aria_label="For residents",
    )


def foot() -> Html:
    """Return how the page was made and the licence of the map script inside it."""
    licence = packed_text("vendored", "leaflet_licence.txt")
    return tag(
        "footer",
        tag("p", "Made by spreadmap. This page is one file; it fetches nothing and sends nothing."),
        tag(
            "details",
            tag("summary", "Licence of the map script in this page (Leaflet 1.9.4)"),
            tag("pre", licence),
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
    rasters: Mapping[str, WebRaster],
    shapes: tuple[WebShape, ...],
    shown: Bounds | None,
    result: SurveyResult,
    known: Mapping[str, str],
) -> dict[str, Any]:
    """Return what the page's script draws besides plants."""
    return {
        "bounds": None if shown is None else corners(shown),
        "attribution": f"State of {day(result.inputs.as_of)}",
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
                "title": f"{SHAPE_TITLES[shape.kind]}: {shape.name}",
                "says": [[name, text] for name, text in shape.properties.items() if text],
                "geometry": shape.geojson,
            }
            for shape in shapes
        ],
    }
