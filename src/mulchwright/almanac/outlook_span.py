"""The days that an outlook is computed for and those of them that it reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mulchwright.almanac.outlook_ranges import FIRST_YEAR_DAYS
from mulchwright.errors import InputError

__all__ = ["LONGEST_RUN_DAYS", "RunSpan", "run_span"]

LONGEST_RUN_DAYS = 8 * 366


@dataclass(frozen=True, slots=True)
class RunSpan:
    """The days of a run, from `start`; those from `first` to before `after` are reported."""

    start: date
    days: int
    first: int
    after: int


def run_span(built: Sequence[date], *, today: date, start: date | None, days: int | None) -> RunSpan:
    """The days to run and to report for patches built on these days; see `outlook` for `start` and `days`.

    Raises `InputError` for a span that is empty, too long, beyond the calendar, or before the first patch.
    """
    if days is not None and days < 1:
        raise InputError(f"{days} days were asked for; at least 1 is needed.", field="days")
    run_start = min(built)
    report_start = start or run_start
    longest = timedelta(days=FIRST_YEAR_DAYS)
    # What the calendar has no days for is surely longer than a run, too.
    most = LONGEST_RUN_DAYS + FIRST_YEAR_DAYS
    if (date.max - max(today, report_start, *built)).days < most or (days or 0) > LONGEST_RUN_DAYS:
        asked = "" if days is None else f" and {str(days)[:40]} days"
        raise InputError(
            f"The run would begin on {min(run_start, report_start)}, to report from {report_start}{asked}; "
            f"the most are {LONGEST_RUN_DAYS} days within the calendar. Ask for fewer, or begin elsewhere.",
            field="days",
        )
    report_end = (
        report_start + timedelta(days=days - 1) if days is not None else max(today, max(built)) + longest
    )
    if report_end < report_start:
        raise InputError(
            f"The days asked for begin on {report_start}, after the outlook's last day, {report_end}. Begin "
            "earlier, or say how many days.",
            field="from",
        )
    if report_end < run_start:
        raise InputError(
            f"The days asked for end on {report_end}, before the first patch is built on {run_start}.",
            field="from",
        )
    run_start = min(run_start, report_start)
    run_end = max(report_end, max(built) + longest)
    run_days = (run_end - run_start).days + 1
    if run_days > LONGEST_RUN_DAYS:
        raise InputError(
            f"The run would span {run_days} days, from {run_start} to {run_end}; the most are "
            f"{LONGEST_RUN_DAYS}. "
            "Retire old patches, or ask for fewer days.",
            field="days",
        )
    return RunSpan(run_start, run_days, (report_start - run_start).days, (report_end - run_start).days + 1)
