"""Where the time of a whole run goes: 10,000 plants, 1,000 confirmed, about a million cells. Prints, asserts nothing."""

import cProfile
import pstats
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from generator import make_project, write_project_files

from spreadmap.pipeline import run_project

STEPS = (
    "read_project", "plant_state", "flight_climate", "plant_exposure", "relative_surface", "spread_ahead",
    "rank_removals", "rank_inspections", "draw_zones", "render_pages", "write_delivery",
)  # fmt: skip


def main(plants: int = 10_000, confirmed: int = 1_000) -> None:
    """Run a made project once to warm up, then once with the clock."""
    with tempfile.TemporaryDirectory() as folder:
        run_project(write_project_files(Path(folder) / "small", make_project(plants=200, confirmed=5, seed=1)))
        project = write_project_files(Path(folder) / "town", make_project(plants=plants, confirmed=confirmed, seed=1))
        profile = cProfile.Profile()
        start = time.perf_counter()
        profile.enable()
        delivery = run_project(project)
        profile.disable()
        whole = time.perf_counter() - start
        found = {key[2]: value[3] for key, value in pstats.Stats(profile).stats.items() if "spreadmap" in key[0]}
        print(f"{plants} plants, {confirmed} confirmed: {whole:.1f} s in all ({delivery.folder.name})")
        for step in STEPS:
            print(f"  {step:18s} {found.get(step, 0.0):6.2f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
