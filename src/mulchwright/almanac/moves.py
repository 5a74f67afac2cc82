"""How much of what was moved was run and alive on the day: worked out where the logbook does not say.

A run of the giving bed from its build day to the eve of the move, over weather as measured or drawn, with the
species' ranges. Its mean over the members stands for the move, in every member of the receiving bed.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from mulchwright.almanac.learning import trade_fingerprint
from mulchwright.almanac.memory import Memory
from mulchwright.garden import Garden, LogEntry, LogKind, Patch
from mulchwright.season import (
    bed_arrays,
    cells_of,
    draw_parameters,
    food_cells,
    forcing_of,
    model_constants_of,
    simulate,
)
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries, mean_annual_wave, weather_futures

__all__ = ["with_living_shares"]

MEMBERS = 100


def with_living_shares(
    garden: Garden,
    known: DailySeries | None,
    trade: Trade,
    *,
    today: date,
    seed: int,
    memory: Memory | None = None,
) -> Garden:
    """The garden with the moves of its logbook completed: share run and alive, and the chips' material.

    What the grower noted stays. A move from a bed that was not built yet, or whose tables are unknown, stays
    as it is, and counts as wholly run; into a bed of another species nothing of its kind comes. Chips that
    went on from bed to bed are followed in the order of days.
    """
    memory = memory or Memory()
    species = {patch.key: patch.species for patch in garden.patches}
    for entry in sorted(garden.log, key=lambda one: one.day):
        if entry.kind is not LogKind.MOVED or not entry.to_patch or entry.day > today:
            continue
        donor = next((patch for patch in garden.patches if patch.key == entry.patch), None)
        if donor is None or not _can_be_run(donor, entry.day, trade):
            continue
        material = entry.material or food_cells(donor.recipe, trade)[0].layer.material
        share = entry.share
        if species.get(entry.to_patch) != donor.species:
            share = 0.0
        if share is None:
            share = _share_on(donor, entry.day, garden, known, trade, seed, memory)
        noted = replace(entry, share=share, material=material)
        garden = replace(garden, log=tuple(noted if one.key == noted.key else one for one in garden.log))
    return garden


def _can_be_run(donor: Patch, day: date, trade: Trade) -> bool:
    if donor.built_on is None or donor.built_on > day or donor.species not in trade.species:
        return False
    if any(layer.material not in trade.materials for layer in donor.recipe.all_layers):
        return False
    planes = donor.recipe.planes
    return all(plane.spawn in trade.spawn for plane in planes) and bool(food_cells(donor.recipe, trade))


def _share_on(
    donor: Patch, day: date, garden: Garden, known: DailySeries | None, trade: Trade, seed: int,
    memory: Memory,
) -> float:  # fmt: skip
    """Mean share of a bed's food, by dry mass, that is run and alive on the eve of a day, 0 to 1."""
    assert donor.built_on is not None
    start, days = donor.built_on, max((day - donor.built_on).days, 1)
    log = [
        entry
        for entry in garden.log
        if donor.key in (entry.patch, entry.to_patch) and entry.day <= day and entry.kind in _TELLING
    ]
    if known is not None and known.start <= day:
        known = known.slice(known.start, min(known.end, day))
    digest = hashlib.blake2b(digest_size=16)
    plain = replace(donor, name=donor.key, bed=None, outline=())
    inputs = (plain, day, log, garden.place, garden.normals, seed, trade_fingerprint(trade))
    digest.update(repr(inputs).encode())
    if known is not None:
        digest.update(repr(known.start).encode())
        for row in (known.temperature_min_c, known.temperature_max_c, known.rain_mm):
            digest.update(row.tobytes())
    share: float = memory.get(
        f"moved {digest.hexdigest()}",
        lambda: _run_to(donor, log, start, days, garden, known, trade, seed),
    )
    return share


_TELLING = (LogKind.WATERED, LogKind.TOPPED_UP, LogKind.MOVED)


def _run_to(
    donor: Patch, log: Sequence[LogEntry], start: date, days: int, garden: Garden,
    known: DailySeries | None, trade: Trade, seed: int,
) -> float:  # fmt: skip
    name = zlib.crc32(donor.key.encode())
    futures = weather_futures(
        known, garden.normals, garden.place, start=start, days=days, members=MEMBERS,
        rng=np.random.default_rng([seed, 7, name]),
    )  # fmt: skip
    climate = garden.normals or known
    assert climate is not None  # weather_futures refuses a garden without either
    forcing = forcing_of(
        (futures.temperature_min_c + futures.temperature_max_c) / 2, futures.rain_mm,
        futures.reference_evapotranspiration_mm, start=start, wave=mean_annual_wave(climate), trade=trade,
    )  # fmt: skip
    bed = bed_arrays([donor], trade, start=start, days=days, today=_last(start, days), log=log)
    run = simulate(
        bed, draw_parameters([donor], trade, members=MEMBERS, seed=seed), forcing,
        model_constants_of(trade), start=start,
    )  # fmt: skip
    cells = cells_of(donor.recipe, trade)
    feeds = np.array([cell.material.is_food and not cell.is_skin for cell in cells])
    mass = run.cell_mass_kg_m2[0, 0, : len(cells)][feeds]
    share = run.cell_share[0, 0, : len(cells)][feeds]
    return float(np.clip(np.mean((mass * share).sum(axis=0) / mass.sum(axis=0)), 0.0, 1.0))


def _last(start: date, days: int) -> date:
    return date.fromordinal(start.toordinal() + days - 1)
