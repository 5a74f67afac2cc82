"""Runs the command line in this process, and makes a demo book once for all tests here."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from mulchwright.cli.app import main


@dataclass(frozen=True)
class Answer:
    """What a command gave back."""

    code: int
    out: str
    err: str


Run = Callable[..., Answer]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def act(*words: object) -> Answer:
        capsys.readouterr()
        code = main([str(word) for word in words])
        printed = capsys.readouterr()
        assert "Traceback" not in printed.err
        return Answer(code, printed.out, printed.err)

    return act


@pytest.fixture(scope="session")
def made_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.garden"
    assert main(["demo", str(path), "--no-open"]) == 0
    return path


@pytest.fixture
def book(made_book: Path, tmp_path: Path) -> Path:
    """A fresh copy of the demo book."""
    return Path(shutil.copy(made_book, tmp_path / "copy.garden"))
