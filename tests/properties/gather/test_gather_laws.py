"""Laws of gathering: what must hold for whatever lies in the yard."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, StartMoisture
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.gather.brush import (
    carriers,
    chips_from_heap,
    chips_from_sticks,
    huber_volume_m3,
    loads_of,
    smalian_volume_m3,
)
from mulchwright.gather.ranges import Amount, exactly, product, quotient, total
from mulchwright.gather.schedule import BuildWork, SoakWork, SpawnOrder, plan_back
from mulchwright.gather.soak import (
    Vessel,
    hours_to_moisture,
    plan_soak,
    soaked_moisture_kg_kg,
    water_to_target,
)
from mulchwright.gather.stock import compare, stock_of
from mulchwright.gather.suitability import judge_lot
from mulchwright.gather.takeoff import Takeoff, take_off
from mulchwright.trade import load_trade

TRADE = load_trade()
BUILD = date(2030, 4, 15)
MATERIALS = sorted(TRADE.materials)
WOODS = sorted(TRADE.woods)
SOLID = (
    HeapShape.CONE,
    HeapShape.HALF_ELLIPSOID,
    HeapShape.PARABOLOID,
    HeapShape.HALF_CYLINDER,
    HeapShape.BOX,
)

size = st.floats(0.05, 5.0)
positive = st.floats(0.001, 1000.0)


@st.composite
def amounts(draw: st.DrawFn) -> Amount:
    return Amount(*sorted(draw(st.tuples(positive, positive, positive))))


@st.composite
def layers(draw: st.DrawFn) -> Layer:
    return Layer(
        draw(st.sampled_from(MATERIALS)),
        draw(st.floats(0.005, 0.3)),
        start_moisture=draw(st.sampled_from(list(StartMoisture))),
    )


@st.composite
def patches(draw: st.DrawFn, key: str = "bed") -> Patch:
    rows = tuple(draw(st.lists(layers(), min_size=1, max_size=4)))
    planes = (SpawnPlane("sawdust-spawn", 0.0, rate_kg_m2=draw(st.floats(0.0, 2.0))),)
    return Patch(key, key, "king-stropharia", Recipe("recipe", rows, planes), draw(st.floats(0.5, 500.0)))


def ordered(amount: Amount) -> bool:
    return 0 <= amount.low <= amount.likely <= amount.high


# ---- ranges -------------------------------------------------------------------------------------


@given(amounts(), amounts())
def test_products_and_quotients_stay_in_order_and_undo_each_other(one: Amount, other: Amount) -> None:
    made = product(one, other)
    assert ordered(made)
    assert ordered(quotient(one, other))
    assert product(one, other).likely == pytest.approx(product(other, one).likely)
    assert quotient(made, exactly(other.likely)).likely == pytest.approx(one.likely)
    # Independent doubts: wider than either factor alone, narrower than all at their worst.
    assert made.high / made.likely >= max(one.high / one.likely, other.high / other.likely) * (1 - 1e-9)
    assert made.high <= one.high * other.high * (1 + 1e-9)
    assert made.low >= one.low * other.low * (1 - 1e-9)


@given(st.lists(amounts(), max_size=5))
def test_sums_are_sums_and_the_empty_sum_is_nothing(parts: list[Amount]) -> None:
    whole = total(parts)
    assert ordered(whole)
    assert whole.likely == pytest.approx(math.fsum(part.likely for part in parts))
    assert whole.high >= max((part.high for part in parts), default=0.0)


# ---- brush --------------------------------------------------------------------------------------


@given(size, size)
def test_the_two_formulas_agree_on_a_cylinder(diameter: float, length: float) -> None:
    huber = float(huber_volume_m3(diameter, length))
    assert huber == pytest.approx(float(smalian_volume_m3(diameter, diameter, length)))


@given(size, st.floats(0.01, 1.0), size)
def test_a_cone_lies_between_the_two_formulas(large: float, share: float, length: float) -> None:
    small = large * share
    cone = math.pi / 12 * length * (large**2 + large * small + small**2)
    middle = (large + small) / 2
    assert float(huber_volume_m3(middle, length)) <= cone * (1 + 1e-9)
    assert float(smalian_volume_m3(small, large, length)) >= cone * (1 - 1e-9)


@given(st.sampled_from(SOLID), size, size, size, st.floats(0.2, 5.0))
def test_a_heap_grows_with_the_cube_of_its_size(
    shape: HeapShape, w: float, h: float, length: float, scale: float
) -> None:
    heap = Heap(shape, width_m=w, height_m=h, length_m=length)
    larger = Heap(shape, width_m=w * scale, height_m=h * scale, length_m=length * scale)
    assert heap.volume_m3 > 0
    assert larger.volume_m3 == pytest.approx(heap.volume_m3 * scale**3)


@given(st.sampled_from(SOLID), size, size, size)
def test_no_heap_is_larger_than_the_box_round_it(shape: HeapShape, w: float, h: float, length: float) -> None:
    heap = Heap(shape, width_m=w, height_m=h, length_m=length)
    box = w * h * (w if shape in (HeapShape.CONE, HeapShape.PARABOLOID) else length)
    assert heap.volume_m3 <= box * (1 + 1e-9)


@given(
    st.lists(
        st.tuples(st.floats(0.005, 0.5), st.floats(0.1, 6.0), st.integers(1, 200)), min_size=1, max_size=6
    ),
    st.sampled_from(WOODS),
    st.floats(0.0, 1.0),
)
@settings(deadline=None)
def test_chips_weigh_more_green_than_dry_and_fill_more_than_solid(
    rows: list[tuple[float, float, int]], wood: str, share: float
) -> None:
    sticks = [Stick(length, mid_diameter_m=diameter, count=count) for diameter, length, count in rows]
    chips = chips_from_sticks(sticks, (WoodShare(wood, share),), TRADE)
    for amount in (chips.solid_m3, chips.loose_l, chips.dry_kg, chips.green_kg):
        assert ordered(amount)
    assert chips.green_kg.likely > chips.dry_kg.likely
    assert chips.loose_l.likely > 1000 * chips.solid_m3.likely
    doubled = chips_from_sticks([*sticks, *sticks], (WoodShare(wood, share),), TRADE)
    assert doubled.loose_l.likely == pytest.approx(2 * chips.loose_l.likely)
    assert doubled.green_kg.high == pytest.approx(2 * chips.green_kg.high)


@given(st.sampled_from(list(Packing)), size, size, size)
@settings(deadline=None)
def test_a_heap_of_brush_is_mostly_air(packing: Packing, w: float, h: float, length: float) -> None:
    heap = Heap(HeapShape.BOX, width_m=w, height_m=h, length_m=length)
    chips = chips_from_heap(heap, packing, (), TRADE)
    assert ordered(chips.solid_m3)
    assert chips.solid_m3.high < heap.volume_m3


@given(amounts(), amounts())
def test_loads_carry_all_and_one_fewer_would_not(volume: Amount, mass: Amount) -> None:
    for carrier in carriers(TRADE):
        count = loads_of(carrier, volume, mass)
        room, payload = carrier.volume_l.likely, carrier.payload_kg.likely
        assert count.loads * room >= volume.likely * (1 - 1e-6)
        assert count.loads * payload >= mass.likely * (1 - 1e-6)
        short = count.loads - 1
        assert short * room < volume.likely or short * payload < mass.likely
        assert count.loads <= count.loads_high
        assert 0 < count.fill_share <= 1


# ---- take-off -----------------------------------------------------------------------------------


@given(patches(), st.floats(0.2, 8.0))
@settings(deadline=None)
def test_the_take_off_is_linear_in_area(patch: Patch, scale: float) -> None:
    larger = Patch(patch.key, patch.name, patch.species, patch.recipe, patch.area_m2 * scale)
    one, other = take_off([patch], TRADE), take_off([larger], TRADE)
    for small, large in zip(one.layers, other.layers, strict=True):
        assert large.in_place_m3 == pytest.approx(scale * small.in_place_m3)
        for name in ("loose_l", "dry_kg", "delivered_kg", "laid_kg", "water_l"):
            first, second = getattr(small, name), getattr(large, name)
            assert second.likely == pytest.approx(scale * first.likely)
            assert second.low == pytest.approx(scale * first.low)
            assert second.high == pytest.approx(scale * first.high)
    for plane, wider in zip(one.planes, other.planes, strict=True):
        assert wider.mass_kg == pytest.approx(scale * plane.mass_kg)


@given(st.lists(patches(), min_size=1, max_size=3))
@settings(deadline=None)
def test_nothing_is_negative_and_totals_are_the_sum_of_layers(found: list[Patch]) -> None:
    rows = [Patch(f"bed-{i}", p.name, p.species, p.recipe, p.area_m2) for i, p in enumerate(found)]
    need = take_off(rows, TRADE)
    for layer in need.layers:
        for name in ("loose_l", "dry_kg", "delivered_kg", "laid_kg", "water_l"):
            assert ordered(getattr(layer, name))
        assert layer.loose_l.low > 1000 * layer.in_place_m3, "loose is more than settled, with waste"
        assert layer.delivered_kg.likely > layer.dry_kg.likely
        # Water is what parts the two masses, unless it came wetter than it is to be laid.
        assert layer.laid_kg.likely == pytest.approx(layer.delivered_kg.likely + layer.water_l.likely)
    assert math.fsum(m.dry_kg.likely for m in need.materials) == pytest.approx(
        math.fsum(layer.dry_kg.likely for layer in need.layers)
    )
    assert need.water_l.likely == pytest.approx(math.fsum(layer.water_l.likely for layer in need.layers))


def of_chips(area_m2: float) -> Takeoff:
    recipe = Recipe("chips", (Layer("hardwood-chips", 0.1),), (SpawnPlane("sawdust-spawn", 0.05, 0.5),))
    return take_off([Patch("bed", "Bed", "king-stropharia", recipe, area_m2)], TRADE)


@given(st.floats(0.5, 50.0), st.floats(1.0, 20_000.0), st.floats(1.0, 20_000.0))
@settings(deadline=None)
def test_more_at_hand_is_never_more_short(area: float, one_l: float, more_l: float) -> None:
    need = of_chips(area)

    def heap(key: str, volume_l: float) -> Lot:
        vessels = Heap(HeapShape.VESSELS, count=1, each_l=max(1.0, volume_l))
        return Lot(key, key, LotKind.CHIPS, "hardwood-chips", heap=vessels, origins=(Origin.CLEAN,))

    (few,) = compare(need, [heap("one", one_l)], TRADE, on=BUILD).materials
    (many,) = compare(need, [heap("one", one_l), heap("two", more_l)], TRADE, on=BUILD).materials
    assert ordered(few.short_dry_kg)
    assert many.short_dry_kg.likely <= few.short_dry_kg.likely + 1e-9
    # What is there and what is short make up the need, or there is something over.
    covered = few.have_dry_kg.likely + few.short_dry_kg.likely
    assert covered >= few.need_dry_kg.likely * (1 - 1e-9)
    assert few.short_loose_l.likely == 0 or few.over_loose_l.likely == 0


@given(st.sampled_from(["hardwood-chips", "twig-chips", "softwood-chips"]), st.floats(10, 5000))
def test_a_lot_weighed_or_measured_comes_to_the_same(material: str, loose_l: float) -> None:
    """A heap's dry mass, turned into what it weighs damp, gives the heap's volume back."""
    heap = Heap(HeapShape.VESSELS, count=1, each_l=loose_l)
    measured = stock_of(Lot("a", "A", LotKind.CHIPS, material, heap=heap), TRADE)
    weight = measured.dry_kg.likely * (1 + TRADE.materials[material].damp_kg_kg.likely)
    weighed = stock_of(Lot("b", "B", LotKind.CHIPS, material, mass_kg=weight), TRADE)
    assert weighed.loose_l.likely == pytest.approx(loose_l)
    assert ordered(weighed.loose_l)


# ---- suitability --------------------------------------------------------------------------------


@given(
    st.sampled_from(WOODS),
    st.floats(0.0, 1.0),
    st.integers(0, 900),
    st.sampled_from(sorted(TRADE.species)),
    st.sets(st.sampled_from([o for o in Origin if o is not Origin.CLEAN]), min_size=1),
)
@settings(deadline=None)
def test_contamination_stops_a_lot_whatever_else_is_good(
    wood: str, share: float, age: int, species: str, marks: set[Origin]
) -> None:
    lot = Lot(
        "lot", "Lot", LotKind.CHIPS, "hardwood-chips", mass_kg=100, woods=(WoodShare(wood, share),),
        since=BUILD - timedelta(days=age), origins=tuple(marks),
    )  # fmt: skip
    fit = judge_lot(lot, species, TRADE, on=BUILD)
    assert 0 <= fit.largest_share <= 1
    assert fit.reasons, "no grade without a reason"
    assert set(fit.cautions) <= set(TRADE.cautions)
    if marks - {Origin.UNKNOWN}:
        assert fit.grade == "stopped"
        assert not fit.usable


@given(
    st.sampled_from(WOODS), st.floats(0.01, 1.0), st.floats(0.01, 1.0), st.sampled_from(sorted(TRADE.species))
)
@settings(deadline=None)
def test_more_of_a_wood_never_leaves_more_room(wood: str, one: float, other: float, species: str) -> None:
    def room(share: float) -> float:
        lot = Lot("lot", "Lot", LotKind.CHIPS, "hardwood-chips", mass_kg=1, woods=(WoodShare(wood, share),))
        return judge_lot(lot, species, TRADE, on=BUILD).largest_share

    assert room(max(one, other)) <= room(min(one, other)) + 1e-9


# ---- soaking and schedule -----------------------------------------------------------------------


@given(st.floats(0.0, 1000.0), st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_water_and_dry_matter_are_kept(mass: float, now: float, target: float) -> None:
    water = water_to_target(mass, now, target)
    assert water.to_add_l >= 0
    assert water.wet_kg == pytest.approx(mass + water.to_add_l)
    assert water.wet_kg == pytest.approx(water.dry_kg + water.water_total_kg)
    if mass > 0.01:
        assert water.water_total_kg / water.wet_kg == pytest.approx(max(now, target), abs=1e-6)


@given(st.floats(0.1, 3.5), st.floats(0.1, 30.0))
def test_hours_undo_moisture(target: float, half: float) -> None:
    hours = hours_to_moisture(target, 0.0, 3.6, half)
    assert soaked_moisture_kg_kg(hours, 0.0, 3.6, half) == pytest.approx(target)


@given(st.floats(0.5, 500), st.floats(20, 500), st.integers(1, 5), st.integers(1, 14))
@settings(deadline=None)
def test_batches_hold_all_the_straw_and_none_overfills(
    straw: float, tub: float, count: int, days: int
) -> None:
    plan = plan_soak(straw, Vessel(tub, count), TRADE, ready_by=BUILD, days=days)
    assert math.fsum(batch.straw_kg for batch in plan.batches) == pytest.approx(straw)
    most = count * tub * TRADE.constants["soak_straw_kg_l"].value
    assert max(batch.straw_kg for batch in plan.batches) <= most * (1 + 1e-9)
    assert plan.batches[-1].ready == BUILD
    for one, following in zip(plan.batches, plan.batches[1:], strict=False):
        assert one.out_of_water == following.into_water
    for amount in (plan.dry_kg, plan.absorbed_l, plan.hours_to_target, plan.moisture_reached_kg_kg):
        assert ordered(amount)
    more = plan_soak(straw, Vessel(tub, count + 1), TRADE, ready_by=BUILD, days=days)
    assert more.start >= plan.start


@given(
    st.integers(0, 60),
    st.one_of(st.none(), st.integers(0, 60)),
    st.one_of(st.none(), st.tuples(st.floats(1, 200), st.floats(30, 300), st.integers(1, 10))),
    st.floats(0, 2000),
)
@settings(deadline=None)
def test_the_earliest_day_reported_can_be_kept_and_no_day_before_it(
    ahead: int, delivery: int | None, soak: tuple[float, float, int] | None, chips: float
) -> None:
    today = date(2030, 3, 1)
    orders = () if delivery is None else (
        SpawnOrder("sawdust-spawn", "king-stropharia", 1.0, delivery_days=delivery),
    )  # fmt: skip
    work = BuildWork(
        today + timedelta(days=ahead), ("king-stropharia",), 5.0, orders, chips,
        soak=None if soak is None else SoakWork(soak[0], Vessel(soak[1]), soak[2]),
    )  # fmt: skip
    plan = plan_back(work, TRADE, today=today)
    assert ordered(plan.water_l)
    assert plan.feasible == (work.build_on >= plan.earliest_build)
    assert plan.feasible != any(step.late for step in plan.steps)
    at_best = BuildWork(
        plan.earliest_build, work.species, 5.0, orders, chips, soak=work.soak
    )  # fmt: skip
    kept = plan_back(at_best, TRADE, today=today)
    assert kept.feasible
    assert all(step.first <= step.last for step in kept.steps)
    assert all(step.last >= today for step in kept.steps)
    for remedy in plan.remedies:
        assert today <= remedy.build_on < plan.earliest_build
