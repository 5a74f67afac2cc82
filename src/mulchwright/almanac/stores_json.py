"""What the stores tell, as the stable JSON that scripts read; described in docs/stores.md.

Days are "2031-04-14", amounts in the item's unit, money in whole cents; what is not known is null.
"""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from mulchwright.almanac.best_use import BestUse, PatchUse, ResourceUse
from mulchwright.almanac.build_weeks import BuildWeek
from mulchwright.almanac.building import WhenToBuild
from mulchwright.almanac.outlook_result import Quantiles
from mulchwright.almanac.purchases import Buying
from mulchwright.almanac.recipe_values import UseOption
from mulchwright.almanac.stores import LotReport, NeedLine, Needs
from mulchwright.almanac.year_ahead import YearPicking
from mulchwright.gather.ranges import Amount
from mulchwright.gather.takeoff import LayerNeed, PlaneNeed

__all__ = ["best_use_json", "buying_json", "needs_json", "when_json"]


def _number(value: float) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _amount(amount: Amount) -> dict[str, Any]:
    return {
        "low": _number(amount.low),
        "likely": _number(amount.likely),
        "high": _number(amount.high),
    }


def _quantiles(values: Quantiles) -> dict[str, Any]:
    return {name: _number(getattr(values, name)) for name in ("p10", "p50", "p90", "mean")}


def _picking(picking: YearPicking | None) -> dict[str, Any]:
    if picking is None:
        return {"p10": None, "p50": None, "p90": None}
    return {"p10": _day(picking.low), "p50": _day(picking.likely), "p90": _day(picking.high)}


# ---- needs ------------------------------------------------------------------


def _layer(need: LayerNeed) -> dict[str, Any]:
    return {
        "patch": need.patch,
        "material": need.material,
        "role": need.role,
        "area_m2": _number(need.area_m2),
        "thickness_m": _number(need.thickness_m),
        "in_place_m3": _number(need.in_place_m3),
        "loose_l": _amount(need.loose_l),
        "delivered_kg": _amount(need.delivered_kg),
        "laid_kg": _amount(need.laid_kg),
        "water_l": _amount(need.water_l),
        "soaked": need.soaked,
    }


def _plane(need: PlaneNeed) -> dict[str, Any]:
    return {
        "patch": need.patch,
        "species": need.species,
        "spawn": need.spawn,
        "height_m": _number(need.height_m),
        "mass_kg": _number(need.mass_kg),
        "pegs": need.pegs,
    }


def _line(line: NeedLine) -> dict[str, Any]:
    return {
        "item": line.item,
        "material": line.material,
        "species": line.species,
        "name": line.name,
        "unit": line.unit.value,
        "need": _amount(line.need),
        "have": _amount(line.have),
        "short": _amount(line.short),
        "over": _amount(line.over),
        "covered": line.covered,
        "lots": list(line.lots),
        "capped": list(line.capped),
        "stand_ins": [
            {
                "lot": one.lot,
                "material": one.material,
                "loose_l": _number(one.loose_l),
                "dry_kg": _number(one.dry_kg),
            }
            for one in line.stand_ins
        ],
    }


def _lot(report: LotReport) -> dict[str, Any]:
    return {
        "key": report.lot.key,
        "name": report.lot.name,
        "usable": report.usable,
        "fault": report.fault,
        "fitness": [
            {
                "species": one.species,
                "grade": one.grade.value,
                "largest_share": _number(one.largest_share),
                "reasons": [reason.words for reason in one.reasons],
            }
            for one in report.fitness
        ],
    }


def needs_json(needs: Needs) -> dict[str, Any]:
    """What `mulchwright needs --json` prints."""
    return {
        "on": _day(needs.on),
        "patches": [{"key": patch.key, "name": patch.name} for patch in needs.patches],
        "layers": [_layer(need) for need in needs.takeoff.layers],
        "planes": [_plane(need) for need in needs.takeoff.planes],
        "items": [_line(line) for line in needs.lines],
        "water_l": _amount(needs.takeoff.water_l),
        "lots": [_lot(report) for report in needs.lots],
        "notes": list(needs.notes),
    }


def buying_json(bought: Buying) -> dict[str, Any]:
    """A purchase: its packages, what each seller is paid, and what nothing on offer covers."""
    purchase = bought.purchase
    return {
        "packages": [
            {
                "offer": line.offer.key,
                "seller": line.offer.seller,
                "item": line.offer.item,
                "count": line.count,
                "cents": line.cents,
            }
            for line in purchase.plan.lines
        ],
        "delivery_cents": purchase.plan.delivery_cents,
        "paid_cents": purchase.plan.paid_cents,
        "currency": purchase.currency,
        "proved": purchase.proved,
        "gap_cents": _number(purchase.gap_cents),
        "tie_words": purchase.tie_words,
        "uncovered": [one.words for one in purchase.uncovered],
        "set_aside": [*purchase.set_aside, *bought.notes],
    }


# ---- the best use -----------------------------------------------------------


def _option(one: UseOption) -> dict[str, Any]:
    return {
        "key": one.option.key,
        "name": one.option.name,
        "origin": one.option.origin,
        "likely_kg": _number(one.likely_kg),
        "cautious_kg": _number(one.cautious_kg),
        "modest_kg": _number(one.modest_kg),
        "none_in_first_year": _number(1 - one.chance),
        "half_run_on": _day(one.run_day),
        "first_picking": _picking(one.expected.picking),
        "cost_cents": one.cost_cents,
        "demand": {item: _number(amount) for item, amount in one.demand.items()},
    }


def _use(use: PatchUse) -> dict[str, Any]:
    return {
        "key": use.patch.key,
        "name": use.patch.name,
        "chosen": None if use.chosen is None else use.chosen.option.key,
        "area_m2": _number(use.patch.area_m2),
        "lay_m2": _number(use.area_m2),
        "likely_kg": _number(use.likely_kg),
        "cautious_kg": _number(use.cautious_kg),
        "options": [_option(one) for one in use.options],
    }


def _resource(one: ResourceUse) -> dict[str, Any]:
    more = one.one_more
    return {
        "key": one.key,
        "name": one.name,
        "unit": one.unit,
        "have": _number(one.have),
        "used": _number(one.used),
        "left": _number(one.left),
        "binds": one.binds,
        "one_more": None
        if more is None
        else {
            "step": _number(more.step),
            "gain_kg": _number(more.gain_kg),
            "gain_beds": more.gain_beds,
            "cents": one.one_more_cents,
            "proved": more.proved,
            "words": more.words,
        },
        "words": one.words,
    }


def best_use_json(use: BestUse) -> dict[str, Any]:
    """What `mulchwright best-use --json` prints."""
    return {
        "aim": use.aim.value,
        "seed": use.seed,
        "members": use.members,
        "on": _day(use.on),
        "likely_kg": _number(use.likely_kg),
        "cautious_kg": _number(use.cautious_kg),
        "proved": use.proved,
        "gap_kg": _number(use.allocation.gap_kg),
        "beds": use.beds,
        "beds_gap": use.allocation.beds_gap,
        "status": use.status,
        "tie_words": use.tie_words,
        "patches": [_use(one) for one in use.patches],
        "resources": [_resource(one) for one in use.resources],
        "money_cents": use.money_cents,
        "spent_cents": use.spent_cents,
        "currency": use.currency,
        "purchase": None if use.purchase is None else buying_json(use.purchase),
        "notes": list(use.notes),
    }


# ---- when to build ----------------------------------------------------------


def _week(week: BuildWeek) -> dict[str, Any]:
    return {
        "built_on": _day(week.built_on),
        "none_in_first_year": _number(1 - week.crop.chance),
        "first_picking": _day(week.picking.likely),
        "first_year_kg": _quantiles(week.first_year_kg),
        "first_year_litres": _quantiles(week.first_year_litres),
    }


def when_json(when: WhenToBuild) -> dict[str, Any]:
    """What `mulchwright when --json` prints."""
    return {
        "patch": when.patch.key,
        "name": when.patch.name,
        "seed": when.seed,
        "members": when.members,
        "best": _day(when.best.built_on),
        "windows": [
            {
                "season": one.season,
                "first": _day(one.first),
                "last": _day(one.last),
                "best": _day(one.best.built_on),
                "words": one.words,
            }
            for one in when.windows
        ],
        "weeks": [_week(week) for week in when.weeks],
        "words": when.words,
    }
