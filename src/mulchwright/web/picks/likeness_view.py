"""What was planted and what it can be taken for, drawn at one scale, the marks that differ numbered."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass
from functools import lru_cache

from mulchwright import units
from mulchwright.keep.likeness import PARTS, differences
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Feature, Trade
from mulchwright.web.views.mushroom_drawing import Drawn, common_scale, mushroom_svg, room_above
from mulchwright.web.views.mushroom_words import PART_NAMES, described, mark_words, question_words

__all__ = ["Mark", "Panel", "panels_of"]

NUMBERS = {part: n for n, part in enumerate(PARTS, 1)}
"""One number for each part, the same in every drawing of a page."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One part that is pointed out: number and name, how it is here, and how the planted one should be."""

    number: int
    part: str
    here: str
    should: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One drawn mushroom: names, danger ("" for the planted one), drawing, marks, what the table says."""

    name: str
    latin: str
    danger: str
    svg: str
    marks: tuple[Mark, ...]
    tells: str
    drawn_as: str


def _own_first(part: str, asked: Iterable[Feature], keys: Container[str]) -> list[Feature]:
    """Of the questions with these keys those of this part; where it has none, those that name it."""
    questions = [question for question in asked if question.key in keys]
    return [question for question in questions if question.part == part] or questions


@lru_cache(maxsize=32)
def panels_of(trade: Trade, species: str, system: str, stage: str = "") -> tuple[Panel, ...]:
    """The planted species, then its look-alikes, the deadly before the others; () for an unknown species.

    system : "us" or "metric". stage : "button" or "closed" adds a drawing of the planted species as a button.
    """
    if species not in trade.shapes:
        return ()
    row, own = trade.species[species], trade.shapes[species]
    doubles = trade.lookalikes_of(species)
    mine = Drawn(own, row.print_color)
    theirs = {d.key: Drawn(trade.shapes[d.key], d.print_color) for d in doubles}
    scale = common_scale((mine, *theirs.values()))
    less = room_above((mine, *theirs.values()), scale)
    found = {d.key: differences(trade, species, d.key) for d in doubles}
    pointed: dict[str, set[str]] = {}
    for differing in found.values():
        for difference in differing:
            pointed.setdefault(difference.part, set()).update(f.key for f in difference.questions)
    asked = trade.features_of(species)
    name = species_name(species, trade)
    panels = [
        Panel(
            name, row.latin, "",
            mushroom_svg(
                mine, scale=scale, less=less, label=described(name, own, row.print_color, system),
                mark=f"drawn-{species}",
                system=system, numbers={part: NUMBERS[part] for part in pointed},
            ),
            tuple(
                Mark(
                    NUMBERS[part], PART_NAMES[part],
                    question_words(_own_first(part, asked, pointed[part]), system), "",
                )
                for part in PARTS if part in pointed
            ),
            "", own.drawn_as,
        )
    ]  # fmt: skip
    if stage in ("button", "closed") and own.cap_form != "shelf":
        button = f"{name} as a button"
        svg = mushroom_svg(
            Drawn(own, row.print_color, stage="button"), scale=scale, less=less, mark=f"button-{species}",
            system=system,
            label=f"Drawing of {button}: the cap still closed over the gills. A drawing identifies nothing.",
        )  # fmt: skip
        panels.append(Panel(button, row.latin, "", svg, (), "", own.drawn_as))
    for double in doubles:
        shape, differing = trade.shapes[double.key], found[double.key]
        marks = []
        for difference in differing:
            here = mark_words(shape, difference, double.print_color, system)
            should = question_words(difference.questions, system)
            marks.append(Mark(NUMBERS[difference.part], PART_NAMES[difference.part], f"{here}.", should))
        svg = mushroom_svg(
            theirs[double.key], scale=scale, less=less, mark=f"drawn-{double.key}", system=system,
            label=described(double.names[0], shape, double.print_color, system),
            numbers={d.part: NUMBERS[d.part] for d in differing},
        )  # fmt: skip
        tells = units.in_units(" ".join(double.tells), system)
        panels.append(
            Panel(double.names[0], double.latin, double.danger, svg, tuple(marks), tells, shape.drawn_as)
        )
    return tuple(panels)
