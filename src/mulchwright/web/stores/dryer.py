"""The dryer's page: plan a load, put it in, weigh it on the way, take it out into a jar."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import BookConflict, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden
from mulchwright.garden.keeping import Dryer, DryingRun, Fate, Jar, JarKind, Use, Weighing
from mulchwright.keep.jars import jar_life
from mulchwright.services.writes import free_key
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.fields import Reading
from mulchwright.web.forms.moments import read_moment
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.picks.gate import open_or_refuse
from mulchwright.web.picks.left_over import local_now, pick_of, sent_once, shut, small_mass
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import noted_step
from mulchwright.web.shared.requests import new_request_id, page_or_form, posted_form
from mulchwright.web.stores import dryer_forms as forms
from mulchwright.web.stores.dryer_view import LIMITS, ended_load, hours_left, load_card, plan_of, plan_view
from mulchwright.web.stores.frame import store_page
from mulchwright.web.views.stores_wording import CautionWords

PAGE = "/stores/dryer"
SHOWN_ENDED = 8


def cautions(
    trade: Trade, system: str, *tags: str, species: Collection[str] = ()
) -> tuple[CautionWords, ...]:
    """Cautions of some stages as a page tells them, grave ones first; of kinds only `species`."""
    kinds = {f"species:{key}" for key in species}
    ordered = sorted(
        (
            row
            for row in trade.cautions_for(*tags)
            if not (of := {tag for tag in row.when if tag.startswith("species:")}) or of & kinds
        ),
        key=lambda row: not row.grave,
    )
    return tuple(CautionWords(row.title, in_units(row.text, system), row.defer) for row in ordered)


# ---- the page ---------------------------------------------------------------


def page(request: Request) -> Response:
    """What is in the dryer, and the plan of a load with what was asked for or the usual."""
    return _page(request, dict(request.query_params))


def _page(
    request: Request, typed: Mapping[str, str], *, status: int = 200,
    errors: Mapping[str, str] | None = None, load_key: str = "", load_typed: Mapping[str, str] | None = None,
    load_errors: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    """The page. `errors` are those of the load to put in; `load_*` those of one that is in."""
    context = context_of(request)
    state = context.library.state()
    garden, system = state.garden, state.garden.units.value
    now = local_now(state)
    rows = forms.pick_rows(garden, context.trade, now)
    values = forms.shown_load(garden, rows, now) | {k: v[:200] for k, v in typed.items()}
    aside = forms.aside_rows(garden, now.date())
    if "dryer" in typed:  # a box that was left empty is not sent
        values |= {row.field: typed.get(row.field, "") for row in aside}
    faults = dict(errors or {})
    plan = None
    if garden.dryers:
        load, reading = forms.read_load(values, garden, rows, now)
        if load is not None:
            plan = _planned(load, reading, system)
        asked = "dryer" in typed
        if asked and status == 200:
            faults |= reading.errors
        if asked and reading.errors and status == 200:
            status = 422
    known = {dryer.key: dryer for dryer in garden.dryers}
    inside = sorted((r for r in garden.dryings if r.ended_at is None), key=lambda r: r.started_at)
    out = sorted(
        (r for r in garden.dryings if r.ended_at is not None), key=lambda r: r.started_at, reverse=True
    )
    return store_page(
        request, "stores/dryer.html", state, status=status,
        loads=[load_card(run, known[run.dryer], garden, now) for run in inside],
        dryers=[(d.key, d.name, f"{d.trays} trays, {d.watts:g} W") for d in garden.dryers],
        groups=forms.load_group(garden, values, with_picks=bool(rows or aside)) if garden.dryers else (),
        rows=rows, aside=aside, values=values,
        errors=faults, plan=plan, limits=[in_units(line, system) for line in LIMITS],
        ended=[ended_load(run, garden, now) for run in out[:SHOWN_ENDED]],
        cautions=cautions(context.trade, system, "keep", "kitchen"), request_id=new_request_id,
        noted=noted_step(request), asked_plan=bool(request.query_params.keys() - {"step"}),
        load_key=load_key, load_typed=dict(load_typed or {}), load_errors=dict(load_errors or {}),
        now_iso=f"{now:%Y-%m-%dT%H:%M}", here=PAGE, back=PAGE, example=forms.mass_example(system),
        shelf="64 °F" if system == "us" else "18 °C",
    )  # fmt: skip


def _planned(load: forms.Load, reading: Reading, system: str) -> Any:
    """The plan of a load in words; None, with the reason beside its field, where the core refuses it."""
    try:
        plan = plan_of(
            load.dryer, load.fresh_kg, load.thickness_m, load.temperature_c, load.room_temperature_c,
            load.room_humidity,
        )  # fmt: skip
    except InputError as error:
        forms.field_fault(reading, error, system, "form")
        return None
    return plan_view(plan, load.dryer, load.fresh_kg, system)


# ---- a load goes in ---------------------------------------------------------


@posted_form
def start(request: Request, typed: dict[str, str]) -> Response:
    """Put a load in."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    now, system = local_now(state), garden.units.value
    rows = forms.pick_rows(garden, context.trade, now)
    key = f"load-{sent_once(typed)}"
    if any(run.key == key for run in garden.dryings):  # the same form once more: it is in already
        return RedirectResponse(PAGE, 303)
    load, reading = forms.read_load(typed, garden, rows, now)
    if load is not None:
        _planned(load, reading, system)
        _ask_gate(load, reading, garden, context.trade, rows, now)
    if load is None or reading.errors:
        return _page(request, typed, status=422, errors=reading.errors)
    uses = [
        Use(f"{key}-{n}", load.started_at.date(), Fate.DRY, kg, pick=pick, entered_at=now)
        for n, (pick, kg) in enumerate(load.picks, 1)
    ]  # fmt: skip
    try:
        run = DryingRun(
            key, load.dryer.key, load.started_at, load.fresh_kg, load.thickness_m, load.temperature_c,
            load.room_temperature_c, load.room_humidity, tuple(use.key for use in (*uses, *load.aside)),
        )  # fmt: skip
        with open_book(context.library.path) as book:
            opened = open_or_refuse(garden, context.trade, [*uses, *load.aside], now=now)
            done = book.put_drying(run, uses=opened[: len(uses)])
    except InputError as error:
        forms.field_fault(reading, error, system, "form")
        return _page(request, typed, status=422, errors=reading.errors)
    return RedirectResponse(f"{PAGE}?step={done.step}", 303)


def _ask_gate(
    load: forms.Load,
    reading: Reading,
    garden: Garden,
    trade: Trade,
    rows: tuple[forms.PickRow, ...],
    now: datetime,
) -> None:
    """Drying feeds somebody later, so it is shut until each pick was looked at; and one kind a load."""
    fields = {row.key: row.field for row in rows}
    species = set()
    for use in load.aside:
        entry = pick_of(garden, use.pick)
        species.add(garden.patch(entry.patch).species if entry else "")
    for pick, _ in load.picks:
        why = shut(garden, trade, Fate.DRY, pick, load.started_at.date(), now=now)
        if why:
            reading.fault(fields[pick], " ".join(why))
        entry = pick_of(garden, pick)
        assert entry is not None  # the rows are of the logbook's picks
        if load.started_at.date() < entry.day:
            reading.fault(
                "at", f"{fields[pick].removeprefix('pick_')} was picked after that; correct the time."
            )
        species.add(garden.patch(entry.patch).species)
    if len(species) > 1:
        reading.fault(
            "form", "These are of different kinds. Dry each kind apart, so that each jar holds one."
        )


# ---- on the way -------------------------------------------------------------


def _run(garden: Garden, key: str) -> tuple[DryingRun, Dryer]:
    run = next((r for r in garden.dryings if r.key == key), None)
    if run is None:
        raise HTTPException(404, "That load is not in the book (any more).")
    return run, next(dryer for dryer in garden.dryers if dryer.key == run.dryer)


@posted_form
def weigh(request: Request, typed: dict[str, str]) -> Response:
    """Note what a load weighs on the way."""
    context = context_of(request)
    state = context.library.state()
    garden, system, now = state.garden, state.garden.units.value, local_now(state)
    run, dryer = _run(garden, request.path_params["key"])
    if run.ended_at is not None:
        raise InputError("That load has come out already; nothing was changed.")
    reading = Reading(typed, {})
    at = reading.take("at", lambda text: read_moment(text, "at", now, after=run.started_at), now)
    kg = reading.take("mass", lambda text: forms.read_mass(text, "mass", "The load weighs", system), 0.0)
    if kg > run.fresh_kg * 1.01:
        reading.fault(
            "mass",
            f"{small_mass(kg, system)} is heavier than the {small_mass(run.fresh_kg, system)} that went in. "
            "Weigh again without the trays, or correct the start.",
        )
    if not reading.errors:
        try:
            weighing = Weighing(max(at, run.started_at), kg)
            if weighing in run.weighings:  # the same form once more
                return RedirectResponse(PAGE, 303)
            heard = replace(run, weighings=(*run.weighings, weighing))
            hours_left(heard, dryer)
            with open_book(context.library.path) as book:
                done = book.put_drying(heard, expected_revision=state.revision)
            return RedirectResponse(f"{PAGE}?step={done.step}#load-{run.key}", 303)
        except BookConflict as error:
            raise InputError(str(error)) from error
        except InputError as error:
            forms.field_fault(reading, error, system, "mass")
    return _page(
        request, {}, status=422, load_key=run.key, load_typed={f"w_{k}": v for k, v in typed.items()},
        load_errors={f"w_{k}": v for k, v in reading.errors.items()},
    )  # fmt: skip


# ---- out --------------------------------------------------------------------


@posted_form
def end(request: Request, typed: dict[str, str]) -> Response:
    """Take a load out: into a jar after the snap test, or away."""
    context = context_of(request)
    state = context.library.state()
    garden, system, now = state.garden, state.garden.units.value, local_now(state)
    run, dryer = _run(garden, request.path_params["key"])
    if run.ended_at is not None:  # the same form once more
        return RedirectResponse(PAGE, 303)
    high = load_card(run, dryer, garden, now).high_kg
    ended = forms.read_end(typed, run, system, now, high_kg=high, jars=garden.jars)
    errors = dict(ended.errors)
    uses = [use for use in garden.uses if use.key in run.uses]
    if not errors:
        assert ended.at is not None
        try:
            done_step = _put_end(request, run, ended, uses, garden, context.trade, state.revision, now)
        except BookConflict as error:
            raise InputError(str(error)) from error
        except InputError as error:  # also where the gate is shut by now
            reading = Reading(typed, {})
            forms.field_fault(reading, error, system, "form")
            errors = reading.errors
        else:
            return RedirectResponse(done_step, 303)
    return _page(
        request, {}, status=422, load_key=run.key, load_typed={f"e_{k}": v for k, v in typed.items()},
        load_errors={f"e_{k}": v for k, v in errors.items()},
    )  # fmt: skip


def _put_end(
    request: Request, run: DryingRun, ended: forms.Ended, uses: list[Use], garden: Garden, trade: Trade,
    revision: int, now: datetime,
) -> str:  # fmt: skip
    """Write the end of a load as one act; the address to go to."""
    assert ended.at is not None
    at = max(ended.at, run.started_at)
    out = replace(run, ended_at=at, dry_kg=ended.dry_kg)
    jars: list[Jar] = []
    if ended.away:
        changed = [replace(use, fate=Fate.DISCARD) for use in uses]
    elif uses:
        jar = _jar(garden, ended, uses, at.date(), trade)
        jars = [jar]
        changed = list(open_or_refuse(garden, trade, [replace(use, into=jar.key) for use in uses], now=now))
    else:
        changed = []
    with open_book(context_of(request).library.path) as book:
        done = book.put_drying(out, jars=jars, changed=changed, expected_revision=revision)
    return f"/stores/pantry/{jars[0].key}?step={done.step}" if jars else f"{PAGE}?step={done.step}"


def _jar(garden: Garden, ended: forms.Ended, uses: list[Use], day: date, trade: Trade) -> Jar:
    """The jar that a load comes out into."""
    first = pick_of(garden, uses[0].pick)
    if first is None or ended.dry_kg is None:
        raise InputError(
            "What went into this load is not in the logbook any more, so no jar can be made of it."
        )
    life = jar_life(trade, JarKind.DRIED, made_on=day, temperature_c=ended.kept_at_c)
    key = free_key(ended.name, ["new", *(jar.key for jar in garden.jars)], "jar")
    return Jar(
        key, ended.name, JarKind.DRIED, garden.patch(first.patch).species, day, ended.dry_kg, life.best_by,
        tuple(dict.fromkeys(use.pick for use in uses)), ended.kept_at_c,
    )  # fmt: skip


# ---- the dryers -------------------------------------------------------------


@page_or_form
def own(request: Request, typed: dict[str, str] | None) -> Response:
    """A dryer's form, and writing it down."""
    context = context_of(request)
    state = context.library.state()
    garden, system, key = state.garden, state.garden.units.value, request.path_params.get("key")
    held = next((dryer for dryer in garden.dryers if dryer.key == key), None)
    if key is not None and held is None:
        raise HTTPException(404, "There is no such dryer in the book.")
    if typed is None:
        return store_page(
            request, "stores/form.html", state, clash=None, card=None, intro="", chip="",
            form=forms.dryer_form(held, system, before=str(state.revision)),
        )  # fmt: skip
    taken = ["new", *(dryer.key for dryer in garden.dryers)]
    dryer, errors = forms.read_dryer(
        held, typed, system, key or free_key(typed.get("name", ""), taken, "dryer")
    )
    if dryer is None:
        return store_page(
            request, "stores/form.html", state, status=422, clash=None, card=None, intro="", chip="",
            form=forms.dryer_form(held, system, typed=typed, errors=errors, before=typed.get("before", "")),
        )  # fmt: skip
    before = revision_of(typed, "before")
    try:
        with open_book(context.library.path) as book:
            done = book.put_dryer(dryer, expected_revision=before)
    except BookConflict as error:
        raise InputError(str(error)) from error
    return RedirectResponse(f"{PAGE}?step={done.step}", 303)


def remove_own(request: Request) -> Response:
    """Take a dryer out of the book."""
    try:
        with open_book(context_of(request).library.path) as book:
            done = book.remove_dryer(request.path_params["key"])
    except BookConflict as error:
        raise InputError(str(error)) from error
    return RedirectResponse(f"{PAGE}?step={done.step}", 303)
