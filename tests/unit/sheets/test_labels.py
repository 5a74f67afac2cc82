"""Labels: what their codes hold, which addresses are refused, same bytes."""

from __future__ import annotations

import io
from datetime import date

import pypdf
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Layer, Patch, Recipe
from mulchwright.sheets.labels import Label, code_target, label_of, label_png, labels_pdf
from mulchwright.trade import load_trade

DAY = date(2031, 4, 12)
LABEL = Label("plum-row", "Plum row", "king stropharia", date(2031, 4, 20), "mulchwright:patch/plum-row")


def text_of(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def test_without_an_address_the_code_holds_the_short_id() -> None:
    patch = Patch(
        "plum-row", "Plum row", "king-stropharia", Recipe("r", (Layer("hardwood-chips", 0.1),)), 4.0
    )
    assert label_of(patch, load_trade()).target == "mulchwright:patch/plum-row"


@pytest.mark.parametrize(
    "address",
    [
        "http://192.168.1.20:8000/beds/plum-row",
        "https://garden.example/beds/plum-row",
        "http://[fd00::7]/beds/x",
    ],
)
def test_an_address_in_the_network_is_taken_as_given(address: str) -> None:
    assert code_target("plum-row", address) == address


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1", "127.8.9.1", "localhost", "LOCALHOST", "localhost.", "garden.localhost", "[::1]",
        "0.0.0.0", "[::]", "[::ffff:127.0.0.1]", "127.1", "2130706433", "0x7f000001", "0",
    ],
)  # fmt: skip
def test_an_address_that_leads_a_phone_to_itself_is_refused(host: str) -> None:
    with pytest.raises(InputError, match="would lead a phone to itself") as refusal:
        code_target("plum-row", f"http://{host}:8000/beds/plum-row")
    assert "your home network" in str(refusal.value)
    assert refusal.value.field == "address"


@pytest.mark.parametrize(
    "address",
    ["", "beds/plum-row", "ftp://host/x", "http://", "http://a b/", "http://host:99999/", "javascript:x"],
)
def test_what_is_no_web_address_is_refused(address: str) -> None:
    with pytest.raises(InputError, match="is not a web address"):
        code_target("plum-row", address)


def test_an_address_too_long_for_a_label_is_refused() -> None:
    with pytest.raises(InputError, match="too fine to read outdoors"):
        code_target("plum-row", "http://host.example/" + "x" * 200)


def test_ten_labels_a_page_and_each_says_what_it_is() -> None:
    labels = [Label(f"bed-{n}", f"Bed {n}", "blewit", None, "mulchwright:patch/x") for n in range(11)]
    first, second = text_of(labels_pdf(labels, day=DAY))
    assert all(f"Bed {n}\n" in first for n in range(10))
    assert "Bed 10" in second
    (alone,) = text_of(labels_pdf([LABEL], day=DAY, paper="a4"))
    assert alone.split("\n")[:4] == ["Plum row", "king stropharia", "20 April 2031", "plum-row"]


@pytest.mark.parametrize("name", ["#", '"quotes" \\ *stars*', "#panic()", "$x$ <a> @b"])
def test_a_name_is_no_markup(name: str) -> None:
    label = Label("x", name, "blewit", None, "mulchwright:patch/x")
    assert " ".join(text_of(labels_pdf([label], day=DAY))[0].split()).startswith(name)


def test_same_labels_same_bytes() -> None:
    assert labels_pdf([LABEL], day=DAY) == labels_pdf([LABEL], day=DAY)
    assert label_png(LABEL, day=DAY) == label_png(LABEL, day=DAY)


def test_what_is_refused() -> None:
    with pytest.raises(InputError, match="no bed to make a label for"):
        labels_pdf([], day=DAY)
    with pytest.raises(InputError, match="choose letter or a4"):
        labels_pdf([LABEL], day=DAY, paper="legal")
    with pytest.raises(InputError, match="choose 100 to 1,200"):
        label_png(LABEL, day=DAY, dots_per_inch=20)
