"""What a gardener types and reads, to and from SI: the only module that knows inches and gallons.

    parse_*   words to SI; `InputError` names what was typed and gives an example
    show_*    SI to words, rounded as one would say it, in the grower's units

What people type: "1 1/2 in", "1½ in", "3 ft 2 in", 5'2", "2,5 cm", "1 lb 4 oz", "4 ft x 8 ft",
"0.9 oz/ft²", "5.5 lb per 50 sq ft", "two" is not understood. A bare number takes the usual unit of
the grower's system, which each function names. A comma before exactly three digits is refused
where it could mean a thousand or a decimal.

The factors are exact. Inch, foot, yard, ounce and pound by the international yard and pound
agreement of 1959, as printed in NIST SP 811 (2008), appendix B.8: 1 in = 0.0254 m, 1 lb =
0.453 592 37 kg; the US gallon is 231 in³, the US bushel 2150.42 in³ (NIST Handbook 44, appendix C);
the imperial gallon is 4.546 09 L (Weights and Measures Act 1985, schedule 1). An acre is 43,560
international square feet. "gallon", "quart" and "pint" alone are the US ones, whichever system the
grower uses; the imperial ones are typed so. A ton alone is refused: three different ones are in use.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from mulchwright.errors import InputError

__all__ = [
    "BUCKET_L",
    "METRIC",
    "US",
    "in_units",
    "parse_area",
    "parse_count_per_area",
    "parse_depth_of_water",
    "parse_flow",
    "parse_length",
    "parse_mass",
    "parse_spawn_rate",
    "parse_temperature",
    "parse_volume",
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
class _Quantity:
    """One kind of quantity: its unit words with their size in SI, the unit of a bare number, examples."""

    what: str
    units: Mapping[str, Fraction]
    bare: Mapping[str, str]
    example: Mapping[str, str]
    refused: Mapping[str, str] | None = None


def _spelled(*groups: tuple[Fraction, str]) -> dict[str, Fraction]:
    """`(size, "words that mean it")` to a mapping from each word; words are separated by bars."""
    return {word: size for size, words in groups for word in words.split("|")}


_LENGTH = _Quantity(
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
_AREA = _Quantity(
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
    {METRIC: "3.5 m² or 1.2 m x 3 m", US: "32 sq ft or 4 ft x 8 ft"},
)
_MASS = _Quantity(
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
_VOLUME = _Quantity(
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
_WATER_DEPTH = _Quantity(
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
_FLOW = _Quantity(
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

_VULGAR = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}
_NUMBER = re.compile(
    r"""
      (?P<whole>\d+) [ -] (?P<top>\d+) / (?P<bottom>\d+)     # 1 1/2 and 1-1/2
    | (?P<top2>\d+) / (?P<bottom2>\d+)                       # 3/4
    | (?P<thousands>\d{1,3} (?: ,\d{3} )+ \.\d+)             # 1,234.5
    | (?P<millions>\d{1,3} (?: ,\d{3} ){2,})                 # 1,234,567
    | (?P<dotted>\d{1,3} (?: \.\d{3} )+ ,\d+)                # 1.234,5
    | (?P<decimal>\d+ (?: [.,]\d+ )? | [.,]\d+ )             # 2, 2.5, 2,5 and .5
    """,
    re.VERBOSE,
)


def _refusal(typed: object, quantity: _Quantity, system: str, why: str, field: str | None) -> InputError:
    shown = str(typed)
    shown = shown if len(shown) <= LONGEST_TYPED else f"{shown[:30]}…"
    return InputError(
        f"{quantity.what.capitalize()} {shown!r}: {why}. Type it such as {quantity.example[system]}.",
        field=field,
    )


def _tidy(text: str) -> str:
    """One spelling for the many that mean the same: quotes, minus signs, exponents, blanks, case."""
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, f" {plain}")
    text = text.replace("⁄", "/").replace("−", "-").replace("–", "-").replace("×", "x")
    text = re.sub("[’′‘`´]", "'", text)
    text = re.sub("[”″“]|''", '"', text)
    text = text.replace("²", "2").replace("³", "3").replace("^", "")
    text = " ".join(text.split()).lower()  # also no-break and thin spaces
    text = re.sub(r"\b(?:square|sq)(?:\.| ) ?(?=[a-z])", "sq ", text)
    text = re.sub(r"\b(?:cubic|cu)(?:\.| ) ?(?=[a-z])", "cu ", text)
    text = re.sub(
        r"\bsq (mm|cm|m|in|ft|yd|inch|inches|feet|foot|yards?|met(?:er|re)s?)\b\.?",
        lambda found: _short(found[1]) + "2",
        text,
    )
    text = re.sub(
        r"\bcu (cm|m|in|ft|yd|inch|inches|feet|foot|yards?|met(?:er|re)s?)\b\.?",
        lambda found: _short(found[1]) + "3",
        text,
    )
    text = re.sub(r"\bsqft\b|\bsf\b", "ft2", text)
    text = re.sub(r"\b(m|ft|in|yd|cm) ([23])(?=$|[ /])(?! ?\d)", r"\1\2", text) if "/" in text else text
    text = re.sub(r"(?<=[a-z])\.(?= |,|$|/)", "", text)  # "in." and "lb."
    return re.sub(r"(?<=[a-z'\"]),? (?:and )?(?=\d)", " ", text)  # "5 feet, 2 inches"


def _short(word: str) -> str:
    for start, short in (("in", "in"), ("f", "ft"), ("y", "yd"), ("met", "m")):
        if word.startswith(start):
            return short
    return word


def _number_of(found: re.Match[str]) -> Fraction:
    """The exact value of a number as typed; ZeroDivisionError for 1/0, ValueError where it is ambiguous."""
    parts = found.groupdict()
    if parts["whole"]:
        return int(parts["whole"]) + Fraction(int(parts["top"]), int(parts["bottom"]))
    if parts["top2"]:
        return Fraction(int(parts["top2"]), int(parts["bottom2"]))
    if grouped := parts["thousands"] or parts["millions"]:
        return Fraction(grouped.replace(",", ""))
    if parts["dotted"]:
        return Fraction(parts["dotted"].replace(".", "").replace(",", "."))
    typed = parts["decimal"]
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", typed):
        raise ValueError(
            f"the comma in {typed} could mark a thousand or a decimal; write {typed.replace(',', '')} or "
            f"{float(typed.replace(',', '.'))}"
        )
    return Fraction(typed.replace(",", "."))


def _unit_pattern(words: Mapping[str, Fraction]) -> re.Pattern[str]:
    """Any of the unit words, the longest first, and only as a whole: "5 minutes" is not 5 m and "inutes"."""
    quotes = [re.escape(word) for word in words if not word[-1:].isalnum()]
    whole = sorted((re.escape(word) for word in words if word[-1:].isalnum()), key=len, reverse=True)
    return re.compile("|".join((*(f"{word}(?![a-z/%])" for word in whole), *quotes)))


def _terms(text: str, words: Mapping[str, Fraction]) -> list[tuple[Fraction, str]]:
    """The (number, unit word) pairs of a tidied text; ValueError says what is not understood."""
    terms: list[tuple[Fraction, str]] = []
    unit = _unit_pattern({word: size for word, size in words.items() if word})
    rest = text
    while rest:
        found = _NUMBER.match(rest)
        if found is None:
            raise ValueError(f"{rest!r} is not understood" if terms else "it does not begin with a number")
        try:
            number = _number_of(found)
        except ZeroDivisionError:
            raise ValueError("a fraction has a zero below its line") from None
        rest = rest[found.end() :].lstrip()
        word = unit.match(rest)
        if word is None and rest:
            if rest[0].isdigit():
                raise ValueError("two numbers stand side by side; write one number, and its unit after it")
            raise ValueError(f"{rest!r} is no unit known here")
        terms.append((number, word[0] if word else ""))
        rest = rest[word.end() :].lstrip() if word else ""
    return terms


def _in_order(terms: list[tuple[Fraction, str]], words: Mapping[str, Fraction]) -> list[tuple[Fraction, str]]:
    """Terms of a compound such as 3 ft 2 in; ValueError where they do not make one."""
    if len(terms) > 1 and terms[-1][1] == "" and terms[-2][1] == "'":
        terms = [*terms[:-1], (terms[-1][0], '"')]  # 5'2 leaves no doubt
    if len(terms) > 1 and any(not unit for _, unit in terms):
        raise ValueError("its last number has no unit")
    sizes = [words[unit] for _, unit in terms if unit]
    if len(terms) > 1 and sizes != sorted(set(sizes), reverse=True):
        raise ValueError("its parts do not go from the large unit to the small one")
    return terms


def _exact(
    typed: str | float,
    quantity: _Quantity,
    system: str,
    *,
    field: str | None,
    bare: str | None = None,
    below_zero: bool = False,
    units: Mapping[str, Fraction] | None = None,
) -> Fraction:
    """The SI value of what was typed, exactly; see the module's head for what is understood."""
    if system not in (METRIC, US):
        raise InputError(f"There is no system of units {system!r}; choose metric or us.", field="units")
    words = units or quantity.units
    bare_unit = bare or quantity.bare[system]

    def refuse(why: str) -> InputError:
        return _refusal(typed, quantity, system, why, field)

    if isinstance(typed, bool) or not isinstance(typed, str | int | float):
        raise refuse("it is neither a number nor words")
    if isinstance(typed, int | float):
        if isinstance(typed, int) and abs(typed) > 10**LONGEST_TYPED:  # no float holds it
            raise refuse("it is larger than anything in a garden")
        if not math.isfinite(typed):
            raise refuse("it is not a finite number")
        value = Fraction(repr(typed)) * words[bare_unit]  # as it would be written, so 2.7 is the text "2.7"
    else:
        text = _tidy(typed)
        if not text:
            raise refuse("nothing was typed")
        if len(text) > LONGEST_TYPED:
            raise refuse(f"it is {len(text)} characters long")
        for word, remedy in (quantity.refused or {}).items():
            if re.search(rf"(?<!short )(?<!long )(?<!metric )\b{word}$", text):
                raise refuse(remedy)
        sign = -1 if text.startswith("-") else 1
        try:
            terms = _in_order(_terms(re.sub(r"^[+-] ?", "", text), words), words)
        except ValueError as error:
            raise refuse(str(error)) from None
        if not terms:
            raise refuse("it does not hold a number")
        value = sign * sum((number * words[unit or bare_unit] for number, unit in terms), Fraction(0))
    if value < 0 and not below_zero:
        raise refuse("it is below zero")
    if abs(value) > 10**12:
        raise refuse("it is larger than anything in a garden")
    return value


def _parse(
    typed: str | float,
    quantity: _Quantity,
    system: str,
    *,
    field: str | None,
    bare: str | None = None,
    below_zero: bool = False,
    units: Mapping[str, Fraction] | None = None,
) -> float:
    return float(_exact(typed, quantity, system, field=field, bare=bare, below_zero=below_zero, units=units))


# ---- typed to SI ------------------------------------------------------------


def parse_length(
    typed: str | float,
    system: str = METRIC,
    *,
    bare: str | None = None,
    below_zero: bool = False,
    field: str | None = None,
) -> float:
    """A length [m]; a bare number is in cm (metric) or in (US), or in the unit named by `bare`.

    `below_zero` lets elevations below the sea pass. Raises `InputError`.

    >>> round(parse_length("3 ft 2 in"), 4)
    0.9652
    """
    return _parse(typed, _LENGTH, system, field=field, bare=bare, below_zero=below_zero)


def parse_area(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """An area [m²]; a bare number is in m² or ft². "4 ft x 8 ft" is multiplied; bare sides are in m or ft.

    >>> round(parse_area("4 ft x 8 ft"), 3)
    2.973
    """
    if isinstance(typed, str):
        sides = re.split(r"(?<=[\d'\" a-z.])(?:x|\bby\b)(?=[ \d.,])", _tidy(typed))
        if len(sides) == 2:
            side_bare = "m" if system == METRIC else "ft"
            if re.fullmatch(r"[\d.,/ -]+", sides[0]) and (unit := re.search(r"[a-z'\"]+$", sides[1].strip())):
                side_bare = unit[0] if unit[0] in _LENGTH.units else side_bare  # "4 x 8 ft"
            first, second = (parse_length(side, system, bare=side_bare, field=field) for side in sides)
            return first * second
    return _parse(typed, _AREA, system, field=field)


def parse_mass(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A mass [kg]; a bare number is in kg or lb.

    >>> round(parse_mass("1 lb 4 oz"), 4)
    0.567
    """
    return _parse(typed, _MASS, system, field=field)


def parse_volume(
    typed: str | float, system: str = METRIC, *, bucket_l: float | None = None, field: str | None = None
) -> float:
    """A volume [L]; a bare number is in L or US gallons, a bucket is `bucket_l` or that of `BUCKET_L`.

    >>> parse_volume("2 buckets")
    20.0
    """
    size = Fraction(BUCKET_L.get(system, 10.0) if bucket_l is None else bucket_l)
    return _parse(
        typed, _VOLUME, system, field=field, units={**_VOLUME.units, "bucket": size, "buckets": size}
    )


def parse_depth_of_water(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """Rain or watering as a depth [mm, which is L/m²]; a bare number is in mm or in.

    >>> parse_depth_of_water("1/2 in")
    12.7
    """
    text = re.sub(r" ?(?:/| per ) ?", "/", _tidy(typed)) if isinstance(typed, str) else typed
    text = re.sub(r"(\d)/(?=\D)", r"\1 /", text) if isinstance(text, str) else text
    return _parse(text, _WATER_DEPTH, system, field=field)


def parse_flow(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A flow of water [L/min]; a bare number is in L/min or US gal/min.

    >>> round(parse_flow("3 gpm"), 2)
    11.36
    """
    text = re.sub(r" ?(?:/(?! ?\d)| per (?:a )?) ?", "/", _tidy(typed)) if isinstance(typed, str) else typed
    return _parse(text, _FLOW, system, field=field)


_RATE = _Quantity(
    "spawn rate",
    {"g/m2": Fraction(1, 1000), "oz/ft2": OUNCE_KG / SQUARE_FOOT_M2},
    {METRIC: "g/m2", US: "oz/ft2"},
    {METRIC: "275 g/m²", US: "0.9 oz/ft² or 5.5 lb per 50 sq ft"},
)
_COUNT = _Quantity(
    "number of pegs per area",
    {"/m2": Fraction(1), "/ft2": 1 / SQUARE_FOOT_M2},
    {METRIC: "/m2", US: "/ft2"},
    {METRIC: "40 per m²", US: "4 per sq ft"},
)
_PLAIN = {"": Fraction(1)}


def _over_area(
    typed: str | float,
    quantity: _Quantity,
    system: str,
    top_of: Callable[[str], Fraction],
    field: str | None,
) -> float:
    """`<something> per <area>` as a quotient in SI; a bare number goes by the quantity's own unit."""
    if not isinstance(typed, str):
        return _parse(typed, quantity, system, field=field)
    text = _tidy(typed)
    # The last stroke that has no digit right before it, or "per": strokes inside fractions stay.
    halves = re.split(r" per (?:a )?| ?(?<![\d])/ ?(?=[\da-z])| / ?(?=[a-z])|(?<=\d)/(?=[a-z])", text)
    if len(halves) == 1:
        return _parse(text, quantity, system, field=field)
    if len(halves) != 2 or not halves[1].strip():
        raise _refusal(typed, quantity, system, "it is not one amount over one area", field)
    below = halves[1].strip()
    below = below if re.match(r"[\d.,]", below) else f"1 {below}"
    try:
        area = _exact(below, _AREA, system, field=field)
        top = top_of(halves[0].strip())
    except InputError as error:
        why = str(error).partition(": ")[2].partition(". Type it")[0]
        raise _refusal(typed, quantity, system, why or "it is not understood", field) from None
    if area == 0:
        raise _refusal(typed, quantity, system, "its area is zero", field)
    return float(top / area)


def parse_spawn_rate(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A mass of spawn over an area [kg/m²]; a bare number is in g/m² or oz/ft².

    >>> round(parse_spawn_rate("2.75 oz/ft2"), 3)
    0.839
    """

    def mass(text: str) -> Fraction:
        if not re.search("[a-z]", text):
            text = f"{text} {'g' if system == METRIC else 'oz'}"
        return _exact(text, _MASS, system, field=field)

    return _over_area(typed, _RATE, system, mass, field)


def parse_count_per_area(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A number of pegs over an area [per m²]; a bare number is per m² or per ft².

    >>> round(parse_count_per_area("4 per sq ft"), 2)
    43.06
    """

    def count(text: str) -> Fraction:
        text = re.sub(r" ?(?:pegs?|plugs?|dowels?|pieces?)$", "", text)
        number = _Quantity("number", _PLAIN, {METRIC: "", US: ""}, _COUNT.example)
        return _exact(text, number, system, field=field)

    return _over_area(typed, _COUNT, system, count, field)


def parse_temperature(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A temperature [°C]; a bare number is in °C or °F. Below the absolute zero is refused.

    >>> parse_temperature("68 °F")
    20.0
    """
    kind = _Quantity("temperature", _PLAIN, {METRIC: "", US: ""}, {METRIC: "20 °C", US: "68 °F"})
    fahrenheit = system == US
    number: str | float = typed
    if isinstance(typed, str):
        text = _tidy(typed).replace("℃", "c").replace("℉", "f")
        text = re.sub(r"º|˚|° ?|\bdeg(?:ree)?s?\b\.?", "", text)
        found = re.fullmatch(r"(?P<number>[^a-z]*?) ?(?P<unit>[a-z]*)", text.strip())
        if found is None or found["unit"] not in ("", "c", "f", "celsius", "centigrade", "fahrenheit"):
            raise _refusal(typed, kind, system, "its unit is neither °C nor °F", field)
        fahrenheit = found["unit"].startswith("f") if found["unit"] else fahrenheit
        number = found["number"].strip()
    try:
        degrees = _exact(number, kind, system, field=field, below_zero=True)
    except InputError as error:
        why = str(error).partition(": ")[2].partition(". Type it")[0]
        raise _refusal(typed, kind, system, why, field) from None
    celsius = (degrees - 32) * 5 / 9 if fahrenheit else degrees
    if celsius < Fraction("-273.15"):
        raise _refusal(typed, kind, system, "it is below the absolute zero", field)
    return float(celsius)


# ---- SI to words ------------------------------------------------------------


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
    """An area [m²] as "3.5 m²" or "32 ft²"."""
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


def show_water_depth(depth_mm: float, system: str = METRIC) -> str:
    """Rain or watering [mm] as "3.5 mm", "25 mm"; or "0.39 in"."""
    if system != US:
        return f"{_figure(depth_mm, _steps(depth_mm, (9.95, 1)))} mm"
    inches = depth_mm / float(INCH_M * 1000)
    return f"{_figure(inches, _steps(inches, (9.995, 2), (100, 1)))} in"


def show_spawn_rate(rate_kg_m2: float, system: str = METRIC) -> str:
    """A mass of spawn over an area [kg/m²] as "275 g/m²", "1.5 kg/m²"; or "0.9 oz/ft²", "1.25 lb/ft²"."""
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


# ---- figures inside sentences ------------------------------------------------------

_SAID_LENGTHS = {"m": 1.0, "cm": 0.01, "mm of wood": 0.001}
_SAID_UNITS = r"(?P<unit>kg/m²|kg|L of chips|L|liters?|mm|cm|°C|m²|m³|m)(?![\w²³/])"
_SAID_NUMBER = r"[−-]?\d[\d,]*(?:\.\d+)?"
_SAID_OTHERWISE = r"(?: \((?P<us>[^()]*(?:lb|oz|ft|in|gal|°F)\b[^()]*)\))?"
"""The same figure in US units in brackets, as some texts of the trade have it."""
_SAID_FIGURES = re.compile(
    rf"(?P<first>{_SAID_NUMBER})(?: (?P<link>to|or|and) (?P<second>{_SAID_NUMBER}))? "
    rf"{_SAID_UNITS}{_SAID_OTHERWISE}"
)


def in_units(words: str, system: str, *, bulk: bool = False) -> str:
    """A sentence with its SI figures said anew in the grower's units; `bulk` where liters are loose chips.

    >>> in_units("Kept at 4 °C; 300 to 500 L of chips, 0.45 kg.", "us")
    'Kept at 39 °F; 11 ft³ to 18 ft³ of chips, 16 oz.'
    """

    def anew(found: re.Match[str]) -> str:
        first, second = (_said_figure(found[name]) for name in ("first", "second"))
        unit = found["unit"]
        unit = "m³ of it" if bulk and unit in ("L", "liter", "liters") else unit
        if found["us"] and system == US:
            return found["us"]
        tail = " of chips" if unit.endswith("of chips") else ""
        assert first is not None
        said = _said(first, unit, system)
        if second is not None:
            said = f"{said} {found['link']} {_said(second, unit, system)}"
        return said + tail

    return _SAID_FIGURES.sub(anew, words)


def _said_figure(text: str | None) -> float | None:
    return None if text is None else float(text.replace(",", "").replace("−", "-"))


def _said(value: float, unit: str, system: str) -> str:
    match unit:
        case "kg":
            return show_mass(value, system)
        case "kg/m²":
            return show_spawn_rate(value, system)
        case "L of chips":
            return show_bulk_volume(value, system)
        case "L" | "liter" | "liters":
            return show_volume(value, system)
        case "m³ of it":
            return show_bulk_volume(value, system)
        case "m³":
            return show_bulk_volume(1000 * value, system)
        case "mm":
            return show_water_depth(value, system)
        case "°C":
            return show_temperature(value, system)
        case "m²":
            return show_area(value, system)
        case _:
            return show_length(value * _SAID_LENGTHS[unit], system)
