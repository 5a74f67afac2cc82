"""The pages of the section More: search, last changes with undo, backups and export; and in a browser."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from mulchwright.book import export_json, import_json, open_book
from mulchwright.garden import UnitSystem
from mulchwright.services.backups import backup_folder, backups_of, make_backup
from mulchwright.web.more.changes import change_words

from .barriers import assert_open_to_all
from .conftest import Served

BED = "under-the-medlar"


def said(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


# ---- search -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "link"),
    [("medlar", f"/beds/{BED}"), ("MEDL", f"/beds/{BED}"), ("médlar", f"/beds/{BED}"),
     ("backups", "/backups"), ("wine cap", f"/beds/{BED}")],
)  # fmt: skip
def test_search_finds_what_holds_every_word(client: TestClient, asked: str, link: str) -> None:
    html = client.get("/search", params={"q": asked}).text
    assert f'<a href="{link}">' in html
    assert 'aria-current="true">More</a>' in html


def test_search_explains_a_word_and_finds_the_logbook(client: TestClient) -> None:
    client.post(
        f"/log/{BED}", data={"kind": "note", "text": "Slugs under the burlap", "request_id": "note-one-1"}
    )
    text = said(client.get("/search?q=burlap slugs").text)
    assert "Slugs under the burlap" in text
    assert "1 result for" in text
    assert "living strands a mushroom grows from" in said(client.get("/search?q=mycelium").text)


def test_search_says_when_nothing_is_found_and_escapes_what_was_typed(client: TestClient) -> None:
    html = client.get("/search", params={"q": "<script>alert(1)</script>"}).text
    assert "Nothing found for" in html
    assert "<script>alert" not in html
    assert "Nothing found" not in client.get("/search").text
    assert len(client.get("/search", params={"q": "x" * 5000}).text) < 10_000


# ---- changes ----------------------------------------------------------------


def test_the_last_changes_are_listed_and_undone_one_by_one(client: TestClient, book: Path) -> None:
    client.post("/units", data={"units": "us"})
    html = client.get("/changes").text
    step = re.search(r'action="/changes/(\d+)/undo"', html)
    assert step
    answer = client.post(f"/changes/{step[1]}/undo")
    assert answer.status_code == 200
    assert "Undone:" in said(answer.text)
    with open_book(book) as opened:
        assert opened.garden().units is UnitSystem.METRIC
    assert "Undid:" in said(answer.text), "the undo is a change of its own"
    again = client.post(f"/changes/{step[1]}/undo")
    assert again.status_code == 409
    assert "Not undone" in again.text
    assert client.post("/changes/999999/undo").status_code == 422


def test_what_something_newer_rests_on_stays_and_the_page_says_why(client: TestClient, book: Path) -> None:
    with open_book(book) as opened:
        garden = opened.garden()
        opened.save_garden(replace(garden, place=replace(garden.place, name="First name")))
        opened.save_garden(replace(garden, place=replace(garden.place, name="Second name")))
        older = opened.undo_steps()[1].step
    answer = client.post(f"/changes/{older}/undo")
    assert answer.status_code == 409
    assert "Something newer changed" in answer.text
    with open_book(book) as opened:
        assert opened.garden().place.name == "Second name"


def test_an_undone_undo_is_said_as_done_again() -> None:
    assert change_words("the units changed") == "The units changed"
    assert change_words("taken back: the units changed") == "Undid: The units changed"
    assert change_words("taken back: taken back: the units changed") == "Redid: The units changed"


# ---- backups ----------------------------------------------------------------


def test_a_backup_is_a_whole_book_beside_the_first(client: TestClient, book: Path) -> None:
    assert "None yet." in client.get("/backups").text
    answer = client.post("/backups")
    assert "Backup made." in answer.text
    (backup,) = backups_of(book)
    assert backup.path.parent == backup_folder(book)
    with open_book(book) as one, open_book(backup.path) as other:
        assert other.garden() == one.garden()
        assert other.undo_steps() == one.undo_steps()
    file = client.get(f"/backups/file/{quote(backup.path.name)}")
    assert file.content == backup.path.read_bytes()
    assert file.headers["content-disposition"].startswith("attachment")
    assert backup.path.name in client.get("/backups").text


def test_two_backups_in_one_second_are_two_files(book: Path) -> None:
    now = datetime(2031, 6, 10, 8, 30, 5, tzinfo=UTC)
    names = [make_backup(book, now).path.name for _ in range(3)]
    assert names == [f"garden 2031-06-10 08-30-05{again}.mulch" for again in ("", " (2)", " (3)")]
    assert len(backups_of(book)) == 3


@pytest.mark.parametrize("name", ["..%2Fbook.mulch", "none.mulch", "%2e%2e", "notes.txt"])
def test_no_other_file_is_handed_out(client: TestClient, book: Path, name: str) -> None:
    client.post("/backups")
    (backup_folder(book) / "notes.txt").write_text("mine")
    assert client.get(f"/backups/file/{name}").status_code == 404


def test_a_folder_that_cannot_be_made_is_told_and_nothing_is_changed(client: TestClient, book: Path) -> None:
    backup_folder(book).write_text("a file in the way")
    answer = client.post("/backups")
    assert answer.status_code == 503
    assert "cannot be made" in answer.text
    assert "None yet." in client.get("/backups").text


def test_the_export_is_read_again_by_import(client: TestClient, book: Path) -> None:
    answer = client.get("/backups/export.json")
    assert answer.headers["content-type"] == "application/json"
    assert 'filename="' in answer.headers["content-disposition"]
    data = json.loads(answer.text)
    with open_book(book) as opened:
        assert data == json.loads(json.dumps(export_json(opened)))
        assert import_json(data)[0] == opened.garden()


# ---- in a browser -----------------------------------------------------------


@pytest.mark.browser
def test_more_as_a_journey(served_without_charts: Served, browser: Any) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740}, reduced_motion="reduce")
    page = context.new_page()
    try:
        page.goto(f"{served_without_charts.address}/beds")
        page.get_by_role("navigation", name="Sections").get_by_role("link", name="More").click()
        page.get_by_role("link", name="Backups and export").click()
        page.get_by_role("button", name="Make a backup").click()
        expect(page.get_by_role("status")).to_have_text("Backup made.")
        assert_open_to_all(page, opened=False)
        page.set_viewport_size({"width": 360, "height": 740})
        page.get_by_role("link", name="More", exact=True).first.click()
        page.get_by_role("button", name="Use US units").click()
        expect(page.get_by_text("US units: gallons")).to_be_visible()
        page.get_by_role("link", name="Last changes").click()
        page.get_by_role("button", name="Undo").first.click()
        expect(page.get_by_role("status")).to_contain_text("Undone:")
        page.get_by_role("link", name="Search").click()
        page.get_by_role("searchbox").fill("medlar")
        page.keyboard.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("for “medlar”")
        assert_open_to_all(page, opened=False)
    finally:
        context.close()
