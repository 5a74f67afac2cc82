"""What a grower does to a bed on a day, in the plain season: spawn comes in, chips are taken and added."""

from __future__ import annotations

import numpy as np

from mulchwright.season import layout as k
from mulchwright.season.reference_bed import PlainPatch, PlainState, covered_by_plane

__all__ = ["start_planes", "take_away", "top_up"]


def start_planes(patch: PlainPatch, state: PlainState, day: int) -> None:
    """What the crumbs of planes that come into the bed on this day cover already."""
    for j in range(patch.planes):
        if patch.starts(j) == day:
            state.exponent += covered_by_plane(patch, state, j)


def take_away(patch: PlainPatch, state: PlainState, day: int) -> None:
    r"""Living chips dug out through the whole depth, with their threads, food and reserve.

    .. math:: M_c \leftarrow (1 - s) M_c, \quad s = \min(taken / \textstyle\sum M_c, 0.95)
    """
    taken = patch.bed.daily[patch.number, k.TAKEN_KG_M2, day]
    if taken > 0:
        left = 1 - np.minimum(taken / (patch.food * state.mass).sum(axis=0), k.MOST_TAKEN)
        of_cell = np.where(patch.food > 0, left, 1.0)
        for name in ("mass", "water", "soluble", "lignin"):
            setattr(state, name, getattr(state, name) * of_cell)
        for name in ("food_mass", "food_water", "undigested", "reserve"):
            setattr(state, name, getattr(state, name) * left)


def top_up(patch: PlainPatch, state: PlainState, day: int) -> None:
    r"""Matter on the uppermost food cell, with the water it brings and the food in it.

    A share a of it is run and alive; of a cell that was passed by fronts (X), the rest is to be run anew.

    .. math:: L \leftarrow f L + (1 - f) a X, \quad F \leftarrow f F + (1 - f) (1 - a) X, \quad
        T \leftarrow f T, \quad f = M / (M + added)
    """
    added = patch.bed.daily[patch.number, k.ADDED_KG_M2, day]
    if added > 0:
        to = patch.bed.added_to[patch.number]
        alive = patch.bed.daily[patch.number, k.ADDED_ALIVE_KG_M2, day] / added
        kept = state.mass[to] / (state.mass[to] + added)
        passed = state.covered[to] * (1 - kept)
        state.living[to] = kept * state.living[to] + passed * alive
        state.fresh[to] = kept * state.fresh[to] + passed * (1 - alive)
        state.taken[to] *= kept
        wet = added * np.minimum(patch.of_cell("start_kg_kg")[to], patch.capacity[to])
        state.mass[to] += added
        state.soluble[to] += added * patch.of_cell("soluble_share")[to]
        state.lignin[to] += added * patch.of_cell("lignin_share")[to]
        state.water[to] += wet
        state.food_water = state.food_water + patch.food[to] * wet
        state.food_mass = state.food_mass + patch.food[to] * added
        state.undigested = (
            state.undigested + patch.par["potential_kg_m2"] * patch.food[to] * added / patch.food_at_start
        )
