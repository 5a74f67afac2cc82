"""The table of shapes says what the tables of species, features and look-alikes say, and no more than it may.

Oracle: the words of those tables,
    which name their own sources. Widths and colors that no table states are drawn
from memory of field guides; nothing here can check those.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from mulchwright.errors import TableError
from mulchwright.keep.likeness import PARTS, differences
from mulchwright.trade import Basis, load_trade
from mulchwright.trade.load import FOLDER, Trade
from mulchwright.trade.shapes import SHAPE_PARTS

KEYS = tuple(load_trade().shapes)

SAID = {
    "cap_form": {"shelf": r"shel[fv]", "cylinder": r"tall .*bullet"},
    "cap_surface": {
        "smooth": r"smooth|no scales, no slime", "scaly": r"scales|[Ss]caly", "shaggy": r"[Ss]haggy",
        "slimy": r"[Ss]lim[ey]", "tacky": r"tacky", "striped": r"edge striped", "wrinkled": r"wrinkled",
        "wavy": r"edge often wavy",
    },
    "gill_attachment": {
        "free": r"[Ff]ree", "attached": r"[Aa]ttached|do (not|NOT) run down", "running-down": r"run down",
    },
    "stem_at": {"center": r"near the middle", "side": r"off center|at its side", "none": r"without a stem"},
    "stem_surface": {
        "smooth": r"smooth below the ring", "scaly-below": r"[Ss]caly below|scales below the ring",
        "shaggy": r"shaggy stem", "silvery": r"silvery",
    },
    "ring": {
        "none": r"[Nn]o ring|NO ring|without a ring|ring missing", "toothed": r"teeth like a cogwheel",
        "thin": r"[Rr]ing thin|ring thin|without the cogwheel", "skirt": r"skirt",
        "cobweb": r"A cobweb, not a skin", "movable": r"moves along the stem", "zone": r"ring zone",
        "present": r"[Rr]ing (stays |stands )?on the stem",
    },
    "base": {
        "cords": r"white cords", "cup": r"cup or bag", "joined": r"[Cc]lusters",
            "plain": r"[Nn]o (cup|clusters)",
    },
    "flesh_change": {
        "none": r"turns neither|does not turn|no dark patch", "blue": r"bruise blue",
            "yellow": r"turns chrome-yellow",
        "dark-patch": r"a dark patch in the base",
    },
    "grows": {
        "wood": r"[Oo]n (\w+ )*(wood|stumps)|side of wood|(from|on) (dead |poplar|conifer|wood)",
            "straw": r"wood or straw",
        "ground": r"ground|[Uu]nder trees|[Ll]awns|[Gg]ardens|[Rr]ich soil|[Gg]rass", "chips": r"chips",
        "roots": r"roots",
    },
}  # fmt: skip
"""What must be read of a mushroom for a stated word of its row."""
COLOR_WORDS = {"gray": r"gr[ae]y", "cream": r"cream|[Pp]ale", "whitish": r"whitish|white"}


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


def told_of(trade: Trade, key: str) -> str:
    """All that the tables say of a mushroom: of a look-alike also what the features that rule it out name."""
    if key in trade.species:
        row = trade.species[key]
        return " ".join((*row.features, *(f.should for f in trade.features_of(key))))
    double = trade.lookalikes[key]
    named = (f.should for f in trade.features.values() if key in f.rules_out)
    return " ".join((*double.tells, double.where_it_grows, *double.names, *named))


def test_every_species_and_look_alike_has_a_row_and_no_other(trade: Trade) -> None:
    assert set(trade.shapes) == {*trade.species, *trade.lookalikes}
    assert not set(trade.species) & set(trade.lookalikes)


@pytest.mark.parametrize("key", KEYS)
def test_what_is_stated_stands_in_the_tables(trade: Trade, key: str) -> None:
    shape, told = trade.shapes[key], told_of(trade, key)
    for name in shape.stated:
        if name in SAID:
            values = getattr(shape, name)
            for value in (values,) if isinstance(values, str) else values:
                assert re.search(SAID[name][value], told), (key, name, value)
        elif name in ("cap_color", "cap_second", "gill_colors", "stem_color", "flesh_color"):
            if name == "cap_second" and re.search(
                r"paler in the middle|paler toward the edge|darker scales", told
            ):
                continue  # the table says lighter or darker, and where; the tint is the drawing's
            values = getattr(shape, name)
            for color in (values,) if isinstance(values, str) else values:
                last = re.split("[- ]", color)[-1]
                words = [color, last, last.removesuffix("ish"), color.split("-")[0]]
                pattern = COLOR_WORDS.get(last, "|".join(map(re.escape, words)))
                assert re.search(pattern, told, re.IGNORECASE), (key, name, color)
        else:
            assert name in ("cap_width", "stem_thickness"), name
            sizes = re.search(r"\d+ (to \d+(\.\d)? )?(cm|mm)|[Ss]mall|[Tt]iny|thin stem|1 cm thick", told)
            assert sizes, (key, name)


@pytest.mark.parametrize(
    ("word", "name", "value"),
    [
        ("teeth like a cogwheel", "ring", "toothed"), ("moves along the stem", "ring", "movable"),
        ("A cobweb, not a skin", "ring", "cobweb"), ("A cup or bag", "base", "cup"),
        ("edge striped when wet", "cap_surface", "striped"), ("covered in thick slime", "cap_surface",
            "slimy"),
        ("with brown scales", "cap_surface", "scaly"), ("Gills free", "gill_attachment", "free"),
        ("run down the short stem", "gill_attachment", "running-down"), ("shaggy bullet", "cap_surface",
            "shaggy"),
        ("without a stem", "stem_at", "none"), ("bruise blue", "flesh_change", "blue"),
        ("turns chrome-yellow when cut", "flesh_change", "yellow"),
        ("a dark patch in the base", "flesh_change", "dark-patch"),
        ("NO ring", "ring", "none"), ("No ring", "ring", "none"), ("Ring thin", "ring", "thin"),
    ],
)  # fmt: skip
def test_a_telling_word_of_a_mushroom_is_drawn(trade: Trade, word: str, name: str, value: str) -> None:
    """The other way round: what a mushroom's own texts say plainly is in its row, and stated there."""
    found = 0
    for key, shape in trade.shapes.items():
        own = trade.species[key].features if key in trade.species else trade.lookalikes[key].tells
        if any(word in text for text in own):
            found += 1
            drawn = getattr(shape, name)
            if key == "spring-fieldcap" and name == "ring":
                drawn = "thin"  # "thin and fragile, like a skirt": the drawing shows the skirt
            assert value in (drawn if isinstance(drawn, tuple) else (drawn,)), (key, word)
            assert name in shape.stated, (key, word)
    assert found, word


@pytest.mark.parametrize(
    ("key", "low", "high", "thick_low", "thick_high"),
    [
        ("deadly-galerina", 20, 60, 2, 6), ("fools-conecap", 10, 20, None, None),
        ("redlead-roundhead", 20, 65, None, 10), ("king-stropharia", 50, None, 10, 30),
    ],
)  # fmt: skip
def test_sizes_are_those_of_the_texts(
    trade: Trade, key: str, low: int, high: int | None, thick_low: int | None, thick_high: int | None
) -> None:
    """As read: "cap 2 to 6 cm", "stem 2 to 6 mm", "cap 1 to 2 cm", "2 to 6.5 cm", "at most 1 cm thick",
    "more than 5 cm", "1 to 3 cm thick".
    """
    shape = trade.shapes[key]
    assert shape.cap_width_low_mm == low
    assert high is None or shape.cap_width_high_mm == high
    assert thick_low is None or shape.stem_thickness_low_mm == thick_low
    assert thick_high is None or shape.stem_thickness_high_mm == thick_high


def test_rows_are_graded_as_memory(trade: Trade) -> None:
    assert {(row.source, row.basis) for row in trade.shapes.values()} == {("from-memory", Basis.MEMORY)}


def test_marks_rest_on_the_words_of_both_and_on_a_question(trade: Trade) -> None:
    seen = 0
    for species in trade.species:
        for double in trade.lookalikes_of(species):
            ruled_out = any(double.key in f.rules_out for f in trade.features_of(species))
            own, other = set(trade.shapes[species].stated), set(trade.shapes[double.key].stated)
            for difference in differences(trade, species, double.key):
                seen += 1
                assert ruled_out
                assert difference.part in PARTS
                if difference.part != "print":
                    assert set(difference.fields) <= own & other & SHAPE_PARTS, (species, double.key)
    assert seen > 80


@pytest.mark.parametrize(
    ("species", "double", "part", "why"),
    [
        ("king-stropharia", "sulphur-tuft", "print", "Print does NOT tell it from wine cap."),
        ("king-stropharia", "redlead-roundhead", "print", "Print does NOT tell it from wine cap."),
        ("king-stropharia", "other-stropharias", "print", "Print does NOT tell them apart."),
        ("nameko", "deadly-galerina", "print", "It does not tell it from the deadly galerina"),
        ("sheathed-woodtuft", "deadly-galerina", "print", "It does not tell it from the deadly galerina"),
        ("oyster", "brown-jack-o-lantern", "cap", "much like an oyster mushroom"),
        ("oyster", "white-funnels", "gills", "gills run down a little"),
    ],
)
def test_what_does_not_tell_them_apart_is_no_mark(
    trade: Trade, species: str, double: str, part: str, why: str
) -> None:
    told = told_of(trade, double) + told_of(trade, species)
    assert why in told
    assert part not in {d.part for d in differences(trade, species, double)}


@pytest.mark.parametrize(
    ("species", "double", "parts"),
    [
        ("king-stropharia", "death-cap", {"gills", "ring", "base", "print"}),
        ("king-stropharia", "deadly-galerina", {"cap", "gills", "ring", "stem", "print"}),
        ("oyster", "brown-jack-o-lantern", {"flesh"}),
        ("blewit", "deadly-webcaps", {"gills", "ring", "print"}),
        ("almond-mushroom", "yellow-stainer", {"flesh"}),
        ("sheathed-woodtuft", "fools-conecap", set()),
    ],
)
def test_marks_of_some_pairs(trade: Trade, species: str, double: str, parts: set[str]) -> None:
    """Read off the features that rule the look-alike out, by hand."""
    assert {d.part for d in differences(trade, species, double)} == parts


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ('key = "death-cap"', 'key = "deth-cap"', r"row 'deth-cap', key: it is neither in species\.toml nor"),
        ('ring = "toothed"', 'ring = "cog"',
         r"row 'king-stropharia', ring: 'cog' is not known\. Use one of: none,"),
        ("cap_width_low_mm = 50\ncap_width_high_mm = 150\ncap_color = \"wine-red\"",
         "cap_width_low_mm = 90\ncap_width_high_mm = 15\ncap_color = \"wine-red\"",
         r"row 'king-stropharia', cap_width: 90 to 15 mm does not rise"),
        ('stated = ["gill_colors", "stem_color", "ring"]', 'stated = ["gils"]',
         r"row 'blewit', stated: 'gils' is no part"),
        ('cap_second_at = "age"\n', "", r"row 'king-stropharia', colors: a color is missing"),
    ],
)  # fmt: skip
def test_a_faulty_row_is_refused(tmp_path: Path, before: str, after: str, message: str) -> None:
    shutil.copytree(FOLDER, tmp_path / "trade")
    file = tmp_path / "trade" / "shapes.toml"
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(TableError, match=message):
        _ = Trade(tmp_path / "trade").shapes


def test_a_mushroom_without_a_row_is_named(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "trade")
    file = tmp_path / "trade" / "shapes.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text[: text.rindex("[[shapes]]")], encoding="utf-8")
    with pytest.raises(TableError, match=r"shapes\.toml has no row for 'spring-fieldcap'\. Add one"):
        _ = Trade(tmp_path / "trade").shapes
