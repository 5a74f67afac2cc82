"""The home network: what an unpaired phone sees, how it is paired, and what no one else can do.

The rules held to here are our own; the private address blocks are those of RFC 1918 and RFC 3927, the
documentation block that must be refused is RFC 5737's (numbers from memory).
"""

from __future__ import annotations

import os
import re
import socket
import stat
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import expect
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.services.pairing import (
    CODE_LETTERS,
    CODE_LIFE_S,
    PAUSE_S,
    TRIES,
    TRIES_OF_A_CODE,
    PairedPhones,
    Pairing,
)
from mulchwright.web import create_app, serve
from mulchwright.web.server import SwitchedListener, SwitchedServer, _home_words, _listener
from mulchwright.web.shared.connections import TimedProtocol
from mulchwright.web.shared.home_network import home_address, is_home_address
from mulchwright.web.shared.phones import HomeNetwork

from .barriers import assert_open_to_all

HOME = "192.168.1.20"
BASE = f"http://{HOME}:8620"


class Clock:
    """Seconds that pass only when a test says so."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class House:
    """One app with the computer's own window and phones beside it."""

    here: TestClient
    pairing: Pairing
    clock: Clock
    app: Any

    def phone(self, address: str = "192.168.1.30") -> TestClient:
        return TestClient(
            self.app, base_url=BASE, follow_redirects=False, headers={"origin": BASE}, client=(address, 50000)
        )

    def paired(self, name: str = "Ada's phone") -> TestClient:
        phone = self.phone()
        answer = phone.post("/pair", data={"code": self.pairing.new_code().text, "name": name})
        assert answer.status_code == 303, answer.text
        return phone


@pytest.fixture
def house(book: Path, bundle: Any, tmp_path: Path, small_engine: Any) -> Iterator[House]:
    clock = Clock()
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"), clock=clock)
    app = create_app(book, engine=small_engine, bundle=bundle, home=HomeNetwork(HOME, 8620, pairing))
    with TestClient(app, base_url="http://127.0.0.1") as here:
        yield House(here, pairing, clock, app)


@pytest.fixture
def small_engine() -> Any:
    """Never asked for a figure here."""

    class Engine:
        members = 20

        def outlook(self, *_: Any, **__: Any) -> Any:
            raise InputError("not worked out in this test")

        what_if = outlook

    return Engine()


# ---- addresses --------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "home"),
    [
        ("192.168.0.7", True), ("10.1.2.3", True), ("172.16.0.1", True), ("172.31.255.254", True),
        ("169.254.3.4", True), ("172.32.0.1", False), ("192.0.2.2", False), ("8.8.8.8", False),
        ("0.0.0.0", False), ("127.0.0.1", False), ("100.64.0.1", False), ("::1", False), ("home", False),
    ],
)  # fmt: skip
def test_only_private_addresses_are_home(address: str, home: bool) -> None:
    assert is_home_address(address) is home


@pytest.mark.parametrize("address", ["8.8.8.8", "0.0.0.0", "203.0.113.9"])
def test_the_open_internet_is_refused_before_anything_is_served(book: Path, address: str) -> None:
    with pytest.raises(InputError, match="open internet"):
        serve(book, 0, False, home_network=True, home_at=address)


def test_a_machine_without_a_home_address_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("mulchwright.web.shared.home_network.private_addresses", lambda: ())
    with pytest.raises(InputError, match="no phone can reach it"):
        home_address()


def test_the_address_is_kept_for_labels_and_a_new_one_is_reported(book: Path, tmp_path: Path) -> None:
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"))
    first = _home_words(book, HomeNetwork(HOME, 8620, pairing))
    code = pairing.code()
    assert code is not None
    assert f"{code.text[:4]} {code.text[4:]}" in " ".join(first)
    assert not any("before" in line for line in first)
    moved = _home_words(book, HomeNetwork("192.168.1.99", 8620, pairing))
    assert any(BASE in line and "lead nowhere now" in line for line in moved)
    with open_book(book) as opened:
        assert opened.setting("home_address") == "http://192.168.1.99:8620"


# ---- an unpaired phone ------------------------------------------------------


def test_this_machine_is_asked_nothing(house: House) -> None:
    assert "Under the medlar" in house.here.get("/beds").text


@pytest.mark.parametrize(
    "path", ["/beds", "/beds/under-the-medlar", "/log", "/phones", "/outlook-progress", "/nowhere"]
)
def test_any_page_leads_an_unpaired_phone_to_the_code(house: House, path: str) -> None:
    answer = house.phone().get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/pair?to={path}"
    asked = house.phone().get(answer.headers["location"])
    assert asked.status_code == 200
    assert "Sedge Hollow" not in asked.text, "whoever is not paired is not told whose garden it is"
    assert "could read" in asked.text


def test_an_unpaired_phone_changes_nothing(house: House) -> None:
    assert house.phone().post("/units", data={"units": "us"}).status_code == 401
    answer = house.phone().post("/units", data={"units": "us"}, headers={"accept": "application/json"})
    assert answer.status_code == 401
    assert "Pair it again" in answer.json()["message"]


def test_the_name_of_this_machine_opens_nothing_at_the_home_address(house: House) -> None:
    """The Host header is the asker's own; where the request came in decides."""
    for host in ("127.0.0.1", "localhost", "evil.example", "127.0.0.1:8620"):
        assert house.phone().get("/beds", headers={"host": host}).status_code == 400
    assert house.here.get("/beds", headers={"host": HOME}).status_code == 400


# ---- pairing ----------------------------------------------------------------


def test_a_code_pairs_one_phone_and_leads_on(house: House, tmp_path: Path) -> None:
    code = house.pairing.new_code().text
    assert len(code) == 8
    assert set(code) <= set(CODE_LETTERS)
    assert not set("IL1O0S5Z2") & set(CODE_LETTERS)
    phone = house.phone()
    answer = phone.post(
        "/pair", data={"code": f" {code[:4].lower()}-{code[4:]} ", "name": "Ada's phone",
                       "to": "/beds/under-the-medlar"},
    )  # fmt: skip
    assert answer.headers["location"] == "/beds/under-the-medlar"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "Under the medlar" in phone.get("/beds/under-the-medlar").text
    assert "Others on the same network could read" in phone.get("/beds").text
    again = house.phone().post("/pair", data={"code": code, "name": "Second"})
    assert again.status_code == 422
    assert "one phone" in again.text
    (file,) = (tmp_path / "phones").iterdir()
    token = next(iter(phone.cookies.values()))
    assert token not in file.read_text()
    if os.name == "posix":
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert token.encode() not in Path(house.app.state.context.library.path).read_bytes()


def test_a_code_ages(house: House) -> None:
    code = house.pairing.new_code().text
    house.clock.now += CODE_LIFE_S + 1
    answer = house.phone().post("/pair", data={"code": code, "name": "Late"})
    assert answer.status_code == 422
    assert "10 minutes" in answer.text


def _guess_wrong(phone: TestClient, code: str, times: int = TRIES) -> None:
    wrong = "A" * 8 if code != "A" * 8 else "B" * 8
    for _ in range(times):
        assert phone.post("/pair", data={"code": wrong, "name": "Guess"}).status_code == 422


def test_a_few_wrong_codes_and_then_a_pause(house: House) -> None:
    code = house.pairing.new_code().text
    _guess_wrong(house.phone(), code)
    held = house.phone().post("/pair", data={"code": code, "name": "Ada"})
    assert "Too many wrong codes from this phone. Wait 5 minutes" in held.text
    house.clock.now += PAUSE_S + 1
    assert house.phone().post("/pair", data={"code": code, "name": "Ada"}).status_code == 303


def test_wrong_codes_from_elsewhere_do_not_keep_the_owner_out(house: House) -> None:
    """Whoever guesses waits; another phone in the same network pairs meanwhile."""
    code = house.pairing.new_code().text
    guesser = house.phone("192.168.1.66")
    _guess_wrong(guesser, code)
    assert "Too many" in guesser.post("/pair", data={"code": code, "name": "Guess"}).text
    assert house.phone("192.168.1.30").post("/pair", data={"code": code, "name": "Ada"}).status_code == 303


def test_a_new_code_ends_the_pause_of_a_phone(house: House) -> None:
    """The owner who mistyped has a way on at once: a new code, made on the computer."""
    phone = house.phone()
    _guess_wrong(phone, house.pairing.new_code().text)
    assert house.here.post("/phones/code", follow_redirects=False).status_code == 303
    code = house.pairing.code()
    assert code is not None
    assert phone.post("/pair", data={"code": code.text, "name": "Ada"}).status_code == 303


def test_a_code_gives_way_after_many_wrong_ones_and_its_time_does_not_grow(
    book: Path, tmp_path: Path
) -> None:
    """Guesses from many addresses: then another code is on the screen, which ends when the old would."""
    clock = Clock()
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"), clock=clock)
    before = pairing.new_code()
    clock.now += 60
    for n in range(TRIES_OF_A_CODE):
        with pytest.raises(InputError, match="does not count"):
            pairing.pair("A" * 7, "Guess", address=f"10.0.{n // 200}.{n % 200}")
    after = pairing.code()
    assert after is not None
    assert after.text != before.text
    assert after.left_s == before.left_s - 60
    with pytest.raises(InputError, match="does not count"):
        pairing.pair(before.text, "Guess", address="10.9.9.9")
    phone, _ = pairing.pair(after.text, "Ada", address="10.9.9.8")
    assert phone.name == "Ada"


@pytest.mark.parametrize("typed", ["", "0", "ÄÖÜÄÖÜÄÖ", "\0" * 8, "A" * 39])
def test_no_code_is_no_code(house: House, typed: str) -> None:
    """Before a code was made, nothing opens, whatever is typed."""
    assert house.phone().post("/pair", data={"code": typed, "name": "x"}).status_code == 422


@pytest.mark.parametrize("name", ["", "   ", "n" * 60])
def test_a_phone_needs_a_name(house: House, name: str) -> None:
    code = house.pairing.new_code().text
    answer = house.phone().post("/pair", data={"code": code, "name": name})
    assert answer.status_code == 422
    assert 'id="pf-name"' in answer.text
    assert house.phone().post("/pair", data={"code": code, "name": "Ada"}).status_code == 303, "code unspent"


@pytest.mark.parametrize("to", ["//evil.example/", "http://evil.example", "/\\evil", "/beds?x=1"])
def test_pairing_leads_nowhere_else(house: House, to: str) -> None:
    code = house.pairing.new_code().text
    answer = house.phone().post("/pair", data={"code": code, "name": "Ada", "to": to})
    assert answer.headers["location"] == "/"


# ---- paired phones ----------------------------------------------------------


def test_a_change_from_a_phone_must_name_its_origin(house: House) -> None:
    phone = house.paired()
    for origin in ("http://evil.example", "http://192.168.1.21:8620", f"http://{HOME}:1", "null"):
        answer = phone.post("/units", data={"units": "us"}, headers={"origin": origin})
        assert answer.status_code == 403
    del phone.headers["origin"]
    assert phone.post("/units", data={"units": "us"}).status_code == 403
    assert phone.post("/units", data={"units": "us"}, headers={"origin": BASE}).status_code == 303


def test_a_revoked_phone_is_out_at_once(house: House) -> None:
    phone = house.paired("Kim's phone")
    assert phone.get("/beds").status_code == 200
    assert "Kim&#39;s phone" in house.here.get("/phones").text
    (found,) = house.pairing.phones()
    assert house.here.post(f"/phones/{found.key}/revoke").status_code == 200
    assert phone.get("/beds").status_code == 303
    assert house.pairing.phones() == ()


def test_a_phone_makes_no_code_and_turns_out_no_other(house: House) -> None:
    one, _ = house.paired("One"), house.paired("Two")
    first, second = house.pairing.phones()
    assert one.post("/phones/code").status_code == 422
    assert house.pairing.code() is None
    house.pairing.new_code()
    assert "pair-code" not in one.get("/phones").text
    assert one.post(f"/phones/{second.key}/revoke").status_code == 422
    assert one.post(f"/phones/{first.key}/revoke").status_code == 303
    assert [phone.name for phone in house.pairing.phones()] == ["Two"]


def test_the_computer_shows_the_code_and_the_address(house: House) -> None:
    assert "There is no code right now" in house.here.get("/phones").text
    house.here.post("/phones/code")
    code = house.pairing.code()
    assert code is not None
    page = house.here.get("/phones").text
    assert f"{code.text[:4]} {code.text[4:]}" in page
    assert BASE in page
    assert house.here.get("/phones/address.svg").headers["content-type"].startswith("image/svg")


def test_without_the_home_network_the_page_says_how(client: TestClient) -> None:
    page = client.get("/phones").text
    assert "--home-network" in page
    assert client.post("/phones/code").status_code == 422


def test_a_token_unused_for_long_is_worth_nothing(book: Path, tmp_path: Path) -> None:
    days = [datetime(2031, 1, 1, tzinfo=UTC)]
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"), now=lambda: days[0])
    _, token = pairing.pair(pairing.new_code().text, "Ada")
    days[0] += timedelta(days=399)
    assert pairing.phone(token) is not None
    days[0] += timedelta(days=399)
    assert pairing.phone(token) is not None, "each use counts anew"
    days[0] += timedelta(days=401)
    assert pairing.phone(token) is None
    assert pairing.phone("") is None
    assert pairing.phone(token[:-1]) is None


def test_labels_hold_the_home_address(house: House) -> None:
    with open_book(house.app.state.context.library.path) as opened:
        opened.set_setting("home_address", BASE)
    assert f'value="{BASE}"' in house.here.get("/stores/sheets").text
    typed = house.here.get("/stores/sheets?address=http://10.0.0.9:1").text
    assert 'value="http://10.0.0.9:1"' in typed
    assert house.here.get("/stores/label.png?bed=under-the-medlar").headers["content-type"] == "image/png"


def test_a_calendar_may_be_read_and_nothing_else_by_its_secret(house: House) -> None:
    unpaired = house.phone()
    wrong = unpaired.get(f"/calendar/{'x' * 32}.ics")
    assert wrong.status_code == 404
    assert "Sedge Hollow" not in wrong.text
    assert unpaired.post(f"/calendar/{'x' * 32}.ics").status_code == 401


def test_another_book_knows_nothing_of_the_phone(book: Path, tmp_path: Path) -> None:
    one = Pairing(PairedPhones(book, tmp_path / "phones"))
    other = Pairing(PairedPhones(tmp_path / "other.mulch", tmp_path / "phones"))
    _, token = one.pair(one.new_code().text, "Ada")
    assert other.phone(token) is None
    assert one.cookie != other.cookie


def test_a_broken_list_of_phones_lets_nobody_in(book: Path, tmp_path: Path) -> None:
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"))
    _, token = pairing.pair(pairing.new_code().text, "Ada")
    (file,) = (tmp_path / "phones").iterdir()
    file.write_text("{not json")
    assert pairing.phone(token) is None


def test_the_server_listens_at_both_addresses_and_no_other(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """127.0.0.2 stands for the home address: a second address every Linux machine has."""
    bound: list[tuple[str, int]] = []

    def no_server(config: Any) -> Any:
        class Server:
            def run(self, sockets: list[Any]) -> None:
                bound.extend(one.getsockname() for one in sockets)

        return Server()

    monkeypatch.setattr("mulchwright.web.server.SwitchedServer", no_server)
    monkeypatch.setattr("mulchwright.web.server.home_address", lambda chosen: "127.0.0.2")
    monkeypatch.setattr("mulchwright.services.pairing.user_data_path", lambda *_, **__: tmp_path)
    lines: list[str] = []
    tell: Callable[[str], None] = lines.append
    serve(book, 0, False, home_network=True, announce=tell)
    (here, there) = bound
    assert here[0] == "127.0.0.1"
    assert there == ("127.0.0.2", here[1])
    assert f"http://127.0.0.2:{here[1]}/" in lines[1]


# ---- the switch ---------------------------------------------------------------


@dataclass
class Switched:
    """A running server at loopback, whose switch opens 127.0.0.2 (see above)."""

    port: int

    def ask(
        self, host: str, method: str, path: str, body: str = "", cookie: str = ""
    ) -> tuple[int, str, str]:
        """Status, what the browser is sent on to or given as a cookie, and the text."""
        connection = HTTPConnection(host, self.port, timeout=60)
        headers = {
            "Origin": f"http://{host}:{self.port}",
            "Content-Type": "application/x-www-form-urlencoded",
        }
        try:
            connection.request(method, path, body, headers | ({"Cookie": cookie} if cookie else {}))
            answer = connection.getresponse()
            text = answer.read().decode()
            return (
                answer.status,
                answer.headers.get("location", "") or "",
                (answer.headers.get("set-cookie") or text),
            )
        finally:
            connection.close()


@pytest.fixture
def switched(
    book: Path, bundle: Any, tmp_path: Path, small_engine: Any, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Switched]:
    monkeypatch.setattr("mulchwright.web.server.home_address", lambda chosen: "127.0.0.2")
    monkeypatch.setattr("mulchwright.web.phones.phones.private_addresses", lambda: ("127.0.0.2",))
    monkeypatch.setattr("mulchwright.services.pairing.user_data_path", lambda *_, **__: tmp_path)
    monkeypatch.setattr("mulchwright.services.running.user_data_path", lambda *_, **__: tmp_path)
    app = create_app(book, engine=small_engine, bundle=bundle)
    here = _listener("127.0.0.1", 0)
    server = SwitchedServer(uvicorn.Config(app, http=TimedProtocol, log_level="warning", ws="none"))
    context = app.state.context
    context.home_switch.attach(SwitchedListener(server, here, book, context.secret))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [here]})
    thread.start()
    yield Switched(here.getsockname()[1])
    server.should_exit = True
    thread.join(60)
    assert not thread.is_alive()


def test_the_switch_lets_phones_in_and_out_while_the_program_runs(switched: Switched, book: Path) -> None:
    with pytest.raises(OSError):
        switched.ask("127.0.0.2", "GET", "/pair")
    assert "Let phones in" in switched.ask("127.0.0.1", "GET", "/phones")[2]
    assert switched.ask("127.0.0.1", "POST", "/phones/on", "address=127.0.0.2")[:2] == (303, "/phones")
    page = switched.ask("127.0.0.1", "GET", "/phones")[2]
    code = re.search(r'class="pair-code">([A-Z0-9 ]+)<', page)
    assert code
    assert f"http://127.0.0.2:{switched.port}" in page
    with open_book(book) as opened:
        assert opened.setting("home_address") == f"http://127.0.0.2:{switched.port}"
    assert switched.ask("127.0.0.2", "GET", "/now")[:2] == (303, "/pair?to=/now"), "pairing is asked for"
    assert switched.ask("127.0.0.2", "POST", "/phones/off")[0] == 401, "no unpaired phone turns it"
    status, _, cookie = switched.ask("127.0.0.2", "POST", "/pair", f"code={code[1]}&name=Ada")
    assert status == 303
    cookie = cookie.split(";")[0]
    assert switched.ask("127.0.0.2", "GET", "/more", cookie=cookie)[0] == 200
    assert switched.ask("127.0.0.2", "POST", "/phones/off", cookie=cookie)[0] == 422, "nor one that is"
    open_still = HTTPConnection("127.0.0.2", switched.port, timeout=60)
    open_still.request("GET", "/more", headers={"Cookie": cookie})
    assert open_still.getresponse().read()
    assert switched.ask("127.0.0.1", "POST", "/phones/off")[0] == 303
    with pytest.raises(OSError):
        switched.ask("127.0.0.2", "GET", "/pair")
    open_still.auto_open = False

    def asked_again() -> bytes:
        open_still.request("GET", "/more", headers={"Host": "127.0.0.1"})
        return open_still.getresponse().read()

    with pytest.raises((OSError, HTTPException)):
        asked_again()  # what was open before is closed
    open_still.close()
    assert switched.ask("127.0.0.1", "GET", "/more")[0] == 200, "this machine is served on"
    assert switched.ask("127.0.0.1", "POST", "/phones/on")[0] == 303, "and it is turned on again"
    assert switched.ask("127.0.0.2", "GET", "/more", cookie=cookie)[0] == 200, "the phone is still paired"


def test_after_the_switch_a_lingering_connection_never_passes_for_this_machine(house: House) -> None:
    """Its requests could name this machine as their host; the address they came in at is remembered."""
    phone = house.paired()
    assert phone.get("/more").status_code == 200
    house.app.state.context.home_switch.turn_off()
    for headers in ({}, {"host": "127.0.0.1"}):
        answer = phone.get("/more", headers=headers)
        assert answer.status_code == 403
        assert "not open to the home network" in answer.text
    assert house.here.get("/more").status_code == 200


def test_a_port_that_is_taken_there_is_told_and_nothing_is_opened(switched: Switched) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.2", switched.port))
        other.listen()
        status, _, text = switched.ask("127.0.0.1", "POST", "/phones/on")
    assert status == 422
    assert "cannot be used" in text
    assert "Let phones in" in switched.ask("127.0.0.1", "GET", "/phones")[2]


@pytest.mark.browser
def test_the_switch_as_a_journey(switched: Switched, browser: Any) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740}, reduced_motion="reduce")
    page = context.new_page()
    try:
        page.goto(f"http://127.0.0.1:{switched.port}/more")
        page.get_by_role("link", name="Phones", exact=True).click()
        assert_open_to_all(page, opened=False)
        page.set_viewport_size({"width": 360, "height": 740})
        page.get_by_role("button", name="Let phones in").click()
        expect(page.locator(".pair-code")).to_have_text(re.compile(r"[A-Z0-9]{4} [A-Z0-9]{4}"))
        assert_open_to_all(page, opened=False)
        page.get_by_role("button", name="Stop letting phones in").click()
        expect(page.get_by_role("button", name="Let phones in")).to_be_visible()
    finally:
        context.close()
