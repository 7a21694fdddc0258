"""Far sums where every source has a rose of its own: one term for each coefficient, added up as spectra.

The sum over sources of w_j 2 Re(c_jm exp(-i m bearing)) g(r) is that of g cos(m bearing) with weights 2 w_j Re c_jm
and that of g sin(m bearing) with weights 2 w_j Im c_jm. The spectrum of each such kernel is real (even m) or imaginary
(odd m), so one number is kept for each wave number; one transform brings all terms back.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import fft

from spreadmap.engine import Engine
from spreadmap.pressure.compiled_mesh import add_product, sample_far
from spreadmap.pressure.kept import KEPT, law_key
from spreadmap.pressure.mesh import (
    LEAST_TABLE_STEPS,
    ROWS_PER_PIECE,
    TABLE_STEPS_PER_NODE,
    Mesh,
    brought_back,
    far_pieces,
    laid_down,
    over_splines,
    transformed,
)
from spreadmap.pressure.strands import Law, Strand
from spreadmap.values.arrays import ComplexArray, FloatArray

Term = tuple[FloatArray, int, bool, Strand]
"""Weights of the sources, harmonic (0: in still air), whether it is the sine, and the strand."""


def terms_of(law: Law, strength: FloatArray) -> Iterator[Term]:
    """Return every term of a law at its sources."""
    for one in law:
        yield strength, 0, False, one
        roses = np.broadcast_to(one.roses, (len(strength), one.roses.shape[1]))
        for order in range(one.roses.shape[1]):
            yield strength * roses[:, order].real, order + 1, False, one
            yield strength * roses[:, order].imag, order + 1, True, one


def term_spectrum(
    one: Strand, order: int, is_sine: bool, mesh: Mesh, cut_m: float, engine: Engine, until_m: float = np.inf
) -> FloatArray:
    """Return the real factor of one term's spectrum, (pad_rows, pad_cols/2 + 1); kept."""
    key = (
        "term", law_key(one.spread), one.share, order, is_sine, mesh.step_m, mesh.pad_rows, mesh.pad_cols, cut_m,
        mesh.reach_m, until_m,
    )  # fmt: skip
    return KEPT.get(key, lambda: _term_spectrum(one, order, is_sine, mesh, cut_m, engine, until_m))


def _term_spectrum(
    one: Strand, order: int, is_sine: bool, mesh: Mesh, cut_m: float, engine: Engine, until_m: float
) -> FloatArray:
    farthest = mesh.farthest_m
    step = min(mesh.step_m / TABLE_STEPS_PER_NODE, farthest / LEAST_TABLE_STEPS)
    pieces = one.share * far_pieces(one.spread, cut_m, farthest, step, until_m)
    rose = np.zeros(order, dtype=np.complex128)
    if order:
        pieces[:, :4] = 0.0
        rose[-1] = 1j if is_sine else 1.0
    image = np.zeros((mesh.pad_rows, mesh.pad_cols))
    rows = mesh.pad_rows // 2 + 1
    engine.map(
        lambda first: sample_far(
            first, min(first + ROWS_PER_PIECE, rows), mesh.step_m, 1.0 / step, pieces, rose, image
        ),
        range(0, rows, ROWS_PER_PIECE),
    )
    spectrum = over_splines(np.asarray(fft.rfft2(image, workers=engine.workers, overwrite_x=True)), mesh, engine)
    return np.ascontiguousarray(spectrum.imag if order % 2 else spectrum.real)


def varying_far_sum(
    mesh: Mesh, easting: FloatArray, northing: FloatArray, strength: FloatArray, law: Law, cut_m: float, engine: Engine
) -> FloatArray:
    """Return the spline coefficients of the far part's sum over sources with roses of their own, (n_rows, n_cols)."""
    total = np.zeros((mesh.pad_rows, mesh.pad_cols // 2 + 1), dtype=np.complex128)
    for weight, order, is_sine, one in terms_of(law, strength):
        kernel = term_spectrum(one, order, is_sine, mesh, cut_m, engine)
        spectrum = transformed(laid_down(mesh, easting, northing, weight[:, None])[0], mesh, engine)
        product(spectrum, kernel, order % 2 == 1, total, engine)
    return brought_back(total, mesh, engine)


def product(spectrum: ComplexArray, kernel: FloatArray, is_odd: bool, total: ComplexArray, engine: Engine) -> None:
    """Add a spectrum times one term's to a sum of spectra."""
    engine.map(
        lambda first: add_product(first, min(first + ROWS_PER_PIECE, len(total)), spectrum, kernel, is_odd, total),
        range(0, len(total), ROWS_PER_PIECE),
    )
