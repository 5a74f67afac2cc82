"""The steps that can be taken back, and the request ids of writes, to rows and back.

As in `rows`, functions run inside a transaction that the caller holds.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from mulchwright.book.nouns import KINDS, SETTING, type_of
from mulchwright.book.plain import as_text, noun_from

__all__ = [
    "REQUEST_IDS_HELD_DAYS",
    "STEPS_KEPT",
    "Part",
    "forget_request_ids",
    "next_position",
    "parts_of",
    "record_step",
]

STEPS_KEPT = 50
REQUEST_IDS_HELD_DAYS = 400


@dataclass(frozen=True, slots=True)
class Part:
    """One noun of an act: as it was and as it shall be; None where it was not there, or shall be gone.

    noun : of `nouns.KINDS`, or `nouns.SETTING`. key : as `nouns.key_of` gives it, or the setting's name.
    position, position_before : where it stands among its like after the act and before; an act that leaves
    them None gets them when it is applied, behind the last for what is new.
    """

    noun: str
    key: str
    before: Any
    after: Any
    position: int | None = None
    position_before: int | None = None

    def swapped(self) -> Part:
        """The part that takes this one back."""
        return replace(
            self,
            before=self.after,
            after=self.before,
            position=self.position_before,
            position_before=self.position,
        )


def record_step(connection: sqlite3.Connection, step: int, what: str, parts: Iterable[Part]) -> None:
    """Keep what an act replaced; only the latest `STEPS_KEPT` steps stay."""
    connection.execute("INSERT INTO undo_step VALUES (?, ?, NULL)", (step, what))
    connection.executemany(
        "INSERT INTO undo_part VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            (
                step, n, part.noun, part.key, as_text(part.before), as_text(part.after), part.position,
                part.position_before,
            )
            for n, part in enumerate(parts)
        ),
    )  # fmt: skip
    _forget_steps(connection)


def _forget_steps(connection: sqlite3.Connection) -> None:
    """Let go of the steps before the latest `STEPS_KEPT`, and of the photos that only they still knew.

    An entry that was removed can be brought back as long as its step is kept, so its photos stay until
    then. A photo that no entry ever named is left alone: its entry may still be on the way from a phone.
    """
    old = [
        row[0]
        for row in connection.execute(
            "SELECT step FROM undo_step ORDER BY step DESC LIMIT -1 OFFSET ?", (STEPS_KEPT,)
        )
    ]
    for step in old:
        named = _photos_in(connection, "step = ?", step)
        connection.execute("DELETE FROM undo_step WHERE step = ?", (step,))
        if named:
            named -= {row[0] for row in connection.execute("SELECT photo FROM log_photo")}
            named -= _photos_in(connection, "step > ?", step)
            connection.executemany("DELETE FROM photo WHERE key = ?", ((key,) for key in sorted(named)))


def _photos_in(connection: sqlite3.Connection, where: str, step: int) -> set[str]:
    """Keys of the photos that entries name in the texts of steps."""
    texts = connection.execute(
        f"SELECT before, after FROM undo_part WHERE noun = 'entry' AND {where}", (step,)
    ).fetchall()
    return {key for row in texts for text in row if text for key in json.loads(text).get("photos", ())}


def parts_of(connection: sqlite3.Connection, step: int) -> list[Part]:
    """What an act changed, in order."""
    return [
        Part(noun, key, noun_from(before, type_of(noun, key)), noun_from(after, type_of(noun, key)), *places)
        for noun, key, before, after, *places in connection.execute(
            "SELECT noun, key, before, after, place, place_before FROM undo_part"
            " WHERE step = ? ORDER BY position",
            (step,),
        )
    ]


def next_position(connection: sqlite3.Connection, noun: str) -> int:
    """The position behind the last of its like, and behind those that an undo could bring back."""
    if noun == SETTING or not KINDS[noun].ordered:
        return 0
    row = connection.execute(
        f"SELECT max(coalesce((SELECT max(position) FROM {KINDS[noun].table}), -1),"
        " coalesce((SELECT max(max(coalesce(place, -1), coalesce(place_before, -1)))"
        " FROM undo_part WHERE noun = ?), -1))",
        (noun,),
    ).fetchone()
    return int(row[0]) + 1


def forget_request_ids(connection: sqlite3.Connection, today: date) -> None:
    """Let go of the request ids of writes that no phone will send again."""
    oldest = (today - timedelta(days=REQUEST_IDS_HELD_DAYS)).isoformat()
    connection.execute("DELETE FROM write_mark WHERE kept_from < ?", (oldest,))
