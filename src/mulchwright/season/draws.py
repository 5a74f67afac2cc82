"""What is not known about a bed, as draws: one set of parameters per ensemble member.

Each parameter is drawn so that 1 draw in 10 lies below its table's `low`, half below `likely` and
9 in 10 below `high`. What belongs to a species is drawn once for all its patches, what belongs to a
bed is drawn for the bed; both from generators seeded by the run's seed and the name, so a patch
keeps its draws when others come or go.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Patch
from mulchwright.season.bed import food_cells
from mulchwright.season.layout import FLUSHES, PARAMETERS
from mulchwright.season.points import even_normals, even_uniforms, paired_uniforms
from mulchwright.trade import Species, Trade
from mulchwright.trade.ranges import Figure, spread_linear, spread_positive

__all__ = [
    "BED_ROWS",
    "CROPS_ROW",
    "HAZARD_ROWS",
    "LATENT_ROWS",
    "NOISE_ROWS",
    "SPECIES_ROWS",
    "BedPrior",
    "Draws",
    "bed_prior",
    "chance_of_nothing",
    "draw_parameters",
    "prior_latent",
]

Floats = npt.NDArray[np.float64]

SPECIES_ROWS = slice(0, len(PARAMETERS) + 1)
"""Rows of a latent draw that are the species', the same for all its beds: standard normals, one for each
parameter of the kernel and a last one for the crop factor."""
BED_ROWS = slice(SPECIES_ROWS.stop, SPECIES_ROWS.stop + 3)
"""Standard normals of one bed: biological efficiency, luck of the bed, water capacity."""
CROPS_ROW = BED_ROWS.stop
"""A uniform: a bed crops where it is not below the chance of nothing."""
HAZARD_ROWS = slice(CROPS_ROW + 1, CROPS_ROW + 1 + FLUSHES)
"""Unit exponentials that the summed hazard of each flush must pass."""
NOISE_ROWS = slice(HAZARD_ROWS.stop, HAZARD_ROWS.stop + FLUSHES)
"""Standard normals of each flush's size."""
LATENT_ROWS = NOISE_ROWS.stop
PAIRED_ROWS: npt.NDArray[np.int64] = np.array(
    [PARAMETERS.index(name) for name in (
        "growth_temperature_opt_c", "ripening_days", "decay_scale", "run_rate_m_per_day",
        "flush_hazard_per_day", "growth_temperature_min_c", "points_scale", "run_share_to_fruit",
        "growth_temperature_max_c", "leap_off_scale", "pin_to_pick_degree_days", "rising_hazard_share",
        "pin_temperature_min_c", "pin_temperature_max_c",
    )], dtype=np.int64,
)  # fmt: skip
"""Species rows that are spread evenly by pairs: those on which the day of a first picking hangs most."""
PAIRED_BED_ROWS: npt.NDArray[np.int64] = np.concatenate(
    [
        np.arange(BED_ROWS.start, CROPS_ROW + 1),
        HAZARD_ROWS.start + np.arange(3),
        NOISE_ROWS.start + np.arange(3),
    ]
)
"""And rows of one bed: its own luck and that of its first flushes."""


@dataclass(frozen=True, slots=True)
class Draws:
    """parameters : (patch, parameter, member); hazard : (patch, flush, member) unit exponentials;
    flush_noise : (patch, flush, member) factors with median 1."""

    parameters: Floats
    hazard: Floats
    flush_noise: Floats

    @property
    def members(self) -> int:
        """Members of the ensemble."""
        return int(self.parameters.shape[2])


def _generator(seed: int, *names: str) -> np.random.Generator:
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def chance_of_nothing(patch: Patch, trade: Trade) -> float:
    """Chance that a bed never crops whatever the weather: larger for thin, lean, chip-only beds.

    The species' figure is for 10 cm of chips. Straw lowers it, down to the least at a quarter of the
    dry mass; a bed thinner than 10 cm raises it as the square root of what is missing, twice at most.
    """
    species = trade.species[patch.species]
    cells = food_cells(patch.recipe, trade)
    mass = math.fsum(cell.dry_mass_kg_m2 for cell in cells)
    if mass == 0.0:
        return 1.0
    straw = sum(cell.dry_mass_kg_m2 for cell in cells if cell.material.family == "straw") / mass
    relief = trade.constants["straw_relief_of_nothing"].value * min(straw / 0.25, 1.0)
    depth = sum(cell.thickness_m for cell in cells)
    thin = min(max(math.sqrt(0.10 / depth), 1.0), 2.0)
    return min(species.chance_of_nothing.likely * (1.0 - relief) * thin, 0.95)


def _species_latent(species: str, members: int, seed: int) -> Floats:
    """The species' rows: those on which a first picking hangs most are even by pairs, the others alone."""
    rng = _generator(seed, "species", species)
    uniforms = even_uniforms(rng, SPECIES_ROWS.stop, members)
    uniforms[PAIRED_ROWS] = paired_uniforms(rng, len(PAIRED_ROWS), members)
    return even_normals(uniforms)


def _bed_latent(key: str, members: int, seed: int) -> Floats:
    """The bed's rows. Two beds must not be tied by luck, so that no array joins them."""
    rng = _generator(seed, "patch", key)
    uniforms = even_uniforms(rng, LATENT_ROWS - SPECIES_ROWS.stop, members)
    uniforms[PAIRED_BED_ROWS - SPECIES_ROWS.stop] = paired_uniforms(rng, len(PAIRED_BED_ROWS), members)
    normal, crops, hazard, noise = (
        np.arange(rows.start, rows.stop) - SPECIES_ROWS.stop
        for rows in (BED_ROWS, slice(CROPS_ROW, CROPS_ROW + 1), HAZARD_ROWS, NOISE_ROWS)
    )
    return np.concatenate(
        (
            even_normals(uniforms[normal]),
            uniforms[crops],
            -np.log(uniforms[hazard]),
            even_normals(uniforms[noise]),
        )
    )


def prior_latent(patch: Patch, *, members: int, seed: int, alike: bool = False) -> Floats:
    """What the prior draws of a patch are made from, (row, member); rows as this module's `*_ROWS` say."""
    return np.concatenate(
        (
            _species_latent(patch.species, members, seed),
            _bed_latent("" if alike else patch.key, members, seed),
        )
    )


def _species_parameters(species: Species, trade: Trade, latent: Floats) -> dict[str, Floats]:
    z = dict(zip(PARAMETERS, latent, strict=False))
    constants = trade.constants
    values = {
        name: spread_linear(getattr(species, name), z[name])
        for name in (
            "growth_temperature_min_c", "growth_temperature_opt_c", "growth_temperature_max_c",
            "pin_temperature_min_c", "pin_temperature_opt_c", "pin_temperature_max_c", "pin_to_pick_base_c",
            "fruit_temperature_max_c", "fruit_frost_c",
        )
    }  # fmt: skip
    # Rosso's curve needs the best above the middle; the pin window needs its three in order.
    middle = (values["growth_temperature_min_c"] + values["growth_temperature_max_c"]) / 2
    values["growth_temperature_opt_c"] = np.clip(
        values["growth_temperature_opt_c"], middle + 0.5, values["growth_temperature_max_c"] - 0.5
    )
    values["pin_temperature_min_c"] = np.minimum(
        values["pin_temperature_min_c"], values["pin_temperature_opt_c"] - 1.0
    )
    values["pin_temperature_max_c"] = np.maximum(
        values["pin_temperature_max_c"], values["pin_temperature_opt_c"] + 1.0
    )
    values["run_rate_m_per_day"] = (
        spread_positive(species.run_rate_mm_per_day, z["run_rate_m_per_day"]) / 1000.0
    )
    values["run_share_to_fruit"] = np.clip(
        spread_linear(species.run_share_to_fruit, z["run_share_to_fruit"]), 0.05, 0.98
    )
    values["ripening_days"] = spread_positive(species.ripening_days, z["ripening_days"])
    values["flush_hazard_per_day"] = spread_positive(
        constants["flush_hazard_per_day"], z["flush_hazard_per_day"]
    )
    wait = 1.0 / values["flush_hazard_per_day"]
    values["refractory_days"] = np.maximum(
        spread_positive(species.rest_days, z["refractory_days"]) - wait, 0.0
    )
    values["pin_to_pick_degree_days"] = spread_positive(
        species.pin_to_pick_degree_days, z["pin_to_pick_degree_days"]
    )
    values["flush_share"] = np.clip(spread_positive(species.flush_share, z["flush_share"]), 0.05, 0.95)
    values["digestion_per_day"] = 1.0 / spread_positive(constants["digestion_days"], z["digestion_per_day"])
    values["decay_scale"] = spread_positive(constants["decay_spread"], z["decay_scale"])
    values["leap_off_scale"] = spread_positive(constants["leap_off_spread"], z["leap_off_scale"])
    values["points_scale"] = spread_positive(constants["crumb_count_spread"], z["points_scale"])
    values["drought_scale"] = spread_positive(constants["drought_spread"], z["drought_scale"])
    values["rising_hazard_share"] = np.minimum(
        spread_positive(species.rising_hazard_share, z["rising_hazard_share"]), 1.0
    )
    values["heat_death_c"] = spread_linear(species.heat_death_c, z["heat_death_c"])
    # Not a parameter of the kernel; its row stands last, so that the draws above stay as they were.
    values["crop_factor"] = spread_positive(species.crop_factor, latent[len(PARAMETERS)])
    return values


@dataclass(frozen=True, slots=True)
class BedPrior:
    """What of a patch turns latent draws into the kernel's parameters; made once, used for many draws."""

    species: Species
    food: tuple[tuple[float, Figure], ...]
    nothing: float
    trade: Trade

    def draws(self, latent: Floats, species: dict[str, Floats] | None = None) -> Draws:
        """The draws of this one patch, (1, ..., member), from its latent rows.

        species : the species' parameters where they are at hand from another of its patches.
        """
        members = latent.shape[1]
        values = dict(species or _species_parameters(self.species, self.trade, latent[SPECIES_ROWS]))
        z_efficiency, z_bed, z_capacity = latent[BED_ROWS]
        potential = np.zeros(members)
        for dry_mass_kg_m2, efficiency in self.food:
            potential += dry_mass_kg_m2 * spread_positive(efficiency, z_efficiency)
        # The materials' figures are for king stropharia; the factor is the species', alike for all its beds.
        potential *= values["crop_factor"]
        values["potential_kg_m2"] = potential * np.exp(self.species.yield_spread_log_sd.likely * z_bed)
        values["crops"] = (latent[CROPS_ROW] >= self.nothing).astype(float)
        values["capacity_scale"] = spread_positive(self.trade.constants["capacity_spread"], z_capacity)
        return Draws(
            np.stack([values[name] for name in PARAMETERS])[None],
            np.ascontiguousarray(latent[HAZARD_ROWS])[None],
            np.exp(self.trade.constants["flush_noise_log_sd"].value * latent[NOISE_ROWS])[None],
        )


def bed_prior(patch: Patch, trade: Trade) -> BedPrior:
    """What of a patch its draws depend on, besides their luck."""
    food = tuple(
        (cell.dry_mass_kg_m2, cell.material.biological_efficiency) for cell in food_cells(patch.recipe, trade)
    )
    return BedPrior(trade.species[patch.species], food, chance_of_nothing(patch, trade), trade)


def draw_parameters(
    patches: Sequence[Patch],
    trade: Trade,
    *,
    members: int,
    seed: int,
    alike: bool = False,
    learned: Mapping[str, Floats] | None = None,
) -> Draws:
    """Prior draws for all patches. Same seed and keys, same draws.

    alike : give every patch the same luck, so that patches laid side by side to be compared (spots, build
    weeks, recipes) differ by what they are and not by chance.
    learned : latent draws, (row, member), of the patches that the logbook tells of, by their keys; they
    stand in place of the prior's.
    """
    parameters = np.zeros((len(patches), len(PARAMETERS), members))
    hazard = np.zeros((len(patches), FLUSHES, members))
    noise = np.ones((len(patches), FLUSHES, members))
    by_species: dict[str, tuple[Floats, dict[str, Floats]]] = {}
    for p, patch in enumerate(patches):
        if learned and patch.key in learned:
            one = bed_prior(patch, trade).draws(learned[patch.key])
        else:
            if patch.species not in by_species:
                latent = _species_latent(patch.species, members, seed)
                species = trade.species[patch.species]
                by_species[patch.species] = latent, _species_parameters(species, trade, latent)
            latent, values = by_species[patch.species]
            bed = _bed_latent("" if alike else patch.key, members, seed)
            one = bed_prior(patch, trade).draws(np.concatenate((latent, bed)), values)
        parameters[p], hazard[p], noise[p] = one.parameters[0], one.hazard[0], one.flush_noise[0]
    return Draws(parameters, hazard, noise)
