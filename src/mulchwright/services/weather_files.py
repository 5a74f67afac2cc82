"""Stations' files, read as the book's last one was and laid over its record."""

from __future__ import annotations

import re
import tempfile
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from mulchwright.book import open_book
from mulchwright.errors import InputError, SourceError

if TYPE_CHECKING:
    from mulchwright.garden import ClimateNormals, Garden
    from mulchwright.weather import AppendReport, DailySeries

LARGEST_FILE = 80_000_000
_MERGING = threading.Lock()


def read_station_bytes(
    name: str,
    body: bytes,
    remembered: Mapping[str, Any] | None,
    *,
    columns: Mapping[str, Any] | None = None,
    latitude_deg: float | None = None,
) -> tuple[DailySeries, dict[str, Any], tuple[str, ...]]:
    """The record in a station's file, how it was read, and what looks wrong about it.

    remembered : how the book's last file was read. columns : fields of `ColumnMapping` named for this file.
    """
    from mulchwright.weather import (
        ColumnMapping,
        check_any_csv,
        check_ghcn_daily_csv,
        looks_like_ghcn,
        read_any_csv,
        read_ghcn_daily_csv,
    )
    from mulchwright.weather.feed import as_units

    if len(body) > LARGEST_FILE:
        raise InputError("The file is larger than 80 MB; cut it down to the years that matter.", field="file")
    before = dict(remembered or {})
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / (re.sub(r"[^\w.-]+", "_", name)[-80:] or "station.csv")
        file.write_bytes(body)
        if looks_like_ghcn(file) and not columns:
            same = before if before.get("layout") == "ghcn" else {}
            station, units = same.get("station"), as_units(same.get("units"))
            series = read_ghcn_daily_csv(file, station=station, units=units)
            report = check_ghcn_daily_csv(file, station=station, units=units, latitude_deg=latitude_deg)
            mapping: dict[str, Any] = {"layout": "ghcn", "station": station, "units": units}
        else:
            stored = {key: value for key, value in before.items() if key != "layout"}
            named = dict(columns or (stored if before.get("layout") == "columns" else {}))
            if not named:
                raise InputError(
                    f"{name} is not in a layout of the Global Historical Climatology Network, so its "
                    "columns must be named once: on the weather page under “Another table”, or with "
                    "`mulchwright weather import`.",
                    field="file",
                )
            chosen = ColumnMapping.from_dict(named)
            series = read_any_csv(file, chosen)
            report = check_any_csv(file, chosen, latitude_deg=latitude_deg)
            mapping = {"layout": "columns", **chosen.as_dict()}
    return series, mapping, tuple(str(doubt) for doubt in report.suspicions)


def merge(
    path: Path, new: DailySeries, mapping: Mapping[str, Any] | None, *, of_a_model: bool = False
) -> AppendReport | None:
    """Lay new days over the book's record, as one act.

    of_a_model : the days were not measured. They fill what is missing and replace nothing, and the book
    remembers which they are; None where they fill nothing. What is measured later takes their place.
    """
    from mulchwright.services.forecast_log import MODEL_DAYS, model_days_in, model_days_text
    from mulchwright.weather import append_series

    with _MERGING, open_book(path) as book:
        old = book.series()
        if of_a_model:
            lacking = _lacking_in(old, new)
            if lacking is None:
                return None
            new = lacking
        merged, report = append_series(old, new)
        if not report.nothing_new:
            days = _days_with_figures(new)
            known = model_days_in(book)
            settings = {MODEL_DAYS: model_days_text(known | days if of_a_model else known - days)}
            remembered = dict(mapping) if mapping is not None else book.series_mapping()
            book.save_series(merged, remembered, settings=settings)
    return report


_MEASURED = ("temperature_min_c", "temperature_max_c", "rain_mm")


def _lacking_in(old: DailySeries | None, new: DailySeries) -> DailySeries | None:
    """The new figures without those that the old record has; None where none is left."""
    import numpy as np

    if old is None:
        return new
    parts = {}
    for name in _MEASURED:
        values = getattr(new, name).copy()
        first, last = max(old.start, new.start), min(old.end, new.end)
        if first <= last:
            here = np.s_[(first - new.start).days : (last - new.start).days + 1]
            there = np.s_[(first - old.start).days : (last - old.start).days + 1]
            values[here][~np.isnan(getattr(old, name)[there])] = np.nan
        parts[name] = values
    # One temperature of a model beside a measured other one could cross it: both or neither.
    either = np.isnan(parts["temperature_min_c"]) | np.isnan(parts["temperature_max_c"])
    for name in ("temperature_min_c", "temperature_max_c"):
        parts[name][either] = np.nan
    return replace(new, **parts) if any(not np.isnan(values).all() for values in parts.values()) else None


def _days_with_figures(series: DailySeries) -> frozenset[date]:
    import numpy as np

    known = np.zeros(series.days, dtype=np.bool_)
    for name in _MEASURED:
        known |= ~np.isnan(getattr(series, name))
    return frozenset(series.day(int(index)) for index in np.flatnonzero(known))


def append_bytes(
    path: Path, name: str, body: bytes, *, columns: Mapping[str, Any] | None = None, anyway: bool = False
) -> AppendReport:
    """Read a station's file and carry the record on with it; `SourceError` where it looks wrong."""
    from mulchwright.weather.feed import doubt_against_normals

    with open_book(path) as book:
        garden, remembered = book.garden(), book.series_mapping()
        normals = climate_normals(garden, book.series())
    series, mapping, doubts = read_station_bytes(
        name, body, remembered, columns=columns, latitude_deg=garden.place.latitude_deg
    )
    doubt = doubt_against_normals(series, normals)
    doubts = (*doubts, *((f"{name}: {doubt}",) if doubt else ()))
    if doubts and not anyway:
        raise SourceError(f"{' '.join(doubts)} Nothing was taken.")
    report = merge(path, series, mapping)
    assert report is not None  # measured days are always laid over the record
    return report


def climate_normals(garden: Garden, series: DailySeries | None) -> ClimateNormals | None:
    """The garden's normals, or the record's own where it is long enough for them."""
    from mulchwright.weather import governing_normals, normals_of

    normals = governing_normals(garden.normals, series)
    if normals is not None or series is None:
        return normals
    try:
        return normals_of(series)
    except InputError:
        return None


def append_words(report: AppendReport, show: Callable[[str, float], str]) -> str:
    """What became of the record, as sentences. show : a quantity's figure in the grower's units."""
    from mulchwright.weather import spell_out

    if report.nothing_new:
        return (
            f"Nothing new: all of {spell_out(report.first)} to {spell_out(report.last)} was in the record "
            "already."
        )
    said = []
    if report.added:
        said.append(f"{report.added} day{'s' if report.added > 1 else ''} added")
    if report.filled:
        said.append(f"{report.filled} missing figure{'s' if report.filled > 1 else ''} filled")
    if report.differences:
        one = report.differences[0]
        label = {"rain_mm": "rain", "temperature_min_c": "low", "temperature_max_c": "high"}.get(
            one.quantity, one.quantity.split("_")[0]
        )
        count = len(report.differences)
        said.append(
            f"{count} figure{'s' if count > 1 else ''} replaced (the first: {label} of {spell_out(one.day)}, "
            f"{show(one.quantity, one.old)} before, {show(one.quantity, one.new)} now)"
        )
    text = f"{'; '.join(said)}; up to {spell_out(report.last)}."
    text = text[0].upper() + text[1:]
    if report.gap_days:
        text += f" {report.gap_days} days between the record and this file are known to neither."
    if not report.same_station:
        text += f" It is of another station ({report.new_station}) than the record ({report.old_station})."
    return text


def plain_figure(quantity: str, value: float) -> str:
    return f"{value:.1f} {'mm' if quantity == 'rain_mm' else '°C'}"
