"""Species keys in texts, replaced by the names growers use."""

from __future__ import annotations

from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade


def species_named(text: str, trade: Trade) -> str:
    """Keys of species in a sentence as their names."""
    for key in sorted(trade.species, key=len, reverse=True):
        if "-" in key:
            text = text.replace(key, species_name(key, trade))
    return text
