"""What is written down as the season goes: the logbook's entries, and readings of gauge and thermometer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.checks import require, require_key, require_name, require_number
from mulchwright.garden.keeping import PickStage
from mulchwright.units import day_words

__all__ = [
    "LogEntry",
    "LogKind",
    "Reading",
    "SavedOutlook",
    "Sight",
    "free_key",
]

LONGEST_LIST = 50
"""Signs, or photos, that one entry may name; a guard against a broken upload."""


class LogKind(StrEnum):
    """What a logbook entry tells."""

    BUILT = "built"
    WATERED = "watered"
    LOOKED = "looked"
    PICKED = "picked"
    TOPPED_UP = "topped_up"
    MOVED = "moved"
    NOTE = "note"


class Sight(StrEnum):
    """What a look at a bed found, the most telling of it.

    ALIVE, DEAD : what a search for life found in a bed that had suffered: mycelium that smells and looks
    alive, or nothing alive anywhere.
    """

    NOTHING = "nothing"
    THREADS = "threads"
    PINS = "pins"
    READY = "ready"
    ALIVE = "alive"
    DEAD = "dead"


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One line of the logbook: what was done or seen at a patch on a day.

    `litres` for watered, `mass_kg` and `count` for picked, `sight` and `share` run (0 to 1) for a look,
    `stage` for picked (how far most of them had opened), `material` and `thickness_m` for topped up,
    `to_patch` (empty for out of the garden), `litres` loose, `material` and `share` run and alive (what the
    grower saw; None lets the outlook work it out) for living chips that were moved.
    signs : keys of the trade's table of signs, for what looked wrong. photos : keys of pictures in the book.
    entered_at : when it was written down, with its time zone; orders the entries of one day.
    by : whose phone wrote it, as it was paired; empty for the computer itself.
    """

    key: str
    patch: str
    day: date
    kind: LogKind
    litres: float | None = None
    mass_kg: float | None = None
    share: float | None = None
    text: str = ""
    sight: Sight | None = None
    count: int | None = None
    material: str = ""
    thickness_m: float | None = None
    to_patch: str = ""
    signs: tuple[str, ...] = ()
    photos: tuple[str, ...] = ()
    entered_at: datetime | None = None
    by: str = ""
    stage: PickStage | None = None

    def __post_init__(self) -> None:
        # Years of logbook are checked whenever a book is read: a message is written only where it is needed.
        require_key(self.key, "A logbook entry")
        require_key(self.patch, "A logbook entry's patch")
        if self.litres is not None:
            require_number(self.litres, 0, 100_000, "litres of a watering", "L", "litres")
        elif self.kind is LogKind.WATERED:
            raise InputError(
                f"The watering of {day_words(self.day)} has no amount; give litres.", field="litres"
            )
        if self.mass_kg is not None:
            require_number(self.mass_kg, 0, 1000, "mass of a pick", "kg", "mass_kg")
        elif self.kind is LogKind.PICKED:
            raise InputError(
                f"The pick of {day_words(self.day)} has no mass; give it in kilograms.", field="mass_kg"
            )
        if self.share is not None:
            require_number(self.share, 0, 1, "share run", "", "share")
        require(len(self.text) <= 10_000, "A note of more than 10,000 characters; shorten it.", "text")
        if self.count is not None:
            require_number(self.count, 1, 100_000, "count of mushrooms", "", "count")
            require(isinstance(self.count, int), "The mushrooms are counted in whole numbers.", "count")
        if self.thickness_m is not None:
            require_number(self.thickness_m, 0.001, 1, "thickness that was added", "m", "thickness_m")
        if self.sight is not None and self.kind is not LogKind.LOOKED:
            raise InputError(
                f"The entry of {day_words(self.day)} tells what a look found but is not a look; "
                "enter a look.",
                field="sight",
            )
        if self.stage is not None and self.kind is not LogKind.PICKED:
            raise InputError(
                f"The entry of {day_words(self.day)} tells how far caps had opened but is no pick; "
                "enter a pick.",
                field="stage",
            )
        if self.signs or self.photos or self.to_patch or self.material:
            self._check_what_it_names()
        if self.entered_at is not None and self.entered_at.tzinfo is None:
            raise InputError(
                f"The entry of {day_words(self.day)} was written down at a time without its zone; "
                "give the offset.",
                field="entered_at",
            )
        require(len(self.by) <= 80, "The name of the phone is longer than 80 characters.", "by")

    def _check_what_it_names(self) -> None:
        for field_name, keys in (("signs", self.signs), ("photos", self.photos)):
            require(
                len(keys) <= LONGEST_LIST and len(set(keys)) == len(keys),
                f"The entry of {day_words(self.day)} names one of its {field_name} twice, or more than "
                f"{LONGEST_LIST} of them.",
                field_name,
            )
        for key in (*self.signs, *self.photos, *filter(None, (self.to_patch, self.material))):
            require_key(key, f"The entry of {day_words(self.day)}: what it names")


@dataclass(frozen=True, slots=True)
class Reading:
    """What the grower read off the garden's own rain gauge and thermometer for one day.

    The rain of the day in millimeters, the lowest and highest temperature in degrees Celsius; what was
    not read is None. A reading outranks the station's figure for that day.
    """

    day: date
    rain_mm: float | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    entered_at: datetime | None = None

    def __post_init__(self) -> None:
        measured = (self.rain_mm, self.temperature_min_c, self.temperature_max_c)
        require(
            any(value is not None for value in measured),
            f"The reading of {day_words(self.day)} tells nothing; give the rain or a temperature.",
            "rain_mm",
        )
        if self.rain_mm is not None:
            require_number(self.rain_mm, 0, 600, "rain of a day", "mm", "rain_mm")
        for value, name, which in (
            (self.temperature_min_c, "temperature_min_c", "lowest"),
            (self.temperature_max_c, "temperature_max_c", "highest"),
        ):
            if value is not None:
                require_number(value, -60, 60, f"{which} temperature of a day", "°C", name)
        low, high = self.temperature_min_c, self.temperature_max_c
        require(
            low is None or high is None or low <= high,
            f"On {day_words(self.day)} the lowest temperature is above the highest; look at the two again.",
            "temperature_min_c",
        )


@dataclass(frozen=True, slots=True)
class SavedOutlook:
    """What the outlook said on a day, kept so that it can be held against what came.

    model_version : of the program that said it. patches : key of each patch and a compact text (JSON),
    whose form is the business of whoever keeps it.
    """

    made_on: date
    model_version: str
    patches: tuple[tuple[str, str], ...]

    def __post_init__(self) -> None:
        require_name(self.model_version, "The outlook kept", "model_version")
        keys = [key for key, _ in self.patches]
        for key in keys:
            require_key(key, "A patch of the outlook kept")
        require(
            len(set(keys)) == len(keys), "The outlook kept tells of one patch twice; keep one.", "patches"
        )
        for key, text in self.patches:
            require(
                len(text) <= 200_000, f"What was kept of patch {key!r} is over 200,000 characters.", "patches"
            )


def free_key(entry_day: date, kind: LogKind, taken: Iterable[str]) -> str:
    """A key for a new entry, of its day and kind, that is not among those taken."""
    held = set(taken)
    stem = f"{entry_day.isoformat()}-{kind.value.replace('_', '-')}"
    return next(key for n in range(1, len(held) + 2) if (key := f"{stem}-{n}") not in held)
