"""What all handlers share: the book, the services, the templates, and the frame of a page."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
)

from mulchwright.garden import Garden
from mulchwright.services.clock import time_in
from mulchwright.services.jobs import JobQueue
from mulchwright.services.library import BookState, Library
from mulchwright.services.outlook_archive import keep_weekly
from mulchwright.services.outlooks import Engine, OutlookService, Progress
from mulchwright.services.reviews import Reviews
from mulchwright.services.weather_updates import WeatherUpdates
from mulchwright.trade import Trade, load_trade
from mulchwright.units import write_days_for
from mulchwright.version import __version__
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.phones import HomeNetwork, HomeSwitch
from mulchwright.web.shared.sections import SECTIONS, section_of
from mulchwright.web.views import wording as words
from mulchwright.web.views.terms import trade_term

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook, RunSettings
    from mulchwright.services.library import BookState
    from mulchwright.trade import Trade


_LOG = logging.getLogger("mulchwright.web")


PATIENCE_S = 0.35
"""How long a page waits for an outlook that is nearly done before it shows what is known."""

PREPARING = "Preparing the engine for this computer (once). The forecast comes right after."


class AppContext:
    """What the handlers share: the book, the engine, the chart bundle and the templates."""

    def __init__(
        self, book: Path, engine: Engine, bundle: ChartBundle, today: Callable[[], date] | None,
        *, new: bool = False, home: HomeNetwork | None = None, clock: Callable[[], datetime] | None = None,
    ) -> None:  # fmt: skip
        self.home_switch = HomeSwitch(home)
        self.library = Library(book, self.now, lambda garden: write_days_for(garden.units.value))
        self.jobs = JobQueue()
        self.outlook_service = OutlookService(
            engine, self.jobs, finished=lambda today_cache: keep_weekly(self.library, today_cache)
        )
        self.reviews = Reviews(book, lambda: self.trade)
        self.weather = WeatherUpdates(book, self.today)
        self._engine = engine
        self.secret = secrets.token_hex(16)
        self.new = new
        self.bundle = bundle
        self._today = today
        self._clock = clock or (lambda: datetime.now(UTC))
        self._templates = Environment(
            loader=PackageLoader("mulchwright.web"),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=StrictUndefined,
        )
        self.preparing: Callable[[], bool] = lambda: bool(getattr(engine, "preparing", False))
        self._templates.globals["trade_term"] = trade_term
        self._templates.globals["preparing"] = lambda: PREPARING if self.preparing() else ""

    @property
    def home(self) -> HomeNetwork | None:
        """Where paired phones come in; None while the book is open to this machine only."""
        return self.home_switch.home

    @property
    def trade(self) -> Trade:
        """What the trade knows; read once."""
        return load_trade()

    def state_if_any(self) -> BookState | None:
        """The book as it is now; None where it is not made yet."""
        return None if self.new and not self.library.path.exists() else self.library.state()

    def today(self, garden: Garden) -> date:
        """The day it is in the garden: the one it stands at, or that of its own time zone."""
        return self.now(garden).date()

    def now(self, garden: Garden) -> datetime:
        """The time it is in the garden, in its own time zone: the time of day, on the day of `today`.

        Gardens that stand at a day have this time on that day.
        """
        held = self._today if garden.stands_at is None else None
        return time_in(garden, self._clock(), held() if held else None)

    def progress(self, state: BookState, *, patience_s: float = PATIENCE_S) -> Progress:
        """How the outlook of this state stands."""
        return self.outlook_service.outlook(state, state.today, patience_s=patience_s)

    def run_settings(self, state: BookState) -> RunSettings:
        """How a bed is tried in this garden so that its figures agree with the garden's own outlook.

        Members and seed as the outlook has them, the same forecast, and what was learned before.
        """
        from mulchwright.almanac import RunSettings

        given = {
            name: value
            for name in ("members", "seed", "memory")
            if (value := getattr(self._engine, name, None)) is not None
        }
        return RunSettings(forecast=state.forecast, **given)

    def bed_outlook(self, state: BookState, key: str) -> PatchOutlook | None:
        """One bed's outlook if it is ready, or the last one until it is."""
        outlook = self.progress(state).shown
        return next((p for p in outlook.patches if p.patch.key == key), None) if outlook else None

    def render(self, template: str, **values: Any) -> str:
        """A template filled in."""
        return self._templates.get_template(template).render(**values)

    def page(
        self, request: Request, template: str, state: BookState | None, *, status: int = 200, **values: Any
    ) -> HTMLResponse:
        """A whole page with the frame that all share; its address says which section it belongs to."""
        garden = state.garden if state else None
        section = section_of(request.url.path)
        self.weather.nudge()
        frame = {
            "garden": garden,
            "system": garden.units.value if garden else "metric",
            "sections": SECTIONS,
            "back": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
            "version": __version__,
            "today": state.today if state else None,
            "waiting": False,
            "day": words.day,
            "over_home": bool(getattr(request.state, "over_home", False)),
        }
        belongs = {
            "section": section.key if section else "",
            "section_pages": section.pages if section else (),
        }
        return HTMLResponse(self.render(template, **(frame | values | belongs)), status)


def context_of(request: Request) -> AppContext:
    """What all handlers share."""
    return cast("AppContext", request.app.state.context)
