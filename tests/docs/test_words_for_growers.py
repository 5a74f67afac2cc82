"""Words that growers do not say stay out of what they read: pages, messages, commands, printed sheets.

docs/glossary.md has the words that take their place.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "mulchwright"
ROOMS = ("almanac", "cli", "garden", "gather", "ground", "keep", "sheets", "web")

GONE = {
    r"foretold|foretell\w*": "forecast",
    r"reckon\w*": "work out, compute",
    r"how it is told|told by (?:weight|volume|mass)": "measured as, by weight",
    r"cannot be told|can be told": "can't be worked out",
    r"mind this": "note",
    r"leave it(?=$|<)|take it back|keep and go on": "cancel, undo, save and continue",
    r"\(or nothing\)": "(optional)",
    r"threads (?:stand|like|run|have run|drown|can drown|bear)|(?:the|white) threads": "mycelium, growth",
    r"run through(?! many)": "colonized",
    r"the weeks told|worth the walk": "the weeks ahead",
}
"""What may not come back, as a pattern, and what to say."""


def _read_by_growers(path: Path) -> Iterator[str]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        text = re.sub(r"\{#.*?#\}", " ", text, flags=re.DOTALL)
        yield from re.split(r"<[^>]*>|\{%.*?%\}|\{\{.*?\}\}", text)
        yield from re.findall(r'(?:aria-label|title|placeholder|value)="([^"]*)"', text)
        return
    if path.suffix == ".mjs":
        for quoted, templated in re.findall(r'"([^"\n]*)"|`([^`\n]*)`', text):
            yield quoted or templated
        return
    tree = ast.parse(text)
    notes = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    notes |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in notes:
            yield node.value


@functools.cache
def _texts() -> tuple[tuple[Path, str], ...]:
    """What growers read, of all files, each with its file; one word is no sentence."""
    files = (path for room in ROOMS for path in (PACKAGE / room).rglob("*"))
    return tuple(
        (path, text)
        for path in sorted(files)
        if path.suffix in (".py", ".html", ".mjs")
        for text in _read_by_growers(path)
        if " " in text.strip()
    )


@pytest.mark.parametrize("pattern", GONE)
def test_words_that_growers_do_not_say_are_gone(pattern: str) -> None:
    wrong = re.compile(rf"\b(?:{pattern})\b|(?:{pattern})", re.IGNORECASE)
    found = [
        f"{path.relative_to(PACKAGE)}: {' '.join(text.split())[:100]!r}"
        for path, text in _texts()
        if wrong.search(text)
    ]
    assert not found, f"say {GONE[pattern]}:\n" + "\n".join(found)


def test_the_search_finds_what_it_looks_for() -> None:
    """The patterns are of words in the texts, and docstrings and names are none."""
    assert re.search("foretold", "what was foretold")
    texts = list(_read_by_growers(PACKAGE / "web" / "now" / "now_view.py"))
    assert any("mycelium" in text for text in texts)
    assert not any("How every built bed stands" in text for text in texts)
