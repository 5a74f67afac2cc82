"""The local web app: routes, and the few lines that turn a request into a page.

Handlers are plain functions (the server runs them in threads), because they read a file. Every page works
without scripts; the modules in `static/` only spare the reader a click and a wait.
"""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from mulchwright import __version__
from mulchwright.book import BookConflict, open_book
from mulchwright.desk import (
    bed,
    calendar_feed,
    choose,
    diagnosis,
    logbook,
    look,
    now,
    pairing_pages,
    picking,
    renewal,
    review,
    scores,
    spots,
    start,
    stores_pages,
    sun,
    weather,
    whatif,
    words,
)
from mulchwright.desk import plan as ground
from mulchwright.desk.bundle import ChartBundle
from mulchwright.desk.errands import Errands
from mulchwright.desk.guard import LOOPBACK_HOSTS, FaultPages, Guard
from mulchwright.desk.kept import zone_of
from mulchwright.desk.light import lit_if_kept
from mulchwright.desk.looks import SCHEMES
from mulchwright.desk.numbers import chart_width, revision_of
from mulchwright.desk.pairing_pages import HomeDoor, PairingGate
from mulchwright.desk.reckoning import AlmanacEngine, BookState, Engine, Library, Progress, Reckoner
from mulchwright.desk.running import PROOF_PATH, proof_of
from mulchwright.desk.weather_keeper import WeatherKeeper
from mulchwright.errors import BookError, InputError, MulchwrightError
from mulchwright.garden import Garden, Patch, Stage, UnitSystem
from mulchwright.trade import load_trade

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook
    from mulchwright.trade import Trade

__all__ = ["DOORS", "Door", "create_app"]

_LOG = logging.getLogger("mulchwright.desk")
PATIENCE_S = 0.35
"""How long a page waits for an outlook that is nearly done before it shows what is known."""
NARROWEST, WIDEST = 240, 1400


@dataclass(frozen=True, slots=True)
class Door:
    """One of the five doors of the program, shown once the room behind it exists."""

    key: str
    name: str
    path: str
    built: bool


DOORS = (
    Door("now", "Now", "/now", True),
    Door("ground", "Ground", "/ground", True),
    Door("beds", "Beds", "/beds", True),
    Door("stores", "Stores", "/stores", True),
    Door("year", "Year", "/year", True),
)


class Desk:
    """What the handlers share: the book, the reckoner, the chart bundle and the templates."""

    def __init__(
        self, book: Path, engine: Engine, bundle: ChartBundle, today: Callable[[], date] | None,
        *, new: bool = False, home: HomeDoor | None = None, clock: Callable[[], datetime] | None = None,
    ) -> None:  # fmt: skip
        self.home = home
        self.library = Library(book)
        self.reckoner = Reckoner(engine, finished=lambda told: scores.keep_weekly(self.library, told))
        self.errands = Errands()
        self.reviews = review.Reviews()
        self.weather = WeatherKeeper(book, self.today)
        self.members: int | None = getattr(engine, "members", None)
        self.secret = secrets.token_hex(16)
        self.new = new
        self.bundle = bundle
        self._today = today
        self._clock = clock or (lambda: datetime.now(UTC))
        self._templates = Environment(
            loader=PackageLoader("mulchwright.desk"),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=StrictUndefined,
        )

    @property
    def trade(self) -> Trade:
        """What the trade knows; read once."""
        return load_trade()

    def state_if_any(self) -> BookState | None:
        """The book as it is now; None where it is not made yet."""
        return None if self.new and not self.library.path.exists() else self.library.state()

    def today(self, garden: Garden) -> date:
        """The day it is in the garden: the one it stands at, or that of its own time zone."""
        if garden.stands_at is not None:
            return garden.stands_at
        if self._today is not None:
            return self._today()
        return self._clock().astimezone(zone_of(garden)).date()

    def now(self, garden: Garden) -> datetime:
        """The time it is in the garden, in its own time zone: the time of day, on the day of `today`.

        Gardens that stand at a day have this time on that day.
        """
        return datetime.combine(self.today(garden), self._clock().astimezone(zone_of(garden)).timetz())

    def progress(self, state: BookState, *, patience_s: float = PATIENCE_S) -> Progress:
        """How the outlook of this state stands."""
        return self.reckoner.outlook(state, self.today(state.garden), patience_s=patience_s)

    def told(self, state: BookState, key: str) -> PatchOutlook | None:
        """One bed's outlook if it is ready, or the last one until it is."""
        outlook = self.progress(state).shown
        return next((p for p in outlook.patches if p.patch.key == key), None) if outlook else None

    def render(self, template: str, **values: Any) -> str:
        """A template filled in."""
        return self._templates.get_template(template).render(**values)

    def page(
        self, request: Request, template: str, state: BookState | None, *, status: int = 200, **values: Any
    ) -> HTMLResponse:
        """A whole page with the frame that all share."""
        garden = state.garden if state else None
        self.weather.nudge()
        frame = {
            "garden": garden,
            "system": garden.units.value if garden else "metric",
            "doors": [door for door in DOORS if door.built],
            "door": "beds",
            "back": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
            "version": __version__,
            "today": self.today(garden) if garden else None,
            "waiting": False,
            "day": words.day,
            "over_home": bool(getattr(request.state, "over_home", False)),
        }
        return HTMLResponse(self.render(template, **(frame | values)), status)


def create_app(
    book_path: str | Path,
    *,
    new: bool = False,
    engine: Engine | None = None,
    bundle: ChartBundle | None = None,
    today: Callable[[], date] | None = None,
    hosts: Iterable[str] = LOOPBACK_HOSTS,
    home: HomeDoor | None = None,
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
    desk = Desk(
        path, engine or AlmanacEngine(), bundle or ChartBundle(), today, new=new, home=home, clock=clock
    )  # fmt: skip

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        desk.bundle.start()
        desk.weather.start()
        try:
            if path.exists():
                desk.progress(desk.library.state(), patience_s=0.0)
        except MulchwrightError as error:
            _LOG.warning("%s", error)
        yield
        desk.reckoner.close()
        desk.errands.close()
        desk.weather.close()

    static = resources.files("mulchwright.desk").joinpath("static")
    app = Starlette(
        routes=[
            Route("/", front),
            Route("/beds", beds),
            Route("/beds/{key}", one_bed),
            Route("/beds/{key}/charts/{name}", chart),
            Route("/beds/{key}/what-if", what_if_page),
            Route("/beds/{key}/what-if/told", what_if_told),
            Route("/beds/{key}/keep", keep, methods=["POST"]),
            Route("/beds/{key}/plan", plan, methods=["POST"]),
            *now.routes(),
            *calendar_feed.routes(),
            *diagnosis.routes(),
            *renewal.routes(),
            *scores.routes(),
            *review.routes(),
            *sun.routes(),
            *spots.routes(),
            *choose.routes(),
            *look.routes(),
            *start.routes(),
            *stores_pages.routes(),
            *weather.routes(),
            *pairing_pages.routes(),
            *logbook.routes(),
            *picking.routes(),
            *ground.routes(),
            Route("/units", set_units, methods=["POST"]),
            Route("/reckoning", reckoning),
            Route("/charts.js", charts_script),
            Route(PROOF_PATH, serving),
            Mount("/static", StaticFiles(directory=str(static)), name="static"),
        ],
        middleware=[
            Middleware(Guard, hosts=frozenset(hosts), home=home.address if home else ""),
            Middleware(FaultPages, page=broken),
            Middleware(PairingGate, home=home),
        ],
        exception_handlers=cast("Mapping[Any, Any]", {
            HTTPException: not_there, MulchwrightError: refused,
        }),
        lifespan=lifespan,
    )  # fmt: skip
    app.state.desk = desk
    return app


def _desk(request: Request) -> Desk:
    return cast("Desk", request.app.state.desk)


def _opened(request: Request) -> tuple[Desk, BookState, Patch]:
    """Desk, book state and the patch the address names; 404 when the garden has no such bed.

    A drawn bed has the plan's light where that is known already.
    """
    desk = _desk(request)
    state = lit_if_kept(desk.library.state())
    key = request.path_params["key"]
    patch = next((p for p in state.garden.patches if p.key == key), None)
    if patch is None:
        known = words.joined([p.name for p in state.garden.patches]) or "none yet"
        raise HTTPException(404, f"There is no bed “{key[:80]}” in this garden. Its beds: {known}.")
    return desk, state, patch


# ---- reading ----------------------------------------------------------------


def front(request: Request) -> Response:
    """To what today asks for, or to the beds while none is built; a book without any is led by the hand."""
    state = _desk(request).state_if_any()
    patches = state.garden.patches if state else ()
    if not patches:
        return RedirectResponse("/start", 307)
    built = any(patch.stage is Stage.BUILT for patch in patches)
    return RedirectResponse("/now" if built else "/beds", 307)


def beds(request: Request) -> Response:
    """The list of beds."""
    desk = _desk(request)
    state = desk.library.state()
    progress = desk.progress(state)
    rows = bed.bed_rows(state.garden, desk.trade, progress.shown, desk.today(state.garden))
    return desk.page(
        request, "beds.html", state, rows=rows, waiting=progress.under_way, share=progress.share,
        trouble=progress.trouble, earlier=progress.shown is not progress.outlook,
        weather=bed.weather_lines(progress.shown, desk.today(state.garden)) if progress.shown else (),
        record_state=weather.stale_words(weather.record_state(state, desk.today(state.garden))),
    )  # fmt: skip


def one_bed(request: Request) -> Response:
    """One bed's page."""
    desk, state, patch = _opened(request)
    progress = desk.progress(desk.library.state())
    today = desk.today(state.garden)
    shown = progress.shown_of(patch)
    page = bed.bed_page(state.garden, patch, desk.trade, shown, today, progress.trouble)
    form = whatif.form_of(patch, desk.trade, state.garden.units.value)
    return desk.page(
        request, "bed.html", state, bed=page, form=form, comparison=None, waiting=progress.under_way,
        share=progress.share, revision=state.revision, new_name=_new_name(state.garden, patch),
        earlier=shown is not progress.outlook,
        ground=look.bed_ground(state.garden, patch, desk.trade),
    )  # fmt: skip


def chart(request: Request) -> Response:
    """The spec of one chart with its data, for the width and color scheme asked for."""
    desk, state, patch = _opened(request)
    name = request.path_params["name"]
    scheme = request.query_params.get("scheme", "light")
    if name not in bed.CHARTS or scheme not in SCHEMES:
        raise HTTPException(404, "There is no such chart.")
    width = chart_width(request.query_params, NARROWEST, WIDEST)
    told = desk.told(state, patch.key)
    if told is None:
        raise HTTPException(404, "There is no outlook of this bed yet.")
    spec = bed.chart_spec(
        name, state.garden, told, desk.trade, desk.today(state.garden), width=width, scheme=scheme
    )
    return JSONResponse(spec)


def reckoning(request: Request) -> Response:
    """How far the outlook of the book has come, for pages that wait."""
    desk = _desk(request)
    progress = desk.progress(desk.library.state())
    return JSONResponse({"ready": not progress.under_way, "share": round(progress.share, 2)})


def serving(request: Request) -> Response:
    """For another start of the same book on this machine: the proof that this server has it open."""
    if getattr(request.state, "over_home", False):
        raise HTTPException(404)
    return PlainTextResponse(proof_of(_desk(request).secret))


def charts_script(request: Request) -> Response:
    """The chart library; 503 while it is being made, 404 where it cannot be."""
    bundle = _desk(request).bundle
    path = bundle.path()
    if path is None:
        return Response(status_code=404 if bundle.failed else 503, headers={"retry-after": "1"})
    return FileResponse(path, media_type="text/javascript")


# ---- what-if ----------------------------------------------------------------


def _typed(source: Iterable[tuple[str, Any]]) -> dict[str, str]:
    return {key: value for key, value in source if isinstance(value, str)}


@dataclass(frozen=True, slots=True)
class Tried:
    """A what-if as asked: the form with what was typed, and the comparison if it could be reckoned."""

    form: whatif.Form
    comparison: whatif.Comparison | None
    changed: Patch | None


def _try(desk: Desk, state: BookState, patch: Patch, typed: dict[str, str]) -> Tried:
    """Read the form and reckon; faults end up in the form's messages."""
    system, today = state.garden.units.value, desk.today(state.garden)
    changed, errors = whatif.read_form(patch, typed, desk.trade, system, today=today)
    comparison = None
    if changed is not None:
        garden = state.garden
        if patch.built_on is None:
            # Nothing to hold it against yet: before is the same bed as it stands, built on the same day.
            stand = replace(patch, built_on=changed.built_on)
            garden = replace(garden, patches=tuple(stand if p is patch else p for p in garden.patches))
        try:
            before, after = desk.reckoner.what_if(replace(state, garden=garden), changed, today)
            comparison = whatif.compare(garden, before, after, desk.trade, today)
        except InputError as error:
            errors = {error.field if error.field in typed else "form": str(error)}
    form = replace(whatif.form_of(patch, desk.trade, system, typed=typed), errors=errors)
    return Tried(form, comparison, changed)


def what_if_page(request: Request) -> Response:
    """The what-if as a page of its own, for readers without scripts and for bookmarks."""
    desk, state, patch = _opened(request)
    tried = _try(desk, state, patch, _typed(request.query_params.items()))
    return desk.page(
        request, "what_if.html", state, status=422 if tried.form.errors else 200, form=tried.form,
        comparison=tried.comparison, bed=_bare_page(desk, state, patch), revision=state.revision,
        new_name=_new_name(state.garden, patch), conflict=None,
    )  # fmt: skip


def what_if_told(request: Request) -> Response:
    """The comparison as a fragment with the messages by field, for the module that asks while one types."""
    desk, state, patch = _opened(request)
    tried = _try(desk, state, patch, _typed(request.query_params.items()))
    html = desk.render("comparison.html", comparison=tried.comparison) if tried.comparison else ""
    summary = tried.comparison.summary if tried.comparison else "Some of it cannot be reckoned as typed."
    return JSONResponse({"html": html, "errors": tried.form.errors, "summary": summary})


def _bare_page(desk: Desk, state: BookState, patch: Patch) -> bed.BedPage:
    return bed.bed_page(state.garden, patch, desk.trade, None, desk.today(state.garden))


def _new_name(garden: Garden, patch: Patch) -> str:
    """A free name for a plan that starts from this bed."""
    names = {p.name for p in garden.patches}
    tries = (f"{patch.name}, plan{'' if n == 1 else f' {n}'}" for n in range(1, 1000))
    return next(name for name in tries if name not in names)


# ---- writing ----------------------------------------------------------------


async def _form(request: Request) -> dict[str, str]:
    async with request.form(max_files=0, max_fields=200) as form:
        return _typed(form.multi_items())


async def keep(request: Request) -> Response:
    """Save a what-if as the plan of this bed: only while it is a plan."""
    typed = await _form(request)
    return await run_in_threadpool(_keep, request, typed)


def _keep(request: Request, typed: dict[str, str]) -> Response:
    desk, state, patch = _opened(request)
    if patch.stage is not Stage.PLANNED:
        raise InputError(
            f"“{patch.name}” is built, so its recipe is a record of what was laid and stays as it is. "
            "Save the change as a new plan instead."
        )
    system, today = state.garden.units.value, desk.today(state.garden)
    # The form was filled from the bed as it stood then; what it leaves out stays as it is now.
    changed, errors = whatif.read_form(patch, typed, desk.trade, system, today=today)
    if changed is None:
        return _what_if_again(request, desk, state, patch, typed, errors)
    before = revision_of(typed)
    revision = state.revision if before is None else before
    try:
        with open_book(desk.library.path) as book:
            book.save_patch(changed, expected_revision=revision)
    except BookConflict as conflict:
        lines = whatif.changes(patch, changed, desk.trade, system, today)
        return _what_if_again(
            request, desk, state, patch, typed, {}, conflict=(str(conflict), lines), status=409
        )
    return RedirectResponse(f"/beds/{patch.key}", 303)


def _what_if_again(
    request: Request, desk: Desk, state: BookState, patch: Patch, typed: dict[str, str],
    errors: dict[str, str], *, conflict: tuple[str, tuple[str, ...]] | None = None, status: int = 422,
) -> Response:  # fmt: skip
    """The what-if page once more with everything that was typed, after a fault or a conflict."""
    form = replace(whatif.form_of(patch, desk.trade, state.garden.units.value, typed=typed), errors=errors)
    return desk.page(
        request, "what_if.html", state, status=status, form=form, comparison=None, conflict=conflict,
        bed=_bare_page(desk, state, patch), revision=state.revision, back=f"/beds/{patch.key}",
        new_name=typed.get("new_name") or _new_name(state.garden, patch),
    )  # fmt: skip


async def plan(request: Request) -> Response:
    """Save a what-if as a new planned bed beside the one it came from."""
    typed = await _form(request)
    return await run_in_threadpool(_plan, request, typed)


def _plan(request: Request, typed: dict[str, str]) -> Response:
    desk, state, patch = _opened(request)
    system, today = state.garden.units.value, desk.today(state.garden)
    changed, errors = whatif.read_form(patch, typed, desk.trade, system, today=today)
    name = typed.get("new_name", "").strip()
    if not name:
        errors["new_name"] = "Give the new plan a name."
    elif len(name) > 80:
        errors["new_name"] = "Eighty characters are enough for a name."
    elif any(p.name == name for p in state.garden.patches):
        errors["new_name"] = "Another bed has this name; give the plan its own."
    if changed is None or errors:
        return _what_if_again(request, desk, state, patch, typed, errors)
    key = _free_key(name, {p.key for p in state.garden.patches})
    recipe = replace(changed.recipe, name=f"{changed.recipe.name}, changed"[:200])
    # Two beds cannot lie in one place: the copy keeps the light and is drawn anew.
    new = replace(changed, key=key, name=name, stage=Stage.PLANNED, recipe=recipe, outline=())
    with open_book(desk.library.path) as book:
        book.save_patch(new)
    return RedirectResponse(f"/beds/{key}", 303)


def _free_key(name: str, taken: set[str]) -> str:
    """A key from a name: small letters, digits and hyphens, and not one in use."""
    stem = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "plan"
    return next(key for key in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if key not in taken)


async def set_units(request: Request) -> Response:
    """Change the units the grower reads and types, and go back to the page it was asked from."""
    typed = await _form(request)
    return await run_in_threadpool(_set_units, request, typed)


def _set_units(request: Request, typed: dict[str, str]) -> Response:
    desk = _desk(request)
    try:
        system = UnitSystem(typed.get("units", ""))
    except ValueError:
        raise InputError("Units are either US customary or metric; choose one of the two.") from None
    with open_book(desk.library.path) as book:
        book.set_units(system)
    return RedirectResponse(_own_path(typed.get("back", "")), 303)


def _own_path(back: str) -> str:
    """A path of this app to return to. What was typed in other units is left behind with its query."""
    path = back.partition("?")[0]
    return (
        path
        if re.fullmatch(
            r"/now|/log|/pick|/picks(/[a-z0-9-]+(/check)?)?|/beds(/[a-z0-9-]+(/signs|/log)?)?|/year(/how-good|/[0-9]{4})?|/ground|/weather|/stores(/[a-z0-9-]+){0,2}",
            path,
        )
        else "/beds"
    )


# ---- when something is wrong ------------------------------------------------


def _state_if_any(desk: Desk) -> BookState | None:
    try:
        return desk.library.state()
    except MulchwrightError:
        return None


def _trouble(
    request: Request, status: int, title: str, what: str, todo: str, *, links: bool = True
) -> Response:
    desk = _desk(request)
    over_home = getattr(request.state, "over_home", False)
    # Whoever is not paired is not told whose garden this is, by a refusal no more than by a page.
    unpaired = over_home and getattr(request.state, "phone", None) is None
    state = None if unpaired else _state_if_any(desk)
    return desk.page(
        request, "trouble.html", state, status=status, title=title, what=what, todo=todo,
        links=links and state is not None, back="/beds",
    )  # fmt: skip


def not_there(request: Request, error: Exception) -> Response:
    """A wrong address, or a way of asking that an address does not take."""
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        detail = error.detail if error.detail != "Not Found" else f"Nothing lies at {request.url.path[:120]}."
        return _trouble(request, 404, "Not found", detail, "Choose a bed from the list.")
    if error.status_code == 405:
        return _trouble(
            request,
            405,
            "Not this way",
            "This address takes no such request.",
            "Go back and use the page's own button.",
        )
    return _trouble(
        request, error.status_code, "Not understood", str(error.detail), "Go back and try once more."
    )


def refused(request: Request, error: Exception) -> Response:
    """Something the program refuses in words of its own."""
    if isinstance(error, BookError):
        desk = _desk(request)
        if request.method == "GET" and desk.new and not desk.library.path.exists():
            return RedirectResponse("/start", 307)
        return _trouble(
            request, 503, "The garden book cannot be used just now", str(error),
            "Put that right, then load this page again. Nothing was changed.",
        )  # fmt: skip
    return _trouble(
        request, 422, "That cannot be done", str(error), "Go back; what is in the book stays as it was."
    )


def broken(request: Request, error: Exception) -> Response:
    """A fault of the program itself: said plainly, with the traceback in the terminal only."""
    return _trouble(
        request, 500, "Mulchwright made a mistake",
        f"While working on {request.url.path[:120]} the program met a fault of its own "
        f"({type(error).__name__}). Your garden book was not changed by it.",
        "Load the page again. If it happens once more, the terminal the program was started from shows the "
        "details that help to mend it.",
    )  # fmt: skip
