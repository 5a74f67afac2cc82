"""Buying what is short at least cost, and sharing the order with neighbors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from mulchwright.almanac.purchases import Buying, buying
from mulchwright.almanac.shared_orders import Sharing, sharing
from mulchwright.almanac.stores import Needs, item_name
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Household, Measure, Offer, Seller
from mulchwright.gather.purchase import Need, PurchasePlan
from mulchwright.gather.share import DeliveryRule
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.shared.context import context_of
from mulchwright.web.stores.frame import store_page
from mulchwright.web.stores.needs import needs_or_trouble
from mulchwright.web.stores.offer_forms import amount_words, item_words
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.stores_wording import money
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from collections.abc import Callable

    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext

PATIENCE_S = 0.6
RULES = {
    DeliveryRule.BY_MASS: "by weight taken",
    DeliveryRule.EQUAL: "equally",
    DeliveryRule.BY_VALUE: "by the price of what each takes",
    DeliveryRule.SHAPLEY: "by what each adds to the charge",
}


def stores_fingerprint(garden: Garden) -> str:
    """A fingerprint of all that needs, offers and shares depend on."""
    return fingerprint_of(
        garden.lots, garden.sellers, garden.offers, garden.households, garden.patches, garden.units,
        garden.recipes, garden.place.name,
    )  # fmt: skip


def unit_words(amount: float, unit: str, system: str) -> str:
    """An amount of an item in its unit, in the grower's units."""
    return amount_words(amount, Measure(unit), system)


@dataclass(frozen=True, slots=True)
class PlanWords:
    """A way to buy, in words."""

    lines: Table
    bills: tuple[str, ...]
    leftovers: tuple[str, ...]
    paid: str
    net: str


def plan_words(
    plan: PurchasePlan, needs: tuple[Need, ...], garden: Garden, currency: str, caption: str
) -> PlanWords:
    """A purchase plan in words."""
    system = garden.units.value
    sellers = {seller.key: seller.name for seller in garden.sellers}
    unit_of = {need.item: need.unit for need in needs}
    rows = tuple(
        (
            line.offer.name,
            sellers.get(line.offer.seller, line.offer.seller),
            f"{line.count} × {unit_words(line.offer.size, unit_of[line.offer.item], system)}",
            money(line.offer.price_cents or 0, currency),
            money(line.cents, currency),
        )
        for line in plan.lines
    )
    bills = tuple(
        f"{bill.seller.name}: goods {money(bill.goods_cents, currency)}, delivery "
        f"{money(bill.delivery_cents, currency) if bill.delivery_cents else 'free'}. {_why(bill.words)}"
        for bill in plan.bills
    )
    leftovers = tuple(
        f"{unit_words(one.amount, one.need.unit, system)} of {one.need.name}, still worth "
        f"{money(one.worth_cents, currency)} next season"
        if one.worth_cents
        else f"{unit_words(one.amount, one.need.unit, system)} of {one.need.name}, which will not keep"
        for one in plan.leftovers
    )
    return PlanWords(
        Table(caption, ("what", "seller", "packages", "price of one", "price"), rows),
        bills,
        leftovers,
        money(plan.paid_cents, currency),
        money(plan.net_cents, currency),
    )


def _why(text: str) -> str:
    """The reason for a delivery charge, unless it only repeats the sum."""
    return "" if "charges nothing" in text or "for delivery." in text else text


def _named(text: str, garden: Garden, trade: Trade) -> str:
    """Keys of sellers and items in a sentence as their names."""
    for seller in garden.sellers:
        text = text.replace(f"from {seller.key}", f"from {seller.name}")
        text = text.replace(f"ask {seller.key} for", f"ask {seller.name} for")
    for offer in garden.offers:
        key = offer.item if offer.species is None else f"{offer.item}-of-{offer.species}"
        if "-" in key:
            text = text.replace(key, item_name(offer.item, trade, offer.species))
    return text


_SQUARE = {"m2": "m²"}


def in_words(text: str, garden: Garden, trade: Trade) -> str:
    """A sentence about needs and offers in the grower's units and names."""
    for plain, shown in _SQUARE.items():
        text = text.replace(f" {plain}", f" {shown}")
    return in_units(_named(text, garden, trade), garden.units.value, bulk=True)


def offer_rows(garden: Garden, trade: Trade) -> tuple[tuple[str, str, str], ...]:
    """Offers as (key, name, told)."""
    sellers = {seller.key: seller.name for seller in garden.sellers}
    return tuple((o.key, o.name or item_words(o.item, o.species, trade), _offer(o, sellers, garden, trade))
                 for o in garden.offers)  # fmt: skip


def _offer(offer: Offer, sellers: dict[str, str], garden: Garden, trade: Trade) -> str:
    price = "price not known" if offer.price_cents is None else money(offer.price_cents, offer.currency)
    size = amount_words(offer.size, offer.unit, garden.units.value)
    what = f"{item_words(offer.item, offer.species, trade)}, " if offer.name else ""
    most = f", at most {offer.most}" if offer.most is not None else ""
    return f"{what}{size} for {price} from {sellers.get(offer.seller, offer.seller)}{most}"


def _seller(seller: Seller, currency: str) -> str:
    parts = [
        f"delivery {money(seller.delivery_cents, currency)}"
        if seller.delivery_cents
        else "no delivery charge"
    ]
    if seller.free_from_cents is not None and seller.delivery_cents:
        parts.append(f"free from {money(seller.free_from_cents, currency)}")
    if seller.minimum_cents:
        parts.append(f"smallest order {money(seller.minimum_cents, currency)}")
    if seller.delivery_days is not None:
        parts.append(f"here in {words.plural(seller.delivery_days, 'day')}")
    return ", ".join(parts)


def _currency(garden: Garden) -> str:
    return garden.offers[0].currency if garden.offers else "USD"


def _ask(
    context: AppContext,
    state: BookState,
    what: str,
    work: Callable[[Callable[[float], None]], Any],
    *more: object,
) -> Job:
    key = fingerprint_of(what, stores_fingerprint(state.garden), state.today, *more)
    return context.jobs.ask(key, work, patience_s=PATIENCE_S)


def buying_page(request: Request) -> Response:
    """Offers, sellers, and the least-cost plan for what is short."""
    context = context_of(request)
    state = context.library.state()
    garden, today, trade = state.garden, state.today, context.trade
    currency = _currency(garden)
    needs, trouble = needs_or_trouble(garden, trade, today)
    values: dict[str, Any] = {
        "trouble": trouble, "answer": None, "plan": None, "second": None, "tie": "", "proof": "",
        "uncovered": (), "aside": (), "waiting": False, "share": 0.0, "short": (),
        "offers": offer_rows(garden, trade),
        "sellers": [(s.key, s.name, _seller(s, currency), s.note) for s in garden.sellers],
    }  # fmt: skip
    if needs is not None:
        values["short"] = tuple(needs.short)
        if not needs.patches:
            values["answer"] = Headline("Plan a bed first; then this page shows what to buy", "", ".")
        elif not needs.short:
            values["answer"] = Headline("You need to buy nothing: what you have is ", "likely enough", ".")
        else:
            values |= _bought(context, state, needs, trade)
    return store_page(request, "stores/buying.html", state, **values)


def _bought(context: AppContext, state: BookState, needs: Needs, trade: Trade) -> dict[str, Any]:
    garden = state.garden
    job = _ask(context, state, "buying", lambda _: buying(garden, trade, needs))
    if job.under_way:
        return {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
    if job.trouble:
        return {"trouble": in_words(job.trouble, garden, trade)}
    return buying_values(job.result, garden, trade)


def buying_values(found: Buying, garden: Garden, trade: Trade) -> dict[str, Any]:
    """What the page shows of a purchase."""
    purchase, system = found.purchase, garden.units.value
    plan = purchase.plan
    currency = purchase.currency
    if plan.lines:
        answer = Headline("The cheapest way costs ", money(plan.paid_cents, currency), ", delivery included.")
    else:
        answer = Headline("No offer covers what you’re short of", "", ".")
    return {
        "answer": answer,
        "plan": plan_words(plan, found.needs, garden, currency, "Packages to buy") if plan.lines else None,
        "second": plan_words(purchase.second, found.needs, garden, currency, "Packages of the second best")
        if purchase.second
        else None,
        "second_more": money(purchase.second_costs_more_cents or 0, currency),
        "tie": in_words(purchase.tie_words, garden, trade),
        "proof": purchase.status[:1].upper() + purchase.status[1:] + ".",
        "uncovered": [in_words(one.words, garden, trade) for one in purchase.uncovered],
        "aside": [in_units(text, system) for text in (*map_named(purchase.set_aside, garden, trade),
                                                      *map_named(found.notes, garden, trade))],
        "needs": [f"{unit_words(n.amount, n.unit, system)} of {n.name}" for n in found.needs],
    }  # fmt: skip


def map_named(texts: tuple[str, ...], garden: Garden, trade: Trade) -> tuple[str, ...]:
    """Sentences with names in place of keys."""
    return tuple(in_words(text, garden, trade) for text in texts)


# ---- sharing ----------------------------------------------------------------


def _household(household: Household, trade: Trade, system: str) -> str:
    parts = [
        f"{amount_words(one.amount, one.unit, system)} of {item_words(one.item, one.species, trade)}"
        for one in household.takes
    ]
    return f"takes {words.joined(parts)}" if parts else "takes nothing yet"


def _rule(request: Request) -> DeliveryRule:
    text = request.query_params.get("rule", "")
    return DeliveryRule(text) if text in list(DeliveryRule) else DeliveryRule.BY_MASS


def sharing_note(request: Request) -> Response:
    """The note to hand round, as a plain text file."""
    context = context_of(request)
    state = context.library.state()
    garden, trade = state.garden, context.trade
    needs, trouble = needs_or_trouble(garden, trade, state.today)
    if needs is None:
        raise InputError(trouble)
    note = sharing_values(sharing(garden, trade, needs, rule=_rule(request)), None, garden, trade).get("note")
    if not note:
        raise InputError("Nothing to buy, so there is no order to share.")
    return PlainTextResponse(
        f"{note}\n", headers={"content-disposition": 'attachment; filename="shared-order.txt"'}
    )


def sharing_page(request: Request) -> Response:
    """Households, and one order split fairly between them."""
    context = context_of(request)
    state = context.library.state()
    garden, today, trade = state.garden, state.today, context.trade
    system = garden.units.value
    rule = _rule(request)
    needs, trouble = needs_or_trouble(garden, trade, today)
    values: dict[str, Any] = {
        "trouble": trouble, "rules": [(one.value, rule_words) for one, rule_words in RULES.items()],
        "rule": rule.value,
        "rule_words": rule.words, "shares": (), "tables": (), "note": "", "answer": None, "notes": (),
        "waiting": False, "share": 0.0, "alone": "",
        "households": [
            (one.key, one.name, _household(one, trade, system), one.note) for one in garden.households
        ],
    }  # fmt: skip
    if needs is not None and garden.households:

        def work(_: object) -> tuple[Sharing, int | None]:
            return sharing(garden, trade, needs, rule=rule), _alone(garden, trade, needs)

        job = _ask(context, state, "sharing", work, rule.value)
        if job.under_way:
            values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
        elif job.trouble:
            values["trouble"] = in_words(job.trouble, garden, trade)
        else:
            found, alone = job.result
            values |= sharing_values(found, alone, garden, trade)
    return store_page(request, "stores/sharing.html", state, **values)


def _alone(garden: Garden, trade: Trade, needs: Needs) -> int | None:
    """What the grower would pay without the others, None where nothing would be bought."""
    if not needs.short:
        return None
    return buying(garden, trade, needs).purchase.plan.paid_cents or None


def sharing_values(found: Sharing, alone_cents: int | None, garden: Garden, trade: Trade) -> dict[str, Any]:
    """What the page shows of a shared order."""
    purchase, system, order = found.buying.purchase, garden.units.value, found.order
    notes = [*map_named(purchase.set_aside, garden, trade), *map_named(found.buying.notes, garden, trade),
             *(in_words(one.words, garden, trade) for one in purchase.uncovered)]  # fmt: skip
    if order is None:
        return {
            "answer": Headline("Nothing to buy, so nothing to share", "", "."),
            "notes": notes,
        }
    currency = order.currency
    unit_of = {need.item: need.unit for need in found.buying.needs}
    bought = {item.key: (line.offer.item, line.amount) for item, line in _amounts(found)}

    def amount(key: str, kg: float, of_kg: float) -> str:
        """What is taken in the item's own unit: the order is split by mass, in proportion."""
        item, whole = bought[key]
        return unit_words(whole * kg / of_kg if of_kg else 0.0, unit_of[item], system)

    lines = [f"Shared order, {garden.place.name}", ""]
    tables = []
    for share in order.shares:
        lines.append(share.household.name)
        rows: list[tuple[str, ...]] = []
        for part in share.taken:
            sentence = amount(part.item.key, part.kg, part.item.bought_kg)
            lines.append(f"  {part.item.name}: {sentence}, {money(part.cents, currency)}")
            rows.append((part.item.name, sentence, money(part.cents, currency)))
        delivery = money(share.delivery_cents, currency) if share.delivery_cents else "nothing"
        lines += [f"  delivery: {delivery}", f"  pays in all: {money(share.cents, currency)}", ""]
        rows += [("delivery", "", delivery), ("in all", "", money(share.cents, currency))]
        tables.append(Table(share.household.name, ("what", "takes", "pays"), tuple(rows)))
    together = order.goods_cents + order.delivery_cents
    lines += [
        (
            f"Together: goods {money(order.goods_cents, currency)}, delivery "
            f"{money(order.delivery_cents, currency)}, in all {money(together, currency)}."
        ),
        "Goods are split by the amount that each takes. " + order.rule.words,
        "Cents that do not divide go to the largest fractions, so that all sums agree.",
    ]
    own = order.shares[0].cents
    alone = ""
    if alone_cents is not None:
        saved = alone_cents - own
        alone = (
            f"Alone it would be {money(alone_cents, currency)}; sharing saves you {money(saved, currency)}."
            if saved > 0
            else f"Alone it would be {money(alone_cents, currency)}; sharing saves you nothing this time."
        )
    return {
        "answer": Headline("Your part of the shared order comes to ", money(own, currency), "."),
        "alone": alone,
        "tables": tables,
        "note": "\n".join(lines),
        "notes": [*notes, *(in_words(text, garden, trade) for text in order.words)],
        "plan": plan_words(purchase.plan, found.buying.needs, garden, purchase.currency, "The order"),
    }


@dataclass(frozen=True, slots=True)
class _Whole:
    offer: Offer
    amount: float


def _amounts(found: Sharing) -> list[tuple[Any, _Whole]]:
    """Every item of the order with all that was bought of it, in its own unit."""
    assert found.order is not None
    items = {part.item.key: part.item for share in found.order.shares for part in share.taken}
    rows = []
    for item in items.values():
        lines = [
            line
            for line in found.buying.purchase.plan.lines
            if f"{line.offer.item} from {line.offer.seller}" == item.key
        ]
        rows.append((item, _Whole(lines[0].offer, sum(line.amount for line in lines))))
    return rows
