"""What speaks against a spot, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mulchwright.ground import (
    Finding,
    Limit,
    Severity,
)
from mulchwright.trade import Trade
from mulchwright.units import (
    in_units,
)


@dataclass(frozen=True, slots=True)
class FindingWords:
    """A finding as a page tells it: how grave, what, what mends it, the caution, where it comes from."""

    hard: bool
    grade: str
    words: str
    mend: str
    caution: tuple[str, str, str] | None
    origin: str
    limit: Limit


def each_once(groups: Sequence[Sequence[FindingWords]]) -> tuple[tuple[FindingWords, ...], ...]:
    """The same findings, each caution and each source only where a page first has it."""
    cautions: set[str] = set()
    origins: set[str] = set()
    shown = []
    for group in groups:
        lines = []
        for one in group:
            caution = one.caution if one.caution and one.caution[0] not in cautions else None
            origin = one.origin if one.origin not in origins else ""
            cautions |= {one.caution[0]} if one.caution else set()
            origins.add(one.origin)
            lines.append(replace(one, caution=caution, origin=origin))
        shown.append(tuple(lines))
    return tuple(shown)


def finding_words(finding: Finding, trade: Trade, system: str) -> FindingWords:
    """A finding with its caution and its source spelled out."""
    caution = trade.cautions.get(finding.caution or "")
    source = trade.sources.get(finding.source)
    origin = source.citation if source else finding.source.replace("-", " ").capitalize()
    if finding.basis is not None:
        origin = f"{origin.rstrip('.')} ({finding.basis.words})."
    hard = finding.severity is Severity.HARD
    return FindingWords(
        hard,
        "Not here as planned" if hard else "Note",
        finding.words,
        finding.mend,
        (caution.title, in_units(caution.text, system), caution.defer) if caution else None,
        origin if origin.endswith(".") else f"{origin}.",
        finding.limit,
    )
