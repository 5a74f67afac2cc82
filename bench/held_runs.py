"""The season engine over beds that stand for field observations, member by member.

The outlook gives ranges; a score needs every member. So the engine is run as the outlook runs it, on weather
drawn from the climate of the place (ERA5 months 2000 to 2025, as shipped), with no
logbook but waterings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from mulchwright.garden import LogEntry, Patch
from mulchwright.places import at_spot
from mulchwright.season import (
    SeasonRun,
    bed_arrays,
    draw_parameters,
    forcing_of,
    layout,
    model_constants_of,
    simulate,
)
from mulchwright.season.bed import cells_of
from mulchwright.season.draws import Draws
from mulchwright.season.layout import BedArrays, Forcing
from mulchwright.trade import load_trade
from mulchwright.weather import mean_annual_wave, weather_futures

__all__ = [
    "MEMBERS",
    "Floats",
    "Trial",
    "evaporated_mm",
    "first_days",
    "harvest_days",
    "kg_per_kg",
    "probe_c",
    "share_drained",
    "share_lost",
]

Floats = npt.NDArray[np.float64]

MEMBERS, FEW_MEMBERS, SEED = 256, 60, 17
"""Few where each member needs a run of its own, because the account of water is kept as a mean."""
LONGEST_PAUSE_DAYS = 30
RAIN, EVAPORATED, DRAINED = 0, 2, 3


@dataclass(frozen=True, slots=True)
class Trial:
    """A place, the first day and how many days are run. Years do not matter: weather is drawn."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    start: date
    days: int


@dataclass(frozen=True, slots=True)
class _Ready:
    """What the engine is given."""

    bed: BedArrays
    draws: Draws
    forcing: Forcing
    start: date

    def run(self) -> SeasonRun:
        days = self.forcing.air_c.shape[0]
        return simulate(
            self.bed, self.draws, self.forcing, model_constants_of(load_trade()),
            start=self.start, threads=1, mass_days=(0, days - 1),
        )  # fmt: skip

    def of_member(self, m: int) -> SeasonRun:
        """One member alone, whose means are then its own."""
        one = slice(m, m + 1)
        rows = ("air_c", "rain_mm", "evapotranspiration_mm")
        forcing = self.forcing._replace(**{name: getattr(self.forcing, name)[:, one] for name in rows})
        draws = Draws(
            self.draws.parameters[..., one], self.draws.hazard[..., one], self.draws.flush_noise[..., one]
        )
        return _Ready(self.bed, draws, forcing, self.start).run()


def _ready(
    trial: Trial, patches: Sequence[Patch], log: Sequence[LogEntry] = (), members: int = MEMBERS
) -> _Ready:
    """Weather, draws and beds. Several beds have the same luck, so that their difference is the cover's."""
    trade = load_trade()
    spot = at_spot(trial.latitude_deg, trial.longitude_deg, elevation_m=trial.elevation_m)
    assert spot.normals is not None  # all places lie on land
    weather = weather_futures(
        None, spot.normals, spot.place,
        start=trial.start, days=trial.days, members=members, rng=np.random.default_rng([SEED, 1]),
    )  # fmt: skip
    forcing = forcing_of(
        (weather.temperature_min_c + weather.temperature_max_c) / 2, weather.rain_mm,
        weather.reference_evapotranspiration_mm,
        start=trial.start, wave=mean_annual_wave(spot.normals), trade=trade,
    )  # fmt: skip
    bed = bed_arrays(
        list(patches), trade, start=trial.start, days=trial.days, today=trial.start, log=tuple(log)
    )
    draws = draw_parameters(list(patches), trade, members=members, seed=SEED, alike=len(patches) > 1)
    return _Ready(bed, draws, forcing, trial.start)


def _flushes(trial: Trial, patch: Patch) -> tuple[Floats, Floats, SeasonRun]:
    """Days, (flush, member), NaN where there is none, and kg/m²."""
    run = _ready(trial, [patch]).run()
    return run.flush_day[0].astype(np.float64), run.flush_kg_m2[0], run


def first_days(trial: Trial, patch: Patch) -> Floats:
    """Days from building to the first picking, (member,); NaN where none comes in the run."""
    days, _, _ = _flushes(trial, patch)
    first = np.where(np.isfinite(days), days, np.inf).min(axis=0)
    return np.where(np.isfinite(first), first, np.nan)


def kg_per_kg(trial: Trial, patch: Patch) -> Floats:
    """Fresh mushrooms of the run for each kg of dry food that was laid, (member,)."""
    _, kg_m2, run = _flushes(trial, patch)
    food_at_start = run.last[0, 1]
    return np.asarray(kg_m2.sum(axis=0) / food_at_start)


def harvest_days(trial: Trial, patch: Patch) -> Floats:
    """Days from the first to the last picking before a long pause, (member,); 0 where none or one comes."""
    days, _, _ = _flushes(trial, patch)
    lengths = np.zeros(days.shape[1])
    for m, column in enumerate(np.sort(days, axis=0).T):
        came = column[np.isfinite(column)]
        if came.size:
            pauses = np.flatnonzero(np.diff(came) > LONGEST_PAUSE_DAYS)
            lengths[m] = came[pauses[0] if pauses.size else -1] - came[0]
    return lengths


def share_lost(trial: Trial, patch: Patch) -> Floats:
    """Share of the dry mass that was laid and is gone at the end, (member,)."""
    run = _ready(trial, [patch]).run()
    laid, left = (np.nansum(run.cell_mass_kg_m2[0, kept], axis=0) for kept in (0, 1))
    return np.asarray(1 - left / laid)


def _accounts(trial: Trial, patches: Sequence[Patch], log: Sequence[LogEntry], skip: int) -> Floats:
    """Sums of each member's account of water after the first `skip` days, (member, patch, entry), mm."""
    ready = _ready(trial, patches, log, FEW_MEMBERS)
    return np.stack([ready.of_member(m).account_mm[:, skip:].sum(axis=1) for m in range(FEW_MEMBERS)])


def evaporated_mm(
    trial: Trial, patches: Sequence[Patch], log: Sequence[LogEntry] = (), skip: int = 0
) -> tuple[Floats, ...]:
    """What each bed evaporated after the first `skip` days, (member,) for each."""
    sums = _accounts(trial, patches, log, skip)
    return tuple(sums[:, p, EVAPORATED] for p in range(len(patches)))


def share_drained(trial: Trial, patch: Patch) -> Floats:
    """Share of the rain that ran through, (member,)."""
    sums = _accounts(trial, [patch], (), 0)[:, 0]
    return np.asarray(sums[:, DRAINED] / sums[:, RAIN])


def probe_c(
    trial: Trial, patches: Sequence[Patch], heights_m: tuple[float, float]
) -> tuple[Floats, ...]:  # fmt: skip
    """Daily mean temperature of each bed between two heights above the ground, (day, member).

    The engine keeps the mean of what feeds the threads; here the cells that are asked for count as such.
    """
    ready = _ready(trial, patches)
    flags = np.array(ready.bed.cell)
    for p, patch in enumerate(patches):
        for c, cell in enumerate(cells_of(patch.recipe, load_trade())):
            flags[p, layout.FOOD, c] = float(heights_m[0] < cell.height_m < heights_m[1])
    run = _Ready(ready.bed._replace(cell=flags), ready.draws, ready.forcing, ready.start).run()
    return tuple(run.temperature_c[p].astype(np.float64) for p in range(len(patches)))
