"""Choosing: side by side, what a beginner is not offered, and planning a choice; look rules."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.garden import LookRules, Stage
from mulchwright.keep.beginners import RULE, for_first_bed
from mulchwright.trade import load_trade

Filled = Callable[[TestClient, str], str]


def test_every_recipe_is_reported_with_all_that_a_grower_asks(
    ground_client: TestClient, filled: Filled
) -> None:
    html = filled(ground_client, "/ground/choose?spot=bed:medlar-bed&built_on=2031-06-10")
    trade = load_trade()
    pairs = sum(len(template.species) for template in trade.recipes.values())
    assert html.count("Plan this here") == pairs
    for asked in ("Picked in its first year", "Second year", "No harvest in its first year",
                  "Water in its first year", "Wait", "Skill", "Look-alikes", "Wood"):  # fmt: skip
        assert html.count(f"<dt>{asked}</dt>") == pairs
    for head in ("First picking", "First-year crop", "No harvest", "Water", "Skill"):
        assert html.count(f'data-head="{head}"') == pairs
    assert "For 24 m², built 10 June" in html


def rows_of(html: str) -> list[tuple[str, list[str]]]:
    """The rows of the table that can be sorted: the name with its mark, and the cells."""
    start = html.index('<section class="card choices-card"')
    table = html[start : html.index("</section>", start)]
    rows = re.findall(r"<summary><span>(.*?)</span></summary>.*?((?:<td .*?</td>\s*)+)</tr>", table, re.S)
    return [
        (re.sub(r"<[^>]+>", "", name).strip(), re.findall(r"<td [^>]*>(.*?)</td>", cells))
        for name, cells in rows
    ]


def test_the_three_best_are_named_in_words(ground_client: TestClient, filled: Filled) -> None:
    """Best is the most to pick in two years: those at the head of the table as it comes."""
    html = filled(ground_client, "/ground/choose?spot=bed:medlar-bed&built_on=2031-06-10")
    names = [name for name, _ in rows_of(html)]
    assert names[0].startswith("Best choice")
    assert names[1].startswith("Second best")
    assert names[2].startswith("Third best")
    assert not any(re.match("Best|Second|Third", name) for name in names[3:])
    kind, _, recipe = names[0].removeprefix("Best choice ").lower().partition(": ")
    assert f"Best choice: <strong>{kind} ({recipe})</strong>" in html


@pytest.mark.parametrize(
    ("sort", "column", "order"),
    [("water", 3, "ascending"), ("water down", 3, "descending"), ("crop", 1, "descending"),
     ("crop down", 1, "ascending")],
)  # fmt: skip
def test_the_table_sorts_by_the_address(
    ground_client: TestClient, filled: Filled, sort: str, column: int, order: str
) -> None:
    html = filled(
        ground_client, f"/ground/choose?spot=bed:medlar-bed&built_on=2031-06-10&asked=yes&sort={sort}"
    )
    rows = rows_of(html)
    assert len(rows) > 4

    def value(text: str) -> float:
        if text in ("nothing", "not forecast"):
            return 0.0
        number, unit = text.split()
        assert unit in ("kg", "L")  # one unit all the way down
        return float(number)

    values = [value(cells[column]) for _, cells in rows]
    assert values == sorted(values, reverse=order == "descending")
    assert len(set(values)) > 2
    assert html.count(f'aria-sort="{order}"') == 1
    # The head that sorts turns the order around; the others sort by their own.
    turned = sort.partition(" ")[0] + ("" if "down" in sort else " down")
    assert f'<button form="ask" name="sort" value="{turned}">' in html
    assert '<button form="ask" name="sort" value="skill">' in html


def test_it_begins_with_the_day_and_size_of_the_next_planned_bed(client: TestClient, filled: Filled) -> None:
    """The small garden has a bed planned for July 1, of 2.4 m²; nothing of it is drawn."""
    html = filled(client, "/ground/choose")
    assert "For 2.4 m², built 1 July" in html
    assert 'value="2031-07-01"' in html


def test_species_with_deadly_doubles_are_not_offered_to_beginners_and_the_page_says_why(
    ground_client: TestClient, filled: Filled
) -> None:
    html = filled(ground_client, "/ground/choose?spot=bed:medlar-bed")
    offered, _, others = html.partition("Not offered to a beginner (")
    assert "Wine cap: chips alone" in offered
    for species in load_trade().species.values():
        name = species.names[0].capitalize()
        if not for_first_bed(load_trade(), species.key).offered:
            assert f">{name}: " not in offered
            assert f">{name}: " in others
    assert RULE in others
    assert others.count("<strong>Not for a first bed:") == others.count("Plan this here")
    everybody = filled(ground_client, "/ground/choose?spot=bed:medlar-bed&built_on=2031-06-10&asked=yes")
    assert "Not offered to a beginner" not in everybody
    assert "Has a deadly look-alike:" in everybody


def test_a_choice_becomes_a_planned_bed(ground_client: TestClient, filled: Filled, ground_book: Path) -> None:
    filled(ground_client, "/ground/choose?spot=10;2;1.5;1;0")
    answer = ground_client.post(
        "/ground/choose/plan",
        data={"kind": "oyster-straw/phoenix-oyster", "spot": "10;2;1.5;1;0", "built_on": "2031-06-12"},
        follow_redirects=False,
    )
    assert answer.status_code == 303
    with open_book(ground_book) as book:
        patch = book.garden().patches[-1]
    assert patch.species == "phoenix-oyster"
    assert patch.stage is Stage.PLANNED
    assert patch.area_m2 == pytest.approx(1.5)
    assert answer.headers["location"] == f"/beds/{patch.key}"
    typed = ground_client.post(
        "/ground/choose/plan",
        data={"kind": "chips-alone/king-stropharia", "spot": "typed", "area": "2 m2", "shade": "60"},
        follow_redirects=False,
    )
    assert typed.status_code == 303
    with open_book(ground_book) as book:
        patch = book.garden().patches[-1]
    assert patch.outline == ()
    assert patch.light_share == pytest.approx((0.4,))


def test_a_book_without_a_plan_chooses_for_typed_light(client: TestClient, filled: Filled) -> None:
    html = filled(client, "/ground/choose?area=2 m2&shade=70")
    assert "For 2 m²" in html
    assert "Wine cap: chips alone" in html


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("spot=bed:gone", "not on the plan any more"),
        ("spot=typed&area=0", "is outside that"),
        ("spot=typed&shade=120", "Enter the shade as a percentage from 0 to 100"),
        ("spot=typed&built_on=x", "“x” is no day"),
    ],
)
def test_nonsense_is_reported_beside_its_field(
    ground_client: TestClient, filled: Filled, query: str, message: str
) -> None:
    assert ground_client.get(f"/ground/choose?{query}").status_code == 422
    assert message in filled(ground_client, f"/ground/choose?{query}")


def test_a_bed_is_not_planned_on_another(ground_client: TestClient) -> None:
    answer = ground_client.post(
        "/ground/choose/plan", data={"kind": "chips-alone/king-stropharia", "spot": "patch:under-the-medlar"}
    )
    assert answer.status_code == 422
    assert "There is a mushroom bed there already" in answer.text


# ---- look rules -----------------------------------------------------------------


def test_rules_are_typed_in_and_come_back(ground_client: TestClient, ground_book: Path) -> None:
    page = ground_client.get("/ground/look").text
    assert "Enter yours; they come first" in page
    assert 'value="10 cm"' in page
    answer = ground_client.post(
        "/ground/look",
        data={"greatest_depth": "8", "skin": ["bark-fines", "leaf-mold"], "authority": "Row council"},
        follow_redirects=False,
    )
    assert answer.status_code == 303
    with open_book(ground_book) as book:
        assert book.garden().look_rules == LookRules(0.08, ("bark-fines", "leaf-mold"), "Row council")


@pytest.mark.parametrize("depth", ["deep", "0", "5 m", "-3 cm"])
def test_a_depth_that_is_none_is_refused_and_the_form_keeps_what_was_typed(
    ground_client: TestClient, depth: str
) -> None:
    answer = ground_client.post("/ground/look", data={"greatest_depth": depth, "skin": "leaf-mold"})
    assert answer.status_code == 422
    assert "greatest depth in sight is from 1 cm to 1 m" in answer.text
    assert f'value="{depth}"' in answer.text
    assert re.search(r'value="leaf-mold" checked', answer.text)


def test_a_bed_that_breaks_a_rule_says_so_on_its_page_and_here(
    ground_client: TestClient, filled: Filled
) -> None:
    filled(ground_client, "/ground/sun")
    ground_client.post(
        "/ground/choose/plan",
        data={"kind": "chips-alone/king-stropharia", "spot": "10;2;1.5;1;0", "name": "In sight"},
    )
    for path in ("/beds/in-sight", "/ground/look"):
        html = ground_client.get(path).text
        assert "In sight in Front strip" in html
        assert "Lay fine bark on top." in html
