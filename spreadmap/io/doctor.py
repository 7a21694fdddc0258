"""Which copies of the native libraries each Python library sees, and what may disturb them."""

from __future__ import annotations

import os
import platform
from collections.abc import Mapping
from importlib.metadata import version

from spreadmap.io import guard  # noqa: F401  restricts GDAL before it is loaded

STRAY_VARIABLES = ("PROJ_LIB", "PROJ_DATA", "GDAL_DATA", "GDAL_DRIVER_PATH")


def doctor_lines(environment: Mapping[str, str] | None = None) -> list[str]:
    """Return one line per finding: versions of Python, GDAL and PROJ as each library sees them, stray variables."""
    import pyogrio
    import pyproj
    import rasterio

    seen = os.environ if environment is None else environment
    lines = [
        f"spreadmap {version('spreadmap')}, Python {platform.python_version()}, {platform.platform()}",
        f"rasterio {rasterio.__version__}: GDAL {rasterio.__gdal_version__}, PROJ {rasterio.__proj_version__}",
        f"pyogrio {pyogrio.__version__}: GDAL {pyogrio.__gdal_version_string__}",
        f"pyproj {pyproj.__version__}: PROJ {pyproj.proj_version_str}",
    ]
    lines += [
        f"{name} {version(name)}" for name in ("numpy", "pandas", "geopandas", "shapely", "scipy", "numba", "folium")
    ]
    stray = [name for name in STRAY_VARIABLES if name in seen]
    lines += [
        f"Careful: {name} is set to '{seen[name]}'. It may point at another installation; take it away if maps shift "
        "or a CRS is not known."
        for name in stray
    ]
    if not stray:
        lines.append("No stray PROJ or GDAL variable is set.")
    return lines
