"""Before a commit runs what `./dev check` runs, and nothing that would have to be fetched."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_hook_is_the_check_of_this_tree_and_fetches_nothing() -> None:
    text = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    assert re.findall(r"repo: *(\S+)", text) == ["local"]
    assert "://" not in text
    assert re.findall(r"entry: *(.+)", text) == ["python3 dev check"]
    assert "language: system" in text, "another would make an environment of its own"
    assert "pass_filenames: false" in text, "the check takes no file names"
    assert "pre-commit install" in (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")


def test_the_command_of_the_hook_is_there() -> None:
    """`dev` knows the word; a wrong one would print its help and fail."""
    assert "check" in runpy.run_path(str(ROOT / "dev"), run_name="looked at")
    done = subprocess.run(
        [sys.executable, "dev", "chek"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "./dev check" in done.stdout
