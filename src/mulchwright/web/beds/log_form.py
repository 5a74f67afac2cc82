"""Reading what was entered for the logbook: every fault in words beside its field, nothing guessed.

One form serves a tap beside the bed, a round with the watering can and an edit at the computer. Days are the
garden's own: what a phone thinks the day is plays no part.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from hashlib import blake2b
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, PickStage, Sight, Stage
from mulchwright.garden.logbook import free_key
from mulchwright.season.bed import food_cells
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.trade import Trade

MOST_TAKEN_OF_LAID = 3.0
"""Loose chips over the settled volume of a bed as laid: they lie looser, and it may have been topped up."""
NEEDS_A_BED = frozenset({LogKind.WATERED, LogKind.LOOKED, LogKind.PICKED, LogKind.TOPPED_UP, LogKind.MOVED})
LONGEST_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class Entered:
    """What a form came to: entries, or faults by field, or a question that a yes answers."""

    entries: tuple[LogEntry, ...] = ()
    errors: Mapping[str, str] = field(default_factory=dict)
    ask: str = ""


def bare_request_id(request_id: str) -> str:
    """The mark a form carries, if it is one that the pages or the module make; "" otherwise."""
    return request_id if re.fullmatch(r"[a-z0-9-]{8,64}", request_id) else ""


def request_id_with_content(request_id: str, entries: Sequence[LogEntry]) -> str:
    """The mark under which a write is kept: a resend has it again, another entry from the same page has not.

    A page that came back with the back button carries its old mark; what is entered there anew is new.
    """
    if not request_id:
        return ""
    content = repr([replace(entry, key="x", entered_at=None) for entry in entries])
    return blake2b(f"{request_id}\n{content}".encode(), digest_size=16).hexdigest()


def heaviest_kg(patch: Patch, trade: Trade) -> float:
    """What the bed could bear over its life by the high ends of the tables, fresh mass; NaN if not known.

    Area times dry matter times biological efficiency times the species' own factor.
    """
    try:
        food = food_cells(patch.recipe, trade)
        factor = trade.species[patch.species].crop_factor.high
    except (KeyError, InputError):
        return math.nan
    bearing = math.fsum(cell.dry_mass_kg_m2 * cell.material.biological_efficiency.high for cell in food)
    return patch.area_m2 * bearing * factor


# ---- single fields ----------------------------------------------------------


def _day(typed: Mapping[str, str], today: date) -> date:
    text = typed.get("day", "").strip()
    # A page that lay open overnight still shows yesterday: a day nobody touched means today.
    if not text or text == typed.get("page_day", ""):
        return today
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"“{text[:40]}” is no day; write it as {today.isoformat()} (year, month, day).", field="day"
        ) from None
    if day > today:
        raise InputError(
            f"{words.day(day, today)} is still to come; in the garden it is {words.day(today, today)}. "
            "Choose today or a day before.",
            field="day",
        )
    return day


def _check_day_for(patch: Patch, kind: LogKind, day: date, today: date) -> None:
    if kind not in NEEDS_A_BED:
        return
    if patch.stage is Stage.PLANNED or patch.built_on is None:
        raise InputError(
            f"“{patch.name}” is not built yet, so there is nothing to water, look at or pick. Note it as "
            "built first (on its page), or write a note.",
            field="kind",
        )
    if day < patch.built_on:
        raise InputError(
            f"“{patch.name}” was built on {words.day(patch.built_on, today)}; {words.day(day, today)} is "
            "before that. Choose a day since, or write it as a note.",
            field="day",
        )


def _number(text: str, name: str, what: str, low: float, high: float) -> float:
    plain = text.replace(",", ".").replace("%", "").replace("−", "-").strip()
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"“{text[:40]}” is no {what}; type a number from {low:g} to {high:g}.", field=name)
    return value


def _litres(typed: Mapping[str, str], garden: Garden, patch: Patch) -> float:
    """Litres of a watering: as advised, in cans, in minutes at the hose, or as typed."""
    given = [name for name in ("litres", "cans", "minutes") if typed.get(name, "").strip()]
    button = typed.get("amount", "typed")
    if button == "advised":
        advised = typed.get(f"advised.{patch.key}", "").strip()
        if not advised:
            raise InputError(
                f"There is no advice for “{patch.name}” just now; type how much it got.", field="litres"
            )
        return units.parse_volume(advised, units.METRIC, field="litres")
    if button in ("can", "hose"):
        given, typed = (["cans"], {"cans": "1"}) if button == "can" else (["minutes"], {"minutes": "10"})
    elif typed.get("water", "").strip():
        name = {"cans": "cans", "minutes": "minutes"}.get(typed.get("water_as", ""), "litres")
        given, typed = [name], {name: typed["water"]}
    if not given:
        raise InputError("How much water? Type an amount, minutes of hose or cans.", field="litres")
    if len(given) > 1:
        raise InputError("Tell the water in one way: an amount, minutes or cans.", field=given[1])
    text = typed[given[0]]
    if given[0] == "cans":
        return _number(text, "cans", "number of cans", 0.1, 500) * garden.can_litres
    if given[0] == "minutes":
        minutes = _number(text, "minutes", "number of minutes", 0.1, LONGEST_MINUTES)
        return minutes * garden.hose_litres_per_minute
    return units.parse_volume(text, garden.units.value, field="litres")


def _choice(typed: Mapping[str, str], name: str, known: Sequence[str], what: str) -> str:
    value = typed.get(name, "").strip()
    if value and value not in known:
        raise InputError(
            f"“{value[:40]}” is no {what} this garden knows; choose one of the list.", field=name
        )
    return value


def _of_kind(
    kind: LogKind, typed: Mapping[str, str], garden: Garden, patch: Patch, trade: Trade
) -> dict[str, object]:
    """The fields that belong to a kind; what was typed for another kind is left alone."""
    system = garden.units.value
    filled = {name for name, value in typed.items() if value.strip()}
    if kind is LogKind.WATERED:
        return {"litres": _litres(typed, garden, patch)}
    if kind is LogKind.LOOKED:
        sight = _choice(typed, "sight", [s.value for s in Sight], "sight")
        fields: dict[str, object] = {"sight": Sight(sight) if sight else None}
        if "share" in filled:
            fields["share"] = _number(typed["share"], "share", "share in percent", 0, 100) / 100
        if not sight and "share" not in filled and not {"signs", "text"} & filled:
            raise InputError("What did you see? Choose one: nothing, mycelium, pins, ready.", field="sight")
        return fields
    if kind is LogKind.PICKED:
        if "mass" not in filled:
            raise InputError("How much was picked? Type its weight, such as "
                             f"{'350 g' if system == units.METRIC else '12 oz'}.", field="mass")  # fmt: skip
        fields = {"mass_kg": _mass(typed["mass"], system)}
        if "count" in filled:
            count = _number(typed["count"], "count", "number of mushrooms", 1, 100_000)
            if count != int(count):
                raise InputError("Count whole mushrooms.", field="count")
            fields["count"] = int(count)
        if "stage" in filled:
            fields["stage"] = PickStage(_choice(typed, "stage", [s.value for s in PickStage], "stage"))
        return fields
    if kind is LogKind.TOPPED_UP:
        fields = {"material": _choice(typed, "material", list(trade.materials), "material")}
        if "thickness" in filled:
            fields["thickness_m"] = units.parse_length(typed["thickness"], system, field="thickness")
        return fields
    if kind is LogKind.MOVED:
        others = [p.key for p in garden.patches if p.key != patch.key]
        fields = {"to_patch": _choice(typed, "to_patch", others, "other bed")}
        if "taken" in filled:
            fields["litres"] = _chips_taken(typed["taken"], system, patch)
        if "share" in filled:
            fields["share"] = _number(typed["share"], "share", "share in percent", 0, 100) / 100
        return fields
    return {}


def _chips_taken(typed: str, system: str, patch: Patch) -> float:
    """Loose volume of living chips; refused where it is beyond what the bed can ever have held."""
    litres = units.parse_volume(typed, system, field="taken")
    most = MOST_TAKEN_OF_LAID * 1000.0 * patch.area_m2 * patch.recipe.depth_m
    if litres > most:
        raise InputError(
            f"{units.show_volume(litres, system)} is more than “{patch.name}” can hold; give what was taken "
            f"from it, at most {units.show_volume(most, system)}.",
            field="taken",
        )
    return litres


def scale_mass(text: str, system: str, *, field: str = "mass") -> float:
    """A mass [kg]; a bare number is grams or ounces, for that is what a kitchen scale shows."""
    if re.fullmatch(r"\s*\d+(?:[.,]\d+)?\s*", text):
        text = f"{text.strip()} {'g' if system == units.METRIC else 'oz'}"
    return units.parse_mass(text, system, field=field)


def _mass(text: str, system: str) -> float:
    mass = scale_mass(text, system)
    if mass <= 0:
        raise InputError("A pick of nothing is a look: enter “nothing to see”.", field="mass")
    return mass


def _signs(typed: Mapping[str, str], trade: Trade) -> tuple[str, ...]:
    asked = [key for key in typed.get("signs", "").split() if key]
    if unknown := [key for key in asked if key not in trade.symptoms]:
        raise InputError(f"“{unknown[0][:40]}” is no sign on the list; choose again.", field="signs")
    return tuple(dict.fromkeys(asked))


# ---- whole entries ----------------------------------------------------------


def entered(
    typed: Mapping[str, str], garden: Garden, patches: Sequence[Patch], trade: Trade, *,
    today: date, now: datetime, by: str = "", photos: Sequence[str] = (),
) -> Entered:  # fmt: skip
    """The entries that a form tells, one a bed, or what is wrong with it.

    typed : fields of the form; several signs are one text, keys between blanks.
    """
    errors: dict[str, str] = {}
    entries: list[LogEntry] = []
    taken = {entry.key for entry in garden.log}
    ask: list[str] = []
    for patch in patches:
        entry = _entry(typed, garden, patch, trade, today, errors)
        if entry is None:
            continue
        entry = replace(
            entry,
            key=free_key(entry.day, entry.kind, taken),
            photos=tuple(photos),
            entered_at=now,
            by=by[:80],
        )
        taken.add(entry.key)
        entries.append(entry)
        ask.extend(_question(entry, garden, patch, trade, typed))
    if errors:
        return Entered(errors=errors)
    return Entered(tuple(entries), ask=" ".join(ask))


def edited(
    before: LogEntry, typed: Mapping[str, str], garden: Garden, trade: Trade, *, today: date,
    photos: Sequence[str] = (),
) -> Entered:  # fmt: skip
    """An entry as it was changed in the form; who wrote it and when stays, as do photos that were kept."""
    errors: dict[str, str] = {}
    patch = garden.patch(before.patch)
    fields = {**typed, "kind": before.kind.value, "page_day": ""}
    entry = _entry(fields, garden, patch, trade, today, errors)
    if entry is None:
        return Entered(errors=errors)
    kept = [key for key in before.photos if typed.get(f"drop.{key}") != "yes"]
    entry = replace(
        entry, key=before.key, entered_at=before.entered_at, by=before.by,
        photos=tuple(dict.fromkeys((*kept, *photos))),
    )  # fmt: skip
    rest = replace(garden, log=tuple(one for one in garden.log if one.key != before.key))
    changed = entry.mass_kg != before.mass_kg
    return Entered((entry,), ask=" ".join(_question(entry, rest, patch, trade, typed)) if changed else "")


def _entry(
    typed: Mapping[str, str], garden: Garden, patch: Patch, trade: Trade, today: date, errors: dict[str, str]
) -> LogEntry | None:
    """One bed's entry; faults go into `errors` under their field."""
    try:
        kind = LogKind(typed.get("kind", ""))
    except ValueError:
        errors["kind"] = "Choose what was done: watered, looked, picked, topped up, moved or a note."
        return None
    day = today
    fields: dict[str, object] = {}
    signs: tuple[str, ...] = ()
    found = len(errors)
    for act in (
        lambda: _day(typed, today),
        lambda: _of_kind(kind, typed, garden, patch, trade),
        lambda: _signs(typed, trade),
    ):
        try:
            result = act()
        except InputError as error:
            errors.setdefault(error.field or "form", str(error))
            continue
        if isinstance(result, date):
            day = result
        elif isinstance(result, dict):
            fields = result
        else:
            signs = result
    if len(errors) > found:
        return None
    text = typed.get("text", "").replace("\r\n", "\n").strip()
    if kind is LogKind.NOTE and not text and not signs and typed.get("with_photo") != "yes":
        errors["text"] = "Write a few words, or add a photo."
        return None
    try:
        _check_day_for(patch, kind, day, today)
        return LogEntry("draft", patch.key, day, kind, text=text, signs=signs, **fields)  # type: ignore[arg-type]
    except InputError as error:
        names = {"mass_kg": "mass", "thickness_m": "thickness"}
        errors.setdefault(names.get(error.field or "", error.field or "form"), str(error))
        return None


def _too_early(entry: LogEntry, garden: Garden, patch: Patch, trade: Trade) -> str:
    """The question where a pick is noted on a day on which no bed of this kind has ripened; "" otherwise.

    The least days from spawning until a bed can fruit, at the optimum, are the low end of `ripening_days`.
    """
    species = trade.species.get(patch.species)
    if species is None or patch.built_on is None or entry.mass_kg is None:
        return ""
    days, least = (entry.day - patch.built_on).days, math.floor(species.ripening_days.low)
    if days >= least:
        return ""
    when = "on the day the bed was built" if days == 0 else f"{words.plural(days, 'day')} after it was built"
    return (
        f"You noted {units.show_mass(entry.mass_kg, garden.units.value)} from “{patch.name}” {when}. "
        f"Is that right? {species.names[0].capitalize()} takes at least {least} days from spawning to its "
        "first crop. Correct the day or the bed, or say yes, and it is kept."
    )


def _question(
    entry: LogEntry, garden: Garden, patch: Patch, trade: Trade, typed: Mapping[str, str]
) -> list[str]:
    """What is asked before it is kept: a pick that the bed could hardly have borne, or not yet."""
    if entry.kind is not LogKind.PICKED or entry.mass_kg is None or typed.get("sure") == "yes":
        return []
    early = _too_early(entry, garden, patch, trade)
    if early:
        return [early]
    most = heaviest_kg(patch, trade)
    before = math.fsum(
        e.mass_kg or 0.0 for e in garden.log if e.patch == patch.key and e.kind is LogKind.PICKED
    )
    if math.isnan(most) or before + entry.mass_kg <= most:
        return []
    system = garden.units.value
    earlier = f" With the {units.show_mass(before, system)} picked before" if before else " That"
    question = (
        f"{units.show_mass(entry.mass_kg, system)} from “{patch.name}”?{earlier} is more than a bed of its "
        f"size is known to bear over its whole life ({units.show_mass(most, system)}). If the figure is "
        "right, say yes, and it is kept."
    )
    return [question]
