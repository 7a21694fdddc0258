"""Forecasts, projects and inspections for the tests of scores, written down in a few words."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import shapely
from small_records import inventory_at, surveys_of, system_of, work_of

from spreadmap.records.state import plant_state
from spreadmap.values.score import Course, Forecast, ForecastRing, Sensitivity
from spreadmap.values.words import Mode

CRS = "EPSG:32614"
FIRST, SECOND, THIRD = dt.date(2026, 5, 18), dt.date(2026, 7, 13), dt.date(2026, 9, 14)
SEES = Sensitivity(visual=0.55, test=0.95, test_symptomless=0.6)


def made_forecast(
    keys, *, as_of=FIRST, courses=(), suspects=(), within=2, removal=(), rings=(), crs=CRS, distance=None
):
    """Return a forecast that lists plants by key, first to look at first; pressures fall along the list."""
    n = len(keys)
    return Forecast(
        system_key="rose_rosette",
        mode=Mode.CALIBRATED if courses else Mode.RELATIVE,
        as_of=as_of,
        valid_until=SECOND,
        condition="if nothing is done",
        crs=crs,
        plant_id=np.array(keys, dtype=object),
        pressure=np.arange(n, 0, -1.0),
        distance_m=np.arange(n) * 10.0 if distance is None else distance,
        same_place=np.zeros(n),
        is_suspect=np.isin(keys, suspects),
        within=within,
        removal=tuple(removal),
        rings=tuple(rings),
        courses=tuple(courses),
    )


def made_course(
    showing, infected=None, *, on=(FIRST, SECOND), members=(), taken_out=(), condition="if nothing is done"
):
    """Return a course whose chances are (dates, plants)."""
    return Course(
        condition=condition,
        taken_out=tuple(taken_out),
        on=np.array(on, dtype="datetime64[D]"),
        infected=np.array(showing if infected is None else infected, dtype=float),
        showing=np.array(showing, dtype=float),
        members_showing=np.array([members] * len(on), dtype=float).reshape(len(on), -1),
        sensitivity=SEES,
    )


def made_ring(name, share, west, east):
    return ForecastRing(focus=1, name=name, share=share, polygon=shapely.box(west, -5, east, 5))


def made_world(*rows, plants=6, work=(), beds="", as_of=SECOND):
    """Return roses p0, p1 ... 10 m apart in a row, their inspections and work, and what is known on a date."""
    inventory = inventory_at(*((10.0 * index, 0.0) for index in range(plants)), bed=beds)
    project = SimpleNamespace(inventory=inventory, surveys=surveys_of(*rows), crs=CRS, as_of=as_of)
    state, _ = plant_state(inventory, project.surveys, work_of(*work), system_of(), np.datetime64(as_of))
    return project, state
