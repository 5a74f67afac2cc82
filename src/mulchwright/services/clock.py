"""What time it is in a garden."""

from __future__ import annotations

from datetime import UTC, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from mulchwright.garden import Garden


def zone_of(garden: Garden) -> tzinfo:
    """The garden's own time zone, or UTC where it is not known to this machine."""
    try:
        return ZoneInfo(garden.place.timezone)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC
