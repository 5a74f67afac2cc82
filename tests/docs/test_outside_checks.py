"""The list of outside checks is what the marks in `tests/checks` say, and leaves none out."""

from __future__ import annotations

import importlib
import re
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def tool(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    return importlib.import_module("outside_checks")


def test_the_list_is_up_to_date(tool: ModuleType) -> None:
    how = f"docs/science/outside-checks.md is out of date: write it with `{tool.COMMAND}`"
    assert tool.PAGE.read_text(encoding="utf-8") == tool.page(), how


def test_each_test_is_listed(tool: ModuleType) -> None:
    """Counted apart: every line that begins a test, in classes or not, stands on the page once."""
    page = tool.PAGE.read_text(encoding="utf-8")
    for path in sorted(tool.CHECKS.rglob("test_*.py")):
        place = path.relative_to(tool.CHECKS).as_posix()
        section = page.partition(f"## `tests/checks/{place}`\n")[2].partition("\n## ")[0]
        listed = [
            re.sub(r" \(\*\*missed.*", "", name)
            for row in re.findall(r"^\| (.*?) \|", section, re.M)[1:]
            for name in re.split(r"; (?![^(]*\))", row)
        ]
        written = re.findall(r"^\s*(?:async )?def test_(\w+)\(", path.read_text(encoding="utf-8"), re.M)
        assert sorted(listed) == sorted(name.replace("_", " ") for name in written), place


def test_a_test_without_a_mark_is_refused(
    tool: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tool, "CHECKS", tmp_path)
    path = tmp_path / "test_new.py"
    path.write_text("def test_something():\n    pass\n", encoding="utf-8")
    with pytest.raises(SystemExit, match="test_something has no whole mark"):
        tool.checks()
    mark = '@pytest.mark.outside_check(source="a book", tolerance="1", shared="{}")\n'
    path.write_text(mark.format("perhaps") + path.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(SystemExit, match="begin with no parameter, no, partly, yes"):
        tool.checks()
    path.write_text(mark.format("no") + "def test_something():\n    pass\n", encoding="utf-8")
    assert [(check.source, check.kind, check.missed) for check in tool.checks()] == [("a book", "no", "")]
