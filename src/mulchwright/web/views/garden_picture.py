"""The garden as a picture: the plan with each mushroom bed filled by what it needs today, and named with it.

Composed of the plan's own shapes (`plan_drawing`); what a bed needs has a pattern and words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from mulchwright.garden import Bed, Garden, Patch, Point, Tap, Wall
from mulchwright.garden.plan_kinds import Kind, PlanNoun
from mulchwright.sheets.drawing import Element, document, element, number, text
from mulchwright.web.views.name_room import Box, NameRoom, apart
from mulchwright.web.views.plan_drawing import (
    CM,
    anchor_of,
    centroid,
    extent,
    north_arrow,
    outline_path,
    scale_bar,
    shape,
    tap_mark,
    things,
)

LETTER_PX, MARGIN_PX, LINE_PX = 9.4, 30.0, 20.0
DISC_PX, KEY_LINE_PX = 12.0, 27.0
SIDE_PX, FOOT_PX = 4.0, 24.0
"""Room to the sides, and at the foot for the scale."""


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
    """SVG of the plan at a width in pixels; empty where no mushroom bed is drawn.

    Words lie on no bed but their own and on no other words. A bed beside which there is no room has a number,
    and the key below says its words.
    """
    drawn = [(kind, noun) for kind, noun in things(garden) if anchor_of(noun) is not None]
    if not any(isinstance(noun, Patch) for _, noun in drawn):
        return ""
    left, low, right, high = extent(noun for _, noun in drawn if isinstance(noun, Patch | Wall | Bed))
    scale = min((width - 2 * MARGIN_PX) / (right - left), 1.15 * width / (high - low))
    pad_x = (width - (right - left) * scale) / 2
    ground = (high - low) * scale + 2 * MARGIN_PX + FOOT_PX
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

    def on_page(point: Point) -> Point:
        return world_x + point[0] * scale, world_y - point[1] * scale

    taps = [
        tap_mark(*on_page(anchor)) for _, noun in drawn
        if isinstance(noun, Tap) and (anchor := anchor_of(noun)) is not None
    ]  # fmt: skip
    names, key = _names(drawn, notes, on_page, width, ground)
    rows, height = _key(key, width, ground)
    said = "; ".join(f"{p.name}: {notes[p.key].words}" for p in garden.patches if p.key in notes)
    return document(
        width, height,
        (_need_patterns(mark, CM / scale), world, *taps, *names, *rows,
         *north_arrow(width - 24, 36, garden.place.north_deg),
         *scale_bar(garden.units.value, scale, 10, ground - 10)),
        label=f"The garden today. {said}", mark=mark, class_=f"plan-drawing garden-picture {class_}",
    )  # fmt: skip


def _names(
    drawn: Sequence[tuple[Kind, PlanNoun]], notes: Mapping[str, BedNote], on_page: Callable[[Point], Point],
    width: float, ground: float,
) -> tuple[list[Element], list[Sequence[str]]]:  # fmt: skip
    """The words on the picture, and those of each line of its key.

    Beds that need something are named first, then those at rest, then houses, whose names give way.
    """
    beds = {noun.key: _box_of(noun, on_page) for _, noun in drawn if isinstance(noun, Patch)}
    room = NameRoom([(width - 40.0, 0.0, width, 78.0)])  # the needle's
    parts: list[Element] = []
    key: list[Sequence[str]] = []

    def rank(noun: PlanNoun) -> int:
        if not isinstance(noun, Patch):
            return len(Need)
        return list(Need).index(notes[noun.key].need) if noun.key in notes else list(Need).index(Need.REST)

    def free(box: Box, own: str) -> bool:
        inside = (
            box[0] >= SIDE_PX and box[2] <= width - SIDE_PX and box[1] >= 0 and box[3] <= ground - FOOT_PX
        )
        return inside and all(apart(box, bed) for name, bed in beds.items() if name != own) and room.take(box)

    for kind, noun in sorted(drawn, key=lambda pair: rank(pair[1])):
        anchor = anchor_of(noun)
        if anchor is None:
            continue
        x, y = on_page(anchor)
        if isinstance(noun, Patch):
            note = notes.get(noun.key)
            lines = [noun.name, *([note.words] if note and note.need is not Need.REST else [])]
            own = beds[noun.key]
        elif kind.key == "wall" and getattr(noun, "house", False):
            lines, own = [noun.name], (x, y, x, y)
        else:
            continue
        half, tall = max(map(len, lines)) * LETTER_PX / 2, LINE_PX * len(lines)
        found = next(
            (box for box in _places(x, own, half, tall, width) if free(box, getattr(noun, "key", ""))), None
        )
        if found is not None:
            middle = (found[0] + found[2]) / 2
            parts += [
                text(middle, found[1] + LINE_PX * (n + 1) - 4, line, "need" if n else "name", "middle")
                for n, line in enumerate(lines)
            ]
        elif isinstance(noun, Patch):
            key.append(lines)
            parts += _disc(len(key), x, y)
    return parts, key


def _places(x: float, own: Box, half: float, tall: float, width: float) -> Iterator[Box]:
    """Where words may stand: under the bed, over it, at its sides, within it."""
    middle = min(max(x, half + SIDE_PX), width - half - SIDE_PX)
    across, down = (own[0] + own[2]) / 2, (own[1] + own[3]) / 2
    fits = own[2] - own[0] >= 2 * half and own[3] - own[1] >= tall
    house = own[0] == own[2]
    tops = [down - tall / 2] if house else [own[3], own[1] - tall]
    for top in tops:
        yield middle - half, top, middle + half, top + tall
    if not house:
        yield own[2] + SIDE_PX, down - tall / 2, own[2] + SIDE_PX + 2 * half, down + tall / 2
        yield own[0] - SIDE_PX - 2 * half, down - tall / 2, own[0] - SIDE_PX, down + tall / 2
    if fits:
        yield across - half, down - tall / 2, across + half, down + tall / 2


def _box_of(patch: Patch, on_page: Callable[[Point], Point]) -> Box:
    """The room a bed takes on the page, at least that of a number in its middle."""
    points = [on_page(point) for point in patch.outline]
    x, y = on_page(centroid(patch.outline))
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(*xs, x - DISC_PX), min(*ys, y - DISC_PX), max(*xs, x + DISC_PX), max(*ys, y + DISC_PX)


def _disc(count: int, x: float, y: float) -> tuple[Element, ...]:
    """A number in a disc, as on the bed and before its line of the key."""
    return (
        element("circle", cx=round(x, 1), cy=round(y, 1), r=DISC_PX, class_="key-disc"),
        text(x, y + 6, str(count), "key-number", "middle"),
    )


def _key(key: Sequence[Sequence[str]], width: float, top: float) -> tuple[list[Element], float]:
    """The lines of the key from this height down, and the height they end at; a long line is broken."""
    left = 2 * DISC_PX + 3 * SIDE_PX
    parts: list[Element] = []
    for count, words in enumerate(key, 1):
        line = ": ".join(words)
        lines = [line] if len(line) * LETTER_PX <= width - left else words
        parts += _disc(count, DISC_PX + SIDE_PX, top + DISC_PX)
        parts += [text(left, top + DISC_PX + 6 + LINE_PX * n, part, "name") for n, part in enumerate(lines)]
        top += KEY_LINE_PX + LINE_PX * (len(lines) - 1)
    return parts, top


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
