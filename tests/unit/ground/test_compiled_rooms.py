"""Every room with compiled functions has its source counted in the name of the cache folder."""

from __future__ import annotations

from pathlib import Path

import mulchwright.compiled as compiled


def test_rooms_that_compile_are_counted() -> None:
    package = Path(compiled.__file__).parent
    rooms = {
        path.relative_to(package).parts[0]
        for path in package.rglob("*.py")
        if "mulchwright.compiled import" in path.read_text(encoding="utf-8")
    }
    assert rooms == set(compiled.ROOMS)
