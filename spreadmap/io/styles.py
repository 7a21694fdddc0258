"""How layers are drawn: SLD 1.1 for any program, QML for the one that reads it by itself. No red beside green.

Statuses have a colour and a shape each (colours after Okabe & Ito 2008, "Color Universal Design", jfly.uni-koeln.de),
classes of pressure the cividis ramp, dark for high (Nunez, Anderton & Renslow 2018, doi 10.1371/journal.pone.0199239).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

from spreadmap.io.desk import code_of, field_name
from spreadmap.io.short_names import GEOMETRY, LAYERS, NOT_ASSESSED
from spreadmap.values.delivery_settings import DeliverySettings

USUAL = DeliverySettings()
"""A desk that asks for nothing of its own."""

CLASS_COLOURS = ("#fee838", "#bcae6c", "#7d7c78", "#434e6c", "#00224e")
"""Cividis at 1, 3/4, 1/2, 1/4 and 0: the darkest is the highest class. Breaks never move, so neither do colours."""
CLASS_WORDS = ("very low", "low", "middle", "high", "very high")
NO_VALUE_COLOUR = "#d0d0d0"

VERMILLION, ORANGE, BLUE, GREY, INK = "#d55e00", "#e69f00", "#0072b2", "#6b6b6b", "#1d1d1d"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """How rows with one value are drawn. An empty `fill` is no filling; `dash` are lengths of line and gap [mm]."""

    value: str
    label: str
    fill: str
    line: str
    shape: str = "circle"
    size_mm: float = 2.4
    line_mm: float = 0.25
    dash: tuple[float, ...] = ()
    opacity: float = 1.0


def _class_signs(shape: str, opacity: float) -> tuple[Sign, ...]:
    """Return one sign per class of pressure, and one for places without a value."""
    signs = [
        Sign(value=str(index + 1), label=word, fill=colour, line=INK, shape=shape, opacity=opacity, line_mm=0.2)
        for index, (word, colour) in enumerate(zip(CLASS_WORDS, CLASS_COLOURS, strict=True))
    ]
    unknown = Sign(value=str(NOT_ASSESSED), label="not assessed", fill=NO_VALUE_COLOUR, line=GREY, shape=shape,
                   opacity=opacity)  # fmt: skip
    return (*signs, unknown)


SIGNS: dict[str, tuple[str, tuple[Sign, ...]]] = {
    "removal_list": (
        "within_hours",
        (
            Sign(value="Y", label="Remove, within the crew hours", fill=VERMILLION, line=INK, shape="square",
                 size_mm=3.0),
            Sign(value="N", label="Remove, beyond the crew hours", fill="#ffffff", line=VERMILLION, shape="square",
                 size_mm=3.0, line_mm=0.6),
        ),
    ),
    "inspection_list": ("pressure_class", _class_signs("circle", 1.0)),
    "plants": (
        "status",
        (
            Sign(value="infected", label="Confirmed", fill=VERMILLION, line=INK, shape="square", size_mm=3.0),
            Sign(value="suspect", label="Suspect", fill=ORANGE, line=INK, shape="triangle", size_mm=3.0),
            Sign(value="clean", label="Clean when last inspected", fill=BLUE, line=BLUE, size_mm=2.0),
            Sign(value="not_inspected", label="Not inspected: nobody looked", fill="#ffffff", line=GREY, line_mm=0.4),
            Sign(value="removed", label="Taken out", fill="", line=INK, shape="x", line_mm=0.5),
            Sign(value="not_found", label="Looked for, not there", fill="", line=GREY, shape="cross", line_mm=0.5),
        ),
    ),
    "zones": (
        "ring",
        (
            Sign(value="line", label="Line of a rule of thumb", fill="", line=GREY, line_mm=0.4, dash=(4, 2, 1, 2)),
            Sign(value="outer", label="Outer ring: watch", fill="", line=BLUE, line_mm=0.5, dash=(1, 1)),
            Sign(value="inner", label="Inner ring: inspect", fill="", line=ORANGE, line_mm=0.6, dash=(3, 1.5)),
            Sign(value="core", label="Core: inspect and test first", fill=VERMILLION, line=VERMILLION, line_mm=0.8,
                 opacity=0.15),
        ),
    ),
    "zone_ranges": (
        "bound",
        (
            Sign(value="high", label="Largest ring of the scale run", fill="", line=INK, line_mm=0.25, dash=(4, 1.5)),
            Sign(value="low", label="Smallest ring of the scale run", fill="", line=INK, line_mm=0.25, dash=(1, 1.5)),
        ),
    ),
    "blocks": ("pressure_class", _class_signs("square", 0.8)),
}  # fmt: skip
"""Per layer: the column that decides, and a sign for each of its values."""

SLD, SE, OGC = "http://www.opengis.net/sld", "http://www.opengis.net/se", "http://www.opengis.net/ogc"
MM_TO_PIXEL = 1 / 0.28
"""A pixel of the standard is 0.28 mm (OGC 05-077r4, section 11)."""


def styled_column(layer: str, *, short: bool, desk: DeliverySettings = USUAL) -> str:
    """Return the field that decides how rows of a layer are drawn."""
    name = SIGNS[layer][0]
    return next(field_name(column, desk) if short else column.name for column in LAYERS[layer] if column.name == name)


def sld_of_layer(layer: str, *, short: bool = True, desk: DeliverySettings = USUAL) -> str:
    """Return the SLD 1.1 of a vector layer; `short` says whether fields have their short names."""
    field = styled_column(layer, short=short, desk=desk)
    root, style = _sld_root(desk.file_names.get(layer, layer))
    for sign in SIGNS[layer][1]:
        rule = ET.SubElement(style, f"{{{SE}}}Rule")
        ET.SubElement(rule, f"{{{SE}}}Name").text = sign.label
        filtered = ET.SubElement(rule, f"{{{OGC}}}Filter")
        equal = ET.SubElement(filtered, f"{{{OGC}}}PropertyIsEqualTo")
        ET.SubElement(equal, f"{{{OGC}}}PropertyName").text = field
        ET.SubElement(equal, f"{{{OGC}}}Literal").text = code_of(SIGNS[layer][0], sign.value, desk)
        if _is_polygon(layer):
            _polygon_sld(rule, sign)
        else:
            _point_sld(rule, sign)
    return _xml(root)


def sld_of_raster(name: str, breaks: tuple[float, ...], *, is_classed: bool) -> str:
    """Return the SLD 1.1 of a raster: intervals between the fixed breaks, or the numbers of the classes."""
    colours = class_colours(len(breaks) + 1)
    limits = tuple(index + 1.5 for index in range(len(breaks))) if is_classed else breaks
    root, style = _sld_root(name)
    rule = ET.SubElement(style, f"{{{SE}}}Rule")
    symbolizer = ET.SubElement(rule, f"{{{SE}}}RasterSymbolizer")
    colour_map = ET.SubElement(symbolizer, f"{{{SE}}}ColorMap")
    steps = ET.SubElement(colour_map, f"{{{SE}}}Categorize", {"fallbackValue": "#ffffff"})
    ET.SubElement(steps, f"{{{SE}}}LookupValue").text = "Rasterdata"
    ET.SubElement(steps, f"{{{SE}}}Value").text = colours[0]
    for limit, colour in zip(limits, colours[1:], strict=True):
        ET.SubElement(steps, f"{{{SE}}}Threshold").text = repr(float(limit))
        ET.SubElement(steps, f"{{{SE}}}Value").text = colour
    return _xml(root)


def qml_of_layer(layer: str, *, short: bool = False, desk: DeliverySettings = USUAL) -> str:
    """Return the QML of a vector layer; `short` says whether fields have their short names."""
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology"})
    renderer = ET.SubElement(
        root,
        "renderer-v2",
        {"type": "categorizedSymbol", "attr": styled_column(layer, short=short, desk=desk), "symbollevels": "0",
         "enableorderby": "0", "forceraster": "0"},
    )  # fmt: skip
    categories = ET.SubElement(renderer, "categories")
    symbols = ET.SubElement(renderer, "symbols")
    kind = "fill" if _is_polygon(layer) else "marker"
    for index, sign in enumerate(SIGNS[layer][1]):
        ET.SubElement(
            categories,
            "category",
            {
                "symbol": str(index),
                "value": code_of(SIGNS[layer][0], sign.value, desk),
                "label": sign.label,
                "render": "true",
            },
        )
        symbol = ET.SubElement(symbols, "symbol", {"type": kind, "name": str(index), "alpha": "1"})
        drawn = ET.SubElement(
            symbol,
            "layer",
            {"class": "SimpleFill" if kind == "fill" else "SimpleMarker", "pass": "0", "enabled": "1", "locked": "0"},
        )
        options = ET.SubElement(drawn, "Option", {"type": "Map"})
        for key, value in _qml_values(sign, kind).items():
            ET.SubElement(options, "Option", {"type": "QString", "name": key, "value": value})
            ET.SubElement(drawn, "prop", {"k": key, "v": value})
    ET.SubElement(root, "layerGeometryType").text = "2" if kind == "fill" else "0"
    ET.indent(root)
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode") + "\n"


def qml_of_raster(breaks: tuple[float, ...]) -> str:
    """Return the QML of a surface, drawn in classes between the fixed breaks; an item is the upper end of its class."""
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology"})
    renderer = ET.SubElement(
        ET.SubElement(root, "pipe"),
        "rasterrenderer",
        {"type": "singlebandpseudocolor", "band": "1", "opacity": "1", "alphaBand": "-1",
         "classificationMin": repr(float(breaks[0])), "classificationMax": repr(float(breaks[-1]))},
    )  # fmt: skip
    shader = ET.SubElement(
        ET.SubElement(renderer, "rastershader"),
        "colorrampshader",
        {"colorRampType": "DISCRETE", "classificationMode": "1", "clip": "0"},
    )
    count = len(breaks) + 1
    for limit, colour, word in zip((*breaks, float("inf")), class_colours(count), class_words(count), strict=True):
        ET.SubElement(shader, "item", {"value": repr(float(limit)), "color": colour, "label": word, "alpha": "255"})
    ET.indent(root)
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode") + "\n"


def class_colours(count: int) -> tuple[str, ...]:
    """Return the colours of so many classes, lowest first; other numbers than five are taken from the same ramp."""
    last = len(CLASS_COLOURS) - 1
    return tuple(CLASS_COLOURS[round(index * last / max(count - 1, 1))] for index in range(count))


def class_words(count: int) -> tuple[str, ...]:
    """Return the words of so many classes, lowest first."""
    if count == len(CLASS_WORDS):
        return CLASS_WORDS
    return tuple(f"class {index + 1} of {count}" for index in range(count))


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green, blue (0 to 255) of `#rrggbb`."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _is_polygon(layer: str) -> bool:
    return GEOMETRY[layer] != "Point"


def _sld_root(name: str) -> tuple[ET.Element, ET.Element]:
    """Return the root of an SLD and the style that takes its rules."""
    ET.register_namespace("sld", SLD)
    ET.register_namespace("se", SE)
    ET.register_namespace("ogc", OGC)
    root = ET.Element(f"{{{SLD}}}StyledLayerDescriptor", {"version": "1.1.0"})
    layer = ET.SubElement(root, f"{{{SLD}}}NamedLayer")
    ET.SubElement(layer, f"{{{SE}}}Name").text = name
    user = ET.SubElement(layer, f"{{{SLD}}}UserStyle")
    ET.SubElement(user, f"{{{SE}}}Name").text = name
    return root, ET.SubElement(user, f"{{{SE}}}FeatureTypeStyle")


def _xml(root: ET.Element) -> str:
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _parameter(parent: ET.Element, name: str, value: str) -> None:
    ET.SubElement(parent, f"{{{SE}}}SvgParameter", {"name": name}).text = value


def _fill_and_stroke(parent: ET.Element, sign: Sign) -> None:
    """Add filling and outline."""
    if sign.fill:
        fill = ET.SubElement(parent, f"{{{SE}}}Fill")
        _parameter(fill, "fill", sign.fill)
        _parameter(fill, "fill-opacity", f"{sign.opacity:g}")
    stroke = ET.SubElement(parent, f"{{{SE}}}Stroke")
    _parameter(stroke, "stroke", sign.line)
    _parameter(stroke, "stroke-width", f"{sign.line_mm * MM_TO_PIXEL:.2f}")
    if sign.dash:
        _parameter(stroke, "stroke-dasharray", " ".join(f"{length * MM_TO_PIXEL:.1f}" for length in sign.dash))


def _polygon_sld(rule: ET.Element, sign: Sign) -> None:
    _fill_and_stroke(ET.SubElement(rule, f"{{{SE}}}PolygonSymbolizer"), sign)


def _point_sld(rule: ET.Element, sign: Sign) -> None:
    graphic = ET.SubElement(ET.SubElement(rule, f"{{{SE}}}PointSymbolizer"), f"{{{SE}}}Graphic")
    mark = ET.SubElement(graphic, f"{{{SE}}}Mark")
    ET.SubElement(mark, f"{{{SE}}}WellKnownName").text = sign.shape
    _fill_and_stroke(mark, sign)
    ET.SubElement(graphic, f"{{{SE}}}Size").text = f"{sign.size_mm * MM_TO_PIXEL:.1f}"


def _qml_values(sign: Sign, kind: str) -> dict[str, str]:
    """Return the values of one symbol layer."""
    fill, line = rgb(sign.fill or "#ffffff"), rgb(sign.line)
    alpha = round(255 * sign.opacity) if sign.fill else 0
    values = {
        "color": ",".join(map(str, (*fill, alpha))),
        "outline_color": ",".join(map(str, (*line, 255))),
        "outline_width": f"{sign.line_mm:g}",
        "outline_width_unit": "MM",
        "outline_style": "dash" if sign.dash else "solid",
    }
    if kind == "fill":
        return values | {"style": "solid" if sign.fill else "no"}
    name = {"x": "cross2"}.get(sign.shape, sign.shape)
    return values | {"name": name, "size": f"{sign.size_mm:g}", "size_unit": "MM"}
