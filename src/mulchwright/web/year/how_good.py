"""How good the forecasts were: past ones held against the logbook, with the counts behind every share."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, cast

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.almanac.scores import FEWEST, Coverage, Reliability, Scores, score_outlooks
from mulchwright.book import open_book
from mulchwright.web.views import wording as words
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.web.shared.context import AppContext


RANGES = {
    "next picking": ("day of the next picking", "earlier", "later"),
    "crop of a month": ("crop of the next month", "less", "more"),
    "share run": ("share colonized, as you saw it", "less", "more"),
}


EXPECTED = 0.8


LEVEL = 0.02
"""Brier scores closer together than this are called alike."""


def _tenths(count: int) -> str:
    return {0: "hardly any chance", 10: "almost surely"}.get(count, f"{count} in 10")


def _reliability_words(row: Reliability) -> str:
    """ "Of 12 times we said 7 in 10, it came 8 times." """
    if not row.enough:
        return f"{_tenths(row.tenths)}: too few to tell ({row.said})."
    came = "never" if row.came == 0 else "each time" if row.came == row.said else f"{row.came} times"
    return f"Of {row.said} times we said {_tenths(row.tenths)}, it came {came}."


def _coverage_words(row: Coverage) -> str:
    what, below, above = RANGES[row.what]
    if row.total == 0:
        return f"The {what}: nothing to compare yet."
    if not row.enough:
        return f"The {what}: too few to tell ({row.total})."
    beside = [f"{count} {name}" for count, name in ((row.below, below), (row.above, above)) if count]
    return (
        f"The {what}: {row.inside} of {row.total} lay within the range"
        + (f", {words.joined(beside)}" if beside else "")
        + f"; about {round(EXPECTED * row.total)} should."
    )


def _verdict(scores: Scores) -> str:
    """One sentence that comes first."""
    count = len(scores.statements)
    if scores.outlooks == 0:
        return (
            "Nothing to compare yet. From now on one forecast a week is saved and compared with your logbook "
            "as the days come."
        )
    if not count:
        return "The forecast days have not come yet, or nobody checked the beds then."
    if not scores.enough:
        return f"Too few to tell: {count}."
    assert scores.brier is not None
    assert scores.base_rate is not None
    assert scores.prior is not None
    base = _against(scores.brier, scores.base_rate)
    prior = _against(scores.brier, scores.prior)
    return (
        f"Over {count} statements the forecasts were {base} just saying how often it comes, and {prior} the "
        "same forecasts without your logbook."
    )


def _against(score: float, other: float) -> str:
    if abs(score - other) < LEVEL:
        return "about as good as"
    return "better than" if score < other else "worse than"


def _figures(scores: Scores) -> Table | None:
    if scores.brier is None or scores.partition is None:
        return None
    part = scores.partition
    rows = (
        ("as it was", f"{scores.brier:.3f}"),
        ("without your logbook", f"{scores.prior:.3f}"),
        ("always the share that came true", f"{scores.base_rate:.3f}"),
        ("how far chances lie from what came (0 is best)", f"{part.reliability:.3f}"),
        ("how well they part likely from unlikely (more is better)", f"{part.resolution:.3f}"),
        ("what nobody could have known", f"{part.uncertainty:.3f}"),
    )
    return Table("Mean squared error of the chances (Brier score): 0 is perfect", ("", "score"), rows)


def _statement_table(scores: Scores, names: dict[str, str], today: date) -> Table:
    rows = tuple(
        (
            words.day(s.made_on, today), names.get(s.patch, s.patch), words.day(s.by, today),
            words.chance(s.chance), "came" if s.came else "did not come",
        )
        for s in reversed(scores.statements)
    )[:200]  # fmt: skip
    return Table("All forecasts, the latest first", ("said on", "bed", "picking by", "chance", "it"), rows)


def how_good(request: Request) -> Response:
    """The page."""
    context = cast("AppContext", request.app.state.context)
    state = context.library.state()
    today = state.today
    with open_book(context.library.path) as book:
        kept = book.saved_outlooks()
    scores = score_outlooks(kept, state.garden, today=today)
    names = {patch.key: patch.name for patch in state.garden.patches}
    since = (
        f"{words.plural(scores.outlooks, 'outlook')}, {words.day_range(scores.first, scores.last, today)}."
        if scores.first and scores.last
        else ""
    )
    left_out = [
        f"{words.plural(count, one, many)}."
        for count, one, many in (
            (scores.waiting, "statement whose day is still to come", "statements whose day is still to come"),
            (
                scores.unwatched,
                "statement left out, because nobody looked at the bed then",
                "statements left out, because nobody looked at the bed then",
            ),
            (
                scores.unreadable,
                "record that this program cannot read",
                "records that this program cannot read",
            ),
        )
        if count
    ]
    return context.page(
        request, "year/how_good.html", state, verdict=_verdict(scores), since=since, left_out=left_out,
        reliability=[_reliability_words(row) for row in scores.reliability],
        coverage=[_coverage_words(row) for row in scores.coverage] if scores.outlooks else [],
        figures_table=_figures(scores) if scores.enough else None,
        statements=_statement_table(scores, names, today) if scores.statements else None, fewest=FEWEST,
        back=request.url.path, section="year",
    )  # fmt: skip
