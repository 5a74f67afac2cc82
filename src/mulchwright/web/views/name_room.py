"""Room for names on a drawing: of two that would lie on each other the more important stays.

`static/ground/drawing.mjs` keeps the same rule while the grower works. A name that is left out is in the list
beside the plan, and in the table behind a map.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["Box", "NameRoom", "apart", "name_box"]

Box = tuple[float, float, float, float]
"""Left, top, right and bottom, in pixels of the drawing."""

LETTER_PX = 9.0
"""What a letter of 17 px takes on average, with some to spare."""
HALF_LINE_PX = 12.0
GAP_PX = 2.0


def name_box(x: float, y: float, name: str) -> Box:
    """The room a name takes whose middle is at `x`, `y` [px]."""
    half = len(name) * LETTER_PX / 2 + GAP_PX
    return x - half, y - HALF_LINE_PX, x + half, y + HALF_LINE_PX


def apart(one: Box, other: Box) -> bool:
    """Whether two boxes do not touch."""
    return one[2] < other[0] or one[0] > other[2] or one[3] < other[1] or one[1] > other[3]


@dataclass
class NameRoom:
    """The places that are taken on one drawing; names ask in the order of their importance."""

    taken: list[Box] = field(default_factory=list)

    def take(self, box: Box) -> bool:
        """Take this place if it touches none that is taken; False where the name must be left out."""
        if not all(apart(box, other) for other in self.taken):
            return False
        self.taken.append(box)
        return True
