"""The door Year: a year looked back on, printed, and what of its proposals goes into the plan.

The page works out nothing: the almanac's `review` does, and `year_view` finds the words.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.almanac.review import YearReview
from mulchwright.book import BookConflict, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, Patch, YearCost
from mulchwright.garden.logbook import free_key
from mulchwright.garden.year_cost import MOST_HOURS
from mulchwright.services.numbers import whole_number
from mulchwright.services.writes import change_garden, noun_fingerprint
from mulchwright.sheets.review import review_pdf
from mulchwright.web.forms.numbers import chart_width, revision_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.downloads import file_of, paper_of
from mulchwright.web.shared.phones import phone_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words
from mulchwright.web.views.chart_parts import Frame
from mulchwright.web.views.charts import year_chart
from mulchwright.web.views.palette import SCHEMES
from mulchwright.web.views.stores_wording import parse_money, plain_number
from mulchwright.web.year.year_sheet import sheet_of
from mulchwright.web.year.year_view import mass_unit, page_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


NARROWEST, WIDEST = 240, 1400


def _years(garden: Garden, today: date) -> list[int]:
    """The years that the book tells of, the latest first; this year always."""
    days = [entry.day for entry in garden.log]
    days += [patch.built_on for patch in garden.patches if patch.built_on is not None]
    return sorted({today.year, *(day.year for day in days if day <= today)}, reverse=True)


def _year(request: Request, garden: Garden, today: date) -> int:
    year = int(request.path_params.get("year", today.year))
    years = _years(garden, today)
    if year not in years:
        text = words.joined([str(one) for one in reversed(years)])
        raise HTTPException(404, f"Your garden book has nothing on the year {str(year)[:12]}. It has {text}.")
    return year


def _reviewed(context: AppContext, state: BookState, year: int) -> YearReview:
    outlook = context.progress(state, patience_s=0.0).shown
    return context.reviews.of(state, outlook, year)


def _currency(garden: Garden) -> str:
    return garden.offers[0].currency if garden.offers else "USD"


def this_year(request: Request) -> Response:
    """The year we are in, as far as it has come."""
    return _page(request)


def one_year(request: Request) -> Response:
    """One year."""
    return _page(request)


def _page(
    request: Request, *, status: int = 200, typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None, ticked: Iterable[str] | None = None, moved: str = "",
) -> Response:  # fmt: skip
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    year = _year(request, garden, today)
    year_review = _reviewed(context, state, year)
    page = page_of(year_review, garden, context.trade, today, _currency(garden))
    progress = context.progress(state, patience_s=0.0)
    return context.page(
        request, "year/year.html", state, status=status, section="year", page=page,
        years=_years(garden, today),
        revision=state.revision, errors=dict(errors or {}),
        typed=_cost_fields(garden.year_cost(year)) | dict(typed or {}),
        currency=_currency(garden), moved=moved, written=_written(request),
        step=whole_number(request.query_params.get("step", ""), least=1, most=10**9) or 0,
        undone=bool(request.query_params.get("undone")),
        ticked=set(ticked if ticked is not None else ()), back=f"/year/{year}",
        waiting=progress.under_way and progress.shown is None, share=progress.share,
    )  # fmt: skip


def _cost_fields(cost: YearCost | None) -> dict[str, str]:
    """The form's fields as the book has them, and the fingerprint of what they were filled from."""
    cents, hours = (cost.money_cents, cost.hours) if cost else (None, None)
    return {
        "money": "" if cents is None else f"{cents / 100:.2f}",
        "hours": "" if hours is None else f"{hours:g}",
        "before": noun_fingerprint(cost),
    }


def _written(request: Request) -> str:
    count = whole_number(request.query_params.get("written", ""), least=1, most=999)
    return "" if count is None else f"Done: {words.plural(count, 'proposal')} saved."


def chart(request: Request) -> Response:
    """The crop by month, for the width and color scheme asked for."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    year = _year(request, garden, today)
    scheme = request.query_params.get("scheme", "light")
    if scheme not in SCHEMES:
        raise HTTPException(404, "There is no such chart.")
    width = chart_width(request.query_params, NARROWEST, WIDEST)
    year_review = _reviewed(context, state, year)
    unit, scale, show = mass_unit(garden.units.value)
    frame = Frame(width, scheme, date(year, 1, 1), date(year, 12, 31), today)
    months = [
        (m.month, m.picked_kg * scale, None if m.crop_forecast is None else m.crop_forecast * scale)
        for m in year_review.months
    ]
    return JSONResponse(year_chart(frame, months, unit=unit, show=show))


def pdf(request: Request) -> Response:
    """The review as a file to print."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    year = _year(request, garden, today)
    year_review = _reviewed(context, state, year)
    page = page_of(year_review, garden, context.trade, today, _currency(garden))
    data = review_pdf(
        sheet_of(page, year_review, garden, today), paper=paper_of(request.query_params, garden)
    )  # fmt: skip
    return file_of(data, "application/pdf", f"year-{year}.pdf", inline=True)


@posted_form
def keep_sums(request: Request, typed: dict[str, str]) -> Response:
    """Keep the money and the hours of a year."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    year = _year(request, garden, state.today)
    errors: dict[str, str] = {}
    cents: int | None = None
    worked: float | None = None
    money, hours, before = (typed.get(name, "").strip() for name in ("money", "hours", "before"))
    try:
        cents = parse_money(money, "money") if money else None
    except InputError as error:
        errors["money"] = str(error)
    try:
        worked = plain_number(hours, "hours", "Your hours", 0.0, MOST_HOURS) if hours else None
    except InputError as error:
        errors["hours"] = str(error)
    mine = {"money": money[:40], "hours": hours[:40]}
    if errors:
        return _page(request, status=422, typed=mine | {"before": before} if before else mine, errors=errors)
    cost = None if cents is None and worked is None else YearCost(year, cents, worked)

    def noted(stored: Garden) -> Garden:
        if before and noun_fingerprint(stored.year_cost(year)) != before:
            raise BookConflict(
                f"The money and hours of {year} were changed in another window since this page was shown. "
                "Yours are in the form below; save again to use them."
            )
        others = tuple(one for one in stored.year_costs if one.year != year)
        return replace(stored, year_costs=others if cost is None else (*others, cost))

    try:
        change_garden(context.library.path, noted)
    except BookConflict as error:
        return _page(request, status=409, typed=mine, moved=str(error))
    return RedirectResponse(f"/year/{year}#cost", 303)


@posted_form
def write_plan(request: Request, typed: dict[str, str]) -> Response:
    """Write the ticked proposals into plan and logbook: all of them in one act, or none."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    year = _year(request, garden, today)
    year_review = _reviewed(context, state, year)
    wanted = [name.removeprefix("take.") for name in typed if name.startswith("take.")]
    open_now = {p.key: p for p in year_review.proposals if p.writes}
    if not wanted:
        return _page(
            request, status=422, errors={"take": "Check at least one proposal, then press the button."}
        )
    if set(wanted) - set(open_now):
        return _page(
            request, status=409, ticked=wanted,
            moved="The logbook or the plan changed since this page was shown, and one proposal you checked "
            "no longer applies. Look at what is proposed now and check again.",
        )  # fmt: skip
    taken = [proposal for key, proposal in open_now.items() if key in wanted]
    changed = [proposal.changed for proposal in taken if proposal.changed is not None]
    before, phone = revision_of(typed), phone_of(request)
    by = phone.name[:80] if phone else ""
    done = [replace(one.done, entered_at=state.now, by=by) for one in taken if one.done is not None]
    try:
        planned = _with(garden, changed, done)
    except InputError as error:
        return _page(request, status=422, ticked=wanted, errors={"take": str(error)})
    try:
        with open_book(context.library.path) as book:
            book.save_garden(
                planned,
                expected_revision=state.revision if before is None else before,
                what=f"{words.plural(len(taken), 'proposal')} of {year} saved",
            )
            step = book.undo_steps()[0].step
    except BookConflict as error:
        return _page(request, status=409, ticked=wanted, moved=str(error))
    return RedirectResponse(f"/year/{year}?written={len(taken)}&step={step}", 303)


def _with(garden: Garden, changed: Iterable[Patch], done: Iterable[LogEntry]) -> Garden:
    """The garden with these changes, bed by bed, and these lines in the logbook; a new bed is put at the end.

    Two proposals may change one bed in two ways. Where both change the same of it, `InputError`.
    """
    before = {patch.key: patch for patch in garden.patches}
    after: dict[str, Patch] = {}
    for patch in changed:
        first = before.get(patch.key)
        if first is None or patch.key not in after:
            after[patch.key] = patch
            continue
        held = after[patch.key]
        mine: dict[str, Any] = {
            part.name: value
            for part in fields(Patch)
            if (value := getattr(patch, part.name)) != getattr(first, part.name)
        }
        if any(getattr(held, name) not in (getattr(first, name), value) for name, value in mine.items()):
            raise InputError(f"Two checked proposals change the same part of {first.name}; check only one.")
        after[patch.key] = replace(held, **mine)
    patches = [after.pop(patch.key, patch) for patch in garden.patches]
    log = list(garden.log)
    for entry in done:
        log.append(replace(entry, key=free_key(entry.day, entry.kind, (other.key for other in log))))
    return replace(garden, patches=(*patches, *after.values()), log=tuple(log))
