"""Sources, receptors and laws of arrivals that several test files place in a few words."""

import numpy as np

from spreadmap.dispersal.bearings import never_negative, rose_of_von_mises
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.values.inventory import Receptors, ScreenSegments, Sources
from spreadmap.values.wind import WindClimate

WALD = Kernel(family="wald", scale_m=10.95, shape=3.17)
ONE_OF_EACH = (
    WALD,
    Kernel(family="lognormal", scale_m=5.19, shape=1.222),
    Kernel(family="student_2d", scale_m=8.1, shape=2.1),
    Kernel(family="exponential_power", scale_m=2.0, shape=0.6),
    Kernel(family="inverse_power", scale_m=10.0, shape=3.5),
    Kernel(family="logistic", scale_m=8.0, shape=3.5),
    Kernel(family="weibull", scale_m=8.0, shape=1.4),
    Kernel(family="gamma", scale_m=6.0, shape=1.6),
    Kernel(family="exponential", scale_m=5.475),
    Kernel(family="gaussian", scale_m=10.0),
)


def rose_toward(bearing_deg, concentration=1.5, harmonics=8):
    return never_negative(rose_of_von_mises(np.array(float(bearing_deg)), np.array(concentration), harmonics))


def spread_of(kernel=WALD, rose=None, wind_influence=0.5, near_radius_m=1.0):
    climate = WindClimate(
        rose=np.zeros(8, dtype=complex) if rose is None else rose, basis="made for a test", sector_share=np.zeros(16)
    )
    return Spread(kernel=kernel, climate=climate, wind_influence=wind_influence, near_radius_m=near_radius_m)


def sources_at(*places, strength=None, plant=None):
    """Return sources at (east, north) places, of strength 1 and no plant unless given."""
    at = np.array(places, dtype=float).reshape(-1, 2)
    return Sources(
        easting=at[:, 0],
        northing=at[:, 1],
        strength=np.ones(len(at)) if strength is None else strength,
        plant=np.full(len(at), -1) if plant is None else plant,
    )


def receptors_at(*places, radius=0.0, plant=None):
    """Return receptors at (east, north) places, points and no plant unless given."""
    at = np.array(places, dtype=float).reshape(-1, 2)
    return Receptors(
        easting=at[:, 0],
        northing=at[:, 1],
        radius_m=np.broadcast_to(np.asarray(radius, dtype=float), len(at)),
        plant=np.full(len(at), -1) if plant is None else plant,
    )


def screens_of(*pieces):
    """Return screen pieces from (east, north, east, north, factor) rows."""
    rows = np.array(pieces, dtype=float).reshape(-1, 5)
    return ScreenSegments(ends=rows[:, :4], factor=rows[:, 4])
