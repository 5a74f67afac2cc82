"""The loader's refusals, each read as a person would read it, on broken copies of the tables."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import mulchwright
from mulchwright.errors import InputError, TableError
from mulchwright.trade import Basis, Ranged, load_trade
from mulchwright.trade.load import Trade
from mulchwright.trade.report import table_rows

FOLDER = Path(mulchwright.__file__).parent / "trade"

GOOD = (
    '{ low = 1.2, likely = 2.2, high = 3.5, unit = "mm/day", source = "common-practice", place = "growers", '
    'basis = "practice" }'
)


@pytest.fixture
def broken(tmp_path: Path) -> Callable[[str, str, str], Trade]:
    """A copy of the tables with one piece of one file exchanged."""

    def make(name: str, old: str, new: str) -> Trade:
        for path in FOLDER.glob("*.toml"):
            shutil.copy(path, tmp_path)
        file = tmp_path / name
        text = file.read_text(encoding="utf-8")
        assert old in text, f"{old!r} is not in {name}; the test would change nothing"
        file.write_text(text.replace(old, new, 1), encoding="utf-8")
        return Trade(tmp_path)

    return make


def line_of(name: str, start: str) -> str:
    """The first line of a table that begins so."""
    for line in (FOLDER / name).read_text(encoding="utf-8").splitlines():
        if line.startswith(start):
            return line
    raise AssertionError(f"{name} has no line {start!r}")


RUN = line_of("species.toml", "run_rate_mm_per_day")


def refusal_of_run_rate(broken: Callable[[str, str, str], Trade], figure: str) -> str:
    with pytest.raises(TableError) as caught:
        _ = broken("species.toml", RUN, f"run_rate_mm_per_day = {figure}").species
    return str(caught.value)


def test_a_good_figure_is_taken(broken: Callable[[str, str, str], Trade]) -> None:
    trade = broken("species.toml", RUN, f"run_rate_mm_per_day = {GOOD}")
    rate = trade.species["king-stropharia"].run_rate_mm_per_day
    assert rate == Ranged(1.2, 2.2, 3.5, "mm/day", "common-practice", "growers", Basis.PRACTICE)
    assert rate.words == "2.2 (1.2 to 3.5) mm/day"


GRADES = "read, memory, practice, derived, estimate"
OUT_OF_ORDER = "are out of order. They must rise; exchange the ones that are swapped."
NO_NUMBER = "is not a number. Give a plain number; leave out what is unknown."

BAD_FIGURES = {
    ('source = "common-practice", ', ""): "it has no source. Name the key of a row in sources.toml.",
    ('place = "growers", ', ""): (
        "it has no place. Say where in the source it stands: a table, a page, an equation, the abstract."
    ),
    ('basis = "practice"', 'basis = " "'): f"it has no basis. Give one of: {GRADES}.",
    ('basis = "practice"', 'basis = "gospel"'): f"grade 'gospel' is not known. Use one of: {GRADES}.",
    ('"common-practice"', '"NOBODY1999"'): (
        "source 'NOBODY1999' is not in sources.toml. Add it there, or mend the spelling."
    ),
    ("low = 1.2, ", ""): "it has no low. Every figure needs low, likely, high and unit.",
    ("high = 3.5", "high = 2.0"): f"low 1.2, likely 2.2 and high 2 {OUT_OF_ORDER}",
    ("low = 1.2", "low = 2.3"): f"low 2.3, likely 2.2 and high 3.5 {OUT_OF_ORDER}",
    ("low = 1.2", "low = 0.0"): "low is 0, but this quantity is above 0. Give a low above 0.",
    ("likely = 2.2", 'likely = "2.2"'): f"'2.2' {NO_NUMBER}",
    ("likely = 2.2", "likely = nan"): f"nan {NO_NUMBER}",
    ("likely = 2.2", "likely = true"): f"True {NO_NUMBER}",
    ('unit = "mm/day"', 'unit = "m"'): (
        "the unit is 'm', but this figure is kept in 'mm/day'. "
        "Convert it, and keep the figure as published under `printed`."
    ),
    ("low = 1.2", "lowest = 1, low = 1.2"): (
        "'lowest' is not part of a figure. "
        "It may have basis, high, likely, low, note, place, printed, source, unit."
    ),
    (
        '"common-practice"',
        '"own-estimate"',
    ): "our own judgement cannot be graded practice. Grade it estimate.",
    ('basis = "practice"', 'basis = "read"'): (
        "it is graded read, but sources.toml says of 'common-practice': no work. "
        "Grade it memory, practice or estimate, or record how much of the source was read."
    ),
    ('basis = "practice"', 'basis = "memory"'): (
        "common practice cannot be graded memory. Grade it practice."
    ),
    ('basis = "practice"', 'basis = "estimate"'): (
        "an estimate without its reasoning. Say in `note` what it rests on."
    ),
    ("high = 3.5", "high = 3.5, note = 7"): "note is 7, not text. Put it in quotes.",
}


@pytest.mark.parametrize("piece, message", BAD_FIGURES.items())
def test_a_bad_figure_is_refused(
    broken: Callable[[str, str, str], Trade], piece: tuple[str, str], message: str
) -> None:
    old, new = piece
    assert old in GOOD
    said = refusal_of_run_rate(broken, GOOD.replace(old, new))
    assert said == f"species.toml, row 'king-stropharia', run_rate_mm_per_day: {message}"


def test_a_unit_that_nobody_knows_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    said = refusal_of_run_rate(broken, GOOD.replace("mm/day", "furlong"))
    assert said.startswith(
        "species.toml, row 'king-stropharia', run_rate_mm_per_day: unit 'furlong' is not known. Use one of: "
    )
    assert "mm/day" in said


def test_a_bare_number_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    said = refusal_of_run_rate(broken, "2.2")
    assert "it is not a figure with a range. Write { low = 1, likely = 2, high = 3" in said


def test_a_share_above_one_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    line = line_of("species.toml", "run_share_to_fruit")
    figure = GOOD.replace("1.2", "65").replace("2.2", "80").replace("3.5", "92").replace("mm/day", "share")
    with pytest.raises(
        TableError, match=r"a share runs from 0 to 1, but this is 65 to 92\. Divide percentages by 100\."
    ):
        _ = broken("species.toml", line, f"run_share_to_fruit = {figure}").species


def test_a_missing_figure_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(TableError) as caught:
        _ = broken("species.toml", RUN + "\n", "").species
    assert str(caught.value) == (
        "species.toml, row 'king-stropharia', run_rate_mm_per_day: it is missing. "
        "Fill it in; for a figure, an estimate with its reasoning will do."
    )


def test_a_row_without_source_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    line = line_of("cautions.toml", "source = ")
    with pytest.raises(
        TableError, match=r"^cautions\.toml, row 'identify-every-one', source: it has no source\."
    ):
        _ = broken("cautions.toml", line + "\n", "").cautions


def test_a_doubled_key_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(TableError) as caught:
        _ = broken("species.toml", 'key = "phoenix-oyster"', 'key = "oyster"').species
    assert str(caught.value) == (
        "species.toml, row 'oyster', key: two rows have this key. Rename one of them, or take it out."
    )


def test_a_row_without_key_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(
        TableError, match=r"^spawn\.toml, row 2: it has no key\. Give it a short name of its own\.$"
    ):
        _ = broken("spawn.toml", 'key = "grain-spawn"\n', "").spawn


def test_an_unknown_field_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(
        TableError, match=r"row 'king-stropharia', colour: this table has no such field\. Its fields: "
    ):
        _ = broken(
            "species.toml", 'key = "king-stropharia"', 'key = "king-stropharia"\ncolour = "red"'
        ).species


def test_a_word_that_is_no_choice_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(
        TableError,
        match=r"row 'poplar', king_rating: 'fine' is not known\. Use one of: best, good, slow, avoid\.",
    ):
        _ = broken("woods.toml", 'king_rating = "good"', 'king_rating = "fine"').woods


def test_wrong_kinds_of_value_are_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(TableError, match=r"needs_casing: 'no' is not true or false\. Mend it\."):
        _ = broken("species.toml", "needs_casing = false", 'needs_casing = "no"').species
    with pytest.raises(TableError, match=r"beginner_score: True is not a whole number\. Mend it\."):
        _ = broken("species.toml", "beginner_score = 1", "beginner_score = true").species
    with pytest.raises(
        TableError, match=r"names: 'wine cap' is not a list of words\. Write it as \[\"one\", \"two\"\]\."
    ):
        _ = broken("species.toml", line_of("species.toml", "names ="), 'names = "wine cap"').species
    with pytest.raises(TableError, match=r"latin: 7 is not text\. Put it in quotes\."):
        _ = broken("species.toml", line_of("species.toml", "latin ="), "latin = 7").species


@pytest.mark.parametrize(
    "old, new, message",
    [
        ("unit = ", "unitt = ", "this table has no such field"),
        (
            line_of("constants.toml", "low = ") + "\n",
            "",
            "low: it is missing. Every constant needs meaning, value, low, high",
        ),
        (line_of("constants.toml", "low = "), "low = 9.0", "are out of order"),
        (line_of("constants.toml", "source = ") + "\n", "", "it has no source"),
    ],
)
def test_a_bad_constant_is_refused(
    broken: Callable[[str, str, str], Trade], old: str, new: str, message: str
) -> None:
    with pytest.raises(TableError) as caught:
        _ = broken("constants.toml", old, new).constants
    assert str(caught.value).startswith("constants.toml, row 'evaporation_coefficient_max', ")
    assert message in str(caught.value)


def test_a_file_that_is_no_toml_is_refused_with_its_line(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(
        TableError, match=r"^spawn\.toml cannot be read: .*line \d+.*Mend that line and start again\.$"
    ):
        _ = broken("spawn.toml", "[[spawn]]", "[[spawn").spawn


def test_a_stray_heading_is_refused(broken: Callable[[str, str, str], Trade]) -> None:
    with pytest.raises(
        TableError,
        match=r"^spawn\.toml must hold rows headed \[\[spawn\]\] and nothing else; it also has 'spwn'\.$",
    ):
        _ = broken("spawn.toml", "[[spawn]]", "[[spwn]]").spawn


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"^The table sources\.toml is missing\."):
        _ = Trade(tmp_path).sources


def test_loading_is_done_once() -> None:
    assert load_trade() is load_trade()
    assert load_trade().species is load_trade().species


def test_rows_cannot_be_changed() -> None:
    trade = load_trade()
    with pytest.raises(TypeError):
        trade.species["king-stropharia"] = trade.species["oyster"]  # type: ignore[index]
    with pytest.raises(AttributeError):
        trade.species["king-stropharia"].key = "other"  # type: ignore[misc]


def test_sources_of_a_result_come_once_each_in_order_of_use() -> None:
    trade = load_trade()
    king = trade.species["king-stropharia"]
    used = trade.sources_of(
        [king.fruit_mass_g, king.ripening_days, trade.constants["hargreaves_coefficient"], king.fruit_mass_g]
    )
    assert [source.key for source in used] == ["ABRIGHT2007", "FAO56"]
    assert used[1].citation.startswith(
        "Allen R.G., Pereira L.S., Raes D., Smith M. (1998). Crop evapotranspiration"
    )


def test_cautions_come_by_tag_the_grave_first() -> None:
    found = load_trade().cautions_for("chip", "material:straw")
    assert {"chipper", "straw-source", "lifting", "dust", "fire"} == {row.key for row in found}
    graves = [row.grave for row in found]
    assert graves == sorted(graves, reverse=True)


def test_an_unknown_table_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(
        InputError, match=r"There is no table 'trees'\. Tables: species, species-figures, woods"
    ):
        table_rows(load_trade(), "trees")


def test_grades_are_words_a_reader_understands() -> None:
    assert [basis.words for basis in Basis] == [
        "published and read", "published, from memory", "common practice", "derived", "estimate",
    ]  # fmt: skip


def test_words_of_an_exact_figure_show_no_range() -> None:
    exact = Ranged(3.0, 3.0, 3.0, "class", "FPL0153", "table", Basis.READ)
    assert exact.words == "3"


def test_only_what_is_asked_for_is_read() -> None:
    """The engine's tables must not wait for woods and cautions; importing the package reads no file at
    all.
    """
    trade = Trade(FOLDER)
    _ = trade.species
    read = set(vars(trade))
    assert "species" in read
    assert not read & {"woods", "cautions", "lookalikes", "symptoms", "materials"}


def test_the_page_of_sources_can_be_written_from_the_command_line() -> None:
    run = subprocess.run(
        [sys.executable, "-W", "error", "-m", "mulchwright.trade.report"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.startswith("# Sources\n")
    assert run.stderr == ""
