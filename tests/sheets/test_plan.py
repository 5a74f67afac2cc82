"""The plan on paper: its scale is measured in the SVG and, dot by dot, in the PNG."""

from __future__ import annotations

import math
import re
import struct
import zlib
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    Crown,
    Garden,
    Layer,
    Patch,
    Path,
    Place,
    Recipe,
    Tap,
    UnitSystem,
    Wall,
    Zone,
    ZoneKind,
)
from mulchwright.sheets import PAPERS_MM, lay_out_plan, plan_png, plan_svg
from mulchwright.sheets.marks import COLORS
from mulchwright.web.views.palette import palette

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def garden() -> Garden:
    return Garden(
        place=Place("Tern & Hollow <north>", 38.9, -92.2, 230.0, "America/Chicago", 30.0),
        beds=(Bed("bed", "Long bed", (), ((1, 2), (9, 2), (9, 4), (1, 4))), Bed("bare", "Not drawn")),
        patches=(
            Patch("patch", "Under the quince", "oyster", Recipe("r", (Layer("wheat-straw", 0.1),)), 3.0,
                  outline=((1.5, 2.5), (4.5, 2.5), (4.5, 3.5), (1.5, 3.5))),
        ),
        crowns=(
            Crown("tree", "Quince", (3.0, 5.0), 2.0, 4.0),
            Crown("holly", "Holly", (8, 8), 1, 2, evergreen=True),
        ),
        walls=(
            Wall("fence", "Fence", ((0, 10), (12, 10), (12, 10.2), (0, 10.2)), 1.8),
            Wall("house", "House", ((0, -4), (6, -4), (6, 0), (0, 0)), 6.0, house=True),
        ),
        paths=(Path("walk", "Walk", ((10, -4), (11, -4), (11, 9), (10, 9))),),
        taps=(Tap("tap", "Tap", (6.2, -1.0)),),
        zones=(Zone("strip", "Strip", ZoneKind.SEEN_FROM_STREET, ((6.5, -4), (9, -4), (9, -1))),),
    )  # fmt: skip


def read(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def by_id(root: ElementTree.Element, key: str) -> ElementTree.Element:
    (found,) = [one for one in root.iter() if one.get("id") == key]
    return found


def corners(shape: ElementTree.Element) -> list[tuple[float, float]]:
    pairs = [pair.split(",") for pair in (shape.get("points") or "").split()]
    return [(float(x), float(y)) for x, y in pairs]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("scale", [100, 200])
def test_every_side_has_its_length_on_paper(garden: Garden, paper: str, scale: int) -> None:
    """Millimeters on paper are meters x 1000 / scale; the unit of the drawing is the sheet's millimeter."""
    root = read(plan_svg(garden, scale=scale, paper=paper, landscape=False))
    width, height = PAPERS_MM[paper]
    assert (root.get("width"), root.get("height")) == (f"{width:g}mm", f"{height:g}mm")
    assert root.get("viewBox") == f"0 0 {width:g} {height:g}"
    shapes = {
        **{f"bed-{bed.key}": bed.outline for bed in garden.beds if bed.outline},
        **{f"patch-{patch.key}": patch.outline for patch in garden.patches},
        **{f"wall-{wall.key}": wall.outline for wall in garden.walls},
        **{f"path-{path.key}": path.outline for path in garden.paths},
        **{f"zone-{zone.key}": zone.outline for zone in garden.zones},
    }
    for key, outline in shapes.items():
        drawn = corners(by_id(root, key))
        assert len(drawn) == len(outline)
        for n, corner in enumerate(outline):
            following = (n + 1) % len(outline)
            (x0, y0), (x1, y1) = drawn[n], drawn[following]
            assert x1 - x0 == pytest.approx((outline[following][0] - corner[0]) * 1000 / scale, abs=0.002)
            assert y0 - y1 == pytest.approx((outline[following][1] - corner[1]) * 1000 / scale, abs=0.002)
        assert all(5 < x < width - 5 and 5 < y < height - 5 for x, y in drawn)


def test_a_crown_reaches_as_far_as_it_is_reported(garden: Garden) -> None:
    """The outermost points of the scallops lie on the circle of 2 m, 20 mm at 1:100, around its center."""
    sheet = lay_out_plan(garden, scale=100)
    group = by_id(read(plan_svg(garden, scale=100)), "crown-tree")
    path = next(one for one in group if one.tag == f"{SVG}path").get("d") or ""
    arcs = re.findall(r"A([\d.]+),[\d.]+ 0 0 1 (-?[\d.]+),(-?[\d.]+)", path)
    ends = [(float(x), float(y)) for _, x, y in arcs]
    cx, cy = sheet.at((3.0, 5.0))
    for (radius, *_), (x0, y0), (x1, y1) in zip(arcs, [ends[-1], *ends], ends, strict=False):
        half = math.dist((x0, y0), (x1, y1)) / 2
        bulge = float(radius) - math.sqrt(float(radius) ** 2 - half**2)
        reach = math.dist(((x0 + x1) / 2, (y0 + y1) / 2), (cx, cy)) + bulge
        assert reach == pytest.approx(20.0, abs=0.01)


@pytest.mark.parametrize("units", [UnitSystem.METRIC, UnitSystem.US])
def test_the_bar_is_as_long_as_it_says(garden: Garden, units: UnitSystem) -> None:
    root = read(plan_svg(replace(garden, units=units), scale=100))
    bar = by_id(root, "scale-bar")
    parts = [one for one in bar if one.tag == f"{SVG}rect"]
    length_mm = sum(float(part.get("width") or 0) for part in parts)
    words = [one.text or "" for one in bar if one.tag == f"{SVG}text"]
    found, unit = words[-1].split()
    meters = float(found) * (0.3048 if units is UnitSystem.US else 1)
    assert unit == ("ft" if units is UnitSystem.US else "m")
    assert length_mm == pytest.approx(meters * 10, abs=0.01)


def dots(png: bytes) -> tuple[np.ndarray, float]:
    """Gray values (row, column) of an 8-bit PNG and its dots per millimeter, by the PNG specification."""
    width, height, depth, color = struct.unpack(">IIBB", png[16:26])
    assert depth == 8
    bytes_a_dot = {2: 3, 6: 4}[color]
    at, packed, per_meter = 8, b"", 0
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        kind, body = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        if kind == b"IDAT":
            packed += body
        elif kind == b"pHYs":
            per_meter, _, unit = struct.unpack(">IIB", body)
            assert unit == 1
        at += 12 + length
    raw = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, 1 + width * bytes_a_dot)
    above = np.zeros(width * bytes_a_dot, np.int64)
    rows = []
    for line in raw:
        rule, values = line[0], line[1:].astype(np.int64)
        if rule == 1:
            values = np.cumsum(values.reshape(width, bytes_a_dot), axis=0).reshape(-1)
        elif rule == 2:
            values = values + above
        elif rule in (3, 4):
            for n in range(len(values)):
                left = values[n - bytes_a_dot] if n >= bytes_a_dot else 0
                up, corner = above[n], above[n - bytes_a_dot] if n >= bytes_a_dot else 0
                guess = left + up - corner
                near = min((left, up, corner), key=lambda v: abs(guess - v))
                values[n] = (values[n] + ((left + up) // 2 if rule == 3 else near)) & 255
        above = values & 255
        rows.append(above)
    picture = np.array(rows).reshape(height, width, bytes_a_dot)[..., :3]
    return picture.mean(axis=2), per_meter / 1000


def test_the_scale_measured_in_the_picture(garden: Garden) -> None:
    """The fence of 12 m is 120 mm of dark dots at 1:100; the size on paper noted in the PNG is A4."""
    svg = plan_svg(garden, scale=100, landscape=False)
    gray, per_mm = dots(plan_png(svg, dots_per_inch=100))
    assert per_mm == pytest.approx(100 / 25.4, rel=1e-3)
    assert gray.shape[1] / per_mm == pytest.approx(210.0, abs=0.4)
    assert gray.shape[0] / per_mm == pytest.approx(297.0, abs=0.4)
    (x0, y0), *_ = corners(by_id(read(svg), "wall-fence"))
    row = gray[round((y0 - 1.0) * per_mm)]  # through the middle of the fence, 2 mm thick
    dark = np.flatnonzero(row < 100)
    assert (dark[-1] - dark[0] + 1) / per_mm == pytest.approx(120.0, abs=0.6)
    assert dark[0] / per_mm == pytest.approx(x0, abs=0.5)
    assert gray[:, : round(3 * per_mm)].min() == 255  # nothing in the printer's margin


def test_names_and_lengths_are_written(garden: Garden) -> None:
    svg = plan_svg(garden)
    words = {one.text for one in read(svg).iter(f"{SVG}text")}
    assert {"Long bed", "Under the quince", "Quince", "Fence", "House", "Walk", "Tap", "Strip"} <= words
    assert {"8.00 m", "2.00 m", "3.00 m", "6.00 m"} <= words
    assert "Tern & Hollow <north>" in words  # told as written, escaped in the file
    assert "Tern &amp; Hollow &lt;north&gt;" in svg
    assert any("when printed at 100 %" in (text or "") for text in words)
    feet = {one.text for one in read(plan_svg(replace(garden, units=UnitSystem.US))).iter(f"{SVG}text")}
    assert "26 ft 3 in" in feet


def test_words_do_not_stand_on_one_another(garden: Garden) -> None:
    """Twelve beds of one size in a row, at a scale that leaves little room: no two words at one place."""
    beds = tuple(
        Bed(f"b{n}", f"Bed {n}", (), ((n * 1.2, 0), (n * 1.2 + 1, 0), (n * 1.2 + 1, 2), (n * 1.2, 2)))
        for n in range(12)
    )
    root = read(plan_svg(Garden(place=garden.place, beds=beds), scale=100))
    spots = [(float(one.get("x") or 0), float(one.get("y") or 0)) for one in root.iter(f"{SVG}text")]
    apart = min(math.dist(a, b) for n, a in enumerate(spots) for b in spots[:n])
    assert apart > 2.0
    names = {one.text for one in root.iter(f"{SVG}text")}
    assert {f"Bed {n}" for n in range(12)} <= names


def test_a_bed_that_is_one_patch_is_named_once(garden: Garden) -> None:
    patch = replace(garden.patches[0], name="Long bed", bed="bed")
    svg = plan_svg(replace(garden, patches=(patch,)))
    assert [one.text for one in read(svg).iter(f"{SVG}text")].count("Long bed") == 1


def test_north_is_where_it_is(garden: Garden) -> None:
    """The plan's upper side looks 30 degrees east of north, so that north is 30 degrees to the left of it."""
    turn = by_id(read(plan_svg(garden)), "north").get("transform") or ""
    assert turn.startswith("rotate(-30 ")


def test_without_a_scale_the_largest_that_fits_is_taken(garden: Garden) -> None:
    """12 m x 14.2 m: at 1:50 that is 240 x 284 mm, too large for A4; at 1:100 it fits."""
    assert lay_out_plan(garden).scale == 100
    small = Garden(place=garden.place, beds=garden.beds[:1])
    sheet = lay_out_plan(small)  # 8 m x 2 m: 160 x 40 mm at 1:50
    assert (sheet.scale, sheet.width_mm) == (50, 210.0)
    assert lay_out_plan(small, landscape=True).width_mm == 297.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"scale": 20}, "At 1:20 the plan is 600 × 710 mm, too large for the sheet. Choose a smaller scale"),
        ({"scale": 0}, "The scale 1:0 is none"),
        ({"paper": "a9"}, "The paper 'a9' is not known; choose a4 or letter"),
    ],
)
def test_what_cannot_be_drawn(garden: Garden, options: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as caught:
        plan_svg(garden, **options)  # type: ignore[arg-type]
    assert words in str(caught.value)


def test_an_empty_plan_says_so(garden: Garden) -> None:
    with pytest.raises(InputError, match="Nothing is drawn on this garden's plan yet"):
        plan_svg(Garden(place=garden.place))
    with pytest.raises(InputError, match="choose 50 to 600"):
        plan_png("<svg/>", dots_per_inch=5)


def test_a_name_may_hold_any_sign(garden: Garden) -> None:
    odd = replace(garden.beds[0], name="A\x00\x0b\ud7ff\uffff ]]> &amp; 🍄")
    root = read(plan_svg(replace(garden, beds=(odd,))))
    assert any("]]> &amp; 🍄" in (one.text or "") for one in root.iter(f"{SVG}text"))


def test_colors_are_those_of_the_screens() -> None:
    light = palette("light")
    assert {name: light[name] for name in COLORS} == COLORS
