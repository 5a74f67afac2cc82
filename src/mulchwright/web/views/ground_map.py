"""A map of the ground with the plan drawn over it: light, picks, water, shadows and proposals all use it.

The plan's shapes are those of `plan_drawing`, so there is one drawing of the plan; here they are lines
only, each with a pale edge, so that they show on dark and on light ground. The world is in centimeters with
y downward, as there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from mulchwright.garden import Garden, Outline, Tap
from mulchwright.ground import Grid
from mulchwright.sheets.drawing import Element, document, element, number, text
from mulchwright.web.views.name_room import NameRoom, name_box
from mulchwright.web.views.plan_drawing import (
    anchor_of,
    north_arrow,
    outline_path,
    patterns,
    scale_bar,
    shape,
    tap_mark,
    things,
)
from mulchwright.web.views.ramp import hex_color

CM = 100.0
WIDE, NARROW = 720.0, 324.0
SIDE_PX = 14.0
FOOT_PX = 78.0
NAMED = ("tap", "patch", "wall", "bed", "crown", "zone", "path")
"""Whose name stays where two would lie on each other: the first of these."""
NAMED_ON_PHONE = frozenset({"patch", "bed"})
TALLEST = 1.15
"""A map is at most so many times as tall as wide, so that it fits a phone held upright."""


@dataclass(frozen=True, slots=True)
class MapFrame:
    """Where the mapped ground lies on the page: meters on the plan to pixels of the drawing."""

    x_min: float
    y_min: float
    x_max: float
    y_max: float
    width: float
    scale: float
    left: float

    @property
    def height(self) -> float:
        """Height of the drawing in pixels."""
        return (self.y_max - self.y_min) * self.scale + SIDE_PX + FOOT_PX

    def on_page(self, x: float, y: float) -> tuple[float, float]:
        """Pixels of a point of the plan."""
        return self.left + (x - self.x_min) * self.scale, SIDE_PX + (self.y_max - y) * self.scale

    def world(self, children: Iterable[Element], **more: Any) -> Element:
        """A group drawn in the world's centimeters."""
        x0, y0 = self.on_page(0.0, 0.0)
        return element(
            "g", children, transform=f"translate({number(x0)} {number(y0)}) scale({self.scale / CM:.6f})",
            **more,
        )  # fmt: skip


def frame_of(extent: tuple[float, float, float, float], *, width: float = 720) -> MapFrame:
    """The frame for a piece of the plan, lowest x and y, highest x and y."""
    x_min, y_min, x_max, y_max = extent
    room = width - 2 * SIDE_PX
    scale = min(room / (x_max - x_min), TALLEST * width / (y_max - y_min))
    left = SIDE_PX + (room - (x_max - x_min) * scale) / 2
    return MapFrame(x_min, y_min, x_max, y_max, width, scale, left)


def grid_extent(grid: Grid) -> tuple[float, float, float, float]:
    """Lowest x and y, highest x and y of a grid."""
    return (
        grid.x_min, grid.y_min,
        grid.x_min + grid.columns * grid.cell_m, grid.y_min + grid.rows * grid.cell_m,
    )  # fmt: skip


def closed_path(outlines: Sequence[Outline]) -> str:
    """Path data of several outlines in the world's centimeters, empty for none."""
    return "".join(outline_path(outline) for outline in outlines if outline)


def ground_map(
    garden: Garden,
    frame: MapFrame,
    *,
    mark: str,
    label: str,
    picture: str = "",
    under_world: Iterable[Element] = (),
    over: Iterable[Element] = (),
    class_: str = "",
    names: bool = True,
) -> str:
    """SVG of the plan over a picture (an address of ours) or over drawn shapes.

    under_world : between the picture and the plan, in the world's centimeters; over : on top, in pixels.
    """
    drawn = [(kind, noun) for kind, noun in things(garden) if anchor_of(noun) is not None]
    x, y = frame.on_page(frame.x_min, frame.y_max)
    breadth, depth = (frame.x_max - frame.x_min) * frame.scale, (frame.y_max - frame.y_min) * frame.scale
    clip = element("clipPath", (element("rect", x=x, y=y, width=breadth, height=depth),), id=f"{mark}-clip")
    base = [element("rect", x=x, y=y, width=breadth, height=depth, class_="map-ground")]
    if picture:
        base.append(
            element("image", href=picture, x=x, y=y, width=breadth, height=depth,
                    preserveAspectRatio="none", class_="map-picture")
        )  # fmt: skip
    lines = [shape(kind, noun) for kind, noun in drawn]
    inside = element(
        "g",
        (
            *base,
            frame.world(under_world, class_="under-world"),
            frame.world(lines, class_="world halo", aria_hidden="true"),
            frame.world(lines, class_="world"),
        ),
        clip_path=f"url(#{mark}-clip)",
    )
    words: list[Element] = []
    for kind, noun in sorted(drawn, key=lambda pair: NAMED.index(pair[0].key)):
        at = anchor_of(noun)
        assert at is not None
        if not (frame.x_min <= at[0] <= frame.x_max and frame.y_min <= at[1] <= frame.y_max):
            continue
        px, py = frame.on_page(*at)
        if isinstance(noun, Tap):
            words.append(tap_mark(px, py))
        elif names and (frame.width > 500 or kind.key in NAMED_ON_PHONE or getattr(noun, "house", False)):
            words.append(text(min(max(px, 60), frame.width - 60), py + 6, noun.name, "name", "middle"))
    foot = frame.height - 40
    return document(
        frame.width,
        frame.height,
        (
            element("defs", (clip,)), patterns(mark), inside,
            element("g", _apart(words), class_="names"), *over,
            *north_arrow(frame.width - 30, frame.height - 44, garden.place.north_deg),
            *scale_bar(garden.units.value, frame.scale, frame.left, foot),
        ),
        label=label, mark=mark, class_=f"plan-drawing ground-map {class_}".strip(),
    )  # fmt: skip


def _apart(words: Sequence[Element]) -> list[Element]:
    """Names that do not lie on each other; one that would is left out, for the table has it."""
    room = NameRoom()
    kept = []
    for word in words:
        place = dict(word.attributes)
        if word.name == "text" and not room.take(name_box(float(place["x"]), float(place["y"]), word.words)):
            continue
        kept.append(word)
    return kept


def numbered_proposal(
    frame: MapFrame,
    outline: Outline,
    at: tuple[float, float],
    number: int,
    *,
    disc_px: float = 15,
    **more: Any,
) -> Element:
    """A proposed piece of ground with its number at a point [m]; `more` are attributes of its group."""
    d = outline_path(outline)
    x, y = frame.on_page(*at)
    return element(
        "g",
        (
            frame.world((element("path", d=d, class_="proposal-halo"),)),
            frame.world((element("path", d=d, class_="body"),), class_="proposal"),
            element("circle", cx=x, cy=y, r=disc_px, class_="map-disc"),
            text(x, y + 6, str(number), "map-number", "middle"),
        ),
        **more,
    )


def in_two_widths(draw: Callable[[float, str], str], mark: str, *, wide: float = WIDE) -> str:
    """The same map drawn for a page and for a phone, each with letters of full size; the sheet shows one."""
    return (
        f'<div class="wide-drawing">{draw(wide, mark)}</div>'
        f'<div class="narrow-drawing">{draw(NARROW, f"{mark}-narrow")}</div>'
    )


@dataclass(frozen=True, slots=True)
class Legend:
    """What the ramp's ends and steps mean: (place from 0 to 1, words), dark to light."""

    caption: str
    steps: tuple[tuple[float, str], ...]


def legend_drawing(legend: Legend, mark: str) -> str:
    """The ramp as a bar with its figures under it."""
    width, bar = 290.0, 22.0
    stops = [element("stop", offset=f"{n / 10:.1f}", stop_color=hex_color(n / 10)) for n in range(11)]
    ramp = element("linearGradient", stops, id=f"{mark}-ramp")
    parts = [
        element("defs", (ramp,)),
        element("rect", x=1, y=1, width=width - 2, height=bar, fill=f"url(#{mark}-ramp)", class_="ramp-edge"),
    ]
    for at, words in legend.steps:
        x = 1 + at * (width - 2)
        anchor = "start" if at < 0.08 else "end" if at > 0.92 else "middle"
        parts.append(element("line", x1=x, x2=x, y1=bar, y2=bar + 6, class_="axis"))
        parts.append(text(x, bar + 23, words, "", anchor))
    sentence = ", ".join(words for _, words in legend.steps)
    return document(
        width, bar + 30, parts, label=f"{legend.caption}: {sentence}, dark to light", mark=f"{mark}-legend",
        class_="ramp",
    )  # fmt: skip
