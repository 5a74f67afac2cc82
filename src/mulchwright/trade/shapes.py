"""How a mushroom looks, as it is drawn: the rows of shapes.toml, and what is asked of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from mulchwright.errors import TableError
from mulchwright.trade.model import Basis
from mulchwright.trade.table import Table

__all__ = ["SHAPE_PARTS", "Shape", "check_shapes"]

SHAPE_PARTS = frozenset(
    {
        "cap_form", "cap_width", "cap_color", "cap_second", "cap_surface", "gill_attachment", "gill_colors",
        "stem_thickness", "stem_at", "stem_color", "stem_surface", "ring", "base", "flesh_color",
        "flesh_change", "grows",
    }
)  # fmt: skip
"""What a row may call stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a grown mushroom looks, as it is drawn: a planted species or a look-alike, by its key there.

    Widths, lengths and thicknesses [mm] run from a small to a large grown one; 0 for no stem. Colors
    are names. cap_second : another color of the cap, and cap_second_at where: "age" (it fades so), "middle",
    "edge" or "scales". gill_colors : from the youngest to the ripe. flesh_change : "unknown" where no table
    says it. stated : the fields that the tables of species, features and look-alikes say in words; the
    rest is as field guides show it, from memory. drawn_as : the one of several kin that is drawn. A drawing
    identifies nothing.
    """

    key: str
    cap_form: str
    cap_width_low_mm: int
    cap_width_high_mm: int
    cap_color: str
    cap_surface: tuple[str, ...]
    gill_attachment: str
    gill_colors: tuple[str, ...]
    stem_length_low_mm: int
    stem_length_high_mm: int
    stem_thickness_low_mm: int
    stem_thickness_high_mm: int
    stem_at: str
    stem_color: str
    stem_surface: str
    ring: str
    base: str
    flesh_color: str
    flesh_change: str
    grows: str
    stated: tuple[str, ...]
    source: str
    place: str
    basis: Basis
    cap_second: str = ""
    cap_second_at: str = ""
    drawn_as: str = ""


def check_shapes(rows: Mapping[str, Shape], known: Collection[str], table: Table) -> None:
    """Raises `TableError` for a faulty row, and where a mushroom of `known` has none.

    At fault is a key that is not known, a size that does not rise, a stated field that is not drawn, and a
    color that is missing.
    """
    for key, row in rows.items():
        if key not in known:
            raise table.refuse(
                key, "key", "it is neither in species.toml nor in lookalikes.toml.",
                "Mend the spelling, or add the mushroom there.",
            )  # fmt: skip
        for part in ("cap_width", "stem_length", "stem_thickness"):
            low, high = getattr(row, f"{part}_low_mm"), getattr(row, f"{part}_high_mm")
            without = row.stem_at == "none" and part != "cap_width"
            if (low, high) != (0, 0) if without else not 0 < low <= high:
                raise table.refuse(
                    key, part, f"{low} to {high} mm does not rise from above 0.",
                    "Give the small and the large one in mm; 0 and 0 for a stem that is not there.",
                )  # fmt: skip
        unknown = sorted(set(row.stated) - SHAPE_PARTS)
        if unknown:
            raise table.refuse(
                key, "stated", f"{unknown[0]!r} is no part that is drawn.",
                f"Use some of: {', '.join(sorted(SHAPE_PARTS))}.",
            )  # fmt: skip
        if bool(row.cap_second) != bool(row.cap_second_at) or not row.gill_colors:
            raise table.refuse(
                key, "colors", "a color is missing, or where it is.",
                "Give gill_colors at least one, and cap_second and cap_second_at together.",
            )  # fmt: skip
    missing = sorted(set(known) - set(rows))
    if missing:
        raise TableError(f"shapes.toml has no row for {missing[0]!r}. Add one, so that it can be drawn.")
