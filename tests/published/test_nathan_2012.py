"""Formulas of dispersal kernels.

Nathan, R., Klein, E., Robledo-Arnuncio, J. J. & Revilla, E. (2012), Dispersal kernels: review, in Dispersal Ecology
and Evolution, Oxford University Press, ch. 15, pp. 187-210: forms and normalisations of the families (from memory).
WALD: Katul, G. G. et al. (2005), American Naturalist 166:368-381.

The numbers below are not printed there; they were computed from the formulas with 25 to 40 digit arithmetic, ten
digits kept, and normalisation and F were confirmed by quadrature in ln r. They prove that the code computes the formula, not that the formula is right for a mite. Tolerance: 1e-9 relative
for closed forms, 1e-7 for quantiles. A second oracle is scipy.stats, whose densities of distance are named in the table.
"""

# ruff: noqa: E501  one kernel is one row of the table

import math

import numpy as np
import pytest
from scipy import integrate, stats

from spreadmap.dispersal.kernels import KERNELS, Kernel

INF = math.inf
# family, a [m], b, k(20) [m^-2], f(20) [m^-1], F(20), mean, mode of f, median, 95 % and 99 % quantile [m]
TABLE = [
    ("gaussian", 10, None, 5.83004893e-5, 0.007326255555, 0.9816843611, 8.862269255, 7.071067812, 8.325546112, 17.30818383, 21.45966026),
    ("gaussian", 25, None, 0.0002685478264, 0.03374671514, 0.472707576, 22.15567314, 17.67766953, 20.81386528, 43.27045957, 53.64915066),
    ("gaussian", 100, None, 3.05828777e-5, 0.003843157757, 0.03921056085, 88.62269255, 70.71067812, 83.25546112, 173.0818383, 214.5966026),
    ("exponential", 5, None, 0.0001166009786, 0.01465251111, 0.9084218056, 10.0, 5.0, 8.39173495, 23.71932259, 33.19176034),
    ("exponential", 10, None, 0.000215392793, 0.02706705665, 0.5939941503, 20.0, 10.0, 16.7834699, 47.43864518, 66.38352068),
    ("exponential", 50, None, 4.267389951e-5, 0.005362560368, 0.06155193555, 100.0, 50.0, 83.9173495, 237.1932259, 331.9176034),
    ("exponential_power", 10, 0.5, 3.224435836e-5, 0.004051945574, 0.05534122036, 200.0, 40.0, 134.8403014, 601.1918955, 1009.043859),
    ("exponential_power", 10, 1, 0.000215392793, 0.02706705665, 0.5939941503, 20.0, 10.0, 16.7834699, 47.43864518, 66.38352068),
    ("exponential_power", 25, 1.5, 0.0002091385266, 0.02628112234, 0.3639935337, 27.99616304, 19.07857071, 25.31168374, 58.87707684, 76.29275942),
    ("student_2d", 10, 1.25, 0.0001064333252, 0.0133748061, 0.331259695, INF, 8.164965809, 38.72983346, 3999.9875, 99999.9995),
    ("student_2d", 10, 2, 0.0001273239545, 0.016, 0.8, 15.70796327, 5.773502692, 10.0, 43.58898944, 99.49874371),
    ("student_2d", 20, 3.5, 0.0001758430305, 0.02209708691, 0.8232233047, 13.33333333, 8.164965809, 11.30500616, 30.42665948, 46.08502336),
    ("inverse_power", 10, 2.5, 7.65734577e-5, 0.009622504486, 0.2301996411, INF, 6.666666667, 72.90859369, 8983.329625, 224983.3332),
    ("inverse_power", 10, 3.5, 0.0001276224295, 0.01603750748, 0.6150998205, 40.0, 4.0, 14.17634264, 121.56243, 382.7986452),
    ("inverse_power", 20, 5, 0.0001492077591, 0.01875, 0.6875, 20.0, 5.0, 12.55884354, 60.449026, 121.9773471),
    ("logistic", 10, 2.5, 0.0001118304068, 0.01405302338, 0.3563207649, INF, 8.502830004, 34.49204707, 3500.560291, 87514.02),
    ("logistic", 10, 3.5, 0.0001403853986, 0.01764134947, 0.7504476626, 22.46979604, 7.696669794, 11.6392488, 59.39040415, 173.7249932),
    ("logistic", 20, 5, 0.0003011317873, 0.03784133643, 0.6159080655, 20.0, 15.15716567, 17.19748916, 43.10405972, 73.89009789),
    ("lognormal", 5, 1.2, 6.787128215e-5, 0.008528956856, 0.8760050057, 10.27216605, 1.184638793, 5.0, 35.99076093, 81.53687413),
    ("lognormal", 10, 0.8, 0.0001363220424, 0.01713073308, 0.8068738906, 13.77127764, 5.27292424, 10.0, 37.28041026, 64.30667218),
    ("lognormal", 20, 0.5, 0.0003174681797, 0.03989422804, 0.5, 22.66296906, 15.57601566, 20.0, 45.52033217, 64.00148016),
    ("weibull", 10, 0.7, 8.913857971e-5, 0.01120148429, 0.8029907886, 12.65823506, 0.0, 5.92390113, 47.94226728, 88.61226443),
    ("weibull", 10, 1.5, 9.977600252e-5, 0.01253822226, 0.9408942534, 9.02745293, 4.807498568, 7.832197688, 20.78110638, 27.67985365),
    ("weibull", 25, 2, 0.0002685478264, 0.03374671514, 0.472707576, 22.15567314, 17.67766953, 20.81386528, 43.27045957, 53.64915066),
    ("gamma", 10, 0.8, 8.05297765e-5, 0.01011967017, 0.9057100009, 8.0, 0.0, 5.013512264, 25.95143613, 41.29879117),
    ("gamma", 5, 2, 0.0001166009786, 0.01465251111, 0.9084218056, 10.0, 5.0, 8.39173495, 23.71932259, 33.19176034),
    ("gamma", 4, 3.5, 0.0002254792271, 0.02833455534, 0.8114265325, 14.0, 10.0, 12.69162239, 28.1342809, 36.95061381),
    ("wald", 11, 3, 5.846707687e-5, 0.007347189567, 0.8616286519, 11.0, 0.9918693812, 4.057370734, 44.7811016, 104.5269656),
    ("wald", 20, 10, 0.0001122419513, 0.01410473959, 0.7137917881, 20.0, 3.245553203, 10.28459785, 71.05192092, 141.0566649),
    ("wald", 50, 50, 0.0001600323172, 0.02011025408, 0.2706136704, 50.0, 15.13878189, 33.79206528, 146.1037989, 249.2047422),
]  # fmt: skip


class BetaPrimeOfPower:
    """scipy's beta-prime distribution of (r/a)^b, as of the logistic kernel."""

    def __init__(self, a, b):
        self.a, self.b, self.of_power = a, b, stats.betaprime(2 / b, 1 - 2 / b)

    def pdf(self, r):
        return self.of_power.pdf((r / self.a) ** self.b) * self.b / r * (r / self.a) ** self.b

    def cdf(self, r):
        return self.of_power.cdf((r / self.a) ** self.b)

    def sf(self, r):
        return self.of_power.sf((r / self.a) ** self.b)


# the same density of distance in scipy.stats, from scale a and shape b
ORACLE = {
    "gaussian": lambda a, b: stats.rayleigh(scale=a / math.sqrt(2)),
    "exponential": lambda a, b: stats.gamma(2, scale=a),
    "exponential_power": lambda a, b: stats.gengamma(a=2 / b, c=b, scale=a),
    "student_2d": lambda a, b: stats.burr12(c=2, d=b - 1, scale=a),
    "inverse_power": lambda a, b: stats.betaprime(2, b - 2, scale=a),
    "logistic": BetaPrimeOfPower,
    "lognormal": lambda a, b: stats.lognorm(s=b, scale=a),
    "weibull": lambda a, b: stats.weibull_min(b, scale=a),
    "gamma": lambda a, b: stats.gamma(b, scale=a),
    "wald": lambda a, b: stats.invgauss(mu=a / b, scale=b),
}
ROWS = pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}-{row[1]}-{row[2]}")


def kernel_of(row):
    return Kernel(family=row[0], scale_m=float(row[1]), shape=row[2])


def test_the_table_holds_every_family():
    assert {row[0] for row in TABLE} == set(KERNELS) == set(ORACLE)


@ROWS
def test_closed_forms(row):
    kernel = kernel_of(row)
    found = (kernel.location_density(20.0), kernel.distance_density(20.0), kernel.mass_within(20.0))
    assert [float(value) for value in found] == pytest.approx(row[3:6], rel=1e-9, abs=0)
    # what goes beyond; printed to ten digits, so that its own last digit is the first to be lost
    assert float(kernel.mass_beyond(20.0)) == pytest.approx(1 - row[5], abs=1e-10)


@ROWS
def test_mean_and_mode(row):
    kernel = kernel_of(row)
    assert (kernel.mean_m(), kernel.mode_m()) == pytest.approx(row[6:8], rel=1e-9, abs=0)


@ROWS
def test_quantiles(row):
    assert kernel_of(row).quantile(np.array([0.5, 0.95, 0.99])) == pytest.approx(row[8:], rel=1e-7, abs=0)


@ROWS
def test_mass_over_the_plane_is_one(row):
    kernel = kernel_of(row)
    low, high = np.log(kernel.quantile(1e-13)), np.log(kernel.quantile(1 - 1e-12))
    mass, _ = integrate.quad(
        lambda u: math.exp(u) * float(kernel.distance_density(math.exp(u))), low, high, epsrel=1e-11, limit=500
    )
    assert mass == pytest.approx(1.0, rel=1e-8)


@ROWS
def test_distance_over_location_density_is_the_circumference(row):
    kernel = kernel_of(row)
    # 2 pi 20, to twelve digits
    assert float(kernel.distance_density(20.0) / kernel.location_density(20.0)) == pytest.approx(
        125.66370614359172, rel=1e-12
    )


@ROWS
def test_scipy_has_the_same_distances(row):
    kernel, oracle = kernel_of(row), ORACLE[row[0]](row[1], row[2])
    r = np.array([0.3, 2.0, 20.0, 90.0])
    assert kernel.distance_density(r) == pytest.approx(oracle.pdf(r), rel=1e-9, abs=0)
    assert kernel.mass_within(r) == pytest.approx(oracle.cdf(r), rel=1e-9, abs=0)
    assert kernel.mass_beyond(r) == pytest.approx(oracle.sf(r), rel=1e-9, abs=0)
