"""`mulchwright needs`, `best-use` and `when`: what beds take, the best of what there is, the day to build."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from mulchwright.cli.arguments import AsJson, BookPath
from mulchwright.cli.output import in_plan_light, print_json, progress_bar, read_book, run_settings_in
from mulchwright.errors import InputError
from mulchwright.services.clock import today_in

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.almanac import BestUse, NeedLine, Needs, WhenToBuild
    from mulchwright.almanac.best_use import ResourceUse
    from mulchwright.gather.ranges import Amount

Members = Annotated[
    int | None,
    typer.Option(min=20, max=5000, metavar="N", help="How many possible seasons to compute.  [default: 512]"),
]


class Aims(StrEnum):
    """Which yield a plan is chosen by."""

    LIKELY = "likely"
    CAUTIOUS = "cautious"
    MODEST = "modest"
    BEDS = "beds"


def add_stores(app: typer.Typer) -> None:
    """Hook the commands of this module into the command line."""
    app.command()(needs)
    app.command(name="best-use")(best_use)
    app.command()(when)


# ---- commands ---------------------------------------------------------------


def needs(book: BookPath, as_json: AsJson = False) -> None:
    """Tell what the planned beds take, what the lots cover, and what is short.

    Lots that may not be used are named with the reasons. The JSON is described in docs/stores.md.
    """
    from mulchwright import almanac
    from mulchwright.almanac.stores_json import needs_json
    from mulchwright.trade import load_trade

    garden, _ = read_book(book)
    found = almanac.needs_of(garden, load_trade(), today=today_in(garden))
    if as_json:
        print_json(needs_json(found))
    else:
        _print_needs(found, garden.units.value)


def best_use(
    book: BookPath,
    aim: Annotated[
        Aims,
        typer.Option(
            "--aim",
            help="Choose by the likely yield, by the one that 9 in 10 futures beat, by a modest "
            "crop times its chance, for beds that may bring nothing, or start the most beds.",
        ),
    ] = Aims.LIKELY,
    money: Annotated[
        str | None,
        typer.Option("--money", metavar="SUM", help="What you can spend on offers, such as 60 or 59.50."),
    ] = None,
    members: Members = None,
    as_json: AsJson = False,
) -> None:
    """Choose how much of each planned bed to lay, and with which recipe, to make the most of the lots.

    A bed may be laid in part, and one that is best left unbuilt gets none. With --money, packages on offer
    are bought on top of the lots.
    The JSON is described in docs/stores.md.
    """
    from mulchwright import almanac
    from mulchwright.almanac.stores_json import best_use_json
    from mulchwright.trade import load_trade

    garden, series = read_book(book)
    cents = None if money is None else _cents(money)
    with progress_bar("Comparing recipes") as progress:
        found = almanac.best_use(
            in_plan_light(garden, series),
            series,
            load_trade(),
            today=today_in(garden),
            aim=almanac.Aim(aim.value),
            money_cents=cents,
            settings=run_settings_in(book, members),
            progress=progress,
        )
    if as_json:
        print_json(best_use_json(found))
    else:
        sellers = {seller.key: seller.name for seller in garden.sellers}
        _print_best_use(found, garden.units.value, sellers)


def when(
    book: BookPath,
    patch: Annotated[
        str, typer.Argument(metavar="PATCH", help="Key of a planned patch.", show_default=False)
    ],
    weeks: Annotated[
        int, typer.Option(min=1, max=60, metavar="N", help="How many weeks from today on to compare.")
    ] = 40,
    members: Members = None,
    as_json: AsJson = False,
) -> None:
    """Find the best weeks to build a planned bed.

    The same bed is laid in each week, over the same weathers and with the same luck. The JSON is described
    in docs/stores.md.
    """
    from mulchwright import almanac
    from mulchwright.almanac.stores_json import when_json
    from mulchwright.trade import load_trade

    garden, series = read_book(book)
    today = today_in(garden)
    with progress_bar("Building in each week") as progress:
        found = almanac.when_to_build(
            in_plan_light(garden, series),
            series,
            load_trade(),
            patch,
            today=today,
            weeks=weeks,
            settings=run_settings_in(book, members),
            progress=progress,
        )
    if as_json:
        print_json(when_json(found))
    else:
        _print_when(found, today, garden.units.value)


def _cents(typed: str) -> int:
    try:
        exact = Decimal(typed) * 100
    except InvalidOperation:
        raise InputError(
            f"--money {typed!r} is not an amount; write it as 60 or 59.50.", field="money"
        ) from None
    if not exact.is_finite() or exact != exact.to_integral_value() or exact < 0:
        raise InputError(
            f"--money {typed!r}: enter an amount of 0 or more in whole cents, such as 59.50.", field="money"
        )
    return int(exact)


# ---- in words ---------------------------------------------------------------


def _rows(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from mulchwright.cli.printing import print_rows

    if rows:
        print_rows(title, [dict(zip(heads, row, strict=True)) for row in rows])


def _shown(amount: float, unit: str, system: str) -> str:
    from mulchwright.units import show_area, show_bulk_volume, show_mass

    if amount < 0.0005 and unit in ("L", "kg", "m2", "pieces"):
        return "nothing"
    if unit == "L":
        return show_bulk_volume(amount, system)
    if unit == "kg":
        return show_mass(amount, system)
    if unit == "m2":
        return show_area(amount, system)
    return f"{amount:.0f}" if unit == "pieces" else f"{amount:.2f} {unit}"


def _say(words: str, system: str) -> None:
    """A sentence of the core with its figures in the garden's units."""
    from mulchwright.units import in_units

    print(in_units(words, system))


def _span(amount: Amount, line: NeedLine, system: str) -> str:
    likely = _shown(amount.likely, line.unit.value, system)
    if amount.low == amount.high:
        return likely
    low, high = (_shown(value, line.unit.value, system) for value in (amount.low, amount.high))
    return f"{likely} ({low} to {high})"


def _print_needs(found: Needs, system: str) -> None:
    rows = [
        (
            line.name,
            _span(line.need, line, system),
            _shown(line.have.likely, line.unit.value, system),
            "nothing" if line.covered else _shown(line.short.likely, line.unit.value, system),
        )
        for line in found.lines
    ]
    beds = ", ".join(patch.name for patch in found.patches) or "no bed"
    _rows(f"Needed for {beds}", ("item", "needed", "at hand", "short"), rows)
    names = {report.lot.key: report.lot.name for report in found.lots}
    for report in found.lots:
        if not report.usable and report.fitness:
            reason = report.fitness[0].reasons[0].words if report.fitness[0].reasons else "not wanted"
            _say(f"{report.lot.name} is not counted: {reason}", system)
    for line in found.lines:
        for words in line.capped:
            _say(words, system)
        if line.stand_ins:
            print(f"Could replace {line.name}: {', '.join(names[one.lot] for one in line.stand_ins)}.")
    for note in found.notes:
        _say(note, system)


def _print_best_use(found: BestUse, system: str, sellers: dict[str, str]) -> None:
    from mulchwright.cli.printing import tenths_words
    from mulchwright.units import in_units

    rows = [
        (
            use.patch.name,
            use.area_words(system),
            "" if use.chosen is None else use.chosen.option.name,
            "" if use.chosen is None else _shown(use.likely_kg, "kg", system),
            "" if use.chosen is None else _shown(use.cautious_kg, "kg", system),
            "" if use.chosen is None else tenths_words(use.chosen.chance),
        )
        for use in found.patches
    ]
    _rows(
        f"By the {found.aim.words}",
        ("bed", "lay", "recipe", "likely crop, first year", "cautious", "any crop, first year"),
        rows,
    )
    _say(f"{found.status[:1].upper()}{found.status[1:]}. {found.tie_words}", system)
    resources = [
        (
            one.name,
            _shown(one.have, one.unit, system),
            _shown(one.used, one.unit, system),
            "yes" if one.binds else "no",
            in_units(one.one_more.words, system) + _price(one, found.currency, sellers)
            if one.one_more
            else "",
        )
        for one in found.resources
    ]
    _rows("What there is", ("item", "at hand", "used", "limits", "one more"), resources)
    if found.purchase is not None:
        for line in found.purchase.purchase.plan.lines:
            print(f"Buy {line.count} × {line.offer.name} from {sellers.get(line.offer.seller, '')}.")
        for one in found.purchase.purchase.uncovered:
            _say(one.words, system)
    for note in found.notes:
        _say(note, system)


def _price(one: ResourceUse, currency: str, sellers: dict[str, str]) -> str:
    """What one more costs, where it brings something and is on offer."""
    gain = one.one_more
    if one.one_more_cents is None or gain is None or (gain.gain_kg <= 0 and gain.gain_beds <= 0):
        return ""
    return f" It costs {one.one_more_cents / 100:.2f} {currency} at {sellers.get(one.one_more_seller, '')}."


def _print_when(found: WhenToBuild, today: date, system: str) -> None:
    from mulchwright.cli.printing import tenths_words
    from mulchwright.units import day_words

    rows = [
        (
            day_words(week.built_on, today),
            _shown(week.crop.likely_kg, "kg", system),
            tenths_words(week.crop.chance),
            day_words(week.picking.likely, today) if week.picking.likely else "none",
        )
        for week in found.weeks
    ]
    heads = ("built", "likely crop, first year", "any crop, first year", "first picking, likely")
    _rows(found.patch.name, heads, rows)
    _say(found.words, system)
