"""Read the trade tables: each file once, when first asked for, every row checked.

A row without source, place, grade or range is refused, and the refusal names file, row, field and
remedy. Only what is asked for is read, so that a program that needs no woods does not wait for them.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields, replace
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from mulchwright.errors import TableError
from mulchwright.trade.model import (
    EVIDENCE_TESTS,
    UNITS,
    Basis,
    Caution,
    Constant,
    Feature,
    Lookalike,
    Material,
    Plant,
    Ranged,
    Source,
    Spawn,
    Species,
    Symptom,
    Trouble,
    Wood,
    figure_fields,
)
from mulchwright.trade.recipes import RecipeTemplate, read_templates

__all__ = ["Trade", "load_trade"]

FOLDER = Path(__file__).parent

OWN = "own-estimate"
PRACTICE = "common-practice"
"""Two sources that are no works: our own judgement, and what growers commonly do."""

RATINGS = ("best", "good", "slow", "avoid")
RUN_FACTOR_ROWS = {
    "best": "wood_run_factor_best",
    "good": "wood_run_factor_good",
    "slow": "wood_run_factor_slow",
    "avoid": "wood_run_factor_avoid",
}
CHOICES: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("species", "wood_group"): ("king", "oyster", "conifer"),
    ("woods", "kind"): ("hardwood", "softwood", "other"),
    ("woods", "king_rating"): RATINGS,
    ("woods", "oyster_rating"): RATINGS,
    ("materials", "family"): ("chips", "straw", "fines", "mineral", "sheet"),
    ("spawn", "arrangement"): ("scattered", "points"),
    ("features", "part"): ("base", "cap", "ring", "gills", "stem", "flesh", "print"),
    ("plants", "verdict"): ("suits", "suffers"),
    ("lookalikes", "danger"): ("deadly", "poisonous", "mind-altering", "sickening", "poor"),
    ("symptoms", "where"): ("threads", "bed", "smell", "growth", "crop", "animals", "other"),
    ("sources", "read"): ("whole", "part", "abstract", "second-hand", "not read", "no work"),
}
RANGE_FIELDS = frozenset({"low", "likely", "high", "unit", "source", "place", "basis", "printed", "note"})
RANGE_NEEDED = ("low", "likely", "high", "unit", "source", "place", "basis")
ALWAYS_POSITIVE = frozenset(
    {"factor", "kg/m³", "mm/day", "days", "W/(m K)", "J/(kg K)", "1/year", "log", "g"}
)

Row = TypeVar("Row")


class _Table:
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


def _build(table: _Table, kind: type[Row], row: dict[str, Any], key: str, extra: Mapping[str, Any]) -> Row:
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


class Trade:
    """What the trade knows: tables by name, each read from its file when first asked for.

    Every property is a mapping from key to row, in the order of the file. Raises `TableError`, which
    names file, row and field and says what to do, when a file cannot be taken as it is.
    """

    def __init__(self, folder: Path = FOLDER) -> None:
        self._folder = folder

    def _rows(self, name: str, kind: type[Row], **extra: Any) -> Mapping[str, Row]:
        table = _Table(self._folder, name, self._source_read)
        seen: set[str] = set()
        rows: dict[str, Row] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            rows[key] = _build(table, kind, row, key, extra)
        return MappingProxyType(rows)

    @cached_property
    def sources(self) -> Mapping[str, Source]:
        """Works that figures come from, by key."""
        table = _Table(self._folder, "sources", None)
        seen: set[str] = set()
        rows: dict[str, Source] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            rows[key] = _build(table, Source, row, key, {})
        return MappingProxyType(rows)

    @cached_property
    def _source_read(self) -> Mapping[str, str]:
        return {key: source.read for key, source in self.sources.items()}

    @cached_property
    def species(self) -> Mapping[str, Species]:
        """Mushrooms for garden beds."""
        return self._rows("species", Species)

    @cached_property
    def materials(self) -> Mapping[str, Material]:
        """What layers are made of."""
        return self._rows("materials", Material)

    @cached_property
    def spawn(self) -> Mapping[str, Spawn]:
        """Kinds of spawn."""
        return self._rows("spawn", Spawn)

    @cached_property
    def constants(self) -> Mapping[str, Constant]:
        """Physical and model constants."""
        return self._constants("constants")

    @cached_property
    def keeping(self) -> Mapping[str, Constant]:
        """What chilling, drying and storing rest on."""
        return self._constants("keeping")

    def _constants(self, name: str) -> Mapping[str, Constant]:
        table = _Table(self._folder, name, self._source_read)
        seen: set[str] = set()
        rows: dict[str, Constant] = {}
        allowed = {f.name for f in fields(Constant)}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            unknown = sorted(set(row) - allowed)
            if unknown:
                raise table.refuse(
                    key,
                    unknown[0],
                    "this table has no such field.",
                    f"Its fields: {', '.join(sorted(allowed))}.",
                )
            for needed in ("meaning", "value", "low", "high", "unit"):
                if needed not in row:
                    raise table.refuse(
                        key,
                        needed,
                        "it is missing.",
                        "Every constant needs meaning, value, low, high and unit.",
                    )
            low, value, high = (table.number(row[name], key, name) for name in ("low", "value", "high"))
            unit = table.unit(row["unit"], key, "unit", None)
            table.check_range(key, "value", low, value, high, unit)
            source, place, basis = table.grade(row, key, "value")
            note = row.get("note", "")
            if basis is Basis.ESTIMATE and not note:
                raise table.refuse(
                    key, "value", "an estimate without its reasoning.", "Say in `note` what it rests on."
                )
            rows[key] = Constant(
                key=key, meaning=table.text(row, key, "meaning"), value=value, low=low, high=high, unit=unit,
                source=source, place=place, basis=basis, printed=row.get("printed", ""), note=note,
            )  # fmt: skip
        return MappingProxyType(rows)

    @cached_property
    def woods(self) -> Mapping[str, Wood]:
        """Woods as food for king stropharia and oyster beds."""
        table = _Table(self._folder, "woods", self._source_read)
        factor = {rating: self.constants[key].value for rating, key in RUN_FACTOR_ROWS.items()}
        shared: dict[tuple[str, str, str], Mapping[str, float]] = {}
        seen: set[str] = set()
        rows: dict[str, Wood] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            wood = _build(table, Wood, row, key, {"run_factors": {}})
            alike = (wood.kind, wood.king_rating, wood.oyster_rating)
            if alike not in shared:
                shared[alike] = MappingProxyType(self._run_factors(wood, factor))
            rows[key] = replace(wood, run_factors=shared[alike])
        return MappingProxyType(rows)

    def _run_factors(self, wood: Wood, factor: Mapping[str, float]) -> dict[str, float]:
        factors = {}
        for species in self.species.values():
            if species.wood_group == "oyster":
                factors[species.key] = factor[wood.oyster_rating]
            elif species.wood_group == "conifer" and wood.kind == "softwood" and wood.king_rating != "avoid":
                factors[species.key] = factor["good"]
            else:
                factors[species.key] = factor[wood.king_rating]
        return factors

    @cached_property
    def cautions(self) -> Mapping[str, Caution]:
        """Cautions, with where each applies."""
        return self._rows("cautions", Caution)

    @cached_property
    def lookalikes(self) -> Mapping[str, Lookalike]:
        """Mushrooms that can be taken for planted ones, the deadly first."""
        return self._rows("lookalikes", Lookalike)

    @cached_property
    def features(self) -> Mapping[str, Feature]:
        """What to look at before a pick feeds anybody, in order, for every species."""
        rows: Mapping[str, Feature] = self._rows("features", Feature)
        for row in rows.values():
            unknown = [key for key in row.rules_out if key not in self.lookalikes]
            if row.species not in self.species or unknown:
                what = unknown[0] if unknown else row.species
                raise TableError(
                    f"features.toml, row {row.key!r}: {what!r} is in no table. Mend the key or add the row."
                )
        return rows

    def features_of(self, species: str) -> tuple[Feature, ...]:
        """Features of one species in the order in which to look at them; the print comes last."""
        return tuple(row for row in self.features.values() if row.species == species)

    @cached_property
    def recipes(self) -> Mapping[str, RecipeTemplate]:
        """Recipes that growers use, as templates."""
        return read_templates(self._folder / "recipes.toml", self)

    @cached_property
    def symptoms(self) -> Mapping[str, Symptom]:
        """Signs on a bed, with the troubles that may lie behind each."""
        rows = self._rows("symptoms", Symptom)
        refuse = _Table(self._folder, "symptoms", self._source_read).refuse
        for key, row in rows.items():
            unknown = [trouble for trouble in row.troubles if trouble not in self.troubles]
            if unknown:
                raise refuse(
                    key, "usual, sometimes", f"trouble {unknown[0]!r} is not in troubles.toml.",
                    "Add it there, or mend the spelling.",
                )  # fmt: skip
            if not row.usual or len(set(row.troubles)) < len(row.troubles):
                raise refuse(
                    key, "usual, sometimes", "it has no usual trouble, or one stands twice.",
                    "Name at least one usual trouble, and each once.",
                )  # fmt: skip
        return rows

    @cached_property
    def troubles(self) -> Mapping[str, Trouble]:
        """What may be the matter with a bed, the evidence that tells, and what to do."""
        rows = self._rows("troubles", Trouble)
        refuse = _Table(self._folder, "troubles", self._source_read).refuse
        for key, row in rows.items():
            unknown = sorted(set(row.tests) - EVIDENCE_TESTS)
            if unknown:
                raise refuse(
                    key, "tests", f"evidence {unknown[0]!r} is not known.",
                    f"Use some of: {', '.join(sorted(EVIDENCE_TESTS))}.",
                )  # fmt: skip
            if row.look_again_days < 1:
                raise refuse(
                    key, "look_again_days", f"{row.look_again_days} is not a number of days.",
                    "Give the days until the next look, 1 or more.",
                )  # fmt: skip
        return rows

    @cached_property
    def evidence(self) -> Mapping[str, Constant]:
        """Weights and marks of the evidence behind a sign; all of it our own judgement."""
        return self._constants("evidence")

    @cached_property
    def plants(self) -> Mapping[str, Plant]:
        """Plants of garden beds, and how they take a deep bed of chips."""
        return self._rows("plants", Plant)

    def plants_named(self, words: str) -> tuple[Plant, ...]:
        """Plants that a grower's words name, as "rosemary and two old quinces" names two.

        Singular and plural, whole words only; the longest name wins where one holds another.
        """
        left = f" {' '.join(re.findall(r'[a-z]+', words.lower()))} "
        found = []
        names = [(name.lower(), plant) for plant in self.plants.values() for name in plant.names]
        for name, plant in sorted(names, key=lambda pair: (-len(pair[0]), pair[0])):
            many = (name, f"{name}s", f"{name}es", f"{name[:-1]}ies" if name.endswith("y") else name)
            hit = next((form for form in many if f" {form} " in left), None)
            if hit:
                left = left.replace(f" {hit} ", "  ")
                found.append(plant)
        return tuple(plant for plant in self.plants.values() if plant in found)

    def lookalikes_of(self, species: str) -> tuple[Lookalike, ...]:
        """Look-alikes of one species, the deadly first."""
        order = CHOICES[("lookalikes", "danger")]
        found = [row for row in self.lookalikes.values() if species in row.taken_for]
        return tuple(sorted(found, key=lambda row: order.index(row.danger)))

    def danger_of(self, species: str) -> str:
        """The worst danger among the look-alikes of a species; "" where none is known."""
        found = self.lookalikes_of(species)
        return found[0].danger if found else ""

    def cautions_for(self, *tags: str) -> tuple[Caution, ...]:
        """Cautions that apply where any of these tags holds, the grave first."""
        found = [row for row in self.cautions.values() if set(tags) & set(row.when)]
        return tuple(sorted(found, key=lambda row: not row.grave))

    def sources_of(self, figures: Iterable[Any]) -> tuple[Source, ...]:
        """Sources of the figures, constants or rows that a result used, each once, in order of use."""
        keys = dict.fromkeys(figure.source for figure in figures)
        return tuple(self.sources[key] for key in keys)


@lru_cache(maxsize=1)
def load_trade() -> Trade:
    """The trade tables that come with the program; the same object every time."""
    return Trade()
