"""More: the way to all that an owner needs a few times a year."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.web.shared.context import context_of


@dataclass(frozen=True, slots=True)
class Way:
    """One page: where it is, its name, and what it is for in a sentence."""

    path: str
    name: str
    use: str


@dataclass(frozen=True, slots=True)
class Group:
    """Pages that belong together under a heading."""

    key: str
    heading: str
    ways: tuple[Way, ...]


GROUPS = (
    Group("book", "Your garden book", (
        Way("/search", "Search", "Find a bed, a lot, a logbook entry or a word."),
        Way("/changes", "Last changes", "See what was changed, and undo it."),
        Way("/backups", "Backups and export", "Make a copy, or take your data elsewhere."),
    )),
    Group("weather", "Weather", (
        Way("/weather", "Weather", "Enter your readings, bring in a record, get forecasts."),
        Way("/year/how-good", "Forecast scores", "How close past forecasts came."),
    )),
    Group("devices", "Phones and calendars", (
        Way("/phones", "Phones", "Use Mulchwright beside the bed, from phones in your home."),
        Way("/now/calendar", "Calendar feed", "Put waterings, looks and builds on your own calendar."),
    )),
    Group("garden", "Garden settings", (
        Way("/ground/look", "Appearance rules", "What your town or association allows in a front yard."),
        Way("/stores/sharing", "Share an order", "Split one order with neighbors, to the cent."),
    )),
)  # fmt: skip


def page(request: Request) -> Response:
    """The list of what is not needed every day, and the units."""
    context = context_of(request)
    return context.page(request, "more/more.html", context.library.state(), groups=GROUPS)
