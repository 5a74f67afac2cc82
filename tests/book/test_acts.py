"""Acts on the garden: whatever is done and taken back, the book holds what a plain model says it should."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mulchwright.book import Act, BookConflict, NounChanged, Part, create_book, open_book
from mulchwright.book.nouns import KINDS, SETTINGS, nouns_of, type_of
from mulchwright.book.plain import as_text, noun_from
from mulchwright.errors import InputError
from mulchwright.garden import Bed, Garden, LogEntry, LogKind, LookRules, UnitSystem
from mulchwright.garden.offers import Vessel

DAY = date(2031, 9, 19)


def unordered(garden: Garden) -> dict[tuple[str, str], Any]:
    """The model of a garden: its nouns by kind and key, in no order."""
    return nouns_of(garden)


def test_every_field_of_the_garden_belongs_to_one_kind() -> None:
    """A field that is added to the garden and to no kind would be lost by each act; this notices."""
    named = [kind.field for kind in KINDS.values()] + list(SETTINGS)
    assert sorted(named) == sorted(Garden.__dataclass_fields__)


def test_each_noun_comes_back_from_its_text(printed_garden: Garden) -> None:
    for (noun, key), one in nouns_of(printed_garden).items():
        assert noun_from(as_text(one), type_of(noun, key)) == one, (noun, key)
    assert noun_from(None, Bed) is None


def test_an_act_is_refused_where_before_no_longer_holds(book_path: Path, stocked_garden: Garden) -> None:
    heap = stocked_garden.lots[0]
    with open_book(book_path) as book:
        book.save_garden(stocked_garden)
        mine = Act("heap renamed", (Part("lot", heap.key, heap, replace(heap, name="Mine")),))
        theirs = replace(heap, name="Theirs")
        book.apply(Act("heap renamed", (Part("lot", heap.key, heap, theirs),)))
        before = book_path.read_bytes()
        with pytest.raises(NounChanged, match="changed this since it was read here: lot “Mine”") as caught:
            book.apply(mine)
        assert (caught.value.parts[0].key, caught.value.theirs) == (heap.key, (theirs,))
        with pytest.raises(NounChanged):  # None: it must not be there
            book.apply(Act("again", (Part("lot", heap.key, None, heap),)))
        with pytest.raises(InputError, match="cannot be without the units"):
            book.apply(Act("no units", (Part("setting", "units", UnitSystem.US, None),)))
        with pytest.raises(InputError, match="not among the sellers"):
            book.apply(Act("gone", (Part("seller", "valley", stocked_garden.sellers[0], None),)))
        assert book_path.read_bytes() == before


def test_an_act_is_known_by_its_request_id(book_path: Path) -> None:
    vessel = Vessel(50.0, 1, "Tub", "tub")
    act = Act("tub added", (Part("vessel", "tub", None, vessel),))
    with open_book(book_path) as book:
        first = book.apply(act, request_id="r", today=DAY)
        assert book.apply(act, request_id="r", today=DAY) == first._replace(again=True)
        other = Act("tub added", (Part("vessel", "tub", None, replace(vessel, count=2)),))
        with pytest.raises(BookConflict, match="sent before with other content"):
            book.apply(other, request_id="r", today=DAY)
        assert book.garden().vessels == (vessel,)


def test_a_garden_changed_wholly_comes_back_wholly(
    book_path: Path, garden: Garden, kept_garden: Garden
) -> None:
    """Every kind of noun and every setting at once, there and back and there again; order included."""
    with open_book(book_path) as book:
        step = book.save_garden(kept_garden)
        book.undo(step)
        assert book.garden() == garden
        book.undo(book.undo_steps()[0].step)
        assert book.garden() == kept_garden
        turned = replace(
            kept_garden,
            crowns=kept_garden.crowns[::-1],
            lots=kept_garden.lots[::-1],
            log=kept_garden.log[::-1],
        )
        step = book.save_garden(turned)
        assert book.garden() == turned
        book.undo(step)
        assert book.garden() == kept_garden
        said = [one.what for one in book.undo_steps()]
        assert book.change_garden(lambda stored: stored) == kept_garden  # nothing to do leaves no step
        assert [one.what for one in book.undo_steps()] == said


Change = Callable[[Garden], Garden]


def _renamed(field: str, n: int) -> Change:
    def change(garden: Garden) -> Garden:
        rows = getattr(garden, field)
        if not rows:
            return garden
        at = n % len(rows)
        renamed = replace(rows[at], name=f"{field} {n}")
        new: dict[str, Any] = {field: (*rows[:at], renamed, *rows[at + 1 :])}
        return replace(garden, **new)

    return change


def _removed(field: str, n: int) -> Change:
    def change(garden: Garden) -> Garden:
        rows = getattr(garden, field)
        new: dict[str, Any] = {field: tuple(row for at, row in enumerate(rows) if at != n % len(rows))}
        return replace(garden, **new)

    return change


def _turned(field: str, n: int) -> Change:
    def change(garden: Garden) -> Garden:
        rows = getattr(garden, field)
        new: dict[str, Any] = {field: (*rows[n % 3 :], *rows[: n % 3])}
        return replace(garden, **new)

    return change


def _added(field: str, n: int) -> Change:
    def change(garden: Garden) -> Garden:
        made: dict[str, Any] = {
            "beds": Bed(f"bed-{n}", "New"),
            "vessels": Vessel(20.0, 1, "New", f"vessel-{n}"),
            "log": LogEntry(f"note-{n}", "quince", DAY, LogKind.NOTE, text="new"),
        }
        new: dict[str, Any] = {field: (*getattr(garden, field), made[field])}
        return replace(garden, **new)

    return change


def _set(n: int) -> Change:
    changes: tuple[dict[str, Any], ...] = (
        {"units": UnitSystem.METRIC}, {"units": UnitSystem.US}, {"can_litres": 5.0 + n},
        {"hose_litres_per_minute": 9.0 + n}, {"normals": None}, {"look_rules": LookRules(0.1 + n / 100)},
        {"stands_at": DAY},
    )  # fmt: skip
    return lambda garden: replace(garden, **changes[n % len(changes)])


NUMBERS = st.integers(0, 9)
NAMED = ("beds", "patches", "crowns", "zones", "lots", "households")
LOOSE = ("beds", "crowns", "taps", "lots", "offers", "recipes", "log")
CHANGES: st.SearchStrategy[Change] = st.one_of(
    st.builds(_renamed, st.sampled_from(NAMED), NUMBERS),
    st.builds(_removed, st.sampled_from(LOOSE), NUMBERS),
    st.builds(_turned, st.sampled_from(("beds", "crowns", "zones", "lots", "log", "dryers")), NUMBERS),
    st.builds(_added, st.sampled_from(("beds", "vessels", "log")), NUMBERS),
    st.builds(_set, NUMBERS),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(todo=st.lists(st.one_of(CHANGES, NUMBERS), min_size=2, max_size=12))
def test_any_acts_and_undos_leave_what_the_model_holds(
    todo: list[Change | int], stocked_garden: Garden
) -> None:
    """A number takes back the step so many before the newest; in the end everything is taken back."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "g.mulch"
        create_book(path, stocked_garden)
        with open_book(path) as book:
            model = stocked_garden
            effects: dict[int, tuple[Garden, Garden]] = {}
            undoes: dict[int, int] = {}
            for do in todo:
                live = [step for step in book.undo_steps() if not step.taken_back]
                if isinstance(do, int):
                    if not live:
                        continue
                    step = live[do % len(live)].step
                    was, came = (unordered(one) for one in effects[step])
                    now = unordered(model)
                    touched = [at for at in was.keys() | came.keys() if was.get(at) != came.get(at)]
                    try:
                        book.undo(step)
                    except BookConflict:
                        assert unordered(book.garden()) == now
                        continue
                    assert all(now.get(at) == came.get(at) for at in touched)
                    expected = {at: one for at, one in now.items() if at not in touched}
                    expected |= {at: was[at] for at in touched if at in was}
                    after = book.garden()
                    assert unordered(after) == expected
                    newest = book.undo_steps()[0].step
                    undoes[newest] = step
                    effects[newest] = (model, after)
                    model = after
                    continue
                try:
                    wanted = do(model)
                except InputError:
                    continue  # the garden refuses it: a second noun of that key, a bed in use
                book.save_garden(wanted)
                assert book.garden() == wanted
                if wanted != model:
                    effects[book.undo_steps()[0].step] = (model, wanted)
                model = wanted
            for one in book.undo_steps():
                depth, at = 0, one.step
                while at in undoes:
                    depth, at = depth + 1, undoes[at]
                if not one.taken_back and depth % 2 == 0:
                    book.undo(one.step)
            assert book.garden() == stocked_garden
