"""The compiled engine is kept where it belongs, and never outlives its source."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import mulchwright.season.physics as physics

PROGRAM = """
import sys, time
sys.path.insert(0, sys.argv[1])
import numpy as np
from mulchwright.season import physics
total = np.zeros(3)
physics.add_scaled(np.ones(3), 2.0, total)
print(total[0], sum(physics.add_scaled.by_itself.stats.cache_hits.values()))
"""


def ask(source: Path, cache: Path) -> tuple[float, int]:
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(source)],
        capture_output=True,
        text=True,
        env=environment,
        check=True,
    )
    value, hits = done.stdout.split()
    return float(value), int(hits)


def test_second_start_needs_no_compiling_and_changed_source_is_compiled_anew(tmp_path: Path) -> None:
    """A copy of the package; an equation is changed in it between two starts."""
    package = Path(physics.__file__).parents[1]
    room = tmp_path / "mulchwright" / "season"
    room.mkdir(parents=True)
    (tmp_path / "mulchwright" / "__init__.py").write_text("")
    (room / "__init__.py").write_text("")
    shutil.copy(package / "compiled.py", tmp_path / "mulchwright")
    source = (package / "season" / "physics.py").read_text(encoding="utf-8")
    (room / "physics.py").write_text(source, encoding="utf-8")
    cache = tmp_path / "cache"
    assert ask(tmp_path, cache) == (2.0, 0)
    assert ask(tmp_path, cache) == (2.0, 1)
    changed = source.replace("total[m] += scale * row[m]", "total[m] += scale * row[m] + 1.0")
    assert changed != source
    (room / "physics.py").write_text(changed, encoding="utf-8")
    assert ask(tmp_path, cache) == (3.0, 0)
