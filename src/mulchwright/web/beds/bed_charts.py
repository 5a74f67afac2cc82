"""The charts of a bed's page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from mulchwright import units
from mulchwright.garden import Garden, LogEntry, LogKind, Patch
from mulchwright.web.beds.bed_view import indices_of, log_of, shown_months, window
from mulchwright.web.views import charts
from mulchwright.web.views import wording as words
from mulchwright.web.views.chart_parts import Amount, DayBand, Frame, Mark
from mulchwright.web.views.logbook_wording import log_words
from mulchwright.web.views.palette import Scheme

if TYPE_CHECKING:
    from mulchwright.almanac import Band, MonthAmount, PatchOutlook
    from mulchwright.trade import Trade


CHARTS = ("moisture", "temperature", "run", "crop", "water")


def chart_spec(
    name: str,
    garden: Garden,
    bed_outlook: PatchOutlook,
    trade: Trade,
    today: date,
    *,
    width: int,
    scheme: Scheme,
) -> dict[str, Any]:
    """The Vega-Lite spec of one chart of the bed page; `KeyError` for a name not in `CHARTS`."""
    first, last = window(bed_outlook, today)
    frame = Frame(width, scheme, first, last, today)
    system = garden.units.value
    species = trade.species[bed_outlook.patch.species]
    log = log_of(garden, bed_outlook.patch.key)
    builders: dict[str, Callable[[], dict[str, Any]]] = {
        "moisture": lambda: _moisture_spec(frame, bed_outlook, trade, log, system),
        "temperature": lambda: _temperature_spec(frame, bed_outlook, species, system),
        "run": lambda: charts.band_chart(
            frame, _days(bed_outlook, bed_outlook.run_share, today, lambda v: 100 * v), name="run",
            token="threads",
            domain=(0, 120), ticks=(0, 50, 100), unit=" %", height=170, show=lambda v: f"{v:.0f} % colonized",
            tick_words="datum.value == 0 ? 'none' : datum.value == 50 ? 'half' : 'all'",
            marks=[
                Mark(e.day, log_words(e, system), 100 * e.share if e.share is not None else None)
                for e in log if e.kind in (LogKind.LOOKED, LogKind.BUILT)
            ],
        ),
        "crop": lambda: _amount_spec(
            frame, bed_outlook.picked_kg, bed_outlook.patch, "crop", "plum", system, mass=True
        ),
        "water": lambda: _amount_spec(
            frame, bed_outlook.watered_litres, bed_outlook.patch, "water", "water", system, mass=False
        ),
    }  # fmt: skip
    return builders[name]()


def _days(
    bed_outlook: PatchOutlook, band: Band, today: date, scale: Callable[[float], float], rain: float = 1.0
) -> list[DayBand]:
    measured = min(bed_outlook.measured_days, bed_outlook.today_index + 1)
    return [
        DayBand(
            day=bed_outlook.start + timedelta(days=i),
            p10=scale(float(band.p10[i])),
            p25=scale(float(band.p25[i])),
            p50=scale(float(band.p50[i])),
            p75=scale(float(band.p75[i])),
            p90=scale(float(band.p90[i])),
            measured=i < measured,
            rain=float(bed_outlook.rain_mm[i]) * rain if i < measured else 0.0,
        )
        for i in indices_of(bed_outlook, today)
    ]


def _moisture_spec(
    frame: Frame, bed_outlook: PatchOutlook, trade: Trade, log: list[LogEntry], system: str
) -> dict[str, Any]:
    moistures = bed_outlook.moisture_limits
    rain_unit, mm = units.plain_unit("water_depth", system)
    days = _days(bed_outlook, bed_outlook.moisture, frame.today, lambda v: 100 * v, 1 / mm)
    low = min((day.p10 for day in days if math.isfinite(day.p10)), default=40.0)
    bottom = 10 * math.floor(min(low - 6, 100 * moistures.low - 5) / 10)  # room for words below the band
    return charts.moisture_chart(
        frame, days, domain=(bottom, 90), ticks=list(range(int(bottom), 91, 20)),
        good=(100 * moistures.low, 100 * moistures.high, "good for growth"),
        marks=[
            Mark(e.day, log_words(e, system)) for e in log if e.kind is LogKind.WATERED
        ],
        rain_unit=rain_unit,
    )  # fmt: skip


def _temperature_spec(frame: Frame, bed_outlook: PatchOutlook, species: Any, system: str) -> dict[str, Any]:
    def shown(celsius: float) -> float:
        return units.plain_temperature(celsius, system)

    days = _days(bed_outlook, bed_outlook.temperature_c, frame.today, shown)
    lows = [day.p10 for day in days if math.isfinite(day.p10)] or [shown(0)]
    highs = [day.p90 for day in days if math.isfinite(day.p90)] or [shown(25)]
    step = 20 if system == units.US else 10
    bottom, top = step * math.floor((min(lows) - 1) / step), step * math.ceil((max(highs) + 1) / step)
    good = (
        shown(species.pin_temperature_min_c.likely),
        shown(species.pin_temperature_max_c.likely),
        "pins form",
    )
    return charts.band_chart(
        frame, days, name="temperature", token="warmth", domain=(bottom, top),
        ticks=list(range(bottom, top + 1, step)),
        unit="°", show=lambda v: f"{v:.0f} °F" if system == units.US else f"{v:.0f} °C",
        good=(max(good[0], bottom), min(good[1], top), good[2]),
    )  # fmt: skip


def _amount_spec(
    frame: Frame, amounts: Sequence[MonthAmount], patch: Patch, name: str, token: str, system: str,
    *, mass: bool,
) -> dict[str, Any]:  # fmt: skip
    unit, ours = units.plain_unit("mass" if mass else "volume", system)
    per = 1 / ours
    shown = [
        Amount(m.month, m.p10 * per, m.p50 * per, m.p90 * per)
        for m in shown_months(amounts, patch, frame.today)
    ]
    return charts.amount_chart(
        frame, shown, name=name, token=token, unit=unit, show=lambda value: words.two_figures(value, unit),
    )  # fmt: skip
