"""Which software made a delivery."""

from __future__ import annotations

import platform
from importlib.metadata import version

from spreadmap.io import guard  # noqa: F401 - restricts GDAL's drivers before it is loaded

# isort: split
import pyogrio
import pyproj
import rasterio

LIBRARIES = ("geopandas", "numpy", "pyogrio", "pyproj", "rasterio", "scipy", "shapely", "xlsxwriter")


def software_version() -> str:
    """Return the version of spreadmap."""
    return version("spreadmap")


def library_versions() -> dict[str, str]:
    """Return the versions of what a delivery's bytes depend on, by name."""
    return {
        "python": platform.python_version(),
        "spreadmap": software_version(),
        **{name: version(name) for name in LIBRARIES},
        "gdal of pyogrio": ".".join(map(str, pyogrio.__gdal_version__)),
        "gdal of rasterio": rasterio.__gdal_version__,
        "proj of pyproj": pyproj.proj_version_str,
    }
