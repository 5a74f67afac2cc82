"""What the commands share: where results and messages go, and what a book holds."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.units import write_days_for

if TYPE_CHECKING:
    from mulchwright.almanac import RunSettings
    from mulchwright.garden import Garden
    from mulchwright.weather import DailySeries, Forecast


def say(text: str) -> None:
    """A message for whoever sits at the keyboard."""
    print(text, file=sys.stderr, flush=True)


def print_json(result: object) -> None:
    """The result and nothing else on standard output; a figure that is no number is refused, not printed."""
    sys.stdout.write(json.dumps(result, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    sys.stdout.flush()


def ready_engine() -> None:
    """Compile the engine if that was not done before, with a bar or a line on standard error."""
    from mulchwright.almanac import SECONDS_TO_PREPARE, engine_ready, prepare_engine

    if engine_ready():
        return
    if not sys.stderr.isatty():
        say(f"Preparing the engine (once on this machine, about {SECONDS_TO_PREPARE} seconds)")
    with _bar("Preparing the engine (once on this machine)") as progress:
        prepare_engine(progress)


@contextmanager
def progress_bar(label: str) -> Iterator[Callable[[float], None]]:
    """A bar for what runs the engine, which is readied first. It takes the share done, 0 to 1."""
    ready_engine()
    with _bar(label) as progress:
        yield progress


@contextmanager
def _bar(label: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error that takes the share done, 0 to 1; silent where nobody watches."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
    with bar:
        task = bar.add_task(label, total=1.0)
        yield lambda share: bar.update(task, completed=share)


def read_book(book: Path) -> tuple[Garden, DailySeries | None]:
    """What a book holds, without ever writing to it."""
    from mulchwright.book import open_book

    with open_book(book, read_only=True) as opened:
        garden, series = opened.garden(), opened.series()
    write_days_for(garden.units.value)
    return garden, series


def forecast_in(book: Path) -> Forecast | None:
    """The forecast a book holds and how far it may miss, without ever writing to it."""
    from mulchwright.book import open_book
    from mulchwright.services import forecast_log

    with open_book(book, read_only=True) as opened:
        return forecast_log.forecast_in(opened, opened.garden(), opened.series())


def run_settings_in(book: Path, members: int | None) -> RunSettings:
    """How beds of a book are tried: so many futures, the book's forecast, what was learned before."""
    from mulchwright.almanac import DEFAULT_MEMBERS, Memory, RunSettings
    from mulchwright.services.learning_cache import learning_cache

    return RunSettings(
        members or DEFAULT_MEMBERS, forecast=forecast_in(book), memory=Memory(cache=learning_cache())
    )


def in_plan_light(garden: Garden, series: DailySeries | None) -> Garden:
    """The garden with its drawn beds lit by the plan, by the same few lines as on the screens."""
    if not any(patch.outline for patch in garden.patches):
        return garden
    from mulchwright.services.light import garden_in_plan_light

    return garden_in_plan_light(garden, series)[0]
