"""Files of the cache: whole or not at all, within their limit, harmless when broken. The laws are ours."""

from __future__ import annotations

import io
import multiprocessing
import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from mulchwright.services.disk_cache import Arrays, DiskCache
from mulchwright.services.learning_cache import _LEARNED_WITH, learning_cache
from mulchwright.services.light_cache import LightCache

LENGTH = 1000


def pack(value: int) -> Arrays | None:
    return {"values": np.full(LENGTH, value)} if value >= 0 else None


def unpack(arrays: Arrays) -> int:
    values = arrays["values"]
    if values.shape != (LENGTH,) or (values != values[0]).any():
        raise ValueError("not one value")
    return int(values[0])


def cache_in(folder: Path, most_bytes: int = 10**9) -> DiskCache[int]:
    return DiskCache(folder, pack=pack, unpack=unpack, most_bytes=most_bytes)


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_what_was_written_is_read(tmp_path: Path) -> None:
    cache = cache_in(tmp_path / "made" / "later")
    assert cache.read("one") is None
    cache.write("one", 1)
    cache.write("two", 2)
    cache.write("one", 3)
    again = cache_in(tmp_path / "made" / "later")
    assert (again.read("one"), again.read("two"), again.read("three")) == (3, 2, None)
    assert names(cache.folder) == {"one.npz", "two.npz"}


def test_a_value_that_cannot_be_packed_is_passed_over(tmp_path: Path) -> None:
    cache_in(tmp_path).write("none", -1)
    assert not names(tmp_path)


def test_a_key_cannot_lead_out_of_the_folder(tmp_path: Path) -> None:
    for key in ("../out", "", "a/b", "a.b"):
        with pytest.raises(ValueError, match="letters and digits"):
            cache_in(tmp_path).read(key)


def written(**arrays: np.ndarray) -> bytes:
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    return buffer.getvalue()


BROKEN = {
    "torn": lambda whole: whole[:-300],
    "torn at the head": lambda whole: whole[:10],
    "a byte turned over": lambda whole: whole[:400] + bytes([whole[400] ^ 0xFF]) + whole[401:],
    "empty": lambda whole: b"",
    "garbage": lambda whole: b"a poem about mulch" * 50,
    "no key": lambda whole: written(values=np.ones(LENGTH)),
    "of another key": lambda whole: written(name=np.array("two"), values=np.ones(LENGTH)),
    "an array missing": lambda whole: written(name=np.array("one")),
    "misshapen": lambda whole: written(name=np.array("one"), values=np.ones(3)),
    "holds objects": lambda whole: written(name=np.array("one"), values=np.array([{}], dtype=object)),
}


@pytest.mark.parametrize("how", BROKEN)
def test_an_unreadable_entry_is_a_miss_and_is_removed(tmp_path: Path, how: str) -> None:
    cache = cache_in(tmp_path)
    cache.write("one", 1)
    file = tmp_path / "one.npz"
    file.write_bytes(BROKEN[how](file.read_bytes()))
    assert cache.read("one") is None
    assert not file.exists()
    cache.write("one", 1)
    assert cache.read("one") == 1


def test_a_write_that_fails_half_way_leaves_the_old_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a full disk: part of the file is written, then the system refuses."""
    cache = cache_in(tmp_path)
    cache.write("one", 1)

    def torn(file: io.BufferedWriter, **arrays: object) -> None:
        file.write(b"half of it")
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(np, "savez", torn)
        cache.write("one", 2)
        cache.write("two", 2)
    assert (cache.read("one"), cache.read("two")) == (1, None)
    assert names(tmp_path) == {"one.npz"}


def test_a_folder_that_cannot_be_made_is_no_error(tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way of the folder")
    cache = cache_in(blocked / "cache")
    cache.write("one", 1)
    assert cache.read("one") is None


def test_the_longest_unused_make_room(tmp_path: Path) -> None:
    cache_in(tmp_path).write("first", 1)
    size = (tmp_path / "first.npz").stat().st_size
    cache = cache_in(tmp_path, most_bytes=3 * size + size // 2)
    for number, key in enumerate(("first", "second", "third"), start=1):
        cache.write(key, number)
        os.utime(tmp_path / f"{key}.npz", (1000 + number, 1000 + number))
    assert cache.read("first") == 1  # which makes it the one used last
    cache.write("fourth", 4)
    assert names(tmp_path) == {"first.npz", "third.npz", "fourth.npz"}
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 3 * size + size // 2


def test_an_entry_larger_than_the_limit_is_not_stored(tmp_path: Path) -> None:
    cache_in(tmp_path, most_bytes=100).write("one", 1)
    assert not names(tmp_path)


def test_what_a_stopped_program_left_is_removed_and_what_is_being_written_is_not(tmp_path: Path) -> None:
    abandoned, fresh = tmp_path / "one.abc.part", tmp_path / "one.def.part"
    for part in (abandoned, fresh):
        part.write_bytes(b"half of it")
    two_hours_ago = time.time() - 7200
    os.utime(abandoned, (two_hours_ago, two_hours_ago))
    cache_in(tmp_path).write("two", 2)
    assert names(tmp_path) == {"one.def.part", "two.npz"}


def _write_often(folder: Path, value: int) -> None:
    for _ in range(40):
        cache_in(folder).write("same", value)


def test_two_programs_writing_at_once_leave_a_whole_entry(tmp_path: Path) -> None:
    """Two processes and two threads write one entry while it is read: every read is whole or a miss."""
    cache = cache_in(tmp_path)
    cache.write("same", 0)
    spawn = multiprocessing.get_context("spawn")
    writers: list[multiprocessing.process.BaseProcess | threading.Thread] = [
        *(spawn.Process(target=_write_often, args=(tmp_path, value)) for value in (1, 2)),
        *(threading.Thread(target=_write_often, args=(tmp_path, value)) for value in (3, 4)),
    ]
    for writer in writers:
        writer.start()
    read = []
    while any(writer.is_alive() for writer in writers):
        read.append(cache.read("same"))
    for writer in writers:
        writer.join()
    assert all(writer.exitcode == 0 for writer in writers if not isinstance(writer, threading.Thread))
    assert read
    assert set(read) <= {0, 1, 2, 3, 4}, "never a miss: the entry is replaced in one step"
    assert cache.read("same") in {1, 2, 3, 4}
    assert names(tmp_path) == {"same.npz"}


def test_the_caches_of_the_program_are_in_the_user_s_cache_folder() -> None:
    assert DiskCache("light", pack=pack, unpack=unpack, most_bytes=1).folder.name == "light"
    assert LightCache().folder.parent == type(learning_cache())().folder.parent


def test_every_source_that_learning_depends_on_is_there() -> None:
    """A file that was renamed would leave the fingerprint without a word, and old figures would be read."""
    import mulchwright

    package = Path(mulchwright.__file__).parent
    assert not [pattern for pattern in _LEARNED_WITH if not list(package.glob(pattern))]
