"""The program's colors for those who cannot read CSS variables: the chart builders.

`static/shared/tokens.css` is the one home of the figures; this module reads it. `docs/looks.md` says what
each is for and why.
"""

from __future__ import annotations

import re
from functools import cache
from importlib import resources
from typing import Literal

Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


@cache
def palette(scheme: Scheme) -> dict[str, str]:
    """Colors by token name, such as ``{"ink": "#24312b", ...}``; the dark scheme overlays the light one."""
    text = resources.files("mulchwright.web").joinpath("static/shared/tokens.css").read_text(encoding="utf-8")
    light, _, dark = text.partition("@media")
    colors = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", light))
    if scheme == "dark":
        colors |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", dark))
    return colors
