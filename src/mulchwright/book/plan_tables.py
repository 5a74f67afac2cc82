"""The tables of a garden file that tell what stands on the plan, and the survey by tape."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import BeforeValidator, Field

from mulchwright.book.forms import Form, MaterialKey, NounForm
from mulchwright.book.keys import slug
from mulchwright.book.quantities import (
    Corners,
    DayOfYear,
    Flow,
    PlanLength,
    PlanPoint,
    Share,
    Thickness,
    given,
    looked_up,
    outline_of,
    point_of,
    spoken,
    word,
)
from mulchwright.errors import InputError
from mulchwright.garden import Crown, LookRules, Outline, Path, Tap, Wall, Zone, ZoneKind
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint

__all__ = [
    "CrownTable",
    "LookRulesTable",
    "PathTable",
    "SurveyTable",
    "TapTable",
    "WallTable",
    "ZoneTable",
]


class CrownTable(NounForm[Crown]):
    name: str
    center: PlanPoint
    radius: PlanLength
    height: PlanLength
    key: str | None = None
    lowest_leaves: PlanLength | None = None
    trunk: Thickness | None = None
    evergreen: bool = False
    in_leaf: Annotated[list[DayOfYear], Field(min_length=2, max_length=2)] | None = None
    light_in_leaf: Share | None = None
    light_bare: Share | None = None
    young_bark: bool = False

    def noun(self) -> Crown:
        leaf_from, leaf_until = self.in_leaf or (None, None)
        return Crown(
            key=self.key or slug(self.name),
            name=self.name,
            center=point_of(self.center),
            radius_m=self.radius,
            height_m=self.height,
            evergreen=self.evergreen,
            young_bark=self.young_bark,
            **given(
                base_m=self.lowest_leaves,
                trunk_radius_m=None if self.trunk is None else self.trunk / 2,
                leaf_from=leaf_from,
                leaf_until=leaf_until,
                transmissivity_in_leaf=self.light_in_leaf,
                transmissivity_bare=self.light_bare,
            ),
        )


class OutlinedTable(Form):
    """A piece of ground: by its corners, or as a straight strip along a line."""

    name: str
    key: str | None = None
    outline: Corners = Field(default_factory=list)
    along: Annotated[Corners, Field(min_length=2, max_length=2)] | None = None
    width: PlanLength | None = None

    @property
    def own_key(self) -> str:
        return self.key or slug(self.name)

    def corners(self) -> Outline:
        """Its outline; `InputError` where it is told in neither way, or in both."""
        if (self.along is None) != (self.width is None) or bool(self.outline) == bool(self.along):
            raise InputError(
                "it needs either an outline, or a line with its two ends (along) and its width.",
                field="outline",
            )
        if self.along is None or self.width is None:
            return outline_of(self.outline)
        (x0, y0), (x1, y1) = (point_of(end) for end in self.along)
        length = math.dist((x0, y0), (x1, y1))
        if length == 0:
            raise InputError("its line begins and ends at the same place.", field="along")
        aside = -(y1 - y0) / length * self.width / 2, (x1 - x0) / length * self.width / 2
        return (
            (x0 - aside[0], y0 - aside[1]),
            (x1 - aside[0], y1 - aside[1]),
            (x1 + aside[0], y1 + aside[1]),
            (x0 + aside[0], y0 + aside[1]),
        )


class WallTable(OutlinedTable, NounForm[Wall]):
    height: PlanLength
    house: bool = False

    def noun(self) -> Wall:
        return Wall(self.own_key, self.name, self.corners(), self.height, self.house)


class PathTable(OutlinedTable, NounForm[Path]):
    def noun(self) -> Path:
        return Path(self.own_key, self.name, self.corners())


class ZoneTable(OutlinedTable, NounForm[Zone]):
    kind: Annotated[ZoneKind, Field(strict=False), BeforeValidator(word)]

    def noun(self) -> Zone:
        return Zone(self.own_key, self.name, self.kind, self.corners())


class TapTable(NounForm[Tap]):
    name: str
    point: PlanPoint
    key: str | None = None
    reach: PlanLength | None = None
    flow: Flow | None = None

    def noun(self) -> Tap:
        given_values = given(reach_m=self.reach, litres_per_minute=self.flow)
        return Tap(self.key or slug(self.name), self.name, point_of(self.point), **given_values)


class LookRulesTable(NounForm[LookRules]):
    greatest_depth: Thickness | None = None
    accepted_skins: list[Annotated[MaterialKey, spoken("materials")]] = Field(default_factory=list)
    authority: str = ""

    def noun(self) -> LookRules:
        return LookRules(self.greatest_depth, tuple(self.accepted_skins), self.authority)


class SurveyPointTable(NounForm[SurveyPoint]):
    name: str
    key: str | None = None
    at: PlanPoint | None = None
    side: Annotated[Side, Field(strict=False), BeforeValidator(word)] | None = None

    def noun(self) -> SurveyPoint:
        at = None if self.at is None else point_of(self.at)
        return SurveyPoint(self.key or slug(self.name), self.name, at, self.side)


class TapeTable(Form):
    start: str = Field(alias="from")
    to: str
    distance: PlanLength


class SurveyTable(NounForm[Survey]):
    baseline: Annotated[list[str], Field(min_length=2, max_length=2)]
    point: list[SurveyPointTable]
    tape: list[TapeTable] = Field(default_factory=list)
    tape_error: Thickness | None = None
    tape_error_share: Share | None = None

    def noun(self) -> Survey:
        points = [point.noun() for point in self.point]
        keys = {slug(point.name): point.key for point in points} | {point.key: point.key for point in points}

        def named(name: str) -> str:
            return str(looked_up(name, keys, "survey point", "write it as a [[survey.point]] table"))

        return Survey(
            points=tuple(points),
            baseline=(named(self.baseline[0]), named(self.baseline[1])),
            readings=tuple(Reading(named(tape.start), named(tape.to), tape.distance) for tape in self.tape),
            **given(tape_error_m=self.tape_error, tape_error_share=self.tape_error_share),
        )
