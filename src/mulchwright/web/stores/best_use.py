"""Making the most of what there is: how much of which bed, with which recipe; what one more would bring."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.almanac.best_use import Aim, BestUse, PatchUse, ResourceUse, best_use
from mulchwright.almanac.part_laid import laid_in_part
from mulchwright.almanac.recipe_values import UseOption
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Recipe, Stage
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.writes import change_garden
from mulchwright.trade import Trade
from mulchwright.units import show_mass
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.stores.buying import in_words, plan_words, stores_fingerprint, unit_words
from mulchwright.web.stores.frame import planned, store_page
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.stores_wording import parse_money, to_buy_words
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


PATIENCE_S = 0.4
WORTH_TELLING_KG = 0.01
"""A gain below this is not worth telling."""
AIMS = {
    Aim.LIKELY: "likely yield (half reach it)",
    Aim.CAUTIOUS: "cautious yield (9 in 10 do)",
    Aim.MODEST: "modest crop times chance",
    Aim.BEDS: "number of beds started",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be made the most of: the aim, money to spend or none, and beds that must be built."""

    aim: Aim
    money_cents: int | None
    must: tuple[str, ...]
    typed_money: str

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """The same as fields of a form."""
        return (
            ("aim", self.aim.value),
            ("money", self.typed_money),
            *((f"must_{key}", "yes") for key in self.must),
        )


def _read(typed: Mapping[str, str], garden: Garden) -> tuple[Asked, dict[str, str]]:
    errors: dict[str, str] = {}
    aim = next((one for one in Aim if one.value == typed.get("aim")), Aim.LIKELY)
    text = " ".join(typed.get("money", "").split())[:60]
    cents: int | None = None
    if text:
        try:
            cents = parse_money(text, "money")
        except InputError as error:
            errors["money"] = str(error)
    must = tuple(patch.key for patch in planned(garden) if typed.get(f"must_{patch.key}"))
    return Asked(aim, cents, must, text), errors


def _job(context: AppContext, state: BookState, asked: Asked, patience_s: float = PATIENCE_S) -> Job:
    garden, series, trade = state.garden, state.series, context.trade
    today = state.today
    key = fingerprint_of(
        "best use",
        stores_fingerprint(garden),
        state.fingerprint,
        today,
        asked.aim,
        asked.money_cents,
        asked.must,
    )
    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> BestUse:
        return best_use(
            garden_in_plan_light(garden, series)[0], series, trade, today=today, aim=asked.aim,
            must=asked.must, money_cents=asked.money_cents, progress=report, settings=settings,
        )  # fmt: skip

    return context.jobs.ask(key, work, patience_s=patience_s)


@dataclass(frozen=True, slots=True)
class BedUse:
    """What one bed gets: how much to lay, with what, and why; `drawn`: what the plan will show."""

    key: str
    name: str
    lay: str
    gets: str
    why: str
    drawn: str
    options: Table


def _bed(use: PatchUse, garden: Garden, today: date, currency: str) -> BedUse:
    system = garden.units.value
    chosen = use.chosen
    lay = drawn = ""
    if chosen is None:
        gets, why = "Nothing for now: leave this bed unbuilt", ""
    else:
        gets = chosen.option.name
        lay = use.area_words(system)
        if use.is_part:
            drawn = (
                "On the plan the bed becomes that part of its outline with the shortest edge: edges dry."
                if use.patch.outline
                else "The rest stays as it is; the bed's area becomes the part you lay."
            )
        picking = str(answers.picking(chosen.expected, today))
        why = (
            f"Likely {_kg(use.likely_kg, system)} in its first year, {_cautious(use, chosen, system)}. "
            f"First picking: {picking[:1].lower()}{picking[1:]}"
        )
    rows = tuple(
        (
            one.option.name + (" (chosen)" if one is chosen else ""),
            _kg(one.likely_kg, system),
            _kg(one.cautious_kg, system),
            words.chance(one.chance),
            _kg(one.expected.picked_if_any_kg.p10, system) if one.expected.picked_if_any_kg else "nothing",
            words.day(one.run_day, today) if one.run_day else "beyond this forecast",
            words.day(one.picking_on, today) if one.picking_on else "none",
            to_buy_words(one, currency),
        )
        for one in use.options
    )
    return BedUse(
        use.patch.key,
        use.patch.name,
        lay,
        gets,
        why,
        drawn,
        Table(
            f"Recipes for {use.patch.name}, laid in full",
            (
                "recipe",
                "likely",
                "9 in 10 reach",
                "a crop",
                "9 in 10 crops reach",
                "half run",
                "first picking, likely",
                "still to buy for this bed",
            ),
            rows,
        ),
    )


def _cautious(use: PatchUse, one: UseOption, system: str) -> str:
    """What 9 in 10 futures reach, or how often there is no crop where that is nothing."""
    if use.cautious_kg >= 0.0005:
        return f"at least {_kg(use.cautious_kg, system)} in 9 of 10 futures"
    none = f"chance of no crop at all in that year: {words.chance(1 - one.chance)}"
    crop = one.expected.picked_if_any_kg
    if crop is None:
        return none
    tenth, half = (_kg(use.crop_share * kg, system) for kg in (crop.p10, crop.p50))
    return f"{none}; if a crop comes, 9 in 10 are {tenth} or more, half {half}"


def _kg(kg: float, system: str) -> str:
    return show_mass(kg, system) if kg >= 0.0005 else "nothing"


def _resource(one: ResourceUse, garden: Garden, trade: Trade, currency: str) -> tuple[str, ...]:
    system = garden.units.value
    if one.key == "money":
        have, used, left = (f"{value:,.2f} {one.unit}" for value in (one.have, one.used, one.left))
    else:
        have, used, left = (
            unit_words(value, one.unit, system) if value > 1e-9 else "none"
            for value in (one.have, one.used, one.left)
        )
    more = ""
    if one.one_more is not None:
        nothing = one.one_more.gain_kg < WORTH_TELLING_KG and one.one_more.gain_beds <= 0
        more = "nothing" if nothing else in_words(one.one_more.words, garden, trade)
        if not nothing and one.one_more_cents is not None:
            seller = next((x.name for x in garden.sellers if x.key == one.one_more_seller), "")
            more += f" It costs {one.one_more_cents / 100:,.2f} {currency} at {seller}."
    return one.name[:1].upper() + one.name[1:], have, used, left, "yes" if one.binds else "no", more


def page(request: Request) -> Response:
    """The question, and the plan once it is worked out."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    asked, errors = _read(dict(request.query_params.items()), garden)
    values: dict[str, Any] = {
        "aims": [(aim.value, aim_words) for aim, aim_words in AIMS.items()], "asked": asked, "errors": errors,
        "beds": [(patch.key, patch.name) for patch in planned(garden)], "waiting": False, "share": 0.0,
        "trouble": "", "answer": None, "moved": request.query_params.get("moved") == "yes",
        "currency": garden.offers[0].currency if garden.offers else "USD",
    }  # fmt: skip
    if planned(garden) and not errors:
        job = _job(context, state, asked)
        if job.under_way:
            values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
        elif job.trouble:
            values["trouble"] = in_words(job.trouble, garden, context.trade)
        else:
            values |= _values(cast("BestUse", job.result), context, state)
    return store_page(request, "stores/best_use.html", state, status=422 if errors else 200, **values)


def _values(found: BestUse, context: AppContext, state: BookState) -> dict[str, Any]:
    garden, trade, system = state.garden, context.trade, state.garden.units.value
    today = state.today
    built = [use for use in found.patches if use.chosen is not None]
    if built:
        kg = found.aim_kg
        what = {
            Aim.LIKELY: "Likely", Aim.BEDS: "Likely", Aim.CAUTIOUS: "In 9 of 10 futures at least",
            Aim.MODEST: "A modest crop times its chance comes to",
        }[found.aim]  # fmt: skip
        beds = words.plural(len(built), "bed")
        answer = Headline(f"{what} ", show_mass(kg, system), f" in their first year, from {beds}.")
    else:
        answer = Headline("By this aim ", "nothing is worth building", " from what there is.")
    changes = [
        use for use in built
        if use.chosen is not None
        and (use.is_part or use.chosen.option.recipe != garden.patch(use.patch.key).recipe)
    ]  # fmt: skip
    return {
        "answer": answer,
        "uses": [_bed(use, garden, today, found.currency) for use in found.patches],
        "binding": words.joined([one.name for one in found.binding]),
        "resources": Table(
            "Each thing, and one more of it",
            ("thing", "at hand", "used", "left", "limits the plan", "one more"),
            tuple(_resource(one, garden, trade, found.currency) for one in found.resources),
        ),
        "proof": _proof(found, built=bool(built)),
        "tie": "" if not built else in_words(found.tie_words, garden, trade),
        "notes": [in_words(note, garden, trade) for note in found.notes],
        "buy": plan_words(
            found.purchase.purchase.plan, found.purchase.needs, garden, found.currency, "Packages to buy"
        )
        if found.purchase is not None and found.purchase.purchase.plan.lines
        else None,
        "modest": found.aim_is_blind,
        "changes": [use.patch.name for use in changes],
        "built": bool(built),
        "plan_fingerprint": _plan_fingerprint(found),
    }  # fmt: skip


def _proof(found: BestUse, *, built: bool) -> str:
    """What the solver knows of the plan, in words that fit it."""
    if found.proved and not built:
        return "Proved: no choice of recipes yields anything by this aim from what there is."
    return found.status[:1].upper() + found.status[1:] + "."


def _plan_fingerprint(found: BestUse) -> str:
    """A fingerprint of what would be written, so that accepting writes what was shown."""
    return fingerprint_of(
        [(use.patch.key, use.chosen and use.chosen.option.recipe, use.share) for use in found.patches]
    )


@posted_form
def accept(request: Request, typed: Mapping[str, str]) -> Response:
    """Write the recipes and the parts to lay into the planned beds, as one act."""
    context = context_of(request)
    state = context.library.state()
    asked, errors = _read(typed, state.garden)
    if errors:
        raise InputError(next(iter(errors.values())))
    job = _job(context, state, asked, patience_s=120.0)
    found = job.result
    query = "&".join(f"{name}={value}" for name, value in asked.fields if value)
    if not isinstance(found, BestUse) or _plan_fingerprint(found) != typed.get("plan_fingerprint"):
        # The stores or the beds changed since the plan was shown: show what is best now.
        return RedirectResponse(f"/stores/best-use?{query}&moved=yes", 303)
    wanted: dict[str, tuple[Recipe, float]] = {
        use.patch.key: (use.chosen.option.recipe, use.share)
        for use in found.patches
        if use.chosen is not None
    }
    before = {patch.key: patch for patch in state.garden.patches}

    def change(garden: Garden) -> Garden:
        for key in wanted:
            now = next((patch for patch in garden.patches if patch.key == key), None)
            if now is None or now != before[key] or now.stage is not Stage.PLANNED:
                raise InputError(
                    f"“{before[key].name}” was changed in another window since the plan was made; nothing "
                    "was saved. Look at the plan again."
                )
        return replace(
            garden,
            patches=tuple(
                replace(laid_in_part(patch, wanted[patch.key][1]), recipe=wanted[patch.key][0])
                if patch.key in wanted
                else patch
                for patch in garden.patches
            ),
        )

    beds = "1 bed" if len(wanted) == 1 else f"{len(wanted)} beds"
    change_garden(context.library.path, change, what=f"best use of the stores written into {beds}")
    return RedirectResponse(f"/stores/best-use?{query}", 303)
