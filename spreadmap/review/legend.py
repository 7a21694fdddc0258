"""The legend under the map: what every sign means, and the switch of every layer."""

from __future__ import annotations

from collections.abc import Mapping

from spreadmap.review.ground import GROUND_WORDS, NO_HOST, UNSEEN
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.plants_layer import MARKS, Mark
from spreadmap.review.points import class_limits
from spreadmap.review.rose import rose_words, wind_rose
from spreadmap.review.words import day, has_wind, mode_sentence, period, sentence
from spreadmap.values.results import Face, SurveyResult, SystemResult
from spreadmap.values.web import WebRaster, WebShape

SHAPE_WORDS = {
    "ring": "Rings: core, inner, outer",
    "ring_range": "Range of the inner rings over the scale run",
    "old_ring": "Rings of the last forecast",
    "site": "Sites",
    "reservoir": "Wild stands",
    "screen": "Screens",
}
SHAPE_SIGNS = {
    "ring": '<path class="ring-sign" d="M1 4h24M1 8h24M1 12h24"/>',
    "ring_range": '<rect x="2" y="3" width="22" height="10" fill="#14413d" fill-opacity=".16" stroke="#14413d"/>',
    "old_ring": '<path class="old-ring-sign" d="M1 8h24"/>',
    "line": '<path class="line-sign" d="M1 8h24"/>',
    "site": '<rect class="site-sign" x="2" y="2" width="22" height="12"/>',
    "reservoir": '<rect class="reservoir-sign" x="2" y="2" width="22" height="12"/>',
    "screen": '<path class="screen-sign" d="M1 8h24"/>',
}
GROUND_SIGNS = {
    UNSEEN: '<rect x="2" y="2" width="22" height="12" fill="url(#hatch)" stroke="#7c776b"/>',
    NO_HOST: '<rect x="2" y="2" width="22" height="12" fill="#d3d3cf" stroke="#7c776b"/>',
}
SHAPE_ORDER = ("ring", "ring_range", "old_ring", "line", "reservoir", "screen", "site")


def layer_of(shape: WebShape) -> str:
    """Return the layer on which a shape lies: one per kind, one per line of the rules of thumb."""
    return f"line {shape.name}" if shape.kind == "line" else shape.kind


def mark_sign(mark: Mark, *, synthetic: bool = False) -> Html:
    """Return the drawing of a mark as the canvas draws it."""
    ink = f'fill="none" stroke="{mark.colour}" stroke-width="2"'
    full = f'fill="{mark.colour}" stroke="#1d1d1d" stroke-width="0.8"'
    drawings = {
        "square": f'<rect x="3" y="3" width="10" height="10" {full}/>',
        "triangle": f'<path d="M8 2.5L14 13H2Z" {full}/>',
        "dot": f'<circle cx="8" cy="8" r="4.4" fill="{mark.colour}"/>',
        "ring": f'<circle cx="8" cy="8" r="4.2" {ink}/>',
        "bar": f'<rect x="2" y="5.5" width="12" height="5" fill="{mark.colour}"/>',
        "cross": f'<path d="M4 4L12 12M12 4L4 12" {ink}/>',
        "plus": f'<path d="M8 3V13M3 8H13" {ink}/>',
        "speck": f'<circle cx="8" cy="8" r="2" fill="{mark.colour}"/>',
    }
    middle = '<circle cx="8" cy="8" r="1.6" fill="#fff"/>' if synthetic else ""
    return Html(f'<svg class="sign" viewBox="0 0 16 16" aria-hidden="true">{drawings[mark.shape]}{middle}</svg>')


def switch(layer: str, label: object, *, on: bool) -> Html:
    """Return a labelled box that switches a layer."""
    return tag("label", tag("input", type="checkbox", data_layer=layer, checked=on, autocomplete="off"), label)


def plants_legend(drawn: set[str], *, any_synthetic: bool) -> Html:
    """Return the marks that occur on this map, the most urgent first."""
    items = [tag("li", mark_sign(mark), mark.label) for mark in reversed(MARKS) if mark.status in drawn]
    if any_synthetic:
        dot = next(mark for mark in MARKS if mark.status == "clean")
        text = "Pale middle: synthetic position in a bed with a count, not surveyed"
        items.append(tag("li", mark_sign(dot, synthetic=True), text))
    return tag("div", tag("h2", switch("plants", "Plants", on=True)), tag("ul", *items), class_="key")


def surface_legend(rasters: Mapping[str, WebRaster], system: SystemResult | None, face: Face | None) -> Html:
    """Return classes, quantity and unit of the surfaces; the first is shown when the page opens."""
    parts: list[Html] = []
    for index, (key, raster) in enumerate(rasters.items()):
        name = face.quantity if face is not None and index == 0 else surface_name(key)
        parts.append(tag("h2", switch(f"surface {key}", name, on=index == 0)))
        if index == 0:
            if face is not None:
                parts.append(tag("p", face.unit, class_="unit"))
            rows = [
                tag(
                    "li",
                    tag("span", class_="swatch" if place else "swatch clear", style=f"--ink:{entry.colour}"),
                    entry.label,
                    tag("span", class_limits(entry), class_="limits"),
                )
                for place, entry in reversed(list(enumerate(raster.classes)))
            ]
            parts.append(tag("ul", *rows, class_="classes"))
    if not parts:
        return Html("")
    parts.append(tag("p", "Outside the dotted frame: not reckoned, which is not the same as low.", class_="unit"))
    return tag("div", *parts, class_="key")


def surface_name(key: str) -> str:
    """Return the words for a further surface."""
    return "Without wild stands" if key.endswith("without_reservoirs") else key.replace("_", " ")


def shapes_legend(shapes: tuple[WebShape, ...]) -> Html:
    """Return one switch per layer of shapes; lines of the rules of thumb are off when the page opens."""
    layers: dict[str, WebShape] = {}
    for shape in sorted(shapes, key=lambda item: SHAPE_ORDER.index(item.kind)):
        layers.setdefault(layer_of(shape), shape)
    items = []
    for layer, shape in layers.items():
        name = sentence(shape.name) if shape.kind == "line" else SHAPE_WORDS[shape.kind]
        sign = Html(f'<svg class="sign wide" viewBox="0 0 26 16" aria-hidden="true">{SHAPE_SIGNS[shape.kind]}</svg>')
        items.append(
            tag("li", switch(layer, join(sign, name), on=shape.kind not in {"line", "old_ring", "ring_range"}))
        )
    return tag("ul", *items) if items else Html("")


def ground_legend(kinds: set[str]) -> Html:
    """Return what the ground of a site says, for the kinds that occur."""
    items = [
        tag(
            "li",
            Html(f'<svg class="sign wide" viewBox="0 0 26 16" aria-hidden="true">{sign}</svg>'),
            GROUND_WORDS[kind],
        )
        for kind, sign in GROUND_SIGNS.items()
        if kind in kinds
    ]
    return tag("ul", *items, class_="ground") if items else Html("")


def wind_legend(system: SystemResult) -> Html:
    """Return the words of the rose, or that there is none; the rose itself stands on the map, and here in print."""
    if not has_wind(system):
        return tag("p", "No wind record: the same in all directions.", class_="unit wind")
    drawing = wind_rose(system.climate)
    words = rose_words(system.climate) if drawing else f"Directions from {system.climate.basis}."
    told = tag("p", tag("b", "Wind while mites fly. "), words, class_="unit")
    return tag("div", tag("div", drawing, class_="print-only"), told, class_="wind")


def face_line(face: Face) -> Html:
    """Return quantity, period, condition, mode and dates as one line under the map."""
    return tag(
        "p",
        tag("strong", face.quantity),
        f", {period(face.period_from, face.period_to)}, {face.condition}. {mode_sentence(face)}. "
        f"State of {day(face.as_of)}; valid until {day(face.valid_until)}.",
        class_="face-line",
    )


def legend(
    result: SurveyResult,
    rasters: Mapping[str, WebRaster],
    shapes: tuple[WebShape, ...],
    drawn: set[str],
    grounds: set[str],
) -> Html:
    """Return the whole legend; without marks (`drawn` empty) there is no entry for plants.

    `grounds` are the kinds of ground that occur among the sites.
    """
    system = result.systems[0] if result.systems else None
    face = system.face if system is not None else None
    columns: list[Html] = []
    if drawn:
        columns.append(plants_legend(drawn, any_synthetic=bool(result.inputs.inventory.is_synthetic.any())))
    surfaces = surface_legend(rasters, system, face)
    if surfaces:
        columns.append(surfaces)
    others = join(
        tag("h2", "Lines and ground") if shapes else None,
        shapes_legend(shapes),
        ground_legend(grounds),
        tag("ul", tag("li", switch("graticule", "Grid of degrees", on=False))),
    )
    if others:
        columns.append(tag("div", others, class_="key"))
    if system is not None:
        columns.append(wind_legend(system))
    return join(face_line(face) if face is not None else None, tag("div", *columns, class_="legend"))
