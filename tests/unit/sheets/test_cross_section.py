"""The cross-section of a bed: its words, its scale, its hatches and its labels."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from mulchwright.sheets.cross_section import DrawnLayer, DrawnPlane, cross_section


def test_drawings_tell_their_words_and_escape_them() -> None:
    layers = (DrawnLayer("hardwood-chips", "chips", "alder <chips>", "5 cm", 0.05),)
    svg = cross_section(layers, (DrawnPlane(0.025, 6),), label="A bed & its layers", mark="x")
    root = ET.fromstring(svg)
    assert root.attrib["role"] == "img"
    title = root.find("title")
    assert title is not None
    assert title.text == "A bed & its layers"
    assert root.attrib["aria-labelledby"] == title.attrib["id"]
    assert "style=" not in svg


def test_layers_are_to_scale_and_hatches_differ() -> None:
    layers = (
        DrawnLayer("wheat-straw", "straw", "straw", "5 cm", 0.05),
        DrawnLayer("hardwood-chips", "chips", "chips", "10 cm", 0.10),
        DrawnLayer("unheard-of", "fines", "new stuff", "5 cm", 0.05),
    )
    root = ET.fromstring(cross_section(layers, (), label="x", mark="x"))
    filled = [r for r in root.iter("rect") if r.attrib.get("fill", "").startswith("url")]
    heights = [float(r.attrib["height"]) for r in filled[:3]]
    assert heights[1] == pytest.approx(2 * heights[0], abs=0.2)
    assert len({r.attrib["fill"] for r in filled}) == 4


def test_thin_skin_is_still_drawn_and_labels_do_not_overlap() -> None:
    thin = (DrawnLayer("sawdust", "fines", f"layer {i}", "1 mm", 0.001) for i in range(3))
    layers = (*thin, DrawnLayer("hardwood-chips", "chips", "deep chips", "60 cm", 0.6))
    root = ET.fromstring(cross_section(layers, (), label="x", mark="x"))
    names = sorted(
        float(t.attrib["y"]) for t in root.iter("text") if t.text and t.text.startswith(("layer", "deep"))
    )
    assert all(b - a >= 19 for a, b in pairwise(names))


def test_many_layers_with_long_names_stay_within_the_drawing_and_off_the_line_under_it() -> None:
    layers = tuple(
        DrawnLayer("hardwood-chips", "chips", f"hardwood chips: red alder {i}", "5 cm", 0.05)
        for i in range(8)
    )
    foot = "Beads: sawdust spawn, six planes, 300 g/m² each."
    root = ET.fromstring(cross_section(layers, (), label="x", mark="x", foot=foot))
    height = float(root.attrib["height"])
    lines = sorted((float(t.attrib["y"]), t.text or "", float(t.attrib["x"])) for t in root.iter("text"))
    assert all(14 <= y <= height - 4 for y, _, _ in lines)
    names = [y for y, _, x in lines if x > 150]
    assert all(b - a >= 19 for a, b in pairwise(names))
    first_of_foot = next(y for y, words, _ in lines if words.startswith("Beads"))
    assert first_of_foot - max(names) >= 19
