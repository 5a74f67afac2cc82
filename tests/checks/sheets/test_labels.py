"""Labels read back by a reader of bar codes that is not ours (zxing-cpp), one label at a time."""

from __future__ import annotations

import io
from datetime import date

import pytest
import zxingcpp
from PIL import Image

from mulchwright.sheets.labels import LONGEST_TARGET, Label, code_target, label_png

pytestmark = pytest.mark.outside_check(
    source="zxing-cpp, a reader that is not ours", tolerance="exact", shared="no parameter"
)

DAY = date(2031, 4, 12)
BASE = "http://192.168.1.20:8000/beds/"


def picture(target: str, name: str = "Quince walk", dots_per_inch: int = 300) -> Image.Image:
    label = Label("quince-walk", name, "king stropharia", DAY, target)
    return Image.open(io.BytesIO(label_png(label, day=DAY, dots_per_inch=dots_per_inch))).convert("L")


@pytest.mark.parametrize(
    "target",
    [
        code_target("quince-walk"),
        code_target("quince-walk", BASE + "quince-walk"),
        code_target("quince-walk", "https://garden.example/beds/%E2%9C%93?x=1&y=2#top"),
        code_target("quince-walk", BASE + "x" * (LONGEST_TARGET - len(BASE))),
    ],
)
def test_the_code_reads_back_as_the_target(target: str) -> None:
    (found,) = zxingcpp.read_barcodes(picture(target))
    assert found.text == target
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    assert found.ec_level == "M"


def test_the_code_survives_a_long_name_a_poor_printer_and_a_soiled_corner() -> None:
    target = code_target("quince-walk", BASE + "quince-walk")
    long_name = "The bed behind the shed under the old quince by the water butt and the second bench"
    assert zxingcpp.read_barcodes(picture(target, long_name))[0].text == target
    assert zxingcpp.read_barcodes(picture(target, dots_per_inch=100))[0].text == target
    soiled = picture(target)
    corners = zxingcpp.read_barcodes(soiled)[0].position
    # Mud over a part of the lower right: a tenth of the code's width and height, 1 % of its area.
    side = (corners.bottom_right.x - corners.top_left.x) // 10
    soiled.paste(90, (corners.bottom_right.x - 2 * side, corners.bottom_right.y - 2 * side,
                      corners.bottom_right.x - side, corners.bottom_right.y - side))  # fmt: skip
    assert zxingcpp.read_barcodes(soiled)[0].text == target


@pytest.mark.outside_check(source="ISO/IEC 18004, from memory", tolerance="4 modules", shared="no parameter")
def test_four_white_modules_lie_around_the_code() -> None:
    """ISO/IEC 18004 asks for a quiet zone of 4 modules (from memory). Version 3 has 29 modules a side."""
    image = picture(code_target("quince-walk", BASE + "quince-walk"))
    corners = zxingcpp.read_barcodes(image)[0].position
    left, right = corners.top_left.x, corners.top_right.x
    top, bottom = corners.top_left.y, corners.bottom_left.y
    zone = int(4 * (right - left) / 29) - 2  # pixels; 2 for the rounding of corners
    around = image.crop((left - zone, top - zone, right + zone, bottom + zone))
    pixels = around.load()
    assert pixels is not None
    wide, high = around.size
    ring = [
        pixels[x, y]
        for x in range(wide)
        for y in range(high)
        if min(x, y, wide - 1 - x, high - 1 - y) < zone - 3
    ]
    assert min(ring) > 200


@pytest.mark.outside_check(source="the label's own size", tolerance="0.15 mm", shared="no parameter")
def test_a_label_is_as_large_as_it_says() -> None:
    wide, high = picture(code_target("quince-walk"), dots_per_inch=254).size
    assert (wide / 10, high / 10) == pytest.approx((92, 50), abs=0.15)
