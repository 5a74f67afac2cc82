"""When to build a bed: the curve over build weeks, the steps back from a day, and the same as a calendar."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.almanac import Quantiles
from mulchwright.almanac.building import PatchSchedule, WhenToBuild, schedule_of, when_to_build
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.gather.schedule import Step
from mulchwright.services.fingerprints import climate_fingerprint
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light_if_cached
from mulchwright.services.writes import change_garden, noun_fingerprint
from mulchwright.trade import Trade
from mulchwright.units import in_units, show_mass, show_volume
from mulchwright.web.forms.fields import read_day
from mulchwright.web.forms.numbers import chart_width
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import bed_in_address
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.stores.frame import store_page
from mulchwright.web.views import wording as words
from mulchwright.web.views.build_week_chart import build_week_chart, week_frame
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.palette import SCHEMES
from mulchwright.web.views.species import species_named
from mulchwright.web.views.steps import STEP_WORDS, step_words
from mulchwright.web.views.stores_wording import CautionWords, caution_words
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


PATIENCE_S = 0.4


WEEKS = 40


NARROWEST, WIDEST = 240, 1400


def _job(context: AppContext, state: BookState, patch: Patch) -> Job:
    garden, trade, today = state.garden, context.trade, state.today
    bare = replace(patch, built_on=None)
    key = fingerprint_of(
        "build weeks", climate_fingerprint(state), bare, garden.patch(patch.key).light_share, today
    )
    members: dict[str, Any] = {} if context.members is None else {"members": context.members}

    def work(report: Callable[[float], None]) -> WhenToBuild:
        return when_to_build(
            garden_in_plan_light_if_cached(state).garden, state.series, trade, patch.key, today=today,
            weeks=WEEKS, progress=report, **members,
        )  # fmt: skip

    return context.jobs.ask(key, work, patience_s=PATIENCE_S)


def curve_table(build_weeks: WhenToBuild, today: date, system: str) -> Table:
    """The curve as figures."""
    rows = tuple(
        (
            words.day(week.built_on, today),
            words.chance(week.chance_this_year),
            words.chance(1 - week.none_in_first_year),
            words.day(week.first_picking, today) if week.first_picking else "not in half of them",
            _quantiles(week.first_year_kg, system),
            show_volume(week.first_year_litres.p50, system),
        )
        for week in build_weeks.weeks
    )
    return Table(
        "Build weeks, each run through the same weathers with the same luck",
        ("built", "a crop in that year", "a crop in 12 months", "first picking, middle",
         "crop in 12 months, mean", "water in 12 months"),
        rows,
    )  # fmt: skip


def _quantiles(quantiles: Quantiles, system: str) -> str:
    low, mean, high = (_mass(kg, system) for kg in (quantiles.p10, quantiles.mean, quantiles.p90))
    return f"{mean} ({low} to {high})"


def _mass(kg: float, system: str) -> str:
    return show_mass(kg, system) if kg >= 0.0005 else "nothing"


def window_lines(build_weeks: WhenToBuild, today: date, system: str) -> tuple[Headline, ...]:
    """The spring and autumn windows in words."""
    lines = []
    for window in build_weeks.windows:
        best = window.best
        season = window.season.capitalize()
        if best.first_year_kg.mean <= 0:
            lines.append(Headline(f"{season}: ", "no week brings anything", " in its first 12 months."))
            continue
        lines.append(
            Headline(
                f"{season}: build ",
                words.day_range(window.first, window.last, today),
                f"; built {words.day(best.built_on, today)}, a crop within 12 months comes "
                f"{words.chance(1 - best.none_in_first_year)}, "
                f"{show_mass(best.first_year_kg.mean, system)} on average.",
            )
        )
    return tuple(lines)


def chart(request: Request) -> Response:
    """The curve's spec for a width and a color scheme."""
    context = context_of(request)
    state = context.library.state()
    patch = bed_in_address(request, state.garden)
    scheme = request.query_params.get("scheme", "light")
    width = chart_width(request.query_params, NARROWEST, WIDEST)
    if scheme not in SCHEMES:
        raise HTTPException(400, "A chart is light or dark.")
    job = _job(context, state, patch) if patch.stage is Stage.PLANNED else None
    if job is None or not isinstance(job.result, WhenToBuild):
        raise HTTPException(404, "There is no curve for this bed yet.")
    build_weeks = job.result
    return JSONResponse(
        build_week_chart(
            week_frame(build_weeks, width, scheme, state.today), build_weeks, state.garden.units.value
        )
    )


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step as a page tells it."""

    name: str
    when: str
    words: str
    late: bool
    cautions: tuple[CautionWords, ...]


def _step(step: Step, trade: Trade, system: str, today: date) -> StepWords:
    return StepWords(
        STEP_WORDS[step.kind],
        words.day_range(step.first, step.last, today),
        step_words(step, trade, system),
        step.late,
        caution_words(step.cautions, trade, system),
    )


def _schedule(
    context: AppContext, state: BookState, patch: Patch, on: date
) -> tuple[PatchSchedule | None, str]:
    garden, today = state.garden, state.today
    try:
        return (
            schedule_of(garden, context.trade, patch.key, today=today, build_on=on, series=state.series),
            "",
        )
    except InputError as error:
        return None, in_units(str(error), garden.units.value)


def _asked_day(text: str, patch: Patch, today: date) -> tuple[date | None, str]:
    """The day asked for, else the bed's own if it is to come; and a message where it cannot be."""
    own = patch.built_on if patch.built_on is not None and patch.built_on >= today else None
    if not text.strip():
        return own, ""
    try:
        return read_day(text.strip(), "on", today, past=False), ""
    except InputError as error:
        return own, str(error)


def page(request: Request) -> Response:
    """The curve, the windows, and the steps back from a day."""
    context = context_of(request)
    state = context.library.state()
    return _page(request, context, state, request.query_params.get("on", ""))


def _page(
    request: Request, context: AppContext, state: BookState, typed: str, *, status: int = 200, clash: str = ""
) -> Response:
    garden, today, system = state.garden, state.today, state.garden.units.value
    patch = bed_in_address(request, garden)
    on, fault = _asked_day(typed, patch, today)
    values: dict[str, Any] = {
        "bed": patch, "section": "beds", "waiting": False, "share": 0.0, "trouble": "", "answer": None,
        "windows": (), "curve": None, "fault": fault, "typed": typed or (on.isoformat() if on else ""),
        "on": on, "schedule": None, "clash": clash, "is_own": on == patch.built_on, "steps": (),
        "before": noun_fingerprint(patch), "planned": patch.stage is Stage.PLANNED,
        "feed": f"{request.url.scheme}://{request.headers.get('host', '')}/beds/{patch.key}/calendar.ics",
        "built_on": words.day(patch.built_on, today) if patch.built_on else "",
    }  # fmt: skip
    if patch.stage is Stage.PLANNED:
        job = _job(context, state, patch)
        if job.under_way:
            values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
        elif job.trouble:
            values["trouble"] = in_units(job.trouble, system)
        else:
            build_weeks = cast("WhenToBuild", job.result)
            best = build_weeks.best
            values |= {
                "answer": Headline(
                    "Built ", words.day(best.built_on, today),
                    f" it does best: {show_mass(best.first_year_kg.mean, system)} on average in 12 months."
                ) if best.first_year_kg.mean > 0
                else Headline(
                    "None of the ", f"{len(build_weeks.weeks)} weeks", " ahead brings a crop in a year."
                ),
                "windows": window_lines(build_weeks, today, system),
                "curve": curve_table(build_weeks, today, system),
            }  # fmt: skip
            if on is None and not typed:
                on = best.built_on
                values |= {"on": on, "typed": on.isoformat(), "is_own": False}
        if on is not None:
            values |= _schedule_values(context, state, patch, on)
    if fault:
        status = 422
    return store_page(request, "beds/when.html", state, status=status, **values)


def _schedule_values(context: AppContext, state: BookState, patch: Patch, on: date) -> dict[str, Any]:
    today, system, trade = state.today, state.garden.units.value, context.trade
    found, trouble = _schedule(context, state, patch, on)
    if found is None:
        return {"schedule_trouble": trouble}
    schedule = found.schedule
    if schedule.feasible:
        first = min(schedule.steps, key=lambda step: step.last)
        answer = Headline(
            f"{words.day(on, today)} can be kept. First: {STEP_WORDS[first.kind].lower()}, by ",
            words.day(first.last, today), ".",
        )  # fmt: skip
    else:
        answer = Headline(
            f"{words.day(on, today)} cannot be kept as things stand. The nearest day is ",
            words.day(schedule.earliest_build, today), ".",
        )  # fmt: skip
    return {
        "schedule": answer,
        "day_words": words.day(on, today),
        "problems": [in_units(species_named(text, trade), system) for text in schedule.problems],
        "earliest": (schedule.earliest_build.isoformat(), words.day(schedule.earliest_build, today))
        if not schedule.feasible
        else None,
        "remedies": [
            (in_units(one.words, system), one.build_on.isoformat(), words.day(one.build_on, today))
            for one in schedule.remedies
        ],
        "steps": [_step(step, trade, system, today) for step in schedule.steps],
        "notes": [
            *(in_units(note, system) for note in found.notes),
            *(in_units(text, system) for text in (schedule.soak.words if schedule.soak else ())),
        ],
    }


@posted_form
def choose(request: Request, typed: Mapping[str, str]) -> Response:
    """Make the chosen day the bed's build day."""
    context = context_of(request)
    state = context.library.state()
    patch, today = bed_in_address(request, state.garden), state.today
    on, fault = _asked_day(typed.get("on", ""), patch, today)
    if fault or on is None:
        return _page(request, context, state, typed.get("on", "") or "no day", status=422)
    before = typed.get("before", "")

    def change(garden: Garden) -> Garden:
        now = garden.patch(patch.key)
        if now.stage is not Stage.PLANNED:
            raise InputError(f"“{now.name}” is built by now, so its day is a record and stays as it is.")
        if before and noun_fingerprint(now) != before:
            raise _MovedError
        return replace(
            garden,
            patches=tuple(replace(p, built_on=on) if p.key == patch.key else p for p in garden.patches),
        )

    try:
        change_garden(context.library.path, change)
    except _MovedError:
        state = context.library.state()
        return _page(
            request, context, state, on.isoformat(), status=409,
            clash="This bed was changed in another window since this page was shown. Nothing was written; "
            "look at it once more, then choose the day again.",
        )  # fmt: skip
    return RedirectResponse(f"/beds/{patch.key}/when", 303)


class _MovedError(Exception):
    """Another window changed the bed."""
