"""The wind climate: which way air moves in the hours in which mites fly, and how that bends from place to place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.biology.daylight import sunrise_sunset_utc
from spreadmap.biology.season import flight_weight_on
from spreadmap.dispersal.bearings import (
    components_to_from_deg,
    concentration_of,
    never_negative,
    rose_of_bearings,
    rose_of_von_mises,
    sector_shares_of,
    sharpening_room,
    toward_from,
    turned,
)
from spreadmap.dispersal.speed_classes import speed_classes
from spreadmap.values.arrays import BoolArray, ComplexArray, DateArray, FloatArray
from spreadmap.values.settings import WindSettings
from spreadmap.values.wind import SpeedClass, WindClimate, WindHours, WindRaster

SECTORS = 16
SHARPEST = 1.5
"""How much the field may sharpen the station's rose (first coefficient) at most [-]; our choice."""
NO_MEAN_DIRECTION = 0.02
"""Length of a rose's first coefficient below which its mean direction is noise [-]; our choice."""
COARSE_DEG = 10.0
"""Width over which a direction given in whole tens is spread [deg]."""


def flight_hours(
    hours: WindHours, flight_weight: Sequence[float], longitude_deg: float, latitude_deg: float, settings: WindSettings
) -> tuple[BoolArray, list[str]]:
    """Return which hours count, shape (n,), and sentences that say how many fell away and why.

    An hour counts when its middle lies in the daylight window, it is dry, warm enough, and in a month with flight.
    Hours without rain or temperature on record count as dry and warm, and a sentence says how many those were.
    """
    middle = _middle(hours)
    local_day = (middle + np.timedelta64(int(longitude_deg * 4), "m")).astype("datetime64[D]")
    days, inverse = np.unique(local_day, return_inverse=True)
    rise, set_ = sunrise_sunset_utc(days, longitude_deg, latitude_deg)
    since = (middle - local_day.astype("datetime64[m]")).astype(np.float64) / 60.0
    light = (since >= rise[inverse] + settings.hours_after_sunrise) & (
        since <= set_[inverse] - settings.hours_before_sunset
    )
    tests = [
        ("outside the daylight window", light),
        ("outside the season of flight", flight_weight_on(middle, flight_weight) > 0),
        ("with rain", ~(hours.rain_mm > settings.most_rain_mm)),
        ("too cold", ~(hours.temperature_c < settings.least_temperature_c)),
        ("without a speed", np.isfinite(hours.speed_m_s)),
    ]
    counts, lost_to = np.ones(len(hours), dtype=np.bool_), []
    for reason, passes in tests:
        lost = int(np.sum(counts & ~passes))
        counts &= passes
        if lost:
            lost_to.append(f"{lost} {reason}")
    left_out = f"; left out: {', '.join(lost_to)}" if lost_to else ""
    remarks = [f"{int(counts.sum())} of {len(hours)} hours of the wind record are hours of flight{left_out}."]
    for what, values in (("rain", hours.rain_mm), ("temperature", hours.temperature_c)):
        unknown = int(np.sum(counts & ~np.isfinite(values)))
        if unknown:
            remarks.append(f"{unknown} hours were used although their {what} is not on record.")
    return counts, remarks


def _middle(hours: WindHours) -> DateArray:
    """Return the middle of each hour."""
    return np.asarray(hours.time_utc + np.timedelta64(30, "m"), dtype="datetime64[m]")


def climate_of_hours(
    hours: WindHours, flight_weight: Sequence[float], longitude_deg: float, latitude_deg: float, settings: WindSettings
) -> WindClimate:
    """Return the wind climate of one station's flight hours; calm and variable hours favour no bearing."""
    used, remarks = flight_hours(hours, flight_weight, longitude_deg, latitude_deg, settings)
    weight = flight_weight_on(_middle(hours)[used], flight_weight)
    speed = hours.speed_m_s[used]
    moving, toward, spread = _bearings_of(hours, settings)
    every, share_all, calm_all = np.isfinite(hours.speed_m_s), np.zeros(SECTORS), 0.0
    if every.any():
        counted = every & moving
        share_all = sector_shares(toward[counted], np.ones(counted.sum()), float(every.sum()), spread[counted])
        calm_all = 1.0 - float(counted.sum()) / float(every.sum())
    moving, toward, spread = moving[used], toward[used], spread[used]
    total = float(weight.sum())
    calm_weight = float(weight[~moving].sum())
    if spread[moving].any():
        remarks.append("Directions given in whole tens of degrees were spread evenly over their ten degrees.")
    if total == 0:
        remarks.append("No hour of the wind record is an hour of flight: spread is the same in all directions.")
    else:
        remarks += _calm_and_gusts(speed, moving, hours.gust_m_s[used], calm_weight / total, settings)
    rose = rose_of_bearings(toward[moving], weight[moving], calm_weight, settings.harmonics, spread[moving])
    return WindClimate(
        rose=rose,
        basis=f"hourly wind record, {int(used.sum())} hours of flight",
        hours_used=int(used.sum()),
        calm_share=calm_weight / total if total else 0.0,
        mean_speed_m_s=float(np.average(speed, weights=weight)) if total else float("nan"),
        sector_share=sector_shares(toward[moving], weight[moving], total, spread[moving]),
        sector_share_all_hours=share_all,
        calm_share_all_hours=calm_all,
        speed_classes=speed_classes(speed, weight, toward, moving, spread, rose, settings),
        remarks=tuple(remarks),
    )


def _bearings_of(hours: WindHours, settings: WindSettings) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Return which hours have a direction, toward where air moves, and over which width that is spread, each (n,)."""
    moving = (hours.speed_m_s >= settings.calm_below_m_s) & np.isfinite(hours.wind_from_deg)
    return moving, toward_from(hours.wind_from_deg), np.where(hours.is_coarse, COARSE_DEG, 0.0)


def _calm_and_gusts(
    speed: FloatArray, moving: BoolArray, gust: FloatArray, share: float, settings: WindSettings
) -> list[str]:
    """Return sentences that count calm, variable and gusty flight hours; `share` weighs the first two by season."""
    said = []
    calm = int(np.sum(speed < settings.calm_below_m_s))
    if not moving.all():
        said.append(
            f"{calm} of {len(speed)} hours of flight are calm (below {settings.calm_below_m_s:g} m/s), "
            f"{int(np.sum(~moving)) - calm} variable: {share:.0%} of the flight, which favours no direction."
        )
    known = np.isfinite(gust)
    if known.any():
        said.append(
            f"{int(np.sum(gust[known] >= settings.gusty_from_m_s))} of {int(known.sum())} hours of flight with a gust on "
            f"record had gusts of {settings.gusty_from_m_s:g} m/s or more."
        )
    return said


def sector_shares(
    toward_deg: FloatArray, weight: FloatArray, total: float, spread_deg: FloatArray | float = 0.0
) -> FloatArray:
    """Return the share of `total` weight in each of sixteen sectors, sector 0 centred on grid north, shape (16,).

    With `spread_deg`, each bearing is spread evenly over that width first, so that whole tens do not pile up in
    the sectors that happen to hold three of them.
    """
    width = 360.0 / SECTORS
    steps = (np.arange(20) + 0.5) / 20 - 0.5 if np.any(spread_deg) else np.zeros(1)
    shares = np.zeros(SECTORS)
    for step in steps:
        index = np.floor(np.mod(toward_deg + step * spread_deg + width / 2, 360.0) / width).astype(np.int64) % SECTORS
        shares += np.bincount(index, weights=weight, minlength=SECTORS) / len(steps)
    return shares / total if total > 0 else shares


def mean_vectors(
    raster: WindRaster, flight_weight: Sequence[float], nearest_m: float, otherwise: str
) -> tuple[FloatArray, FloatArray, FloatArray | None, list[str]]:
    """Return the season's mean vector toward east and north, and mean speed if there is one, each (rows, cols) [m/s].

    Months count with their weight of flight; a period without a month counts fully. Cells without a value take the
    nearest cell that has one within `nearest_m` [m], between middles; those farther away stay NaN, and the sentence
    that counts them says that they take `otherwise`.
    """
    weight = np.array([1.0 if month == 0 else flight_weight[month - 1] for month in raster.month])
    remarks = []
    if weight.sum() == 0:
        weight = np.ones_like(weight)
        remarks.append("No month of the wind raster is a month of flight: all its months were used.")

    def average(stack: FloatArray) -> FloatArray:
        known = np.isfinite(stack)
        share = np.where(known, weight[:, None, None], 0.0)
        bottom = share.sum(axis=0)
        top = (np.where(known, stack, 0.0) * share).sum(axis=0)
        return np.where(bottom > 0, top / np.where(bottom > 0, bottom, 1.0), np.nan)

    parts = [average(raster.wind_u), average(raster.wind_v)]
    if raster.mean_speed_m_s is not None:
        parts.append(average(raster.mean_speed_m_s))
    empty = ~np.all([np.isfinite(part) for part in parts], axis=0)
    for part in parts:
        part[empty] = np.nan
    if empty.all():
        remarks.append("The wind raster holds no value: it was not used.")
    elif empty.any():
        rows, cols = np.indices(empty.shape)
        places = np.c_[raster.northing[rows[~empty]], raster.easting[cols[~empty]]]
        wanted = np.c_[raster.northing[rows[empty]], raster.easting[cols[empty]]]
        away, nearest = cKDTree(places).query(wanted)
        near = away <= nearest_m
        for part in parts:
            part[empty] = np.where(near, part[~empty][nearest], np.nan)
        remarks.append(
            f"{int(empty.sum())} of {empty.size} wind cells hold no value: {int(near.sum())} took the nearest one that "
            f"does, at most {nearest_m:g} m away, and {int(np.sum(~near))} took {otherwise}."
        )
    return parts[0], parts[1], parts[2] if len(parts) == 3 else None, remarks


def bends(rose: ComplexArray, wind_u: FloatArray, wind_v: FloatArray) -> tuple[FloatArray, FloatArray, list[str]]:
    """Return by how much a rose is turned [deg] and sharpened [-] from place to place, (rows, cols), and sentences.

    At each place the whole rose is turned so that its mean direction points along the local mean vector, and its
    coefficients are multiplied by |local| / (mean of all lengths), at most by 1.5: the rose bends with the valley and
    blunts where the mean wind is weak. A rose without a mean direction of its own is turned by the angle between the
    local vector and the mean of all vectors. Where the vector is NaN, the rose stays as it is.
    """
    local = wind_v + 1j * wind_u
    known = np.isfinite(local)
    turn, sharpness = np.zeros(local.shape), np.ones(local.shape)
    length = np.abs(local)
    if not known.any() or length[known].mean() == 0:
        return turn, sharpness, []
    own, remarks = rose[0], []
    if abs(own) < NO_MEAN_DIRECTION:
        own = local[known].mean()
        remarks.append("The hourly record has no mean direction: it was turned by how the wind raster bends.")
    turn[known] = np.rad2deg(np.angle(local[known] * np.conj(own)))
    sharpness[known] = np.clip(length[known] / length[known].mean(), 0.0, SHARPEST)
    return turn, sharpness, remarks


def bent_field(rose: ComplexArray, turn_deg: FloatArray, sharpness: FloatArray) -> ComplexArray:
    """Return a rose turned and sharpened from place to place, (rows, cols, M); its density is nowhere negative."""
    factor = np.minimum(sharpness, sharpening_room(rose, SHARPEST))
    return np.asarray(turned(rose, turn_deg) * factor[..., None])


def climate_of_class(climate: WindClimate, one: SpeedClass) -> WindClimate:
    """Return the climate of one class of speed: its own rose, bent from place to place like the rose of all hours."""
    field = None
    if climate.field_turn_deg is not None and climate.field_sharpness is not None:
        field = bent_field(one.rose, climate.field_turn_deg, climate.field_sharpness)
    return replace(climate, rose=one.rose, field=field, speed_classes=())


def climate_of_raster(raster: WindRaster, flight_weight: Sequence[float], settings: WindSettings) -> WindClimate:
    """Return the wind climate of a raster alone: von Mises at each place, about the local mean vector."""
    wind_u, wind_v, speed, remarks = mean_vectors(
        raster, flight_weight, settings.nearest_wind_cell_m, "no direction, for there is no hourly record"
    )
    length, known = np.hypot(wind_u, wind_v), np.isfinite(wind_u)
    if not known.any():
        return no_wind(settings, remarks)
    if speed is None:
        concentration = np.where(length > 0, settings.raster_concentration, 0.0)
        remarks.append(
            "The wind raster has no mean speed: how steady the wind is was assumed "
            f"(concentration {settings.raster_concentration:g})."
        )
    else:
        concentration = concentration_of(np.where(speed > 0, length / np.where(speed > 0, speed, 1.0), 0.0))
    toward = toward_from(np.nan_to_num(components_to_from_deg(wind_u, wind_v)))
    field = never_negative(rose_of_von_mises(toward, concentration, settings.harmonics))
    rose = field.reshape(-1, settings.harmonics).mean(axis=0)
    return WindClimate(
        rose=rose,
        basis=f"wind raster of mean vectors, no hourly record{_out_of_reach(known, 'favour no direction')}",
        mean_speed_m_s=float(np.mean(speed[known])) if speed is not None else float("nan"),
        sector_share=sector_shares_of(rose, SECTORS),
        remarks=tuple(remarks),
        field_easting=raster.easting,
        field_northing=raster.northing,
        field=field,
    )


def _out_of_reach(known: BoolArray, what_they_do: str) -> str:
    """Return how many cells of a raster have no value near enough, to stand behind what made the map."""
    lost = int(np.sum(~known))
    return f" ({lost} of {known.size} cells without a value near enough {what_they_do})" if lost else ""


def no_wind(settings: WindSettings, remarks: Sequence[str] = ()) -> WindClimate:
    """Return the climate without any wind data: no bearing is favoured, and that is said."""
    return WindClimate(
        rose=np.zeros(settings.harmonics, dtype=np.complex128),
        basis="no wind data: same in all directions",
        sector_share=np.zeros(SECTORS),
        remarks=(*remarks, "No wind data came in: spread is taken as the same in all directions."),
    )


def flight_climate(
    hours: WindHours | None,
    raster: WindRaster | None,
    flight_weight: Sequence[float],
    longitude_deg: float,
    latitude_deg: float,
    settings: WindSettings,
) -> WindClimate:
    """Return the wind climate of the hours in which mites fly, from what there is.

    Parameters
    ----------
    hours, raster : WindHours or None, WindRaster or None
        The hourly record, the raster of mean vectors, both, or neither.
    flight_weight : twelve numbers
        Relative numbers of mites in the air, January first. [-]
    longitude_deg, latitude_deg : float
        Place for which daylight is reckoned. [deg]
    settings : WindSettings

    Returns
    -------
    WindClimate
        Its `basis` says in words which inputs made it; `remarks` say what was left out or assumed.
    """
    if hours is None:
        if raster is not None:
            return climate_of_raster(raster, flight_weight, settings)
        return no_wind(settings)
    station = climate_of_hours(hours, flight_weight, longitude_deg, latitude_deg, settings)
    if raster is None:
        return station
    wind_u, wind_v, _, remarks = mean_vectors(
        raster, flight_weight, settings.nearest_wind_cell_m, "the rose of the hourly record as it is"
    )
    known = np.isfinite(wind_u)
    if not known.any():
        return replace(station, remarks=(*station.remarks, *remarks))
    turn, sharpness, more = bends(station.rose, wind_u, wind_v)
    return replace(
        station,
        basis=(
            f"{station.basis}, bent from place to place by a wind raster"
            f"{_out_of_reach(known, 'have the rose of the record as it is')}"
        ),
        remarks=(*station.remarks, *remarks, *more),
        field_easting=raster.easting,
        field_northing=raster.northing,
        field=bent_field(station.rose, turn, sharpness),
        field_turn_deg=turn,
        field_sharpness=sharpness,
    )
