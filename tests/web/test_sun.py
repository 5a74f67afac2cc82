"""Sun and shade: the map's page and pictures, the day's shadows, the shelf of light maps, the ramp."""

from __future__ import annotations

import io
import json
import math
import re
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.cli.app import main
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Place
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.light_cache import LightCache, cell_for
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web.ground.sun import day_words, sun_track
from mulchwright.web.views.ramp import RAMP, oklab_lightness, png

Filled = Callable[[TestClient, str], str]


def test_the_first_page_does_not_wait_for_the_map(
    ground_client: TestClient, filled: Filled, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    go = threading.Event()

    class Held(LightCache):
        def map_of(self, *what: Any) -> Any:
            assert go.wait(600)
            return super().map_of(*what)

    monkeypatch.setattr("mulchwright.services.light_cache._CACHE", Held(tmp_path / "no map yet"))
    first = ground_client.get("/ground/sun")  # comes while the map is held back
    go.set()
    assert first.status_code == 200
    assert "data-waiting" in first.text
    assert "data-shadows" in first.text  # what needs no map is there at once
    whole = filled(ground_client, "/ground/sun?month=7&show=share")
    assert "/ground/sun/map.png?month=7&amp;show=share" in whole
    assert "Medlar bed (garden bed)" in whole
    assert "Under the medlar (mushroom bed)" in whole


def test_the_picture_has_a_pixel_a_cell_and_hides_buildings(
    ground_client: TestClient, filled: Filled
) -> None:
    filled(ground_client, "/ground/sun")
    cells = ground_client.get("/ground/sun/cells.json?month=6&show=hours").json()
    picture = Image.open(io.BytesIO(ground_client.get("/ground/sun/map.png?month=6&show=hours").content))
    assert picture.size == (cells["columns"], cells["rows"])
    values = np.array(cells["values"]).reshape(cells["rows"], cells["columns"])
    shown = np.array(picture.convert("RGBA"))[::-1]
    assert ((shown[..., 3] == 0) == (values < 0)).all()
    # The house of 9 m by 6.5 m is hidden and nothing else of that size (the fence is 10 cm thin).
    assert (values < 0).sum() * cells["cell"] ** 2 == pytest.approx(9 * 6.5, rel=0.05)
    # Brighter means more sun.
    light = oklab_lightness(shown[..., :3].reshape(-1, 3)).reshape(values.shape)
    open_ground = values >= 0
    assert np.corrcoef(values[open_ground], light[open_ground])[0, 1] > 0.99


@pytest.mark.parametrize("path", ["map.png?month=13", "cells.json?month=none", "map.png?show=gold"])
def test_a_map_there_is_not_is_reported(ground_client: TestClient, path: str) -> None:
    assert ground_client.get(f"/ground/sun/{path}").status_code == 404


def test_nonsense_in_day_and_hour_is_reported_beside_the_field(
    ground_client: TestClient, filled: Filled
) -> None:
    filled(ground_client, "/ground/sun")
    answer = ground_client.get("/ground/sun?day=the-1st&hour=25:70")
    assert answer.status_code == 422
    assert "“the-1st” is no day" in answer.text
    assert "“25:70” is no time of day" in answer.text
    assert ground_client.get("/ground/sun/shadows.json?day=never").status_code == 422


def test_an_empty_plan_says_what_to_do(client: TestClient) -> None:
    for path in ("/ground/sun", "/ground/spots"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert "Nothing is drawn on the plan yet" in answer.text


def shade_path(html: str) -> list[tuple[float, float]]:
    """Corners of the walls' shadow in the wide drawing, in meters with y up."""
    d = re.search(r'<path d="([^"]*)" class="shade" data-shade="walls"', html)
    assert d is not None
    return [(float(x) / 100, -float(y) / 100) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d[1])]


def test_server_drawn_shadows_have_the_length_of_the_closed_form(
    ground_client: TestClient, filled: Filled
) -> None:
    """At the equinox the noon sun stands 90° - latitude high: a shadow is height x tan(latitude)."""
    filled(ground_client, "/ground/sun")
    # The sun's noon at 73.2° west on 20 March 2031 is about 13:00 daylight time; the altitude is flat there.
    html = ground_client.get("/ground/sun?day=2031-03-20&hour=13:00").text
    highest = max(y for x, y in shade_path(html) if x < 10)
    assert highest - -1.5 == pytest.approx(6.0 * math.tan(math.radians(44.5)), rel=0.02)


def test_before_sunrise_there_is_no_shadow_and_the_words_say_so(
    ground_client: TestClient, filled: Filled
) -> None:
    html = filled(ground_client, "/ground/sun?day=2031-06-10&hour=02:00")
    assert "the sun is down" in html
    assert shade_path(html) == [(0.0, 0.0)]


def test_sunrise_and_sunset_are_those_of_the_almanac(garden: Garden) -> None:
    """Burlington, Vermont (44.5 N, 73.2 W), 21 June: 5:08 and 20:39 daylight time (tables, memory)."""
    words = day_words(garden.place, date(2031, 6, 21), date(2031, 6, 10))
    found = re.findall(r"(\d+):(\d\d)", words)
    minutes = [int(h) * 60 + int(m) for h, m in found]
    assert minutes[0] == pytest.approx(5 * 60 + 8, abs=3)
    assert minutes[1] == pytest.approx(20 * 60 + 39, abs=3)


def test_beyond_the_polar_circle_the_sun_stays_up_or_down() -> None:
    place = Place("North cape", 70.0, 25.0, 10.0, "Europe/Oslo")
    assert "does not set" in day_words(place, date(2031, 6, 21), date(2031, 6, 10))
    assert "does not rise" in day_words(place, date(2031, 12, 21), date(2031, 6, 10))
    assert max(row[3] for row in sun_track(place, date(2031, 12, 21))) < 0


def test_south_of_the_equator_the_noon_sun_stands_in_the_north() -> None:
    place = Place("South", -40.0, 175.0, 10.0, "Pacific/Auckland")
    noon = max(sun_track(place, date(2031, 6, 21)), key=lambda row: row[3])
    assert noon[2] > 0.5  # y, up on a plan that looks north
    assert noon[3] == pytest.approx(math.sin(math.radians(90 - 40 - 23.44)), abs=0.01)


def test_turning_the_plan_turns_the_sun(garden: Garden) -> None:
    day = date(2031, 6, 10)
    straight, turned = sun_track(garden.place, day), sun_track(replace(garden.place, north_deg=90.0), day)
    # Up on the turned plan is east: what was x (east) is now y.
    assert [row[1] for row in straight] == pytest.approx([row[2] for row in turned], abs=1e-6)


# ---- kept maps -----------------------------------------------------------------


def test_a_kept_map_is_read_back_whole_and_not_computed(
    ground_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_book(ground_book) as book:
        garden = book.garden()
    made = LightCache(tmp_path / "light").map_of(garden)
    again = LightCache(tmp_path / "light")
    computed: list[object] = []
    monkeypatch.setattr(
        "mulchwright.services.light_cache.light_map", lambda *what, **_: computed.append(what)
    )
    kept = again.kept(garden)
    assert kept is not None
    assert again.map_of(garden) is kept  # the second time from memory
    assert computed == []
    assert kept.key == made.key
    assert (kept.light_share == made.light_share).all()
    assert again.kept(replace(garden, crowns=())) is None  # another plan, another map
    renamed = replace(garden, crowns=tuple(replace(c, name="A tree") for c in garden.crowns))
    assert again.kept(renamed) is not None


def test_a_broken_kept_map_is_made_anew(ground_book: Path, tmp_path: Path) -> None:
    with open_book(ground_book) as book:
        garden = book.garden()
    cache = LightCache(tmp_path / "light")
    cache.map_of(garden)
    file = next((tmp_path / "light").glob("*.npz"))
    file.write_bytes(b"half a file")
    assert LightCache(tmp_path / "light").kept(garden) is None
    assert LightCache(tmp_path / "light").map_of(garden).key == cache.key(garden)
    assert file.stat().st_size > 1000


def test_where_nothing_may_be_written_the_map_is_there_all_the_same(
    ground_book: Path, tmp_path: Path
) -> None:
    with open_book(ground_book) as book:
        garden = book.garden()
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert LightCache(blocked).map_of(garden).sun_hours.any()


def test_large_ground_gets_larger_cells() -> None:
    assert cell_for((0.0, 0.0, 30.0, 20.0)) == 0.25
    wide = cell_for((0.0, 0.0, 400.0, 300.0))
    assert 400 * 300 / wide**2 <= 60_000
    assert (wide / 0.25) % 1 == 0


def test_the_shelf_refuses_an_empty_plan(garden: Garden, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Nothing is drawn"):
        LightCache(tmp_path).kept(garden)


# ---- the light where outlooks are made -------------------------------------------


def test_the_outlook_and_the_bed_page_take_the_drawn_beds_light_from_the_plan(
    ground_client: TestClient, ready: Callable[[TestClient], None]
) -> None:
    ready(ground_client)
    drawn = ground_client.get("/beds/under-the-medlar").text
    assert "By the plan this bed gets" in drawn
    assert 'id="ground"' not in ground_client.get("/beds/pump-corner").text
    cells = ground_client.get("/ground/sun?show=share").text
    row = re.search(r"Under the medlar \(mushroom bed\)</th>(.*?)</tr>", cells, re.DOTALL)
    assert row is not None
    shares = [int(v) for v in re.findall(r"<td>(\d+) %</td>", row[1])]
    match = re.search(r"this bed gets (\d+) %", drawn)
    assert match is not None
    assert int(match[1]) == pytest.approx(sum(shares) / 12, abs=1)
    # The what-if starts from that light, not from the 40 % that were typed.
    shade = re.search(r'name="shade"[^>]*value="(\d+)"', drawn)
    assert shade is not None
    assert int(shade[1]) == pytest.approx(100 - int(match[1]), abs=1)


# ---- the ramp -----------------------------------------------------------------------


def test_the_ramp_gets_lighter_evenly_by_a_measure_of_its_own() -> None:
    """CIE 1976 L* from sRGB (IEC 61966-2-1), which the ramp was not made with."""
    coded = RAMP / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    lightness = np.where(luminance > 0.008856, 116 * np.cbrt(luminance) - 16, 903.3 * luminance)
    steps = np.diff(lightness[::15])
    assert (steps > 0).all()
    assert steps.max() / steps.min() < 1.8
    assert lightness[-1] - lightness[0] > 70


def test_the_ramp_keeps_its_order_without_red_and_green() -> None:
    """Deuteranopia after Vienot, Brettel and Mollon 1999 (matrix in linear RGB, from memory)."""
    coded = RAMP / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    seen = linear @ np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]).T
    luminance = seen @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(luminance[::4]) > 0).all()


def test_a_picture_is_a_png_that_others_read() -> None:
    values = np.array([[0.0, 1.0], [0.5, 0.25]])
    hidden = np.array([[False, False], [True, False]])
    shown = np.array(Image.open(io.BytesIO(png(values, hidden))).convert("RGBA"))
    assert shown.shape == (2, 2, 4)
    assert tuple(shown[1, 0, :3]) == tuple(RAMP[0])  # row 0 lies at the bottom
    assert tuple(shown[1, 1, :3]) == tuple(RAMP[255])
    assert shown[0, 0, 3] == 0


def test_screen_and_command_line_tell_the_same_of_a_drawn_bed(
    ground_book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_book(ground_book) as book:
        garden, series = book.garden(), book.series()
    assert garden.stands_at is not None
    result = AlmanacEngine(members=40, seed=5).outlook(garden, series, garden.stands_at, lambda _: None)
    drawn = result.patch("under-the-medlar")
    assert main(["outlook", str(ground_book), "--members", "40", "--seed", "5", "--json"]) == 0
    rows = {row["key"]: row for row in json.loads(capsys.readouterr().out)["patches"]}
    assert rows["under-the-medlar"] == next(
        row for row in result.as_json()["patches"] if row["key"] == "under-the-medlar"
    )
    typed = garden.patch("under-the-medlar")
    assert drawn.patch.light_share != typed.light_share
    # A typed share of rain below the plan's stays: an eave is not on the plan.
    dry = replace(garden, patches=tuple(replace(p, rain_share=0.15) for p in garden.patches))
    garden_in_light, _ = garden_in_plan_light(dry, series)
    assert garden_in_light.patch("under-the-medlar").rain_share == 0.15
