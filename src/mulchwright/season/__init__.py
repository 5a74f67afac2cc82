"""The season engine: water, heat, spawn run, fruiting, yield and decay of a bed, over an ensemble.

Arrays and dataclasses in, arrays and dataclasses out: no clock, no files, no hidden random state.
"""

from mulchwright.season.bed import (
    CELLS,
    Cell,
    bed_arrays,
    cells_of,
    food_cells,
    food_dry_mass_kg_m2,
    growth_marks,
    saturation_of_straw,
)
from mulchwright.season.draws import Draws, chance_of_nothing, draw_parameters
from mulchwright.season.run import SeasonRun, forcing_of, model_constants_of, simulate

__all__ = [
    "CELLS",
    "Cell",
    "Draws",
    "SeasonRun",
    "bed_arrays",
    "cells_of",
    "chance_of_nothing",
    "draw_parameters",
    "food_cells",
    "food_dry_mass_kg_m2",
    "forcing_of",
    "growth_marks",
    "model_constants_of",
    "saturation_of_straw",
    "simulate",
]
