"""Towns by name and by place, from a table that comes with the program.

The table holds the towns of 5,000 people and more of GeoNames, written by `tools/make_towns.py`;
`data/README.md` tells where it is from, `layout.py` how it is laid out. Nothing is asked of a network.
"""

from __future__ import annotations

import difflib
import json
import zlib
from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from mulchwright.errors import InputError
from mulchwright.places.folding import folded
from mulchwright.places.layout import TOWN_COLUMNS

__all__ = [
    "TOWN_CREDIT",
    "Town",
    "near_towns",
    "nearest_town",
    "similar_names",
    "town_of",
    "towns_named",
    "towns_within",
]

TOWN_CREDIT = "Towns: GeoNames (https://www.geonames.org), CC BY 4.0, cut and rounded."
MOST_TOWNS = 12
LONGEST_QUERY = 100
FEWEST_LETTERS = 2
MOST_KEYS = 20_000
"""So many search keys are looked at for one name; no two letters begin more."""
EARTH_RADIUS_KM = 6371.0
Numbers = np.ndarray[tuple[int, ...], np.dtype[np.int64]]
_SAME_COUNTRY = {
    "usa": "us", "america": "us", "uk": "gb", "england": "gb", "great britain": "gb", "holland": "nl",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Town:
    """A town. `key` is its number in the table; `region` is empty where the table has no name for it."""

    key: int
    name: str
    region: str
    country: str
    country_code: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    population: int

    @property
    def where(self) -> str:
        """Region and country: "Vermont, United States"."""
        return ", ".join(part for part in (self.region, self.country) if part and part != self.name)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """The table unpacked: columns by town, texts, and where each search key begins in `keys`."""

    columns: dict[str, Numbers]
    names: tuple[str, ...]
    keys: bytes
    starts: Numbers
    zones: tuple[str, ...]
    countries: tuple[tuple[str, str], ...]
    regions: tuple[tuple[str, str], ...]


@lru_cache(maxsize=1)
def _table() -> _Table:
    body = (files("mulchwright.places") / "data" / "towns.bin").read_bytes()
    begin = 4 + int.from_bytes(body[:4], "little")
    parts = {}
    for name, size in json.loads(body[4:begin]).items():
        parts[name] = zlib.decompress(body[begin : begin + size])
        begin += size
    columns = {name: np.frombuffer(parts[name], kind).astype(np.int64) for name, kind in TOWN_COLUMNS.items()}

    def lines(name: str) -> tuple[str, ...]:
        return tuple(parts[name].decode().split("\n"))

    def pairs(name: str) -> tuple[tuple[str, str], ...]:
        return tuple((first, second) for first, _, second in (line.partition("\t") for line in lines(name)))

    starts = np.flatnonzero(np.frombuffer(parts["keys"], np.uint8) == ord("\n")).astype(np.int64)
    return _Table(
        columns, lines("names"), parts["keys"], starts, lines("zones"), pairs("countries"), pairs("regions")
    )


def town_of(key: int) -> Town:
    """The town with this number. `InputError` where there is none."""
    table = _table()
    if not 0 <= key < len(table.names):
        raise InputError("There is no such town in the table. Look it up by name again.", field="town")
    at = {name: int(table.columns[name][key]) for name in TOWN_COLUMNS if name != "key_town"}
    code, country = table.countries[at["country"]]
    return Town(
        key, table.names[key], table.regions[at["region"]][0], country, code, at["latitude"] / 1000,
        at["longitude"] / 1000, float(at["elevation"]), table.zones[at["zone"]], at["population"],
    )  # fmt: skip


def _ranked(name: str) -> tuple[Numbers, Numbers]:
    """Towns whose keys hold a folded name, and the rank of each by its best key.

    0 where it is the whole key. The town's own name goes before a name in another language: 2 and 4 where
    it begins the key, 3 and 5 where it begins a later word.
    """
    table, word = _table(), name.encode()
    towns, ranks = [], []
    for sought, beginning in ((b"\n" + word, True), (b" " + word, False)):
        offsets: list[int] = []
        at = -1
        while len(offsets) < MOST_KEYS and (at := table.keys.find(sought, at + 1)) >= 0:
            offsets.append(at)
        place = np.array(offsets, dtype=np.int64)
        key = np.searchsorted(table.starts, place, side="right") - 1
        owner = table.columns["key_town"][key]
        other = 1 - owner % 2
        whole = table.starts[np.minimum(key + 1, table.starts.size - 1)] == place + len(sought)
        ranks.append(np.where(whole, 0, 2 + 2 * other) if beginning else 3 + 2 * other)
        towns.append(owner // 2)
    found, first = np.concatenate(towns), np.concatenate(ranks)
    order = np.lexsort((first, found))
    unique, index = np.unique(found[order], return_index=True)
    return unique, first[order][index]


@lru_cache(maxsize=8192)
def _folded_once(name: str) -> str:
    return folded(name)


def _lies_in(key: int, parts: tuple[str, ...]) -> bool:
    """Whether a town's region or country is what each of the folded words begins."""
    table = _table()
    code, country = table.countries[table.columns["country"][key]]
    region, short = table.regions[table.columns["region"][key]]
    names, codes = (_folded_once(region), _folded_once(country)), {code.lower(), short.lower()}
    return all(
        _SAME_COUNTRY.get(part, part) in codes or any(name.startswith(part) for name in names if name)
        for part in parts
    )


def _readings(query: str) -> list[tuple[str, tuple[str, ...]]]:
    """Ways to read what was typed: the town, and where it lies."""
    name, *rest = (folded(part) for part in query.split(","))
    ways = [(name, tuple(part for part in rest if part))]
    words = name.split()
    if not rest:
        ways += [(" ".join(words[:n]), (" ".join(words[n:]),)) for n in range(len(words) - 1, 0, -1)]
    return [way for way in ways if len(way[0]) >= FEWEST_LETTERS]


def towns_named(query: str, *, most: int = MOST_TOWNS) -> tuple[Town, ...]:
    """Towns that a typed name may mean, best first, at most `most`; empty where there is none.

    Whole names come before beginnings and these before later words; among equals the larger town is first.
    Region and country may follow: "Burlington, Vermont", "burlington vt", "Paris, France". Names are
    compared without case and accents; larger towns are known by other names in Latin letters too.
    """
    table = _table()
    for name, parts in _readings(query[:LONGEST_QUERY]):
        towns, ranks = _ranked(name)
        if parts:
            here = np.array([_lies_in(int(key), parts) for key in towns], dtype=np.bool_)
            towns, ranks = towns[here], ranks[here]
        if towns.size:
            best = towns[np.lexsort((-table.columns["population"][towns], ranks))][:most]
            return tuple(town_of(int(key)) for key in best)
    return ()


def similar_names(query: str, *, most: int = 4) -> tuple[str, ...]:
    """Names of towns that are spelled like what was typed and begin with the same two letters."""
    table, name = _table(), folded(query[:LONGEST_QUERY].split(",")[0])
    if len(name) < FEWEST_LETTERS + 1:
        return ()
    first = name[:2].encode()

    class _Keys:
        def __len__(self) -> int:
            return len(table.starts) - 1

        def __getitem__(self, number: int) -> bytes:
            return table.keys[table.starts[number] + 1 : table.starts[number + 1]]

    keys = _Keys()
    low = bisect_left(keys, first)
    high = bisect_left(keys, first + b"\xff")
    people, owner = table.columns["population"], table.columns["key_town"]
    near = {number: keys[number].decode() for number in range(low, high)}
    near = {number: key for number, key in near.items() if abs(len(key) - len(name)) <= 2}
    close = set(difflib.get_close_matches(name, set(near.values()), n=3 * most, cutoff=0.75))
    found = sorted(
        (number for number, key in near.items() if key in close),
        key=lambda number: (
            -difflib.SequenceMatcher(None, name, near[number]).ratio(),
            -people[owner[number] // 2],
        ),
    )
    return tuple(dict.fromkeys(table.names[owner[number] // 2] for number in found))[:most]


def near_towns(
    latitude_deg: float, longitude_deg: float, *, most: int = 6, within_km: float = 300.0
) -> tuple[tuple[Town, float], ...]:
    """Towns about a place with their distance in km, nearest first, larger ones preferred.

    A town counts as nearer the larger it is: by a tenth for each tenfold of people, so that a click between a
    city and its suburb offers the city too. Empty where none lies within `within_km`.
    """
    away = _distances_km(latitude_deg, longitude_deg)
    here = np.flatnonzero(away <= within_km)
    people = np.maximum(_table().columns["population"][here], 1)
    order = here[np.argsort((away[here] + 2.0) / np.log10(people + 10.0), kind="stable")[:most]]
    return tuple((town_of(int(key)), float(away[key])) for key in sorted(order, key=lambda key: away[key]))


def towns_within(
    south_deg: float, north_deg: float, west_deg: float, east_deg: float, *, most: int = 60
) -> tuple[Town, ...]:
    """The largest towns between two latitudes and two longitudes; the east may lie past 180."""
    columns = _table().columns
    along = (columns["longitude"] / 1000 - west_deg) % 360
    up = columns["latitude"] / 1000
    inside = np.flatnonzero((up > south_deg) & (up < north_deg) & (along < east_deg - west_deg))
    best = inside[np.argsort(-columns["population"][inside], kind="stable")[:most]]
    return tuple(town_of(int(key)) for key in best)


def nearest_town(latitude_deg: float, longitude_deg: float) -> tuple[Town, float]:
    """The nearest town of all and its distance in km."""
    away = _distances_km(latitude_deg, longitude_deg)
    key = int(np.argmin(away))
    return town_of(key), float(away[key])


def _distances_km(
    latitude_deg: float, longitude_deg: float
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Great-circle distance of every town from a place by the haversine formula, on a sphere."""
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise InputError(
            "Latitude lies from -90 to 90 degrees, longitude from -180 to 180.", field="latitude"
        )
    columns = _table().columns
    y, x = np.radians(columns["latitude"] / 1000), np.radians(columns["longitude"] / 1000)
    here = np.radians(latitude_deg)
    half = (
        np.sin((y - here) / 2) ** 2
        + np.cos(y) * np.cos(here) * np.sin((x - np.radians(longitude_deg)) / 2) ** 2
    )
    away: np.ndarray[tuple[int, ...], np.dtype[np.float64]] = (
        2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(half, 0, 1)))
    )
    return away
