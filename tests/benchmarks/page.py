"""Size, time to open and frames per second of the review page at 1,000, 10,000 and 100,000 plants.

Run: `python tests/benchmarks/page.py [folder]`. The browser draws in software, as an old desktop without a graphics
card does. `opened` counts from the request of the file to the second frame after the plants are drawn; frames are
counted over six pans of 0.4 s and one zoom. Figures of one run, beside whatever else the machine does.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser import Browser
from made_page import made_rasters, made_shapes, many_plants

from spreadmap.review.page import render_review
from spreadmap.values.web import WebShape, WebShapes

SIZES = (1_000, 10_000, 100_000)
POLYGONS = 5_000
FRAMES = """(async () => {
  const map = spreadmapReview.map, times = [];
  let go = true;
  const tick = (now) => { times.push(now); if (go) requestAnimationFrame(tick); };
  requestAnimationFrame(tick);
  for (let k = 0; k < 6; k++) { map.panBy([k % 2 ? -160 : 160, 0], {animate: true, duration: 0.4});
    await new Promise((done) => setTimeout(done, 420)); }
  map.setZoom(map.getZoom() + 1, {animate: true});
  await new Promise((done) => setTimeout(done, 500));
  go = false;
  const gaps = times.slice(1).map((at, k) => at - times[k]);
  return [1000 * gaps.length / gaps.reduce((a, b) => a + b, 0), Math.max(...gaps)];
})()"""


def polygons(count: int, west: float, south: float) -> WebShapes:
    """Return small sites of twenty corners each, side by side."""
    turn = np.linspace(0, 2 * np.pi, 21)
    shapes = []
    for index in range(count):
        east, north = west + (index % 100) * 6e-5, south + (index // 100) * 4e-5
        ring = [[round(east + 2e-5 * np.cos(t), 6), round(north + 1.4e-5 * np.sin(t), 6)] for t in turn]
        shapes.append(
            WebShape(kind="site", name=f"S{index}", geojson={"type": "Polygon", "coordinates": [ring]}, properties={})
        )
    return WebShapes(shapes=tuple(shapes))


def main(folder: Path) -> None:
    """Print one line per size, and one with polygons."""
    program = next(Path(found) for name in ("chromium", "chromium-browser", "chrome") if (found := shutil.which(name)))
    print("plants    polygons  made s    MB  opened s  frames/s  longest ms")
    with Browser(program, folder) as browser:
        for count, sites in (*((size, 0) for size in SIZES), (SIZES[-1], POLYGONS)):
            result = many_plants(count)
            shapes = made_shapes(result)
            if sites:
                shapes["many"] = polygons(sites, result.inputs.longitude_deg, result.inputs.latitude_deg)
            start = time.perf_counter()
            page = render_review(result, made_rasters(result), shapes)
            made = time.perf_counter() - start
            path = folder / f"page_{count}_{sites}.html"
            path.write_bytes(page)
            start = time.perf_counter()
            browser.open(path)
            browser.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
            opened = time.perf_counter() - start
            rate, longest = browser.run(FRAMES)
            print(
                f"{count:9,d} {sites:8,d} {made:7.1f} {len(page) / 1e6:6.2f} {opened:8.2f} {rate:9.0f} {longest:10.0f}"
            )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as name:
            main(Path(name))
