"""The logbook in the book: written once, by several at once, taken back in words; nothing is lost."""

from __future__ import annotations

import subprocess
import sys
import threading
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from mulchwright import book as book_room
from mulchwright.book import BookConflict, open_book
from mulchwright.book.steps import STEPS_KEPT
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Photo, Reading, SavedOutlook, Sight, UnitSystem
from mulchwright.weather.forecast import Forecast

DAY = date(2031, 9, 19)


def note(key: str = "n", text: str = "dry") -> LogEntry:
    return LogEntry(key, "quince", DAY, LogKind.NOTE, text=text)


def test_the_same_mark_twice_stores_once(book_path: Path, garden: Garden) -> None:
    entry = LogEntry("w", "quince", DAY, LogKind.WATERED, litres=10.0)
    with open_book(book_path) as book:
        first = book.add_entries([entry], request_id="m1", today=DAY)
        before = book_path.read_bytes()
        again = book.add_entries([replace(entry, by="sent again")], request_id="m1", today=DAY)
        assert (again.again, again[:4]) == (True, first[:4])
        assert book_path.read_bytes() == before
        with pytest.raises(BookConflict, match="sent before with other content"):
            book.add_entries([replace(entry, litres=11.0)], request_id="m1", today=DAY)
        assert book.garden().log == (*garden.log, entry)
        # The mark is kept though the step was taken back: a late copy must not bring the entry in again.
        assert (
            book.undo(first.step)
            == "Taken back: the watering of 19 September 2031 at Under the quince added."
        )
        assert book.add_entries([entry], request_id="m1", today=DAY).again
        assert book.garden() == garden
        # After 400 days a mark is forgotten, not before.
        book.add_entries([note()], request_id="m2", today=date(2032, 10, 23))
        assert book.add_entries([entry], request_id="m1", today=DAY).again
        book.add_entries([note()], request_id="m3", today=date(2032, 10, 24))
        assert not book.add_entries([entry], request_id="m1", today=DAY).again


def test_several_entries_are_all_written_or_none(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        with pytest.raises(InputError, match="names patch 'nowhere'"):
            book.add_entries([note(), replace(note("m"), patch="nowhere")], request_id="m")
        with pytest.raises(InputError, match="There is no entry"):
            book.add_entries([])
        assert book.garden() == garden
        done = book.add_entries([note("pick-1"), note("pick-1", "wet")])  # a key that is taken is no loss
        assert len({*done.keys, *(entry.key for entry in garden.log)}) == len(garden.log) + 2
        assert [entry.text for entry in book.garden().log[-2:]] == ["dry", "wet"]
        assert book.undo(done.step) == "Taken back: 2 entries added."
        assert book.garden() == garden


def test_change_and_removal_are_taken_back_to_the_letter(book_path: Path, tended_garden: Garden) -> None:
    with open_book(book_path) as book:
        book.save_garden(tended_garden)
        look = next(entry for entry in tended_garden.log if entry.key == "look-2")
        changed = book.change_entry(replace(look, sight=Sight.READY, signs=(), photos=("photo-1", "photo-2")))
        assert next(e for e in book.garden().log if e.key == "look-2").photos == ("photo-1", "photo-2")
        removed = book.remove_entry("look-2")
        with pytest.raises(BookConflict, match="Something newer changed the same entry"):
            book.undo(changed.step)
        book.undo(removed.step)
        book.undo(changed.step)
        assert book.garden() == tended_garden
        with pytest.raises(BookConflict, match="was taken back already"):
            book.undo(changed.step)
        steps = book.undo_steps()
        assert [step.taken_back for step in steps[:4]] == [False, False, True, True]
        book.undo(steps[0].step)  # what was taken back can be put back
        assert next(e for e in book.garden().log if e.key == "look-2").sight is Sight.READY
        with pytest.raises(BookConflict, match="not in the logbook any more"):
            book.change_entry(note("never"))


def test_two_who_change_one_entry_do_not_overwrite(book_path: Path) -> None:
    with open_book(book_path) as context, open_book(book_path) as phone:
        read_at = context.revision
        pick = next(entry for entry in context.garden().log if entry.key == "pick-1")
        phone.change_entry(replace(pick, mass_kg=0.7))
        with pytest.raises(BookConflict, match="Someone else changed this"):
            context.change_entry(replace(pick, mass_kg=0.8))
        with pytest.raises(BookConflict, match="Someone else changed this"):
            context.remove_entry("pick-1", expected_revision=read_at)
        context.garden()
        context.change_entry(replace(pick, mass_kg=0.8))


def test_a_garden_saved_over_a_grown_logbook_keeps_both(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as context, open_book(book_path) as phone:
        stale = context.garden()
        phone.add_entries([note()])
        phone.put_reading(Reading(DAY, rain_mm=4.0))
        phone.remove_entry("water-1")
        mine = note("mine", "from the computer")
        context.save_garden(replace(stale, units=UnitSystem.METRIC, log=(*stale.log, mine)))
        both = phone.garden()
        assert both.units is UnitSystem.METRIC
        kept = {entry.key for entry in garden.log} - {"water-1"} | {"n", "mine"}
        assert {entry.key for entry in both.log} == kept
        assert both.readings == (Reading(DAY, rain_mm=4.0),)
        # One entry changed on both sides is refused, and nothing is written.
        stale = context.garden()
        phone.change_entry(replace(mine, text="by the phone"))
        ours = tuple(replace(e, text="by the computer") if e.key == "mine" else e for e in stale.log)
        with pytest.raises(BookConflict, match="Your garden was not saved"):
            context.save_garden(replace(stale, log=ours))


def test_a_saved_garden_is_taken_back_and_a_lost_bed_stops_an_entry(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        removed = book.remove_entry("pick-1")
        step = book.save_garden(replace(garden, log=(), patches=garden.patches[1:], readings=()))
        with pytest.raises(BookConflict, match="names patch 'quince', not in this garden"):
            book.undo(removed.step)
        assert book.undo(step) == "Taken back: 1 mushroom bed and 3 entries removed."
        book.undo(removed.step)
        assert book.garden() == garden


def test_readings_go_together_and_are_taken_back(book_path: Path) -> None:
    with open_book(book_path) as book:
        book.put_reading(Reading(DAY, rain_mm=4.0), request_id="a", today=DAY)
        both = book.put_reading(Reading(DAY, temperature_min_c=9.0, temperature_max_c=20.0))
        assert book.garden().readings == (Reading(DAY, 4.0, 9.0, 20.0),)
        with pytest.raises(InputError, match="above the highest"):
            book.put_reading(Reading(DAY, temperature_min_c=21.0))
        book.put_reading(Reading(DAY, rain_mm=5.0), whole=True)
        with pytest.raises(BookConflict, match="same reading"):
            book.undo(both.step)
        gone = book.remove_reading(DAY)
        assert book.garden().readings == ()
        assert book.undo(gone.step) == "Taken back: the reading of 19 September 2031 removed."
        assert book.garden().readings == (Reading(DAY, 5.0),)
        with pytest.raises(InputError, match="no reading of 1 January 2031"):
            book.remove_reading(date(2031, 1, 1))


def test_only_the_latest_steps_stay(book_path: Path) -> None:
    with open_book(book_path) as book:
        first = book.add_entries([note("n0")])
        for n in range(STEPS_KEPT):
            book.put_reading(Reading(DAY, rain_mm=float(n)))
        assert len(book.undo_steps()) == STEPS_KEPT
        with pytest.raises(BookError, match="not among the last 50"):
            book.undo(first.step)


def test_a_phone_and_the_computer_write_at_once(book_path: Path, garden: Garden) -> None:
    """Two connections, four threads, the same keys, each write sent twice: every one stands once."""
    failures: list[BaseException] = []

    def write(book: book_room.Book, name: str) -> None:
        try:
            for n in range(5):
                for _ in range(2):
                    book.add_entries([note(f"same-{n}", f"{name} {n}")], request_id=f"{name}-{n}")
        except BaseException as error:
            failures.append(error)

    with open_book(book_path) as phone, open_book(book_path) as context:
        threads = [
            threading.Thread(target=write, args=(book, f"{who}{n}"))
            for who, book in (("phone", phone), ("computer", context))
            for n in range(2)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not failures
        lines = sorted(entry.text for entry in context.garden().log[len(garden.log) :])
        assert lines == sorted(
            f"{who}{k} {n}" for who in ("phone", "computer") for k in range(2) for n in range(5)
        )


def test_a_process_killed_while_writing_loses_no_answered_write(book_path: Path) -> None:
    """What was answered is there, what is sent again stands once, and the book is whole."""
    code = (
        "import sys; from datetime import date; from mulchwright.book import open_book\n"
        "from mulchwright.garden import LogEntry, LogKind\n"
        "book = open_book(sys.argv[1])\n"
        "for n in range(100000):\n"
        "    entry = LogEntry(f'k-{n}', 'quince', date(2031, 9, 19), LogKind.NOTE, text=str(n))\n"
        "    book.add_entries([entry], request_id=f'm-{n}')\n"
        "    print(n, flush=True)\n"
    )
    writer = subprocess.Popen([sys.executable, "-c", code, str(book_path)], stdout=subprocess.PIPE, text=True)
    assert writer.stdout is not None
    try:
        answered = [int(writer.stdout.readline()) for _ in range(5)]  # the next is on its way
    finally:
        writer.kill()
        answered += [int(line) for line in writer.stdout.read().split("\n")[:-1]]
        writer.wait()
        writer.stdout.close()
    with open_book(book_path) as book:
        last = answered[-1]
        for n in (last, last + 1):  # the one after may have been written and never answered
            entry = LogEntry(f"k-{n}", "quince", DAY, LogKind.NOTE, text=str(n))
            book.add_entries([entry], request_id=f"m-{n}")
        texts = [entry.text for entry in book.garden().log if entry.key.startswith("k-")]
        assert texts == [str(n) for n in range(last + 2)]


def test_photos_are_kept_once_apart_from_the_garden(book_path: Path, photo: Photo, garden: Garden) -> None:
    with open_book(book_path) as book:
        book.add_photo(photo)
        before = book_path.read_bytes()
        book.add_photo(photo)
        assert book_path.read_bytes() == before
        with pytest.raises(InputError, match="Another photo has the key"):
            book.add_photo(replace(photo, taken_on=None))
        assert (book.photo("photo-1"), book.thumb("photo-1")) == (photo, photo.thumb)
        (facts,) = book.photo_facts()
        assert facts == ("photo-1", 3, 2, date(2031, 9, 14), len(photo.jpeg))
        assert book.contents().photos == ()
        book.remove_photo("photo-1")
        assert book.thumb("photo-1") is None
        with pytest.raises(InputError, match="no photo 'photo-1'"):
            book.photo("photo-1")
        assert book.garden() == garden


def test_forecast_outlooks_and_settings_come_and_go(
    book_path: Path, forecast: Forecast, kept: SavedOutlook
) -> None:
    with open_book(book_path) as book:
        book.save_forecast(forecast)
        assert book.forecast() == forecast
        book.save_forecast(None)
        assert book.forecast() is None
        book.keep_outlook(kept)
        later = replace(kept, made_on=DAY, patches=(("wall", "{}"),))
        book.keep_outlook(later)
        book.keep_outlook(replace(kept, model_version="0.5.0"))
        assert book.saved_outlooks() == (later, replace(kept, model_version="0.5.0"))
        assert book.setting("weather_source") is None
        book.set_setting("weather_source", "folder")
        assert book.setting("weather_source") == "folder"
        book.set_setting("weather_source", None)
        assert book.setting("weather_source") is None
        with pytest.raises(InputError, match="no name of a setting"):
            book.set_setting("Weather source", "x")
        before = book.revision_on_disk()
        with pytest.raises(InputError, match="no name of a setting"):
            book.set_settings({"weather_source": "x", "Weather source": "x"})
        assert (book.setting("weather_source"), book.revision_on_disk()) == (None, before)
        assert book.set_settings({"weather_source": "x", "weather_folder": "y"}) == before + 1
        assert (book.setting("weather_source"), book.setting("weather_folder")) == ("x", "y")


def test_an_export_holds_photos_only_when_asked(
    book_path: Path, photo: Photo, forecast: Forecast, kept: SavedOutlook, tended_garden: Garden
) -> None:
    with open_book(book_path) as book:
        book.save_garden(tended_garden)
        book.add_photo(photo)
        book.save_forecast(forecast)
        book.keep_outlook(kept)
        lean = book_room.export_json(book)
        assert lean["photos"] == []
        assert lean["left_out"][0].startswith("1 photo (")
        full = book_room.export_json(book, with_photos=True)
        assert not any("photo" in text for text in full["left_out"])
    whole = book_room.import_whole(book_room.json_text(full))
    assert whole.garden == tended_garden
    assert (whole.photos, whole.forecast, whole.outlooks) == ((photo,), forecast, (kept,))
    assert book_room.import_whole(book_room.json_text(lean)).photos == ()


def test_an_export_of_version_3_is_taken_in(stocked_garden: Garden) -> None:
    data = book_room.export_json(stocked_garden)
    data["version"] = 3
    for name in ("forecast", "outlooks", "photos", "left_out"):
        del data[name]
    for name in ("readings", "can_litres"):
        del data["garden"][name]
    for entry in data["garden"]["log"]:
        for name in ("sight", "count", "material", "thickness_m", "to_patch", "signs", "photos"):
            del entry[name]
        del entry["entered_at"], entry["by"]
    assert book_room.import_whole(data).garden == stocked_garden
