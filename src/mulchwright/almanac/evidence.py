"""What a bed's history says for or against a trouble: one short rule for each kind of evidence.

Each rule returns a `Reason`, a plain sentence with its weight, or None where nothing is known. All weights
and marks are our own judgement and stand in `trade/evidence.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Protocol

from mulchwright.almanac.bed_history import BedHistory, PastDay, Wetness
from mulchwright.trade import EVIDENCE_TESTS, Trade, Trouble

__all__ = ["RULES", "Reason", "Thresholds", "Unit", "reasons_of"]


class Unit(StrEnum):
    """What kind of figure a reason tells, so that a page can put it in the grower's units."""

    TEMPERATURE = "temperature"
    DEPTH = "depth"
    WATER = "water"


@dataclass(frozen=True, slots=True)
class Reason:
    """One piece of evidence, as a sentence with gaps for figures.

    points : what it adds to a trouble; below 0 where it speaks against. `text` has a gap `{0}`, `{1}`, ...
    for each figure and `{day0}`, ... for each day, which the page fills in the grower's units and words.
    worked out : rests on the outlook, not on a reading.
    """

    points: float
    text: str
    figures: tuple[tuple[float, Unit], ...] = ()
    days: tuple[date, ...] = ()
    computed: bool = False

    @property
    def speaks_for(self) -> bool:
        """Whether it makes the trouble likelier."""
        return self.points > 0


class _Rule(Protocol):
    def __call__(self, past: BedHistory, at: Thresholds) -> Reason | None: ...


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The marks and weights of the evidence, and the trade's rows of this bed."""

    value: Mapping[str, float]
    trade: Trade

    @property
    def strong(self) -> float:
        return self.value["strong_weight"]

    @property
    def slight(self) -> float:
        return self.value["slight_weight"]


RULES: dict[str, _Rule] = {}


def _rule(name: str) -> Callable[[_Rule], _Rule]:
    assert name in EVIDENCE_TESTS

    def keep(rule: _Rule) -> _Rule:
        RULES[name] = rule
        return rule

    return keep


def _count(days: Sequence[PastDay], *which: Wetness) -> int:
    return sum(day.wetness in which for day in days)


def _times(count: int, one: str = "day") -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _on(count: int, of: int) -> str:
    """ "on none of the last 21 days", "on 1 of the last 21 days"."""
    return f"on {'none' if count == 0 else count} of the last {_times(of)}"


@_rule("wet-days")
def _wet_days(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.days:
        return None
    drowned, wet = _count(past.days, Wetness.DROWNED), _count(past.days, Wetness.DROWNED, Wetness.WET)
    of = len(past.days)
    if drowned >= at.value["wet_days"]:
        return Reason(at.strong, f"It was wetter than mycelium can bear {_on(drowned, of)}.", computed=True)
    if wet >= at.value["wet_days"]:
        return Reason(at.slight, f"It was wetter than mycelium likes {_on(wet, of)}.", computed=True)
    points = -at.strong if wet == 0 else -at.slight
    return Reason(points, f"It was wetter than mycelium likes {_on(wet, of)}.", computed=True)


@_rule("dry-days")
def _dry_days(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.days:
        return None
    stalled, low = _count(past.days, Wetness.DRY), _count(past.days, Wetness.DRY, Wetness.LOW)
    of = len(past.days)
    if stalled >= at.value["dry_days"]:
        return Reason(at.strong, f"It was too dry to grow {_on(stalled, of)}.", computed=True)
    if low >= at.value["dry_days"]:
        return Reason(at.slight, f"It was drier than mycelium likes {_on(low, of)}.", computed=True)
    return Reason(-at.strong, f"It was drier than mycelium likes {_on(low, of)}.", computed=True)


@_rule("moist-enough")
def _moist_enough(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.days:
        return None
    good, of = _count(past.days, Wetness.LOW, Wetness.GOOD), len(past.days)
    if good >= 0.8 * of:
        return Reason(
            at.slight, f"It was moist enough to grow {_on(good, of)}, so it was not that.", computed=True
        )
    return Reason(-at.slight, f"It was moist enough to grow only {_on(good, of)}.", computed=True)


@_rule("hot-days")
def _hot_days(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.long_days:
        return None
    hottest = max(past.long_days, key=lambda day: day.temperature_c)
    figure = ((hottest.temperature_c, Unit.TEMPERATURE),)
    text = (
        f"In the last {_times(len(past.long_days))} the middle of the bed was warmest on {{day0}}: "
        "about {0}."
    )
    mark = at.value["hot_middle_c"]
    points = at.strong if hottest.temperature_c >= mark else (
        at.slight if hottest.temperature_c >= mark - 4 else -at.strong
    )  # fmt: skip
    return Reason(points, text, figure, (hottest.day,), True)


@_rule("warm-now")
def _warm_now(past: BedHistory, at: Thresholds) -> Reason | None:
    week = past.days[-7:]
    if not week:
        return None
    mean = math.fsum(day.temperature_c for day in week) / len(week)
    points = at.strong if mean > at.value["warm_fruiting_c"] else -at.strong
    return Reason(
        points, f"Over the last {_times(len(week))} the bed was at about {{0}}.", ((mean, Unit.TEMPERATURE),),
        computed=True,
    )  # fmt: skip


@_rule("cold-days")
def _cold_days(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.days:
        return None
    least = at.trade.species[past.patch.species].growth_temperature_min_c.likely
    mark = least + at.value["cold_above_minimum_k"]
    cold, of = sum(day.temperature_c < mark for day in past.days), len(past.days)
    points = at.strong if cold >= 0.5 * of else at.slight if cold >= 0.25 * of else -at.strong
    return Reason(
        points, f"It was below {{0}}, where mycelium hardly grows, {_on(cold, of)}.",
        ((mark, Unit.TEMPERATURE),), computed=True,
    )  # fmt: skip


@_rule("frost-nights")
def _frost(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.frost_nights is None:
        return None
    nights = past.frost_nights
    return Reason(
        at.strong if nights else -at.strong,
        f"The record has {_times(nights, 'night') if nights else 'no night'} of frost in the last "
        f"{_times(int(at.value['look_back_days']))}.",
    )


@_rule("rain-lately")
def _rain_lately(past: BedHistory, at: Thresholds) -> Reason | None:
    """Told for wet troubles; `_turned` turns it round for dry ones."""
    if past.water_mm is None:
        return None
    much, little = at.value["rain_much_mm"], at.value["rain_little_mm"]
    points = at.slight if past.water_mm >= much else -at.slight if past.water_mm <= little else 0.0
    return Reason(
        points, f"About {{0}} of rain and noted watering fell on it in {_times(len(past.days))}.",
        ((past.water_mm, Unit.WATER),), computed=True,
    )  # fmt: skip


@_rule("watered-lately")
def _watered_lately(past: BedHistory, at: Thresholds) -> Reason | None:
    """Told for wet troubles; `_turned` turns it round for dry ones."""
    long_ago = at.value["watered_long_ago_days"]
    if past.wet_on is None and past.watered_days_ago is None:
        return Reason(0.0, "No watering is noted in the logbook.") if past.age_days is not None else None
    nearest = max(day for day in (past.wet_on, past.watered_on) if day is not None)
    ago = (past.today - nearest).days
    what = "watering" if nearest == past.watered_on else "good rain"
    when = "today" if ago == 0 else f"{_times(ago)} ago"
    points = -at.strong if ago >= long_ago else at.slight if ago <= 2 else 0.0
    return Reason(points, f"The last {what} was {when}.")


@_rule("deep-bed")
def _deep_bed(past: BedHistory, at: Thresholds) -> Reason | None:
    depth = past.patch.recipe.depth_m
    deep = depth >= at.value["deep_bed_m"]
    return Reason(
        at.slight if deep else -at.slight,
        "It is {0} deep"
        + (", which holds heat and water." if deep else "; deeper ones heat and drown sooner."),
        ((depth, Unit.DEPTH),),
    )


def _food_depth(past: BedHistory, at: Thresholds) -> float:
    return math.fsum(
        layer.thickness_m for layer in past.patch.recipe.layers if at.trade.materials[layer.material].is_food
    )


@_rule("thin-bed")
def _thin_bed(past: BedHistory, at: Thresholds) -> Reason | None:
    depth = _food_depth(past, at)
    thin = depth < at.value["thin_bed_m"]
    return Reason(at.strong if thin else -at.slight, "Its food is {0} deep.", ((depth, Unit.DEPTH),))


def _straw(past: BedHistory, at: Thresholds) -> float:
    food = _food_depth(past, at)
    straw = math.fsum(
        layer.thickness_m
        for layer in past.patch.recipe.layers
        if at.trade.materials[layer.material].family == "straw"
    )
    return straw / food if food else 0.0


@_rule("straw-share")
def _straw_share(past: BedHistory, at: Thresholds) -> Reason | None:
    share = _straw(past, at)
    if share == 0:
        return Reason(-at.strong, "There is no straw in it.")
    strawy = share >= at.value["straw_share"]
    return Reason(at.slight if strawy else 0.0, f"{round(100 * share)} % of its food by depth is straw.")


@_rule("chips-only")
def _chips_only(past: BedHistory, at: Thresholds) -> Reason | None:
    bare = _straw(past, at) == 0
    return Reason(
        at.slight if bare else -at.slight,
        "It is without straw, and beds with straw bore more in a trial." if bare else "There is straw in it.",
    )


@_rule("rich-food")
def _rich_food(past: BedHistory, at: Thresholds) -> Reason | None:
    rich = [layer.material for layer in past.patch.recipe.all_layers if layer.material == "compost"]
    if rich:
        return Reason(at.strong, "There is compost in it.")
    return Reason(-at.slight, "No compost stands in its recipe.")


@_rule("aged-food")
def _aged_food(past: BedHistory, at: Thresholds) -> Reason | None:
    if any(layer.material in ("aged-chips", "leaf-mold") for layer in past.patch.recipe.all_layers):
        return Reason(at.strong, "It was built with aged chips or leaf mold.")
    return Reason(-at.slight, "It was built with fresh food, by its recipe.")


@_rule("grain-spawn")
def _grain_spawn(past: BedHistory, at: Thresholds) -> Reason | None:
    if not past.patch.recipe.planes:
        return None
    grain = any(plane.spawn == "grain-spawn" for plane in past.patch.recipe.planes)
    return Reason(
        at.strong if grain else -at.strong,
        "It was sown with grain." if grain else "It was not sown with grain.",
    )


@_rule("spawn-rate")
def _spawn_rate(past: BedHistory, at: Thresholds) -> Reason | None:
    rate = past.patch.recipe.spawn_kg_m2
    usual = at.trade.species[past.patch.species].spawn_rate_kg_m2
    if rate == 0:
        return None
    if rate < usual.low:
        return Reason(at.strong, "It got less spawn than is usual for its size.")
    return Reason(-at.slight, "It got as much spawn as is usual, or more.")


@_rule("sunny-spot")
def _sunny_spot(past: BedHistory, at: Thresholds) -> Reason | None:
    share = past.patch.monthly_light_share()[past.today.month - 1]
    sunny = share >= at.value["light_open"]
    return Reason(
        at.slight if sunny else -at.slight,
        f"The spot has {round(100 * share)} % of an open sky's light this month.",
    )


def _age_words(days: int) -> str:
    if days < 14:
        return _times(days)
    if days < 100:
        return _times(round(days / 7), "week")
    return _times(round(days / 30.44), "month") if days < 730 else _times(round(days / 365.25), "year")


@_rule("young-bed")
def _young_bed(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.age_days is None:
        return None
    young = past.age_days <= at.value["young_days"]
    return Reason(at.slight if young else -at.slight, f"It is {_age_words(past.age_days)} old.")


@_rule("old-bed")
def _old_bed(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.age_days is None:
        return None
    life = at.trade.species[past.patch.species].bed_life_years
    years = past.age_days / 365.25
    points = at.strong if years >= life.likely else at.slight if years >= life.low else -at.strong
    return Reason(
        points,
        f"It is {_age_words(past.age_days)} old; beds last about {life.low:g} to {life.high:g} years "
        "without being fed.",
    )


@_rule("topped-up")
def _topped_up(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.age_days is None:
        return None
    if past.topped_up_on is None:
        return Reason(at.slight, "No topping up is noted in the logbook.")
    ago = (past.today - past.topped_up_on).days
    return Reason(-at.slight if ago <= 365 else 0.0, f"It was topped up {_age_words(ago)} ago.")


@_rule("run-share")
def _run_share(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.run_share is None:
        return None
    done = past.run_share >= at.value["run_done_share"]
    return Reason(
        -at.slight if done else at.strong,
        f"About {round(100 * past.run_share)} % of it should be colonized by now.", computed=True,
    )  # fmt: skip


@_rule("run-behind")
def _run_behind(past: BedHistory, at: Thresholds) -> Reason | None:
    """Threads should be there by the calculation, so that missing ones need another reason."""
    if past.run_share is None:
        return None
    expected = past.run_share >= 0.25
    return Reason(
        at.slight if expected else -at.slight,
        f"By the weather, mycelium should have colonized about {round(100 * past.run_share)} % of it.",
        computed=True,
    )


@_rule("too-early")
def _too_early(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.chance_so_far is None or past.picked_on:
        return None
    chance = past.chance_so_far
    tenths = f"{round(10 * chance)} in 10" if chance >= 0.05 else "hardly any"
    points = (
        at.strong
        if chance <= at.value["chance_early"]
        else -at.strong
        if chance >= at.value["chance_late"]
        else 0.0
    )
    return Reason(points, f"The chance of a first picking by today was {tenths}.", computed=True)


@_rule("mature-long")
def _mature_long(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.ready_on is None or past.chance_so_far is None:
        return (
            None if past.run_share is None else Reason(-at.strong, "It is hardly colonized.", computed=True)
        )
    late = past.chance_so_far >= at.value["chance_late"]
    if past.picked_on:
        return Reason(-at.strong, "It has borne before.")
    return Reason(
        at.strong if late else -at.slight,
        f"It has been fully colonized for about {_age_words((past.today - past.ready_on).days)}.",
        computed=True,
    )  # fmt: skip


def _pin_days(past: BedHistory, at: Thresholds) -> int:
    """Days since the bed was ready whose trailing week was in the range for pins, and damp enough."""
    kind = at.trade.species[past.patch.species]
    low, high = kind.pin_temperature_min_c.likely, kind.pin_temperature_max_c.likely
    days = past.since_ready
    count = 0
    for d in range(6, len(days)):
        week = math.fsum(day.temperature_c for day in days[d - 6 : d + 1]) / 7
        count += low <= week <= high and days[d].wetness not in (Wetness.DRY, Wetness.DROWNED)
    return count


@_rule("pin-weather")
def _pin_weather(past: BedHistory, at: Thresholds) -> Reason | None:
    if past.run_share is None:
        return None
    if past.ready_on is None:
        return Reason(0.0, "It is not colonized yet, so mild weeks would not have helped.", computed=True)
    count = _pin_days(past, at)
    none_yet = count < at.value["pin_days"]
    return Reason(
        at.strong if none_yet else -at.strong,
        f"Since it was colonized it had {_times(count) if count else 'no day'} mild and damp enough "
        "for pins.",
        computed=True,
    )


@_rule("pin-weather-had")
def _pin_weather_had(past: BedHistory, at: Thresholds) -> Reason | None:
    reason = _pin_weather(past, at)
    if reason is None:
        return None
    return replace(reason, points=-reason.points)


@_rule("soil-touch")
def _soil_touch(past: BedHistory, at: Thresholds) -> Reason | None:
    materials = [layer.material for layer in past.patch.recipe.all_layers]
    if "soil" in materials:
        return Reason(-at.strong, "There is soil in its recipe.")
    if materials[0] == "cardboard":
        return Reason(at.strong, "Cardboard parts it from the ground, by its recipe.")
    return Reason(-at.slight, "It lies on the ground, with nothing between.")


@_rule("casing-kind")
def _casing_kind(past: BedHistory, at: Thresholds) -> Reason | None:
    needs = at.trade.species[past.patch.species].needs_casing
    return Reason(
        at.slight if needs else -at.slight,
        "Its kind wants a cover of soil to fruit." if needs else "Its kind fruits without a cover of soil.",
    )


_TURNED = {
    ("rain-lately", "too-dry"), ("watered-lately", "too-dry"), ("rain-lately", "dry-air"),
}  # fmt: skip
"""Evidence of water, which speaks against these troubles where it speaks for the wet ones."""


def _weakened(points: float, at: Thresholds) -> float:
    """Where the weather was guessed, not measured, strong evidence counts as slight and slight as none."""
    return math.copysign(at.slight, points) if abs(points) >= at.strong else 0.0


def reasons_of(trouble: Trouble, past: BedHistory, at: Thresholds) -> tuple[Reason, ...]:
    found = []
    for name in trouble.tests:
        reason = RULES[name](past, at)
        if reason is not None:
            if (name, trouble.key) in _TURNED:
                reason = replace(reason, points=-reason.points)
            if reason.computed and not past.measured:
                reason = replace(reason, points=_weakened(reason.points, at))
            found.append(reason)
    return tuple(sorted(found, key=lambda reason: -reason.points))
