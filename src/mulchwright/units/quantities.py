"""The kinds of quantity: their unit words with the size of each in SI, and what a bare number means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

__all__ = [
    "AREA",
    "BUCKET_L",
    "COUNT",
    "FLOW",
    "FOOT_M",
    "GALLON_L",
    "INCH_M",
    "LENGTH",
    "LONGEST_TYPED",
    "MASS",
    "METRIC",
    "OUNCE_KG",
    "POUND_KG",
    "RATE",
    "SQUARE_FOOT_M2",
    "US",
    "VOLUME",
    "WATER_DEPTH",
    "Quantity",
]


METRIC, US = "metric", "us"
"""Names of the two systems, the values of `garden.UnitSystem` (which this room may not import)."""

INCH_M = Fraction("0.0254")
FOOT_M = 12 * INCH_M
YARD_M = 3 * FOOT_M
POUND_KG = Fraction("0.45359237")
OUNCE_KG = POUND_KG / 16
GALLON_L = 231 * (INCH_M * 10) ** 3
IMPERIAL_GALLON_L = Fraction("4.54609")
SQUARE_FOOT_M2 = FOOT_M**2
BUCKET_L: Mapping[str, float] = {METRIC: 10.0, US: float(5 * GALLON_L)}
"""A bucket where the grower has not said how large theirs is (common practice: 10 L, or 5 US gallons)."""

LONGEST_TYPED = 100
"""Characters; a quantity longer than this is a text that got into the wrong field."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One kind of quantity: its unit words with their size in SI, the unit of a bare number, examples."""

    what: str
    units: Mapping[str, Fraction]
    bare: Mapping[str, str]
    example: Mapping[str, str]
    refused: Mapping[str, str] | None = None


def _spelled(*groups: tuple[Fraction, str]) -> dict[str, Fraction]:
    """`(size, "words that mean it")` to a mapping from each word; words are separated by bars."""
    return {word: size for size, words in groups for word in words.split("|")}


LENGTH = Quantity(
    "length",
    _spelled(
        (Fraction(1, 1000), "mm|millimeter|millimeters|millimetre|millimetres"),
        (Fraction(1, 100), "cm|centimeter|centimeters|centimetre|centimetres"),
        (Fraction(1), "m|meter|meters|metre|metres"),
        (Fraction(1000), "km|kilometer|kilometers|kilometre|kilometres"),
        (INCH_M, 'in|inch|inches|"'),
        (FOOT_M, "ft|foot|feet|'"),
        (YARD_M, "yd|yds|yard|yards"),
    ),
    {METRIC: "cm", US: "in"},
    {METRIC: "5 cm", US: "1 1/2 in or 3 ft 2 in"},
)
AREA = Quantity(
    "area",
    _spelled(
        (Fraction(1, 10_000), "cm2"),
        (Fraction(1), "m2"),
        (Fraction(10_000), "ha|hectare|hectares"),
        (INCH_M**2, "in2"),
        (SQUARE_FOOT_M2, "ft2"),
        (YARD_M**2, "yd2"),
        (43560 * SQUARE_FOOT_M2, "acre|acres"),
    ),
    {METRIC: "m2", US: "ft2"},
    {METRIC: "3.5 m² or 1.2 m x 3 m", US: "18 sq ft or 3 ft x 6 ft"},
)
MASS = Quantity(
    "mass",
    _spelled(
        (Fraction(1, 1000), "g|gram|grams|gramme|grammes"),
        (Fraction(1), "kg|kgs|kilo|kilos|kilogram|kilograms"),
        (Fraction(1000), "t|tonne|tonnes|metric ton|metric tons"),
        (OUNCE_KG, "oz|ounce|ounces"),
        (POUND_KG, "lb|lbs|pound|pounds"),
        (2000 * POUND_KG, "short ton|short tons"),
        (2240 * POUND_KG, "long ton|long tons"),
    ),
    {METRIC: "kg", US: "lb"},
    {METRIC: "650 g or 2.5 kg", US: "1 lb 4 oz"},
    dict.fromkeys(
        ("ton", "tons"), "say which ton: tonne (1,000 kg), short ton (2,000 lb) or long ton (2,240 lb)"
    ),
)
VOLUME = Quantity(
    "volume",
    _spelled(
        (Fraction(1, 1000), "ml|milliliter|milliliters|millilitre|millilitres|cm3|cc"),
        (Fraction(1, 100), "cl"),
        (Fraction(1, 10), "dl"),
        (Fraction(1), "l|liter|liters|litre|litres|dm3"),
        (Fraction(100), "hl"),
        (Fraction(1000), "m3"),
        (GALLON_L / 128, "fl oz|fluid ounce|fluid ounces"),
        (GALLON_L / 16, "cup|cups"),
        (GALLON_L / 8, "pt|pint|pints"),
        (GALLON_L / 4, "qt|qts|quart|quarts"),
        (GALLON_L, "gal|gals|gallon|gallons|us gal|us gallon|us gallons"),
        (IMPERIAL_GALLON_L / 8, "imp pt|imperial pint|imperial pints"),
        (IMPERIAL_GALLON_L, "imp gal|imperial gallon|imperial gallons"),
        (Fraction("2150.42") * (INCH_M * 10) ** 3, "bu|bushel|bushels"),
        ((FOOT_M * 10) ** 3, "ft3"),
        ((YARD_M * 10) ** 3, "yd3"),
    ),
    {METRIC: "l", US: "gal"},
    {METRIC: "20 L or 2 buckets", US: "5 gal or 3 quarts"},
)
WATER_DEPTH = Quantity(
    "depth of water",
    _spelled(
        (Fraction(1), "mm|millimeter|millimeters|millimetre|millimetres|l/m2|liters/m2|litres/m2"),
        (Fraction(10), "cm|centimeter|centimeters|centimetre|centimetres"),
        (INCH_M * 1000, 'in|inch|inches|"'),
        (GALLON_L / SQUARE_FOOT_M2, "gal/ft2|gallons/ft2"),
    ),
    {METRIC: "mm", US: "in"},
    {METRIC: "10 mm", US: "1/2 in"},
)
FLOW = Quantity(
    "flow",
    _spelled(
        (Fraction(1), "l/min|l/m|lpm|liters/min|litres/min|liters/minute|litres/minute"),
        (Fraction(1, 60), "l/h|l/hr|liters/hour|litres/hour"),
        (Fraction(60), "l/s"),
        (GALLON_L, "gpm|gal/min|gallons/min|gallons/minute"),
        (GALLON_L / 60, "gph|gal/h|gal/hr|gallons/hour"),
    ),
    {METRIC: "l/min", US: "gpm"},
    {METRIC: "12 L/min", US: "3 gal/min"},
)


RATE = Quantity(
    "spawn rate",
    {"g/m2": Fraction(1, 1000), "oz/ft2": OUNCE_KG / SQUARE_FOOT_M2},
    {METRIC: "g/m2", US: "oz/ft2"},
    {METRIC: "275 g/m²", US: "1.3 oz/ft² or 4 lb per 30 sq ft"},
)
COUNT = Quantity(
    "number of pegs per area",
    {"/m2": Fraction(1), "/ft2": 1 / SQUARE_FOOT_M2},
    {METRIC: "/m2", US: "/ft2"},
    {METRIC: "40 per m²", US: "4 per sq ft"},
)
