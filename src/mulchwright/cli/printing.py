"""How the command line tells a result to a person: sentences and tables, in the garden's own units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from mulchwright.units import day_words, show_area, show_mass, show_volume
from mulchwright.weather import spell_out

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook, PatchOutlook
    from mulchwright.almanac.year_ahead import YearCrop, YearPicking
    from mulchwright.garden import Garden, UnitSystem
    from mulchwright.trade import Trade
    from mulchwright.weather import StationReport

WIDEST_TABLE = 7
MOST_GAPS = 10


def _console() -> Console:
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=110)


def tenths_words(chance: float) -> str:
    """A chance in tenths, with the two ends told apart from certainty."""
    if chance <= 0:
        return "in none of the seasons"
    if chance < 0.05:
        return "less than 1 in 10"
    if chance > 0.95:
        return "more than 9 in 10"
    return f"{min(max(round(chance * 10), 1), 9)} in 10"


def picking_words(picking: YearPicking | None, today: date) -> str:
    """When a picking is likely: "about 20 June (8 in 10: 3 to 30 June); any in its first year: 9 in 10"."""
    if picking is None:
        return "beyond the days of this forecast"
    when = picking.year.words
    if picking.likely is None or picking.low is None or picking.high is None:
        return f"none {when}"
    span = ""
    if picking.low != picking.high:
        span = f" (8 in 10: {day_words(picking.low, today)} to {day_words(picking.high, today)})"
    return f"about {day_words(picking.likely, today)}{span}; any {when}: {tenths_words(picking.chance)}"


def crop_words(crop: YearCrop | None, units: UnitSystem) -> str:
    """The likely crop with its range, and how often there is none."""
    if crop is None:
        return "beyond the days of this forecast"
    span = f"{show_mass(crop.low_kg, units)} to {show_mass(crop.high_kg, units)}"
    return (
        f"{show_mass(crop.likely_kg, units)} ({span}) {crop.year.words}; "
        f"no harvest: {tenths_words(1 - crop.chance)}"
    )


def _share_words(low: float, likely: float, high: float) -> str:
    return f"{likely:.0%} of the bed ({low:.0%} to {high:.0%})"


def _patch_lines(bed_outlook: PatchOutlook, today: date, units: UnitSystem) -> list[tuple[str, str]]:
    at = bed_outlook.today_index
    patch = bed_outlook.patch
    assert patch.built_on is not None  # the outlook tells of no other
    lines: list[tuple[str, str]] = []
    if patch.built_on > today:
        lines.append(("Spawn run", f"starts when it is built on {day_words(patch.built_on, today)}"))
    elif math.isfinite(float(bed_outlook.run_share.p50[at])):
        run = bed_outlook.run_share
        lines.append(("Spawn run", _share_words(float(run.p10[at]), float(run.p50[at]), float(run.p90[at]))))
        wet = bed_outlook.moisture
        lines.append(
            (
                "Moisture",
                (
                    f"{float(wet.p50[at]):.0%} of its weight is water "
                    f"({float(wet.p10[at]):.0%} to {float(wet.p90[at]):.0%})"
                ),
            )
        )
    noted = bed_outlook.noted
    if noted.first_on is not None:
        lines.append(("First picking", f"{day_words(noted.first_on, today)} (noted)"))
        lines.append(("Picked so far", f"{show_mass(noted.kg, units)} (noted)"))
    label = "First picking" if noted.first_on is None else "Next picking"
    lines.append((label, picking_words(bed_outlook.picking, today)))
    lines.append(("Crop", crop_words(bed_outlook.crop, units)))
    water, crop = bed_outlook.watered_year_litres, bed_outlook.crop
    if water is not None and crop is not None:
        span = f"({show_volume(water.p10, units)} to {show_volume(water.p90, units)})"
        lines.append(("Water", f"{show_volume(water.p50, units)} {span} {crop.year.words}"))
    if bed_outlook.watering_now is not None and patch.built_on <= today:
        now = bed_outlook.watering_now
        give = f"give {show_volume(now.litres, units)}, {now.minutes:.0f} min at the hose: "
        apart = f" Water in {now.passes} passes an hour apart." if now.passes > 1 and now.litres > 0 else ""
        lines.append(("Now", (give if now.litres > 0 else "") + now.reason + apart))
    return lines


def print_outlook(result: Outlook, garden: Garden, trade: Trade) -> None:
    """The outlook of each patch as a few labeled lines."""
    console = _console()
    today, units = result.today, garden.units
    console.print(Text(f"{garden.place.name}, {day_words(today)}", style="bold"))
    console.print(
        Text(
            f"Weather: {result.weather.method}"
            + (f"; {result.weather.station}" if result.weather.station else "")
        )
    )
    for note in (*result.weather.notes, *(f"Missing: {gap}" for gap in result.weather.gaps)):
        console.print(Text(f"  {note}"))
    for bed_outlook in result.patches:
        patch = bed_outlook.patch
        assert patch.built_on is not None  # the outlook tells of no other
        species = trade.species[patch.species].names[0]
        built = "built" if patch.built_on <= today else "to be built"
        console.print()
        head = Text(patch.name, style="bold")
        head.append(
            f"  {species}, {show_area(patch.area_m2, units)}, {built} {day_words(patch.built_on, today)}",
            style="not bold",
        )
        console.print(head)
        grid = Table.grid(padding=(0, 2, 0, 2))
        for label, words in _patch_lines(bed_outlook, today, units):
            grid.add_row(Text(label), Text(words))
        console.print(grid)
    for name, reason in result.skipped:
        console.print(Text(f"\n{name}: left out, {reason}."))
    console.print(
        Text(
            f"\nRanges hold 8 in 10 of {result.members} futures (seed {result.seed}, "
            f"model {result.model_version}). No figure here says that a mushroom is safe to eat: "
            "check every harvest, and ask someone who knows."
        )
    )


def print_station_report(report: StationReport) -> None:
    """What a station's file holds, its faults and its doubts, and the year as it has it."""
    console = _console()
    console.print(Text(report.file_name + (f", {report.station}" if report.station else ""), style="bold"))
    console.print(Text(f"Read as: {report.layout}; {report.rows} rows."))
    if report.first and report.last:
        console.print(
            Text(
                f"{report.days} days, {spell_out(report.first)} to {spell_out(report.last)}; "
                f"{report.missing_days or 'none'} of them lack rain or a temperature."
            )
        )
    for gap in report.gaps[:MOST_GAPS]:
        console.print(Text(f"  Missing: {gap}"))
    if len(report.gaps) > MOST_GAPS:
        console.print(Text(f"  and {len(report.gaps) - MOST_GAPS} more gaps; --json lists them all."))
    for note in report.notes:
        console.print(Text(f"  {note}"))
    for words, found in (("Can’t be used", report.faults), ("Looks suspicious", report.suspicions)):
        for one in found:
            console.print(Text(f"{words}: {one}"))
    table = Table(title="The year in this file", title_justify="left")
    table.add_column("month")
    for heading in ("mean lowest, °C", "mean highest, °C", "rain, mm"):
        table.add_column(heading, justify="right")
    for month, figures in enumerate(
        zip(report.monthly_min_c, report.monthly_max_c, report.monthly_rain_mm, strict=True), start=1
    ):
        cells = [
            "" if math.isnan(figure) else f"{figure:.{digits}f}"
            for figure, digits in zip(figures, (1, 1, 0), strict=True)
        ]
        table.add_row(f"{date(2000, month, 1):%B}", *cells)
    console.print(table)
    if report.fit:
        console.print(Text("Nothing looks wrong. `mulchwright weather import BOOK FILE` brings it in."))


def _cell_words(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list | tuple):
        return ", ".join(_cell_words(one) for one in value)
    return str(value)


def print_rows(title: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Flat rows as a table; where the columns are too many for one, each row as a short list."""
    console = _console()
    columns = list(dict.fromkeys(name for row in rows for name in row))
    if len(columns) <= WIDEST_TABLE:
        table = Table(title=title, title_justify="left")
        for name in columns:
            table.add_column(name.replace("_", " "), overflow="fold")
        for row in rows:
            table.add_row(*(Text(_cell_words(row.get(name))) for name in columns))
        console.print(table)
        return
    for row in rows:
        console.print(Text(_cell_words(row.get(columns[0])), style="bold"))
        grid = Table.grid(padding=(0, 2, 0, 2))
        for name in columns[1:]:
            words = _cell_words(row.get(name))
            if words:
                grid.add_row(Text(name.replace("_", " ")), Text(words))
        console.print(grid)
