"""The outlook: for every patch, how moist and warm it has been and will be, how far the spawn has run,
when the first picking is likely, how much to expect and how much water it will ask for.

One run of the season engine over an ensemble of weathers and parameters, read off as ranges.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from mulchwright.almanac.learning import Posteriors, posteriors, trade_fingerprint
from mulchwright.almanac.memory import Memory
from mulchwright.almanac.moves import with_living_shares
from mulchwright.almanac.near import near_days
from mulchwright.almanac.outlook_learned import with_learned
from mulchwright.almanac.outlook_ranges import (
    pickings,
)
from mulchwright.almanac.outlook_result import (
    FirstPicking,
    Outlook,
    PatchOutlook,
    WeatherNote,
)
from mulchwright.almanac.outlook_span import RunSpan, run_span
from mulchwright.almanac.outlook_summary import remains, summary
from mulchwright.almanac.outlook_weather import first_day_of, futures_of
from mulchwright.almanac.remains import WEEKS_AHEAD
from mulchwright.almanac.year_ahead import YearPicking, picking_of_days, year_ahead_of
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, Stage
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
    with_readings,
)

__all__ = [
    "ALIKE",
    "DEFAULT_MEMBERS",
    "DEFAULT_SEED",
    "MODEL_VERSION",
    "OutlookOptions",
    "outlook",
]


MODEL_VERSION = "7"
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

    alike : nothing is learned from the logbook, and all beds have the same luck.
    learning : whether looks and pickings in the logbook narrow the draws.
    whole_garden : the garden that these beds are of, or may be of, where they are tried otherwise than they
    are: its logbook is learned from, and its weathers are drawn, so that a bed that is tried as it stands
    gets the figures of the garden's own outlook.
    tried : the beds are tried beside others; nobody asks what the logbook changed, and nothing of them is
    remembered.
    threads : at most so many; None for one a core.
    """

    alike: bool = False
    learning: bool = True
    whole_garden: Garden | None = None
    tried: bool = False
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
    whole = options.whole_garden or garden
    whole = with_living_shares(
        replace(whole, normals=governing_normals(whole.normals, known)), known, trade,
        today=today, seed=seed, memory=memory,
    )  # fmt: skip
    moves = {entry.key: entry for entry in whole.log if entry.kind is LogKind.MOVED}
    garden = replace(garden, log=tuple(moves.pop(entry.key, entry) for entry in garden.log))
    from_elsewhere = [entry for entry in moves.values() if entry.to_patch in {one.key for one in patches}]
    futures = futures_of(
        garden, known, span, today=today, first=first_day_of((*whole.patches, *patches), today),
        members=members, seed=seed, forecast=forecast,
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
    drawn = _with_common_luck(patches, whole.log)
    if options.learning and not options.alike:
        found = posteriors(
            whole, known, trade, drawn,
            today=today, members=members, seed=seed, memory=memory, threads=options.threads,
        )  # fmt: skip
    draws = draw_parameters(
        drawn, trade, members=members, seed=seed, alike=options.alike,
        learned={key: posterior.latent for key, posterior in found.items()},
    )  # fmt: skip
    found = {patch.key: found[one.key] for patch, one in zip(patches, drawn, strict=True) if one.key in found}
    ensemble = _Ensemble(
        garden, trade, today, seed, span, patches, futures, forcing, bed, draws, found, memory,
        fingerprint=_fingerprint_of(garden, trade, today, seed, span, futures, forcing)
        if (found or remembers) and not options.tried
        else "",
        tried=options.tried,
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


def _with_common_luck(patches: Sequence[Patch], log: Sequence[LogEntry]) -> list[Patch]:
    """The patches under the keys by which they are drawn: their own once something was seen of them.

    What nobody has looked at or picked from has the luck that all such beds of its species have. So two beds
    that are alike get the same figures, and so does one bed wherever it is tried and whatever it is called.
    """
    seen = {(entry.patch, entry.day) for entry in log if entry.kind in (LogKind.LOOKED, LogKind.PICKED)}
    watched = {
        patch.key
        for patch in patches
        if any(key == patch.key and patch.built_on is not None and day >= patch.built_on for key, day in seen)
    }
    return [
        patch if patch.key in watched else replace(patch, key=f"any-bed-of-{patch.species}")
        for patch in patches
    ]


@dataclass(frozen=True, slots=True)
class _Ensemble:
    """All that the patches of one outlook are run and read with.

    bed, draws : one row for each of `patches`. found : what was learned of them. fingerprint : of what all
    patches share; empty where nothing is remembered. tried : whether the beds are tried otherwise than they
    are; then nobody asks what the logbook changed.
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
    tried: bool

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
        if patch.key not in ensemble.found or ensemble.tried:
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
    picked = [
        (entry.day, entry.mass_kg)
        for entry in ensemble.garden.log
        if entry.patch == patch.key and entry.kind is LogKind.PICKED
    ]
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


def _before(ensemble: _Ensemble, p: int) -> tuple[FirstPicking, FirstPicking, YearPicking | None]:
    """The first, the next and the year ahead's picking without the logbook.

    The first two and the last one's days are kept: looks and pickings do not change them.
    """
    patch, bed, today, seed = ensemble.patches[p], _some(ensemble.bed, [p]), ensemble.today, ensemble.seed
    start, after, members = ensemble.span.start, ensemble.span.after, ensemble.draws.members

    assert patch.built_on is not None
    year = year_ahead_of(patch.built_on, today)

    def made() -> tuple[FirstPicking, ...]:
        (drawn,) = _with_common_luck([patch], ensemble.garden.log)
        draws = draw_parameters([drawn], ensemble.trade, members=members, seed=seed)
        constants = model_constants_of(ensemble.trade)
        run = simulate(bed, draws, ensemble.forcing, constants, start=start, threads=1)
        both = pickings(run, 0, patch, (today - start).days, after)
        day = run.flush_day[0].astype(np.float64)
        own = picking_of_days(year, day, start=start, days=run.days, noted=True)
        if own is None:
            return both
        return *both, FirstPicking(own.low, own.likely, own.high, ((year.last, own.chance),), own.twenty)

    digest = hashlib.blake2b(ensemble.fingerprint.encode(), digest_size=16)
    digest.update(repr((patch, start, today, after, members, seed)).encode())
    for array in bed:
        digest.update(np.ascontiguousarray(array).tobytes())
    kept: tuple[FirstPicking, ...] = ensemble.memory.get(
        f"year before {digest.hexdigest()}", made, lasting=True
    )
    if len(kept) < 3:
        return kept[0], kept[1], None
    own = kept[2]
    ((_, chance),) = own.probability_by_date
    return kept[0], kept[1], YearPicking(year, chance, own.p10, own.p50, own.p90, 0.0, own.twenty)


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
