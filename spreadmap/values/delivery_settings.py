"""Defaults of what a GIS desk asks of its layers: formats, CRS, names, codes, encoding."""

from __future__ import annotations

from dataclasses import dataclass

from spreadmap.values.setting import OWN, setting

FORMATS = ("shapefile", "geopackage", "csv", "geoparquet", "kml", "gpx")
WHOLE_TEXT_FORMATS = ("geopackage", "csv", "geoparquet")
"""Formats that hold a text of any length in any letters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliverySettings:
    """The profile of a GIS desk; rasters stay in the working CRS, because turning them would change their values."""

    formats: tuple[str, ...] = setting(
        ("shapefile", "geopackage"),
        "-",
        "assumed",
        f"{OWN}; {', '.join(FORMATS)}; the lists are CSV and XLSX in any case",
    )
    crs: str = setting(
        "", "-", "assumed", f"{OWN}; projected CRS of the vector layers, feet too; empty: the working CRS"
    )
    encoding: str = setting(
        "UTF-8", "-", "trade", "common practice, no source; of the tables of Shapefiles, written beside them as .cpg",
        choices=("UTF-8", "CP1252", "ISO-8859-1"))  # fmt: skip
    file_names: dict[str, str] = setting({}, "-", "assumed", f"{OWN}; layer = the desk's own name for it")
    short_names: dict[str, str] = setting({}, "-", "assumed", f"{OWN}; column = the desk's own field in a Shapefile")
    domains: dict[str, dict[str, str]] = setting(
        {}, "-", "assumed", f"{OWN}; column = a table with the desk's code for each of our words"
    )
