"""Read the trade tables: each file once, when first asked for, every row checked.

A row without source, place, grade or range is refused, and the refusal names file, row, field and
remedy. Only what is asked for is read, so that a program that needs no woods does not wait for them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from mulchwright.errors import TableError
from mulchwright.trade.model import (
    EVIDENCE_TESTS,
    Basis,
    Caution,
    Constant,
    Feature,
    Lookalike,
    Material,
    Plant,
    Source,
    Spawn,
    Species,
    Symptom,
    Trouble,
    Wood,
)
from mulchwright.trade.recipes import RecipeTemplate, read_templates
from mulchwright.trade.shapes import Shape, check_shapes
from mulchwright.trade.table import CHOICES, Row, Table, build_row

__all__ = ["Trade", "load_trade"]


FOLDER = Path(__file__).parent
RUN_FACTOR_ROWS = {
    "best": "wood_run_factor_best",
    "good": "wood_run_factor_good",
    "slow": "wood_run_factor_slow",
    "avoid": "wood_run_factor_avoid",
}


class Trade:
    """What the trade knows: tables by name, each read from its file when first asked for.

    Every property is a mapping from key to row, in the order of the file. Raises `TableError`, which
    names file, row and field and says what to do, when a file cannot be taken as it is.
    """

    def __init__(self, folder: Path = FOLDER) -> None:
        self._folder = folder

    def _rows(self, name: str, kind: type[Row], **extra: Any) -> Mapping[str, Row]:
        table = Table(self._folder, name, self._source_read)
        seen: set[str] = set()
        rows: dict[str, Row] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            rows[key] = build_row(table, kind, row, key, extra)
        return MappingProxyType(rows)

    @cached_property
    def sources(self) -> Mapping[str, Source]:
        """Works that figures come from, by key."""
        table = Table(self._folder, "sources", None)
        seen: set[str] = set()
        rows: dict[str, Source] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            rows[key] = build_row(table, Source, row, key, {})
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
        table = Table(self._folder, name, self._source_read)
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
        table = Table(self._folder, "woods", self._source_read)
        factor = {rating: self.constants[key].value for rating, key in RUN_FACTOR_ROWS.items()}
        shared: dict[tuple[str, str, str], Mapping[str, float]] = {}
        seen: set[str] = set()
        rows: dict[str, Wood] = {}
        for index, row in enumerate(table.rows):
            key = table.key_of(row, index, seen)
            wood = build_row(table, Wood, row, key, {"run_factors": {}})
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
    def shapes(self) -> Mapping[str, Shape]:
        """How species and look-alikes are drawn, by their keys."""
        rows = self._rows("shapes", Shape)
        check_shapes(
            rows, {*self.species, *self.lookalikes}, Table(self._folder, "shapes", self._source_read)
        )
        return rows

    @cached_property
    def recipes(self) -> Mapping[str, RecipeTemplate]:
        """Recipes that growers use, as templates."""
        return read_templates(self._folder / "recipes.toml", self)

    @cached_property
    def symptoms(self) -> Mapping[str, Symptom]:
        """Signs on a bed, with the troubles that may lie behind each."""
        rows = self._rows("symptoms", Symptom)
        refuse = Table(self._folder, "symptoms", self._source_read).refuse
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
        refuse = Table(self._folder, "troubles", self._source_read).refuse
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

    @cached_property
    def _plant_names(self) -> tuple[tuple[tuple[str, ...], Plant], ...]:
        """Each name in its forms, singular and plural, the longest name first."""
        names = [(name.lower(), plant) for plant in self.plants.values() for name in plant.names]
        return tuple(
            ((name, f"{name}s", f"{name}es", f"{name[:-1]}ies" if name.endswith("y") else name), plant)
            for name, plant in sorted(names, key=lambda pair: (-len(pair[0]), pair[0]))
        )

    def plants_named(self, words: str) -> tuple[Plant, ...]:
        """Plants that a grower's words name, as "rosemary and two old quinces" names two.

        Singular and plural, whole words only; the longest name wins where one holds another.
        """
        left = f" {' '.join(re.findall(r'[a-z]+', words.lower()))} "
        found = []
        for forms, plant in self._plant_names:
            hit = next((form for form in forms if f" {form} " in left), None)
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
