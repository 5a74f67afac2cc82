"""Quantities as gardeners type them, held to published factors and to a general unit library.

The printed factors are those of NIST Special Publication 811 (2008 edition), appendix B.8, with its
seven significant digits, from memory of that table; each is compared within half of the last digit.
pint, a general-purpose library, is the second opinion over many values. What pint itself misreads
(mixed fractions, feet and inches, a decimal comma) is compared with plain arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import UnitSystem

REGISTRY = pint.UnitRegistry()
METRIC, US = UnitSystem.METRIC, UnitSystem.US

# (parser, typed, SI value as printed in NIST SP 811 B.8, or exact by definition)
PRINTED = [
    (units.parse_length, "1 in", "2.54E-02"),
    (units.parse_length, "1 ft", "3.048E-01"),
    (units.parse_length, "1 yd", "9.144E-01"),
    (units.parse_area, "1 sq in", "6.4516E-04"),
    (units.parse_area, "1 sq ft", "9.290304E-02"),
    (units.parse_area, "1 sq yd", "8.361274E-01"),
    (units.parse_mass, "1 oz", "2.834952E-02"),
    (units.parse_mass, "1 lb", "4.535924E-01"),
    (units.parse_mass, "1 short ton", "9.071847E+02"),
    (units.parse_mass, "1 long ton", "1.016047E+03"),
    (units.parse_volume, "1 fl oz", "2.957353E-02"),
    (units.parse_volume, "1 cup", "2.365882E-01"),
    (units.parse_volume, "1 pint", "4.731765E-01"),
    (units.parse_volume, "1 quart", "9.463529E-01"),
    (units.parse_volume, "1 gallon", "3.785412E+00"),
    (units.parse_volume, "1 imperial gallon", "4.54609E+00"),
    (units.parse_volume, "1 bushel", "3.523907E+01"),
    (units.parse_volume, "1 cu ft", "2.831685E+01"),
    (units.parse_volume, "1 cu yd", "7.645549E+02"),
    (units.parse_spawn_rate, "1 oz/ft2", "3.051517E-01"),
    (units.parse_spawn_rate, "1 lb/ft2", "4.882428E+00"),
]


@pytest.mark.parametrize(("parse", "typed", "printed"), PRINTED, ids=[row[1] for row in PRINTED])
def test_factor_is_the_printed_one(parse: Callable[..., float], typed: str, printed: str) -> None:
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    half_of_the_last_digit = float(Decimal(5).scaleb(exponent - 1))
    assert abs(parse(typed) - float(printed)) <= half_of_the_last_digit * (1 + 1e-9)


def test_gallon_per_minute_is_the_printed_one() -> None:
    """NIST SP 811 B.8 prints 6.309020 E-02 liter per second (from memory)."""
    assert units.parse_flow("1 gpm") / 60 == pytest.approx(6.309020e-02, abs=5e-9)


def test_an_acre_is_43560_international_square_feet() -> None:
    """NIST HB 44 appendix C; pint keeps the survey foot, 4 parts in a million larger."""
    assert units.parse_area("1 acre") == pytest.approx(43560 * 0.3048**2, rel=1e-15)


SAME_AS_PINT = [
    (units.parse_length, "in", "inch", "meter"),
    (units.parse_length, "ft", "foot", "meter"),
    (units.parse_length, "yards", "yard", "meter"),
    (units.parse_length, "mm", "millimeter", "meter"),
    (units.parse_area, "sq ft", "foot**2", "meter**2"),
    (units.parse_area, "yd²", "yard**2", "meter**2"),
    (units.parse_area, "ha", "hectare", "meter**2"),
    (units.parse_mass, "oz", "ounce", "kilogram"),
    (units.parse_mass, "lbs", "pound", "kilogram"),
    (units.parse_mass, "t", "metric_ton", "kilogram"),
    (units.parse_volume, "gal", "gallon", "liter"),
    (units.parse_volume, "qt", "quart", "liter"),
    (units.parse_volume, "pt", "pint", "liter"),
    (units.parse_volume, "fl oz", "fluid_ounce", "liter"),
    (units.parse_volume, "imp gal", "imperial_gallon", "liter"),
    (units.parse_volume, "bushels", "bushel", "liter"),
    (units.parse_volume, "cubic yards", "yard**3", "liter"),
    (units.parse_volume, "m³", "meter**3", "liter"),
    (units.parse_depth_of_water, "in", "inch", "millimeter"),
    (units.parse_depth_of_water, "gal/ft2", "gallon/foot**2", "millimeter"),
    (units.parse_spawn_rate, "g/m²", "gram/meter**2", "kilogram/meter**2"),
    (units.parse_spawn_rate, "oz/ft²", "ounce/foot**2", "kilogram/meter**2"),
    (units.parse_spawn_rate, "lb per sq ft", "pound/foot**2", "kilogram/meter**2"),
    (units.parse_count_per_area, "per ft²", "1/foot**2", "1/meter**2"),
    (units.parse_flow, "gpm", "gallon/minute", "liter/minute"),
    (units.parse_flow, "L/h", "liter/hour", "liter/minute"),
]
DECIMALS = st.decimals(min_value=0, max_value=100_000, places=3)


@pytest.mark.parametrize(
    ("parse", "word", "pint_word", "target"), SAME_AS_PINT, ids=[row[1] for row in SAME_AS_PINT]
)
@given(number=DECIMALS)
def test_same_as_pint(
    parse: Callable[..., float], word: str, pint_word: str, target: str, number: Decimal
) -> None:
    pint_unit = (1 / REGISTRY.foot**2) if pint_word == "1/foot**2" else REGISTRY(pint_word)
    expected = (float(number) * pint_unit).to(target).magnitude
    assert parse(f"{number} {word}") == pytest.approx(expected, rel=1e-12, abs=1e-15)


@given(number=st.decimals(min_value=-200, max_value=200, places=2))
def test_fahrenheit_same_as_pint(number: Decimal) -> None:
    expected = REGISTRY.Quantity(float(number), "degF").to("degC").magnitude
    assert units.parse_temperature(f"{number} °F") == pytest.approx(expected, abs=1e-9)


@given(whole=st.integers(0, 99), bottom=st.sampled_from([2, 3, 4, 8, 16]), top=st.integers(1, 15))
def test_mixed_fractions(whole: int, bottom: int, top: int) -> None:
    """pint reads "1 1/2 in" as half an inch; 1 in is 0.0254 m exactly."""
    expected = float((whole + Fraction(top, bottom)) * Fraction("0.0254"))
    assert units.parse_length(f"{whole} {top}/{bottom} in") == expected
    assert units.parse_length(f"{whole}-{top}/{bottom}in") == expected


@given(feet=st.integers(0, 99), inches=st.integers(0, 11))
def test_feet_and_inches(feet: int, inches: int) -> None:
    """pint reads "3 ft 2 in" as six foot-inches."""
    expected = float((12 * feet + inches) * Fraction("0.0254"))
    for typed in (
        f"{feet} ft {inches} in",
        f"{feet}'{inches}\"",
        f"{feet}′ {inches}″",
        f"{feet}'{inches}",
        f"{feet} feet, {inches} inches",
    ):
        assert units.parse_length(typed) == expected, typed


# What the trial of libraries found misread, none of them with an error; the right values by hand.
@pytest.mark.parametrize(
    ("parse", "typed", "expected"),
    [
        (units.parse_length, "1 1/2 in", 1.5 * 0.0254),
        (units.parse_length, "1½ in", 1.5 * 0.0254),
        (units.parse_length, "3 ft 2 in", 38 * 0.0254),
        (units.parse_length, "2,5 m", 2.5),
        (units.parse_length, "2,5 cm", 0.025),
        (units.parse_length, '5 "', 5 * 0.0254),
        (units.parse_temperature, "20 C", 20.0),
        (units.parse_temperature, "−3,5 °C", -3.5),
        (units.parse_volume, "12 gal", 12 * 3.785411784),
        (units.parse_volume, "1 gallon 2 quarts", 1.5 * 3.785411784),
        (units.parse_area, "3 ft x 6 ft", 18 * 0.09290304),
        (units.parse_area, "3 x 6 ft", 18 * 0.09290304),
        (units.parse_area, "1,2 m × 3 m", 3.6),
        (units.parse_mass, "1 lb 4 oz", 1.25 * 0.45359237),
        (units.parse_length, "1,234.5 mm", 1.2345),
        (units.parse_length, "1.234,5 mm", 1.2345),
        (units.parse_spawn_rate, "1/2 lb/ft2", 0.5 * 0.45359237 / 0.09290304),
        (units.parse_spawn_rate, "4 lb per 30 sq ft", 4 * 0.45359237 / (30 * 0.09290304)),
        (units.parse_depth_of_water, "10 L/m²", 10.0),
    ],
)
def test_what_people_type(parse: Callable[..., float], typed: str, expected: float) -> None:
    assert parse(typed) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("parse", "metric", "us"),
    [
        (units.parse_length, 0.02, 2 * 0.0254),
        (units.parse_area, 2.0, 2 * 0.09290304),
        (units.parse_mass, 2.0, 2 * 0.45359237),
        (units.parse_volume, 2.0, 2 * 3.785411784),
        (units.parse_depth_of_water, 2.0, 50.8),
        (units.parse_temperature, 2.0, -30 / 1.8),
        (units.parse_spawn_rate, 0.002, 2 * 0.45359237 / 16 / 0.09290304),
        (units.parse_count_per_area, 2.0, 2 / 0.09290304),
        (units.parse_flow, 2.0, 2 * 3.785411784),
    ],
)
def test_a_bare_number_is_in_the_growers_unit(parse: Callable[..., float], metric: float, us: float) -> None:
    for two in ("2", 2, 2.0):
        assert parse(two, METRIC) == pytest.approx(metric, rel=1e-12)
        assert parse(two, US) == pytest.approx(us, rel=1e-12)


def test_a_bucket_is_what_the_grower_says() -> None:
    """10 L and 5 US gallons: common practice, no source."""
    assert units.parse_volume("2 buckets", METRIC) == 20
    assert units.parse_volume("1 bucket", US) == pytest.approx(5 * 3.785411784)
    assert units.parse_volume("2 buckets", METRIC, bucket_l=12.5) == 25


REFUSED = [
    (units.parse_length, "", "nothing was typed"),
    (units.parse_length, "two inches", "does not begin with a number"),
    (units.parse_length, "5 cubits", "'cubits' is no unit known here"),
    (units.parse_length, "5 minutes", "'minutes' is no unit known here"),
    (units.parse_length, "5 lb", "'lb' is no unit known here"),
    (units.parse_length, "1,000 mm", "write 1000 or 1.0"),
    (units.parse_length, "5 5 cm", "two numbers stand side by side"),
    (units.parse_length, "10 000 mm", "two numbers stand side by side"),
    (units.parse_length, "5 cm 3", "its last number has no unit"),
    (units.parse_length, "2 in 3 ft", "do not go from the large unit to the small"),
    (units.parse_length, "1/0 in", "a zero below its line"),
    (units.parse_length, "-5 cm", "it is below zero"),
    (units.parse_length, math.nan, "not a finite number"),
    (units.parse_length, math.inf, "not a finite number"),
    (units.parse_length, True, "neither a number nor words"),
    (units.parse_length, None, "neither a number nor words"),
    (units.parse_length, "9" * 5000, "5000 characters long"),
    (units.parse_length, "9" * 90, "larger than anything in a garden"),
    (units.parse_area, "4 ft", "'ft' is no unit known here"),
    (units.parse_mass, "1 ton", "say which ton"),
    (units.parse_temperature, "20 K", "neither °C nor °F"),
    (units.parse_temperature, "-300", "below the absolute zero"),
    (units.parse_spawn_rate, "275 g", "'g' is no unit known here"),
    (units.parse_spawn_rate, "2 kg/0 m2", "its area is zero"),
    (units.parse_spawn_rate, "1 kg/m2/day", "not one amount over one area"),
]


@pytest.mark.parametrize(("parse", "typed", "why"), REFUSED, ids=[str(row[1])[:20] for row in REFUSED])
def test_a_refusal_names_what_was_typed_and_an_example(
    parse: Callable[..., float], typed: str, why: str
) -> None:
    with pytest.raises(InputError) as caught:
        parse(typed, METRIC, field="here")
    message = str(caught.value)
    assert why in message
    assert repr(typed)[1:10] in message
    assert "Type it such as " in message
    assert caught.value.field == "here"


PARSERS = [getattr(units, name) for name in units.__all__ if name.startswith("parse_")]


@pytest.mark.parametrize("parse", PARSERS, ids=[parse.__name__ for parse in PARSERS])
@given(
    typed=st.one_of(st.text(max_size=20), st.text("0123456789 .,/-'\"x½²infmcltgbozpersqhF°", max_size=20))
)
def test_any_text_is_a_number_or_a_clear_refusal(parse: Callable[..., float], typed: str) -> None:
    try:
        value = parse(typed, US)
    except InputError:
        return
    assert math.isfinite(value)


def test_an_unknown_system_is_refused() -> None:
    with pytest.raises(InputError, match="choose metric or us"):
        units.parse_length("5 cm", "imperial")


def test_examples_in_refusals_can_be_typed() -> None:
    """The example a refusal gives must itself be understood."""
    for parse in PARSERS:
        for system in (METRIC, US):
            with pytest.raises(InputError) as caught:
                parse("?", system)
            for example in str(caught.value).rpartition("such as ")[2].rstrip(".").split(" or "):
                assert parse(example, system) != 0, (parse, example)


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (units.show_length(0.05), "5 cm"),
        (units.show_length(0.05, US), "2 in"),
        (units.show_length(1.5 * 0.0254, US), "1½ in"),
        (units.show_length(0.0254 / 8, US), "⅛ in"),
        (units.show_length(38 * 0.0254, US), "3 ft 2 in"),
        (units.show_length(2 * 0.3048, US), "2 ft"),
        (units.show_length(0.008), "8 mm"),
        (units.show_length(1.25), "1.25 m"),
        (units.show_length(-1.25), "−1.25 m"),
        (units.show_length(0.0), "0 mm"),
        (units.show_length(0.0001, US), "under 1/16 in"),
        (units.show_spawn_rate(0.3967), "397 g/m²"),
        (units.show_spawn_rate(0.3967, US), "1.3 oz/ft²"),
        (units.show_spawn_rate(0.6866, US), "2.25 oz/ft²"),
        (units.show_spawn_rate(1.5), "1.5 kg/m²"),
        (units.show_mass(0.65), "650 g"),
        (units.show_mass(2.5), "2.5 kg"),
        (units.show_mass(2.5, US), "5.5 lb"),
        (units.show_volume(0.5), "500 mL"),
        (units.show_volume(20), "20 L"),
        (units.show_volume(3.785411784 * 5, US), "5 gal"),
        (units.show_area(1.67225472, US), "18 ft²"),
        (units.show_area(3.5), "3.5 m²"),
        (units.show_temperature(20), "20 °C"),
        (units.show_temperature(20, US), "68 °F"),
        (units.show_temperature(-3.6), "−4 °C"),
        (units.show_temperature(-0.2), "0 °C"),
        (units.show_water_depth(10), "10 mm"),
        (units.show_water_depth(10, US), "0.39 in"),
        (units.show_flow(12), "12 L/min"),
        (units.show_flow(12, US), "3.2 gal/min"),
    ],
)
def test_how_quantities_read(shown: str, expected: str) -> None:
    assert shown == expected


@pytest.mark.parametrize(
    ("show", "parse", "low", "high", "share"),
    [
        (units.show_length, units.parse_length, 0.01, 50.0, 0.07),  # sixteenths of an inch at the small end
        (units.show_area, units.parse_area, 0.5, 500.0, 0.02),
        (units.show_mass, units.parse_mass, 0.05, 500.0, 0.04),
        (units.show_volume, units.parse_volume, 0.2, 2000.0, 0.08),  # whole fluid ounces
        (units.show_water_depth, units.parse_depth_of_water, 1.0, 300.0, 0.13),  # hundredths of an inch
        (units.show_spawn_rate, units.parse_spawn_rate, 0.02, 10.0, 0.09),  # hundredths of an ounce
    ],
)
@pytest.mark.parametrize("system", [METRIC, US])
@given(data=st.data())
def test_what_is_shown_can_be_typed_back(
    show: Callable[..., str],
    parse: Callable[..., float],
    low: float,
    high: float,
    share: float,
    system: UnitSystem,
    data: st.DataObject,
) -> None:
    """A law: showing rounds, and never by more than the last figure shown."""
    value = data.draw(st.floats(low, high))
    assert parse(show(value, system)) == pytest.approx(value, rel=share)


@pytest.mark.parametrize(
    ("inches", "words"),
    [
        (0, "0 in"),
        (0.5, "½ in"),
        (6.5, "6½ in"),
        (11.8, "1 ft"),
        (12, "1 ft"),
        (394.4, "32 ft 10½ in"),
        (-13, "−1 ft 1 in"),
    ],
)
def test_lengths_as_a_tape_is_read(inches: float, words: str) -> None:
    assert units.show_taped_length(inches * 0.0254, "us") == words


def test_metric_lengths_as_a_tape_is_read() -> None:
    assert units.show_taped_length(10.024) == "10.02 m"
    assert units.show_taped_length(-0.4) == "−0.40 m"


@pytest.mark.parametrize(
    ("quantity", "name", "printed"),
    [
        ("length", "ft", "3.048E-01"),
        ("small_length", "in", "2.54E-02"),
        ("area", "ft²", "9.290304E-02"),
        ("mass", "lb", "4.535924E-01"),
        ("volume", "gal", "3.785412E+00"),
        ("water_depth", "in", "2.54E+01"),
        ("density", "lb/ft³", "1.601846E+01"),
    ],
)
def test_plain_units_are_those_printed(quantity: units.PlainQuantity, name: str, printed: str) -> None:
    """NIST SP 811, B.8, as above; the depth of water in millimeters, the gallon in liters."""
    unit, ours = units.plain_unit(quantity, "us")
    assert unit == name
    digit = Decimal(printed).as_tuple().exponent
    assert abs(Decimal(ours) - Decimal(printed)) <= Decimal("0.5001") * Decimal(10) ** int(digit)


@pytest.mark.parametrize("quantity", ["length", "area", "mass", "volume", "water_depth", "density"])
def test_plain_metric_units_are_ours(quantity: units.PlainQuantity) -> None:
    assert units.plain_unit(quantity, METRIC)[1] == 1.0


def test_a_plain_temperature_is_what_the_thermometer_shows() -> None:
    """Water freezes at 32 °F and boils at 212 °F; both scales meet at -40."""
    assert [units.plain_temperature(c, US) for c in (0, 100, -40)] == [32, 212, -40]
    assert units.plain_temperature(21.5, METRIC) == 21.5
