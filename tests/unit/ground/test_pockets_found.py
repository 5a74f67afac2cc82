"""Pockets: distances by plant, refusals, what stays out, and the demo's plan."""

from __future__ import annotations

import pytest

from mulchwright.book.demo import demo_garden
from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Place, Zone, ZoneKind
from mulchwright.ground import (
    Cause,
    PocketWish,
    Proposed,
    Severity,
    bare_ring,
    clearances,
    find_pockets,
)
from mulchwright.trade import load_trade

TRADE = load_trade()


def test_the_demo_garden_has_pockets_that_nothing_forbids() -> None:
    """The demo's plan as it is: the area asked for fits in its beds, clear of every hard limit."""
    garden, _ = demo_garden()
    wish = PocketWish(2.0, depth_m=0.1)
    found = find_pockets(tuple(bed.outline for bed in garden.beds if bed.outline), garden, TRADE, wish)
    assert found.area_m2 == pytest.approx(2.0, rel=0.03)
    for pocket in found.pockets:
        findings = clearances(Proposed(pocket.outline, 0.1), garden, TRADE)
        assert all(each.severity is Severity.SOFT for each in findings)


@pytest.mark.parametrize(
    ("name", "young", "leaves", "inner", "width", "basis"),
    [
        ("Rhubarb, six crowns", False, 0.5, 0.1, 0.10, "practice"),
        ("Lavender", False, 0.4, 0.4, 0.30, "practice"),
        ("Red currant", True, 0.8, 0.1, 0.3048, "practice"),
        ("Old pear", False, 2.0, 0.1, 0.1524, "read"),
        ("A thing without a name", False, 1.0, 0.1, 0.1524, "read"),
    ],
)
def test_a_plant_keeps_its_own_distance_and_a_tree_that_of_a_trunk(
    name: str, young: bool, leaves: float, inner: float, width: float, basis: str
) -> None:
    """Growers' distances by plant (practice); 6 in from a trunk (ISU-MULCH); never less for young bark."""
    ring = bare_ring(Crown("c", name, (0, 0), leaves, 2.0, 0.1, 0.1, young_bark=young), TRADE)
    assert (ring.inner_m, ring.width_m, ring.basis.value) == (
        pytest.approx(inner),
        pytest.approx(width),
        basis,
    )


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((0.0, 1.2, 8), "0 m² of pockets cannot be looked for"),
        ((2.0, 9.0, 8), "A pocket 9 m wide cannot be looked for"),
        ((2.0, 1.2, 0), "0 pockets were asked for"),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused(values: tuple[float, float, int], message: str) -> None:
    with pytest.raises(InputError, match=message):
        PocketWish(*values)


def test_no_ground_and_too_much_ground_are_refused() -> None:
    garden = Garden(place=Place("here", 44.0, -73.0, 100, "America/New_York"))
    with pytest.raises(InputError, match="Choose a bed, plants or a piece of ground"):
        find_pockets((), garden, TRADE, PocketWish(1.0))
    large = ((0.0, 0.0), (90.0, 0.0), (90.0, 90.0), (0.0, 90.0))
    with pytest.raises(InputError, match="too much ground"):
        find_pockets((large,), garden, TRADE, PocketWish(1.0))


def test_a_bed_of_unsuited_plants_and_sown_rows_stay_out_of_it() -> None:
    ground = ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0))
    carrots = ((2.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0))
    garden = Garden(
        place=Place("here", 44.0, -73.0, 100, "America/New_York"),
        beds=(Bed("carrots", "Carrots", ("carrots",), carrots),),
        zones=(Zone("rows", "Rows", ZoneKind.DIRECT_SOWN, ((0, 0), (0.5, 0), (0.5, 2), (0, 2))),),
    )
    found = find_pockets((ground,), garden, TRADE, PocketWish(3.0))
    assert found.pockets
    for pocket in found.pockets:
        assert min(x for x, _ in pocket.outline) >= 0.65
        assert max(x for x, _ in pocket.outline) <= 1.6
    reasons = dict(found.left_out)
    assert reasons[Cause.UNSUITED] == pytest.approx(2.4 * 2.0, rel=0.05)
    assert reasons[Cause.ZONE] == pytest.approx(0.65 * 2.0, rel=0.1)
