"""What the pantry tells of jars and packs: stock, origin, best-by, jar test, soaking, what was eaten."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden
from mulchwright.garden.keeping import Fate, Jar, JarKind, Use
from mulchwright.keep.jars import CONDITIONING_DAYS, JarTest, days_running, jar_life, jar_test, soaked_kg
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade
from mulchwright.web.picks.left_over import (
    eaten,
    jar_origin,
    jar_shut,
    kitchen_range,
    origin,
    small_mass,
    species_of,
)
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline

KIND_WORDS = {JarKind.DRIED: "dried", JarKind.FROZEN: "frozen"}
FATE_WORDS = {
    Fate.EAT: "eaten", Fate.GIVE: "given away", Fate.DISCARD: "thrown away", Fate.DRY: "dried",
    Fate.FREEZE: "frozen", Fate.CHILL: "chilled",
}  # fmt: skip
OLD_AFTER_DAYS = 2
PORTION_KG = {JarKind.DRIED: 0.02, JarKind.FROZEN: 0.2}
US_PORTION_KG = {JarKind.DRIED: 0.02, JarKind.FROZEN: 0.2268}


@dataclass(frozen=True, slots=True)
class JarCard:
    """A jar or pack as it stands."""

    key: str
    name: str
    kind: str
    species: str
    left: str
    empty: bool
    answer: Headline
    state: str
    soaked: str
    facts: tuple[tuple[str, str], ...]
    portion: str
    shut: tuple[str, ...]
    check: str


@dataclass(frozen=True, slots=True)
class EatenLine:
    """Something that was used, in one line."""

    day: str
    summary: str
    source: str


def left_of(garden: Garden) -> dict[str, float]:
    """What is left in every jar, by key."""
    taken: defaultdict[str, float] = defaultdict(float)
    for use in garden.uses:
        if use.jar:
            taken[use.jar] += use.mass_kg
    return {jar.key: max(jar.mass_kg - taken[jar.key], 0.0) for jar in garden.jars}


def stock(garden: Garden) -> list[Jar]:
    """Jars and packs with something in them, those best used first at the head."""
    left = left_of(garden)
    return sorted(
        (jar for jar in garden.jars if left[jar.key] >= 0.0005), key=lambda jar: (jar.best_by, jar.made_on)
    )


def first_to_use(jars: list[Jar], garden: Garden, today: date) -> Headline:
    """Which jar comes first."""
    if not jars:
        return Headline("The pantry is ", "empty")
    first = jars[0]
    when = words.day(first.best_by, today)
    if first.best_by < today:
        return Headline(
            "Use ", first.name, f" first: its best-by date was {when}. Smell and look before you cook."
        )
    return Headline("Use ", first.name, f" first: best by {when}.")


def _portion(jar: Jar, left_kg: float, garden: Garden) -> str:
    """What was taken last time, else a usual helping; never more than is left."""
    system = garden.units.value
    taken = [use for use in garden.uses if use.jar == jar.key and use.fate is Fate.EAT]
    usual = US_PORTION_KG if system == units.US else PORTION_KG
    kg = max(taken, key=lambda use: use.day).mass_kg if taken else usual[jar.kind]
    return small_mass(min(kg, left_kg), system)


def jar_card(jar: Jar, garden: Garden, trade: Trade, now: datetime, left_kg: float) -> JarCard:
    """A jar or pack as it stands now."""
    today = now.date()
    system = garden.units.value
    why = jar_shut(garden, trade, Fate.EAT, jar, today, now=now)
    by = words.day(jar.best_by, today)
    if left_kg < 0.0005:
        headline = Headline("It is ", "empty")
    elif jar.best_by < today:
        headline = Headline("", small_mass(left_kg, system), f" left; its best-by date was {by}.")
    else:
        headline = Headline("", small_mass(left_kg, system), f" left, best by {by}.")
    soaked = ""
    if jar.kind is JarKind.DRIED and left_kg >= 0.0005:
        portion = min(PORTION_KG[jar.kind], left_kg)
        soaked = (
            f"{small_mass(portion, system)} soaked come to about "
            f"{kitchen_range(soaked_kg(trade, portion), system)}."
        )
    facts = (
        ("From", jar_origin(jar, garden, today)),
        ("Made", f"{words.day(jar.made_on, today)}, {small_mass(jar.mass_kg, system)}"),
        ("Stored at", units.show_temperature(jar.kept_at_c, system)),
    )
    return JarCard(
        jar.key, jar.name, KIND_WORDS[jar.kind], species_name(jar.species, trade),
        small_mass(left_kg, system),
        left_kg < 0.0005, headline, test_words(jar, today), soaked, facts, _portion(jar, left_kg, garden),
        why, f"/picks/{jar.picks[0]}" if jar.picks else "",
    )  # fmt: skip


def test_words(jar: Jar, today: date) -> str:
    """How the jar test stands: conditioning, not made yet, or what the hygrometer showed."""
    if jar.kind is JarKind.FROZEN:
        return ""
    if jar.humidity is None:
        first, last = (jar.made_on + timedelta(days=days) for days in CONDITIONING_DAYS)
        if today <= last:
            until = words.day_range(first, last, today)
            return (
                f"Conditioning until {until}: shake it daily. Any trace of water on the glass: dry it all "
                "again. Then lay a small hygrometer in for a day."
            )
        return "No hygrometer was laid in yet. Close one in for a day and note what it shows."
    shown = f"The hygrometer showed {round(100 * jar.humidity)} %"
    match jar_test(jar.humidity):
        case JarTest.DRY:
            return f"{shown}: dry. Look at it now and then, for the lid may leak."
        case JarTest.DOUBTFUL:
            return (
                f"{shown}: too near to damp, for such meters err by 5. Dry it on for an hour and test anew."
            )
        case _:
            return (
                f"{shown}: damp, it will mold. With any mold or smell throw it away; else dry it again today."
            )


def life_words(jar: Jar, trade: Trade, system: str) -> str:
    """How long the quality lasts where the jar stands."""
    at = units.show_temperature(jar.kept_at_c, system)
    try:
        months = jar_life(trade, jar.kind, made_on=jar.made_on, temperature_c=jar.kept_at_c).months
    except InputError:
        return f"There is no figure for how long it keeps at {at}."
    low, likely, high = (max(round(value), 1) for value in (months.low, months.likely, months.high))
    return (
        f"At {at} the taste lasts {low} to {words.plural(high, 'month')}, most likely {likely}. The colder, "
        "drier and darker, the longer. The day is about taste; mold, water or a strange smell end it at once."
    )


# ---- what was eaten ---------------------------------------------------------


def used_lines(uses: list[Use], garden: Garden, today: date) -> list[EatenLine]:
    """Uses as lines."""
    system = garden.units.value
    names = {jar.key: jar.name for jar in garden.jars}
    return [
        EatenLine(
            words.day(use.day, today), f"{small_mass(use.mass_kg, system)} {FATE_WORDS[use.fate]}",
            names.get(use.jar, use.jar) if use.jar else f"fresh from {origin([use.pick], garden, today)}",
        )
        for use in uses
    ]  # fmt: skip


def eating_advice(garden: Garden, trade: Trade, today: date, *, of: str = "") -> list[str]:
    """For each kind in the pantry, or the kind `of`: how to begin with it, or to leave it out a while."""
    days: defaultdict[str, set[date]] = defaultdict(set)
    meals = eaten(garden)
    for species, use in zip(species_of(meals, garden), meals, strict=True):
        days[species].add(use.day)
    lines = []
    for species in dict.fromkeys([*(jar.species for jar in garden.jars), *days]):
        if not species or (of and species != of):
            continue
        name = species_name(species, trade)
        name = f"{name[:1].upper()}{name[1:]}"
        mine = days.get(species, set())
        past = [day for day in mine if day <= today]
        if not past:
            lines.append(
                f"{name}: by this book nobody has eaten it yet. The first time a few small, well-cooked "
                "pieces, no other new kind beside it, then wait a day; each person anew."
            )
            continue
        last = max(past)
        running = days_running(mine, last)
        if running >= OLD_AFTER_DAYS and (today - last).days <= 1:
            lines.append(
                f"{name}: eaten {running} days in a row, last on {words.day(last, today)}. Leave it "
                "out for a few days; some people get an upset stomach from days in a row."
            )
    return lines
