"""What every public service's reader offers, so that one place can ask them all.

A reader says which addresses it would ask (`addresses`, shown before anything is sent) and reads what `ask`
brings (`fetch`). It opens no connection, knows no clock and holds no state.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Protocol

from mulchwright.errors import SourceError
from mulchwright.garden import Place
from mulchwright.weather.feed import Fetched

__all__ = ["Ask", "Facts", "PublicService", "Refused", "Spot", "spot_of"]


class Refused(SourceError):
    """The service answered, and with a refusal. status : the HTTP status. said : its own words, if any."""

    def __init__(self, message: str, status: int, said: str = "") -> None:
        super().__init__(message)
        self.status, self.said = status, said


@dataclass(frozen=True, slots=True)
class Facts:
    """Who runs a service, what it brings, and the terms of its data.

    countries : where it has data, by ISO 3166 code; empty for the whole world. forecasts, measures : what it
    brings. models : its past days are a model's, not measured. needs_contact : its terms ask for a way to
    reach whoever asks. sends : what of the garden leaves this machine, in words. credit : the line its terms
    ask to be shown, with its link, and the license.
    """

    key: str
    name: str
    host: str
    brings: str
    sends: str
    credit: str
    credit_link: str
    license: str
    license_link: str
    forecasts: bool
    measures: bool
    countries: frozenset[str] = frozenset()
    models: bool = False
    needs_contact: bool = False
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Spot:
    """The garden as it is told to a service: rounded, and as texts.

    latitude, longitude : degrees to one or two decimals without trailing zeros, which some services redirect.
    elevation : whole meters. timezone : its name, which sets the days. place and zone stay on this machine.
    """

    latitude: str
    longitude: str
    elevation: str
    timezone: str
    place: Place
    zone: tzinfo


def spot_of(place: Place, zone: tzinfo, *, decimals: int = 1) -> Spot:
    """The garden's place rounded to so many decimals of a degree (1: some 10 km; 2: some 1 km)."""

    def short(value: float) -> str:
        text = f"{value:.{decimals}f}".rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text

    return Spot(
        short(place.latitude_deg), short(place.longitude_deg), f"{round(place.elevation_m)}", place.timezone,
        place, zone,
    )  # fmt: skip


class Ask(Protocol):
    """Brings the answer to one request; the services' side decides whether it may be sent at all."""

    def __call__(
        self, step: str, address: str, *, said: Callable[[bytes], str], accept: str = "application/json"
    ) -> bytes | None:
        """The bytes, or None where nothing new is to be had: unchanged, still valid, or asked just before.

        step : which of the service's requests this is. said : reads the service's words in a refusal's body.
        `Refused` and other `SourceError`s as they come.
        """

    def recall(self, name: str) -> str | None:
        """What an earlier answer told and is worth keeping, or None."""

    def keep(self, name: str, text: str | None) -> None:
        """Keep a text for some weeks; None forgets it."""


class PublicService(Protocol):
    """One service: what it is, what it would be asked, and what it brings."""

    @property
    def facts(self) -> Facts:
        """Who runs it, and its terms."""

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The addresses that would be asked for days from `first` on; a later step's is told in braces."""

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """Days from `first` to the day before `today`, and the forecast, as far as the service has them."""
