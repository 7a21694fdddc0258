"""Whether chains agree and how much they know: R-hat, effective size, and the region of two parameters together."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtri
from scipy.stats import chi2, rankdata

from spreadmap.values.arrays import FloatArray


def split(draws: FloatArray) -> FloatArray:
    """Return chains (m, n) cut into halves, (2 m, n // 2)."""
    half = draws.shape[1] // 2
    return np.concatenate([draws[:, :half], draws[:, draws.shape[1] - half :]])


def rank_normal(draws: FloatArray) -> FloatArray:
    """Return normal scores of the ranks over all chains, same shape; ties share theirs."""
    ranks = rankdata(draws, method="average").reshape(draws.shape)
    return np.asarray(ndtri((ranks - 0.375) / (draws.size + 0.25)))


def _r_hat_of(chains: FloatArray) -> float:
    """Return the root of whole over within variance of chains (m, n)."""
    n = chains.shape[1]
    within = float(chains.var(axis=1, ddof=1).mean())
    between = float(chains.mean(axis=1).var(ddof=1))
    if within <= 0:
        return 1.0 if between <= 0 else math.inf
    return math.sqrt((n - 1) / n + between / within)


def r_hat(draws: FloatArray) -> float:
    """Return R-hat of split, rank-normalised chains, the larger of that of values and of distances from the median.

    Parameters
    ----------
    draws : array, shape (m, n)
        m chains of n draws, n at least 4.

    Returns
    -------
    float
        Near one where chains agree. [-]

    References
    ----------
    Vehtari, Gelman, Simpson, Carpenter & Buerkner 2021, Bayesian Analysis 16:667-718, doi 10.1214/20-BA1221,
    from memory; bound by test_fit_diagnostics.py.
    """
    halves = split(draws)
    folded = np.abs(halves - np.median(halves))
    return max(_r_hat_of(rank_normal(halves)), _r_hat_of(rank_normal(folded)))


def effective_size(draws: FloatArray) -> float:
    """Return how many independent draws chains are worth, from autocorrelations over all of them.

    Parameters
    ----------
    draws : array, shape (m, n)

    Returns
    -------
    float
        At most m n log10(m n). [draws]

    Notes
    -----
    Geyer's pairs of autocorrelations are summed as long as they are above zero, none above the one before.

    References
    ----------
    As `r_hat`.
    """
    chains = rank_normal(split(draws))
    m, n = chains.shape
    within = float(chains.var(axis=1, ddof=1).mean())
    if within <= 0:
        return float(m * n)
    whole = (n - 1) / n * within + float(chains.mean(axis=1).var(ddof=1))
    centred = chains - chains.mean(axis=1, keepdims=True)
    size = 1 << (2 * n - 1).bit_length()
    power = np.abs(np.fft.rfft(centred, size, axis=1)) ** 2
    covariance = np.fft.irfft(power, size, axis=1)[:, :n].mean(axis=0) / n * (n / (n - 1))
    rho = 1 - (within - covariance) / whole
    rho[0] = 1.0
    pairs = rho[0 : n - n % 2 : 2] + rho[1 : n - n % 2 : 2]
    below = np.flatnonzero(pairs <= 0)
    pairs = pairs[: below[0]] if len(below) else pairs
    tau = -1 + 2 * float(np.minimum.accumulate(pairs).sum())
    total = m * n
    return float(min(total / max(tau, 1e-9), total * math.log10(total)))


def is_outside_region(draws: FloatArray, point: FloatArray, share: float) -> bool:
    """Return whether a point lies outside the joint region that holds a share of draws (n, 2) of two parameters.

    The region is the ellipse of their mean and covariance that would hold the share of a normal distribution.
    """
    covariance = np.cov(draws, rowvar=False)
    away = np.asarray(point) - draws.mean(axis=0)
    return bool(away @ np.linalg.solve(covariance, away) > chi2.ppf(share, 2))
