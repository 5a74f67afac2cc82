"""The line of a bed's spawn through the logbook's moves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Layer, LogEntry, LogKind, Patch, Place, Recipe, Stage
from mulchwright.garden.lines import line_of

BED = Patch(
    "a", "Alder", "king-stropharia", Recipe("chips", (Layer("hardwood-chips", 0.1),)), 2.0,
    date(2031, 4, 1), Stage.BUILT,
)  # fmt: skip


def moved(day: date, source: str, to: str) -> LogEntry:
    return LogEntry(f"m-{day}-{source}", source, day, LogKind.MOVED, to_patch=to)


def garden(*log: LogEntry) -> Garden:
    beds = (
        BED,
        replace(BED, key="b", name="Birch", built_on=date(2031, 9, 1)),
        replace(BED, key="c", name="Cedar walk", built_on=date(2032, 4, 1)),
        replace(BED, key="o", name="Oyster", species="oyster"),
    )
    return Garden(Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"), patches=beds, log=log)


def test_a_bed_of_bought_spawn_begins_its_own_line() -> None:
    line = line_of(garden(), "b")
    assert (line.origin, line.generation, line.steps, line.given) == ("b", 0, (), ())
    assert line.began_on == date(2031, 9, 1)
    assert line.pool == ("king-stropharia", "b")


def test_chips_moved_on_twice_are_the_second_generation_as_old_as_the_first_bed() -> None:
    found = garden(
        moved(date(2031, 9, 1), "a", "b"), moved(date(2032, 4, 1), "b", "c"), moved(date(2032, 6, 1), "c", "")
    )
    line = line_of(found, "c")
    assert (line.origin, line.generation) == ("a", 2)
    assert line.steps == (("b", date(2032, 4, 1)), ("a", date(2031, 9, 1)))
    assert line.given == (("", date(2032, 6, 1)),)
    assert line.age_days(date(2032, 4, 1)) == 366
    assert line.pool == line_of(found, "a").pool == line_of(found, "b").pool
    assert line_of(found, "c", until=date(2032, 3, 1)).origin == "c"


def test_a_ring_ends_and_another_species_is_no_part_of_the_line() -> None:
    ring = garden(moved(date(2031, 9, 1), "a", "b"), moved(date(2032, 9, 1), "b", "a"))
    assert line_of(ring, "a").steps == (("b", date(2032, 9, 1)),)
    assert line_of(garden(moved(date(2031, 9, 1), "o", "b")), "b").origin == "b"
    with pytest.raises(InputError):
        line_of(garden(), "nowhere")
