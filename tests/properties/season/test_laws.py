"""Laws that hold for every run of the season, whatever the weather."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane
from mulchwright.season import SeasonRun, draw_parameters, layout, simulate
from mulchwright.season.draws import Draws
from mulchwright.season.layout import PARAMETERS
from mulchwright.season.reference import ReferenceRun, reference_run
from mulchwright.trade import Trade


def run(case: Any, **options: Any) -> SeasonRun:
    return simulate(case.bed, case.draws, case.forcing, case.model_constants, start=case.start, **options)


def plainly(case: Any) -> ReferenceRun:
    draws = case.draws
    return reference_run(
        0, case.bed, draws.parameters, draws.hazard, draws.flush_noise, case.forcing, case.model_constants
    )


@pytest.mark.parametrize("pegs", [False, True])
@pytest.mark.parametrize("watered", [False, True])
def test_compiled_season_is_the_plain_one(make_case: Callable[..., Any], pegs: bool, watered: bool) -> None:
    """The kernel against `reference.py`: to rounding, and to single precision where it keeps no more."""
    case = make_case(pegs=pegs, watered=watered)
    last = case.forcing.air_c.shape[0] - 1
    fast = run(case, mass_days=(40, last, last + 1))
    plain = plainly(case)
    for kept, day in enumerate((40, last)):
        np.testing.assert_allclose(fast.cell_mass_kg_m2[0, kept], plain.cell_mass_kg_m2[day], rtol=1e-10)
    assert np.isnan(fast.cell_mass_kg_m2[0, 2]).all()  # a day past the run
    np.testing.assert_array_equal(run(case).cell_mass_kg_m2[0, 0], fast.cell_mass_kg_m2[0, 1])
    assert_same(fast, plain)


def assert_same(fast: SeasonRun, plain: ReferenceRun) -> None:
    np.testing.assert_allclose(fast.run_share[0], plain.run_share, atol=2e-7)
    np.testing.assert_allclose(fast.moisture[0], plain.moisture, atol=2e-7)
    np.testing.assert_allclose(fast.temperature_c[0], plain.temperature_c, atol=1e-5)
    np.testing.assert_allclose(fast.living[0], plain.living, atol=2e-7)
    np.testing.assert_allclose(fast.account_mm[0], plain.account_mm, atol=1e-9)
    np.testing.assert_array_equal(fast.flush_day[0], plain.flush_day)
    np.testing.assert_allclose(fast.flush_kg_m2[0], plain.flush_kg_m2, atol=1e-12)
    assert fast.watered_month_mm[0].sum() == pytest.approx(plain.watered_mm.sum())
    assert np.isfinite(plain.flush_day).any()  # or the comparison would say nothing about fruiting


def topped_up(case: Any, *days: int, kg_m2: float = 6.0) -> Any:
    bed = case.bed._replace(daily=case.bed.daily.copy())
    bed.daily[0, layout.ADDED_KG_M2, list(days)] = kg_m2
    return replace(case, bed=bed)


def test_compiled_topping_up_is_the_plain_one(make_case: Callable[..., Any]) -> None:
    case = topped_up(make_case(watered=False), 0, 210)
    assert case.bed.added_to[0] == 1  # below the skin, which feeds nobody
    fast, plain = run(case), plainly(case)
    assert_same(fast, plain)
    np.testing.assert_allclose(fast.cell_mass_kg_m2[0, 0], plain.cell_mass_kg_m2[-1], rtol=1e-10)


def test_what_drought_kills_on_a_day_of_topping_up_is_counted_the_same_way(
    make_case: Callable[..., Any],
) -> None:
    """A dry bed that is topped up while its threads die: the reserve goes with what lives on that day."""
    case = make_case(watered=False)
    dry = case.bed._replace(daily=case.bed.daily.copy())
    dry.daily[0, layout.DEMAND_FACTOR] *= 1.6
    case = topped_up(replace(case, bed=dry), 120, 150, 180, 210)
    np.testing.assert_allclose(run(case).flush_kg_m2[0], plainly(case).flush_kg_m2, rtol=1e-8, atol=1e-12)


def test_topping_up_adds_its_mass_and_no_water_out_of_nothing(make_case: Callable[..., Any]) -> None:
    """The day's mass is the bed's left alone and the addition, less a day's rot of it; water balances."""
    case = make_case(watered=False)
    alone, fed = run(case, mass_days=(199, 200)), run(topped_up(case, 200), mass_days=(199, 200))
    np.testing.assert_array_equal(fed.cell_mass_kg_m2[0, 0], alone.cell_mass_kg_m2[0, 0])
    gained = np.nansum(fed.cell_mass_kg_m2[0, 1] - alone.cell_mass_kg_m2[0, 1], axis=0)
    assert (gained > 6.0 * 0.98).all()
    assert (gained < 6.0 * 1.02).all()
    account = fed.account_mm[0]
    surplus = account[:, 0] + account[:, 1] - account[:, 2] - account[:, 3] - account[:, 4]
    assert np.abs(surplus).max() < 1e-9


def moved(case: Any, **rows: tuple[int, float]) -> Any:
    """The case with dry matter taken or added on a day; `plane_from` delays the last plane to a day."""
    bed = case.bed._replace(daily=case.bed.daily.copy(), plane=case.bed.plane.copy())
    for name, (day, kg_m2) in rows.items():
        bed.daily[0, getattr(layout, name), day] = kg_m2
    return replace(case, bed=bed)


def with_late_plane(case: Any, day: int) -> Any:
    case = moved(case)
    case.bed.plane[0, layout.PLANE_FROM_DAY, 2] = day
    return case


@pytest.mark.parametrize("pegs", [False, True])
def test_compiled_move_of_living_chips_is_the_plain_one(make_case: Callable[..., Any], pegs: bool) -> None:
    """Chips taken on two days, living ones added, and spawn that comes in later: the kernel as the plain."""
    case = moved(
        with_late_plane(make_case(watered=False, pegs=pegs), 60),
        TAKEN_KG_M2=(120, 4.0), ADDED_KG_M2=(200, 3.0), ADDED_ALIVE_KG_M2=(200, 1.2),
    )  # fmt: skip
    case.bed.daily[0, layout.TAKEN_KG_M2, [200, 300]] = 2.0
    fast, plain = run(case), plainly(case)
    assert_same(fast, plain)
    np.testing.assert_allclose(fast.cell_mass_kg_m2[0, 0], plain.cell_mass_kg_m2[-1], rtol=1e-10)
    np.testing.assert_allclose(fast.cell_share[0, 0], plain.cell_share[-1], atol=2e-7)
    before, after = plain.run_share[199], plain.run_share[200]
    assert (after < before).any()  # the new matter is not all run


def test_taking_chips_takes_their_mass_and_the_same_share_of_every_food_cell(
    make_case: Callable[..., Any],
) -> None:
    """What is missing is what was taken less what it would have rotted on that day; the skin stays whole."""
    case = make_case(watered=False)
    alone, robbed = (
        run(case, mass_days=(199, 200)),
        run(moved(case, TAKEN_KG_M2=(200, 3.0)), mass_days=(199, 200)),
    )
    np.testing.assert_array_equal(robbed.cell_mass_kg_m2[0, 0], alone.cell_mass_kg_m2[0, 0])
    food = case.bed.cell[0, layout.FOOD] > 0
    before, left = alone.cell_mass_kg_m2[0, 1], robbed.cell_mass_kg_m2[0, 1]
    np.testing.assert_allclose((before - left)[food].sum(axis=0), 3.0, rtol=0.01)
    share = left[food] / before[food]
    assert np.ptp(share, axis=0).max() < 0.002
    np.testing.assert_allclose(left[~food], before[~food], rtol=1e-3)
    np.testing.assert_allclose(robbed.run_share[0, 200], alone.run_share[0, 200], atol=0.02)
    account = robbed.account_mm[0]
    surplus = account[:, 0] + account[:, 1] - account[:, 2] - account[:, 3] - account[:, 4]
    assert np.abs(surplus).max() < 1e-9


def test_taking_all_leaves_what_cannot_be_shoveled_and_little_crop(make_case: Callable[..., Any]) -> None:
    case = make_case(days=600)
    alone, robbed = run(case), run(moved(case, TAKEN_KG_M2=(60, 1000.0)))
    cleared = run(moved(case, TAKEN_KG_M2=(60, 1000.0)), mass_days=(59, 60)).cell_mass_kg_m2[0]
    food = case.bed.cell[0, layout.FOOD] > 0
    share = cleared[1][food].sum(axis=0) / cleared[0][food].sum(axis=0)
    np.testing.assert_allclose(share, 1 - layout.MOST_TAKEN, rtol=0.02)
    first = alone.flush_day[0, 0]
    picked = np.nansum(robbed.flush_kg_m2[0]), np.nansum(alone.flush_kg_m2[0])
    assert (first[np.isfinite(first)] > 60).all()
    assert picked[0] < 0.1 * picked[1]


def test_chips_that_are_half_alive_leave_a_dead_bed_in_between(make_case: Callable[..., Any]) -> None:
    """More of what is added alive, more of the bed alive, that day and ever after; fresh chips lower it."""
    case = make_case(watered=True)
    spared = case.draws.parameters.copy()
    spared[0, layout.DROUGHT], spared[0, layout.HEAT_DEATH] = 0.0, 90.0
    case = replace(case, draws=replace(case.draws, parameters=spared))
    shares = [
        run(moved(case, ADDED_KG_M2=(250, 4.0), ADDED_ALIVE_KG_M2=(250, 4.0 * alive))).run_share[0]
        for alive in (0.0, 0.5, 1.0)
    ]
    alone = run(case).run_share[0]
    assert (shares[0][250] < alone[250] - 0.02).all()
    assert (shares[1] - shares[0]).min() > -1e-6
    assert (shares[2] - shares[1]).min() > -1e-6
    assert (shares[0][250:].max(axis=0) > shares[0][250] + 0.02).any()  # it is run again


def test_late_spawn_runs_nothing_before_its_day(make_case: Callable[..., Any]) -> None:
    late = with_late_plane(make_case(), 90)
    late.bed.plane[0, layout.PLANE_POINTS_M2, :2] = 0.0
    share = run(late).run_share[0]
    assert share[:90].max() == 0
    assert share[90].min() > 0
    assert (share[150] > 2 * share[90]).all()


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**31), watered=st.booleans())
def test_water_is_conserved_every_day(make_case: Callable[..., Any], seed: int, watered: bool) -> None:
    """Rain + watering = evaporation + drainage + change in store, to rounding."""
    account = run(make_case(seed=seed, watered=watered, members=16, days=250)).account_mm[0]
    surplus = account[:, 0] + account[:, 1] - account[:, 2] - account[:, 3] - account[:, 4]
    assert np.abs(surplus).max() < 1e-9
    assert account[:, 3].min() >= 0
    assert account[:, 2].min() >= 0


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**31), factor=st.floats(1.0, 3.0))
def test_more_rain_is_never_drier(make_case: Callable[..., Any], seed: int, factor: float) -> None:
    """Same weather but for more rain on the wet days: no day of an unwatered, unspawned bed is drier.

    Without spawn, since threads that run better rot the bed faster and so change what it holds.
    """
    case = make_case(seed=seed, watered=False, members=16, days=250)
    still = case.bed._replace(cell=case.bed.cell.copy())
    still.cell[:, layout.DECAY_PER_DAY] = 0.0
    case = replace(case, bed=still)
    drier, wetter = run(case), run(case.with_rain(case.forcing.rain_mm * factor))
    assert (wetter.moisture[0] - drier.moisture[0]).min() > -1e-6


def test_the_order_of_members_does_not_matter(make_case: Callable[..., Any]) -> None:
    case = make_case()
    order = np.random.default_rng(1).permutation(case.draws.members)
    shuffled = replace(
        case,
        draws=Draws(
            *(
                np.ascontiguousarray(a[..., order])
                for a in (case.draws.parameters, case.draws.hazard, case.draws.flush_noise)
            )
        ),
        forcing=case.forcing._replace(
            **{
                n: np.ascontiguousarray(getattr(case.forcing, n)[:, order])
                for n in ("air_c", "rain_mm", "evapotranspiration_mm")
            }
        ),
    )
    np.testing.assert_allclose(run(shuffled).run_share[0], run(case).run_share[0][:, order], atol=1e-6)
    np.testing.assert_array_equal(run(shuffled).flush_day[0], run(case).flush_day[0][:, order])


def test_one_thread_and_many_give_the_same_figures(make_case: Callable[..., Any]) -> None:
    """Bit for bit, with more members than one block holds."""
    case = make_case(members=300, patches=3, days=200)
    alone, together = run(case, threads=1), run(case, threads=4)
    for name in (
        "run_share",
        "moisture",
        "temperature_c",
        "living",
        "account_mm",
        "flush_day",
        "flush_kg_m2",
        "watered_month_mm",
    ):
        np.testing.assert_array_equal(getattr(alone, name), getattr(together, name), err_msg=name)


@pytest.mark.parametrize("deaths", [False, True])
def test_run_share_stays_a_share_and_shrinks_by_deaths_alone(
    make_case: Callable[..., Any], deaths: bool
) -> None:
    case = make_case(watered=False)
    spared = case.draws.parameters.copy()
    spared[0, layout.DROUGHT], spared[0, layout.HEAT_DEATH] = 0.0, 90.0
    if not deaths:
        case = replace(case, draws=replace(case.draws, parameters=spared))
    result = run(case)
    share, living = result.run_share[0], result.living[0]
    assert share.min() >= 0
    assert share.max() <= 1
    assert living.min() >= 0
    assert living.max() <= 1
    if not deaths:
        assert np.diff(share, axis=0).min() > -1e-6
        assert living.min() > 1 - 1e-6


def test_picks_never_exceed_what_the_bed_can_bear(make_case: Callable[..., Any]) -> None:
    """All flushes together stay below the drawn potential, and reserve plus rest are what is left of it."""
    case = make_case(days=900)
    result = run(case)
    potential = case.draws.parameters[0, layout.POTENTIAL]
    picked = result.flush_kg_m2[0].sum(axis=0)
    assert (picked + result.last[0, 2] + result.last[0, 3] <= potential * (1 + 1e-9)).all()
    assert picked.max() > 0


def test_less_than_one_small_mushroom_on_a_square_meter_is_no_flush(
    make_case: Callable[..., Any], trade: Trade
) -> None:
    """A spent bed went on bringing flushes of 1e-12 kg, each of which counted as a picking."""
    case = make_case(days=1400)
    least = trade.species["king-stropharia"].fruit_mass_g.low / 1000
    site = case.bed.site.copy()
    site[:, layout.SMALLEST_FLUSH_KG_M2] = 0.0

    def flushes(bed: layout.BedArrays) -> np.ndarray:
        result = simulate(bed, case.draws, case.forcing, case.model_constants, start=case.start)
        kg = result.flush_kg_m2[np.isfinite(result.flush_day)]
        assert kg.size == (result.flush_kg_m2 > 0).sum()
        return kg

    with_crumbs, without = flushes(case.bed._replace(site=site)), flushes(case.bed)
    assert (with_crumbs < least).any()
    assert without.min() >= least
    assert without.sum() == pytest.approx(with_crumbs.sum(), rel=0.05)


@pytest.mark.parametrize("which", ["points", "rate"])
def test_more_spawn_never_runs_slower(make_case: Callable[..., Any], which: str) -> None:
    """Deaths aside: what is run rots faster, holds less water, and so loses a little more in a dry week."""
    case = make_case()
    spared = case.draws.parameters.copy()
    spared[0, layout.DROUGHT], spared[0, layout.HEAT_DEATH] = 0.0, 90.0
    case = replace(case, draws=replace(case.draws, parameters=spared))
    more = spared.copy()
    more[0, layout.POINTS if which == "points" else layout.RUN_RATE] *= 1.5
    richer = replace(case, draws=replace(case.draws, parameters=more))
    assert (run(richer).run_share[0] - run(case).run_share[0]).min() > -1e-6


def test_a_species_crops_by_its_own_factor(trade: Trade) -> None:
    """Potential over king stropharia's on the same food, member by member, is the species' factor: the same
    draw for all its beds, its table's low, likely and high at 10, 50 and 90 %.

    Two thousand members: the standard error of such a point of a log-normal whose logarithm spreads by 0.3 to
    0.4 is 1 to 2 % of it; five of them are allowed.
    """
    members = 2000
    place = PARAMETERS.index("potential_kg_m2")

    def potentials(species: str, changed: Trade) -> np.ndarray:
        recipe = Recipe(
            "straw over chips",
            layers=(Layer("hardwood-chips", 0.05), Layer("wheat-straw", 0.1)),
            planes=(SpawnPlane("sawdust-spawn", 0.05, rate_kg_m2=0.5),),
        )
        patches = [
            Patch(key, key, species, recipe, 2.0, built_on=date(2031, 3, 15)) for key in ("one", "two")
        ]
        return draw_parameters(patches, changed, members=members, seed=8).parameters[:, place]

    king = potentials("king-stropharia", trade)
    for species in ("oyster", "smoky-tuft"):
        # Alike in all but the factor, so that only the factor tells.
        spread = trade.species["king-stropharia"].yield_spread_log_sd
        row = replace(trade.species[species], yield_spread_log_sd=spread)
        changed = Trade()
        vars(changed)["species"] = {**trade.species, species: row}  # takes the place of what it would read
        ratio = potentials(species, changed) / king
        assert ratio[0] == pytest.approx(ratio[1])
        table = trade.species[species].crop_factor
        for share, printed in ((0.1, table.low), (0.5, table.likely), (0.9, table.high)):
            assert np.quantile(ratio[0], share) == pytest.approx(printed, rel=0.1)
