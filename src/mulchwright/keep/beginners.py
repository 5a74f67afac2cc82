"""What may be offered for a first bed: one rule for every page, computed from the tables, with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.trade import Lookalike, Trade

__all__ = ["LEAST_MARKS", "MOST_EFFORT", "RULE", "FirstBed", "for_first_bed"]

LEAST_MARKS = 2
MOST_EFFORT = 2
"""A first bed asks for no more than this, from 1 easy to 5 hard; our own judgment, as the scale is."""
RULE = (
    "A mushroom is offered for a first bed if a spore print and at least two marks you can see without a "
    "microscope tell it from every deadly look-alike, and if it asks for little skill. Marks can be learned; "
    "none of them proves what a find is."
)


@dataclass(frozen=True, slots=True)
class FirstBed:
    """Whether a species is offered for a first bed, and why, in a sentence; "" where nothing need be said.

    blurred : deadly look-alikes that a print and two marks do not tell from it.
    """

    offered: bool
    reason: str
    blurred: tuple[Lookalike, ...]


def for_first_bed(trade: Trade, species: str, *, effort: int = 1) -> FirstBed:
    """What the rule says of a species: its features against each of its deadly look-alikes.

    A look-alike is told apart where the print rules it out by the table `features`, and two features of
    other parts as well; two features of one part are two marks. effort : of the recipe, 1 to 5; the species'
    own counts where it is higher.
    """
    features = trade.features_of(species)
    deadly = [row for row in trade.lookalikes_of(species) if row.danger == "deadly"]
    blurred: list[Lookalike] = []
    why = ""
    for row in deadly:
        by_print = any(f.part == "print" and row.key in f.rules_out for f in features)
        marks = sum(f.part != "print" and row.key in f.rules_out for f in features)
        if by_print and marks >= LEAST_MARKS:
            continue
        blurred.append(row)
        if why:
            continue
        if not by_print:
            why = "a spore print does not tell the two apart"
        else:
            seen = "no mark" if marks == 0 else "only one mark"
            why = f"besides the spore print, {seen} on the list tells the two apart"
    if blurred:
        return FirstBed(
            False,
            f"Not for a first bed: it has a deadly double, {blurred[0].names[0]}, and {why}.",
            tuple(blurred),
        )
    if max(effort, trade.species[species].beginner_score) > MOST_EFFORT:
        return FirstBed(False, "Not for a first bed: it asks for more patience and skill.", ())
    if not deadly:
        return FirstBed(True, "", ())
    kinds = deadly[0].names[0] + (" and other deadly kinds" if len(deadly) > 1 else "")
    return FirstBed(
        True,
        f"Learn its marks first: {kinds} can come up in the same chips. A spore print and at least two marks "
        "tell each of them apart.",
        (),
    )
