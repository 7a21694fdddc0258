"""The profile of a GIS desk: its CRS, names and codes, checked before a run begins and laid over layers before writing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from importlib.util import find_spec

import numpy as np
import numpy.typing as npt
from pyproj import CRS, Transformer

from spreadmap.errors import CrsError
from spreadmap.io.faults import shown
from spreadmap.io.hidden_columns import HIDDEN_CHANCES, HIDDEN_RANKS
from spreadmap.io.layers import Layer, clean_text, each_word
from spreadmap.io.project_file import suggestion
from spreadmap.io.read_crs import AREA_MARGIN_DEG, parse_crs, same_crs
from spreadmap.io.short_names import LAYERS, PLANTS_AHEAD, SHORT_LENGTH, TABLES, Column
from spreadmap.io.web_geometry import turned
from spreadmap.values.delivery_settings import FORMATS, WHOLE_TEXT_FORMATS, DeliverySettings
from spreadmap.values.project import ProjectInputs

MORE: dict[str, tuple[Column, ...]] = {
    "plants": (*HIDDEN_CHANCES, *HIDDEN_RANKS, *PLANTS_AHEAD),
    "inspection_list": (*HIDDEN_CHANCES, *HIDDEN_RANKS),
}
"""Columns that a layer has in one mode only."""
FILE_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,40}")
FIELD_NAME = re.compile(rf"[A-Za-z][A-Za-z0-9_]{{0,{SHORT_LENGTH - 1}}}")
LONGEST_CODE = 32
TAKEN = (*TABLES, "risk", "risk_without_reservoirs", "risk_class", "forecast")
"""Names of other files in a pest system's folder."""
LEFT_AND_RIGHT = "Our name stands left, the desk's right."

Fault = tuple[str, str, str]
"""What was found, what is allowed, what to do."""


def every_column(layer: str) -> tuple[Column, ...]:
    """Return all columns that a layer can have, each once."""
    columns = {column.name: column for column in (*LAYERS[layer], *MORE.get(layer, ()))}
    return tuple(columns.values())


def desk_faults(settings: DeliverySettings) -> Iterator[Fault]:
    """Yield what is wrong in a profile: found, allowed, remedy."""
    yield from _format_faults(settings)
    if settings.crs:
        try:
            delivery_crs(settings.crs)
        except CrsError as error:
            found, _, remedy = str(error).rpartition(". ")
            yield f"'settings.delivery.crs': {found}", "a projected CRS by its code", f"{remedy}."
    yield from _file_faults(settings)
    yield from _field_faults(settings)
    yield from _domain_faults(settings)


def _format_faults(settings: DeliverySettings) -> Iterator[Fault]:
    """Yield unknown formats, a library that one needs, and Shapefiles with nothing that holds long texts."""
    where = f"'settings.delivery.formats' = {shown(', '.join(settings.formats))}"
    unknown = [name for name in settings.formats if name not in FORMATS]
    if unknown or not settings.formats:
        hint = suggestion(unknown[0], FORMATS) if unknown else ""
        yield where, ", ".join(FORMATS), f"{hint}Name at least one of these."
    if len(set(settings.formats)) < len(settings.formats):
        yield where, "each once", "Take the second one out."
    if "shapefile" in settings.formats and not set(settings.formats) & set(WHOLE_TEXT_FORMATS):
        remedy = "A Shapefile cuts long texts: add a format that holds them whole."
        yield where, f"shapefile with {' or '.join(WHOLE_TEXT_FORMATS)}", remedy
    if "geoparquet" in settings.formats and find_spec("pyarrow") is None:
        remedy = "Install the extra for it: pip install 'spreadmap[parquet]'; or take geoparquet out."
        yield where, "geoparquet where pyarrow is installed", remedy


def _file_faults(settings: DeliverySettings) -> Iterator[Fault]:
    """Yield names of files that are no names, are taken, or belong to no layer."""
    used = {name.casefold() for name in (*TAKEN, *LAYERS)} - {name.casefold() for name in settings.file_names}
    for layer, name in settings.file_names.items():
        where = f"'settings.delivery.file_names.{layer}' = {shown(name)}"
        if layer not in LAYERS:
            yield where, ", ".join(LAYERS), f"{suggestion(layer, list(LAYERS))}{LEFT_AND_RIGHT}"
        elif not FILE_NAME.fullmatch(name):
            yield where, "letters, digits and _, a letter first, at most 41", "Correct the name; it gets no ending."
        elif name.casefold() in used:
            yield where, "a name that no other file has", "Choose another name."
        used.add(name.casefold())


def _field_faults(settings: DeliverySettings) -> Iterator[Fault]:
    """Yield short names that are no names of fields, meet in one layer, or belong to no column."""
    known = {column.name for layer in LAYERS for column in every_column(layer)}
    for column, name in settings.short_names.items():
        where = f"'settings.delivery.short_names.{column}' = {shown(name)}"
        if column not in known:
            yield where, "a column of data_dictionary.csv", f"{suggestion(column, sorted(known))}{LEFT_AND_RIGHT}"
        elif not FIELD_NAME.fullmatch(name):
            yield where, f"letters, digits and _, a letter first, at most {SHORT_LENGTH}", "Correct the name."
    for layer in LAYERS:
        seen: dict[str, str] = {}
        for each in every_column(layer):
            name = field_name(each, settings).casefold()
            if name in seen:
                pair = f"{seen[name]} and {each.name} of {layer} are both {shown(name)}"
                yield (
                    f"'settings.delivery.short_names': {pair}",
                    "different names, capitals do not count",
                    "Rename one of them.",
                )
            seen[name] = each.name


def _domain_faults(settings: DeliverySettings) -> Iterator[Fault]:
    """Yield domains of columns without fixed words, words without a code, codes that are not clear."""
    words: dict[str, dict[str, None]] = {}
    for layer in LAYERS:
        for column in every_column(layer):
            if column.allowed:
                words.setdefault(column.name, {}).update(dict.fromkeys(column.allowed))
    for name, codes in settings.domains.items():
        where = f"'settings.delivery.domains.{name}'"
        if name not in words:
            yield where, ", ".join(words), f"{suggestion(name, list(words))}Only columns with fixed words have codes."
            continue
        unknown, without = [w for w in codes if w not in words[name]], [w for w in words[name] if w not in codes]
        if unknown:
            yield f"{where} codes {shown(unknown[0])}", ", ".join(words[name]), "Our word stands left, the code right."
        if without:
            yield f"{where} has no code for {', '.join(without)}", "a code for each word", "Add what is missing."
        bad = [code for code in codes.values() if not code or len(code) > LONGEST_CODE or clean_text(code) != code]
        if bad or len(set(codes.values())) < len(codes):
            found = f"{where} has the code {shown(bad[0])}" if bad else f"{where} has one code for two words"
            yield found, f"one code for each word, 1 to {LONGEST_CODE} letters or digits", "Correct the codes."


def delivery_crs(text: str) -> CRS:
    """Return the CRS of the vector layers; CrsError where it is not known or not projected."""
    crs = parse_crs(text)
    if not crs.is_projected:
        msg = f"crs '{text}' is not projected. Give one in metres or feet; lists, KML and GPX carry degrees besides"
        raise CrsError(msg)
    return crs


def check_reaches(settings: DeliverySettings, longitude_deg: float, latitude_deg: float) -> None:
    """Refuse a CRS of the delivery that is not meant for the place (CrsError)."""
    if not settings.crs:
        return
    area = delivery_crs(settings.crs).area_of_use
    if area is None:
        return
    width = (area.east - area.west) % 360.0 or 360.0
    from_west = (longitude_deg - area.west + AREA_MARGIN_DEG) % 360.0
    is_inside = from_west <= width + 2 * AREA_MARGIN_DEG and (
        area.south - AREA_MARGIN_DEG <= latitude_deg <= area.north + AREA_MARGIN_DEG
    )
    if not is_inside:
        msg = (
            f"'settings.delivery.crs' = '{settings.crs}' is meant for {area.name}, not for the place of the plants. "
            "Correct the code"
        )
        raise CrsError(msg)


def field_name(column: Column, settings: DeliverySettings) -> str:
    """Return the field of a column in a Shapefile: the desk's own name, else ours."""
    return settings.short_names.get(column.name, column.short)


def code_of(column: str, word: str, settings: DeliverySettings) -> str:
    """Return the desk's code for a word of a column, the word itself where it has none."""
    return settings.domains.get(column, {}).get(word, word)


def placed(layer: Layer, settings: DeliverySettings) -> Layer:
    """Return a layer in the CRS of the delivery; OutputError where a shape has no place in it."""
    geometry, crs = placed_shapes(layer.geometry, layer.crs, settings)
    return replace(layer, geometry=geometry, crs=crs)


def placed_shapes(
    shapes: npt.NDArray[np.object_], crs: str, settings: DeliverySettings
) -> tuple[npt.NDArray[np.object_], str]:
    """Return shapes in the CRS of the delivery, and that CRS; OutputError where a shape has no place in it."""
    if not settings.crs or same_crs(CRS.from_user_input(crs), delivery_crs(settings.crs)):
        return shapes, crs
    return turned(shapes, crs, settings.crs), settings.crs


def named(layer: Layer, settings: DeliverySettings) -> Layer:
    """Return a layer with the desk's own names of files and fields."""
    return replace(layer, own_name=settings.file_names.get(layer.name, ""), own_fields=settings.short_names)


def coded(layer: Layer, settings: DeliverySettings) -> Layer:
    """Return a layer with the desk's codes in place of our words."""
    names = [column.name for column in layer.spec if column.name in settings.domains]
    if not names:
        return layer
    columns = {name: each_word(layer.columns[name], partial(code_of, name, settings=settings)) for name in names}
    return replace(layer, columns=layer.columns | columns)


def allowed_words(column: Column, settings: DeliverySettings) -> str:
    """Return the words of a column as the dictionary lists them, each with its code where the desk has codes."""
    codes = settings.domains.get(column.name)
    return "|".join(f"{codes[word]}={word}" if codes else word for word in column.allowed)


def position_unit(crs: str) -> str:
    """Return the unit of eastings and northings of a CRS, in the register's words."""
    unit = str(CRS.from_user_input(crs).axis_info[0].unit_name)
    return "m" if unit == "metre" else unit


def turning_sentence(inputs: ProjectInputs, settings: DeliverySettings) -> str:
    """Return how the layers came into the CRS of the delivery, and how exactly; empty where they did not have to."""
    working = inputs.crs
    if not settings.crs or same_crs(CRS.from_user_input(working), delivery_crs(settings.crs)):
        return ""
    way = Transformer.from_crs(working, settings.crs, always_xy=True)
    # of several ways the library takes the one for the place, which it tells after it was there
    way.transform(float(inputs.inventory.easting[0]), float(inputs.inventory.northing[0]))
    used = way.get_last_used_operation()
    exact = f"stated accuracy {used.accuracy:g} m" if used.accuracy >= 0 else "no accuracy stated"
    return (
        f"Vector layers were turned from {working} to {settings.crs} ({delivery_crs(settings.crs).name}, unit "
        f"{position_unit(settings.crs)}) by '{used.description}', {exact}; rasters stay in {working}. Lengths and areas "
        f"in columns were reckoned in {working}, in metres."
    )
