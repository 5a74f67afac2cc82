"""Labels of jars: what they say, and that their code opens the jar."""

from __future__ import annotations

import io
from datetime import date

import pypdf
import pytest

from mulchwright.errors import InputError
from mulchwright.garden.keeping import Jar, JarKind
from mulchwright.sheets.labels import jar_label, labels_pdf
from mulchwright.trade import load_trade

JAR = Jar(
    "jar-1", "Jar 1", JarKind.DRIED, "king-stropharia", date(2031, 6, 10), 0.041, date(2031, 10, 13), ("p",)
)


def test_a_label_says_kind_days_and_origin() -> None:
    label = jar_label(JAR, load_trade(), kind="dried", origin=["Plum row, 8 June"])
    assert label.target == "mulchwright:jar/jar-1"
    pdf = labels_pdf([label], day=date(2031, 6, 10), title="Jar labels")
    text = " ".join(
        pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split()
    )  # long lines are wrapped
    for words in (
        "Jar 1",
        "wine cap, dried",
        "Made 10 June 2031",
        "Best by 13 October 2031",
        "Plum row",
    ):
        assert words in text


def test_an_address_opens_the_jar_and_one_that_leads_home_is_refused() -> None:
    address = "http://192.168.1.20:8000/stores/pantry/jar-1"
    assert jar_label(JAR, load_trade(), kind="dried", origin=(), address=address).target == address
    with pytest.raises(InputError, match="lead a phone to itself"):
        jar_label(JAR, load_trade(), kind="dried", origin=(), address="http://localhost/stores/pantry/jar-1")
