"""The plan of a garden on paper, at a true scale: 1:50 prints a bed of 3 m as 60 mm.

One unit of the drawing is a millimeter on paper. The sheet has its true size, so that a program which
prints it at 100 % keeps the scale; the bar at the foot shows whether it did.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Outline, Patch, Path, Point, Tap, Wall, Zone
from mulchwright.sheets.marks import COLORS, Element, coordinates, element, number, words_at
from mulchwright.sheets.plan_layout import MARGIN_MM, PlanSheet, lay_out_plan
from mulchwright.units import US, plain_unit, show_taped_length

__all__ = ["plan_png", "plan_svg"]

SHORTEST_SIDE_MM = 9.0
"""A side shorter than this on paper has no room for its length."""
MOST_SIDES = 12
LONGEST_BAR_MM = 62.0
BARS = {True: (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000), False: (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)}


_Outlined = Bed | Patch | Path | Wall | Zone


# ---- shapes -----------------------------------------------------------------


def _shape(sheet: PlanSheet, kind: str, thing: _Outlined, **style: Any) -> Element:
    return element(
        "polygon",
        (element("title", words=thing.name),),
        id=f"{kind}-{thing.key}",
        points=coordinates(sheet.at(corner) for corner in thing.outline),
        stroke_linejoin="round",
        **style,
    )


def _center(outline: Outline) -> Point:
    """Center of area of an outline."""
    x0, y0 = outline[0]  # near numbers keep their digits
    twice = cx = cy = 0.0
    for (x1, y1), (x2, y2) in zip(outline, (*outline[1:], outline[0]), strict=True):
        cross = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        twice += cross
        cx += cross * (x1 + x2 - 2 * x0)
        cy += cross * (y1 + y2 - 2 * y0)
    return (x0 + cx / (3 * twice), y0 + cy / (3 * twice))


def _along_longest(sheet: PlanSheet, outline: Outline) -> float:
    """The turn of words along an outline's longest side, degrees, never upside down."""
    a, b = max(zip(outline, (*outline[1:], outline[0]), strict=True), key=lambda side: math.dist(*side))
    (x1, y1), (x2, y2) = sheet.at(a), sheet.at(b)
    turn = math.degrees(math.atan2(y2 - y1, x2 - x1))
    return turn - 180 if turn > 90 else turn + 180 if turn <= -90 else turn


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where words could stand: a point on paper and their turn."""

    x: float
    y: float
    turn_deg: float = 0.0
    anchor: str = "middle"


class _Lettering:
    """Puts words where none stand yet. A name finds some place; a length that has none is left out."""

    def __init__(self) -> None:
        self._taken: list[tuple[float, float, float, float]] = []

    @staticmethod
    def _box(spot: _Spot, words: str, size: float) -> tuple[float, float, float, float]:
        """The upright box around the words (left, top, right, bottom); a letter is half as wide as high."""
        wide, high = 0.52 * size * len(words), size
        shift = 0.0 if spot.anchor == "middle" else wide / 2
        turn = math.radians(spot.turn_deg)
        # The middle of the words lies a third of their height above their base line.
        x = spot.x + shift * math.cos(turn) + 0.33 * size * math.sin(turn)
        y = spot.y + shift * math.sin(turn) - 0.33 * size * math.cos(turn)
        across = abs(wide * math.cos(turn)) + abs(high * math.sin(turn))
        down = abs(wide * math.sin(turn)) + abs(high * math.cos(turn))
        return x - across / 2, y - down / 2, x + across / 2, y + down / 2

    def _overlap(self, box: tuple[float, float, float, float]) -> float:
        return math.fsum(
            max(0.0, min(box[2], other[2]) - max(box[0], other[0]))
            * max(0.0, min(box[3], other[3]) - max(box[1], other[1]))
            for other in self._taken
        )

    def put(
        self,
        spots: Sequence[_Spot],
        words: str,
        size: float,
        color: str,
        *,
        name: bool = True,
        serif: bool = False,
    ) -> Iterator[Element]:
        """The words at the first free spot; else a name at the least crowded one, and a length nowhere."""
        boxes = [self._box(spot, words, size) for spot in spots]
        crowding = [self._overlap(box) for box in boxes]
        best = min(range(len(spots)), key=lambda n: (round(crowding[n], 2), n))
        if crowding[best] > 0.05 and not name:
            return
        self._taken.append(boxes[best])
        spot = spots[best]
        yield words_at(
            spot.x,
            spot.y,
            words,
            size=size,
            color=color,
            anchor=spot.anchor,
            serif=serif,
            turn_deg=spot.turn_deg,
        )


def _lengths(sheet: PlanSheet, outline: Outline, system: str, lettering: _Lettering) -> Iterator[Element]:
    """The length of each side, written along it on the outside."""
    if len(outline) > MOST_SIDES:
        return
    signed = sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(outline, (*outline[1:], outline[0]), strict=True))
    corners = outline if signed > 0 else outline[::-1]
    for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
        length_m = math.dist(a, b)
        if sheet.mm(length_m) < SHORTEST_SIDE_MM:
            continue
        (x1, y1), (x2, y2) = sheet.at(a), sheet.at(b)
        along = math.atan2(y2 - y1, x2 - x1)
        upside_down = not -math.pi / 2 < along <= math.pi / 2 + 1e-9
        turn = math.degrees(along) + (180 if upside_down else 0)
        # Counterclockwise on the plan: the outside lies to the right of each side's direction.
        out = (math.cos(along + math.pi / 2), math.sin(along + math.pi / 2))
        gap = 1.0 if upside_down else 2.8  # letters stand above their base line
        spots = [
            _Spot(x1 + share * (x2 - x1) + out[0] * gap, y1 + share * (y2 - y1) + out[1] * gap, turn)
            for share in (0.5, 0.3, 0.7)
        ]
        yield from lettering.put(spots, show_taped_length(length_m, system), 2.1, "quiet", name=False)


def _crown(sheet: PlanSheet, crown: Crown) -> Element:
    """A soft outline: a ring of shallow scallops, a second one inside for an evergreen, and the trunk."""
    x, y = sheet.at(crown.center)
    radius = sheet.mm(crown.radius_m)
    rings = [_scallops(x, y, radius)]
    if crown.evergreen:
        rings.append(_scallops(x, y, radius * 0.82))
    return element(
        "g",
        (
            element("title", words=crown.name),
            element(
                "path", d=rings[0], fill=COLORS["good"], fill_opacity="0.45", stroke=COLORS["threads"],
                stroke_width=0.3,
            ),
            *(
                element("path", d=ring, fill="none", stroke=COLORS["threads"], stroke_width=0.2)
                for ring in rings[1:]
            ),
            element(
                "circle", cx=x, cy=y, r=max(sheet.mm(crown.trunk_radius_m), 0.5), fill=COLORS["edge"],
            ),
        ),
        id=f"crown-{crown.key}",
    )  # fmt: skip


def _scallops(x: float, y: float, radius: float) -> str:
    """A closed ring of arcs whose outermost points lie on the circle."""
    count = max(8, round(2 * math.pi * radius / 4))
    half = math.pi / count
    # An arc of radius chord x 0.7 bulges by chord x 0.21; its ends are drawn in by as much.
    inner = radius / (math.cos(half) + 2 * math.sin(half) * (0.7 - math.sqrt(0.7**2 - 0.25)))
    chord = 2 * inner * math.sin(half)
    points = [(x + inner * math.cos(2 * half * n), y + inner * math.sin(2 * half * n)) for n in range(count)]
    arc = f"A{number(chord * 0.7)},{number(chord * 0.7)} 0 0 1 "
    steps = "".join(f"{arc}{coordinates([points[(n + 1) % count]])}" for n in range(count))
    return f"M{coordinates(points[:1])}{steps}Z"


def _tap(sheet: PlanSheet, tap: Tap) -> Element:
    """A drop over a short stroke: where the water comes out of the ground."""
    x, y = sheet.at(tap.point)
    top, low = [(x, y - 2.2)], [(x, y + 1.1)]
    right, left = [(x + 1.7, y - 0.2), (x + 1.2, y + 1.1)], [(x - 1.2, y + 1.1), (x - 1.7, y - 0.2)]
    drop = f"M{coordinates(top)}C{coordinates(right + low)}C{coordinates(left + top)}Z"
    return element(
        "g",
        (
            element("title", words=tap.name),
            element("path", d=drop, fill=COLORS["water"]),
            element(
                "line", x1=x - 1.4, x2=x + 1.4, y1=y + 1.8, y2=y + 1.8, stroke=COLORS["water"],
                stroke_width=0.4,
            ),
        ),
        id=f"tap-{tap.key}",
    )  # fmt: skip


# ---- the sheet --------------------------------------------------------------


def _ground(sheet: PlanSheet, garden: Garden, system: str) -> Iterator[Element]:
    """All that is drawn, from the ground up: zones, paths, beds, patches, walls, crowns, taps, then words."""
    for zone in garden.zones:
        yield _shape(
            sheet, "zone", zone, fill="url(#zone)", stroke=COLORS["edge"], stroke_width=0.25,
            stroke_dasharray="1.6 1.2",
        )  # fmt: skip
    for path in garden.paths:
        yield _shape(
            sheet, "path", path, fill=COLORS["rule"], fill_opacity="0.55", stroke=COLORS["edge"],
            stroke_width=0.2, stroke_dasharray="0.4 0.8",
        )  # fmt: skip
    for bed in garden.beds:
        if bed.outline:
            # A cut-out of paper: its edge in ink, and a thin shadow to the lower right.
            yield element(
                "polygon",
                points=coordinates((x + 0.5, y + 0.5) for x, y in map(sheet.at, bed.outline)),
                fill=COLORS["rule"],
            )
            yield _shape(sheet, "bed", bed, fill=COLORS["paper"], stroke=COLORS["ink"], stroke_width=0.3)
    for patch in garden.patches:
        if patch.outline:
            yield _shape(
                sheet, "patch", patch, fill=COLORS["threads"], fill_opacity="0.28",
                stroke=COLORS["threads"], stroke_width=0.5,
            )  # fmt: skip
    for wall in garden.walls:
        yield _shape(
            sheet, "wall", wall, fill="url(#house)" if wall.house else COLORS["ink"],
            stroke=COLORS["ink"], stroke_width=0.7 if wall.house else 0.1,
        )  # fmt: skip
    yield from (_crown(sheet, crown) for crown in garden.crowns)
    yield from (_tap(sheet, tap) for tap in garden.taps)
    yield from _words(sheet, garden, system)


def _words(sheet: PlanSheet, garden: Garden, system: str) -> Iterator[Element]:
    """Names, what matters most first, then lengths where there is room."""
    lettering = _Lettering()
    patches = [patch for patch in garden.patches if patch.outline]
    for patch in patches:
        x, y = sheet.at(_center(patch.outline))
        spots = [_Spot(x, y + up) for up in (0.9, 3.6, -2.0, 6.0, -5.0)]
        yield from lettering.put(spots, patch.name, 2.6, "threads", serif=True)
    beds = {(patch.bed, patch.name) for patch in patches}
    for bed in garden.beds:
        if bed.outline and (bed.key, bed.name) not in beds:  # a patch of the same name says it already
            x, y = sheet.at(_center(bed.outline))
            ys = [sheet.at(corner)[1] for corner in bed.outline]
            spots = [
                _Spot(x, at) for at in (min(ys) + 3.0, max(ys) - 1.0, y + 0.9, min(ys) - 1.0, max(ys) + 3.0)
            ]
            yield from lettering.put(spots, bed.name, 2.6, "ink", serif=True)
    for wall in garden.walls:
        x, y = sheet.at(_center(wall.outline))
        if wall.house:
            yield from lettering.put([_Spot(x, y + 0.9)], wall.name, 2.6, "ink")
            continue
        turn = _along_longest(sheet, wall.outline)
        aside = (math.sin(math.radians(turn)), -math.cos(math.radians(turn)))
        spots = [_Spot(x + off * aside[0], y + off * aside[1], turn) for off in (1.2, -3.0)]
        yield from lettering.put(spots, wall.name, 2.1, "ink")
    for tap in garden.taps:
        x, y = sheet.at(tap.point)
        spots = [_Spot(x + 2.2, y + up, anchor="start") for up in (0.8, 3.4, -2.0)]
        yield from lettering.put(spots, tap.name, 2.3, "water")
    for crown in garden.crowns:
        # High in the crown: what grows below it has names and lengths of its own near the middle.
        (x, y), r = sheet.at(crown.center), sheet.mm(crown.radius_m)
        spots = [_Spot(x, y + share * r) for share in (-0.6, 0.75, -0.8, 0.4, -0.3)]
        spots += [_Spot(x, y - r - 1.0), _Spot(x, y + r + 2.6)]
        yield from lettering.put(spots, crown.name, 2.3, "ink")
    for path in garden.paths:
        (x, y), turn = sheet.at(_center(path.outline)), _along_longest(sheet, path.outline)
        along = (math.cos(math.radians(turn)), math.sin(math.radians(turn)))
        spots = [_Spot(x + off * along[0], y + off * along[1], turn) for off in (0.0, 12.0, -12.0)]
        yield from lettering.put(spots, path.name, 2.1, "quiet")
    for zone in garden.zones:
        x, y = sheet.at(_center(zone.outline))
        yield from lettering.put([_Spot(x, y + up) for up in (0.7, 4.0, -3.0)], zone.name, 2.1, "edge")
    for things in ([wall for wall in garden.walls if wall.house], garden.patches, garden.beds):
        for thing in things:
            if thing.outline:
                yield from _lengths(sheet, thing.outline, system, lettering)


def _bar(sheet: PlanSheet, system: str) -> Element:
    """A bar of four parts with a round length, in the units of the grower."""
    us = system == US
    unit, unit_m = plain_unit("length", system)
    fitting = [length for length in BARS[us] if sheet.mm(length * unit_m) <= LONGEST_BAR_MM]
    length = fitting[-1] if fitting else BARS[us][0]
    x, y = MARGIN_MM, sheet.height_mm - MARGIN_MM - 9.0
    part = sheet.mm(length * unit_m) / 4
    parts = [
        element(
            "rect", x=x + n * part, y=y, width=part, height=1.8,
            fill=COLORS["ink"] if n % 2 == 0 else "#ffffff", stroke=COLORS["ink"], stroke_width=0.2,
        )
        for n in range(4)
    ]  # fmt: skip
    marks = [
        words_at(
            x + share * 4 * part, y - 1.2, f"{length * share:g}{f' {unit}' if share == 1 else ''}", size=2.4
        )
        for share in (0, 0.5, 1)
    ]
    return element("g", (*parts, *marks), id="scale-bar", data_length_m=f"{length * unit_m:g}")


def _north(sheet: PlanSheet, north_deg: float) -> Element:
    """An arrow to true north: the plan's upward axis has the bearing `north_deg`."""
    x, y = sheet.width_mm - MARGIN_MM - 8.0, sheet.height_mm - MARGIN_MM - 8.0
    needle = f"M{number(x)},{number(y - 7)}L{number(x + 2.2)},{number(y + 4)}L{number(x)},{number(y + 2.4)}"
    other = f"M{number(x)},{number(y - 7)}L{number(x - 2.2)},{number(y + 4)}L{number(x)},{number(y + 2.4)}"
    turn = -north_deg
    far = math.radians(turn)
    return element(
        "g",
        (
            element("title", words="North"),
            element(
                "g",
                (
                    element("path", d=f"{needle}Z", fill=COLORS["ink"]),
                    element("path", d=f"{other}Z", fill="#ffffff", stroke=COLORS["ink"], stroke_width=0.25),
                ),
                id="north",
                transform=f"rotate({number(turn)} {number(x)} {number(y)})",
            ),
            words_at(x + 9.2 * math.sin(far), y - 9.2 * math.cos(far) + 1.0, "N", size=3.0, serif=True),
        ),
    )


def plan_svg(
    garden: Garden, *, scale: int | None = None, paper: str = "a4", landscape: bool | None = None
) -> str:
    """The plan as an SVG of the sheet's true size; see `lay_out_plan` for the choices and refusals."""
    sheet = lay_out_plan(garden, scale=scale, paper=paper, landscape=landscape)
    system = garden.units.value
    bottom = sheet.height_mm - MARGIN_MM
    patterns = element(
        "defs",
        (
            _hatch("house", 2.0, "ink", 0.25),
            _hatch("zone", 3.0, "rule", 0.3),
        ),
    )
    foot = f"1:{sheet.scale} when printed at 100 %. Check the bar with a ruler."
    children = (
        element("title", words=f"Plan of {garden.place.name}, 1:{sheet.scale}"),
        patterns,
        element("rect", width=sheet.width_mm, height=sheet.height_mm, fill="#ffffff"),
        words_at(MARGIN_MM, MARGIN_MM + 5.0, garden.place.name, size=5.5, anchor="start", serif=True),
        *_ground(sheet, garden, system),
        _bar(sheet, system),
        words_at(MARGIN_MM, bottom - 2.0, foot, size=2.6, color="quiet", anchor="start"),
        _north(sheet, garden.place.north_deg),
    )
    return element(
        "svg",
        children,
        xmlns="http://www.w3.org/2000/svg",
        width=f"{number(sheet.width_mm)}mm",
        height=f"{number(sheet.height_mm)}mm",
        viewBox=f"0 0 {number(sheet.width_mm)} {number(sheet.height_mm)}",
        data_scale=str(sheet.scale),
    ).write()


def _hatch(name: str, step: float, color: str, width: float) -> Element:
    return element(
        "pattern",
        (
            element("rect", width=step, height=step, fill="#ffffff"),
            element("line", x1=0, y1=0, x2=0, y2=step, stroke=COLORS[color], stroke_width=width),
        ),
        id=name,
        width=step,
        height=step,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )


def plan_png(svg: str, *, dots_per_inch: int = 200) -> bytes:
    """An SVG sheet as a PNG that knows its own size on paper.

    Raises `InputError` for fewer than 50 or more than 600 dots per inch.
    """
    if not 50 <= dots_per_inch <= 600:
        raise InputError(
            f"{dots_per_inch} dots per inch is out of range; choose 50 to 600.", field="dots_per_inch"
        )
    import vl_convert  # large: only when a picture is wanted

    # It takes a CSS pixel, 1/96 in, as 1/72 in: the factor puts that right and keeps the size noted.
    return bytes(vl_convert.svg_to_png(svg, scale=72 / 96, ppi=dots_per_inch))
