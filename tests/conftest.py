"""What holds for all tests."""

from __future__ import annotations

import os
import socket
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# How long an example takes is the machine's business, and it may be busy.
settings.register_profile("calm", deadline=None)
settings.load_profile("calm")


@pytest.fixture(scope="session", autouse=True)
def _own_consent_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What tests allow a book lies in a folder of their own, not in the user's data."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MULCHWRIGHT_CONSENT_FOLDER", str(tmp_path_factory.mktemp("consent")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _own_learning_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What tests learn from logbooks lies in a folder of their own, not in the user's cache."""
    from mulchwright.services.learning_cache import LearningCache

    with pytest.MonkeyPatch.context() as patch:
        cache = LearningCache(tmp_path_factory.mktemp("lessons"))
        patch.setattr("mulchwright.services.learning_cache._CACHE", cache)
        yield


@pytest.fixture(scope="session", autouse=True)
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What the program keeps for a user outside the book lies in a folder of the tests, also for children."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


LOCAL_HOSTS = ("", "127.0.0.1", "127.0.0.2", "localhost", "::1", "0.0.0.0")


@pytest.fixture(scope="session", autouse=True)
def _no_strangers() -> Iterator[None]:
    """No test finds a host but this machine, whatever a form or a book asks the program to fetch."""
    look_up = socket.getaddrinfo

    def only_here(host: Any, *rest: Any, **options: Any) -> Any:
        name = host.decode() if isinstance(host, bytes) else host
        if name is not None and name not in LOCAL_HOSTS and not name.endswith(".localhost"):
            raise socket.gaierror(socket.EAI_NONAME, f"{name} is not looked up in tests")
        return look_up(host, *rest, **options)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket, "getaddrinfo", only_here)
        yield


# ---- where the time goes ----------------------------------------------------

PROCESSOR_SECONDS = "processor_seconds"
_measured = 0.0
"""Processor seconds of this process and its children when they were last looked at."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--processor-seconds", action="store_true", help="tell the processor time of each folder of tests"
    )


def processor_seconds() -> float:
    """Processor time of this process and all that it started and that still runs, such as the browser, s.

    Where the system does not list its processes, children count once they have ended.
    """
    if not sys.platform.startswith("linux"):
        return sum(os.times()[:4])
    parents: dict[int, int] = {}
    ticks: dict[int, int] = {}
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                fields = (folder / "stat").read_text().rpartition(")")[2].split()
            except OSError:  # it has ended
                continue
            parents[int(folder.name)] = int(fields[1])
            ticks[int(folder.name)] = sum(int(field) for field in fields[11:15])

    def is_ours(process: int) -> bool:
        while process and process != os.getpid():
            process = parents.get(process, 0)
        return bool(process)

    return sum(ticks[process] for process in ticks if is_ours(process)) / os.sysconf("SC_CLK_TCK")


def pytest_collection_finish(session: pytest.Session) -> None:
    global _measured
    if session.config.getoption("--processor-seconds"):
        _measured = processor_seconds()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Put the processor time since the last report with this one, which xdist carries to its parent."""
    global _measured
    report: Any = yield
    if item.config.getoption("--processor-seconds"):
        before, _measured = _measured, processor_seconds()
        # Each phase takes over what the one before it noted; here its own figure stands alone.
        report.user_properties = [*item.user_properties, (PROCESSOR_SECONDS, _measured - before)]
    return report


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish() -> None:
    """Save what a worker's coverage has seen: after a long run it is killed while it does so by itself."""
    if "PYTEST_XDIST_WORKER" not in os.environ or "coverage" not in sys.modules:
        return
    measuring = sys.modules["coverage"].Coverage.current()
    if measuring is not None:
        measuring.stop()
        measuring.save()


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    if not config.getoption("--processor-seconds"):
        return
    seconds: dict[str, float] = defaultdict(float)
    tests: dict[str, set[str]] = defaultdict(set)
    for reports in terminalreporter.stats.values():
        for report in reports:
            spent = dict(getattr(report, "user_properties", ())).get(PROCESSOR_SECONDS)
            if spent is not None:
                folders = Path(report.nodeid.partition("::")[0]).parts[:-1]
                folder = "/".join(folders[:3] if folders[1:2] == ("unit",) else folders[:2])
                seconds[folder] += spent
                tests[folder].add(report.nodeid)
    terminalreporter.section("processor seconds by folder")
    for folder in sorted(seconds, key=lambda name: -seconds[name]):
        terminalreporter.write_line(f"{seconds[folder]:8.1f}  {len(tests[folder]):5d} tests  {folder}")
    total, count = sum(seconds.values()), sum(len(some) for some in tests.values())
    terminalreporter.write_line(f"{total:8.1f}  {count:5d} tests  all")
