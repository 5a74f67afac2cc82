"""What a book would like to call or read for its weather, as a question, and the answers to it.

Pages and commands show a `Wish` whole before it can be allowed. An answer names by `shown` which one was
read: if the book was changed meanwhile, it counts for nothing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.services import weather_feed, weather_folder
from mulchwright.services.consent import Answer, ConsentStore, Subject, fingerprint

if TYPE_CHECKING:
    from mulchwright.book import Book
    from mulchwright.garden import Garden
    from mulchwright.weather import DailySeries


@dataclass(frozen=True, slots=True)
class Wish:
    """What a book would like to do on this machine, and what was answered here.

    wanted : the book has it switched on. shown : fingerprint of all that an answer is bound to. hosts,
    addresses, reveals, coordinates : whom a fetch would ask, the whole addresses, what they tell, and the
    coordinates in them, "" where there are none. folder : what would be read.
    """

    subject: Subject
    answer: Answer
    wanted: bool
    shown: str
    hosts: str = ""
    addresses: tuple[str, ...] = ()
    reveals: str = ""
    coordinates: str = ""
    folder: str = ""

    @property
    def allowed(self) -> bool:
        """Whether it is done: the book has it switched on and this machine allows it."""
        return self.wanted and self.answer is Answer.ALLOWED

    @property
    def question(self) -> bool:
        """Whether the grower has still to answer."""
        return self.wanted and self.answer is Answer.OPEN


def wishes(path: Path, garden: Garden, series: DailySeries | None, today: date) -> dict[str, Wish]:
    """The book's wishes by subject, "fetch" and "folder"; one that it does not name is not there.

    A fetch that is off but has an address is there too, so that it can be shown before it is turned on.
    """
    store, found = ConsentStore(), {}
    with open_book(path) as book:
        source, folder = weather_feed.source_in(book), weather_folder.folder_in(book)
        if source.named:
            terms = weather_feed.fetch_terms(source, garden.place)
            first, last = weather_feed.days_to_ask(garden, series, today)
            found[Subject.FETCH.value] = Wish(
                Subject.FETCH,
                store.answer(book, Subject.FETCH, terms),
                source.on,
                fingerprint(terms),
                hosts=" and ".join(weather_feed.hosts_of(source)),
                addresses=weather_feed.asked_address(source, garden, first, last),
                reveals=weather_feed.what_is_sent(source),
                coordinates=", ".join(
                    filter(
                        None,
                        (
                            terms["latitude"] or terms.get("service_latitude", ""),
                            terms["longitude"] or terms.get("service_longitude", ""),
                        ),
                    )
                ),
            )
        if folder:
            terms = weather_folder.folder_terms(folder)
            found[Subject.FOLDER.value] = Wish(
                Subject.FOLDER, store.answer(book, Subject.FOLDER, terms), True, fingerprint(terms),
                folder=folder,
            )  # fmt: skip
    return found


def open_questions(wished: Mapping[str, Wish]) -> tuple[Wish, ...]:
    """Those of a book's wishes that were not answered on this machine."""
    return tuple(wish for wish in wished.values() if wish.question)


def answer_wish(path: Path, subject: Subject, shown: str, *, allow: bool) -> None:
    """Allow or decline what was shown; to allow a fetch is also to switch it on in the book.

    `InputError` where the book has another wish now than the one that was shown.
    """
    with open_book(path) as book:
        if subject is Subject.FETCH:
            source = weather_feed.source_in(book)
            terms = weather_feed.fetch_terms(source, book.garden().place)
        else:
            terms = weather_folder.folder_terms(weather_folder.folder_in(book))
        if not shown or shown != fingerprint(terms):
            raise InputError(
                "The garden book does not ask for what you were shown any more, so nothing was allowed. "
                "Load the Weather page again, read what it asks for now, and answer that."
            )
        if subject is Subject.FETCH and allow:
            _switch_on(book, source)
        else:
            ConsentStore().save(book, subject, terms, Answer.ALLOWED if allow else Answer.DECLINED)


def switch_on(path: Path, source: weather_feed.Source) -> None:
    """Switch this feed on in the book and allow it on this machine; `InputError` as for `save_source`."""
    with open_book(path) as book:
        _switch_on(book, source)


def _switch_on(book: Book, source: weather_feed.Source) -> None:
    on = weather_feed.checked_source(replace(source, on=True))
    terms = weather_feed.fetch_terms(on, book.garden().place)
    settings = {weather_feed.SOURCE: json.dumps(asdict(on))}
    ConsentStore().save(book, Subject.FETCH, terms, Answer.ALLOWED, settings=settings)


def watch_folder(path: Path, folder: str) -> None:
    """Watch this folder for the book and allow it on this machine; an empty text watches none."""
    with open_book(path) as book:
        store, settings = ConsentStore(), {weather_folder.FOLDER: folder or None}
        if folder:
            store.save(
                book, Subject.FOLDER, weather_folder.folder_terms(folder), Answer.ALLOWED, settings=settings
            )
        else:
            store.withdraw(book, Subject.FOLDER, settings=settings)
