"""Which public services are offered for a garden, and the words that go with each."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import open_book
from mulchwright.services import weather_feed
from mulchwright.services.consent import fingerprint

if TYPE_CHECKING:
    from mulchwright.garden import Garden, Place
    from mulchwright.services.weather_feed import Source
    from mulchwright.weather import DailySeries
    from mulchwright.weather.public.protocol import Facts


@dataclass(frozen=True, slots=True)
class Offer:
    """A choice of services: its key, its services, and all that would be asked and sent if it were chosen.

    lacks_contact : a service in it wants a contact that was not given. shown : proof of what was shown.
    """

    key: str
    name: str
    services: tuple[Facts, ...]
    addresses: tuple[str, ...]
    sent: tuple[str, ...]
    shown: str
    lacks_contact: bool


def country_of(place: Place) -> str:
    """The country (ISO 3166) of the town nearest to the garden: near a border it may be the neighbor's."""
    from mulchwright.places import nearest_town

    return nearest_town(place.latitude_deg, place.longitude_deg)[0].country_code


def offers(garden: Garden, series: DailySeries | None, today: date, source: Source) -> tuple[Offer, ...]:
    """What is offered in the garden's country, the first choice first; the one in use is among them."""
    from mulchwright.weather.public.catalog import offers_for, services_named

    keys = list(offers_for(country_of(garden.place)))
    if source.services and source.services not in keys:
        keys.append(source.services)
    first, last = weather_feed.days_to_ask(garden, series, today)
    found = []
    for key in keys:
        chosen = replace(source, services=key)
        facts = tuple(service.facts for service in services_named(key))
        found.append(
            Offer(
                key=key,
                name=" and ".join(one.name for one in facts),
                services=facts,
                addresses=weather_feed.asked_address(chosen, garden, first, last),
                sent=weather_feed.sentences_of_what_is_sent(chosen),
                shown=fingerprint(weather_feed.fetch_terms(chosen, garden.place)),
                lacks_contact=not source.contact and any(one.needs_contact for one in facts),
            )
        )
    return tuple(found)


def credits_in(path: Path) -> tuple[Facts, ...]:
    """The services whose data are in a book: their terms want to be named wherever the data are shown."""
    from mulchwright.weather.public.catalog import SERVICES

    with open_book(path) as book:
        keys = (book.setting(weather_feed.USED) or "").split("+")
    return tuple(service.facts for key, service in SERVICES.items() if key in keys)
