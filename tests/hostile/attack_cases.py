"""Files made to harm: that point elsewhere, unpack without end, or leave the project; and settings that cannot be."""

import os
import stat
import zipfile
from pathlib import Path

from hostile.case_files import (
    INVENTORY,
    LISTENER,
    PROJECT,
    add,
    case,
    inventory_from,
    make_project,
    put,
    with_column,
)

VRT = '<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
KML = (
    '<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/passwd">]><kml xmlns="http://www.opengis.net/kml/2.2">'
    "<Placemark><name>&x;</name><Point><coordinates>-96.7,36.8</coordinates></Point></Placemark></kml>"
)
for ending in ("csv", "tsv", "txt", "xlsx", "gpkg", "shp", "zip", "geojson", "json", "parquet", "vrt"):
    add(f"points_elsewhere_named_{ending}", inventory_from(f"plants.{ending}", crs=True), **{f"plants__{ending}": VRT})
add("points_elsewhere_behind_blanks", inventory_from("plants.csv", crs=True), plants__csv="\ufeff \n\t" + VRT)
for ending in ("kml", "gml", "gpx", "xml", "sqlite", "db", "pdf"):
    add(f"ending_not_allowed_{ending}", inventory_from(f"plants.{ending}"), **{f"plants__{ending}": KML})
add("entities_named_geojson", inventory_from("plants.geojson"), plants__geojson=KML)

ADDRESSES = {
    "http": "http://example.org/plants.csv",
    "vsicurl": "/vsicurl/http://example.org/plants.csv",
    "vsicurl_in_capitals": "/VSICURL/http://example.org/plants.csv",
    "vsis3": "/vsis3/bucket/plants.csv",
    "vsizip_over_http": "/vsizip//vsicurl/http://example.org/plants.zip/plants.shp",
    "zip_and_http": "zip+http://example.org/plants.zip",
    "file_address": "file:///etc/passwd",
    "ftp": "ftp:plants.csv",
    "vsistdin": "/vsistdin/",
    "vsimem": "/vsimem/plants.csv",
    "share": "\\\\\\\\server\\\\share\\\\plants.csv",
}
for name, address in ADDRESSES.items():
    add(f"address_{name}", inventory_from(address, crs=True))
add("path_of_the_system", inventory_from("/etc/passwd", crs=True))
add("path_up_and_out", inventory_from("../../../../etc/passwd", crs=True))
add("path_up_and_in_again", inventory_from("inputs/../inventory.csv", crs=True))
add("path_of_nothing", inventory_from("", crs=True))
add("path_with_a_zero", inventory_from("plants\\u0000.csv", crs=True))
add("path_of_a_missing_file", inventory_from("Inventory.CSV", crs=True))


@case
def path_of_a_link_that_leads_outside(folder):
    make_project(folder, inventory_from("plants.csv", crs=True))
    (folder / "plants.csv").symlink_to("/etc/passwd")


@case
def path_of_a_folder(folder):
    (make_project(folder, inventory_from("plants.csv", crs=True)) / "plants.csv").mkdir()


@case
def path_of_a_pipe(folder):
    os.mkfifo(make_project(folder, inventory_from("plants.csv", crs=True)) / "plants.csv")


@case
def path_of_a_device(folder):
    (make_project(folder, inventory_from("plants.csv", crs=True)) / "plants.csv").symlink_to("/dev/zero")


@case
def path_outside_that_the_project_names(folder):
    other = folder.parent / f"{folder.name}_register"
    other.mkdir(parents=True)
    (other / "plants.csv").write_text(INVENTORY, encoding="utf-8")
    toml = inventory_from(f"../{other.name}/plants.csv", crs=True)
    make_project(folder, toml.replace("[project]", f'[project]\noutside_folders = ["../{other.name}"]'))


def packed(name: str, file: str, parts, **how) -> None:
    """Write down a case with a zip of these parts."""

    def build(folder: Path) -> None:
        make_project(folder, inventory_from(file, crs=True))
        with zipfile.ZipFile(folder / file, "w", zipfile.ZIP_DEFLATED) as archive:
            for entry, data in parts():
                archive.writestr(entry, data, **how)

    put(name, build)


def link(name: str, target: str):
    entry = zipfile.ZipInfo(name)
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    return entry, target


NOUGHT = b"\x00" * 2**20
packed(
    "zip_that_unpacks_two_hundred_times",
    "plants.zip",
    lambda: [(f"{n}.shp", NOUGHT * 8) for n in range(16)],
    compresslevel=1,
)
packed("zip_whose_paths_lead_up", "plants.zip", lambda: [("../../plants.shp", b"x"), ("../../plants.dbf", b"x")])
packed("zip_whose_paths_are_absolute", "plants.zip", lambda: [("/tmp/plants.shp", b"x")])
packed(
    "zip_whose_paths_are_of_another_system", "plants.zip", lambda: [("C:\\plants.shp", b"x"), ("..\\plants.dbf", b"x")]
)
packed(
    "zip_with_a_link",
    "plants.zip",
    lambda: [link("plants.shp", "/etc/passwd"), ("plants.dbf", b"x"), ("plants.shx", b"x")],
)
packed("zip_of_a_zip", "plants.zip", lambda: [("plants.zip", b"PK\x03\x04")])
packed("zip_of_a_pointer", "plants.zip", lambda: [("plants.shp", VRT), ("plants.dbf", b"x"), ("plants.shx", b"x")])
packed(
    "zip_of_two_of_one_name",
    "plants.zip",
    lambda: [("A/plants.shp", b"\x00\x00\x27\x0a"), ("B/plants.shp", b"\x00\x00\x27\x0a")],
)
packed(
    "workbook_that_unpacks_two_hundred_times",
    "plants.xlsx",
    lambda: [("xl/worksheets/sheet1.xml", NOUGHT * 100)],
    compresslevel=1,
)
packed("workbook_whose_paths_lead_up", "plants.xlsx", lambda: [("../../xl/workbook.xml", b"<workbook/>")])


@case
def zip_with_a_password(folder):
    make_project(folder, inventory_from("plants.zip"))
    with zipfile.ZipFile(folder / "plants.zip", "w") as archive:
        archive.writestr("plants.shp", b"x")
    data = bytearray((folder / "plants.zip").read_bytes())
    for mark in (b"PK\x03\x04", b"PK\x01\x02"):
        data[data.index(mark) + (6 if mark[2] == 3 else 8)] |= 1
    (folder / "plants.zip").write_bytes(data)


@case
def zip_cut_short(folder):
    make_project(folder, inventory_from("plants.zip"), plants__zip=b"PK\x03\x04" + b"\x00" * 50)


def setting(name: str, text: str) -> None:
    """Write down a case with something else in the project file."""
    add(name, f"{PROJECT}\n{text}\n")


def instead(name: str, before: str, after: str) -> None:
    """Write down a case with a part of the project file replaced."""
    if before not in PROJECT:
        raise ValueError(before)
    add(name, PROJECT.replace(before, after))


setting("settings_out_of_range", "[settings.wind]\nharmonics = 99")
setting("settings_negative", "[settings.grid]\ncell_m = -2.0")
setting("settings_not_a_number", "[settings.grid]\ncell_m = nan")
setting("settings_infinite", "[settings.grid]\nmargin_m = inf")
setting("settings_as_text", '[settings.wind]\nharmonics = "8"')
setting("settings_misspelt", "[settings.wind]\nharmonix = 8")
setting("settings_group_misspelt", "[settings.wnid]\nharmonics = 8")
setting("settings_group_that_is_no_group", "settings = 3")
setting("settings_of_five_thousand_digits", "[settings.grid]\nmost_cells = " + "9" * 5000)
setting("settings_beyond_sixty_four_bits", "[settings.grid]\nmost_cells = 0x" + "f" * 400)
setting("settings_nested_without_end", "x = " + "[" * 5000 + "]" * 5000)
setting("settings_twice", "[project]\nname = 'again'")
setting("settings_of_an_unknown_kernel", '[settings.kernel]\nfamily = "walt"')
setting("delivery_in_an_unknown_format", '[settings.delivery]\nformats = ["shapefiles", "csv"]')
setting("delivery_that_would_cut_texts", '[settings.delivery]\nformats = ["shapefile", "gpx"]')
setting("delivery_in_degrees", '[settings.delivery]\ncrs = "EPSG:4326"')
setting("delivery_in_a_crs_of_another_country", '[settings.delivery]\ncrs = "EPSG:27700"')
setting("delivery_in_a_crs_at_an_address", '[settings.delivery]\ncrs = "https://example.org/crs.wkt"')
setting("delivery_in_a_crs_that_names_a_file", '[settings.delivery]\ncrs = "+proj=utm +zone=14 +nadgrids=/etc/passwd"')
setting("delivery_in_survey_feet", '[settings.delivery]\ncrs = "EPSG:2267"')
setting("delivery_to_a_name_that_leads_outside", '[settings.delivery.file_names]\nplants = "../../plants"')
setting("delivery_to_a_name_that_is_taken", '[settings.delivery.file_names]\nplants = "RISK"')
setting("delivery_with_a_field_too_long", '[settings.delivery.short_names]\nplant_id = "ASSET_NUMBER"')
setting("delivery_with_two_fields_of_one_name", '[settings.delivery.short_names]\nplant_id = "Bed_ID"')
setting("delivery_with_half_a_domain", '[settings.delivery.domains.ring]\ncore = "1"')
setting("delivery_in_an_unknown_encoding", '[settings.delivery]\nencoding = "UTF-7"')
instead("project_key_misspelt", "name =", "nmae =")
instead("project_kind_misspelt", "[[inputs.surveys]]", "[[inputs.survey]]")
instead("project_name_missing", 'name = "Testing"\n', "")
instead("project_name_a_number", '"Testing"', "7")
instead("project_text_without_quotes", '"Testing"', "Testing")
instead("project_with_an_impossible_date", "[project]", "[project]\nas_of = 2026-02-30")
instead("project_with_a_date_as_text", "[project]", '[project]\nas_of = "2026-05-18"')
instead("project_with_a_date_far_off", "[project]", "[project]\nas_of = 9999-12-31")
instead("project_with_an_unknown_pest_system", "[project]", '[project]\npest_systems = ["rose_rosete"]')
instead("project_with_signs_that_cannot_be_seen", '"Testing"', '"\\u001b[2JTesting {{7*7}}"')
instead("project_with_a_file_of_hidden_signs", '"inventory.csv"', '"\\u001b[2Jinventory.csv"')
instead(
    "project_with_a_column_misspelt",
    "[[inputs.surveys]]",
    '[inputs.inventory.columns]\nplnat_id = "x"\n[[inputs.surveys]]',
)


@case
def project_without_its_file(folder):
    folder.mkdir(parents=True)


@case
def project_in_another_encoding(folder):
    make_project(folder)
    (folder / "spreadmap.toml").write_bytes(PROJECT.replace("Testing", "Évêque").encode("cp1252"))


@case
def project_of_nothing(folder):
    make_project(folder, "")


@case
def project_of_ten_megabytes(folder):
    make_project(folder, PROJECT + "# x\n" * 2_600_000)


@case
def pest_system_that_leads_outside(folder):
    make_project(folder)
    (folder / "pest_systems").mkdir()
    (folder / "pest_systems" / "mine.toml").symlink_to("/etc/passwd")


@case
def pest_system_that_is_no_toml(folder):
    make_project(folder)
    (folder / "pest_systems").mkdir()
    (folder / "pest_systems" / "mine.toml").write_text("[[[", encoding="utf-8")


@case
def pest_system_nested_without_end(folder):
    make_project(folder)
    (folder / "pest_systems").mkdir()
    (folder / "pest_systems" / "mine.toml").write_text("x = " + "[" * 5000, encoding="utf-8")


add("template_in_a_key", inventory__csv=INVENTORY.replace("P05", "{{7*7}}"))
add("script_in_an_owner", inventory__csv=with_column("owner", {5: "<img src=x onerror=alert(1)>"}))
assert LISTENER["address"].startswith("http://")
packed("zip_of_six_thousand_files", "plants.zip", lambda: [(f"{number}.shp", b"") for number in range(6000)])
packed(
    "workbook_of_six_thousand_parts", "plants.xlsx", lambda: [(f"xl/{number}.xml", b"<x/>") for number in range(6000)]
)
