"""What a machine may call or read is answered on that machine: a book from elsewhere asks first."""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import threading
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book, read_whole_file
from mulchwright.cli.app import main
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Place
from mulchwright.services import weather_consent, weather_feed, weather_folder, weather_updates
from mulchwright.services.consent import FOLDER_VARIABLE, Answer, ConsentStore, Subject
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

from .barriers import PHONE, assert_open_to_all

TODAY = date(2031, 6, 10)
NOW = datetime(2031, 6, 10, 6, tzinfo=UTC)
FORECAST = {
    "kind": "daily-forecast", "version": 1, "issued_at": "2031-06-10T05:00:00Z", "source": "made up",
    "units": {"temperature": "C", "rain": "mm"},
    "days": [{"day": "2031-06-11", "temperature_min": 9.5, "temperature_max": 21.0, "rain": 2.4}],
}  # fmt: skip


class Listener:
    """A server on loopback that counts whoever connects, asking or not, and answers with a forecast."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.connections = 0
        listener = self
        body = json.dumps(FORECAST).encode()

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                listener.asked.append(self.path)
                self.send_response(200)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: Any) -> None:
                pass

        class Server(ThreadingHTTPServer):
            def verify_request(self, request: Any, client_address: Any) -> bool:
                listener.connections += 1
                return True

        self.server = Server(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()
        self.host = f"127.0.0.1:{self.server.server_port}"
        self.template = f"http://{self.host}/f?at={{latitude}},{{longitude}}"


@pytest.fixture
def listener() -> Iterator[Listener]:
    listener = Listener()
    yield listener
    listener.server.shutdown()
    listener.server.server_close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of this machine with a forecast in it that the grower never meant for this book."""
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "next.json").write_text(json.dumps(FORECAST), encoding="utf-8")
    os.utime(folder / "next.json", (1e9, 1e9))
    return folder


def set_wishes(book: Path, *, address: str = "", folder: Path | None = None) -> None:
    """Write into the book as another program or another machine would have."""
    with open_book(book) as opened:
        if address:
            opened.set_setting("weather_source", json.dumps({"on": True, "forecast_address": address}))
        if folder:
            opened.set_setting("weather_folder", str(folder))


@pytest.fixture
def brought(book: Path, listener: Listener, folder: Path) -> Path:
    """A book from elsewhere: an address switched on and a folder watched, both answered on no machine."""
    set_wishes(book, address=listener.template, folder=folder)
    return book


def look(book: Path) -> None:
    """One round of the background work, without its thread."""
    weather_updates.WeatherUpdates(book, lambda garden: TODAY).look(NOW)


def fetched(book: Path) -> bool:
    with open_book(book) as opened:
        return opened.forecast() is not None


def wished(book: Path) -> dict[str, weather_consent.Wish]:
    with open_book(book) as opened:
        return weather_consent.wishes(book, opened.garden(), opened.series(), TODAY)


def allow(book: Path, *subjects: Subject) -> None:
    """Allow what the book asks for now, as the pages do."""
    for subject in subjects or tuple(Subject):
        weather_consent.answer_wish(book, subject, wished(book)[subject.value].shown, allow=True)


@pytest.fixture
def pages(bundle: ChartBundle) -> Iterator[Callable[[Path], TestClient]]:
    """Opens a book's pages; the background work is driven by the tests alone."""
    clients: list[TestClient] = []

    def open_pages(book: Path) -> TestClient:
        app = create_app(book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
        client = TestClient(app, base_url="http://127.0.0.1", follow_redirects=True)
        clients.append(client)
        return client

    yield open_pages
    for client in clients:
        client.app.state.context.jobs.close()  # type: ignore[attr-defined]
        client.close()


def form_of(page: str, subject: str) -> dict[str, str]:
    """What the form of a question sends beside its button."""
    form = re.search(
        rf'<form[^>]*action="/weather/consent">(?:(?!</form>).)*value="{subject}".*?</form>', page, re.S
    )
    assert form is not None, f"no question about the {subject}"
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form[0]))


# ---- a book from elsewhere ---------------------------------------------------------------------


def test_a_brought_book_connects_to_nobody_and_reads_no_folder(
    brought: Path, listener: Listener, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []
    real = os.scandir
    monkeypatch.setattr(Path, "iterdir", lambda self: seen.append(str(self)) or iter(()))  # type: ignore[func-returns-value]
    monkeypatch.setattr(os, "scandir", lambda *where: seen.append(str(where)) or real(*where))  # type: ignore[func-returns-value]
    look(brought)
    look(brought)
    assert (listener.connections, seen) == (0, [])
    with open_book(brought) as opened:
        assert opened.setting("weather_fetched") is None
        assert opened.setting("weather_folder_taken") is None
    with pytest.raises(InputError, match="was not allowed on this computer") as refused:
        weather_feed.fetch_now(brought, TODAY, NOW)
    assert f"http://{listener.host}/f?at=44.5,-73.2" in str(refused.value)
    assert weather_folder.check_folder(brought, TODAY) == ()
    assert (listener.connections, seen) == (0, [])


@pytest.mark.parametrize("address", ["/now", "/weather"])
def test_the_question_names_host_coordinates_and_folder(
    brought: Path, listener: Listener, folder: Path, pages: Callable[[Path], TestClient], address: str
) -> None:
    client = pages(brought)
    page = client.get(address).text
    assert '<h2 id="consent-fetch-heading">Let this garden book ask 127.0.0.1 for weather?</h2>' in page
    assert f"<code>http://{listener.host}/f?at=44.5,-73.2</code>" in page
    assert "The coordinates in the address are 44.5, -73.2." in page
    assert '<h2 id="consent-folder-heading">Let this garden book read a folder?</h2>' in page
    assert f"<code>{folder}</code>" in page
    assert len(re.findall(r">Allow<span", page)) == 2
    assert len(re.findall(r">Don't allow<span", page)) == 2
    assert listener.connections == 0
    assert not fetched(brought)


def test_allow_on_the_page_fetches(
    brought: Path, listener: Listener, pages: Callable[[Path], TestClient]
) -> None:
    client = pages(brought)
    form = form_of(client.get("/now").text, "fetch")
    page = client.post("/weather/consent", data={**form, "answer": "allow"}).text
    assert listener.asked == ["/f?at=44.5,-73.2"]
    assert fetched(brought)
    assert "On: asked every six hours" in page
    assert "consent-fetch-heading" not in page
    assert "consent-folder-heading" in page  # one answer is not the other
    weather_updates.WeatherUpdates(brought, lambda garden: TODAY).look(datetime(2099, 1, 1, tzinfo=UTC))
    assert len(listener.asked) == 2


def test_allow_on_the_page_reads_the_folder(
    brought: Path, listener: Listener, pages: Callable[[Path], TestClient]
) -> None:
    client = pages(brought)
    form = form_of(client.get("/now").text, "folder")
    page = client.post("/weather/consent", data={**form, "answer": "allow"}).text
    assert 'id="consent-folder-heading"' not in page
    look(brought)
    assert [one.name for one in weather_folder.folder_files(brought)] == ["next.json"]
    assert listener.connections == 0


def test_a_refusal_is_remembered_and_can_be_changed(
    brought: Path, listener: Listener, pages: Callable[[Path], TestClient]
) -> None:
    client = pages(brought)
    for subject in ("fetch", "folder"):
        form = form_of(client.get("/now").text, subject)
        assert form["back"] == "/now"
        answer = client.post("/weather/consent", data={**form, "answer": "decline"})
        assert answer.url.path == "/now"
    assert 'class="card consent"' not in pages(brought).get("/now").text
    look(brought)
    assert listener.connections == 0
    page = client.get("/weather").text
    assert 'class="card consent"' not in page
    assert "Not allowed on this computer. Nothing is sent." in page
    assert "You didn't allow this folder on this computer" in page
    client.post("/weather/consent", data={**form_of(page, "fetch"), "answer": "allow"})
    client.post("/weather/consent", data={**form_of(page, "folder"), "answer": "allow"})
    assert len(listener.asked) == 1
    assert {wish.answer for wish in wished(brought).values()} == {Answer.ALLOWED}


def test_an_answer_to_what_was_not_shown_counts_for_nothing(
    brought: Path, listener: Listener, pages: Callable[[Path], TestClient]
) -> None:
    client = pages(brought)
    form = form_of(client.get("/weather").text, "fetch")
    set_wishes(brought, address=f"http://{listener.host}/other")
    refused = client.post("/weather/consent", data={**form, "answer": "allow"})
    assert refused.status_code == 422
    assert "does not ask for what you were shown any more" in refused.text
    for data in ({}, {"subject": "all", "answer": "allow"}, {"subject": "fetch", "answer": "yes"}):
        assert client.post("/weather/consent", data=data).status_code == 422
    assert client.get("/weather/consent").status_code == 405
    foreign = client.post(
        "/weather/consent",
        data={**form_of(client.get("/weather").text, "fetch"), "answer": "allow"},
        headers={"sec-fetch-site": "cross-site"},
    )
    assert foreign.status_code == 403
    look(brought)
    assert listener.connections == 0


def test_a_phone_sees_the_question_and_cannot_answer_it(brought: Path, bundle: ChartBundle) -> None:
    """`over_home` is what the gate says of a request that came in at the home network's address."""
    app = create_app(brought, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)

    async def from_phone(scope: Any, receive: Any, send: Any) -> None:
        scope.setdefault("state", {})["over_home"] = True
        await app(scope, receive, send)

    phone = TestClient(from_phone, base_url="http://127.0.0.1")
    page = phone.get("/weather").text
    assert "Answer on the computer that Mulchwright runs on." in page
    assert "/weather/consent" not in page
    shown = wished(brought)["fetch"].shown
    answer = phone.post("/weather/consent", data={"subject": "fetch", "shown": shown, "answer": "allow"})
    assert answer.status_code == 422
    assert wished(brought)["fetch"].answer is Answer.OPEN
    app.state.context.jobs.close()


def test_the_question_in_a_browser(
    brought: Path, listener: Listener, browser: Any, bundle: ChartBundle, run_app: Any
) -> None:
    """Asked on both pages, without a barrier."""
    server, thread, address = run_app(
        create_app(brought, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    )
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    for path in ("/weather", "/now"):
        page.goto(address + path)
        page.get_by_role("region", name="Let this garden book ask 127.0.0.1 for weather?").wait_for()
        assert_open_to_all(page)
    context.close()
    assert listener.connections == 0
    context = browser.new_context(java_script_enabled=False, viewport={"width": 360, "height": 800})
    page = context.new_page()
    page.goto(f"{address}/weather")
    page.get_by_role("button", name="Don't allow reading the folder").press("Enter")
    page.get_by_role("status").get_by_text("Not allowed on this computer.").wait_for()
    page.get_by_role("button", name="Allow fetching from 127.0.0.1", exact=True).press("Enter")
    page.get_by_text("On: asked every six hours").wait_for()
    assert set(listener.asked) == {"/f?at=44.5,-73.2"}  # the background may have asked as well
    context.close()
    server.should_exit = True
    thread.join(10)


# ---- what an answer is bound to ----------------------------------------------------------------


def asks_again(book: Path, listener: Listener) -> bool:
    """Whether the book is back at its questions, and a round of background work does nothing."""
    before = listener.connections
    look(book)
    assert listener.connections == before
    assert not weather_folder.check_folder(book, TODAY, settled_s=0)
    return all(wish.question for wish in wished(book).values())


def test_allowed_stays_allowed_for_the_same_book(brought: Path, listener: Listener) -> None:
    allow(brought)
    look(brought)
    assert len(listener.asked) == 1
    with open_book(brought) as opened:
        opened.set_setting("anything", "else")
    assert all(wish.allowed for wish in wished(brought).values())


def test_a_changed_address_folder_or_place_asks_again(
    brought: Path, listener: Listener, tmp_path: Path
) -> None:
    allow(brought)
    (tmp_path / "documents").mkdir()
    set_wishes(brought, address=f"{listener.template}&more=1", folder=tmp_path / "documents")
    assert asks_again(brought, listener)
    set_wishes(brought, address=listener.template)
    assert wished(brought)["fetch"].allowed
    with open_book(brought) as opened:
        garden = opened.garden()
        opened.save_garden(replace(garden, place=replace(garden.place, latitude_deg=12.3)))
    assert wished(brought)["fetch"].question
    look(brought)
    assert listener.connections == 0


def test_a_copy_asks_again_wherever_it_lies(brought: Path, listener: Listener, tmp_path: Path) -> None:
    allow(brought)
    copy = Path(shutil.copy(brought, tmp_path / "copy.mulch"))
    assert asks_again(copy, listener)
    os.replace(copy, brought)  # holds the id of the answer, and is another file
    assert asks_again(brought, listener)


def test_another_book_written_into_the_same_file_asks_again(
    brought: Path, listener: Listener, folder: Path, garden: Garden, tmp_path: Path
) -> None:
    """As `cp received.garden garden.mulch` does: path and inode stay, and an inode may be given out again."""
    other = tmp_path / "received.mulch"
    create_book(other, garden)
    set_wishes(other, address=listener.template, folder=folder)
    allow(brought)
    inode = brought.stat().st_ino
    shutil.copyfile(other, brought)
    assert brought.stat().st_ino == inode
    assert asks_again(brought, listener)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda file: file.write_bytes(b""),
        lambda file: file.write_bytes(b"\xff\xfe\x00{"),
        lambda file: file.write_text("[" * 100_000),
        lambda file: file.write_text("[]"),
        lambda file: file.write_text('{"answer": "allowed"}'),
        lambda file: file.write_text(file.read_text().replace('"version": 1', '"version": 2')),
        lambda file: file.write_text(file.read_text()[:-3]),
        lambda file: (file.unlink(), file.mkdir()),
    ],
    ids=["empty", "bytes", "deep", "list", "bare", "version", "cut", "folder"],
)
def test_a_spoiled_answer_is_none(brought: Path, listener: Listener, spoil: Callable[[Path], Any]) -> None:
    allow(brought)
    for subject in Subject:
        spoil(ConsentStore().file_of(brought, subject))
    assert asks_again(brought, listener)


def test_an_answer_that_cannot_be_written_allows_nothing(
    brought: Path, listener: Listener, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "file" / "under"))
    with pytest.raises(InputError, match="could not be saved in"):
        allow(brought, Subject.FETCH)
    assert asks_again(brought, listener)


def test_answers_are_private_whole_files(
    brought: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "answers"))
    allow(brought)
    allow(brought)
    files = sorted((tmp_path / "answers").iterdir())
    assert files == sorted(ConsentStore().file_of(brought, subject) for subject in Subject)
    if os.name == "posix":
        assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
        assert stat.S_IMODE((tmp_path / "answers").stat().st_mode) == 0o700


def test_answers_lie_in_the_users_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(FOLDER_VARIABLE)
    monkeypatch.setattr("mulchwright.services.consent.user_data_path", lambda *_, **__: tmp_path / "data")
    file = ConsentStore().file_of(tmp_path / "garden.mulch", Subject.FETCH)
    assert file.parent == tmp_path / "data" / "consent"


def test_off_withdraws_what_was_allowed(brought: Path, listener: Listener) -> None:
    allow(brought)
    weather_feed.save_source(brought, replace(weather_feed.source_of(brought), on=False))
    weather_consent.watch_folder(brought, "")
    assert not any(ConsentStore().file_of(brought, subject).exists() for subject in Subject)
    set_wishes(brought, address=listener.template, folder=brought.parent)
    assert asks_again(brought, listener)


@pytest.mark.parametrize(
    "text",
    [
        '{"on": true, "forecast_address": "file:///etc/passwd"}',
        '{"on": true, "forecast_address": "https://example.org/{year:>999999999}"}',
        '{"on": true, "forecast_address": "https://example.org/{station}"}',
        '{"on": true, "forecast_address": 5}',
        '{"on": true, "station": 5, "forecast_address": "https://example.org/x"}',
        '{"on": "yes", "forecast_address": "https://example.org/x"}',
        '{"on": true}',
        "[1]",
        "[" * 100_000,
    ],
)
def test_a_wish_that_no_page_would_take_is_none(
    book: Path, pages: Callable[[Path], TestClient], text: str
) -> None:
    with open_book(book) as opened:
        opened.set_settings({"weather_source": text, "weather_folder": "relative/../folder"})
    assert wished(book) == {}
    assert weather_feed.source_of(book) == weather_feed.Source()
    assert pages(book).get("/weather").status_code == 200


def test_a_json_file_brings_neither_wish_nor_answer(
    brought: Path, listener: Listener, tmp_path: Path
) -> None:
    allow(brought)
    file, again = tmp_path / "garden.json", tmp_path / "again.mulch"
    assert main(["export", str(brought), str(file)]) == 0
    assert "consent" not in file.read_text("utf-8")
    assert listener.host not in file.read_text("utf-8")
    assert main(["import", str(file), str(again)]) == 0
    assert wished(again) == {}
    with open_book(again) as opened:
        assert opened.setting("consent_fetch") is None
    # The same path again, and the book that lay there had been allowed to ask.
    brought.unlink()
    create_book(brought, **read_whole_file(file)._asdict())
    set_wishes(brought, address=listener.template)
    assert asks_again(brought, listener)


# ---- the command line --------------------------------------------------------------------------


def test_the_command_refuses_a_brought_book_until_on_is_said(
    brought: Path, listener: Listener, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["weather", "fetch", str(brought)]) == 1
    printed = capsys.readouterr().err
    assert "was not allowed on this computer, so nothing was sent" in printed
    assert f"http://{listener.host}/f?at=44.5,-73.2" in printed
    assert f"mulchwright weather fetch {brought} --on" in printed
    assert listener.connections == 0
    assert main(["weather", "fetch", str(brought), "--on"]) == 0
    assert len(listener.asked) == 1
    assert main(["weather", "fetch", str(brought)]) == 0
    assert len(listener.asked) == 2
    set_wishes(brought, address=f"http://{listener.host}/other")
    assert main(["weather", "fetch", str(brought), "--json"]) == 1
    assert main(["weather", "fetch", str(brought), "--off"]) == 0
    assert len(listener.asked) == 2
    assert not ConsentStore().file_of(brought, Subject.FETCH).exists()


def test_wishes_are_made_of_the_settings_as_documented(book: Path) -> None:
    """The names that the tests write are those of the program."""
    assert (weather_feed.SOURCE, weather_folder.FOLDER) == ("weather_source", "weather_folder")
    assert set(asdict(weather_feed.Source())) >= {"on", "forecast_address"}


def test_terms_name_only_what_is_sent(book: Path) -> None:
    place = Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York")
    terms = weather_feed.fetch_terms(
        weather_feed.Source(True, "https://example.org/{station}.csv", "X1"), place
    )
    assert terms["station"] == "X1"
    assert terms["latitude"] == terms["longitude"] == ""
