"""Compiled densities of listed pairs of sources and receptors."""

from __future__ import annotations

import math

import numba

from spreadmap.pressure.compiled import CM, F8, I, M, V, _directed, disc_mean, passed, seven_points

I4 = numba.int64


@numba.njit(
    numba.void(I4, I4, I, I, V, V, V, V, V, V, V, CM, M, V, F8, F8, V, V, V, V, V, F8, F8, V), cache=True, nogil=True
)
def fill_pairs(
    begin, end, start, receptor, r_east, r_north, r_radius, r_exact, r_simple, s_east, s_north, roses, ends, factor,
    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, share, out,
):  # fmt: skip
    """Add to the pairs of sources `begin` to `end` - 1 the density of one strand, screens included."""
    for j in range(begin, end):
        rose = roses[j] if len(roses) > 1 else roses[0]
        for k in range(start[j], start[j + 1]):
            i = receptor[k]
            east, north = r_east[i] - s_east[j], r_north[i] - s_north[j]
            r = math.sqrt(east * east + north * north)
            if r < r_exact[i]:
                value = disc_mean(
                    east, north, r_radius[i],
                    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose,
                )  # fmt: skip
            elif r < r_simple[i]:
                value = seven_points(east, north, r_radius[i], log_first, step, log_density, near, rose)
            else:
                value = _directed(east, north, log_first, step, log_density, near, rose)
            if len(factor) > 0:
                value *= passed(s_east[j], s_north[j], r_east[i], r_north[i], ends, factor)
            out[k] += share * value
