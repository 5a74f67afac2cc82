"""The pantry: jars and packs with origin, stock and best-by; taking from them; labels that open them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright import units
from mulchwright.book import BookConflict, open_book
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden
from mulchwright.garden.keeping import Fate, Jar, JarKind, Use
from mulchwright.keep.dry import dry_mass_bounds
from mulchwright.keep.jars import jar_life
from mulchwright.services.writes import free_key
from mulchwright.sheets.labels import Label, jar_label, label_png, labels_pdf
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.fields import Reading, read_day
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.picks.gate import open_or_refuse
from mulchwright.web.picks.left_over import (
    eaten,
    jar_origin,
    jar_shut,
    local_now,
    pick_of,
    sent_once,
    shut,
    small_mass,
)
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.downloads import base_of, file_of, paper_of
from mulchwright.web.shared.lookups import noted_step
from mulchwright.web.shared.requests import new_request_id, page_or_form, posted_form
from mulchwright.web.stores import dryer_forms as drying_forms
from mulchwright.web.stores import pantry_view as pantry_view
from mulchwright.web.stores.dryer import cautions
from mulchwright.web.stores.frame import store_page
from mulchwright.web.views.stores_wording import plain_number

PAGE = "/stores/pantry"
SHOWN_USES = 20
SHOWN_EMPTY = 40
USABLE = ((Fate.EAT, "eaten"), (Fate.GIVE, "given away"), (Fate.DISCARD, "thrown away"))
SHELF_C = {JarKind.DRIED: 18.0, JarKind.FROZEN: -18.0}


def _jar(garden: Garden, key: str) -> Jar:
    jar = next((jar for jar in garden.jars if jar.key == key), None)
    if jar is None:
        raise HTTPException(404, "There is no such jar or pack in the pantry (any more).")
    return jar


# ---- the pages --------------------------------------------------------------


def page(request: Request) -> Response:
    """Everything in the pantry, what is best used first at the head, and what was eaten when."""
    return _page(request)


def _page(request: Request, *, status: int = 200, **values: Any) -> Response:
    context = context_of(request)
    state = context.library.state()
    garden, trade, now = state.garden, context.trade, local_now(state)
    system, today = garden.units.value, now.date()
    left = pantry_view.left_of(garden)
    jars = pantry_view.stock(garden)
    empty = sorted((j for j in garden.jars if j not in jars), key=lambda jar: jar.made_on, reverse=True)
    shown = {
        "cards": [pantry_view.jar_card(jar, garden, trade, now, left[jar.key]) for jar in jars],
        "answer": pantry_view.first_to_use(jars, garden, today),
        "sums": _sums(jars, left, system),
        "empty": [(j.key, j.name, jar_origin(j, garden, today)) for j in empty[:SHOWN_EMPTY]],
        "eaten": pantry_view.used_lines(eaten(garden)[:SHOWN_USES], garden, today),
        "advice": pantry_view.eating_advice(garden, trade, today),
        "cautions": cautions(
            trade, system, "eat", "keep", "kitchen", "sell", species={jar.species for jar in jars}
        ),
        "noted": noted_step(request), "request_id": new_request_id,
        "today_iso": today.isoformat(), "fates": USABLE,
        "use_key": "", "typed": {}, "errors": {},
        "label_query": urlencode([("jar", jar.key) for jar in jars]), "here": PAGE, "back": PAGE,
    }  # fmt: skip
    return store_page(request, "stores/pantry.html", state, status=status, **(shown | values))


def _sums(jars: list[Jar], left: Mapping[str, float], system: str) -> str:
    lines = []
    for kind, word in pantry_view.KIND_WORDS.items():
        mine = [left[jar.key] for jar in jars if jar.kind is kind]
        if mine:
            name = "jar" if kind is JarKind.DRIED else "pack"
            lines.append(
                f"{small_mass(sum(mine), system)} {word} in {len(mine)} {name}{'s' if len(mine) > 1 else ''}"
            )
    return "; ".join(lines)


@page_or_form
def one(request: Request, typed: dict[str, str] | None) -> Response:
    """One jar, which its label's code opens; and changing it."""
    context = context_of(request)
    state = context.library.state()
    jar = _jar(state.garden, request.path_params["key"])
    if typed is None:
        return _jar_page(request, jar)
    changed, errors = _changed(jar, typed, state.garden, context.trade)
    if changed is None:
        return _jar_page(request, jar, status=422, form_typed=typed, form_errors=errors)
    before = revision_of(typed, "before")
    try:
        with open_book(context.library.path) as book:
            done = book.put_jar(changed, expected_revision=before)
    except BookConflict as error:
        raise InputError(str(error)) from error
    return RedirectResponse(f"{PAGE}/{jar.key}?step={done.step}", 303)


def _shown(jar: Jar, system: str) -> dict[str, str]:
    return {
        "name": jar.name, "kept_at": units.show_temperature(jar.kept_at_c, system, decimals=1),
        "humidity": "" if jar.humidity is None else f"{100 * jar.humidity:g}", "text": jar.text,
    }  # fmt: skip


def _changed(
    jar: Jar, typed: Mapping[str, str], garden: Garden, trade: Trade
) -> tuple[Jar | None, dict[str, str]]:
    """A jar as it was changed in the form; its best-by goes with where it stands."""
    system = garden.units.value
    reading = Reading(typed, _shown(jar, system))
    name = reading.text("name")
    if not name:
        reading.fault("name", "Enter a name for the jar.")
    if name.lower() in {other.name.lower() for other in garden.jars if other.key != jar.key}:
        reading.fault("name", "There is a jar of this name already. Choose another name.")
    kept_at = reading.take(
        "kept_at",
        lambda text: units.parse_temperature(text, system, field="kept_at"),
        0.0,
        held=jar.kept_at_c,
    )
    humidity: float | None = jar.humidity
    if "humidity" in typed:
        humidity = None
        if reading.text("humidity"):
            humidity = reading.take(
                "humidity", lambda text: plain_number(text, "humidity", "The hygrometer", 0, 100), 0.0
            ) / 100  # fmt: skip
    if reading.errors:
        return None, reading.errors
    try:
        best_by = jar.best_by
        if kept_at != jar.kept_at_c:
            best_by = jar_life(trade, jar.kind, made_on=jar.made_on, temperature_c=kept_at).best_by
        return (
            replace(jar, name=name, kept_at_c=kept_at, humidity=humidity, best_by=best_by,
                    text=typed.get("text", jar.text)[:4000]),
            {},
        )  # fmt: skip
    except InputError as error:
        reading.fault(
            {"temperature_c": "kept_at"}.get(error.field or "", "name"), in_units(str(error), system)
        )
        return None, reading.errors


def _jar_page(request: Request, jar: Jar, *, status: int = 200, **values: Any) -> Response:
    context = context_of(request)
    state = context.library.state()
    garden, trade, now = state.garden, context.trade, local_now(state)
    system, today = garden.units.value, now.date()
    left = pantry_view.left_of(garden)[jar.key]
    uses = sorted((u for u in garden.uses if u.jar == jar.key), key=lambda u: u.day, reverse=True)
    entries = [entry for key in jar.picks if (entry := pick_of(garden, key)) is not None]
    shown = {
        "card": pantry_view.jar_card(jar, garden, trade, now, left), "form": _shown(jar, system),
        "form_errors": {}, "revision": state.revision, "life": pantry_view.life_words(jar, trade, system),
        "uses": pantry_view.used_lines(uses, garden, today), "removable": not uses,
        "beds": list(dict.fromkeys((e.patch, garden.patch(e.patch).name) for e in entries)),
        "dried": jar.kind is JarKind.DRIED,
        "advice": pantry_view.eating_advice(garden, trade, today, of=jar.species),
        "cautions": cautions(trade, system, "eat", "keep", "kitchen", "sell", species=(jar.species,)),
        "noted": noted_step(request), "request_id": new_request_id,
        "today_iso": today.isoformat(), "fates": USABLE,
        "use_key": "", "typed": {}, "errors": {}, "here": PAGE, "back": f"{PAGE}/{jar.key}",
    }  # fmt: skip
    if "form_typed" in values:
        shown["form"] = _shown(jar, system) | values.pop("form_typed")
    return store_page(request, "stores/jar.html", state, status=status, **(shown | values))


# ---- taking from a jar ------------------------------------------------------


@posted_form
def use(request: Request, typed: dict[str, str]) -> Response:
    """Note that some of a jar, or all of it, was eaten, given or thrown away."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    today, system = state.today, garden.units.value
    jar = _jar(garden, request.path_params["key"])
    where = f"{PAGE}/{jar.key}" if typed.get("from") == "jar" else PAGE
    key = f"use-{sent_once(typed)}"
    if any(held.key == key for held in garden.uses):  # the same form once more
        return RedirectResponse(where, 303)
    left = pantry_view.left_of(garden)[jar.key]
    reading = Reading(typed, {"day": today.isoformat()})
    fate = Fate(reading.choice("fate", {fate.value: word for fate, word in USABLE}, "Use"))
    day = reading.take("day", partial(_day, today=today), today)
    if typed.get("all"):
        kg = left
    else:
        kg = reading.take("mass", lambda text: drying_forms.read_mass(text, "mass", "Taken", system), 0.0)
    if left < 0.0005:
        reading.fault(
            "mass", f"{jar.name} is empty: all of it is used. If you mean another jar, choose that one."
        )
    elif kg > left + drying_forms.LEFT_SLACK_KG:
        reading.fault(
            "mass",
            f"{jar.name} holds {small_mass(left, system)}; {small_mass(kg, system)} cannot come out of it. "
            "Did you note it already, or was it another jar?",
        )
    if day < jar.made_on:
        reading.fault("day", "The jar was filled after that day; correct the day.")
    if not reading.errors:
        why = jar_shut(garden, context.trade, fate, jar, day, now=local_now(state))
        if why:
            reading.fault("fate", " ".join(why))
    if reading.errors:
        values = {"use_key": jar.key, "typed": typed, "errors": reading.errors}
        if typed.get("from") == "jar":
            return _jar_page(request, jar, status=422, **values)
        return _page(request, status=422, **values)
    kg = min(kg, left)
    taken = Use(key, day, fate, max(kg, 0.0001), jar=jar.key, entered_at=local_now(state))
    with open_book(context.library.path) as book:
        done = book.add_uses(open_or_refuse(garden, context.trade, [taken], now=local_now(state)))
    return RedirectResponse(f"{where}?step={done.step}", 303)


@posted_form
def take_back(request: Request, typed: dict[str, str]) -> Response:
    """Take the last act back."""
    step = request.path_params["step"]
    try:
        with open_book(context_of(request).library.path) as book:
            book.undo(step)
    except (BookConflict, BookError) as error:
        raise InputError(str(error)) from error
    back = "/stores/dryer" if typed.get("back") == "/stores/dryer" else PAGE
    return RedirectResponse(f"{back}?step={step}", 303)


def remove(request: Request) -> Response:
    """Take a jar out of the pantry that nothing was taken from."""
    try:
        with open_book(context_of(request).library.path) as book:
            done = book.remove_jar(request.path_params["key"])
    except BookConflict as error:
        raise InputError(str(error)) from error
    return RedirectResponse(f"{PAGE}?step={done.step}", 303)


# ---- a new jar or pack ------------------------------------------------------


@page_or_form
def new(request: Request, typed: dict[str, str] | None) -> Response:
    """The form of a jar or pack that did not come from a load of the dryer, and putting it in."""
    context = context_of(request)
    state = context.library.state()
    garden, now = state.garden, local_now(state)
    today = now.date()
    kind = _kind((typed or request.query_params).get("kind", ""))
    fate = Fate.DRY if kind is JarKind.DRIED else Fate.FREEZE
    rows = drying_forms.pick_rows(garden, context.trade, now, fate)
    values = {"kind": kind.value, "name": _next_name(garden, kind), "mass": "", "kept_at": "",
              "day": today.isoformat(), "text": ""}  # fmt: skip
    aside = drying_forms.aside_rows(garden, today) if kind is JarKind.DRIED else ()
    # What was set aside is dry first; a fresh pick is rarely meant beside it.
    values |= {row.field: "" if row.shut or aside else row.left for row in rows}
    values |= {row.field: "yes" for row in aside}
    if typed is None:
        return _new_page(request, values, rows, aside, kind, {})
    values |= {row.field: typed.get(row.field, "") for row in aside}
    if any(u.key == f"use-{sent_once(typed)}-1" for u in garden.uses):  # the same form once more
        return RedirectResponse(PAGE, 303)
    chosen = [row.use for row in aside if typed.get(row.field) == "yes"]
    jar, uses, errors = _read_new(typed, values, garden, context.trade, rows, chosen, kind, now)
    if jar is None:
        status = 409 if set(errors) == {"sure"} else 422
        return _new_page(request, values | typed, rows, aside, kind, errors, status=status)
    with open_book(context.library.path) as book:
        opened = open_or_refuse(
            garden, context.trade, [replace(each, entered_at=now) for each in uses], now=now
        )
        moved = open_or_refuse(
            garden, context.trade, [replace(each, into=jar.key) for each in chosen], now=now
        )
        done = book.add_uses(opened, jars=[jar], changed=moved)
    return RedirectResponse(f"{PAGE}/{jar.key}?step={done.step}", 303)


def _kind(text: str) -> JarKind:
    return JarKind.DRIED if text == JarKind.DRIED.value else JarKind.FROZEN


def _next_name(garden: Garden, kind: JarKind) -> str:
    stem = "Jar" if kind is JarKind.DRIED else "Pack"
    taken = {jar.name for jar in garden.jars}
    return next(f"{stem} {n}" for n in range(1, 100_000) if f"{stem} {n}" not in taken)


def _new_page(
    request: Request, values: Mapping[str, str], rows: Any, aside: Any, kind: JarKind,
    errors: Mapping[str, str], *, status: int = 200,
) -> Response:  # fmt: skip
    context = context_of(request)
    state = context.library.state()
    return store_page(
        request, "stores/jar_new.html", state, status=status, values=dict(values), rows=rows,
        aside=aside, kind=kind.value, errors=dict(errors), frozen=kind is JarKind.FROZEN,
        request_id=new_request_id,
        shelf=units.show_temperature(SHELF_C[kind], state.garden.units.value), here=PAGE,
        cautions=cautions(context.trade, state.garden.units.value, "keep", "kitchen"),
    )  # fmt: skip


def _from_pick(text: str, name: str, system: str) -> float:
    return drying_forms.read_mass(text, name, "From this pick", system)


def _day(text: str, today: date) -> date:
    return read_day(text, "day", today, past=True) or today


def _dry_question(trade: Trade, dry_kg: float, fresh_kg: float, system: str) -> str:
    """What is asked before a dry mass is taken that no such fresh mass dries to; "" where it is likely.

    Fresh mushrooms are about nine tenths water: the bounds are those of the table `keeping`.
    """
    low, high = dry_mass_bounds(trade, fresh_kg)
    if dry_kg <= 0 or low - drying_forms.LEFT_SLACK_KG <= dry_kg <= high + drying_forms.LEFT_SLACK_KG:
        return ""
    why = (
        "Water may be left inside: dry on, or weigh again."
        if dry_kg > high
        else "Weigh again, or correct how much went in."
    )
    return (
        f"You noted {small_mass(dry_kg, system)} dry from {small_mass(fresh_kg, system)} fresh. Is that "
        f"right? Mushrooms are about nine tenths water, so {small_mass(low, system)} to "
        f"{small_mass(high, system)} is what that dries to. {why} If the figure is right, say "
        "yes, and it is kept."
    )


def _read_new(
    typed: Mapping[str, str], values: Mapping[str, str], garden: Garden, trade: Trade,
    rows: tuple[drying_forms.PickRow, ...], chosen: list[Use], kind: JarKind, now: datetime,
) -> tuple[Jar | None, list[Use], dict[str, str]]:  # fmt: skip
    """A new jar with the uses of the picks that went into it; or what is wrong by field."""
    system, dried, today = garden.units.value, kind is JarKind.DRIED, now.date()
    fate = Fate.DRY if dried else Fate.FREEZE
    reading = Reading(typed, values)
    name = reading.text("name")
    if not name or name.lower() in {jar.name.lower() for jar in garden.jars}:
        reading.fault("name", "Give it a name that no other jar has.")
    day = reading.take("day", partial(_day, today=today), today)
    taken: list[tuple[str, float]] = []
    species = set()
    for use in chosen:
        entry = pick_of(garden, use.pick)
        species.add(garden.patch(entry.patch).species if entry else "")
        if day < use.day:
            reading.fault("day", "Some of it was set aside after that day; correct the day.")
        why = shut(garden, trade, fate, use.pick, day, now=now)
        if why:
            reading.fault("form", " ".join(why))
    for row in rows:
        if not reading.text(row.field):
            continue
        kg = reading.take(
            row.field, partial(_from_pick, name=row.field, system=system), 0.0, held=row.left_kg
        )  # fmt: skip
        if kg > row.left_kg + drying_forms.LEFT_SLACK_KG:
            reading.fault(
                row.field, f"{small_mass(kg, system)} is more than the {row.left} that is left of it."
            )
        entry = pick_of(garden, row.key)
        assert entry is not None  # the rows are of the logbook's picks
        if day < entry.day:
            reading.fault("day", "Some of it was picked after that day; correct the day.")
        why = shut(garden, trade, fate, row.key, day, now=now)
        if why:
            reading.fault(row.field, " ".join(why))
        species.add(garden.patch(entry.patch).species)
        taken.append((row.key, kg))
    fresh = sum(kg for _, kg in taken) + sum(use.mass_kg for use in chosen)
    if not taken and not chosen:
        reading.fault("form", "Say how much of which pick went in.")
    if len(species) > 1:
        reading.fault("form", "These are of different kinds; keep each kind in a jar or pack of its own.")
    mass = fresh
    if dried or reading.text("mass"):
        mass = reading.take(
            "mass", lambda text: drying_forms.read_mass(text, "mass", "What went in", system), 0.0
        )
    if (taken or chosen) and mass > fresh:
        reading.fault(
            "mass", f"That is more than the {small_mass(fresh, system)} of fresh ones it came from."
        )
    ask = _dry_question(trade, mass, fresh, system) if dried and (taken or chosen) else ""
    kept_at = SHELF_C[kind]
    if reading.text("kept_at"):
        kept_at = reading.take(
            "kept_at", lambda text: units.parse_temperature(text, system, field="kept_at"), kept_at
        )
    if dried and typed.get("snap") != "yes":
        reading.fault(
            "snap", "Only pieces that snap when cool are dry enough for a jar; dry the rest longer."
        )
    if ask and not reading.errors and typed.get("sure") != "yes":
        return None, [], {"sure": ask}
    if not reading.errors:
        try:
            life = jar_life(trade, kind, made_on=day, temperature_c=kept_at)
            key = free_key(name, ["new", *(jar.key for jar in garden.jars)], "jar")
            jar = Jar(
                key, name, kind, species.pop(), day, mass, life.best_by,
                tuple(dict.fromkeys([*(use.pick for use in chosen), *(pick for pick, _ in taken)])),
                kept_at, text=typed.get("text", "")[:4000],
            )  # fmt: skip
            uses = [
                Use(f"use-{sent_once(typed)}-{n}", day, fate, kg, pick=pick, into=key)
                for n, (pick, kg) in enumerate(taken, 1)
            ]  # fmt: skip
            return jar, uses, {}
        except InputError as error:
            where = {"temperature_c": "kept_at", "mass_kg": "mass"}.get(error.field or "", "form")
            reading.fault(where, in_units(str(error), system))
    return None, [], reading.errors


# ---- labels -----------------------------------------------------------------


def _label(jar: Jar, garden: Garden, trade: Trade, base: str, today: date) -> Label:
    return jar_label(
        jar, trade, kind=pantry_view.KIND_WORDS[jar.kind],
        origin=jar_origin(jar, garden, today).split("; ")[:3],
        address=f"{base}{PAGE}/{jar.key}" if base else None,
    )  # fmt: skip


def labels(request: Request) -> Response:
    """Labels of the jars named, or of all with something in them, as a PDF."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    today, asked = state.today, set(request.query_params.getlist("jar"))
    jars = [jar for jar in pantry_view.stock(garden) if not asked or jar.key in asked]
    if not jars:
        raise InputError("There is no jar to make a label for.")
    base = base_of(request)
    made = [_label(jar, garden, context.trade, base, today) for jar in jars[:200]]
    data = labels_pdf(made, day=today, paper=paper_of(request.query_params, garden), title="Jar labels")
    return file_of(data, "application/pdf", "jar-labels.pdf", inline=True)


def label(request: Request) -> Response:
    """One jar's label as a picture."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    jar = _jar(garden, request.path_params["key"])
    data = label_png(_label(jar, garden, context.trade, base_of(request), state.today), day=state.today)
    return file_of(data, "image/png", f"label-{jar.key}.png", inline=True)
