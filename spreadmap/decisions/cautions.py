"""The usual cautions, printed with every list that sends people out with tools."""

from __future__ import annotations

from spreadmap.values.settings import RemovalSettings

DIAGNOSIS = "The map is not a diagnosis: confirm before digging on other people's land."
ZONES = "Recommended zones; only the authority demarcates."


def removal_cautions(settings: RemovalSettings) -> tuple[str, ...]:
    """Return the cautions of removal work, one sentence each; all defer to local codes and licensed practice."""
    return (
        f"Have buried lines located before any digging: the ticket usually takes {settings.locate_ticket_days} full "
        f"working days; within {settings.hand_dig_zone_m:g} m of a mark dig by hand. Law differs from place to place.",
        "Private lines such as irrigation and lighting are not marked: ask who laid them.",
        "Gloves to the elbow, eye protection, long sleeves; have thorn wounds looked at.",
        "Lift root balls with two people or a machine.",
        "Traffic control by the local manual, however short the job.",
        f"Finish before {settings.start_before_hour:02d}:00 and do not start with gusts over "
        f"{settings.gust_stop_km_h:g} km/h (advice without a trial behind it).",
        "Bag the top before cutting, dig out the whole root ball, seal and cover the load. No blower, no shredding, no "
        "compost; take the load where local waste and transport rules allow it.",
        "Clean beds first; change gloves and wipe tools between beds.",
        "Pesticides only by the label and by a licensed applicator.",
        "Have access and notice settled before the crew leaves: owner, tenant, sign at the plant.",
        DIAGNOSIS,
        "Local codes and licensed practice come first wherever they differ.",
    )
