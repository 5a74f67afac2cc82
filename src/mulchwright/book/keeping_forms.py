"""The exchange forms of what became of the picks: identity checks, uses, jars, dryers and loads."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from mulchwright.book.forms import Day, Moment, NounForm, SpeciesKey
from mulchwright.errors import InputError
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

__all__ = ["CheckForm", "DryerForm", "DryingForm", "JarForm", "UseForm"]


def _finding(word: str) -> Finding:
    try:
        return Finding(word)
    except ValueError:
        known = ", ".join(Finding)
        raise InputError(f"what was found must be one of {known}, not {word!r}.", field="findings") from None


class CheckForm(NounForm[IdentityCheck]):
    key: str
    patch: str
    species: SpeciesKey
    day: Day
    findings: list[Annotated[list[str], Field(min_length=2, max_length=2)]]
    picks: list[str]
    by: str
    print_color: str
    text: str
    entered_at: Moment | None
    print_laid_at: Moment | None
    print_read_at: Moment | None
    second_look_by: str

    def noun(self) -> IdentityCheck:
        told = {
            "findings": tuple((feature, _finding(word)) for feature, word in self.findings),
            "picks": tuple(self.picks),
        }
        return IdentityCheck(**dict(self) | told)


class UseForm(NounForm[Use]):
    key: str
    day: Day
    fate: Annotated[Fate, Field(strict=False)]
    mass_kg: float
    pick: str
    jar: str
    check: str
    into: str
    text: str
    entered_at: Moment | None

    def noun(self) -> Use:
        return Use(**dict(self))


class JarForm(NounForm[Jar]):
    key: str
    name: str
    kind: Annotated[JarKind, Field(strict=False)]
    species: SpeciesKey
    made_on: Day
    mass_kg: float
    best_by: Day
    picks: list[str]
    kept_at_c: float
    humidity: float | None
    text: str

    def noun(self) -> Jar:
        return Jar(**dict(self) | {"picks": tuple(self.picks)})


class DryerForm(NounForm[Dryer]):
    key: str
    name: str
    trays: int
    tray_area_m2: float
    watts: float

    def noun(self) -> Dryer:
        return Dryer(**dict(self))


class WeighingForm(NounForm[Weighing]):
    at: Moment
    mass_kg: float

    def noun(self) -> Weighing:
        return Weighing(self.at, self.mass_kg)


class DryingForm(NounForm[DryingRun]):
    key: str
    dryer: str
    started_at: Moment
    fresh_kg: float
    thickness_m: float
    temperature_c: float
    room_temperature_c: float
    room_humidity: float
    uses: list[str]
    weighings: list[WeighingForm]
    ended_at: Moment | None
    dry_kg: float | None

    def noun(self) -> DryingRun:
        told = {"uses": tuple(self.uses), "weighings": tuple(one.noun() for one in self.weighings)}
        return DryingRun(**dict(self) | told)
