"""The page of field observations is what the program computes, and its score is a proper one."""

from __future__ import annotations

import importlib
import math
import re
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]\d+)?")


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(ROOT / "bench"))
    return importlib.import_module("held_against")


def test_the_page_is_what_the_program_computes(bench: ModuleType) -> None:
    """Words exactly; figures to 3 % or a unit of their last digit, since processors add up differently."""
    written, made = bench.PAGE.read_text(encoding="utf-8"), bench.made()
    how = f"docs/science/held-against.md is out of date: write it with `{bench.COMMAND}`, look at the misses"
    assert NUMBER.sub("#", written) == NUMBER.sub("#", made), how
    for before, now in zip(NUMBER.findall(written), NUMBER.findall(made), strict=True):
        decimals = len(before.partition(".")[2].partition("e")[0])
        assert float(now) == pytest.approx(float(before), rel=0.03, abs=1.01 * 10**-decimals), how


def test_at_least_ten_and_each_with_its_source(bench: ModuleType) -> None:
    found = bench.observations()
    assert len(found) >= 10
    assert len({observation.key for observation, _ in found}) == len(found)
    kept = (ROOT / "src/mulchwright/trade/sources.toml").read_text(encoding="utf-8")
    for observation, _ in found:
        assert observation.seen[0] <= observation.seen[1]
        assert re.search(r"read|same abstract", observation.source), observation.key  # how far it was read
        for doi in re.findall(r"doi (10\S+?),", observation.source):
            assert doi not in kept, f"{observation.key}: a table rests on it now, so it is no outside case"


def test_the_score_of_a_normal_forecast(bench: ModuleType) -> None:
    """Gneiting and Raftery (2007), Eq. 5 and after, from memory: of a normal forecast the score is
    sd (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi)); at its mean 0.2337 sd.
    """
    sample = 3 + 2 * np.random.default_rng(1).standard_normal(200_000)
    for seen in (3.0, 4.0, -1.0):
        z = (seen - 3) / 2
        phi = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        exact = 2 * (z * math.erf(z / math.sqrt(2)) + 2 * phi - 1 / math.sqrt(math.pi))
        assert bench.crps(sample, seen) == pytest.approx(exact, rel=0.01)
    assert bench.crps(sample, 3.0) == pytest.approx(2 * 0.2337, rel=0.01)


def test_the_score_of_one_value_is_its_distance_and_two_are_worked_by_hand(bench: ModuleType) -> None:
    """Of 0 and 4 seen 1: mean distance 2, less half the mean of (0, 4, 4, 0), which is 1."""
    assert bench.crps(np.array([5.0]), 2.0) == 3.0
    assert bench.crps(np.array([4.0, 0.0]), 1.0) == pytest.approx(1.0)
    assert bench.crps_of_range(np.array([5.0]), (1.0, 3.0)) == pytest.approx(3.0)
