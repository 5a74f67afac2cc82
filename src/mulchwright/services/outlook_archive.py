"""One outlook a week is stored in the book, to be scored against what came."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from mulchwright.almanac.scores import to_keep
from mulchwright.book import open_book
from mulchwright.errors import MulchwrightError

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook
    from mulchwright.services.library import Library


_LOG = logging.getLogger("mulchwright.web")


def keep_weekly(library: Library, outlook: Outlook) -> None:
    """Keep this outlook in the book if the last one kept is a week old; a fault is logged and harms no page.

    Called when a calculation has finished, in the thread that worked out it.
    """
    try:
        with open_book(library.path) as book:
            kept = to_keep(outlook, book.saved_outlooks())
            if kept is not None:
                book.keep_outlook(kept)
    except MulchwrightError as error:
        _LOG.warning("The outlook could not be kept: %s", error)
