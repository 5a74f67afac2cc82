"""A table of twelve months, as copied from an almanac, a spreadsheet or a web page."""

from __future__ import annotations

import re

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS
from mulchwright.units import US

__all__ = ["rows_of_table"]

USUAL_ORDER = ("low", "high", "rain", "wet")
_NAMES = (
    ("wet", r"day|wet"),
    ("rain", r"rain|precip|mm\b|inch"),
    ("low", r"\blow|min"),
    ("high", r"\bhigh|max"),
    ("", r"mean|average|avg|daily|record|snow|sun|humid|wind"),
)
_NUMBER = re.compile(r"[-−–]?\d+(?:[.,]\d+)?")
HOW = (
    "Paste twelve rows, one for each month, or twelve columns, with the lowest temperature, the "
    "highest, the rain and, if you have them, the days with rain."
)


def _meaning(label: str) -> str | None:
    """Which figure a heading names; empty for one that is not used, None for a heading that says nothing."""
    text = label.casefold()
    for name, pattern in _NAMES:
        if re.search(pattern, text):
            if name in ("low", "high") and re.search(r"record|extreme", text):
                return ""
            return name
    return None


def _cells(line: str) -> tuple[str, list[str]]:
    """What stands before the first figure of a line, and its figures."""
    line = re.sub(r"\([^)]*\)", lambda found: " " if _NUMBER.search(found[0]) else found[0], line)
    line = (
        re.sub(r"(?<=\d),(?=\d{3}\b)", "", line) if line.count(",") < MONTHS - 1 else line.replace(",", " ")
    )
    if re.search(r"\d\s*mm\b", line.casefold()) and not re.search(r"\d\s*mm\b.*\d\s*mm\b", line.casefold()):
        line = re.sub(r"\d+(\.\d+)?\s*mm\b", " ", line)  # a threshold in a heading, such as "days of 1 mm"
    first = _NUMBER.search(line)
    if first is None:
        return line.strip(), []
    figures = [re.sub(r"[−–]", "-", part) for part in _NUMBER.findall(line)]
    return line[: first.start()].strip(" \t;|:"), figures


def _units(text: str, system: str) -> tuple[str, str]:
    """What is written behind each figure: the units the table names itself, where they are not the
    garden's."""
    celsius, fahrenheit = "°C" in text or "℃" in text, "°F" in text or "℉" in text
    folded = text.casefold()
    millimeters, inches = bool(re.search(r"\bmm\b", folded)), bool(re.search(r"\binch|\bin\b", folded))
    degrees = " °C" if celsius and not fahrenheit else " °F" if fahrenheit and not celsius else ""
    depth = " mm" if millimeters and not inches else " in" if inches and not millimeters else ""
    if celsius and fahrenheit:  # the other one is in brackets, which were left out
        degrees = " °C" if text.find("°C") < text.find("°F") else " °F"
    if millimeters and inches:
        depth = " mm" if folded.find("mm") < folded.find("inch" if "inch" in folded else " in") else " in"
    if not degrees:
        degrees = " °F" if system == US else " °C"
    if not depth:
        depth = " in" if system == US else " mm"
    return degrees, depth


def rows_of_table(text: str, system: str) -> dict[str, str]:
    """The rows "low", "high", "rain" and "wet" of a pasted table, each as twelve figures apart by semicolons.

    Twelve rows or twelve columns; a thirteenth with the year's figure is left out. Headings are used where
    they say what a row or column is; without them the order is lowest, highest, rain, wet days, and lowest
    and highest are exchanged where they stand the other way round. Units that the table names are kept, else
    they are the garden's (`system`). Raises `InputError` (field "paste") for a table that is none.
    """
    lines = [_cells(line) for line in text[:20_000].splitlines() if line.strip()]
    wide = [(label, figures) for label, figures in lines if len(figures) in (MONTHS, MONTHS + 1)]
    found: dict[str, list[str]] = {}
    if len(wide) >= 3:
        named = [(_meaning(label), figures[:MONTHS]) for label, figures in wide]
        if any(name for name, _ in named):
            for name, figures in named:
                if name:
                    found.setdefault(name, figures)
        else:
            found = dict(zip(USUAL_ORDER, (figures for _, figures in named), strict=False))
    else:
        rows = [figures for _, figures in lines if len(figures) >= 3]
        if len(rows) not in (MONTHS, MONTHS + 1):
            raise InputError(f"{len(rows)} rows with three or more figures were found. {HOW}", field="paste")
        rows = rows[:MONTHS]
        if len({len(row) for row in rows}) != 1:
            raise InputError(f"The rows of the table have different numbers of figures. {HOW}", field="paste")
        heads = [label for label, figures in lines if not figures]
        parts = re.split(r"\t|;|\||\s{2,}", heads[0].strip()) if heads else []
        columns = list(zip(*rows, strict=True))
        names = [_meaning(part) for part in parts][-len(columns) :]
        if len(names) == len(columns) and {"low", "high", "rain"} <= set(names):
            for name, column in zip(names, columns, strict=True):
                if name:
                    found.setdefault(name, list(column))
        else:
            found = dict(zip(USUAL_ORDER, (list(column) for column in columns), strict=False))
    lacking = [name for name in ("low", "high", "rain") if name not in found]
    if lacking:
        words = {"low": "lowest temperatures", "high": "highest temperatures", "rain": "rain"}
        raise InputError(
            f"The table has no {' and no '.join(words[n] for n in lacking)}. {HOW}", field="paste"
        )
    low, high = ([float(figure.replace(",", ".")) for figure in found[name]] for name in ("low", "high"))
    if all(a > b for a, b in zip(low, high, strict=True)):
        found["low"], found["high"] = found["high"], found["low"]
    degrees, depth = _units(text, system)
    behind = {"low": degrees, "high": degrees, "rain": depth, "wet": ""}
    return {name: "; ".join(figure + behind[name] for figure in figures) for name, figures in found.items()}
