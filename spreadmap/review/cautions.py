"""The usual cautions of the work, in the page's language and units."""

from __future__ import annotations

from spreadmap.decisions.cautions import removal_cautions
from spreadmap.review.language import Words
from spreadmap.values.settings import RemovalSettings

NAMES = (
    "lines", "private_lines", "gloves", "lift", "traffic", "weather", "bag", "clean_first", "pesticides", "access",
    "diagnosis", "local",
)  # fmt: skip


def caution_words(say: Words, settings: RemovalSettings) -> list[str]:
    """Return the cautions of removal work, one sentence each; all defer to local codes and licensed practice."""
    return list(removal_cautions(settings)) if say.takes_own_words else worded(say, settings)


def worded(say: Words, settings: RemovalSettings) -> list[str]:
    """Return the same cautions in the page's language and units."""
    values: dict[str, dict[str, object]] = {
        "lines": {"days": settings.locate_ticket_days, "zone": say.short_length(settings.hand_dig_zone_m)},
        "weather": {"hour": f"{settings.start_before_hour:02d}:00", "gust": say.speed(settings.gust_stop_km_h)},
    }
    return [say(f"cautions.{name}", **values.get(name, {})) for name in NAMES]
