"""How chances, days and drawings are told. The wording is our own (docs/looks.md); no outside source."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest

from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW, WIDE, DotPlot, dot_plot

TODAY = date(2031, 6, 10)


@pytest.mark.parametrize(
    ("probability", "said"),
    [
        (0.823, "8 in 10"),
        (0.5, "5 in 10"), (0.3, "3 in 10"), (1 / 6, "1 in 6"), (0.25, "1 in 4"), (0.1, "1 in 10"),
        (0.05, "1 in 20"), (0.04, "fewer than 1 in 20"), (0.0, "hardly ever"), (1.0, "almost surely"),
        (0.96, "more than 9 in 10"), (math.nan, "not known"),
    ],
)  # fmt: skip
def test_chances_are_counts(probability: float, said: str) -> None:
    assert words.chance(probability) == said


def test_chances_never_fall_as_probability_rises() -> None:
    def value(said: str) -> float:
        fixed = {
            "hardly ever": 0.0,
            "fewer than 1 in 20": 0.04,
            "more than 9 in 10": 0.95,
            "almost surely": 1.0,
        }
        if said in fixed:
            return fixed[said]
        top, bottom = re.findall(r"\d+", said)
        return int(top) / int(bottom)

    lines = [value(words.chance(i / 1000)) for i in range(1001)]
    assert lines == sorted(lines)
    assert all(abs(lines[i] - i / 1000) <= 0.061 for i in range(1001))


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (date(2031, 6, 5), date(2031, 7, 4), "5 June to 4 July"),
        (date(2031, 6, 5), date(2031, 6, 19), "5 to 19 June"),
        (date(2031, 6, 5), date(2031, 6, 5), "5 June"),
        (date(2032, 6, 5), date(2032, 7, 4), "5 June to 4 July 2032"),
        (date(2031, 12, 20), date(2032, 1, 4), "20 December to 4 January 2032"),
    ],
)
def test_ranges_of_days(first: date, last: date, said: str) -> None:
    assert words.day_range(first, last, TODAY) == said


def test_lists_read_as_sentences() -> None:
    assert words.joined(["chips"]) == "chips"
    assert words.joined(["chips", "straw", "bark"]) == "chips, straw and bark"
    assert words.joined([]) == ""


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (25.4, "25 lb"),
        (317.0, "320 lb"),
        (4.06, "4.1 lb"),
        (0.113, "0.11 lb"),
        (9.96, "10 lb"),
        (0.0, "nothing"),
    ],
)
def test_forecast_amounts_have_two_figures(value: float, said: str) -> None:
    assert words.two_figures(value, "lb") == said


def circles(svg: str, class_: str) -> list[tuple[float, float, float]]:
    root = ET.fromstring(svg)
    return [
        (float(c.attrib["cx"]), float(c.attrib["cy"]), float(c.attrib["r"]))
        for c in root.iter("circle")
        if c.attrib.get("class") == class_
    ]


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize(
    "twenty",
    [
        tuple(TODAY + timedelta(days=3 * i) for i in range(20)),
        (TODAY + timedelta(days=4),) * 20,
        (TODAY + timedelta(days=30),) * 3 + (None,) * 17,
        (None,) * 20,
    ],
)
def test_always_twenty_dots_none_over_another(width: float, twenty: tuple[date | None, ...]) -> None:
    plot = DotPlot(twenty, TODAY, date(2031, 6, 1), date(2031, 10, 1))
    svg = dot_plot(plot, width=width, label="Dots <&>", mark="m")
    places = circles(svg, "dot") + circles(svg, "hollow-dot")
    assert len(places) == 20
    for i, (x, y, r) in enumerate(places):
        assert r <= x <= width - r
        assert y > 20
        for x2, y2, r2 in places[:i]:
            assert math.hypot(x - x2, y - y2) >= r + r2 - 0.2
