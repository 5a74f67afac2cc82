"""Choosing a public weather service: one click allows what was shown and asks for the first forecast."""

from __future__ import annotations

from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.errors import InputError
from mulchwright.services import weather_consent, weather_feed, weather_offers
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.weather.weather import back, feed_now, only_here, view


@posted_form
def get_forecasts(request: Request, typed: dict[str, str]) -> Response:
    """Choose the services that were marked, allow exactly what was shown of them, and ask once."""
    only_here(request)
    context = context_of(request)
    path, state = context.library.path, context.library.state()
    source = weather_feed.source_of(path)
    key = typed.get("services", "")
    found = weather_offers.offers(state.garden, state.series, state.today, source)
    offer = next((one for one in found if one.key == key), None)
    if offer is None:
        return view(request, typed=typed, errors={"services": "Choose one of the services first."})
    if typed.get(f"shown {key}", "") != offer.shown:
        raise InputError(
            "What would be sent has changed since you were shown it, so nothing was sent. Load the Weather "
            "page again, read it, and choose then."
        )
    try:
        weather_consent.switch_on(path, replace(source, services=key))
    except InputError as error:
        return view(request, typed=typed, errors={error.field or "services": str(error)})
    return feed_now(request)


@posted_form
def set_details(request: Request, typed: dict[str, str]) -> Response:
    """Keep how coordinates are rounded and the contact; what is sent then is shown before it is sent."""
    only_here(request)
    path = context_of(request).library.path
    before = weather_feed.source_of(path)
    source = replace(
        before, decimals=typed.get("decimals", "1"), contact=typed.get("contact", "").strip(), on=False
    )
    if source == replace(before, on=False):
        return back(fragment="#services")
    try:
        weather_feed.save_source(path, source)
    except InputError as error:
        return view(request, typed=typed, errors={error.field or "contact": str(error)})
    return back(
        "Saved. Nothing is sent until you choose a service again." if before.on else "Saved.", "#services"
    )
