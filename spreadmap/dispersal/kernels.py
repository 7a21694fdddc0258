"""Location kernels by name: how arrivals thin out with distance when direction does not matter.

Two functions share the word kernel. The *location* kernel k(r) is a density per area [m^-2] with mass one over the
plane; the *distance* kernel f(r) = 2 pi r k(r) is a density of distance [m^-1]. Arrivals on a plant follow k. The ten
families, with their formulas and sources, stand in `families.py`. A kernel may have a far part: a second kernel that a
stated share of arrivals follows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from spreadmap.dispersal.catch_curve import wald_of_catches
from spreadmap.dispersal.families import KERNELS, TAILS, Family, Form
from spreadmap.dispersal.search import find_quantile
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import FloatArray
from spreadmap.values.settings import KernelSettings

__all__ = ["FAR_FAMILY", "KERNELS", "Family", "Kernel", "kernel_from_settings", "settings_that_do_not_fit"]

FAR_FAMILY = "exponential"
"""Family of the far part that settings ask for. None: our choice; its one length is its mean."""
MODE_STEPS, MODE_ROUNDS = 400, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """One location kernel: a family with its lengths, and maybe a far part.

    k(r) = (1 - q) near(r) + q far(r), with q the `far_share`. Bound by test_kernel_mixture.py.

    Parameters
    ----------
    family : str
        A key of `KERNELS`.
    scale_m : float
        The family's scale, above zero; for `wald` the mean distance. [m]
    shape : float or None
        The family's shape; for `wald` a length [m], otherwise [-]; None for families with one parameter.
    far_share : float
        Share of all arrivals that follow `far`, 0 to 1. [-]
    far : Kernel or None
        The far part, which may have one of its own; forgotten where `far_share` is zero.

    Raises
    ------
    SettingsError
        If the family is unknown or parameters lie outside their range; all faults at once.
    """

    family: str
    scale_m: float
    shape: float | None = None
    far_share: float = 0.0
    far: Kernel | None = None

    def __post_init__(self) -> None:
        """Check family and parameters; a family with one parameter has no shape."""
        form = _family(self.family)
        faults = []
        if not (np.isfinite(self.scale_m) and self.scale_m > 0):
            faults.append(
                f"{form.scale_name} is {self.scale_m} m; allowed: above 0 m. Correct settings.kernel.{form.scale_name}."
            )
        if not form.shape_name:
            object.__setattr__(self, "shape", None)
        elif self.shape is None or not (np.isfinite(self.shape) and self.shape > form.least_shape):
            unit = " m" if form.shape_is_length else ""
            faults.append(
                f"{form.shape_name} is {self.shape}{unit}; allowed: above {form.least_shape:g}{unit}. "
                f"Correct settings.kernel.{form.shape_name}."
            )
        faults += self._faults_of_far()
        if faults:
            msg = f"kernel {self.family}: {' '.join(faults)}"
            raise SettingsError(msg)
        if self.far_share == 0:
            object.__setattr__(self, "far", None)

    def _faults_of_far(self) -> list[str]:
        """Return what is wrong with the far part."""
        if not 0 <= self.far_share <= 1:
            return [f"far_share is {self.far_share}; allowed: 0 to 1. Correct settings.kernel.far_share."]
        if self.far_share > 0 and self.far is None:
            return [f"far_share is {self.far_share:g}, but there is no far kernel. Give one, or a far_share of 0."]
        return []

    @property
    def _b(self) -> float:
        """Return the shape as the family's functions take it."""
        return 0.0 if self.shape is None else self.shape

    @property
    def near(self) -> Kernel:
        """Return the kernel without its far part."""
        return Kernel(family=self.family, scale_m=self.scale_m, shape=self.shape)

    def parts(self) -> tuple[tuple[float, Kernel], ...]:
        """Return the kernels without far part that make up this one, each with its share of arrivals [-]."""
        if self.far is None:
            return ((1.0, self),)
        beyond = ((self.far_share * share, one) for share, one in self.far.parts())
        return ((1 - self.far_share, self.near), *beyond)

    def _mixed(self, form: Callable[[Family], Form], values: FloatArray | float) -> FloatArray:
        """Return one of the family's functions, with the far part's mixed in by its share."""
        given = np.asarray(values, dtype=np.float64)
        # A power too large for a number means that nothing, or everything, has arrived. At least one dimension: numpy
        # rounds powers of lone numbers otherwise than those of arrays.
        with np.errstate(over="ignore"):
            found = form(KERNELS[self.family])(np.atleast_1d(given), self.scale_m, self._b).reshape(given.shape)
        if self.far is None:
            return found
        return np.asarray((1 - self.far_share) * found + self.far_share * self.far._mixed(form, given))

    def location_density(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the density of arrivals per area at each distance, any shape [m^-2].

        Always finite: where it is infinite at the source itself (`weibull` and `gamma` with a shape below 2) it is
        held at 1e200, which no mean over an area sees.
        """
        return self._mixed(lambda family: family.density, distance_m)

    def distance_density(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the density of the distance itself, 2 pi r k(r), any shape; by definition 0 at 0 m [m^-1]."""
        return 2 * np.pi * np.asarray(distance_m, dtype=np.float64) * self.location_density(distance_m)

    def mass_within(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the share of arrivals that end within each distance, any shape [-]."""
        return self._mixed(lambda family: family.mass, distance_m)

    def mass_beyond(self, distance_m: FloatArray | float) -> FloatArray:
        """Return the share of arrivals that go beyond each distance, accurate however small, any shape [-]."""
        return self._mixed(lambda family: family.beyond, distance_m)

    def quantile(self, share: FloatArray | float) -> FloatArray:
        """Return the distance within which each share of arrivals ends, any shape [m].

        Raises
        ------
        InputError
            If a share lies outside 0 to 1.
        """
        wanted = np.asarray(share, dtype=np.float64)
        wrong = ~((wanted >= 0) & (wanted <= 1))
        if wrong.any():
            msg = (
                f"share of arrivals is {wanted[wrong][0]}, and {int(wrong.sum())} of {wanted.size} shares are unusable; "
                "allowed: 0 to 1 [-]. Give a share, not a percentage."
            )
            raise InputError(msg)
        with np.errstate(over="ignore", divide="ignore"):
            own = KERNELS[self.family].quantile(np.atleast_1d(wanted), self.scale_m, self._b).reshape(wanted.shape)
        if self.far is None:
            return own
        other = self.far.quantile(wanted)
        return find_quantile(
            wanted,
            self.mass_within,
            self.mass_beyond,
            lambda r: r * self.distance_density(r),
            np.minimum(own, other),
            np.maximum(own, other),
        )

    def moment(self, order: int) -> float:
        """Return the mean of distance to the power -1, 0, 1 or 2; `inf` where the tail is too heavy [m^order]."""
        parts = [share * KERNELS[one.family].moment(order, one.scale_m, one._b) for share, one in self.parts() if share]
        return float(sum(parts))

    def mean_m(self) -> float:
        """Return the mean distance, `inf` where the tail is too heavy to have one [m]."""
        return self.moment(1)

    def sd_m(self) -> float:
        """Return the standard deviation of the distance, `inf` where the tail is too heavy to have one [m].

        The variance of a mixture is that within its parts and that of their means.
        """
        if self.far is None:
            return float(KERNELS[self.family].sd(self.scale_m, self._b))
        if not np.isfinite(self.moment(2)):
            return float("inf")
        mean = self.mean_m()
        parts = [share * (one.sd_m() ** 2 + (one.mean_m() - mean) ** 2) for share, one in self.parts() if share]
        return float(np.sqrt(sum(parts)))

    def mode_m(self) -> float:
        """Return the most frequent distance, where `distance_density` peaks [m]."""
        modes = [float(KERNELS[one.family].mode(one.scale_m, one._b)) for share, one in self.parts() if share]
        first, last = min(modes), max(modes)
        if first == last:
            return first
        # Each part rises up to its mode and falls beyond, so that the peak of all lies between the first and the last.
        low, high = max(first, 1e-9 * last), last
        for _ in range(MODE_ROUNDS):
            tried = np.geomspace(low, high, MODE_STEPS)
            best = int(np.argmax(self.distance_density(tried)))
            low, high = float(tried[max(best - 1, 0)]), float(tried[min(best + 1, MODE_STEPS - 1)])
        peak = float(tried[best])
        # A density of distance that grows without bound toward the source has its mode there.
        at_source = self.distance_density(max(first, 1e-150 * last))
        return peak if self.distance_density(peak) >= at_source else first

    def tail(self) -> str:
        """Return the class of the tail, a word of `families.TAILS`; of a mixture the heavier one."""
        return max((KERNELS[one.family].tail(one._b) for share, one in self.parts() if share), key=TAILS.index)

    def scaled(self, factor: float) -> Kernel:
        """Return the kernel with every length multiplied by `factor`, those of the far part too [-]."""
        longer = self._b * factor if KERNELS[self.family].shape_is_length else self.shape
        far = None if self.far is None else self.far.scaled(factor)
        return Kernel(
            family=self.family, scale_m=self.scale_m * factor, shape=longer, far_share=self.far_share, far=far
        )

    def in_words(self) -> str:
        """Return family, lengths and shape as they stand in metadata."""
        form = KERNELS[self.family]
        said = f"{self.family}, {'mean' if form.scale_name == 'mean_m' else 'scale'} {self.scale_m:g} m"
        if form.shape_name:
            said += f", shape {self.shape:g}{' m' if form.shape_is_length else ''}"
        if self.far is None:
            return said
        return f"{said}; {100 * self.far_share:g} % of all arrivals by {self.far.in_words()}"

    def mean_in_words(self) -> str:
        """Return the mean distance, or that there is none, as it stands in a product."""
        mean = self.mean_m()
        if np.isfinite(mean):
            return f"mean distance {mean:.4g} m"
        return f"no mean distance: its tail is too heavy (half of all arrivals end within {self.quantile(0.5):.4g} m)"


def _family(name: str) -> Family:
    """Return a family by its name."""
    if name not in KERNELS:
        msg = (
            f"kernel family {name!r} is not known; allowed: {', '.join(sorted(KERNELS))}. "
            "Correct settings.kernel.family in the project file."
        )
        raise SettingsError(msg)
    return KERNELS[name]


def _names_in_use(settings: KernelSettings) -> tuple[str, ...]:
    """Return the settings that hold a number and matter for the family and reading that they ask for."""
    form = KERNELS[settings.family]
    shape_name = "sd_m" if settings.reading == "catch_curve" and settings.family == "wald" else form.shape_name
    far = ("far_share", "far_mean_m") if settings.far_share else ()
    return tuple(name for name in (form.scale_name, shape_name, *far) if name)


def settings_that_do_not_fit(settings: KernelSettings) -> list[tuple[str, str, str]]:
    """Return what does not fit together although every value lies in its own range: name, what is allowed, remedy.

    The family must be known.
    """
    form, found = KERNELS[settings.family], []
    if form.shape_name == "shape" and not settings.shape > form.least_shape:
        found.append(
            ("shape", f"above {form.least_shape:g} for {settings.family}", "Give a larger shape or another family.")
        )
    if settings.reading == "catch_curve" and settings.family != "wald":
        found.append(("reading", f"distance for {settings.family}", "Take the family wald or the reading distance."))
    return found


def kernel_from_settings(settings: KernelSettings) -> Kernel:
    """Return the kernel that the settings describe.

    With the reading `catch_curve` the mean and the standard deviation are those of catches along a line: see
    `catch_curve.wald_of_catches`. A `far_share` above zero mixes in an exponential kernel of mean `far_mean_m`.

    Raises
    ------
    SettingsError
        If the family is unknown, or a setting that the family uses lies outside its range; all faults at once.
    """
    form = _family(settings.family)
    notes = {item.name: item.metadata for item in fields(settings)}
    faults = []
    for name in _names_in_use(settings):
        value, note = getattr(settings, name), notes[name]
        if not note["least"] <= value <= note["most"]:
            faults.append(
                f"settings.kernel.{name} is {value} {note['unit']}; allowed: {note['least']:g} to {note['most']:g} "
                f"{note['unit']}"
            )
    if settings.reading not in notes["reading"]["choices"]:
        faults.append(
            f"settings.kernel.reading is {settings.reading!r}; allowed: {', '.join(notes['reading']['choices'])}"
        )
    faults += [
        f"settings.kernel.{name} is {getattr(settings, name)}; allowed: {allowed}. {remedy.rstrip('.')}"
        for name, allowed, remedy in settings_that_do_not_fit(settings)
    ]
    if faults:
        msg = "; ".join(faults) + ". Correct the project file."
        raise SettingsError(msg)
    if settings.reading == "catch_curve":
        scale, shape = wald_of_catches(settings.mean_m, settings.sd_m)
        near = Kernel(family="wald", scale_m=scale, shape=shape)
    else:
        own = getattr(settings, form.shape_name) if form.shape_name else None
        near = Kernel(family=settings.family, scale_m=getattr(settings, form.scale_name), shape=own)
    return replace(near, far_share=settings.far_share, far=far_kernel(settings))


def far_kernel(settings: KernelSettings) -> Kernel | None:
    """Return the kernel of the far share that is mixed in, None where its share is zero."""
    return Kernel(family=FAR_FAMILY, scale_m=settings.far_mean_m / 2) if settings.far_share else None


def mixture_of(parts: Sequence[tuple[float, Kernel]]) -> Kernel:
    """Return one kernel made of several without a far part of their own, by their shares of arrivals.

    Shares are above zero and sum to one [-]; bound by test_kernel_mixture.py::test_a_mixture_of_several.
    """
    share, whole = parts[-1]
    for more, kernel in reversed(parts[:-1]):
        share += more
        whole = replace(kernel, far_share=1 - more / share, far=whole)
    return whole
