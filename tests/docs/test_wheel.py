"""The wheel holds everything that the program reads at run time, and starts where nothing else of it is."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from datetime import date, timedelta
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "mulchwright"

SMALL = """
[place]
name = "Hollow"
latitude = 44.0
longitude = -72.5
elevation = "230 m"
timezone = "America/New_York"

[climate]
source = "twelve figures made up for the tests"
lowest = [-12, -11, -5, 1, 7, 12, 15, 14, 10, 4, -1, -8]
highest = [-2, 0, 5, 13, 20, 25, 27, 26, 21, 14, 7, 0]
rain = [55, 48, 60, 75, 88, 98, 105, 98, 92, 92, 80, 65]

[[patch]]
name = "Bed"
species = "king-stropharia"
area = "32 sq ft"
built_on = {laid}

[[patch.layer]]
material = "hardwood-chips"
thickness = "4 in"

[[patch.spawn]]
spawn = "sawdust-spawn"
on_top_of = 0
rate = "2.75 oz/ft2"
"""


def done(*words: str, **options: object) -> str:
    """What a command printed; the test fails with its words if it did not end well."""
    result = subprocess.run(words, capture_output=True, text=True, check=False, timeout=900, **options)  # type: ignore[call-overload]
    assert result.returncode == 0, result.stdout + result.stderr
    return str(result.stdout)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout with what is installed here: no network is asked."""
    folder = tmp_path_factory.mktemp("wheel")
    done(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT))
    (built,) = folder.glob("*.whl")
    return built


def test_the_wheel_is_whole(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as opened:
        inside = set(opened.namelist())
        entry = next(name for name in inside if name.endswith("entry_points.txt"))
        assert "mulchwright = mulchwright.cli.app:main" in opened.read(entry).decode()
        facts = next(name for name in inside if name.endswith("METADATA"))
        assert "Classifier: Typing :: Typed" in opened.read(facts).decode()
    wanted = {
        path.relative_to(PACKAGE.parent).as_posix()
        for path in PACKAGE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    for part in (
        "/py.typed",
        "/demo.toml",
        ".html",
        ".css",
        ".mjs",
        ".typ",
        "/constants.toml",
        ".schema.json",
    ):
        assert any(name.endswith(part) for name in wanted), part
    assert not wanted - inside
    assert any(name.endswith("LICENSE") for name in inside)
    assert not [name for name in inside if "__pycache__" in name or name.startswith("tests/")]


def test_the_wheel_starts_where_it_is_installed(wheel: Path, tmp_path: Path) -> None:
    """Laid into a folder of its own, which stands before the checkout: version, demo, garden file, outlook.

    The engine runs as plain Python, as numba allows: compiled code is filed by where its source lies, so that
    this copy would compile all of it once more for a bed that is a week old.
    """
    site = tmp_path / "site"
    done(
        sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-index",
        "--no-deps", "--target", str(site), str(wheel),
    )  # fmt: skip
    caches = str(tmp_path / "cache")
    environment = {
        **os.environ, "PYTHONPATH": str(site), "XDG_CACHE_HOME": caches, "NUMBA_CACHE_DIR": caches,
        "NUMBA_DISABLE_JIT": "1",
    }  # fmt: skip

    def python(*words: str) -> str:
        return done(sys.executable, *words, cwd=tmp_path, env=environment)

    where = python("-c", "import mulchwright.cli; print(mulchwright.cli.__file__)")
    assert Path(where.strip()).is_relative_to(site), "not the checkout's"
    assert (site / "mulchwright" / "py.typed").exists()
    words = (site / "bin" / "mulchwright", site / "Scripts" / "mulchwright.exe")
    assert any(script.exists() for script in words)
    version = python("-c", "import mulchwright; print(mulchwright.__version__)").strip()
    assert version in python("-m", "mulchwright", "--version")
    python("-m", "mulchwright", "demo", "demo.garden", "--no-open")
    python("-m", "mulchwright", "export", "demo.garden", "demo.json")
    assert json.loads(Path(tmp_path, "demo.json").read_text(encoding="utf-8"))
    laid = date.today() - timedelta(days=8)
    Path(tmp_path, "small.toml").write_text(SMALL.format(laid=laid.isoformat()), encoding="utf-8")
    python("-m", "mulchwright", "import", "small.toml", "small.garden")
    data = json.loads(
        python(
            "-m", "mulchwright", "outlook", "small.garden", "--members", "20", "--json",
            "--from", (laid + timedelta(days=3)).isoformat(), "--days", "5",
        )
    )  # fmt: skip
    assert data["members"] == 20
    assert [patch["name"] for patch in data["patches"]] == ["Bed"]
