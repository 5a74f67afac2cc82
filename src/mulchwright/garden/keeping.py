"""What becomes of the picks: who looked at them and how, where each part went, and the jars."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from mulchwright.garden.checks import require, require_key, require_name, require_number
from mulchwright.units import day_words

__all__ = [
    "Dryer",
    "DryingRun",
    "Fate",
    "Finding",
    "IdentityCheck",
    "Jar",
    "JarKind",
    "PickStage",
    "Use",
    "Weighing",
    "Wrapping",
    "check_kept",
    "check_kept_of",
    "check_uses",
]

SLACK_KG = 0.005
"""A kitchen scale's error: uses may exceed what was there by this much."""


class PickStage(StrEnum):
    """How far the mushroom had opened when it was picked."""

    BUTTON = "button"
    CLOSED = "closed"
    OPEN = "open"
    OLD = "old"


class Wrapping(StrEnum):
    """What fresh mushrooms lie in."""

    PAPER = "paper"
    PLASTIC = "plastic"


class Fate(StrEnum):
    """Where a part of a pick or of a jar went."""

    CHILL = "chill"
    EAT = "eat"
    DRY = "dry"
    FREEZE = "freeze"
    GIVE = "give"
    DISCARD = "discard"

    @property
    def feeds(self) -> bool:
        """Whether somebody will eat it, so that the identity check must have been passed."""
        return self in (Fate.EAT, Fate.DRY, Fate.FREEZE, Fate.GIVE)


class Finding(StrEnum):
    """What a look at one feature found."""

    AS_DESCRIBED = "as_described"
    DIFFERENT = "different"
    NOT_SEEN = "not_seen"


class JarKind(StrEnum):
    """How what is in it was kept."""

    DRIED = "dried"
    FROZEN = "frozen"


@dataclass(frozen=True, slots=True)
class IdentityCheck:
    """One look, feature by feature, at what was picked from a patch on a day.

    findings : feature key of the trade's table and what was found, in the order of the table.
    picks : keys of the logbook's picks it covers. species : what the patch was sown with, as checked against.
    by : who looked. second_look_by : who else looked, a person or a society, where somebody did.
    print_color : as it was seen. print_laid_at, print_read_at : when the cap was laid for the print and when
    its color was noted; None in books before version 6 and where no print was taken.
    It records a look; it proves nothing.
    """

    key: str
    patch: str
    species: str
    day: date
    findings: tuple[tuple[str, Finding], ...]
    picks: tuple[str, ...] = ()
    by: str = ""
    print_color: str = ""
    text: str = ""
    entered_at: datetime | None = None
    print_laid_at: datetime | None = None
    print_read_at: datetime | None = None
    second_look_by: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "An identity check")
        require_key(self.patch, "An identity check's patch")
        require_key(self.species, "An identity check's species")
        names = [feature for feature, _ in self.findings]
        require(
            len(set(names)) == len(names), "One feature was answered twice; answer each once.", "findings"
        )
        for key in (*names, *self.picks):
            require_key(key, "What an identity check names")
        require(len(self.by) <= 80, "The name of who looked is longer than 80 characters.", "by")
        require(
            len(self.print_color) <= 80, "The color of the print is longer than 80 characters.", "print_color"
        )
        require(
            len(self.second_look_by) <= 80,
            "The name of who else looked is longer than 80 characters.",
            "second_look_by",
        )
        for name in ("print_laid_at", "print_read_at"):
            at = getattr(self, name)
            require(
                at is None or at.tzinfo is not None,
                f"The identity check of {day_words(self.day)} tells a time of its print without the time "
                "zone; give the offset.",
                name,
            )
        if self.print_laid_at is not None and self.print_read_at is not None:
            require(
                self.print_read_at >= self.print_laid_at,
                f"In the identity check of {day_words(self.day)} the print was read before it was laid. "
                "Correct one of the times.",
                "print_read_at",
            )
        require(len(self.text) <= 10_000, "A note of more than 10,000 characters; shorten it.", "text")
        _require_zone(self.entered_at, self.day)


@dataclass(frozen=True, slots=True)
class Use:
    """A part of a pick, or of a jar, and where it went.

    Just one of `pick` (key of a logbook entry) and `jar` names where it came from. check : the identity
    check that opened the fate. into : the jar it was put into, for drying and freezing. mass_kg : as it
    was taken, fresh from a pick, dry or frozen from a jar.
    """

    key: str
    day: date
    fate: Fate
    mass_kg: float
    pick: str = ""
    jar: str = ""
    check: str = ""
    into: str = ""
    text: str = ""
    entered_at: datetime | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "A use")
        require(
            bool(self.pick) != bool(self.jar), "Say from which pick or from which jar it was taken.", "pick"
        )
        for key in (self.pick, self.jar, self.check, self.into):
            if key:
                require_key(key, "What a use names")
        require_number(self.mass_kg, 0.0001, 1000, "mass that was used", "kg", "mass_kg")
        require(len(self.text) <= 10_000, "A note of more than 10,000 characters; shorten it.", "text")
        _require_zone(self.entered_at, self.day)


@dataclass(frozen=True, slots=True)
class Jar:
    """A jar of dried or a pack of frozen mushrooms.

    mass_kg : what was put in. picks : keys of the picks that went in. kept_at_c : where it stands.
    humidity : what a hygrometer in the closed jar showed after a day, share; None where none was laid in.
    """

    key: str
    name: str
    kind: JarKind
    species: str
    made_on: date
    mass_kg: float
    best_by: date
    picks: tuple[str, ...] = ()
    kept_at_c: float = 18.0
    humidity: float | None = None
    text: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "A jar")
        require_name(self.name, "The jar")
        require_key(self.species, f"Jar {self.name!r}: its species")
        require_number(self.mass_kg, 0.001, 100, f"mass in jar {self.name!r}", "kg", "mass_kg")
        require(
            self.best_by >= self.made_on, f"Jar {self.name!r} is best by a day before it was made.", "best_by"
        )
        require_number(self.kept_at_c, -40, 40, f"temperature of jar {self.name!r}", "°C", "kept_at_c")
        if self.humidity is not None:
            require_number(self.humidity, 0, 1, f"humidity in jar {self.name!r}", "", "humidity")
        for key in self.picks:
            require_key(key, f"Jar {self.name!r}: a pick in it")
        require(len(self.text) <= 10_000, "A note of more than 10,000 characters; shorten it.", "text")


@dataclass(frozen=True, slots=True)
class Dryer:
    """A dryer as its owner knows it: trays, the area of one, and what its label says it draws."""

    key: str
    name: str
    trays: int
    tray_area_m2: float
    watts: float

    def __post_init__(self) -> None:
        require_key(self.key, "A dryer")
        require_name(self.name, "The dryer")
        require_number(self.trays, 1, 60, "number of trays", "", "trays")
        require_number(self.tray_area_m2, 0.01, 2, "area of one tray", "m²", "tray_area_m2")
        require_number(self.watts, 50, 5000, "watts on the dryer's label", "W", "watts")


@dataclass(frozen=True, slots=True)
class Weighing:
    """A load on the scale during drying."""

    at: datetime
    mass_kg: float

    def __post_init__(self) -> None:
        require(self.at.tzinfo is not None, "A weighing's time lacks its zone; give the offset.", "at")
        require_number(self.mass_kg, 0.001, 100, "mass of the load", "kg", "mass_kg")


@dataclass(frozen=True, slots=True)
class DryingRun:
    """A load in the dryer, from slicing to the jar.

    fresh_kg : what went in; uses : keys of the uses that put it there. ended_at and dry_kg : once it is out.
    """

    key: str
    dryer: str
    started_at: datetime
    fresh_kg: float
    thickness_m: float
    temperature_c: float
    room_temperature_c: float = 20.0
    room_humidity: float = 0.6
    uses: tuple[str, ...] = ()
    weighings: tuple[Weighing, ...] = ()
    ended_at: datetime | None = None
    dry_kg: float | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "A load")
        require_key(self.dryer, "A load's dryer")
        require(self.started_at.tzinfo is not None, "The start lacks its time zone.", "started_at")
        require_number(self.fresh_kg, 0.01, 100, "fresh mass of the load", "kg", "fresh_kg")
        require_number(self.thickness_m, 0.001, 0.03, "thickness of the slices", "m", "thickness_m")
        require_number(self.temperature_c, 35, 75, "temperature of the dryer", "°C", "temperature_c")
        require_number(self.room_temperature_c, -5, 45, "temperature of the room", "°C", "room_temperature_c")
        require_number(self.room_humidity, 0, 1, "humidity of the room", "", "room_humidity")
        require(
            self.ended_at is None or self.ended_at >= self.started_at,
            "The load came out before it went in; correct one of the times.",
            "ended_at",
        )
        for weighing in self.weighings:
            require(
                weighing.mass_kg <= self.fresh_kg * 1.01,
                f"{weighing.mass_kg * 1000:.0f} g is heavier than the {self.fresh_kg * 1000:.0f} g "
                "that went in. "
                "Weigh again with the same trays, or correct the start.",
                "mass_kg",
            )
        if self.dry_kg is not None:
            require_number(self.dry_kg, 0.001, self.fresh_kg, "dry mass", "kg", "dry_kg")


def check_uses(uses: Iterable[Use], there_kg: float, what: str) -> None:
    """Refuse uses of one pick or jar that together exceed what was there; chilling uses nothing up."""
    used = sum(use.mass_kg for use in uses if use.fate is not Fate.CHILL)
    require(
        used <= there_kg + SLACK_KG,
        f"{what} held {there_kg * 1000:.0f} g, and {used * 1000:.0f} g of it are used. "
        "Correct one of the masses, or take from another.",
        "mass_kg",
    )


def check_kept(
    picks_kg: Mapping[str, float],
    *,
    checks: Sequence[IdentityCheck],
    uses: Sequence[Use],
    jars: Sequence[Jar],
    dryers: Sequence[Dryer],
    dryings: Sequence[DryingRun],
) -> None:
    """Refuse what names a jar, check, use or dryer that is not there, and more used than there was.

    picks_kg : mass of each pick by key; what was used of a pick that is not among them is not counted.
    """
    held = {jar.key: jar for jar in jars}
    known_checks = {check.key for check in checks}
    of_pick: dict[str, list[Use]] = {}
    of_jar: dict[str, list[Use]] = {}
    for use in uses:
        if use.pick:
            of_pick.setdefault(use.pick, []).append(use)
        else:
            require(
                use.jar in held,
                f"{_use_words(use)} was taken from jar {use.jar!r}, which is not there.",
                "jar",
            )
            of_jar.setdefault(use.jar, []).append(use)
        require(
            not use.into or use.into in held,
            f"{_use_words(use)} went into jar {use.into!r}, which is not there.",
            "into",
        )
        require(
            not use.check or use.check in known_checks,
            f"{_use_words(use)} names the identity check {use.check!r}, which is not there.",
            "check",
        )
    for pick, taken in of_pick.items():
        if pick in picks_kg:
            check_uses(taken, picks_kg[pick], f"The pick {pick!r}")
    for key, taken in of_jar.items():
        check_uses(taken, held[key].mass_kg, f"Jar {held[key].name!r}")
    dryer_keys = {dryer.key for dryer in dryers}
    use_keys = {use.key for use in uses}
    for run in dryings:
        words = f"The load of {day_words(run.started_at)}"
        require(run.dryer in dryer_keys, f"{words} is in dryer {run.dryer!r}, which is not there.", "dryer")
        for key in run.uses:
            require(key in use_keys, f"{words} names the use {key!r}, which is not there.", "uses")


def check_kept_of(
    picks: Collection[str], patches: Collection[str], checks: Sequence[IdentityCheck], uses: Iterable[Use]
) -> None:
    """Refuse a use of a pick, and an identity check of a patch, that are not among these.

    And what feeds somebody from a pick that no check covers, whoever wrote it down: what the check found is
    judged by the room `keep`. A check or a jar may name picks that were taken out of the logbook since.
    """
    covered = {(check.key, pick) for check in checks for pick in check.picks}
    for check in checks:
        require(
            check.patch in patches,
            f"The identity check of {day_words(check.day)} names patch {check.patch!r}, not in this garden.",
            "patch",
        )
    for use in uses:
        require(
            not use.pick or use.pick in picks,
            f"{_use_words(use)} was taken from the pick {use.pick!r}, which is not in the logbook as a pick.",
            "pick",
        )
        require(
            not use.pick or not use.fate.feeds or (use.check, use.pick) in covered,
            f"{_use_words(use)} names no identity check that covers this pick. Make the check first; until "
            "then it may lie in the refrigerator.",
            "check",
        )


def _use_words(use: Use) -> str:
    return f"The use of {day_words(use.day)} ({use.mass_kg * 1000:.0f} g, {use.fate.value})"


def _require_zone(at: datetime | None, day: date) -> None:
    require(
        at is None or at.tzinfo is not None,
        f"The entry of {day_words(day)} was written down at a time without its zone; give the offset.",
        "entered_at",
    )
