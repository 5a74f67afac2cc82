"""What the trade knows: species, woods, materials, spawn, cautions, constants and their sources."""

from mulchwright.trade.load import Trade, load_trade
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
from mulchwright.trade.recipes import RecipeTemplate, TemplateLayer, TemplatePlane
from mulchwright.trade.shapes import Shape

__all__ = [
    "EVIDENCE_TESTS",
    "UNITS",
    "Basis",
    "Caution",
    "Constant",
    "Feature",
    "Lookalike",
    "Material",
    "Plant",
    "Ranged",
    "RecipeTemplate",
    "Shape",
    "Source",
    "Spawn",
    "Species",
    "Symptom",
    "TemplateLayer",
    "TemplatePlane",
    "Trade",
    "Trouble",
    "Wood",
    "figure_fields",
    "load_trade",
]
