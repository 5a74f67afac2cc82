"""What was learned, kept on disk: it spares work and changes no figure. The laws are ours."""

from __future__ import annotations

import importlib
import os
import shutil
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mulchwright.almanac import (
    FirstPicking,
    Memory,
    Outlook,
    learning,
    outlook,
)
from mulchwright.almanac import (
    posterior_records as posterior_records,
)
from mulchwright.book.demo import demo_garden
from mulchwright.garden import Garden, LogEntry, LogKind, Sight, Stage
from mulchwright.season import simulate
from mulchwright.season.learn import condition
from mulchwright.services import learning_cache as learning_cache
from mulchwright.services.learning_cache import LearningCache, code_digest
from mulchwright.trade import Trade, load_trade
from mulchwright.weather import normals_of

BUILT = date(2014, 4, 20)
TODAY = BUILT + timedelta(days=110)


def look(day: int, sight: Sight) -> LogEntry:
    return LogEntry(f"l{day}", "one", BUILT + timedelta(days=day), LogKind.LOOKED, sight=sight)


LOG = (
    *(look(day, Sight.NOTHING) for day in range(20, 52, 4)),
    look(52, Sight.READY),
    LogEntry("p", "one", BUILT + timedelta(days=53), LogKind.PICKED, mass_kg=1.0),
)
"""Ten entries: one whole step of eight, and a head that grows."""


@pytest.fixture(scope="module")
def garden() -> Garden:
    demo, _ = demo_garden()
    model = next(patch for patch in demo.patches if patch.key == "quince-walk")
    model = replace(model, built_on=BUILT, stage=Stage.BUILT, outline=(), area_m2=2.0, bed=None)
    patches = (replace(model, key="one", name="One"), replace(model, key="two", name="Two"))
    return replace(demo, patches=patches, beds=(), log=LOG, readings=())


def whole_outlook(garden: Garden, cache: LearningCache | None, trade: Trade | None = None) -> Outlook:
    _, series = demo_garden()
    return outlook(
        garden, series, trade or load_trade(), today=TODAY, members=24, seed=5, memory=Memory(cache=cache)
    )


def assert_same(one: Any, other: Any) -> None:
    """The same to the last bit, array by array."""
    assert type(one) is type(other)
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype
        assert one.shape == other.shape
        assert one.tobytes() == other.tobytes()
    elif hasattr(one, "__dataclass_fields__"):
        for field in fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, tuple):
        assert len(one) == len(other)
        for this, that in zip(one, other, strict=True):
            assert_same(this, that)
    else:
        assert one == other


@pytest.fixture(scope="module")
def bare(garden: Garden) -> Outlook:
    """The outlook that was learned with nothing kept."""
    return whole_outlook(garden, None)


@pytest.fixture(scope="module")
def filled(garden: Garden, bare: Outlook, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf on which the garden's lessons lie; what filled it was told the same as without."""
    folder = tmp_path_factory.mktemp("filled")
    assert_same(whole_outlook(garden, LearningCache(folder)), bare)
    assert len(list(folder.iterdir())) == 4  # a whole step, the bed's lesson, two beds without the logbook
    return folder


@pytest.fixture
def folder(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filled, tmp_path / "lessons"))


class _OnlyRead(LearningCache):
    """A shelf that has all that is asked of it; what it lacks would be learned and laid down here."""

    def write(self, key: str, made: Any) -> None:
        raise AssertionError(f"{key} was to be read, not made again")


def test_cached_posteriors_are_read_and_give_the_same_figures(
    garden: Garden, bare: Outlook, folder: Path
) -> None:
    assert_same(whole_outlook(garden, _OnlyRead(folder)), bare)


def test_an_entry_begins_from_the_step_that_was_kept(
    garden: Garden, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grown = replace(garden, log=(*LOG, look(100, Sight.NOTHING)))
    without = whole_outlook(grown, None)
    steps: list[int] = []

    def counted(*words: Any, **more: Any) -> Any:
        steps.append(1)
        return condition(*words, **more)

    monkeypatch.setattr(learning, "condition", counted)
    assert_same(whole_outlook(grown, LearningCache(folder)), without)
    assert len(steps) == 1


def test_beds_for_which_nothing_changed_are_not_run_again(
    garden: Garden, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An entry bears on the beds of its species; another species' bed is told as before, to the last bit."""
    other = replace(garden.patches[0], key="other", name="Other", species="oyster")
    before = replace(garden, patches=(*garden.patches, other))
    watered = LogEntry("w", "other", BUILT + timedelta(days=105), LogKind.WATERED, litres=20.0)
    states = (
        (before, 3),
        (replace(before, log=(*LOG, look(100, Sight.NOTHING))), 2),
        (replace(before, log=(*LOG, look(100, Sight.NOTHING), watered)), 1),
        (replace(before, log=(*LOG, look(100, Sight.NOTHING), watered), hose_litres_per_minute=3.0), 3),
        (replace(before, log=(*LOG, look(100, Sight.NOTHING), watered), hose_litres_per_minute=3.0), 0),
    )
    memory, (_, series) = Memory(cache=LearningCache(folder)), demo_garden()

    def outlook_by(state: Garden, memory: Memory | None) -> Outlook:
        return outlook(state, series, load_trade(), today=TODAY, members=24, seed=5, memory=memory)

    ran: list[int] = []
    module = importlib.import_module("mulchwright.almanac.outlook")

    def counted(bed: Any, *words: Any, **more: Any) -> Any:
        if "mass_days" in more:  # the outlook's own run
            ran.append(len(bed.sizes))
        return simulate(bed, *words, **more)

    without = [outlook_by(state, None) for state, _ in states]
    monkeypatch.setattr(module, "simulate", counted)
    for (state, count), bare in zip(states, without, strict=True):
        ran.clear()
        assert_same(outlook_by(state, memory), bare)
        assert sum(ran) == count


@pytest.mark.parametrize("how", ["torn", "foreign", "empty", "pickled", "misshapen", "not a number"])
def test_a_file_that_is_not_ours_is_passed_over_and_written_anew(
    garden: Garden, bare: Outlook, folder: Path, how: str
) -> None:
    before = {file.name: file.read_bytes() for file in folder.iterdir()}
    for file in folder.iterdir():
        with np.load(file) as read:
            arrays = {name: read[name] for name in read.files}
        if how == "torn":
            file.write_bytes(file.read_bytes()[:-400])
        elif how == "foreign":
            file.write_text("a poem")
        elif how == "empty":
            file.write_bytes(b"")
        elif how == "pickled":
            np.savez(file, **{**arrays, "kind": np.array([{}], dtype=object)})
        else:
            name = next(each for each in arrays if arrays[each].dtype == np.float64 and arrays[each].ndim)
            arrays[name] = arrays[name][..., :-1] if how == "misshapen" else arrays[name] * np.nan
            np.savez(file, **arrays)
    spoiled = {file.name: file.read_bytes() for file in folder.iterdir()}
    assert_same(whole_outlook(garden, LearningCache(folder)), bare)
    # Not every piece is asked for again (a whole one stands for its parts); what was asked for is whole now.
    mended = [file for file in folder.iterdir() if file.read_bytes() != spoiled[file.name]]
    assert mended
    for file in mended:
        with np.load(file) as read:
            assert read["kind"].dtype == np.int64
    assert {file.name for file in folder.iterdir()} == set(before)


def test_a_changed_table_or_model_reads_no_old_copy(garden: Garden, folder: Path) -> None:
    """The seen share's error stands in the tables; what was learned with another is not for this one."""
    before = {file.name for file in folder.iterdir()}
    changed = Trade()
    constants = dict(changed.constants)
    constants["look_lag_days"] = replace(constants["look_lag_days"], value=4.0)
    vars(changed)["constants"] = constants
    with_cache = whole_outlook(garden, LearningCache(folder), changed)
    assert_same(with_cache, whole_outlook(garden, None, changed))
    assert len({file.name for file in folder.iterdir()} - before) == 4
    key = "taught some mark"
    assert LearningCache(folder, model="3")._name(key) != LearningCache(folder, model="4")._name(key)


def test_the_model_s_mark_follows_its_source_and_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = Path(learning.__file__).parents[1]
    for room in ("season", "almanac"):
        shutil.copytree(package / room, tmp_path / room)
    before = code_digest(tmp_path)
    source = tmp_path / "season" / "learn.py"
    text = source.read_text(encoding="utf-8")
    assert "MOST_MOVES = 12" in text
    source.write_text(text.replace("MOST_MOVES = 12", "MOST_MOVES = 13"), encoding="utf-8")
    assert code_digest(tmp_path) != before
    mark = learning_cache.model_fingerprint.__wrapped__
    now = mark()
    assert now == mark()
    monkeypatch.setattr(learning_cache, "MODEL_VERSION", "another")
    assert mark() != now


def test_without_a_record_what_is_kept_changes_no_figure_either(garden: Garden, tmp_path: Path) -> None:
    """Each member has a past of its own, drawn anew with the next entry: no step of another past is taken."""
    _, series = demo_garden()
    assert series is not None
    blind = replace(garden, normals=normals_of(series), patches=garden.patches[:1])
    grown = replace(blind, log=(*LOG, look(70, Sight.NOTHING)))

    def outlook_by(state: Garden, memory: Memory) -> Outlook:
        return outlook(state, None, load_trade(), today=TODAY, members=24, seed=5, memory=memory)

    without = outlook_by(grown, Memory())
    memory = Memory(cache=LearningCache(tmp_path))
    outlook_by(blind, memory)
    assert_same(outlook_by(grown, memory), without)
    assert_same(outlook_by(grown, Memory(cache=LearningCache(tmp_path))), without)


def test_a_cache_that_cannot_be_written_is_no_error(garden: Garden, bare: Outlook, tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way of the folder")
    assert_same(whole_outlook(garden, LearningCache(blocked / "lessons")), bare)


def test_the_oldest_pieces_make_room(tmp_path: Path) -> None:
    pair = (FirstPicking(None, TODAY, None, ((TODAY, 0.25),), (None, TODAY)),) * 2
    cache = LearningCache(tmp_path, model="m")
    cache.write("first", pair)
    size = next(tmp_path.iterdir()).stat().st_size
    small = LearningCache(tmp_path, model="m", most_bytes=2 * size)
    small.write("second", pair)
    for number, file in enumerate(sorted(tmp_path.iterdir(), key=lambda each: each.name != small._name("x"))):
        os.utime(file, (1000 + number, 1000 + number))
    os.utime(tmp_path / f"{small._name('first')}.npz", (3000, 3000))
    small.write("third", pair)
    assert small.read("first") == pair
    assert small.read("second") is None
    assert small.read("third") == pair
    assert not list(tmp_path.glob("*.part"))


def test_only_what_was_learned_is_kept() -> None:
    assert posterior_records.packed("words") is None
    assert posterior_records.packed(()) is None
