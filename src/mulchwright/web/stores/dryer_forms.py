"""Forms of the dryer: the dryer itself, a load to plan or to put in, a weigh-in, the end of a load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Jar
from mulchwright.garden.keeping import Dryer, DryingRun, Fate, Use
from mulchwright.keep import drying_plan
from mulchwright.keep.dry import COOLEST_C, HOTTEST_C, TESTED_C, THICKEST_M, dry_mass_bounds
from mulchwright.trade import Trade, load_trade
from mulchwright.units import in_units
from mulchwright.web.forms.fields import FormField, FormGroup, Reading, StoreForm
from mulchwright.web.forms.moments import read_moment
from mulchwright.web.picks.left_over import fresh_picks, origin, set_aside, shut, small_mass
from mulchwright.web.views import wording as words
from mulchwright.web.views.stores_wording import plain_number

MOST_KG = 50.0
ANY_DRYER = Dryer("any", "Any dryer", 5, 0.1, 500.0)
FIELD_OF = {
    "thickness_m": "thickness", "temperature_c": "temperature", "room_temperature_c": "room",
    "room_humidity": "humidity", "fresh_kg": "mass", "dry_kg": "dry", "ended_at": "at",
    "kept_at_c": "kept_at",
    "tray_area_m2": "tray", "now_kg": "mass", "mass_kg": "mass", "hours": "at", "fate": "form",
}  # fmt: skip
SHELF_C = 18.0
"""A cupboard, where nothing is said about the place of a jar."""
WAYS = (("picks", "picks I logged"), ("mass", "just a weight"))


def field_fault(reading: Reading, error: InputError, system: str, otherwise: str) -> None:
    """A refusal of the core beside the field that it is about, in the grower's units."""
    reading.fault(FIELD_OF.get(error.field or "", error.field or otherwise), in_units(str(error), system))


def read_mass(text: str, name: str, what: str, system: str, most_kg: float = MOST_KG) -> float:
    """A typed mass [kg] as a kitchen scale shows it."""
    if not text:
        raise InputError(f"{what}: give what the scale shows, such as {mass_example(system)}.", field=name)
    kg = units.parse_mass(text, system, field=name)
    if not 0.0005 <= kg <= most_kg:
        raise InputError(
            f"{what}: {small_mass(kg, system)} cannot be. Give it with its unit, such as "
            f"{mass_example(system)}; at most {small_mass(most_kg, system)}.",
            field=name,
        )
    return kg


def mass_example(system: str) -> str:
    return "12 oz" if system == units.US else "350 g"


# ---- the dryer --------------------------------------------------------------


def dryer_form(
    dryer: Dryer | None,
    system: str,
    *,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    before: str = "",
) -> StoreForm:
    """The form of a dryer as it stands, of a new one, or with what was typed."""
    values = _shown_dryer(dryer, system) | dict(typed or {})
    tray = "14 in x 12 in" if system == units.US else "35 cm x 30 cm"
    return StoreForm(
        action=f"/stores/dryer/own/{dryer.key}" if dryer else "/stores/dryer/own/new",
        title=dryer.name if dryer else "Your dryer",
        groups=(
            FormGroup(
                "Your dryer",
                (
                    FormField("name", "Name", values["name"], help="as you call it"),
                    FormField("trays", "Number of trays", values["trays"]),
                    FormField("tray", "Size of one tray", values["tray"], help=f"such as {tray}, or an area"),
                    FormField("watts", "Watts on the label", values["watts"]),
                ),
            ),
        ),
        button="Save" if dryer else "Note the dryer",
        errors=errors or {},
        remove=f"/stores/dryer/own/{dryer.key}/remove" if dryer else "",
        back="/stores/dryer",
        hidden=(("before", before),),
    )


def _shown_dryer(dryer: Dryer | None, system: str) -> dict[str, str]:
    if dryer is None:
        return {"name": "", "trays": "5", "tray": "", "watts": ""}
    return {
        "name": dryer.name, "trays": str(dryer.trays), "tray": units.show_area(dryer.tray_area_m2, system),
        "watts": f"{dryer.watts:g}",
    }  # fmt: skip


def read_dryer(
    held: Dryer | None, typed: Mapping[str, str], system: str, key: str
) -> tuple[Dryer | None, dict[str, str]]:
    """A dryer from its form, or what is wrong with it by field."""
    reading = Reading(typed, _shown_dryer(held, system))
    trays = reading.take("trays", lambda text: plain_number(text, "trays", "Number of trays", 1, 60), 1.0)
    if trays != int(trays):
        reading.fault("trays", "Enter a whole number of trays.")
    area = reading.take("tray", partial(_tray, system=system), 0.1, held=held.tray_area_m2 if held else None)
    watts = reading.take(
        "watts", lambda text: plain_number(text.lower().removesuffix("w"), "watts", "Watts", 50, 5000), 100.0
    )
    if not reading.text("name"):
        reading.fault("name", "Enter a name, such as “kitchen dryer”.")
    if reading.errors:
        return None, reading.errors
    try:
        return Dryer(key, reading.text("name"), int(trays), area, watts), {}
    except InputError as error:
        field_fault(reading, error, system, "name")
        return None, reading.errors


def _tray(text: str, system: str) -> float:
    bare = "in" if system == units.US else "cm"
    sides = text.lower().replace("×", "x").split("x")
    if len(sides) == 2:
        # Trays are told in inches or centimeters, not in feet or meters as beds are.
        first, second = (units.parse_length(side, system, bare=bare, field="tray") for side in sides)
        area = first * second
    else:
        area = units.parse_area(text, system, field="tray")
    if not 0.01 <= area <= 2:
        raise InputError(
            f"One tray of {units.show_area(area, system)}: from {units.show_area(0.01, system)} to "
            f"{units.show_area(2, system)} can be. Measure its two sides.",
            field="tray",
        )
    return area


# ---- a load -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PickRow:
    """A pick that could go in: what is left of it, and why it is shut if it is."""

    key: str
    field: str
    summary: str
    left_kg: float
    left: str
    shut: tuple[str, ...]
    check: str


@dataclass(frozen=True, slots=True)
class Load:
    """What was typed for a load, read; `picks` has the mass from each, `aside` what was set aside before."""

    dryer: Dryer
    picks: tuple[tuple[str, float], ...]
    aside: tuple[Use, ...]
    fresh_kg: float
    thickness_m: float
    temperature_c: float
    room_temperature_c: float
    room_humidity: float
    started_at: datetime


def pick_rows(garden: Garden, trade: Trade, now: datetime, fate: Fate = Fate.DRY) -> tuple[PickRow, ...]:
    """Picks of the last days with something left of them."""
    today = now.date()
    names = {patch.key: patch.name for patch in garden.patches}
    system = garden.units.value
    rows = []
    for entry, left in fresh_picks(garden, today):
        why = shut(garden, trade, fate, entry.key, today, now=now)
        rows.append(
            PickRow(
                entry.key, f"pick_{entry.key}", f"{names.get(entry.patch, entry.patch)}, "
                f"{words.day(entry.day, today)}", left, small_mass(left, system),
                why, f"/picks/{entry.key}/check",
            )
        )  # fmt: skip
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class AsideRow:
    """A part of a pick that was noted as dried on the pick's page, and lies in no load or jar yet."""

    use: Use
    field: str
    summary: str


def aside_rows(garden: Garden, today: date) -> tuple[AsideRow, ...]:
    """Parts that were set aside to dry."""
    system = garden.units.value
    return tuple(
        AsideRow(
            use, f"aside_{use.key}", f"{small_mass(use.mass_kg, system)}, {origin([use.pick], garden, today)}"
        )
        for use in set_aside(garden, today)
    )


def shown_load(garden: Garden, rows: Sequence[PickRow], now: datetime) -> dict[str, str]:
    """The fields of a load as they first stand: all that is open, in slices of a quarter of an inch."""
    system = garden.units.value
    us = system == units.US
    last = max(garden.dryings, key=lambda run: run.started_at, default=None)
    values = {
        "dryer": garden.dryers[0].key if garden.dryers else "",
        "way": "picks" if not all(row.shut for row in rows) else "mass",
        "mass": "2 lb" if us else "1 kg", "thickness": "1/4 in" if us else "6 mm",
        "temperature": "125 °F" if us else "50 °C", "room": "68 °F" if us else "20 °C", "humidity": "60",
        "at": f"{now:%Y-%m-%dT%H:%M}",
    }  # fmt: skip
    if last is not None and last.dryer in {dryer.key for dryer in garden.dryers}:
        values["dryer"] = last.dryer
    values |= {row.field: "" if row.shut else row.left for row in rows}
    aside = aside_rows(garden, now.date())
    values |= {row.field: "yes" for row in aside}
    if aside:
        values["way"] = "picks"
    return values


def load_group(garden: Garden, values: Mapping[str, str], *, with_picks: bool) -> tuple[FormGroup, ...]:
    """The fields of a load; the picks stand apart, each with its own words."""
    us = garden.units is garden.units.US
    dryers = tuple((dryer.key, dryer.name) for dryer in garden.dryers)
    what = [FormField("dryer", "Dryer", values["dryer"], "select", dryers)]
    if with_picks:
        what.append(FormField("way", "What goes in", values["way"], "select", WAYS))
    what.append(
        FormField("mass", "Fresh mass", values["mass"], ways="mass" if with_picks else "",
                  help=f"such as {'2 lb 4 oz' if us else '850 g'}")
    )  # fmt: skip
    return (
        FormGroup("The load", tuple(what)),
        FormGroup(
            "How you dry it",
            (
                FormField("thickness", "Thickness of the slices", values["thickness"],
                          help="a quarter of an inch" if us else "about 6 mm"),
                FormField("temperature", "Temperature in the dryer", values["temperature"]),
                FormField("room", "Temperature in the room", values["room"]),
                FormField("humidity", "Humidity in the room", values["humidity"], help="percent"),
                FormField("at", "Put in at", values["at"], "datetime-local"),
            ),
        ),
    )  # fmt: skip


def _between(text: str, name: str, what: str, low: float, high: float, system: str) -> float:
    value = units.parse_temperature(text, system, field=name)
    if not low <= value <= high:
        raise InputError(
            f"{what}: {units.show_temperature(value, system)} is outside "
            f"{units.show_temperature(low, system)} to {units.show_temperature(high, system)}.",
            field=name,
        )
    return value


def _within_model(
    reading: Reading, dryer: Dryer | None, thickness_m: float, temperature_c: float, system: str
) -> None:
    """Say what lies outside the model beside its own field, whatever else may be wrong with the load."""
    fits = 0.001 <= thickness_m <= THICKEST_M
    asked = [] if fits else [(thickness_m, TESTED_C)]
    if not COOLEST_C <= temperature_c <= HOTTEST_C:
        asked.append((0.006, temperature_c))
    for thick, hot in asked:
        try:
            drying_plan(load_trade(), dryer or ANY_DRYER, fresh_kg=1.0, thickness_m=thick, temperature_c=hot)
        except InputError as error:
            field_fault(reading, error, system, "form")


def read_load(
    typed: Mapping[str, str], garden: Garden, rows: Sequence[PickRow], now: datetime
) -> tuple[Load | None, Reading]:
    """A load from its form; whether its picks may be dried is asked when it is put in."""
    system = garden.units.value
    us = system == units.US
    reading = Reading(typed, shown_load(garden, rows, now))
    known = {dryer.key: dryer for dryer in garden.dryers}
    dryer = known.get(reading.choice("dryer", known, "Dryer"))
    thickness = reading.take(
        "thickness",
        lambda text: units.parse_length(text, system, bare="in" if us else "mm", field="thickness"), 0.006,
    )  # fmt: skip
    temperature = reading.take(
        "temperature", lambda text: units.parse_temperature(text, system, field="temperature"), 50.0
    )
    room = reading.take("room", lambda text: _between(text, "room", "The room", -5, 45, system), 20.0)
    _within_model(reading, dryer, thickness, temperature, system)
    humidity = reading.take("humidity", lambda text: plain_number(text, "humidity", "Humidity", 0, 100), 60.0)
    started = reading.take("at", lambda text: read_moment(text, "at", now), now)
    picks: list[tuple[str, float]] = []
    offered = aside_rows(garden, now.date())
    aside: tuple[Use, ...] = ()
    if (rows or offered) and reading.text("way") != "mass":
        aside = tuple(row.use for row in offered if typed.get(row.field) == "yes")
        for row in rows:
            if not reading.text(row.field):
                continue
            kg = reading.take(
                row.field, lambda text, r=row: read_mass(text, r.field, "From this pick", system), 0.1,  # type: ignore[misc]
                held=row.left_kg,
            )  # fmt: skip
            if kg > row.left_kg + LEFT_SLACK_KG:
                reading.fault(
                    row.field, f"{small_mass(kg, system)} is more than the {row.left} that is left of it."
                )
            picks.append((row.key, kg))
        if not picks and not aside and not reading.errors:
            reading.fault("form", "Enter how much of which pick goes in, or choose “just a weight”.")
        fresh = sum(kg for _, kg in picks) + sum(use.mass_kg for use in aside)
    else:
        fresh = reading.take("mass", lambda text: read_mass(text, "mass", "Fresh mass", system), 1.0)
    if reading.errors or dryer is None:
        return None, reading
    return (
        Load(dryer, tuple(picks), aside, fresh, thickness, temperature, room, humidity / 100, started),
        reading,
    )


LEFT_SLACK_KG = 0.005
"""A kitchen scale's error, as the book's own rule has it."""


# ---- the end ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ended:
    """How a load ended: into a jar, thrown away, or only out; or what is wrong by field."""

    at: datetime | None = None
    dry_kg: float | None = None
    away: bool = False
    name: str = ""
    kept_at_c: float = SHELF_C
    errors: Mapping[str, str] = field(default_factory=dict)


def read_end(
    typed: Mapping[str, str], run: DryingRun, system: str, now: datetime, *, high_kg: float,
    jars: Sequence[Jar],
) -> Ended:  # fmt: skip
    """The end of a load from its form. Nothing is dry before its pieces snap, whatever the scale says.

    high_kg : the most that a load of this size likely weighs when it is dry.
    """
    reading = Reading(typed, {})
    at = reading.take("at", lambda text: read_moment(text, "at", now, after=run.started_at), now)
    if typed.get("fate") == "away":
        return Ended(at, None, True, errors=reading.errors)
    dry = reading.take("dry", lambda text: read_mass(text, "dry", "Dry mass", system), 0.0)
    if dry > run.fresh_kg:
        reading.fault(
            "dry",
            f"{small_mass(dry, system)} is heavier than the {small_mass(run.fresh_kg, system)} that went in. "
            "Weigh again without the tray, or correct the start.",
        )
    elif dry < dry_mass_bounds(load_trade(), run.fresh_kg)[0] and typed.get("heavier") != "yes":
        reading.fault(
            "dry",
            f"{small_mass(dry, system)} from {small_mass(run.fresh_kg, system)} of fresh ones is less than "
            "their dry matter. Is that right? Weigh again, or check that it is right.",
        )
    elif dry > high_kg and typed.get("heavier") != "yes":
        reading.fault(
            "dry",
            f"{small_mass(dry, system)} is more than a dry load of this size likely weighs (at most "
            f"{small_mass(high_kg, system)}), so there may be water left inside. Dry longer; or check that "
            "it is right all the same.",
        )
    if typed.get("snap") != "yes":
        reading.fault(
            "snap",
            "Let a few of the thickest pieces cool and break them. Only when they snap is the load dry; "
            "if they bend, leave it in.",
        )
    kept_at = SHELF_C
    if reading.text("kept_at"):
        kept_at = reading.take(
            "kept_at",
            lambda text: _between(text, "kept_at", "Where the jar is stored", 0, 35, system),
            SHELF_C,
        )
    name = reading.text("name")
    if run.uses and not name:
        reading.fault("name", "Enter a name for the jar, such as “Jar 3”.")
    if name.lower() in {jar.name.lower() for jar in jars}:
        reading.fault("name", "There is a jar of this name already. Choose another name.")
    return Ended(at, dry, False, name, kept_at, reading.errors)
