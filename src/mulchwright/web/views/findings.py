"""What speaks against a spot, in words."""

from __future__ import annotations

from dataclasses import dataclass

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
        "Not here as it stands" if hard else "Note",
        finding.words,
        finding.mend,
        (caution.title, in_units(caution.text, system), caution.defer) if caution else None,
        origin if origin.endswith(".") else f"{origin}.",
        finding.limit,
    )
