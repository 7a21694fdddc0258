"""Compiled: one member of an ensemble under one course of action, from the state of the plants to the horizon.

Time is cut into stretches that begin wherever anybody surveys. All contacts a plant could make in a stretch are a
Poisson number of its own, drawn by counter: an action only decides which of them count. Days are whole: what is
infected on a day sends from the next at the earliest, so that the law is that of the model told day by day.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.compiled_contacts import (
    CM,
    F8,
    I1,
    I8,
    IM,
    M3,
    NEAR,
    WASTE,
    M,
    V,
    far_value,
    fill_alias,
    list_of,
    list_of_group,
    pair_value,
    place_in,
)  # fmt: skip
from spreadmap.outbreak.counters import U8, even_at, key_for, normal_at, poisson_at
from spreadmap.pressure.compiled import passed

NEVER = 1_000_000
"""A day that never comes."""
OUTSIDE, CONTACTS, LATENCY, SURVEY, START, ROOTS = 1, 2, 3, 4, 5, 6
"""Purposes of random numbers."""
PER_CONTACT, OF_CONTACTS = 7, 1_000_000
TRIES = 64
STEP_TRIES = 256
HEALTHY, EXPOSED, SENDING, SHOWING, KNOWN = 0, 1, 2, 3, 4
"""States of a plant at the start; known plants are confirmed or remain as roots, and are no new cases."""
POOL_FULL, LINKS_FULL, WORK_SHORT, OVER_BOUND = -1, -2, -3, -4
"""What a run ends with that could not be finished."""

J1 = numba.int32[::1]
J2 = numba.int32[:, ::1]
B1 = numba.uint8[::1]
T = numba.types.Tuple

LAND_T = T((M, I1, V, M, IM, I1, I1, V, I1))
"""Places (n, 5) with canopy radius, weight and strength; tree order, heaped weights, boxes, parts; touching pairs and
their heaped weights; the tree node that is the group of every plant, -1 where it has none."""
LAW_T = T((M, V, V, V, V, V, M, CM, M, M, M, M, F8, F8, M, V, M3))
"""Fields of `ArrivalTables`, in their order; ends and factors of screens; windows of roses."""
RATES_T = T((F8, F8, V))
"""Per day and m2, per day of contact, and the hazard from outside heaped over plants (n + 1,)."""
CLOCK_T = T((V, I1, I1))
"""Flight and season days passed by each day (days + 1,), and the first days of the stretches with the horizon."""
LIFE_T = T((F8, F8, F8, F8, F8))
"""Days to infectious, median latency, its spread, chance of being seen in a pass, strength of missed roots."""
START_T = T((B1, I1, M, J1, numba.float32[:, ::1], V, V))
"""State known at the start, plants whose state is drawn, their chances (unsure, 3), and days of planting; then, where the
past was reckoned, heaped weights of infection by steps of the past (unsure, steps), days and season days from the borders
of the steps until now (steps + 1,)."""
COURSE_T = T((J1, B1, V, V, M, V, V))
"""Days of removal, stretches that begin with a survey, crew, hours per plant, more screens, hazard from outside left."""
STATE_T = T((J1, J1, J1, J1, J1, B1, I1, I1, I1, I1))
"""Days infected, sending, showing, gone, found; state drawn; infected plants in turn; waiting lists of the days."""
ENTRY = np.dtype([("share", "f4"), ("bound", "f4"), ("node", "i4"), ("other", "i4"), ("strand", "i4")])
"""One entry of a list, its parts side by side, for they are read together: alias share and alias, bound, node, strand."""
POOL_T = T((V, I1, I1, I1, numba.from_dtype(ENTRY)[::1], I1))
"""Lists of plants, then of groups, (n + nodes): the sum of the bounds, below zero where there is no list yet, where it
begins, its length, and how many entries after it a group leaves to its plants; entries (room,); places in use."""
WORK_T = T((I1, I1, I1, I1, I1, I1, V, V, V, V))


@numba.njit(I8(I1, I8, F8), cache=True, nogil=True)
def date_of_symptoms(season, day, latency):
    """Return the first day by which so many season days have passed since a day; `season` (days + 1,) counts them."""
    wanted = season[min(max(day, 0), len(season) - 1)] + math.ceil(latency - 1e-9)
    if wanted > season[-1]:
        return NEVER
    low, high = max(day, 0), len(season) - 1
    while low < high:
        middle = (low + high) // 2
        if season[middle] >= wanted:
            high = middle
        else:
            low = middle + 1
    return low


@numba.njit(numba.types.UniTuple(F8, 2)(U8, I8, F8, F8, F8), cache=True, nogil=True)
def hidden_age(key, state, after, median, sigma):
    """Return for how long a hidden plant has been infected, and how long it is until it shows [d].

    As if the pressure of the past had been even: a plant not yet infectious has any age below `after` alike; one that
    is infectious and does not show has an age between `after` and its latency, long latencies being met more often.
    """
    if state == EXPOSED:
        age = even_at(key, 1000) * after
        for number in range(TRIES):
            latency = median * math.exp(sigma * normal_at(key, number))
            if latency > age:
                return age, latency - age
        return age, 1.0
    for number in range(TRIES):
        # Latencies met at one time are those of all plants weighed by their length: a log-normal with its median moved.
        latency = median * math.exp(sigma * sigma + sigma * normal_at(key, number))
        if even_at(key, 2000 + number) * latency <= latency - after:
            age = after + even_at(key, 3000 + number) * (latency - after)
            return age, latency - age
    return after, 1.0


@numba.njit(
    numba.types.UniTuple(F8, 2)(U8, I8, F8, F8, F8, numba.float32[::1], V, V), cache=True, nogil=True,
)  # fmt: skip
def age_by_steps(key, state, after, median, sigma, heaped, since, passed):
    """Return what `hidden_age` does, from weights of infection by steps of the past, heaped.

    A step is drawn by its weight, a moment in it, and a latency; what does not fit the state, or would show by now, is
    drawn again. Where nothing fits, the even past of `hidden_age` stands in.
    """
    steps = len(heaped)
    first, last = 0, steps
    if state == EXPOSED:
        while first < steps and since[first + 1] >= after:
            first += 1
    else:
        while last > 0 and since[last - 1] <= after:
            last -= 1
    below = heaped[first - 1] if first > 0 else numba.float32(0.0)
    if last <= first or not heaped[last - 1] > below:
        return hidden_age(key, state, after, median, sigma)
    for number in range(STEP_TRIES):
        wanted = below + even_at(key, 4000 + number) * (heaped[last - 1] - below)
        low, high = first, last - 1
        while low < high:
            middle = (low + high) // 2
            if heaped[middle] > wanted:
                high = middle
            else:
                low = middle + 1
        part = even_at(key, 5000 + number)
        age = since[low + 1] + part * (since[low] - since[low + 1])
        if (age < after) != (state == EXPOSED):
            continue
        gone = passed[low + 1] + part * (passed[low] - passed[low + 1])
        latency = median * math.exp(sigma * normal_at(key, 6000 + number))
        if latency > gone:
            return age, latency - gone
    return hidden_age(key, state, after, median, sigma)


@numba.njit(I8(U8, START_T, CLOCK_T, LIFE_T, STATE_T), cache=True, nogil=True)
def start_member(key, start, clock, life, state):
    """Draw the plants infected at the start of a member into `state`; return how many they are."""
    known, unsure, chance, _, heaped, since, passed = start
    infected_on, sends_on, shows_on, found_on, kind, active = (
        state[0], state[1], state[2], state[4], state[5], state[6],
    )  # fmt: skip
    mine, count = key_for(key, START), 0
    kind[:] = known
    told = 0
    for row in range(len(unsure)):
        drawn = even_at(mine, unsure[row])
        if drawn < chance[row, 0]:
            kind[unsure[row]] = EXPOSED
        elif drawn < chance[row, 0] + chance[row, 1]:
            kind[unsure[row]] = SENDING
        elif drawn < chance[row, 0] + chance[row, 1] + chance[row, 2]:
            kind[unsure[row]] = SHOWING
    for plant in range(len(kind)):
        if kind[plant] == HEALTHY:
            continue
        infected_on[plant], sends_on[plant] = -1, 0
        shows_on[plant], found_on[plant] = 0, 0 if kind[plant] == KNOWN else NEVER
        if kind[plant] == EXPOSED or kind[plant] == SENDING:
            own = key_for(mine, plant)
            if len(heaped) > 0:
                while unsure[told] < plant:
                    told += 1
                age, left = age_by_steps(own, kind[plant], life[0], life[1], life[2], heaped[told], since, passed)
            else:
                age, left = hidden_age(own, kind[plant], life[0], life[1], life[2])
            if kind[plant] == EXPOSED:
                sends_on[plant] = math.ceil(max(life[0] - age, 0.0))
            shows_on[plant] = date_of_symptoms(clock[1], 0, left)
        active[count] = plant
        count += 1
    return count


@numba.njit(I8(I8, I8, POOL_T, WORK_T), cache=True, nogil=True)
def _keep_list(place, count, pool, work):
    """Put a list of `count` entries into the pool, what is left to single plants behind it; return 0, or why not."""
    w_node, w_strand, _, w_other, w_small, w_large, w_bound, _, _, w_share = work
    total, begin, length, left, entries, used = pool
    first, own = used[0], 0
    if first + count > len(entries):
        return POOL_FULL
    for at in range(count):
        if w_bound[at] != NEAR:
            w_bound[at], w_bound[own] = w_bound[own], w_bound[at]
            w_node[at], w_node[own] = w_node[own], w_node[at]
            w_strand[at], w_strand[own] = w_strand[own], w_strand[at]
            own += 1
    total[place] = fill_alias(w_bound, own, w_share, w_other, w_small, w_large)
    begin[place], length[place], left[place] = first, own, count - own
    for at in range(count):
        one = entries[first + at]
        one.node, one.strand = w_node[at], w_strand[at]
        if at < own:
            one.share, one.bound, one.other = w_share[at], w_bound[at], w_other[at]
    used[0] = first + count
    return 0


@numba.njit(I8(I8, LAND_T, LAW_T, POOL_T, WORK_T), cache=True, nogil=True)
def _make_lists(plant, land, law, pool, work):
    """Make the list of a source, and that of its group if nobody did; return 0, or what could not be done."""
    w_node, w_strand, w_slot, _, _, _, w_bound, w_waste, w_usual, _ = work
    total, begin, length, left, entries, _ = pool
    n, group = len(land[0]), land[8][plant]
    count, beside = -1, 0.0
    if group >= 0:
        place = n + group
        if total[place] < 0.0:
            count = list_of_group(  # type: ignore[call-arg]
                group, *land, *law, w_node, w_strand, w_bound, w_waste, w_usual, w_slot
            )
            done = _keep_list(place, count, pool, work) if count >= 0 else WORK_SHORT
            if done < 0:
                return done
        count, first = left[place], begin[place] + length[place]
        if count > len(w_node):
            return WORK_SHORT
        for at in range(count):
            w_node[at], w_strand[at] = entries[first + at].node, entries[first + at].strand
        beside = total[place] / (1.0 + WASTE)
    count = list_of(  # type: ignore[call-arg]
        plant, count, beside, *land, *law, w_node, w_strand, w_bound, w_waste, w_usual, w_slot
    )
    return _keep_list(plant, count, pool, work) if count >= 0 else WORK_SHORT


@numba.njit(I8(STATE_T, I8, I8, I8), cache=True, nogil=True, inline="always")
def _wait_for(state, plant, day, links):
    """Put a plant on the waiting list of the day on which it would be infected; return the number of links, or -2."""
    if links >= len(state[8]):
        return LINKS_FULL
    state[0][plant] = day
    state[8][links], state[9][links] = plant, state[7][day]
    state[7][day] = links
    return links + 1


@numba.njit(I8(U8, RATES_T, LAND_T, CLOCK_T, START_T, COURSE_T, STATE_T), cache=True, nogil=True)
def _from_outside(key, rates, land, clock, start, course, state):
    """Draw the infections from nowhere and from wild stands; return the number of links, or what could not be done."""
    heaped, flight, left = rates[2], clock[0], course[6]
    n, last, links = len(heaped) - 1, len(flight) - 1, 0
    if n == 0 or heaped[n] <= 0.0:
        return 0
    mine = key_for(key, OUTSIDE)
    numbers = key_for(mine, OF_CONTACTS)
    for one in range(poisson_at(mine, heaped[n] * flight[last])):
        plant = place_in(heaped, 0, n, even_at(numbers, 3 * one) * heaped[n])
        day = place_in(flight, 0, last, even_at(numbers, 3 * one + 1) * flight[last])
        if state[0][plant] <= day or course[0][plant] <= day or start[3][plant] > day:
            continue
        if len(left) > 0 and even_at(numbers, 3 * one + 2) >= left[plant]:
            continue
        links = _wait_for(state, plant, day, links)
        if links < 0:
            return links
    return links


@numba.njit(
    I8(U8, I8, I8, I8, I8, I8, RATES_T, LAND_T, LAW_T, CLOCK_T, LIFE_T, START_T, COURSE_T, STATE_T, POOL_T, WORK_T, I8),
    cache=True, nogil=True,
)  # fmt: skip
def _contacts(
    key, row, count, first, last, stretch, rates, land, law, clock, life, start, course, state, pool, work, links
):
    """Draw what the infected plants from place `row` to `count` - 1 reach from day `first` to the day before `last`.

    Returns the number of links on the waiting lists, or what could not be done. One call tells many plants, for the
    handing over of so many arrays costs more than a contact.
    """
    infected_on, sends_on, gone_on, active, flight, crew = state[0], state[1], state[3], state[6], clock[0], course[2]
    places, order, heaped, part, touched, heaped_touch, home = (
        land[0], land[1], land[2], land[4], land[5], land[7], land[8],
    )  # fmt: skip
    total, begins, lengths, entries, touches = pool[0], pool[1], pool[2], pool[4], len(course[5]) > 0
    mine, root_key = key_for(key_for(key, CONTACTS), stretch), key_for(key, ROOTS)
    strands, pieces, roses, simple, is_screened = law[0], law[6], law[7], law[9], len(law[15]) > 0
    head, link_plant, link_next = state[7], state[8], state[9]
    days, n = flight[last] - flight[first], len(places)
    for place in range(row, count):
        plant = active[place]
        sends, gone = sends_on[plant], gone_on[plant]
        if days <= 0.0 or sends >= last or (gone <= first and crew[3] <= 0.0):
            continue
        if total[plant] < 0.0:
            done = _make_lists(plant, land, law, pool, work)
            if done < 0:
                return done
        by_touch = rates[1] * (heaped_touch[touched[plant + 1]] - heaped_touch[touched[plant]])
        alone = rates[0] * total[plant]
        whole = by_touch + alone
        if home[plant] >= 0:
            whole += rates[0] * total[n + home[plant]]
        if whole <= 0.0:
            continue
        own = key_for(mine, plant)
        number = poisson_at(own, places[plant, 4] * whole * days)
        numbers = key_for(own, OF_CONTACTS)
        misses = gone < last and crew[3] > 0.0 and even_at(root_key, plant) < crew[3]
        for one in range(number):
            at = PER_CONTACT * one
            day = place_in(flight, first, last, flight[first] + even_at(numbers, at) * days)
            if day < sends or (day >= gone and not (misses and even_at(numbers, at + 5) < life[4])):
                continue
            which = even_at(numbers, at + 6) * whole
            node, strand, weight, bound = 0, 0, 1.0, 0.0
            if which < by_touch:
                low, high = touched[plant], touched[plant + 1]
                target = land[6][place_in(heaped_touch, low, high, heaped_touch[low] + which / rates[1])]
            else:
                listed = plant if which < by_touch + alone else n + home[plant]
                entry = even_at(numbers, at + 1) * lengths[listed]
                drawn = min(int(entry), lengths[listed] - 1)
                chosen = entries[begins[listed] + drawn]
                if entry - drawn >= chosen.share:
                    chosen = entries[begins[listed] + chosen.other]
                node, strand, bound = chosen.node, chosen.strand, chosen.bound
                low, high = part[node, 0], part[node, 1]
                if high - low == 1 and listed == plant:
                    bound = 0.0
                else:
                    weight = heaped[high] - heaped[low]
                    low = place_in(heaped, low, high, heaped[low] + even_at(numbers, at + 2) * weight)
                target = order[low]
            # What comes after a plant's infection or removal, or before its planting, changes nothing: no kernel is asked.
            if infected_on[target] <= day or gone_on[target] <= day or start[3][target] > day or target == plant:
                continue
            if which >= by_touch and (touches or bound > 0.0):
                kept = 1.0
                if bound > 0.0:
                    east, north = places[target, 0] - places[plant, 0], places[target, 1] - places[plant, 1]
                    r = math.sqrt(east * east + north * north)
                    if r >= simple[strand, target] and r >= strands[strand, 5] and not is_screened:
                        kept = far_value(east, north, r, strand, plant, strands, pieces, roses)
                    else:
                        kept = pair_value(
                            strand, plant, target, places, law[0], law[1], law[2], law[3], law[4], law[5], law[6],
                            law[7], law[8], law[9], law[14], law[15],
                        )  # fmt: skip
                    kept *= weight / bound
                    if kept > 1.0 + 1e-6:
                        return OVER_BOUND
                if touches:
                    kept *= passed(
                        places[plant, 0], places[plant, 1], places[target, 0], places[target, 1], course[4], course[5]
                    )
                if even_at(numbers, at + 3) >= kept:
                    continue
            if links >= len(link_plant):
                return LINKS_FULL
            infected_on[target] = day
            link_plant[links], link_next[links] = target, head[day]
            head[day] = links
            links += 1
    return links


@numba.njit(numba.void(U8, I8, I8, F8[::1], LIFE_T, COURSE_T, STATE_T, I8), cache=True, nogil=True)
def _survey(key, day, stretch, busy, life, course, state, count):
    """Look at every plant on the morning of a day; those found come out in the order of their infection, as crews can.

    `busy` (1,) is the day on which the crew is free.
    """
    shows_on, gone_on, found_on, active = state[2], state[3], state[4], state[6]
    mine = key_for(key_for(key, SURVEY), stretch)
    weekly, delay, takes_out = course[2][0], course[2][2], course[2][4] > 0.0
    for row in range(count):
        plant = active[row]
        if found_on[plant] < NEVER or shows_on[plant] > day or gone_on[plant] <= day:
            continue
        if even_at(mine, plant) >= life[3]:
            continue
        found_on[plant] = day
        if takes_out and weekly > 0.0:
            busy[0] = max(busy[0], day + delay) + 7.0 * course[3][plant] / weekly
            gone_on[plant] = min(gone_on[plant], max(math.ceil(busy[0] - 1e-9), day + 1))


@numba.njit(
    I8(U8, I8, RATES_T, LAND_T, LAW_T, CLOCK_T, LIFE_T, START_T, COURSE_T, STATE_T, POOL_T, WORK_T),
    cache=True, nogil=True,
)  # fmt: skip
def run_course(key, count, rates, land, law, clock, life, start, course, state, pool, work):
    """Run one member under one course of action, from the `count` plants infected at its start.

    Returns how many plants are infected by the horizon, or what could not be done. `state` then holds the days of
    every plant; the infected ones stand in its seventh array, in the order of their infection.
    """
    infected_on, sends_on, shows_on, gone_on = state[0], state[1], state[2], state[3]
    kind, active, head, link_plant, link_next = state[5], state[6], state[7], state[8], state[9]
    season, stretch = clock[1], clock[2]
    gone_on[:] = course[0]
    head[:] = -1
    links = _from_outside(key, rates, land, clock, start, course, state)
    if links < 0:
        return links
    busy = np.full(1, course[2][1])
    latency = key_for(key, LATENCY)
    after = max(1, math.ceil(life[0] - 1e-9))
    for number in range(len(stretch) - 1):
        first, last = stretch[number], stretch[number + 1]
        # Out of the growing season nothing is seen by eye.
        if course[1][number] > 0 and season[first + 1] > season[first]:
            _survey(key, first, number, busy, life, course, state, count)
        row = 0
        # What is infected already reaches out before the first day of the stretch is told, what is infected on a day after.
        for day in range(first - 1, last):
            if day >= first:
                at = head[day]
                while at >= 0:
                    plant = link_plant[at]
                    at = link_next[at]
                    # A plant waits on several lists when an earlier contact was found after a later one.
                    if infected_on[plant] != day or kind[plant] != HEALTHY:
                        continue
                    kind[plant] = EXPOSED
                    sends_on[plant] = day + after
                    shows_on[plant] = date_of_symptoms(
                        season, day, life[1] * math.exp(life[2] * normal_at(key_for(latency, plant), 0))
                    )
                    active[count] = plant
                    count += 1
            if row < count:
                links = _contacts(
                    key, row, count, first, last, number, rates, land, law, clock, life, start, course, state, pool,
                    work, links,
                )  # fmt: skip
                if links < 0:
                    return links
            row = count
    return count


@numba.njit(numba.void(I8, I8, STATE_T, I1, J1, J1, J1, J1), cache=True, nogil=True)
def count_course(count, begun, state, checks, new, infected, showing, found):
    """Count the plants of one member that are newly infected, infected, showing and found by each day of `checks`.

    Known plants are left out. Newly infected is what was infected after the first `begun` plants.
    """
    for row in range(count):
        plant = state[6][row]
        if state[5][plant] == KNOWN:
            continue
        for at in range(len(checks)):
            day = checks[at]
            if state[0][plant] < day:
                infected[at] += 1
                new[at] += row >= begun
            showing[at] += state[2][plant] <= day
            found[at] += state[4][plant] <= day


@numba.njit(numba.void(I8, STATE_T, I1, J2, J2), cache=True, nogil=True)
def count_plants(count, state, checks, infected, showing):
    """Add one member to the numbers of members in which each plant is infected and shows, (checks, n)."""
    for row in range(count):
        plant = state[6][row]
        if state[5][plant] == KNOWN:
            continue
        for at in range(len(checks)):
            infected[at, plant] += state[0][plant] < checks[at]
            showing[at, plant] += state[2][plant] <= checks[at]


@numba.njit(numba.void(I8, I8, STATE_T, I1, I1, J2, J1), cache=True, nogil=True)
def count_places(count, begun, state, checks, place, new, first):
    """Add the new cases of one member to the places they stand in, (checks, places), and the first day of each."""
    for row in range(begun, count):
        plant = state[6][row]
        where = place[plant]
        if where < 0:
            continue
        for at in range(len(checks)):
            new[at, where] += state[0][plant] < checks[at]
        first[where] = min(first[where], state[0][plant])


@numba.njit(numba.void(I8, I8, STATE_T), cache=True, nogil=True)
def forget_course(count, begun, state):
    """Make every plant infected after the first `begun` healthy again, and those of the start as they were found."""
    for row in range(count):
        plant = state[6][row]
        if row >= begun:
            state[0][plant], state[1][plant], state[2][plant] = NEVER, NEVER, NEVER
            state[5][plant] = HEALTHY
        state[4][plant] = 0 if state[5][plant] == KNOWN else NEVER
