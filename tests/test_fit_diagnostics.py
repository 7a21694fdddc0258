"""R-hat, effective size and joint region: their laws, and chains whose worth is known."""

import math

import numpy as np
import pytest

from spreadmap.outbreak.fit_diagnostics import effective_size, is_outside_region, r_hat


def autoregressive(chains, length, rho, seed=1):
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=(chains, length)) * math.sqrt(1 - rho**2)
    draws = np.empty((chains, length))
    draws[:, 0] = rng.normal(size=chains)
    for k in range(1, length):
        draws[:, k] = rho * draws[:, k - 1] + noise[:, k]
    return draws


def test_chains_of_one_law_agree():
    assert r_hat(autoregressive(4, 2000, 0.0)) == pytest.approx(1.0, abs=0.01)


def test_chains_apart_disagree():
    draws = autoregressive(4, 2000, 0.0)
    draws[0] += 1.0
    assert r_hat(draws) > 1.05
    # chains of one middle and two widths: told by the distances from the median alone
    wide = autoregressive(4, 2000, 0.0)
    wide[:2] *= 3.0
    assert r_hat(wide) > 1.05


def test_a_chain_that_drifts_disagrees_with_itself():
    draws = autoregressive(1, 2000, 0.0) + np.linspace(0, 3, 2000)
    assert r_hat(draws) > 1.2


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_effective_size_of_an_autoregressive_chain(rho):
    # worked by hand: n (1 - rho) / (1 + rho) independent draws
    draws = autoregressive(4, 20_000, rho)
    assert effective_size(draws) == pytest.approx(80_000 * (1 - rho) / (1 + rho), rel=0.08)


def test_worth_does_not_change_with_the_unit():
    draws = autoregressive(3, 500, 0.6)
    assert effective_size(np.exp(draws)) == pytest.approx(effective_size(draws), rel=1e-12)
    assert r_hat(np.exp(draws)) < 1.05


def test_a_chain_that_never_moves_has_no_spread():
    assert r_hat(np.ones((2, 100))) == 1.0
    assert r_hat(np.array([np.zeros(100), np.ones(100)])) > 10


def test_joint_region_holds_its_share():
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal([1.0, -1.0], [[1.0, 0.6], [0.6, 2.0]], 20_000)
    inside = [not is_outside_region(draws, point, 0.9) for point in draws[:2000]]
    assert np.mean(inside) == pytest.approx(0.9, abs=0.02)
    assert is_outside_region(draws, np.array([6.0, 6.0]), 0.95)
    assert not is_outside_region(draws, np.array([1.0, -1.0]), 0.5)
