"""List every check against something outside the project, into `docs/science/outside-checks.md`.

    python tools/outside_checks.py [--write]

Reads the marks `outside_check` of the tests in `tests/checks` without running them: `source`, `tolerance` and
`shared`, which says whether the figures that are checked came from the same source. A mark before a test goes
before that of its file. Standard library only.
"""

from __future__ import annotations

import argparse
import ast
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CHECKS = ROOT / "tests" / "checks"
PAGE = ROOT / "docs" / "science" / "outside-checks.md"
COMMAND = "python tools/outside_checks.py --write"
MARK = "pytest.mark.outside_check"
SHARED = {
    "no parameter": "mathematics, a format or an arrangement: there is no figure that could have been fitted",
    "no": "the figures that are checked came from elsewhere",
    "partly": "some of them came from the same source, or were chosen with it in view",
    "yes": "they were taken from the same source: the check says that they are used rightly, and no more",
}

TEMPLATE = """\
# Outside checks

Made by `{command}` from the marks in `tests/checks`; a test says when it is
out of date. Field observations with scores stand on [held against the field](held-against.md), tables typed
again from their sources in `tests/data`.

"Same source" tells whether the figures that are checked came from the source that checks them:

| same source | meaning | tests |
|---|---|---|
{counts}

{missing} of the tests are strict expected failures: the program misses them today.

{sections}
"""


@dataclass(frozen=True, slots=True)
class Check:
    """One test. place : its file under `tests/checks`. missed : why it is expected to fail, or empty."""

    place: str
    name: str
    source: str
    tolerance: str
    shared: str
    missed: str

    @property
    def kind(self) -> str:
        """What `shared` begins with."""
        return self.shared.partition(":")[0]


def _mark_of(nodes: list[ast.expr], name: str) -> dict[str, str] | None:
    """The keywords of the mark `name` among calls, their texts as written; None where it is not there."""
    for node in nodes:
        if isinstance(node, ast.Call) and ast.unparse(node.func) == name:
            return {
                word.arg: word.value.value
                for word in node.keywords
                if word.arg and isinstance(word.value, ast.Constant) and isinstance(word.value.value, str)
            }
    return None


def _checks_of(path: Path) -> Iterator[Check]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    of_file = _mark_of(
        [
            node.value
            for node in tree.body
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "pytestmark"
        ],
        MARK,
    )
    place = path.relative_to(CHECKS).as_posix()
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef) or not node.name.startswith("test_"):
            continue
        mark = _mark_of(node.decorator_list, MARK) or of_file
        if mark is None or set(mark) != {"source", "tolerance", "shared"}:
            raise SystemExit(
                f"{place}: {node.name} has no whole mark. Write @{MARK}(source=..., tolerance=..., "
                "shared=...) before it, or pytestmark = ... for the file."
            )
        missed = _mark_of(node.decorator_list, "pytest.mark.xfail")
        check = Check(place, node.name, **mark, missed=missed.get("reason", "no reason") if missed else "")
        if check.kind not in SHARED:
            raise SystemExit(f"{place}: {node.name}, shared: begin with {', '.join(SHARED)}.")
        yield check


def checks() -> list[Check]:
    """All tests of `tests/checks`, by file and in the order of the file."""
    return [check for path in sorted(CHECKS.rglob("test_*.py")) for check in _checks_of(path)]


def _row(same: list[Check]) -> str:
    """Tests of a file that share a mark, in one row."""
    names = "; ".join(
        check.name.removeprefix("test_").replace("_", " ")
        + (f" (**missed**: {check.missed})" if check.missed else "")
        for check in same
    )
    first = same[0]
    return f"| {names} | {first.source} | {first.tolerance} | {first.shared} |"


def _section(place: str, found: list[Check]) -> str:
    order = {check: n for n, check in enumerate(found)}
    by_mark: dict[tuple[str, str, str], list[Check]] = {}
    for check in found:
        by_mark.setdefault((check.source, check.tolerance, check.shared), []).append(check)
    rows = sorted(by_mark.values(), key=lambda same: order[same[0]])
    head = "| test | source | tolerance | same source |\n|---|---|---|---|"
    return f"## `tests/checks/{place}`\n\n{head}\n" + "\n".join(_row(same) for same in rows)


def page() -> str:
    """The page, as Markdown."""
    found = checks()
    count = Counter(check.kind for check in found)
    return TEMPLATE.format(
        command=COMMAND,
        counts="\n".join(f"| {kind} | {words} | {count[kind]} |" for kind, words in SHARED.items()),
        missing=sum(bool(check.missed) for check in found),
        sections="\n\n".join(
            _section(place, list(of_file)) for place, of_file in groupby(found, key=lambda check: check.place)
        ),
    )


def main() -> int:
    """Print the page, or write it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.relative_to(ROOT)}")
    if parser.parse_args().write:
        PAGE.write_text(page(), encoding="utf-8")
    else:
        print(page())
    return 0


if __name__ == "__main__":
    sys.exit(main())
