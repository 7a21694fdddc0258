"""The places of a Shapefile of points, all at a time: a general library takes each of them by itself.

Layout: Esri, Shapefile Technical Description, 1998, from memory; the tests hold it against the bytes of GDAL.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import shapely

POINT = 1
FILE_CODE, VERSION = 9994, 1000
HEAD_BYTES, RECORD_BYTES, ENTRY_BYTES = 100, 28, 8
CONTENT_WORDS = 10
"""Length of a point without the head of its record, in words of two bytes."""
RECORD = np.dtype([("number", ">i4"), ("words", ">i4"), ("kind", "<i4"), ("x", "<f8"), ("y", "<f8")])
ENTRY = np.dtype([("place", ">i4"), ("words", ">i4")])
HEAD = np.dtype([("code", ">i4"), ("unused", ">i4", 5), ("words", ">i4"), ("version", "<i4"), ("kind", "<i4"),
                 ("region", "<f8", 4), ("heights", "<f8", 4)])  # fmt: skip


def write_points(path: Path, points: npt.NDArray[np.object_]) -> None:
    """Write the places of points, shape (n,) with n at least 1, as .shp and .shx; OSError where the disk is full."""
    count = len(points)
    records = np.zeros(count, dtype=RECORD)
    records["number"] = np.arange(1, count + 1)
    records["words"], records["kind"] = CONTENT_WORDS, POINT
    records["x"], records["y"] = shapely.get_x(points), shapely.get_y(points)
    entries = np.zeros(count, dtype=ENTRY)
    entries["place"] = (HEAD_BYTES + RECORD_BYTES * np.arange(count)) // 2
    entries["words"] = CONTENT_WORDS
    region = [records["x"].min(), records["y"].min(), records["x"].max(), records["y"].max()]
    for ending, rows in ((".shp", records), (".shx", entries)):
        head = np.zeros(1, dtype=HEAD)
        head["code"], head["version"], head["kind"], head["region"] = FILE_CODE, VERSION, POINT, region
        head["words"] = (HEAD_BYTES + rows.nbytes) // 2
        path.with_suffix(ending).write_bytes(head.tobytes() + rows.tobytes())
