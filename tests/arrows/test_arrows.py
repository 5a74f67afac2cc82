"""The arrows between the rooms: they run downwards only, and the core knows no shell.

The rule stands in docs/architecture.md. Imports are read from the syntax tree, so one inside a
function counts as well as one at the head of a module.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from mulchwright import units

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "mulchwright"

LEVELS = (
    {"__main__"},
    {"cli", "web", "api"},
    {"services"},
    {"sheets", "almanac", "book", "places"},
    {"ground", "season", "gather", "keep"},
    {"weather"},
    {"garden"},
    {"trade", "units", "compiled"},
)
LEVEL_OF = {room: level for level, rooms in enumerate(LEVELS) for room in rooms}
"""`garden` stands under `weather`, which computes for a `Place` and from a grower's `ClimateNormals`."""
FOR_ALL = {"errors", "version", ""}
"""`errors` and the package itself (its version) may be imported from everywhere."""
WEB_LEVELS = (
    ("start", "now", "ground", "beds", "picks", "stores", "year", "weather", "phones"),
    ("shared",),
    ("views", "forms"),
)
"""The folders of `web` below its app, from the pages down; pages of one family may use another's."""

CORE_ROOMS = {"ground", "season", "gather", "keep", "garden", "compiled"}
WEATHER_SHELLS = {"__init__", "ghcn", "table", "record", "feed"}
"""Modules of `weather` that read files; every other one holds formulas and is core."""
WEATHER_ANSWERS = "public"
"""The folder of `weather` that reads what services answer; it knows their addresses and opens none."""
FORBIDDEN_IN_CORE = {
    "sqlite3", "starlette", "uvicorn", "jinja2", "typer", "rich", "socket", "http", "urllib", "requests",
    "httpx", "logging", "random", "time", "subprocess", "platformdirs", "csv", "json", "tomllib", "io",
}  # fmt: skip
ALLOWED = {"compiled.py": ("imports platformdirs", "touches a file with read_bytes()")}
"""Where the compiled engine is kept depends on its own source; no figure does. See docs/decisions.md."""
CLOCK_CALLS = {"now", "today", "utcnow", "fromtimestamp"}
GENERATOR_NAMES = {"Generator", "default_rng", "SeedSequence", "PCG64", "Philox", "BitGenerator", "SFC64"}


@dataclass(frozen=True)
class Import:
    """One import of another room: who imports whom, and where."""

    importer: str
    imported: str
    place: str


@cache
def modules() -> tuple[Path, ...]:
    return tuple(sorted(PACKAGE.rglob("*.py")))


@cache
def tree_of(path: Path) -> ast.Module:
    """A module's syntax tree, parsed once for all tests of this file, which only read it."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of a module's tree, walked once."""
    return tuple(ast.walk(tree_of(path)))


def room_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return "" if parts == ("__init__",) else parts[0]


@cache
def imported_names(path: Path) -> tuple[tuple[str, int], ...]:
    """Every imported module by its full dotted name, relative imports resolved, and its line."""
    return tuple(_imported_names(path))


def _imported_names(path: Path) -> Iterator[tuple[str, int]]:
    package = ("mulchwright", *path.relative_to(PACKAGE).parent.parts)
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            head = ".".join([*base, *((node.module or "").split(".") if node.module else ())])
            if head == "mulchwright":  # from mulchwright import trade
                for alias in node.names:
                    yield f"mulchwright.{alias.name}", node.lineno
            else:
                yield head, node.lineno


@cache
def imports_between_rooms() -> tuple[Import, ...]:
    found = []
    for path in modules():
        for name, line in imported_names(path):
            parts = name.split(".")
            if parts[0] != "mulchwright":
                continue
            imported = parts[1] if len(parts) > 1 else ""
            if imported == "__version__":
                imported = ""
            place = f"{path.relative_to(PACKAGE.parent)}:{line}"
            found.append(Import(room_of(path), imported, place))
    return tuple(found)


def is_core(path: Path) -> bool:
    room = room_of(path)
    reads = path.stem in WEATHER_SHELLS or path.parent.name == WEATHER_ANSWERS
    return room in CORE_ROOMS or (room == "weather" and not reads)


def test_every_room_has_its_level() -> None:
    known = set(LEVEL_OF) | FOR_ALL
    strangers = {room_of(path) for path in modules()} - known
    assert not strangers, f"no level is declared for {sorted(strangers)}; see docs/architecture.md"


def test_imports_are_found() -> None:
    """The walk itself works: it sees the nouns importing the errors."""
    assert any(one.importer == "garden" and one.imported == "errors" for one in imports_between_rooms())


def test_arrows_run_downwards_only() -> None:
    wrong = [
        f"{one.place}: {one.importer} imports {one.imported}"
        for one in imports_between_rooms()
        if one.imported not in FOR_ALL
        and one.importer != one.imported
        and (one.importer, one.imported) != ("", "api")  # what it hands to other programs, when asked
        and (one.importer, one.imported) != ("cli", "web")  # to start it; see the test below
        and not (one.importer in LEVEL_OF and LEVEL_OF[one.importer] < LEVEL_OF.get(one.imported, -1))
    ]
    assert not wrong, "\n".join(wrong)


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported_modules(path: Path, known: set[str]) -> set[str]:
    """Our own modules that a module imports; also those that only its types need."""
    found = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module:
            deeper = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (deeper & known) or {node.module}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found & known


def circle_in(graph: dict[str, set[str]]) -> list[str]:
    """Modules in a ring of imports, and those that import a ring; empty where there is none."""
    left = dict(graph)
    while free := [name for name, wanted in left.items() if not wanted & set(left)]:
        for name in free:
            del left[name]
    return sorted(left)


def test_a_ring_of_imports_is_found() -> None:
    assert circle_in({"a": {"b"}, "b": {"c"}, "c": {"b"}, "d": set()}) == ["a", "b", "c"]
    assert circle_in({"a": {"b"}, "b": {"c"}, "c": set()}) == []


BENCH = PACKAGE.parents[1] / "bench"


def graph_of(paths: dict[str, Path]) -> dict[str, set[str]]:
    return {name: imported_modules(path, set(paths)) - {name} for name, path in paths.items()}


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Not even for its types: what two modules both need stands below both."""
    # The package itself loads `api` for other programs only when it is asked; ours take its version alone.
    graph = graph_of({module_name(path): path for path in modules() if room_of(path)})
    assert sum(map(len, graph.values())) > 500
    assert not circle_in(graph)
    bench = graph_of({path.stem: path for path in BENCH.glob("*.py")})
    assert not circle_in(bench)


def test_the_command_line_imports_no_page() -> None:
    """It starts the web app by its public face; what both need stands in `services`."""
    known = {module_name(path) for path in modules()}
    for path in modules():
        if room_of(path) in {"cli", "__main__"}:
            reached = {name for name in imported_modules(path, known) if name.startswith("mulchwright.web")}
            assert reached <= {"mulchwright.web"}, path


def test_folders_of_the_web_app_stand_on_each_other() -> None:
    """Pages on what handlers share, that on views and forms; none of them knows the app."""
    level = {f"mulchwright.web.{name}": n for n, names in enumerate(WEB_LEVELS) for name in names}
    known = {module_name(path): path for path in modules() if room_of(path) == "web"}

    def level_of(module: str) -> int | None:
        return level.get(".".join(module.split(".")[:3]))

    for name, path in known.items():
        own = level_of(name)
        for other in imported_modules(path, set(known)) if own is not None else ():
            theirs = level_of(other)
            assert theirs is not None, f"{name} imports {other}"
            assert theirs >= own, f"{name} imports {other}"


def test_the_nouns_and_the_units_import_no_science() -> None:
    """`errors` and `units` stand alone; `trade` knows nothing but errors."""
    for one in imports_between_rooms():
        if one.importer in {"errors", "units"}:
            assert one.imported in {*FOR_ALL, one.importer}, one.place
        if one.importer == "book":
            assert one.imported not in {"season", "ground", "gather", "keep", "almanac"}, one.place


@pytest.mark.parametrize(
    "path", [path for path in modules() if is_core(path)], ids=lambda path: str(path.stem)
)
def test_core_knows_no_shell(path: Path) -> None:
    wrong = [
        f"line {line}: imports {name}"
        for name, line in imported_names(path)
        if name.split(".")[0] in FORBIDDEN_IN_CORE
    ]
    for node in nodes_of(path):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in {"open", "print", "input"}:
                wrong.append(f"line {node.lineno}: calls {called.id}()")
            if isinstance(called, ast.Attribute) and called.attr in CLOCK_CALLS:
                wrong.append(f"line {node.lineno}: asks the clock with {called.attr}()")
            if isinstance(called, ast.Attribute) and called.attr in {"read_text", "read_bytes", "write_text"}:
                wrong.append(f"line {node.lineno}: touches a file with {called.attr}()")
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Attribute)
            and node.value.attr == "random"
            and isinstance(node.value.value, ast.Name)
            and node.value.value.id in {"np", "numpy"}
            and node.attr not in GENERATOR_NAMES
        ):
            wrong.append(f"line {node.lineno}: uses the global random state (np.random.{node.attr})")
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr == "default_rng"
            and not (node.args or node.keywords)
        ):
            wrong.append(f"line {node.lineno}: makes an unseeded generator")
    allowed = ALLOWED.get(path.relative_to(PACKAGE).as_posix(), ())
    wrong = [words for words in wrong if not words.endswith(tuple(allowed))]
    assert not wrong, f"{path.name}:\n" + "\n".join(wrong)


LONGEST_MODULE, MOST_PARAMETERS = 500, 12
LONGER_MODULES = {"keep/identity.py", "weather/futures.py"}
"""Modules of one topic that may be longer; docs/decisions.md says of each why."""
MAKES_KERNELS = {"compiled", "compiled_without_memory", "part_of_kernels"}
"""Decorators of what numba compiles, which takes its arrays one by one."""


def parameters_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """How many parameters a function takes; none count where it is a kernel."""
    made_by = [each.func if isinstance(each, ast.Call) else each for each in function.decorator_list]
    if any(isinstance(each, ast.Name) and each.id in MAKES_KERNELS for each in made_by):
        return 0
    taken = function.args
    named = [*taken.posonlyargs, *taken.args, *taken.kwonlyargs]
    return len(named) + (taken.vararg is not None) + (taken.kwarg is not None)


def functions_with_many_parameters(nodes: Iterable[ast.AST]) -> list[str]:
    return [
        f"line {node.lineno}: {node.name} takes {taken}"
        for node in nodes
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (taken := parameters_of(node)) > MOST_PARAMETERS
    ]


def test_modules_have_one_topic_and_functions_few_parameters() -> None:
    """A long module is named in docs/decisions.md with its reason; of functions, only kernels take more."""
    long = {
        path.relative_to(PACKAGE).as_posix(): lines
        for path in modules()
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_MODULE
    }
    assert set(long) == LONGER_MODULES, long
    decisions = (PACKAGE.parents[1] / "docs" / "decisions.md").read_text(encoding="utf-8")
    assert not [name for name in LONGER_MODULES if f"`{name}`" not in decisions]
    wide = {
        str(path): found
        for path in (*modules(), *BENCH.glob("*.py"))
        if (found := functions_with_many_parameters(nodes_of(path)))
    }
    assert not wide, wide


def test_a_function_of_many_parameters_is_found() -> None:
    source = f"def much({', '.join(f'a{n}' for n in range(11))}, *, b, **c): ..."
    assert functions_with_many_parameters(ast.walk(ast.parse(source))) == ["line 1: much takes 13"]
    assert not functions_with_many_parameters(ast.walk(ast.parse(f"@compiled(parallel=True)\n{source}")))
    assert functions_with_many_parameters(ast.walk(ast.parse(f"@cache\n{source}")))


FACTORS = re.compile(
    r"(?<![\w.])(0\.0254|0\.3048|0\.9144|2\.54|25\.4|0\.254|0\.45359\d*|3\.785\d*|0\.44704)(?!\d)"
)
"""What a yard, a pound, a gallon or a mile per hour is: figures that hardly stand for anything else."""
SHARED_FACTORS = "web/static/shared/units.mjs"


def test_factors_of_units_stand_in_one_place() -> None:
    """In `units`; scripts have theirs from one module, which is held to it."""
    files = [*modules(), *PACKAGE.rglob("*.mjs"), *PACKAGE.rglob("*.html")]
    found = {
        path.relative_to(PACKAGE).as_posix()
        for path in files
        if room_of(path) != "units" and FACTORS.search(path.read_text(encoding="utf-8"))
    }
    assert found == {SHARED_FACTORS}
    stated = dict(re.findall(r"export const (\w+) = (.+);", (PACKAGE / SHARED_FACTORS).read_text("utf-8")))
    assert stated == {"INCH_M": str(float(units.INCH_M)), "FOOT_M": "12 * INCH_M"}
    assert units.FOOT_M == 12 * units.INCH_M


NETWORK = {"socket", "ssl", "urllib.request", "http.client", "http.server", "ftplib", "smtplib", "asyncio"}
MAY_CONNECT = {"services/fetch.py"}
"""The one module that opens a connection to the outside; see docs/decisions.md."""
MAY_LISTEN = {
    "services/running.py", "web/server.py", "web/shared/connections.py", "web/shared/home_network.py",
}  # fmt: skip
"""Modules that bind, name or ask the address of the program itself and connect to nobody else."""


def test_one_module_alone_reaches_the_outside() -> None:
    reaching = {
        path.relative_to(PACKAGE).as_posix(): name
        for path in modules()
        for name, _ in imported_names(path)
        if name in NETWORK
    }
    assert set(reaching) - MAY_LISTEN == MAY_CONNECT, reaching


DISTRIBUTION_OF = {
    "vl_convert": "vl-convert-python",
    "multipart": "python-multipart",
    "PIL": "pillow",
    "pydantic_core": "pydantic",  # pydantic pins it and tells its users to raise its errors
    "h11": "uvicorn",  # uvicorn always brings it; the protocol that ours extends is made of its states
}
"""Where a part is imported under another name than it is installed by."""


def test_the_program_imports_only_what_it_declares() -> None:
    """A part that only the development set-up brings would be missing on a user's machine."""
    project = tomllib.loads((PACKAGE.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=!~\[; ]", words)[0] for words in project["dependencies"]}
    undeclared = {
        f"{path.relative_to(PACKAGE)}:{line}: {top}"
        for path in modules()
        for name, line in imported_names(path)
        if (top := name.split(".")[0]) not in {*sys.stdlib_module_names, "mulchwright"}
        and DISTRIBUTION_OF.get(top, top) not in declared
    }
    assert not undeclared, "\n".join(sorted(undeclared))
