"""The far part of a kernel on a mesh much coarser than the map: one padded FFT there and back, in double precision.

Single precision drowns far cells: a transform has a floor of about 1e-7 of its own peak, and the default kernel falls
by twelve orders of magnitude within 1.5 km.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.pressure.compiled_mesh import divide, lay_down, sample_far
from spreadmap.pressure.kept import KEPT
from spreadmap.pressure.splines import spline_spectrum
from spreadmap.pressure.split import far_share
from spreadmap.pressure.strands import Law, key_of
from spreadmap.pressure.tables import bending
from spreadmap.values.arrays import ComplexArray, FloatArray

EDGE_NODES = 4
"""Nodes beyond the outermost place that splines may touch [-]."""
MARGIN_NODES = 24
"""Nodes between what is used of a kernel and where it is cut or comes round: splines ring by 0.43 from node to node."""
ROWS_PER_PIECE = 64
TABLE_STEPS_PER_NODE = 8
LEAST_TABLE_STEPS = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Nodes `step_m` apart, node (0, 0) at `west`, `south`, rows northward; FFT lengths `pad_rows`, `pad_cols`.

    Kernels are of no account beyond `reach_m`; the padding keeps them from coming round.
    """

    step_m: float
    west: float
    south: float
    n_rows: int
    n_cols: int
    pad_rows: int
    pad_cols: int
    reach_m: float

    def east_of(self, easting: FloatArray) -> FloatArray:
        """Return places along the rows in mesh steps."""
        return (easting - self.west) / self.step_m

    def north_of(self, northing: FloatArray) -> FloatArray:
        """Return places along the columns in mesh steps."""
        return (northing - self.south) / self.step_m

    @property
    def farthest_m(self) -> float:
        """Return the distance out to which kernels are sampled [m]."""
        corner = self.step_m * float(np.hypot(self.pad_rows, self.pad_cols)) / 2
        return min(self.reach_m + MARGIN_NODES * self.step_m, corner)

    @property
    def bytes(self) -> int:
        """Return about the most memory one convolution holds."""
        return 8 * (2 * self.n_rows * self.n_cols + 5 * self.pad_rows * self.pad_cols // 2)


def mesh_over(region: tuple[float, float, float, float], step_m: float, reach_m: float) -> Mesh:
    """Return the mesh that covers a region (west, east, south, north) and all places in it."""
    west, east, south, north = region
    n_cols, n_rows = (int(np.ceil(wide / step_m)) + 2 * EDGE_NODES + 1 for wide in (east - west, north - south))
    pads = [
        fft.next_fast_len(n + min(n, int(np.ceil(reach_m / step_m))) + 2 * MARGIN_NODES, real=True)
        for n in (n_rows, n_cols)
    ]
    return Mesh(
        step_m=step_m, west=west - EDGE_NODES * step_m, south=south - EDGE_NODES * step_m, n_rows=n_rows, n_cols=n_cols,
        pad_rows=pads[0], pad_cols=pads[1], reach_m=reach_m,
    )  # fmt: skip


def far_pieces(spread: Spread, cut_m: float, reach_m: float, step_m: float, until_m: float = np.inf) -> FloatArray:
    """Return cubic pieces of k and g, times the far part's share, over even steps of distance, (steps, 8).

    With `until_m`, what is far beyond that cut too is left to a coarser mesh.
    """
    nodes = np.arange(int(np.ceil(reach_m / step_m)) + 4, dtype=np.float64) * step_m - step_m
    radius = np.abs(nodes)
    # An infinite density at the source itself has no far part.
    share = far_share(radius, cut_m)
    if until_m < np.inf:
        share = np.maximum(share - far_share(radius, until_m), 0.0)
    still = np.where(share > 0, spread.kernel.location_density(np.where(share > 0, radius, reach_m)), 0.0) * share
    parts = []
    for value in (still, still * bending(radius, spread.near_radius_m)):
        a, b, c, d = value[:-3], value[1:-2], value[2:-1], value[3:]
        parts += [b, -a / 3 - b / 2 + c - d / 6, (a + c) / 2 - b, (d - a) / 6 + (b - c) / 2]
    return np.ascontiguousarray(np.stack(parts, axis=1))


def far_spectrum(law: Law, mesh: Mesh, cut_m: float, engine: Engine, until_m: float = np.inf) -> ComplexArray:
    """Return the spectrum of the far part over the squared spline's spectrum, (pad_rows, pad_cols/2 + 1); kept.

    The strands are added as images, so that a mixture costs no more transforms than one kernel.
    """
    key = ("far", key_of(law), mesh.step_m, mesh.pad_rows, mesh.pad_cols, cut_m, mesh.reach_m, until_m)
    return KEPT.get(key, lambda: _far_spectrum(law, mesh, cut_m, engine, until_m))


def _far_spectrum(law: Law, mesh: Mesh, cut_m: float, engine: Engine, until_m: float) -> ComplexArray:
    farthest = mesh.farthest_m
    step = min(mesh.step_m / TABLE_STEPS_PER_NODE, farthest / LEAST_TABLE_STEPS)
    tables = [(one.share * far_pieces(one.spread, cut_m, farthest, step, until_m), one.rose) for one in law]
    image = np.zeros((mesh.pad_rows, mesh.pad_cols))
    rows = mesh.pad_rows // 2 + 1

    def sample(first: int) -> None:
        last = min(first + ROWS_PER_PIECE, rows)
        for pieces, rose in tables:
            sample_far(first, last, mesh.step_m, 1.0 / step, pieces, rose, image)

    engine.map(sample, range(0, rows, ROWS_PER_PIECE))
    return over_splines(np.asarray(fft.rfft2(image, workers=engine.workers, overwrite_x=True)), mesh, engine)


def over_splines(spectrum: ComplexArray, mesh: Mesh, engine: Engine) -> ComplexArray:
    """Return a spectrum, changed in place, divided by the squares of the splines' own."""
    over_rows = spline_spectrum(mesh.pad_rows, mesh.pad_rows)
    over_cols = spline_spectrum(spectrum.shape[1], mesh.pad_cols)
    engine.map(
        lambda first: divide(first, min(first + ROWS_PER_PIECE, mesh.pad_rows), spectrum, over_rows, over_cols),
        range(0, mesh.pad_rows, ROWS_PER_PIECE),
    )
    return spectrum


def transformed(parts: FloatArray, mesh: Mesh, engine: Engine) -> ComplexArray:
    """Return the padded spectrum of one laid-down mesh (n_rows, n_cols); rows of zeros are not transformed."""
    lines = fft.rfft(parts, n=mesh.pad_cols, axis=1, workers=engine.workers)
    return np.asarray(fft.fft(lines, n=mesh.pad_rows, axis=0, workers=engine.workers, overwrite_x=True))


def brought_back(spectrum: ComplexArray, mesh: Mesh, engine: Engine) -> FloatArray:
    """Return the coefficients of the far sum at the mesh's nodes, (n_rows, n_cols)."""
    lines = fft.ifft(spectrum, axis=0, workers=engine.workers, overwrite_x=True)[: mesh.n_rows]
    whole = fft.irfft(lines, n=mesh.pad_cols, axis=1, workers=engine.workers, overwrite_x=True)
    return np.ascontiguousarray(whole[:, : mesh.n_cols])


def laid_down(mesh: Mesh, easting: FloatArray, northing: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the meshes that sources make with their weights (sources, meshes): (meshes, n_rows, n_cols)."""
    parts = np.zeros((weight.shape[1], mesh.n_rows, mesh.n_cols))
    lay_down(mesh.east_of(easting), mesh.north_of(northing), np.array(weight, dtype=np.float64, order="C"), parts)
    return parts


def far_sum(
    mesh: Mesh, easting: FloatArray, northing: FloatArray, strength: FloatArray, law: Law, cut_m: float, engine: Engine
) -> FloatArray:
    """Return the spline coefficients of the far part's sum over sources of one rose, (n_rows, n_cols)."""
    kernel = far_spectrum(law, mesh, cut_m, engine)
    spectrum = transformed(laid_down(mesh, easting, northing, strength[:, None])[0], mesh, engine)
    spectrum *= kernel
    return brought_back(spectrum, mesh, engine)
