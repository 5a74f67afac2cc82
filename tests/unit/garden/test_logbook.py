"""The nouns of the logbook: what each refuses, and what the checks find wrong or odd."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pytest

from mulchwright.errors import InputError
from mulchwright.garden import (
    Doubt,
    Fault,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Photo,
    Place,
    Reading,
    Recipe,
    SavedOutlook,
    Sight,
    Stage,
    check_entry,
    check_reading,
)
from mulchwright.garden.logbook import free_key

TODAY = date(2031, 9, 20)
BUILT = date(2031, 4, 14)
CHIPS = Recipe("Chips", (Layer("hardwood-chips", 0.1),))
BED = Patch("quince", "Under the quince", "king-stropharia", CHIPS, 3.0, BUILT, Stage.BUILT)
GARDEN = Garden(
    Place("Tern Hollow", 38.9, -92.2, 230.0, "America/Chicago"),
    patches=(BED, Patch("wall", "Along the wall", "oyster", CHIPS, 1.5, date(2032, 4, 1))),
    log=(LogEntry("pick-1", "quince", date(2031, 9, 12), LogKind.PICKED, mass_kg=0.5, by="Gray phone"),),
    readings=(Reading(date(2031, 9, 12), rain_mm=3.0),),
)


def pick(**given: Any) -> LogEntry:
    return replace(LogEntry("new", "quince", date(2031, 9, 19), LogKind.PICKED, mass_kg=0.4), **given)


@pytest.mark.parametrize(
    ("fields", "words", "field"),
    [
        ({"count": 0}, "count of mushrooms is 0", "count"),
        ({"count": 2.5}, "whole numbers", "count"),
        ({"thickness_m": 1.5}, "thickness that was added", "thickness_m"),
        ({"sight": Sight.PINS}, "is not a look; enter a look", "sight"),
        ({"signs": ("Green Mold",)}, "Green Mold", "key"),
        ({"signs": ("mold", "mold")}, "names one of its signs twice", "signs"),
        ({"photos": tuple(f"p{n}" for n in range(51))}, "more than 50", "photos"),
        ({"to_patch": "No Bed"}, "No Bed", "key"),
        ({"entered_at": datetime(2031, 9, 19, 8)}, "without its zone", "entered_at"),
        ({"by": "x" * 81}, "longer than 80", "by"),
        ({"mass_kg": None}, "has no mass", "mass_kg"),
    ],
)
def test_an_entry_refuses_what_it_cannot_be(fields: dict[str, Any], words: str, field: str) -> None:
    with pytest.raises(InputError) as caught:
        pick(**fields)
    assert words in str(caught.value)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "tells nothing"),
        ({"rain_mm": -1.0}, "rain of a day"),
        ({"temperature_min_c": 90.0}, "lowest temperature of a day"),
        ({"temperature_min_c": 20.0, "temperature_max_c": 10.0}, "above the highest"),
    ],
)
def test_a_reading_refuses_what_it_cannot_be(fields: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Reading(TODAY, **fields)


def test_readings_stand_in_the_order_of_their_days_and_one_a_day() -> None:
    first, second = Reading(date(2031, 9, 1), 1.0), Reading(date(2031, 9, 2), 0.0)
    assert replace(GARDEN, readings=(second, first)).readings == (first, second)
    with pytest.raises(InputError, match="Two readings are of 1 September 2031"):
        replace(GARDEN, readings=(first, second, replace(first, rain_mm=2.0)))
    with pytest.raises(InputError, match="watering can"):
        replace(GARDEN, can_litres=0.0)


def test_a_good_entry_is_let_pass() -> None:
    assert check_entry(GARDEN, pick(), TODAY) == ()
    assert check_entry(GARDEN, pick(day=TODAY), TODAY, heaviest_pick_kg=0.4) == ()
    assert check_entry(GARDEN, pick(day=BUILT), TODAY) == ()


@pytest.mark.parametrize(
    ("fields", "words", "field"),
    [
        ({"day": date(2031, 9, 21)}, "still to come (today is 20 September 2031)", "day"),
        ({"day": date(2031, 4, 13)}, "was built on 14 April 2031", "day"),
        ({"patch": "gone"}, "not in this garden any more; choose one of: Under the quince", "patch"),
        ({"patch": "wall"}, "Along the wall is not built yet", "patch"),
        ({"to_patch": "gone"}, "moved to, is not in this garden", "to_patch"),
        ({"to_patch": "quince"}, "choose the other bed", "to_patch"),
    ],
)
def test_faults_are_found(fields: dict[str, Any], words: str, field: str) -> None:
    (found,) = check_entry(GARDEN, pick(**fields), TODAY)
    assert isinstance(found, Fault)
    assert words in found.words
    assert found.field == field


def test_a_note_may_be_older_than_its_bed() -> None:
    note = LogEntry("n", "quince", date(2031, 3, 1), LogKind.NOTE, text="measured")
    assert check_entry(GARDEN, note, TODAY) == ()


def test_doubts_are_asked_and_keep() -> None:
    (heavy,) = check_entry(GARDEN, pick(mass_kg=9.0), TODAY, heaviest_pick_kg=8.9)
    assert isinstance(heavy, Doubt)
    assert heavy.field == "mass_kg"
    (twice,) = check_entry(GARDEN, replace(GARDEN.log[0], key="other", by=""), TODAY)
    assert isinstance(twice, Doubt)
    assert "entered already by Gray phone" in twice.words
    assert check_entry(GARDEN, GARDEN.log[0], TODAY) == ()  # itself, changed or not
    (other_day,) = check_entry(GARDEN, LogEntry("b", "quince", TODAY, LogKind.BUILT), TODAY)
    assert isinstance(other_day, Doubt)
    assert "stands as built on 14 April 2031" in other_day.words


def test_readings_are_checked() -> None:
    day = date(2031, 9, 12)
    assert check_reading(GARDEN, Reading(day, temperature_max_c=20.0), TODAY) == ()
    (other,) = check_reading(GARDEN, Reading(day, rain_mm=4.0), TODAY)
    assert isinstance(other, Doubt)
    (future,) = check_reading(GARDEN, Reading(date(2031, 9, 21), rain_mm=4.0), TODAY)
    assert isinstance(future, Fault)


def test_a_free_key_is_free() -> None:
    assert free_key(TODAY, LogKind.TOPPED_UP, ()) == "2031-09-20-topped-up-1"
    assert free_key(TODAY, LogKind.NOTE, ("2031-09-20-note-1",)) == "2031-09-20-note-2"


def test_an_outlook_tells_of_a_patch_once() -> None:
    with pytest.raises(InputError, match="one patch twice"):
        SavedOutlook(TODAY, "1", (("a", "{}"), ("a", "{}")))


def test_a_photo_is_a_jpeg_of_the_size_it_says() -> None:
    with pytest.raises(InputError, match="no JPEG picture"):
        Photo("p", b"GIF89a", b"GIF89a", 3, 2)
    head = bytes.fromhex("ffd8ffc0000b080002000301011100ffd9")
    assert Photo("p", head, head, 3, 2).taken_on is None
    with pytest.raises(InputError, match="3 × 2 pixels, not 2 × 3"):
        Photo("p", head, head, 2, 3)
    with pytest.raises(InputError, match="Shrink it first"):
        Photo("p", head, head + bytes(200_000), 3, 2)
