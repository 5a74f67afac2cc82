"""What the logbook did to a bed's outlook, in a gardener's words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.almanac import Learned, PatchOutlook
    from mulchwright.garden import LogEntry

_NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
SMALL_MOVE_DAYS = 2
FEW_FIT = 0.25
WHOLE = 0.999


def _counted(count: int, one: str, many: str) -> str:
    number = _NUMBERS[count] if count < len(_NUMBERS) else f"{count:,}"
    return f"{number} {one if count == 1 else many}"


def _who(learned: Learned) -> tuple[str, bool]:
    """The entries that did it as the subject of a sentence, and whether they are more than one."""
    parts = []
    if learned.looks:
        parts.append(_counted(learned.looks, "look", "looks"))
    if learned.picks:
        parts.append(_counted(learned.picks, "picking", "pickings"))
    if parts:
        return f"Your {' and '.join(parts)}", learned.entries > 1
    return "What you noted of other beds with this mushroom", False


def _move(old: date | None, new: date | None, which: str, learned: Learned, when: str, today: date) -> str:
    who, many = _who(learned)
    if old is None and new is None:
        return f"{who} {'leave' if many else 'leaves'} a {which} {when} unlikely."
    if old is None:
        assert new is not None
        return (
            f"{who} brought the likely {which}, of which there was none {when}, to {words.day(new, today)}."
        )
    if new is None:
        return f"{who} moved the likely {which} from {words.day(old, today)} to none {when}."
    if abs((new - old).days) < SMALL_MOVE_DAYS:
        verb = "leave" if many else "leaves"
        return f"{who} {verb} the likely {which} where it was, about {words.day(new, today)}."
    return f"{who} moved the likely {which} from {words.day(old, today)} to {words.day(new, today)}."


def left_out_words(left_out: Sequence[LogEntry], today: date) -> tuple[str, ...]:
    """One sentence about picks that count for nothing by their identity check; none where there are none."""
    if not left_out:
        return ()
    days = words.joined(list(dict.fromkeys(words.day(day, today) for day in sorted(e.day for e in left_out))))
    picks = f"The pick of {days} is" if len(left_out) == 1 else f"The picks of {days} are"
    why = "the identity check found a feature that doesn't match"
    return (f"{picks} left out of the forecast: {why}.",)


def learned_words(bed_outlook: PatchOutlook, today: date) -> tuple[str, ...]:
    """One to four sentences, the one that matters most first; none where no entry bears on the bed."""
    learned = bed_outlook.learned
    if learned is None:
        return ()
    said = []
    before, after = learned.before, bed_outlook.picking
    if before is not None and after is not None:
        which = "first picking" if bed_outlook.first_picked_on is None else "next picking"
        said.append(_move(before.likely, after.likely, which, learned, after.year.words, today))
    odd = ", ".join(words.day(day, today) for day in learned.odd_days[:4])
    if not learned.fits:
        said.append(
            "What you noted does not go together with what this bed can do in this weather, so it counts for "
            f"little and the range stays wide. Look again at what you wrote on {odd}, and at the day the bed "
            "was built."
        )
    elif odd:
        said.append(
            f"Hardly any of the futures has what you wrote on {odd}: a slip of the day, or another mushroom?"
        )
    if learned.entries and learned.others:
        said.append("What you noted of other beds with this mushroom counts here too.")
    if learned.fits and learned.weight < WHOLE:
        said.append(
            "Few futures agree with what you noted, so the range is kept wider than your notes alone would "
            "make it."
        )
    elif learned.refreshed and learned.fits and learned.fitting_share < FEW_FIT:
        share = max(round(100 * learned.fitting_share), 1)
        said.append(
            f"About {share} in 100 of the futures worked out before agree with what you saw; new ones like "
            "them were drawn."
        )
    return tuple(said)
