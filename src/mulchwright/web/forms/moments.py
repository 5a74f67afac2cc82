"""Reading a typed time of day, as the forms of the kitchen send it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from mulchwright.errors import InputError
from mulchwright.units import day_words


def read_moment(text: str, name: str, now: datetime, *, after: datetime | None = None) -> datetime:
    """A typed local time; nothing typed is now. Refused: to come, before `after`, or more than a year ago."""
    if not text:
        return now
    try:
        at = datetime.fromisoformat(text.replace(" ", "T", 1))
        at = at.replace(tzinfo=now.tzinfo) if at.tzinfo is None else at.astimezone(now.tzinfo)
        at.astimezone(UTC)  # the calendar's first and last days have no time elsewhere
    except (ValueError, OverflowError):
        raise InputError(
            f"“{text[:40]}” is no time. Type it like {now:%Y-%m-%dT%H:%M}.", field=name
        ) from None
    if at > now + timedelta(minutes=1):
        raise InputError(
            f"{at:%H:%M} on {day_words(at.date(), at.date())} is still to come; it is {now:%H:%M}.",
            field=name,
        )
    if after is not None and at < after.replace(second=0, microsecond=0):
        began = after.astimezone(now.tzinfo)
        raise InputError(
            f"That is before the load went in ({began:%H:%M} on {day_words(began.date(), began.date())}). "
            "Correct the time.",
            field=name,
        )
    if now - at > timedelta(days=366):
        raise InputError("That is more than a year ago; correct the day.", field=name)
    return at
