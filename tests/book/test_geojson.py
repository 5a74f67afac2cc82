"""GeoJSON out and in: the standard's rules, nothing lost, and files of other kinds told in words."""

from __future__ import annotations

import copy
import itertools
import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from mulchwright.book import export_geojson, import_geojson, json_text
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Place, ZoneKind
from mulchwright.trade import load_trade

POSITION = {"type": "array", "minItems": 2, "maxItems": 3, "items": {"type": "number"}}
RULES: dict[str, Any] = {
    "type": "object",
    "required": ["type", "features"],
    "not": {"required": ["crs"]},
    "properties": {
        "type": {"const": "FeatureCollection"},
        "features": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "geometry", "properties"],
                "properties": {
                    "type": {"const": "Feature"},
                    "id": {"type": ["string", "number"]},
                    "properties": {"type": ["object", "null"]},
                    "geometry": {
                        "oneOf": [
                            {"type": "null"},
                            {
                                "type": "object",
                                "properties": {"type": {"const": "Point"}, "coordinates": POSITION},
                                "required": ["type", "coordinates"],
                            },
                            {
                                "type": "object",
                                "properties": {
                                    "type": {"const": "Polygon"},
                                    "coordinates": {
                                        "type": "array",
                                        "items": {"type": "array", "minItems": 4, "items": POSITION},
                                    },
                                },
                                "required": ["type", "coordinates"],
                            },
                        ]
                    },
                },
            },
        },
    },
}
"""The rules of RFC 7946 that a plan can break: sections 3.1.1, 3.1.2, 3.1.6, 3.2, 3.3 and 4."""


def same_outline(one: Outline, other: Outline) -> bool:
    """The same corners within 1 mm, in either sense of turning."""
    ways = (other, (other[0], *other[:0:-1])) if other else (other,)
    return len(one) == len(other) and any(
        all(math.dist(a, b) < 0.001 for a, b in zip(one, way, strict=True)) for way in ways
    )


def test_the_rules_of_the_standard_are_kept(planned_garden: Garden) -> None:
    data = export_geojson(planned_garden)
    jsonschema.validate(data, RULES)
    rings = [f["geometry"]["coordinates"] for f in data["features"]
             if f["geometry"] and f["geometry"]["type"] == "Polygon"]  # fmt: skip
    assert len(rings) == 7
    for (ring,) in rings:
        assert ring[0] == ring[-1]
        # Right-hand rule (3.1.6), by the sign of the cross products in longitude and latitude.
        lon0, lat0 = ring[0]
        flat = [((lon - lon0) * math.cos(math.radians(lat0)), lat - lat0) for lon, lat in ring]
        assert sum(a[0] * b[1] - a[1] * b[0] for a, b in itertools.pairwise(flat)) > 0
        for lon, lat in ring:  # longitude first (3.1.1)
            assert lon == pytest.approx(-92.2, abs=0.001)
            assert lat == pytest.approx(38.9, abs=0.001)
    ids = [feature["id"] for feature in data["features"]]
    assert len(set(ids)) == len(ids) == 12
    located = {f["id"] for f in data["features"] if f["geometry"] is None}
    assert located == {"bed/wall-bed", "patch/wall"}


def test_its_own_export_changes_nothing(planned_garden: Garden) -> None:
    text = json_text(export_geojson(planned_garden))
    done = import_geojson(text, planned_garden, trade=load_trade())
    assert done.garden == planned_garden
    assert (done.added, done.changed, done.unchanged, done.left_out) == ((), (), 12, ())


@pytest.mark.parametrize("north_deg", [0.0, 12.5, -135.0])
@pytest.mark.parametrize(
    ("latitude", "longitude"), [(38.9, -92.2), (-45.0, 170.5), (69.7, 18.9), (0, 179.9999)]
)
def test_round_trip_within_a_millimeter(
    planned_garden: Garden, north_deg: float, latitude: float, longitude: float
) -> None:
    place = replace(planned_garden.place, north_deg=north_deg, latitude_deg=latitude, longitude_deg=longitude)
    quince, wall = planned_garden.patches
    garden = replace(planned_garden, place=place, patches=(replace(quince, area_m2=3.0), wall))  # as drawn
    done = import_geojson(json_text(export_geojson(garden)), Garden(place=place), trade=load_trade())
    assert len(done.added) == 12
    assert done.left_out == ()
    again = done.garden
    for field in ("beds", "patches", "walls", "paths", "zones"):
        for one, other in zip(getattr(garden, field), getattr(again, field), strict=True):
            assert same_outline(one.outline, other.outline)
            assert replace(other, outline=one.outline) == one
    for tree, same in zip(garden.crowns, again.crowns, strict=True):
        assert math.dist(tree.center, same.center) < 0.001
        assert replace(same, center=tree.center) == tree
    assert math.dist(garden.taps[0].point, again.taps[0].point) < 0.001


def test_a_place_known_by_another_way(planned_garden: Garden) -> None:
    """100 m north is 100 / 111 132 of a degree at 45° (meridian radius 6 367 382 m, by hand)."""
    place = Place("Mid", 45.0, 7.0, 0.0, "UTC")
    tap = replace(planned_garden.taps[0], point=(0.0, 100.0))
    (feature,) = export_geojson(Garden(place=place, taps=(tap,)))["features"]
    lon, lat = feature["geometry"]["coordinates"]
    assert lon == pytest.approx(7.0, abs=1e-9)
    assert lat - 45.0 == pytest.approx(math.degrees(100 / 6_367_382), abs=2e-9)


def test_a_hand_drawn_feature_needs_little(garden: Garden) -> None:
    """What another program draws: name, kind and what has no usual value; clockwise rings are taken too."""
    ring = [[-92.2, 38.9], [-92.2, 38.9001], [-92.1999, 38.9001], [-92.1999, 38.9], [-92.2, 38.9]]
    wall = {
        "type": "Feature",
        "geometry": {"type": "MultiPolygon", "coordinates": [[ring]]},
        "properties": {"kind": "wall", "name": "Old barn", "height_m": 5, "fill": "#ff0000"},
    }
    bare = {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [ring]},
            "properties": {"kind": "path"}}  # fmt: skip
    slope = copy.deepcopy(bare) | {"properties": {"kind": "zone", "zone_kind": "steep", "name": "Slope"}}
    file = {"type": "FeatureCollection", "features": [wall, bare, copy.deepcopy(bare), slope]}
    done = import_geojson(file, garden)
    assert done.added == ("wall “Old barn”", "path “Path”", "path “Path”", "zone “Slope”")
    assert done.left_out == ("feature 1 (“Old barn”): its property 'fill' is not known",)
    (barn,) = done.garden.walls
    assert (barn.key, barn.height_m, barn.house) == ("old-barn", 5, False)
    assert [path.key for path in done.garden.paths] == ["path", "path-2"]
    assert done.garden.zones[0].kind is ZoneKind.STEEP
    assert done.garden.patches == garden.patches


def test_a_patch_moved_elsewhere_gets_the_area_of_its_outline(planned_garden: Garden) -> None:
    data = export_geojson(planned_garden)
    patch = next(f for f in data["features"] if f["id"] == "patch/quince")
    (ring,) = patch["geometry"]["coordinates"]
    stretched = [[lon, lat] for lon, lat in ring[:2]]
    for (lon, lat), (lon0, lat0) in ((ring[2], ring[1]), (ring[3], ring[0])):
        stretched.append([lon + (lon - lon0), lat + (lat - lat0)])  # twice as wide
    patch["geometry"]["coordinates"] = [[*stretched, ring[0]]]
    done = import_geojson(data, planned_garden)
    assert done.changed == ("patch “Under the quince”",)
    assert done.garden.patches[0].area_m2 == pytest.approx(6.0, abs=0.001)
    assert done.garden.patches[0].recipe == planned_garden.patches[0].recipe


def test_unknown_kinds_are_reported(planned_garden: Garden) -> None:
    data = export_geojson(planned_garden)
    data["features"][2]["properties"]["kind"] = "pond"
    data["features"][3]["properties"]["kind"] = "pach"
    data["features"][4]["properties"] = None
    done = import_geojson(data, Garden(place=planned_garden.place, beds=planned_garden.beds))
    known = "(known are bed, patch, crown, wall, path, tap, zone)"
    assert done.left_out == (
        f"feature 3 (“Under the quince”): the kind 'pond' is not known here {known}",
        "feature 4 (“Along the wall”): the kind 'pach' is not known here; did you mean patch?",
        f"feature 5: it has no kind {known}",
    )
    assert done.garden.patches == ()


def put(number: int, path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        *steps, last = (int(step) if step.isdigit() else step for step in path.split("."))
        at: Any = data["features"][number]
        for step in steps:
            at = at[step]
        at[last] = value

    return change


RING = "geometry.coordinates.0"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (put(0, f"{RING}.1", [552000.0, 4180000.0]), "cannot be longitude and latitude; the file is"),
        (put(0, f"{RING}.1", [38.9, -92.2]), "cannot be longitude and latitude"),
        (put(0, f"{RING}.1", [12.5, 41.9]), "km from the garden; is this another garden's plan"),
        (put(0, f"{RING}.1", [-92.2, 38.8]), "lies 11 km from the garden"),
        (put(0, f"{RING}.1", [-92.2]), "[-92.2] is no position; it must be [longitude, latitude]"),
        (put(0, f"{RING}.1", ["a", 1]), "is no position"),
        (put(0, f"{RING}.1", [True, 1]), "is no position"),
        (put(0, f"{RING}.3", [-92.2001, 38.9]), "its ring is not closed; the last position"),
        (put(0, RING, [[-92.2, 38.9]] * 3), "its ring needs four positions at least"),
        (put(0, RING, [[-92.2, 38.9]] * 4), "its corners enclose no area"),
        (
            put(0, RING, [[-92.2, 38.9], [-92.199, 38.901], [-92.199, 38.9], [-92.2, 38.901], [-92.2, 38.9]]),
            "like a bow tie. Put the corners in order around the edge",
        ),
        (put(0, "geometry.coordinates", []), "its Polygon has no ring"),
        (put(2, "geometry.coordinates", [[], []]), "feature 3 (“Under the quince”): it has a hole"),
        (put(0, "geometry", {"type": "LineString", "coordinates": []}), "is a LineString, where a Polygon"),
        (put(4, "geometry", None), "feature 5 (“Old quince”): it has no geometry; draw it"),
        (put(4, "properties.radius_m", 0), "radius of crown 'Old quince' is 0"),
        (put(4, "properties.radius_m", "wide"), "radius_m must be a number, not 'wide'"),
        (put(6, "properties.height_m", 61), "height of wall 'House' is 61"),
        (put(6, "properties.key", "fence"), "the wall 'fence' stands twice in this file"),
        (put(2, "properties.species", "oister"), "did you mean oyster"),
        (put(2, "properties.bed", "nowhere"), "lies in bed 'nowhere', which this garden does not have"),
        (put(10, "properties.zone_kind", "swamp"), "kind must be seen_from_street, dug_over"),
        (put(1, "type", "feature"), "feature 2 (“By the wall”): it is no Feature"),
        (lambda data: data.update(features=None), "has no list of features"),
        (lambda data: data.update(type="Topology"), "is no GeoJSON with features"),
        (
            lambda data: data.update(
                crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32615"}}
            ),
            "is in another coordinate system (urn:ogc:def:crs:EPSG::32615)",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_in(
    planned_garden: Garden, change: Callable[[dict[str, Any]], None], words: str
) -> None:
    data = copy.deepcopy(export_geojson(planned_garden))
    change(data)
    with pytest.raises(InputError) as caught:
        import_geojson(json.dumps(data), planned_garden, trade=load_trade(), file_name="plan.geojson")
    assert str(caught.value).startswith("plan.geojson")
    assert words in str(caught.value)
    assert "othing was brought in" in str(caught.value)


def test_longitude_and_latitude_exchanged(planned_garden: Garden) -> None:
    garden = replace(
        planned_garden, place=replace(planned_garden.place, latitude_deg=45.0, longitude_deg=7.0)
    )
    data = export_geojson(garden)
    data["features"][0]["geometry"]["coordinates"][0][1].reverse()
    with pytest.raises(InputError, match="look exchanged; longitude comes first"):
        import_geojson(data, garden)


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326"])
def test_the_older_standards_name_for_longitude_and_latitude_is_taken(
    planned_garden: Garden, name: str
) -> None:
    data = export_geojson(planned_garden) | {"crs": {"type": "name", "properties": {"name": name}}}
    assert import_geojson(data, planned_garden).unchanged == 12


def test_all_faults_at_once(planned_garden: Garden) -> None:
    data = export_geojson(planned_garden)
    data["features"][4]["properties"]["radius_m"] = 0
    data["features"][6]["properties"]["height_m"] = 100
    with pytest.raises(InputError, match="2 faults; nothing was brought in") as caught:
        import_geojson(data, planned_garden)
    assert len(str(caught.value).splitlines()) == 3


def test_the_sample_of_the_manual(garden: Garden) -> None:
    page = (Path(__file__).parents[2] / "docs" / "garden-file.md").read_text(encoding="utf-8")
    (sample,) = re.findall(r"```geojson\n(.*?)```", page, re.DOTALL)
    there = replace(garden, place=replace(garden.place, latitude_deg=44.3, longitude_deg=-73.1))
    done = import_geojson(sample, there, trade=load_trade())
    assert (done.added, done.left_out) == (("crown “Pear”", "zone “By the ditch”"), ())
    assert done.garden.crowns[0].radius_m == 1.5


@pytest.mark.parametrize("number", ["9" * 400, "9" * 5000, "1e400", "Infinity", "NaN"])
def test_a_number_without_end_is_refused_with_its_feature(planned_garden: Garden, number: str) -> None:
    """In every place of the file that holds a number: coordinates, heights, areas."""
    text = json.dumps(export_geojson(planned_garden))
    found = list(re.finditer(r'(?:": |[\[ ])(?P<value>-?\d+\.\d+)(?=[,\]}])', text))
    assert len(found) > 40
    for entry in found[:: max(1, len(found) // 60)]:
        changed = f"{text[: entry.start('value')]}{number}{text[entry.end('value') :]}"
        try:
            after = import_geojson(
                changed, planned_garden, trade=load_trade(), file_name="odd.geojson"
            ).garden
        except InputError as error:
            sentence = str(error)
            assert sentence.startswith("odd.geojson")
            assert len(max(sentence.splitlines(), key=len)) < 500
        else:
            # An area that is drawn is measured; what is told beside it does not count.
            assert after == planned_garden, text[entry.start() - 60 : entry.end()]
