"""Settings of the review page: its language, its units, and where it may fetch a background from."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from spreadmap.values.setting import OWN, setting

LANGUAGES = ("en", "es")
UNITS = ("metric", "us")
TILE_MARKS = ("{z}", "{x}", "{y}")
PLAIN_ADDRESS = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?/[A-Za-z0-9._~/?=&%+{}@:-]*")
"""An address with a host of its own and no sign that could end a policy or a word of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """How the review page and the field sheets speak and measure; data files are metric and in English always."""

    language: str = setting("en", "-", "assumed", f"{OWN}; en English, es Spanish", choices=LANGUAGES)
    units: str = setting("metric", "-", "assumed", f"{OWN}; us: feet, miles and acres on the page", choices=UNITS)
    tile_address: str = setting(
        "",
        "-",
        "assumed",
        f"{OWN}; address of map tiles with {{z}}, {{x}}, {{y}}; empty: the page asks nobody for anything",
    )
    tile_attribution: str = setting("", "-", "assumed", f"{OWN}; whose tiles they are, printed on the map")


def tile_host(address: str) -> str:
    """Return scheme and host of an address of tiles, the only place that a page with them may ask; nothing for none.

    Raises
    ------
    ValueError
        If the address is no plain web address with each of {z}, {x}, {y} once behind the host.
    """
    if not address:
        return ""
    if not PLAIN_ADDRESS.fullmatch(address) or any(address.count(mark) != 1 for mark in TILE_MARKS):
        msg = "no plain address of tiles"
        raise ValueError(msg)
    parts = urlsplit(address)
    return f"{parts.scheme}://{parts.netloc}"
