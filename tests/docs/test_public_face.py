"""`import mulchwright`: what other programs may use, documented, typed, and loaded only when asked for."""

from __future__ import annotations

import doctest
import importlib
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import mulchwright
from mulchwright import api

ROOT = Path(__file__).resolve().parents[2]


def test_the_example_runs() -> None:
    done = doctest.testmod(mulchwright)
    assert done.attempted >= 8
    assert not done.failed


def test_every_exported_name_is_documented() -> None:
    head = (mulchwright.__doc__ or "").split(">>>")[0]
    assert {*mulchwright.__all__} - {"__version__"} == {*api.__all__}
    for name in api.__all__:
        assert getattr(mulchwright, name) is getattr(api, name)
        assert getattr(mulchwright, name).__doc__, name
        assert f"`{name}" in head or f", `{name}`" in head, f"{name} is not explained"
        assert name in dir(mulchwright)


def test_an_unknown_name_is_refused_as_usual() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'recipe'"):
        mulchwright.recipe  # noqa: B018
    with pytest.raises(ImportError):
        importlib.import_module("mulchwright.recipe")


def test_importing_the_package_loads_nothing_heavy() -> None:
    """The command line's help would wait for it."""
    words = (
        "import sys; before = set(sys.modules); import mulchwright; "  # coverage loads some
        "print(sorted({'numpy', 'numba', 'sqlite3', 'pydantic'} & (set(sys.modules) - before)))"
    )
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_package_says_that_it_is_typed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert (ROOT / "src/mulchwright/py.typed").exists()
    assert "Typing :: Typed" in project["classifiers"]
    assert project["version"] == mulchwright.__version__
