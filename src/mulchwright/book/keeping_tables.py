"""The tables of a garden file that tell what became of the picks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Annotated, Any, Protocol

from pydantic import BeforeValidator, Field

from mulchwright.book.forms import Day, Form, Moment, NounForm, SpeciesKey
from mulchwright.book.keys import slug
from mulchwright.book.quantities import (
    Area,
    Mass,
    Share,
    Temperature,
    Thickness,
    given,
    looked_up,
    spoken,
    word,
)
from mulchwright.errors import InputError
from mulchwright.garden import LogEntry, LogKind, Patch
from mulchwright.garden.keeping import (
    Dryer,
    DryingRun,
    Fate,
    Finding,
    IdentityCheck,
    Jar,
    JarKind,
    Use,
    Weighing,
)

__all__ = ["CheckTable", "DryerTable", "DryingTable", "JarTable", "UseTable", "kept_of"]


def _named(typed: Any) -> Any:
    """A key as a text, or a day written as a day: its text."""
    return typed.isoformat() if type(typed) is date else typed


Named = Annotated[str, BeforeValidator(_named)]
"""A pick, a check or a use, by its key or by its day where that day has just one."""


class CheckTable(NounForm[None]):
    patch: str
    day: Day
    findings: dict[str, Annotated[Finding, Field(strict=False), BeforeValidator(word)]]
    key: str | None = None
    species: Annotated[SpeciesKey, spoken("species")] | None = None
    picks: list[Named] = Field(default_factory=list)
    by: str = ""
    print_color: str = ""
    text: str = ""
    entered_at: Moment | None = None
    print_laid_at: Moment | None = None
    print_read_at: Moment | None = None
    second_look_by: str = ""

    def noun(self) -> None:
        """Nothing yet: which patch and picks are meant shows when all are known; the rest is checked here."""
        self.check("any", self.species or "any", 1, picks=())

    def check(self, patch: str, species: str, number: int, *, picks: tuple[str, ...]) -> IdentityCheck:
        species = self.species or species
        return IdentityCheck(
            key=self.key or f"check-{number}",
            patch=patch,
            species=species,
            day=self.day,
            findings=tuple((_feature(species, name), found) for name, found in self.findings.items()),
            picks=picks,
            by=self.by,
            print_color=self.print_color,
            text=self.text,
            entered_at=self.entered_at,
            print_laid_at=self.print_laid_at,
            print_read_at=self.print_read_at,
            second_look_by=self.second_look_by,
        )


def _feature(species: str, name: str) -> str:
    """The key of a feature, which may be written without its species: "stem base"."""
    key = slug(name)
    return key if key.startswith(f"{species}-") else f"{species}-{key}"


class UseTable(NounForm[None]):
    day: Day
    fate: Annotated[Fate, Field(strict=False), BeforeValidator(word)]
    mass: Mass
    key: str | None = None
    pick: Named | None = None
    jar: str | None = None
    check: Named | None = None
    into: str | None = None
    text: str = ""
    entered_at: Moment | None = None

    def noun(self) -> None:
        """Nothing yet, as for a check."""
        self.use(1, pick="any" if self.pick else "", jar="any" if self.jar else "", check="", into="")

    def use(self, number: int, *, pick: str, jar: str, check: str, into: str) -> Use:
        return Use(
            key=self.key or f"use-{number}",
            day=self.day,
            fate=self.fate,
            mass_kg=self.mass,
            pick=pick,
            jar=jar,
            check=check,
            into=into,
            text=self.text,
            entered_at=self.entered_at,
        )


class JarTable(NounForm[None]):
    name: str
    kind: Annotated[JarKind, Field(strict=False), BeforeValidator(word)]
    species: Annotated[SpeciesKey, spoken("species")]
    made_on: Day
    mass: Mass
    best_by: Day
    key: str | None = None
    picks: list[Named] = Field(default_factory=list)
    kept_at: Temperature | None = None
    humidity: Share | None = None
    text: str = ""

    def noun(self) -> None:
        """Nothing yet, as for a check."""
        self.made_of(())

    def made_of(self, picks: tuple[str, ...]) -> Jar:
        return Jar(
            key=self.key or slug(self.name),
            name=self.name,
            kind=self.kind,
            species=self.species,
            made_on=self.made_on,
            mass_kg=self.mass,
            best_by=self.best_by,
            picks=picks,
            humidity=self.humidity,
            text=self.text,
            **given(kept_at_c=self.kept_at),
        )


class DryerTable(NounForm[Dryer]):
    name: str
    trays: int
    tray_area: Area
    watts: float
    key: str | None = None

    def noun(self) -> Dryer:
        return Dryer(self.key or slug(self.name), self.name, self.trays, self.tray_area, self.watts)


class WeighingTable(Form):
    at: Moment
    mass: Mass


class DryingTable(NounForm[None]):
    dryer: str
    started_at: Moment
    fresh: Mass
    thickness: Thickness
    temperature: Temperature
    key: str | None = None
    room_temperature: Temperature | None = None
    room_humidity: Share | None = None
    uses: list[Named] = Field(default_factory=list)
    weighing: list[WeighingTable] = Field(default_factory=list)
    ended_at: Moment | None = None
    dry: Mass | None = None

    def noun(self) -> None:
        """Nothing yet, as for a check."""
        self.run("any", 1, uses=())

    def run(self, dryer: str, number: int, *, uses: tuple[str, ...]) -> DryingRun:
        return DryingRun(
            key=self.key or f"load-{number}",
            dryer=dryer,
            started_at=self.started_at,
            fresh_kg=self.fresh,
            thickness_m=self.thickness,
            temperature_c=self.temperature,
            uses=uses,
            weighings=tuple(Weighing(one.at, one.mass) for one in self.weighing),
            ended_at=self.ended_at,
            dry_kg=self.dry,
            **given(room_temperature_c=self.room_temperature, room_humidity=self.room_humidity),
        )


class Kitchen(Protocol):
    """The tables of the kitchen in a garden file, which name one another and the picks of the logbook."""

    check: list[CheckTable]
    use: list[UseTable]
    jar: list[JarTable]
    dryer: list[DryerTable]
    drying: list[DryingTable]


def kept_of(kitchen: Kitchen, patches: Sequence[Patch], log: Sequence[LogEntry]) -> dict[str, Any]:
    """The garden's fields that these tables fill; `InputError` names the table and what it misses."""
    patch_of = {slug(one.name): one for one in patches} | {one.key: one for one in patches}
    picks = _by_day([entry for entry in log if entry.kind is LogKind.PICKED])
    checks = []
    for number, line in enumerate(kitchen.check, start=1):
        with _at(f"check {number} ({line.day.isoformat()})"):
            patch = looked_up(line.patch, patch_of, "patch", "write it as a [[patch]] table")
            covered = _keys(line.picks, picks, "pick", "[[log]]")
            checks.append(line.check(patch.key, patch.species, number, picks=covered))
    jars = []
    for number, jar in enumerate(kitchen.jar, start=1):
        with _at(f"jar {number} ({jar.name})"):
            jars.append(jar.made_of(_keys(jar.picks, picks, "pick", "[[log]]")))
    jar_of = {slug(one.name): one.key for one in jars} | {one.key: one.key for one in jars}
    check_of, uses = _by_day(checks), []
    for number, use in enumerate(kitchen.use, start=1):
        with _at(f"use {number} ({use.day.isoformat()})"):
            jar_key, into = (
                looked_up(name, jar_of, "jar", "write it as a [[jar]] table") if name else ""
                for name in (use.jar, use.into)
            )
            pick, check = (
                "".join(_keys([name] if name else [], known, what, table))
                for name, known, what, table in (
                    (use.pick, picks, "pick", "[[log]]"),
                    (use.check, check_of, "check", "[[check]]"),
                )
            )
            uses.append(use.use(number, pick=pick, jar=jar_key, check=check, into=into))
    dryers = [dryer.noun() for dryer in kitchen.dryer]
    dryer_of = {slug(one.name): one.key for one in dryers} | {one.key: one.key for one in dryers}
    use_of, dryings = _by_day(uses), []
    for number, run in enumerate(kitchen.drying, start=1):
        with _at(f"drying {number} ({run.started_at.date().isoformat()})"):
            dryer_key = looked_up(run.dryer, dryer_of, "dryer", "write it as a [[dryer]] table")
            named = _keys(run.uses, use_of, "use", "[[use]]")
            dryings.append(run.run(dryer_key, number, uses=named))
    return {
        "checks": tuple(checks),
        "uses": tuple(uses),
        "jars": tuple(jars),
        "dryers": tuple(dryers),
        "dryings": tuple(dryings),
    }


@contextmanager
def _at(where: str) -> Iterator[None]:
    """Says of a refusal within it at which table it happened."""
    try:
        yield
    except InputError as error:
        raise InputError(f"{where}: {error}", field=error.field) from None


def _by_day(nouns: Sequence[LogEntry | IdentityCheck | Use]) -> dict[str, list[str]]:
    """Keys of the nouns, by their key and by their day."""
    known: dict[str, list[str]] = {}
    for one in nouns:
        known.setdefault(one.day.isoformat(), []).append(one.key)
    return known | {one.key: [one.key] for one in nouns}


def _keys(names: Sequence[str], known: dict[str, list[str]], what: str, table: str) -> tuple[str, ...]:
    """What names refer to; `InputError` where one is not known, or several are of the day it tells."""
    keys = []
    for name in names:
        found = looked_up(name, known, what, f"write it as a {table} table")
        if len(found) > 1:
            raise InputError(
                f"{len(found)} are of {name}; give the {what} a key and name that one.", field=what
            )
        keys.append(found[0])
    return tuple(keys)
