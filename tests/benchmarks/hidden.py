"""Seconds for hidden infection at 1,000, 10,000 and 100,000 plants: python tests/benchmarks/hidden.py [plants ...]."""

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from generator import make_project
from hidden_worlds import NOWHERE, still_air
from small_records import system_of

from spreadmap.engine import Engine
from spreadmap.outbreak.assumed_rates import assumed_rates, onward_density
from spreadmap.outbreak.hidden_now import mean_field_hidden
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.settings import Settings


def seconds(plants):
    """Print seconds and rounds for one survey of so many plants, one in a hundred confirmed, default rates."""
    project, system, settings, engine = make_project(plants, plants // 100, 1), system_of(), Settings(), Engine()
    inventory, records, log = project.inventory, project.surveys, project.work_log
    state, _ = plant_state(inventory, records, log, system, np.datetime64(project.as_of))
    law = still_air(settings)
    dense = onward_density(inventory, state, law, NO_SCREENS, settings, engine)
    rates = assumed_rates(settings.infection.assumed_onward, dense, system, settings)
    began, used = time.perf_counter(), time.process_time()
    hidden = mean_field_hidden(
        inventory, state, records, log, NOWHERE, law, NO_SCREENS, system, rates, settings, engine
    )
    print(
        f"{plants:7d} plants x {len(hidden.step_from)} steps, {plants // 100} confirmed: "
        f"{time.perf_counter() - began:.1f} s, {time.process_time() - used:.1f} s of processors, "
        f"{hidden.iterations} rounds, change {hidden.change:.1e}, "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB at most",
        flush=True,
    )


for asked in [int(word) for word in sys.argv[1:]] or [1_000, 10_000, 100_000]:
    seconds(asked)
