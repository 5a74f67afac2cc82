"""One table of the trade while it is read: every row checked, each refusal with file, row and field."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, TypeVar

from mulchwright.errors import TableError
from mulchwright.trade.model import UNITS, Basis, Ranged, figure_fields

__all__ = ["CHOICES", "Row", "Table", "build_row"]


OWN = "own-estimate"
PRACTICE = "common-practice"
"""Two sources that are no works: our own judgement, and what growers commonly do."""

RATINGS = ("best", "good", "slow", "avoid")
CHOICES: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("species", "wood_group"): ("king", "oyster", "conifer"),
    ("woods", "kind"): ("hardwood", "softwood", "other"),
    ("woods", "king_rating"): RATINGS,
    ("woods", "oyster_rating"): RATINGS,
    ("materials", "family"): ("chips", "straw", "fines", "mineral", "sheet"),
    ("spawn", "arrangement"): ("scattered", "points"),
    ("features", "part"): ("base", "cap", "ring", "gills", "stem", "flesh", "print"),
    ("plants", "verdict"): ("suits", "suffers"),
    ("plants", "clear_from"): ("stem", "leaves"),
    ("lookalikes", "danger"): ("deadly", "poisonous", "mind-altering", "sickening", "poor"),
    ("shapes", "cap_form"): ("convex", "flat", "bell", "cone", "cylinder", "funnel", "shelf"),
    ("shapes", "cap_second_at"): ("age", "middle", "edge", "scales"),
    ("shapes", "gill_attachment"): ("free", "attached", "notched", "running-down"),
    ("shapes", "stem_at"): ("center", "side", "none"),
    ("shapes", "stem_surface"): ("smooth", "scaly-below", "shaggy", "silvery"),
    ("shapes", "ring"): ("none", "thin", "skirt", "toothed", "cobweb", "movable", "zone", "present"),
    ("shapes", "base"): ("plain", "bulb", "cords", "cup", "joined"),
    ("shapes", "flesh_change"): ("unknown", "none", "blue", "yellow", "dark-patch"),
    ("shapes", "grows"): ("ground", "chips", "straw", "wood", "roots"),
    ("symptoms", "where"): ("threads", "bed", "smell", "growth", "crop", "animals", "other"),
    ("sources", "read"): ("whole", "part", "abstract", "second-hand", "not read", "no work"),
}
RANGE_FIELDS = frozenset({"low", "likely", "high", "unit", "source", "place", "basis", "printed", "note"})
RANGE_NEEDED = ("low", "likely", "high", "unit", "source", "place", "basis")
ALWAYS_POSITIVE = frozenset(
    {"factor", "kg/m³", "mm/day", "days", "W/(m K)", "J/(kg K)", "1/year", "log", "g"}
)

Row = TypeVar("Row")


class Table:
    """One file while it is being read; knows how to refuse."""

    def __init__(self, folder: Path, name: str, source_read: Mapping[str, str] | None) -> None:
        self.name = name
        self.file = f"{name}.toml"
        self.source_read = source_read
        try:
            with (folder / self.file).open("rb") as stream:
                data = tomllib.load(stream)
        except FileNotFoundError:
            raise TableError(
                f"The table {self.file} is missing. Install the program again; its tables come with it."
            ) from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
            raise TableError(
                f"{self.file} cannot be read: {fault}. Mend that line and start again."
            ) from None
        unknown = sorted(set(data) - {name})
        if unknown or not isinstance(data.get(name), list):
            raise TableError(
                f"{self.file} must hold rows headed [[{name}]] and nothing else"
                + (f"; it also has {unknown[0]!r}." if unknown else ".")
            )
        self.rows: list[dict[str, Any]] = data[name]

    def refuse(self, key: str, field_name: str, what: str, remedy: str) -> TableError:
        return TableError(f"{self.file}, row {key!r}, {field_name}: {what} {remedy}")

    def key_of(self, row: Mapping[str, Any], index: int, seen: set[str]) -> str:
        key = row.get("key")
        if not isinstance(key, str) or not key:
            raise TableError(f"{self.file}, row {index + 1}: it has no key. Give it a short name of its own.")
        if key in seen:
            raise self.refuse(key, "key", "two rows have this key.", "Rename one of them, or take it out.")
        seen.add(key)
        return key

    def text(self, row: Mapping[str, Any], key: str, field_name: str) -> str:
        value = row[field_name]
        if not isinstance(value, str):
            raise self.refuse(key, field_name, f"{value!r} is not text.", "Put it in quotes.")
        return value

    def texts(self, row: Mapping[str, Any], key: str, field_name: str) -> tuple[str, ...]:
        value = row[field_name]
        if not isinstance(value, list) or not all(isinstance(item, str) and item for item in value):
            raise self.refuse(
                key, field_name, f"{value!r} is not a list of words.", 'Write it as ["one", "two"].'
            )
        return tuple(value)

    def number(self, value: object, key: str, field_name: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.refuse(
                key,
                field_name,
                f"{value!r} is not a number.",
                "Give a plain number; leave out what is unknown.",
            )
        return float(value)

    def unit(self, value: object, key: str, field_name: str, wanted: str | None) -> str:
        if not isinstance(value, str) or value not in UNITS:
            known = ", ".join(sorted(unit for unit in UNITS if unit))
            raise self.refuse(key, field_name, f"unit {value!r} is not known.", f"Use one of: {known}.")
        if wanted is not None and value != wanted:
            raise self.refuse(
                key, field_name, f"the unit is {value!r}, but this figure is kept in {wanted!r}.",
                "Convert it, and keep the figure as published under `printed`.",
            )  # fmt: skip
        return value

    def grade(self, row: Mapping[str, Any], key: str, field_name: str) -> tuple[str, str, Basis]:
        """Source, place and basis of a row or of a figure, checked against the list of sources."""
        for needed, remedy in (
            ("source", "Name the key of a row in sources.toml."),
            ("place", "Say where in the source it stands: a table, a page, an equation, the abstract."),
            ("basis", f"Give one of: {', '.join(basis.value for basis in Basis)}."),
        ):
            if not isinstance(row.get(needed), str) or not row[needed].strip():
                raise self.refuse(key, field_name, f"it has no {needed}.", remedy)
        source, place = row["source"], row["place"]
        try:
            basis = Basis(row["basis"])
        except ValueError:
            known = ", ".join(basis.value for basis in Basis)
            raise self.refuse(
                key, field_name, f"grade {row['basis']!r} is not known.", f"Use one of: {known}."
            ) from None
        assert self.source_read is not None
        read = self.source_read.get(source)
        if read is None:
            raise self.refuse(
                key,
                field_name,
                f"source {source!r} is not in sources.toml.",
                "Add it there, or mend the spelling.",
            )
        if basis is Basis.READ and read in ("not read", "no work"):
            raise self.refuse(
                key, field_name, f"it is graded read, but sources.toml says of {source!r}: {read}.",
                "Grade it memory, practice or estimate, or record how much of the source was read.",
            )  # fmt: skip
        if source == OWN and basis not in (Basis.ESTIMATE, Basis.DERIVED):
            raise self.refuse(
                key, field_name, f"our own judgement cannot be graded {basis.value}.", "Grade it estimate."
            )
        if source == PRACTICE and basis not in (Basis.PRACTICE, Basis.ESTIMATE, Basis.DERIVED):
            raise self.refuse(
                key, field_name, f"common practice cannot be graded {basis.value}.", "Grade it practice."
            )
        return source, place, basis

    def ranged(self, value: object, key: str, field_name: str, wanted: str) -> Ranged:
        if not isinstance(value, dict):
            raise self.refuse(
                key, field_name, "it is not a figure with a range.",
                'Write { low = 1, likely = 2, high = 3, unit = "mm", source = "...", place = "...", '
                'basis = "..." }.',
            )  # fmt: skip
        unknown = sorted(set(value) - RANGE_FIELDS)
        if unknown:
            raise self.refuse(
                key,
                field_name,
                f"{unknown[0]!r} is not part of a figure.",
                f"It may have {', '.join(sorted(RANGE_FIELDS))}.",
            )
        for needed in RANGE_NEEDED[:4]:
            if needed not in value:
                raise self.refuse(
                    key, field_name, f"it has no {needed}.", "Every figure needs low, likely, high and unit."
                )
        for words in ("printed", "note"):
            if not isinstance(value.get(words, ""), str):
                raise self.refuse(
                    key, field_name, f"{words} is {value[words]!r}, not text.", "Put it in quotes."
                )
        low = self.number(value["low"], key, field_name)
        likely = self.number(value["likely"], key, field_name)
        high = self.number(value["high"], key, field_name)
        unit = self.unit(value["unit"], key, field_name, wanted)
        self.check_range(key, field_name, low, likely, high, unit)
        source, place, basis = self.grade(value, key, field_name)
        note = value.get("note", "")
        if basis is Basis.ESTIMATE and not note:
            raise self.refuse(
                key, field_name, "an estimate without its reasoning.", "Say in `note` what it rests on."
            )
        return Ranged(low, likely, high, unit, source, place, basis, value.get("printed", ""), note)

    def check_range(
        self, key: str, field_name: str, low: float, likely: float, high: float, unit: str
    ) -> None:
        if not low <= likely <= high:
            raise self.refuse(
                key, field_name, f"low {low:g}, likely {likely:g} and high {high:g} are out of order.",
                "They must rise; exchange the ones that are swapped.",
            )  # fmt: skip
        if unit == "share" and not (low >= 0.0 and high <= 1.0):
            raise self.refuse(
                key,
                field_name,
                f"a share runs from 0 to 1, but this is {low:g} to {high:g}.",
                "Divide percentages by 100.",
            )
        if unit in ALWAYS_POSITIVE and low <= 0.0:
            raise self.refuse(
                key, field_name, f"low is {low:g}, but this quantity is above 0.", "Give a low above 0."
            )


def build_row(table: Table, kind: type[Row], row: dict[str, Any], key: str, extra: Mapping[str, Any]) -> Row:
    """One row as a dataclass: the fields of its class, none unknown, none missing."""
    figures = {figure.name: figure for figure in figure_fields(kind)}
    values: dict[str, Any] = dict(extra)
    known = {f.name for f in fields(kind)} - set(extra)  # type: ignore[arg-type]
    unknown = sorted(set(row) - known)
    if unknown:
        raise table.refuse(
            key, unknown[0], "this table has no such field.", f"Its fields: {', '.join(sorted(known))}."
        )
    for f in fields(kind):  # type: ignore[arg-type]
        name = f.name
        if name in extra:
            continue
        if name not in row:
            if f.default is MISSING and name not in ("source", "place", "basis"):
                remedy = (
                    "Fill it in; for a figure, an estimate with its reasoning will do."
                    if name in figures
                    else "Fill it in."
                )
                raise table.refuse(key, name, "it is missing.", remedy)
            continue
        if name in figures:
            values[name] = table.ranged(row[name], key, name, figures[name].unit)
        elif "tuple" in str(f.type):
            values[name] = table.texts(row, key, name)
        elif f.type in ("bool", "int"):
            wanted = bool if f.type == "bool" else int
            if type(row[name]) is not wanted:
                raise table.refuse(
                    key,
                    name,
                    f"{row[name]!r} is not {'true or false' if wanted is bool else 'a whole number'}.",
                    "Mend it.",
                )
            values[name] = row[name]
        elif f.type == "str":
            values[name] = table.text(row, key, name)
        choices = CHOICES.get((table.name, name))
        if choices and values[name] not in choices:
            raise table.refuse(
                key, name, f"{values[name]!r} is not known.", f"Use one of: {', '.join(choices)}."
            )
    if table.source_read is not None:
        values["source"], values["place"], values["basis"] = table.grade(row, key, "source")
    return kind(**values)
