"""Cross-sections on paper: dark on white, every class of the drawing with a look of its own."""

from __future__ import annotations

import re

from mulchwright.sheets.cross_section import DrawnLayer, DrawnPlane, cross_section
from mulchwright.sheets.press import drawing_for_paper

FAMILIES = ("chips", "straw", "fines", "mineral", "sheet")


def drawn() -> str:
    layers = tuple(DrawnLayer(f"any-{family}", family, family, "5 cm", 0.05) for family in FAMILIES)
    return drawing_for_paper(cross_section(layers, (DrawnPlane(0.05, 6),), label="x & y", mark="x", foot="f"))


def luminance(color: str) -> float:
    """Relative luminance (WCAG 2.2, "relative luminance")."""
    full = color if len(color) == 6 else "".join(2 * digit for digit in color)
    parts = [int(full[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_every_class_has_its_look() -> None:
    """Without one, a shape is filled black and hides what lies under it."""
    style = re.search(r"<style>(.*?)</style>", drawn())
    assert style is not None
    classes = {name for words in re.findall(r'class="([^"]+)"', drawn()) for name in words.split()}
    assert {f"ground-{family}" for family in FAMILIES} <= classes
    unstyled = {name for name in classes if f".{name}" not in style[1]}
    assert unstyled <= {"cross-section", "figure", "quiet"}  # letters, styled as such


def test_strokes_are_dark_enough_for_poor_ink() -> None:
    """7 to 1 on white, the stricter of the two limits that WCAG 2.2 sets for letters (1.4.6)."""
    marks = set(re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", drawn())) - {"fff"}
    assert len(marks) >= 5
    assert all(1.05 / (luminance(mark) + 0.05) >= 7 for mark in marks), marks
