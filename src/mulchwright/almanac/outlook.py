"""The outlook: for every patch, how moist and warm it has been and will be, how far the spawn has run,
when the first picking is likely, how much to expect and how much water it will ask for.

One run of the season engine over an ensemble of weathers and parameters, read off as ranges.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.advice import moisture_marks, watering_advice
from mulchwright.almanac.learning import BedPosterior, Memory, Posteriors, posteriors, trade_fingerprint
from mulchwright.almanac.near import LOOK_DAYS, near_days
from mulchwright.almanac.remains import WEEKS_AHEAD, Remains, remains_of
from mulchwright.almanac.told import (
    Band,
    FirstPicking,
    Learned,
    MonthAmount,
    Outlook,
    PatchOutlook,
    Quantiles,
    WeatherNote,
    YearAccount,
)
from mulchwright.almanac.working import working_of
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogKind, Patch, Stage
from mulchwright.season import (
    SeasonRun,
    bed_arrays,
    draw_parameters,
    food_cells,
    forcing_of,
    model_constants_of,
    simulate,
)
from mulchwright.season.draws import Draws
from mulchwright.season.kernel import ADDED_KG_M2, BUILT_DAY, BedArrays, Forcing, ModelConstants
from mulchwright.season.standing import Standing, sharpness_of, standing_chances
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries, Forecast, mean_annual_wave, weather_futures, with_readings

__all__ = [
    "DEFAULT_MEMBERS",
    "DEFAULT_SEED",
    "MODEL_VERSION",
    "outlook",
    "what_if",
]

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

MODEL_VERSION = "4"
"""Changes whenever the same book and seed would give other figures."""
DEFAULT_MEMBERS = 200
DEFAULT_SEED = 20260101
FIRST_YEAR_DAYS = 365
LONGEST_RUN_DAYS = 8 * 366
LARGEST_SEED = 2**63 - 1
"""What other programs that read the JSON can hold."""
FEWEST_MEMBERS, MOST_MEMBERS = 20, 5000
DOTS = 20


def _band(values: Singles) -> Band:
    """Quantiles of (day, member) along the members, linear between order statistics as numpy's default."""
    ordered = np.sort(values, axis=1)
    last = values.shape[1] - 1

    def at(q: float) -> Singles:
        low = int(q * last)
        high = min(low + 1, last)
        share = np.float32(q * last - low)
        picked: Singles = ordered[:, low] * (1 - share) + ordered[:, high] * share
        return picked

    return Band(at(0.10), at(0.25), at(0.50), at(0.75), at(0.90))


def _picking(days_of_members: Floats, start: date, first_day: int, days: int) -> FirstPicking:
    """A picking's range from each member's day index (inf: none), told weekly from `first_day`."""
    ordered = np.sort(days_of_members)
    members = len(ordered)

    def at(q: float) -> date | None:
        index = ordered[min(int(q * members), members - 1)]
        return start + timedelta(days=int(index)) if np.isfinite(index) and index < days else None

    weekly = tuple(
        (start + timedelta(days=d), float(np.searchsorted(ordered, d, side="right")) / members)
        for d in range(first_day, days, 7)
    )
    twenty = tuple(at((k + 0.5) / DOTS) for k in range(DOTS))
    return FirstPicking(at(0.10), at(0.50), at(0.90), weekly, twenty)


def _pickings(
    run: SeasonRun, p: int, patch: Patch, today_day: int, after: int
) -> tuple[FirstPicking, FirstPicking]:
    """The first picking of all and the next after today of one patch of a run."""
    assert patch.built_on is not None  # patches without a build day were set aside before the run
    built = max((patch.built_on - run.start).days, 0)
    day = run.flush_day[p].astype(np.float64)
    seen = np.where(np.isfinite(day), day, np.inf)
    ahead = np.where(seen > today_day, seen, np.inf)
    return (
        _picking(seen.min(axis=0), run.start, built, after),
        _picking(ahead.min(axis=0), run.start, max(built, today_day), after),
    )


def _quantiles(values: Floats) -> Quantiles:
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9))
    return Quantiles(float(p10), float(p50), float(p90), float(values.mean()))


def _month_amounts(months: tuple[date, ...], values: Floats) -> tuple[MonthAmount, ...]:
    """(month, member) amounts as ranges."""
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9), axis=1)
    mean = values.mean(axis=1)
    return tuple(
        MonthAmount(month, float(p10[i]), float(p50[i]), float(p90[i]), float(mean[i]))
        for i, month in enumerate(months)
    )


def _year_crops(
    month_kg: Floats, months: Sequence[date], first: date, last: date
) -> tuple[tuple[int, Quantiles], ...]:
    """(month, member) crops as calendar years, those that lie wholly between two days."""
    years = [month.year for month in months]
    return tuple(
        (year, _quantiles(month_kg[[i for i, y in enumerate(years) if y == year]].sum(axis=0)))
        for year in sorted(set(years))
        if first <= date(year, 1, 1) and date(year, 12, 31) <= last
    )


def _share_before(month: date, end: date) -> float:
    """Share of a month's days that lie before a day; waterings are kept by month."""
    following = (month + timedelta(days=32)).replace(day=1)
    return min(max((end - month).days / (following - month).days, 0.0), 1.0)


def _year_accounts(account_mm: Floats, start: date, first: int, after: int) -> tuple[YearAccount, ...]:
    years: dict[int, Floats] = {}
    for d in range(first, after):
        year = (start + timedelta(days=d)).year
        years.setdefault(year, np.zeros(5))
        years[year] += account_mm[d]
    return tuple(YearAccount(year, *(float(v) for v in sums)) for year, sums in sorted(years.items()))


def _summary(
    run: SeasonRun, p: int, patch: Patch, garden: Garden, trade: Trade, today: date, first: int, after: int,
    rain_mm: Singles, measured_days: int, futures_rain_mm: Floats,
) -> PatchOutlook:  # fmt: skip
    """Read one patch's outlook off the run, for the reported days `first` to `after`."""
    assert patch.built_on is not None  # patches without a build day were set aside before the run
    built = max((patch.built_on - run.start).days, 0)
    day_of_flush = run.flush_day[p].astype(np.float64)
    happened = np.isfinite(day_of_flush)
    seen = np.where(happened, day_of_flush, np.inf)
    first_flush = seen.min(axis=0)
    today_day = (today - run.start).days
    first_picking, next_picking = _pickings(run, p, patch, today_day, after)
    area = patch.area_m2

    def kg_in_year(year: int) -> Floats | None:
        begin, end = built + (year - 1) * FIRST_YEAR_DAYS, built + year * FIRST_YEAR_DAYS
        if end > run.days:
            return None
        within = happened & (day_of_flush >= begin) & (day_of_flush < end)
        return np.asarray(np.where(within, run.flush_kg_m2[p], 0.0).sum(axis=0) * area, dtype=np.float64)

    first_kg, second_kg = kg_in_year(1), kg_in_year(2)
    assert first_kg is not None  # every run is made long enough for it
    crops = first_kg[first_kg > 0]
    first_report, last_report = run.start + timedelta(days=first), run.start + timedelta(days=after - 1)
    wanted = [
        i
        for i, m in enumerate(run.months)
        if max(first_report, patch.built_on).replace(day=1) <= m <= last_report
    ]
    months = tuple(run.months[i] for i in wanted)
    month_of_flush = np.zeros((len(run.months), run.members))
    k_index, m_index = np.nonzero(happened)
    flush_dates = day_of_flush[k_index, m_index].astype(int)
    month_start = np.array([(m - run.start).days for m in run.months])
    month_index = np.searchsorted(month_start, flush_dates, side="right") - 1
    np.add.at(month_of_flush, (month_index, m_index), run.flush_kg_m2[p, k_index, m_index] * area)
    watered = run.watered_month_mm[p] * area
    first_year_end = patch.built_on + timedelta(days=FIRST_YEAR_DAYS)
    within = np.array([_share_before(month, first_year_end) for month in run.months])
    moisture = _band(run.moisture[p, first:after])
    return PatchOutlook(
        patch=patch,
        start=first_report,
        days=after - first,
        today_index=min(max(today_day - first, 0), after - first - 1),
        measured_days=min(max(measured_days - first, 0), after - first),
        run_share=_band(run.run_share[p, first:after]),
        moisture=moisture,
        moisture_marks=moisture_marks(patch, trade),
        temperature_c=_band(run.temperature_c[p, first:after]),
        rain_mm=rain_mm[first:after],
        first_picking=first_picking,
        next_picking=next_picking,
        first_picked_on=_first_picked_on(garden, patch, today),
        none_in_first_year=float(np.mean(~(first_flush < built + FIRST_YEAR_DAYS))),
        picked_kg=_month_amounts(months, month_of_flush[wanted]),
        picked_first_year_kg=_quantiles(first_kg),
        picked_second_year_kg=None if second_kg is None else _quantiles(second_kg),
        picked_if_any_kg=_quantiles(crops) if len(crops) else None,
        watered_litres=_month_amounts(months, watered[wanted]),
        watered_first_year_litres=_quantiles(within @ watered),
        water_account=_year_accounts(run.account_mm[p], run.start, max(built, first), after),
        watering_now=watering_advice(
            patch, trade, moisture=run.moisture[p], rain_mm=futures_rain_mm, today_day=today_day,
            hose_litres_per_minute=garden.hose_litres_per_minute,
        ),
        standing=_standing(run, p, today_day, trade),
        living=_band(run.living[p, first:after]),
        working=working_of(patch, trade),
        picked_year_kg=_year_crops(
            month_of_flush[wanted], months,
            date.min if first_report <= patch.built_on else first_report, last_report,
        ),
    )  # fmt: skip


def _standing(run: SeasonRun, p: int, today_day: int, trade: Trade) -> Standing | None:
    """The chances of a find from today on; None where the run ended before today and tells nothing of it."""
    first = max(today_day, 0)
    if first >= run.days:
        return None
    return standing_chances(
        run.pin_day[p], run.flush_day[p], first=first,
        days=min(LOOK_DAYS, run.days - first), sharp=sharpness_of(trade),
    )  # fmt: skip


def _remains(
    run: SeasonRun, p: int, patch: Patch, bed: BedArrays, trade: Trade, today: date
) -> tuple[Remains, ...]:
    added = np.cumsum(bed.daily[p, ADDED_KG_M2])
    built = int(bed.sizes[p, BUILT_DAY])
    before = added[built - 1] if built else 0.0  # what is logged before the build is not in the bed
    until = np.array([added[min(max(day, 0), run.days - 1)] - before for day in run.mass_days])
    return remains_of(
        patch, run.cell_mass_kg_m2[p], np.maximum(until, 0.0), int(bed.added_to[p]), trade, today=today
    )


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


def _why_not_told(patch: Patch, trade: Trade) -> str:
    """Why a patch has no outlook, in words; empty where it has one."""
    if patch.stage is Stage.RETIRED:
        return "retired"
    if patch.built_on is None:
        return "no build day yet"
    known = all(layer.material in trade.materials for layer in patch.recipe.all_layers)
    if known and not food_cells(patch.recipe, trade):
        return "no layer that feeds threads"
    return ""


def _measured_until(series: DailySeries | None, today: date) -> DailySeries | None:
    """The record as it was known on a day: nothing measured later may slip into an outlook."""
    if series is None or series.start > today:
        return None
    return series if series.end <= today else series.slice(series.start, today)


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
    threads: int | None = None,
    alike: bool = False,
    progress: Callable[[float], None] | None = None,
    forecast: Forecast | None = None,
    learning: bool = True,
    memory: Memory | None = None,
    learn_from: Garden | None = None,
) -> Outlook:
    """The outlook of every patch that has a build day and is not retired.

    start, days : the days to report; by default from the earliest build day to a year after today
    or after the latest build day. The engine always runs from the earliest build day, and far
    enough to tell each patch's first year. alike : same luck for all patches, to compare them.
    forecast : days ahead that somebody foresees; one issued after today is not looked at. The garden's
    own readings outrank the station's figures.
    learning : whether looks and pickings in the logbook narrow the draws; never where all have the same luck.
    memory : spares what was learned before, and beds for which nothing changed since; it changes no figure.
    learn_from : the garden whose logbook is learned from where it is not this one, for beds that are
    tried otherwise than they are.

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
    if days is not None and days < 1:
        raise InputError(f"{days} days were asked for; at least 1 is needed.", field="days")
    told = [
        patch for patch in garden.patches if patch.built_on is not None and patch.stage is not Stage.RETIRED
    ]
    skipped = tuple(
        (patch.name, "retired" if patch.stage is Stage.RETIRED else "no build day yet")
        for patch in garden.patches
        if patch not in told
    )
    if not told:
        reasons = "; ".join(f"{name}: {why}" for name, why in skipped)
        raise InputError(
            "This garden has no patch to tell of yet; plan one with a build day and a layer of chips or straw"
            + (f" ({reasons})." if reasons else "."),
            field="patches",
        )
    built = [patch.built_on for patch in told if patch.built_on is not None]
    run_start = min(built)
    report_start = start or run_start
    longest = timedelta(days=FIRST_YEAR_DAYS)
    # What the calendar has no days for is surely longer than a run, too.
    most = LONGEST_RUN_DAYS + FIRST_YEAR_DAYS
    if (date.max - max(today, report_start, *built)).days < most or (days or 0) > LONGEST_RUN_DAYS:
        asked = "" if days is None else f" and {str(days)[:40]} days"
        raise InputError(
            f"The run would begin on {min(run_start, report_start)}, to report from {report_start}{asked}; "
            f"the most are {LONGEST_RUN_DAYS} days within the calendar. Ask for fewer, or begin elsewhere.",
            field="days",
        )
    report_end = (
        report_start + timedelta(days=days - 1) if days is not None else max(today, max(built)) + longest
    )
    if report_end < report_start:
        raise InputError(
            f"The days asked for begin on {report_start}, after the outlook's last day, {report_end}. Begin "
            "earlier, or say how many days.",
            field="from",
        )
    if report_end < run_start:
        raise InputError(
            f"The days asked for end on {report_end}, before the first patch is built on {run_start}.",
            field="from",
        )
    run_start = min(run_start, report_start)
    run_end = max(report_end, max(built) + longest)
    run_days = (run_end - run_start).days + 1
    if run_days > LONGEST_RUN_DAYS:
        raise InputError(
            f"The run would span {run_days} days, from {run_start} to {run_end}; the most are "
            f"{LONGEST_RUN_DAYS}. "
            "Retire old patches, or ask for fewer days.",
            field="days",
        )
    known = _measured_until(with_readings(series, garden.readings, garden.place), today)
    if forecast is not None and not forecast.known_on(today):
        forecast = None
    rng = np.random.default_rng([seed, 1])
    futures = weather_futures(
        known, garden.normals, garden.place,
        start=run_start, days=run_days, members=members, rng=rng, forecast=forecast,
    )  # fmt: skip
    air = (futures.temperature_min_c + futures.temperature_max_c) / 2
    climate = garden.normals or known
    assert climate is not None  # weather_futures refuses a garden without either
    wave = mean_annual_wave(climate)
    forcing = forcing_of(
        air, futures.rain_mm, futures.reference_evapotranspiration_mm, start=run_start, wave=wave, trade=trade
    )
    bed = bed_arrays(told, trade, start=run_start, days=run_days, today=today, log=garden.log)
    remembers = memory is not None
    memory = memory or Memory()
    found: Posteriors = {}
    if learning and not alike:
        found = posteriors(
            learn_from or garden, known, trade, told,
            today=today, members=members, seed=seed, memory=memory, threads=threads,
        )  # fmt: skip
    draws = draw_parameters(
        told, trade, members=members, seed=seed, alike=alike,
        learned={key: posterior.latent for key, posterior in found.items()},
    )  # fmt: skip
    first = (report_start - run_start).days
    after = (report_end - run_start).days + 1
    fingerprint = ""
    if found or remembers:
        span = (run_start, first, after, today, futures.measured_days, seed, garden.hose_litres_per_minute)
        fingerprint = f"{trade_fingerprint(trade)} {_fingerprint_of(forcing)} {span}"
    marks = [""] * len(told)
    if fingerprint:
        for p, patch in enumerate(told):
            picked = _first_picked_on(garden, patch, today)
            marks[p] = _fingerprint_of_patch(fingerprint, patch, p, bed, draws, found.get(patch.key), picked)
    summaries = [_still_told(memory, patch, own) for patch, own in zip(told, marks, strict=True)]
    anew = [p for p, item in enumerate(summaries) if item is None]
    beds = [told[p] for p in anew]
    if anew:
        bed, draws = _some(bed, anew), _some_draws(draws, anew)
        model_constants = model_constants_of(trade)
        kept_days = [(today - run_start).days + 7 * weeks for weeks in WEEKS_AHEAD]
        run = simulate(
            bed, draws, forcing, model_constants,
            start=run_start, threads=threads, progress=progress, mass_days=kept_days,
        )  # fmt: skip
        _run_own_pasts(run, beds, found, bed, draws, forcing, model_constants)
        rain = np.median(futures.rain_mm, axis=1).astype(np.float32)

    def one(numbered: tuple[int, Patch]) -> PatchOutlook:
        p, patch = numbered
        item = _summary(
            run, p, patch, garden, trade, today, first, after, rain,
            futures.measured_days, futures.rain_mm,
        )  # fmt: skip
        item = replace(item, remains=_remains(run, p, patch, bed, trade, today))
        if patch.key not in found:
            return item
        before = _before(
            patch, p, bed, forcing, trade, memory,
            fingerprint=fingerprint, start=run_start, today=today, after=after, members=members, seed=seed,
        )  # fmt: skip
        return _learned(found[patch.key], before, item)

    if threads == 1 or len(beds) <= 1:
        made = [one(item) for item in enumerate(beds)]
    else:
        with ThreadPoolExecutor(threads) as pool:  # sorting releases Python's lock
            made = list(pool.map(one, enumerate(beds)))
    for p, item in zip(anew, made, strict=True):
        summaries[p] = item
        if fingerprint:
            memory.keep(f"told {told[p].key}", (marks[p], item))
    return Outlook(
        model_version=MODEL_VERSION,
        seed=seed,
        members=members,
        today=today,
        weather=_weather_note(futures.method, tuple(futures.notes), known, garden),
        patches=tuple(item for item in summaries if item is not None),
        skipped=skipped,
        near=near_days(futures, start=run_start, today=today),
    )


def _some(bed: BedArrays, places: list[int]) -> BedArrays:
    """Some patches of all, as arrays of their own."""
    return BedArrays._make(array[places] for array in bed)


def _alone(bed: BedArrays, p: int) -> BedArrays:
    """One patch of all, as arrays of their own."""
    return _some(bed, [p])


def _some_draws(draws: Draws, places: list[int]) -> Draws:
    return Draws(draws.parameters[places], draws.hazard[places], draws.flush_noise[places])


def _first_picked_on(garden: Garden, patch: Patch, today: date) -> date | None:
    """The first pick that the logbook tells of."""
    days = [e.day for e in garden.log if e.patch == patch.key and e.kind is LogKind.PICKED and e.day <= today]
    return min(days, default=None)


def _still_told(memory: Memory, patch: Patch, fingerprint: str) -> PatchOutlook | None:
    """What was told of a bed last, if all that went into it is the same."""
    kept: tuple[str, PatchOutlook] | None = memory.kept(f"told {patch.key}") if fingerprint else None
    return kept[1] if kept is not None and kept[0] == fingerprint else None


def _fingerprint_of_patch(
    fingerprint: str,
    patch: Patch,
    p: int,
    bed: BedArrays,
    draws: Draws,
    posterior: BedPosterior | None,
    first_picked_on: date | None,
) -> str:
    """A fingerprint of all that is told of a bed: what all beds share (`mark`), itself, draws and lesson."""
    digest = hashlib.blake2b(repr((fingerprint, patch, first_picked_on)).encode(), digest_size=16)
    arrays = [array[p] for array in bed]
    arrays += [draws.parameters[p], draws.hazard[p], draws.flush_noise[p]]
    if posterior is not None:
        told = (
            posterior.looks,
            posterior.picks,
            posterior.others,
            posterior.fitting,
            posterior.refreshed,
            posterior.fits,
        )
        digest.update(repr((told, posterior.odd)).encode())
        if posterior.past is not None:
            digest.update(repr(posterior.past.start).encode())
            arrays += [posterior.past.air_c, posterior.past.rain_mm, posterior.past.evapotranspiration_mm]
    for array in arrays:
        digest.update(repr((array.shape, array.dtype)).encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def _run_own_pasts(
    run: SeasonRun,
    told: list[Patch],
    found: Posteriors,
    bed: BedArrays,
    draws: Draws,
    forcing: Forcing,
    model_constants: ModelConstants,
) -> None:
    """Run again the patches whose members each have a past weather of their own, into the run's arrays.

    Where the record has holes, what the logbook tells speaks for the weather in them as well.
    """
    for p, patch in enumerate(told):
        past = found[patch.key].past if patch.key in found else None
        if past is None:
            continue
        first = (past.start - run.start).days
        until = min(first + past.air_c.shape[0], run.days)
        rows = {}
        for name in ("air_c", "rain_mm", "evapotranspiration_mm"):
            rows[name] = getattr(forcing, name).copy()
            rows[name][max(first, 0) : until] = getattr(past, name)[max(-first, 0) : until - first]
        again = simulate(
            _alone(bed, p),
            _some_draws(draws, [p]),
            forcing._replace(**rows),
            model_constants,
            start=run.start,
            mass_days=run.mass_days,
        )
        for name in (
            "run_share", "moisture", "temperature_c", "account_mm", "watered_month_mm", "pin_day",
            "flush_day", "flush_kg_m2", "last", "cell_mass_kg_m2", "living",
        ):  # fmt: skip
            getattr(run, name)[p] = getattr(again, name)[0]


def _before(
    patch: Patch,
    p: int,
    bed: BedArrays,
    forcing: Forcing,
    trade: Trade,
    memory: Memory,
    *,
    fingerprint: str,
    start: date,
    today: date,
    after: int,
    members: int,
    seed: int,
) -> tuple[FirstPicking, FirstPicking]:
    """The first and the next picking without the logbook; kept, for looks and pickings do not change them."""

    def made() -> tuple[FirstPicking, FirstPicking]:
        draws = draw_parameters([patch], trade, members=members, seed=seed)
        run = simulate(_alone(bed, p), draws, forcing, model_constants_of(trade), start=start, threads=1)
        return _pickings(run, 0, patch, (today - start).days, after)

    digest = hashlib.blake2b(fingerprint.encode(), digest_size=16)
    digest.update(repr((patch, start, today, after, members, seed)).encode())
    for array in _alone(bed, p):
        digest.update(np.ascontiguousarray(array).tobytes())
    pair: tuple[FirstPicking, FirstPicking] = memory.get(f"before {digest.hexdigest()}", made, lasting=True)
    return pair


def _fingerprint_of(forcing: Forcing) -> str:
    digest = hashlib.blake2b(digest_size=16)
    for array in forcing:
        digest.update(array.tobytes())
    return digest.hexdigest()


def _learned(
    posterior: BedPosterior, before: tuple[FirstPicking, FirstPicking], item: PatchOutlook
) -> PatchOutlook:
    """The outlook with what the logbook did to it."""
    learned = Learned(
        looks=posterior.looks,
        picks=posterior.picks,
        others=posterior.others,
        first_before=before[0],
        first_after=item.first_picking,
        next_before=before[1],
        next_after=item.next_picking,
        fitting_share=posterior.fitting,
        refreshed=posterior.refreshed,
        fits=posterior.fits,
        odd_days=posterior.odd,
    )
    return replace(item, learned=learned)


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
        told = outlook(
            alone, series, trade, today=today, start=min(span), days=(end - min(span)).days + 1,
            members=members, seed=seed, forecast=forecast, memory=memory, learn_from=garden,
        )  # fmt: skip
        results.append(told.patches[0])
    return results[0], results[1]
