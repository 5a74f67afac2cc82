"""SI to words, rounded as one would say it, in the grower's units; and the plain factors of charts."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from mulchwright.units.quantities import (
    BUCKET_L,
    FOOT_M,
    GALLON_L,
    INCH_M,
    METRIC,
    OUNCE_KG,
    POUND_KG,
    SQUARE_FOOT_M2,
    US,
)

__all__ = [
    "PlainQuantity",
    "plain_temperature",
    "plain_unit",
    "show_area",
    "show_buckets",
    "show_bulk_volume",
    "show_flow",
    "show_kitchen_mass",
    "show_length",
    "show_mass",
    "show_spawn_rate",
    "show_taped_length",
    "show_temperature",
    "show_volume",
    "show_water_depth",
]


def _figure(value: float, decimals: int) -> str:
    """Rounded, without trailing zeros and without a minus before nothing: 2.50 is "2.5", -0.01 is "0"."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _steps(value: float, *steps: tuple[float, int]) -> int:
    """Decimals for a value by its size: the first step whose bound it stays below; else none."""
    return next((decimals for bound, decimals in steps if abs(value) < bound), 0)


def _inches(inches: float) -> str:
    """Inches to the nearest eighth as "1½ in"; finer below half an inch, to the half from a foot up."""
    if inches < 0.5:
        sixteenths = round(inches * 16)
        if sixteenths % 2:
            return f"{sixteenths}/16 in"
        if sixteenths == 0 and inches > 0:
            return "under 1/16 in"
    steps = 8 if inches < 12 else 2
    whole, eighths = divmod(round(inches * steps) * 8 // steps, 8)
    glyph = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")[eighths]
    return f"{whole if whole or not glyph else ''}{glyph} in"


def show_length(length_m: float, system: str = METRIC) -> str:
    """A length [m] as "8 mm", "5 cm", "1.25 m"; or "1½ in", "3 ft 2 in", "24 ft"."""
    if length_m < 0:
        return "−" + show_length(-length_m, system)
    if system != US:
        if length_m < 0.00995:
            return f"{_figure(length_m * 1000, _steps(length_m, (0.002, 1)))} mm"
        if length_m < 0.995:
            return f"{_figure(length_m * 100, _steps(length_m, (0.3, 1)))} cm"
        return f"{_figure(length_m, _steps(length_m, (10, 2), (100, 1)))} m"
    inches = length_m / float(INCH_M)
    if inches < 23.9375:
        return _inches(inches)
    if inches >= 20 * 12:
        return f"{inches / 12:.0f} ft"
    feet, rest = divmod(round(inches), 12)
    return f"{feet} ft {rest} in" if rest else f"{feet} ft"


def show_taped_length(length_m: float, system: str = METRIC) -> str:
    """A length [m] as a tape is read, to the centimeter or half inch: "10.02 m", "32 ft 10½ in"."""
    if length_m < 0:
        return "−" + show_taped_length(-length_m, system)
    if system != US:
        return f"{length_m:.2f} m"
    feet, halves = divmod(round(length_m / float(INCH_M) * 2), 24)
    inches = f"{halves // 2 if halves != 1 else ''}{'½' if halves % 2 else ''} in"
    return inches if not feet else f"{feet} ft {inches}" if halves else f"{feet} ft"


def show_area(area_m2: float, system: str = METRIC) -> str:
    """An area [m²] as "3.5 m²" or "18 ft²"."""
    value, unit = (area_m2 / float(SQUARE_FOOT_M2), "ft²") if system == US else (area_m2, "m²")
    steps = _steps(value, (1, 2), (30, 1)) if system == US else _steps(value, (10, 2), (100, 1))
    return f"{_figure(value, steps)} {unit}"


def show_mass(mass_kg: float, system: str = METRIC) -> str:
    """A mass [kg] as "650 g", "2.5 kg"; or "9 oz", "5.5 lb"."""
    if system != US:
        if abs(mass_kg) < 0.9995:
            return f"{_figure(mass_kg * 1000, _steps(mass_kg, (0.01, 1)))} g"
        return f"{_figure(mass_kg, _steps(mass_kg, (10, 2), (100, 1)))} kg"
    pounds = mass_kg / float(POUND_KG)
    if abs(pounds) < 0.9969:
        return f"{_figure(pounds * 16, _steps(pounds * 16, (10, 1)))} oz"
    return f"{_figure(pounds, _steps(pounds, (100, 1)))} lb"


def show_volume(volume_l: float, system: str = METRIC) -> str:
    """A volume [L] as "500 mL", "7.5 L", "120 L"; or "9 fl oz", "3 qt", "2.5 gal", "30 gal"."""
    if system != US:
        if 0 < abs(volume_l) < 0.9995:
            return f"{_figure(volume_l * 1000, 0)} mL"
        return f"{_figure(volume_l, _steps(volume_l, (10, 1)))} L"
    gallons = volume_l / float(GALLON_L)
    if 0 < abs(gallons) < 0.23:
        return f"{_figure(gallons * 128, 0)} fl oz"
    if 0 < abs(gallons) < 0.9875:
        return f"{_figure(gallons * 4, 1)} qt"
    return f"{_figure(gallons, _steps(gallons, (10, 1)))} gal"


def show_bulk_volume(volume_l: float, system: str = METRIC) -> str:
    """A heap [L] as it is bought: "350 L", "1.3 m³"; or "5 ft³", "2.4 yd³"."""
    if system != US:
        if abs(volume_l) < 999.5:
            return f"{_figure(volume_l, _steps(volume_l, (10, 1)))} L"
        return f"{_figure(volume_l / 1000, _steps(volume_l, (100_000, 1)))} m³"
    feet = volume_l / float((FOOT_M * 10) ** 3)
    if abs(feet) < 13.45:
        return f"{_figure(feet, _steps(feet, (10, 1)))} ft³"
    yards = feet / 27
    return f"{_figure(yards, _steps(yards, (10, 2), (100, 1)))} yd³"


def show_kitchen_mass(mass_kg: float, system: str = METRIC) -> str:
    """A mass [kg] as a kitchen scale shows it: "1247 g" or "44 oz", however heavy."""
    if system != US:
        return f"{_figure(mass_kg * 1000, _steps(mass_kg, (0.01, 1)))} g"
    ounces = mass_kg / float(OUNCE_KG)
    return f"{_figure(ounces, _steps(ounces, (100, 1)))} oz"


def show_buckets(volume_l: float, system: str = METRIC, *, bucket_l: float | None = None) -> str:
    """A volume [L] in buckets of `bucket_l`, or of `BUCKET_L`: "2½ buckets", to the half."""
    halves = round(2 * volume_l / (BUCKET_L.get(system, 10.0) if bucket_l is None else bucket_l))
    if halves == 0:
        return "under half a bucket" if volume_l > 0 else "no bucket"
    whole, half = divmod(halves, 2)
    return f"{whole or ''}{'½' if half else ''} bucket{'s' if halves > 2 else ''}"


def show_temperature(temperature_c: float, system: str = METRIC, *, decimals: int = 0) -> str:
    """A temperature [°C] as "20 °C" or "68 °F", with a true minus sign."""
    value, unit = plain_temperature(temperature_c, system), "°F" if system == US else "°C"
    return f"{_figure(value, decimals).replace('-', '−')} {unit}"


PlainQuantity = Literal["length", "small_length", "area", "mass", "volume", "water_depth", "density"]
_PLAIN_UNITS: Mapping[tuple[PlainQuantity, str], tuple[str, Fraction]] = {
    ("length", METRIC): ("m", Fraction(1)),
    ("length", US): ("ft", FOOT_M),
    ("small_length", METRIC): ("cm", Fraction(1, 100)),
    ("small_length", US): ("in", INCH_M),
    ("area", METRIC): ("m²", Fraction(1)),
    ("area", US): ("ft²", SQUARE_FOOT_M2),
    ("mass", METRIC): ("kg", Fraction(1)),
    ("mass", US): ("lb", POUND_KG),
    ("volume", METRIC): ("L", Fraction(1)),
    ("volume", US): ("gal", GALLON_L),
    ("water_depth", METRIC): ("mm", Fraction(1)),
    ("water_depth", US): ("in", 1000 * INCH_M),
    ("density", METRIC): ("kg/m³", Fraction(1)),
    ("density", US): ("lb/ft³", POUND_KG / FOOT_M**3),
}


def plain_unit(quantity: PlainQuantity, system: str) -> tuple[str, float]:
    """The unit of a chart's axis or a scale bar, and how much of ours one of it is, to divide or multiply by.

    Ours are m, m², kg, L, mm of water and kg/m³. Exact, unlike the rounded words of `show_*`.

    >>> plain_unit("water_depth", "us")
    ('in', 25.4)
    """
    name, ours = _PLAIN_UNITS[quantity, system]
    return name, float(ours)


def plain_temperature(temperature_c: float, system: str) -> float:
    """A temperature [°C] as the unrounded figure that the grower's thermometer shows."""
    return temperature_c * 1.8 + 32 if system == US else temperature_c


def celsius_of(fahrenheit: float) -> float:
    """A temperature [°C] from degrees Fahrenheit.

    >>> celsius_of(68.0)
    20.0
    """
    return (fahrenheit - 32) / 1.8


def show_water_depth(depth_mm: float, system: str = METRIC) -> str:
    """Rain or watering [mm] as "3.5 mm", "25 mm"; or "0.39 in"."""
    if system != US:
        return f"{_figure(depth_mm, _steps(depth_mm, (9.95, 1)))} mm"
    inches = depth_mm / float(INCH_M * 1000)
    return f"{_figure(inches, _steps(inches, (9.995, 2), (100, 1)))} in"


def show_spawn_rate(rate_kg_m2: float, system: str = METRIC) -> str:
    """A mass of spawn over an area [kg/m²] as "275 g/m²", "1.5 kg/m²"; or "1.3 oz/ft²", "1.25 lb/ft²"."""
    if system != US:
        if rate_kg_m2 < 0.9995:
            return f"{_figure(rate_kg_m2 * 1000, _steps(rate_kg_m2, (0.01, 1)))} g/m²"
        return f"{_figure(rate_kg_m2, 2)} kg/m²"
    ounces = rate_kg_m2 * float(SQUARE_FOOT_M2 / OUNCE_KG)
    if ounces < 15.95:
        return f"{_figure(ounces, _steps(ounces, (10, 2), (16, 1)))} oz/ft²"
    return f"{_figure(ounces / 16, 2)} lb/ft²"


def show_flow(flow_l_min: float, system: str = METRIC) -> str:
    """A flow of water [L/min] as "12 L/min" or "3.2 gal/min"."""
    value, unit = (flow_l_min / float(GALLON_L), "gal/min") if system == US else (flow_l_min, "L/min")
    return f"{_figure(value, _steps(value, (10, 1), (20 if system != US else 100, 1)))} {unit}"
