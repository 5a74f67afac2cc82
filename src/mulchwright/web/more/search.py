"""Search over beds, supplies, jars, the logbook, the pages and the trade's words."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.garden import Stage
from mulchwright.sheets.portrait import material_name, spawn_name, species_name
from mulchwright.web.more.help_words import HELP_WORDS
from mulchwright.web.more.more import GROUPS
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.sections import SECTIONS
from mulchwright.web.views import wording as words
from mulchwright.web.views.logbook_wording import log_words, newest_first

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.trade import Trade

LONGEST = 100
"""Letters of what is searched for; more is cut."""
MOST_SHOWN = 20
"""Finds of a kind on the page; more are only counted."""


@dataclass(frozen=True, slots=True)
class Find:
    """One find: what it is called, where it is ("" for a word without a page), and a line about it."""

    name: str
    link: str
    about: str


@dataclass(frozen=True, slots=True)
class Finds:
    """The finds of one kind, the first `MOST_SHOWN` of `count`."""

    key: str
    heading: str
    shown: tuple[Find, ...]
    count: int


def page(request: Request) -> Response:
    """The field, and what was found for the words in it."""
    context = context_of(request)
    state = context.library.state()
    asked = " ".join(request.query_params.get("q", "").split())[:LONGEST]
    groups = search(state, context.trade, asked) if asked else ()
    return context.page(
        request, "more/search.html", state, asked=asked, groups=groups,
        total=sum(group.count for group in groups),
    )  # fmt: skip


def search(state: BookState, trade: Trade, asked: str) -> tuple[Finds, ...]:
    """All that holds every word asked for, by kind; kinds without a find are left out."""
    wanted = _plain(asked).split()
    groups = (
        ("beds", "Beds", _beds(state, trade)),
        ("supplies", "Supplies and jars", _supplies(state, trade)),
        ("logbook", "Logbook", _logbook(state, trade)),
        ("pages", "Pages", _pages()),
        ("words", "Words", (Find(name, "", meaning) for name, meaning in HELP_WORDS.items())),
    )
    found = []
    for key, heading, finds in groups:
        fitting = [one for one in finds if _holds(one, wanted)]
        if fitting:
            found.append(Finds(key, heading, tuple(fitting[:MOST_SHOWN]), len(fitting)))
    return tuple(found)


def _plain(text: str) -> str:
    """Small letters without accents, so that a phone's keyboard finds "Müller" by "muller"."""
    parted = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in parted if not unicodedata.combining(sign))


def _holds(find: Find, wanted: list[str]) -> bool:
    text = _plain(f"{find.name} {find.about}")
    return all(word in text for word in wanted)


def _beds(state: BookState, trade: Trade) -> Iterable[Find]:
    for patch in state.garden.patches:
        day = f" {words.day(patch.built_on, state.today)}" if patch.built_on else ""
        stage = "planned for" if day and patch.stage is Stage.PLANNED else patch.stage.value
        about = f"{species_name(patch.species, trade)}, {stage}{day}"
        yield Find(patch.name, f"/beds/{patch.key}", about)


def _supplies(state: BookState, trade: Trade) -> Iterable[Find]:
    for lot in state.garden.lots:
        named = material_name if lot.material in trade.materials else spawn_name
        yield Find(lot.name, f"/stores/lots/{lot.key}", named(lot.material, trade))
    for jar in state.garden.jars:
        yield Find(
            jar.name, f"/stores/pantry/{jar.key}", f"{species_name(jar.species, trade)}, {jar.kind.value}"
        )


def _logbook(state: BookState, trade: Trade) -> Iterable[Find]:
    garden, system = state.garden, state.garden.units.value
    names = {patch.key: patch.name for patch in garden.patches}
    for entry in newest_first(garden.log):
        said = log_words(entry, system, garden=garden, trade=trade)
        name = f"{words.day(entry.day, state.today)}, {names.get(entry.patch, entry.patch)}"
        yield Find(name, f"/log/entry/{entry.key}", f"{said[:1].upper()}{said[1:]}")


def _pages() -> Iterable[Find]:
    for section in SECTIONS:
        for link in section.pages:
            yield Find(link.name, link.path, section.name)
        if not section.pages:
            yield Find(section.name, section.path, "")
    for group in GROUPS:
        for way in group.ways:
            yield Find(way.name, way.path, way.use)
