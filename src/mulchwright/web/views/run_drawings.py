"""How far mycelium has come, drawn: a cut through a bed with the white spreading from the pieces of spawn.

The white covers as much of the cut as the share that is given, measured when it is drawn. A spent bed has as
much of its height as is left of its food. Colors as in `material_drawings`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from mulchwright.sheets.drawing import Element, document, element, number
from mulchwright.trade import Trade

__all__ = ["RunStage", "run_stage_svg", "run_stages", "white_share"]

WIDTH, HEIGHT = 240.0, 136.0
LEFT, TOP, WIDE, DEEP = 10.0, 16.0, 220.0, 84.0
SPAWN = tuple((LEFT + 22 + 44 * n, TOP + 28.0) for n in range(5)) + tuple(
    (LEFT + 44 + 44 * n, TOP + 58.0) for n in range(4)
)
"""Where the pieces of spawn lie: two planes."""
GRID = 2.0
LEAP_OFF_SHARE = 0.06
"""How much white is drawn when mycelium has just left the spawn; for the eye, no figure of the trade."""


@dataclass(frozen=True, slots=True)
class RunStage:
    """A stage: its key and name, what one sees, the drawing."""

    key: str
    name: str
    words: str
    svg: str


@lru_cache(maxsize=4096)
def _distance(x: float, y: float) -> float:
    return float(min((x - a) ** 2 + (y - b) ** 2 for a, b in SPAWN) ** 0.5)


def _cells() -> list[float]:
    """Distance to the next spawn of each cell of the cut."""
    across, down = int(WIDE / GRID), int(DEEP / GRID)
    return [
        _distance(LEFT + (i + 0.5) * GRID, TOP + (j + 0.5) * GRID) for i in range(across) for j in range(down)
    ]


@lru_cache(maxsize=64)
def _radius(share: float) -> float:
    """The radius around the spawn at which this share of the cut is white."""
    distances = sorted(_cells())
    if share >= 1:
        return distances[-1] + GRID
    return distances[min(len(distances) - 1, int(share * len(distances)))] if share > 0 else 0.0


def white_share(radius: float) -> float:
    """The share of the cut within this radius of a piece of spawn."""
    distances = _cells()
    return sum(d < radius for d in distances) / len(distances)


def run_stage_svg(share: float, *, left: float = 1.0, label: str, mark: str) -> str:
    """A cut through a bed as SVG: `share` of it colonized, and `left` of its food still there, both 0 to 1.

    label : the drawing in words. mark : makes ids unique on the page.
    """
    deep = DEEP * min(max(left, 0.0), 1.0)
    top = TOP + DEEP - deep
    spent = left < 1
    parts = [
        element("rect", x=0, y=0, width=WIDTH, height=HEIGHT, rx=6, class_="plate"),
        element(
            "defs",
            (
                element(
                    "clipPath", (element("rect", x=LEFT, y=top, width=WIDE, height=deep),), id=f"{mark}-cut"
                ),
            ),
        ),
        element("rect", x=0, y=TOP + DEEP, width=WIDTH, height=HEIGHT - TOP - DEEP, class_="soil"),
        element(
            "rect", x=LEFT, y=top, width=WIDE, height=deep, class_="bed-food spent" if spent else "bed-food"
        ),
    ]
    inside = _pieces(spent)
    radius = _radius(share)
    # What is left lies at the foot, and so do the last white spots of a spent bed.
    spots = [(x, TOP + DEEP - deep + (y - TOP) * deep / DEEP) for x, y in SPAWN]
    if radius > 0:
        white = [
            element("circle", cx=x, cy=y, r=radius * (0.4 if spent else 1), class_="white") for x, y in spots
        ]
        inside.append(element("g", white, class_="mycelium"))
        if not spent:
            inside.extend(_threads(radius))
    if not spent:
        inside.extend(element("circle", cx=x, cy=y, r=4, class_="spawn") for x, y in SPAWN)
    parts.append(element("g", inside, clip_path=f"url(#{mark}-cut)"))
    parts.append(element("rect", x=LEFT, y=top, width=WIDE, height=deep, class_="cut-edge"))
    if spent:
        line = f"M{number(LEFT)} {number(TOP)}H{number(LEFT + WIDE)}"
        parts.append(element("path", d=line, class_="once"))
    return document(WIDTH, HEIGHT, parts, label=label, mark=mark, class_="bed-drawing run-stage")


def _pieces(spent: bool) -> list[Element]:
    found = []
    for n in range(90):
        x, y = LEFT + WIDE * (n * 0.7548777 % 1), TOP + DEEP * (n * 0.5698403 % 1)
        turn = f"translate({number(x)} {number(y)}) rotate({(n * 67) % 120 - 60})"
        if spent:
            found.append(element("circle", cx=x, cy=y, r=1.4 + n % 3 * 0.5, class_="crumb dark"))
        else:
            found.append(element("path", d="M-8 -2.5h14l2 5h-14z", class_="piece chip", transform=turn))
    return found


def _threads(radius: float) -> list[Element]:
    """Fine threads at the edge of the white."""
    found = []
    for x, y in SPAWN:
        d = ""
        for n in range(14):
            angle = 2 * math.pi * n / 14 + x
            c, s = math.cos(angle), math.sin(angle)
            start = f"{number(x + c * radius * 0.8)} {number(y + s * radius * 0.8)}"
            d += f"M{start}l{number(c * 5)} {number(s * 5)}"
        found.append(element("path", d=d, class_="thread"))
    return found


def run_stages(trade: Trade, spawn: str, *, mark: str = "run") -> tuple[RunStage, ...]:
    """Leap-off, a third, colonized, spent: what one sees at each, drawn, from first to last.

    spawn : the key of the kind of spawn, whose days of leap-off are named where the table has it.
    """
    row = trade.spawn.get(spawn)
    days = (
        f", {row.leap_off_days.low:g} to {row.leap_off_days.high:g} days after building"
        if row is not None
        else ""
    )
    left = trade.constants["retire_share_left"].value
    shown = (
        ("leap-off", "Leap-off", LEAP_OFF_SHARE, 1.0,
         f"White fuzz around each piece of spawn{days}."),
        ("third", "A third", 1 / 3, 1.0,
         "White patches around the spawn, bare chips between them."),
        ("colonized", "Fully colonized", 1.0, 1.0,
         "White all through; the chips hang together."),
        ("spent", "Spent", 0.12, left,
         f"Sunken to dark crumbs: less than {100 * left:.0f} % of the food is left."),
    )  # fmt: skip
    return tuple(
        RunStage(
            key,
            name,
            words,
            run_stage_svg(share, left=food, label=f"Drawing, {name.lower()}: {words}", mark=f"{mark}-{key}"),
        )
        for key, name, share, food, words in shown
    )
