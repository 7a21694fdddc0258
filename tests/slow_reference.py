"""Plain, slow versions of what the package computes fast: double loops, adaptive quadrature, formulas written anew.

Nothing here imports the package's formulas, so that an error in them cannot hide in both.
"""

import cmath
import math
from itertools import pairwise

from scipy.integrate import quad
from shapely import LineString


def location_density(family, r, a, b=None):
    """Return k(r) [m^-2] of one family, from its printed formula."""
    if family == "gaussian":
        return math.exp(-((r / a) ** 2)) / (math.pi * a**2)
    if family == "exponential":
        return math.exp(-r / a) / (2 * math.pi * a**2)
    if family == "exponential_power":
        return b * math.exp(-((r / a) ** b)) / (2 * math.pi * a**2 * math.gamma(2 / b))
    if family == "student_2d":
        return (b - 1) / (math.pi * a**2) * (1 + (r / a) ** 2) ** -b
    if family == "inverse_power":
        return (b - 1) * (b - 2) / (2 * math.pi * a**2) * (1 + r / a) ** -b
    if family == "logistic":
        return b / (2 * math.pi * a**2 * math.gamma(2 / b) * math.gamma(1 - 2 / b)) / (1 + (r / a) ** b)
    if r <= 0:
        return 0.0
    if family == "weibull":
        return b / (2 * math.pi * a**b) * r ** (b - 2) * math.exp(-((r / a) ** b))
    if family == "gamma":
        return (r / a) ** (b - 2) * math.exp(-r / a) / (2 * math.pi * a**2 * math.gamma(b))
    if family == "lognormal":
        return math.exp(-(math.log(r / a) ** 2) / (2 * b**2)) / ((2 * math.pi) ** 1.5 * b * r**2)
    if family == "wald":
        return math.sqrt(b / (8 * math.pi**3 * r**5)) * math.exp(-b * (r - a) ** 2 / (2 * a**2 * r))
    raise KeyError(family)


def density_at(kernel, coefficients, near_m, east, north):
    """Return the density at an offset from one source [m^-2]; `kernel` is (family, scale, shape)."""
    r = math.hypot(east, north)
    bearing = math.atan2(east, north)
    excess = 0.0
    for order, c in enumerate(coefficients, start=1):
        excess += 2 * (c * cmath.exp(-1j * order * bearing)).real
    bend = 1 - math.exp(-((r / near_m) ** 2)) if near_m > 0 else 1.0
    return location_density(kernel[0], r, *kernel[1:]) * (1 + excess * bend)


def _along_ray(kernel, coefficients, near_m, bearing, first, last):
    """Return the integral of density times distance along a ray."""
    sine, cosine = math.sin(bearing), math.cos(bearing)
    return quad(
        lambda r: r * density_at(kernel, coefficients, near_m, r * sine, r * cosine),
        first, last, epsabs=1e-15, epsrel=1e-10, limit=200,
    )[0]  # fmt: skip


def disc_mean(kernel, coefficients, near_m, east, north, radius):
    """Return the mean density over a disc about an offset, ray by ray from the source [m^-2]."""
    d, towards = math.hypot(east, north), math.atan2(east, north)
    inside = d < radius
    widest = math.pi if inside else math.asin(radius / d)

    def ray(turn):
        half = math.sqrt(max(radius**2 - (d * math.sin(turn)) ** 2, 0.0))
        first = 0.0 if inside else d * math.cos(turn) - half
        return _along_ray(kernel, coefficients, near_m, towards + turn, first, d * math.cos(turn) + half)

    parts = [-widest, -widest / 2, 0.0, widest / 2, widest]
    mass = sum(quad(ray, low, high, epsabs=1e-15, epsrel=1e-8, limit=200)[0] for low, high in pairwise(parts))
    return mass / (math.pi * radius**2)


def cell_mean(kernel, coefficients, near_m, east, north, side):
    """Return the mean density over a square cell about an offset, ray by ray from the source [m^-2]."""
    west, right, south, top = east - side / 2, east + side / 2, north - side / 2, north + side / 2

    def ray(bearing):
        sine, cosine = math.sin(bearing), math.cos(bearing)
        first, last = 0.0, math.inf
        for low, high, slope in ((west, right, sine), (south, top, cosine)):
            if abs(slope) < 1e-300:
                if not low <= 0 <= high:
                    return 0.0
                continue
            near, far = sorted((low / slope, high / slope))
            first, last = max(first, near), min(last, far)
        return _along_ray(kernel, coefficients, near_m, bearing, first, last) if last > first else 0.0

    corners = sorted(math.atan2(x, y) % (2 * math.pi) for x in (west, right) for y in (south, top))
    parts = [corners[-1] - 2 * math.pi, *corners]
    mass = sum(
        quad(ray, low, high, epsabs=1e-15, epsrel=1e-8, limit=200)[0] for low, high in pairwise(parts) if high > low
    )
    return mass / side**2


def passed(path, pieces):
    """Return the product of factors of the screen pieces a straight path crosses; `pieces` is [(ends, factor)]."""
    share, line = 1.0, LineString([path[:2], path[2:]])
    for ends, factor in pieces:
        if line.crosses(LineString([ends[:2], ends[2:]])):
            share *= factor
    return share


def at_points(receptors, sources, kernel, roses, near_m, pieces=()):
    """Return the sums at receptors: rows of (east, north, radius, plant) and of (east, north, strength, plant)."""
    sums = []
    for east, north, radius, plant in receptors:
        total = 0.0
        for (s_east, s_north, strength, s_plant), rose in zip(sources, roses, strict=True):
            if plant >= 0 and plant == s_plant:
                continue
            mean = (
                disc_mean(kernel, rose, near_m, east - s_east, north - s_north, radius)
                if radius > 0
                else density_at(kernel, rose, near_m, east - s_east, north - s_north)
            )
            total += strength * mean * passed((s_east, s_north, east, north), pieces)
        sums.append(total)
    return sums


def outbreak_by_days(hazard, outside, days, sends_after, shows_after, sick, out_on, surveys, seen, to_removal, rng):
    """Return on which day each plant is infected (None: never), day by day and plant by plant.

    `hazard[i][j]` is the daily hazard on plant i from an infected j, `outside[i]` that from nowhere. A plant infected on
    a day sends `sends_after` days later and shows after a number of days drawn from the list `shows_after`. `sick` are
    infected, sending and known from day 0; `out_on` maps plants to the day from which they are gone. On the mornings
    of `surveys`, each plant that shows is seen with the chance `seen`, and gone `to_removal` days later (None: stays).
    """
    n = len(outside)
    infected, sends, shows, gone = [None] * n, [days] * n, [days] * n, [out_on.get(i, days) for i in range(n)]
    known = set(sick)
    for i in sick:
        sends[i] = 0
    for day in range(days):
        if day in surveys:
            for i in range(n):
                if infected[i] is not None and i not in known and shows[i] <= day < gone[i] and rng.random() < seen:
                    known.add(i)
                    if to_removal is not None:
                        gone[i] = min(gone[i], day + to_removal)
        caught = []
        for i in range(n):
            if infected[i] is not None or i in sick or gone[i] <= day:
                continue
            force = outside[i] + sum(hazard[i][j] for j in range(n) if sends[j] <= day < gone[j])
            if rng.random() < 1 - math.exp(-force):
                caught.append(i)
        for i in caught:
            infected[i], sends[i] = day, day + sends_after
            shows[i] = day + shows_after[int(rng.integers(len(shows_after)))]
    return infected


def records_given_infection(day, looks, shown):
    """Return the chance of all looks of a plant infected in the middle of a day; rows as in `hidden_by_days`."""
    value, after = 1.0, []
    for look in looks:
        if look[0] <= day:
            value *= look[3]
        else:
            after.append(look)
    total, quiet, before = 0.0, 1.0, 0.0
    for number, look in enumerate(after):
        by = shown(day, look[0])
        rest = 1.0
        for later in after[number:]:
            rest *= later[1]
        total += (by - before) * quiet * rest
        quiet *= look[2]
        before = by
    return value * (total + (1 - before) * quiet)


def hidden_by_days(force, records, told, until, certain):
    """Return the chance of infection on each day together with the records, and how these change with more force.

    `force[d]` is the hazard on day d, `records[d]` the chance of a plant's own records had it been infected on day d,
    `told[d]` the same of its neighbours' records as a factor, `until` the day on which the plant is gone; a certain one
    is known to be infected. The change is that of the logarithm, where below zero.
    """
    days = len(force)
    chances, gathered, survive = [0.0] * days, 0.0, []
    for day in range(days):
        if day < until:
            chances[day] = math.exp(-gathered) * (1 - math.exp(-force[day])) * records[day] * told[day]
            gathered += force[day]
        survive.append(math.exp(-gathered))
    healthy = 0.0 if certain else math.exp(-gathered)
    total = sum(chances) + healthy
    change = []
    for day in range(days):
        instead = healthy + sum(chances[day + 1 :])
        change.append(min(survive[day] * records[day] * told[day] - instead, 0.0) / total if day < until else 0.0)
    return [value / total for value in chances], change


def hidden_among(kernel, touch, outside, rates, receives, size, flight, looks, shown, after, until, certain, rounds):
    """Return the chance of infection of each plant on each day, day by day, plants as sources of each other.

    `kernel[i][j]` is the density on i from j, `touch[i][j]` one where they touch, `outside[i]` the density from wild
    stands; `rates` per m2, by contact, background; a plant sends from `after` days on until it is gone. `looks` are rows
    of (day, if showing, if symptomless, if healthy), `shown(d, e)` the share showing on the morning of day e of those
    infected on day d. Records of j speak to those that would have sent to it.
    """
    n, days = len(outside), len(flight)
    sends, told = [[0.0] * days for _ in range(n)], [[1.0] * days for _ in range(n)]
    own = [[records_given_infection(day, looks[i], shown) for day in range(days)] for i in range(n)]
    pairs = [[rates[0] * kernel[i][j] + rates[1] * touch[i][j] if i != j else 0.0 for j in range(n)] for i in range(n)]
    for _ in range(rounds):
        infected, changes = [], []
        for i in range(n):
            force = []
            for day in range(days):
                sent = sum(pairs[i][j] * size[j] * sends[j][day] for j in range(n))
                force.append(receives[i] * flight[day] * (sent + rates[0] * outside[i] + rates[2]))
            chances, change = hidden_by_days(force, own[i], told[i], until[i], certain[i])
            infected.append(chances)
            changes.append(change)
        for i in range(n):
            heard, gathered = 0.0, 0.0
            for day in range(days):
                gathered += infected[i][day - after] if day >= after else 0.0
                sends[i][day] = gathered if day < until[i] else 0.0
            for day in range(days - 1, -1, -1):
                sending = day + after
                if sending < min(days, until[i]):
                    heard += sum(
                        pairs[j][i] * size[i] * receives[j] * flight[sending] * changes[j][sending] for j in range(n)
                    )
                told[i][day] = math.exp(heard)
    return infected
