"""The one measured distance of an eriophyid mite, and what it makes of each family.

Bergh, J. C. & McCoy, C. W. (1997), Aerial dispersal of citrus rust mite (Acari: Eriophyidae) from Florida citrus
groves, Environmental Entomology 26:256-264, doi 10.1093/ee/26.2.256, abstract: mean distance 10.95 m, SD 20.34 m.
Another mite species, from trees, as trap catches.

Parameters by moments, computed from that pair; tolerance 1e-5 on parameters, half the last digit on shares.
"""

import math

import pytest

from spreadmap.dispersal.kernels import Kernel, kernel_from_settings
from spreadmap.values.settings import KernelSettings

MEAN, SD = 10.95, 20.34


def beyond(kernel, distance):
    return 1 - float(kernel.mass_within(distance))


def lognormal_by_moments():
    shape = math.sqrt(math.log(1 + (SD / MEAN) ** 2))
    return Kernel(family="lognormal", scale_m=MEAN * math.exp(-(shape**2) / 2), shape=shape)


def test_log_normal_by_moments():
    kernel = lognormal_by_moments()
    assert kernel.scale_m == pytest.approx(5.190545, abs=1e-5)
    assert kernel.shape == pytest.approx(1.2218844, abs=1e-5)
    assert kernel.mean_m() == pytest.approx(MEAN)
    assert beyond(kernel, 100) == pytest.approx(0.00773634, abs=1e-5)


def test_the_default_kernel_is_the_wald_fit():
    # variance of an inverse Gaussian is mean^3 / shape
    shape = MEAN**3 / SD**2
    assert shape == pytest.approx(3.1735143, abs=1e-5)
    default = kernel_from_settings(KernelSettings())
    assert default.mean_m() == MEAN
    assert default.shape == pytest.approx(shape, abs=0.005)
    kernel = Kernel(family="wald", scale_m=MEAN, shape=shape)
    assert [beyond(kernel, r) for r in (30, 100, 135)] == pytest.approx([0.08591, 0.01026, 0.004603], abs=5e-6)


def test_student_2d_by_moments():
    kernel = Kernel(family="student_2d", scale_m=8.0914639, shape=2.1226941)
    assert kernel.mean_m() == pytest.approx(MEAN, rel=1e-5)
    assert [beyond(kernel, r) for r in (30, 100)] == pytest.approx([0.04874, 0.003507], abs=5e-6)


def test_the_family_moves_the_tail_by_orders_of_magnitude():
    exponential = Kernel(family="exponential", scale_m=MEAN / 2)
    # 1 - F = (1 + r/a) exp(-r/a), kept free of the difference from one
    tail = (1 + 100 / exponential.scale_m) * math.exp(-100 / exponential.scale_m)
    assert tail == pytest.approx(2.25e-7, rel=0.01)
    assert beyond(exponential, 100) == pytest.approx(tail, rel=1e-6)
    assert beyond(lognormal_by_moments(), 100) / tail > 3e4
    assert float(exponential.location_density(100.0)) == pytest.approx(6.20e-11, rel=1e-3)
