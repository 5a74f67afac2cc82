"""What the logbook teaches: entries become notes, notes narrow the draws of bed, spawn line and species.

Pure: the same garden, weather, seed and day give the same draws, in whatever order the entries were made.
`Memory` only spares work that was done before; it changes no figure.
"""

from __future__ import annotations

import hashlib
import os
import zlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.log_notes import notes_from, of_another_kind, picked_on, telling
from mulchwright.almanac.memory import Memory
from mulchwright.almanac.pooling import TellingBed, factor_of_others, line_in
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, Stage
from mulchwright.season import bed_arrays, food_cells, forcing_of, model_constants_of, simulate
from mulchwright.season.draws import bed_prior, prior_latent
from mulchwright.season.layout import Forcing
from mulchwright.season.learn import (
    Cloud,
    Factor,
    as_normals,
    condition,
    drawn_from,
    factor_of,
    fresh_cloud,
    from_normals,
    strain,
    tilted,
    with_fresh_luck,
)
from mulchwright.season.observing import Course, Notes, Sharpness, surprises
from mulchwright.season.standing import sharpness_of
from mulchwright.trade import Trade
from mulchwright.weather import (
    AnnualWave,
    DailySeries,
    governing_normals,
    mean_annual_wave,
    weather_futures,
)

__all__ = [
    "BedPosterior",
    "Past",
    "Posteriors",
    "Taught",
    "course_runner",
    "posteriors",
    "trade_fingerprint",
]  # fmt: skip

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

POOL = 512
"""Members from which a bed's draws are taken: two blocks of the engine, one for each of two cores."""
ENTRIES_AT_ONCE, ENTRIES_IN_BLOCK = 8, 24
"""Entries that a cloud takes in one step, so that a new entry asks only for the last step again; steps that
are long past are taken together, a block at a time."""
STEPS_CACHED = 3
"""How many of a bed's last steps outlast the program; the next entry begins from one of them."""
HARDLY_EXPECTED = 0.12
"""An entry that members tell for less well than this, on average, is called odd."""
ODD_SHARE = 0.34
"""When so large a share of a bed's notes is odd, the notes are said not to fit."""
ODD_POWER = 0.25
"""Weight of notes that do not fit: as if only one in four had been made."""
STRAINED = 0.1
"""Chance of being pulled so far from the prior below which notes count for less, in proportion, down to
`ODD_POWER`: a bed unlike nearly all that the ranges hold is a sign that the ranges are too narrow."""


@dataclass(frozen=True, slots=True)
class Past:
    """The measured or drawn weather of a bed's days, (day, member), where the record has holes in them."""

    start: date
    air_c: Floats
    rain_mm: Floats
    evapotranspiration_mm: Floats


@dataclass(frozen=True, slots=True)
class BedPosterior:
    """What was learned of one bed.

    latent : (row, member) draws for the outlook. looks, picks : own entries that count; others : entries of
    other beds of its species that count. fitting : share of the prior's members that the own entries speak
    for; refreshed : whether members were drawn anew; fits : whether the entries fit what the season can do.
    odd : days of own entries that hardly any member tells for. weight : what own entries count for, 1 wholly.
    picked_on : the first pick noted, where a substantial one makes it a fact.
    past : weather of each member up to the last entry, only where the record has holes.
    """

    latent: Floats
    looks: int
    picks: int
    others: int
    fitting: float
    refreshed: bool
    fits: bool
    odd: tuple[date, ...]
    past: Past | None
    weight: float = 1.0
    picked_on: date | None = None


Posteriors = Mapping[str, BedPosterior]


def trade_fingerprint(trade: Trade) -> str:
    """A fingerprint of the tables that a season is worked out with."""
    tables = (trade.constants, trade.species, trade.materials, trade.spawn, trade.woods)
    return hashlib.blake2b(repr([dict(table) for table in tables]).encode(), digest_size=16).hexdigest()


def _chunks(entries: Sequence[LogEntry]) -> list[Sequence[LogEntry]]:
    """Growing heads of the entries: whole blocks, then steps within the last; the last is all of them."""
    count = len(entries)
    blocks = list(range(ENTRIES_IN_BLOCK, count, ENTRIES_IN_BLOCK))
    begun = blocks[-1] if blocks else 0
    steps = range(begun + ENTRIES_AT_ONCE, count, ENTRIES_AT_ONCE)
    return [entries[:cut] for cut in (*blocks, *steps, count)]


def course_runner(
    patch: Patch, trade: Trade, forcing: Forcing, log: Sequence[LogEntry], *, threads: int | None = None
) -> Callable[[Floats], Course]:
    """The season of one bed over the days of the forcing, from its build day, for members as normals."""
    assert patch.built_on is not None
    start, days = patch.built_on, forcing.air_c.shape[0]
    last = start + timedelta(days=days - 1)
    bed = bed_arrays([patch], trade, start=start, days=days, today=last, log=log)
    prior, model_constants = bed_prior(patch, trade), model_constants_of(trade)

    def course_of(z: Floats) -> Course:
        run = simulate(
            bed, prior.draws(from_normals(z)), forcing, model_constants, start=start, threads=threads
        )
        return Course(run.run_share[0], run.pin_day[0], run.flush_day[0], run.flush_kg_m2[0], run.living[0])

    return course_of


@dataclass(frozen=True, slots=True)
class _Learner:
    """One bed with entries, and what is needed to learn from them."""

    patch: Patch
    entries: Sequence[LogEntry]
    log: tuple[LogEntry, ...]


@dataclass(frozen=True, slots=True)
class Taught:
    """The cloud of a bed after its own entries, whether and when they do not fit, what it tells others.

    weight : the power that the likelihood of its entries was taken to.
    """

    cloud: Cloud
    fits: bool
    odd: tuple[date, ...]
    factor: Factor
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class _Learners:
    """What all lessons share."""

    garden: Garden
    known: DailySeries | None
    trade: Trade
    seed: int
    wave: AnnualWave
    sharp: Sharpness
    trade_fingerprint: str
    memory: Memory
    threads: int | None

    def weather(self, patch: Patch, days: int) -> tuple[Forcing, Past | None]:
        """The weather of a bed's first days: one for all members where it is measured, else one for each."""
        assert patch.built_on is not None
        start = patch.built_on
        known = self._known_to(start + timedelta(days=days - 1))

        def drawn(members: int) -> Any:
            rng = np.random.default_rng([self.seed, 3, zlib.crc32(patch.key.encode())])
            return weather_futures(
                known, self.garden.normals, self.garden.place,
                start=start, days=days, members=members, rng=rng,
            )  # fmt: skip

        futures = drawn(1)
        measured = bool(np.all(futures.measured))
        if not measured:
            futures = drawn(POOL)
        rows = (
            (futures.temperature_min_c + futures.temperature_max_c) / 2,
            futures.rain_mm,
            futures.reference_evapotranspiration_mm,
        )
        wide = [np.broadcast_to(row, (days, POOL)) for row in rows]
        forcing = forcing_of(*wide, start=start, wave=self.wave, trade=self.trade)
        return forcing, None if measured else Past(start, *(np.asarray(row) for row in rows))

    def _known_to(self, last: date) -> DailySeries | None:
        """What of the record bears on a bed's days up to the last of its entries."""
        known = self.known
        if known is not None and known.start <= last:
            return known.slice(known.start, min(known.end, last))
        return known if self.garden.normals is None else None

    def past(self, learner: _Learner) -> Past | None:
        """The weather that a bed's members bring along. It is large: one is kept for each bed."""
        slot, fingerprint = f"past {learner.patch.key}", self._whole_fingerprint(learner)
        kept: tuple[str, Past | None] | None = self.memory.kept(slot)
        if kept is None or kept[0] != fingerprint:
            assert learner.patch.built_on is not None
            days = (learner.entries[-1].day - learner.patch.built_on).days + 1
            kept = (fingerprint, self.weather(learner.patch, days)[1])
            self.memory.keep(slot, kept)
        return kept[1]

    def learn_from(self, learner: _Learner) -> Taught:
        """The bed's own cloud, step by step; each is kept in memory, the last whole ones on its shelf."""
        patch = learner.patch
        notes = notes_from(patch, learner.entries, self.sharp)
        whole_fingerprint = self._whole_fingerprint(learner)

        def learned() -> Taught:
            forcing, past = self.weather(patch, notes.until + 1)
            self.memory.keep(f"past {patch.key}", (whole_fingerprint, past))
            cloud = self._climbed(learner, forcing, measured=past is None)
            course = course_runner(patch, self.trade, forcing, learner.log, threads=self.threads)(cloud.z)
            surprising = surprises(notes, course, self.sharp, cloud.weights())
            days = np.concatenate((notes.look_day, notes.pick_day))
            strange = np.concatenate(surprising) < HARDLY_EXPECTED
            assert patch.built_on is not None
            odd = tuple(sorted({patch.built_on + timedelta(days=int(day)) for day in days[strange]}))
            fits = bool(strange.sum() < 2 or strange.mean() < ODD_SHARE)
            weight = float(np.clip(strain(cloud) / STRAINED, ODD_POWER, 1.0)) if fits else ODD_POWER
            if weight < 1.0:
                cloud = replace(self._doubtful(learner, notes, forcing, weight), fitting=cloud.fitting)
            return Taught(cloud, fits, odd, factor_of(cloud), weight)

        taught: Taught = self.memory.get(f"taught {whole_fingerprint}", learned, lasting=True)
        return taught

    def _climbed(self, learner: _Learner, forcing: Forcing, *, measured: bool) -> Cloud:
        """The cloud after all entries, from the highest step that is kept."""
        heads = _chunks(learner.entries)
        steps = [_shortened(forcing, self._notes(learner, head).until + 1) for head in heads]
        keys = [
            f"step {self._fingerprint(learner, head, _rows_of(short, measured=measured))}"
            for head, short in zip(heads, steps, strict=True)
        ]
        # A head that is not whole grows with the next entry; what lies far back is hardly begun from again.
        lasting = [
            len(head) % ENTRIES_AT_ONCE == 0 and n >= len(heads) - STEPS_CACHED
            for n, head in enumerate(heads)
        ]
        cloud, begun = fresh_cloud(as_normals(prior_latent(learner.patch, members=POOL, seed=self.seed))), 0
        for n in reversed(range(len(heads))):
            kept: Cloud | None = self.memory.kept(keys[n], lasting=lasting[n])
            if kept is not None:
                cloud, begun = kept, n + 1
                break
        for n in range(begun, len(heads)):
            runner = course_runner(learner.patch, self.trade, steps[n], learner.log, threads=self.threads)
            names = (zlib.crc32(learner.patch.key.encode()), len(heads[n]))
            rng = np.random.default_rng([self.seed, 4, *names])
            cloud = condition(cloud, self._notes(learner, heads[n]), self.sharp, runner, rng)
            self.memory.keep(keys[n], cloud, lasting=lasting[n])
        return cloud

    def _notes(self, learner: _Learner, head: Sequence[LogEntry]) -> Notes:
        return notes_from(learner.patch, head, self.sharp)

    def _doubtful(self, learner: _Learner, notes: Notes, forcing: Forcing, weight: float) -> Cloud:
        """A cloud that takes the notes for a part only: they fit little or nothing that the season can do."""
        runner = course_runner(learner.patch, self.trade, forcing, learner.log, threads=self.threads)
        names = (zlib.crc32(learner.patch.key.encode()), 0)
        cloud = fresh_cloud(as_normals(prior_latent(learner.patch, members=POOL, seed=self.seed)))
        rng = np.random.default_rng([self.seed, 5, *names])
        return condition(cloud, notes, self.sharp, runner, rng, power=weight)

    def _whole_fingerprint(self, learner: _Learner) -> str:
        """A fingerprint of all that a bed's lesson depends on, weather and all."""
        known = self._known_to(learner.entries[-1].day)
        rows: list[Floats] = []
        if known is not None:
            rows = [
                known.temperature_min_c, known.temperature_max_c, known.rain_mm,
                *(row if row is not None else np.zeros(0) for row in (
                    known.wind_m_s, known.vapour_pressure_pa, known.solar_radiation_j_m2
                )),
            ]  # fmt: skip
        start = None if known is None else known.start
        content = repr((self.wave, self.garden.place, self.garden.normals, start))
        return self._fingerprint(learner, learner.entries, rows, content)

    def _fingerprint(
        self,
        learner: _Learner,
        head: Sequence[LogEntry],
        weather: Sequence[npt.NDArray[Any]],
        content: str = "",
    ) -> str:
        """A fingerprint of all that a cloud depends on: bed, entries, waterings, tables, seed, weather."""
        patch, last = learner.patch, head[-1].day
        notes = [(e.day, e.kind, e.sight, e.share, e.mass_kg) for e in head]
        done = sorted(
            repr((e.day, e.kind, e.litres, e.material, e.thickness_m, e.patch, e.to_patch, e.share))
            for e in learner.log
            if e.kind in (LogKind.WATERED, LogKind.TOPPED_UP, LogKind.MOVED) and e.day <= last
        )
        digest = hashlib.blake2b(
            repr((patch, notes, done, self.seed, self.sharp, self.trade_fingerprint, content)).encode(),
            digest_size=16,
        )
        for row in weather:
            digest.update(repr(row.shape).encode())
            digest.update(row.tobytes())
        return digest.hexdigest()


def _shortened(forcing: Forcing, days: int) -> Forcing:
    """The forcing of the first days."""
    return forcing._replace(
        air_c=forcing.air_c[:days],
        rain_mm=forcing.rain_mm[:days],
        evapotranspiration_mm=forcing.evapotranspiration_mm[:days],
        deep_soil_c=forcing.deep_soil_c[:days],
        month=forcing.month[:days],
    )


def _rows_of(forcing: Forcing, *, measured: bool) -> list[npt.NDArray[Any]]:
    """What tells a forcing from another; one member tells all where the weather is measured."""
    wide = (forcing.air_c, forcing.rain_mm, forcing.evapotranspiration_mm)
    return [*(row[:, :1] if measured else row for row in wide), forcing.deep_soil_c, forcing.month]


def _rounded(wave: AnnualWave) -> AnnualWave:
    """The yearly wave, rounded so that a new day of weather does not ask for all to be learned again."""
    return AnnualWave(
        round(wave.mean_c * 2) / 2, round(wave.amplitude_c * 2) / 2, round(wave.warmest_day_of_year / 2) * 2.0
    )


def posteriors(
    garden: Garden,
    known: DailySeries | None,
    trade: Trade,
    patches: Sequence[Patch],
    *,
    today: date,
    members: int,
    seed: int,
    memory: Memory | None = None,
    threads: int | None = None,
) -> Posteriors:
    """What the logbook teaches of `patches`: all beds of the garden teach, the retired ones too.

    Empty where no entry of the logbook tells anything. A patch is missing where nothing bears on it.
    """
    by_patch: dict[str, list[LogEntry]] = {}
    for entry in garden.log:
        for key in dict.fromkeys(filter(None, (entry.patch, entry.to_patch))):
            by_patch.setdefault(key, []).append(entry)  # chips that were moved bear on both beds
    learners: dict[str, _Learner] = {}
    doubted = of_another_kind(garden.checks)
    for patch in garden.patches:
        log = tuple(by_patch.get(patch.key, ()))
        if not log or patch.built_on is None or patch.species not in trade.species:
            continue
        if any(layer.material not in trade.materials for layer in patch.recipe.all_layers):
            continue
        entries = telling(patch, log, today, doubted)
        if entries and food_cells(patch.recipe, trade):
            # Its name, its place on the plan and its having been cleared away change nothing it did.
            plain = replace(patch, name=patch.key, stage=Stage.BUILT, bed=None, outline=())
            learners[patch.key] = _Learner(plain, entries, log)
    if not learners:
        return {}
    garden = replace(garden, normals=governing_normals(garden.normals, known))
    climate = garden.normals or known
    assert climate is not None  # the outlook refuses a garden without either
    all_learners = _Learners(
        garden, known, trade, seed, _rounded(mean_annual_wave(climate)), sharpness_of(trade),
        trade_fingerprint(trade), memory or Memory(), threads,
    )  # fmt: skip
    species = {patch.species for patch in patches}
    wanted = [learner for learner in learners.values() if learner.patch.species in species]
    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        taught = {
            one.patch.key: posterior
            for one, posterior in zip(wanted, pool.map(all_learners.learn_from, wanted), strict=True)
        }
    telling_beds = {
        key: TellingBed(
            line_in(garden, learners[key].patch, today), taught[key].factor, len(learners[key].entries)
        )
        for key in sorted(taught)
        if taught[key].fits
    }
    share = trade.constants["strain_share"].value
    out: dict[str, BedPosterior] = {}
    for patch in patches:
        beside = [one for key, one in telling_beds.items() if key != patch.key]
        factor, others = factor_of_others(line_in(garden, patch, today), beside, share)
        posterior = _posterior(
            patch, learners, taught, factor, others, all_learners.past, all_learners.sharp,
            members=members, seed=seed,
        )  # fmt: skip
        if posterior is not None:
            out[patch.key] = posterior
    return out


def _posterior(
    patch: Patch,
    learners: Mapping[str, _Learner],
    taught: Mapping[str, Taught],
    factor: Factor | None,
    others: int,
    past_of: Callable[[_Learner], Past | None],
    sharp: Sharpness,
    *,
    members: int,
    seed: int,
) -> BedPosterior | None:
    own = taught.get(patch.key)
    if own is not None and learners[patch.key].patch.species != patch.species:
        own = None  # tried with another species: what was seen is not of it
    if own is None:
        if factor is None:
            return None
        z = as_normals(prior_latent(patch, members=members, seed=seed))
        return BedPosterior(from_normals(drawn_from(factor, z)), 0, 0, others, 1.0, False, True, (), None)
    rng = np.random.default_rng([seed, 6, zlib.crc32(patch.key.encode())])
    cloud = own.cloud
    z, index = tilted(cloud.z, cloud.log_weight, factor, members, rng)
    z = with_fresh_luck(z, cloud.pins[index], cloud.flushes[index], rng)
    past = past_of(learners[patch.key])
    if past is not None:
        rows = (past.air_c, past.rain_mm, past.evapotranspiration_mm)
        past = Past(past.start, *(row[:, index] for row in rows))
    entries = learners[patch.key].entries
    return BedPosterior(
        latent=from_normals(z),
        looks=sum(entry.kind is LogKind.LOOKED for entry in entries),
        picks=sum(entry.kind is LogKind.PICKED for entry in entries),
        others=others,
        fitting=cloud.fitting,
        refreshed=cloud.refreshed,
        fits=own.fits,
        odd=own.odd,
        past=past,
        weight=own.weight,
        picked_on=picked_on(patch, learners[patch.key].patch, learners[patch.key].entries, sharp),
    )
