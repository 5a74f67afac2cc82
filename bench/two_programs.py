"""Two programs on one garden book, for as long and as often as asked: is every acknowledged entry there?

    python bench/two_programs.py writers --seconds 10 --runs 20
    python bench/two_programs.py servers --seconds 10 --runs 3
    python bench/two_programs.py commands --seconds 20 --runs 3

writers: two processes of three threads each, each entry through `open_book`.
servers: two `mulchwright open` on one book, three threads posting entries to each.
commands: one server with three threads posting, and a loop of `mulchwright weather reading`.

Prints a line a run and ends with 1 where anything was lost, refused or damaged. Talks to 127.0.0.1 only.
"""

from __future__ import annotations

import argparse
import http.client
import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import date, timedelta
from pathlib import Path

BED, DAY = "leaf-lane", date(2015, 6, 10)  # of the demo garden
WRITER = """
import sys, threading, time
from datetime import date
from mulchwright.book import open_book
from mulchwright.garden import LogEntry, LogKind
path, name, bed, end = sys.argv[1], sys.argv[2], sys.argv[3], time.monotonic() + float(sys.argv[4])
def write(thread):
    n = 0
    while time.monotonic() < end:
        key = f"{name}-{thread}-{n}"
        n += 1
        try:
            with open_book(path) as book:
                book.add_log_entry(LogEntry(key, bed, date(2015, 6, 10), LogKind.NOTE))
        except Exception as error:
            print("refused", type(error).__name__, str(error).replace(path, "the book")[:90], flush=True)
        else:
            print("stored", key, flush=True)
threads = [threading.Thread(target=write, args=(n,)) for n in range(3)]
for thread in threads: thread.start()
for thread in threads: thread.join()
"""
MULCHWRIGHT = (sys.executable, "-m", "mulchwright")


class Tally:
    """What was acknowledged and what was not, from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.stored: set[str] = set()
        self.readings: set[str] = set()
        self.refused: Counter[str] = Counter()

    def note(self, kind: str, what: str) -> None:
        with self._lock:
            if kind == "stored":
                self.stored.add(what)
            elif kind == "reading":
                self.readings.add(what)
            else:
                self.refused[what] += 1


def write_directly(book: Path, seconds: float, tally: Tally) -> None:
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(book), name, BED, str(seconds)],
            stdout=subprocess.PIPE, text=True,
        )
        for name in ("one", "two")
    ]  # fmt: skip
    for writer in writers:
        for line in writer.communicate()[0].splitlines():
            tally.note(*line.split(" ", 1))


@contextmanager
def server_of(book: Path) -> Iterator[int]:
    """The port of a server of the book, once it answers."""
    with subprocess.Popen(
        [*MULCHWRIGHT, "open", str(book), "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as process:  # fmt: skip
        assert process.stdout is not None
        try:
            address = ""
            while not address.startswith("http://"):
                address = process.stdout.readline().strip()
                if not address:
                    raise SystemExit("the server did not start")
            port = urllib.parse.urlsplit(address).port or 0
            ask(port, "GET", "/beds")
            yield port
        finally:
            process.terminate()


def ask(port: int, method: str, path: str, fields: dict[str, str] | None = None) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    try:
        connection.request(
            method, path, urllib.parse.urlencode(fields or {}),
            {"content-type": "application/x-www-form-urlencoded", "accept": "application/json"},
        )  # fmt: skip
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def post_entries(port: int, name: str, end: float, tally: Tally) -> None:
    number = 0
    while time.monotonic() < end:
        text = f"{name}-{number}"
        number += 1
        try:
            status, body = ask(port, "POST", f"/log/{BED}", {"kind": "note", "text": text, "mark": text})
        except OSError as error:
            tally.note("refused", type(error).__name__)
            continue
        if status == 200:
            tally.note("stored", text)
        else:
            tally.note("refused", f"{status} {body[:90]!r}")


def note_readings(book: Path, end: float, tally: Tally) -> None:
    number = 0
    while time.monotonic() < end:
        day = (DAY - timedelta(days=30 + number)).isoformat()
        number += 1
        done = subprocess.run(
            [*MULCHWRIGHT, "weather", "reading", str(book), day, "--rain", "0.1 in"],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode == 0:
            tally.note("reading", day)
        else:
            tally.note("refused", f"exit {done.returncode} {done.stderr.strip()[-90:]}")


def through_programs(book: Path, seconds: float, tally: Tally, *, servers: int) -> None:
    with ExitStack() as stack:
        ports = [stack.enter_context(server_of(book)) for _ in range(servers)]
        end = time.monotonic() + seconds
        threads = [
            threading.Thread(target=post_entries, args=(port, f"server{which}-{n}", end, tally))
            for which, port in enumerate(ports)
            for n in range(3)
        ]
        if servers == 1:
            threads.append(threading.Thread(target=note_readings, args=(book, end, tally)))
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()


def missing_in(book: Path, tally: Tally) -> tuple[str, int]:
    """SQLite's judgment of the file, and how many acknowledged entries and readings are not there."""
    connection = sqlite3.connect(book)
    try:
        verdict = str(connection.execute("PRAGMA integrity_check").fetchone()[0])
        known = {word for row in connection.execute("SELECT key, text FROM log_entry") for word in row}
        days = {day for (day,) in connection.execute("SELECT day FROM reading")}
    except sqlite3.DatabaseError as error:
        return str(error), len(tally.stored) + len(tally.readings)
    finally:
        connection.close()
    return verdict, len(tally.stored - known) + len(tally.readings - days)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("how", choices=("writers", "servers", "commands"))
    asked.add_argument("--seconds", type=float, default=10.0)
    asked.add_argument("--runs", type=int, default=20)
    words = asked.parse_args()
    failures = 0
    for run in range(words.runs):
        with tempfile.TemporaryDirectory() as folder:
            os.environ["XDG_DATA_HOME"] = folder
            book, tally = Path(folder, "demo.garden"), Tally()
            subprocess.run([*MULCHWRIGHT, "demo", str(book), "--no-open"], check=True, capture_output=True)
            if words.how == "writers":
                write_directly(book, words.seconds, tally)
            else:
                through_programs(book, words.seconds, tally, servers=2 if words.how == "servers" else 1)
            verdict, missing = missing_in(book, tally)
            refused = sum(tally.refused.values())
            print(
                f"run {run + 1}: integrity {verdict[:60]}; {len(tally.stored)} entries and "
                f"{len(tally.readings)} readings acknowledged, {missing} missing, {refused} refused "
                f"{dict(tally.refused.most_common(3)) if refused else ''}",
                flush=True,
            )
            failures += verdict != "ok" or missing > 0 or refused > 0
    print(f"{words.runs - failures} of {words.runs} runs whole")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
