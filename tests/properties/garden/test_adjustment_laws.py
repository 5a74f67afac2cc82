"""Laws of the survey by tape: what must hold whatever was measured."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden.adjustment import adjust
from mulchwright.garden.offsets import outline_from_offsets, outline_from_triangles, triangle_area_m2
from mulchwright.garden.plan import Point, polygon_area_m2
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint

CORNERS: tuple[Point, ...] = ((0.0, 0.0), (10.0, 0.0), (5.0, -7.0))
coordinate = st.floats(-20, 20)


def survey_of(place: Point, slips: tuple[float, ...], corners: tuple[Point, ...] = CORNERS) -> Survey:
    """Three known corners and one point, each tape off by its slip."""
    known = [SurveyPoint(f"k{n}", f"K{n}", at) for n, at in enumerate(corners)]
    readings = tuple(
        Reading(point.key, "p", max(0.02, math.dist(at, place) + slip))
        for point, at, slip in zip(known, corners, slips, strict=True)
    )
    return Survey((*known, SurveyPoint("p", "P")), ("k0", "k1"), readings)


def away(place: Point) -> bool:
    return all(math.dist(place, corner) > 1 for corner in CORNERS)


@settings(max_examples=60, deadline=None)
@given(st.tuples(coordinate, coordinate).filter(away))
def test_exact_tapes_give_the_place_back(place: Point) -> None:
    done = adjust(survey_of(place, (0, 0, 0)))
    at = done.place_of("p")
    if at is None:  # the third corner hardly parts a place from its mirror image: that is said instead
        assert "could lie in two places" in done.unplaced[0].words
    else:
        assert math.dist(at, place) < 1e-6
        assert done.blunders == ()


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(st.floats(1, 9), st.floats(2, 15)),
    st.tuples(*[st.floats(-0.03, 0.03)] * 3),
    st.floats(0, 6.28),
    st.tuples(coordinate, coordinate),
)
def test_turning_the_plan_turns_the_places(
    place: Point, slips: tuple[float, float, float], turn: float, shift: Point
) -> None:
    """Least squares of distances know no axes: turn and move what is known, and the rest goes along."""

    def turned(p: Point) -> Point:
        return (
            shift[0] + p[0] * math.cos(turn) - p[1] * math.sin(turn),
            shift[1] + p[0] * math.sin(turn) + p[1] * math.cos(turn),
        )

    plain = adjust(survey_of(place, slips))
    survey = survey_of(place, slips)
    moved = Survey(
        tuple(
            SurveyPoint(p.key, p.name, None if p.known_at is None else turned(p.known_at))
            for p in survey.points
        ),
        survey.baseline,
        survey.readings,
    )
    other = adjust(moved)
    at, there = plain.place_of("p"), other.place_of("p")
    assert at is not None
    assert there is not None
    assert there == pytest.approx(turned(at), abs=1e-6)
    assert [c.residual_m for c in other.readings] == pytest.approx(
        [c.residual_m for c in plain.readings], abs=1e-7
    )


@settings(max_examples=30, deadline=None)
@given(
    st.tuples(st.floats(1, 9), st.floats(2, 15)), st.tuples(*[st.floats(-0.03, 0.03)] * 3), st.integers(0, 5)
)
def test_the_order_of_readings_does_not_matter(
    place: Point, slips: tuple[float, float, float], order: int
) -> None:
    survey = survey_of(place, slips)
    shuffled = np.random.default_rng(order).permutation(3)
    other = Survey(survey.points, survey.baseline, tuple(survey.readings[n] for n in shuffled))
    assert adjust(other).place_of("p") == pytest.approx(adjust(survey).place_of("p"), abs=1e-8)


@settings(max_examples=30, deadline=None)
@given(st.tuples(st.floats(1, 9), st.floats(2, 15)), st.tuples(*[st.floats(-0.03, 0.03)] * 3))
def test_redundancies_add_up_and_a_worse_tape_moves_nothing(
    place: Point, slips: tuple[float, float, float]
) -> None:
    """Sum of redundancy numbers = readings - unknowns; twice the tape's error doubles the spread only."""
    survey = survey_of(place, slips)
    done = adjust(survey)
    assert math.fsum(c.redundancy for c in done.readings) == pytest.approx(1, abs=1e-6)
    twice = Survey(survey.points, survey.baseline, survey.readings, 0.04, 0.002)
    other = adjust(twice)
    assert other.place_of("p") == pytest.approx(done.place_of("p"), abs=1e-7)
    assert other.points[-1].sd_worst_m == pytest.approx(2 * done.points[-1].sd_worst_m, rel=1e-6)


heights = st.lists(st.floats(0.1, 5), min_size=2, max_size=8)


@settings(deadline=None)
@given(heights, st.data())
def test_offsets_have_the_area_of_the_trapezoid_rule(left: list[float], data: st.DataObject) -> None:
    """Exact for straight edges between offsets, wherever the line runs; both sides add."""
    steps = data.draw(st.lists(st.floats(0.2, 3), min_size=len(left), max_size=len(left)))
    stations = np.cumsum(steps)
    right = data.draw(st.just([]) | st.lists(st.floats(0.1, 5), min_size=len(left), max_size=len(left)))
    turn = data.draw(st.floats(0, 6.28))
    end = (100 * math.cos(turn) + 3, 100 * math.sin(turn) - 2)
    outline = outline_from_offsets(
        (3, -2),
        end,
        left=list(zip(stations.tolist(), left, strict=True)),
        right=list(zip(stations.tolist(), right, strict=True)) if right else (),
    )
    widths = np.array(left) + (np.array(right) if right else 0)
    assert polygon_area_m2(outline) == pytest.approx(np.trapezoid(widths, stations), rel=1e-9)


@settings(deadline=None)
@given(st.lists(st.floats(2, 10), min_size=3, max_size=7), st.floats(0, 6.28))
def test_triangles_rebuild_a_bed_and_its_area(reach: list[float], turn: float) -> None:
    """A bed around a corner, measured as a gardener would: sides and diagonals give it back."""
    angles = np.linspace(0, 2.4, len(reach))
    bed = [(0.0, 0.0)] + [
        (r * math.cos(a + turn), r * math.sin(a + turn)) for r, a in zip(reach, angles, strict=True)
    ]
    sides = [math.dist(bed[n], bed[(n + 1) % len(bed)]) for n in range(len(bed))]
    diagonals = [math.dist(bed[0], bed[n]) for n in range(2, len(bed) - 1)]
    outline = outline_from_triangles(sides, diagonals, start=bed[0], toward=bed[1])
    for corner, wanted in zip(outline, bed, strict=True):
        assert corner == pytest.approx(wanted, abs=1e-5)
    spokes = [sides[0], *diagonals, sides[-1]]
    heron = math.fsum(
        triangle_area_m2(a, b, c) for a, b, c in zip(spokes, spokes[1:], sides[1:-1], strict=False)
    )
    assert polygon_area_m2(outline) == pytest.approx(heron, rel=1e-6)


@st.composite
def any_surveys(draw: st.DrawFn) -> Survey:
    """Any tapes between any points, sense or nonsense."""
    spots = [(0.0, 0.0), (9.0, 0.0), *draw(st.lists(st.tuples(coordinate, coordinate), max_size=2))]
    count = len(spots) + draw(st.integers(0, 4))
    points = tuple(
        SurveyPoint(
            f"p{n}",
            f"P{n}",
            spots[n] if n < len(spots) else None,
            None if n < len(spots) else draw(st.none() | st.sampled_from(Side)),
        )
        for n in range(count)
    )
    pairs = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)).filter(lambda p: p[0] != p[1])
    tapes = draw(st.lists(st.tuples(pairs, st.floats(0.01, 40)), max_size=16))
    return Survey(points, ("p0", "p1"), tuple(Reading(f"p{a}", f"p{b}", d) for (a, b), d in tapes))


@settings(max_examples=150, deadline=None)
@given(any_surveys())
def test_whatever_was_measured_every_point_is_placed_or_reported(survey: Survey) -> None:
    done = adjust(survey)
    placed = {point.key for point in done.points}
    fields = {point.key for point in done.unplaced}
    assert placed | fields == {point.key for point in survey.points}
    assert not placed & fields
    assert all(
        math.isfinite(v) for point in done.points for v in (*point.at, point.sd_worst_m, point.misfit_m)
    )
    assert all(point.words for point in done.unplaced)
    assert done.redundancy >= 0
    assert all(blunder.words and len(blunder.readings) == len(blunder.off_m) for blunder in done.blunders)
