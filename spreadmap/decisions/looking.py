"""How the hours of a survey are spent: in which order plants are worth a look, how far the hours reach, and how one walks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, FloatArray, IntArray

HOURS_SLACK = 1e-9
"""By how much a sum of minutes may pass the hours through rounding of numbers [min]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """Plants that could be looked at, shape (n,): what a look is worth, its minutes, and the place that is reached first.

    `worth` is the weight of being hidden times what the plant would send onward times the sensitivity of the eye, in
    any unit. `group` comes before worth: a lower number is looked at first. `place` is a number per bed; `reach_minutes`
    is what it takes to reach a place and begin there.
    """

    worth: FloatArray
    minutes: FloatArray
    place: IntArray
    group: IntArray
    reach_minutes: float

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.worth)


def order_by_worth(looks: Looks, among: IntArray, opened: BoolArray) -> tuple[IntArray, FloatArray]:
    """Return plants in the order of what a minute of looking is worth, and the minutes for reaching places that each adds.

    Within a group a place is opened with the run of its best plants that is worth most per minute, the way there
    included; what is left in it is then worth its own minutes only. Each such run is worth more per minute than what
    follows in its place, so that sorting runs is the same as picking the best again and again.

    Parameters
    ----------
    looks : Looks, n plants
    among : array of positions, shape (k,)
        The plants that are put in order.
    opened : array, shape (places,)
        Places that are reached anyway: they add no minutes.

    Returns
    -------
    order, added : arrays, shape (k,)
        Positions in the order of looking; minutes that each adds for reaching its place.

    References
    ----------
    None: our choice.
    """
    opened = opened.copy()
    orders, minutes = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for group in np.unique(looks.group[among]):
        part = among[looks.group[among] == group]
        order, added = _order_of_group(looks, part, np.where(opened[looks.place[part]], 0.0, looks.reach_minutes))
        opened[looks.place[part]] = True
        orders.append(order)
        minutes.append(added)
    return np.concatenate(orders), np.concatenate(minutes)


def _order_of_group(looks: Looks, part: IntArray, reach: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the same for plants of one group; `reach` are the minutes to reach each one's place."""
    worth, minutes, place = looks.worth[part], looks.minutes[part], looks.place[part]
    alone = worth / minutes
    queue = np.lexsort((np.arange(len(part)), -alone, place))
    is_first = np.r_[True, np.diff(place[queue]) != 0]
    starts = np.flatnonzero(is_first)
    of_queue = np.cumsum(is_first) - 1
    worth_so_far, minutes_so_far = np.cumsum(worth[queue]), np.cumsum(minutes[queue])
    before = starts[of_queue]
    in_place = worth_so_far - (worth_so_far[before] - worth[queue][before])
    taken = reach[queue] + minutes_so_far - (minutes_so_far[before] - minutes[queue][before])
    rate = in_place / taken
    best = np.maximum.reduceat(rate, starts)[of_queue]
    at = np.arange(len(part))
    ends = np.minimum.reduceat(np.where(rate == best, at, len(part)), starts)[of_queue]
    in_run = at <= ends
    key = np.where(in_run, best, alone[queue])
    # a run stays together where another one is worth exactly as much
    first = np.where(in_run, queue[before], queue)
    sort = np.lexsort((at, first, -key))
    added = np.where(is_first, reach[queue], 0.0)
    return part[queue[sort]], added[sort]


def reached(looks: Looks, drawn: BoolArray, overdue: FloatArray, minutes: float, overdue_share: float) -> BoolArray:
    """Return which plants the hours of a survey reach, shape (n,).

    First the plants drawn at random; then, up to `overdue_share` of all minutes, those whose interval has run out, the
    longest overdue first; then whatever a minute is worth most at. A place is reached once.

    Parameters
    ----------
    looks : Looks, n plants
    drawn : array, shape (n,)
    overdue : array, shape (n,)
        Time since the last look in intervals of the plant's distance; 1 or more is overdue. [-]
    minutes : float
        Person-minutes of the survey.
    overdue_share : float
        [-]
    """
    taken = np.zeros(len(looks), dtype=np.bool_)
    opened = np.zeros(int(looks.place.max()) + 1 if len(looks) else 0, dtype=np.bool_)
    left = minutes

    def take(order: IntArray, most: float) -> float:
        """Take plants as they come until the next one would pass `most` minutes; return what was used."""
        place = looks.place[order]
        _, first = np.unique(place, return_index=True)
        cost = looks.minutes[order].copy()
        cost[first] += np.where(opened[place[first]], 0.0, looks.reach_minutes)
        total = np.cumsum(cost)
        chosen = order[total <= most + HOURS_SLACK]
        taken[chosen] = True
        opened[looks.place[chosen]] = True
        return float(total[len(chosen) - 1]) if len(chosen) else 0.0

    left -= take(np.flatnonzero(drawn), left)
    waiting = np.flatnonzero(~taken & (overdue >= 1))
    packed, _ = order_by_worth(looks, waiting, opened)
    left -= take(packed[np.argsort(-overdue[packed], kind="stable")], min(left, overdue_share * minutes))
    rest, _ = order_by_worth(looks, np.flatnonzero(~taken), opened)
    take(rest, left)
    return taken


def walk(looks: Looks, taken: BoolArray, easting: FloatArray, northing: FloatArray, site: IntArray) -> IntArray:
    """Return the place in the walk of every plant that is looked at, 1 first; 0 for the others, shape (n,).

    Places follow each other by what a minute in them is worth, the sites by their best place, so that nobody crosses
    the town for every bed. Inside a place one goes to the nearest plant not yet seen, from where the place before ended.
    """
    plants = np.flatnonzero(taken)
    number = np.zeros(len(looks), dtype=np.int64)
    if len(plants) == 0:
        return number
    places, of_plant = np.unique(looks.place[plants], return_inverse=True)
    worth = np.bincount(of_plant, weights=looks.worth[plants])
    rate = worth / (looks.reach_minutes + np.bincount(of_plant, weights=looks.minutes[plants]))
    urgent = np.full(len(places), np.iinfo(np.int64).max)
    np.minimum.at(urgent, of_plant, looks.group[plants])
    site_of = np.zeros(len(places), dtype=np.int64)
    site_of[of_plant] = site[plants]
    by_worth = np.lexsort((places, -rate, urgent))
    at = np.empty(len(places), dtype=np.int64)
    at[by_worth] = np.arange(len(places))
    best_of_site = np.full(int(site_of.max()) + 1, len(places))
    np.minimum.at(best_of_site, site_of, at)
    here: FloatArray | None = None
    seen = 0
    for place in np.lexsort((at, best_of_site[site_of])):
        members = plants[of_plant == place]
        where = np.c_[easting[members], northing[members]]
        path = _nearest_first(where, where[0] if here is None else here)
        number[members[path]] = seen + np.arange(1, len(path) + 1)
        seen, here = seen + len(path), where[path[-1]]
    return number


def _nearest_first(where: FloatArray, start: FloatArray) -> IntArray:
    """Return a path through places (n, 2) that always goes to the nearest one not yet seen, from a start [m]."""
    left = np.ones(len(where), dtype=np.bool_)
    path = np.empty(len(where), dtype=np.int64)
    here = start
    for step in range(len(where)):
        away = np.where(left, np.hypot(*(where - here).T), np.inf)
        path[step] = int(np.argmin(away))
        left[path[step]] = False
        here = where[path[step]]
    return path
