"""The one bundle of arrays that the compiled parts of the fit hand to each other: its rows by name, and its type.

Few arrays with named rows, and not one for each quantity: compiling takes its time by the number of arrays.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba

COMPILED: Any = {"cache": True, "nogil": True}
F8 = numba.float64
I8 = numba.int64
V = numba.float64[::1]
M = numba.float64[:, ::1]
N = numba.int64[::1]
MARKS = numba.int64[:, ::1]
PAIRS = numba.uint16[:, ::1]
SINGLE = numba.float32[:, ::1]

RATE, SCALE, EAST, NORTH, BACKGROUND, CONTACT, SHAPE = range(7)
"""Parameters: logarithms of the rate [m2/day] and of the factor on lengths, the two components of the direction [-],
logarithms of background and contact rate [1/day], and of the factor on the shape [-]."""
PARAMETERS = 7
TOUCH = 0x8000
"""The bit of a pair's number that says that the two plants touch."""
BIN = 0x7FFF
SECTORS = 24
NEVER = 1e18
"""A clock time that never comes [d]."""

(
    RECEIVE, SEND, REMOVED_ON, REST, GONE_ON, STANDS_FROM, STANDS_TO, LOW, HIGH, TOUCHING, TIME, INFECTIOUS_ON, SENT,
    FROM_KERNEL, FROM_TOUCH, FROM_WILD, REACH, CHANGE_KERNEL, CHANGE_TOUCH,
) = range(19)  # fmt: skip
"""Rows of `World.plant`. What stays: weight of receiving and sending [medium plants], when it is removed, the rest of
its strength then, until when, from and to when it stands, between which times it can have been infected, and the
receiving weight of plants that touch it. What is sampled, or follows: time of infection, when it is infectious,
strength times time sent in all [plant d], what it gets at its time of infection through the kernel [m^-2], by touch and
from wild stands, the kernel's sum over all receivers, and the changes of a proposal."""
PLANT_ROWS = 19
(
    AT_TIME, AT_BEGIN, AT_SENT, AT_OUT, AT_SEND, AT_RECEIVE, AT_REST, AT_GONE, AT_FROM, AT_THERE, AT_HERE,
) = range(11)  # fmt: skip
"""Rows of `World.live`, by place in the list of the infected: the same as in `World.plant`, side by side for the loops over
pairs; and, written by every proposal, the density of the way from its plant and of the way to it [m^-2]."""
LIVE_ROWS = 11
SORTED_ROWS = 9
"""The rows that follow from the state alone."""
IS_NOTICED, LOOK_FIRST, IS_FIRST, LIST, PLACE, HIDDEN_LIST, HIDDEN_PLACE, STAMPED, ODD_LIST, CHANGED, ASIDE = range(11)
"""Rows of `World.mark`: whether it was noticed, where its looks begin, whether it is infected since the start, the list
of the infected and the place in it, the list of the hidden and the place in it, of which table its sums are, the
list of those that came or went meanwhile, that of those whose force a proposal changes, and that of the places in the
list of the infected which a proposal looks at once more."""
MARK_ROWS = 11
LOOK_DAY, LOOK_SEASON, PASS_SHOWING, PASS_SILENT = range(4)
"""Rows of `World.looks`: calendar day, season day, and the chance of what was said of a plant that shows or not yet."""
TABLE, BACK, OLD_TABLE, OLD_BACK, WILD_COUNTS, REVERSE = range(6)
"""Rows of `World.bins`: density of the way and of the way back [m^-2], both as they were, strength of wild stands times
receiving weight, and the bin of the way back."""
BIN_ROWS = 6
DRAWN_BELOW, TIMES_HIDDEN = range(2)
"""Rows of `World.hide`, by candidate, and of `World.hide_at`, by stretch of the clock from the first start to the end:
running sum of the weights by which hidden infections are proposed, and how often one was seen there in warm-up."""
STRETCHES = 32
THETA, PRIOR_MEAN, PRIOR_SD, FREE = range(4)
"""Rows of `World.param`."""
(
    END, FIRST, LATEST, INFECTIOUS, MEDIAN, SIGMA, CUT, FIXED, ALL_RECEIVE, LOG_SEED, PLANTS, NEAR_M, DISC_M, LOG_R0,
    LOG_STEP, NOTICED, ODDS,
) = range(17)  # fmt: skip
"""Places in `World.number`: end of the fit, first and last clock time of the start, infectious after [calendar d],
median, sigma and cut-off share of the incubation, whether it is fixed, sum of receiving weights, log of the ratio of
one more plant infected at the start, plants, near radius of direction and canopy radius [m], first log distance and
step of the kernel's table, number of noticed plants, which come first, and of those that came or went meanwhile."""
NUMBERS = 17
(START, BY_KERNEL, BY_TOUCH, BY_WILD, BY_TIME, SEEDS, INFECTED, HIDDEN, STAMP, LAST_STAMP) = range(10)
"""Places in `World.sum`: clock time of the start; summed exposures of all plants to other plants through the kernel,
through touch, to wild stands, and in plant-days; number of plants infected at the start, in all, and of the hidden
ones in the list of those; number of the table in use, and of the last one tried."""
SUMS = 10


class World(NamedTuple):
    """All arrays of one chain: s tracked plants, b bins of rings by sectors, times on the clock of flight weights.

    `pair` (s, s) holds the bin of the way from the first to the second plant; `counts` (s, b) the receiving weight of
    all plants of the population by bin of the way from each tracked plant; `wild_pair` (s, stands) the bins from wild
    stands. `days` are running sums of flight weights and of season days. Where a plant is noticed, its last look is
    the one that noticed it. `hide` and `hide_at` say how often which plant never noticed is proposed as infected, and at
    what time. `plant`, `live`, `mark`, `looks`, `bins`, `param`, `number`, `sum` have their rows and places named above;
    `old` and `new` are room for proposals.
    """

    pair: Any
    counts: Any
    wild_pair: Any
    plant: Any
    live: Any
    mark: Any
    looks: Any
    days: Any
    bins: Any
    ring_m: Any
    disc: Any
    log_k: Any
    shape_grid: Any
    wild_send: Any
    hide: Any
    hide_at: Any
    param: Any
    number: Any
    sum: Any
    old: Any
    new: Any


WORLD = numba.types.NamedTuple((PAIRS, SINGLE, PAIRS, M, M, MARKS, M, M, M, V, M, M, V, V, M, M, M, V, V, M, V), World)  # type: ignore[no-untyped-call]
