"""docs/looks.md and the style sheets say the same, and every pair of colors can be read.

Contrast as defined by WCAG 2.2 (relative luminance and contrast ratio; published, from memory),
success criteria 1.4.3 (4.5 for text) and 1.4.11 (3 for parts of pictures).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

import pytest

from mulchwright.web.views.palette import palette

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/looks.md").read_text(encoding="utf-8")
STATIC = ROOT / "src/mulchwright/web/static"

TOKENS = re.findall(r"^\| `([a-z-]+)` \| (#[0-9a-f]{6}) \| (#[0-9a-f]{6}) \|", PAGE, re.M)
PAIRS = re.findall(r"^\| `([a-z-]+)` on `([a-z-]+)` \| ([\d.]+) \| ([\d.]+) \| ([\d.]+) \|", PAGE, re.M)


def luminance(color: str) -> float:
    channels = (int(color[i : i + 2], 16) / 255 for i in (1, 3, 5))
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2, definition of contrast ratio: it ranges from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)


def test_tokens_of_page_and_sheet_are_the_same() -> None:
    assert {name: light for name, light, _ in TOKENS} == palette("light")
    assert {name: dark for name, _, dark in TOKENS} == palette("dark")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_pair_has_the_contrast_it_needs(scheme: Literal["light", "dark"]) -> None:
    colors = palette(scheme)
    assert len(PAIRS) >= 18
    for front, ground, needed, light, dark in PAIRS:
        ratio = contrast(colors[front], colors[ground])
        assert ratio >= float(needed), f"{front} on {ground} in {scheme}: {ratio:.2f}"
        assert ratio == pytest.approx(float(light if scheme == "light" else dark), abs=0.051)


def test_text_pairs_are_held_to_the_text_threshold() -> None:
    needed = {(front, ground): float(n) for front, ground, n, _, _ in PAIRS}
    for front in ("ink", "quiet", "plum"):
        for ground in ("paper", "card"):
            assert needed[front, ground] >= 4.5


def test_sheets_use_no_color_but_tokens() -> None:
    sheet = (STATIC / "shared/base.css").read_text(encoding="utf-8")
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s,)])|rgba?\(|hsla?\(", sheet)
    used = set(re.findall(r"var\(--([a-z-]+)\)", sheet))
    assert used <= set(palette("light"))


def test_no_script_or_sheet_names_an_outside_address() -> None:
    for file in (found for found in STATIC.rglob("*") if found.is_file()):
        text = file.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in text, file.name
        assert "https://" not in text, file.name
