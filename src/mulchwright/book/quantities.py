"""The quantities of a garden file as fields: read in the file's own units, told in words when they fail."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, Field, ValidationInfo

from mulchwright import units
from mulchwright.book.forms import fault
from mulchwright.book.keys import key_of_name, near_words, slug
from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, Outline, Point

__all__ = [
    "AREAS_AGREE",
    "Area",
    "Corners",
    "DayOfYear",
    "Elevation",
    "Flow",
    "Mass",
    "PegsPerArea",
    "PlanLength",
    "PlanPoint",
    "Share",
    "SpawnRate",
    "Temperature",
    "Thickness",
    "Twelve",
    "Volume",
    "WaterDepth",
    "given",
    "looked_up",
    "outline_of",
    "point_of",
    "spoken",
    "time_zone",
    "word",
]


def quantity(parse: Callable[..., float], **options: Any) -> BeforeValidator:
    """A field that is read by one of the parsers of `units`, in the file's own system."""

    def convert(typed: Any, info: ValidationInfo) -> float:
        try:
            return parse(typed, (info.context or {})["system"], **options)
        except InputError as error:
            raise fault("quantity", str(error)) from None

    return BeforeValidator(convert)


def share(typed: Any) -> Any:
    """A share from 0 to 1, or a percentage as a text: "40 %"."""
    if isinstance(typed, str) and typed.strip().endswith("%"):
        try:
            return float(typed.strip()[:-1].replace(",", ".")) / 100
        except ValueError:
            pass
    if isinstance(typed, str):
        raise fault("quantity", f"{typed!r} is no share; write a number from 0 to 1, such as 0.4, or '40 %'")
    return typed


def day_of_year(typed: Any) -> Any:
    """A day without its year, "25 April" or "04-25", as its number in a year of 365 days."""
    if not isinstance(typed, str):
        return typed
    words = typed.strip().replace(".", " ")
    for form in ("%d %B %Y", "%d %b %Y", "%B %d %Y", "%b %d %Y", "%m-%d %Y"):
        try:
            return datetime.strptime(f"{words} 2031", form).timetuple().tm_yday
        except ValueError:
            continue
    raise fault("quantity", f"{typed!r} is no day of the year; write it as '25 April' or '04-25'")


def elevation(typed: Any, system: str) -> float:
    return units.parse_length(typed, system, bare="m" if system == units.METRIC else "ft", below_zero=True)


def corner(typed: Any, system: str) -> float:
    return units.parse_length(typed, system, bare="m" if system == units.METRIC else "ft", below_zero=True)


def plan_length(typed: Any, system: str) -> float:
    """Heights of trees, reaches of hoses, taped distances: what a garden has in meters or feet."""
    return units.parse_length(typed, system, bare="m" if system == units.METRIC else "ft")


def spoken(kind: str) -> BeforeValidator:
    """Names of the trade may be written as one speaks: "King stropharia" is king-stropharia."""

    def key_of(typed: Any, info: ValidationInfo) -> Any:
        if not isinstance(typed, str) or not slug(typed):
            return typed
        trade = (info.context or {}).get("trade")
        return slug(typed) if trade is None else key_of_name(slug(typed), getattr(trade, kind))

    return BeforeValidator(key_of)


def word(typed: Any) -> Any:
    """Choices of several words may be written apart: "topped up" is topped_up."""
    return typed.strip().lower().replace(" ", "_").replace("-", "_") if isinstance(typed, str) else typed


def time_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        near = near_words(name, dict.fromkeys(available_timezones()))
        meant = f"did you mean {' or '.join(near)}?" if near else "write it as America/Chicago or Europe/Rome"
        raise fault("quantity", f"there is no time zone {name!r}; {meant}") from None
    return name


Thickness = Annotated[float, quantity(units.parse_length)]
Elevation = Annotated[float, quantity(elevation)]
Corner = Annotated[float, quantity(corner)]
PlanLength = Annotated[float, quantity(plan_length)]
Area = Annotated[float, quantity(units.parse_area)]
Mass = Annotated[float, quantity(units.parse_mass)]
Volume = Annotated[float, quantity(units.parse_volume)]
WaterDepth = Annotated[float, quantity(units.parse_depth_of_water)]
Temperature = Annotated[float, quantity(units.parse_temperature)]
SpawnRate = Annotated[float, quantity(units.parse_spawn_rate)]
PegsPerArea = Annotated[float, quantity(units.parse_count_per_area)]
Flow = Annotated[float, quantity(units.parse_flow)]
Share = Annotated[float, BeforeValidator(share)]
DayOfYear = Annotated[int, BeforeValidator(day_of_year)]
Corners = list[Annotated[list[Corner], Field(min_length=2, max_length=2)]]
PlanPoint = Annotated[list[Corner], Field(min_length=2, max_length=2)]
AREAS_AGREE = 0.02
"""How far a written area may lie from the outline's: both were rounded by hand."""
Twelve = Field(min_length=MONTHS, max_length=MONTHS)


def looked_up(name: str, known: dict[str, Any], what: str, remedy: str) -> Any:
    """What a name in the file refers to, by the slug of the name; `InputError` with near matches."""
    if slug(name) in known:
        return known[slug(name)]
    near = near_words(name, known)
    meant = f"did you mean {' or '.join(near)}?" if near else f"{remedy}, or mend the name."
    raise InputError(f"the {what} {name!r} is not in this file; {meant}")


def point_of(corner: list[float]) -> Point:
    return corner[0], corner[1]


def outline_of(corners: list[list[float]]) -> Outline:
    return tuple(point_of(corner) for corner in corners)


def given(**entries: Any) -> dict[str, Any]:
    """The entries that were written; the noun has its own value for the others."""
    return {name: value for name, value in entries.items() if value is not None}
