"""Whose ground an area crosses, and which plants stand in it, for many areas quickly."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from spreadmap.values.arrays import BoolArray, IntArray
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.surveys import PlantState


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Plants and sites, sorted once, so that every area after the first finds its own without looking at all.

    `by_easting` are the plants from west to east.
    """

    inventory: Inventory
    sites: Sites
    state: PlantState
    is_standing_host: BoolArray
    by_easting: IntArray
    sites_tree: shapely.STRtree

    def plants_in_box(self, area: BaseGeometry) -> IntArray:
        """Return the plants in the box round an area, ascending."""
        if area.is_empty:
            return np.zeros(0, dtype=np.int64)
        west, south, east, north = area.bounds
        first = np.searchsorted(self.inventory.easting, west, side="left", sorter=self.by_easting)
        last = np.searchsorted(self.inventory.easting, east, side="right", sorter=self.by_easting)
        near = self.by_easting[first:last]
        northing = self.inventory.northing[near]
        return np.sort(near[(northing >= south) & (northing <= north)])

    def plants_in(self, area: BaseGeometry, among: IntArray | None = None) -> IntArray:
        """Return the plants in an area, its rim included, ascending; `among` holds all in its box, where it is known."""
        near = self.plants_in_box(area) if among is None else among
        shapely.prepare(area)
        return near[shapely.intersects_xy(area, self.inventory.easting[near], self.inventory.northing[near])]

    def hosts_of(self, plants: IntArray) -> IntArray:
        """Return the standing hosts among plants."""
        return plants[self.is_standing_host[plants]]

    def sites_in(self, area: BaseGeometry) -> IntArray:
        """Return the sites that share ground with an area, ascending."""
        return np.sort(self.sites_tree.query(area, predicate="intersects")).astype(np.int64)

    def site_names(self, crossed: IntArray) -> tuple[str, ...]:
        """Return the names of sites, their keys where they have none, sorted."""
        return _told(self.sites.name[i] or self.sites.site_id[i] for i in crossed)

    def parcels(self, crossed: IntArray) -> tuple[str, ...]:
        """Return the keys of sites or parcels, sorted."""
        return _told(self.sites.site_id[crossed])

    def owners(self, crossed: IntArray, plants: IntArray) -> tuple[str, ...]:
        """Return the owners of sites and of plants, sorted."""
        return _told((*self.sites.owner[crossed], *self.inventory.owner[plants]))


def ground_of(inventory: Inventory, sites: Sites, state: PlantState) -> Ground:
    """Return plants and sites, ready to be asked."""
    return Ground(
        inventory=inventory,
        sites=sites,
        state=state,
        is_standing_host=state.is_standing & state.is_host,
        by_easting=np.argsort(inventory.easting, kind="stable"),
        sites_tree=shapely.STRtree(list(sites.geometry)),
    )


def _told(words: Iterable[object]) -> tuple[str, ...]:
    """Return words once each, sorted, without empty ones."""
    return tuple(sorted({str(word) for word in words} - {""}))
