"""The product's hidden infection on the records of a programme, against the truth of its outbreak."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from decisions_rules import Programme, Rule
from decisions_world import (
    DETECTION,
    KAPPA,
    KERNEL_MEAN_M,
    KERNEL_SHAPE_M,
    LATENCY_MEDIAN_D,
    LATENCY_SIGMA,
    MONTH_WEIGHT,
    PLANTS,
    RATE,
    SENDS_AFTER_D,
    START_D,
    STRENGTH,
    WEEK_D,
    Town,
    draw_fate,
    make_town,
)

sys.path.insert(0, str(Path(__file__).parent.parent))

from small_records import inventory_at, system_of, texts, work_of

from spreadmap.dispersal.bearings import rose_of_von_mises
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.hidden_now import mean_field_hidden
from spreadmap.pressure.sums import NO_SCREENS
from spreadmap.records.state import plant_state
from spreadmap.values.epidemic_settings import DetectionSettings, InfectionSettings
from spreadmap.values.inventory import Sources
from spreadmap.values.rates import Rates
from spreadmap.values.settings import Settings, SourceSettings
from spreadmap.values.surveys import Surveys
from spreadmap.values.wind import WindClimate

FIRST_DAY = np.datetime64("2021-01-01")
WEEKS_ASKED = (8, 16, 28, 64, 76, 128)
"""Weeks of the programme at which the chances are compared."""
BACKGROUND_PER_DAY = 1e-6
"""So that a founder, which nothing explains, is possible: half an infection a season in the whole town [1/d]."""
SIZES = np.array(["S", "M", "L", "XL"])


def settings_of_the_world() -> Settings:
    """Return the true figures where the product has a setting for them: it has none for late symptoms and weak hidden plants."""
    return Settings(
        infection=InfectionSettings(
            infectious_after_days=SENDS_AFTER_D, latency_median_days=LATENCY_MEDIAN_D, latency_sigma=LATENCY_SIGMA,
            growing_from=(1, 1), growing_to=(12, 31),
        ),
        detection=DetectionSettings(visual_symptomatic=DETECTION),
        sources=SourceSettings(
            size_factor=dict(zip(SIZES.tolist(), STRENGTH.tolist(), strict=True)),
            canopy_radius_m=dict.fromkeys(SIZES.tolist(), 0.01),
        ),
    )  # fmt: skip


def surveys_from(passes: list[tuple[float, np.ndarray, np.ndarray]], day: float) -> Surveys:
    """Return every look up to a day as a row of a survey table."""
    told = [each for each in passes if each[0] <= day]
    plant = np.concatenate([seen for _, seen, _ in told])
    on = np.concatenate([np.full(len(seen), FIRST_DAY + int(when)) for when, seen, _ in told])
    sick = np.concatenate([np.isin(seen, found) for _, seen, found in told])
    n = len(plant)
    return Surveys(
        plant_id=np.array([f"p{i}" for i in range(PLANTS)], dtype=object)[plant], inspected_on=on,
        observer=texts("", n), method=texts("visual", n), pest_system=texts("rose_rosette", n),
        status=np.where(sick, "infected", "clean").astype(object),
        evidence=np.where(sick, "typical_symptoms", "visual").astype(object), symptoms=texts("", n),
        sample_id=texts("", n), survey_kind=texts("", n), note=texts("", n), file=texts("surveys.csv", n),
        row=np.arange(n), is_bed_count=np.zeros(n, dtype=bool),
    )  # fmt: skip


def product_chances(town: Town, programme: Programme, day: float) -> np.ndarray:
    """Return the product's chance of each plant of being infected on a day, NaN where it is no candidate."""
    plants = inventory_at(*zip(town.east, town.north, strict=True), size=SIZES[town.size].tolist())
    out = np.flatnonzero(programme.outbreak.removed <= day)
    work = work_of(*((f"p{i}", str(FIRST_DAY + int(programme.outbreak.removed[i])), "yes", "NaT") for i in out))
    surveys = surveys_from(programme.passes, day)
    weight = list(MONTH_WEIGHT)
    weight[11] *= 15 / 31
    system = system_of(flight=tuple(weight))
    state, _ = plant_state(plants, surveys, work, system, FIRST_DAY + int(day))
    climate = WindClimate(
        rose=rose_of_von_mises(np.array(town.wind_toward_deg), np.array(KAPPA), 8), basis="made",
        sector_share=np.zeros(16),
    )  # fmt: skip
    kernel = Kernel(family="wald", scale_m=KERNEL_MEAN_M, shape=KERNEL_SHAPE_M)
    spread = Spread(kernel=kernel, climate=climate, wind_influence=1.0, near_radius_m=0.0)
    wild = Sources(
        easting=town.stands[:, 0], northing=town.stands[:, 1], strength=np.full(4, town.wild_strength),
        plant=np.full(4, -1),
    )  # fmt: skip
    rates = Rates(per_day_m2=RATE, contact_per_day=0.0, background_per_day=BACKGROUND_PER_DAY)
    hidden = mean_field_hidden(
        plants, state, surveys, work, wild, spread, NO_SCREENS, system, rates, settings_of_the_world(),
        Engine(workers=1),
    )  # fmt: skip
    return np.asarray(hidden.infected)


def compare(seed: int, rule: Rule) -> list[tuple[float, float, int, int, int]]:
    """Return rows of one outbreak, one a date.

    Each holds the sums of the product's and of the benchmark's chances, the truth, and how many of the hidden stand in
    the highest per cent of each.
    """
    town = make_town(seed)
    rate = town.rates()
    fate = draw_fate(town, seed, rate)
    programme = Programme(town, fate, rule, rate, town.wild_rates())
    programme.keep = {START_D + WEEK_D * week for week in WEEKS_ASKED}
    programme.run()
    rows = []
    for day, own in programme.kept.items():
        ours = product_chances(town, programme, day)
        among = np.isfinite(ours) & np.isfinite(own)
        truth = (programme.outbreak.infected < day) & among
        tops = [np.argsort(-np.where(among, chance, -1))[: round(among.sum() / 100)] for chance in (ours, own)]
        rows.append(
            (
                float(ours[among].sum()),
                float(own[among].sum()),
                int(truth.sum()),
                *(int(truth[top].sum()) for top in tops),
            )
        )
    return rows
