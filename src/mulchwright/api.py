"""The public face for other Python programs: a book, its garden, an outlook.

All of it is imported from `mulchwright` itself, which loads a part when it is first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from mulchwright.almanac import DEFAULT_MEMBERS, DEFAULT_SEED, Memory, Outlook
from mulchwright.almanac import outlook as _outlook_of_garden
from mulchwright.book import Book, create_book, open_book
from mulchwright.book.demo import demo_garden
from mulchwright.errors import BookError, InputError, MulchwrightError
from mulchwright.garden import Garden
from mulchwright.services.clock import today_in
from mulchwright.services.learning_cache import learning_cache
from mulchwright.services.light import garden_in_plan_light
from mulchwright.trade import load_trade

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

__all__ = [
    "Book",
    "BookError",
    "Garden",
    "InputError",
    "MulchwrightError",
    "Outlook",
    "create_book",
    "demo_garden",
    "open_book",
    "outlook",
]


def outlook(
    book: Book,
    *,
    today: date | None = None,
    members: int = DEFAULT_MEMBERS,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
) -> Outlook:
    """The outlook of every bed in a book that has a build day and is not retired.

    The same figures as on the pages and from `mulchwright outlook`: with the book's weather record and
    forecast, its logbook, and the light of its plan. The first call on a machine compiles the engine, which
    may take some minutes; light maps and what was learned are kept in the user's cache.

    Parameters
    ----------
    today : the day to look ahead from; by default the day the garden stands at, else its own today.
    members : how many possible weathers to run.
    seed : the same seed gives the same outlook.
    progress : is handed the share done, 0 to 1.

    Raises
    ------
    InputError
        No bed to tell of, no weather to go by, too few or too many members, or a seed out of range.
    BookError
        The book cannot be read.
    """
    contents = book.contents()
    lit, rest = garden_in_plan_light(contents.garden, contents.series, progress)
    return _outlook_of_garden(
        lit,
        contents.series,
        load_trade(),
        today=today or today_in(contents.garden),
        members=members,
        seed=seed,
        progress=rest,
        forecast=contents.forecast,
        memory=Memory(cache=learning_cache()),
    )
