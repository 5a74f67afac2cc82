"""What a gardener types and reads, to and from SI: the only room that knows inches and gallons.

    parse_*   words to SI; `InputError` names what was typed and gives an example
    show_*    SI to words, rounded as one would say it, in the grower's units

What people type: "1 1/2 in", "1½ in", "3 ft 2 in", 5'2", "2,5 cm", "1 lb 4 oz", "3 ft x 6 ft",
"1.3 oz/ft²", "4 lb per 30 sq ft", "two" is not understood. A bare number takes the usual unit of
the grower's system, which each function names. A comma before exactly three digits is refused
where it could mean a thousand or a decimal.

The factors are exact. Inch, foot, yard, ounce and pound by the international yard and pound
agreement of 1959, as printed in NIST SP 811 (2008), appendix B.8: 1 in = 0.0254 m, 1 lb =
0.453 592 37 kg; the US gallon is 231 in³, the US bushel 2150.42 in³ (NIST Handbook 44, appendix C);
the imperial gallon is 4.546 09 L (Weights and Measures Act 1985, schedule 1). An acre is 43,560
international square feet. "gallon", "quart" and "pint" alone are the US ones, whichever system the
grower uses; the imperial ones are typed so. A ton alone is refused: three different ones are in use.
"""

from mulchwright.units.days import day_range_words, day_words, minute_words, write_days_for
from mulchwright.units.quantities import (
    BUCKET_L,
    FOOT_M,
    GALLON_L,
    IMPERIAL_GALLON_L,
    INCH_M,
    LONGEST_TYPED,
    METRIC,
    OUNCE_KG,
    POUND_KG,
    SQUARE_FOOT_M2,
    US,
    YARD_M,
)
from mulchwright.units.sentences import in_units
from mulchwright.units.shown import (
    PlainQuantity,
    celsius_of,
    plain_temperature,
    plain_unit,
    show_area,
    show_buckets,
    show_bulk_volume,
    show_flow,
    show_kitchen_mass,
    show_length,
    show_mass,
    show_spawn_rate,
    show_taped_length,
    show_temperature,
    show_volume,
    show_water_depth,
)
from mulchwright.units.typed import (
    parse_area,
    parse_count_per_area,
    parse_depth_of_water,
    parse_flow,
    parse_length,
    parse_mass,
    parse_spawn_rate,
    parse_temperature,
    parse_volume,
)

__all__ = [
    "BUCKET_L",
    "FOOT_M",
    "GALLON_L",
    "IMPERIAL_GALLON_L",
    "INCH_M",
    "LONGEST_TYPED",
    "METRIC",
    "OUNCE_KG",
    "POUND_KG",
    "SQUARE_FOOT_M2",
    "US",
    "YARD_M",
    "PlainQuantity",
    "celsius_of",
    "day_range_words",
    "day_words",
    "in_units",
    "minute_words",
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
    "write_days_for",
]
