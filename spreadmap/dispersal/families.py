"""The ten families of location kernels: one small function for each formula, one entry of `KERNELS` for each family.

Every function takes distances r [m] or shares p [-] as an array of any shape, a scale a [m] and a shape b. With k the
density per area [m^-2]: F is the share of arrivals within r, `beyond` is 1 - F to full relative accuracy, the quantile
inverts F, and the moment of order n is the mean of r^n [m^n], infinite where the tail is too heavy to have one.

Source of forms and normalisations: Nathan, R., Klein, E., Robledo-Arnuncio, J. J. & Revilla, E. (2012), Dispersal
kernels: review, in Dispersal Ecology and Evolution, Oxford University Press, pp. 187-210 (from memory; the existence of
the chapter was checked, its table was not). WALD: Katul, G. G. et al. (2005), American Naturalist 166:368-381 (from
memory). Bound, row by row: densities and masses by tests/published/test_nathan_2012.py::test_closed_forms, quantiles by
::test_quantiles, mean and mode by ::test_mean_and_mode; densities, F and 1 - F at high precision by
tests/test_kernels.py::test_density_and_mass_keep_ten_digits_at_high_precision; moments and standard deviation by
tests/test_kernel_moments.py::test_a_moment_is_the_mean_of_a_power_of_the_distance. Whether a family is right for a mite
none of these tests can say.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from spreadmap.dispersal.search import find_quantile
from spreadmap.values.arrays import FloatArray

Form = Callable[[FloatArray, float, float], FloatArray]
Moment = Callable[[int, float, float], float]

TAILS = ("thin", "exponential", "power law with an exponential cut-off", "fat", "power law")
"""Classes of tail, from light to heavy; fat lies between exponential and power law."""
MOST_DENSITY = 1e200
"""Where a density is infinite at the source itself, it is held here: only means over areas are mapped [m^-2]."""

EVEN_BELOW = 1e-17
"""Power of r/a below which a density is that of the source itself, to all digits [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """The functions of one family.

    `scale_name` and `shape_name` are the settings that hold a and b; no `shape_name` means one parameter only. A shape
    lies above `least_shape`. `tail` takes the shape and gives a word of `TAILS`.
    """

    density: Form
    mass: Form
    beyond: Form
    quantile: Form
    moment: Moment
    sd: Callable[[float, float], float]
    mode: Callable[[float, float], float]
    tail: Callable[[float], str]
    scale_name: str = "scale_m"
    shape_name: str = ""
    least_shape: float = 0.0
    shape_is_length: bool = False


def _exp(value: float) -> float:
    """Return the exponential, infinite where it is more than a number can hold."""
    return math.exp(value) if value < 709.0 else math.inf


def _sd_of(moment: Moment) -> Callable[[float, float], float]:
    """Return the standard deviation from the first two moments; only where the two never nearly cancel."""

    def sd(a: float, b: float) -> float:
        first, second = moment(1, 1.0, b), moment(2, 1.0, b)
        return a * math.sqrt(max(second - first * first, 0.0)) if math.isfinite(second) else math.inf

    return sd


def _held(log_shape: FloatArray, factor: float) -> FloatArray:
    """Return factor times exp(log_shape), held at `MOST_DENSITY`."""
    return factor * np.exp(np.minimum(log_shape, math.log(MOST_DENSITY / factor)))


def _with_even_centre(mass: FloatArray, x: FloatArray, power: FloatArray, centre: float) -> FloatArray:
    """Return F, as of an even density where (r/a)^b is too small to tell: `centre` is pi a^2 k(0), x is r/a."""
    return np.where(power < EVEN_BELOW, centre * np.minimum(x, 1.0) ** 2, mass)


def _with_even_centre_inverted(x: FloatArray, p: FloatArray, b: float, centre: float) -> FloatArray:
    """Return r/a of shares p, as of an even density where (r/a)^b is too small to tell."""
    return np.where(p < centre * EVEN_BELOW ** (2 / b), np.sqrt(p / max(centre, 1e-300)), x)


def _tail_by_shape(b: float) -> str:
    """Return the tail of exp(-(r/a)^b)."""
    return "fat" if b < 1 else "exponential" if b == 1 else "thin"


# ---- gaussian: thin tail ---------------------------------------------------------------------------------------------


def gaussian_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = exp(-r^2/a^2) / (pi a^2)."""
    return np.exp(-((r / a) ** 2)) / (np.pi * a * a)


def gaussian_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - exp(-r^2/a^2)."""
    return -np.expm1(-((r / a) ** 2))


def gaussian_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return exp(-r^2/a^2)."""
    return np.exp(-((r / a) ** 2))


def gaussian_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `gaussian_mass`."""
    return a * np.sqrt(-np.log1p(-p))


def gaussian_moment(n: int, a: float, b: float) -> float:
    """Return a^n Gamma(1 + n/2): the mean is a sqrt(pi)/2."""
    return a**n * math.gamma(1 + n / 2)


# ---- exponential: exponential tail -----------------------------------------------------------------------------------


def exponential_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = exp(-r/a) / (2 pi a^2)."""
    return np.exp(-r / a) / (2 * np.pi * a * a)


def exponential_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - (1 + r/a) exp(-r/a) = P(2, r/a), the regularised lower incomplete gamma function."""
    return np.asarray(special.gammainc(2.0, r / a))


def exponential_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return 1 - P(2, r/a)."""
    return np.asarray(special.gammaincc(2.0, r / a))


def exponential_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `exponential_mass`."""
    return a * np.asarray(special.gammaincinv(2.0, p))


def exponential_moment(n: int, a: float, b: float) -> float:
    """Return a^n (n+1)!: the mean is 2a, not a as of an exponential distance."""
    return a**n * math.gamma(2 + n)


# ---- exponential_power: fat below shape 1, exponential at 1, thin above ----------------------------------------------


def exponential_power_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = b exp(-(r/a)^b) / (2 pi a^2 Gamma(2/b)); shape 1 is exponential, 2 is gaussian."""
    # Gamma(2/b) alone overflows below b = 0.0117.
    return np.asarray(b * np.exp(-((r / a) ** b) - special.gammaln(2 / b)) / (2 * np.pi * a * a))


def _exponential_power_centre(b: float) -> float:
    """Return pi a^2 k(0) = b / (2 Gamma(2/b))."""
    return b / 2 * math.exp(-math.lgamma(2 / b))


def exponential_power_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = P(2/b, (r/a)^b)."""
    power = (r / a) ** b
    return _with_even_centre(special.gammainc(2 / b, power), r / a, power, _exponential_power_centre(b))


def exponential_power_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return 1 - P(2/b, (r/a)^b)."""
    return np.asarray(special.gammaincc(2 / b, (r / a) ** b))


def exponential_power_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `exponential_power_mass`."""
    found = np.asarray(special.gammaincinv(2 / b, p)) ** (1 / b)
    return a * _with_even_centre_inverted(found, p, b, _exponential_power_centre(b))


def exponential_power_moment(n: int, a: float, b: float) -> float:
    """Return a^n Gamma((2+n)/b) / Gamma(2/b)."""
    return a**n * _exp(math.lgamma((2 + n) / b) - math.lgamma(2 / b))


# ---- student_2d: power law, the distance falls as r^(1-2b) -----------------------------------------------------------


def student_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = (b-1)/(pi a^2) (1 + r^2/a^2)^(-b); shape 3/2 is the Cauchy type, which has no mean."""
    return (b - 1) / (np.pi * a * a) * (1 + (r / a) ** 2) ** (-b)


def student_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - (1 + r^2/a^2)^(1-b)."""
    return -np.expm1((1 - b) * np.log1p((r / a) ** 2))


def student_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return (1 + r^2/a^2)^(1-b)."""
    return np.exp((1 - b) * np.log1p((r / a) ** 2))


def student_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `student_mass`."""
    return a * np.sqrt(np.expm1(-np.log1p(-p) / (b - 1)))


def student_moment(n: int, a: float, b: float) -> float:
    """Return a^n Gamma(1+n/2) Gamma(b-1-n/2) / Gamma(b-1), infinite up to b = 1 + n/2."""
    if b <= 1 + n / 2:
        return math.inf
    return a**n * math.gamma(1 + n / 2) * _exp(math.lgamma(b - 1 - n / 2) - math.lgamma(b - 1))


# ---- inverse_power and logistic: power laws, the distance falls as r^(1-b); both are beta distributions --------------


def _beta_inverse(share: FloatArray, p: float, q: float) -> FloatArray:
    """Return t = x/(1-x) with I_x(p, q) equal to a share, from whichever end of the scale keeps its digits."""
    near, far = special.betaincinv(p, q, share), special.betaincinv(q, p, 1 - share)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(near < 0.5, near / (1 - np.minimum(near, 0.5)), (1 - far) / far))


def inverse_power_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = (b-1)(b-2)/(2 pi a^2) (1 + r/a)^(-b)."""
    return (b - 1) * (b - 2) / (2 * np.pi * a * a) * (1 + r / a) ** (-b)


def inverse_power_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - (1 + r/a)^(1-b) (1 + (b-1) r/a) = I_x(2, b-2), x = r/(a+r); the latter keeps digits near zero."""
    near = np.minimum(r / a, 1.0)
    return np.where(r < a, special.betainc(2.0, b - 2, near / (1 + near)), 1 - inverse_power_beyond(r, a, b))


def inverse_power_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return (1 + r/a)^(1-b) (1 + (b-1) r/a)."""
    x = np.where(np.isfinite(r), r / a, 0.0)
    return np.where(np.isfinite(r), np.exp((1 - b) * np.log1p(x) + np.log1p((b - 1) * x)), 0.0)


def inverse_power_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `inverse_power_mass`."""
    return a * _beta_inverse(p, 2.0, b - 2)


def inverse_power_moment(n: int, a: float, b: float) -> float:
    """Return a^n (n+1)! Gamma(b-2-n) / Gamma(b-2), infinite up to b = 2 + n: the mean is 2a/(b-3)."""
    if b <= 2 + n:
        return math.inf
    return a**n * math.gamma(2 + n) * _exp(math.lgamma(b - 2 - n) - math.lgamma(b - 2))


def logistic_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = b / (2 pi a^2 Gamma(2/b) Gamma(1-2/b)) / (1 + (r/a)^b); the two Gammas are pi / sin(2 pi/b)."""
    return b * math.sin(2 * math.pi / b) / (2 * np.pi**2 * a * a) / (1 + (r / a) ** b)


def _logistic_part(r: FloatArray, a: float, b: float) -> tuple[np.ndarray, FloatArray]:
    """Return whether r lies below the scale, and there F = I_x(2/b, 1-2/b), x = t/(1+t), else 1 - F; t = (r/a)^b."""
    t = (r / a) ** b
    is_near = t < 1
    x = np.where(is_near, np.minimum(t, 1.0) / (1 + np.minimum(t, 1.0)), 1 / (1 + t))
    p = np.where(is_near, 2 / b, 1 - 2 / b)
    return is_near, _with_even_centre(special.betainc(p, 1 - p, x), r / a, t, _logistic_centre(b))


def _logistic_centre(b: float) -> float:
    """Return pi a^2 k(0) = b sin(2 pi/b) / (2 pi)."""
    return b * math.sin(2 * math.pi / b) / (2 * math.pi)


def logistic_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = I_x(2/b, 1-2/b), x = (r/a)^b / (1 + (r/a)^b)."""
    is_near, part = _logistic_part(r, a, b)
    return np.where(is_near, part, 1 - part)


def logistic_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return 1 - I_x(2/b, 1-2/b)."""
    is_near, part = _logistic_part(r, a, b)
    return np.where(is_near, 1 - part, part)


def logistic_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `logistic_mass`."""
    return a * _with_even_centre_inverted(_beta_inverse(p, 2 / b, 1 - 2 / b) ** (1 / b), p, b, _logistic_centre(b))


def logistic_moment(n: int, a: float, b: float) -> float:
    """Return a^n sin(2 pi/b) / sin((2+n) pi/b), infinite up to b = 2 + n."""
    return a**n * math.sin(2 * math.pi / b) / math.sin((2 + n) * math.pi / b) if b > 2 + n else math.inf


# ---- lognormal: fat tail ---------------------------------------------------------------------------------------------


def lognormal_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = exp(-ln(r/a)^2 / (2 b^2)) / ((2 pi)^(3/2) b r^2); zero at the source."""
    log_r = np.log(np.where(r > 0, r, a))
    # One exponential: r^2 alone underflows below 1e-154 m.
    value = np.exp(-(((log_r - np.log(a)) / b) ** 2) / 2 - 2 * log_r) / ((2 * np.pi) ** 1.5 * b)
    return np.where((r > 0) & np.isfinite(r), value, 0.0)


def lognormal_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = Phi(ln(r/a)/b)."""
    safe = np.where(r > 0, r, a)
    return np.where(r > 0, special.ndtr(np.log(safe / a) / b), 0.0)


def lognormal_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return Phi(-ln(r/a)/b)."""
    safe = np.where(r > 0, r, a)
    return np.where(r > 0, special.ndtr(-np.log(safe / a) / b), 1.0)


def lognormal_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `lognormal_mass`."""
    return a * np.exp(b * np.asarray(special.ndtri(p)))


def lognormal_moment(n: int, a: float, b: float) -> float:
    """Return a^n exp(n^2 b^2/2), infinite where that is more than a number can hold."""
    return a**n * _exp(n * n * b * b / 2)


def lognormal_sd(a: float, b: float) -> float:
    """Return mean sqrt(exp(b^2) - 1)."""
    return lognormal_moment(1, a, b) * math.sqrt(math.expm1(b * b)) if b * b < 350 else math.inf


# ---- weibull: fat below shape 1, exponential at 1, thin above --------------------------------------------------------


def weibull_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = b/(2 pi a^b) r^(b-2) exp(-(r/a)^b); shape 2 is gaussian, below 2 held near the source."""
    x = np.where(np.isfinite(r), r / a, 1.0)
    value = _held(special.xlogy(b - 2, x) - x**b, b / (2 * np.pi * a * a))
    return np.where(np.isfinite(r), value, 0.0)


def weibull_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - exp(-(r/a)^b)."""
    return -np.expm1(-((r / a) ** b))


def weibull_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return exp(-(r/a)^b)."""
    return np.exp(-((r / a) ** b))


def weibull_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `weibull_mass`."""
    return a * (-np.log1p(-p)) ** (1 / b)


def weibull_moment(n: int, a: float, b: float) -> float:
    """Return a^n Gamma(1 + n/b); of order -1 infinite up to shape 1."""
    return a**n * _exp(math.lgamma(1 + n / b)) if b > -n else math.inf


# ---- gamma: exponential tail -----------------------------------------------------------------------------------------


def gamma_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = (r/a)^(b-2) exp(-r/a) / (2 pi a^2 Gamma(b)); shape 2 is exponential, below 2 held near the source."""
    x = np.where(np.isfinite(r), r / a, 1.0)
    value = _held(special.xlogy(b - 2, x) - x - math.lgamma(b), 1 / (2 * np.pi * a * a))
    return np.where(np.isfinite(r), value, 0.0)


def gamma_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = P(b, r/a)."""
    return np.asarray(special.gammainc(b, r / a))


def gamma_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return 1 - P(b, r/a)."""
    return np.asarray(special.gammaincc(b, r / a))


def gamma_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `gamma_mass`."""
    return a * np.asarray(special.gammaincinv(b, p))


def gamma_moment(n: int, a: float, b: float) -> float:
    """Return a^n Gamma(b+n) / Gamma(b); of order -1 infinite up to shape 1."""
    return a**n * {-1: 1 / (b - 1) if b > 1 else math.inf, 0: 1.0, 1: b, 2: b * (b + 1)}[n]


# ---- wald: inverse Gaussian, a is the mean and b the shape, both in metres -------------------------------------------


def wald_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = sqrt(b/(8 pi^3 r^5)) exp(-b (r-a)^2 / (2 a^2 r)); zero at the source."""
    inside = (r > 0) & np.isfinite(r)
    safe = np.where(inside, r, a)
    exponent = -b / 2 * ((safe / a - 1) / np.sqrt(safe)) ** 2 - 2.5 * np.log(safe)
    return np.where(inside, np.sqrt(b / (8 * np.pi**3)) * np.exp(exponent), 0.0)


def _wald_parts(r: FloatArray, a: float, b: float) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Return v = sqrt(b/r)(r/a-1), exp(2b/a) Phi(-sqrt(b/r)(r/a+1)), and whether r is neither zero nor infinite.

    With erfcx(z) = exp(z^2) erfc(z) the second is exp(-v^2/2) erfcx(sqrt(b/2r)(r/a+1)) / 2: exp(2b/a) alone overflows
    from b/a = 355 on, and its logarithm loses digits long before.
    """
    inside = (r > 0) & np.isfinite(r)
    safe = np.where(inside, r, a)
    root = np.sqrt(b / safe)
    v, u = root * (safe / a - 1), root * (safe / a + 1)
    return v, np.exp(-v * v / 2) * special.erfcx(u / math.sqrt(2)) / 2, inside


def wald_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = Phi(sqrt(b/r)(r/a-1)) + exp(2b/a) Phi(-sqrt(b/r)(r/a+1))."""
    v, second, inside = _wald_parts(r, a, b)
    return np.where(inside, special.ndtr(v) + second, (r > 0) * 1.0)


def wald_beyond(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return Phi(-sqrt(b/r)(r/a-1)) - exp(2b/a) Phi(-sqrt(b/r)(r/a+1))."""
    v, second, inside = _wald_parts(r, a, b)
    return np.where(inside, special.ndtr(-v) - second, (r <= 0) * 1.0)


def wald_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `wald_mass`, which has no closed form."""
    return find_quantile(
        p, lambda r: wald_mass(r, a, b), lambda r: wald_beyond(r, a, b),
        lambda r: 2 * np.pi * r * r * wald_density(r, a, b),
    )  # fmt: skip


def wald_moment(n: int, a: float, b: float) -> float:
    """Return the mean of r^n for n = -1, 0, 1, 2: 1/a + 1/b, 1, a, a^2 + a^3/b."""
    return {-1: 1 / a + 1 / b, 0: 1.0, 1: a, 2: a * a + a**3 / b}[n]


def wald_mode(a: float, b: float) -> float:
    """Return a (sqrt(1 + (3a/2b)^2) - 3a/2b), written without the difference of two large numbers."""
    ratio = 1.5 * a / b
    return float(a / (np.sqrt(1 + ratio * ratio) + ratio))


KERNELS: dict[str, Family] = {
    "wald": Family(
        density=wald_density, mass=wald_mass, beyond=wald_beyond, quantile=wald_quantile, moment=wald_moment,
        sd=lambda a, b: a * math.sqrt(a / b), mode=wald_mode, tail=lambda b: TAILS[2],
        scale_name="mean_m", shape_name="shape_m", shape_is_length=True,
    ),
    "lognormal": Family(
        density=lognormal_density, mass=lognormal_mass, beyond=lognormal_beyond, quantile=lognormal_quantile,
        moment=lognormal_moment, sd=lognormal_sd, mode=lambda a, b: a * math.exp(-b * b),
        tail=lambda b: "fat", shape_name="shape",
    ),
    "student_2d": Family(
        density=student_density, mass=student_mass, beyond=student_beyond, quantile=student_quantile,
        moment=student_moment, sd=_sd_of(student_moment), mode=lambda a, b: a / math.sqrt(2 * b - 1),
        tail=lambda b: "power law", shape_name="shape", least_shape=1.0,
    ),
    "inverse_power": Family(
        density=inverse_power_density, mass=inverse_power_mass, beyond=inverse_power_beyond,
        quantile=inverse_power_quantile, moment=inverse_power_moment, sd=_sd_of(inverse_power_moment),
        mode=lambda a, b: a / (b - 1), tail=lambda b: "power law", shape_name="shape", least_shape=2.0,
    ),
    "logistic": Family(
        density=logistic_density, mass=logistic_mass, beyond=logistic_beyond, quantile=logistic_quantile,
        moment=logistic_moment, sd=_sd_of(logistic_moment), mode=lambda a, b: a * (b - 1) ** (-1 / b),
        tail=lambda b: "power law", shape_name="shape", least_shape=2.0,
    ),
    "exponential_power": Family(
        density=exponential_power_density, mass=exponential_power_mass, beyond=exponential_power_beyond,
        quantile=exponential_power_quantile, moment=exponential_power_moment, sd=_sd_of(exponential_power_moment),
        mode=lambda a, b: a * _exp(-math.log(b) / b), tail=_tail_by_shape, shape_name="shape",
    ),
    "weibull": Family(
        density=weibull_density, mass=weibull_mass, beyond=weibull_beyond, quantile=weibull_quantile,
        moment=weibull_moment, sd=_sd_of(weibull_moment),
        mode=lambda a, b: a * ((b - 1) / b) ** (1 / b) if b > 1 else 0.0, tail=_tail_by_shape, shape_name="shape",
    ),
    "gamma": Family(
        density=gamma_density, mass=gamma_mass, beyond=gamma_beyond, quantile=gamma_quantile, moment=gamma_moment,
        sd=lambda a, b: a * math.sqrt(b), mode=lambda a, b: a * max(b - 1, 0.0), tail=lambda b: "exponential",
        shape_name="shape",
    ),
    "exponential": Family(
        density=exponential_density, mass=exponential_mass, beyond=exponential_beyond, quantile=exponential_quantile,
        moment=exponential_moment, sd=lambda a, b: a * math.sqrt(2), mode=lambda a, b: a,
        tail=lambda b: "exponential",
    ),
    "gaussian": Family(
        density=gaussian_density, mass=gaussian_mass, beyond=gaussian_beyond, quantile=gaussian_quantile,
        moment=gaussian_moment, sd=lambda a, b: a * math.sqrt(1 - math.pi / 4), mode=lambda a, b: a / math.sqrt(2),
        tail=lambda b: "thin",
    ),
}  # fmt: skip
