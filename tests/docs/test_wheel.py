"""The wheel holds everything that the program reads at run time, and starts where nothing else of it is."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "mulchwright"


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
    """Laid into a folder of its own, which stands before the checkout: version, demo, an outlook."""
    site = tmp_path / "site"
    done(
        sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-index",
        "--no-deps", "--target", str(site), str(wheel),
    )  # fmt: skip
    # Caches of its own: compiled code is filed by where its source lies, and this place is gone tomorrow.
    caches = str(tmp_path / "cache")
    environment = {
        **os.environ, "PYTHONPATH": str(site), "XDG_CACHE_HOME": caches, "NUMBA_CACHE_DIR": caches,
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
    data = json.loads(python("-m", "mulchwright", "outlook", "demo.garden", "--members", "20", "--json"))
    assert data["members"] == 20
    assert data["patches"]
