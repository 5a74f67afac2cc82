"""What growers' terms mean, each in a sentence or two: the notes that open where a page first has the term.

Common practice, no source: these are words as growers use them, not definitions of a science.
"""

from __future__ import annotations

__all__ = ["TERMS", "trade_term"]

TERMS = {
    "mycelium": "the living part of the mushroom: fine white fibers in chips and straw, which they feed on.",
    "spawn": "chips, sawdust or grain with living mycelium in it: what you plant a bed with.",
    "spawn run": "the weeks in which the mycelium spreads from the spawn until the whole bed is colonized.",
    "colonized": "the part of the bed that mycelium has grown through. It looks white and holds together.",
    "leap-off": "the first days, in which mycelium grows out of the spawn into the new material.",
    "pinning": "the first tiny mushrooms, called pins, show a few days before there is anything to pick.",
    "flush": "mushrooms that come up together, within days. A bed gives several, with rests between.",
    "first picking": "the first day on which there is something ready to pick.",
    "substrate": "what the mycelium feeds on: wood chips, straw, sawdust.",
    "casing": "a thin top layer, such as fine bark, compost or soil, that keeps a bed moist and is not food.",
    "spawn layer": "spawn spread flat between two layers of chips or straw.",
    "spent": "a bed whose food is used up: chips gone dark and crumbly, hardly any white left.",
    "moisture": "water as a share of the wet weight. A handful squeezed hard should give a few drops.",
}  # fmt: skip


def trade_term(key: str) -> str:
    """What a term means; `KeyError` for one that is not in `TERMS`."""
    return TERMS[key]
