"""The plan as GeoJSON (RFC 7946), out and in.

One Feature for each bed, patch, crown, wall, path, tap and zone. Crowns and taps are Points, all
others Polygons, and a bed or patch that was not drawn yet has no geometry (section 3.2). Longitude
comes first (3.1.1); rings are closed, at least four positions long, and outer rings run counterclockwise
(3.1.6); there is no `crs` (4). Positions have ten decimals, a hundredth of a millimeter.

`properties` hold `kind`, `key`, `name` and the noun's other fields in SI units, named as in an
export; what sort of zone it is stands under `zone_kind`. Coming in, a feature with the kind and key
of something in the garden changes it, any other adds to the garden, and nothing is taken out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, replace
from typing import Any

from pydantic import ValidationError

from mulchwright.book.exchange import loads, plain
from mulchwright.book.exchange_forms import form_of, noun_of
from mulchwright.book.faults import fault_lines
from mulchwright.book.forms import field_names
from mulchwright.book.keys import TradeKeys, near_words, slug
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    Crown,
    Garden,
    Outline,
    Patch,
    Path,
    Point,
    Tap,
    Wall,
    Zone,
    polygon_area_m2,
)
from mulchwright.garden.checks import is_finite
from mulchwright.garden.placing import TangentPlane

__all__ = ["FARTHEST_FROM_GARDEN_M", "PlanImport", "export_geojson", "import_geojson"]

DECIMALS = 10
SAME_PLACE_M = 0.001
AREAS_AGREE = 0.001
FARTHEST_FROM_GARDEN_M = 5000.0
LON_LAT_NAMES = ("crs84", "4326", "wgs84", "wgs 84")
"""What a `crs` of the older standard is called when it means longitude and latitude after all."""
FAULTS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class _Kind:
    """How one kind of noun is written: its place in the garden, and which field is its geometry."""

    garden_field: str
    noun: type
    geometry: str
    drawn: bool = True


KINDS: Mapping[str, _Kind] = {
    "bed": _Kind("beds", Bed, "outline", drawn=False),
    "patch": _Kind("patches", Patch, "outline", drawn=False),
    "crown": _Kind("crowns", Crown, "center"),
    "wall": _Kind("walls", Wall, "outline"),
    "path": _Kind("paths", Path, "outline"),
    "tap": _Kind("taps", Tap, "point"),
    "zone": _Kind("zones", Zone, "outline"),
}


# ---- out --------------------------------------------------------------------


def export_geojson(garden: Garden) -> dict[str, Any]:
    """The plan as a FeatureCollection that `json` can write.

    A garden that lies on the 180th meridian is written with longitudes that run on through it.
    """
    plane = TangentPlane.at(garden.place)
    features = [
        _feature(name, kind, noun, plane)
        for name, kind in KINDS.items()
        for noun in getattr(garden, kind.garden_field)
    ]
    return {"type": "FeatureCollection", "name": garden.place.name, "features": features}


def _feature(name: str, kind: _Kind, noun: Any, plane: TangentPlane) -> dict[str, Any]:
    properties = plain(noun)
    del properties[kind.geometry]
    if "kind" in properties:
        properties["zone_kind"] = properties.pop("kind")
    place = getattr(noun, kind.geometry)
    geometry: dict[str, Any] | None
    if not place:
        geometry = None
    elif kind.geometry == "outline":
        geometry = {"type": "Polygon", "coordinates": [_ring(place, plane)]}
    else:
        geometry = {"type": "Point", "coordinates": _position(place, plane)}
    return {
        "type": "Feature",
        "id": f"{name}/{noun.key}",
        "geometry": geometry,
        "properties": {"kind": name, **properties},
    }


def _position(point: Point, plane: TangentPlane) -> list[float]:
    return [round(degrees, DECIMALS) for degrees in plane.lon_lat(point)]


def _signed_area(outline: Sequence[Point]) -> float:
    following = [*outline[1:], outline[0]]
    return math.fsum(a[0] * b[1] - a[1] * b[0] for a, b in zip(outline, following, strict=True)) / 2


def _ring(outline: Outline, plane: TangentPlane) -> list[list[float]]:
    """The closed ring of an outline, counterclockwise, from the same first corner."""
    corners = list(outline) if _signed_area(outline) > 0 else [outline[0], *outline[:0:-1]]
    return [_position(corner, plane) for corner in (*corners, corners[0])]


# ---- in ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PlanImport:
    """A garden with the features of a file in it, and what became of each.

    added, changed : what they are called. unchanged : how many said nothing new. left_out : what was
    not taken in, and why, in words.
    """

    garden: Garden
    added: tuple[str, ...]
    changed: tuple[str, ...]
    unchanged: int
    left_out: tuple[str, ...]


def import_geojson(
    data: Mapping[str, Any] | str,
    garden: Garden,
    *,
    trade: TradeKeys | None = None,
    file_name: str = "the GeoJSON file",
) -> PlanImport:
    """The garden with what a GeoJSON file (a dictionary, or its text) tells of it.

    Features of a kind that is not known are reported and left out. Raises `InputError` that lists every
    fault: another coordinate system, places that are no longitude and latitude or far from the garden,
    rings that are not closed or cross themselves, figures that a noun refuses. Then nothing is taken in.
    """
    if isinstance(data, str):
        data = loads(data, file_name)
    features = _features(data, file_name)
    reader = _Reader(garden, TangentPlane.at(garden.place), trade)
    for number, feature in enumerate(features, start=1):
        reader.take(number, feature)
    if reader.faults:
        _refuse(reader.faults, file_name)
    try:
        changed = replace(garden, **reader.nouns())
    except InputError as error:
        raise InputError(f"{file_name}: {error} Nothing was brought in.", field=error.field) from None
    return PlanImport(
        changed, tuple(reader.added), tuple(reader.changed), reader.unchanged, tuple(reader.left_out)
    )


def _refuse(faults: list[str], file_name: str) -> None:
    count = len(faults)
    more = [f"and {count - FAULTS_SHOWN} more"] if count > FAULTS_SHOWN else []
    head = f"{file_name} has {'a fault' if count == 1 else f'{count} faults'}; nothing was brought in."
    raise InputError("\n  ".join((head, *faults[:FAULTS_SHOWN], *more)))


def _features(data: Any, file_name: str) -> list[Any]:
    """The features of the file, after a look at what it is and in which coordinates."""
    kind = data.get("type") if isinstance(data, Mapping) else None
    if kind not in ("FeatureCollection", "Feature"):
        raise InputError(
            f"{file_name} is no GeoJSON with features: it should begin with "
            '{"type": "FeatureCollection"}. Nothing was brought in; choose another file.'
        )
    if (named := data.get("crs")) is not None and not _is_lon_lat(named):
        raise InputError(
            f"{file_name} is in another coordinate system ({_crs_name(named)}); GeoJSON has longitude and "
            "latitude (WGS 84) only. Nothing was brought in. Export it again as RFC 7946, or as EPSG:4326."
        )
    features = [data] if kind == "Feature" else data.get("features")
    if not isinstance(features, list):
        raise InputError(f"{file_name} has no list of features. Nothing was brought in.")
    return features


def _crs_name(named: Any) -> str:
    properties = named.get("properties") if isinstance(named, Mapping) else None
    name = properties.get("name") if isinstance(properties, Mapping) else None
    return str(name or named)[:80]


def _is_lon_lat(named: Any) -> bool:
    name = _crs_name(named).lower()
    return any(name.endswith(known) for known in LON_LAT_NAMES)


class _Faulty(Exception):
    """A feature that cannot be taken; its words."""


class _Reader:
    """Takes features one by one into the nouns of a garden, gathering faults and what was left out."""

    def __init__(self, garden: Garden, plane: TangentPlane, trade: TradeKeys | None) -> None:
        self._plane = plane
        self._trade = trade
        self._stood: dict[tuple[str, str], Any] = {}
        self._found: dict[tuple[str, str], Any] = {}
        for name, kind in KINDS.items():
            for noun in getattr(garden, kind.garden_field):
                self._stood[name, noun.key] = noun
        self.faults: list[str] = []
        self.added: list[str] = []
        self.changed: list[str] = []
        self.left_out: list[str] = []
        self.unchanged = 0

    def nouns(self) -> dict[str, Any]:
        """All nouns by field of the garden: those that stood in their order, then the new ones."""
        whole = self._stood | self._found
        return {
            kind.garden_field: tuple(noun for (of, _), noun in whole.items() if of == name)
            for name, kind in KINDS.items()
        }

    def take(self, number: int, feature: Any) -> None:
        """One feature: a noun, a line of what was left out, or a fault."""
        properties = feature.get("properties") if isinstance(feature, Mapping) else None
        fields = dict(properties) if isinstance(properties, Mapping) else {}
        name = str(fields.get("name") or fields.get("key") or "")
        where = f"feature {number}" + (f" (“{name[:60]}”)" if name else "")
        if not isinstance(feature, Mapping) or feature.get("type") != "Feature":
            self.faults.append(f"{where}: it is no Feature; each item of the list must be one")
            return
        kind_name = fields.pop("kind", None)
        if not isinstance(kind_name, str) or kind_name not in KINDS:
            known = ", ".join(KINDS)
            near = near_words(kind_name, KINDS, most=1) if isinstance(kind_name, str) else []
            meant = f"; did you mean {near[0]}?" if near else f" (known are {known})"
            what = "it has no kind" if kind_name is None else f"the kind {kind_name!r} is not known here"
            self.left_out.append(f"{where}: {what}{meant}")
            return
        try:
            self._take_known(kind_name, fields, feature.get("geometry"), where)
        except _Faulty as fault:
            self.faults.append(f"{where}: {fault}")

    def _take_known(self, name: str, fields: dict[str, Any], geometry: Any, where: str) -> None:
        kind = KINDS[name]
        fields.setdefault("name", name.capitalize())
        if "zone_kind" in fields and name == "zone":
            fields["kind"] = fields.pop("zone_kind")
        key = fields.get("key") or self._free_key(name, str(fields["name"]))
        fields["key"] = key
        if (name, key) in self._found:
            raise _Faulty(f"the {name} {key!r} stands twice in this file; rename one")
        stood = self._stood.get((name, key))
        plain_noun = self._plain(kind, stood)
        form = form_of(kind.noun)
        known = set(field_names(form))
        for entry in sorted(set(fields) - set(form.model_fields)):
            near = near_words(entry, dict.fromkeys(known), most=1)
            self.left_out.append(
                f"{where}: its property {entry!r} is not known"
                + (f"; did you mean {near[0]}?" if near else "")
            )
            del fields[entry]
        fields.pop(kind.geometry, None)
        plain_noun |= fields
        plain_noun[kind.geometry] = self._place(kind, geometry, stood)
        if name == "patch" and plain_noun["outline"]:
            plain_noun["area_m2"] = self._area(plain_noun, stood)
        self._keep(name, key, stood, self._noun(kind, plain_noun), fields["name"])

    def _noun(self, kind: _Kind, plain_noun: dict[str, Any]) -> Any:
        try:
            return noun_of(kind.noun, plain_noun, trade=self._trade)
        except ValidationError as error:
            lines = fault_lines(error, plain_noun, known=field_names(form_of(kind.noun)))
            raise _Faulty("; ".join(line.removeprefix(": ") for line in lines)) from None

    def _keep(self, name: str, key: str, stood: Any, noun: Any, called: str) -> None:
        self._found[name, key] = noun
        if stood is None:
            self.added.append(f"{name} “{called}”")
        elif stood == noun:
            self.unchanged += 1
        else:
            self.changed.append(f"{name} “{called}”")

    def _free_key(self, name: str, called: str) -> str:
        wanted = slug(called) or name
        key, count = wanted, 1
        while (name, key) in self._found or (count > 1 and (name, key) in self._stood):
            count += 1
            key = f"{wanted}-{count}"
        return key

    @staticmethod
    def _plain(kind: _Kind, stood: Any) -> dict[str, Any]:
        """The noun that stood as plain entries; for a new one those that have a usual value."""
        if stood is not None:
            return dict(plain(stood))
        usual: dict[str, Any] = {}
        for field in fields(kind.noun):
            if field.default is not MISSING:
                usual[field.name] = plain(field.default)
            elif field.default_factory is not MISSING:
                usual[field.name] = plain(field.default_factory())
        return usual

    @staticmethod
    def _area(plain_noun: dict[str, Any], stood: Any) -> float:
        """The outline's area; as it was told where nothing moved, or where the two agree but for rounding."""
        outline = tuple((x, y) for x, y in plain_noun["outline"])
        drawn = polygon_area_m2(outline)
        stated = plain_noun.get("area_m2")
        if not isinstance(stated, int | float):
            return drawn
        if not is_finite(stated):
            raise _Faulty(f"its area_m2 is {str(stated)[:40]}, which is no area")
        unmoved = stood is not None and stood.outline == outline
        return float(stated) if unmoved or abs(stated - drawn) <= AREAS_AGREE * drawn else drawn

    # ---- places -----------------------------------------------------------------

    def _place(self, kind: _Kind, geometry: Any, stood: Any) -> list[Any]:
        """The geometry as plan coordinates; the old ones to the last digit where it did not move."""
        before = getattr(stood, kind.geometry, ())
        if geometry is None:
            if kind.drawn:
                raise _Faulty("it has no geometry; draw it, or remove it from the file")
            return []
        if not isinstance(geometry, Mapping):
            raise _Faulty("its geometry is no GeoJSON geometry")
        if kind.geometry != "outline":
            point = self._point(self._coordinates(geometry, "Point"))
            return list(before if before and math.dist(before, point) < SAME_PLACE_M else point)
        corners = self._polygon(geometry)
        if before and _same_outline(before, corners):
            corners = before
        return [list(corner) for corner in corners]

    @staticmethod
    def _coordinates(geometry: Mapping[str, Any], wanted: str) -> Any:
        found = geometry.get("type")
        if found != wanted:
            raise _Faulty(f"its geometry is a {found}, where a {wanted} belongs")
        return geometry.get("coordinates")

    def _polygon(self, geometry: Mapping[str, Any]) -> Outline:
        if geometry.get("type") == "MultiPolygon":
            parts = geometry.get("coordinates")
            if not isinstance(parts, list) or len(parts) != 1:
                raise _Faulty("it is made of several pieces; draw each as a feature of its own")
            rings = parts[0]
        else:
            rings = self._coordinates(geometry, "Polygon")
        if not isinstance(rings, list) or not rings:
            raise _Faulty("its Polygon has no ring")
        if len(rings) > 1:
            raise _Faulty("it has a hole; draw it as two pieces that leave the hole out")
        ring = rings[0]
        if not isinstance(ring, list) or len(ring) < 4:
            raise _Faulty("its ring needs four positions at least, the last equal to the first")
        corners = [self._point(position) for position in ring]
        if math.dist(corners[0], corners[-1]) > SAME_PLACE_M:
            raise _Faulty("its ring is not closed; the last position must equal the first")
        return tuple(corners[:-1])

    def _point(self, position: Any) -> Point:
        """A position on the plan, to a tenth of a millimeter."""
        numbers = isinstance(position, list) and len(position) >= 2
        if not numbers or not all(type(v) in (int, float) and is_finite(v) for v in position[:2]):
            raise _Faulty(f"{repr(position)[:60]} is no position; it must be [longitude, latitude]")
        longitude, latitude = float(position[0]), float(position[1])
        if abs(longitude) > 180.1 or abs(latitude) > 90:
            raise _Faulty(
                f"[{longitude:g}, {latitude:g}] cannot be longitude and latitude; the file is probably in "
                "another coordinate system. Export it again as EPSG:4326 (WGS 84)"
            )
        away = self._plane.distance_m(longitude, latitude)
        if away > FARTHEST_FROM_GARDEN_M:
            swapped = (
                abs(longitude) <= 90 and self._plane.distance_m(latitude, longitude) <= FARTHEST_FROM_GARDEN_M
            )
            why = (
                "longitude and latitude look exchanged; longitude comes first"
                if swapped
                else "is this another garden's plan, or is the garden's latitude or longitude wrong?"
            )
            raise _Faulty(f"[{longitude:g}, {latitude:g}] lies {away / 1000:,.0f} km from the garden; {why}")
        x, y = self._plane.plan_point(longitude, latitude)
        return round(x, 4) + 0.0, round(y, 4) + 0.0


def _same_outline(one: Outline, other: Outline) -> bool:
    """Whether the corners are the same within a millimeter, wherever they begin, either way round."""
    count = len(one)
    if count != len(other):
        return False
    return any(
        all(math.dist(one[n], way[(n + shift) % count]) < SAME_PLACE_M for n in range(count))
        for way in (other, other[::-1])
        for shift in range(count)
    )
