"""The wheel holds everything that the program reads at run time."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "mulchwright"
DATA = {".toml", ".csv", ".json", ".html", ".css", ".js", ".mjs", ".svg", ".txt", ".md", ".gz"}


def test_the_wheel_is_whole(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(tmp_path), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as opened:
        inside = set(opened.namelist())
        entry = next(name for name in inside if name.endswith("entry_points.txt"))
        assert "mulchwright = mulchwright.cli:main" in opened.read(entry).decode()
    wanted = {
        path.relative_to(PACKAGE.parent).as_posix()
        for path in PACKAGE.rglob("*")
        if path.is_file() and path.suffix in {".py", *DATA} and "__pycache__" not in path.parts
    }
    assert any(name.endswith("demo.toml") for name in wanted)
    assert not wanted - inside
    assert any(name.endswith("LICENSE") for name in inside)
    assert not [name for name in inside if "__pycache__" in name or name.startswith("tests/")]
