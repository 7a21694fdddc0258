"""Size, time to open and frames per second of the review page at 1,000, 10,000 and 100,000 plants.

Then at 100,000 plants with 5,000 of them on the removal list, with 5,000 polygons, and with a surface of 4,000 pixels a
side: all at once in the last line.

Run: `python tests/benchmarks/page.py [folder]`. The browser draws in software, as an old desktop without a graphics
card does. `opened` counts from the request of the file to the second frame after the plants are drawn; frames are
counted over six pans of 0.4 s and one zoom. `all rows` turns every page of the removal list once. Figures of one run,
beside whatever else the machine does.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser import Browser
from made_page import large_page

PAGES = (
    (1_000, 6, 0, 0),
    (10_000, 6, 0, 0),
    (100_000, 6, 0, 0),
    (100_000, 5_000, 0, 0),
    (100_000, 6, 5_000, 0),
    (100_000, 5_000, 5_000, 4_000),
)
"""Plants, of them on the removal list, polygons, side of the surface [px]; 0 is the small made one."""
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

ALL_ROWS = """(async () => {
  const press = (k) => document.querySelectorAll('.pages button')[k], start = performance.now();
  await spreadmapReview.lists[0].ready;
  if (document.querySelectorAll('.pages button').length > 2) {
    press(0).click();
    while (!press(2).disabled && !press(2).hidden) { press(2).click(); await new Promise(requestAnimationFrame); }
  }
  return performance.now() - start;
})()"""


def main(folder: Path) -> None:
    """Print one line per page."""
    program = next(Path(found) for name in ("chromium", "chromium-browser", "chrome") if (found := shutil.which(name)))
    print("plants    listed  polygons  surface px  made s    MB  opened s  frames/s  longest ms  all rows s")
    with Browser(program, folder) as browser:
        for asked in PAGES:
            start = time.perf_counter()
            page = large_page(*asked)
            made = time.perf_counter() - start
            path = folder / f"page_{'_'.join(map(str, asked))}.html"
            path.write_bytes(page)
            start = time.perf_counter()
            browser.open(path)
            browser.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
            opened = time.perf_counter() - start
            rate, longest = browser.run(FRAMES)
            rows = browser.run(ALL_ROWS) / 1000
            plants, listed, sites, side = asked
            print(
                f"{plants:9,d} {listed:6,d} {sites:9,d} {side:11,d} {made:7.1f} {len(page) / 1e6:6.2f} {opened:8.2f} "
                f"{rate:9.0f} {longest:10.0f} {rows:10.2f}"
            )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as name:
            main(Path(name))
