"""The garden as a picture: the plan with each mushroom bed filled by what it needs today, and named with it.

Composed of the plan's own shapes (`plan_drawing`); what a bed needs has a pattern and words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from mulchwright.garden import Bed, Garden, Patch, Tap, Wall
from mulchwright.garden.plan_kinds import PlanNoun
from mulchwright.sheets.drawing import Element, document, element, number, text
from mulchwright.web.views.plan_drawing import (
    CM,
    anchor_of,
    extent,
    north_arrow,
    outline_path,
    scale_bar,
    shape,
    tap_mark,
    things,
)

LETTER_PX, MARGIN_PX, LINE_PX = 9.4, 30.0, 20.0


class Need(StrEnum):
    """What a bed needs, as far as the picture tells it apart."""

    WATER = "water"
    LOOK = "look"
    WARNING = "warning"
    BUILD = "build"
    REST = "rest"


@dataclass(frozen=True, slots=True)
class BedNote:
    """What one bed needs today: the kind that fills it, and the words under its name."""

    need: Need
    words: str


def garden_picture(
    garden: Garden, notes: Mapping[str, BedNote], *, width: float, mark: str, class_: str
) -> str:
    """SVG of the plan at a width in pixels; empty where no mushroom bed is drawn."""
    drawn = [(kind, noun) for kind, noun in things(garden) if anchor_of(noun) is not None]
    if not any(isinstance(noun, Patch) for _, noun in drawn):
        return ""
    left, low, right, high = extent(noun for _, noun in drawn if isinstance(noun, Patch | Wall | Bed))
    scale = min((width - 2 * MARGIN_PX) / (right - left), 1.15 * width / (high - low))
    pad_x = (width - (right - left) * scale) / 2
    height = (high - low) * scale + 2 * MARGIN_PX + 24
    world_x, world_y = pad_x - left * scale, MARGIN_PX + high * scale
    shapes: list[Element] = []
    for kind, noun in drawn:
        if isinstance(noun, Patch):
            d, need = outline_path(noun.outline), notes[noun.key].need if noun.key in notes else Need.REST
            shapes.append(element("g", (
                element("path", d=d, class_="body"),
                element("path", d=d, class_="need-fill", fill=f"url(#{mark}-{need.value})"),
            ), class_=f"thing patch need-{need.value}"))  # fmt: skip
        elif not isinstance(noun, Tap):
            shapes.append(shape(kind, noun))
    world = element(
        "g",
        shapes,
        transform=f"translate({number(world_x)} {number(world_y)}) scale({scale / CM:.6f})",
        class_="world",
    )
    marks, names = [], []
    taken: list[tuple[float, float, float, float]] = []

    def rank(noun: PlanNoun) -> int:
        """Beds that need something are named first, then those at rest, then houses."""
        if not isinstance(noun, Patch):
            return len(Need)
        return list(Need).index(notes[noun.key].need) if noun.key in notes else list(Need).index(Need.REST)

    for kind, noun in sorted(drawn, key=lambda pair: rank(pair[1])):
        anchor = anchor_of(noun)
        assert anchor is not None
        x, y = world_x + anchor[0] * scale, world_y - anchor[1] * scale
        if isinstance(noun, Tap):
            marks.append(tap_mark(x, y))
            continue
        if isinstance(noun, Patch):
            note = notes.get(noun.key)
            lines = [noun.name, *([note.words] if note and note.need is not Need.REST else [])]
            tall: float = (max(p[1] for p in noun.outline) - min(p[1] for p in noun.outline)) * scale / 2
        elif kind.key == "wall" and getattr(noun, "house", False):
            lines, tall = [noun.name], 0.0
        else:
            continue
        half = max(len(line) for line in lines) * LETTER_PX / 2
        x = min(max(x, half + 4), width - half - 4)
        place = _free_place(x, y, half, tall, len(lines), height, taken, must=rank(noun) < 3)
        if place is None:
            continue
        for n, line in enumerate(lines):
            names.append(text(x, place + LINE_PX * n, line, "name" if n == 0 else "need", "middle"))
    said = "; ".join(f"{p.name}: {notes[p.key].words}" for p in garden.patches if p.key in notes)
    return document(
        width, height,
        (_need_patterns(mark, CM / scale), world, *marks, *names,
         *north_arrow(width - 24, 36, garden.place.north_deg),
         *scale_bar(garden.units.value, scale, 10, height - 10)),
        label=f"The garden today. {said}", mark=mark, class_=f"plan-drawing garden-picture {class_}",
    )  # fmt: skip


def _free_place(
    x: float, y: float, half: float, beside: float, lines: int, height: float,
    taken: list[tuple[float, float, float, float]], *, must: bool,
) -> float | None:  # fmt: skip
    """The height of the first line where the words lie on no others; None for nowhere.

    Under the bed, `beside` from its middle, else over it, else upon it, so that a small bed stays in sight;
    words that must be said give way further.
    """
    tall = LINE_PX * lines
    tops = [y + beside, y - beside - tall, y - tall / 2]
    if must:
        tops += [y + sign * step * 8.0 for step in range(1, 16) for sign in (1, -1)]
    for top in tops:
        box = (x - half, top, x + half, top + tall)
        clear = all(box[2] < o[0] or box[0] > o[2] or box[3] < o[1] or box[1] > o[3] for o in taken)
        if clear and top >= 0 and top + tall <= height - 24:
            taken.append(box)
            return top + LINE_PX - 4
    return None


def _need_patterns(mark: str, cm_per_px: float) -> Element:
    """Waves for water, rings for a look, crosses for a warning, none for what is planned, threads at rest."""

    def pattern(need: Need, size: int, drawn: tuple[Element, ...]) -> Element:
        return element(
            "pattern", drawn, id=f"{mark}-{need.value}", width=size, height=size,
            patternUnits="userSpaceOnUse", patternTransform=f"scale({cm_per_px:.3f})",
        )  # fmt: skip

    def line(d: str, need: Need) -> Element:
        return element("path", d=d, class_=f"need-line need-line-{need.value}")

    return element("defs", (
        pattern(Need.WATER, 24, (line("M0 8Q6 2 12 8T24 8M0 20Q6 14 12 20T24 20", Need.WATER),)),
        pattern(Need.LOOK, 26, (
            element("circle", cx=13, cy=13, r=7, class_="need-line need-line-look"),
        )),
        pattern(Need.WARNING, 22, (line("M5 5L17 17M17 5L5 17", Need.WARNING),)),
        pattern(Need.BUILD, 22, ()),
        pattern(Need.REST, 30, (
            line("M0 7C6 3 9 11 15 7S24 3 30 7M-4 21C3 17 8 25 15 21S27 17 34 21", Need.REST),
        )),
    ))  # fmt: skip
