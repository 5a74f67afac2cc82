"""The outlook: for every patch, how moist and warm it has been and will be, how far the spawn has run,
when the first picking is likely, how much to expect and how much water it will ask for.

One run of the season engine over an ensemble of weathers and parameters, read off as ranges.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from mulchwright.almanac.learning import Posteriors, posteriors, trade_fingerprint
from mulchwright.almanac.memory import Memory
from mulchwright.almanac.moves import with_living_shares
from mulchwright.almanac.near import near_days
from mulchwright.almanac.outlook_learned import with_learned
from mulchwright.almanac.outlook_ranges import (
    FIRST_YEAR_DAYS,
    pickings,
)
from mulchwright.almanac.outlook_result import (
    FirstPicking,
    Outlook,
    PatchOutlook,
    WeatherNote,
)
from mulchwright.almanac.outlook_span import RunSpan, run_span
from mulchwright.almanac.outlook_summary import first_picked_on, remains, summary
from mulchwright.almanac.remains import WEEKS_AHEAD
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogKind, Patch, Stage
from mulchwright.season import (
    SeasonRun,
    bed_arrays,
    draw_parameters,
    forcing_of,
    model_constants_of,
    simulate,
)
from mulchwright.season.draws import Draws
from mulchwright.season.layout import BedArrays, Forcing, ModelConstants
from mulchwright.trade import Trade
from mulchwright.weather import (
    DailySeries,
    Forecast,
    WeatherFutures,
    governing_normals,
    mean_annual_wave,
    weather_futures,
    with_readings,
)

__all__ = [
    "ALIKE",
    "DEFAULT_MEMBERS",
    "DEFAULT_SEED",
    "MODEL_VERSION",
    "OutlookOptions",
    "outlook",
    "what_if",
]


MODEL_VERSION = "5"
"""Changes whenever the same book and seed would give other figures."""
DEFAULT_MEMBERS = 512
DEFAULT_SEED = 20260101
MEMBER_DAYS_AT_ONCE = 8_000_000
"""Patch-days of members that are run together, some 130 MB of daily figures; more patches come in turns."""
LARGEST_SEED = 2**63 - 1
"""What other programs that read the JSON can hold."""
FEWEST_MEMBERS, MOST_MEMBERS = 20, 5000


def _weather_note(
    method: str, notes: tuple[str, ...], series: DailySeries | None, garden: Garden
) -> WeatherNote:
    if series is None:
        source = garden.normals.source if garden.normals else ""
        return WeatherNote(method, source, "", "", None, None, (), notes)
    provenance = series.provenance
    gaps = tuple(f"{gap.quantity}: {gap.first} to {gap.last} ({gap.days} days)" for gap in series.gaps())
    return WeatherNote(
        method,
        provenance.source,
        provenance.station,
        provenance.licence,
        series.start,
        series.end,
        gaps,
        notes,
    )


def _measured_until(series: DailySeries | None, today: date) -> DailySeries | None:
    """The record as it was known on a day: nothing measured later may slip into an outlook."""
    if series is None or series.start > today:
        return None
    return series if series.end <= today else series.slice(series.start, today)


@dataclass(frozen=True, slots=True)
class OutlookOptions:
    """How an outlook is computed where it is not one that a grower looks at.

    alike : the same luck for all beds, to compare them; then nothing is learned from the logbook.
    learning : whether looks and pickings in the logbook narrow the draws.
    learn_from : the garden whose logbook is learned from where it is not this one, for beds that are
    tried otherwise than they are.
    threads : at most so many; None for one a core.
    """

    alike: bool = False
    learning: bool = True
    learn_from: Garden | None = None
    threads: int | None = None


USUAL, ALIKE = OutlookOptions(), OutlookOptions(alike=True)


def outlook(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    *,
    today: date,
    start: date | None = None,
    days: int | None = None,
    members: int = DEFAULT_MEMBERS,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
    forecast: Forecast | None = None,
    memory: Memory | None = None,
    options: OutlookOptions = USUAL,
) -> Outlook:
    """The outlook of every patch that has a build day and is not retired.

    start, days : the days to report; by default from the earliest build day to a year after today
    or after the latest build day. The engine always runs from the earliest build day, and far
    enough to tell each patch's first year.
    forecast : days ahead that somebody foresees; one issued after today is not looked at. The garden's
    own readings outrank the station's figures.
    memory : spares what was learned before, and beds for which nothing changed since; it changes no figure.

    Raises `InputError` for a garden with no patch to tell of, too few or too many members, a span
    that is too long, or no weather to go by.
    """
    if not FEWEST_MEMBERS <= members <= MOST_MEMBERS:
        raise InputError(
            f"{str(members)[:40]} members were asked for; between {FEWEST_MEMBERS} and {MOST_MEMBERS} make "
            "sense.",
            field="members",
        )
    if not 0 <= seed <= LARGEST_SEED:
        raise InputError(
            f"The seed is {str(seed)[:40]}; it must be a whole number from 0 to {LARGEST_SEED}.", field="seed"
        )
    patches, skipped = _patches_of(garden)
    span = run_span(
        [one.built_on for one in patches if one.built_on is not None], today=today, start=start, days=days
    )
    known = _measured_until(with_readings(series, garden.readings, garden.place), today)
    garden = replace(garden, normals=governing_normals(garden.normals, known))
    if forecast is not None and not forecast.known_on(today):
        forecast = None
    source = options.learn_from or garden
    source = with_living_shares(
        replace(source, normals=governing_normals(source.normals, known)), known, trade,
        today=today, seed=seed, memory=memory,
    )  # fmt: skip
    moves = {entry.key: entry for entry in source.log if entry.kind is LogKind.MOVED}
    garden = replace(garden, log=tuple(moves.pop(entry.key, entry) for entry in garden.log))
    from_elsewhere = [entry for entry in moves.values() if entry.to_patch in {one.key for one in patches}]
    futures = weather_futures(
        known, garden.normals, garden.place, start=span.start, days=span.days, members=members,
        rng=np.random.default_rng([seed, 1]), forecast=forecast,
    )  # fmt: skip
    climate = garden.normals or known
    assert climate is not None  # weather_futures refuses a garden without either
    forcing = forcing_of(
        (futures.temperature_min_c + futures.temperature_max_c) / 2,
        futures.rain_mm,
        futures.reference_evapotranspiration_mm,
        start=span.start, wave=mean_annual_wave(climate), trade=trade,
    )  # fmt: skip
    bed = bed_arrays(
        patches,
        trade,
        start=span.start,
        days=span.days,
        today=today,
        log=(*garden.log, *from_elsewhere),
    )
    remembers = memory is not None
    memory = memory or Memory()
    found: Posteriors = {}
    if options.learning and not options.alike:
        found = posteriors(
            source, known, trade, patches,
            today=today, members=members, seed=seed, memory=memory, threads=options.threads,
        )  # fmt: skip
    draws = draw_parameters(
        patches, trade, members=members, seed=seed, alike=options.alike,
        learned={key: posterior.latent for key, posterior in found.items()},
    )  # fmt: skip
    ensemble = _Ensemble(
        garden, trade, today, seed, span, patches, futures, forcing, bed, draws, found, memory,
        fingerprint=_fingerprint_of(garden, trade, today, seed, span, futures, forcing)
        if found or remembers
        else "",
    )  # fmt: skip
    return Outlook(
        model_version=MODEL_VERSION,
        seed=seed,
        members=members,
        today=today,
        weather=_weather_note(futures.method, tuple(futures.notes), known, garden),
        patches=_summaries(ensemble, threads=options.threads, progress=progress),
        skipped=skipped,
        near=near_days(futures, start=span.start, today=today),
    )


def _patches_of(garden: Garden) -> tuple[list[Patch], tuple[tuple[str, str], ...]]:
    """The patches that get an outlook, and the names of the others with the reason."""
    patches = [
        patch for patch in garden.patches if patch.built_on is not None and patch.stage is not Stage.RETIRED
    ]
    skipped = tuple(
        (patch.name, "retired" if patch.stage is Stage.RETIRED else "no build day yet")
        for patch in garden.patches
        if patch not in patches
    )
    if not patches:
        reasons = "; ".join(f"{name}: {why}" for name, why in skipped)
        raise InputError(
            "This garden has no patch to tell of yet; plan one with a build day and a layer of chips or straw"
            + (f" ({reasons})." if reasons else "."),
            field="patches",
        )
    return patches, skipped


@dataclass(frozen=True, slots=True)
class _Ensemble:
    """All that the patches of one outlook are run and read with.

    bed, draws : one row for each of `patches`. found : what was learned of them. fingerprint : of what all
    patches share; empty where nothing is remembered.
    """

    garden: Garden
    trade: Trade
    today: date
    seed: int
    span: RunSpan
    patches: list[Patch]
    futures: WeatherFutures
    forcing: Forcing
    bed: BedArrays
    draws: Draws
    found: Posteriors
    memory: Memory
    fingerprint: str

    def some(self, places: list[int]) -> _Ensemble:
        """The same with some of the patches alone."""
        return replace(
            self,
            patches=[self.patches[p] for p in places],
            bed=_some(self.bed, places),
            draws=_some_draws(self.draws, places),
        )


def _summaries(
    ensemble: _Ensemble, *, threads: int | None, progress: Callable[[float], None] | None
) -> tuple[PatchOutlook, ...]:
    """Every patch's outlook: remembered where nothing changed, else run again."""
    memory, patches = ensemble.memory, ensemble.patches
    fingerprints = [_fingerprint_of_patch(ensemble, p) for p in range(len(patches))]
    summaries = [_remembered(memory, patch, own) for patch, own in zip(patches, fingerprints, strict=True)]
    missing = [p for p, item in enumerate(summaries) if item is None]
    at_once = max(MEMBER_DAYS_AT_ONCE // (ensemble.span.days * ensemble.draws.members), 1)
    for first in range(0, len(missing), at_once):
        places = missing[first : first + at_once]
        begun, share = first / len(missing), len(places) / len(missing)
        made = _run(
            ensemble.some(places),
            threads=threads,
            progress=None if progress is None else _part_of(progress, begun, share),
        )
        for p, item in zip(places, made, strict=True):
            summaries[p] = item
            if ensemble.fingerprint:
                memory.keep(f"outlook {patches[p].key}", (fingerprints[p], item))
    return tuple(item for item in summaries if item is not None)


def _part_of(progress: Callable[[float], None], begun: float, share: float) -> Callable[[float], None]:
    """Progress of one part of the patches as progress of all."""
    return lambda done: progress(begun + share * done)


def _run(
    ensemble: _Ensemble, *, threads: int | None, progress: Callable[[float], None] | None
) -> list[PatchOutlook]:
    """One run of the engine over all patches of an ensemble, read off patch by patch."""
    trade, today, span = ensemble.trade, ensemble.today, ensemble.span
    model_constants = model_constants_of(trade)
    run = simulate(
        ensemble.bed, ensemble.draws, ensemble.forcing, model_constants,
        start=span.start, threads=threads, progress=progress,
        mass_days=[(today - span.start).days + 7 * weeks for weeks in WEEKS_AHEAD],
    )  # fmt: skip
    _run_own_pasts(run, ensemble, model_constants)
    rain = np.median(ensemble.futures.rain_mm, axis=1).astype(np.float32)

    def one(p: int) -> PatchOutlook:
        patch = ensemble.patches[p]
        item = summary(
            run, p, patch, ensemble.garden, trade, today, span.first, span.after, rain,
            ensemble.futures.measured_days, ensemble.futures.rain_mm,
        )  # fmt: skip
        item = replace(item, remains=remains(run, p, patch, ensemble.bed, trade, today))
        if patch.key not in ensemble.found:
            return item
        return with_learned(ensemble.found[patch.key], _before(ensemble, p), item)

    places = range(len(ensemble.patches))
    if threads == 1 or len(places) == 1:
        return [one(p) for p in places]
    with ThreadPoolExecutor(threads) as pool:  # sorting releases Python's lock
        return list(pool.map(one, places))


def _some(bed: BedArrays, places: list[int]) -> BedArrays:
    """Some patches of all, as arrays of their own."""
    return BedArrays._make(array[places] for array in bed)


def _some_draws(draws: Draws, places: list[int]) -> Draws:
    return Draws(draws.parameters[places], draws.hazard[places], draws.flush_noise[places])


def _remembered(memory: Memory, patch: Patch, fingerprint: str) -> PatchOutlook | None:
    """The last outlook of a patch, if all that went into it is the same."""
    kept: tuple[str, PatchOutlook] | None = memory.kept(f"outlook {patch.key}") if fingerprint else None
    return kept[1] if kept is not None and kept[0] == fingerprint else None


def _fingerprint_of_patch(ensemble: _Ensemble, p: int) -> str:
    """A fingerprint of a patch's outlook: what all share, itself, its draws, what was learned; else empty."""
    if not ensemble.fingerprint:
        return ""
    patch, draws = ensemble.patches[p], ensemble.draws
    posterior = ensemble.found.get(patch.key)
    picked = first_picked_on(ensemble.garden, patch, ensemble.today)
    digest = hashlib.blake2b(repr((ensemble.fingerprint, patch, picked)).encode(), digest_size=16)
    arrays = [array[p] for array in ensemble.bed]
    arrays += [draws.parameters[p], draws.hazard[p], draws.flush_noise[p]]
    if posterior is not None:
        learned = (
            posterior.looks,
            posterior.picks,
            posterior.others,
            posterior.fitting,
            posterior.refreshed,
            posterior.fits,
            posterior.weight,
            posterior.picked_on,
        )
        digest.update(repr((learned, posterior.odd)).encode())
        if posterior.past is not None:
            digest.update(repr(posterior.past.start).encode())
            arrays += [posterior.past.air_c, posterior.past.rain_mm, posterior.past.evapotranspiration_mm]
    for array in arrays:
        digest.update(repr((array.shape, array.dtype)).encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def _run_own_pasts(run: SeasonRun, ensemble: _Ensemble, model_constants: ModelConstants) -> None:
    """Run again the patches whose members each have a past weather of their own, into the run's arrays.

    Where the record has holes, what the logbook tells speaks for the weather in them as well.
    """
    for p, patch in enumerate(ensemble.patches):
        past = ensemble.found[patch.key].past if patch.key in ensemble.found else None
        if past is None:
            continue
        first = (past.start - run.start).days
        until = min(first + past.air_c.shape[0], run.days)
        rows = {}
        for name in ("air_c", "rain_mm", "evapotranspiration_mm"):
            rows[name] = getattr(ensemble.forcing, name).copy()
            rows[name][max(first, 0) : until] = getattr(past, name)[max(-first, 0) : until - first]
        again = simulate(
            _some(ensemble.bed, [p]),
            _some_draws(ensemble.draws, [p]),
            ensemble.forcing._replace(**rows),
            model_constants,
            start=run.start,
            mass_days=run.mass_days,
        )
        for name in (
            "run_share", "moisture", "temperature_c", "account_mm", "watered_month_mm", "pin_day",
            "flush_day", "flush_kg_m2", "last", "cell_mass_kg_m2", "cell_share", "living",
        ):  # fmt: skip
            getattr(run, name)[p] = getattr(again, name)[0]


def _before(ensemble: _Ensemble, p: int) -> tuple[FirstPicking, FirstPicking]:
    """The first and the next picking without the logbook; kept, for looks and pickings do not change them."""
    patch, bed, today, seed = ensemble.patches[p], _some(ensemble.bed, [p]), ensemble.today, ensemble.seed
    start, after, members = ensemble.span.start, ensemble.span.after, ensemble.draws.members

    def made() -> tuple[FirstPicking, FirstPicking]:
        draws = draw_parameters([patch], ensemble.trade, members=members, seed=seed)
        constants = model_constants_of(ensemble.trade)
        run = simulate(bed, draws, ensemble.forcing, constants, start=start, threads=1)
        return pickings(run, 0, patch, (today - start).days, after)

    digest = hashlib.blake2b(ensemble.fingerprint.encode(), digest_size=16)
    digest.update(repr((patch, start, today, after, members, seed)).encode())
    for array in bed:
        digest.update(np.ascontiguousarray(array).tobytes())
    pair: tuple[FirstPicking, FirstPicking] = ensemble.memory.get(
        f"before {digest.hexdigest()}", made, lasting=True
    )
    return pair


def _fingerprint_of(
    garden: Garden, trade: Trade, today: date, seed: int, span: RunSpan, futures: WeatherFutures,
    forcing: Forcing,
) -> str:  # fmt: skip
    """A fingerprint of what all patches of an outlook share."""
    digest = hashlib.blake2b(digest_size=16)
    for array in forcing:
        digest.update(array.tobytes())
    rest = (span, today, futures.measured_days, seed, garden.hose_litres_per_minute)
    return f"{trade_fingerprint(trade)} {digest.hexdigest()} {rest}"


def what_if(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    changed: Patch,
    *,
    today: date,
    members: int = DEFAULT_MEMBERS,
    seed: int = DEFAULT_SEED,
    forecast: Forecast | None = None,
    memory: Memory | None = None,
) -> tuple[PatchOutlook, PatchOutlook]:
    """A patch as it stands and as it might be, over the same weathers and the same draws.

    `changed` has the key of the patch it replaces. Only the two are run.
    """
    before = garden.patch(changed.key)
    log = tuple(entry for entry in garden.log if entry.patch == changed.key)
    results = []
    span = [day for day in (before.built_on, changed.built_on) if day is not None]
    for patch in (before, changed):
        alone = replace(garden, patches=(patch,), log=log)
        end = max(today, max(span)) + timedelta(days=FIRST_YEAR_DAYS)
        result = outlook(
            alone, series, trade, today=today, start=min(span), days=(end - min(span)).days + 1,
            members=members, seed=seed, forecast=forecast, memory=memory,
            options=OutlookOptions(learn_from=garden),
        )  # fmt: skip
        results.append(result.patches[0])
    return results[0], results[1]
