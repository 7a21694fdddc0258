"""Compiled sums of hidden infection: likelihood of the records, chances by step of time, kernel of pairs."""

from __future__ import annotations

import math

import numba
import numpy as np

I8 = numba.int64
F8 = numba.float64
I1 = numba.int64[::1]
V = numba.float64[::1]
M2 = numba.float64[:, ::1]
S1 = numba.float32[::1]
S2 = numba.float32[:, ::1]
J1 = numba.int32[::1]
C2 = numba.complex128[:, ::1]
PARTS = 3
"""Moments in each step of time at which a plant may have been infected: their mean stands for the step."""


@numba.njit(F8(V, F8), cache=True, nogil=True)
def _between(table, place):
    """Return a table at a place between its nodes, held at its last."""
    last = len(table) - 1
    if place >= last:
        return table[last]
    low = int(place)
    part = place - low
    return table[low] + part * (table[low + 1] - table[low])


@numba.njit(numba.void(I8, I8, I1, V, V, V, V, V, V, F8, S2, S2), cache=True, nogil=True)
def fill_likelihood(
    begin, end, first, day, if_showing, if_symptomless, if_healthy, season, shown, step_days, like, silent
):  # fmt: skip
    """Fill the chance of the records given infection in each step, for rows `begin` to `end` - 1.

    `silent` is what the records would have been worth had the plant shown no symptoms up to the last of them, so that
    (share not yet showing) x silent is the part of `like` in which nothing shows yet. Both are means over moments in
    the step. `shown` is the share showing by whole days of the season since infection.
    """
    steps = like.shape[1]
    for row in range(begin, end):
        low, high = first[row], first[row + 1]
        healthy, active = 1.0, low
        for step in range(steps):
            total, quiet = 0.0, 0.0
            for part in range(PARTS):
                moment = (step + (part + 0.5) / PARTS) * step_days
                while active < high and day[active] <= moment:
                    healthy *= if_healthy[active]
                    active += 1
                if healthy <= 0.0:
                    break
                began = _between(season, 2.0 * moment)
                showing, still, before = 0.0, 1.0, 0.0
                for look in range(active, high):
                    by_now = _between(shown, _between(season, 2.0 * day[look]) - began)
                    showing = (showing + still * (by_now - before)) * if_showing[look]
                    still *= if_symptomless[look]
                    before = by_now
                total += healthy * (showing + still * (1.0 - before))
                quiet += healthy * still
            like[row, step] = total / PARTS
            silent[row, step] = quiet / PARTS


@numba.njit(F8(I8, F8, F8, F8), cache=True, nogil=True)
def _standing(step, step_days, stood_from, stood_to):
    """Return the share of a step in which a plant stands [-]."""
    low, high = max(step * step_days, stood_from), min((step + 1) * step_days, stood_to)
    return max(high - low, 0.0) / step_days


@numba.njit(F8(V, V, S2, I8, V, F8, F8, F8, F8, numba.boolean, V, V), cache=True, nogil=True)
def _weights(told, force, like, row, flight, step_days, receives, stood_from, stood_to, is_certain, weight,
             escaped):  # fmt: skip
    """Fill the chance of infection in each step together with the records; return what they sum to, healthy included.

    `escaped` is filled with the chance of no infection by the end of each step, without the records.
    """
    total, open_to = 0.0, 1.0
    for step in range(len(flight)):
        weight[step] = 0.0
        # Out of season nothing flies: most steps of a year ask for no exponential.
        if flight[step] > 0.0:
            mine = force[step] * receives * flight[step] * _standing(step, step_days, stood_from, stood_to)
            caught = -math.expm1(-mine) * open_to
            weight[step] = caught * like[row, step] * told[step]
            total += weight[step]
            open_to -= caught
        escaped[step] = open_to
    if not is_certain:
        return total + open_to
    if total > 0.0:
        return total
    # Confirmed, and no source on record can have done it: every day of flight on which it stood counts alike.
    for attempt in range(3):
        for step in range(len(flight)):
            stood = _standing(step, step_days, stood_from, stood_to) if attempt < 2 else 1.0
            weight[step] = like[row, step] * told[step] * stood * (flight[step] if attempt < 1 else 1.0)
            total += weight[step]
        if total > 0.0:
            return total
    weight[0] = 1.0
    return 1.0


@numba.njit(
    numba.void(I8, I8, I1, numba.boolean[::1], V, S2, M2, M2, V, F8, V, V, V, V, M2, M2),
    cache=True, nogil=True,
)  # fmt: skip
def fill_chances(begin, end, rows, certain, share, like, told, force, flight, step_days, receives, stood_from, stood_to,
                 sending, infected, sends):  # fmt: skip
    """Fill the chance of infection in each step, and of sending in each step, for plants `begin` to `end` - 1.

    `rows[i]` to `rows[i + 1]` - 1 are the readings of plant i, each with its share; a certain one says infected.
    `sending[k]` is the share of a step in which a plant infected k steps earlier sends.
    """
    steps = len(flight)
    weight, escaped = np.zeros(steps), np.zeros(steps)
    reach = len(sending) - 1
    for plant in range(begin, end):
        for step in range(steps):
            infected[plant, step] = 0.0
        for row in range(rows[plant], rows[plant + 1]):
            if share[row] <= 0.0:
                continue
            total = _weights(told[plant], force[plant], like, row, flight, step_days, receives[plant], stood_from[plant],
                             stood_to[plant], certain[row], weight, escaped)  # fmt: skip
            for step in range(steps):
                infected[plant, step] += share[row] * weight[step] / total
        early = 0.0
        for step in range(steps):
            if step > reach:
                early += infected[plant, step - reach - 1]
            now = early
            for back in range(min(step, reach) + 1):
                now += sending[back] * infected[plant, step - back]
            sends[plant, step] = now * _standing(step, step_days, 0.0, stood_to[plant])


@numba.njit(numba.void(I8, I8, I1, numba.boolean[::1], V, S2, M2, M2, V, F8, V, V, V, M2), cache=True, nogil=True)
def fill_gain(begin, end, rows, certain, share, like, told, force, flight, step_days, receives, stood_from, stood_to,
              gain):  # fmt: skip
    """Fill by how much the logarithm of the chance of a plant's records changes per force in each step, where less.

    The change is (chance of the records given infection now - chance of what would come otherwise), both from then on.
    """
    steps = len(flight)
    weight, escaped = np.zeros(steps), np.zeros(steps)
    for plant in range(begin, end):
        for step in range(steps):
            gain[plant, step] = 0.0
        for row in range(rows[plant], rows[plant + 1]):
            if share[row] <= 0.0:
                continue
            total = _weights(told[plant], force[plant], like, row, flight, step_days, receives[plant],
                             stood_from[plant], stood_to[plant], certain[row], weight, escaped)  # fmt: skip
            behind = 0.0
            for step in range(steps):
                behind += weight[step]
                if flight[step] <= 0.0:
                    continue
                open_to = (
                    receives[plant] * flight[step] * _standing(step, step_days, stood_from[plant], stood_to[plant])
                )
                now = escaped[step] * like[row, step] * told[plant, step] - (total - behind)
                gain[plant, step] += share[row] * open_to * min(now / total, 0.0)


@numba.njit(numba.void(I8, I8, I1, S2, S2, F8, F8, V, F8, V, V, F8, M2), cache=True, nogil=True)
def fill_told(begin, end, when, flown, touched, per_day_m2, contact_per_day, size, step_days, stood_to, sending,
              least, told):  # fmt: skip
    """Fill what records of the neighbours leave of infection in each step, from their gains in steps of flight `when`.

    `flown` and `touched` (m, flights) are the gains summed over receivers through the air and by contact; what a plant
    infected in a step sends later is told by `sending`.
    """
    steps, reach = told.shape[1], len(sending)
    heard = np.zeros(steps)
    for plant in range(begin, end):
        for at in range(len(when)):
            stands = _standing(when[at], step_days, 0.0, stood_to[plant])
            sum_ = per_day_m2 * flown[plant, at] + contact_per_day * touched[plant, at]
            heard[when[at]] = sum_ * size[plant] * stands
        late = 0.0
        for step in range(steps - 1, -1, -1):
            if step + reach < steps:
                late += heard[step + reach]
            total = late
            for ahead in range(min(reach, steps - step)):
                total += sending[ahead] * heard[step + ahead]
            told[plant, step] = math.exp(max(total, least))


@numba.njit(numba.void(I8, I8, I1, S2, S2, V, V, V, F8, F8, V, M2), cache=True, nogil=True)
def fill_force(begin, end, when, flown, touched, factor, more, profile, per_day_m2, contact_per_day, least, force):
    """Fill the force on each plant in each step: near and far arrivals, contact, and the least force that never rests."""
    for plant in range(begin, end):
        for step in range(force.shape[1]):
            force[plant, step] = least[plant]
        for at in range(len(when)):
            arrivals = flown[plant, at] * factor[plant] + more[plant] * profile[at]
            force[plant, when[at]] += per_day_m2 * arrivals + contact_per_day * touched[plant, at]


@numba.njit(
    numba.void(I8, I8, I1, numba.boolean[::1], V, S2, S2, M2, M2, V, F8, V, V, V, V, V, V, V),
    cache=True, nogil=True,
)  # fmt: skip
def fill_showing(begin, end, rows, certain, share, like, silent, told, force, flight, step_days, receives, stood_from,
                 stood_to, season, shown, symptomatic, half_after):  # fmt: skip
    """Fill the chance of showing unnoticed symptoms now, and the days of the season until half of such plants show.

    `half_after` is zero where half show already.
    """
    steps = len(flight)
    weight, escaped, quiet, base = np.zeros(steps), np.zeros(steps), np.zeros(steps), np.zeros(steps)
    now = season[int(2 * steps * step_days)]
    for step in range(steps):
        base[step] = now - _between(season, 2.0 * (step + 0.5) * step_days)
    for plant in range(begin, end):
        infected = 0.0
        for step in range(steps):
            quiet[step] = 0.0
        for row in range(rows[plant], rows[plant + 1]):
            if share[row] <= 0.0:
                continue
            total = _weights(told[plant], force[plant], like, row, flight, step_days, receives[plant], stood_from[plant],
                             stood_to[plant], certain[row], weight, escaped)  # fmt: skip
            for step in range(steps):
                infected += share[row] * weight[step] / total
                if like[row, step] > 0.0:
                    quiet[step] += share[row] * weight[step] / total * silent[row, step] / like[row, step]
        low, high = 0, len(shown) - 1
        hidden = 0.0
        for step in range(steps):
            hidden += quiet[step] * (1.0 - _between(shown, base[step]))
        symptomatic[plant] = max(infected - hidden, 0.0)
        half_after[plant] = 0.0
        if hidden <= infected / 2 or infected <= 0.0:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            hidden = 0.0
            for step in range(steps):
                hidden += quiet[step] * (1.0 - _between(shown, base[step] + middle))
            if hidden > infected / 2:
                low = middle
            else:
                high = middle
        half_after[plant] = high


@numba.njit(numba.void(I8, I8, J1, J1, S1, J1, S2, S2), cache=True, nogil=True)
def add_products(begin, end, first, column, value, place, given, out):
    """Add a sparse matrix, row after row, times the rows of `given` that `place` names (-1: none) to rows `out`."""
    for row in range(begin, end):
        mine = np.zeros(given.shape[1], dtype=np.float32)
        for at in range(first[row], first[row + 1]):
            here = place[column[at]]
            if here >= 0:
                for step in range(given.shape[1]):
                    mine[step] += value[at] * given[here, step]
        for step in range(given.shape[1]):
            out[row, step] += mine[step]


@numba.njit(numba.void(I8, I8, I1, I1, V, V, I1, M2, F8, F8, C2, F8, F8, V), cache=True, nogil=True)
def add_pairs(begin, end, to, of, east, north, size, tables, log_first, per_step, roses, near, share, out):
    """Add the density of one strand for pairs `begin` to `end` - 1: mean over the receiver's disc, rose at its middle."""
    last = tables.shape[1] - 2
    for pair in range(begin, end):
        i, j = to[pair], of[pair]
        x, y = east[i] - east[j], north[i] - north[j]
        r = math.sqrt(x * x + y * y)
        place = min(max((math.log(max(r, 1e-9)) - log_first) * per_step, 0.0), last + 0.999999)
        low = int(place)
        table = tables[size[i]]
        mean = table[low] + (place - low) * (table[low + 1] - table[low])
        turn = 0.0
        if r > 0.0 and roses.shape[1] > 0:
            rose = roses[j] if len(roses) > 1 else roses[0]
            cosine, sine = y / r, x / r
            c, s = cosine, sine
            for order in range(len(rose)):
                turn += 2.0 * (rose[order].real * c + rose[order].imag * s)
                c, s = c * cosine - s * sine, s * cosine + c * sine
            if near > 0.0:
                turn *= -math.expm1(-((r / near) ** 2))
        out[pair] += share * mean * max(1.0 + turn, 0.0)
