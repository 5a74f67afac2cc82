"""What the grower does on the plan, as acts: an object before and after; and how acts meet the book.

An act carries the object as the window knew it (`before`, None for a new one) and as it shall be (`after`,
None for removed). That the book moved on meanwhile is no conflict in itself: two windows may draw different
things. Only where the book's object is no longer the `before` would something be overwritten; then nothing
is written, and both versions go back to the window.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from mulchwright.book.exchange import plain
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    Garden,
    Patch,
    Point,
    polygon_area_m2,
)
from mulchwright.garden.plan_kinds import KINDS, Kind, PlanNoun

MOST_ACTS = 500


@dataclass(frozen=True, slots=True)
class Act:
    """One object before and after; exactly one of the two may be None."""

    kind: Kind
    key: str
    before: PlanNoun | None
    after: PlanNoun | None


@dataclass(frozen=True, slots=True)
class Clash:
    """An object that another window changed too: theirs as the book has it, mine as it was asked for."""

    act: Act
    theirs: PlanNoun | None

    @property
    def name(self) -> str:
        """The object's name, from whichever version there is."""
        return next(
            (noun.name for noun in (self.act.before, self.theirs, self.act.after) if noun), self.act.key
        )


@cache
def _adapter(key: str) -> TypeAdapter[PlanNoun]:
    return TypeAdapter(KINDS[key].noun)


def wire(kind: Kind, noun: PlanNoun) -> dict[str, Any]:
    """The noun as it goes to the browser and comes back: every field, so that an undo restores all."""
    return {"of": kind.key, **plain(noun)}


def of_wire(kind: Kind, data: Any) -> PlanNoun:
    """The noun from the browser's object; `InputError` in words, of the noun's own or about the field."""
    if not isinstance(data, Mapping):
        raise InputError("An object of the plan is missing its fields.", field="acts")
    known = {name: value for name, value in data.items() if name != "of"}
    try:
        return _adapter(kind.key).validate_python(known)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "object"
        raise InputError(
            f"{kind.name}: {where} cannot be {str(first.get('input'))[:60]!r}. Nothing was saved.",
            field=str(first["loc"][0]) if first["loc"] else None,
        ) from None


def read_acts(data: Any) -> tuple[Act, ...]:
    """Acts from what a window sent."""
    if not isinstance(data, Sequence) or isinstance(data, str) or not 1 <= len(data) <= MOST_ACTS:
        raise InputError(f"The plan takes 1 to {MOST_ACTS} acts at once.", field="acts")
    acts = []
    for item in data:
        kind = KINDS.get(str(item.get("kind"))) if isinstance(item, Mapping) else None
        if kind is None:
            raise InputError("An act names no kind of object the plan knows.", field="acts")
        before, after = (
            of_wire(kind, item[side]) if item.get(side) else None for side in ("before", "after")
        )
        noun = after or before
        if noun is None:
            raise InputError("An act has neither a before nor an after.", field="acts")
        acts.append(Act(kind, noun.key, before, after))
    return tuple(acts)


def apply(garden: Garden, acts: Iterable[Act]) -> tuple[Garden, tuple[Clash, ...]]:
    """The garden after the acts, or as it was with the clashes that forbid them."""
    clashes = []
    places: dict[str, list[Any]] = {kind.place: list(getattr(garden, kind.place)) for kind in KINDS.values()}
    for act in acts:
        rows = places[act.kind.place]
        at = next((n for n, noun in enumerate(rows) if noun.key == act.key), None)
        stored = None if at is None else rows[at]
        if _same(stored, act.after):
            continue  # done already: the same act sent twice after a lost answer
        if stored != act.before:
            clashes.append(Clash(act, stored))
        elif act.after is None:
            _refuse_to_lose(garden, act)
            del rows[at if at is not None else 0]
        elif at is None:
            rows.append(act.after)
        else:
            rows[at] = act.after
    if clashes:
        return garden, tuple(clashes)
    bed_keys = {bed.key for bed in places["beds"]}
    places["patches"] = [_settled(patch, places["beds"], bed_keys, garden) for patch in places["patches"]]
    changed: dict[str, Any] = {place: tuple(rows) for place, rows in places.items()}
    return replace(garden, **changed), ()


def _same(stored: PlanNoun | None, after: PlanNoun | None) -> bool:
    """Whether the book holds `after` already; a patch gets its area and bed only when it is written."""
    if isinstance(stored, Patch) and isinstance(after, Patch):
        return stored == replace(after, area_m2=stored.area_m2, bed=after.bed or stored.bed)
    return stored == after


def _refuse_to_lose(garden: Garden, act: Act) -> None:
    lines = sum(entry.patch == act.key for entry in garden.log) if act.kind.key == "patch" else 0
    if lines and act.before:
        entries = "one entry" if lines == 1 else f"{lines} entries"
        raise InputError(
            f"“{act.before.name}” has {entries} in the logbook, which would be lost with it. Take it off the "
            "plan instead; it stays under Beds.",
            field="form",
        )


def _settled(patch: Patch, beds: Iterable[Bed], bed_keys: set[str], garden: Garden) -> Patch:
    """A patch with its area from its outline, and in a bed that there is."""
    changes: dict[str, Any] = {}
    if patch.outline:
        area = polygon_area_m2(patch.outline)
        if abs(area - patch.area_m2) > 1e-9:
            changes["area_m2"] = area
        if patch.bed is None and all(patch.key != known.key for known in garden.patches):
            changes["bed"] = next(
                (
                    bed.key
                    for bed in beds
                    if bed.outline and all(inside(p, bed.outline) for p in patch.outline)
                ),
                None,
            )
    if patch.bed is not None and patch.bed not in bed_keys:
        changes["bed"] = None
    return replace(patch, **changes) if changes else patch


def inside(point: Point, outline: Sequence[Point]) -> bool:
    """Whether a point lies within an outline, its edge included within a millimetre."""
    x, y = point
    odd = False
    for (x0, y0), (x1, y1) in zip(outline, [*outline[1:], outline[0]], strict=True):
        length2 = (x1 - x0) ** 2 + (y1 - y0) ** 2
        if length2:
            along = min(1.0, max(0.0, ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length2))
            if (x - x0 - along * (x1 - x0)) ** 2 + (y - y0 - along * (y1 - y0)) ** 2 < 1e-6:
                return True
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            odd = not odd
    return odd
