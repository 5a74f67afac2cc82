"""How a plan lies on paper: the scale at which all of it fits, and where each of its points comes to lie."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Point

__all__ = ["MARGIN_MM", "PAPERS_MM", "SCALES", "PlanSheet", "lay_out_plan"]


PAPERS_MM: Mapping[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Upright, width and height: ISO 216 (A4) and ANSI/ASME Y14.1 (8.5 in x 11 in)."""
SCALES = (10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10000)
MARGIN_MM = 10.0
"""Most home printers leave 5 mm of every edge white (common practice, no source)."""
FOOT_MM = 26.0
HEAD_MM = 12.0
AIR_MM = 7.0
"""Room around what is drawn, for the lengths written outside."""


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """How a plan lies on paper: its scale, the sheet, and which plan point is at the drawing's top left."""

    scale: int
    width_mm: float
    height_mm: float
    left_m: float
    top_m: float
    left_mm: float
    top_mm: float

    def at(self, point: Point) -> tuple[float, float]:
        """Where a point of the plan lies on the sheet, millimeters from its top left corner."""
        return (
            self.left_mm + (point[0] - self.left_m) * 1000 / self.scale,
            self.top_mm + (self.top_m - point[1]) * 1000 / self.scale,
        )

    def mm(self, length_m: float) -> float:
        """A length on paper, millimeters."""
        return length_m * 1000 / self.scale


def _drawn_points(garden: Garden) -> Iterator[Point]:
    for things in (garden.beds, garden.patches, garden.walls, garden.paths, garden.zones):
        for thing in things:
            yield from thing.outline
    for crown in garden.crowns:
        (x, y), r = crown.center, crown.radius_m
        yield from ((x - r, y - r), (x + r, y + r))
    yield from (tap.point for tap in garden.taps)


def lay_out_plan(
    garden: Garden, *, scale: int | None = None, paper: str = "a4", landscape: bool | None = None
) -> PlanSheet:
    """Where the plan lies on the sheet; without a scale, the largest of `SCALES` at which all of it fits.

    Raises
    ------
    InputError
        Nothing is drawn yet, the paper is not known, or the plan is too large for it at this scale.
    """
    if paper not in PAPERS_MM:
        raise InputError(f"The paper {paper!r} is not known; choose {' or '.join(PAPERS_MM)}.", field="paper")
    if scale is not None and not 1 <= scale <= 100_000:
        raise InputError(f"The scale 1:{scale} is none; choose one such as 50 or 100.", field="scale")
    points = list(_drawn_points(garden))
    if not points:
        raise InputError(
            "Nothing is drawn on this garden's plan yet. Draw a bed, a wall or a tree first.", field="plan"
        )
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, top = min(y for _, y in points), max(y for _, y in points)
    width_m, height_m = right - left, top - low
    turns = (False, True) if landscape is None else (landscape,)
    for tried in SCALES if scale is None else (scale,):
        for turned in turns:
            sheet = PAPERS_MM[paper][::-1] if turned else PAPERS_MM[paper]
            room = (
                sheet[0] - 2 * (MARGIN_MM + AIR_MM),
                sheet[1] - 2 * (MARGIN_MM + AIR_MM) - HEAD_MM - FOOT_MM,
            )
            needed = (width_m * 1000 / tried, height_m * 1000 / tried)
            if needed[0] <= room[0] and needed[1] <= room[1]:
                return PlanSheet(
                    scale=tried,
                    width_mm=sheet[0],
                    height_mm=sheet[1],
                    left_m=left,
                    top_m=top,
                    left_mm=(sheet[0] - needed[0]) / 2,
                    top_mm=MARGIN_MM + HEAD_MM + AIR_MM + (room[1] - needed[1]) / 2,
                )
    tried = SCALES[-1] if scale is None else scale
    remedy = "" if scale is None else " Choose a smaller scale such as 1:200, or leave it to the program."
    raise InputError(
        f"At 1:{tried} the plan is {width_m * 1000 / tried:.0f} × {height_m * 1000 / tried:.0f} mm, too "
        f"large for the sheet.{remedy}",
        field="scale",
    )
