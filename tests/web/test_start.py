"""The first hour: a book that is not there yet, four steps, each kept at once, left and resumed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, Garden, Place, Stage, UnitSystem
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.weather import from_reanalysis, shipped_record
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.start.climate import twelve
from mulchwright.web.start.pasted import rows_of_table
from mulchwright.web.start.place import parse_degrees
from mulchwright.web.start.start import rough_plan

from .barriers import PHONE, assert_open_to_all

PLACE = {
    "name": "Sedge Hollow", "latitude": "44.5", "longitude": "73.2 W", "elevation": "100 m",
    "timezone": "America/New_York", "units": "metric",
}  # fmt: skip
CLIMATE = {
    "low": "-12 -11 -5 1 7.5 12.5 15.5 14.5 10 4 -1 -8",
    "high": "-2; 0; 5; 13; 20; 25; 27,5; 26; 21,5; 14; 7; 0,5",
    "rain": "55 48 60 75 88 98 105 98 92 92 80 65",
    "source": "A wall calendar",
}
GROUND = {
    "width": "12 m", "depth": "8 m", "north": "0", "house": "top", "house_height": "5.5 m",
    "tree1_x": "3 m", "tree1_y": "2 m", "tree1_radius": "2 m", "tree1_height": "6 m",
    "tree2_x": "10", "tree2_y": "2", "tree2_radius": "1.5", "tree2_height": "4",
}  # fmt: skip


@pytest.fixture
def new_book(tmp_path: Path) -> Path:
    return tmp_path / "new.mulch"


@pytest.fixture
def new_client(new_book: Path, bundle: ChartBundle) -> Iterator[TestClient]:
    app = create_app(new_book, new=True, engine=AlmanacEngine(members=40, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        yield client


def test_every_door_of_a_book_that_is_not_there_leads_to_the_first_step(
    new_client: TestClient, new_book: Path
) -> None:
    for path in ("/", "/beds", "/ground", "/ground/sun", "/ground/choose"):
        answer = new_client.get(path)
        assert str(answer.url).endswith("/start/place"), path
        assert "Where is your garden?" in answer.text
    assert not new_book.exists()


def test_four_steps_of_one_transaction_each_end_in_a_planned_bed(
    new_client: TestClient, new_book: Path, filled: Callable[[TestClient, str], str]
) -> None:
    def revision() -> int:
        # Changes of the garden; an outlook that is kept in the background is a change of the book alone.
        with closing(sqlite3.connect(new_book)) as book:
            return int(book.execute("SELECT count(*) FROM change WHERE of_garden").fetchone()[0])

    assert str(new_client.post("/start/place", data=PLACE).url).endswith("/start/climate")
    first = revision()
    assert str(new_client.post("/start/climate", data=CLIMATE).url).endswith("/start/ground")
    assert revision() == first + 1
    assert str(new_client.post("/start/ground", data=GROUND).url).endswith("/start/bed")
    assert revision() == first + 2
    address = "/ground/spots?start=1&count=1&kind=straw-under-chips/king-stropharia&area=3 m2"
    page = filled(new_client, address)
    assert "Last step" in page
    spot = page.split('name="s1" value="')[1].split('"')[0]
    answer = new_client.post(
        "/ground/spots/plan",
        data={"n": "1", "kind": "straw-under-chips/king-stropharia", "s1": spot, "name": "First bed"},
    )
    assert str(answer.url).endswith("/beds/first-bed")
    assert revision() == first + 3
    with open_book(new_book) as book:
        garden = book.garden()
    assert garden.place.latitude_deg == 44.5
    assert garden.place.longitude_deg == -73.2
    assert garden.normals is not None
    assert garden.normals.temperature_max_c[6] == 27.5
    assert garden.normals.source == "A wall calendar"
    assert len(garden.crowns) == 2
    assert garden.walls[0].house
    assert garden.patches[0].stage is Stage.PLANNED
    assert garden.patches[0].bed == "garden-ground"
    assert str(new_client.get("/").url).endswith("/now")


def test_who_leaves_comes_back_to_the_next_step(new_client: TestClient, new_book: Path) -> None:
    new_client.post("/start/place", data=PLACE)
    assert str(new_client.get("/start").url).endswith("/start/ground"), "the climate came with the place"
    place = new_client.get("/start/place").text
    assert 'value="Sedge Hollow"' in place
    assert 'value="-73.2"' in place
    new_client.post("/start/place", data=PLACE | {"name": "Sedge Hollow, upper end"})
    with open_book(new_book) as book:
        assert book.garden().place.name == "Sedge Hollow, upper end"


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"latitude": "95"}, "Latitude lies from 0 to 90 degrees"),
        ({"latitude": "north"}, "“north” is no latitude"),
        ({"longitude": "200 W"}, "Longitude lies from 0 to 180"),
        ({"elevation": "high"}, "high"),
        ({"elevation": "9000 m"}, "-430 to 6000"),
        ({"timezone": "Mars/Base"}, "is no time zone"),
    ],
)
def test_a_place_that_cannot_be_is_reported_and_no_book_is_made(
    new_client: TestClient, new_book: Path, changed: dict[str, str], message: str
) -> None:
    answer = new_client.post("/start/place", data=PLACE | changed)
    assert answer.status_code == 422
    assert message in answer.text
    assert not new_book.exists()
    kept = next(value for key, value in PLACE.items() if key not in changed)
    assert kept in answer.text


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"low": "1 2 3"}, "These are 3 figures; twelve are needed"),
        ({"rain": "1 2 3 4 5 6 7 8 9 ten 11 12"}, "“ten” for month 10 is not a figure"),
        ({"low": CLIMATE["high"], "high": CLIMATE["low"]}, "exchange them"),
        ({"low": "", "high": "", "rain": ""}, "Nothing was entered. Paste a table"),
    ],
)
def test_normals_that_cannot_be_are_reported_and_kept_in_the_form(
    new_client: TestClient, changed: dict[str, str], message: str
) -> None:
    new_client.post("/start/place", data=PLACE)
    answer = new_client.post("/start/climate", data=CLIMATE | changed)
    assert answer.status_code == 422
    assert message in answer.text
    assert "A wall calendar" in answer.text


def test_a_stations_file_is_taken_in(new_client: TestClient, new_book: Path) -> None:
    from importlib.resources import files

    record = files("mulchwright.weather").joinpath("records/seattle_tacoma_2012_2015.csv").read_bytes()
    head = record.splitlines()[0].decode()
    new_client.post("/start/place", data=PLACE)
    columns = dict(zip(("date", "rain", "temperature_max", "temperature_min"), head.split(","), strict=False))
    typed = {f"column_{name}": column for name, column in columns.items()}
    answer = new_client.post(
        "/start/climate", data=typed, files={"file": ("station.csv", record, "text/csv")}
    )
    if answer.status_code != 200:
        pytest.fail(answer.text)
    with open_book(new_book) as book:
        series = book.series()
    assert series is not None
    assert series.days == shipped_record().days


def test_a_file_that_is_none_is_reported(new_client: TestClient, new_book: Path) -> None:
    new_client.post("/start/place", data=PLACE)
    answer = new_client.post(
        "/start/climate", data={}, files={"file": ("photo.csv", b"\x89PNG\x00\x01", "text/csv")}
    )
    assert answer.status_code == 422
    assert "photo.csv" in answer.text
    with open_book(new_book) as book:
        assert book.series() is None


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"house_height": "61 m"}, "from 5 cm to 60 m; this one is 61 m"),
        ({"width": "0"}, "The breadth is from 1 m to 500 m"),
        ({"depth": ""}, "Give the depth."),
        ({"tree1_radius": "0"}, "from 5 cm to 40 m; this one is 0"),
        ({"tree2_height": "120 m"}, "from 10 cm to 90 m; this one is 120 m"),
        ({"tree1_height": ""}, "Give the tree"),
        ({"north": "up"}, "Give degrees from 0"),
        ({"width": "900 m"}, "this one is 900 m"),
    ],
)
def test_ground_that_cannot_be_is_reported_and_nothing_is_drawn(
    new_client: TestClient, new_book: Path, changed: dict[str, str], message: str
) -> None:
    new_client.post("/start/place", data=PLACE)
    answer = new_client.post("/start/ground", data=GROUND | changed)
    assert answer.status_code == 422
    assert message in answer.text
    with open_book(new_book) as book:
        assert book.garden().beds == ()


def test_feet_are_read_where_the_units_are_us() -> None:
    garden = Garden(Place("A", 40, -80, 100, "America/New_York"), units=UnitSystem.US)
    drawn, errors = rough_plan(garden, {"width": "40", "depth": "26 ft", "tree1_x": "10 ft", "tree1_y": "6",
                                        "tree1_radius": "5", "tree1_height": "16 ft"})  # fmt: skip
    assert errors == {}
    assert drawn is not None
    assert drawn.beds[0].outline[2] == pytest.approx((12.192, 7.9248))
    assert drawn.crowns[0].height_m == pytest.approx(4.8768)
    assert drawn.walls == ()


@pytest.mark.parametrize(
    ("typed", "degrees"),
    [("47.44", 47.44), ("47° 26' 24\" N", 47.44), ("47 26 24 N", 47.44), ("33,5 s", -33.5), ("-0.5", -0.5)],
)
def test_degrees_are_read_as_maps_print_them(typed: str, degrees: float) -> None:
    assert parse_degrees(typed, "N", "S", "latitude") == pytest.approx(degrees)


def test_twelve_figures_are_read_in_the_ways_almanacs_print_them() -> None:
    assert twelve("1 2 3 4 5 6 7 8 9 10 11 12", "low") == [str(n) for n in range(1, 13)]
    assert twelve("1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12", "low") == [str(n) for n in range(1, 13)]
    assert twelve("1,2,3,4,5,6,7,8,9,10,11,12", "low") == [str(n) for n in range(1, 13)]
    assert twelve("1,5;2;3;4;5;6;7;8;9;10;11;12", "low")[0] == "1,5"
    with pytest.raises(InputError):
        twelve("1 2", "low")


# ---- a town is enough ------------------------------------------------------------------


def test_a_town_brings_place_units_zone_and_climate(new_client: TestClient, new_book: Path) -> None:
    page = new_client.get("/start/place", params={"town": "burlington, vermont"}).text
    key = page.split('name="choose" value="')[1].split('"')[0]
    answer = new_client.post("/start/place", data={"choose": key})
    assert str(answer.url).endswith("/start/climate")
    assert "reanalysis" in answer.text
    assert "Copernicus" in answer.text
    with open_book(new_book) as book:
        garden = book.garden()
        assert book.revision == 1, "one transaction"
    assert garden.place.name == "Burlington"
    # Burlington lies at 44.48 north, 73.21 west (GeoNames), Eastern time.
    assert garden.place.latitude_deg == pytest.approx(44.48, abs=0.02)
    assert garden.place.longitude_deg == pytest.approx(-73.21, abs=0.02)
    assert garden.place.timezone == "America/New_York"
    assert garden.units is UnitSystem.US
    assert from_reanalysis(garden.normals)


def test_the_country_sets_the_units(new_client: TestClient, new_book: Path) -> None:
    page = new_client.get("/start/place", params={"town": "wageningen"}).text
    new_client.post("/start/place", data={"choose": page.split('name="choose" value="')[1].split('"')[0]})
    with open_book(new_book) as book:
        assert book.garden().units is UnitSystem.METRIC
        assert book.garden().place.timezone == "Europe/Amsterdam"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("", "Type the name of a town"),
        ("05401", "Postal codes are not in the table"),
        ("qqqqzx", "No town named"),
        ("<script>alert(1)</script>", "No town named"),
        ("K1A 0B1", "Postal codes are not"),
        ("x" * 5000, "No town named"),
        ("\x00\x01", "Type the name of a town"),
    ],
)
def test_nonsense_for_a_town_is_answered_in_words(
    new_client: TestClient, new_book: Path, asked: str, said: str
) -> None:
    answer = new_client.get("/start/place", params={"town": asked})
    assert answer.status_code == 422
    assert said in answer.text
    assert "<script>alert" not in answer.text
    assert not new_book.exists()


def test_a_misspelled_town_offers_those_like_it(new_client: TestClient) -> None:
    page = new_client.get("/start/place", params={"town": "Burlngton"}).text
    assert "Did you mean" in page
    assert "<strong>Burlington</strong>" in page


def test_a_click_on_the_map_offers_towns_and_the_spot_itself(new_client: TestClient, new_book: Path) -> None:
    # 44.4 north and 73 west on a map of 700 by 280 pixels from 180 west and 84 north, half a pixel a degree.
    page = new_client.get("/start/place", params={"world-large.x": "208", "world-large.y": "77"}).text
    assert "44.4° N, 73.0° W" in page
    assert "<strong>Burlington</strong>" in page
    again = new_client.get(
        "/start/place", params={"near-small.x": "140", "near-small.y": "105", "center": "44.40,-73.03"}
    ).text
    assert "44.4° N, 73.0° W" in again, "a click in the middle of the closer map stays"
    answer = new_client.post("/start/place", data={"spot": "44.40,-73.03"})
    assert str(answer.url).endswith("/start/climate")
    with open_book(new_book) as book:
        garden = book.garden()
    assert (garden.place.latitude_deg, garden.place.longitude_deg) == (44.4, -73.03)
    assert garden.place.timezone == "America/New_York"
    assert garden.place.name.startswith("Near ")


@pytest.mark.parametrize(
    "asked",
    [
        {"world-large.x": "0", "world-large.y": "0"},
        {"near-large.x": "5", "near-large.y": "5", "center": "nowhere"},
        {"near-large.x": "5", "near-large.y": "5", "center": "999,999"},
    ],
)
def test_a_map_pressed_by_a_key_or_made_up_says_what_to_do(
    new_client: TestClient, asked: dict[str, str]
) -> None:
    answer = new_client.get("/start/place", params=asked)
    assert answer.status_code == 422
    assert "type the town" in answer.text or "Click the map again" in answer.text


def test_the_maps_are_drawings_of_their_own(new_client: TestClient) -> None:
    for address in (
        "/start/map.svg?size=small",
        "/start/map.svg?size=large&spot=44.5,-73.2",
        "/start/map.svg?spot=x",
    ):
        answer = new_client.get(address)
        assert answer.headers["content-type"].startswith("image/svg+xml")
        drawing = ElementTree.fromstring(answer.text)
        assert drawing.tag.endswith("svg")
    assert "Montréal" in new_client.get("/start/map.svg?size=large&spot=44.5,-73.2").text


@pytest.mark.parametrize("sent", [{"choose": "99999999"}, {"choose": "x"}, {"spot": "a,b"}, {"spot": "44.5"}])
def test_a_choice_that_is_none_is_refused(
    new_client: TestClient, new_book: Path, sent: dict[str, str]
) -> None:
    assert new_client.post("/start/place", data=sent).status_code == 422
    assert not new_book.exists()


def test_the_elevation_moves_the_temperatures_and_typed_figures_stay(
    new_client: TestClient, new_book: Path
) -> None:
    def normals() -> ClimateNormals:
        with open_book(new_book) as book:
            found = book.garden().normals
        assert found is not None
        return found

    new_client.post("/start/place", data=PLACE)
    before = normals()
    new_client.post("/start/climate", data={"elevation": "1100 m"})
    # 6.5 K a kilometer: FAO Irrigation and Drainage Paper 56, Eq. 7.
    assert normals().temperature_max_c[6] == pytest.approx(before.temperature_max_c[6] - 6.5, abs=0.35)
    assert normals().rain_mm == before.rain_mm
    assert new_client.post("/start/climate", data={"elevation": "up"}).status_code == 422
    new_client.post("/start/climate", data=CLIMATE)
    new_client.post("/start/place", data=PLACE | {"latitude": "40"})
    assert normals().source == "A wall calendar", "a grower's own figures stay when the place is mended"
    new_client.post("/start/climate", data={"use": "table"})
    assert from_reanalysis(normals())


def test_a_place_at_sea_has_no_climate_and_asks_for_one(new_client: TestClient, new_book: Path) -> None:
    answer = new_client.post("/start/place", data={"latitude": "0", "longitude": "-30"})
    assert str(answer.url).endswith("/start/climate")
    assert "it looks like open water" in answer.text
    with open_book(new_book) as book:
        assert book.garden().normals is None
    assert new_client.post("/start/climate", data={"use": "table"}).status_code == 422


# ---- a pasted table ---------------------------------------------------------------------

ROWS = "Month\tLow\tHigh\tRain\tWet days\n" + "\n".join(
    f"{name}\t{n - 5}\t{n + 6.5}\t{50 + n}\t{10 + n}"
    for n, name in enumerate(
        ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec", "Year")
    )
)


@pytest.mark.parametrize(
    "table",
    [
        ROWS,
        "\n".join(f"{n - 5} {n + 6.5} {50 + n} {10 + n}" for n in range(12)),
        "\n".join(f"{n + 6.5};{n - 5};{50 + n};{10 + n}" for n in range(12)),
        "Mean maximum °C " + " ".join(f"{n + 6.5}" for n in range(13))
        + "\nMean minimum °C " + " ".join(f"−{5 - n}" if n < 5 else f"{n - 5}" for n in range(13))
        + "\nPrecipitation mm " + " ".join(f"{50 + n}" for n in range(13))
        + "\nDays of rain " + " ".join(f"{10 + n}" for n in range(13)),
    ],
    ids=["rows with headings", "rows alone", "highs first", "columns"],
)  # fmt: skip
def test_a_pasted_table_is_read_by_rows_or_columns(
    new_client: TestClient, new_book: Path, table: str
) -> None:
    new_client.post("/start/place", data=PLACE)
    answer = new_client.post("/start/climate", data={"paste": table})
    assert str(answer.url).endswith("/start/ground"), answer.text
    with open_book(new_book) as book:
        normals = book.garden().normals
    assert normals is not None
    assert normals.temperature_min_c == tuple(float(n - 5) for n in range(12))
    assert normals.temperature_max_c == tuple(n + 6.5 for n in range(12))
    assert normals.rain_mm == tuple(50.0 + n for n in range(12))
    assert normals.wet_days == tuple(10.0 + n for n in range(12))


def test_units_named_in_a_table_go_before_the_gardens() -> None:
    table = "Low °C\tHigh °C\tRain mm\n" + "\n".join(f"{n}\t{n + 8}\t{40 + n}" for n in range(12))
    rows = rows_of_table(table, "us")
    assert rows["low"].startswith("0 °C; 1 °C")
    assert rows["rain"].startswith("40 mm; 41 mm")
    printed = "High °F (°C) " + " ".join(f"{50 + n} ({10 + n})" for n in range(12))
    printed += "\nLow °F (°C) " + " ".join(f"{30 + n} ({n})" for n in range(12))
    printed += "\nRainfall inches (mm) " + " ".join(f"{2 + n / 10} ({50 + n})" for n in range(12))
    rows = rows_of_table(printed, "metric")
    assert rows["high"].startswith("50 °F; 51 °F")
    assert rows["rain"].startswith("2.0 in; 2.1 in")


@pytest.mark.parametrize("table", ["hello", "1 2 3\n4 5 6", "1 2\n" * 12, "1 2 3\n1 2 3 4\n" * 6, "," * 9000])
def test_a_table_that_is_none_says_how_to_paste_one(new_client: TestClient, table: str) -> None:
    new_client.post("/start/place", data=PLACE)
    answer = new_client.post("/start/climate", data={"paste": table})
    assert answer.status_code == 422
    assert "twelve rows" in answer.text or "Paste twelve rows" in answer.text
    assert 'href="#t-paste"' in answer.text, "the message leads to the field"


# ---- in a real browser ---------------------------------------------------------------


@pytest.mark.browser
def test_no_step_has_a_barrier(new_journey: Any) -> None:
    page = new_journey.open("/start/place", quiet=False, viewport=PHONE)  # refused forms speak in the console
    for path in (
        "place", "place?town=springfield", "place?town=springfeild", "place?town=qqqqzx",
        "place?world-large.x=208&world-large.y=77", "climate", "ground", "bed",
    ):  # fmt: skip
        page.goto(f"{new_journey.address}/start/{path}")
        assert_open_to_all(page)
        if "world" in path:
            page.set_viewport_size(PHONE)
            page.locator("button[name=choose]").first.click()
            page.get_by_role("heading", name="Your climate").wait_for()
            page.get_by_text("I have better figures").click()
            page.get_by_role("button", name="Save and continue").click()
            page.get_by_text("Nothing was changed yet").wait_for()
            assert_open_to_all(page)


@pytest.mark.browser
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no-scripts"])
def test_a_click_on_the_map_needs_no_script(new_journey: Any, scripts: bool) -> None:
    page = new_journey.open(
        "/start/place", java_script_enabled=scripts, viewport={"width": 1440, "height": 900}
    )
    shown = page.locator("input[type=image]:visible")
    assert shown.count() == 1
    shown.click(position={"x": 208, "y": 77})
    expect(page.get_by_role("heading", name="Near the spot you clicked, 44.4° N, 73.0° W")).to_be_visible()
    expect(shown).to_have_count(1)
    shown.click(position={"x": 350, "y": 240})
    expect(page.get_by_role("button", name="This very spot")).to_be_visible()
    page.get_by_role("button", name="Burlington Vermont").first.click()
    expect(page.get_by_role("heading", name="Your climate")).to_be_visible()


@pytest.mark.browser
def test_a_town_is_found_by_keyboard_alone(new_journey: Any) -> None:
    page = new_journey.open("/start/place", viewport={"width": 360, "height": 740})
    page.keyboard.type("wageningen")  # the field has the focus
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Wageningen Gelderland")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Your climate")).to_be_visible()


@pytest.mark.browser
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no-scripts"])
def test_the_first_hour_as_a_journey(new_journey: Any, scripts: bool) -> None:
    """From nothing to a planned bed: counted in sends and in fields that must be typed.

    Twelve seconds for a field and twenty for reading a page (our own estimate) have to stay within the three
    minutes that were promised.
    """
    page = new_journey.open("/", java_script_enabled=scripts, viewport={"width": 360, "height": 740})
    sends = fields = 0

    def fill(label: str, value: str) -> None:
        nonlocal fields
        page.get_by_label(label).first.fill(value)
        fields += 1

    def send(name: str) -> None:
        nonlocal sends
        page.get_by_role("button", name=name).first.click()
        sends += 1

    fill("Town", "burlington vt")
    send("Find")
    send("Burlington Vermont, United States")
    expect(page.get_by_role("heading", name="Your climate")).to_be_visible()
    page.get_by_role("link", name="Continue").click()
    sends += 1
    expect(page.get_by_role("heading", name="A rough plan")).to_be_visible()
    for label, value in (("Trunk, to the right", "10 ft"), ("Trunk, up", "7 ft"),
                         ("Crown, trunk to edge", "6 ft"), ("Height", "16 ft")):  # fmt: skip
        page.get_by_label(label, exact=True).first.fill(value)
        fields += 1
    send("Save and continue")
    expect(page.get_by_role("heading", name="The first bed")).to_be_visible()
    send("Suggest a spot")
    expect(page.get_by_role("button", name="Plan this here")).to_be_visible()
    send("Plan this here")
    expect(page.get_by_role("heading", name="Wine cap bed", level=1)).to_be_visible()
    assert "/beds/wine-cap-bed" in page.url
    assert sends == 6
    assert fields == 5, "one for the town, four for a tree; at most 8 were promised"
    assert sends * 20 + fields * 12 <= 3 * 60
    with open_book(new_journey.book) as book:
        assert len(book.garden().patches) == 1
