"""The logbook through its pages: two taps, once each, on the garden's own day, and to be taken back."""

from __future__ import annotations

import re
import threading
import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Sight, UnitSystem
from mulchwright.services.pairing import PairedPhones, Pairing
from mulchwright.trade import load_trade
from mulchwright.web import create_app
from mulchwright.web.beds.log_form import heaviest_kg
from mulchwright.web.shared.phones import HomeNetwork
from mulchwright.web.views.material_drawings import squeeze_test
from mulchwright.web.views.run_drawings import run_stages

from .test_photos import camera_photo

BED, PLAN = "under-the-medlar", "pump-corner"
JSON = {"accept": "application/json"}
TODAY = date(2031, 6, 10)


class NoOutlook:
    """These pages need none."""

    members = 20

    def outlook(self, *_: Any, **__: Any) -> Any:
        raise InputError("not worked out in this test")

    what_if = outlook


@pytest.fixture
def context(book: Path, bundle: Any) -> Iterator[TestClient]:
    app = create_app(book, engine=NoOutlook(), bundle=bundle)  # type: ignore[arg-type]
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield client


@pytest.fixture
def log(book: Path) -> Callable[[], tuple[LogEntry, ...]]:
    """The entries that were added to the three of the sample garden."""

    def read() -> tuple[LogEntry, ...]:
        with open_book(book) as opened:
            return tuple(e for e in opened.garden().log if e.key not in ("built-1", "look-1", "water-1"))

    return read


Log = Callable[[], tuple[LogEntry, ...]]


def send(context: TestClient, bed: str = BED, **fields: str) -> Any:
    return context.post(f"/log/{bed}", data=fields, headers=JSON)


# ---- what is stored ---------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "litres"),
    [
        ({"amount": "can"}, 10.0),
        ({"amount": "hose"}, 120.0),
        ({"amount": "advised", f"advised.{BED}": "14.2 L"}, 14.2),
        ({"amount": "typed", "water": "2,5", "water_as": "cans"}, 25.0),
        ({"amount": "typed", "water": "5", "water_as": "minutes"}, 60.0),
        ({"amount": "typed", "water": "2 buckets", "water_as": "volume"}, 20.0),
        ({"litres": "7"}, 7.0), ({"minutes": "1"}, 12.0), ({"cans": "3"}, 30.0),
    ],
)  # fmt: skip
def test_water_in_cans_and_minutes_becomes_litres(
    context: TestClient, log: Log, fields: dict[str, str], litres: float
) -> None:
    """Litres are minutes times the hose's flow (12 L a minute here), or cans times what one holds (10 L)."""
    assert send(context, kind="watered", **fields).status_code == 200
    (entry,) = log()
    assert entry.litres == pytest.approx(litres)
    assert entry.day == TODAY
    assert entry.entered_at is not None


@pytest.mark.parametrize("sight", list(Sight))
def test_a_look_is_one_button(context: TestClient, log: Log, sight: Sight) -> None:
    assert send(context, kind="looked", sight=sight.value).status_code == 200
    assert log()[0].sight is sight


def test_everything_else_that_can_be_reported(context: TestClient, log: Log) -> None:
    assert send(context, kind="picked", mass="350", count="7", text="Caps <firm>").status_code == 200
    assert send(context, kind="topped_up", material="hardwood-chips", thickness="3").status_code == 200
    assert send(context, kind="moved", to_patch=PLAN).status_code == 200
    answer = context.post(
        f"/log/{BED}", data={"kind": "looked", "signs": ["green-mold", "slime"], "share": "40"}, headers=JSON
    )
    assert answer.status_code == 200, answer.text
    picked, topped, moved, looked = log()
    assert (picked.mass_kg, picked.count) == (0.35, 7), "a bare figure is grams"
    assert (topped.material, topped.thickness_m) == ("hardwood-chips", 0.03)
    assert moved.to_patch == PLAN
    assert looked.signs == ("green-mold", "slime")
    assert looked.share == 0.4
    page = context.get(f"/beds/{BED}/log").text
    assert "picked 350 g, 7 mushrooms: Caps &lt;firm&gt;" in page
    assert "topped up by 3 cm with" in page
    assert "moved living chips to Pump &lt;corner&gt; &amp; co" in page
    assert "Caps &lt;firm&gt;" in context.get(f"/beds/{BED}").text


def test_a_round_with_the_can_is_one_act(book: Path, bundle: Any, tmp_path: Path, garden: Garden) -> None:
    path = tmp_path / "two.mulch"
    other = replace(garden.patches[0], key="second", name="Second")
    create_book(path, replace(garden, patches=(*garden.patches, other)))
    app = create_app(path, engine=NoOutlook(), bundle=bundle)  # type: ignore[arg-type]
    with TestClient(app, base_url="http://127.0.0.1") as context:
        answer = send(context, kind="watered", amount="can", also="second", request_id="a" * 24)
        assert len(answer.json()["stored"]) == 2
        wrong = send(context, kind="watered", amount="can", also=PLAN)
        assert "not built yet" in wrong.json()["message"]
        context.post(f"/log/step/{answer.json()['step']}/undo", headers=JSON)
        with open_book(path) as opened:
            assert len(opened.garden().log) == 3, "all or none, and all taken back"


# ---- once -------------------------------------------------------------------


def test_the_same_tap_twice_is_stored_once(context: TestClient, log: Log) -> None:
    first = send(context, kind="watered", amount="can", request_id="0123456789abcdef")
    second = send(context, kind="watered", amount="can", request_id="0123456789abcdef")
    assert first.json()["stored"] == second.json()["stored"]
    assert second.json()["again"]
    assert len(log()) == 1


def test_another_entry_from_a_page_that_came_back_is_not_lost(context: TestClient, log: Log) -> None:
    """The back button brings the old page with its old mark."""
    send(context, kind="watered", amount="can", request_id="0123456789abcdef")
    send(context, kind="watered", amount="hose", request_id="0123456789abcdef")
    assert [entry.litres for entry in log()] == [10.0, 120.0]


def test_every_form_of_a_page_has_a_mark_of_its_own(context: TestClient) -> None:
    page = context.get(f"/beds/{BED}/log")
    marks = re.findall(r'name="request_id" value="([0-9a-f]+)"', page.text)
    assert len(marks) == len(set(marks)) == 3
    assert page.headers["cache-control"] == "no-store"


def test_two_phones_at_once_lose_and_double_nothing(
    book: Path, bundle: Any, tmp_path: Path, log: Log
) -> None:
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"))
    base = "http://192.168.1.20:8620"
    app = create_app(
        book,
        engine=NoOutlook(),
        bundle=bundle,
        home=HomeNetwork("192.168.1.20", 8620, pairing),  # type: ignore[arg-type]
    )
    with TestClient(app, base_url="http://127.0.0.1"):
        phones = []
        for name in ("Ada", "Kim"):
            phone = TestClient(app, base_url=base, headers={"origin": base} | JSON)
            phone.post("/pair", data={"code": pairing.new_code().text, "name": name}, follow_redirects=False)
            phones.append(phone)
        answers: list[int] = []

        def tap(phone: TestClient, name: str) -> None:
            for n in range(6):
                for _ in range(2):  # a shaky connection sends each twice
                    form = {"kind": "watered", "litres": f"{n + 1} L", "request_id": f"{name}-tap-{n}-mark"}
                    answers.append(phone.post(f"/log/{BED}", data=form).status_code)

        threads = [
            threading.Thread(target=tap, args=(p, n)) for p, n in zip(phones, ("ada", "kim"), strict=True)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
    assert answers == [200] * 24
    lines = sorted((entry.by, entry.litres) for entry in log())
    assert lines == sorted((name, float(n + 1)) for name in ("Ada", "Kim") for n in range(6))


def test_the_form_for_a_look_shows_what_to_look_for(client: TestClient) -> None:
    """Each stage of the run and each answer of the squeeze test is drawn, with its words."""
    page = client.get("/beds/under-the-medlar/log/write?kind=looked").text
    for stage in run_stages(load_trade(), "sawdust-spawn"):
        assert stage.svg in page
        assert stage.words in page
    for svg, name, words in squeeze_test():
        assert svg in page
        assert f"<strong>{name}</strong></p><p>{words}</p>" in page
    assert page.count('role="img"') >= 7


# ---- days -------------------------------------------------------------------


def at(book: Path, bundle: Any, when: datetime, zone: str) -> TestClient:
    """An app whose clock stands at an instant, over a garden in a zone, its calendar running."""
    with open_book(book) as opened:
        garden = opened.garden()
        opened.save_garden(replace(garden, stands_at=None, place=replace(garden.place, timezone=zone)))

    app = create_app(book, engine=NoOutlook(), bundle=bundle, clock=lambda: when)  # type: ignore[arg-type]
    return TestClient(app, base_url="http://127.0.0.1")


@pytest.mark.parametrize(
    ("when", "zone", "day"),
    [
        # Midnight in the garden, not in Greenwich nor where the phone thinks it is.
        ("2031-06-11T03:30:00+00:00", "America/New_York", "2031-06-10"),
        ("2031-06-10T15:30:00+00:00", "Asia/Tokyo", "2031-06-11"),
        # The hours around both clock changes of 2031 in New York: 9 March and 2 November, 2 o'clock.
        ("2031-03-09T04:59:00+00:00", "America/New_York", "2031-03-08"),
        ("2031-03-09T07:30:00+00:00", "America/New_York", "2031-03-09"),
        ("2031-03-10T03:59:00+00:00", "America/New_York", "2031-03-09"),
        ("2031-11-02T05:30:00+00:00", "America/New_York", "2031-11-02"),
        ("2031-11-02T06:30:00+00:00", "America/New_York", "2031-11-02"),
        ("2031-11-03T04:59:00+00:00", "America/New_York", "2031-11-02"),
        ("2031-11-03T05:00:00+00:00", "America/New_York", "2031-11-03"),
    ],
)
def test_the_day_is_the_gardens(book: Path, bundle: Any, log: Log, when: str, zone: str, day: str) -> None:
    """Offsets by the zone database: New York is 4 hours behind in summer and 5 in winter, Tokyo 9 ahead."""
    instant = datetime.fromisoformat(when)
    with at(book, bundle, instant, zone) as context:
        assert f'value="{day}" max="{day}"' in context.get(f"/beds/{PLAN}/log/write?kind=note").text
        assert send(context, PLAN, kind="note", text="A word").status_code == 200
        assert log()[0].day == date.fromisoformat(day)
        following = date.fromordinal(date.fromisoformat(day).toordinal() + 1).isoformat()
        late = send(context, PLAN, kind="note", text="A word", day=following)
        assert "still to come" in late.json()["errors"]["day"]


def test_entries_of_the_doubled_hour_keep_their_order(log: Log, context: TestClient, book: Path) -> None:
    """1:30 comes twice on 2 November 2031 in New York; instants, not the hands of the clock, order them."""
    zone = ZoneInfo("America/New_York")
    first = datetime(2031, 11, 2, 5, 30, tzinfo=UTC).astimezone(zone)
    second = datetime(2031, 11, 2, 6, 30, tzinfo=UTC).astimezone(zone)
    assert (first.hour, first.minute) == (second.hour, second.minute) == (1, 30)
    day = date(2031, 6, 9)
    with open_book(book) as opened:
        opened.add_entries([LogEntry("b", BED, day, LogKind.NOTE, text="second", entered_at=second)])
        opened.add_entries([LogEntry("a", BED, day, LogKind.NOTE, text="first", entered_at=first)])
    page = context.get(f"/beds/{BED}/log").text
    assert page.index("note: second") < page.index("note: first"), "the newest on top"


def test_a_page_left_open_overnight_means_today(context: TestClient, log: Log) -> None:
    send(context, kind="watered", amount="can", day="2031-06-09", page_day="2031-06-09")
    send(context, kind="watered", amount="hose", day="2031-06-08", page_day="2031-06-09")
    assert [entry.day for entry in log()] == [TODAY, date(2031, 6, 8)]


# ---- refusals ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("bed", "fields", "field", "says"),
    [
        (BED, {"kind": "watered", "amount": "can", "day": "2031-06-11"}, "day", "still to come"),
        (BED, {"kind": "watered", "amount": "can", "day": "2031-04-04"}, "day", "was built on 5 April"),
        (BED, {"kind": "watered", "amount": "can", "day": "tomorrow"}, "day", "no day"),
        (BED, {"kind": "watered"}, "litres", "How much water"),
        (BED, {"kind": "watered", "litres": "-3"}, "litres", ""),
        (BED, {"kind": "watered", "litres": "much"}, "litres", "Volume"),
        (BED, {"kind": "watered", "minutes": "1e999"}, "minutes", "type a number"),
        (BED, {"kind": "watered", "cans": "nan"}, "cans", "type a number"),
        (BED, {"kind": "watered", "cans": "2", "litres": "3"}, "cans", "one way"),
        (BED, {"kind": "watered", "amount": "advised"}, "litres", "no advice"),
        (BED, {"kind": "looked"}, "sight", "What did you see"),
        (BED, {"kind": "looked", "sight": "dragons"}, "sight", "dragons"),
        (BED, {"kind": "looked", "share": "140"}, "share", "0 to 100"),
        (BED, {"kind": "looked", "signs": "curse"}, "signs", "no sign"),
        (BED, {"kind": "picked"}, "mass", "How much was picked"),
        (BED, {"kind": "picked", "mass": "0"}, "mass", "nothing to see"),
        (BED, {"kind": "picked", "mass": "1 kg", "count": "2.5"}, "count", "whole"),
        (BED, {"kind": "topped_up", "material": "gold"}, "material", "gold"),
        (BED, {"kind": "moved", "to_patch": BED}, "to_patch", "other bed"),
        (BED, {"kind": "note"}, "text", "few words"),
        (BED, {"kind": "note", "text": "x" * 10_001}, "text", "10,000"),
        (BED, {"kind": "burnt"}, "kind", "Choose what was done"),
        (BED, {}, "kind", "Choose what was done"),
        (PLAN, {"kind": "picked", "mass": "1 kg"}, "kind", "not built yet"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_reported_beside_its_field(
    context: TestClient, log: Log, bed: str, fields: dict[str, str], field: str, says: str
) -> None:
    answer = send(context, bed, **fields)
    assert answer.status_code == 422
    assert says in answer.json()["errors"][field]
    page = context.post(f"/log/{bed}", data=fields)
    assert page.status_code == 422
    assert f'id="lf-{field}"' in page.text
    assert log() == ()


def test_a_bed_that_is_not_there(context: TestClient) -> None:
    assert send(context, "nowhere", kind="note", text="x").status_code == 404
    assert context.get("/beds/nowhere/log").status_code == 404
    assert context.get("/log/entry/nowhere").status_code == 404
    assert context.get("/log/photo/nowhere").status_code == 404


def test_a_pick_heavier_than_the_bed_could_bear_asks_and_keeps(
    context: TestClient, log: Log, garden: Garden
) -> None:
    most = heaviest_kg(garden.patches[0], load_trade())
    fair = send(context, kind="picked", mass=f"{0.6 * most:.3f} kg")
    assert fair.status_code == 200
    asked = send(context, kind="picked", mass=f"{0.6 * most:.3f} kg", text="again")
    assert asked.status_code == 409
    assert "If the figure is right, say yes" in asked.json()["ask"]
    assert len(log()) == 1
    plain = context.post(f"/log/{BED}", data={"kind": "picked", "mass": "99 kg"})
    assert 'name="sure" value="yes"' in plain.text
    assert 'value="99 kg"' in plain.text
    assert send(context, kind="picked", mass="99 kg", sure="yes").status_code == 200
    assert len(log()) == 2


def test_us_units_throughout(context: TestClient, book: Path, log: Log) -> None:
    """One US gallon is 231 cubic inches, 3.785411784 L; one ounce 28.349523125 g (exact, NIST SP 811)."""
    with open_book(book) as opened:
        opened.set_units(UnitSystem.US)
    send(context, kind="watered", litres="2")
    send(context, kind="picked", mass="10")
    watered, picked = log()
    assert watered.litres == pytest.approx(2 * 3.785411784)
    assert picked.mass_kg == pytest.approx(0.28349523125)
    page = context.get(f"/beds/{BED}/log").text
    assert "gallons" in page
    assert not re.search(r"\d (L|kg|g|cm)\b", page)


# ---- change and take back ---------------------------------------------------


def test_an_entry_is_put_right_and_the_change_taken_back(context: TestClient, log: Log, book: Path) -> None:
    form = context.get("/log/entry/water-1").text
    revision = re.search(r'name="revision" value="(\d+)"', form)
    assert revision is not None
    answer = context.post(
        "/log/entry/water-1", headers=JSON,
        data={"water": "12 L", "day": "2031-06-02", "revision": revision[1], "text": "can",
              "request_id": "c" * 12},
    )  # fmt: skip
    assert answer.status_code == 200, answer.text

    def water() -> LogEntry:
        with open_book(book) as opened:
            return next(e for e in opened.garden().log if e.key == "water-1")

    assert (water().litres, water().day, water().text) == (12.0, date(2031, 6, 2), "can")
    context.post(f"/log/step/{answer.json()['step']}/undo", headers=JSON)
    assert (water().litres, water().day) == (24.0, date(2031, 6, 1))


def test_a_figure_left_as_shown_keeps_its_digits(context: TestClient, log: Log, book: Path) -> None:
    send(context, kind="watered", litres="14.2371 L")
    (entry,) = log()
    shown = re.search(r'name="water" value="([^"]+)"', context.get(f"/log/entry/{entry.key}").text)
    assert shown is not None
    context.post(
        f"/log/entry/{entry.key}", data={"water": shown[1], "text": "x", "water_as": "volume"}, headers=JSON
    )
    assert log()[0].litres == pytest.approx(14.2371)
    assert log()[0].text == "x"
    context.post("/log/entry/look-1", data={"sight": "pins"}, headers=JSON)
    with open_book(book) as opened:
        look = next(e for e in opened.garden().log if e.key == "look-1")
    assert look.day == date(2031, 5, 20), "a day that was not sent stays"


def test_two_windows_over_one_entry_overwrite_nothing(context: TestClient, book: Path) -> None:
    page = context.get("/log/entry/water-1").text
    revision = re.search(r'name="revision" value="(\d+)"', page)
    assert revision is not None
    old = {"water": "30 L", "revision": revision[1]}
    assert (
        context.post("/log/entry/water-1", data={"water": "12 L"} | {"revision": revision[1]}).status_code
        == 200
    )
    clash = context.post("/log/entry/water-1", data=old)
    assert clash.status_code == 409
    assert "watered, 12 L" in clash.text
    assert 'value="30 L"' in clash.text
    removed = context.post("/log/entry/water-1/remove", data={"revision": revision[1]})
    assert removed.status_code == 409


def test_removed_and_put_back(context: TestClient, book: Path) -> None:
    page = context.post("/log/entry/water-1/remove", data={})
    assert "watered, 24 L" not in page.text
    assert "Undo" in page.text
    step = re.search(r"/log/step/(\d+)/undo", page.text)
    assert step is not None
    assert "watered, 24 L" in context.post(f"/log/step/{step[1]}/undo", data={"bed": BED}).text
    again = context.post(f"/log/step/{step[1]}/undo", headers=JSON)
    assert again.status_code == 409
    assert "already" in again.json()["message"]
    assert context.post("/log/step/999/undo", headers=JSON).status_code == 409


def test_by_date_by_bed_and_by_kind(context: TestClient) -> None:
    send(context, PLAN, kind="note", text="Thought about it")
    by_date = context.get("/log").text
    assert (
        by_date.index("<h2>10 June</h2>")
        < by_date.index("<h2>1 June</h2>")
        < by_date.index("<h2>20 May</h2>")
    )
    by_bed = context.get("/log?by=bed").text
    assert by_bed.index("<h2>Under the medlar</h2>") < by_bed.index("<h2>Pump &lt;corner&gt; &amp; co</h2>")
    only = context.get(f"/log?bed={BED}&kind=watered").text
    assert "watered, 24 L" in only
    assert "looked" not in only.split("<main")[1].split("<form")[0]
    for odd in ("/log?page=99", "/log?page=x", "/log?kind=x&bed=y", "/log?step=x", f"/log?page={'9' * 400}"):
        assert context.get(odd).status_code == 200


def test_a_long_logbook_has_pages(context: TestClient, book: Path) -> None:
    with open_book(book) as opened:
        opened.add_entries(
            [LogEntry(f"n-{n}", BED, date(2031, 6, 1), LogKind.NOTE, text=f"n {n}.") for n in range(130)]
        )
    first, last = context.get("/log").text, context.get("/log?page=3").text
    assert "1 of 3" in first
    assert "Older" in first
    assert "built" in last
    assert "All entries of this bed" in context.get(f"/beds/{BED}/log").text


# ---- photos -----------------------------------------------------------------


def test_photos_go_in_with_an_entry_and_come_back_without_their_place(context: TestClient, log: Log) -> None:
    files = [("photo", ("a.jpg", camera_photo(size=(900, 600)), "image/jpeg")),
             ("photo", ("b.png", camera_photo("PNG", (60, 40)), "image/png"))]  # fmt: skip
    form = {"kind": "note", "request_id": "p" * 12}
    assert context.post(f"/log/{BED}", data=form, files=files, headers=JSON).status_code == 200
    assert context.post(f"/log/{BED}", data=form, files=files, headers=JSON).json()["again"]
    (entry,) = log()
    assert len(entry.photos) == 2
    for address in (f"/log/photo/{entry.photos[0]}", f"/log/photo/{entry.photos[0]}?small=1"):
        answer = context.get(address)
        assert answer.headers["content-type"] == "image/jpeg"
        assert b"Exif" not in answer.content
    assert entry.photos[1] in context.get(f"/beds/{BED}/log").text
    gone = {"text": "One is enough", f"drop.{entry.photos[0]}": "yes"}
    context.post(f"/log/entry/{entry.key}", data=gone, headers=JSON)
    assert log()[0].photos == entry.photos[1:]


def test_a_disguised_file_is_refused_and_the_entry_waits(context: TestClient, log: Log) -> None:
    files = {"photo": ("holiday.jpg", b"<html><script>1</script>", "image/jpeg")}
    answer = context.post(f"/log/{BED}", data={"kind": "note", "text": "x"}, files=files, headers=JSON)
    assert "whatever its name says" in answer.json()["errors"]["photo"]
    page = context.post(f"/log/{BED}", data={"kind": "note", "text": "kept"}, files=files)
    assert page.status_code == 422
    assert ">kept</textarea>" in page.text
    assert log() == ()


def test_too_many_photos_are_reported(context: TestClient, log: Log) -> None:
    files = [("photo", (f"{n}.png", b"x", "image/png")) for n in range(7)]
    answer = context.post(f"/log/{BED}", data={"kind": "note"}, files=files, headers=JSON)
    assert answer.status_code == 422
    assert "6 photos go with one entry" in answer.json()["message"]


@pytest.mark.parametrize("expected", [True, False], ids=["size-stated", "in-pieces"])
def test_a_hundred_megabytes_are_refused_without_being_kept(
    context: TestClient, log: Log, expected: bool
) -> None:
    """The file is sent in pieces and never whole in memory; no more than the limit is read."""
    piece, count = b"\xff\xd8\xff\xe0" * 250_000, 100
    head = (
        b'--edge\r\ncontent-disposition: form-data; name="photo"; filename="a.jpg"\r\n'
        b"content-type: image/jpeg\r\n\r\n"
    )

    async def pieces() -> Any:
        yield head
        for _ in range(count):
            yield piece

    heard = 0

    async def ask() -> list[dict[str, Any]]:
        nonlocal heard
        queue = pieces()
        sent: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            nonlocal heard
            body = await anext(queue, b"")
            heard += len(body)
            return {"type": "http.request", "body": body, "more_body": bool(body)}

        async def answer(message: Any) -> None:
            sent.append(dict(message))

        size = [(b"content-length", str(len(head) + count * len(piece)).encode())] if expected else []
        scope = {
            "type": "http", "method": "POST", "path": f"/log/{BED}", "raw_path": b"", "query_string": b"",
            "headers": [(b"host", b"127.0.0.1"), (b"accept", b"application/json"),
                        (b"content-type", b"multipart/form-data; boundary=edge"), *size],
            "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 5), "scheme": "http", "http_version": "1.1",
        }  # fmt: skip
        await context.app(scope, receive, answer)
        return sent

    tracemalloc.start()
    assert context.portal is not None
    sent = context.portal.call(ask)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sent[0]["status"] == 413
    assert b"more than 30 MB" in sent[1]["body"]
    assert heard > 100_000_000, "it was heard out, so that the browser hears the answer"
    assert peak < 8_000_000
    assert log() == ()
