"""The local web app over one garden book: its addresses, its guards and its life.

Handlers are plain functions (the server runs them in threads), because they read a file. Every page works
without scripts; the modules in `static/` only spare the reader a click and a wait.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextlib import asynccontextmanager
from datetime import date, datetime
from importlib import resources
from pathlib import Path
from typing import Any, cast

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from mulchwright.book import open_book
from mulchwright.errors import MulchwrightError
from mulchwright.services.outlooks import AlmanacEngine, Engine
from mulchwright.web.routes import routes
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.context import _LOG, AppContext
from mulchwright.web.shared.errors import broken, not_there, refused
from mulchwright.web.shared.guard import LOOPBACK_HOSTS, FaultPages, Guard
from mulchwright.web.shared.phones import HomeNetwork, PairingGate


def create_app(
    book_path: str | Path,
    *,
    new: bool = False,
    engine: Engine | None = None,
    bundle: ChartBundle | None = None,
    today: Callable[[], date] | None = None,
    hosts: Iterable[str] = LOOPBACK_HOSTS,
    home: HomeNetwork | None = None,
    clock: Callable[[], datetime] | None = None,
) -> Starlette:
    """The app over one garden book.

    new : the book is not there yet; its first step makes it.
    engine, bundle, today, clock : other than the usual ones for tests; clock tells the time with its zone.
    hosts : names this server answers to.
    home : its address in the home network, where paired phones may come in; None for this machine only.
    Raises `BookError` at once when the book cannot be opened, so that a command can say so.
    """
    path = Path(book_path)
    if not new or path.exists():
        with open_book(path):
            pass
    context = AppContext(
        path, engine or AlmanacEngine(), bundle or ChartBundle(), today, new=new, home=home, clock=clock
    )  # fmt: skip

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        context.bundle.start()
        context.weather.start()
        try:
            if path.exists():
                context.progress(context.library.state(), patience_s=0.0)
        except MulchwrightError as error:
            _LOG.warning("%s", error)
        yield
        context.jobs.close()
        context.weather.close()

    static = resources.files("mulchwright.web").joinpath("static")
    app = Starlette(
        routes=[
            *routes(),
            Mount("/static", StaticFiles(directory=str(static)), name="static"),
        ],
        middleware=[
            Middleware(
                Guard, hosts=frozenset(hosts), arrived=context.home_switch.arrived,
                home=lambda: context.home.address if context.home else "",
            ),
            Middleware(FaultPages, page=broken),
            Middleware(PairingGate, switch=context.home_switch),
        ],
        exception_handlers=cast("Mapping[Any, Any]", {
            HTTPException: not_there, MulchwrightError: refused,
        }),
        lifespan=lifespan,
    )  # fmt: skip
    app.state.context = context
    return app
