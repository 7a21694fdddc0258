"""Metadata and dictionary: well formed whatever users wrote, and complete."""

import csv
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
import shapely
from made_results import HOSTILE_TEXTS, made_result, without_findings

from spreadmap.errors import OutputError
from spreadmap.io.dictionary import write_dictionary
from spreadmap.io.layers import clean_text
from spreadmap.io.metadata import GCO, GMD, GML, lineage, write_metadata
from spreadmap.io.short_names import LAYERS
from spreadmap.io.versions import software_version
from spreadmap.io.web_geometry import in_degrees

SPACES = {"gmd": GMD, "gco": GCO, "gml": GML}


def parsed(tmp_path, result):
    return ET.parse(write_metadata(tmp_path / "metadata.xml", result)).getroot()


def words(root, path):
    return [element.text for element in root.findall(f"{path}/gco:CharacterString", SPACES)]


def test_the_core_elements_are_there(tmp_path):
    root = parsed(tmp_path, made_result())
    data = "gmd:identificationInfo/gmd:MD_DataIdentification"
    assert root.tag == f"{{{GMD}}}MD_Metadata"
    assert words(root, f"{data}/gmd:citation/gmd:CI_Citation/gmd:title") == [
        "Made town: plant health, state of 2026-09-14"
    ]
    assert root.findtext("gmd:dateStamp/gco:Date", namespaces=SPACES) == "2026-09-14"
    assert words(root, "gmd:contact/gmd:CI_ResponsibleParty/gmd:organisationName") == ["plant-health@made-town.example"]
    assert "Relative infection pressure" in words(root, f"{data}/gmd:abstract")[0]
    (code,) = words(root, ".//gmd:RS_Identifier/gmd:code")
    assert code.startswith("EPSG:25832")
    assert root.findtext(".//gml:beginPosition", namespaces=SPACES) == "2026-09-14"
    assert root.findtext(".//gml:endPosition", namespaces=SPACES) == "2026-10-12"


def test_the_box_holds_every_plant_and_the_whole_raster(tmp_path):
    result = made_result()
    root = parsed(tmp_path, result)
    box = {
        side: float(root.findtext(f".//gmd:{side}/gco:Decimal", namespaces=SPACES))
        for side in ("westBoundLongitude", "eastBoundLongitude", "southBoundLatitude", "northBoundLatitude")
    }
    inventory = result.inputs.inventory
    assert box["westBoundLongitude"] <= inventory.longitude.min()
    assert box["eastBoundLongitude"] >= inventory.longitude.max()
    assert box["southBoundLatitude"] <= inventory.latitude.min()
    assert box["northBoundLatitude"] >= inventory.latitude.max()
    west, east, south, north = result.systems[0].surface.grid.region
    corners = in_degrees(shapely.points([west, east], [south, north]), result.inputs.crs)
    assert box["westBoundLongitude"] <= corners[0].x + 1e-6
    assert box["northBoundLatitude"] >= corners[1].y - 1e-6


def test_lineage_names_surveys_wind_kernel_software_and_seed(tmp_path):
    result = made_result()
    (statement,) = words(parsed(tmp_path, result), ".//gmd:LI_Lineage/gmd:statement")
    for said in ("survey dates: 2026-09-14", "812 hours counted", "kernel.mean_m = 10.95 [m] (computed",
                 f"spreadmap {software_version()}", "seed 20260", "a" * 64, "Wind of one season only."):  # fmt: skip
        assert said in statement


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_names_and_contacts_stay_text(tmp_path, text):
    result = made_result()
    result = replace(result, inputs=replace(result.inputs, name=text, contact=text), remarks=(text,))
    root = parsed(tmp_path, result)
    assert words(root, "gmd:contact/gmd:CI_ResponsibleParty/gmd:organisationName") == [clean_text(text)]
    (title,) = words(root, ".//gmd:CI_Citation/gmd:title")
    assert title.startswith(clean_text(text))


def test_the_same_result_gives_the_same_bytes(tmp_path):
    one = write_metadata(tmp_path / "one.xml", made_result()).read_bytes()
    assert one == write_metadata(tmp_path / "two.xml", made_result()).read_bytes()


def test_without_findings_and_without_a_mapped_pest(tmp_path):
    assert "survey dates" in lineage(without_findings(made_result()))[0]
    root = parsed(tmp_path, replace(made_result(), systems=()))
    assert "No pest with a removal verdict" in words(root, ".//gmd:abstract")[0]


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match=r"metadata.xml could not be written"):
        write_metadata(tmp_path / "nowhere" / "metadata.xml", made_result())


def test_the_dictionary_explains_every_column_and_band(tmp_path):
    path = write_dictionary(tmp_path / "data_dictionary.csv", {"plants": 3})
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    explained = {(row["layer"], row["short_name"]) for row in rows}
    assert explained >= {(name, column.short) for name, columns in LAYERS.items() for column in columns}
    assert {"risk.tif", "risk_without_reservoirs.tif", "risk_class.tif"} <= {row["layer"] for row in rows}
    assert {row["rows_cut"] for row in rows if row["layer"] == "plants" and row["type"] == "text"} == {"3"}
    assert all(row["meaning"] and row["unit"] for row in rows)
