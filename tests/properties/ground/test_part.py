"""A part of an outline: its area, that it lies within, that it is compact."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.errors import InputError
from mulchwright.garden.plan import Outline, check_outline, polygon_area_m2
from mulchwright.ground.geometry import inside, point_distance
from mulchwright.ground.part import part_of_outline

L_SHAPE: Outline = ((0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 4.0), (0.0, 4.0))
U_SHAPE: Outline = (
    (0.0, 0.0), (3.0, 0.0), (3.0, 3.0), (2.0, 3.0), (2.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0),
)  # fmt: skip


@st.composite
def outlines(draw: st.DrawFn) -> Outline:
    """Convex and dented outlines: corners around a middle at drawn distances, and two bent ones."""
    if draw(st.booleans()):
        return draw(st.sampled_from([L_SHAPE, U_SHAPE]))
    count = draw(st.integers(3, 10))
    far = [draw(st.floats(0.5, 3.0)) for _ in range(count)]
    turns = [2 * math.pi * n / count for n in range(count)]
    return tuple((5 + r * math.cos(t), -2 + r * math.sin(t)) for r, t in zip(far, turns, strict=True))


@settings(max_examples=80, deadline=None)
@given(outlines(), st.floats(0.05, 1.0))
def test_a_part_has_its_area_and_lies_within(outline: Outline, share: float) -> None:
    area = share * polygon_area_m2(outline)
    part = part_of_outline(outline, area)
    check_outline(part, "the part")
    assert polygon_area_m2(part) == pytest.approx(area, rel=1e-5)
    points = np.array(part)
    for x, y in np.concatenate([points, (points + np.roll(points, -1, axis=0)) / 2]):
        inwards = inside(outline, np.array([x]), np.array([y]))[0]
        assert inwards or point_distance(outline, (float(x), float(y))) < 1e-6


def test_a_strip_keeps_its_width_and_a_square_shrinks_in_place() -> None:
    strip: Outline = ((0.0, 0.0), (4.0, 0.0), (4.0, 0.5), (0.0, 0.5))
    assert part_of_outline(strip, 1.0) == ((0.0, 0.0), (2.0, 0.0), (2.0, 0.5), (0.0, 0.5))
    square: Outline = ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0))
    assert part_of_outline(square, 1.0) == ((0.5, 0.5), (1.5, 0.5), (1.5, 1.5), (0.5, 1.5))
    assert part_of_outline(square, 9.0) == square


def test_nothing_is_no_part() -> None:
    with pytest.raises(InputError, match="is nothing to lay"):
        part_of_outline(L_SHAPE, 0.0)
