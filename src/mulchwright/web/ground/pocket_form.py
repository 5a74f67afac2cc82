"""Pockets as they were asked for: where, how much, how wide, edged or open, and what is to grow there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from mulchwright.almanac.choosing import recipe_of
from mulchwright.errors import InputError
from mulchwright.garden import Crown, Garden, Outline
from mulchwright.ground import PocketWish, bare_ring
from mulchwright.ground.free_ground import HEADROOM_M
from mulchwright.services.numbers import whole_number
from mulchwright.trade import Trade
from mulchwright.units import parse_area, parse_length, show_area, show_length
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate
from mulchwright.web.ground.species_choice import Kind, kinds_of
from mulchwright.web.ground.spots import read_day

if TYPE_CHECKING:
    from mulchwright.services.library import BookState

EDGES = {"edged": "With boards, bricks or stones round it", "open": "Without an edge"}
SIDES = {"left": "Left side", "low": "Lower side", "right": "Right side", "high": "Upper side"}
USUAL_AREA_M2, USUAL_WIDEST_M, USUAL_MOST = 2.0, 1.2, 8
MOST_POCKETS = 20
CORNERS_OF_RING = 72


@dataclass(frozen=True, slots=True)
class PocketAsk:
    """What the address requests; `beds`, `plants` are keys, `piece` a rectangle on the plan [m] or None."""

    kind: Kind
    built_on: date
    area_m2: float
    widest_m: float
    most: int
    edge: str
    fire: bool
    beds: tuple[str, ...]
    plants: tuple[str, ...]
    piece: tuple[float, float, float, float] | None
    name: str

    @property
    def wish(self) -> PocketWish:
        """As the search takes it."""
        return PocketWish(
            self.area_m2, self.widest_m, self.most, self.edge == "edged",
            recipe_of(self.kind.template).depth_m, self.fire,
        )  # fmt: skip

    def areas(self, garden: Garden, trade: Trade) -> tuple[Outline, ...]:
        """The ground asked for, as outlines of the plan."""
        areas = [bed.outline for bed in garden.beds if bed.key in self.beds and bed.outline]
        reach = trade.constants["pocket_reach_m"].value
        breadth = min(self.widest_m, reach)
        areas += [ring_round(crown, trade, breadth) for crown in garden.crowns if crown.key in self.plants]
        if self.piece is not None:
            left, low, right, high = self.piece
            areas.append(((left, low), (right, low), (right, high), (left, high)))
        return tuple(areas)

    def fields(self, system: str) -> dict[str, str]:
        """The same as fields of a form or an address."""
        fields = {
            "asked": "yes", "kind": self.kind.key, "built_on": self.built_on.isoformat(),
            "area": show_area(self.area_m2, system), "widest": show_length(self.widest_m, system),
            "most": str(self.most), "edge": self.edge,
        }  # fmt: skip
        if self.fire:
            fields["fire"] = "yes"
        fields |= {f"bed-{key}": "yes" for key in self.beds}
        fields |= {f"plant-{key}": "yes" for key in self.plants}
        if self.piece is not None:
            sides = zip(SIDES, self.piece, strict=True)
            fields |= {side: coordinate(value, system) for side, value in sides}
        return fields

    def address(self, path: str, system: str) -> str:
        """An address that requests the same."""
        return f"{path}?{urlencode(self.fields(system))}"


def ring_round(crown: Crown, trade: Trade, breadth_m: float) -> Outline:
    """The ground round a tree, shrub or plant that can be reached from outside it: a disk, as an outline.

    Round leaves that hang too low to work under, the disk reaches beyond them; the search leaves them out.
    """
    inner = bare_ring(crown, trade).outer_m
    if crown.base_m < HEADROOM_M:
        inner = max(inner, crown.radius_m)
    radius = (inner + breadth_m) / math.cos(math.pi / CORNERS_OF_RING)
    x, y = crown.center
    turns = (2 * math.pi * n / CORNERS_OF_RING for n in range(CORNERS_OF_RING))
    return tuple((x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns)


def read_ask(query: Mapping[str, str], trade: Trade, state: BookState) -> tuple[PocketAsk, dict[str, str]]:
    """What is asked for; a field that cannot be read keeps its usual value and has a message."""
    errors: dict[str, str] = {}
    garden, system = state.garden, state.garden.units.value
    kinds = kinds_of(trade)
    kind = kinds.get(query.get("kind", "")) or next(iter(kinds.values()))
    try:
        built_on = read_day(query.get("built_on", ""), state.today)
    except InputError as error:
        built_on, errors["built_on"] = state.today, str(error)
    area, widest = USUAL_AREA_M2, USUAL_WIDEST_M
    try:
        if query.get("area", "").strip():
            area = parse_area(query["area"], system, field="area")
        PocketWish(area)
    except InputError as error:
        typed = query["area"].strip()[:40]
        area = USUAL_AREA_M2
        errors["area"] = (
            f"“{typed}” cannot be looked for: type an area from {show_area(0.05, system)} to "
            f"{show_area(200, system)}."
            if error.field == "area"
            else str(error)
        )
    try:
        if query.get("widest", "").strip():
            widest = parse_length(query["widest"], system, field="widest")
        PocketWish(area, widest)
    except InputError:
        widest = USUAL_WIDEST_M
        errors["widest"] = (
            f"“{query['widest'].strip()[:40]}” is no width of a pocket: type one from "
            f"{show_length(0.2, system)} to {show_length(3.0, system)}."
        )
    most = whole_number(query.get("most", "").strip() or str(USUAL_MOST), least=1, most=MOST_POCKETS)
    if most is None:
        most, errors["most"] = USUAL_MOST, f"Give a whole number of pockets from 1 to {MOST_POCKETS}."
    beds, plants = _chosen(query, garden)
    piece = _piece(query, system, errors)
    if not query.get("asked") and not beds and not plants and piece is None:
        beds = tuple(bed.key for bed in garden.beds if bed.outline)
        plants = () if beds else tuple(crown.key for crown in garden.crowns)
    if not beds and not plants and piece is None and "piece" not in errors:
        errors["where"] = "Choose at least one bed or plant, or type the sides of a piece of the plan."
    edge = query.get("edge", "") if query.get("edge", "") in EDGES else "edged"
    name = " ".join(query.get("name", "").split())[:80]
    ask = PocketAsk(
        kind, built_on, area, widest, most, edge, query.get("fire") == "yes", beds, plants, piece, name
    )
    return ask, errors


def _chosen(query: Mapping[str, str], garden: Garden) -> tuple[tuple[str, ...], tuple[str, ...]]:
    beds = tuple(bed.key for bed in garden.beds if bed.outline and query.get(f"bed-{bed.key}"))
    plants = tuple(crown.key for crown in garden.crowns if query.get(f"plant-{crown.key}"))
    return beds, plants


def _piece(
    query: Mapping[str, str], system: str, errors: dict[str, str]
) -> tuple[float, float, float, float] | None:
    typed = {side: query.get(side, "").strip() for side in SIDES}
    if not any(typed.values()):
        return None
    sides: list[float] = []
    for side, text in typed.items():
        try:
            if not text:
                raise InputError("Type all four sides of the piece, or none.")
            sides.append(parse_coordinate(text, system, side))
        except InputError as error:
            errors[side] = str(error)
    if len(sides) < len(SIDES):
        errors["piece"] = "Type all four sides of the piece, or none."
        return None
    left, low, right, high = sides
    if right - left < 0.2 or high - low < 0.2 or max(map(abs, sides)) > 2000:
        errors["piece"] = (
            f"The right side must lie at least {show_length(0.2, system)} to the right of the left one, the "
            "upper side as far above the lower one."
        )
        return None
    return left, low, right, high
