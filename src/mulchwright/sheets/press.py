"""From typed data to bytes on paper: the one place that knows the typesetter.

Words reach it as JSON, never as source, so that a bed called `#` prints as such. Fonts are the ones
that come with it, and the time is given, so that the same data make the same bytes on every machine.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from importlib.resources import files
from typing import Any

from mulchwright.errors import InputError

__all__ = ["PAPERS", "Print", "cleaned", "drawing_for_paper", "on_paper", "paper_name"]

PAPERS: Mapping[str, str] = {"letter": "us-letter", "a4": "a4"}
"""Our name of a paper, and the typesetter's."""
_CROSS_SECTION_STYLE = (
    "text{font-family:'Libertinus Serif';font-size:18px;fill:#000}"
    ".section-outline{fill:none;stroke:#000;stroke-width:1.2}"
    ".bracket{fill:none;stroke:#000}"
    ".bead{fill:#fff;stroke:#000;stroke-width:2.4}"
    ".ground-chips,.ground-straw,.ground-fines,.ground-mineral,.ground-sheet{fill:#fff}"
    ".hatch-chips{fill:none;stroke:#5e431f;stroke-width:1.6;stroke-linecap:round}.hatch-dot-chips{fill:#5e431f}"
    ".hatch-straw{fill:none;stroke:#6f550d;stroke-width:1.5}.hatch-dot-straw{fill:#6f550d}"
    ".hatch-fines{fill:none;stroke:#3a2315;stroke-width:1.3}.hatch-dot-fines{fill:#3a2315}"
    ".hatch-mineral{fill:none;stroke:#45362b;stroke-width:1.3}.hatch-dot-mineral{fill:#45362b}"
    ".hatch-sheet{fill:none;stroke:#51432f;stroke-width:1.4}.hatch-dot-sheet{fill:#51432f}"
)
"""White grounds and dark strokes: shapes alone tell materials apart, also from a printer without color."""


@dataclass(frozen=True, slots=True)
class Print:
    """What is to be set: a template of this room, its data, drawings by name, and the day it bears."""

    template: str
    data: Mapping[str, Any]
    drawings: Mapping[str, str]
    day: date


def cleaned(words: Any) -> Any:
    """Text without signs that no font draws (control signs, lone surrogates), through lists and mappings."""
    if isinstance(words, str):
        return "".join(" " if unicodedata.category(sign) in ("Cc", "Cs") else sign for sign in words)
    if isinstance(words, Mapping):
        return {key: cleaned(value) for key, value in words.items()}
    if isinstance(words, list | tuple):
        return [cleaned(value) for value in words]
    return words


def drawing_for_paper(svg: str) -> str:
    """A cross-section that stands alone: with its namespace, and the style that a page's sheet would give."""
    alone = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return alone.replace("</title>", f"</title><style>{_CROSS_SECTION_STYLE}</style>", 1)


def paper_name(paper: str) -> str:
    """The typesetter's name of a paper; `InputError` names the ones there are."""
    if paper not in PAPERS:
        raise InputError(f"The paper {paper!r} is not known; choose {' or '.join(PAPERS)}.", field="paper")
    return PAPERS[paper]


def on_paper(job: Print, *, png_dots_per_inch: int | None = None) -> bytes:
    """A tagged PDF (PDF/UA-1), or one page as PNG where dots per inch are given.

    A name in a script that the typesetter's own fonts lack is set in the machine's fonts; the bytes then
    depend on the machine. Where those lack it too, the sign stays an empty box rather than stop the sheet.
    """
    import typst  # large: only when something is printed

    template = files("mulchwright.sheets").joinpath("templates", job.template).read_bytes()
    # Any: the typesetter takes a mapping of parts, which its own types do not tell.
    parts: Any = {"main": template, "data.json": json.dumps(cleaned(job.data), ensure_ascii=False).encode()}
    parts |= {name: cleaned(svg).encode() for name, svg in job.drawings.items()}
    if png_dots_per_inch is not None:
        picture: bytes = typst.compile(
            parts, format="png", ppi=png_dots_per_inch, ignore_system_fonts=_drawn_by_own_fonts(job)
        )
        return picture
    stamp = datetime.combine(job.day, time(), UTC)
    tries = ((True, True), (False, True), (False, False))
    for own_fonts_only, strict in tries:
        try:
            pdf: bytes = typst.compile(
                parts,
                ignore_system_fonts=own_fonts_only,
                pdf_standards="ua-1" if strict else None,
                timestamp=stamp,
            )
        except typst.TypstError as error:
            if "could not be displayed" not in error.message or not strict:
                raise
        else:
            return pdf
    raise AssertionError("the last try returns or raises")


def _drawn_by_own_fonts(job: Print) -> bool:
    """Whether all letters are Latin, Greek or Cyrillic, which the typesetter's own fonts have."""
    return all(
        ord(sign) < 0x530 or 0x2000 <= ord(sign) < 0x2300 for sign in json.dumps(job.data, ensure_ascii=False)
    )
