"""A reading of one's own gauge and thermometer: read as typed, shown in the grower's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime

from mulchwright.errors import InputError
from mulchwright.garden import Reading
from mulchwright.units import US, parse_depth_of_water, parse_temperature, plain_unit, show_temperature

LONGEST_AGO_DAYS = 5 * 366


FIELDS = ("rain", "low", "high")


def show_figure(system: str) -> Callable[[str, float], str]:
    """How a quantity's figure is said in the grower's units."""

    def show(quantity: str, value: float) -> str:
        if quantity == "rain_mm":
            name, ours = plain_unit("water_depth", system)
            depth = f"{value / ours:.{2 if system == US else 1}f} {name}"
            return depth.replace(".0 ", " ").replace(".00 ", " ")
        if quantity.startswith("temperature"):
            return show_temperature(value, system, decimals=1)
        return f"{value:.3g}"

    return show


def read_reading(typed: Mapping[str, str], system: str, today: date) -> tuple[Reading | None, dict[str, str]]:
    """A reading as typed, or what is wrong by field."""
    errors: dict[str, str] = {}
    day = today
    try:
        day = date.fromisoformat(typed.get("day", "").strip())
        if day > today:
            errors["day"] = "This day is still to come; gauge and thermometer tell what was."
        elif (today - day).days > LONGEST_AGO_DAYS:
            errors["day"] = "This day is more than five years ago; look at the year."
    except ValueError:
        errors["day"] = "Give the day, for example 2031-06-10."
    figures: dict[str, float | None] = {}
    for name in FIELDS:
        text = typed.get(name, "").strip()
        figures[name] = None
        if not text:
            continue
        try:
            if name == "rain" and text.lower() in ("t", "trace"):
                figures[name] = 0.0
            elif name == "rain":
                figures[name] = parse_depth_of_water(text, system, field=name)
            else:
                figures[name] = parse_temperature(text, system, field=name)
        except InputError as error:
            errors[name] = str(error)
    if not errors and all(value is None for value in figures.values()):
        errors["rain"] = "Give the rain, or a temperature. No rain in the gauge is 0."
    if errors:
        return None, errors
    try:
        return Reading(day, figures["rain"], figures["low"], figures["high"], datetime.now(UTC)), {}
    except InputError as error:
        field = {"rain_mm": "rain", "temperature_min_c": "low", "temperature_max_c": "high"}
        return None, {field.get(error.field or "", "rain"): str(error)}
