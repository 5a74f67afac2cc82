"""What lies behind a sign, on made histories; the statements of the tables with the source each rests on."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from mulchwright.almanac import outlook
from mulchwright.almanac.bed_history import bed_history
from mulchwright.almanac.diagnosis import Cause, Fit, diagnose, stranger_warning
from mulchwright.almanac.evidence import RULES
from mulchwright.almanac.outlook_result import Band, PatchOutlook
from mulchwright.errors import InputError
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
)
from mulchwright.trade import EVIDENCE_TESTS, load_trade
from mulchwright.weather import DailySeries, Provenance

TRADE = load_trade()
BUILT = date(2031, 4, 5)
TODAY = date(2031, 7, 20)


def garden_with(*log: LogEntry, **changes: Any) -> Garden:
    recipe = Recipe(
        "chips",
        (Layer("hardwood-chips", 0.075), Layer("hardwood-chips", 0.075)),
        (SpawnPlane("sawdust-spawn", 0.075, 0.6),),
    )
    patch = replace(
        Patch("a", "Alder", "king-stropharia", recipe, 2.0, BUILT, Stage.BUILT, light_share=(0.4,)), **changes
    )
    return Garden(
        Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
        patches=(patch,),
        log=log,
        normals=ClimateNormals(
            (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
            (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
            (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
            (13.0, 11.0, 13.0, 12.0, 13.0, 12.0, 12.0, 11.0, 11.0, 12.0, 13.0, 14.0),
            source="made up for the tests",
        ),
    )


@pytest.fixture(scope="module")
def base() -> PatchOutlook:
    """An outlook whose past the tests write over."""
    return outlook(garden_with(), None, TRADE, today=TODAY, members=20).patches[0]


def made(
    base: PatchOutlook,
    *,
    wet: float | None = None,
    warm_c: float = 18.0,
    run: float = 0.5,
    rain_mm: float = 3.0,
) -> PatchOutlook:
    """A history of measured days: one moisture, one warmth, one share run, one rain a day."""

    def band(value: float) -> Band:
        days = np.full(base.days, value, dtype=np.float32)
        return Band(days, days, days, days, days)

    marks = base.moisture_limits
    moisture = (marks.low + marks.high) / 2 if wet is None else wet
    return replace(
        base, moisture=band(moisture), temperature_c=band(warm_c), run_share=band(run),
        rain_mm=np.full(base.days, rain_mm, dtype=np.float32), measured_days=base.days,
    )  # fmt: skip


def causes_of(
    bed_or_outlook: PatchOutlook | Patch, *signs: str, garden: Garden | None = None, **more: Any
) -> list[Cause]:
    return list(diagnose(bed_or_outlook, garden or garden_with(), TRADE, signs, today=TODAY, **more))


def cause(causes: list[Cause], key: str) -> Cause:
    return next(c for c in causes if c.trouble.key == key)


def test_every_kind_of_evidence_has_a_rule() -> None:
    assert set(RULES) == EVIDENCE_TESTS


def test_every_sign_leads_somewhere_and_every_trouble_comes_from_a_sign(base: PatchOutlook) -> None:
    reached = set()
    for key in TRADE.symptoms:
        found = causes_of(made(base), key)
        assert {c.trouble.key for c in found} == set(TRADE.symptoms[key].troubles)
        reached |= {c.trouble.key for c in found}
        for item in found:
            assert item.look_again_on == TODAY + timedelta(days=item.trouble.look_again_days)
    assert reached == set(TRADE.troubles)


def test_sour_smell_in_a_bed_above_the_drown_mark_is_water(base: PatchOutlook) -> None:
    """Drowning and sour smell: common practice; UMASS-SOUR for the smell of what had no air."""
    drowned = causes_of(made(base, wet=base.moisture_limits.drown + 0.02, rain_mm=7.0), "sour-smell")
    assert drowned[0].trouble.key == "waterlogged"
    assert drowned[0].fit is Fit.LIKELY
    assert drowned[0].reasons[0].text == "It was wetter than mycelium can bear on 21 of the last 21 days."
    dry = causes_of(made(base, wet=base.moisture_limits.low, rain_mm=0.0), "sour-smell")
    assert dry[0].trouble.key == "sour-chips"
    assert cause(dry, "waterlogged").points < cause(drowned, "waterlogged").points
    assert cause(dry, "waterlogged").reasons[-1].points < 0


def test_dry_days_speak_for_drought_and_wet_ones_against(base: PatchOutlook) -> None:
    dry = cause(
        causes_of(made(base, wet=base.moisture_limits.stall - 0.05, rain_mm=0.0), "stuck-spawn"), "too-dry"
    )
    wet = cause(causes_of(made(base, wet=base.moisture_limits.high), "stuck-spawn"), "too-dry")
    assert dry.fit is Fit.LIKELY
    assert dry.points > wet.points
    texts = [reason.text for reason in dry.reasons if reason.speaks_for]
    assert "It was too dry to grow on 21 of the last 21 days." in texts
    assert [r.text for r in wet.reasons if r.points < 0][-1] == (
        "It was drier than mycelium likes on none of the last 21 days."
    )


def test_cold_holds_spawn_back_and_nothing_is_lost(base: PatchOutlook) -> None:
    """Cold slows threads and does not kill them (common practice, no source)."""
    found = cause(causes_of(made(base, warm_c=7.0), "stuck-spawn"), "still-cold")
    assert found.fit is Fit.LIKELY
    assert "nothing is lost" in found.trouble.remedy
    assert cause(causes_of(made(base, warm_c=20.0), "stuck-spawn"), "still-cold").fit is Fit.UNLIKELY


def test_heat_above_32_degrees_speaks_for_harm(base: PatchOutlook) -> None:
    """After more than 32 °C growth does not fully recover: ZHANG-SLIDES, read in part."""
    assert TRADE.evidence["hot_middle_c"].value == 32
    hot = made(base)
    warm = hot.temperature_c.p50.copy()
    day = TODAY - timedelta(days=30)
    warm[(day - base.start).days] = 34.0
    hot = replace(hot, temperature_c=replace(hot.temperature_c, p50=warm))
    found = cause(causes_of(hot, "no-threads"), "overheated")
    result = next(r for r in found.reasons if r.days)
    assert result.speaks_for
    assert result.days == (day,)
    assert result.figures[0][0] == pytest.approx(34.0)
    assert found.points > cause(causes_of(made(base), "no-threads"), "overheated").points


def test_first_mushrooms_take_two_to_twelve_months(base: PatchOutlook) -> None:
    """CORNELL-STROPHARIA: 2 to 12 months from sowing. A bed of three months half run is early, not ill."""
    early = causes_of(made(base, run=0.5), "no-fruit-yet")
    assert early[0].trouble.key == "still-running"
    assert "2 to 12 months" in early[0].trouble.how


def test_without_mild_weeks_a_ready_bed_waits_for_them(base: PatchOutlook) -> None:
    """Pins at 12 to 25 °C, none above 30 °C: ZHANG-SLIDES."""
    hot = cause(causes_of(made(base, run=0.95, warm_c=29.0), "no-fruit-yet"), "no-cool-spell")
    mild = cause(causes_of(made(base, run=0.95, warm_c=16.0), "no-fruit-yet"), "no-cool-spell")
    assert hot.fit is Fit.LIKELY
    assert mild.fit is not Fit.LIKELY
    assert "no day mild and damp enough" in hot.reasons[0].text


def test_straw_beat_chips_so_a_thin_bed_of_chips_is_lean(base: PatchOutlook) -> None:
    """BRUHN2010, abstract: straw cased with chips and soil bore more than chips and soil."""
    thin = Recipe("thin", (Layer("hardwood-chips", 0.06),), (SpawnPlane("sawdust-spawn", 0.03, 0.6),))
    found = made(base)
    lean = cause(
        causes_of(replace(found, patch=replace(found.patch, recipe=thin)), "never-fruits"), "lean-food"
    )
    assert lean.fit is Fit.LIKELY
    assert lean.points > cause(causes_of(found, "never-fruits"), "lean-food").points


def test_several_signs_that_one_trouble_explains_bring_it_to_the_top(base: PatchOutlook) -> None:
    found = causes_of(made(base), "green-mold", "sour-smell", "slime", "glassy-threads")
    assert found[0].trouble.key == "waterlogged"
    assert found[0].signs == ("sour-smell", "glassy-threads", "slime", "green-mold")
    assert found == causes_of(made(base), "glassy-threads", "slime", "sour-smell", "green-mold", "slime")


def test_only_the_strongest_reason_of_each_side_counts(base: PatchOutlook) -> None:
    at = TRADE.evidence
    found = cause(
        causes_of(made(base, wet=base.moisture_limits.drown + 0.02, rain_mm=8.0), "glassy-threads"),
        "waterlogged",
    )
    points = [reason.points for reason in found.reasons]
    assert len([p for p in points if p > 0]) >= 2
    assert found.points == at["usual_weight"].value + max(points) + min(points)


def test_guessed_weather_weighs_less_than_measured(base: PatchOutlook) -> None:
    measured = made(base, wet=base.moisture_limits.drown + 0.02)
    guessed = replace(measured, measured_days=0)
    strong, weak = (cause(causes_of(t, "sour-smell"), "waterlogged") for t in (measured, guessed))
    assert strong.points > weak.points
    assert not bed_history(guessed, garden_with(), TRADE, today=TODAY).measured


def test_a_frosty_night_in_the_record_speaks_for_frost(base: PatchOutlook) -> None:
    low = np.full(40, 4.0)
    low[-3] = -1.5
    about = Provenance("made up", "", "", "", {}, (), None)
    series = DailySeries(TODAY - timedelta(days=39), low, low + 8, np.zeros(40), None, None, None, about)
    frost = cause(causes_of(made(base), "frosted", series=series), "frost")
    assert frost.reasons[0].text == "The record has 1 night of frost in the last 21 days."
    assert frost.fit is Fit.LIKELY
    assert cause(causes_of(made(base), "frosted"), "frost").reasons == ()


def test_the_last_watering_comes_from_logbook_or_memory_whichever_is_nearer(base: PatchOutlook) -> None:
    entry = LogEntry("w", "a", TODAY - timedelta(days=12), LogKind.WATERED, litres=20.0)
    garden = garden_with(entry)
    found = made(base, rain_mm=0.0)
    assert bed_history(found, garden, TRADE, today=TODAY).watered_days_ago == 12
    assert bed_history(found, garden, TRADE, today=TODAY, watered_days_ago=2).watered_days_ago == 2
    assert bed_history(found, garden, TRADE, today=TODAY, watered_days_ago=30).watered_days_ago == 12
    dry = cause(causes_of(found, "dry-top", garden=garden), "too-dry")
    assert "The last watering was 12 days ago." in [r.text for r in dry.reasons if r.speaks_for]


def test_rain_counts_with_noted_water(base: PatchOutlook) -> None:
    """21 days of 1 mm and 20 L on 2 m²: 21 + 10 = 31 mm."""
    entry = LogEntry("w", "a", TODAY - timedelta(days=5), LogKind.WATERED, litres=20.0)
    past = bed_history(made(base, rain_mm=1.0), garden_with(entry), TRADE, today=TODAY)
    assert past.water_mm == pytest.approx(31.0)


def test_a_bed_without_an_outlook_is_judged_by_recipe_and_logbook() -> None:
    planned = garden_with(stage=Stage.PLANNED, built_on=None).patches[0]
    found = causes_of(planned, "green-mold")
    assert {c.trouble.key for c in found} == set(TRADE.symptoms["green-mold"].troubles)
    assert all(not reason.computed for c in found for reason in c.reasons)


def test_no_sign_gives_no_cause_and_an_unknown_one_is_refused(base: PatchOutlook) -> None:
    assert causes_of(made(base)) == []
    with pytest.raises(InputError, match="There is no sign 'purple-rain'; choose from the list"):
        causes_of(made(base), "purple-rain")


@pytest.mark.parametrize("sign", [key for key, row in TRADE.symptoms.items() if row.other_mushroom])
def test_whatever_may_be_another_mushroom_is_not_eaten_and_asked_about(sign: str) -> None:
    """BEUG: deadly small brown kinds grow on wood and in chips."""
    warning = stranger_warning(garden_with().patches[0], TRADE, ["slugs", sign])
    assert warning is not None
    assert warning.words.startswith("Do not eat it")
    assert "Ask a mycological society" in warning.words
    assert warning.lookalikes[0].danger == "deadly"
    assert any(caution.key == "identify-every-one" for caution in warning.cautions)
    for trouble in TRADE.symptoms[sign].troubles:
        text = " ".join((TRADE.troubles[trouble].how, TRADE.troubles[trouble].remedy)).lower()
        assert "edible" not in text
        assert "safe to eat" not in text


def test_signs_of_the_bed_itself_need_no_warning() -> None:
    assert stranger_warning(garden_with().patches[0], TRADE, ["sour-smell", "slugs"]) is None
    strangers = {key for key, row in TRADE.symptoms.items() if row.other_mushroom}
    assert {"ink-caps", "small-brown", "strangers", "stinkhorn", "birds-nests"} <= strangers


def test_all_weights_are_said_to_be_estimates() -> None:
    assert {row.basis.value for row in TRADE.evidence.values()} == {"estimate"}
    assert all(row.note for row in TRADE.evidence.values())


def test_no_rule_leaves_a_gap_in_its_sentence(base: PatchOutlook) -> None:
    """Every sentence can be filled in with the figures and days that it brings."""
    for text in (made(base), made(base, wet=base.moisture_limits.stall - 0.02, run=0.9, warm_c=33.0)):
        for item in causes_of(text, *TRADE.symptoms):
            for reason in item.reasons:
                days = {f"day{i}": "a day" for i in range(len(reason.days))}
                words = reason.text.format(*("a figure" for _ in reason.figures), **days)
                assert "{" not in words
                assert words[0].isupper()
                assert words.endswith(".")
