"""The survey by tape against textbook data, a general solver and exact figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import norm

from mulchwright.garden.adjustment import adjust
from mulchwright.garden.least_squares import SUSPECT
from mulchwright.garden.plan import Point
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint

pytestmark = pytest.mark.outside_check(
    source="scipy, general least squares", tolerance="1e-4", shared="no parameter"
)


def known(key: str, at: Point) -> SurveyPoint:
    return SurveyPoint(key, key.upper(), known_at=at)


@pytest.mark.outside_check(
    source="Ghilani 2010, Example 14.1, from memory; scipy", tolerance="printed digits", shared="no parameter"
)
def test_a_textbook_trilateration() -> None:
    """Three stations, one point: data of Ghilani, "Adjustment Computations", 5th ed. (2010), Example 14.1.

    From memory; the same data stand in a course exercise of a technical university. Divided by 20, so that
    the tapes stay below the longest a survey takes. The place is compared with scipy's solver; residuals
    and reference standard deviation with the printed -0.037, 0.077, -0.047 and 0.098 ft (from memory; the
    printed coordinates were not at hand).
    """
    stations = {"a": (865.40, 4527.15), "b": (2432.55, 2047.25), "c": (2865.22, 27.15)}
    taped = {"a": 6049.00, "b": 4736.83, "c": 5446.49}
    scale = 20.0
    survey = Survey(
        (*(known(k, (x / scale, y / scale)) for k, (x, y) in stations.items()), SurveyPoint("u", "U")),
        ("a", "c"),
        tuple(Reading(k, "u", d / scale) for k, d in taped.items()),
        tape_error_share=0.0,
    )
    done = adjust(survey)
    at = done.place_of("u")
    assert at is not None
    anchors = np.array(list(stations.values()))
    wanted = least_squares(
        lambda p: np.hypot(*(p - anchors).T) - np.array(list(taped.values())),
        [6000.0, 3500.0],
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    assert np.array(at) * scale == pytest.approx(wanted.x, abs=2e-5)
    # A residual here is taped minus computed; the book's is computed minus taped.
    residuals = [-check.residual_m * scale for check in done.readings]
    assert residuals == pytest.approx([-0.037, 0.077, -0.047], abs=0.0006)
    assert done.redundancy == 1
    assert math.sqrt(sum(v * v for v in residuals)) == pytest.approx(0.098, abs=0.0005)


@pytest.mark.outside_check(source="normal distribution (scipy)", tolerance="0.005", shared="no parameter")
def test_the_limit_is_that_of_one_in_a_thousand() -> None:
    """Baarda's limit for a chance of 0.001 on both sides together."""
    assert norm.ppf(1 - 0.001 / 2) == pytest.approx(SUSPECT, abs=0.005)


@pytest.fixture
def network() -> tuple[Survey, dict[str, Point]]:
    """Two house corners, six points, all within reach of three others; readings with a made-up noise."""
    true: dict[str, Point] = {
        "w": (0.0, 0.0), "e": (12.0, 0.0), "q": (4.0, 7.5), "p": (11.0, 9.0), "t": (-3.0, 5.0),
        "g": (6.0, 14.0), "s": (7.0, -6.0), "r": (1.0, -8.0),
    }  # fmt: skip
    pairs = ["wq", "eq", "wp", "ep", "qp", "wt", "et", "qt", "qg", "pg", "tg", "wg", "ws", "es", "qs", "wr",
             "er", "sr", "tr", "we"]  # fmt: skip
    noise = np.random.default_rng(20310914).normal(0, 1, len(pairs))
    readings = []
    for (a, b), z in zip(pairs, noise, strict=True):
        distance = math.dist(true[a], true[b])
        readings.append(Reading(a, b, distance + z * (0.02 + 0.001 * distance)))
    sides = {"q": Side.LEFT, "t": Side.LEFT, "p": Side.LEFT, "s": Side.RIGHT, "r": Side.RIGHT}
    points = tuple(
        known(key, at) if key in "we" else SurveyPoint(key, key.upper(), side=sides.get(key))
        for key, at in true.items()
    )
    return Survey(points, ("w", "e"), tuple(readings)), true


def solved_by_scipy(survey: Survey, true: dict[str, Point]) -> tuple[dict[str, Point], np.ndarray]:
    """Places and their standard deviations by a general solver, started from the truth."""
    sought = [point.key for point in survey.points if point.known_at is None]
    sd = np.array([survey.tape_sd_m(r.distance_m) for r in survey.readings])

    def misfits(flat: np.ndarray) -> np.ndarray:
        at = {p.key: p.known_at for p in survey.points if p.known_at} | {
            key: tuple(flat[2 * n : 2 * n + 2]) for n, key in enumerate(sought)
        }
        return np.array([math.dist(at[r.start], at[r.end]) - r.distance_m for r in survey.readings]) / sd

    found = least_squares(
        misfits, [c for key in sought for c in true[key]], xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    spread = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)))
    return {key: tuple(found.x[2 * n : 2 * n + 2]) for n, key in enumerate(sought)}, spread


def test_a_network_comes_out_as_a_general_solver_has_it(network: tuple[Survey, dict[str, Point]]) -> None:
    survey, true = network
    done = adjust(survey)
    places, spread = solved_by_scipy(survey, true)
    assert done.unplaced == ()
    assert done.blunders == ()
    for n, (key, at) in enumerate(places.items()):
        point = next(p for p in done.points if p.key == key)
        assert point.at == pytest.approx(at, abs=1e-6)
        assert (point.sd_x_m, point.sd_y_m) == pytest.approx(spread[2 * n : 2 * n + 2], rel=1e-4)
        assert math.dist(point.at, true[key]) < 4 * point.sd_worst_m
    assert done.redundancy == 20 - 12
    assert math.fsum(check.redundancy for check in done.readings) == pytest.approx(8)
    assert done.sigma_factor is not None
    assert 0.3 < done.sigma_factor < 1.8  # chi-square with 8 degrees of freedom: 0.34 to 1.65 in 998 of 1000


@pytest.mark.outside_check(source="a made-up slip of known size", tolerance="0.15 m", shared="no parameter")
@pytest.mark.parametrize("wrong", [2, 4, 7, 9, 16, 19])
def test_a_blunder_of_one_meter_is_named(network: tuple[Survey, dict[str, Point]], wrong: int) -> None:
    """The tape slipped a meter: that reading is named, by how much, and the places stay what they were."""
    survey, _ = network
    clean = adjust(survey)
    slipped = survey.readings[wrong]
    readings = list(survey.readings)
    readings[wrong] = Reading(slipped.start, slipped.end, slipped.distance_m + 1.0)
    done = adjust(Survey(survey.points, survey.baseline, tuple(readings)))
    (blunder,) = done.blunders
    assert blunder.certain
    assert (blunder.readings[0].start, blunder.readings[0].end) == (slipped.start, slipped.end)
    assert blunder.off_m[0] == pytest.approx(1.0, abs=0.15)
    names = f"from {slipped.start.upper()} to {slipped.end.upper()}"
    assert blunder.words.startswith(f"The tape {names} is {blunder.off_m[0]:.2f} m off: it reads ")
    assert blunder.words.endswith("It was left out; measure it again.")
    for point in done.points:
        before = next(p for p in clean.points if p.key == point.key)
        assert math.dist(point.at, before.at) < 0.12
    assert [check.used for check in done.readings].count(False) == 1


def with_slips(survey: Survey, *slips: tuple[int, float]) -> Survey:
    readings = list(survey.readings)
    for n, slip in slips:
        readings[n] = Reading(readings[n].start, readings[n].end, readings[n].distance_m + slip)
    return Survey(survey.points, survey.baseline, tuple(readings))


@pytest.mark.outside_check(source="made-up slips of known size", tolerance="0.1 m", shared="no parameter")
def test_two_blunders_are_named(network: tuple[Survey, dict[str, Point]]) -> None:
    done = adjust(with_slips(network[0], (4, 1.0), (13, -0.5)))
    named = {(b.readings[0].start, b.readings[0].end): b.off_m[0] for b in done.blunders if b.certain}
    assert named.keys() == {("q", "p"), ("e", "s")}
    assert named["q", "p"] == pytest.approx(1.0, abs=0.1)
    assert named["e", "s"] == pytest.approx(-0.5, abs=0.1)


@pytest.mark.outside_check(
    source="geometry of the tapes", tolerance="named as uncertain", shared="no parameter"
)
def test_a_blunder_among_tapes_that_say_the_same_is_not_guessed(
    network: tuple[Survey, dict[str, Point]],
) -> None:
    """Tapes from E and S to R run nearly along one line past it: which of them slipped cannot be known."""
    done = adjust(with_slips(network[0], (16, -0.5)))
    (blunder,) = done.blunders
    pairs = {(reading.start, reading.end) for reading in blunder.readings}
    assert blunder.certain or ("e", "r") in pairs


@pytest.mark.outside_check(source="Pythagorean triples", tolerance="1e-9 m", shared="no parameter")
def test_points_placed_by_exact_right_triangles() -> None:
    """3-4-5 and 5-12-13: whole numbers, so nothing is left over."""
    survey = Survey(
        (known("a", (0, 0)), known("b", (4, 0)), SurveyPoint("c", "C", side=Side.LEFT),
         SurveyPoint("d", "D", side=Side.RIGHT)),
        ("a", "b"),
        (Reading("a", "c", 3), Reading("b", "c", 5), Reading("a", "d", 5), Reading("b", "d", math.sqrt(41)),
         Reading("c", "d", 8)),
    )  # fmt: skip
    done = adjust(survey)
    assert done.place_of("c") == pytest.approx((0, 3), abs=1e-9)
    assert done.place_of("d") == pytest.approx((0, -5), abs=1e-9)
    assert [check.residual_m for check in done.readings] == pytest.approx([0] * 5, abs=1e-9)
    assert done.sigma_factor == pytest.approx(0, abs=1e-6)
