"""The outlook in the background: worked out once per state of the book, in one thread of its own.

No page waits for the engine. A page asks for the outlook of what is in the book now; it gets the finished
one, or how far the calculation has come with the last finished one to show meanwhile, or why it cannot be
done. An outlook is a job like any other (`jobs`), in a lane of its own: the compiled engine spreads each run
over all cores by itself, and must not stand behind a siting map.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Protocol, cast

from mulchwright.garden import Garden, Patch
from mulchwright.services.jobs import JobQueue, Lane, fingerprint_of
from mulchwright.services.library import BookState

if TYPE_CHECKING:
    from collections.abc import Callable

    from mulchwright.almanac import Memory, Outlook, PatchOutlook
    from mulchwright.weather import DailySeries, Forecast


OUTLOOK = Lane(
    "outlook",
    results=4,
    failed="The outlook could not be worked out; the reason stands in the terminal. "
    "Your garden book was not touched.",
)
"""The lane of the engine."""


class Engine(Protocol):
    """What the shells ask of the almanac."""

    def outlook(
        self, garden: Garden, series: DailySeries | None, today: date, progress: Callable[[float], None],
        forecast: Forecast | None = None,
    ) -> Outlook:  # fmt: skip
        """The outlook of a whole garden."""

    def what_if(
        self, garden: Garden, series: DailySeries | None, changed: Patch, today: date,
        forecast: Forecast | None = None,
    ) -> tuple[PatchOutlook, PatchOutlook]:  # fmt: skip
        """One patch before and after a change."""


class AlmanacEngine:
    """The real engine, loaded when first asked so that the server answers before it is compiled.

    memory : what was learned before; by default one on the program's shelf.
    """

    def __init__(
        self, *, members: int | None = None, seed: int | None = None, memory: Memory | None = None
    ) -> None:
        self._members = members
        self._seed = seed
        self._memory = memory
        self.preparing = False
        """Whether it is being compiled, which happens once on a machine and takes its time."""

    @property
    def members(self) -> int | None:
        """How many futures each run takes; None for the almanac's own number."""
        return self._members

    @property
    def seed(self) -> int | None:
        """The seed of each run; None for the almanac's own."""
        return self._seed

    @property
    def memory(self) -> Memory:
        """What was learned from the logbook before, for others that try beds of the same garden."""
        return self._kept()

    def _settings(self) -> tuple[int, int]:
        from mulchwright.almanac import DEFAULT_MEMBERS, DEFAULT_SEED

        members = DEFAULT_MEMBERS if self._members is None else self._members
        return members, DEFAULT_SEED if self._seed is None else self._seed

    def _kept(self) -> Memory:
        """What was learned from the logbook before, so that an entry asks only for its own bed again."""
        from mulchwright.almanac import Memory
        from mulchwright.services.learning_cache import learning_cache

        if self._memory is None:
            self._memory = Memory(cache=learning_cache())
        return self._memory

    def outlook(
        self, garden: Garden, series: DailySeries | None, today: date, progress: Callable[[float], None],
        forecast: Forecast | None = None,
    ) -> Outlook:  # fmt: skip
        """The outlook of a whole garden."""
        from mulchwright.almanac import engine_ready, outlook, prepare_engine
        from mulchwright.services.light import garden_in_plan_light
        from mulchwright.trade import load_trade

        if not engine_ready():
            self.preparing = True
            try:
                prepare_engine(progress)
            finally:
                self.preparing = False
        members, seed = self._settings()
        garden_in_light, rest = garden_in_plan_light(garden, series, progress)
        return outlook(
            garden_in_light, series, load_trade(), today=today, members=members, seed=seed, progress=rest,
            forecast=forecast, memory=self._kept(),
        )  # fmt: skip

    def what_if(
        self, garden: Garden, series: DailySeries | None, changed: Patch, today: date,
        forecast: Forecast | None = None,
    ) -> tuple[PatchOutlook, PatchOutlook]:  # fmt: skip
        """One patch before and after a change."""
        from mulchwright.almanac import RunSettings, what_if
        from mulchwright.services.light import garden_in_plan_light
        from mulchwright.trade import load_trade

        members, seed = self._settings()
        garden_in_light, _ = garden_in_plan_light(garden, series)
        stored, now = garden.patch(changed.key), garden_in_light.patch(changed.key)
        if changed.light_share == stored.light_share:
            # Left as it was: then it is the plan's. A shade that was typed is what is being tried.
            changed = replace(changed, light_share=now.light_share, rain_share=now.rain_share)
        return what_if(
            garden_in_light, series, load_trade(), changed, today=today,
            settings=RunSettings(members, seed, forecast, self._kept()),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FinishedOutlook:
    """A finished outlook, the mark of the book it is of, its day, and when it was ready (with time zone)."""

    outlook: Outlook
    fingerprint: str
    today: date
    ready_at: datetime


@dataclass(frozen=True, slots=True)
class Progress:
    """How a calculation stands: finished (`outlook`), refused (`trouble`), or under way at `share`.

    last : the last finished outlook, of this state of the book or of an earlier one.
    """

    share: float
    outlook: Outlook | None = None
    trouble: str = ""
    last: FinishedOutlook | None = None

    @property
    def under_way(self) -> bool:
        """Whether it is worth asking again."""
        return self.outlook is None and not self.trouble

    @property
    def shown(self) -> Outlook | None:
        """What a page shows: the outlook, or the last one until it is there."""
        return self.outlook or (self.last.outlook if self.last and not self.trouble else None)

    def shown_of(self, patch: Patch) -> Outlook | None:
        """What a bed's page shows; an earlier outlook only where it is of the bed as it stands."""
        shown = self.shown
        if shown is None or shown is self.outlook:
            return shown
        kept = next((item.patch for item in shown.patches if item.patch.key == patch.key), None)
        same = kept is not None and (kept.recipe, kept.built_on) == (patch.recipe, patch.built_on)
        return shown if same else None


class OutlookService:
    """Outlooks of the book, as jobs of the engine's own lane; the last few are held.

    While a new one is worked out the last finished one stands in for it, so that no page goes blank when a
    watering is noted. What waits in the lane and is out of date by then is never begun. `finished` is told
    each new outlook, in that thread.
    """

    def __init__(
        self, engine: Engine, jobs: JobQueue, *, finished: Callable[[Outlook], None] | None = None
    ) -> None:
        self._engine = engine
        self._jobs = jobs
        self._finished = finished
        self._last: FinishedOutlook | None = None

    def outlook(self, state: BookState, today: date, *, patience_s: float = 0.0) -> Progress:
        """How the outlook of this state stands, waiting at most so long for it to end."""
        key = fingerprint_of("outlook", state.fingerprint, today)
        if self._jobs.known(key) is None:
            self._jobs.forget_waiting(OUTLOOK)

        def work(report: Callable[[float], None]) -> FinishedOutlook:
            result = self._engine.outlook(state.garden, state.series, today, report, state.forecast)
            self._last = FinishedOutlook(result, state.fingerprint, today, datetime.now(UTC))
            if self._finished is not None:
                self._finished(result)
            return self._last

        job = self._jobs.ask(key, work, lane=OUTLOOK, patience_s=patience_s)
        done = cast("FinishedOutlook | None", job.result)
        return Progress(job.share, done.outlook if done else None, job.trouble, done if done else self._last)

    def what_if(self, state: BookState, changed: Patch, today: date) -> tuple[PatchOutlook, PatchOutlook]:
        """Before and after, computed in the engine's lane; waits for it."""
        both: tuple[PatchOutlook, PatchOutlook] = self._jobs.in_turn(
            lambda: self._engine.what_if(state.garden, state.series, changed, today, state.forecast),
            lane=OUTLOOK,
        )
        return both
