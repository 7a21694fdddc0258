"""Location kernels by name: how arrivals thin out with distance when direction does not matter.

Two functions share the word kernel. The *location* kernel k(r) is a density per area [m^-2] with mass one over the
plane; the *distance* kernel f(r) = 2 pi r k(r) is a density of distance [m^-1]. Arrivals on a plant follow k.
Normalisations after Nathan, Klein, Robledo-Arnuncio & Revilla 2012, Dispersal kernels: review, in Dispersal Ecology
and Evolution, Oxford, pp. 187-210 (from memory), each bound by tests/published/test_nathan_2012.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from scipy import special, stats

from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray
from spreadmap.values.settings import KernelSettings

Form = Callable[[FloatArray, float, float], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """The functions of one family; each takes distance or share, scale a [m] and shape b.

    `scale_name` and `shape_name` are the settings that hold a and b; no `shape_name` means one parameter only.
    """

    density: Form
    mass: Form
    quantile: Form
    mean: Callable[[float, float], float]
    mode: Callable[[float, float], float]
    tail: str
    scale_name: str = "scale_m"
    shape_name: str = ""
    least_shape: float = 0.0
    shape_is_length: bool = False


def gaussian_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = exp(-r^2/a^2) / (pi a^2)."""
    return np.exp(-((r / a) ** 2)) / (np.pi * a * a)


def gaussian_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - exp(-r^2/a^2)."""
    return -np.expm1(-((r / a) ** 2))


def gaussian_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `gaussian_mass`."""
    return a * np.sqrt(-np.log1p(-p))


def exponential_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = exp(-r/a) / (2 pi a^2); the mean distance is 2a."""
    return np.exp(-r / a) / (2 * np.pi * a * a)


def exponential_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = P(2, r/a), the regularised lower incomplete gamma function."""
    return np.asarray(special.gammainc(2.0, r / a))


def exponential_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `exponential_mass`."""
    return a * np.asarray(special.gammaincinv(2.0, p))


def exponential_power_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = b exp(-(r/a)^b) / (2 pi a^2 Gamma(2/b))."""
    # Gamma(2/b) alone overflows below b = 0.0117; a power too large for a number means that nothing arrives.
    with np.errstate(over="ignore"):
        return np.asarray(b * np.exp(-((r / a) ** b) - special.gammaln(2 / b)) / (2 * np.pi * a * a))


def exponential_power_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = P(2/b, (r/a)^b)."""
    with np.errstate(over="ignore"):
        return np.asarray(special.gammainc(2 / b, (r / a) ** b))


def exponential_power_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `exponential_power_mass`."""
    return a * np.asarray(special.gammaincinv(2 / b, p)) ** (1 / b)


def student_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = (b-1)/(pi a^2) (1 + r^2/a^2)^(-b)."""
    return (b - 1) / (np.pi * a * a) * (1 + (r / a) ** 2) ** (-b)


def student_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = 1 - (1 + r^2/a^2)^(1-b)."""
    return -np.expm1((1 - b) * np.log1p((r / a) ** 2))


def student_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `student_mass`."""
    with np.errstate(over="ignore"):
        return a * np.sqrt(np.expm1(-np.log1p(-p) / (b - 1)))


def student_mean(a: float, b: float) -> float:
    """Return (a sqrt(pi)/2) Gamma(b-3/2) / Gamma(b-1); infinite up to b = 3/2."""
    if b <= 1.5:
        return float("inf")
    return float(a * np.sqrt(np.pi) / 2 * np.exp(special.gammaln(b - 1.5) - special.gammaln(b - 1)))


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


def lognormal_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `lognormal_mass`."""
    return a * np.exp(b * np.asarray(special.ndtri(p)))


def lognormal_mean(a: float, b: float) -> float:
    """Return a exp(b^2/2), infinite where that is more than a number can hold."""
    return float(a * np.exp(b * b / 2)) if b * b / 2 < 700 else float("inf")


def wald_density(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return k = sqrt(b/(8 pi^3 r^5)) exp(-b (r-a)^2 / (2 a^2 r)); a is the mean, b the shape, both in metres."""
    inside = (r > 0) & np.isfinite(r)
    safe = np.where(inside, r, a)
    exponent = -b / 2 * ((safe / a - 1) / np.sqrt(safe)) ** 2 - 2.5 * np.log(safe)
    return np.where(inside, np.sqrt(b / (8 * np.pi**3)) * np.exp(exponent), 0.0)


def wald_mass(r: FloatArray, a: float, b: float) -> FloatArray:
    """Return F = Phi(sqrt(b/r)(r/a-1)) + exp(2b/a) Phi(-sqrt(b/r)(r/a+1)), the second term by logarithms.

    exp(2b/a) alone overflows from b/a = 355 on.
    """
    inside = (r > 0) & np.isfinite(r)
    safe = np.where(inside, r, a)
    root = np.sqrt(b / safe)
    second = np.exp(2 * b / a + special.log_ndtr(-root * (safe / a + 1)))
    return np.where(inside, special.ndtr(root * (safe / a - 1)) + second, (r > 0) * 1.0)


def wald_quantile(p: FloatArray, a: float, b: float) -> FloatArray:
    """Return the inverse of `wald_mass`."""
    return np.asarray(stats.invgauss.ppf(p, mu=a / b, scale=b))


def wald_mode(a: float, b: float) -> float:
    """Return a (sqrt(1 + (3a/2b)^2) - 3a/2b), written without the difference of two large numbers."""
    ratio = 1.5 * a / b
    return float(a / (np.sqrt(1 + ratio * ratio) + ratio))


KERNELS: dict[str, Family] = {
    "wald": Family(
        density=wald_density, mass=wald_mass, quantile=wald_quantile, mean=lambda a, b: a, mode=wald_mode,
        tail="power law with an exponential cut-off", scale_name="mean_m", shape_name="shape_m", shape_is_length=True,
    ),
    "lognormal": Family(
        density=lognormal_density, mass=lognormal_mass, quantile=lognormal_quantile,
        mean=lognormal_mean, mode=lambda a, b: float(a * np.exp(-b * b)), tail="fat", shape_name="shape",
    ),
    "student_2d": Family(
        density=student_density, mass=student_mass, quantile=student_quantile, mean=student_mean,
        mode=lambda a, b: float(a / np.sqrt(2 * b - 1)), tail="power law", shape_name="shape", least_shape=1.0,
    ),
    "exponential_power": Family(
        density=exponential_power_density, mass=exponential_power_mass, quantile=exponential_power_quantile,
        mean=lambda a, b: float(a * np.exp(special.gammaln(3 / b) - special.gammaln(2 / b))),
        mode=lambda a, b: float(a * b ** (-1 / b)), tail="fat below shape 1, thin above", shape_name="shape",
    ),
    "exponential": Family(
        density=exponential_density, mass=exponential_mass, quantile=exponential_quantile,
        mean=lambda a, b: 2 * a, mode=lambda a, b: a, tail="exponential",
    ),
    "gaussian": Family(
        density=gaussian_density, mass=gaussian_mass, quantile=gaussian_quantile,
        mean=lambda a, b: float(a * np.sqrt(np.pi) / 2), mode=lambda a, b: float(a / np.sqrt(2)),
        tail="thin",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """One location kernel: a family with its lengths.

    Parameters
    ----------
    family : str
        A key of `KERNELS`.
    scale_m : float
        The family's scale, above zero; for `wald` the mean distance. [m]
    shape : float or None
        The family's shape; for `wald` a length [m], otherwise [-]; None for families with one parameter.

    Raises
    ------
    SettingsError
        If the family is unknown or a parameter lies outside its range.
    """

    family: str
    scale_m: float
    shape: float | None = None

    def __post_init__(self) -> None:
        """Check family and parameters; a family with one parameter has no shape."""
        form = _family(self.family)
        if not (np.isfinite(self.scale_m) and self.scale_m > 0):
            msg = (
                f"kernel {self.family}: {form.scale_name} is {self.scale_m} m; allowed: above 0 m. "
                f"Correct settings.kernel.{form.scale_name}."
            )
            raise SettingsError(msg)
        if not form.shape_name:
            object.__setattr__(self, "shape", None)
        elif self.shape is None or not (np.isfinite(self.shape) and self.shape > form.least_shape):
            unit = " m" if form.shape_is_length else ""
            msg = (
                f"kernel {self.family}: {form.shape_name} is {self.shape}{unit}; allowed: above "
                f"{form.least_shape:g}{unit}. Correct settings.kernel.{form.shape_name}."
            )
            raise SettingsError(msg)

    @property
    def _b(self) -> float:
        """Return the shape as the family's functions take it."""
        return 0.0 if self.shape is None else self.shape

    def location_density(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the density of arrivals per area at each distance, any shape [m^-2]."""
        return KERNELS[self.family].density(np.asarray(distance_m, dtype=np.float64), self.scale_m, self._b)

    def distance_density(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the density of the distance itself, 2 pi r k(r), any shape [m^-1]."""
        return 2 * np.pi * np.asarray(distance_m, dtype=np.float64) * self.location_density(distance_m)

    def mass_within(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the share of arrivals that end within each distance, any shape [-]."""
        return KERNELS[self.family].mass(np.asarray(distance_m, dtype=np.float64), self.scale_m, self._b)

    def quantile(self, share: FloatArray | float) -> FloatArray:
        """Return the distance within which each share of arrivals ends, any shape [m]."""
        return KERNELS[self.family].quantile(np.asarray(share, dtype=np.float64), self.scale_m, self._b)

    def mean_m(self) -> float:
        """Return the mean distance, `inf` where the tail is too heavy to have one [m]."""
        return KERNELS[self.family].mean(self.scale_m, self._b)

    def mode_m(self) -> float:
        """Return the most frequent distance, where `distance_density` peaks [m]."""
        return KERNELS[self.family].mode(self.scale_m, self._b)

    def scaled(self, factor: float) -> Kernel:
        """Return the kernel with every length multiplied by `factor` [-]."""
        longer = self._b * factor if KERNELS[self.family].shape_is_length else self.shape
        return Kernel(family=self.family, scale_m=self.scale_m * factor, shape=longer)

    def in_words(self) -> str:
        """Return family, lengths and shape as they stand in metadata."""
        form = KERNELS[self.family]
        scale = f"{self.family}, {'mean' if form.scale_name == 'mean_m' else 'scale'} {self.scale_m:g} m"
        if not form.shape_name:
            return scale
        return f"{scale}, shape {self.shape:g}{' m' if form.shape_is_length else ''}"


def _family(name: str) -> Family:
    """Return a family by its name."""
    if name not in KERNELS:
        msg = (
            f"kernel family {name!r} is not known; allowed: {', '.join(sorted(KERNELS))}. "
            "Correct settings.kernel.family in the project file."
        )
        raise SettingsError(msg)
    return KERNELS[name]


def kernel_from_settings(settings: KernelSettings) -> Kernel:
    """Return the kernel that the settings describe.

    Raises
    ------
    SettingsError
        If the family is unknown, or a setting that the family uses lies outside its range; all faults at once.
    """
    form = _family(settings.family)
    notes = {item.name: item.metadata for item in fields(settings)}
    faults = []
    for name in filter(None, (form.scale_name, form.shape_name)):
        value, note = getattr(settings, name), notes[name]
        if not note["least"] <= value <= note["most"]:
            faults.append(
                f"settings.kernel.{name} is {value} {note['unit']}; allowed: {note['least']:g} to {note['most']:g} "
                f"{note['unit']}"
            )
    if faults:
        msg = "; ".join(faults) + ". Correct the project file."
        raise SettingsError(msg)
    shape = getattr(settings, form.shape_name) if form.shape_name else None
    return Kernel(family=settings.family, scale_m=getattr(settings, form.scale_name), shape=shape)
