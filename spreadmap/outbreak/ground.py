"""The plants as an outbreak sees them: who can be infected, how much each receives, a tree over their places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from spreadmap.values.arrays import FloatArray, IntArray

NO_NODE = -1
GROUP_PLANTS = 8
"""Plants of a group at most: they share the list of what is far from all of them [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tree:
    """A balanced tree over m plants: every node holds a run of `order` and is cut in two at its middle, down to one.

    `order` (m,) are positions in the inventory, `heaped` (m + 1,) the weights of the plants before each place of it.
    `box` (nodes, 5) is west, east, south, north and the largest canopy radius [m]; `part` (nodes, 4) first and last + 1
    place in `order`, and the two halves, -1 for single plants. `home` (n,) is the node that is the group of every plant,
    -1 for plants outside the tree.
    """

    order: IntArray
    heaped: FloatArray
    box: FloatArray
    part: IntArray
    home: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """n plants: places and canopy radius [m], weight as a receiver (0: cannot be infected) and strength if infected [-].

    `touch_start` (n + 1,) and `touching` are the plants within the touching distance of each, one after another, and
    `touch_heaped` the weights before each of them.
    """

    easting: FloatArray
    northing: FloatArray
    radius_m: FloatArray
    weight: FloatArray
    strength: FloatArray
    tree: Tree
    touch_start: IntArray
    touching: IntArray
    touch_heaped: FloatArray

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.easting)

    @property
    def farthest_m(self) -> float:
        """Return a length that no distance between two plants exceeds [m]."""
        if not len(self):
            return 1.0
        wide, high = np.ptp(self.easting), np.ptp(self.northing)
        return float(np.hypot(wide, high) + 2 * self.radius_m.max() + 1.0)


def ground_of(
    easting: FloatArray,
    northing: FloatArray,
    radius_m: FloatArray,
    weight: FloatArray,
    strength: FloatArray,
    touching_m: float,
) -> Ground:
    """Return the plants with their tree and their touching pairs.

    Parameters
    ----------
    easting, northing, radius_m, weight, strength : arrays, shape (n,)
        Places and canopy radius [m]; weight of each as a receiver, zero for plants that cannot be infected; strength
        it sends with once it is infectious [-].
    touching_m : float
        Distance between places up to which two plants touch. [m]
    """
    places = np.c_[easting, northing]
    start, touching = _touching(places, weight > 0, touching_m)
    return Ground(
        easting=np.ascontiguousarray(easting, dtype=np.float64),
        northing=np.ascontiguousarray(northing, dtype=np.float64),
        radius_m=np.ascontiguousarray(radius_m, dtype=np.float64),
        weight=np.ascontiguousarray(weight, dtype=np.float64),
        strength=np.ascontiguousarray(strength, dtype=np.float64),
        tree=_tree(places, np.asarray(radius_m, dtype=np.float64), np.asarray(weight, dtype=np.float64)),
        touch_start=start,
        touching=touching,
        touch_heaped=np.concatenate([[0.0], np.cumsum(np.asarray(weight, dtype=np.float64)[touching])]),
    )


def _touching(places: FloatArray, receives: np.ndarray, touching_m: float) -> tuple[IntArray, IntArray]:
    """Return where each plant's neighbours begin, and the neighbours that can be infected, ascending."""
    n = len(places)
    if n == 0 or touching_m <= 0:
        return np.zeros(n + 1, dtype=np.int64), np.zeros(0, dtype=np.int64)
    pairs = cKDTree(places).query_pairs(touching_m, output_type="ndarray").astype(np.int64)
    both = np.concatenate([pairs, pairs[:, ::-1]])
    both = both[receives[both[:, 1]]]
    both = both[np.lexsort((both[:, 1], both[:, 0]))]
    start = np.zeros(n + 1, dtype=np.int64)
    np.cumsum(np.bincount(both[:, 0], minlength=n), out=start[1:])
    return start, np.ascontiguousarray(both[:, 1])


def _tree(places: FloatArray, radius_m: FloatArray, weight: FloatArray) -> Tree:
    """Return the tree over plants that can be infected, level by level; cut across the longer side at the middle plant."""
    order = np.flatnonzero(weight > 0)
    boxes: list[FloatArray] = []
    parts: list[IntArray] = []
    first, last = np.zeros(1, dtype=np.int64), np.array([len(order)], dtype=np.int64)
    known = 0
    while len(order) and len(first):
        east, north, wide = places[order, 0], places[order, 1], radius_m[order]
        # All nodes of a level lie one after another, but those that ended on a level above leave gaps.
        edges = np.stack([first, last], axis=1).ravel()
        edges = edges[:-1] if edges[-1] == len(order) else edges

        def over(values: FloatArray, form: np.ufunc, edges: IntArray = edges) -> FloatArray:
            return np.asarray(form.reduceat(values, edges)[::2])

        box = np.stack(
            [over(east, np.minimum), over(east, np.maximum), over(north, np.minimum), over(north, np.maximum),
             over(wide, np.maximum)], axis=1)  # fmt: skip
        splits = last - first > 1
        children = known + len(first) + 2 * np.cumsum(splits) - 2
        left = np.where(splits, children, NO_NODE)
        parts.append(np.stack([first, last, left, np.where(splits, children + 1, NO_NODE)], axis=1))
        boxes.append(box)
        known += len(first)
        order = _sorted_within(order, first[splits], last[splits], box[splits], places)
        middle = (first[splits] + last[splits] + 1) // 2
        first, last = (
            np.stack([first[splits], middle], axis=1).ravel(),
            np.stack([middle, last[splits]], axis=1).ravel(),
        )
    heaped = np.concatenate([[0.0], np.cumsum(weight[order])])
    part = np.ascontiguousarray(np.concatenate(parts) if parts else np.zeros((0, 4), dtype=np.int64))
    return Tree(
        order=np.ascontiguousarray(order),
        heaped=heaped,
        box=np.ascontiguousarray(np.concatenate(boxes) if boxes else np.zeros((0, 5))),
        part=part,
        home=_groups(order, part, len(places)),
    )


def _groups(order: IntArray, part: IntArray, n: int) -> IntArray:
    """Return the group of each of n plants: the largest node of few enough plants that holds it."""
    home = np.full(n, NO_NODE, dtype=np.int64)
    size = part[:, 1] - part[:, 0]
    halves = part[size > GROUP_PLANTS, 2:]
    tops = halves[size[halves] <= GROUP_PLANTS] if len(halves) else np.arange(len(part))[:1]
    for node in tops.tolist():
        home[order[part[node, 0] : part[node, 1]]] = node
    return home


def _sorted_within(order: IntArray, first: IntArray, last: IntArray, box: FloatArray, places: FloatArray) -> IntArray:
    """Return the order with the plants of every node sorted along the node's longer side; equal places keep theirs."""
    if not len(first):
        return order
    size = last - first
    at = np.repeat(first - np.cumsum(size) + size, size) + np.arange(size.sum())
    node = np.repeat(np.arange(len(first)), size)
    is_wide = (box[:, 1] - box[:, 0] >= box[:, 3] - box[:, 2])[node]
    along = np.where(is_wide, places[order[at], 0], places[order[at], 1])
    result = order.copy()
    result[at] = order[at][np.lexsort((along, node))]
    return result
