"""Getting the engine ready tells how far it has come, and once done is known to be."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

COMMAND = """
import sys
import mulchwright.cli.output as cli
from mulchwright import almanac

def compile_nothing(progress):  # the compiling itself is held by test_compiled_once
    progress(0.5)

almanac.prepare_engine = compile_nothing
cli.ready_engine()
if sys.argv[1:] == ["then"]:
    from mulchwright.compiled import note_all_cached
    note_all_cached()
    cli.ready_engine()
print("{}")
"""


def ran(cache: Path, *words: str) -> tuple[str, str]:
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, *words],
        capture_output=True, text=True, check=True, env={**os.environ, "NUMBA_CACHE_DIR": str(cache)},
    )  # fmt: skip
    return done.stdout, done.stderr


def test_without_a_terminal_one_line_says_that_the_engine_is_being_readied(tmp_path: Path) -> None:
    """On standard error; standard output stays as it is for whoever reads JSON from it."""
    out, err = ran(tmp_path)
    assert out == "{}\n"
    assert err == "Preparing the engine (once on this machine, about 25 seconds)\n"


def test_an_engine_that_was_readied_is_not_spoken_of(tmp_path: Path) -> None:
    _, err = ran(tmp_path, "then")
    assert err.count("Preparing") == 1
    assert ran(tmp_path) == ("{}\n", "")


COUNTED = """
from mulchwright.compiled import compiling_progress, part_of_kernels
from mulchwright.season import physics
import numpy as np
shares = []
with compiling_progress(shares.append, "season"):
    physics.add_scaled(np.ones(3), 2.0, np.zeros(3))
    physics.covered_share(np.ones(3), np.zeros(3))
assert len(shares) == 3, shares  # with the decline that covered_share is made of
assert all(0.0 < one <= 1.0 for one in shares) and shares == sorted(shares), shares

def stop(share):
    raise KeyboardInterrupt

try:
    with compiling_progress(stop, "season"):
        physics.fill(1.0, np.zeros(3))
except KeyboardInterrupt:
    print("stopped")
"""


def test_progress_grows_with_each_function_and_may_stop_it(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", COUNTED],
        capture_output=True, text=True, check=False, env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout == "stopped\n"
