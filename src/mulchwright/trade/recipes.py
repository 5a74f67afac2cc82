"""Recipes that growers use, as rows: layers from the ground up, spawn planes, the species they suit."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol

from mulchwright.errors import TableError
from mulchwright.trade.model import Basis, Material, Source, Spawn, Species

__all__ = ["RecipeTemplate", "TemplateLayer", "TemplatePlane", "read_templates"]


class _Tables(Protocol):
    """The tables whose keys a template uses."""

    @property
    def species(self) -> Mapping[str, Species]: ...
    @property
    def materials(self) -> Mapping[str, Material]: ...
    @property
    def spawn(self) -> Mapping[str, Spawn]: ...
    @property
    def sources(self) -> Mapping[str, Source]: ...


@dataclass(frozen=True, slots=True)
class TemplateLayer:
    """A layer of a template; `moisture` is "dry", "damp" or "soaked"."""

    material: str
    thickness_m: float
    moisture: str


@dataclass(frozen=True, slots=True)
class TemplatePlane:
    """A plane of scattered spawn of a template."""

    spawn: str
    height_m: float
    rate_kg_m2: float


@dataclass(frozen=True, slots=True)
class RecipeTemplate:
    """A recipe that growers use. `skill` runs from 1 (a first bed) to 5; our own judgement."""

    key: str
    name: str
    words: str
    species: tuple[str, ...]
    skill: int
    layers: tuple[TemplateLayer, ...]
    planes: tuple[TemplatePlane, ...]
    skin: TemplateLayer | None
    source: str
    place: str
    basis: Basis


def _part(kind: type[Any], row: Any, where: str) -> Any:
    try:
        return kind(**row)
    except TypeError as fault:
        raise TableError(
            f"recipes.toml, {where}: {fault}. Give exactly {', '.join(kind.__slots__)}."
        ) from None


def read_templates(file: Path, trade: _Tables) -> Mapping[str, RecipeTemplate]:
    """Templates of a file by key, every key in them held to the other tables.

    Raises `TableError`, naming row and field, for an unknown species, material, spawn kind or source,
    a missing field, or a plane above its bed.
    """
    rows: dict[str, RecipeTemplate] = {}
    for row in tomllib.loads(file.read_text(encoding="utf-8"))["recipes"]:
        where = f"row {row.get('key')!r}"
        try:
            template = RecipeTemplate(
                key=row["key"],
                name=row["name"],
                words=row["words"],
                species=tuple(row["species"]),
                skill=row["skill"],
                layers=tuple(_part(TemplateLayer, layer, f"{where}, layers") for layer in row["layers"]),
                planes=tuple(_part(TemplatePlane, plane, f"{where}, planes") for plane in row["planes"]),
                skin=_part(TemplateLayer, row["skin"], f"{where}, skin") if "skin" in row else None,
                source=row["source"],
                place=row["place"],
                basis=Basis(row["basis"]),
            )
        except KeyError as fault:
            raise TableError(f"recipes.toml, {where}: it has no {fault.args[0]}. Fill it in.") from None
        except ValueError:
            raise TableError(f"recipes.toml, {where}, basis: {row['basis']!r} is no grade.") from None
        if template.key in rows:
            raise TableError(f"recipes.toml, {where}: two rows have this key. Rename one.")
        _hold_to_tables(template, trade, where)
        rows[template.key] = template
    return MappingProxyType(rows)


def _hold_to_tables(template: RecipeTemplate, trade: _Tables, where: str) -> None:
    layers = (*template.layers, *([template.skin] if template.skin else []))
    checks: list[tuple[str, str, Mapping[str, Any]]] = [
        *(("species", key, trade.species) for key in template.species),
        *(("material", layer.material, trade.materials) for layer in layers),
        *(("spawn", plane.spawn, trade.spawn) for plane in template.planes),
        ("source", template.source, trade.sources),
    ]
    for what, key, table in checks:
        if key not in table:
            raise TableError(f"recipes.toml, {where}, {what}: {key!r} is in no table. Mend the key.")
    depth = sum(layer.thickness_m for layer in layers)
    if any(plane.height_m > depth + 1e-9 for plane in template.planes):
        raise TableError(f"recipes.toml, {where}, planes: spawn lies above the bed's top at {depth:g} m.")
