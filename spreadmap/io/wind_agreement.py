"""Whether the raster of mean wind and the hourly record tell of the same wind: swapped or reversed parts show here."""

from __future__ import annotations

import numpy as np

from spreadmap.dispersal.bearings import from_deg_to_components
from spreadmap.values.arrays import FloatArray
from spreadmap.values.wind import WindHours, WindRaster

FEWEST_HOURS = 200
LEAST_SHARE = 0.15
"""Mean vector over mean speed below which a record has no clear mean direction [-]; our choice."""
LEAST_MEAN_M_S = 0.3
FAR_DEG, NEAR_DEG = 75.0, 25.0
"""A hill may turn the wind, but hardly by more than the first; the second is agreement. Our choice [deg]."""
LIKELY = (
    ("u and v seem to stand in each other's place", np.array([[0.0, 1.0], [1.0, 0.0]])),
    ("its parts seem to say where the wind comes from", np.array([[-1.0, 0.0], [0.0, -1.0]])),
    ("v seems to count toward south", np.array([[1.0, 0.0], [0.0, -1.0]])),
    ("u seems to count toward west", np.array([[-1.0, 0.0], [0.0, 1.0]])),
)


def winds_differ(hours: WindHours, raster: WindRaster) -> str:
    """Return in words how far the two mean directions lie apart and what may be the cause, nothing where they agree.

    The mean vector of the hours in the raster's months is held against the mean of the raster's cells round the plants.
    Without a clear mean direction in both there is nothing to say.
    """
    months = raster.month[raster.month > 0].tolist()
    recorded = np.isfinite(hours.speed_m_s) & (np.isfinite(hours.wind_from_deg) | (hours.speed_m_s == 0))
    if months:
        month = hours.time_utc.astype("datetime64[M]").astype(np.int64) % 12 + 1
        recorded &= np.isin(month, months)
    if int(recorded.sum()) < FEWEST_HOURS:
        return ""
    speed = hours.speed_m_s[recorded]
    parts = from_deg_to_components(np.nan_to_num(hours.wind_from_deg[recorded]), speed)
    measured = np.array([float(part.mean()) for part in parts])
    known = np.isfinite(raster.wind_u) & np.isfinite(raster.wind_v)
    drawn = np.array([float(raster.wind_u[known].mean()), float(raster.wind_v[known].mean())])
    if (
        np.hypot(*measured) < max(LEAST_MEAN_M_S, LEAST_SHARE * float(speed.mean()))
        or np.hypot(*drawn) < LEAST_MEAN_M_S
    ):
        return ""
    apart = between_deg(measured, drawn)
    if apart < FAR_DEG:
        return ""
    cause = next((words for words, way in LIKELY if between_deg(measured, way @ drawn) < NEAR_DEG), "")
    return f"its mean direction lies {apart:.0f} degrees from that of the hourly record" + (
        f": {cause}" if cause else ""
    )


def between_deg(one: FloatArray, other: FloatArray) -> float:
    """Return the angle between two vectors of shape (2,), 0 to 180 [deg]."""
    cosine = float(one @ other) / (float(np.hypot(*one)) * float(np.hypot(*other)))
    return float(np.rad2deg(np.arccos(np.clip(cosine, -1.0, 1.0))))
