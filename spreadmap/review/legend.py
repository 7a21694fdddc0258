"""The legend under the map: what every sign means, and the switch of every layer."""

from __future__ import annotations

from collections.abc import Mapping

from spreadmap.review.ground import NO_HOST, UNSEEN
from spreadmap.review.language import Words, sentence
from spreadmap.review.markup import Html, join, tag
from spreadmap.review.plants_layer import MARKS, Mark
from spreadmap.review.points import class_limits
from spreadmap.review.rose import rose_words, wind_rose
from spreadmap.review.words import has_wind, mode_sentence
from spreadmap.values.results import Face, SurveyResult, SystemResult
from spreadmap.values.web import WebRaster, WebShape
from spreadmap.values.words import Mode

SHAPE_SIGNS = {
    "ring": '<path class="ring-sign" d="M1 4h24M1 8h24M1 12h24"/>',
    "ring_range": '<rect x="2" y="3" width="22" height="10" fill="#14413d" fill-opacity=".12" stroke="#14413d"/>',
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


def plants_legend(say: Words, drawn: set[str], *, any_synthetic: bool) -> Html:
    """Return the marks that occur on this map, the most urgent first."""
    items = [tag("li", mark_sign(mark), say(f"mark.{mark.status}")) for mark in reversed(MARKS) if mark.status in drawn]
    if any_synthetic:
        dot = next(mark for mark in MARKS if mark.status == "clean")
        items.append(tag("li", mark_sign(dot, synthetic=True), say("legend.synthetic")))
    return tag("div", tag("h2", switch("plants", say("legend.plants"), on=True)), tag("ul", *items), class_="key")


def surface_legend(say: Words, rasters: Mapping[str, WebRaster], face: Face | None) -> Html:
    """Return classes, quantity and unit of the surfaces; the first is shown when the page opens."""
    parts: list[Html] = []
    is_chance = face is not None and face.mode is Mode.CALIBRATED
    for index, (key, raster) in enumerate(rasters.items()):
        name = say.told(face.quantity) if face is not None and index == 0 else surface_name(say, key)
        on_screen = None if index == 0 else "screen-only"
        parts.append(tag("h2", switch(f"surface {key}", name, on=index == 0), class_=on_screen))
        if index == 0:
            if face is not None:
                parts.append(tag("p", say.told(face.unit), class_="unit"))
            rows = [
                tag(
                    "li",
                    tag("span", class_="swatch" if place else "swatch clear", style=f"--ink:{entry.colour}"),
                    say.told(entry.label),
                    tag("span", class_limits(say, entry, is_chance=is_chance), class_="limits"),
                )
                for place, entry in reversed(list(enumerate(raster.classes)))
            ]
            parts.append(tag("ul", *rows, class_="classes"))
    if not parts:
        return Html("")
    parts.append(tag("p", say("legend.outside"), class_="unit"))
    return tag("div", *parts, class_="key")


def surface_name(say: Words, key: str) -> str:
    """Return the words for a further surface."""
    return say("legend.without_wild") if key.endswith("without_reservoirs") else key.replace("_", " ")


def shapes_legend(say: Words, shapes: tuple[WebShape, ...], *, is_calibrated: bool) -> Html:
    """Return one switch per layer of shapes; lines of the rules of thumb are off when the page opens."""
    layers: dict[str, WebShape] = {}
    for shape in sorted(shapes, key=lambda item: SHAPE_ORDER.index(item.kind)):
        layers.setdefault(layer_of(shape), shape)
    items = []
    for layer, shape in layers.items():
        name = sentence(say.phrase(shape.name)) if shape.kind == "line" else say(f"legend.{shape.kind}")
        if shape.kind == "ring_range" and is_calibrated:
            name = say("calibrated.ring_range")
        sign = Html(f'<svg class="sign wide" viewBox="0 0 26 16" aria-hidden="true">{SHAPE_SIGNS[shape.kind]}</svg>')
        items.append(
            tag("li", switch(layer, join(sign, name), on=shape.kind not in {"line", "old_ring", "ring_range"}))
        )
    return tag("ul", *items) if items else Html("")


def ground_legend(say: Words, kinds: set[str]) -> Html:
    """Return what the ground of a site says, for the kinds that occur."""
    items = [
        tag(
            "li",
            Html(f'<svg class="sign wide" viewBox="0 0 26 16" aria-hidden="true">{sign}</svg>'),
            say(f"ground.{kind}"),
        )
        for kind, sign in GROUND_SIGNS.items()
        if kind in kinds
    ]
    return tag("ul", *items, class_="ground") if items else Html("")


def wind_legend(say: Words, system: SystemResult) -> Html:
    """Return the words of the rose, or that there is none; the rose itself stands on the map, and here in print."""
    if not has_wind(system):
        return tag("p", say("legend.no_wind"), class_="unit wind")
    drawing = wind_rose(say, system.climate)
    words = (
        rose_words(say, system.climate) if drawing else say("legend.directions", basis=say.worded(system.climate.basis))
    )
    told = tag("p", tag("b", say("legend.wind")), " ", words, class_="unit")
    return tag("div", tag("div", drawing, class_="print-only"), told, class_="wind")


def face_line(say: Words, face: Face) -> Html:
    """Return quantity, period, condition, mode and dates as one line under the map."""
    return tag(
        "p",
        tag("strong", say.phrase(face.quantity)),
        say(
            "face.line",
            period=say.period(face.period_from, face.period_to),
            condition=say.phrase(face.condition),
            mode=mode_sentence(say, face),
            day=say.day(face.as_of),
            until=say.day(face.valid_until),
        ),
        class_="face-line",
    )


def legend(
    say: Words,
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
        columns.append(plants_legend(say, drawn, any_synthetic=bool(result.inputs.inventory.is_synthetic.any())))
    surfaces = surface_legend(say, rasters, face)
    if surfaces:
        columns.append(surfaces)
    others = join(
        tag("h2", say("legend.lines")) if shapes else None,
        shapes_legend(say, shapes, is_calibrated=face is not None and face.mode is Mode.CALIBRATED),
        ground_legend(say, grounds),
        tag(
            "ul",
            tag("li", switch("graticule", say("legend.graticule"), on=False), class_="screen-only"),
            tag("li", switch("tiles", say("legend.tiles"), on=True), class_="screen-only")
            if result.settings.page.tile_address
            else None,
        ),
    )
    if others:
        columns.append(tag("div", others, class_="key"))
    if system is not None:
        columns.append(wind_legend(say, system))
    return join(face_line(say, face) if face is not None else None, tag("div", *columns, class_="legend"))
