"""The year's review of a small garden by hand: sums, cost, best and worst, reasons, proposals."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.almanac import Outlook, PatchOutlook, Quantiles, outlook
from mulchwright.almanac.bed_year import ReasonKind
from mulchwright.almanac.next_year import ProposalKind
from mulchwright.almanac.renewal import LEAST_TOP_UP_M
from mulchwright.almanac.review import YearReview, review
from mulchwright.almanac.scores import to_keep
from mulchwright.errors import InputError
from mulchwright.garden import (
    ClimateNormals,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SavedOutlook,
    SpawnPlane,
    Stage,
    StartMoisture,
    Use,
    WateringRule,
    YearCost,
)
from mulchwright.season import food_cells
from mulchwright.trade import load_trade

TRADE = load_trade()
KING = "king-stropharia"
CHIPS = Recipe("chips", (Layer("hardwood-chips", 0.1),), (SpawnPlane("sawdust-spawn", 0.05, 0.6),))
TODAY = date(2032, 1, 20)


def bed(key: str, built_on: date | None, area_m2: float = 2.0, stage: Stage = Stage.BUILT) -> Patch:
    return Patch(key, key.title(), KING, CHIPS, area_m2, built_on, stage)


OLD, ASH = bed("old", date(2030, 4, 1)), bed("ash", date(2030, 5, 1), 4.0)
NEW, NEXT = bed("new", date(2031, 12, 20)), bed("next", date(2032, 4, 1), stage=Stage.PLANNED)
PICKS = (
    LogEntry("p1", "old", date(2031, 5, 10), LogKind.PICKED, mass_kg=1.2),
    LogEntry("p2", "old", date(2031, 5, 30), LogKind.PICKED, mass_kg=0.8),
    LogEntry("p3", "ash", date(2031, 9, 3), LogKind.PICKED, mass_kg=1.0),
)
LOG = (
    LogEntry("p0", "old", date(2030, 9, 9), LogKind.PICKED, mass_kg=0.5),
    *PICKS,
    LogEntry("w1", "old", date(2031, 6, 2), LogKind.WATERED, litres=20),
    LogEntry("w2", "ash", date(2031, 6, 2), LogKind.WATERED, litres=30),
    LogEntry("w3", "ash", date(2032, 1, 2), LogKind.WATERED, litres=99),
    LogEntry("l1", "ash", date(2031, 6, 20), LogKind.LOOKED),
)
CHECKS = tuple(
    IdentityCheck(f"c-{p.key}", p.patch, KING, p.day, (("cap", Finding.AS_DESCRIBED),), (p.key,))
    for p in PICKS
)


def use(key: str, fate: Fate, kg: float, pick: str, into: str = "", day: date = date(2031, 9, 4)) -> Use:
    return Use(key, day, fate, kg, pick=pick, check=f"c-{pick}" if fate.feeds else "", into=into)


JARS = (
    Jar("j1", "Red lid", JarKind.DRIED, KING, date(2031, 6, 1), 0.09, date(2031, 12, 1), ("p1", "p2")),
    Jar("f1", "Pack", JarKind.FROZEN, KING, date(2031, 9, 5), 0.3, date(2032, 3, 1), ("p3",)),
)
USES = (
    use("u0", Fate.CHILL, 1.2, "p1", day=date(2031, 5, 10)),
    use("u1", Fate.EAT, 0.5, "p1"),
    use("u2", Fate.DRY, 0.6, "p1", "j1"),
    use("u3", Fate.DRY, 0.3, "p2", "j1"),
    use("u4", Fate.GIVE, 0.2, "p2"),
    use("u5", Fate.DISCARD, 0.1, "p2"),
    use("u6", Fate.FREEZE, 0.3, "p3", "f1"),
    use("u7", Fate.EAT, 0.4, "p3", day=date(2032, 6, 1)),
)
GARDEN = Garden(
    Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
    patches=(OLD, ASH, NEW, NEXT), log=LOG, checks=CHECKS, uses=USES, jars=JARS,
    normals=ClimateNormals(
        (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
        (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
        (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
        (13.0,) * 12,
        source="made up",
    ),
)  # fmt: skip


COSTED = replace(GARDEN, year_costs=(YearCost(2030, 99900), YearCost(2031, 6000, 12.0)))


@pytest.fixture(scope="module")
def bare() -> YearReview:
    """Without an outlook."""
    return review(COSTED, TRADE, None, (), year=2031, today=TODAY)


@pytest.fixture(scope="module")
def whole_outlook() -> Outlook:
    return outlook(replace(GARDEN, log=()), None, TRADE, today=TODAY, members=20, seed=4)


def with_bed(whole_outlook: Outlook, key: str, **changed: object) -> Outlook:
    """The outlook with one bed's figures as a test wants them."""
    return replace(whole_outlook, patches=tuple(
        replace(item, **changed) if item.patch.key == key else item for item in whole_outlook.patches  # type: ignore[arg-type]
    ))  # fmt: skip


def share_left(item: PatchOutlook, share: float) -> tuple[object, ...]:
    now = replace(item.remains[0], food_share=replace(item.remains[0].food_share, p50=share))
    return (now, *item.remains[1:])


# ---- sums ----


def test_sums_by_hand(bare: YearReview) -> None:
    sums = bare.totals
    assert sums.picked_kg == pytest.approx(3.0)
    assert (sums.eaten_kg, sums.dried_fresh_kg, sums.frozen_kg) == pytest.approx((0.5, 0.9, 0.3))
    assert (sums.given_kg, sums.discarded_kg, sums.left_kg) == pytest.approx((0.2, 0.1, 1.0))
    assert sums.dry_kg == pytest.approx(0.09)
    assert sums.watered_litres == 50
    parts = (sums.eaten_kg, sums.dried_fresh_kg, sums.frozen_kg, sums.given_kg, sums.discarded_kg)
    assert math.fsum(parts) + sums.left_kg == pytest.approx(sums.picked_kg)


def test_cost_by_hand(bare: YearReview) -> None:
    """60 over 3 kg is 20 a kilogram fresh; 0.9 kg made 90 g, ten to one, so 200 a kilogram dry."""
    sums = bare.totals
    assert (sums.money, sums.hours) == (60.0, 12.0)
    assert sums.cost_per_kg_fresh == pytest.approx(20.0)
    assert sums.fresh_per_dry == pytest.approx(10.0)
    assert sums.cost_per_kg_dry == pytest.approx(200.0)


def test_without_money_or_jars_no_cost_is_reported() -> None:
    without = review(GARDEN, TRADE, None, (), year=2031, today=TODAY).totals
    assert (without.money, without.hours) == (None, None)
    assert (without.cost_per_kg_fresh, without.cost_per_kg_dry) == (None, None)
    no_jar = replace(COSTED, uses=(), jars=())
    sums = review(no_jar, TRADE, None, (), year=2031, today=TODAY).totals
    assert sums.cost_per_kg_fresh == pytest.approx(20.0)
    assert (sums.cost_per_kg_dry, sums.fresh_per_dry, sums.dry_kg) == (None, None, 0)
    empty = review(replace(no_jar, log=()), TRADE, None, (), year=2031, today=TODAY).totals
    assert (empty.picked_kg, empty.cost_per_kg_fresh) == (0, None)


def test_a_jar_of_two_years_counts_by_what_went_into_it() -> None:
    shared = replace(
        GARDEN,
        checks=(*CHECKS, replace(CHECKS[0], key="c-p0", picks=("p0",))),
        uses=(*USES, use("u8", Fate.DRY, 0.45, "p0", "j1", day=date(2030, 9, 10))),
    )
    sums = review(shared, TRADE, None, (), year=2031, today=TODAY).totals
    assert sums.dry_kg == pytest.approx(0.09 * 0.9 / 1.35)
    assert sums.fresh_per_dry == pytest.approx(15.0)


def test_months_add_up_to_the_year(bare: YearReview) -> None:
    assert [item.month for item in bare.months] == [date(2031, n, 1) for n in range(1, 13)]
    assert math.fsum(item.picked_kg for item in bare.months) == pytest.approx(bare.totals.picked_kg)
    assert bare.months[4].by_bed == pytest.approx({"old": 2.0})
    assert bare.months[5].watered_litres == 50
    assert all(item.crop_forecast is None for item in bare.months)


# ---- beds ----


def test_beds_by_hand(bare: YearReview) -> None:
    old, ash, new = bare.beds
    assert [item.patch.key for item in bare.beds] == ["old", "ash", "new"]
    assert (old.picked_kg, old.picks, old.watered_litres, old.looks) == (2.0, 2, 20, 0)
    assert (ash.picked_kg, ash.picks, ash.watered_litres, ash.looks) == (1.0, 1, 30, 1)
    dry = math.fsum(cell.dry_mass_kg_m2 for cell in food_cells(CHIPS, TRADE)) * 2
    assert old.efficiency == pytest.approx(2.0 / dry)
    assert new.efficiency is None
    assert (bare.best, bare.worst) == ("old", "ash")


def test_a_bed_too_young_is_never_the_worst(bare: YearReview) -> None:
    new = bare.beds[2]
    assert not new.could_crop
    assert new.reason is not None
    assert new.reason.kind is ReasonKind.YOUNG
    assert new.reason.figures["age_days"] == 11


def test_a_grown_bed_nobody_looked_at_is_no_worst_either() -> None:
    idle = replace(GARDEN, patches=(*GARDEN.patches, bed("idle", date(2029, 4, 1))))
    year_review = review(idle, TRADE, None, (), year=2031, today=TODAY)
    item = year_review.beds[-1]
    assert item.could_crop
    assert not item.counts
    assert item.reason is not None
    assert item.reason.kind is ReasonKind.UNWATCHED
    assert year_review.worst == "ash"
    look = LogEntry("l9", "idle", date(2031, 8, 1), LogKind.LOOKED)
    assert review(replace(idle, log=(*LOG, look)), TRADE, None, (), year=2031, today=TODAY).worst == "idle"


def test_no_best_where_nothing_was_picked_and_no_worst_of_one() -> None:
    looks = (LogEntry("l1", "ash", date(2031, 6, 20), LogKind.LOOKED),)
    none = review(replace(GARDEN, log=looks, uses=()), TRADE, None, (), year=2031, today=TODAY)
    assert (none.best, none.worst) == (None, None)
    one = review(replace(GARDEN, log=PICKS[:2], uses=()), TRADE, None, (), year=2031, today=TODAY)
    assert (one.best, one.worst) == ("old", None)


def test_a_first_season_counts_where_a_picking_was_as_likely_as_not(whole_outlook: Outlook) -> None:
    """In its first year by the outlook's chance without the logbook; and only once its crop is in."""
    young = whole_outlook.patch("next")
    garden = replace(GARDEN, patches=(OLD, replace(NEXT, stage=Stage.BUILT)), log=(
        LogEntry("q1", "old", date(2032, 5, 20), LogKind.PICKED, mass_kg=0.5),
        LogEntry("l2", "next", date(2032, 9, 20), LogKind.LOOKED),
    ), uses=())  # fmt: skip
    for chance, could in ((0.9, True), (0.3, False)):
        days = ((young.start, 0.0), (date(2032, 9, 1), chance))
        likely = with_bed(
            whole_outlook,
            "next",
            first_picking=replace(young.first_picking, probability_by_date=days),
            learned=None,
        )
        over = review(garden, TRADE, likely, (), year=2032, today=date(2033, 1, 5))
        assert over.beds[1].could_crop is could
        assert over.worst == ("next" if could else None)
    in_hand = review(garden, TRADE, likely, (), year=2032, today=date(2032, 9, 25))
    assert in_hand.worst is None


# ---- nothing known ----


def test_nothing_is_invented_where_nothing_is_known() -> None:
    empty = review(Garden(GARDEN.place), TRADE, None, (), year=2031, today=TODAY)
    assert (empty.beds, empty.best, empty.worst, empty.belief, empty.proposals) == ((), None, None, None, ())
    assert empty.totals.picked_kg == 0
    quiet = review(replace(GARDEN, log=(), uses=()), TRADE, None, (), year=2031, today=TODAY)
    assert quiet.belief is None
    assert [p.kind for p in quiet.proposals] == [ProposalKind.KEEP]  # the new bed is only young
    assert all(item.crop_forecast is None and item.efficiency is None for item in quiet.beds)


def test_guessed_weather_is_no_reason(whole_outlook: Outlook) -> None:
    """All days of this outlook are guessed from the normals, so nothing is said of dry, wet or cold."""
    dry = with_bed(
        whole_outlook,
        "ash",
        moisture=replace(
            whole_outlook.patch("ash").moisture, p50=np.full(whole_outlook.patch("ash").days, 0.1)
        ),
    )
    kinds = {item.reason.kind for item in review(GARDEN, TRADE, dry, (), year=2031, today=TODAY).beds
             if item.reason}  # fmt: skip
    assert not kinds & {ReasonKind.TOO_DRY, ReasonKind.TOO_WET, ReasonKind.COLD}


# ---- reasons and proposals ----


def measured(whole_outlook: Outlook, key: str, moisture: float, warmth: float | None = None) -> Outlook:
    item = whole_outlook.patch(key)
    changed: dict[str, object] = {
        "measured_days": item.days,
        "moisture": replace(item.moisture, p50=np.full(item.days, moisture, dtype=np.float32)),
        "remains": share_left(item, 0.9),
    }
    if warmth is not None:
        changed["temperature_c"] = replace(
            item.temperature_c, p50=np.full(item.days, warmth, dtype=np.float32)
        )
    return with_bed(whole_outlook, key, **changed)


def test_a_dry_bed_is_reported_dry_and_gets_a_watering_rule(whole_outlook: Outlook) -> None:
    dry = measured(whole_outlook, "ash", whole_outlook.patch("ash").moisture_limits.stall - 0.02)
    found = review(GARDEN, TRADE, dry, (), year=2031, today=TODAY)
    reason = found.beds[1].reason
    assert reason is not None
    assert reason.kind is ReasonKind.TOO_DRY
    assert reason.figures["days"] == reason.figures["of_days"] > 100
    more = next(p for p in found.proposals if p.kind is ProposalKind.WATER_MORE)
    assert (more.patch, more.why) == ("ash", reason)
    assert more.changed is not None
    assert more.changed.watering.rule is WateringRule.WHEN_DRY
    assert more.changed.watering.below_moisture == pytest.approx(
        whole_outlook.patch("ash").moisture_limits.low, abs=1e-3
    )
    assert replace(more.changed, watering=ASH.watering) == ASH
    # Taken, it is not offered a second time.
    taken = replace(GARDEN, patches=tuple(more.changed if p.key == "ash" else p for p in GARDEN.patches))
    after = with_bed(dry, "ash", patch=more.changed)
    again = review(taken, TRADE, after, (), year=2031, today=TODAY)
    assert again.beds[1].reason is not None
    assert not [p for p in again.proposals if p.kind is ProposalKind.WATER_MORE and p.patch == "ash"]


def test_a_wet_bed_and_a_cold_one(whole_outlook: Outlook) -> None:
    wet = measured(whole_outlook, "ash", whole_outlook.patch("ash").moisture_limits.drown + 0.02)
    reason = review(GARDEN, TRADE, wet, (), year=2031, today=TODAY).beds[1].reason
    assert reason is not None
    assert reason.kind is ReasonKind.TOO_WET
    cold = measured(whole_outlook, "ash", whole_outlook.patch("ash").moisture_limits.high, 1.0)
    reason = review(GARDEN, TRADE, cold, (), year=2031, today=TODAY).beds[1].reason
    assert reason is not None
    assert reason.kind is ReasonKind.COLD


def test_a_good_bed_needs_no_reason(whole_outlook: Outlook) -> None:
    dry = measured(whole_outlook, "old", whole_outlook.patch("old").moisture_limits.stall - 0.02)
    assert review(GARDEN, TRADE, dry, (), year=2031, today=TODAY).beds[0].reason is None


def test_a_spent_bed_is_laid_anew_where_it_bore_and_cleared_where_not(whole_outlook: Outlook) -> None:
    spent = whole_outlook
    for key in ("old", "ash"):
        spent = with_bed(spent, key, remains=share_left(whole_outlook.patch(key), 0.2))
    found = review(GARDEN, TRADE, spent, (), year=2031, today=TODAY)
    by_bed = {p.patch: p for p in found.proposals if p.patch in ("old", "ash")}
    assert len([p for p in found.proposals if p.patch in by_bed]) == 2
    again, cleared = by_bed["old"], by_bed["ash"]  # 1 kg/m² against 0.25
    assert again.kind is ProposalKind.REBUILD
    assert again.changed == replace(OLD, stage=Stage.PLANNED, built_on=date(2032, 4, 1))
    assert cleared.kind is ProposalKind.RETIRE
    assert cleared.changed == replace(ASH, stage=Stage.RETIRED)
    assert cleared.why.kind is ReasonKind.RUN_THROUGH
    assert cleared.why.figures == {"share_left": 0.2, "mark": TRADE.constants["retire_share_left"].value}


def test_a_bed_that_sank_is_topped_up_and_accepting_it_notes_that_in_the_logbook(
    whole_outlook: Outlook,
) -> None:
    found = review(GARDEN, TRADE, whole_outlook, (), year=2031, today=TODAY)
    fed = [p for p in found.proposals if p.kind is ProposalKind.TOP_UP]
    assert "old" in {p.patch for p in fed}
    assert all(p.changed is None and p.why.figures["spread_m"] >= LEAST_TOP_UP_M for p in fed)
    for one in fed:
        assert one.done is not None
        assert (one.done.kind, one.done.patch, one.done.day) == (LogKind.TOPPED_UP, one.patch, TODAY)
        assert one.done.thickness_m == one.why.figures["spread_m"]
        assert one.done.material == one.why.material
    kept = [p for p in found.proposals if p.kind is ProposalKind.KEEP]
    assert not any(p.writes for p in kept)
    assert all(p.why.material == "hardwood-chips" for p in fed)
    assert all(date.fromordinal(round(p.why.figures["by"])) >= TODAY for p in fed)
    assert len({p.key for p in found.proposals}) == len(found.proposals)
    assert "next" not in {p.patch for p in found.proposals}


def test_a_straw_bed_that_bore_is_laid_anew_and_never_topped_up() -> None:
    """Chips were recommended for an oyster bed of straw."""
    straw = Recipe(
        "straw", layers=(Layer("wheat-straw", 0.16, (), StartMoisture.SOAKED),),
        planes=(SpawnPlane("sawdust-spawn", 0.08, 0.3),),
    )  # fmt: skip
    oyster = replace(
        OLD, key="old", species="oyster", recipe=straw, built_on=date(2031, 4, 20), stage=Stage.BUILT
    )
    garden = replace(
        GARDEN, patches=(oyster,), checks=(), uses=(), jars=(),
        log=(LogEntry("p1", "old", date(2031, 7, 1), LogKind.PICKED, mass_kg=1.0),),
    )  # fmt: skip
    told = outlook(replace(garden, log=()), None, TRADE, today=TODAY, members=20, seed=4)
    found = review(garden, TRADE, told, (), year=2031, today=TODAY).proposals
    assert [p.kind for p in found] == [ProposalKind.REBUILD]
    (again,) = found
    assert again.why.kind in (ReasonKind.SPENT_SOON, ReasonKind.RUN_THROUGH)
    assert again.changed is not None
    assert again.changed.stage is Stage.PLANNED


def test_years_long_gone_propose_nothing(whole_outlook: Outlook) -> None:
    assert review(GARDEN, TRADE, whole_outlook, (), year=2031, today=TODAY).proposals
    assert review(GARDEN, TRADE, whole_outlook, (), year=2030, today=TODAY).proposals == ()
    assert review(GARDEN, TRADE, None, (), year=2031, today=date(2032, 6, 1)).proposals == ()


# ---- foretold ----


def record(patch: Patch, *, year: dict[str, list[float]], kg: list[list[object]]) -> str:
    return json.dumps({"form": 1, "built": str(patch.built_on), "year": year, "kg": kg})


def test_the_last_word_before_the_year_is_what_was_forecast() -> None:
    kept = tuple(
        SavedOutlook(day, "3", (("old", record(
            OLD, year={"2031": [0.0, middle, 4.0]}, kg=[["2031-05", 0.0, middle / 2, 2.0]],
        )), ("ash", "not to be read")))
        for day, middle in (
            (date(2030, 11, 1), 1.0), (date(2030, 12, 28), 3.0), (date(2031, 4, 20), 5.0),
        )
    )  # fmt: skip
    found = review(GARDEN, TRADE, None, kept, year=2031, today=TODAY)
    crop_forecast = found.beds[0].crop_forecast
    assert crop_forecast is not None
    assert (crop_forecast.p50, crop_forecast.p90, crop_forecast.made_on) == (3.0, 4.0, date(2030, 12, 28))
    assert found.beds[1].crop_forecast is None
    assert found.months[4].crop_forecast == 2.5  # the last word before May
    assert found.months[5].crop_forecast is None
    rebuilt = replace(GARDEN, patches=(replace(OLD, built_on=date(2030, 4, 2)), ASH, NEW, NEXT))
    assert review(rebuilt, TRADE, None, kept, year=2031, today=TODAY).beds[0].crop_forecast is None


def test_a_word_said_after_the_first_pick_foretells_nothing() -> None:
    kept = (SavedOutlook(date(2031, 6, 1), "3", (("old", record(OLD, year={"2031": [1, 2, 3]}, kg=[])),)),)
    assert review(GARDEN, TRADE, None, kept, year=2031, today=TODAY).beds[0].crop_forecast is None


def test_an_outlook_kept_tells_the_calendar_year(whole_outlook: Outlook) -> None:
    kept = to_keep(whole_outlook, ())
    assert kept is not None
    crops = json.loads(dict(kept.patches)["old"])["year"]
    assert set(crops) == {"2032"}
    low, middle, high = crops["2032"]
    assert 0 <= low <= middle <= high > 0
    crop = dict(whole_outlook.patch("old").picked_year_kg)[2032]
    assert isinstance(crop, Quantiles)
    of_months = math.fsum(m.mean for m in whole_outlook.patch("old").picked_kg if m.month.year == 2032)
    assert crop.mean > 0
    assert crop.mean == pytest.approx(of_months, rel=1e-5)


# ---- what beds bear ----


def test_the_year_adds_to_what_beds_bear(bare: YearReview) -> None:
    story = bare.belief
    assert story is not None
    assert story.species == KING
    assert story.earlier == 1  # a pick of 2030
    assert dict(story.yields) == pytest.approx({"old": 1.0, "ash": 0.25})
    assert story.after.crop.weight == story.before.crop.weight + 2
    assert story.after == story.before.after([1.0, 0.25])
    assert (story.bore, story.failed) == (2, 0)


def test_before_any_year_the_trade_speaks_as_one_bed_would(bare: YearReview) -> None:
    """By hand: dry chips at their efficiency over a bed's life, then 0.25 kg/m² of the year before."""
    row, chips = TRADE.species[KING], TRADE.materials["hardwood-chips"]
    all_of_it = 0.1 * chips.dry_bulk_density_kg_m3.likely * chips.biological_efficiency.likely
    a_year = math.log(all_of_it * row.crop_factor.likely / row.bed_life_years.likely)
    story = bare.belief
    assert story is not None
    assert story.before.crop.mean == pytest.approx((a_year + math.log(0.25)) / 2)
    assert (story.before.crop.weight, story.before.crop.shape) == (2.0, 2.5)
    nothing = row.chance_of_nothing.likely
    # The pick of 2030 was of a first season of which no outlook tells whether it was to be looked for.
    assert story.before.bearing.bore == pytest.approx(2 * (1 - nothing))
    assert story.before.bearing.failed == pytest.approx(2 * nothing)


def test_a_grown_bed_that_bore_nothing_counts_against_the_share_that_bears() -> None:
    log = (*PICKS[:2], LogEntry("l1", "ash", date(2031, 6, 20), LogKind.LOOKED))
    story = review(replace(GARDEN, log=log, uses=()), TRADE, None, (), year=2031, today=TODAY).belief
    assert story is not None
    assert dict(story.yields) == pytest.approx({"old": 1.0, "ash": 0.0})
    assert (story.bore, story.failed) == (1, 1)
    assert story.after.crop.weight == story.before.crop.weight + 1


def test_a_year_in_hand_counts_only_once_its_crop_is_in(whole_outlook: Outlook) -> None:
    log = (LogEntry("q1", "old", TODAY - timedelta(days=5), LogKind.PICKED, mass_kg=0.2),)
    garden = replace(GARDEN, log=log, uses=())
    assert review(garden, TRADE, whole_outlook, (), year=2032, today=TODAY).belief is None
    over = with_bed(
        whole_outlook, "old", next_picking=replace(whole_outlook.patch("old").next_picking, p10=None)
    )
    story = review(garden, TRADE, over, (), year=2032, today=TODAY).belief
    assert story is not None
    assert dict(story.yields) == pytest.approx({"old": 0.1})


@pytest.mark.parametrize(("year", "words"), [(2033, "has not begun"), (1800, "has not begun")])
def test_a_year_to_come_is_refused(year: int, words: str) -> None:
    with pytest.raises(InputError, match=words):
        review(GARDEN, TRADE, None, (), year=year, today=TODAY)


@pytest.mark.parametrize("built_on", [None, date(2031, 12, 31), date(2031, 9, 10)])
def test_a_bed_of_no_age_teaches_nothing(bare: YearReview, built_on: date | None) -> None:
    """Without a build day, laid on the last day told, or picked only before it was laid anew."""
    stage = Stage.PLANNED if built_on is None else Stage.BUILT
    ash = replace(ASH, built_on=built_on, stage=stage)
    beds = tuple(ash if patch is ASH else patch for patch in GARDEN.patches)
    told = review(replace(COSTED, patches=beds), TRADE, None, (), year=2031, today=TODAY)
    assert told.totals.picked_kg == bare.totals.picked_kg, "what was picked is told all the same"
    story = told.belief
    assert story is not None
    assert dict(story.yields) == pytest.approx({"old": 1.0})
    assert (story.bore, story.failed) == (1, 0)
    assert story.after.crop.weight == story.before.crop.weight + 1
