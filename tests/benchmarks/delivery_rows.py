"""How long a layer of a million plants takes in each format, and how much memory. Prints its figures, asserts nothing.

    python tests/benchmarks/delivery_rows.py [ROWS [FORMAT ...]]

Every column of the plants layer is written, those of relative mode included. GeoParquet is written where pyarrow is
installed; where it is not, the table says so.
"""

import datetime as dt
import resource
import shutil
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import shapely

from spreadmap.io.hidden_columns import HIDDEN_RANKS
from spreadmap.io.layers import Layer, face_columns, make_layer
from spreadmap.io.short_names import LAYERS, Kind
from spreadmap.io.write_layers import write_layers
from spreadmap.values.delivery_settings import DeliverySettings
from spreadmap.values.results import Face
from spreadmap.values.words import Mode

AS_OF = dt.date(2026, 9, 14)
FORMATS = ("shapefile", "geopackage", "csv", "geoparquet")
FACE = Face(
    quantity="Relative infection pressure", unit="1 = one confirmed medium plant, still air, 10 m away", period_from=AS_OF,
    period_to=dt.date(2026, 10, 12), condition="if nothing is done", mode=Mode.RELATIVE, as_of=AS_OF,
    valid_until=dt.date(2026, 10, 12),
)  # fmt: skip


def plants(count: int) -> Layer:
    """Return a layer of plants as a city has them: keys of their own, some words many times, dates, numbers."""
    draw = np.random.default_rng(1)
    row = np.arange(count)
    own = {
        "plant_id": np.array([f"R{number:08d}" for number in row], dtype=object),
        "bed_id": np.array([f"bed-{number // 25}" for number in row], dtype=object),
        "site_id": np.array([f"site-{number // 2500}" for number in row], dtype=object),
        "owner": np.array(["city parks", "city streets", "Ørsted Évêque Estate"], dtype=object)[row % 3],
        "host": np.array(["Rosa hybrida", "Rosa rugosa"], dtype=object)[row % 2],
        "note": np.where(row % 50 == 0, "stands behind the gate, ask at number " + (row % 977).astype(str), "").astype(object),
    }  # fmt: skip
    columns: dict[str, object] = {}
    more = HIDDEN_RANKS
    for column in (*LAYERS["plants"], *more):
        if column.name in own or column.name.endswith("_text"):
            continue
        if column.allowed:
            columns[column.name] = np.array(column.allowed, dtype=object)[row % len(column.allowed)]
        elif column.kind is Kind.DATE:
            columns[column.name] = np.datetime64("2026-05-01") + (row % 130).astype("timedelta64[D]")
        elif column.kind is Kind.WHOLE:
            columns[column.name] = draw.integers(0, 1000, count)
        elif column.kind is Kind.NUMBER:
            columns[column.name] = draw.random(count) * 100
        else:
            columns[column.name] = ""
    columns |= own
    face = face_columns(FACE, "rose_rosette")
    columns |= {
        name: np.full(count, value) if isinstance(value, np.datetime64) else value for name, value in face.items()
    }
    columns.pop("is_cut")
    points = shapely.points(700_000 + 30_000 * draw.random(count), 4_080_000 + 30_000 * draw.random(count))
    return make_layer("plants", "EPSG:32614", np.asarray(points, dtype=object), columns, more)


def peak_gb() -> float:
    """Return the most memory that this process ever held [GB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9


def main(count: int, formats: tuple[str, ...]) -> None:
    """Write one layer in each format, one after another, in one process."""
    if "geoparquet" in formats and find_spec("pyarrow") is None:
        print("geoparquet: not measured, pyarrow is not installed (pip install 'spreadmap[parquet]')")
        formats = tuple(name for name in formats if name != "geoparquet")
    start = time.process_time()
    layer = plants(count)
    made = time.process_time() - start
    print(f"{count:,} plants, {len(layer.spec)} columns, made in {made:.1f} s of the processor, {peak_gb():.2f} GB")
    whole, whole_wall = time.process_time(), time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        for form in formats:
            folder = Path(name) / form
            folder.mkdir()
            start, wall = time.process_time(), time.perf_counter()
            list(write_layers(folder, [layer], "plants", DeliverySettings(formats=(form,)), AS_OF, str))
            took, wall = time.process_time() - start, time.perf_counter() - wall
            size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6
            print(
                f"{form:12s} {wall:6.1f} s, processor {took:6.1f} s, {size:7.0f} MB, peak {peak_gb():.2f} GB",
                flush=True,
            )
            shutil.rmtree(folder)
    took, wall = time.process_time() - whole, time.perf_counter() - whole_wall
    print(f"{'together':12s} {wall:6.1f} s, processor {took:6.1f} s, peak {peak_gb():.2f} GB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000, tuple(sys.argv[2:]) or FORMATS)
