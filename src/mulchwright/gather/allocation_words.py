"""What `allocate` refuses, and how two of its plans differ, in words."""

from __future__ import annotations

from collections.abc import Sequence

from mulchwright.errors import InputError
from mulchwright.gather.allocation import Candidate, Choice, Stock, Supply

__all__ = ["capital", "changes_between", "changes_words", "check_question"]

MOST_CHANGES = 2


def changes_between(before: Sequence[Choice], after: Sequence[Choice]) -> list[str]:
    """Where another plan differs, patch by patch, in words; areas in square meters."""
    found = []
    for old, new in zip(before, after, strict=True):
        name = old.candidate.name
        if old.option == new.option:
            if old.option is not None and abs(old.area_m2 - new.area_m2) >= 0.01:
                found.append(f"{name} gets {new.area_m2:.2g} m² instead of {old.area_m2:.2g} m²")
            continue
        found.append(f"{name} gets {laid_words(new)} instead of {laid_words(old)}")
    return found


def laid_words(choice: Choice) -> str:
    """What a patch gets, with the part of it where it is not all."""
    if choice.option is None:
        return "nothing"
    part = choice.share < 1 and choice.area_m2 > 0
    return f"{choice.option.name} on {choice.area_m2:.2g} m²" if part else choice.option.name


def changes_words(changes: Sequence[str]) -> str:
    """The first few changes, and how many more there are."""
    if not changes:
        return "a little more of the same beds"
    more = len(changes) - MOST_CHANGES
    return "; ".join(changes[:MOST_CHANGES]) + (f"; and {more} more changes" if more > 0 else "")


def capital(words: str) -> str:
    """A sentence with a large first letter."""
    return words[:1].upper() + words[1:]


def check_question(
    candidates: Sequence[Candidate], stocks: Sequence[Stock], supplies: Sequence[Supply]
) -> None:
    """Refuse two of one key, and a demand on a stock that is not given."""
    for what, keys in (
        ("patches", [c.key for c in candidates]),
        ("stocks", [s.key for s in stocks]),
        ("supplies", [s.key for s in supplies]),
    ):
        doubled = sorted({key for key in keys if keys.count(key) > 1})
        if doubled:
            raise InputError(f"Two {what} share the key {doubled[0]!r}; rename one.", field="key")
    known = {stock.key for stock in stocks}
    asked = [
        (f"Patch {candidate.name!r}: option {option.name!r}", option.demand)
        for candidate in candidates
        for option in candidate.options
    ]
    asked += [(f"Supply {one.name!r}", {**one.takes, **one.gives}) for one in supplies]
    for what, amounts in asked:
        for key, amount in amounts.items():
            if amount > 0 and key not in known:
                raise InputError(
                    f"{what} takes {key!r}, of which no stock "
                    f"is given. Say how much there is (0 if none); stocks given: "
                    f"{', '.join(sorted(known)) or 'none'}.",
                    field="demand",
                )
