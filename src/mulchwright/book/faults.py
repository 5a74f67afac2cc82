"""All faults of a text file at once, each with its place, in words for the one who wrote it."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from mulchwright.errors import InputError

__all__ = ["fault_lines", "faults_in_words", "lines_of_toml", "refuse_overlong_number"]

FAULTS_SHOWN = 20
ONE_OF = {
    "beds": "bed",
    "patches": "patch",
    "layers": "layer",
    "planes": "spawn plane",
    "recipes": "recipe",
    "light_share": "light share",
    "days": "row",
    "outline": "corner",
    "log": "logbook entry",
    "crowns": "crown",
    "walls": "wall",
    "paths": "path",
    "taps": "tap",
    "zones": "zone",
    "lots": "lot",
    "sticks": "branch",
    "sellers": "seller",
    "offers": "offer",
    "households": "household",
    "takes": "share",
    "vessels": "vessel",
    "points": "point",
    "readings": "reading",
    "checks": "identity check",
    "findings": "finding",
    "uses": "use",
    "jars": "jar",
    "dryers": "dryer",
    "dryings": "load",
    "year_costs": "money and hours",
    "picks": "pick",
    "weighings": "weighing",
    "in_leaf": "day",
    "along": "end",
}
"""What one item of a list is called, where the list is not called that already."""

Path = tuple[str | int, ...]


def _at(data: Any, path: Path) -> Any:
    """What stands in the file at `path`, or None."""
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _place_words(data: Any, path: Path) -> str:
    """`("patches", 1, "recipe", "layers", 0)` as "patch 2 (Under the quince), recipe, layer 1"."""
    words: list[str] = []
    for depth, step in enumerate(path):
        if isinstance(step, int):
            of = str(path[depth - 1]) if depth and isinstance(path[depth - 1], str) else "item"
            # The list's own name was just said; what counts is which of its items.
            if words and words[-1] == of.replace("_", " "):
                words.pop()
            item = _at(data, path[: depth + 1])
            name = next(
                (
                    item[key]
                    for key in ("name", "day", "material", "year")
                    if isinstance(item, Mapping) and item.get(key)
                ),
                None,
            )
            words.append(
                f"{ONE_OF.get(of, of)} {step + 1}".replace("_", " ") + (f" ({name})" if name else "")
            )
        elif step == "[key]":
            continue  # pydantic's mark for the name of an entry, which was just said
        elif _at(data, path[: depth + 1]) is not None or depth == len(path) - 1:
            # Steps that are not in the file are pydantic's own (which arm of a choice was tried).
            words.append(step if depth == len(path) - 1 else step.replace("_", " "))
    return ", ".join(words[1:] if words[0:1] == ["garden"] and len(words) > 1 else words)


def _fault_words(fault: ErrorDetails, known: Sequence[str]) -> str:
    kind, value = fault["type"], fault["input"]
    shown = repr(value) if isinstance(value, str | int | float | bool) and len(repr(value)) < 60 else ""
    if kind == "missing":
        return "is missing"
    if kind in ("too_short", "too_long"):
        ctx = fault.get("ctx") or {}
        wanted = ctx.get("min_length", ctx.get("max_length"))
        return f"has {ctx.get('actual_length')} entries where {wanted} are wanted"
    if kind == "extra_forbidden":
        near = get_close_matches(str(fault["loc"][-1]), known, n=1)
        return "is not known here" + (
            f"; did you mean {near[0]}?" if near else "; remove it, or see the manual page"
        )
    for part, words in (
        ("float", "must be a number"),
        ("int", "must be a whole number"),
        ("string", "must be a text"),
        ("bool", "must be true or false"),
        ("list", "must be a list"),
        ("model_type", "must be a table with named entries"),
        ("dict", "must be a table with named entries"),
        ("finite", "must be a finite number"),
    ):
        if part in kind:
            return words + (f", not {shown}" if shown else "")
    if kind in ("enum", "literal_error"):
        choices = str((fault.get("ctx") or {}).get("expected", "")).replace("'", "")
        return f"must be {choices}" + (f", not {shown}" if shown else "")
    return fault["msg"].removeprefix("Value error, ")


def fault_lines(
    error: ValidationError,
    data: Any,
    *,
    known: Sequence[str] = (),
    lines: Mapping[Path, int] | None = None,
) -> list[str]:
    """Every fault once, with its place (and its line, where known)."""
    sentences: list[str] = []
    for fault in error.errors(include_url=False):
        path: Path = tuple(fault["loc"])
        line = None
        if lines:
            line = next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), None)
        place = _place_words(data, path)
        at = f"line {line}: " if line else ""
        custom = fault["type"] in ("noun", "quantity", "key")
        text = f"{at}{place}{':' if custom and place else ''} {_fault_words(fault, known)}".strip()
        if text not in sentences:
            sentences.append(text)
    return sentences


def faults_in_words(
    error: ValidationError,
    data: Any,
    *,
    file_name: str,
    known: Sequence[str] = (),
    lines: Mapping[Path, int] | None = None,
) -> InputError:
    """One `InputError` that lists every fault with its place (and its line, where known)."""
    sentences = fault_lines(error, data, known=known, lines=lines)
    count = len(sentences)
    shown = sentences[:FAULTS_SHOWN] + ([f"and {count - FAULTS_SHOWN} more"] if count > FAULTS_SHOWN else [])
    head = f"{file_name} has {'a fault' if count == 1 else f'{count} faults'}; nothing was brought in."
    return InputError("\n  ".join((head, *shown)))


def refuse_overlong_number(text: str, file_name: str) -> None:
    """`InputError` with the line of a whole number that has more digits than Python reads, if there is one.

    The readers of TOML and JSON stop at such a number without saying where.
    """
    found = re.search(rf"\d{{{sys.get_int_max_str_digits() + 1},}}", text)
    if found and sys.get_int_max_str_digits():
        line = text.count("\n", 0, found.start()) + 1
        raise InputError(
            f"{file_name}, line {line}: a number of {len(found[0]):,} digits is larger than anything in a "
            "garden. Nothing was brought in; correct that line."
        )


_HEADER = re.compile(r"^\s*(?P<open>\[\[?)\s*(?P<name>[^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_ENTRY = re.compile(r"^\s*(?P<key>[A-Za-z0-9_-]+|\"[^\"]*\")\s*=")


def lines_of_toml(text: str) -> dict[Path, int]:
    """The line on which each table and entry of a TOML text begins, by its path in the data.

    `tomllib` tells lines only for faults of the syntax. This reads headers and plain `key =` lines;
    entries inside inline tables keep the line of their table, and texts over several lines are skipped.
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    fence: str | None = None
    depth = 0  # open brackets of a list that goes on over several lines
    for number, line in enumerate(text.splitlines(), start=1):
        if fence:
            fence = None if fence in line else fence
            continue
        if depth == 0 and (header := _HEADER.match(line)):
            table = _table_path(header["name"], header["open"] == "[[", counts)
            lines[table] = number
            continue
        if depth == 0 and (entry := _ENTRY.match(line)):
            lines[(*table, entry["key"].strip('"'))] = number
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2:
                fence = quotes
        bare = re.sub(r"\"(?:\\.|[^\"\\])*\"|'[^']*'|#.*$", "", line)
        depth = max(0, depth + bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}"))
    return lines


def _table_path(name: str, of_list: bool, counts: dict[Path, int]) -> Path:
    """The data path of a header: `patch.layer` within the second patch is ("patch", 1, "layer", 0)."""
    steps = [step.strip().strip('"') for step in name.split(".")]
    path: Path = ()
    for step in steps[:-1]:
        path = (*path, step)
        if path in counts:
            path = (*path, counts[path] - 1)
    path = (*path, steps[-1])
    if of_list:
        counts[path] = counts.get(path, 0) + 1
        path = (*path, counts[path] - 1)
    return path
