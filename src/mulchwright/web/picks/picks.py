"""Picking and what becomes of it: several beds in one round, today's basket, and each pick with its fates.

`open_or_refuse` is the one door by which anything that feeds somebody comes into the book.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

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
from mulchwright.errors import InputError
from mulchwright.garden import (
    Fate,
    Garden,
    Jar,
    JarKind,
    LogEntry,
    LogKind,
    Use,
    Wrapping,
)
from mulchwright.services.library import BookState
from mulchwright.services.numbers import whole_number
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade
from mulchwright.web.beds import log_form as logbook_form
from mulchwright.web.picks import pick_view
from mulchwright.web.picks.gate import open_or_refuse, page_of, pick_of, sent_key
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.phones import phone_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words
from mulchwright.web.views.logbook_wording import STAGE_WORDS

HOUSEHOLD = "household"
"""The setting of the book that holds appetite, dryer, freezer and temperatures, as JSON."""


DAYS_A_MONTH = 365.25 / 12


UNACCOUNTED_SHOWN = 12


DRYER = "/stores/dryer"


def round_page(request: Request) -> Response:
    """Weights of several beds in one round, and what each has borne so far."""
    return _round_page(request, context_of(request).library.state())


def _round_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    context = context_of(request)
    garden, today, system = state.garden, state.today, state.garden.units.value
    beds = pick_view.built(garden)
    first = request.query_params.get("bed", "")
    shown = context.progress(state, patience_s=0.0).shown
    by_bed = {p.patch.key: p for p in shown.patches} if shown else {}
    return page_of(
        request, "picks/round.html", state, status=status,
        beds=[
            (p.key, p.name, species_name(p.species, context.trade))
            for p in sorted(beds, key=lambda p: p.key != first)
        ],
        totals=[pick_view.bed_total(garden, p, context.trade, by_bed.get(p.key), today) for p in beds],
        stages=[(stage.value, name) for stage, name in STAGE_WORDS.items()],
        example="350 g" if system == units.METRIC else "12 oz",
        scale="grams" if system == units.METRIC else "ounces",
        cautions=pick_view.cautions(context.trade, beds, ("pick", "identify"), system), **values,
    )  # fmt: skip


@posted_form
def note_round(request: Request, typed: dict[str, str]) -> Response:
    """Write a round of picking down: all its beds or, where one has a fault, none."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    phone = phone_of(request)
    errors: dict[str, str] = {}
    asks: list[str] = []
    entries: list[LogEntry] = []
    for patch in pick_view.built(garden):
        own = {name: typed.get(f"{name}.{patch.key}", "") for name in ("mass", "count", "stage", "text")}
        if not any(own[name].strip() for name in ("mass", "count", "text")):
            continue
        shared = {name: typed.get(name, "") for name in ("day", "page_day", "sure")}
        grown = replace(garden, log=(*garden.log, *entries))
        result = logbook_form.entered(
            own | shared | {"kind": LogKind.PICKED.value}, grown, [patch], context.trade, today=today,
            now=state.now, by=phone.name if phone else "",
        )  # fmt: skip
        errors |= {
            name if name == "day" else f"{name}.{patch.key}": text for name, text in result.errors.items()
        }
        if result.ask:
            asks.append(result.ask)
        entries.extend(result.entries)
    if not entries and not errors:
        errors["round"] = "Enter the weight for at least one bed."
    if errors or asks:
        return _round_page(
            request, state, status=422 if errors else 409, errors=errors, typed=typed,
            ask="" if errors else " ".join(asks),
        )  # fmt: skip
    with open_book(context.library.path) as book:
        request_id = logbook_form.request_id_with_content(
            logbook_form.bare_request_id(typed.get("request_id", "")), entries
        )
        done = book.add_entries(entries, request_id=request_id)
    return RedirectResponse(f"/picks?step={done.step}", 303)


def household_of(book_path: Any, garden: Garden, trade: Trade) -> Household:
    """Who eats and what the house can take, as it was set; the dryers of the garden unless told otherwise."""
    with open_book(book_path) as book:
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
    return _basket_page(request, context_of(request).library.state())


def _basket_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    context = context_of(request)
    garden, today, system = state.garden, state.today, state.garden.units.value
    house = household_of(context.library.path, garden, context.trade)
    picked_basket = basket(garden, context.trade, today=today, now=state.now, household=house)
    patches = {line.patch.key: line.patch for line in picked_basket.lines}.values() or pick_view.built(garden)
    return page_of(
        request, "picks/picks.html", state, status=status,
        rows=pick_view.basket_rows(picked_basket, garden, today),
        plan=pick_view.plan_lines(picked_basket, garden, context.trade, today),
        sums=pick_view.sum_words(picked_basket, system), head=_head(picked_basket.lines, today, system),
        resting=[_resting(kind, day, context.trade, today) for kind, day in picked_basket.resting[:1]],
        unaccounted=[
            (e.key, _unaccounted_line(e, garden, today))
            for e in reversed(picked_basket.unaccounted[-UNACCOUNTED_SHOWN:])
        ],
        unaccounted_count=len(picked_basket.unaccounted),
        warm=[line.pick.key for line in picked_basket.lines if line.chilled_on is None],
        dryer=_dryer(request), house=_house_fields(house, system), house_words=_house_words(house, system),
        cautions=pick_view.cautions(context.trade, patches, ("eat", "kitchen", "identify"), system),
        **values,
    )  # fmt: skip


def _resting(kind: str, day: date, trade: Trade, today: date) -> str:
    return (
        f"On {words.day(day, today)} {species_name(kind, trade)} is left out: some people get an upset "
        "stomach when they eat it day after day, and after a first taste you should wait a day."
    )


def _unaccounted_line(entry: LogEntry, garden: Garden, today: date) -> str:
    left = pick_view.left_words(entry, garden)
    return f"{words.day(entry.day, today)}, {garden.patch(entry.patch).name}: {left}"


def _head(lines: Sequence[Any], today: date, system: str) -> str:
    if not lines:
        return "The basket is empty."
    total = units.show_mass(math.fsum(line.left_kg for line in lines), system)
    return f"{total} from {words.plural(len(lines), 'pick')}; what spoils first is on top."


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
        ("portion_kg", "Fresh mushrooms per person and meal", mass(house.portion_kg)),
        ("dryer_kg", "One dryer load, fresh", mass(house.dryer_kg)),
        ("freezer_kg", "Room in the freezer, fresh", mass(house.freezer_kg)),
        ("fridge_c", "In the refrigerator", units.show_temperature(house.fridge_c, system)),
        ("room_c", "In the room", units.show_temperature(house.room_c, system)),
    ]


@posted_form
def act_on_basket(request: Request, typed: dict[str, str]) -> Response:
    """Put everything that lies warm into the refrigerator, or change the household."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    if typed.get("act") == "house":
        return _set_house(request, state, typed)
    since_picked = typed.get("since") == "picked"
    now = state.now
    house = household_of(context.library.path, garden, context.trade)
    picked_basket = basket(garden, context.trade, today=today, now=now, household=house)
    key, _ = sent_key(f"{today.isoformat()}-chill", typed, (use.key for use in garden.uses))
    uses = [
        Use(f"{key}-{n}", line.pick.day if since_picked else today, Fate.CHILL, line.left_kg,
            pick=line.pick.key, text=chill_words(Wrapping.PAPER), entered_at=now)
        for n, line in enumerate(picked_basket.lines, 1) if line.chilled_on is None
    ]  # fmt: skip
    if not uses:
        return RedirectResponse("/picks", 303)
    with open_book(context.library.path) as book:
        done = book.add_uses(
            open_or_refuse(garden, context.trade, uses, now=now),
            request_id=key if typed.get("request_id") else "",
        )
    return RedirectResponse(f"/picks?step={done.step}", 303)


def _set_house(request: Request, state: BookState, typed: dict[str, str]) -> Response:
    context = context_of(request)
    system = state.garden.units.value
    errors: dict[str, str] = {}
    fields: dict[str, float] = {}
    shown = {
        name: value
        for name, _, value in _house_fields(
            household_of(context.library.path, state.garden, context.trade), system
        )
    }
    before = asdict(household_of(context.library.path, state.garden, context.trade))
    for name in ("eaters", "portion_kg", "dryer_kg", "freezer_kg", "fridge_c", "room_c"):
        text = typed.get(name, "").strip()
        if text == shown[name]:
            fields[name] = before[name]  # as it was shown, with all its digits
            continue
        try:
            fields[name] = _house_value(name, text, system)
            if name != "eaters":
                Household(**{name: fields[name]})  # type: ignore[arg-type]
            else:
                Household(eaters=int(fields[name]))
        except InputError as error:
            errors[name] = str(error)
    if errors:
        return _basket_page(request, state, status=422, errors=errors, typed=typed)
    with open_book(context.library.path) as book:
        book.set_setting(HOUSEHOLD, json.dumps(fields))
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
            raise InputError("Enter a whole number of people from 0 to 50.", field=name)
        return eaters
    return 0.0 if text in ("", "0") else logbook_form.scale_mass(text, system, field=name)


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
    return _pick_page(request, context_of(request).library.state())


def _pick_page(request: Request, state: BookState, *, status: int = 200, **values: Any) -> Response:
    context = context_of(request)
    garden, today, system = state.garden, state.today, state.garden.units.value
    now = state.now
    pick = pick_of(garden, request.path_params["key"])
    patch = garden.patch(pick.patch)
    left = left_kg(pick, garden.uses)
    line = line_of(
        garden, context.trade, pick, today=today, now=now,
        household=household_of(context.library.path, garden, context.trade),
    )  # fmt: skip
    answer = opens(garden, context.trade, pick, Fate.EAT, day=today, now=now)
    checks = pick_view.check_lines(garden, context.trade, pick, now)
    buttons = [
        FateButton(f"{fate.value}{'-' + more if more else ''}", name, answer.open or not fate.feeds)
        for fate, more, name in FATES
    ]
    return page_of(
        request, "picks/pick.html", state, status=status, pick=pick, patch=patch,
        species=species_name(patch.species, context.trade), when=words.day(pick.day, today),
        mass=units.show_mass(pick.mass_kg or 0.0, system),
        count=words.plural(pick.count, "mushroom") if pick.count else "",
        stage=STAGE_WORDS[pick.stage] if pick.stage else "",
        left=units.show_mass(left, system) if left > 0.0005 else "",
        life=pick_view.life_words(line, today, system) if line else (),
        buttons=buttons, shut=() if answer.open else answer.words, opened=answer.words if answer.open else (),
        stopped=any(c.different for c in checks),
        uses=[pick_view.use_words(use, garden, today) for use in garden.uses if use.pick == pick.key],
        checks=checks,
        first_day=pick.day.isoformat(), dryer=_dryer(request),
        cautions=pick_view.cautions(
            context.trade, [patch], ("eat", "kitchen", "identify", "pick"), system
        ),
        selling=pick_view.cautions(context.trade, [patch], ("sell",), system), **values,
    )  # fmt: skip


def _dryer(request: Request) -> str:
    """The page where a load is planned, where this program has one."""
    there = any(getattr(route, "path", "") == DRYER for route in request.app.routes)
    return DRYER if there else ""


@posted_form
def note_use(request: Request, typed: dict[str, str]) -> Response:
    """Write down where a part of a pick went, if it may go there."""
    context = context_of(request)
    state = context.library.state()
    garden, today, now = state.garden, state.today, state.now
    pick = pick_of(garden, request.path_params["key"])
    key, came = sent_key(f"{today.isoformat()}-use", typed, (use.key for use in garden.uses))
    if came:  # a double tap, or a resend: it is noted already
        return RedirectResponse(f"/picks/{pick.key}", 303)
    try:
        use, jars = _use_of(garden, context.trade, pick, typed, now, key)
        checked = open_or_refuse(garden, context.trade, [use], now=now)
        with open_book(context.library.path) as book:
            done = book.add_uses(checked, jars=jars, request_id=key if typed.get("request_id") else "")
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
        raise InputError("Choose what you did with it.", field="fate") from None
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
        key, f"{patch.name}, {words.day(day)}"[:80], JarKind.FROZEN, patch.species, day, mass,
        day + timedelta(days=round(months * DAYS_A_MONTH)), picks=(pick.key,), kept_at_c=-18.0,
    )  # fmt: skip
