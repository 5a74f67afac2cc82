"""The first hour: an empty book led by the hand, from the place to the first planned bed.

Four steps, each one transaction of the book; whoever leaves comes back to the step that is next. Everything
typed here is rough and can be refined on the pages it belongs to.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Wall, check_outline
from mulchwright.garden.plan import TALLEST_TREE_M, TALLEST_WALL_M
from mulchwright.keep.beginners import RULE, for_first_bed
from mulchwright.units import US, show_length
from mulchwright.web.forms.coordinates import parse_coordinate
from mulchwright.web.ground.species_choice import kinds_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import page_or_form
from mulchwright.web.start.steps import next_step, step_page, steps_of
from mulchwright.web.views import wording as words

__all__ = ["bed_step", "ground_step", "rough_plan", "start"]

GAP_M, HOUSE_DEPTH_M = 0.6, 6.0
"""A house typed by its side stands so far off the ground's edge and is drawn so deep; rough on purpose."""
SIDES = {"": "no house beside it", "top": "above, on the plan", "right": "to the right", "bottom": "below",
         "left": "to the left"}  # fmt: skip


def start(request: Request) -> Response:
    """To the next step."""
    return RedirectResponse(next_step(context_of(request).state_if_any()), 303)


# ---- rough plan ------------------------------------------------------------------------


def _free(taken: set[str], name: str) -> tuple[str, str]:
    """A key that nobody has, from a name, and the name."""
    stem = slug(name) or "thing"
    return next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 1000))) if k not in taken), name


def rough_plan(garden: Garden, typed: Mapping[str, str]) -> tuple[Garden | None, dict[str, str]]:
    """The garden with a rectangle of ground, a house beside it and up to two trees; or messages by field."""
    system = garden.units.value
    errors: dict[str, str] = {}

    def length(
        name: str, label: str, *, below_zero: bool = False, least: float = 0.0, most: float = 2000.0
    ) -> float:
        text = typed.get(name, "").strip()
        try:
            if not text:
                raise InputError(f"Give the {label}.", field=name)
            value = parse_coordinate(text, system, name, below_zero=below_zero)
            if abs(value) > most or (value < least and not below_zero):
                raise InputError(
                    f"The {label} is from {show_length(least, system)} to {show_length(most, system)}; "
                    f"this one is {show_length(value, system)}.",
                    field=name,
                )
            return value
        except InputError as error:
            errors[name] = str(error)
            return math.nan

    width, depth = (
        length("width", "breadth", least=1.0, most=500.0),
        length("depth", "depth", least=1.0, most=500.0),
    )
    north = garden.place.north_deg
    if typed.get("north", "").strip():
        try:
            north = float(typed["north"].replace(",", ".").replace("°", "").replace("−", "-"))
            if not -360 <= north <= 360:
                raise ValueError
        except ValueError:
            errors["north"] = "Give degrees from 0 (up is north) to 360; up is east at 90."
    side = typed.get("house", "")
    house_height = (
        length("house_height", "house's height", least=0.05, most=TALLEST_WALL_M)
        if side in SIDES and side
        else 0.0
    )
    trees = []
    for n in (1, 2):
        names = [f"tree{n}_{part}" for part in ("x", "y", "radius", "height")]
        if not any(typed.get(name, "").strip() for name in names):
            continue
        x = length(names[0], "tree's place to the right", below_zero=True)
        y = length(names[1], "tree's place upward", below_zero=True)
        radius = length(names[2], "crown's radius", least=0.05, most=40.0)
        height = length(names[3], "tree's height", least=0.1, most=TALLEST_TREE_M)
        trees.append((n, x, y, radius, height))
    if errors:
        return None, errors
    beds, walls, crowns = list(garden.beds), list(garden.walls), list(garden.crowns)
    try:
        ground = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
        check_outline(ground, "The ground")
        key, name = _free({bed.key for bed in beds}, "Garden ground")
        beds.append(Bed(key, name, outline=ground))
        if side in SIDES and side:
            walls.append(_house(side, width, depth, house_height, {wall.key for wall in walls}))
    except InputError as error:
        return None, {"house_height" if error.field == "height_m" else "width": str(error)}
    for n, x, y, radius, height in trees:
        try:
            key, name = _free({crown.key for crown in crowns}, f"Tree {n}")
            crowns.append(Crown(key, name, (x, y), radius, height, base_m=min(1.5, height / 3)))
        except InputError as error:
            field = {"radius_m": "radius", "height_m": "height", "point": "x"}.get(error.field or "", "x")
            return None, {f"tree{n}_{field}": str(error)}
    return (
        replace(
            garden, beds=tuple(beds), walls=tuple(walls), crowns=tuple(crowns),
            place=replace(garden.place, north_deg=north),
        ),
        {},
    )  # fmt: skip


def _house(side: str, width: float, depth: float, height: float, taken: set[str]) -> Wall:
    near, far = GAP_M, GAP_M + HOUSE_DEPTH_M
    x0, y0, x1, y1 = {
        "top": (0.0, depth + near, width, depth + far),
        "bottom": (0.0, -far, width, -near),
        "right": (width + near, 0.0, width + far, depth),
        "left": (-far, 0.0, -near, depth),
    }[side]
    key, name = _free(taken, "House")
    return Wall(key, name, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), height, house=True)


@page_or_form
def ground_step(request: Request, typed: dict[str, str] | None) -> Response:
    """A rough plan: a rectangle, a house, two trees."""
    context = context_of(request)
    state = context.library.state()
    errors: dict[str, str] = {}
    if typed is not None:
        with open_book(context.library.path) as book:
            changed, errors = rough_plan(book.garden(), typed)
            if changed is not None:
                book.save_garden(changed, expected_revision=book.revision)
                return RedirectResponse("/start/bed", 303)
    drawn = steps_of(state)[2].done
    us = state.garden.units.value == US
    usual = {
        "width": "40 ft" if us else "12 m", "depth": "26 ft" if us else "8 m", "north": "0",
        "house_height": "18 ft" if us else "5.5 m",
    }  # fmt: skip
    return step_page(
        request, "ground", state, errors=errors, typed=typed or usual, sides=SIDES, drawn=drawn,
    )  # fmt: skip


# ---- first bed ---------------------------------------------------------------------------


def bed_step(request: Request) -> Response:
    """What the first bed is to be; where it lies is proposed on the next page."""
    context = context_of(request)
    state = context.library.state()
    today = state.today
    kinds = [
        kind
        for kind in kinds_of(context.trade).values()
        if for_first_bed(context.trade, kind.species, effort=kind.template.skill).offered
    ]
    return step_page(
        request, "bed", state, errors={}, kinds=kinds, rule=RULE, built_on=today.isoformat(),
        area="30 ft²" if state.garden.units.value == US else "3 m²", day=lambda d, t: words.day(d, t),
    )  # fmt: skip
