"""The pages of a run, by their path in its folder."""

from __future__ import annotations

from spreadmap.io.public import block_surface
from spreadmap.io.web_geometry import place_shapes, zone_shapes
from spreadmap.io.write_raster import warp_to_web
from spreadmap.review.page import render_review
from spreadmap.review.pictures import field_sheets, season_pictures, wind_roses
from spreadmap.review.score import score_pictures
from spreadmap.values.results import SurveyResult


def render_pages(result: SurveyResult) -> dict[str, bytes]:
    """Return the pages of a run by their path in its folder."""
    crs = result.inputs.crs
    rasters = {}
    shapes = {"places": place_shapes(result.inputs)}
    for system in result.systems:
        key, limits = system.triage.system.key, system.surface_breaks
        rasters[key] = warp_to_web(system.surface, crs, limits)
        rasters[f"{key}/without_reservoirs"] = warp_to_web(system.surface_without_reservoirs, crs, limits)
        shapes[key] = zone_shapes(system, crs)
    public = {
        system.triage.system.key: warp_to_web(block_surface(system.surface, result.inputs), crs, system.surface_breaks)
        for system in result.systems
    }
    return {
        "review.html": render_review(result, rasters, shapes),
        "public/review.html": render_review(result, public, {}, public=True),
        **field_sheets(result),
        **wind_roses(result),
        **score_pictures(result),
        **season_pictures(result),
    }
