"""A spore print takes hours: a check completed minutes after picking opens nothing, by whatever way it comes.

Each way is tried twice with one clock: minutes after the pick was logged, and after the hours of the table.
"""

import html
import json
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, export_json, garden_from_toml, import_whole, open_book
from mulchwright.garden import (
    Dryer,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    LogKind,
    Photo,
    Use,
)
from mulchwright.keep import questions
from mulchwright.trade import load_trade
from mulchwright.web import create_app
from mulchwright.web.picks.gate import Shut, open_or_refuse
from mulchwright.web.shared.chart_bundle import ChartBundle

from .test_logbook import NoOutlook

TRADE = load_trade()
KING, BED = "king-stropharia", "under-the-medlar"
TODAY = date(2031, 6, 10)
PICKED = datetime(2031, 6, 10, 14, 0, tzinfo=UTC)
MINUTES, HOURS = timedelta(minutes=6), timedelta(hours=4, minutes=1)
PRINT = f"f.{KING}-print"
SMALL_JPEG = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300" + "10" * 64
    + "ffc0000b080002000301011100ffc400140001000000000000000000000000000000ffda0008010100003f00ffd9"
)  # fmt: skip
FEEDING = [fate for fate in Fate if fate.feeds]


class Clock:
    def __init__(self) -> None:
        self.now = PICKED

    def __call__(self) -> datetime:
        return self.now


class AppContext:
    """The app over a book with a pick just logged through its page, and a clock the test holds."""

    def __init__(self, path: Path, garden: Garden, bundle: ChartBundle) -> None:
        dryer = Dryer("kitchen-dryer", "Kitchen dryer", 5, 0.12, 450.0)
        create_book(path, replace(garden, dryers=(dryer,)))
        self.path, self.clock = path, Clock()
        app = create_app(path, engine=NoOutlook(), bundle=bundle, clock=self.clock)
        self.client = TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)
        assert self.post("/pick", {f"mass.{BED}": "400 g"}).status_code == 303
        self.pick = next(e.key for e in self.garden().log if e.kind is LogKind.PICKED)

    def garden(self) -> Garden:
        with open_book(self.path) as book:
            return book.garden()

    def after(self, span: timedelta) -> None:
        self.clock.now = PICKED + span

    def get(self, path: str) -> str:
        answer = self.client.get(path)
        assert answer.status_code == 200, answer.text[:300]
        return answer.text

    def post(self, path: str, form: dict[str, str]) -> Any:
        return self.client.post(
            path, data=form, headers={"origin": "http://127.0.0.1"}, follow_redirects=False
        )

    def check(self, color: str = "purple-black", **changed: str) -> Any:
        open_check = next((c.key for c in self.garden().checks), "")
        typed = {f"f.{q.feature.key}": "as_described" for q in questions(TRADE, KING)}
        typed |= {"species": KING, "check": open_check, "by": "Ida", "second_look_by": "Tom"}
        return self.post(f"/picks/{self.pick}/check", typed | {"print_color": color} | changed)

    def use(self, fate: Fate, mass: str = "50 g") -> Any:
        return self.post(f"/picks/{self.pick}", {"fate": fate.value, "mass": mass})

    def dry(self) -> Any:
        return self.post("/stores/dryer/loads", {
            "dryer": "kitchen-dryer", "way": "picks", f"pick_{self.pick}": "100 g", "thickness": "6 mm",
            "temperature": "50 °C", "room": "20 °C", "humidity": "60", "at": "", "request_id": "one-load",
        })  # fmt: skip

    def pack(self) -> Any:
        return self.post("/stores/pantry/new", {
            "kind": "frozen", "name": "Pack 1", f"pick_{self.pick}": "100 g", "request_id": "one-pack",
            "day": TODAY.isoformat(), "mass": "", "kept_at": "", "text": "",
        })  # fmt: skip

    def fed(self) -> list[Use]:
        return [use for use in self.garden().uses if use.fate.feeds]


@pytest.fixture
def context(tmp_path: Path, garden: Garden, bundle: ChartBundle) -> AppContext:
    return AppContext(tmp_path / "hours.mulch", garden, bundle)


def words(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def check_of(pick: str, at: datetime, **changed: Any) -> IdentityCheck:
    """A check that says of itself that it was completed at a time."""
    findings = tuple((q.feature.key, Finding.AS_DESCRIBED) for q in questions(TRADE, KING))
    return replace(
        IdentityCheck(
            "brought-in", BED, KING, TODAY, findings, picks=(pick,), by="Ida", print_color="purple-black",
            print_laid_at=PICKED, print_read_at=at, second_look_by="Tom", entered_at=at,
        ),
        **changed,
    )  # fmt: skip


def test_the_page_says_when_to_come_back_and_opens_only_then(context: AppContext) -> None:
    context.after(MINUTES)
    page = context.get(f"/picks/{context.pick}/check")
    assert "A print is due" in page
    assert re.search(r"You can read the print after 1[0-9]:00", words(page))
    assert 'name="print_laid_at" value="2031-06-10T' in page
    answer = context.check()
    assert answer.status_code == 422
    assert re.search(r"Come back after 1[0-9]:00", words(answer.text))
    assert "overnight is usual" in words(answer.text)
    assert context.garden().checks == ()
    # The rest is noted, and says when the print can be read.
    assert context.check("", **{PRINT: "not_seen"}).status_code == 303
    assert "can be read not before" in words(context.get(f"/picks/{context.pick}"))
    assert context.check().status_code == 422
    context.after(HOURS)
    assert context.check().status_code == 303
    (check,) = context.garden().checks
    assert check.print_laid_at == PICKED
    assert check.print_read_at == PICKED + HOURS
    assert context.use(Fate.EAT).status_code == 303


@pytest.mark.parametrize("fate", FEEDING)
def test_a_direct_request_is_no_way_round(context: AppContext, fate: Fate) -> None:
    context.after(MINUTES)
    for changed in (
        {"print_laid_at": "2031-06-10T00:10"}, {"print_laid_at": "2031-06-09T20:00"}, {"again": "yes"},
        {"print_read_at": "2031-06-10T09:59"}, {"print_color": ""},
    ):  # fmt: skip
        context.check(**changed)
        assert context.use(fate).status_code == 422
    assert context.fed() == []


def test_a_pick_noted_as_of_yesterday_waits_as_well(context: AppContext) -> None:
    context.after(MINUTES)
    context.post("/pick", {f"mass.{BED}": "300 g", "day": "2031-06-09"})
    context.pick = next(e.key for e in context.garden().log if e.kind is LogKind.PICKED and e.mass_kg == 0.3)
    assert context.check(print_laid_at="2031-06-09T18:00").status_code == 422
    context.after(MINUTES + HOURS)
    assert context.check(print_laid_at="2031-06-09T18:00").status_code == 303
    assert context.use(Fate.EAT).status_code == 303


@pytest.mark.parametrize("way", ("dry", "pack"))
def test_dryer_and_pantry_wait(context: AppContext, way: str) -> None:
    """With a check in the book that claims to be done, as an import could have left it."""
    context.after(MINUTES)
    with open_book(context.path) as book:
        book.put_check(check_of(context.pick, PICKED + MINUTES))
    answer = getattr(context, way)()
    assert answer.status_code == 422
    assert "at least 4 hours" in words(answer.text)
    assert context.fed() == []
    context.after(HOURS)
    assert getattr(context, way)().status_code == 422, (
        "the print was noted too soon; later alone heals nothing"
    )
    assert context.check().status_code == 303
    assert getattr(context, way)().status_code == 303
    assert len(context.fed()) == 1


def test_a_jar_stays_shut_too(context: AppContext) -> None:
    pick = context.pick
    jar = Jar("jar", "Jar", JarKind.DRIED, KING, TODAY, 0.04, date(2032, 1, 1), picks=(pick,))
    meal = Use("meal", TODAY, Fate.EAT, 0.01, jar="jar")
    for at, color, opens in (
        (PICKED + MINUTES, "purple-black", False),
        (PICKED + HOURS, "", False),
        (PICKED + HOURS, "rust-brown", False),
        (PICKED + HOURS, "purple-black", True),
    ):
        made = replace(context.garden(), jars=(jar,), checks=(check_of(pick, at, print_color=color),))
        now = PICKED + HOURS + MINUTES
        if opens:
            assert open_or_refuse(made, TRADE, [meal], now=now)[0].check == "brought-in"
        else:
            with pytest.raises(Shut):
                open_or_refuse(made, TRADE, [meal], now=now)


def by_json(garden: Garden, version: int) -> Garden:
    data = json.loads(json.dumps(export_json(garden)))
    if version == 5:
        data["version"] = 5
        for check in data["garden"]["checks"]:
            for name in ("print_laid_at", "print_read_at", "second_look_by"):
                del check[name]
    return import_whole(data, trade=TRADE).garden


@pytest.mark.parametrize("version", (5, 6))
def test_an_import_opens_nothing(
    context: AppContext, tmp_path: Path, bundle: ChartBundle, version: int
) -> None:
    context.after(HOURS)
    for n, check in enumerate(
        (
            check_of(context.pick, PICKED + MINUTES),
            check_of(context.pick, PICKED + HOURS, print_color=""),
            check_of(context.pick, PICKED + timedelta(days=2)),
            check_of(context.pick, PICKED + HOURS, print_color="white"),
        )
    ):
        brought = by_json(replace(context.garden(), checks=(check,)), version)
        path = tmp_path / f"brought-{n}.mulch"
        create_book(path, brought)
        app = create_app(path, engine=NoOutlook(), bundle=bundle, clock=context.clock)
        client = TestClient(app, base_url="http://127.0.0.1")
        for fate in FEEDING:
            answer = client.post(f"/picks/{context.pick}", data={"fate": fate.value}, follow_redirects=False)
            assert answer.status_code == 422, (n, fate)
        assert re.search(r'value="eat" disabled', client.get(f"/picks/{context.pick}").text)
    whole = by_json(replace(context.garden(), checks=(check_of(context.pick, PICKED + HOURS),)), 6)
    use = Use("meal", TODAY, Fate.EAT, 0.1, pick=context.pick)
    assert open_or_refuse(whole, TRADE, [use], now=PICKED + HOURS)


FILE = """
units = "metric"
[place]
name = "Sedge Hollow"
latitude = 44.5
longitude = -73.2
elevation = 100
timezone = "America/New_York"
[[patch]]
name = "Lane"
species = "king-stropharia"
area = "2 m2"
built_on = 2031-04-05
[[patch.layer]]
material = "hardwood-chips"
thickness = "10 cm"
[[log]]
patch = "Lane"
day = 2031-06-10
kind = "picked"
mass = "400 g"
{logged}
[[check]]
patch = "Lane"
day = {day}
picks = [2031-06-10]
second_look_by = "Tom"
{print}
[check.findings]
"""


def from_file(print_words: str, day: str = "2031-06-10", logged: str = "") -> Garden:
    keys = (q.feature.key.removeprefix(f"{KING}-") for q in questions(TRADE, KING))
    found = "\n".join(f'{key} = "as described"' for key in keys)
    return garden_from_toml(FILE.format(print=print_words, day=day, logged=logged) + found, trade=TRADE)


COLOR = 'print_color = "dark purple-brown"\n'
LAID, EARLY, LATE = (
    f"print_{name}_at = 2031-06-10T{at}:00-04:00\n"
    for name, at in (("laid", "10:00"), ("read", "10:06"), ("read", "14:01"))
)


@pytest.mark.parametrize(
    ("text", "day", "opens"),
    [
        (COLOR, "2031-06-10", False),
        (COLOR, "2031-06-11", True),
        ("", "2031-06-11", False),
        (COLOR + LAID + EARLY, "2031-06-10", False),
        (COLOR + LAID + LATE, "2031-06-10", True),
        ('print_color = "rust-brown"\n' + LAID + LATE, "2031-06-10", False),
    ],
)
def test_a_garden_file_opens_nothing_sooner(text: str, day: str, opens: bool) -> None:
    garden = from_file(text, day)
    pick = next(e for e in garden.log if e.kind is LogKind.PICKED)
    use = Use("meal", date(2031, 6, 11), Fate.GIVE, 0.1, pick=pick.key)
    now = datetime(2031, 6, 11, 20, 0, tzinfo=UTC)
    if opens:
        assert open_or_refuse(garden, TRADE, [use], now=now)
    else:
        with pytest.raises(Shut):
            open_or_refuse(garden, TRADE, [use], now=now)


def test_a_wrong_color_is_a_difference_whatever_was_answered(context: AppContext) -> None:
    context.after(HOURS)
    assert context.check("rust-brown").status_code == 303
    (check,) = context.garden().checks
    assert dict(check.findings)[f"{KING}-print"] is Finding.DIFFERENT
    assert context.use(Fate.EAT).status_code == 422
    assert context.check(again="yes", check="").status_code == 303
    assert context.use(Fate.EAT).status_code == 422, "a second look does not open it"
    assert "marked DO NOT EAT" in context.get(f"/picks/{context.pick}")


def test_the_first_crop_asks_for_a_second_pair_of_eyes_and_says_what_it_is_worth(
    context: AppContext,
) -> None:
    context.after(HOURS)
    page = words(context.get(f"/picks/{context.pick}/check"))
    assert "Who else looked" in page
    assert "Neither makes it safe to eat." in page
    assert context.check(second_look_by="").status_code == 303
    assert context.use(Fate.EAT).status_code == 422
    with open_book(context.path) as book:
        book.add_photo(Photo("photo-1", SMALL_JPEG, SMALL_JPEG, 3, 2))
        pick = next(e for e in book.garden().log if e.key == context.pick)
        book.change_entry(replace(pick, photos=("photo-1",)))
    assert context.use(Fate.EAT).status_code == 303


def test_a_second_look_can_be_added_later(context: AppContext) -> None:
    context.after(HOURS)
    context.check(second_look_by="")
    assert context.use(Fate.EAT).status_code == 422
    (check,) = context.garden().checks
    form = {"species": KING, "check": check.key, "by": "Ida", "second_look_by": "Cedar Valley Mycologists"}
    assert context.post(f"/picks/{context.pick}/check", form).status_code == 303
    (check,) = context.garden().checks
    assert (check.second_look_by, check.print_color) == ("Cedar Valley Mycologists", "purple-black")
    assert context.use(Fate.EAT).status_code == 303
