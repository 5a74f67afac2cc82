"""What became of the picks in the book: written once and whole, refused whole, taken back whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from mulchwright.book import BookConflict, create_book, export_json, import_whole, open_book, steps
from mulchwright.errors import BookError, InputError
from mulchwright.garden import (
    Dryer,
    DryingRun,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    LogEntry,
    LogKind,
    Photo,
    Use,
    Weighing,
)
from mulchwright.services.library import Library

DAY = date(2031, 9, 16)
AT = datetime(2031, 9, 16, 20, 0, tzinfo=UTC)
JAR = Jar("slices", "Slices", JarKind.DRIED, "king-stropharia", DAY, 0.02, date(2032, 9, 16), ("pick-2",))


def use(key: str, fate: Fate, mass_kg: float, pick: str = "pick-2", check: str = "", into: str = "") -> Use:
    return Use(key, DAY, fate, mass_kg, pick=pick, check=check, into=into)


@pytest.fixture
def kept_path(tmp_path: Path, kept_garden: Garden) -> Path:
    path = tmp_path / "kept.mulch"
    create_book(path, kept_garden)
    return path


def test_uses_and_their_jar_are_one_act(kept_path: Path, kept_garden: Garden) -> None:
    dried = use("dried", Fate.DRY, 0.2, check="check-1", into="slices")
    with open_book(kept_path) as book:
        done = book.add_uses([dried], jars=[JAR], request_id="m1", today=DAY)
        assert done.keys == ("dried", "slices")
        assert done.what == (
            "7.1 oz dried from the pick of 15 September 2031 at Under the quince and jar "
            "“Slices” written down"
        )
        before = kept_path.read_bytes()
        again = book.add_uses([replace(dried, entered_at=AT)], jars=[JAR], request_id="m1", today=DAY)
        assert (again.again, again[:4]) == (True, done[:4])
        assert kept_path.read_bytes() == before
        with pytest.raises(BookConflict, match="sent before with other content"):
            book.add_uses([replace(dried, mass_kg=0.1)], jars=[JAR], request_id="m1", today=DAY)
        garden = book.garden()
        assert (garden.uses[-1], garden.jars[-1]) == (dried, JAR)
        assert book.undo(done.step) == f"Taken back: {done.what}."
        assert book.garden() == kept_garden
        book.undo(book.undo_steps()[0].step)
        assert book.garden() == garden


def test_a_key_that_is_taken_gets_a_number(kept_path: Path, kept_garden: Garden) -> None:
    with open_book(kept_path) as book:
        done = book.add_uses([use("use-1", Fate.DISCARD, 0.05), use("new", Fate.DISCARD, 0.05)])
        assert done.keys == ("use-1-2", "new")
        assert done.what == "2 uses written down"
        run = DryingRun("load-3", "trays", AT, 0.1, 0.006, 50.0, uses=("use-1", "new"))
        wet = use("use-1", Fate.DRY, 0.1, check="check-1")
        done = book.put_drying(run, uses=[wet])
        assert done.keys == ("use-1-3", "load-3")
        assert book.garden().dryings[-1].uses == ("use-1-3", "new")
        assert book.garden().uses[: len(kept_garden.uses)] == kept_garden.uses
        with pytest.raises(InputError, match="Two uses share the key"):
            book.add_uses([wet, wet])


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (use("u", Fate.DISCARD, 0.29), "The pick 'pick-2' held 1250 g, and "),
        (use("u", Fate.EAT, 0.01), "names no identity check that covers this pick"),
        (use("u", Fate.GIVE, 0.01, check="check-2"), "names no identity check that covers this pick"),
        (use("u", Fate.DISCARD, 0.01, pick="look-2"), "not in the logbook as a pick"),
        (use("u", Fate.DISCARD, 0.01, pick="never"), "not in the logbook as a pick"),
        (use("u", Fate.DISCARD, 0.01, into="shelf"), "went into jar 'shelf', which is not there"),
        (Use("u", DAY, Fate.EAT, 0.08, jar="jar-1"), "Jar 'Caps of September' held 85 g"),
    ],
)
def test_what_cannot_be_is_refused_whole(
    kept_path: Path, kept_garden: Garden, wrong: Use, words: str
) -> None:
    with open_book(kept_path) as book:
        before = kept_path.read_bytes()
        with pytest.raises(InputError) as caught:
            book.add_uses([use("fine", Fate.DISCARD, 0.01), wrong], jars=[JAR], request_id="m", today=DAY)
        assert words in str(caught.value)
        assert kept_path.read_bytes() == before
        # The same holds for a garden that is saved whole.
        with pytest.raises(InputError) as caught:
            book.save_garden(replace(kept_garden, uses=(*kept_garden.uses, wrong)))
        assert words in str(caught.value)
        with pytest.raises(InputError, match="no use to write down"):
            book.add_uses([])


def test_a_check_opens_and_is_mended(kept_path: Path, kept_garden: Garden) -> None:
    """What a check found may be mended though uses rest on it: a later doubt has to be written down."""
    look = IdentityCheck(
        "look",
        "quince",
        "king-stropharia",
        DAY,
        (("king-stropharia-cap", Finding.AS_DESCRIBED),),
        ("pick-1",),
    )
    with open_book(kept_path) as book:
        done = book.put_check(look, request_id="c", today=DAY)
        assert done.what == "the identity check of 16 September 2031 at Under the quince written down"
        assert book.put_check(replace(look, entered_at=AT), request_id="c", today=DAY).again
        book.add_uses([use("meal", Fate.EAT, 0.2, pick="pick-1", check="look")])
        doubt = replace(look, findings=(("king-stropharia-cap", Finding.DIFFERENT),))
        assert book.put_check(doubt).what.endswith("changed")
        assert book.garden().checks == (*kept_garden.checks, doubt)
        with pytest.raises(BookConflict, match="Something newer changed the same identity check"):
            book.undo(done.step)
        with pytest.raises(InputError, match="names patch 'nowhere'"):
            book.put_check(replace(look, key="other", patch="nowhere"))


def test_a_load_is_weighed_and_comes_out(kept_path: Path, kept_garden: Garden) -> None:
    with open_book(kept_path) as book:
        book.put_dryer(Dryer("oven", "Oven", 2, 0.12, 800))
        run = DryingRun("wet", "oven", AT, 0.2, 0.005, 55.0, uses=("wet",))
        started = book.put_drying(run, uses=[use("wet", Fate.DRY, 0.2, check="check-1")])
        assert started.what.endswith("and the load dried on 16 September 2031 written down")
        weighed = replace(run, weighings=(Weighing(AT + timedelta(hours=2), 0.1),))
        assert book.put_drying(weighed).what == "the load dried on 16 September 2031 changed"
        out = replace(weighed, ended_at=AT + timedelta(hours=6), dry_kg=0.02)
        poured = replace(book.garden().uses[-1], into="slices")
        done = book.put_drying(out, jars=[JAR], changed=[poured])
        garden = book.garden()
        assert (garden.dryings[-1], garden.jars[-1], garden.uses[-1]) == (out, JAR, poured)
        assert done.what == (
            "7.1 oz dried from the pick of 15 September 2031 at Under the quince and jar “Slices” and the "
            "load dried on 16 September 2031 written down"
        )
        with pytest.raises(BookConflict, match="That use is not in the book any more"):
            book.put_drying(out, changed=[replace(poured, key="never")])
        with pytest.raises(BookConflict, match="Something newer changed the same use"):
            book.undo(started.step)
        book.undo(done.step)
        assert (book.garden().dryings[-1], book.garden().jars) == (weighed, kept_garden.jars)
        gone = book.remove_drying("wet")
        assert book.garden().dryings == kept_garden.dryings
        assert book.garden().uses == kept_garden.uses  # it was never dried
        book.undo(gone.step)
        assert book.garden().uses[-1].key == "wet"


def test_what_something_rests_on_is_not_taken_out(kept_path: Path, kept_garden: Garden) -> None:
    with open_book(kept_path) as book:
        with pytest.raises(InputError, match="what was dried on 15 September 2031 rests on it"):
            book.remove_check("check-1")
        with pytest.raises(
            InputError, match=r"Jar “Caps of September” cannot be taken out: 1\.1 oz was taken"
        ):
            book.remove_jar("jar-1")
        with pytest.raises(InputError, match="Dryer “Old tray dryer” cannot be taken out"):
            book.remove_dryer("trays")
        with pytest.raises(BookConflict, match=r"The pick of 15 September 2031 .* some of it was used"):
            book.remove_entry("pick-2")
        pick = next(entry for entry in kept_garden.log if entry.key == "pick-2")
        with pytest.raises(InputError, match="held 500 g, and 1000 g of it are used"):
            book.change_entry(replace(pick, mass_kg=0.5))
        with pytest.raises(InputError, match="covers this pick"):
            book.put_check(replace(kept_garden.checks[0], picks=("pick-1",)))
        with pytest.raises(BookConflict, match="That jar is not in the book any more"):
            book.remove_jar("never")
        with pytest.raises(BookConflict, match="That use is not in the book any more"):
            book.change_use(use("never", Fate.DISCARD, 0.1))
        assert book.garden() == kept_garden
        # From the top down it all goes, and all comes back.
        steps = [
            book.remove_use("use-4").step,
            book.remove_jar("jar-1").step,  # the use that filled it stays, in no jar
            book.remove_use("use-2").step,  # its load goes on without it
            book.remove_check("check-1").step,
            book.remove_use("use-1").step,
            book.remove_use("use-3").step,
            book.remove_drying("load-1").step,
            book.remove_drying("load-2").step,
            book.remove_dryer("trays").step,
            book.remove_entry("pick-2").step,
        ]
        bare = book.garden()
        assert (bare.uses, bare.dryers, bare.dryings) == ((), (), ())
        for step in reversed(steps):
            book.undo(step)
        assert book.garden() == kept_garden


def test_a_pick_that_was_used_is_not_taken_back(kept_path: Path) -> None:
    with open_book(kept_path) as book:
        pick = LogEntry("fresh", "quince", DAY, LogKind.PICKED, mass_kg=0.4)
        added = book.add_entries([pick])
        used = book.add_uses([use("f", Fate.CHILL, 0.4, pick="fresh")])
        with pytest.raises(
            BookConflict, match=r"not in the logbook as a pick\. Nothing was changed; take back"
        ):
            book.undo(added.step)
        book.undo(used.step)
        book.undo(added.step)


def test_two_windows_do_not_overwrite_each_other(kept_path: Path, kept_garden: Garden) -> None:
    with open_book(kept_path) as context, open_book(kept_path) as phone:
        stale, read_at = context.garden(), context.revision
        jar = kept_garden.jars[1]
        phone.put_jar(replace(jar, text="by the phone"))
        phone.add_uses([use("theirs", Fate.DISCARD, 0.01)])
        with pytest.raises(
            BookConflict, match="Someone else changed this since it was read here: jar “Pack”"
        ):
            context.put_jar(replace(jar, text="by the computer"), expected_revision=read_at)
        with pytest.raises(BookConflict, match="Your garden was not saved"):
            context.save_garden(replace(stale, jars=(stale.jars[0], replace(jar, text="by the computer"))))
        # A garden that was read before keeps what the phone wrote beside its own.
        mine = use("mine", Fate.DISCARD, 0.02)
        context.save_garden(replace(stale, can_litres=9.0, uses=(*stale.uses, mine)))
        both = phone.garden()
        assert both.can_litres == 9.0
        assert {"mine", "theirs"} <= {one.key for one in both.uses}
        assert both.jars[1].text == "by the phone"
        context.garden()
        context.put_jar(replace(jar, text="by the computer"))
        assert phone.garden().jars[1].text == "by the computer"


def test_an_undo_of_a_saved_garden_says_what_it_takes_back(kept_path: Path, kept_garden: Garden) -> None:
    with open_book(kept_path) as book:
        log = tuple(entry for entry in kept_garden.log if entry.key not in ("water-1", "top-1"))
        changed = replace(kept_garden, log=log, readings=(), jars=kept_garden.jars[:1], can_litres=9.0)
        step = book.save_garden(changed)
        assert book.undo(step) == (
            "Taken back: the size of the watering can, 2 entries, 2 readings and 1 jar changed."
        )
        assert book.garden() == kept_garden


def test_photos_go_when_their_entry_cannot_come_back(
    kept_path: Path, photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(steps, "STEPS_KEPT", 3)
    with open_book(kept_path) as book:
        for key in ("photo-1", "shared", "waiting"):
            book.add_photo(replace(photo, key=key))
        look = next(entry for entry in book.garden().log if entry.key == "look-2")
        book.change_entry(replace(look, photos=("photo-1", "shared")))
        book.add_entries([LogEntry("other", "quince", DAY, LogKind.NOTE, photos=("shared",))])
        removed = book.remove_entry("look-2")
        book.undo(removed.step)  # as long as that is possible, the photo is there
        assert book.photo("photo-1").jpeg == photo.jpeg
        book.remove_entry("look-2")
        for n in range(2):
            book.add_uses([use(f"u{n}", Fate.CHILL, 0.1)])
            assert "photo-1" in {facts.key for facts in book.photo_facts()}
        book.add_uses([use("last", Fate.CHILL, 0.1)])
        assert [facts.key for facts in book.photo_facts()] == ["shared", "waiting"]
        with pytest.raises(BookError, match="cannot be taken"):
            book.undo(removed.step)


def test_an_export_of_version_4_is_taken_in(tended_garden: Garden) -> None:
    data = export_json(tended_garden)
    data["version"] = 4
    for name in ("checks", "uses", "jars", "dryers", "dryings"):
        del data["garden"][name]
    for entry in data["garden"]["log"]:
        del entry["stage"]
    assert import_whole(data).garden == tended_garden


def test_an_export_of_version_6_is_taken_in(printed_garden: Garden) -> None:
    data = export_json(printed_garden)
    data["version"] = 6
    del data["garden"]["year_costs"]
    assert import_whole(data).garden == printed_garden


def test_an_export_of_version_5_is_taken_in(kept_garden: Garden) -> None:
    data = export_json(kept_garden)
    data["version"] = 5
    for check in data["garden"]["checks"]:
        for name in ("print_laid_at", "print_read_at", "second_look_by"):
            del check[name]
    assert import_whole(data).garden == kept_garden


def test_the_times_of_a_print_are_kept_and_taken_back(tmp_path: Path, printed_garden: Garden) -> None:
    path = tmp_path / "printed.mulch"
    create_book(path, printed_garden)
    first = printed_garden.checks[0]
    assert first.print_laid_at is not None
    assert first.print_read_at is not None
    with open_book(path) as book:
        assert book.garden().checks == printed_garden.checks
        done = book.put_check(replace(first, print_color="rust-brown", print_read_at=None))
        assert book.garden().checks[0].print_read_at is None
        book.undo(done.step)
        assert book.garden() == printed_garden
    assert import_whole(export_json(printed_garden)).garden == printed_garden
    with pytest.raises(InputError, match="read before it was laid"):
        replace(first, print_read_at=first.print_laid_at - timedelta(minutes=1))
    with pytest.raises(InputError, match="without the time zone"):
        replace(first, print_laid_at=first.print_laid_at.replace(tzinfo=None))


def test_an_export_that_feeds_without_a_check_is_refused(kept_garden: Garden) -> None:
    data = export_json(kept_garden)
    data["garden"]["uses"][1]["check"] = ""
    with pytest.raises(InputError, match="names no identity check that covers this pick"):
        import_whole(data)


def test_a_garden_to_compute_with_may_lose_its_logbook(kept_garden: Garden) -> None:
    bare = replace(kept_garden, log=(), patches=kept_garden.patches[1:])
    with pytest.raises(InputError, match="not in this garden"):
        bare.check_whole()
    with pytest.raises(InputError, match="Two jars share the key 'jar-1'"):
        replace(kept_garden, jars=(*kept_garden.jars, kept_garden.jars[0]))
    with pytest.raises(InputError, match="is in dryer 'trays', which is not there"):
        replace(kept_garden, dryers=())
    with pytest.raises(InputError, match="is no pick; enter a pick"):
        replace(kept_garden.log[0], stage=kept_garden.log[5].stage)


def test_no_outlook_moves_with_what_became_of_a_pick(kept_path: Path) -> None:
    """The web app's fingerprint of a garden, by which it knows whether to compute again."""
    library = Library(kept_path)
    before = library.state().fingerprint
    with open_book(kept_path) as book:
        book.add_uses([use("u", Fate.CHILL, 0.1)], jars=[JAR])
        book.put_dryer(Dryer("oven", "Oven", 2, 0.12, 800))
        book.put_drying(DryingRun("l", "oven", AT, 0.2, 0.005, 55.0))
        book.remove_check("check-2")
        assert library.state().fingerprint == before
        book.add_entries([LogEntry("w", "quince", DAY, LogKind.WATERED, litres=5.0)])
        assert library.state().fingerprint != before
