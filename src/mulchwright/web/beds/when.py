"""When to build a bed: the curve over build weeks, the steps back from a day, and the same as a calendar."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.almanac.build_weeks import BuildWeek
from mulchwright.almanac.building import BuildWindow, PatchSchedule, WhenToBuild, schedule_of, when_to_build
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.gather.schedule import Step
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.writes import change_garden, noun_fingerprint
from mulchwright.trade import Trade
from mulchwright.units import in_units, show_mass, show_volume
from mulchwright.web.forms.fields import read_day
from mulchwright.web.forms.numbers import chart_width
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import bed_in_address
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.stores.frame import store_page
from mulchwright.web.views import headlines as answers
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
    key = fingerprint_of("build weeks", state.fingerprint, bare, garden.patch(patch.key).light_share, today)
    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> WhenToBuild:
        return when_to_build(
            garden_in_plan_light(garden, state.series)[0], state.series, trade, patch.key, today=today,
            weeks=WEEKS, progress=report, settings=settings,
        )  # fmt: skip

    return context.jobs.ask(key, work, patience_s=PATIENCE_S)


def curve_table(build_weeks: WhenToBuild, today: date, system: str) -> Table:
    """The curve as figures."""
    rows = tuple(
        (
            words.day(week.built_on, today),
            words.chance(week.crop.chance),
            words.day(week.picking.likely, today) if week.picking.likely else "none",
            answers.crop_range(week.crop, system),
            show_volume(week.first_year_litres.p50, system),
        )
        for week in build_weeks.weeks
    )
    return Table(
        "Build weeks, each with the same weathers and the same luck",
        ("built", "a crop in its first year", "first picking, likely", "crop in its first year",
         "water in its first year"),
        rows,
    )  # fmt: skip


def _about(week: BuildWeek, today: date, system: str) -> str:
    """What a bed built in a week brings, as the rest of a sentence."""
    crop, likely = week.crop, week.picking.likely
    none = 1 - crop.chance
    chance = f"no harvest: {words.chance(none)}"
    if crop.likely_kg <= 0:
        comes = f"; if one comes, about {words.day(likely, today)}" if likely else ""
        return f"more likely nothing than a crop in its first year ({chance}){comes}."
    picked = f", first picking about {words.day(likely, today)}" if likely else ""
    tail = f"; {chance}" if none > words.RARE else ""
    return f"about {show_mass(crop.likely_kg, system)} in its first year{picked}{tail}."


def _stretch(window: BuildWindow, today: date) -> str:
    last = words.day(window.last, today)
    return (
        f"in the week of {last}"
        if window.first == window.last
        else f"in any week from {words.day_range(window.first, window.last, today)}"
    )


def answer_of(build_weeks: WhenToBuild, today: date, system: str) -> Headline:
    """When to build, in a sentence: a flat curve is told as flat."""
    weeks, best = build_weeks.weeks, build_weeks.best
    if build_weeks.none_bears:
        return Headline(
            "None of the ", f"{len(weeks)} weeks", " ahead brings a crop in the bed's first year."
        )
    about = _about(best, today, system)
    if build_weeks.even:
        return Headline(
            f"Any of the {len(weeks)} weeks ahead is ", "about equal",
            f". Built {words.day(best.built_on, today)}: {about}",
        )  # fmt: skip
    here = next((one for one in build_weeks.windows if one.first <= best.built_on <= one.last), None)
    if here is None or here.first == here.last:
        return Headline("Build in the week of ", words.day(best.built_on, today), f": {about}")
    return Headline(
        "Any week from ", words.day_range(here.first, here.last, today),
        f" is about equal. Built {words.day(best.built_on, today)}: {about}",
    )  # fmt: skip


def window_lines(build_weeks: WhenToBuild, today: date, system: str) -> tuple[Headline, ...]:
    """The other stretches of weeks that are as good, and a word where they lie outside the usual seasons."""
    if build_weeks.none_bears or build_weeks.even:
        return ()
    best = build_weeks.best.built_on
    lines = [
        Headline(
            "As good: build ", _stretch(window, today), f". {_capital(_about(window.best, today, system))}"
        )
        for window in build_weeks.windows
        if not window.first <= best <= window.last
    ]
    if not any(window.season for window in build_weeks.windows):
        lines.append(
            Headline(
                "The best weeks are ", "outside the usual building seasons",
                ": look at frost, heat and water before you choose one.",
            )
        )  # fmt: skip
    return tuple(lines)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


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
                "answer": answer_of(build_weeks, today, system),
                "windows": window_lines(build_weeks, today, system),
                "curve": curve_table(build_weeks, today, system),
            }
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
            f"{words.day(on, today)} won't work as things are. The nearest day is ",
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
