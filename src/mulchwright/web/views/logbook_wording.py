"""How an entry of the logbook is told: in one line, wherever it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.garden import Garden, LogEntry, LogKind, PickStage, Sight
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.trade import Trade

KIND_WORDS = {
    LogKind.WATERED: "Watered",
    LogKind.LOOKED: "Looked",
    LogKind.PICKED: "Picked",
    LogKind.TOPPED_UP: "Topped up",
    LogKind.MOVED: "Moved chips",
    LogKind.NOTE: "Note",
    LogKind.BUILT: "Built",
}
SIGHT_WORDS = {
    Sight.NOTHING: "found nothing",
    Sight.THREADS: "mycelium",
    Sight.PINS: "pins",
    Sight.READY: "ready to pick",
    Sight.ALIVE: "smells and looks alive",
    Sight.DEAD: "nothing alive left",
}
STAGE_WORDS = {
    PickStage.BUTTON: "buttons",
    PickStage.CLOSED: "veil whole",
    PickStage.OPEN: "open, gills showing",
    PickStage.OLD: "old, flat or soft",
}


def newest_first(log: Sequence[LogEntry]) -> list[LogEntry]:
    """Entries by day, the newest first; those of one day by when they were written down, if that is known."""
    placed = enumerate(log)
    ordered = sorted(
        placed,
        key=lambda pair: (
            pair[1].day,
            pair[1].entered_at.timestamp() if pair[1].entered_at else 0.0,
            pair[0],
        ),
        reverse=True,
    )
    return [entry for _, entry in ordered]


def log_words(
    entry: LogEntry, system: str, *, garden: Garden | None = None, trade: Trade | None = None
) -> str:
    """A logbook entry in one line; garden and trade give names where only keys are written down."""
    if entry.kind is LogKind.WATERED:
        what = f"watered, {units.show_volume(entry.litres or 0.0, system)}"
    elif entry.kind is LogKind.LOOKED:
        what = "looked"
        if entry.sight is not None:
            what += f", {SIGHT_WORDS[entry.sight]}"
        if entry.share is not None:
            what += f", colonized {words.share(entry.share)}"
    elif entry.kind is LogKind.PICKED:
        what = f"picked {units.show_mass(entry.mass_kg or 0.0, system)}"
        if entry.count is not None:
            what += f", {words.plural(entry.count, 'mushroom')}"
        if entry.stage is not None:
            what += f", {STAGE_WORDS[entry.stage]}"
    elif entry.kind is LogKind.TOPPED_UP:
        what = "topped up"
        if entry.thickness_m is not None:
            what += f" by {units.show_length(entry.thickness_m, system)}"
        if entry.material:
            what += f" with {_material(entry.material, trade)}"
    elif entry.kind is LogKind.MOVED:
        what = "moved living chips"
        if entry.litres is not None:
            what += f", {units.show_volume(entry.litres, system)},"
        if entry.to_patch:
            what += f" to {_bed(entry.to_patch, garden)}"
        elif entry.litres is not None:
            what += " out of the garden"
        if entry.share is not None:
            what += f"; {words.share(entry.share)} colonized and alive"
    else:
        what = KIND_WORDS[entry.kind].lower()
    if entry.signs:
        what += f"; {sign_words(entry.signs, trade)}"
    return f"{what}: {entry.text}" if entry.text else what


def sign_words(signs: Sequence[str], trade: Trade | None) -> str:
    """What looked wrong, in the trade table's words."""
    known = trade.symptoms if trade else {}
    return words.joined([
        known[key].sign[:1].lower() + known[key].sign[1:] if key in known else key.replace("-", " ")
        for key in signs
    ])  # fmt: skip


def _material(key: str, trade: Trade | None) -> str:
    return trade.materials[key].names[0] if trade and key in trade.materials else key.replace("-", " ")


def _bed(key: str, garden: Garden | None) -> str:
    return next((p.name for p in garden.patches if p.key == key), key) if garden else key.replace("-", " ")
