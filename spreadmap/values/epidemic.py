"""How fast an infection passes on, and how it shows: one draw of the numbers behind hidden infection and forecasts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """One draw of the rates of infection.

    The hazard of a healthy host is susceptibility x size x (`rate_m2_per_day` x flight weight of the day x sum of
    strength x density of arrivals [m^-2] + `contact_per_season` x touching infectious plants / flight days of the
    season + `background_per_season` / flight days of the season) per day, where a day of full flight weighs one.

    Parameters
    ----------
    rate_m2_per_day : float
        Hazard per density of arrivals from a medium confirmed plant and per day of full flight. [m^2 per day]
    contact_per_season : float
        Hazard over one whole season of flight from one touching infectious plant. [-]
    background_per_season : float
        Hazard over one whole season of flight from nowhere known. [-]
    scale_factor : float
        By how much every length of the kernel is multiplied. [-]
    infectious_after_d : float
        From infection until a plant sends mites with the virus. [season days]
    """

    rate_m2_per_day: float
    contact_per_season: float = 1.3
    background_per_season: float = 0.001
    scale_factor: float = 1.0
    infectious_after_d: float = 14.0
