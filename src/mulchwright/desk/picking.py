"""Picking and what becomes of it: several beds in one round, today's basket, and each pick with its fates.

`open_or_refuse` is the one door by which anything that feeds somebody comes into the book.
"""

from __future__ import annotations

import json
import math
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from hashlib import blake2b
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from mulchwright import units
from mulchwright.almanac.basket import (
    Household,
    basket,
    chill_words,
    dryer_capacity_kg,
    left_kg,
    line_of,
    opens,
)
from mulchwright.book import open_book
from mulchwright.desk import logbook_form, picking_told, words
from mulchwright.desk.numbers import whole_number
from mulchwright.desk.pairing_pages import phone_of
from mulchwright.desk.reckoning import BookState
from mulchwright.desk.stores import desk_of
from mulchwright.errors import InputError
from mulchwright.garden import (
    Fate,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    LogEntry,
    LogKind,
    UnitSystem,
    Use,
    Wrapping,
)
from mulchwright.keep import gate
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade

__all__ = ["Shut", "open_or_refuse", "opening_check", "pick_of", "routes", "sent_key"]

HOUSEHOLD = "household"
"""The setting of the book that holds appetite, dryer, freezer and temperatures, as JSON."""
DAYS_A_MONTH = 365.25 / 12
UNTOLD_SHOWN = 12
DRYER = "/stores/dryer"


def routes() -> list[BaseRoute]:
    """The addresses of these pages."""
    from mulchwright.desk import picking_check

    return [
        Route("/pick", round_page),
        Route("/pick", note_round, methods=["POST"]),
        Route("/picks", basket_page),
        Route("/picks", act_on_basket, methods=["POST"]),
        Route("/picks/{key}", pick_page),
        Route("/picks/{key}", note_use, methods=["POST"]),
        *picking_check.routes(),
    ]


# ---- the gate -----------------------------------------------------------------


class Shut(InputError):
    """A fate that is shut; its text is the gate's."""


def opening_check(garden: Garden, trade: Trade, pick: LogEntry, now: datetime) -> IdentityCheck | None:
    """The latest passed check that covers a pick and was made for what was sown in its bed."""
    patch = garden.patch(pick.patch)
    mine = [
        check
        for check in garden.checks
        if pick.key in check.picks and (check.patch, check.species) == (patch.key, patch.species)
        and picking_told.result_of(garden, trade, check, now).passed
    ]  # fmt: skip
    return max(mine, key=lambda check: check.day, default=None)


def open_or_refuse(garden: Garden, trade: Trade, uses: Iterable[Use], *, now: datetime) -> tuple[Use, ...]:
    """The uses as they may be stored, each with the check that opens it; `Shut` where one feeds too early.

    Asked for every use from a pick or a jar before it is written. What feeds nobody passes as it is. What
    feeds somebody must be opened by `keep.gate` for each pick it comes from, by the checks of all time (one
    that found something different shuts it for good) and by those made up to the day of the use.
    now : the time it is, in the garden's time zone.
    """
    picks = {entry.key: entry for entry in garden.log if entry.kind is LogKind.PICKED}
    jars = {jar.key: jar for jar in garden.jars}
    passed = []
    for use in uses:
        if not use.fate.feeds:
            passed.append(use)
            continue
        if use.pick:
            sources: Sequence[str] = (use.pick,)
        else:
            sources = jars[use.jar].picks if use.jar in jars else ()
        if not sources:
            raise Shut(
                "Nothing tells from which pick this came, so no identity check stands behind it. "
                "It feeds nobody from here.",
                field="fate",
            )
        check = ""
        for key in sources:
            pick = picks.get(key)
            if pick is None:
                raise Shut(
                    f"The pick “{key}” it came from is not in the logbook any more, so nothing tells what "
                    "was looked at. Put the entry back first.",
                    field="fate",
                )
            check = _let_through(garden, trade, pick, use, now)
        passed.append(replace(use, check=check))
    return tuple(passed)


def _let_through(garden: Garden, trade: Trade, pick: LogEntry, use: Use, now: datetime) -> str:
    patch = garden.patch(pick.patch)
    known = [check for check in garden.checks if check.day <= use.day]
    for checks in (garden.checks, known):
        answer = gate(
            use.fate, trade, patch=patch.key, species=patch.species, pick=pick.key, day=use.day,
            checks=checks, log=garden.log, now=now, built_on=patch.built_on,
            twelve_hours=garden.units is UnitSystem.US,
        )  # fmt: skip
        if not answer.open:
            raise Shut(" ".join(answer.words), field="fate")
    opened = opening_check(garden, trade, pick, now)
    if opened is None:  # the gate is open, so there is one; without it nothing is stored
        raise Shut("No passed identity check was found for this pick.", field="fate")
    return opened.key


# ---- shared -------------------------------------------------------------------


def pick_of(garden: Garden, key: str) -> LogEntry:
    """The pick with this key; 404 where it is none (any more)."""
    entry = next((e for e in garden.log if e.key == key and e.kind is LogKind.PICKED), None)
    if entry is None:
        raise HTTPException(404, "That pick is not in the logbook (any more).")
    return entry


def sent_key(stem: str, typed: Mapping[str, str], taken: Iterable[str]) -> tuple[str, bool]:
    """A key for what one form tells, and whether the form came before.

    A form carries a mark of its own; sent twice with the same content it has the same key, so that a double
    tap or a resend is known as such. Without a mark the key is the next free one.
    """
    held = set(taken)
    bare = logbook_form.bare_mark(typed.get("mark", ""))
    if bare:
        content = repr(sorted((k, v) for k, v in typed.items() if k != "mark"))
        key = f"{stem}-{blake2b((bare + content).encode(), digest_size=6).hexdigest()}"
        return key, key in held
    return next(k for n in range(1, len(held) + 2) if (k := f"{stem}-{n}") not in held), False


async def fields_of(request: Request) -> dict[str, str]:
    """Text fields of a form; several boxes of one name are joined by blanks."""
    typed: dict[str, str] = {}
    async with request.form(max_files=0, max_fields=600) as form:
        for key, value in form.multi_items():
            if isinstance(value, str):
                typed[key] = f"{typed[key]} {value}" if key in typed and key == "also" else value
    return typed


def page_of(
    request: Request, template: str, state: BookState, *, status: int = 200, **values: Any
) -> Response:
    """A page of this room with what all of them need."""
    desk = desk_of(request)
    phone = phone_of(request)
    common: dict[str, Any] = {
        "door": "now", "mark": secrets.token_hex(12), "errors": {}, "typed": {}, "ask": "",
        "today_iso": desk.today(state.garden).isoformat(), "noted": _noted(request),
        "who": phone.name if phone else "", "here": request.url.path,
    }  # fmt: skip
    answer = desk.page(request, template, state, status=status, **(common | values))
    answer.headers["cache-control"] = "no-store"  # an old page holds an old mark and an old day
    return answer


def _noted(request: Request) -> tuple[int, str, bool] | None:
    asked = whole_number(request.query_params.get("step", ""))
    if asked is None:
        return None
    with open_book(desk_of(request).library.path) as book:
        step = next((s for s in book.undo_steps() if s.step == asked), None)
    return (step.step, step.what, step.taken_back) if step else None


# ---- a round of picking -------------------------------------------------------


def round_page(request: Request) -> Response:
    """Weights of several beds in one round, and what each has borne so far."""
    return _round_page(request, desk_of(request).library.state())


def _round_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    desk = desk_of(request)
    garden, today, system = state.garden, desk.today(state.garden), state.garden.units.value
    beds = picking_told.built(garden)
    first = request.query_params.get("bed", "")
    shown = desk.progress(state, patience_s=0.0).shown
    told = {p.patch.key: p for p in shown.patches} if shown else {}
    return page_of(
        request, "pick_round.html", state, status=status,
        beds=[
            (p.key, p.name, species_name(p.species, desk.trade))
            for p in sorted(beds, key=lambda p: p.key != first)
        ],
        totals=[picking_told.bed_total(garden, p, desk.trade, told.get(p.key), today) for p in beds],
        stages=[(stage.value, name) for stage, name in picking_told.STAGE_WORDS.items()],
        example="350 g" if system == units.METRIC else "12 oz",
        scale="grams" if system == units.METRIC else "ounces",
        cautions=picking_told.cautions(desk.trade, beds, ("pick", "identify"), system), **values,
    )  # fmt: skip


async def note_round(request: Request) -> Response:
    """Write a round of picking down: all its beds or, where one has a fault, none."""
    return await run_in_threadpool(_note_round, request, await fields_of(request))


def _note_round(request: Request, typed: dict[str, str]) -> Response:
    desk = desk_of(request)
    state = desk.library.state()
    garden, today = state.garden, desk.today(state.garden)
    phone = phone_of(request)
    errors: dict[str, str] = {}
    asks: list[str] = []
    entries: list[LogEntry] = []
    for patch in picking_told.built(garden):
        own = {name: typed.get(f"{name}.{patch.key}", "") for name in ("mass", "count", "stage", "text")}
        if not any(own[name].strip() for name in ("mass", "count", "text")):
            continue
        shared = {name: typed.get(name, "") for name in ("day", "page_day", "sure")}
        grown = replace(garden, log=(*garden.log, *entries))
        result = logbook_form.entered(
            own | shared | {"kind": LogKind.PICKED.value}, grown, [patch], desk.trade, today=today,
            now=desk.now(garden), by=phone.name if phone else "",
        )  # fmt: skip
        errors |= {
            name if name == "day" else f"{name}.{patch.key}": told for name, told in result.errors.items()
        }
        if result.ask:
            asks.append(result.ask)
        entries.extend(result.entries)
    if not entries and not errors:
        errors["round"] = "Type the weight of at least one bed."
    if errors or asks:
        return _round_page(
            request, state, status=422 if errors else 409, errors=errors, typed=typed,
            ask="" if errors else " ".join(asks),
        )  # fmt: skip
    with open_book(desk.library.path) as book:
        mark = logbook_form.mark_with_content(logbook_form.bare_mark(typed.get("mark", "")), entries)
        done = book.add_entries(entries, mark=mark)
    return RedirectResponse(f"/picks?step={done.step}", 303)


# ---- today's basket -----------------------------------------------------------


def household_of(desk_path: Any, garden: Garden, trade: Trade) -> Household:
    """Who eats and what the house can take, as it was set; the dryers of the garden unless told otherwise."""
    with open_book(desk_path) as book:
        text = book.setting(HOUSEHOLD)
    try:
        kept = {k: float(v) for k, v in json.loads(text or "{}").items()}
        kept = {k: v for k, v in kept.items() if k in Household.__dataclass_fields__ and math.isfinite(v)}
        house = Household(**(kept | {"eaters": int(kept.get("eaters", 2))}))  # type: ignore[arg-type]
    except (ValueError, TypeError, AttributeError, InputError):
        kept, house = {}, Household()
    return (
        house if "dryer_kg" in kept else replace(house, dryer_kg=min(100.0, dryer_capacity_kg(garden, trade)))
    )


def basket_page(request: Request) -> Response:
    """What is picked and not used up, and a plan for it."""
    return _basket_page(request, desk_of(request).library.state())


def _basket_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    desk = desk_of(request)
    garden, today, system = state.garden, desk.today(state.garden), state.garden.units.value
    house = household_of(desk.library.path, garden, desk.trade)
    told = basket(garden, desk.trade, today=today, now=desk.now(garden), household=house)
    patches = {line.patch.key: line.patch for line in told.lines}.values() or picking_told.built(garden)
    return page_of(
        request, "basket.html", state, status=status,
        rows=picking_told.basket_rows(told, garden, today),
        plan=picking_told.plan_lines(told, garden, desk.trade, today),
        sums=picking_told.sum_words(told, system), head=_head(told.lines, today, system),
        resting=[_resting(kind, day, desk.trade, today) for kind, day in told.resting[:1]],
        untold=[(e.key, _untold(e, garden, today)) for e in reversed(told.untold[-UNTOLD_SHOWN:])],
        untold_count=len(told.untold),
        warm=[line.pick.key for line in told.lines if line.chilled_on is None],
        dryer=_dryer(request), house=_house_fields(house, system), house_words=_house_words(house, system),
        cautions=picking_told.cautions(desk.trade, patches, ("eat", "kitchen", "identify"), system), **values,
    )  # fmt: skip


def _resting(kind: str, day: date, trade: Trade, today: date) -> str:
    return (
        f"On {words.day(day, today)} {species_name(kind, trade)} is left out: some people get an upset "
        "stomach when they eat it for days on end, and after a first taste a day of waiting is advised."
    )


def _untold(entry: LogEntry, garden: Garden, today: date) -> str:
    left = picking_told.left_words(entry, garden)
    return f"{words.day(entry.day, today)}, {garden.patch(entry.patch).name}: {left}"


def _head(lines: Sequence[Any], today: date, system: str) -> str:
    if not lines:
        return "Nothing lies in the basket."
    total = units.show_mass(math.fsum(line.left_kg for line in lines), system)
    return f"{total} from {words.plural(len(lines), 'pick')}; what keeps least stands on top."


def _house_words(house: Household, system: str) -> str:
    dryer = (
        f"the dryer takes {units.show_mass(house.dryer_kg, system)} a load"
        if house.dryer_kg > 0
        else "no dryer"
    )
    freezer = (
        f"the freezer {units.show_mass(house.freezer_kg, system)}"
        if house.freezer_kg > 0
        else "no room in a freezer"
    )
    cold, warm = (units.show_temperature(value, system) for value in (house.fridge_c, house.room_c))
    portion = units.show_mass(house.portion_kg, system)
    return f"{house.eaters} eat, {portion} each; {dryer}, {freezer}; refrigerator {cold}, room {warm}."


def _house_fields(house: Household, system: str) -> list[tuple[str, str, str]]:
    def mass(kg: float) -> str:
        return units.show_mass(kg, system) if kg > 0 else "0"

    return [
        ("eaters", "How many eat", str(house.eaters)),
        ("portion_kg", "Fresh mushrooms for one, in a meal", mass(house.portion_kg)),
        ("dryer_kg", "The dryer takes in one load, fresh", mass(house.dryer_kg)),
        ("freezer_kg", "The freezer still takes, fresh", mass(house.freezer_kg)),
        ("fridge_c", "In the refrigerator", units.show_temperature(house.fridge_c, system)),
        ("room_c", "In the room", units.show_temperature(house.room_c, system)),
    ]


async def act_on_basket(request: Request) -> Response:
    """Put everything that lies warm into the refrigerator, or change the household."""
    return await run_in_threadpool(_act_on_basket, request, await fields_of(request))


def _act_on_basket(request: Request, typed: dict[str, str]) -> Response:
    desk = desk_of(request)
    state = desk.library.state()
    garden, today = state.garden, desk.today(state.garden)
    if typed.get("act") == "house":
        return _set_house(request, state, typed)
    since_picked = typed.get("since") == "picked"
    now = desk.now(garden)
    house = household_of(desk.library.path, garden, desk.trade)
    told = basket(garden, desk.trade, today=today, now=now, household=house)
    key, _ = sent_key(f"{today.isoformat()}-chill", typed, (use.key for use in garden.uses))
    uses = [
        Use(f"{key}-{n}", line.pick.day if since_picked else today, Fate.CHILL, line.left_kg,
            pick=line.pick.key, text=chill_words(Wrapping.PAPER), entered_at=now)
        for n, line in enumerate(told.lines, 1) if line.chilled_on is None
    ]  # fmt: skip
    if not uses:
        return RedirectResponse("/picks", 303)
    with open_book(desk.library.path) as book:
        done = book.add_uses(
            open_or_refuse(garden, desk.trade, uses, now=now), mark=key if typed.get("mark") else ""
        )
    return RedirectResponse(f"/picks?step={done.step}", 303)


def _set_house(request: Request, state: BookState, typed: dict[str, str]) -> Response:
    desk = desk_of(request)
    system = state.garden.units.value
    errors: dict[str, str] = {}
    told: dict[str, float] = {}
    shown = {
        name: value
        for name, _, value in _house_fields(household_of(desk.library.path, state.garden, desk.trade), system)
    }
    before = asdict(household_of(desk.library.path, state.garden, desk.trade))
    for name in ("eaters", "portion_kg", "dryer_kg", "freezer_kg", "fridge_c", "room_c"):
        text = typed.get(name, "").strip()
        if text == shown[name]:
            told[name] = before[name]  # as it was shown, with all its digits
            continue
        try:
            told[name] = _house_value(name, text, system)
            if name != "eaters":
                Household(**{name: told[name]})  # type: ignore[arg-type]
            else:
                Household(eaters=int(told[name]))
        except InputError as error:
            errors[name] = str(error)
    if errors:
        return _basket_page(request, state, status=422, errors=errors, typed=typed)
    with open_book(desk.library.path) as book:
        book.set_setting(HOUSEHOLD, json.dumps(told))
    return RedirectResponse("/picks", 303)


def _house_value(name: str, text: str, system: str) -> float:
    if name.endswith("_c"):
        value = units.parse_temperature(text, system, field=name)
        if not -1 <= value <= 30:
            raise InputError(
                f"{units.show_temperature(value, system)} is outside what is known of fresh mushrooms "
                f"({units.show_temperature(-1, system)} to {units.show_temperature(30, system)}).",
                field=name,
            )
        return value
    if name == "eaters":
        eaters = whole_number(text, most=50)
        if eaters is None:
            raise InputError("Eaters are a whole number from 0 to 50.", field=name)
        return eaters
    return 0.0 if text in ("", "0") else logbook_form.scale_mass(text, system, field=name)


# ---- one pick -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FateButton:
    """One fate on the page of a pick: open, or shut with why."""

    value: str
    words: str
    open: bool


FATES = (
    (Fate.EAT, "", "Eaten"), (Fate.DRY, "", "Dried elsewhere"), (Fate.FREEZE, "", "Cooked and frozen"),
    (Fate.GIVE, "", "Given away"), (Fate.CHILL, "paper", "Into the refrigerator, in paper"),
    (Fate.CHILL, "plastic", "Into the refrigerator, in plastic"), (Fate.DISCARD, "", "Thrown away"),
)  # fmt: skip


def pick_page(request: Request) -> Response:
    """One pick: what it is, whether it was looked at, and what became of it."""
    return _pick_page(request, desk_of(request).library.state())


def _pick_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    desk = desk_of(request)
    garden, today, system = state.garden, desk.today(state.garden), state.garden.units.value
    now = desk.now(garden)
    pick = pick_of(garden, request.path_params["key"])
    patch = garden.patch(pick.patch)
    left = left_kg(pick, garden.uses)
    line = line_of(
        garden, desk.trade, pick, today=today, now=now,
        household=household_of(desk.library.path, garden, desk.trade),
    )  # fmt: skip
    answer = opens(garden, desk.trade, pick, Fate.EAT, day=today, now=now)
    checks = picking_told.check_lines(garden, desk.trade, pick, now)
    buttons = [
        FateButton(f"{fate.value}{'-' + more if more else ''}", name, answer.open or not fate.feeds)
        for fate, more, name in FATES
    ]
    return page_of(
        request, "pick.html", state, status=status, pick=pick, patch=patch,
        species=species_name(patch.species, desk.trade), when=words.day(pick.day, today),
        mass=units.show_mass(pick.mass_kg or 0.0, system),
        count=words.plural(pick.count, "mushroom") if pick.count else "",
        stage=picking_told.STAGE_WORDS[pick.stage] if pick.stage else "",
        left=units.show_mass(left, system) if left > 0.0005 else "",
        life=picking_told.life_words(line, today, system) if line else (),
        buttons=buttons, shut=() if answer.open else answer.words, opened=answer.words if answer.open else (),
        stopped=any(c.different for c in checks),
        uses=[picking_told.use_words(use, garden, today) for use in garden.uses if use.pick == pick.key],
        checks=checks,
        first_day=pick.day.isoformat(), dryer=_dryer(request),
        cautions=picking_told.cautions(desk.trade, [patch], ("eat", "kitchen", "identify", "pick"), system),
        selling=picking_told.cautions(desk.trade, [patch], ("sell",), system), **values,
    )  # fmt: skip


def _dryer(request: Request) -> str:
    """The page where a load is planned, where this program has one."""
    there = any(getattr(route, "path", "") == DRYER for route in request.app.routes)
    return DRYER if there else ""


async def note_use(request: Request) -> Response:
    """Write down where a part of a pick went, if it may go there."""
    return await run_in_threadpool(_note_use, request, await fields_of(request))


def _note_use(request: Request, typed: dict[str, str]) -> Response:
    desk = desk_of(request)
    state = desk.library.state()
    garden, today, now = state.garden, desk.today(state.garden), desk.now(state.garden)
    pick = pick_of(garden, request.path_params["key"])
    key, came = sent_key(f"{today.isoformat()}-use", typed, (use.key for use in garden.uses))
    if came:  # a double tap, or a resend: it is noted already
        return RedirectResponse(f"/picks/{pick.key}", 303)
    try:
        use, jars = _use_of(garden, desk.trade, pick, typed, now, key)
        checked = open_or_refuse(garden, desk.trade, [use], now=now)
        with open_book(desk.library.path) as book:
            done = book.add_uses(checked, jars=jars, mark=key if typed.get("mark") else "")
    except InputError as error:
        names = {"mass_kg": "mass"}
        field = names.get(error.field or "", error.field or "fate")
        field = field if field in ("mass", "day", "text", "fate") else "fate"
        return _pick_page(request, state, status=422, errors={field: str(error)}, typed=typed)
    return RedirectResponse(f"/picks/{pick.key}?step={done.step}", 303)


def _use_of(
    garden: Garden, trade: Trade, pick: LogEntry, typed: Mapping[str, str], now: datetime, key: str
) -> tuple[Use, tuple[Jar, ...]]:
    """The use a form tells, with the pack it goes into where it is frozen."""
    today = now.date()
    name, _, more = typed.get("fate", "").partition("-")
    try:
        fate = Fate(name)
    except ValueError:
        raise InputError("Choose what became of it.", field="fate") from None
    system = garden.units.value
    text = typed.get("day", "").strip()
    # A page that lay open overnight still shows yesterday: a day nobody touched means today.
    try:
        day = today if not text or text == typed.get("page_day", "") else date.fromisoformat(text)
    except ValueError:
        raise InputError(f"“{text[:40]}” is no day; write it as {today.isoformat()}.", field="day") from None
    if not pick.day <= day <= today:
        raise InputError(
            f"It was picked on {words.day(pick.day, today)} and today is {words.day(today, today)}; "
            "choose a day between.",
            field="day",
        )
    left = left_kg(pick, garden.uses)
    if left <= 0.0005:
        raise InputError("Nothing is left of this pick.", field="mass")
    typed_mass = typed.get("mass", "").strip()
    mass = logbook_form.scale_mass(typed_mass, system, field="mass") if typed_mass else left
    if mass > left + 0.005:
        raise InputError(
            f"{units.show_mass(mass, system)} is more than the {units.show_mass(left, system)} that is left. "
            "Weigh again, or correct the pick.",
            field="mass",
        )
    note = typed.get("text", "").replace("\r\n", "\n").strip()
    if fate is Fate.CHILL:
        how = chill_words(Wrapping.PLASTIC if more == "plastic" else Wrapping.PAPER)
        note = f"{how}; {note}" if note else how
    use = Use(key, day, fate, mass, pick=pick.key, text=note, entered_at=now)
    if fate is not Fate.FREEZE:
        return use, ()
    jar = _pack(garden, trade, pick, day, mass, f"pack-{key}")
    return replace(use, into=jar.key), (jar,)


def _pack(garden: Garden, trade: Trade, pick: LogEntry, day: date, mass: float, key: str) -> Jar:
    """A pack for the freezer, with the day it is likely best by."""
    patch = garden.patch(pick.patch)
    months = trade.keeping["frozen_life_months"].value
    return Jar(
        key, f"{patch.name}, {day.day} {day:%B %Y}"[:80], JarKind.FROZEN, patch.species, day, mass,
        day + timedelta(days=round(months * DAYS_A_MONTH)), picks=(pick.key,), kept_at_c=-18.0,
    )  # fmt: skip
