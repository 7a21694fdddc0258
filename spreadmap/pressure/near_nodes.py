"""The near part where roses bend from place to place: stamps from tables of coefficients, or of nodes of the wind field.

A stamp is linear in its source's rose: it is the sum of one stamp for each coefficient. The rose in turn is the bilinear
mean of those of the four nodes of the wind field about the source: where many sources stand about few nodes, each node
has a table of its own, added up once, and a source's stamp is the mean of its nodes' four.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_near import stamp_exactly
from spreadmap.pressure.compiled_nodes import add_up, stamp_between
from spreadmap.pressure.exact import every_rose
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.near_field import WHOLE, NearTables, near_tables, places
from spreadmap.pressure.stamps import Tier, tier
from spreadmap.pressure.strands import Law, Strand, key_of
from spreadmap.pressure.tables import RadialTables, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray, IntArray
from spreadmap.values.grid import Grid
from spreadmap.values.inventory import Sources

CORNERS = 4
MOST_BYTES = 2.5e8
"""What tables of all nodes may take."""
PIECE = 4096
"""Values of tables that are added up for all nodes at a time, so that they stay in the processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nodes:
    """Roses (nodes, M) of those nodes that stand about sources; of each source four nodes and their weights."""

    roses: ComplexArray
    corner: IntArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NodeTier:
    """One tier with the sizes of `shape`: `values` (tables, ...), flat, of each node or, without nodes, coefficient."""

    shape: Tier
    values: np.ndarray
    nodes: Nodes | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NodeNear:
    """The near part of a law by tables of nodes; sources sorted by row, places in cells."""

    law: Law
    radial: tuple[RadialTables, ...]
    tiers: tuple[tuple[NodeTier, ...], ...]
    roses: tuple[ComplexArray, ...]
    core: int
    error: float
    cut_m: float
    row: FloatArray
    col: FloatArray
    strength: FloatArray
    reach: int

    def add(self, row0: int, col0: int, out: FloatArray, cell_m: float) -> None:
        """Add the stamps of the sources that reach into a tile."""
        first = np.searchsorted(self.row, row0 - self.reach - 1)
        last = np.searchsorted(self.row, row0 + len(out) + self.reach + 1)
        if first == last:
            return
        # Only the sources at hand are copied, with their weights for each coefficient.
        row, col, order = self.row[first:last], self.col[first:last], np.arange(last - first)
        for strand, radial, tiers, all_roses in zip(self.law, self.radial, self.tiers, self.roses, strict=True):
            strength, roses = strand.share * self.strength[first:last], all_roses[first:last]
            for one in tiers:
                if one.nodes is None:
                    corner, weight = np.arange(len(one.values))[None, :], _weights(roses)
                else:
                    corner, weight = one.nodes.corner[first:last], one.nodes.weight[first:last]
                stamp_between(
                    row0, col0, out, row, col, strength, order, one.values, corner, weight, one.shape.q,
                    one.shape.order, one.shape.size, one.shape.half, one.shape.hole,
                )  # fmt: skip
            if self.core >= 0:
                stamp_exactly(
                    row0, col0, out, row, col, strength, order, self.core, cell_m, radial.log_first, radial.step,
                    radial.mass, radial.mass_slope, radial.bent_mass, radial.bent_slope, radial.log_density,
                    strand.spread.near_radius_m, roses, self.cut_m,
                )  # fmt: skip


def _weights(roses: ComplexArray) -> FloatArray:
    """Return the weights of the tables of one strand at its sources: 1, and each cosine's and sine's, (n, 1 + 2 M)."""
    weight = np.ones((len(roses), 1 + 2 * roses.shape[1]))
    weight[:, 1::2], weight[:, 2::2] = roses.real, roses.imag
    return weight


def nodes_of(strand: Strand, sources: Sources) -> Nodes:
    """Return the nodes about the sources of a strand; a single one where all share their rose."""
    count = len(sources)
    if strand.is_uniform:
        one = np.zeros((count, CORNERS), dtype=np.int64)
        return Nodes(roses=strand.roses, corner=one, weight=np.eye(1, CORNERS).repeat(count, axis=0))
    spread = strand.spread
    east, north = spread.climate.field_easting, spread.climate.field_northing
    if east is None or north is None:
        msg = "sources have roses of their own without a wind field"
        raise ValueError(msg)
    col, col_part = _between(east, sources.easting)
    row, row_part = _between(-north, -sources.northing)
    right, below = np.minimum(col + 1, len(east) - 1), np.minimum(row + 1, len(north) - 1)
    number = np.stack(
        [row * len(east) + col, row * len(east) + right, below * len(east) + col, below * len(east) + right]
    )
    used, corner = np.unique(number, return_inverse=True)
    weight = np.stack(
        [(1 - row_part) * (1 - col_part), (1 - row_part) * col_part, row_part * (1 - col_part), row_part * col_part]
    )
    return Nodes(
        roses=_roses_at(spread, east[used % len(east)], north[used // len(east)], strand.roses.shape[1]),
        corner=np.array(corner.reshape(number.shape).T, dtype=np.int64, order="C"),
        weight=np.array(weight.T, order="C"),
    )


def _roses_at(spread: Spread, easting: FloatArray, northing: FloatArray, orders: int) -> ComplexArray:
    """Return the first coefficients at some places."""
    return np.ascontiguousarray(spread.coefficients_at(easting, northing)[:, :orders])


def _between(axis: FloatArray, value: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the node before each value of an ascending axis and the part of the way to the next, held at the ends."""
    if len(axis) == 1:
        return np.zeros(len(value), dtype=np.int64), np.zeros(len(value))
    index = np.clip(np.searchsorted(axis, value, side="right") - 1, 0, len(axis) - 2).astype(np.int64)
    return index, np.clip((value - axis[index]) / (axis[index + 1] - axis[index]), 0.0, 1.0)


def node_near_part(
    law: Law, grid: Grid, sources: Sources, way: Way, farthest_m: float, allowed: float, engine: Engine
) -> NodeNear | None:
    """Return the near part of sources with roses of their own, None where no table is fine enough."""
    cell = float(grid.cell_m)
    radial = tuple(radial_tables(one.spread, farthest_m) for one in law)
    # The tables are tried with the finest rose of each strand, all strands together.
    alone = tuple(replace(one, roses=one.rose[None, :]) for one in law)
    tables = near_tables(alone, radial, cell, way, allowed, engine)
    if tables is None:
        return None
    row, col = places(grid, sources)
    order = np.argsort(row, kind="stable")
    tiers = []
    for strand, fine, mine in zip(law, alone, radial, strict=True):
        basis = KEPT.get(
            ("basis", key_of((fine,)), cell, way.cut_m, way.step_m > 0, _sizes(tables)),
            lambda fine=fine, mine=mine: _basis(fine, mine, cell, way, tables, engine),  # type: ignore[misc]
        )
        nodes = nodes_of(strand, sources)
        nodes = replace(nodes, corner=nodes.corner[order], weight=nodes.weight[order])
        tiers.append(
            tuple(_tier(shape, parts, nodes, engine) for shape, parts in zip(tables.tiers, basis, strict=True))
        )
    return NodeNear(
        law=law, radial=radial, tiers=tuple(tiers),
        roses=tuple(np.ascontiguousarray(every_rose(one, len(sources))[order]) for one in law), core=tables.core,
        error=tables.error, cut_m=way.cut_m if way.step_m > 0 else WHOLE, row=row[order], col=col[order],
        strength=sources.strength[order], reach=max(len(one.half) // 2 for one in tables.tiers),
    )  # fmt: skip


def _tier(shape: Tier, parts: np.ndarray, nodes: Nodes, engine: Engine) -> NodeTier:
    """Return a tier with the tables of nodes or, where that is less work, of coefficients."""
    terms, size = parts.shape
    into_one = (shape.order + 1) ** 2
    direct = into_one * terms * shape.cells
    through = into_one * CORNERS * shape.cells + len(nodes.roses) * terms * size / len(nodes.corner)
    if direct <= through or 4 * size * len(nodes.roses) > MOST_BYTES:
        return NodeTier(shape=shape, values=parts, nodes=None)
    return NodeTier(shape=shape, values=_added_up(nodes.roses, parts, engine), nodes=nodes)


def _sizes(tables: NearTables) -> tuple[tuple[int, int, int, int], ...]:
    """Return what tells the tiers of tables apart."""
    return tuple((one.q, one.order, one.size, one.hole) for one in tables.tiers)


def _basis(
    strand: Strand, radial: RadialTables, cell_m: float, way: Way, tables: NearTables, engine: Engine
) -> tuple[np.ndarray, ...]:
    """Return, for each tier, the table in still air and those of each cosine and sine, (1 + 2 M, ...) flat."""
    cut = way.cut_m if way.step_m > 0 else WHOLE
    orders = strand.roses.shape[1]
    found = []
    for shape in tables.tiers:

        def made(rose: ComplexArray, shape: Tier = shape) -> np.ndarray:
            one = replace(strand, share=1.0, roses=rose[None, :])
            return tier(
                (one,), (radial,), cell_m, cut, way.cut_m, shape.q, shape.order, shape.half, shape.hole,
                engine,
            ).values  # fmt: skip

        still = made(np.zeros(0, dtype=np.complex128))
        parts = [still]
        for number in range(orders):
            for value in (0.5, 0.5j):
                rose = np.zeros(number + 1, dtype=np.complex128)
                rose[number] = value
                # 1 + cos and 1 + sin are never negative; what is above 1 is half of the term.
                parts.append(2.0 * (made(rose) - still))
        found.append(np.stack(parts).astype(np.float32))
    return tuple(found)


def _added_up(roses: ComplexArray, parts: np.ndarray, engine: Engine) -> np.ndarray:
    """Return the tables of nodes: the still one and those of the coefficients by the nodes' own, (nodes, ...) flat."""
    factor = _weights(roses).astype(np.float32)
    out = np.empty((len(roses), parts.shape[1]), dtype=np.float32)
    engine.map(
        lambda first: add_up(first, min(first + PIECE, parts.shape[1]), factor, parts, out),
        range(0, parts.shape[1], PIECE),
    )
    return out
