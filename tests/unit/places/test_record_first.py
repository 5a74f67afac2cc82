"""In an outlook a record of whole years counts before the table of places, and a grower's own figures before
both."""

from __future__ import annotations

from dataclasses import replace

from mulchwright import almanac
from mulchwright.book.demo import demo_garden
from mulchwright.places import climate_at
from mulchwright.services.clock import today_in
from mulchwright.trade import load_trade


def test_an_outlook_follows_the_record_and_not_the_table() -> None:
    garden, series = demo_garden()
    place = garden.place
    table = climate_at(place.latitude_deg, place.longitude_deg, place.elevation_m)
    assert table is not None

    def outlook(normals: object) -> object:
        changed = replace(garden, normals=normals)  # type: ignore[arg-type]
        made = almanac.outlook(changed, series, load_trade(), today=today_in(garden), members=20, days=400)
        return made.as_json()

    alone = outlook(None)
    assert outlook(table) == alone
    assert outlook(replace(table, source="An almanac")) != alone
