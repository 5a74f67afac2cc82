"""How smoothly the plan of the garden is dragged and scaled with two hundred objects on it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mulchwright.garden import Garden

WAYS = ("view", "bed", "scale")
"""What is moved: the view, one bed, or the scale by the wheel."""
_START = """() => { window.frameTimes = [];
    const tick = (at) => { window.frameTimes.push(at); window.ticking = requestAnimationFrame(tick); };
    window.ticking = requestAnimationFrame(tick); }"""
_END = "() => { cancelAnimationFrame(window.ticking); return window.frameTimes; }"
_SCREEN = """([x, y]) => { const svg = document.querySelector('.plan-drawing.live');
    const box = svg.getBoundingClientRect();
    const [tx, ty, scale] = svg.querySelector('.world').getAttribute('transform')
        .match(/-?[\\d.]+(?:e-?\\d+)?/g).map(Number);
    return [box.left + tx + x * 100 * scale, box.top + ty - y * 100 * scale]; }"""


def crowded(garden: Garden) -> Garden:
    """The garden with 120 shrubs and 75 garden beds of its own on its plan."""
    from mulchwright.garden import Bed, Crown

    crowns = tuple(
        Crown(f"c{n}", f"Shrub {n}", (n % 14 * 2.1, n // 14 * 2.0), 0.8, 1.5, 0.2) for n in range(120)
    )
    square = ((0, 0), (2, 0), (2, 1), (0, 1))
    beds = tuple(
        Bed(f"b{n}", f"Bed {n}", (), tuple((n % 10 * 3 + x, 20 + n // 10 * 2 + y) for x, y in square))
        for n in range(75)
    )
    return replace(garden, crowns=crowns, beds=(*garden.beds, *beds))


def frame_gaps_ms(page: Any, way: str) -> list[float]:
    """Milliseconds between the frames of sixty moves on an open plan, by one of `WAYS`."""
    x, y = page.evaluate(_SCREEN, [1.0, 20.5] if way == "bed" else [28.5, 37.5])
    page.evaluate(_START)
    page.mouse.move(x, y)
    if way != "scale":
        page.mouse.down()
    for n in range(60):
        if way == "scale":
            page.mouse.wheel(0, 30 if n % 20 < 10 else -30)
        else:
            page.mouse.move(x - 2 * n, y + n)
    page.mouse.up()
    times: list[float] = page.evaluate(_END)
    return [later - earlier for earlier, later in pairwise(times)]
