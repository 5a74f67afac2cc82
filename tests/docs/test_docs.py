"""The words beside the code stay true: commands, samples, fields, names, and what must not be there."""

from __future__ import annotations

import ast
import importlib
import json
import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from mulchwright.cli.app import app, main

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "mulchwright"
PAGES = (
    "README.md",
    "CONTRIBUTING.md",
    "CHANGELOG.md",
    "docs/architecture.md",
    "docs/glossary.md",
    "docs/decisions.md",
    "docs/forecasts.md",
    "docs/guide.md",
    "docs/outlook.md",
    "docs/stores.md",
    "docs/garden-file.md",
    "docs/looks.md",
    "bench/README.md",
)


def commands() -> Iterator[tuple[str, Any]]:
    """Each command by its words, `weather check` as two, with the parser's own record of it."""
    root = typer.main.get_command(app)
    for name, command in root.commands.items():  # type: ignore[attr-defined]
        if hasattr(command, "commands"):
            for inner, inner_command in command.commands.items():
                yield f"{name} {inner}", inner_command
        else:
            yield name, command


def committed_files() -> list[Path]:
    """Every file under version control; all files of the tree where it came without its history."""
    asked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if asked.returncode == 0:
        return [ROOT / name for name in asked.stdout.decode().split("\0") if name]
    skipped = {".venv-app", ".venv-dev", "__pycache__", ".git"}
    return [path for path in ROOT.rglob("*") if path.is_file() and not skipped & set(path.parts)]


# ---- commands -----------------------------------------------------------------------------------


def test_the_commands_are_the_ones_agreed() -> None:
    assert {words for words, _ in commands()} >= {
        "demo", "open", "outlook", "weather check", "weather import", "trade", "export", "import",
    }  # fmt: skip


@pytest.mark.parametrize("words", [words for words, _ in commands()])
def test_each_command_has_help_and_stands_in_the_readme(
    words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*words.split(), "--help"]) == 0
    printed = capsys.readouterr().out
    assert len(printed.split("\n\n")[1].split()) >= 5, "a sentence says what it is for"
    assert f"`mulchwright {words} " in (ROOT / "README.md").read_text(encoding="utf-8")


def test_each_option_has_a_help_text() -> None:
    silent = [
        f"{words}: {parameter.name}"
        for words, command in commands()
        for parameter in command.params
        if not getattr(parameter, "help", None)
    ]
    assert not silent


def test_each_option_of_the_outlook_is_on_its_page() -> None:
    page = (ROOT / "docs/outlook.md").read_text(encoding="utf-8")
    options = dict(commands())["outlook"].params
    for parameter in options:
        for spelling in parameter.opts:
            if spelling.startswith("--") and spelling != "--help":
                assert f"`{spelling}" in page, spelling


def test_what_prints_results_can_print_json() -> None:
    for words, command in commands():
        if words not in {"open", "new"}:
            assert any("--json" in parameter.opts for parameter in command.params), words


def test_the_exit_codes_in_the_readme_are_the_programs() -> None:
    from mulchwright.cli import app as cli

    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    for code, words in (
        (cli.DONE, "done"), (cli.REFUSED, "refused"), (cli.WRONG_WORDS, "command not understood"),
        (cli.SUSPICIOUS, "done, but a weather file looks suspicious"), (cli.FAULT, "a bug in the program"),
        (cli.STOPPED, "stopped with Ctrl-C"),
    ):  # fmt: skip
        assert f"{code} {words}" in readme


# ---- samples ------------------------------------------------------------------------------------


def samples(page: str) -> list[str]:
    """The `mulchwright ...` lines of a page's console blocks."""
    text = (ROOT / page).read_text(encoding="utf-8")
    blocks = re.findall(r"```console\n(.*?)```", text, re.S)
    return [line for block in blocks for line in block.splitlines() if line.startswith("mulchwright ")]


def test_the_readmes_samples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    lines = samples("README.md")
    assert len(lines) >= 5
    for line in lines:
        words = shlex.split(line)[1:]
        code = main(words)
        printed = capsys.readouterr()
        assert code == 0, f"{line}\n{printed.err}"
        if "--json" in words:
            json.loads(printed.out)


def test_the_outlook_pages_sample_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["demo", "garden.book", "--no-open"]) == 0
    (line,) = samples("docs/outlook.md")
    command, target = line.split(" > ")
    capsys.readouterr()
    assert main(shlex.split(command)[1:]) == 0
    assert json.loads(capsys.readouterr().out)["seed"] == 7
    assert target == "outlook.json"


def test_the_development_commands_in_the_pages_exist() -> None:
    script = (ROOT / "dev").read_text(encoding="utf-8")
    for page in PAGES:
        path = ROOT / page
        if path.exists():
            for verb in re.findall(r"\./dev (\w+)", path.read_text(encoding="utf-8")):
                assert f'verb == "{verb}"' in script, f"{page}: ./dev {verb}"


# ---- pages --------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    path = ROOT / page
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (path.parent / target).exists(), f"{page} points to {target}"


def test_the_pages_name_every_room() -> None:
    rooms = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    page = (ROOT / "docs/architecture.md").read_text(encoding="utf-8")
    assert not {room for room in rooms if room not in page}


def test_names_in_the_glossary_are_in_the_code() -> None:
    code = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    lost = []
    for line in (ROOT / "docs/glossary.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.split("|")[1:-1]]
        if len(cells) == 4 and cells[3] not in {"name in code", "–"} and not cells[3].startswith("---"):
            for name in re.findall(r"`([^`]+)`", cells[3]):
                for part in name.split("."):
                    if part.strip("_/") not in code:
                        lost.append(f"{cells[0]}: {name}")
    assert not lost


# ---- the outlook's contract ---------------------------------------------------------------------


def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(
        (PACKAGE / "almanac" / "outlook.schema.json").read_text(encoding="utf-8")
    )
    return loaded


def field_paths(node: dict[str, Any], whole: dict[str, Any], prefix: str = "") -> Iterator[str]:
    """Every field of a schema as `patches[].run_share[].p10`."""
    if "$ref" in node:
        node = whole["$defs"][node["$ref"].rsplit("/", 1)[-1]]
    if "items" in node:
        yield from field_paths(node["items"], whole, f"{prefix}[]")
    for name, inner in node.get("properties", {}).items():
        path = f"{prefix}.{name}" if prefix else name
        yield path
        yield from field_paths(inner, whole, path)


def documented_paths() -> set[str]:
    page = (ROOT / "docs/outlook.md").read_text(encoding="utf-8")
    found = set()
    whole, patch = page.split("## Fields", 1)[1].split("Of each patch:")
    for text, prefix in ((whole, ""), (patch, "patches[].")):
        for line in text.splitlines():
            cells = line.split("|")
            if len(cells) > 2:
                found |= {prefix + name for cell in cells[1:2] for name in re.findall(r"`([^`]+)`", cell)}
        if not prefix:  # remarks may name fields of a list in the second column
            found |= set(re.findall(r"`(skipped\[\]\.\w+)`", text))
    return found


def test_the_page_and_the_schema_name_the_same_fields() -> None:
    assert documented_paths() == set(field_paths(schema(), schema()))


def test_every_field_of_the_schema_says_what_it_is() -> None:
    def silent(node: dict[str, Any], path: str) -> Iterator[str]:
        for name, inner in node.get("properties", {}).items():
            if "description" not in inner:
                yield f"{path}.{name}"
            yield from silent(inner, f"{path}.{name}")
        if "items" in node:
            yield from silent(node["items"], f"{path}[]")

    whole = schema()
    assert not [*silent(whole, ""), *(s for name, one in whole["$defs"].items() for s in silent(one, name))]


# ---- names, tests and what must not be there ----------------------------------------------------


SHELLS = (["web"], ["cli"], ["services"])


def modules() -> list[str]:
    names = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        if parts[-1] != "__main__":
            names.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return names


@pytest.mark.parametrize("name", modules())
def test_public_names_exist(name: str) -> None:
    module = importlib.import_module(name)
    if name.split(".")[1:2] in SHELLS and not hasattr(module, "__all__"):
        return  # imported by name from within; a list would only repeat the definitions
    assert hasattr(module, "__all__"), f"{name} has no __all__"
    assert len(set(module.__all__)) == len(module.__all__)
    for public in module.__all__:
        assert hasattr(module, public), f"{name}.__all__ names {public}"


def test_every_test_file_is_collected(request: pytest.FixtureRequest) -> None:
    """A file that holds tests has a name that pytest takes; in a whole run, each did give tests."""
    with_tests = set()
    for path in (ROOT / "tests").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if any(isinstance(n, ast.FunctionDef) and n.name.startswith("test_") for n in ast.walk(tree)):
            with_tests.add(path)
    assert not [str(path) for path in with_tests if not path.name.startswith("test_")]
    arguments = request.config.invocation_params.args
    if not [word for word in arguments if not word.startswith("-")] and not request.config.option.keyword:
        collected = {Path(item.path) for item in request.session.items}
        assert not with_tests - collected


FORBIDDEN = ("py" + "pi.org", "python" + "hosted", "npm" + "js.", "crates" + ".io", "golang" + ".org",
             "--" + "index-url", "/wo" + "rk/", "/tm" + "p/", "/ro" + "ot/", "/ho" + "me/")  # fmt: skip
"""Registries and places of one machine, put together here so that this file does not hold them."""


def test_nothing_committed_holds_a_registry_or_a_machines_path() -> None:
    found = []
    for path in committed_files():
        if not path.exists():
            continue
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [f"{path.relative_to(ROOT)}: {word}" for word in FORBIDDEN if word in text]
    assert not found, "\n".join(found)
