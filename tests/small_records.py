"""Inventories, inspections, work and pest systems that several test files write down in a few words."""

import numpy as np

from spreadmap.values.inventory import Inventory, Reservoirs, Screens, Sites
from spreadmap.values.pest_system import PestSystem, Window
from spreadmap.values.surveys import PlantState, Surveys, WorkLog
from spreadmap.values.words import Verdict

AS_OF = np.datetime64("2026-09-21")  # a Monday
FLIGHT = (0, 0, 0, 0.2, 0.4, 0.7, 1, 1, 1, 1, 0.4, 0.2)


def texts(values, length):
    return np.array([values] * length if isinstance(values, str) else list(values), dtype=object)


def inventory_at(*places, host="Rosa hybrida", size="M", bed="", site="", owner="", susceptibility=1.0):
    """Return plants p0, p1, ... at (east, north) places."""
    at = np.array(places, dtype=float).reshape(-1, 2)
    n = len(at)
    return Inventory(
        plant_id=[f"p{i}" for i in range(n)],
        easting=at[:, 0],
        northing=at[:, 1],
        longitude=np.zeros(n),
        latitude=np.zeros(n),
        host=texts(host, n),
        susceptibility=np.broadcast_to(np.asarray(susceptibility, dtype=float), n),
        size_class=texts(size, n),
        bed_id=texts(bed, n),
        site_id=texts(site, n),
        owner=texts(owner, n),
        planted_on=np.full(n, "NaT", dtype="datetime64[D]"),
        source_batch=texts("", n),
        position_precision_m=np.ones(n),
        is_synthetic=np.zeros(n, dtype=bool),
        note=texts("", n),
    )


def surveys_of(*rows, system="rose_rosette"):
    """Return inspections from (plant_id, date, status, evidence) rows; tests are those with evidence lab."""
    n = len(rows)
    plant, day, status, evidence = zip(*rows, strict=True) if rows else ((), (), (), ())
    return Surveys(
        plant_id=texts(plant, n),
        inspected_on=np.array(day, dtype="datetime64[D]"),
        observer=texts("", n),
        method=texts(["test" if word == "lab" else "visual" for word in evidence], n),
        pest_system=texts(system, n),
        status=texts(status, n),
        evidence=texts(evidence, n),
        symptoms=texts("", n),
        sample_id=texts("", n),
        survey_kind=texts("", n),
        note=texts("", n),
        file=texts("surveys.csv", n),
        row=np.arange(n),
        is_bed_count=np.zeros(n, dtype=bool),
    )


def work_of(*rows):
    """Return finished orders from (plant_id, done_on, roots_complete, regrowth_on or "NaT") rows."""
    n = len(rows)
    plant, day, roots, sprout = zip(*rows, strict=True) if rows else ((), (), (), ())
    return WorkLog(
        plant_id=texts(plant, n),
        done_on=np.array(day, dtype="datetime64[D]"),
        done=np.ones(n, dtype=bool),
        roots_complete=texts(roots, n),
        regrowth_on=np.array(sprout, dtype="datetime64[D]"),
        note=texts("", n),
    )


def state_with(inventory, infected=(), suspect=(), sprouting=(), is_host=True):
    """Return a state in which the named positions are infected, suspect or sprouting and all others clean."""
    n = len(inventory)
    status, evidence = texts("clean", n), texts("visual", n)
    status[list(infected)], evidence[list(infected)] = "infected", "lab"
    status[list(suspect)] = "suspect"
    status[list(sprouting)], evidence[list(sprouting)] = "removed", "work_log"
    day = np.full(n, "2026-09-12", dtype="datetime64[D]")
    never = np.full(n, "NaT", dtype="datetime64[D]")
    found, removed, regrowth, standing = never.copy(), never.copy(), np.zeros(n, dtype=bool), np.ones(n, dtype=bool)
    found[[*infected, *sprouting]] = np.datetime64("2026-09-12")
    removed[list(sprouting)] = np.datetime64("2026-07-01")
    regrowth[list(sprouting)] = True
    standing[list(sprouting)] = False
    return PlantState(
        system_key="rose_rosette",
        as_of=AS_OF,
        status=status,
        evidence=evidence,
        status_on=day,
        first_found_on=found,
        last_inspected_on=day,
        inspections=np.ones(n, dtype=int),
        removed_on=removed,
        roots_complete=texts("", n),
        has_regrowth=regrowth,
        is_standing=standing,
        is_host=np.broadcast_to(np.asarray(is_host), n),
    )


def system_of(verdict=Verdict.REMOVE_WITH_ROOTS, windows=(), flight=FLIGHT):
    return PestSystem(
        key="rose_rosette",
        common_name="Rose rosette",
        scientific_name="Emaravirus rosae",
        eppo_code="RRV000",
        pathogen="a virus",
        vector="a mite",
        host_genera=("Rosa",),
        symptom_words=(),
        verdict=verdict,
        verdict_reason="A made-up reason.",
        flight_weight=flight,
        flight_weight_status="assumed",
        flight_weight_source="made for a test",
        windows=tuple(windows),
        look_alikes=(),
        caution="",
        sources=(),
    )


def window(name, begins, ends):
    return Window(name=name, begins=begins, ends=ends, advice=f"Do {name}.", status="assumed", source="made for a test")


def sites_of(*rows):
    """Return sites from (site_id, polygon, set_up, is_private, owner) rows."""
    n = len(rows)
    key, shape, set_up, private, owner = zip(*rows, strict=True) if rows else ((), (), (), (), ())
    return Sites(
        site_id=texts(key, n),
        geometry=shape,
        name=texts([f"Site {word}" for word in key], n),
        owner=texts(owner, n),
        access=texts("", n),
        set_up=texts(set_up, n),
        is_private=np.array(private, dtype=bool),
    )


def reservoirs_of(*rows):
    """Return wild stands from (geometry, plants, chance) rows, named w0, w1, ..."""
    n = len(rows)
    shape, count, chance = zip(*rows, strict=True) if rows else ((), (), ())
    return Reservoirs(
        reservoir_id=texts([f"w{i}" for i in range(n)], n),
        geometry=shape,
        plant_count=np.array(count, dtype=float),
        chance_infected=np.array(chance, dtype=float),
        host=texts("", n),
        note=texts("", n),
    )


def screens_at(*rows):
    """Return screens from (line, height, planted_on) rows, named h0, h1, ..., each halving arrivals."""
    n = len(rows)
    shape, height, planted = zip(*rows, strict=True) if rows else ((), (), ())
    return Screens(
        screen_id=texts([f"h{i}" for i in range(n)], n),
        geometry=shape,
        height_m=np.array(height, dtype=float),
        planted_on=np.array(planted, dtype="datetime64[D]"),
        factor=np.full(n, 0.5),
    )
