"""Which species can be chosen for a spot."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.sheets.portrait import species_name
from mulchwright.trade import RecipeTemplate, Trade


@dataclass(frozen=True, slots=True)
class Kind:
    """A species in a recipe, as one choice of a list."""

    template: RecipeTemplate
    species: str
    name: str

    @property
    def key(self) -> str:
        """How a form names it."""
        return f"{self.template.key}/{self.species}"


def kinds_of(trade: Trade) -> dict[str, Kind]:
    """All recipe templates with the species each suits, the easiest first."""
    kinds = [
        Kind(template, species, f"{species_name(species, trade).capitalize()}: {template.name.lower()}")
        for template in sorted(trade.recipes.values(), key=lambda row: row.skill)
        for species in template.species
    ]
    return {kind.key: kind for kind in kinds}
