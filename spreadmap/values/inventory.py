"""Plants and what stands around them, as columns of one length."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from shapely.geometry.base import BaseGeometry

from spreadmap.errors import InputError
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, TextArray, column, freeze_columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inventory:
    """Every plant, one item per plant, in the working CRS (projected, metres, grid north).

    `plant_id` is the desk's own key and unique. `host` is the scientific name as given (genus first).
    `susceptibility` [-] is 1 for an ordinary plant. `size_class` holds S, M, L or XL.
    `is_synthetic` marks plants of a bed with a count, spread on a grid: never surveyed positions.
    `longitude`, `latitude` [deg] are WGS 84, for maps and hand-held receivers only.
    """

    plant_id: TextArray
    easting: FloatArray
    northing: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    host: TextArray
    susceptibility: FloatArray
    size_class: TextArray
    bed_id: TextArray
    site_id: TextArray
    owner: TextArray
    planted_on: DateArray
    source_batch: TextArray
    position_precision_m: FloatArray
    is_synthetic: BoolArray
    note: TextArray

    def __post_init__(self) -> None:
        """Freeze every column and check that the key is one."""
        text = dict.fromkeys(
            ("plant_id", "host", "size_class", "bed_id", "site_id", "owner", "source_batch", "note"), object
        )
        numbers = dict.fromkeys(
            ("easting", "northing", "longitude", "latitude", "susceptibility", "position_precision_m"), np.float64
        )
        freeze_columns(
            self, {**text, **numbers, "planted_on": "datetime64[D]", "is_synthetic": np.bool_}, len(self.plant_id)
        )
        if len(set(self.plant_id.tolist())) != len(self.plant_id):
            msg = "plant_id has duplicates"
            raise ValueError(msg)

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.plant_id)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reservoirs:
    """Stands of wild hosts outside the inventory.

    `geometry` are points or polygons; `plant_count` [-] is the number of plants of each stand
    (counted, or density times area); `chance_infected` [-] is per plant.
    """

    reservoir_id: TextArray
    geometry: tuple[BaseGeometry, ...] = ()
    plant_count: FloatArray
    chance_infected: FloatArray
    host: TextArray
    note: TextArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(
            self,
            {
                "reservoir_id": object,
                "host": object,
                "note": object,
                "plant_count": np.float64,
                "chance_infected": np.float64,
            },
            len(self.geometry),
        )

    def __len__(self) -> int:
        """Return the number of stands."""
        return len(self.geometry)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sites:
    """Polygons of sites or parcels; `set_up` holds `bed` or `traffic`, `is_private` whether access needs an owner.

    `notice_days` are the days of notice before work, NaN where the table gives none; it may be left out. [d]
    """

    site_id: TextArray
    geometry: tuple[BaseGeometry, ...] = ()
    name: TextArray
    owner: TextArray
    access: TextArray
    set_up: TextArray
    is_private: BoolArray
    notice_days: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        """Freeze every column."""
        if not len(self.notice_days):
            object.__setattr__(self, "notice_days", np.full(len(self.geometry), np.nan))
        text = dict.fromkeys(("site_id", "name", "owner", "access", "set_up"), object)
        freeze_columns(self, {**text, "is_private": np.bool_, "notice_days": np.float64}, len(self.geometry))

    def __len__(self) -> int:
        """Return the number of sites."""
        return len(self.geometry)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Screens:
    """Hedges and grass screens as lines; `factor` [-] multiplies arrivals that cross one."""

    screen_id: TextArray
    geometry: tuple[BaseGeometry, ...] = ()
    height_m: FloatArray
    planted_on: DateArray
    factor: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(
            self,
            {"screen_id": object, "height_m": np.float64, "planted_on": "datetime64[D]", "factor": np.float64},
            len(self.geometry),
        )

    def __len__(self) -> int:
        """Return the number of screens."""
        return len(self.geometry)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Receptors:
    """Places that receive, with the radius of the canopy disc over which arrivals are averaged.

    `plant` is the position in the inventory, or -1; a plant never counts as a receptor of its own.
    """

    easting: FloatArray
    northing: FloatArray
    radius_m: FloatArray
    plant: np.ndarray

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("easting", "northing", "radius_m"), np.float64)
        freeze_columns(self, {**numbers, "plant": np.int64}, len(column(self.easting, np.float64)))

    def __len__(self) -> int:
        """Return the number of receptors."""
        return len(self.easting)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sources:
    """Places that send, with their strength in multiples of one confirmed medium plant [-].

    `plant` is the position in the inventory, or -1 for a reservoir.
    """

    easting: FloatArray
    northing: FloatArray
    strength: FloatArray
    plant: np.ndarray

    def __post_init__(self) -> None:
        """Freeze every column; strengths must be finite and not negative."""
        numbers = dict.fromkeys(("easting", "northing", "strength"), np.float64)
        freeze_columns(self, {**numbers, "plant": np.int64}, len(column(self.easting, np.float64)))
        wrong = ~(np.isfinite(self.strength) & (self.strength >= 0))
        if wrong.any():
            msg = (
                f"{int(wrong.sum())} of {len(wrong)} source strengths are unusable, such as {self.strength[wrong][0]}; "
                "allowed: source strengths must be finite and not negative. Check sizes and chances of the sources."
            )
            raise InputError(msg)

    def __len__(self) -> int:
        """Return the number of sources."""
        return len(self.easting)

    def only(self, keep: BoolArray) -> Sources:
        """Return the sources for which `keep` is true."""
        return Sources(
            easting=self.easting[keep],
            northing=self.northing[keep],
            strength=self.strength[keep],
            plant=self.plant[keep],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScreenSegments:
    """Straight pieces of screens: `ends` is (n, 4) as west end, south end, east end, north end of each piece [m]."""

    ends: FloatArray
    factor: FloatArray

    def __post_init__(self) -> None:
        """Freeze both columns."""
        freeze_columns(self, {"ends": np.float64, "factor": np.float64}, len(column(self.factor, np.float64)))

    def __len__(self) -> int:
        """Return the number of pieces."""
        return len(self.factor)
