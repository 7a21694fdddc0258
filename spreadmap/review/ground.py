"""What is known of a site: hosts looked at, hosts that nobody ever looked at, or no host on record."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from spreadmap.review.markup import Html
from spreadmap.values.results import SurveyResult
from spreadmap.values.web import WebShape
from spreadmap.values.words import Status

SEEN, UNSEEN, NO_HOST = "seen", "unseen", "none"
HATCH = Html(
    '<svg width="0" height="0" class="defs" aria-hidden="true"><defs><pattern id="hatch" width="7" height="7" '
    'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="7" height="7" fill="#f4f2ea"/>'
    '<path d="M0 0V7" stroke="#6f7672" stroke-width="2"/></pattern></defs></svg>'
)
"""The pattern of ground on which no host was ever inspected."""


def ground_of_sites(result: SurveyResult) -> dict[str, str]:
    """Return for every site's key whether its standing hosts of mapped pests were ever inspected, or that it has none."""
    site = result.inputs.inventory.site_id.astype(str)
    host, seen = np.zeros(len(site), dtype=bool), np.zeros(len(site), dtype=bool)
    for system in result.systems:
        standing = system.state.is_host & system.state.is_standing
        host |= standing
        seen |= standing & (system.state.status != Status.NOT_INSPECTED.value)
    known = dict.fromkeys(map(str, result.inputs.sites.site_id), NO_HOST)
    known |= dict.fromkeys(np.unique(site[host]).tolist(), UNSEEN)
    return known | dict.fromkeys(np.unique(site[seen]).tolist(), SEEN)


def ground_of(shape: WebShape, known: Mapping[str, str]) -> str:
    """Return what is known of the ground of a shape; nothing for shapes that are no site."""
    return known.get(shape.properties.get("site", ""), SEEN) if shape.kind == "site" else ""
