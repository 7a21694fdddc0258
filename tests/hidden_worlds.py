"""Small worlds for hidden infection: rates, records and laws of arrivals put down in a few words."""

import numpy as np
from small_records import inventory_at, surveys_of, system_of, work_of

from spreadmap.dispersal.kernels import kernel_from_settings
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.hidden_now import mean_field_hidden
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.epidemic_settings import DetectionSettings, InfectionSettings
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindClimate

ALL_YEAR = {"growing_from": (1, 1), "growing_to": (12, 31)}
NOWHERE = Sources(easting=np.zeros(0), northing=np.zeros(0), strength=np.zeros(0), plant=np.zeros(0, dtype=int))
ALWAYS = system_of(flight=(1,) * 12)


def still_air(settings=None):
    climate = WindClimate(rose=np.zeros(8, dtype=complex), basis="no wind", sector_share=np.zeros(16))
    return Spread(
        kernel=kernel_from_settings((settings or Settings()).kernel), climate=climate, wind_influence=0.0,
        near_radius_m=1.0,
    )  # fmt: skip


def settings_with(*, detection=None, **infection):
    return Settings(
        infection=InfectionSettings(**{**ALL_YEAR, **infection}), detection=DetectionSettings(**(detection or {}))
    )


def rates_of(per_day_m2=0.0, contact=0.0, background=0.0):
    return Rates(per_day_m2=per_day_m2, contact_per_day=contact, background_per_day=background)


def hidden_in(plants, surveys, as_of, rates, settings, *, work=None, system=ALWAYS, wild=NOWHERE, workers=1):
    """Return what is hidden, from records as `surveys_of` takes them or as they are."""
    records = surveys_of(*surveys) if isinstance(surveys, (list, tuple)) else surveys
    log = work if work is not None else work_of()
    as_of = np.datetime64(as_of)
    state, _ = plant_state(plants, records, log, system, as_of)
    return mean_field_hidden(
        plants, state, records, log, wild, still_air(), NO_SCREENS, system, rates, settings, Engine(workers=workers)
    )


def line_of(count, apart_m=2.0):
    return inventory_at(*[(i * apart_m, 0.0) for i in range(count)])
