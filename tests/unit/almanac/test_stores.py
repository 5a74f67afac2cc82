"""What beds take against lots, offers and neighbors; the best use; when to build; and a bed as built.

Expected figures come from hand arithmetic on the inputs, from laws (what is shared sums to what was bought,
what a lot gave plus what is left is what it held), and from trying every plan one by one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.almanac import (
    Aim,
    BestUse,
    as_built,
    best_use,
    build_amounts,
    building,
    buying,
    needs_of,
    outlook,
    recipe_options,
    recipes_for,
    schedule_of,
    sharing,
    when_to_build,
)
from mulchwright.almanac.build_weeks import BuildWeek
from mulchwright.almanac.building import WhenToBuild
from mulchwright.almanac.choosing import recipe_of
from mulchwright.almanac.outlook_result import Quantiles
from mulchwright.almanac.resources import CUBIC_YARD_L
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.almanac.year_ahead import YearCrop, YearPicking, year_ahead_of
from mulchwright.book.demo import demo_garden
from mulchwright.errors import InputError
from mulchwright.garden import (
    Garden,
    Heap,
    HeapShape,
    Household,
    Layer,
    LogKind,
    Lot,
    LotKind,
    Measure,
    Offer,
    Origin,
    Patch,
    Recipe,
    Seller,
    SpawnPlane,
    Stage,
    StartMoisture,
    Stick,
    Taking,
    UnitSystem,
    Vessel,
)
from mulchwright.gather.share import DeliveryRule
from mulchwright.gather.stock import stock_of
from mulchwright.trade import Trade, load_trade

TODAY = date(2015, 6, 6)
BUILD = date(2015, 8, 20)
CLEAN = (Origin.CLEAN,)
KING = "king-stropharia"
MEMBERS = 40
FEW = RunSettings(MEMBERS)
DEMO, SERIES = demo_garden()


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


CHIPS_8_CM = Recipe(
    "Chips, 8 cm",
    layers=(Layer("hardwood-chips", 0.08),),
    planes=(SpawnPlane("sawdust-spawn", 0.04, rate_kg_m2=0.5),),
)
STRAW_AND_CHIPS = Recipe(
    "Straw under chips",
    layers=(
        Layer("wheat-straw", 0.08, start_moisture=StartMoisture.SOAKED),
        Layer("hardwood-chips", 0.05),
    ),
    planes=(SpawnPlane("sawdust-spawn", 0.08, rate_kg_m2=0.5),),
)


def bed(number: int, area_m2: float, recipe: Recipe = CHIPS_8_CM, **other: object) -> Patch:
    made = Patch(f"bed-{number}", f"Bed {number}", KING, recipe, area_m2, built_on=BUILD)
    return replace(made, **other)  # type: ignore[arg-type]


def chips(liters: float, key: str = "heap", **other: object) -> Lot:
    made = Lot(
        key, key.capitalize(), LotKind.CHIPS, "hardwood-chips",
        heap=Heap(HeapShape.VESSELS, count=1, each_l=liters), since=date(2015, 6, 1), origins=CLEAN,
    )  # fmt: skip
    return replace(made, **other)  # type: ignore[arg-type]


def spawn(kg: float, key: str = "bag", **other: object) -> Lot:
    made = Lot(
        key, key.capitalize(), LotKind.SPAWN, "sawdust-spawn", mass_kg=kg, species=KING,
        since=date(2015, 6, 1), origins=CLEAN,
    )  # fmt: skip
    return replace(made, **other)  # type: ignore[arg-type]


BALES = Lot(
    "bales", "Bales", LotKind.STRAW, "wheat-straw", pieces=2, piece_kg=18, since=date(2015, 6, 1),
    origins=CLEAN,
)  # fmt: skip
SHOP = Seller("shop", "Corner shop", delivery_cents=800, delivery_days=4)
FARM = Seller("farm", "Hill farm")
OFFERS = (
    Offer("shop", "sawdust-spawn", 2.5, 2800, key="bag", species=KING),
    Offer("farm", "wheat-straw", 1, 950, key="bale", unit=Measure.PIECES),
    Offer("farm", "hardwood-chips", CUBIC_YARD_L, 3500, key="yard", unit=Measure.LITERS),
)


def garden(*patches: Patch, lots: Sequence[Lot] = (), **other: object) -> Garden:
    made = replace(
        DEMO, beds=(), patches=patches, log=(), lots=tuple(lots), sellers=(), offers=(), households=(),
        vessels=(), recipes=(),
    )  # fmt: skip
    return replace(made, **other)  # type: ignore[arg-type]


# ---- needs ------------------------------------------------------------------


def test_needs_are_in_place_over_settling_and_waste(trade: Trade) -> None:
    """3 m² × 8 cm are 240 L in place; loose they are more by the table's settling and waste."""
    needs = needs_of(garden(bed(1, 3.0), lots=[chips(100), spawn(1.0)]), trade, today=TODAY)
    chip_line, spawn_line = needs.lines
    settling = trade.materials["hardwood-chips"].settling_share.likely
    waste = trade.constants["waste_share"].value
    assert needs.takeoff.layers[0].in_place_m3 == pytest.approx(0.24)
    assert chip_line.need.likely == pytest.approx(240 / (1 - settling) * (1 + waste))
    assert chip_line.unit is Measure.LITERS
    assert chip_line.have.likely == pytest.approx(100)
    assert chip_line.short.likely == pytest.approx(chip_line.need.likely - 100, rel=0.01)
    # Spawn: 3 m² × 0.5 kg/m² are 1.5 kg, of which 1 is at hand.
    assert spawn_line.unit is Measure.KILOGRAMS
    assert spawn_line.need.likely == pytest.approx(1.5)
    assert spawn_line.short.likely == pytest.approx(0.5)
    assert not chip_line.covered
    assert needs.on == BUILD
    assert [line.item for line in needs.short] == ["hardwood-chips", f"sawdust-spawn-of-{KING}"]


def test_a_contaminated_lot_is_refused_with_its_reason(trade: Trade) -> None:
    lots = [chips(5000, "pallets", origins=(Origin.TREATED,)), spawn(5.0, "old", since=date(2014, 1, 1))]
    needs = needs_of(garden(bed(1, 3.0), lots=lots), trade, today=TODAY)
    assert not any(report.usable for report in needs.lots)
    assert "must not go into any bed" in needs.lots[0].words
    assert "too old" in needs.lots[1].words
    assert [line.have.likely for line in needs.lines] == [0, 0]
    assert {fit.lot for fit in needs.stock.set_aside} == {"pallets", "old"}


def test_a_lot_that_cannot_be_counted_spoils_nothing_else(trade: Trade) -> None:
    lots = [
        chips(5000, "to-come", since=date(2015, 9, 1)),
        Lot("bags", "Bags", LotKind.CHIPS, "hardwood-chips", pieces=3, origins=CLEAN),
        Lot("stuff", "Stuff", LotKind.CHIPS, "moon-chips", mass_kg=5.0, origins=CLEAN),
        chips(5000),
    ]
    needs = needs_of(garden(bed(1, 3.0), lots=lots), trade, today=TODAY)
    assert needs.lines[0].covered
    later, massless, unknown = needs.notes
    assert "dates from 1 September 2015, after the build day" in later
    assert "Build later" in later
    assert "give what one weighs" in massless
    assert "'moon-chips' is not in the table" in unknown


def test_nothing_is_needed_where_nothing_is_planned(trade: Trade) -> None:
    built = bed(1, 3.0, stage=Stage.BUILT)
    needs = needs_of(garden(built, lots=[chips(10)]), trade, today=TODAY)
    assert needs.lines == ()
    assert "No bed is planned" in needs.notes[0]
    with pytest.raises(InputError, match="'Bed 1' is built; only planned beds need anything"):
        needs_of(garden(built), trade, today=TODAY, patches=["bed-1"])
    with pytest.raises(InputError, match="There is no patch 'x'"):
        needs_of(garden(built), trade, today=TODAY, patches=["x"])


def test_needs_of_two_beds_are_those_of_each(trade: Trade) -> None:
    both = garden(bed(1, 3.0), bed(2, 1.2, STRAW_AND_CHIPS))
    together = {line.item: line.need.likely for line in needs_of(both, trade, today=TODAY).lines}
    parts = [needs_of(both, trade, today=TODAY, patches=[key]).lines for key in ("bed-1", "bed-2")]
    for item, amount in together.items():
        each = [line.need.likely for lines in parts for line in lines if line.item == item]
        assert amount == pytest.approx(sum(each))


def test_sheets_are_reported_by_area_and_pegs_by_number(trade: Trade) -> None:
    recipe = Recipe(
        "Sheet and pegs",
        layers=(Layer("cardboard", 0.004), Layer("hardwood-chips", 0.08)),
        planes=(SpawnPlane("peg-spawn", 0.04, points_per_m2=40.0),),
    )
    card = Lot("card", "Card", LotKind.SKIN, "cardboard", mass_kg=0.0, origins=CLEAN)
    pegs = Lot("pegs", "Pegs", LotKind.SPAWN, "peg-spawn", pieces=50, species=KING, origins=CLEAN)
    lines = needs_of(garden(bed(1, 2.5, recipe), lots=[card, pegs]), trade, today=TODAY).lines
    by_unit = {line.unit: line for line in lines}
    assert by_unit[Measure.SQUARE_METERS].need.likely == pytest.approx(2.5)
    assert by_unit[Measure.PIECES].need.likely == 100
    assert by_unit[Measure.PIECES].short.likely == 50


# ---- buying and sharing -----------------------------------------------------


def test_a_bag_a_bale_and_a_yard_cover_what_is_short(trade: Trade) -> None:
    """2 m² of straw under chips take 1 kg of spawn, well under a yard of chips and under a bale of straw."""
    stocked = garden(bed(1, 1.2, STRAW_AND_CHIPS), sellers=(SHOP, FARM), offers=OFFERS)
    bought = buying(stocked, trade, needs_of(stocked, trade, today=TODAY))
    plan = bought.purchase.plan
    assert {line.offer.key: line.count for line in plan.lines} == {"bag": 1, "bale": 1, "yard": 1}
    assert (plan.paid_cents, plan.delivery_cents) == (2800 + 950 + 3500 + 800, 800)
    assert bought.purchase.proved
    bale = next(line for line in plan.lines if line.offer.key == "bale")
    assert bale.offer.size == trade.constants["bale_kg"].value


def test_bad_offers_are_named_with_the_nearest_thing(trade: Trade) -> None:
    offers = (
        replace(OFFERS[0], price_cents=None),
        Offer("farm", "moon-chips", 5, 100, key="moon"),
        Offer("farm", "sawdust-spawn", 2.5, 100, key="whose"),
        Offer("farm", "sawdust-spawn", 1, 100, key="count", unit=Measure.PIECES, species=KING),
        Offer("farm", "twig-chips", 300, 900, key="twigs", unit=Measure.LITERS),
    )
    stocked = garden(bed(1, 2.0), sellers=(SHOP, FARM), offers=offers)
    bought = buying(stocked, trade, needs_of(stocked, trade, today=TODAY))
    text = " ".join([*bought.notes, *bought.purchase.set_aside])
    assert "has no price and is left out; ask for it" in text
    assert "'moon-chips' is neither in the table of materials nor in that of spawn" in text
    assert "it is spawn of no species. Say which." in text
    assert "Enter what one package holds" in text
    uncovered = " ".join(one.words for one in bought.purchase.uncovered)
    assert "Nearest: twig-chips is on offer and can stand in for it" in uncovered
    assert "Nearest: ask Corner shop for the price" in uncovered
    assert bought.purchase.plan.lines == ()


def test_a_package_of_nothing_and_negative_stock_are_refused_as_nouns() -> None:
    with pytest.raises(InputError, match="holds 0; give what one package holds, more than 0"):
        Offer("farm", "wheat-straw", 0, 100)
    with pytest.raises(InputError, match="less than nothing cannot lie in a garden"):
        spawn(-1.0)
    with pytest.raises(InputError, match="give whole cents from 0"):
        Offer("farm", "wheat-straw", 5, -100)
    with pytest.raises(InputError, match="-3 packages"):
        Offer("farm", "wheat-straw", 5, 100, most=-3)
    with pytest.raises(InputError, match="three letters, such as USD or EUR"):
        Offer("farm", "wheat-straw", 5, 100, currency="$")
    with pytest.raises(InputError, match="holds nothing; give its volume"):
        Vessel(0.0)
    with pytest.raises(InputError, match="takes one thing twice"):
        Household("a", "A", (Taking("wheat-straw", 1), Taking("wheat-straw", 2)))
    with pytest.raises(InputError, match="is offered by 'nobody', who is not among the sellers"):
        garden(offers=(replace(OFFERS[0], seller="nobody"),))
    with pytest.raises(InputError, match="Two recipes are called 'Chips, 8 cm'"):
        garden(recipes=(CHIPS_8_CM, CHIPS_8_CM))
    with pytest.raises(InputError, match="Two lots share the key 'heap'"):
        garden(lots=[chips(1), chips(2)])


@pytest.mark.parametrize("rule", list(DeliveryRule))
def test_a_shared_order_sums_to_what_was_paid_and_bought(trade: Trade, rule: DeliveryRule) -> None:
    """Ours 1 kg, next door 4 kg: two bags of 2.5 kg hold exactly that, and each pays for its own mass."""
    stocked = garden(
        bed(1, 2.0), lots=[chips(5000)], sellers=(SHOP, FARM), offers=OFFERS,
        households=(Household("next", "Next door", (Taking("sawdust-spawn", 4.0, species=KING),)),),
    )  # fmt: skip
    shared = sharing(stocked, trade, needs_of(stocked, trade, today=TODAY), rule=rule, ours="Ours")
    assert shared.order is not None
    assert shared.buying.purchase.plan.paid_cents == 2 * 2800 + 800
    ours, next_door = shared.order.shares
    assert sum(share.cents for share in shared.order.shares) == 2 * 2800 + 800
    assert [share.taken[0].kg for share in (ours, next_door)] == pytest.approx([1.0, 4.0])
    assert (ours.goods_cents, next_door.goods_cents) == (1120, 4480)  # a fifth and four fifths of 56.00
    if rule is DeliveryRule.BY_MASS:
        assert (ours.delivery_cents, next_door.delivery_cents) == (160, 640)
    if rule is DeliveryRule.EQUAL:
        assert (ours.delivery_cents, next_door.delivery_cents) == (400, 400)
    assert "Next door" in shared.note


def test_bags_bales_and_bulk_are_shared_by_hand_arithmetic(trade: Trade) -> None:
    """Only the neighbors want something: spawn by weight, straw by the kilogram, chips by volume.

    By hand, all in cents. Plums: 1 kg spawn, 9 kg straw, 300 L chips. Quinces: 1.5 kg, 27 kg, 100 L.
    Shop: one bag of 2.5 kg for 28.00: 1/2.5 of it is 11.20, the rest 16.80.
    Farm: two bales of 18 kg at 9.50: 36 kg for 19.00; a quarter is 4.75, three quarters 14.25.
    Farm: a box of 250 L at 12.00, two of them: 500 L for 24.00. 400 L are wanted, so 100 L are over and stay
    with us: 300/500 is 14.40, 100/500 is 4.80, and 4.80 for ours.
    Delivery of the shop, 8.00, in equal parts between the two who take from it: 4.00 each.
    """
    offers = (
        Offer("shop", "sawdust-spawn", 2.5, 2800, key="bag", species=KING),
        Offer("farm", "wheat-straw", 18, 950, key="bale", unit=Measure.KILOGRAMS),
        Offer("farm", "hardwood-chips", 250, 1200, key="box", unit=Measure.LITERS),
    )
    takes = {
        "Plums": (Taking("sawdust-spawn", 1.0, species=KING), Taking("wheat-straw", 9.0),
                  Taking("hardwood-chips", 300, Measure.LITERS)),
        "Quinces": (Taking("sawdust-spawn", 1.5, species=KING), Taking("wheat-straw", 27.0),
                    Taking("hardwood-chips", 100, Measure.LITERS)),
    }  # fmt: skip
    stocked = garden(
        sellers=(SHOP, FARM), offers=offers,
        households=tuple(Household(name.lower(), name, took) for name, took in takes.items()),
    )  # fmt: skip
    needs = needs_of(stocked, trade, today=TODAY)
    shared = sharing(stocked, trade, needs, rule=DeliveryRule.EQUAL, ours="Ours")
    assert shared.order is not None
    paid = {
        (share.household.name, part.item.name): part.cents
        for share in shared.order.shares
        for part in share.taken
    }
    straw, chip, bag = (
        trade.materials["wheat-straw"].names[0], trade.materials["hardwood-chips"].names[0],
        next(part.item.name for part in shared.order.shares[1].taken if "spawn" in part.item.name),
    )  # fmt: skip
    assert paid == {
        ("Plums", bag): 1120, ("Quinces", bag): 1680, ("Plums", straw): 475, ("Quinces", straw): 1425,
        ("Plums", chip): 1440, ("Quinces", chip): 480, ("Ours", chip): 480,
    }  # fmt: skip
    assert [share.delivery_cents for share in shared.order.shares] == [0, 400, 400]
    assert [share.cents for share in shared.order.shares] == [480, 3435, 3985]
    assert sum(share.cents for share in shared.order.shares) == 2800 + 1900 + 2400 + 800
    # What is over is told as it is bought, by volume, not as a weight.
    (over,) = shared.order.words
    assert over == f"{chip}: 100 L beyond what was wanted goes to Ours, who pays for it."
    assert f"  {chip}: 300 L, 14.40 USD" in shared.note


def test_what_cannot_be_shared_is_said(trade: Trade) -> None:
    plain = garden(bed(1, 2.0), sellers=(FARM,))
    needs = needs_of(plain, trade, today=TODAY)
    with pytest.raises(InputError, match="No household shares this order yet"):
        sharing(plain, trade, needs)
    for taking, text in (
        (Taking("moon-chips", 1), "which no table has"),
        (Taking("sawdust-spawn", 1), "spawn of no species"),
        (Taking("hardwood-chips", 3, Measure.PIECES), "Measure it so"),
    ):
        with pytest.raises(InputError, match=text):
            sharing(replace(plain, households=(Household("n", "N", (taking,)),)), trade, needs)
    nothing = replace(plain, households=(Household("n", "N", (Taking("wheat-straw", 0),)),))
    shared = sharing(nothing, trade, needs)
    assert shared.order is None
    assert "nothing is to be shared" in shared.note[0]


# ---- the best use -----------------------------------------------------------


@pytest.fixture(scope="module")
def scarce() -> Garden:
    return garden(
        bed(1, 3.0), bed(2, 2.0, STRAW_AND_CHIPS), lots=[chips(500), BALES, spawn(1.4)],
        sellers=(SHOP, FARM), offers=OFFERS, recipes=(replace(CHIPS_8_CM, name="Ours"),),
    )  # fmt: skip


def tried_one_by_one(stocked: Garden, use: BestUse, trade: Trade, money: int | None, aim: Aim) -> float:
    """The largest yield of plans of whole beds and quarters of them, as take-off and shop allow."""
    best = 0.0
    parts = (1.0, 0.75, 0.5, 0.25)
    written = [
        [(one, part) for one in row.options if "-" not in one.option.key for part in parts]
        for row in use.patches
    ]
    for plan in itertools.product(*[[None, *one] for one in written]):
        picked = [one for one in plan if one is not None]
        worth = math.fsum(
            part * (one.likely_kg if aim is Aim.LIKELY else one.cautious_kg) for one, part in picked
        )
        if worth <= best:
            continue
        beds = (replace(one.patch, area_m2=part * one.patch.area_m2) for one, part in picked)
        laid = replace(stocked, patches=tuple(beds))
        needs = needs_of(laid, trade, today=TODAY)
        if needs.short:
            if money is None:
                continue
            bought = buying(laid, trade, needs).purchase
            if bought.uncovered or bought.plan.paid_cents > money:
                continue
        best = worth
    return best


@pytest.mark.parametrize("money", [None, 0, 1000, 3600, 7000])
def test_no_plan_tried_one_by_one_yields_more(scarce: Garden, trade: Trade, money: int | None) -> None:
    use = best_use(scarce, SERIES, trade, today=TODAY, money_cents=money, settings=FEW, patience_s=60)
    assert use.proved
    assert use.likely_kg >= tried_one_by_one(scarce, use, trade, money, Aim.LIKELY) * 0.998 - 0.03
    laid = replace(scarce, patches=tuple(one.laid for one in use.patches if one.laid is not None))
    short = needs_of(laid, trade, today=TODAY).short
    if money is None:
        assert not short
        assert use.purchase is None
    else:
        assert use.spent_cents <= money
        assert use.purchase is not None
        assert not use.purchase.purchase.uncovered


def test_more_money_never_yields_less(scarce: Garden, trade: Trade) -> None:
    yields = [
        best_use(scarce, SERIES, trade, today=TODAY, money_cents=money, settings=FEW).likely_kg
        for money in (0, 2000, 5000, 20_000)
    ]
    assert all(more >= less - 0.02 for less, more in itertools.pairwise(yields))
    assert yields[-1] > yields[0]


def test_values_are_the_engines_own(scarce: Garden, trade: Trade) -> None:
    """An option is worth what the outlook of the same bed with the same luck tells."""
    use = best_use(scarce, SERIES, trade, today=TODAY, settings=FEW)
    planned = use.patches[0].options[0]
    assert planned.option.origin == "planned"
    page = outlook(scarce, SERIES, trade, today=TODAY, members=MEMBERS).patches[0]
    assert (planned.expected.crop, planned.expected.picking) == (page.crop, page.picking)
    assert page.crop is not None
    assert (planned.likely_kg, planned.cautious_kg) == (page.crop.likely_kg, page.crop.low_kg)


def test_options_are_the_planned_the_own_and_what_suits_the_species(scarce: Garden, trade: Trade) -> None:
    patch = scarce.patches[1]
    options = recipe_options(scarce, trade, patch)
    assert [one.origin for one in options[:2]] == ["planned", "own"]
    keys = {one.key for one in options if one.origin == "template"}
    assert keys == {key for key, row in trade.recipes.items() if KING in row.species}
    # A recipe that is a template's own in another name is told once.
    template = next(iter(trade.recipes.values()))
    same = replace(patch, recipe=replace(recipe_of(template), name="Mine"), species=template.species[0])
    names = [one.name for one in recipe_options(scarce, trade, same)]
    assert "Mine" in names
    assert template.name not in names
    for one in recipes_for(scarce, SERIES, trade, "bed-2", today=TODAY, settings=FEW):
        assert one.run_day is None or one.run_day > BUILD
        assert one.demand


def test_what_binds_and_what_one_more_brings(scarce: Garden, trade: Trade) -> None:
    """1.4 kg of spawn for 5 m² is the tightest; what one more bag brings is the best plan with it."""
    use = best_use(scarce, SERIES, trade, today=TODAY, settings=FEW)
    spawn_use = next(one for one in use.resources if one.key == f"sawdust-spawn-of-{KING}")
    assert spawn_use.binds
    assert spawn_use.one_more is not None
    assert spawn_use.one_more.step == 2.5  # the bag on offer
    fuller = replace(scarce, lots=(*scarce.lots, spawn(2.5, "more")))
    with_it = best_use(fuller, SERIES, trade, today=TODAY, settings=FEW)
    assert spawn_use.one_more.gain_kg == pytest.approx(with_it.likely_kg - use.likely_kg, abs=0.02)
    chip_use = next(one for one in use.resources if one.key == "hardwood-chips")
    assert chip_use.one_more is not None
    # 27 cubic feet in the US, a cubic meter elsewhere.
    assert chip_use.one_more.step == pytest.approx(27 * 0.3048**3 * 1000)
    metric = replace(scarce, units=UnitSystem.METRIC)
    liters = best_use(metric, SERIES, trade, today=TODAY, settings=FEW).resources[0]
    assert liters.one_more is not None
    assert liters.one_more.step == 1000


def test_with_money_no_package_speaks_as_if_it_were_a_bed(scarce: Garden, trade: Trade) -> None:
    found = best_use(scarce, SERIES, trade, today=TODAY, money_cents=6000, settings=RunSettings(20))
    lines = [found.tie_words, *found.notes, *(one.words for one in found.resources)]
    lines += [one.one_more.words for one in found.resources if one.one_more]
    names = {use.patch.name for use in found.patches}
    for words in lines:
        assert "packages" not in words
        assert "delivery" not in words
        head, colon, changes = words.partition(": ")
        if colon and ("brings" in head or "next best" in head):
            assert all(
                any(change.strip().startswith(name) for name in names) for change in changes.split("; ")
            )


def test_a_modest_crop_counts_by_its_chance_where_the_cautious_one_is_nothing(trade: Trade) -> None:
    """Built so late that more than 1 in 10 futures bring nothing: 10 % is 0, and the crop if any is not.

    By hand: the mean over all futures is the chance of a crop times the mean of the crops; and the tenth
    of the crops times its chance lies at or below that mean.
    """
    late = garden(bed(1, 3.0, built_on=date(2015, 10, 31)), lots=[chips(2000), spawn(9.0)])
    found = best_use(late, SERIES, trade, today=TODAY, aim=Aim.CAUTIOUS, settings=FEW)
    (use,) = found.patches
    unsure = [one for one in use.options if one.cautious_kg == 0 and one.modest_kg > 0]
    assert unsure
    for one in unsure:
        crop, none = one.expected.picked_if_any_kg, one.expected.none_in_first_year
        assert crop is not None
        assert 0.1 <= none < 1
        assert (1 - none) * crop.mean == pytest.approx(one.expected.picked_first_year_kg.mean)
        assert one.modest_kg == pytest.approx((1 - none) * crop.p10)
        assert one.modest_kg <= one.expected.picked_first_year_kg.mean
    assert found.aim_is_blind == all(one.cautious_kg == 0 for one in use.options)
    modest = best_use(late, SERIES, trade, today=TODAY, aim=Aim.MODEST, settings=FEW)
    chosen = modest.patches[0].chosen
    assert chosen is not None
    assert modest.aim_kg == pytest.approx(chosen.modest_kg)
    assert not modest.aim_is_blind


def test_a_must_is_built_or_refused_with_what_is_short(scarce: Garden, trade: Trade) -> None:
    use = best_use(scarce, SERIES, trade, today=TODAY, must=("bed-1",), settings=FEW)
    assert use.patches[0].chosen is not None
    with pytest.raises(InputError, match="need more than there is"):
        best_use(
            replace(scarce, lots=()),
            SERIES,
            trade,
            today=TODAY,
            must=("bed-1",),
            settings=FEW,
        )
    with pytest.raises(InputError, match="no planned bed 'x'"):
        best_use(scarce, SERIES, trade, today=TODAY, must=("x",), settings=FEW)


def test_empty_stores_and_other_bad_questions(scarce: Garden, trade: Trade) -> None:
    use = best_use(replace(scarce, lots=()), SERIES, trade, today=TODAY, settings=FEW)
    assert all(one.chosen is None for one in use.patches)
    assert use.likely_kg == 0
    assert any("not enough for even a small part" in note for note in use.notes)
    with pytest.raises(InputError, match="less than nothing; give 0 or more"):
        best_use(scarce, SERIES, trade, today=TODAY, money_cents=-1)
    with pytest.raises(InputError, match="No bed is planned"):
        best_use(garden(), SERIES, trade, today=TODAY)
    two = replace(scarce, offers=(*OFFERS, Offer("farm", "twig-chips", 9, 1, currency="EUR", key="e")))
    with pytest.raises(InputError, match="knows no rates"):
        best_use(two, SERIES, trade, today=TODAY, money_cents=100, settings=FEW)


def test_like_beds_share_a_run_and_yield_by_their_area(trade: Trade) -> None:
    """The same recipes on 1 and 3 m²: three times the crop of each, and the days and chances of one run."""
    two = garden(bed(1, 1.0), bed(2, 3.0), lots=[chips(2000), spawn(9.0)])
    small, large = best_use(two, SERIES, trade, today=TODAY, settings=FEW).patches
    alone = best_use(replace(two, patches=two.patches[1:]), SERIES, trade, today=TODAY, settings=FEW).patches[
        0
    ]
    assert [one.option.key for one in small.options] == [one.option.key for one in large.options]
    for one, other, own in zip(small.options, large.options, alone.options, strict=True):
        assert 3 * one.likely_kg == pytest.approx(other.likely_kg)
        assert (other.likely_kg, other.cautious_kg) == pytest.approx((own.likely_kg, own.cautious_kg))
        assert other.modest_kg == pytest.approx(own.modest_kg)
        assert (other.chance, other.picking_on, other.run_day) == (own.chance, own.picking_on, own.run_day)


def pockets(trade: Trade) -> Garden:
    """Eight pockets of 1 to 4 square feet, mulberry prunings chipped, some straw and half a bag of spawn."""
    square_foot = 0.3048**2
    beds = [
        bed(n, feet * square_foot, STRAW_AND_CHIPS, name=f"Pocket {n}")
        for n, feet in enumerate((1, 1.5, 2, 2, 2.5, 3, 3.5, 4), start=1)
    ]
    mulberry = replace(chips(90), name="Mulberry prunings, chipped", material="twig-chips")
    straw = replace(BALES, pieces=1, piece_kg=6.0, material="oat-straw")
    return garden(*beds, lots=[mulberry, straw, spawn(0.6)])


def test_half_a_bag_starts_several_pockets(trade: Trade) -> None:
    """None of the recipes is fully at hand (no hardwood chips, no wheat straw), and yet beds are laid."""
    small = pockets(trade)
    for aim in (Aim.LIKELY, Aim.BEDS):
        use = best_use(small, SERIES, trade, today=TODAY, aim=aim, settings=FEW)
        assert use.beds >= 3
        assert use.aim_kg > 0
        laid = replace(small, patches=tuple(one.laid for one in use.patches if one.laid is not None))
        assert not needs_of(laid, trade, today=TODAY).short
        for one in use.patches:
            if one.chosen is not None:
                assert one.area_m2 >= 0.0928 - 1e-6
    first = next(one for one in use.patches if one.patch.name == "Pocket 1")
    assert (first.is_part, first.area_words("us")) == (False, "all 1 ft²")
    most = best_use(small, SERIES, trade, today=TODAY, aim=Aim.BEDS, settings=FEW)
    likely = best_use(small, SERIES, trade, today=TODAY, settings=FEW)
    assert most.beds == 8
    assert most.beds >= likely.beds
    assert likely.likely_kg >= most.likely_kg * 0.998


def test_a_smaller_bed_is_laid_where_the_whole_one_cannot_be(trade: Trade) -> None:
    """Spawn for a fifth of 5 m² at the least rate, 0.3 kg/m²: once it was said not to be enough."""
    one = garden(bed(1, 5.0), lots=[chips(2000), spawn(0.3)])
    use = best_use(one, SERIES, trade, today=TODAY, settings=FEW)
    (only,) = use.patches
    assert only.is_part
    assert 0 < only.area_m2 <= 1.0 + 1e-6
    assert only.laid is not None
    assert only.laid.area_m2 == pytest.approx(only.area_m2)
    assert only.area_words("metric").endswith(" of the 5 m²")
    assert only.likely_kg == pytest.approx(only.share * only.chosen.likely_kg if only.chosen else 0)


def test_one_more_is_priced_where_it_is_on_offer(scarce: Garden, trade: Trade) -> None:
    use = best_use(scarce, SERIES, trade, today=TODAY, settings=FEW)
    spawn_use = next(one for one in use.resources if one.key == f"sawdust-spawn-of-{KING}")
    cheapest = min(
        o.price_cents for o in OFFERS if o.item == "sawdust-spawn" and o.size >= 2.49 and o.price_cents
    )
    assert spawn_use.one_more_cents == cheapest


def test_chips_that_suit_another_species_only_are_not_laid(trade: Trade) -> None:
    """A lot that is set aside for the bed's species counts as nothing at hand."""
    only = garden(bed(1, 1.0), lots=[chips(900, origins=(Origin.SPRAYED,)), spawn(3.0)])
    use = best_use(only, SERIES, trade, today=TODAY, settings=FEW)
    assert use.patches[0].chosen is None
    assert any("must not go into any bed" in note for note in use.notes)


# ---- when and by when -------------------------------------------------------


def week_of(built_on: date, kg: float, chance: float = 0.9) -> BuildWeek:
    year = year_ahead_of(built_on, TODAY)
    crop = YearCrop(year, kg / 2, kg, 2 * kg, chance)
    picking = YearPicking(year, chance, built_on, built_on, built_on, 0.0, (built_on,) * 20)
    return BuildWeek(built_on, crop, picking, Quantiles(0, kg, 2 * kg, kg), Quantiles(0, 0, 0, 0))


def curve_of(monkeypatch: pytest.MonkeyPatch, trade: Trade, kg: Sequence[float]) -> WhenToBuild:
    """What is told of a curve of these likely crops, a week each from a day in June on."""
    weeks = tuple(week_of(TODAY + timedelta(weeks=n), value) for n, value in enumerate(kg))
    monkeypatch.setattr(building, "build_weeks", lambda *_, **__: weeks)
    return when_to_build(garden(bed(1, 2.0)), SERIES, trade, "bed-1", today=TODAY)


def test_a_flat_curve_is_told_as_flat(monkeypatch: pytest.MonkeyPatch, trade: Trade) -> None:
    """6.3 to 6.7 lb was told as "best 6 June"."""
    flat = curve_of(monkeypatch, trade, [6.6, 6.3, 6.7, 6.5])
    assert flat.even
    assert flat.best.built_on == TODAY
    assert "Any week from" in flat.words
    falling = curve_of(monkeypatch, trade, [6.6, 6.3, 6.7, 6.5, 3.0, 2.0])
    assert not falling.even
    (stretch,) = falling.windows
    assert (stretch.first, stretch.last) == (TODAY, TODAY + timedelta(weeks=3))
    alone = curve_of(monkeypatch, trade, [2.0, 6.0, 2.0])
    assert "Build in the week of" in alone.words


def test_a_week_in_winter_is_not_proposed_for_being_a_little_better(
    monkeypatch: pytest.MonkeyPatch, trade: Trade
) -> None:
    """A blewit bed "did best built 2 January"."""
    kg = [1.0] * 40
    january = next(n for n in range(40) if (TODAY + timedelta(weeks=n)).month == 1)
    kg[january] = 1.5
    found = curve_of(monkeypatch, trade, kg)
    assert found.best.built_on.month in (3, 4, 5, 6, 8, 9, 10, 11)
    assert "outside the usual building seasons" in found.words
    kg[january] = 4.0
    assert curve_of(monkeypatch, trade, kg).best.built_on == TODAY + timedelta(weeks=january)


def test_where_no_crop_is_likely_chances_are_compared(monkeypatch: pytest.MonkeyPatch, trade: Trade) -> None:
    weeks = tuple(
        week_of(TODAY + timedelta(weeks=n), 0.0, chance) for n, chance in enumerate((0.1, 0.4, 0.1))
    )
    monkeypatch.setattr(building, "build_weeks", lambda *_, **__: weeks)
    found = when_to_build(garden(bed(1, 2.0)), SERIES, trade, "bed-1", today=TODAY)
    assert found.best is weeks[1]
    assert not found.none_bears
    assert "more likely nothing" in found.words


def test_weeks_as_good_as_the_best_are_told_together(trade: Trade) -> None:
    shares: list[float] = []
    when = when_to_build(
        garden(bed(1, 2.0)), SERIES, trade, "bed-1", today=TODAY, weeks=40, settings=FEW,
        progress=shares.append,
    )  # fmt: skip
    assert [week.built_on for week in when.weeks] == [TODAY + timedelta(weeks=n) for n in range(40)]
    top = max(week.crop.likely_kg for week in when.weeks)
    good = {week.built_on for week in when.weeks if week.crop.likely_kg >= 0.9 * top}
    told = [
        week.built_on
        for window in when.windows
        for week in when.weeks
        if window.first <= week.built_on <= window.last
    ]
    assert len(told) == len(set(told))
    assert set(told) == good
    for window in when.windows:
        assert window.first <= window.best.built_on <= window.last
        assert window.best.built_on.month in {"spring": (3, 4, 5, 6), "autumn": (8, 9, 10, 11)}.get(
            window.season, (12, 1, 2, 7)
        )
    assert shares[-1] == 1.0
    south = replace(DEMO.place, latitude_deg=-DEMO.place.latitude_deg)
    turned = when_to_build(
        garden(bed(1, 2.0), place=south),
        SERIES,
        trade,
        "bed-1",
        today=TODAY,
        weeks=4,
        settings=FEW,
    )
    assert {window.season for window in turned.windows} <= {"autumn", ""}  # June ends no spring there


def test_when_refuses_what_cannot_be(trade: Trade) -> None:
    one = garden(bed(1, 2.0))
    with pytest.raises(InputError, match="has gone by"):
        when_to_build(one, SERIES, trade, "bed-1", today=TODAY, first=TODAY - timedelta(days=1))
    with pytest.raises(InputError, match="0 weeks were asked for"):
        when_to_build(one, SERIES, trade, "bed-1", today=TODAY, weeks=0)


def test_the_schedule_orders_soaks_and_moves_with_the_day(trade: Trade) -> None:
    """A tub too small for one go: so many batches of three days, and a day to drain, before the build."""
    straw_bed = bed(1, 6.0, STRAW_AND_CHIPS)
    stocked = garden(
        straw_bed, sellers=(SHOP, FARM), offers=OFFERS, vessels=(Vessel(100.0, 1, "tub", "tub"),)
    )
    plan = schedule_of(stocked, trade, "bed-1", today=TODAY, series=SERIES)
    assert plan.vessel == stocked.vessels[0]
    assert plan.schedule.feasible
    soak = plan.schedule.soak
    assert soak is not None
    straw = next(layer for layer in plan.needs.takeoff.layers if layer.material == "wheat-straw")
    each = 100 * trade.constants["soak_straw_kg_l"].value
    assert len(soak.batches) == math.ceil(straw.delivered_kg.likely / each)
    assert soak.start == BUILD - timedelta(days=3 * len(soak.batches) + 1)
    order = next(step for step in plan.schedule.steps if step.kind == "order_spawn")
    assert order.last == BUILD - timedelta(days=4)  # as the seller says
    later = schedule_of(stocked, trade, "bed-1", today=TODAY, build_on=BUILD + timedelta(days=7))
    assert later.schedule.soak is not None
    assert later.schedule.soak.start == soak.start + timedelta(days=7)
    two = replace(stocked, vessels=(Vessel(100.0, 2), Vessel(50.0, 1, "bin", "bin")))
    together = schedule_of(two, trade, "bed-1", today=TODAY).vessel
    assert together is not None
    assert together.volume_l == 250


def test_a_soak_that_should_have_begun_yesterday(trade: Trade) -> None:
    stocked = garden(bed(1, 1.0, STRAW_AND_CHIPS), lots=[chips(900), BALES, spawn(5)])
    today = BUILD - timedelta(days=3)
    plan = schedule_of(stocked, trade, "bed-1", today=today, rain_expected_mm=40.0)
    assert "Soaking would have to start yesterday" in plan.schedule.problems[0]
    assert plan.schedule.earliest_build == BUILD + timedelta(days=1)
    assert plan.schedule.remedies[0].build_on <= BUILD
    assert "No vessel to soak in is known" in plan.notes[0]
    with pytest.raises(InputError, match="has gone by"):
        schedule_of(stocked, trade, "bed-1", today=BUILD + timedelta(days=1))
    undated = garden(bed(1, 2.0, built_on=None))
    with pytest.raises(InputError, match="has no build day yet"):
        schedule_of(undated, trade, "bed-1", today=TODAY)


# ---- as built ---------------------------------------------------------------


def test_as_planned_with_one_call(trade: Trade) -> None:
    lots = [chips(100, "old", since=date(2015, 5, 1)), chips(900), spawn(5.0)]
    stocked = garden(bed(1, 3.0), bed(2, 1.0), lots=lots)
    done = as_built(stocked, trade, "bed-1", built_on=TODAY, today=TODAY, note="Two of us, drizzle.")
    assert done.patch.stage is Stage.BUILT
    assert done.patch.built_on == TODAY
    assert done.garden.patch("bed-1") == done.patch
    assert done.garden.patch("bed-2") == stocked.patch("bed-2")
    entry = done.garden.log[-1]
    assert (entry.kind, entry.patch, entry.day, entry.text) == (
        LogKind.BUILT, "bed-1", TODAY, "Two of us, drizzle.",
    )  # fmt: skip
    assert done.short == ()
    # The oldest heap first, to its end; then the other; of the spawn 3 m² × 0.5 kg/m².
    kept = {lot.key: lot for lot in done.garden.lots}
    assert set(kept) == {"heap", "bag"}
    assert kept["bag"].mass_kg == pytest.approx(5.0 - 1.5)
    needed = needs_of(stocked, trade, today=TODAY, patches=["bed-1"]).takeoff.layers[0].dry_kg.likely
    before = sum(stock_of(lot, trade).dry_kg.likely for lot in lots[:2])
    assert stock_of(kept["heap"], trade).dry_kg.likely == pytest.approx(before - needed)
    # The engine then uses what was built.
    result = outlook(done.garden, SERIES, trade, today=TODAY, members=20)
    assert result.patches[0].start == TODAY


def test_what_was_really_laid_counts(trade: Trade) -> None:
    stocked = garden(bed(1, 3.0), lots=[chips(900), spawn(1.0)])
    laid = replace(CHIPS_8_CM, name="Thinner", layers=(Layer("hardwood-chips", 0.05),))
    done = as_built(stocked, trade, "bed-1", built_on=TODAY, today=TODAY, recipe=laid)
    assert done.patch.recipe == laid
    # 1.5 kg of spawn were laid and 1 was noted: nothing goes below zero, and it is said.
    (words,) = done.short
    assert "took 0.5 kg of sawdust spawn of wine cap more than the lots held" in words
    assert [lot.key for lot in done.garden.lots] == ["heap"]
    assert "is used up and was taken out" in " ".join(one.words for one in done.drawn)
    by_hand = as_built(stocked, trade, "bed-1", built_on=TODAY, today=TODAY, draw_lots=False)
    assert by_hand.garden.lots == stocked.lots


def test_a_bed_is_built_once_and_not_tomorrow(trade: Trade) -> None:
    stocked = garden(bed(1, 3.0))
    with pytest.raises(InputError, match="still to come"):
        as_built(stocked, trade, "bed-1", built_on=TODAY + timedelta(days=1), today=TODAY)
    done = as_built(stocked, trade, "bed-1", built_on=TODAY, today=TODAY)
    with pytest.raises(InputError, match="is built; only planned beds"):
        as_built(done.garden, trade, "bed-1", built_on=TODAY, today=TODAY)


AMOUNTS: st.SearchStrategy[dict[str, Any]] = st.sampled_from(
    [
        {"mass_kg": 300.0},
        {"pieces": 12, "piece_kg": 20.0},
        {"heap": Heap(HeapShape.CONE, 2.0, 1.0)},
        {"heap": Heap(HeapShape.WINDROW, 1.5, 0.8, 3.0)},
        {"heap": Heap(HeapShape.BOX, 1.5, 0.5, 2.0)},
        {"heap": Heap(HeapShape.VESSELS, count=12, each_l=90)},
    ]
)


@settings(max_examples=40, deadline=None)
@given(amount=AMOUNTS, area=st.floats(0.1, 60))
def test_what_was_given_and_what_is_left_is_what_there_was(amount: dict[str, Any], area: float) -> None:
    trade = load_trade()
    lot = Lot(
        "heap", "Heap", LotKind.CHIPS, "hardwood-chips", since=date(2015, 6, 1), origins=CLEAN, **amount
    )  # fmt: skip
    stocked = garden(bed(1, area), lots=[lot])
    held = stock_of(lot, trade).dry_kg.likely
    done = as_built(stocked, trade, "bed-1", built_on=TODAY, today=TODAY)
    needed = needs_of(stocked, trade, today=TODAY).takeoff.layers[0].dry_kg.likely
    left = sum(stock_of(one, trade).dry_kg.likely for one in done.garden.lots)
    assert left >= 0
    # Sweepings of less than a hundredth of a lot are let go.
    assert left == pytest.approx(max(0.0, held - needed), abs=0.0101 * held)


def test_pegs_and_branches_are_drawn_by_whole_pieces(trade: Trade) -> None:
    recipe = replace(CHIPS_8_CM, planes=(SpawnPlane("peg-spawn", 0.04, points_per_m2=40.0),))
    pegs = Lot("pegs", "Pegs", LotKind.SPAWN, "peg-spawn", pieces=100, species=KING, origins=CLEAN)
    brush = Lot(
        "brush", "Brush", LotKind.BRUSH, "hardwood-chips",
        sticks=(Stick(3.0, mid_diameter_m=0.08, count=60),), since=date(2015, 6, 1), origins=CLEAN,
    )  # fmt: skip
    done = as_built(
        garden(bed(1, 1.0, recipe), lots=[pegs, brush]), trade, "bed-1", built_on=TODAY, today=TODAY
    )
    kept = {lot.key: lot for lot in done.garden.lots}
    assert kept["pegs"].pieces == 60
    assert 0 < kept["brush"].sticks[0].count < 60


# ---- amounts in words -------------------------------------------------------


def test_amounts_run_from_the_ground_up(trade: Trade) -> None:
    lines = build_amounts(bed(1, 2.0, STRAW_AND_CHIPS), trade, "us")
    assert [(line.part, line.height_m) for line in lines] == [
        ("layer", 0.0), ("spawn", 0.08), ("layer", 0.08),
    ]  # fmt: skip
    assert lines[0].words[0].unit == "mass"
    # 1 kg of spawn is 35.27 oz (16 oz to 0.45359237 kg).
    assert [words.likely for words in lines[1].words] == ["2.2 lb", "35.3 oz"]
    assert all(line.name for line in lines)
