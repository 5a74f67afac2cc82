"""Renewal of a bed: what is left, what to add and when, moving living chips, nitrogen, what the soil gains.

Everything here is read off the remains that the outlook tells and the trade's tables. The almanac says what
is likely; whether the bed is fed, moved or cleared is the grower's affair.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

import numpy as np

from mulchwright.almanac.remains import LayerLeft, Remains
from mulchwright.almanac.told import PatchOutlook
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Layer, LogEntry, LogKind, Patch, Recipe
from mulchwright.gather.mixing import Part, carbon_nitrogen_of, nitrogen_to_add_kg
from mulchwright.gather.ranges import Amount, product, quotient, total
from mulchwright.gather.takeoff import LayerNeed, loose_volume_l, take_off
from mulchwright.keep import print_due
from mulchwright.season.decay import carbon_kept_kg, carbon_nitrogen_left
from mulchwright.trade import Constant, Material, Plant, Trade

__all__ = [
    "HUMUS_ROWS",
    "Line",
    "Moving",
    "Nitrogen",
    "Renewal",
    "Retire",
    "Soil",
    "TopUp",
    "Why",
    "line_of",
    "moving",
    "nitrogen_of",
    "organic_points",
    "renewal",
    "soil_of",
    "top_up_weeks",
]

LEAST_TOP_UP_M = 0.01
"""Less than this is not worth a barrow; judgement."""
SEASONLESS_K, COOL_SHARE = 3.0, 1 / 3
DUG_DEPTH_M = 0.15
CLAYS = (5.0, 20.0, 40.0)
"""From sand to clay, percent: the soil's clay is not known."""
CARBON_OF_HUMUS = 0.58
"""Carbon in humus, the usual factor 1.724; from memory."""
YEARS_FED = 10

_STEM = "humus_share_stem_chips"
HUMUS_ROWS = {
    "hardwood-chips": _STEM, "softwood-chips": _STEM, "aged-chips": _STEM, "sawdust": _STEM,
    "wood-shavings": _STEM, "cardboard": _STEM, "twig-chips": "humus_share_branch_chips",
    "wheat-straw": "humus_share_straw", "oat-straw": "humus_share_straw",
    "barley-straw": "humus_share_straw", "rye-straw": "humus_share_straw",
    "shredded-leaves": "humus_share_leaves", "leaf-mold": "humus_share_leaves",
    "bark-fines": "humus_share_bark", "compost": "humus_share_compost", "soil": "",
}  # fmt: skip
"""Which row of the constants tells how much humus a material leaves; soil leaves none."""
_NEED_ROWS = {
    "hardwood-chips": "nitrogen_need_hardwood", "twig-chips": "nitrogen_need_hardwood",
    "aged-chips": "nitrogen_need_hardwood", "sawdust": "nitrogen_need_hardwood",
    "softwood-chips": "nitrogen_need_softwood", "wood-shavings": "nitrogen_need_softwood",
    "wheat-straw": "nitrogen_need_straw", "oat-straw": "nitrogen_need_straw",
    "barley-straw": "nitrogen_need_straw", "rye-straw": "nitrogen_need_straw",
}  # fmt: skip


def _amount(row: Constant) -> Amount:
    return Amount(row.low, row.value, row.high)


# ---- topping up -------------------------------------------------------------


class Why(StrEnum):
    """Why a week is the one to top up in."""

    THIN = "thin"
    SPRING = "spring"
    AUTUMN = "autumn"
    COOLEST = "coolest"


@dataclass(frozen=True, slots=True)
class TopUp:
    """What to add, and when.

    missing_m : settled depth of food that will be missing against the bed as laid, in that week.
    spread_m : loose depth to spread this time; settled_m : what it comes to. need : the yard's figures for
    it. all_at_once : whether that makes good all that is missing.
    """

    week: date
    why: Why
    material: str
    missing_m: Amount
    spread_m: float
    settled_m: float
    need: LayerNeed
    all_at_once: bool


def top_up_weeks(told: PatchOutlook, trade: Trade, today: date) -> tuple[tuple[date, Why], ...]:
    """The Mondays to top up in: as threads wake in spring, or in time before autumn's cold stops them.

    In order, from the bed's own warmth in the middle of the futures. Cold is where threads stand
    still, and in a mild climate the cool third of the year's span; where there are no such seasons, the
    coolest week. Summer is left out: fresh chips on top dry, and ask for water until they are run.
    """
    wakes = trade.species[told.patch.species].growth_temperature_min_c.likely
    warmth = told.temperature_c.p50
    monday = today - timedelta(days=today.weekday())
    place = max((monday - told.start).days, 0)
    weeks = [
        float(np.nanmean(warmth[at : at + 7]))
        for at in range(place, len(warmth) - 6, 7)
        if np.isfinite(warmth[at : at + 7]).any()
    ]
    if not weeks:
        return ((monday, Why.COOLEST),)
    ahead = round(trade.constants["top_up_before_cold_days"].value / 7)
    coldest, warmest = min(weeks[:52]), max(weeks[:52])
    if warmest - coldest > SEASONLESS_K:
        wakes = max(wakes, coldest + COOL_SHARE * (warmest - coldest))
    found = []
    for i in range(1, len(weeks)):
        if weeks[i] >= wakes > weeks[i - 1]:
            found.append((i, Why.SPRING))
        if weeks[i] < wakes <= weeks[i - 1]:
            found.append((max(i - ahead, 0), Why.AUTUMN))
    found = sorted(found) or [(int(np.argmin(weeks)), Why.COOLEST)]
    return tuple((monday + timedelta(weeks=index), why) for index, why in found)


def _between(ahead: Sequence[Remains], day: date) -> tuple[float, float, float]:
    """Food depth on a day, p10, p50 and p90, straight lines between the days told."""
    days = [item.day.toordinal() for item in ahead]
    low, middle, high = (
        float(np.interp(day.toordinal(), days, [getattr(item.food_depth_m, name) for item in ahead]))
        for name in ("p10", "p50", "p90")
    )
    return low, middle, high


def _top_up(told: PatchOutlook, trade: Trade, today: date) -> TopUp | None:
    """The first good week by which something will be missing; this one, where little food is left."""
    weeks: tuple[tuple[date, Why], ...] = top_up_weeks(told, trade, today)
    if told.remains[0].food_share.p50 < trade.constants["retire_share_left"].value:
        weeks = ((today - timedelta(days=today.weekday()), Why.THIN),)
    tried = (_top_up_in(told, trade, week, why, today) for week, why in weeks)
    return next((found for found in tried if found is not None), None)


def _top_up_in(told: PatchOutlook, trade: Trade, week: date, why: Why, today: date) -> TopUp | None:
    ahead = told.remains
    low, middle, high = _between(ahead, max(week, today))
    feeding = [layer for layer in ahead[0].layers if layer.feeds]
    laid = math.fsum(layer.laid_m for layer in feeding)
    missing = Amount(max(laid - high, 0.0), max(laid - middle, 0.0), max(laid - low, 0.0))
    material = trade.materials[feeding[-1].material]
    settling = 1 - material.settling_share.likely
    most = trade.constants["top_up_m"].high
    loose = missing.likely / settling
    spread = round(min(loose, most) * 200) / 200
    if spread < LEAST_TOP_UP_M:
        return None
    settled = spread * settling
    alone = replace(told.patch, recipe=Recipe("topping up", (Layer(material.key, settled),)))
    need = take_off([alone], trade).layers[0]
    return TopUp(week, why, material.key, missing, spread, settled, need, loose <= most + 0.0025)


# ---- retiring ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Retire:
    """When the food left falls below the share at which a bed is cleared or laid anew.

    soonest, middle, latest : 1 in 10, half and 9 in 10 of the futures; None for not within the year told.
    now : whether the middle is there already. share : the mark. fed : toppings up in the logbook.
    """

    soonest: date | None
    middle: date | None
    latest: date | None
    now: bool
    share: Amount
    age_years: float
    life_years: Amount
    fed: int


def _falls_below(ahead: Sequence[Remains], name: str, mark: float) -> date | None:
    values = [getattr(item.food_share, name) for item in ahead]
    for i, value in enumerate(values):
        if value < mark:
            if i == 0:
                return ahead[0].day
            part = (values[i - 1] - mark) / (values[i - 1] - value)
            span = (ahead[i].day - ahead[i - 1].day).days
            return ahead[i - 1].day + timedelta(days=round(part * span))
    return None


def _retire(told: PatchOutlook, trade: Trade, log: Sequence[LogEntry], today: date) -> Retire:
    mark = trade.constants["retire_share_left"]
    life = trade.species[told.patch.species].bed_life_years
    assert told.patch.built_on is not None  # it has remains
    return Retire(
        _falls_below(told.remains, "p10", mark.value),
        _falls_below(told.remains, "p50", mark.value),
        _falls_below(told.remains, "p90", mark.value),
        told.remains[0].food_share.p50 < mark.value,
        _amount(mark),
        (today - told.patch.built_on).days / 365.25,
        Amount(life.low, life.likely, life.high),
        sum(entry.kind is LogKind.TOPPED_UP for entry in log),
    )


# ---- nitrogen ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Nitrogen:
    """Carbon to nitrogen of the bed and what its decay would ask for, kg over the whole bed.

    ratio_laid, ratio_now : of all layers mixed. dug_in_kg : to bring what is left to the goal, were it dug
    in: an upper bound. taken_up_kg : what microbes take up round wood and straw dug in fine, over what these
    hold themselves.
    share_of_release : share left of the bed at which it would start to give nitrogen up.
    """

    ratio_laid: float
    ratio_now: float
    dug_in_kg: float
    taken_up_kg: Amount
    share_of_release: Amount


def _carbon_share(material: Material) -> float:
    return material.nitrogen_share.likely * material.carbon_nitrogen_ratio.likely


def nitrogen_of(layers: Sequence[LayerLeft], area_m2: float, trade: Trade) -> Nitrogen:
    """The nitrogen balance of a bed by mixing its layers; nitrogen is taken to stay while carbon leaves."""
    laid, now, needs = [], [], []
    for layer in layers:
        material = trade.materials[layer.material]
        carbon = _carbon_share(material)
        share = layer.share_left.p50
        ratio = carbon_nitrogen_left(material.carbon_nitrogen_ratio.likely, share)
        laid.append(Part(layer.laid_kg_m2, 0.0, carbon, material.nitrogen_share.likely))
        now.append(Part(layer.dry_kg_m2.p50, 0.0, carbon, min(carbon / ratio, 1.0)))
        if layer.material in _NEED_ROWS:
            row = trade.constants[_NEED_ROWS[layer.material]]
            own = layer.laid_kg_m2 * material.nitrogen_share.likely
            need = (layer.dry_kg_m2.p50 * each - own for each in (row.low, row.value, row.high))
            needs.append(product(area_m2, Amount(*(max(each, 0.0) for each in need))))
    ratio_laid = carbon_nitrogen_of(laid)
    goal = trade.constants["nitrogen_ratio_goal"].value
    release = product(1 / ratio_laid, _amount(trade.constants["nitrogen_release_ratio"]))
    return Nitrogen(
        ratio_laid, carbon_nitrogen_of(now), nitrogen_to_add_kg(now, goal) * area_m2, total(needs), release
    )


# ---- what the soil gains ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Soil:
    """Humus from a bed, kg over the whole bed.

    so_far_kg : of what has rotted, as a bed on the ground leaves it. in_the_end_kg : of all that was laid.
    dug_in_kg : of all that was laid, were it dug in: an upper bound. points_dug_in : that bound as
    percentage points of organic matter in the top 15 cm. fed_ten_years_kg : microbes and humus in the soil
    after ten years, were what rots this year made good each year, by RothC; clay soil high, sand low.
    """

    rotted_kg: Amount
    so_far_kg: Amount
    in_the_end_kg: Amount
    dug_in_kg: Amount
    points_dug_in: Amount
    fed_ten_years_kg: Amount


def organic_points(
    humus_kg: Amount | float, area_m2: float, density_kg_m3: Amount | float, depth_m: float = DUG_DEPTH_M
) -> Amount:
    """Percentage points of organic matter that humus adds to a topsoil, all of it mixed in."""
    soil = product(area_m2 * depth_m, density_kg_m3)
    return product(100.0, quotient(product(humus_kg, 1.0), soil))


def _monthly_c(told: PatchOutlook) -> list[float]:
    """Mean warmth of the bed in each month of the year, as far as the outlook tells it."""
    months: list[list[float]] = [[] for _ in range(12)]
    for day, value in zip(told.dates(), told.temperature_c.p50, strict=True):
        if np.isfinite(value):
            months[day.month - 1].append(float(value))
    means = [math.fsum(values) / len(values) if values else math.nan for values in months]
    known = [value for value in means if math.isfinite(value)]
    middle = math.fsum(known) / len(known) if known else 10.0
    return [value if math.isfinite(value) else middle for value in means]


def soil_of(told: PatchOutlook, trade: Trade) -> Soil:
    """What has rotted and what of it stays as humus, by the isohumic coefficient, and by RothC's pools."""
    constants = trade.constants
    area = told.patch.area_m2
    rotted, humus, end = [], [], []
    carbon_a_year = 0.0
    last = told.remains[-1]
    for layer, later in zip(told.remains[0].layers, last.layers, strict=True):
        row = HUMUS_ROWS.get(layer.material, "")
        if not row:
            continue
        gone = Amount(*(max(layer.laid_kg_m2 - kg, 0.0) for kg in (
            layer.dry_kg_m2.p90, layer.dry_kg_m2.p50, layer.dry_kg_m2.p10,
        )))  # fmt: skip
        rotted.append(product(area, gone))
        humus.append(product(area, gone, _amount(constants[row])))
        end.append(product(area * layer.laid_kg_m2, _amount(constants[row])))
        loss = max(layer.dry_kg_m2.p50 - later.dry_kg_m2.p50, 0.0)
        carbon_a_year += area * loss * _carbon_share(trade.materials[layer.material])
    surface = _amount(constants["humus_surface_share"])
    dug_in = total(end)
    months = _monthly_c(told)
    low, likely, high = (
        carbon_kept_kg(carbon_a_year, YEARS_FED, months, clay_percent=clay) / CARBON_OF_HUMUS
        for clay in CLAYS
    )
    return Soil(
        total(rotted), product(total(humus), surface), product(dug_in, surface), dug_in,
        organic_points(dug_in, area, _amount(constants["topsoil_density_kg_m3"])),
        Amount(low, likely, high),
    )  # fmt: skip


# ---- moving living chips ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Moving:
    """What a volume of living chips carries, and what its bed loses.

    taken_l : loose, as it fills the bucket. carries_m2 : area of new bed at `depth_m`. fresh_l : fresh chips
    that the new bed takes besides. share_of_bed : of the food that is left, and so of the crop to come.
    left_m : food depth that stays. enough_for_years : seasons a line is moved on before others take over.
    """

    taken_l: float
    depth_m: float
    carries_m2: Amount
    fresh_l: Amount
    share_of_bed: Amount
    left_m: float
    more_than_advised: bool
    enough_for_years: Amount


def _feeding_top(now: Remains, trade: Trade) -> Material:
    return trade.materials[[layer for layer in now.layers if layer.feeds][-1].material]


def usual_volume_l(told: PatchOutlook, trade: Trade) -> float:
    """Loose volume of the share of a bed that growers take and give back each year."""
    now = told.remains[0]
    settled = now.food_depth_m.p50 * told.patch.area_m2 * trade.constants["living_chips_taken"].value
    return loose_volume_l(settled, _feeding_top(now, trade)).likely


def moving(
    told: PatchOutlook, trade: Trade, *, taken_l: float | None = None, depth_m: float | None = None
) -> Moving:
    """What living chips carry: `taken_l` loose of this bed's, laid through a new bed `depth_m` deep, settled.

    By default the third that growers take, at the depth this bed was laid. Raises `InputError` for nothing,
    or for more than the bed holds.
    """
    now = told.remains[0]
    material = _feeding_top(now, trade)
    area = told.patch.area_m2
    taken = usual_volume_l(told, trade) if taken_l is None else taken_l
    depth = math.fsum(layer.laid_m for layer in now.layers if layer.feeds) if depth_m is None else depth_m
    if not (math.isfinite(taken) and taken > 0):
        raise InputError("Give how much is taken, more than nothing.", field="volume")
    if not (math.isfinite(depth) and 0.03 <= depth <= 0.6):
        raise InputError("Give the depth of the new bed, from 3 cm (1 in) to 60 cm (24 in).", field="depth")
    settled_m3 = taken / 1000.0 * (1 - material.settling_share.likely)
    holds_m3 = now.food_depth_m.p50 * area
    if settled_m3 > holds_m3:
        raise InputError(
            "That is more than this bed holds now; take less, or clear the bed and move all of it.",
            field="volume",
        )
    ratio = _amount(trade.constants["living_chips_spread"])
    carries = product(settled_m3 / depth, ratio)
    fresh = loose_volume_l(product(carries, depth), material)
    share = settled_m3 / holds_m3
    spread = now.food_depth_m
    return Moving(
        taken, depth, carries,
        Amount(*(max(value - taken, 0.0) for value in (fresh.low, fresh.likely, fresh.high))),
        Amount(
            min(share * spread.p50 / spread.p90, 1.0), share, min(share * spread.p50 / spread.p10, 1.0)
        ),
        now.food_depth_m.p50 * (1 - share),
        share > trade.constants["living_chips_taken"].high + 1e-9,
        _amount(trade.constants["living_chips_seasons"]),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """Where a bed's threads come from and went to.

    came_from : beds and days, the nearest first. went_to : beds and days. checked : the last day on which
    somebody looked at each forebear's mushrooms, None for never. other_species : forebears that were sown
    with something else. print_due : whether this bed's own picks still ask for a print; always so until they
    were looked at themselves, whatever was found on the beds before.
    """

    came_from: tuple[tuple[str, date], ...]
    went_to: tuple[tuple[str, date], ...]
    checked: tuple[tuple[str, date | None], ...]
    other_species: tuple[str, ...]
    print_due: bool


def line_of(garden: Garden, patch: Patch, trade: Trade, today: date) -> Line:
    """The line of a bed through the logbook's moves; one told in a ring is followed once."""
    moves = [entry for entry in garden.log if entry.kind is LogKind.MOVED and entry.to_patch]
    came: list[tuple[str, date]] = []
    seen, at, before = {patch.key}, patch.key, today
    while True:
        into = [e for e in moves if e.to_patch == at and e.day <= before and e.patch not in seen]
        if not into:
            break
        last = max(into, key=lambda entry: entry.day)
        came.append((last.patch, last.day))
        seen.add(last.patch)
        at, before = last.patch, last.day
    kinds = {one.key: one.species for one in garden.patches}
    return Line(
        tuple(came),
        tuple((e.to_patch, e.day) for e in moves if e.patch == patch.key),
        tuple((key, max((c.day for c in garden.checks if c.patch == key), default=None)) for key, _ in came),
        tuple(key for key, _ in came if kinds.get(key) != patch.species),
        print_due(
            garden.checks,
            trade,
            patch=patch.key,
            species=patch.species,
            day=today,
            log=garden.log,
            now=datetime.combine(today + timedelta(days=1), time.min, UTC),
        ),
    )


# ---- all of it --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Renewal:
    """All that the page of renewal tells. plants : those of its garden bed that the trade knows."""

    patch: Patch
    now: Remains
    in_a_year: Remains | None
    top_up: TopUp | None
    retire: Retire
    nitrogen: Nitrogen
    soil: Soil
    moving: Moving
    plants: tuple[Plant, ...]
    unknown_plants: tuple[str, ...]
    feed_kg_m2: Amount
    ring_m: Amount


def renewal(told: PatchOutlook, garden: Garden, trade: Trade, today: date) -> Renewal:
    """Renewal of one bed as the outlook tells it. `InputError` for a bed that is not built yet."""
    if not told.remains or told.remains[0].day != today:
        raise InputError(f"{told.patch.name} is not built yet, so there is nothing to renew.", field="bed")
    now, last = told.remains[0], told.remains[-1]
    bed = next((one for one in garden.beds if one.key == told.patch.bed), None)
    words = bed.plants if bed else ()
    plants = {plant.key: plant for word in words for plant in trade.plants_named(word)}
    log = [entry for entry in garden.log if entry.patch == told.patch.key and entry.day <= today]
    return Renewal(
        told.patch,
        now,
        last if (last.day - today).days > 300 else None,
        _top_up(told, trade, today),
        _retire(told, trade, log, today),
        nitrogen_of(now.layers, told.patch.area_m2, trade),
        soil_of(told, trade),
        moving(told, trade),
        tuple(plants.values()),
        tuple(word for word in words if not trade.plants_named(word)),
        _amount(trade.constants["nitrogen_feed_kg_m2"]),
        _amount(trade.constants["seedling_ring_m"]),
    )
