"""The chart library for the browser, made once on this machine and kept in the user's cache folder.

The charts' script is taken out of an installed package, so nothing of it is committed or fetched. Making it
takes a second and some 250 MB, which the server should never carry: a process of its own writes the file
and ends. Until it is there, and wherever it cannot be made, pages show the tables behind the charts.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import tempfile
import threading
from importlib import metadata
from pathlib import Path

from platformdirs import user_cache_path

VEGA_LITE_VERSION = "6.4"
_LOG = logging.getLogger("mulchwright.web")
_PATIENCE_S = 120.0
_MAKE = """
import os, sys, vl_convert
target, version = sys.argv[1:]
text = vl_convert.javascript_bundle(vl_version=version)
part = f"{target}.{os.getpid()}.part"
with open(part, "w", encoding="utf-8") as file:
    file.write(text)
os.replace(part, target)  # whole or not at all, also when two servers start at once
"""


class ChartBundle:
    """Makes the bundle in the background; `path()` is None until it is whole."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._made: Path | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()
        self.failed = False

    def start(self) -> None:
        """Find the bundle or begin making it; returns at once, and does nothing the second time."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._make, name="chart-bundle", daemon=True)
                self._thread.start()

    def path(self) -> Path | None:
        """Where the finished bundle lies, or None."""
        return self._made

    def wait(self, timeout_s: float) -> bool:
        """Wait for the making to end (tests do); True when the bundle is there."""
        if self._thread is not None:
            self._thread.join(timeout_s)
        return self._made is not None

    def _make(self) -> None:
        try:
            target = self._target()
            if not target.exists():
                subprocess.run(
                    [sys.executable, "-c", _MAKE, str(target), VEGA_LITE_VERSION],
                    check=True,
                    capture_output=True,
                    timeout=_PATIENCE_S,
                )
            self._made = target
        except (OSError, subprocess.SubprocessError, metadata.PackageNotFoundError) as error:
            self.failed = True
            _LOG.warning("The charts' script could not be made (%s); pages show tables instead.", error)

    def _target(self) -> Path:
        name = f"charts-{VEGA_LITE_VERSION}-{metadata.version('vl-convert-python')}.js"
        folder = self._folder or user_cache_path("mulchwright", appauthor=False)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError:
            # A home that cannot be written to: make it for this run only.
            folder = Path(tempfile.mkdtemp(prefix="mulchwright-"))
        return folder / name
