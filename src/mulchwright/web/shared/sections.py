"""The sections of the program and the pages in each: what the section bar and the links under it show.

A page belongs to the section whose list names it, or names the longest beginning of its path. Pages that an
owner needs once a year are listed under More.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PageLink:
    """One page in the row of links of its section."""

    path: str
    name: str


@dataclass(frozen=True, slots=True)
class Section:
    """One section: where its name leads, and its pages; `also` are beginnings of paths without a link."""

    key: str
    name: str
    path: str
    pages: tuple[PageLink, ...] = ()
    also: tuple[str, ...] = ()

    def length_of_match(self, path: str) -> int:
        """Letters of the longest of its paths that this path begins with; 0 for none."""
        own = (self.path, *(page.path for page in self.pages), *self.also)
        return max((len(one) for one in own if path == one or path.startswith(f"{one}/")), default=0)


SECTIONS = (
    Section("now", "Now", "/now", (
        PageLink("/now", "Today"), PageLink("/month", "Month"),
        PageLink("/now/calendar", "Calendar feed"),
    )),
    Section("ground", "Garden", "/ground", (
        PageLink("/ground", "Plan"), PageLink("/ground/sun", "Sun and shade"),
        PageLink("/ground/spots", "Find a spot"), PageLink("/ground/pockets", "Find pockets"),
        PageLink("/ground/choose", "Compare mushrooms"),
    )),
    Section("beds", "Beds", "/beds", (PageLink("/beds", "All beds"), PageLink("/log", "Logbook"))),
    Section("stores", "Supplies", "/stores", (
        PageLink("/stores", "On hand"), PageLink("/stores/needs", "What you need"),
        PageLink("/stores/buying", "Buying"), PageLink("/stores/best-use", "Best use"),
        PageLink("/stores/recipes", "Recipes"), PageLink("/stores/sheets", "Sheets and labels"),
    )),
    Section("kitchen", "Kitchen", "/picks", (
        PageLink("/pick", "Log a picking"), PageLink("/picks", "Picks and checks"),
        PageLink("/stores/dryer", "Dryer"), PageLink("/stores/pantry", "Pantry"),
    )),
    Section("year", "Year", "/year"),
    Section("more", "More", "/more", also=(
        "/search", "/changes", "/backups", "/weather", "/phones", "/year/how-good", "/ground/look",
        "/stores/sharing",
    )),
)  # fmt: skip


def section_of(path: str) -> Section | None:
    """The section a path belongs to; None for the first steps, pairing and what is no page."""
    best = max(SECTIONS, key=lambda section: section.length_of_match(path))
    return best if best.length_of_match(path) else None
