"""Public weather services on the weather page: offers, what is sent, whose data are shown, and scores."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import open_book
from mulchwright.services import forecast_log, weather_offers
from mulchwright.units import US
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.services.weather_consent import Wish
    from mulchwright.services.weather_feed import Source
    from mulchwright.services.weather_offers import Offer
    from mulchwright.weather.forecast_scores import LeadScore
    from mulchwright.weather.public.protocol import Facts

FEWEST_SCORED = 5
"""Fewer days than this say nothing worth a table."""
CELSIUS_PER_FAHRENHEIT = 5 / 9


@dataclass(frozen=True, slots=True)
class PublicWeather:
    """The section about public services.

    on : chosen and allowed here. names : the services in use. offers : what can be chosen, the first choice
    first. chosen : key of the one that is marked. credits : whose data the page shows.
    """

    on: bool
    names: str
    offers: tuple[Offer, ...]
    chosen: str
    credits: tuple[Facts, ...]


def public_weather(path: Path, state: BookState, source: Source, wish: Wish | None) -> PublicWeather:
    """What the section shows for the book as it is."""
    found = weather_offers.offers(state.garden, state.series, state.today, source)
    on = bool(source.services) and wish is not None and wish.allowed
    in_use = next((one for one in found if one.key == source.services), None)
    return PublicWeather(
        on=on,
        names=in_use.name if in_use is not None else "",
        offers=found,
        chosen=source.services or next((one.key for one in found if not one.lacks_contact), found[0].key),
        credits=weather_offers.credits_in(path),
    )


@dataclass(frozen=True, slots=True)
class ForecastScores:
    """How far forecasts missed: a sentence, what that changes, and the table, if any."""

    answer: str
    used: str
    table: Table | None


def forecast_scores(path: Path, state: BookState) -> ForecastScores | None:
    """The scores of the book's forecasts; None where the book has no forecast."""
    with open_book(path) as book:
        scores = forecast_log.scores_in(book, state.garden, state.series)
    if not scores:
        return None
    most = max(max(score.temperatures, score.rains) for score in scores)
    if most < FEWEST_SCORED:
        kept = f"{most} day{'' if most == 1 else 's'}" if most else "No day yet"
        return ForecastScores(
            f"Too few to tell. {kept} can be compared with what was measured.",
            "The outlook uses the usual errors of forecasts until then.",
            None,
        )
    system = state.garden.units.value
    return ForecastScores(_answer(scores, system), _used(scores), _table(scores, system))


def _degrees(kelvin: float, system: str, *, signed: bool = False) -> str:
    if math.isnan(kelvin):
        return ""
    value = kelvin / CELSIUS_PER_FAHRENHEIT if system == US else kelvin
    return f"{value:{'+' if signed else ''}.1f} °{'F' if system == US else 'C'}"


def _answer(scores: tuple[LeadScore, ...], system: str) -> str:
    first = scores[0]
    parts = []
    if first.temperatures:
        parts.append(
            f"One day ahead, temperatures were typically off by {_degrees(first.temperature_rmse_c, system)}"
        )
    if first.rains:
        parts.append(
            f"rain or no rain was right on {round(first.rain_agreed * first.rains)} of {first.rains} days"
        )
    text = "; ".join(parts)
    return (
        f"{text[:1].upper()}{text[1:]}." if text else "Forecasts further ahead were compared; see the table."
    )


def _used(scores: tuple[LeadScore, ...]) -> str:
    first = scores[0]
    warm, wet = round(100 * first.temperature_share), round(100 * first.rain_share)
    return (
        f"These scores make up {warm} % of the temperature range that the outlook uses for tomorrow and "
        f"{wet} % of its trust in the rain; the rest is what forecasts usually miss. The share grows with "
        "each day compared."
    )


def _table(scores: tuple[LeadScore, ...], system: str) -> Table:
    rows = tuple(
        (
            str(score.lead),
            str(score.temperatures),
            _degrees(score.temperature_rmse_c, system),
            _degrees(score.temperature_bias_c, system, signed=True),
            _degrees(score.temperature_sd_c, system),
            str(score.rains),
            "" if math.isnan(score.rain_agreed) else f"{100 * score.rain_agreed:.0f} %",
            f"{100 * score.rain_trust:.0f} %",
        )
        for score in scores
    )
    return Table(
        "Forecasts against what was measured, by days ahead",
        (
            "days ahead", "days compared", "typical miss", "too warm (+) or cold", "range used",
            "rain compared", "rain or none right", "futures that trust the rain",
        ),
        rows,
    )  # fmt: skip
