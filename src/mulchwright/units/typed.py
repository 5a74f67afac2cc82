"""What a gardener types, to SI; `InputError` names what was typed and gives an example."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from fractions import Fraction

from mulchwright.errors import InputError
from mulchwright.units.quantities import (
    AREA,
    BUCKET_L,
    COUNT,
    FLOW,
    LENGTH,
    LONGEST_TYPED,
    MASS,
    METRIC,
    RATE,
    US,
    VOLUME,
    WATER_DEPTH,
    Quantity,
)

__all__ = [
    "parse_area",
    "parse_count_per_area",
    "parse_depth_of_water",
    "parse_flow",
    "parse_length",
    "parse_mass",
    "parse_spawn_rate",
    "parse_temperature",
    "parse_volume",
]


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


def _refusal(typed: object, quantity: Quantity, system: str, why: str, field: str | None) -> InputError:
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
    quantity: Quantity,
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
    quantity: Quantity,
    system: str,
    *,
    field: str | None,
    bare: str | None = None,
    below_zero: bool = False,
    units: Mapping[str, Fraction] | None = None,
) -> float:
    return float(_exact(typed, quantity, system, field=field, bare=bare, below_zero=below_zero, units=units))


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
    return _parse(typed, LENGTH, system, field=field, bare=bare, below_zero=below_zero)


def parse_area(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """An area [m²]; a bare number is in m² or ft². "3 ft x 6 ft" is multiplied; bare sides are in m or ft.

    >>> round(parse_area("3 ft x 6 ft"), 3)
    1.672
    """
    if isinstance(typed, str):
        sides = re.split(r"(?<=[\d'\" a-z.])(?:x|\bby\b)(?=[ \d.,])", _tidy(typed))
        if len(sides) == 2:
            side_bare = "m" if system == METRIC else "ft"
            if re.fullmatch(r"[\d.,/ -]+", sides[0]) and (unit := re.search(r"[a-z'\"]+$", sides[1].strip())):
                side_bare = unit[0] if unit[0] in LENGTH.units else side_bare  # "4 x 8 ft"
            first, second = (parse_length(side, system, bare=side_bare, field=field) for side in sides)
            return first * second
    return _parse(typed, AREA, system, field=field)


def parse_mass(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A mass [kg]; a bare number is in kg or lb.

    >>> round(parse_mass("1 lb 4 oz"), 4)
    0.567
    """
    return _parse(typed, MASS, system, field=field)


def parse_volume(
    typed: str | float, system: str = METRIC, *, bucket_l: float | None = None, field: str | None = None
) -> float:
    """A volume [L]; a bare number is in L or US gallons, a bucket is `bucket_l` or that of `BUCKET_L`.

    >>> parse_volume("2 buckets")
    20.0
    """
    size = Fraction(BUCKET_L.get(system, 10.0) if bucket_l is None else bucket_l)
    return _parse(typed, VOLUME, system, field=field, units={**VOLUME.units, "bucket": size, "buckets": size})


def parse_depth_of_water(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """Rain or watering as a depth [mm, which is L/m²]; a bare number is in mm or in.

    >>> parse_depth_of_water("1/2 in")
    12.7
    """
    text = re.sub(r" ?(?:/| per ) ?", "/", _tidy(typed)) if isinstance(typed, str) else typed
    text = re.sub(r"(\d)/(?=\D)", r"\1 /", text) if isinstance(text, str) else text
    return _parse(text, WATER_DEPTH, system, field=field)


def parse_flow(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A flow of water [L/min]; a bare number is in L/min or US gal/min.

    >>> round(parse_flow("3 gpm"), 2)
    11.36
    """
    text = re.sub(r" ?(?:/(?! ?\d)| per (?:a )?) ?", "/", _tidy(typed)) if isinstance(typed, str) else typed
    return _parse(text, FLOW, system, field=field)


_PLAIN = {"": Fraction(1)}


def _over_area(
    typed: str | float,
    quantity: Quantity,
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
        area = _exact(below, AREA, system, field=field)
        top = top_of(halves[0].strip())
    except InputError as error:
        why = str(error).partition(": ")[2].partition(". Type it")[0]
        raise _refusal(typed, quantity, system, why or "it is not understood", field) from None
    if area == 0:
        raise _refusal(typed, quantity, system, "its area is zero", field)
    return float(top / area)


def parse_spawn_rate(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A mass of spawn over an area [kg/m²]; a bare number is in g/m² or oz/ft².

    >>> round(parse_spawn_rate("1.6 oz/ft2"), 3)
    0.488
    """

    def mass(text: str) -> Fraction:
        if not re.search("[a-z]", text):
            text = f"{text} {'g' if system == METRIC else 'oz'}"
        return _exact(text, MASS, system, field=field)

    return _over_area(typed, RATE, system, mass, field)


def parse_count_per_area(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A number of pegs over an area [per m²]; a bare number is per m² or per ft².

    >>> round(parse_count_per_area("4 per sq ft"), 2)
    43.06
    """

    def count(text: str) -> Fraction:
        text = re.sub(r" ?(?:pegs?|plugs?|dowels?|pieces?)$", "", text)
        number = Quantity("number", _PLAIN, {METRIC: "", US: ""}, COUNT.example)
        return _exact(text, number, system, field=field)

    return _over_area(typed, COUNT, system, count, field)


def parse_temperature(typed: str | float, system: str = METRIC, *, field: str | None = None) -> float:
    """A temperature [°C]; a bare number is in °C or °F. Below the absolute zero is refused.

    >>> parse_temperature("68 °F")
    20.0
    """
    kind = Quantity("temperature", _PLAIN, {METRIC: "", US: ""}, {METRIC: "20 °C", US: "68 °F"})
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
