"""The survey by tape: what is refused, what cannot be placed, and the words for it."""

from __future__ import annotations

import math

import pytest

from mulchwright.errors import InputError
from mulchwright.garden.adjustment import adjust
from mulchwright.garden.offsets import outline_from_offsets, outline_from_triangles, triangle_area_m2
from mulchwright.garden.plan import polygon_area_m2
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint

A = SurveyPoint("a", "House, west corner", (0.0, 0.0))
B = SurveyPoint("b", "House, east corner", (10.0, 0.0))
C = SurveyPoint("c", "Gate", (5.0, -8.0))
QUINCE = SurveyPoint("quince", "The quince", side=Side.LEFT)


def of(*readings: tuple[str, str, float], points: tuple[SurveyPoint, ...] = (A, B, C, QUINCE)) -> Survey:
    return Survey(points, ("a", "b"), tuple(Reading(*reading) for reading in readings))


def test_tapes_that_cannot_meet_are_named_and_the_rest_is_placed() -> None:
    rose = SurveyPoint("rose", "Rose", side=Side.RIGHT)
    done = adjust(
        of(
            ("a", "quince", 2.0), ("b", "quince", 1.5), ("a", "rose", 6.0), ("b", "rose", 8.0),
            points=(A, B, C, QUINCE, rose),
        )
    )  # fmt: skip
    (lost,) = done.unplaced
    assert lost.key == "quince"
    assert lost.words == (
        "The tapes to “The quince” cannot meet: 2.00 m from House, west corner and 1.50 m from House, east "
        "corner, which are 10.00 m apart; 6.50 m are missing. Measure both again."
    )
    assert done.place_of("quince") is None
    assert done.place_of("rose") == pytest.approx((3.6, -4.8), abs=1e-9)  # 6-8-10


def test_tapes_one_of_which_is_far_too_long() -> None:
    done = adjust(of(("a", "quince", 30.0), ("b", "quince", 5.0)))
    assert "10.00 m apart; 15.00 m are too many" in done.unplaced[0].words


def test_feet_and_inches_for_who_types_them() -> None:
    done = adjust(of(("a", "quince", 2.0), ("b", "quince", 1.5)), system="us")
    assert " m " not in done.unplaced[0].words
    assert "ft" in done.unplaced[0].words


def test_a_near_miss_is_no_fault_of_the_gardener() -> None:
    """A point on the house wall: 4 + 6 m on a line of 10 m, each tape 2 cm short."""
    done = adjust(of(("a", "quince", 3.98), ("b", "quince", 5.98)))
    assert done.unplaced == ()
    assert done.place_of("quince") == pytest.approx((4.0, 0.0), abs=0.01)
    # Along the wall it is sure; square off it, by y² / 2 (1/4 + 1/6) over tapes of 24 and 26 mm, it is not.
    slip = math.sqrt(2 / math.hypot(1 / (4 * 0.02398), 1 / (6 * 0.02598)))
    assert done.points[-1].sd_worst_m == pytest.approx(slip, rel=0.03)
    assert "is sure to" in done.notes[0]
    assert "tape it from a third point" in done.notes[0]


@pytest.mark.parametrize(("side", "y"), [(Side.LEFT, 3.0), (Side.RIGHT, -3.0)])
def test_the_side_decides_between_two_places(side: Side, y: float) -> None:
    point = SurveyPoint("quince", "The quince", side=side)
    done = adjust(of(("a", "quince", 5.0), ("b", "quince", math.sqrt(45)), points=(A, B, point)))
    assert done.place_of("quince") == pytest.approx((4.0, y))
    assert done.sigma_factor is None
    assert [check.standardized for check in done.readings] == [None, None]


def test_without_a_side_two_tapes_leave_two_places() -> None:
    point = SurveyPoint("quince", "The quince")
    done = adjust(of(("a", "quince", 5.0), ("b", "quince", 7.0), points=(A, B, point)))
    assert done.unplaced[0].words == (
        "“The quince” could lie in two places; say on which side of the baseline it lies, or tape it from "
        "one more point."
    )


def test_a_third_tape_decides_as_well_and_contradicts_a_wrong_side() -> None:
    true = (4.0, 3.0)
    tapes = [
        (k, "quince", math.dist(p.known_at or (0, 0), true)) for k, p in zip("abc", (A, B, C), strict=True)
    ]
    done = adjust(of(*tapes, points=(A, B, C, SurveyPoint("quince", "The quince"))))
    assert done.place_of("quince") == pytest.approx(true, abs=1e-9)
    wrong = adjust(of(*tapes, points=(A, B, C, SurveyPoint("quince", "The quince", side=Side.RIGHT))))
    (note,) = wrong.notes
    assert note == (
        "“The quince” is said to lie on the right of the baseline, but its tapes meet on the other side. "
        "Check the side."
    )


def test_tapes_that_cross_too_flatly_are_reported() -> None:
    """Far out on the line through two posts half a meter apart: a tape's error moves it by meters."""
    near = SurveyPoint("b", "Second post", (0.5, 0.0))
    far = (20.0, 0.0)
    tapes = [(p.key, "quince", math.dist(p.known_at or (0, 0), far)) for p in (A, near)]
    done = adjust(of(*tapes, points=(A, near, QUINCE)))
    (lost,) = done.unplaced
    assert lost.words == "The tapes to “The quince” cross too flatly; tape it from a point off to the side."


def test_one_tape_is_not_enough() -> None:
    done = adjust(of(("a", "quince", 5.0)))
    assert done.unplaced[0].words == "“The quince” needs tapes to two placed points; it has 1."
    assert [point.key for point in done.points] == ["a", "b", "c"]


def test_points_lean_on_points_placed_before() -> None:
    post = SurveyPoint("post", "Post", side=Side.LEFT)
    done = adjust(
        of(("quince", "post", 5.0), ("a", "post", 12.0), ("a", "quince", 5.0), ("b", "quince", math.sqrt(45)),
           ("b", "post", math.dist((10, 0), (0, 12))), points=(A, B, post, QUINCE))
    )  # fmt: skip
    assert done.unplaced == ()
    assert done.place_of("post") is not None


def test_of_three_tapes_to_one_point_nothing_tells_which_is_wrong() -> None:
    true = (4.0, 3.0)
    tapes = [
        (k, "quince", math.dist(p.known_at or (0, 0), true)) for k, p in zip("abc", (A, B, C), strict=True)
    ]
    tapes[0] = ("a", "quince", tapes[0][2] + 1.0)
    done = adjust(of(*tapes))
    (blunder,) = done.blunders
    assert not blunder.certain
    assert len(blunder.readings) == 3
    assert blunder.words.startswith("One of these tapes is off, and nothing tells which: ")
    assert "from House, west corner to The quince (by " in blunder.words
    assert blunder.words.endswith("tape the point from one more place.")
    assert dict(zip([r.start for r in blunder.readings], blunder.off_m, strict=True))["a"] == pytest.approx(
        1.0, abs=0.25
    )


def test_a_fourth_tape_tells() -> None:
    true, fourth = (4.0, 3.0), SurveyPoint("d", "Shed", (-3.0, 6.0))
    anchors = (A, B, C, fourth)
    tapes = [(p.key, "quince", math.dist(p.known_at or (0, 0), true)) for p in anchors]
    tapes[0] = ("a", "quince", tapes[0][2] + 1.0)
    done = adjust(of(*tapes, points=(*anchors, QUINCE)))
    (blunder,) = done.blunders
    assert blunder.words == (
        "The tape from House, west corner to The quince is 1.00 m off: it reads 6.00 m, and the others make "
        "it 5.00 m. It was left out; measure it again."
    )
    assert done.place_of("quince") == pytest.approx(true, abs=1e-6)


def test_a_baseline_taped_anew_that_does_not_fit_the_plan() -> None:
    done = adjust(of(("a", "b", 10.5)))
    assert "The tape from House, west corner to House, east corner is 0.50 m off" in done.blunders[0].words


def test_an_empty_survey() -> None:
    done = adjust(Survey((A, B), ("a", "b")))
    assert [point.at for point in done.points] == [(0.0, 0.0), (10.0, 0.0)]
    assert (done.readings, done.redundancy, done.sigma_factor) == ((), 0, None)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Reading("a", "a", 3.0), "runs from 'a' to itself"),
        (lambda: Reading("a", "b", 0.0), "the tape from a to b is 0.0; it must be a number from"),
        (lambda: Reading("a", "b", math.nan), "the tape from a to b is nan"),
        (lambda: Survey((A, B, A), ("a", "b")), "Two survey points share the key 'a'"),
        (lambda: Survey((A, B), ("a", "x")), "The baseline names 'x', which is no point"),
        (lambda: Survey((A, QUINCE), ("a", "quince")), "'The quince' has no place on the plan"),
        (lambda: Survey((A, B), ("a", "a")), "the same place; choose two known points"),
        (lambda: of(("a", "nobody", 3.0)), "names 'nobody', which is no point of this survey"),
        (lambda: SurveyPoint("a", "A", (math.inf, 0)), "is off the plan"),
        (lambda: triangle_area_m2(1, 2, 4), "make no triangle: the longest is longer"),
        (lambda: outline_from_triangles([3, 4, 3, 4], []), "needs 4 sides and 1 diagonals"),
        (lambda: outline_from_triangles([3, 4, 3, 4], [9]), "Triangle of corners 1, 2 and 3: Sides of"),
        (lambda: outline_from_triangles([3, 4, 0, 4], [5]), "side 3 is 0"),
        (lambda: outline_from_triangles([3, 4, 5], [], toward=(0, 0)), "has no direction"),
        (lambda: outline_from_offsets((0, 0), (0, 0), left=[(0, 1)]), "begins and ends at the same place"),
        (lambda: outline_from_offsets((0, 0), (5, 0)), "There are no offsets"),
        (lambda: outline_from_offsets((0, 0), (5, 0), left=[(2, 1), (1, 1)]), "Offset 2 on the left is"),
        (lambda: outline_from_offsets((0, 0), (5, 0), left=[(0, -1), (1, 1)]), "offset 1 on the left is -1"),
        (lambda: outline_from_offsets((0, 0), (5, 0), left=[(0, 0), (5, 0)]), "2 corners; 3 to"),
    ],
)  # fmt: skip
def test_what_is_refused(make: object, words: str) -> None:
    with pytest.raises(InputError) as caught:
        make()  # type: ignore[operator]
    assert words in str(caught.value)


def test_a_bed_along_a_line_may_touch_it() -> None:
    """A lens: offsets of 0 at both ends, 1 m and 2 m between; corners that coincide count once."""
    lens = outline_from_offsets((0, 0), (0, 9), left=[(0, 0), (3, 1), (6, 2), (9, 0)], right=[(0, 0), (9, 0)])
    assert len(lens) == 4
    assert polygon_area_m2(lens) == pytest.approx(3 * (0 / 2 + 1 + 2 + 0 / 2))


def test_areas_by_triangles() -> None:
    """3-4-5 has 6, 13-14-15 has 84; a needle of 100000, 99999.99979, 0.00029 keeps its digits (Kahan)."""
    assert triangle_area_m2(3, 4, 5) == 6
    assert triangle_area_m2(13, 14, 15) == 84
    assert triangle_area_m2(100000, 99999.99979, 0.00029) == pytest.approx(9.9999999895, rel=1e-8)
