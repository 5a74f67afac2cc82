"""The services by key, and which are offered first in which country."""

from __future__ import annotations

from collections.abc import Mapping

from mulchwright.weather.public.bright_sky import BrightSky
from mulchwright.weather.public.eccc import ClimateDaily
from mulchwright.weather.public.metno import METNorway
from mulchwright.weather.public.ncei import DailySummaries
from mulchwright.weather.public.nws import NationalWeatherService
from mulchwright.weather.public.open_meteo import OpenMeteo
from mulchwright.weather.public.protocol import PublicService

__all__ = ["SERVICES", "offers_for", "services_named"]

_ALL: tuple[PublicService, ...] = (
    NationalWeatherService(), DailySummaries(), METNorway(), OpenMeteo(), BrightSky(), ClimateDaily(),
)  # fmt: skip
SERVICES: Mapping[str, PublicService] = {service.facts.key: service for service in _ALL}

NORDIC = frozenset({"NO", "SE", "FI", "DK", "IS", "FO", "GL", "SJ", "AX"})
"""Where MET Norway runs its own fine model."""
_WORLD = ("open-meteo", "met-norway+ncei")


def offers_for(country_code: str) -> tuple[str, ...]:
    """What is offered in a country, the first choice first; each is the keys of its services, joined by +.

    The order: national service with its own stations, then what covers the whole world.
    """
    if country_code in SERVICES["nws"].facts.countries:
        return ("nws+ncei", *_WORLD)
    if country_code == "DE":
        return ("bright-sky", *_WORLD)
    if country_code == "CA":
        return ("open-meteo+eccc", "met-norway+eccc", "open-meteo")
    if country_code in NORDIC:
        return ("met-norway+ncei", "open-meteo")
    return _WORLD


def services_named(text: str) -> tuple[PublicService, ...]:
    """The services of keys joined by +; none at all where one of them is not known or stands twice."""
    keys = text.split("+") if text else []
    if len(set(keys)) != len(keys) or any(key not in SERVICES for key in keys):
        return ()
    return tuple(SERVICES[key] for key in keys)
