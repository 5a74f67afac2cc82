"""The plan as forms: every object's fields in the grower's units, and back.

A field that comes back as it was shown keeps its exact value: what is shown is rounded, and looking at a
form must not move a corner. What cannot be read stays in the form as typed, with a message beside it.
"""

from __future__ import annotations

import math
import re
from calendar import month_name
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Outline, Patch, Tap, Wall, Zone, ZoneKind, polygon_area_m2
from mulchwright.garden.plan_kinds import Kind, PlanNoun
from mulchwright.trade import Trade
from mulchwright.units import (
    US,
    day_words,
    parse_area,
    parse_flow,
    show_area,
    show_flow,
    show_length,
)
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate

SPARE_CORNERS = 3


MOST_ROWS = 503


ZONE_WORDS = {
    ZoneKind.SEEN_FROM_STREET: "seen from the street",
    ZoneKind.DUG_OVER: "dug over every year",
    ZoneKind.DIRECT_SOWN: "sown in place",
    ZoneKind.STEEP: "steep",
    ZoneKind.WET_HOLLOW: "a wet hollow",
    ZoneKind.KEEP_CLEAR: "to be kept clear",
}


_NO_LEAP_YEAR = 2031


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form: its words, what stands in it, and how it is chosen if not typed."""

    name: str
    label: str
    value: str
    kind: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    help: str = ""


@dataclass(frozen=True, slots=True)
class ThingForm:
    """The form of one object: fields, corners as typed, and messages by field."""

    kind: Kind
    key: str
    title: str
    about: str
    fields: tuple[Field, ...]
    corners: tuple[tuple[str, str], ...] = ()
    errors: Mapping[str, str] = field(default_factory=dict)
    new: bool = False


def size(kind: Kind, noun: PlanNoun, system: str) -> str:
    """How large an object is, in a few words."""
    if isinstance(noun, Crown):
        return f"{show_length(2 * noun.radius_m, system)} across, {show_length(noun.height_m, system)} high"
    if isinstance(noun, Tap):
        return f"hose reaches {show_length(noun.reach_m, system)}"
    if not noun.outline:
        area = f"{show_area(noun.area_m2, system)}, " if isinstance(noun, Patch) else ""
        return f"{area}not drawn yet"
    words = show_area(polygon_area_m2(noun.outline), system)
    if isinstance(noun, Wall):
        return f"{words}, {show_length(noun.height_m, system)} high"
    if isinstance(noun, Zone):
        return f"{words}, {ZONE_WORDS[noun.kind]}"
    return words


def _day(day_of_year: int) -> str:
    when = date(_NO_LEAP_YEAR, 1, 1) + timedelta(days=min(day_of_year, 365) - 1)
    return day_words(when, when)


def _parse_day(typed: str, name: str) -> int:
    """The day of the year in "25 April" or "April 25"; months may be shortened to three letters."""
    found = re.fullmatch(
        r"(\d{1,2})\.? ?([a-z]{3,})|([a-z]{3,})\.? ?(\d{1,2})", " ".join(typed.lower().split())
    )
    if found:
        day, word = int(found[1] or found[4]), found[2] or found[3]
        for month in range(1, 13):
            if month_name[month].lower().startswith(word):
                try:
                    return date(_NO_LEAP_YEAR, month, day).timetuple().tm_yday
                except ValueError:
                    break
    raise InputError(f"“{typed[:40]}” is no day of the year. Type it as 25 April.", field=name)


def _percent(share: float) -> str:
    return f"{100 * share:.6g}"


def _parse_percent(typed: str, name: str) -> float:
    try:
        value = float(typed.replace("%", "").replace(",", ".").strip())
    except ValueError:
        value = math.nan
    if not 0 <= value <= 100:
        raise InputError(f"“{typed[:40]}” is no percentage from 0 to 100.", field=name)
    return value / 100


@dataclass(frozen=True, slots=True)
class _Entry:
    """How one attribute of a noun is shown and read."""

    name: str
    label: str
    show: Callable[[Any], str]
    read: Callable[[str], Any]
    kind: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    help: str = ""


def _words(typed: str) -> str:
    return " ".join(typed.split())


def _flag(name: str, label: str, help_: str = "") -> _Entry:
    return _Entry(name, label, lambda on: "yes" if on else "", bool, "check", (), help_)


def _entries(kind: Kind, noun: PlanNoun, garden: Garden, trade: Trade) -> tuple[_Entry, ...]:
    system = garden.units.value

    def length(name: str, label: str, help_: str = "", *, double: bool = False) -> _Entry:
        factor = 2.0 if double else 1.0
        return _Entry(
            name,
            label,
            lambda value: coordinate(factor * value, system),
            lambda typed: parse_coordinate(typed, system, name, below_zero=False) / factor,
            help=help_,
        )

    def place(name: str, label: str, axis: int) -> _Entry:
        return _Entry(
            f"{name}_{'xy'[axis]}",
            label,
            lambda value: coordinate(value[axis], system),
            lambda typed: parse_coordinate(typed, system, name),
        )

    entries = [_Entry("name", "Name", str, _words)]
    match kind.key:
        case "bed":
            entries.append(
                _Entry(
                    "plants", "What grows there", "; ".join,
                    lambda typed: tuple(filter(None, (_words(part) for part in typed.split(";")))),
                    help="separated by semicolons",
                )
            )  # fmt: skip
        case "patch":
            assert isinstance(noun, Patch)
            if noun.stage == "planned":
                species = tuple((key, row.names[0]) for key, row in trade.species.items())
                entries.append(_Entry("species", "Mushroom", str, str, "select", species))
            beds = (("", "none of them"), *((bed.key, bed.name) for bed in garden.beds))
            entries.append(
                _Entry(
                    "bed", "Lies in the garden bed", lambda v: v or "", lambda t: t or None, "select", beds
                )
            )
            if not noun.outline:
                entries.append(
                    _Entry("area_m2", "Area", lambda v: show_area(v, system),
                           lambda typed: parse_area(typed, system, field="area_m2"),
                           help="until it has corners; then it is worked out from them")
                )  # fmt: skip
        case "crown":
            entries += [
                place("center", "Trunk, to the right", 0),
                place("center", "Trunk, upward", 1),
                length("radius_m", "Crown, from trunk to rim"),
                length("height_m", "Height of the top"),
                length("base_m", "Height of the lowest leaves"),
                length("trunk_radius_m", "Trunk, across", double=True),
                _flag("evergreen", "Evergreen"),
                _Entry("leaf_from", "In leaf from", _day, lambda t: _parse_day(t, "leaf_from")),
                _Entry("leaf_until", "In leaf until", _day, lambda t: _parse_day(t, "leaf_until")),
                _Entry("transmissivity_in_leaf", "Sun that comes through in leaf, percent", _percent,
                       lambda t: _parse_percent(t, "transmissivity_in_leaf")),
                _Entry("transmissivity_bare", "Sun that comes through when bare, percent", _percent,
                       lambda t: _parse_percent(t, "transmissivity_bare")),
                _flag("young_bark", "Young or thin bark", "needs more room around the trunk"),
            ]  # fmt: skip
        case "wall":
            entries += [
                length("height_m", "Height"),
                _flag("house", "House or shed", "keep mulch away from it"),
            ]
        case "tap":
            entries += [
                place("point", "Place, to the right", 0),
                place("point", "Place, upward", 1),
                length("reach_m", "The hose reaches"),
                _Entry("litres_per_minute", "Gives", lambda v: show_flow(v, system),
                       lambda t: parse_flow(t, system, field="litres_per_minute")),
            ]  # fmt: skip
        case "zone":
            kinds = tuple((kind_.value, words) for kind_, words in ZONE_WORDS.items())
            entries.append(_Entry("kind", "What is special", str, ZoneKind, "select", kinds))
    return tuple(entries)


def _shown(entry: _Entry, noun: PlanNoun) -> str:
    name = entry.name
    if name.endswith(("_x", "_y")):
        name = name[:-2]
    return entry.show(getattr(noun, name))


def _outline_of(noun: PlanNoun) -> Outline:
    return getattr(noun, "outline", ())


def form_of(
    kind: Kind,
    noun: PlanNoun,
    garden: Garden,
    trade: Trade,
    *,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    new: bool = False,
) -> ThingForm:
    """The form of an object as it stands, or with what was typed into it."""
    system = garden.units.value
    entries = _entries(kind, noun, garden, trade)
    fields = tuple(
        Field(
            "what" if entry.name == "kind" else entry.name,
            entry.label,
            _shown(entry, noun)
            if typed is None
            else typed.get("what" if entry.name == "kind" else entry.name, ""),
            entry.kind,
            entry.options,
            entry.help,
        )
        for entry in entries
    )
    corners: tuple[tuple[str, str], ...] = ()
    if kind.shape == "outline":
        if typed is None:
            corners = tuple((coordinate(x, system), coordinate(y, system)) for x, y in _outline_of(noun))
        else:
            corners = tuple(
                (typed.get(f"x_{n}", ""), typed.get(f"y_{n}", ""))
                for n in range(MOST_ROWS)
                if f"x_{n}" in typed or f"y_{n}" in typed
            )
            while corners and not any(corners[-1]):
                corners = corners[:-1]
        corners += (("", ""),) * (SPARE_CORNERS if len(corners) >= 3 else 6 - len(corners))
    return ThingForm(
        kind, noun.key, noun.name, "" if new else size(kind, noun, system), fields, corners, errors or {}, new
    )


def read_form(
    kind: Kind, noun: PlanNoun, typed: Mapping[str, str], garden: Garden, trade: Trade
) -> tuple[PlanNoun | None, dict[str, str]]:
    """The object as typed, or None with a message for each field that cannot be taken."""
    system = garden.units.value
    errors: dict[str, str] = {}
    changes: dict[str, Any] = {}
    places: dict[str, list[float]] = {}
    for entry in _entries(kind, noun, garden, trade):
        form_name = "what" if entry.name == "kind" else entry.name
        text = typed.get(form_name, "")
        axis = {"_x": 0, "_y": 1}.get(entry.name[-2:])
        attribute = entry.name if axis is None else entry.name[:-2]
        held = getattr(noun, attribute)
        if entry.kind == "check":
            changes[attribute] = bool(text)
            continue
        if form_name not in typed:
            continue
        if entry.kind == "select" and text not in dict(entry.options):
            errors[form_name] = "Choose one from the list."
            continue
        try:
            value = entry.read(text) if text != _shown(entry, noun) else held if axis is None else held[axis]
        except InputError as error:
            errors[form_name] = str(error)
            continue
        if axis is None:
            changes[attribute] = value
        else:
            places.setdefault(attribute, list(held))[axis] = value
    changes |= {name: tuple(point) for name, point in places.items()}
    if kind.shape == "outline":
        outline = _read_corners(_outline_of(noun), typed, system, errors)
        if outline or not isinstance(noun, Bed | Patch):
            changes["outline"] = outline
        else:
            changes["outline"] = ()
    if errors:
        return None, errors
    try:
        return replace(noun, **changes), {}
    except InputError as error:
        known = {
            "point": "center_x" if kind.key == "crown" else "point_x" if kind.key == "tap" else "outline"
        }
        name = known.get(error.field or "", error.field or "form")
        names = {entry.name for entry in _entries(kind, noun, garden, trade)} | {"outline"}
        return None, {name if name in names else "form": _in_words(str(error), kind, changes, system)}


def _in_words(message: str, kind: Kind, changes: Mapping[str, Any], system: str) -> str:
    """A noun's message, with its meters in the grower's units where those are feet."""
    if system != US:
        return message
    return re.sub(
        r"(\d+(?:\.\d+)?) to (\d+(?:\.\d+)?) m\b",
        lambda found: f"{show_length(float(found[1]), system)} to {show_length(float(found[2]), system)}",
        re.sub(r" is (\d+(?:\.\d+)?);", lambda f: f" is {show_length(float(f[1]), system)};", message)
        if " m." in message
        else message,
    )


def _read_corners(held: Outline, typed: Mapping[str, str], system: str, errors: dict[str, str]) -> Outline:
    """Corners as typed; rows left empty are no corners. A row unchanged keeps its exact place."""
    corners = []
    for n in range(MOST_ROWS):
        texts = (typed.get(f"x_{n}", "").strip(), typed.get(f"y_{n}", "").strip())
        if not any(texts):
            continue
        point = []
        for axis, text in enumerate(texts):
            name = f"{'xy'[axis]}_{n}"
            if not text:
                errors[name] = "This corner lacks one of its two figures."
                continue
            if n < len(held) and text == coordinate(held[n][axis], system):
                point.append(held[n][axis])
                continue
            try:
                point.append(parse_coordinate(text, system, name))
            except InputError as error:
                errors[name] = str(error)
        if len(point) == 2:
            corners.append((point[0], point[1]))
    return tuple(corners)
