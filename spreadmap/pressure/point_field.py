"""The fast sum at points, and what sources send: near pairs from lists of blocks, the far part read off a mesh."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import fft
from scipy.spatial import cKDTree

from spreadmap.engine import Engine
from spreadmap.pressure.choice import Way
from spreadmap.pressure.compiled_mesh import read_points
from spreadmap.pressure.compiled_points import mesh_between, sum_near_pairs
from spreadmap.pressure.exact import every_rose, exact_at_points, reach_of_discs
from spreadmap.pressure.harmonics import product, term_spectrum, terms_of
from spreadmap.pressure.mesh import Mesh, brought_back, far_spectrum, laid_down, mesh_over, transformed
from spreadmap.pressure.near_field import WHOLE
from spreadmap.pressure.near_varying import near_pieces
from spreadmap.pressure.probes import HOLE_PART, NO_SCREENS
from spreadmap.pressure.strands import Law, Strand
from spreadmap.pressure.tables import EVEN_ERROR, NEGLIGIBLE, radial_tables
from spreadmap.values.arrays import ComplexArray, FloatArray, IntArray
from spreadmap.values.inventory import Receptors, Sources

PIECES = 32
"""Pieces that receptors are cut into, whatever the number of workers [-]."""
TABLE_STEPS = 8192


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointSums:
    """Density at receptors, what sources send, and what rounding may have added anywhere [m^-2]."""

    density: FloatArray
    sent: FloatArray
    noise: float


def fast_at_points(
    receptors: Receptors, sources: Sources, law: Law, way: Way, region: tuple[float, float, float, float],
    farthest_m: float, rtol: float, weight: FloatArray, engine: Engine,
) -> PointSums:  # fmt: skip
    """Return the fast sums; `weight` of no length asks for nothing sent."""
    density, sent, noise = np.zeros(len(receptors)), np.zeros(len(sources)), 0.0
    if way.step_m > 0:
        mesh = mesh_over(region, way.step_m, way.reach_m)
        uniform = all(one.is_uniform for one in law)
        add = _add_far if uniform else _add_varying_far
        noise = add(mesh, receptors, sources, law, way.cut_m, weight, density, sent, engine)
    if way.cut_m > 0:
        for strand in law:
            _add_near(receptors, sources, strand, way, farthest_m, weight, density, sent, engine)
    density, sent = np.maximum(density, 0.0), np.maximum(sent, 0.0)
    if way.hole_error > 0:
        _repair(receptors, sources, law, way, rtol, weight, density, sent, engine)
    return PointSums(density=density, sent=sent, noise=noise)


def _repair(
    receptors: Receptors, sources: Sources, law: Law, way: Way, rtol: float, weight: FloatArray, density: FloatArray,
    sent: FloatArray, engine: Engine,
) -> None:  # fmt: skip
    """Sum pair by pair where a receptor stands in the hole of a kernel about a source and nothing else fills it."""
    at, to = (np.column_stack([one.easting, one.northing]) for one in (receptors, sources))
    least, strongest = way.hole_error / (HOLE_PART * rtol), float(sources.strength.max())
    faint = np.flatnonzero(density < least * strongest)
    if len(faint):
        close = cKDTree(to).query(at[faint], distance_upper_bound=way.hole_m)[0] < way.hole_m
        some = faint[close]
        if len(some):
            density[some] = exact_at_points(
                _some_receptors(receptors, some), sources, law, engine, NO_SCREENS, np.zeros(0)
            )[0]
    if len(weight) == 0:
        return
    faint = np.flatnonzero(sent < least * sources.strength * float(np.abs(weight).max()))
    if len(faint):
        close = cKDTree(at).query(to[faint], distance_upper_bound=way.hole_m)[0] < way.hole_m
        some = faint[close]
        if len(some):
            few = Sources(
                easting=sources.easting[some], northing=sources.northing[some], strength=sources.strength[some],
                plant=sources.plant[some],
            )  # fmt: skip
            roses = tuple(one if one.is_uniform else replace(one, roses=one.roses[some].copy()) for one in law)
            sent[some] = exact_at_points(receptors, few, roses, engine, NO_SCREENS, weight)[1]


def _some_receptors(receptors: Receptors, some: IntArray) -> Receptors:
    """Return the receptors at some positions."""
    return Receptors(
        easting=receptors.easting[some], northing=receptors.northing[some], radius_m=receptors.radius_m[some],
        plant=receptors.plant[some],
    )  # fmt: skip


def same_plants(receptors: Receptors, sources: Sources) -> tuple[IntArray, IntArray]:
    """Return all pairs of a receptor and a source that are one plant, as positions."""
    order = np.argsort(sources.plant, kind="stable")
    plants = sources.plant[order]
    low, high = np.searchsorted(plants, receptors.plant, "left"), np.searchsorted(plants, receptors.plant, "right")
    count = np.where(receptors.plant >= 0, high - low, 0)
    receptor = np.repeat(np.arange(len(receptors)), count)
    within = np.arange(len(receptor)) - np.repeat(np.cumsum(count) - count, count)
    return receptor, order[np.repeat(low, count) + within]


def _read(mesh: Mesh, values: FloatArray, easting: FloatArray, northing: FloatArray, engine: Engine) -> FloatArray:
    """Return a mesh's sum at points."""
    east, north, out = mesh.east_of(easting), mesh.north_of(northing), np.zeros(len(easting))
    size = -(-len(out) // PIECES)

    def piece(first: int) -> None:
        part = slice(first, first + size)
        read_points(east[part], north[part], values, out[part])

    engine.map(piece, range(0, len(out), size))
    return out


def _between(
    mesh: Mesh, kernel: ComplexArray, receptors: Receptors, sources: Sources
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return receptor, source and what the mesh makes of the pair, for all pairs of one plant."""
    receptor, source = same_plants(receptors, sources)
    value = np.zeros(len(receptor))
    if len(receptor):
        image = np.asarray(fft.irfft2(kernel, s=(mesh.pad_rows, mesh.pad_cols)))
        mesh_between(
            mesh.east_of(receptors.easting), mesh.north_of(receptors.northing), mesh.east_of(sources.easting),
            mesh.north_of(sources.northing), image, receptor, source, value,
        )  # fmt: skip
    return receptor, source, value


def _add_far(
    mesh: Mesh, receptors: Receptors, sources: Sources, law: Law, cut_m: float, weight: FloatArray,
    density: FloatArray, sent: FloatArray, engine: Engine,
) -> float:  # fmt: skip
    """Add the far part where all sources have one rose; the kernel seen from the other end has the conjugate spectrum."""
    kernel = far_spectrum(law, mesh, cut_m, engine)
    receptor, source, own = _between(mesh, kernel, receptors, sources)
    parts = laid_down(mesh, sources.easting, sources.northing, sources.strength[:, None])[0]
    spectrum = transformed(parts, mesh, engine)
    spectrum *= kernel
    values = brought_back(spectrum, mesh, engine)
    density += _read(mesh, values, receptors.easting, receptors.northing, engine)
    np.subtract.at(density, receptor, own * sources.strength[source])
    if len(weight):
        parts = laid_down(mesh, receptors.easting, receptors.northing, weight[:, None])[0]
        spectrum = transformed(parts, mesh, engine)
        spectrum *= np.conj(kernel)
        back = brought_back(spectrum, mesh, engine)
        sent += sources.strength * _read(mesh, back, sources.easting, sources.northing, engine)
        np.subtract.at(sent, source, own * sources.strength[source] * weight[receptor])
    return float(np.abs(values).max())


def _add_varying_far(
    mesh: Mesh, receptors: Receptors, sources: Sources, law: Law, cut_m: float, weight: FloatArray,
    density: FloatArray, sent: FloatArray, engine: Engine,
) -> float:  # fmt: skip
    """Add the far part where sources have roses of their own, term by term."""
    shape = (mesh.pad_rows, mesh.pad_cols // 2 + 1)
    total = np.zeros(shape, dtype=np.complex128)
    from_receptors = None
    if len(weight):
        parts = laid_down(mesh, receptors.easting, receptors.northing, weight[:, None])[0]
        from_receptors = transformed(parts, mesh, engine)
    for factor, order, is_sine, one in terms_of(law, sources.strength):
        kernel = term_spectrum(one, order, is_sine, mesh, cut_m, engine)
        is_odd = order % 2 == 1
        spectrum = transformed(laid_down(mesh, sources.easting, sources.northing, factor[:, None])[0], mesh, engine)
        product(spectrum, kernel, is_odd, total, engine)
        receptor, source, own = _between(
            mesh, np.asarray(kernel * (1j if is_odd else 1.0), dtype=np.complex128), receptors, sources
        )
        np.subtract.at(density, receptor, own * factor[source])
        if from_receptors is not None:
            back = np.zeros(shape, dtype=np.complex128)
            product(from_receptors, -kernel if is_odd else kernel, is_odd, back, engine)
            values = brought_back(back, mesh, engine)
            sent += factor * _read(mesh, values, sources.easting, sources.northing, engine)
            np.subtract.at(sent, source, own * factor[source] * weight[receptor])
    values = brought_back(total, mesh, engine)
    density += _read(mesh, values, receptors.easting, receptors.northing, engine)
    return float(np.abs(values).max())


def _add_near(
    receptors: Receptors, sources: Sources, strand: Strand, way: Way, farthest_m: float, weight: FloatArray,
    density: FloatArray, sent: FloatArray, engine: Engine,
) -> None:  # fmt: skip
    """Add the near part of one strand, receptors taken block by block."""
    spread, reach = strand.spread, way.cut_m
    cut = way.cut_m if way.step_m > 0 else WHOLE
    tables = radial_tables(spread, farthest_m)
    exact, simple = reach_of_discs(spread, strand.rose, receptors.radius_m, farthest_m)
    step = reach / TABLE_STEPS
    pieces = near_pieces(strand, 0.0, cut, reach, step)
    west, south = float(sources.easting.min()), float(sources.northing.min())
    n_cols, n_rows = (
        int((float(places.max()) - float(places.min())) / reach) + 1 for places in (sources.easting, sources.northing)
    )
    block = np.floor((sources.northing - south) / reach).astype(np.int64) * n_cols
    block += np.floor((sources.easting - west) / reach).astype(np.int64)
    order = np.argsort(block, kind="stable")
    start = np.searchsorted(block[order], np.arange(n_rows * n_cols + 1))
    roses = np.ascontiguousarray(strand.roses if strand.is_uniform else every_rose(strand, len(sources))[order])
    at = np.floor((receptors.northing - south) / reach) * 2.0**26 + np.floor((receptors.easting - west) / reach)
    seen = np.argsort(at, kind="stable")
    mine, size, valid = np.zeros(len(receptors)), -(-len(receptors) // PIECES), valid_from(strand, cut, step, pieces)
    columns = (
        receptors.easting[seen], receptors.northing[seen], receptors.radius_m[seen], exact[seen], simple[seen],
        receptors.plant[seen], sources.easting[order], sources.northing[order],
        strand.share * sources.strength[order], sources.plant[order], start,
    )  # fmt: skip
    weights = weight[seen] if len(weight) else weight

    def piece(first: int) -> FloatArray:
        given = np.zeros(len(sources) if len(weight) else 0)
        sum_near_pairs(
            first, min(first + size, len(mine)), *columns, n_rows, n_cols, west, south, reach, roses, weights,
            tables.log_first, tables.step, tables.mass, tables.mass_slope, tables.bent_mass, tables.bent_slope,
            tables.log_density, spread.near_radius_m, cut, reach, 1.0 / step, valid, pieces,
            mine, given,
        )  # fmt: skip
        return given

    for given in engine.map(piece, range(0, len(mine), size)):
        if len(weight):
            sent[order] += given
    density[seen] += mine


def valid_from(strand: Strand, cut_m: float, step_m: float, pieces: FloatArray) -> float:
    """Return the distance from which the pieces are as good as the density itself [m]."""
    ends = pieces[:, 0] + pieces[:, 1] / 2 + pieces[:, 2] / 4 + pieces[:, 3] / 8
    middle = near_pieces(strand, 0.0, cut_m, step_m * (len(pieces) - 4), step_m, 0.5)[: len(ends), 0]
    ends = ends[: len(middle)]
    wrong = (np.abs(ends - middle) > EVEN_ERROR * np.abs(middle)) & (middle > NEGLIGIBLE * float(middle.max()))
    bad = np.flatnonzero(wrong[: len(wrong) // 2])
    return (int(bad[-1]) + 2 if len(bad) else 1) * step_m
