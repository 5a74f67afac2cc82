"""The plan as a drawing, for pages without scripts and until the scripts are there.

`static/plan/drawing.mjs` draws the same shapes with the same classes while the grower works; a browser test
holds the outlines of the two to each other. The world is measured in centimeters with y downward, so that a
coordinate with one decimal is a millimeter; lines keep their width at every scale (in the style sheet).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from mulchwright.garden import Crown, Garden, Outline, Point, Tap
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.plan_kinds import KINDS, Kind, PlanNoun
from mulchwright.sheets.drawing import Element, document, element, number, text
from mulchwright.units import plain_unit, show_length
from mulchwright.web.views.name_room import GAP_PX, LETTER_PX, NameRoom, name_box
from mulchwright.web.views.wording import plural

CM = 100.0
ORDER = ("zone", "path", "bed", "patch", "wall", "tap", "crown")
"""From the ground up."""
NAME_FIRST = ("patch", "wall", "bed", "crown", "tap", "zone", "path")
MARGIN_PX = 46.0
LOBE_M = 0.55
"""A crown's rim is drawn in lobes about so long (never fewer than eight, nor more than twenty-eight)."""


def things(garden: Garden) -> list[tuple[Kind, PlanNoun]]:
    """All objects of the plan in the order of drawing, drawn or not."""
    return [(KINDS[key], noun) for key in ORDER for noun in getattr(garden, KINDS[key].place)]


def outline_path(outline: Outline) -> str:
    """Path data of an outline in the world's centimeters."""
    return "M" + "L".join(f"{number(x * CM + 0.0)} {number(-y * CM + 0.0)}" for x, y in outline) + "Z"


def crown_path(radius_m: float, *, evergreen: bool) -> str:
    """A crown's rim around its own center: round lobes, or the points of an evergreen."""
    lobes = max(8, min(28, round(2 * math.pi * radius_m / LOBE_M)))
    rim, valley = radius_m * CM, radius_m * CM * (0.88 if evergreen else 0.93)
    step = 2 * math.pi / lobes

    def at(radius: float, angle: float) -> str:
        return f"{number(radius * math.cos(angle))} {number(radius * math.sin(angle))}"

    parts = [f"M{at(valley, 0)}"]
    for n in range(lobes):
        if evergreen:
            parts.append(f"L{at(rim, (n + 0.5) * step)}L{at(valley, (n + 1) * step)}")
        else:
            # A quadratic whose control lies twice as far out touches the rim halfway.
            parts.append(
                f"Q{at(2 * rim - valley * math.cos(step / 2), (n + 0.5) * step)} {at(valley, (n + 1) * step)}"
            )
    return "".join(parts) + "Z"


def centroid(outline: Outline) -> Point:
    """Where an outline's name stands: its center of area."""
    twice = cx = cy = 0.0
    for (x0, y0), (x1, y1) in zip(outline, [*outline[1:], outline[0]], strict=True):
        cross = x0 * y1 - x1 * y0
        twice += cross
        cx += (x0 + x1) * cross
        cy += (y0 + y1) * cross
    if abs(twice) < 1e-12:
        return outline[0]
    return cx / (3 * twice), cy / (3 * twice)


def anchor_of(noun: PlanNoun) -> Point | None:
    """Where an object's name belongs; None while it is not drawn."""
    if isinstance(noun, Crown):
        return noun.center
    if isinstance(noun, Tap):
        return noun.point
    return centroid(noun.outline) if noun.outline else None


def extent(nouns: Iterable[PlanNoun]) -> tuple[float, float, float, float]:
    """Left, lower, right and upper bound of what is drawn, in meters; 12 m × 8 m of an empty plan."""
    xs: list[float] = []
    ys: list[float] = []
    for noun in nouns:
        if isinstance(noun, Crown):
            xs += (noun.center[0] - noun.radius_m, noun.center[0] + noun.radius_m)
            ys += (noun.center[1] - noun.radius_m, noun.center[1] + noun.radius_m)
        else:
            points = (noun.point,) if isinstance(noun, Tap) else noun.outline
            xs += (x for x, _ in points)
            ys += (y for _, y in points)
    if not xs:
        return 0.0, 0.0, 12.0, 8.0
    middle_x, middle_y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    half_x, half_y = max(2.0, (max(xs) - min(xs)) / 2), max(2.0, (max(ys) - min(ys)) / 2)
    return middle_x - half_x, middle_y - half_y, middle_x + half_x, middle_y + half_y


def shape(kind: Kind, noun: PlanNoun) -> Element:
    """One object in the world's centimeters, without its name."""
    if isinstance(noun, Crown):
        x, y = noun.center[0] * CM, -noun.center[1] * CM
        return element(
            "g",
            (
                element("path", d=crown_path(noun.radius_m, evergreen=noun.evergreen), class_="rim"),
                element("circle", r=max(noun.trunk_radius_m, 0.08) * CM, class_="trunk"),
            ),
            class_="thing crown",
            transform=f"translate({number(x)} {number(y)})",
        )
    if isinstance(noun, Tap):
        x, y = noun.point[0] * CM, -noun.point[1] * CM
        return element(
            "g",
            (element("circle", r=noun.reach_m * CM, class_="reach"),),
            class_="thing tap",
            transform=f"translate({number(x)} {number(y)})",
        )
    d = outline_path(noun.outline)
    house = " house" if getattr(noun, "house", False) else ""
    parts = [element("path", d=d, class_="body")]
    if kind.key == "bed":
        parts.insert(0, element("path", d=d, class_="under-edge", transform="translate(5 5)"))
    if kind.key in {"patch", "zone"} or house:
        parts.append(element("path", d=d, class_="texture"))
    return element("g", parts, class_=f"thing {kind.key}{house}")


def picture(backdrop: Backdrop) -> Element:
    """The backdrop in the world's centimeters: its left upper corner placed, turned and scaled."""
    x, y = backdrop.on_plan((0.0, 0.0))
    turned = f"rotate({backdrop.rotation_deg:.4f}) scale({backdrop.meters_per_pixel * CM:.6f})"
    return element(
        "image",
        href="/ground/backdrop/image",
        width=backdrop.kind.width_px,
        height=backdrop.kind.height_px,
        opacity=f"{1 - backdrop.fade:.2f}",
        transform=f"translate({number(x * CM)} {number(-y * CM)}) {turned}",
    )


def tap_mark(x: float, y: float) -> Element:
    """The sign of a tap: a drop under a bar, the same size at every scale."""
    drop = "M0 -9C5 -2 8 2 8 6A8 8 0 0 1 -8 6C-8 2 -5 -2 0 -9ZM-9 -13H9"
    return element("path", d=drop, class_="tap-mark", transform=f"translate({number(x)} {number(y)})")


def patterns(mark: str) -> Element:
    """The textures, for the drawing with this mark."""
    threads = "M0 7C6 3 9 11 15 7S24 3 30 7M-4 21C3 17 8 25 15 21S27 17 34 21"
    return element(
        "defs",
        (
            element("pattern", (element("path", d=threads, class_="threads-mark"),), id=f"{mark}-threads",
                    width=30, height=28, patternUnits="userSpaceOnUse"),
            element("pattern", (element("path", d="M0 24L24 0", class_="zone-mark"),), id=f"{mark}-zone",
                    width=24, height=24, patternUnits="userSpaceOnUse"),
            element("pattern", (element("path", d="M0 0H40M0 20H40", class_="house-mark"),),
                    id=f"{mark}-house", width=40, height=40, patternUnits="userSpaceOnUse"),
        ),
    )  # fmt: skip


def plan_drawing(
    garden: Garden, *, width: float = 720, mark: str = "plan", backdrop: Backdrop | None = None
) -> str:
    """The whole plan, north arrow and scale bar with it, as SVG of this width in pixels.

    A backdrop is asked for at the address this program serves it from.
    """
    drawn = [(kind, noun) for kind, noun in things(garden) if anchor_of(noun) is not None]
    left, low, right, high = extent(noun for _, noun in drawn)
    scale = min((width - 2 * MARGIN_PX) / (right - left), 1.2 * width / (high - low))
    height = (high - low) * scale + 2 * MARGIN_PX + 40

    def on_page(point: Point) -> Point:
        return MARGIN_PX + (point[0] - left) * scale, MARGIN_PX + (high - point[1]) * scale

    x0, y0 = on_page((0.0, 0.0))
    world = element(
        "g",
        [*([picture(backdrop)] if backdrop else []), *(shape(kind, noun) for kind, noun in drawn)],
        transform=f"translate({number(x0)} {number(y0)}) scale({scale / CM:.6f})",
        class_="world",
    )
    marks, names = [], []
    # Names that would lie on each other give way to the more important; the needle and the scale come first.
    room = NameRoom([(width - 60, 0, width, 90), (0, height - 40, 200, height)])
    for kind, noun in sorted(drawn, key=lambda pair: NAME_FIRST.index(pair[0].key)):
        anchor = anchor_of(noun)
        assert anchor is not None
        x, y = on_page(anchor)
        if isinstance(noun, Tap):
            marks.append(tap_mark(x, y))
        y += {"tap": 32, "crown": 24}.get(kind.key, 0)
        half = len(noun.name) * LETTER_PX / 2 + GAP_PX
        x = min(max(x, half), width - half)
        if room.take(name_box(x, y, noun.name)):
            names.append(text(x, y + 6, noun.name, "name", "middle"))
    label = _label(garden, drawn)
    return document(
        width,
        height,
        (patterns(mark), world, *marks, *names, *north_arrow(width - 34, 40, garden.place.north_deg),
         *scale_bar(garden.units.value, scale, 16, height - 16)),
        label=label, mark=mark, class_="plan-drawing",
    )  # fmt: skip


def _label(garden: Garden, drawn: Sequence[tuple[Kind, PlanNoun]]) -> str:
    counts = [
        plural(sum(kind is one for one, _ in drawn), kind.name.lower(), _MANY[kind.key])
        for kind in KINDS.values()
        if any(kind is one for one, _ in drawn)
    ]
    return f"Plan of {garden.place.name}: {', '.join(counts) or 'nothing drawn yet'}"


_MANY = {
    "bed": "garden beds", "patch": "mushroom beds", "crown": "trees or shrubs", "wall": "walls or buildings",
    "path": "paths", "tap": "taps", "zone": "zones",
}  # fmt: skip


def north_arrow(x: float, y: float, north_deg: float) -> tuple[Element, ...]:
    """A needle that points to true north: the plan's upward axis lies `north_deg` clockwise from it."""
    turn = f"translate({number(x)} {number(y)}) rotate({number(-north_deg)})"
    return (
        element("g", (element("path", d="M0 -26L8 12L0 6L-8 12Z", class_="needle"),), transform=turn),
        text(x, y + 34, "N", "north-letter", "middle"),
    )


def scale_bar(system: str, scale: float, x: float, y: float) -> tuple[Element, ...]:
    """A bar of a round length, about a quarter of a phone wide, with its length in words."""
    unit = plain_unit("length", system)[1]
    length = next(
        (step * unit for step in (0.5, 1, 2, 5, 10, 20, 50, 100, 200) if step * unit * scale >= 70),
        500 * unit,
    )
    end = x + length * scale
    d = f"M{number(x)} {number(y - 7)}V{number(y)}H{number(end)}V{number(y - 7)}"
    return (
        element("path", d=d, class_="scale"),
        text(end + 8, y, show_length(length, system), "scale-words"),
    )
