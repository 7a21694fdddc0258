"""`metadata.xml`: the core of ISO 19115 in the encoding of ISO/TS 19139."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS

from spreadmap.errors import OutputError
from spreadmap.io.desk import turning_sentence
from spreadmap.io.layers import RECOMMENDED, clean_text
from spreadmap.io.versions import software_version
from spreadmap.io.web_geometry import in_degrees
from spreadmap.values.arrays import FloatArray
from spreadmap.values.results import SurveyResult, SystemResult
from spreadmap.values.settings import Settings, list_settings

GMD, GCO, GML = "http://www.isotc211.org/2005/gmd", "http://www.isotc211.org/2005/gco", "http://www.opengis.net/gml"
SCOPES = "http://www.isotc211.org/2005/resources/Codelist/gmxCodelists.xml"
NOT_A_DIAGNOSIS = "The map is not a diagnosis. It compares places; it says of no plant that it is infected."


def lineage(result: SurveyResult) -> tuple[str, ...]:
    """Return from what the delivery was made, in sentences: surveys, wind, kernel, software, seed."""
    surveys = result.inputs.surveys
    days = np.unique(surveys.inspected_on[~np.isnat(surveys.inspected_on)])
    dates = ", ".join(np.datetime_as_string(days, unit="D").tolist())
    notes = {note.name: note for note in list_settings(result.settings)}
    kernel = "; ".join(
        f"{name} = {notes[name].value} [{notes[name].unit}] ({notes[name].status}: {notes[name].source})"
        for name in notes
        if name.startswith("kernel.")
    )
    files = "; ".join(f"{file.role} {file.path} (sha256 {file.sha256})" for file in result.inputs.files)
    return (
        f"{len(surveys)} inspections on record; survey dates: {dates or 'none'}.",
        *(f"Wind for {system.triage.system.common_name}: {wind_sentence(result, system)}" for system in result.systems),
        f"Kernel of dispersal: {kernel}.",
        f"Inputs: {files or 'none listed'}.",
        f"Software: spreadmap {software_version()}. {seed_sentence(result.settings)}",
        *filter(None, [turning_sentence(result.inputs, result.settings.delivery)]),
        *result.remarks,
    )


def seed_sentence(settings: Settings) -> str:
    """Return which seed the random numbers of the spread ahead have."""
    return (
        f"The spread ahead is drawn with seed {settings.ahead.seed} (settings.ahead.seed): the same inputs, settings and "
        "seed give the same numbers."
    )


def wind_sentence(result: SurveyResult, system: SystemResult) -> str:
    """Return which wind was used and of which period."""
    climate, hours, raster = system.climate, result.inputs.wind_hours, result.inputs.wind_raster
    parts = [f"{climate.basis}; {climate.hours_used} hours counted; weight of the wind "
             f"{result.settings.wind.wind_influence:g}"]  # fmt: skip
    if hours is not None and len(hours):
        first, last = np.datetime_as_string(np.array([hours.time_utc.min(), hours.time_utc.max()]), unit="D")
        parts.append(f"hourly record {first} to {last}")
    if raster is not None:
        months = [str(month) for month in raster.month.tolist() if month]
        parts.append(f"raster of months {', '.join(months)}" if months else "raster of the whole season")
    return "; ".join(parts) + "."


def write_metadata(path: Path, result: SurveyResult) -> Path:
    """Write the metadata of a delivery; its date is the date of the state, not of the writing.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    for prefix, space in (("gmd", GMD), ("gco", GCO), ("gml", GML)):
        ET.register_namespace(prefix, space)
    inputs = result.inputs
    as_of = inputs.as_of.isoformat()
    root = ET.Element(f"{{{GMD}}}MD_Metadata")
    _words(_sub(root, "fileIdentifier"), f"spreadmap {inputs.name} {as_of}")
    _words(_sub(root, "language"), "eng")
    _code(_sub(root, "characterSet"), "MD_CharacterSetCode", "utf8")
    _code(_sub(root, "hierarchyLevel"), "MD_ScopeCode", "dataset")
    _contact(_sub(root, "contact"), inputs.contact)
    _date(_sub(root, "dateStamp"), as_of)
    _words(_sub(root, "metadataStandardName"), "ISO 19115:2003/19139")
    _words(_sub(root, "metadataStandardVersion"), "1.0")
    for crs in dict.fromkeys((result.settings.delivery.crs or inputs.crs, inputs.crs)):
        _reference_system(root, crs)
    _identification(root, result, as_of)
    quality = _sub(_sub(root, "dataQualityInfo"), "DQ_DataQuality")
    _code(_sub(_sub(_sub(quality, "scope"), "DQ_Scope"), "level"), "MD_ScopeCode", "dataset")
    _words(_sub(_sub(_sub(quality, "lineage"), "LI_Lineage"), "statement"), " ".join(lineage(result)))
    ET.indent(root)
    text = '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        msg = f"{path.name} could not be written: {error}. Free the disk or the folder, then run again."
        raise OutputError(msg) from error
    return path


def _identification(root: ET.Element, result: SurveyResult, as_of: str) -> None:
    """Add title, date, abstract, contact, keywords, limits, topic, place and period."""
    inputs = result.inputs
    data = _sub(_sub(root, "identificationInfo"), "MD_DataIdentification")
    citation = _sub(_sub(data, "citation"), "CI_Citation")
    _words(_sub(citation, "title"), f"{inputs.name}: plant health, state of {as_of}")
    stamp = _sub(_sub(citation, "date"), "CI_Date")
    _date(_sub(stamp, "date"), as_of)
    _code(_sub(stamp, "dateType"), "CI_DateTypeCode", "publication")
    says = [system.face.sentence() for system in result.systems] or ["No pest with a removal verdict was mapped."]
    _words(_sub(data, "abstract"), " ".join([*says, *(triage.says for triage in result.triage if triage.is_told_of)]))
    _contact(_sub(data, "pointOfContact"), inputs.contact)
    keywords = _sub(_sub(data, "descriptiveKeywords"), "MD_Keywords")
    for triage in result.triage:
        if triage.is_told_of:
            _words(_sub(keywords, "keyword"), triage.system.scientific_name)
    limits = _sub(_sub(data, "resourceConstraints"), "MD_Constraints")
    _words(_sub(limits, "useLimitation"), NOT_A_DIAGNOSIS)
    _words(_sub(limits, "useLimitation"), f"Rings: {RECOMMENDED}.")
    for system in result.systems[:1]:
        distance = _sub(_sub(_sub(data, "spatialResolution"), "MD_Resolution"), "distance")
        metres = ET.SubElement(distance, f"{{{GCO}}}Distance", {"uom": "m"})
        metres.text = f"{system.cells.cell_m:g}"
    _words(_sub(data, "language"), "eng")
    topic = _sub(_sub(data, "topicCategory"), "MD_TopicCategoryCode")
    topic.text = "environment"
    extent = _sub(_sub(data, "extent"), "EX_Extent")
    box = _sub(_sub(extent, "geographicElement"), "EX_GeographicBoundingBox")
    longitude, latitude = _extent(result)
    if len(longitude):
        for name, value in (
            ("westBoundLongitude", longitude.min()), ("eastBoundLongitude", longitude.max()),
            ("southBoundLatitude", latitude.min()), ("northBoundLatitude", latitude.max()),
        ):  # fmt: skip
            ET.SubElement(_sub(box, name), f"{{{GCO}}}Decimal").text = f"{float(value):.6f}"
    period = _sub(_sub(_sub(extent, "temporalElement"), "EX_TemporalExtent"), "extent")
    span = ET.SubElement(period, f"{{{GML}}}TimePeriod", {f"{{{GML}}}id": "period"})
    ET.SubElement(span, f"{{{GML}}}beginPosition").text = as_of
    ET.SubElement(span, f"{{{GML}}}endPosition").text = inputs.next_survey_on.isoformat()


def _extent(result: SurveyResult) -> tuple[FloatArray, FloatArray]:
    """Return longitudes and latitudes of the plants, and of the corners of every raster and zone."""
    inventory = result.inputs.inventory
    shapes: list[shapely.Geometry] = [shapely.box(west, south, east, north) for west, east, south, north in (
        system.cells.region for system in result.systems
    )]  # fmt: skip
    for system in result.systems:
        shapes += [ring.polygon.envelope for ring in system.zones.rings]
        shapes += [line.polygon.envelope for line in system.zones.lines]
    corners = shapely.get_coordinates(in_degrees(np.array(shapes, dtype=object), result.inputs.crs))
    return np.concatenate([inventory.longitude, corners[:, 0]]), np.concatenate([inventory.latitude, corners[:, 1]])


def _reference_system(root: ET.Element, crs: str) -> None:
    """Add the CRS by its code and its name."""
    system = _sub(_sub(root, "referenceSystemInfo"), "MD_ReferenceSystem")
    identifier = _sub(_sub(system, "referenceSystemIdentifier"), "RS_Identifier")
    _words(_sub(identifier, "code"), f"{crs} ({CRS.from_user_input(crs).name})")


def _contact(parent: ET.Element, contact: str) -> None:
    """Add who answers for the data."""
    party = _sub(parent, "CI_ResponsibleParty")
    _words(_sub(party, "organisationName"), contact or "not given")
    _code(_sub(party, "role"), "CI_RoleCode", "pointOfContact")


def _sub(parent: ET.Element, name: str) -> ET.Element:
    return ET.SubElement(parent, f"{{{GMD}}}{name}")


def _words(parent: ET.Element, text: str) -> None:
    ET.SubElement(parent, f"{{{GCO}}}CharacterString").text = clean_text(text)


def _date(parent: ET.Element, text: str) -> None:
    ET.SubElement(parent, f"{{{GCO}}}Date").text = text


def _code(parent: ET.Element, name: str, value: str) -> None:
    """Add a word of one of the standard's lists."""
    code = ET.SubElement(parent, f"{{{GMD}}}{name}", {"codeList": f"{SCOPES}#{name}", "codeListValue": value})
    code.text = value
