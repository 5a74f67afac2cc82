"""JSON out and in, without loss; what is wrong in a file is told with its place, all of it at once."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.book import (
    check_keys,
    create_book,
    export_json,
    import_json,
    import_whole,
    json_text,
    open_book,
    read_garden_file,
    read_whole_file,
    series_mapping_of,
    write_export,
)
from mulchwright.errors import BookError, InputError
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Dryer,
    DryingRun,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    Layer,
    LogEntry,
    LogKind,
    LookRules,
    Outline,
    Patch,
    PickStage,
    Place,
    Recipe,
    Sight,
    SpawnPlane,
    Stage,
    StartMoisture,
    Tap,
    UnitSystem,
    Use,
    Wall,
    Watering,
    WateringRule,
    Weighing,
    YearCost,
    Zone,
    ZoneKind,
)
from mulchwright.garden import (
    Path as GardenPath,
)
from mulchwright.garden import (
    Reading as GaugeReading,
)
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.garden.offers import Household, Measure, Offer, Seller, Taking, Vessel
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
from mulchwright.weather.series import DailySeries, Provenance

# ---- gardens of every kind --------------------------------------------------

keys = st.from_regex(r"[a-z0-9][a-z0-9-]{0,12}", fullmatch=True)
names = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20).filter(str.strip)
days = st.dates(date(1, 1, 1), date(9999, 12, 31))


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high)


layers = st.builds(
    Layer,
    material=keys,
    thickness_m=numbers(0.001, 0.6),
    woods=st.lists(keys, max_size=3).map(tuple),
    start_moisture=st.sampled_from(StartMoisture),
)


@st.composite
def recipes(draw: st.DrawFn) -> Recipe:
    laid = tuple(draw(st.lists(layers, min_size=1, max_size=3)))
    skin = draw(st.none() | layers)
    depth = math.fsum(layer.thickness_m for layer in (*laid, *((skin,) if skin else ())))
    planes = []
    for _ in range(draw(st.integers(0, 2))):
        rate, pegs = draw(
            st.tuples(numbers(0, 20), st.just(0.0)) | st.tuples(st.just(0.0), numbers(0, 10_000))
        )
        planes.append(SpawnPlane(draw(keys), draw(numbers(0, min(depth, 1.2))), rate, pegs))
    return Recipe(draw(names), laid, tuple(planes), skin)


@st.composite
def outlines(draw: st.DrawFn) -> Outline:
    """A simple outline: corners at even angles around a center, so that no side crosses another."""
    count = draw(st.integers(3, 6))
    x, y = draw(numbers(-100, 100)), draw(numbers(-100, 100))
    reach = draw(st.lists(numbers(0.5, 50), min_size=count, max_size=count))
    turn = draw(numbers(0, 6))
    angles = [turn + 2 * math.pi * n / count for n in range(count)]
    around = tuple((x + r * math.cos(a), y + r * math.sin(a)) for r, a in zip(reach, angles, strict=True))
    return around if draw(st.booleans()) else around[::-1]


points = st.tuples(numbers(-100, 100), numbers(-100, 100))
crowns = st.builds(
    Crown,
    key=keys,
    name=names,
    center=points,
    radius_m=numbers(0.05, 40),
    height_m=numbers(2, 90),
    base_m=numbers(0, 1.9),
    trunk_radius_m=numbers(0, 5),
    evergreen=st.booleans(),
    leaf_from=st.integers(1, 366),
    leaf_until=st.integers(1, 366),
    transmissivity_in_leaf=numbers(0, 1),
    transmissivity_bare=numbers(0, 1),
    young_bark=st.booleans(),
)
walls = st.builds(Wall, keys, names, outlines(), numbers(0.05, 60), st.booleans())
paths = st.builds(GardenPath, keys, names, outlines())
taps = st.builds(Tap, keys, names, points, numbers(0.5, 300), numbers(0.5, 200))
zones = st.builds(Zone, keys, names, st.sampled_from(ZoneKind), outlines())
look_rules = st.builds(
    LookRules, st.none() | numbers(0.01, 1), st.lists(keys, max_size=3).map(tuple), names | st.just("")
)


# ---- stores -------------------------------------------------------------------

heaps = st.sampled_from(HeapShape).flatmap(
    lambda shape: (
        st.builds(Heap, st.just(shape), count=numbers(0.1, 100), each_l=numbers(0.1, 50_000))
        if shape is HeapShape.VESSELS
        else st.builds(
            Heap, st.just(shape), numbers(0.01, 5), numbers(0.01, 100), numbers(5, 100), numbers(0, 9)
        )
    )
)
sticks = st.builds(
    Stick, numbers(0.01, 100), mid_diameter_m=numbers(0.001, 3), count=st.integers(1, 100_000)
) | st.builds(Stick, numbers(0.01, 100), small_diameter_m=numbers(0, 0.5), large_diameter_m=numbers(0.5, 3))
wood_shares = st.lists(
    st.builds(WoodShare, keys, numbers(0, 0.3)), max_size=3, unique_by=lambda part: part.wood
).map(tuple)
origins = st.just((Origin.CLEAN,)) | st.lists(
    st.sampled_from([origin for origin in Origin if origin is not Origin.CLEAN]), min_size=1, unique=True
).map(tuple)
amounts: st.SearchStrategy[dict[str, Any]] = (
    st.fixed_dictionaries({"heap": heaps, "kind": st.sampled_from([LotKind.CHIPS, LotKind.SKIN])})
    | st.fixed_dictionaries({"mass_kg": numbers(0, 1e6), "kind": st.just(LotKind.STRAW)})
    | st.fixed_dictionaries({"pieces": numbers(0.5, 1e5), "kind": st.just(LotKind.SPAWN), "species": keys})
    | st.fixed_dictionaries(
        {"sticks": st.lists(sticks, min_size=1, max_size=3).map(tuple), "kind": st.just(LotKind.BRUSH)}
    )
)
lots = st.builds(
    lambda amount, **rest: Lot(**amount, **rest),
    amounts,
    key=keys,
    name=names,
    material=keys,
    piece_kg=st.none() | numbers(0.01, 1000),
    packing=st.sampled_from(Packing),
    woods=wood_shares,
    since=st.none() | days,
    origins=origins,
    moisture=st.none() | st.sampled_from(StartMoisture),
    kept_at_c=st.none() | numbers(-30, 45),
    note=names | st.just(""),
)
sums = st.integers(0, 10**8)
sellers = st.builds(
    Seller, keys, names, sums, st.none() | sums, sums, st.none() | st.integers(0, 120), names | st.just("")
)
households = st.builds(
    Household,
    keys,
    names,
    st.lists(
        st.builds(Taking, keys, numbers(0, 1e6), st.sampled_from(Measure), st.none() | keys),
        max_size=3,
        unique_by=lambda one: (one.item, one.species),
    ).map(tuple),
    names | st.just(""),
)
vessels = st.builds(Vessel, numbers(0.1, 100_000), st.integers(1, 1000), names, keys)


@st.composite
def offers_of(draw: st.DrawFn, known: tuple[Seller, ...]) -> tuple[Offer, ...]:
    """Offers of the sellers there are; none where there is no seller."""
    if not known:
        return ()
    offer = st.builds(
        Offer,
        st.sampled_from([seller.key for seller in known]),
        keys,
        numbers(1e-6, 1e6),
        st.none() | sums,
        st.none() | st.integers(0, 1000),
        st.sampled_from(["USD", "EUR", "CAD"]),
        names | st.just(""),
        keys,
        st.sampled_from(Measure),
        st.none() | keys,
    )
    return tuple(draw(several(offer)))


def several(nouns: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.lists(nouns, max_size=2, unique_by=lambda noun: noun.key).map(tuple)


@st.composite
def surveys(draw: st.DrawFn) -> Survey:
    """Two ends of a baseline and some points more, with any readings between them."""
    known = [SurveyPoint("aa", draw(names), (0.0, 0.0)), SurveyPoint("bb", draw(names), draw(points))]
    x, y = known[1].known_at or (0.0, 0.0)
    if math.hypot(x, y) < 0.1:
        known[1] = SurveyPoint("bb", known[1].name, (8.0, 0.0))
    more = st.builds(SurveyPoint, keys, names, st.none() | points, st.none() | st.sampled_from(Side))
    others = draw(st.lists(more, max_size=3, unique_by=lambda point: point.key))
    found = (*known, *(point for point in others if point.key not in ("aa", "bb")))
    pairs = st.permutations([point.key for point in found]).map(lambda order: (order[0], order[1]))
    readings = draw(st.lists(st.tuples(pairs, numbers(0.01, 500)), max_size=4))
    return Survey(
        points=found,
        baseline=("aa", "bb"),
        readings=tuple(Reading(*pair, distance) for pair, distance in readings),
        tape_error_m=draw(numbers(0.001, 1)),
        tape_error_share=draw(numbers(0, 0.1)),
    )


# ---- logbook and kitchen --------------------------------------------------------

moments = st.datetimes(
    datetime(2, 1, 1),
    datetime(9998, 1, 1),
    timezones=st.sampled_from([UTC, timezone(timedelta(hours=-5)), timezone(timedelta(minutes=345))]),
)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
key_lists = st.lists(keys, max_size=2, unique=True).map(tuple)
readings = st.lists(
    st.builds(
        GaugeReading,
        day=days,
        rain_mm=numbers(0, 600),
        temperature_min_c=st.none() | numbers(-60, 0),
        temperature_max_c=st.none() | numbers(0, 60),
        entered_at=st.none() | moments,
    ),
    max_size=2,
    unique_by=lambda reading: reading.day,
).map(tuple)


year_costs = st.lists(
    st.builds(YearCost, st.integers(1, 9999), sums, st.none() | numbers(0, 8784))
    | st.builds(YearCost, st.integers(1, 9999), hours=numbers(0, 8784)),
    max_size=2,
    unique_by=lambda cost: cost.year,
).map(tuple)


@st.composite
def entries(draw: st.DrawFn, key: str, patches: list[str]) -> LogEntry:
    kind = draw(st.sampled_from(LogKind))
    picked, looked = kind is LogKind.PICKED, kind is LogKind.LOOKED
    return LogEntry(
        key,
        draw(st.sampled_from(patches)),
        draw(days),
        kind,
        litres=draw(numbers(0, 100_000) if kind is LogKind.WATERED else st.none() | numbers(0, 100_000)),
        mass_kg=draw(numbers(0, 1000) if picked else st.none() | numbers(0, 1000)),
        share=draw(st.none() | numbers(0, 1)),
        text=draw(texts),
        sight=draw(st.none() | st.sampled_from(Sight)) if looked else None,
        count=draw(st.none() | st.integers(1, 100_000)),
        material=draw(st.just("") | keys),
        thickness_m=draw(st.none() | numbers(0.001, 1)),
        to_patch=draw(st.just("") | keys),
        signs=draw(key_lists),
        photos=draw(key_lists),
        entered_at=draw(st.none() | moments),
        by=draw(texts),
        stage=draw(st.none() | st.sampled_from(PickStage)) if picked else None,
    )


jars = st.builds(
    Jar,
    key=keys,
    name=names,
    kind=st.sampled_from(JarKind),
    species=keys,
    made_on=st.dates(date(1, 1, 1), date(2000, 1, 1)),
    mass_kg=numbers(0.1, 100),
    best_by=st.dates(date(2000, 1, 1)),
    picks=key_lists,
    kept_at_c=numbers(-40, 40),
    humidity=st.none() | numbers(0, 1),
    text=texts,
)
dryers = st.builds(Dryer, keys, names, st.integers(1, 60), numbers(0.01, 2), numbers(50, 5000))


@st.composite
def kitchens(draw: st.DrawFn, patches: list[str], log: list[LogEntry]) -> dict[str, Any]:
    """Checks, uses, jars, dryers and loads that fit the picks of a logbook."""
    picks = [entry for entry in log if entry.kind is LogKind.PICKED and (entry.mass_kg or 0) > 0.01]
    covered = draw(key_lists) + tuple(pick.key for pick in picks)
    check = st.builds(
        IdentityCheck,
        key=keys,
        patch=st.sampled_from(patches or ["none"]),
        species=keys,
        day=days,
        findings=st.dictionaries(keys, st.sampled_from(Finding), max_size=2).map(lambda d: tuple(d.items())),
        picks=st.just(tuple(dict.fromkeys(covered))),
        by=texts,
        print_color=texts,
        text=texts,
        entered_at=st.none() | moments,
    )
    checks = draw(several(check)) if patches else ()
    kept = draw(several(jars))
    uses = []
    for n, source in enumerate((*picks, *kept)):
        of_pick = isinstance(source, LogEntry)
        fates = list(Fate) if checks or not of_pick else [Fate.CHILL, Fate.DISCARD]
        uses.append(
            Use(
                key=f"use-{n}",
                day=draw(days),
                fate=draw(st.sampled_from(fates)),
                mass_kg=draw(numbers(0.005, source.mass_kg or 1)),
                pick=source.key if of_pick else "",
                jar="" if of_pick else source.key,
                check=draw(st.sampled_from([one.key for one in checks])) if checks else "",
                into=draw(st.sampled_from(["", *(jar.key for jar in kept)])),
                text=draw(texts),
                entered_at=draw(st.none() | moments),
            )
        )
    owned = draw(several(dryers))
    load = st.builds(
        DryingRun,
        key=keys,
        dryer=st.sampled_from([dryer.key for dryer in owned] or ["none"]),
        started_at=moments,
        fresh_kg=numbers(1, 100),
        thickness_m=numbers(0.001, 0.03),
        temperature_c=numbers(35, 75),
        room_temperature_c=numbers(-5, 45),
        room_humidity=numbers(0, 1),
        uses=st.just(tuple(use.key for use in uses[:2])),
        weighings=st.lists(st.builds(Weighing, moments, numbers(0.001, 1)), max_size=2).map(tuple),
        dry_kg=st.none() | numbers(0.001, 1),
    )
    dryings = tuple(
        replace(run, ended_at=run.started_at + draw(st.timedeltas(timedelta(0), timedelta(days=3))))
        if draw(st.booleans())
        else run
        for run in (draw(several(load)) if owned else ())
    )
    return {"checks": checks, "uses": tuple(uses), "jars": kept, "dryers": owned, "dryings": dryings}


@st.composite
def gardens(draw: st.DrawFn) -> Garden:
    bed_keys = draw(st.lists(keys, unique=True, max_size=2))
    beds = tuple(
        Bed(key, draw(names), tuple(draw(st.lists(names, max_size=3))), draw(st.just(()) | outlines()))
        for key in bed_keys
    )
    patches = []
    for key in draw(st.lists(keys, unique=True, max_size=2)):
        built_on = draw(st.none() | days)
        patches.append(
            Patch(
                key=key,
                name=draw(names),
                species=draw(keys),
                recipe=draw(recipes()),
                area_m2=draw(numbers(0.05, 10_000)),
                built_on=built_on,
                stage=Stage.PLANNED if built_on is None else draw(st.sampled_from(Stage)),
                bed=draw(st.sampled_from([None, *bed_keys])),
                light_share=tuple(
                    draw(
                        st.sampled_from([1, 12]).flatmap(
                            lambda n: st.lists(numbers(0, 1), min_size=n, max_size=n)
                        )
                    )
                ),
                rain_share=draw(numbers(0, 1)),
                shelter=draw(numbers(0, 1)),
                watering=draw(
                    st.builds(
                        Watering,
                        rule=st.sampled_from(WateringRule),
                        below_moisture=numbers(0.2, 0.8),
                        depth_mm=numbers(0.5, 100),
                        rest_days=st.integers(1, 60),
                        past_as_rule=st.booleans(),
                    )
                ),
                outline=draw(st.just(()) | outlines()),
            )
        )
    patch_keys = [patch.key for patch in patches]
    log = [
        draw(entries(key, patch_keys))
        for key in (draw(st.lists(keys, unique=True, max_size=3)) if patches else [])
    ]
    known = draw(several(sellers))
    normals = None
    if draw(st.booleans()):

        def twelve(low: float, high: float) -> tuple[float, ...]:
            return tuple(draw(st.lists(numbers(low, high), min_size=12, max_size=12)))

        wet_days = twelve(0, 31) if draw(st.booleans()) else ()
        normals = ClimateNormals(
            twelve(-60, 0), twelve(0, 55), twelve(0, 2000), wet_days, draw(numbers(0.01, 5)), draw(names)
        )
    return Garden(
        place=Place(
            draw(names),
            draw(numbers(-90, 90)),
            draw(numbers(-180, 180)),
            draw(numbers(-430, 6000)),
            draw(names),
            draw(numbers(-360, 360)),
        ),
        beds=beds,
        patches=tuple(patches),
        log=tuple(log),
        units=draw(st.sampled_from(UnitSystem)),
        normals=normals,
        hose_litres_per_minute=draw(numbers(0.5, 200)),
        stands_at=draw(st.none() | days),
        crowns=draw(several(crowns)),
        walls=draw(several(walls)),
        paths=draw(several(paths)),
        taps=draw(several(taps)),
        zones=draw(several(zones)),
        look_rules=draw(look_rules),
        lots=draw(several(lots)),
        sellers=known,
        offers=draw(offers_of(known)),
        households=draw(several(households)),
        vessels=draw(several(vessels)),
        recipes=tuple(draw(st.lists(recipes(), max_size=1))),
        readings=draw(readings),
        can_litres=draw(numbers(0.5, 50)),
        year_costs=draw(year_costs),
        **draw(kitchens(patch_keys, log)),
    )


@st.composite
def weather_records(draw: st.DrawFn) -> DailySeries:
    count = draw(st.integers(1, 5))

    def column(low: float, high: float) -> np.ndarray[Any, Any]:
        return np.array(
            draw(st.lists(numbers(low, high) | st.just(math.nan), min_size=count, max_size=count))
        )

    return DailySeries(
        start=draw(st.dates(date(1800, 1, 1), date(2200, 1, 1))),
        temperature_min_c=column(-60, 10),
        temperature_max_c=column(10, 50),
        rain_mm=column(0, 500),
        wind_m_s=column(0, 50) if draw(st.booleans()) else None,
        vapour_pressure_pa=column(0, 5000) if draw(st.booleans()) else None,
        solar_radiation_j_m2=column(0, 4e7) if draw(st.booleans()) else None,
        provenance=Provenance(
            source=draw(names),
            station=draw(names),
            licence=draw(names),
            file_name=draw(names),
            columns=draw(st.dictionaries(keys, names, max_size=2)),
            notes=tuple(draw(st.lists(names, max_size=2))),
            seen_on=draw(st.none() | days),
        ),
    )


def figures(series: DailySeries | None) -> Any:
    """A record as plain values, missing figures as None, to compare two."""
    if series is None:
        return None
    columns = (
        series.temperature_min_c,
        series.temperature_max_c,
        series.rain_mm,
        series.wind_m_s,
        series.vapour_pressure_pa,
        series.solar_radiation_j_m2,
    )
    plain = [None if c is None else [None if math.isnan(v) else v for v in c.tolist()] for c in columns]
    return series.start, plain, series.provenance


@settings(max_examples=15, deadline=None)
@given(
    garden=gardens(),
    series=st.none() | weather_records(),
    survey=st.none() | surveys(),
    second=gardens(),
)
def test_nothing_is_lost_on_the_way_round(
    garden: Garden, series: DailySeries | None, survey: Survey | None, second: Garden
) -> None:
    """Garden to book to JSON text to garden: equal to the last digit; then another garden over it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "g.mulch"
        mapping = {"rain": "PRCP"} if series else None
        create_book(path, garden, series, mapping=mapping, survey=survey)
        with open_book(path) as book:
            assert book.garden() == garden
            assert book.survey() == survey
            text = json_text(export_json(book))
            whole = import_whole(text)
            assert whole.garden == garden
            assert (whole.survey, whole.mapping) == (survey, mapping)
            assert figures(whole.series) == figures(series)
            again = export_json(whole.garden, whole.series, mapping=mapping, survey=whole.survey)
            again["left_out"] = json.loads(text)["left_out"]  # a garden alone leaves nothing out
            assert json_text(again) == text
            book.save_garden(second)
            assert book.garden() == second
            book.save_garden(garden)
            assert book.garden() == garden
            assert figures(book.series()) == figures(series)


def test_an_export_can_be_read_by_people(garden: Garden, series: DailySeries) -> None:
    text = json_text(export_json(garden, series, mapping={"rain": "PRCP"}))
    assert '"outline": [\n' in text
    assert "          [0.0, 0.0],\n" in text
    assert '["2032-02-28", null, 7.5, 12.7, 3.0, null]' in text  # a day a line, the missing as null
    columns = ["day", "temperature_min_c", "temperature_max_c", "rain_mm", "wind_m_s", "solar_radiation_j_m2"]
    assert f'"columns": {json.dumps(columns)}' in text
    assert "„Höhe“ 5′ ½ 🍄" in text
    assert json.loads(text)["version"] == 7
    assert max(len(line) for line in text.splitlines()) < 200


def test_an_export_of_version_1_is_taken_in(garden: Garden, series: DailySeries) -> None:
    """Version 1 had all but the plan: taken off an export, it is what the first release wrote."""
    data = export_json(garden, series, mapping={"rain": "PRCP"})
    data["version"] = 1
    del data["survey"], data["backdrop"]
    for name in ("crowns", "walls", "paths", "taps", "zones", "look_rules"):
        del data["garden"][name]
    for patch in data["garden"]["patches"]:
        del patch["outline"]
    whole = import_whole(data)
    assert whole.garden == garden
    assert figures(whole.series) == figures(series)
    assert (whole.mapping, whole.survey, whole.backdrop) == ({"rain": "PRCP"}, None, None)


def test_plan_survey_and_backdrop_travel_along(
    tmp_path: Path, planned_garden: Garden, survey: Survey, backdrop: Backdrop
) -> None:
    create_book(tmp_path / "g.mulch", planned_garden, survey=survey, backdrop=backdrop)
    with open_book(tmp_path / "g.mulch") as book:
        text = json_text(export_json(book))
    whole = import_whole(text)
    assert (whole.garden, whole.survey, whole.backdrop) == (planned_garden, survey, backdrop)


def test_the_mapping_travels_along(garden: Garden, series: DailySeries) -> None:
    assert series_mapping_of(export_json(garden, series, mapping={"rain": "PRCP"})) == {"rain": "PRCP"}
    assert series_mapping_of(export_json(garden, series)) is None
    assert series_mapping_of(export_json(garden)) is None


def test_an_export_is_a_file_of_its_own(tmp_path: Path, garden: Garden, series: DailySeries) -> None:
    path = tmp_path / "g.json"
    write_export(path, export_json(garden, series, mapping={"rain": "PRCP"}))
    known = SimpleNamespace(
        species=dict.fromkeys(["king-stropharia", "oyster"]),
        materials=dict.fromkeys(["hardwood-chips", "wheat-straw", "bark-fines"]),
        woods=dict.fromkeys(["red-oak", "sugar-maple"]),
        spawn=dict.fromkeys(["sawdust-spawn", "peg-spawn"]),
    )
    assert read_whole_file(path, known).mapping == {"rain": "PRCP"}
    again, record = read_garden_file(path, known)
    assert again == garden
    assert figures(record) == figures(series)
    before = path.read_bytes()
    with pytest.raises(BookError, match="is there already"):
        write_export(path, export_json(garden))
    assert path.read_bytes() == before
    with pytest.raises(BookError, match="could not be written"):
        write_export(tmp_path / "no" / "g.json", export_json(garden))
    assert [p.name for p in tmp_path.iterdir()] == ["g.json"]


# ---- what is wrong ----------------------------------------------------------


def put(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    """A change of an export: the value at a dotted path; the entry is taken out for `...`."""

    def change(data: dict[str, Any]) -> None:
        *steps, last = (int(step) if step.isdigit() else step for step in path.split("."))
        at: Any = data
        for step in steps:
            at = at[step]
        if value is ...:
            del at[last]
        else:
            at[last] = value

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            put("garden.patches.0.recipe.layers.1.thickness_m", -0.05),
            "patch 1 (Under the quince), recipe, layer 2 (wheat-straw): thickness of the wheat-straw layer",
        ),
        (
            put("garden.patches.1.area_m2", "large"),
            "patch 2 (Along the wall), area_m2 must be a number, not 'large'",
        ),
        (put("garden.patches.1.area_m2", ...), "patch 2 (Along the wall), area_m2 is missing"),
        (put("garden.patches.1.aera_m2", 3), "aera_m2 is not known here; did you mean area_m2?"),
        (put("garden.patches.1.stage", "eaten"), "stage must be planned, built or retired, not 'eaten'"),
        (put("garden.patches.0.built_on", "14 April"), "'14 April' is no day; write it as 2031-04-14"),
        (put("garden.patches.0.built_on", None), "is marked built but has no build day"),
        (put("garden.patches.0.watering.rest_days", 2.5), "rest_days must be a whole number, not 2.5"),
        (put("garden.patches.0.watering.past_as_rule", 1), "past_as_rule must be true or false, not 1"),
        (put("garden.patches.0.bed", "nowhere"), "lies in bed 'nowhere', which this garden does not have"),
        (put("garden.patches.1.key", "quince"), "Two patches share the key 'quince'"),
        (put("garden.log.3.patch", "nowhere"), "names patch 'nowhere', not in this garden"),
        (put("garden.log.3.mass_kg", None), "logbook entry 4 (2031-09-12): The pick of"),
        (put("garden.units", "imperial"), "units must be metric or us, not 'imperial'"),
        (put("garden.place.latitude_deg", 1e999), "latitude_deg must be a finite number"),
        (put("garden.place.latitude_deg", 10**400), "latitude_deg must be a number"),
        (put("garden.place.latitude_deg", 97), "latitude is 97"),
        (put("garden.beds.0.outline.1", [1]), "corner 2 has 1 entries where 2 are wanted"),
        (put("garden.normals.rain_mm", [1] * 11), "rain_mm has 11 figures; twelve are needed"),
        (put("garden.beds", {}), "beds must be a list"),
        (put("garden", []), "garden must be a table with named entries"),
        (
            put("weather.days.2.0", "2032-03-01"),
            "row 3 of the days is 2032-03-01; the days must follow one another",
        ),
        (put("weather.days.1.0", "2032-02-27"), "row 2 of the days is 2032-02-27"),
        (put("weather.days.2", ["2032-02-29"]), "row 3 of the days has 1 entries for 6 columns"),
        (put("weather.days.2.1", "warm"), "row 3 of the days (2032-02-29) has a text where a number"),
        (put("weather.days.0.1", 60.0), "weather"),
        (put("weather.days", []), "the record has no days"),
        (put("weather.columns.1", "tmin"), "the columns are day, tmin"),
        (put("format", "songs"), "is no export of a Mulchwright garden"),
        (
            put("version", 8),
            "exported by a newer release of Mulchwright (file version 8; this release knows 7)",
        ),
    ],
)
def test_a_fault_is_reported_with_its_place(
    garden: Garden, series: DailySeries, change: Callable[[dict[str, Any]], None], words: str
) -> None:
    data = copy.deepcopy(export_json(garden, series))
    change(data)
    with pytest.raises(InputError) as caught:
        import_json(data, file_name="tern.json")
    assert str(caught.value).startswith("tern.json")
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            put("garden.walls.0.outline", [[0, 0], [4, 3], [4, 0], [0, 3]]),
            "wall 1 (House): Wall 'House': its side 1 crosses its side 3, like a bow tie",
        ),
        (put("garden.crowns.0.radius_m", 0), "crown 1 (Old quince): radius of crown 'Old quince' is 0"),
        (put("garden.walls.0.height_m", 61), "wall 1 (House): height of wall 'House' is 61.0; it must be a"),
        (put("garden.zones.0.kind", "swamp"), "zone 1 (Strip by the street), kind must be seen_from_street"),
        (put("garden.taps.0.point", [4]), "tap 1 (Kitchen tap), point has 1 entries where 2 are wanted"),
        (put("garden.look_rules", ...), "look_rules is missing"),
        (put("survey.readings.0.distance_m", -3), "reading 1: the tape from west to quince is -3"),
        (put("survey.baseline", ["west", "quince"]), "The baseline's point 'The quince' has no place"),
        (put("survey.readings.0.end", "nobody"), "names 'nobody', which is no point of this survey"),
        (put("backdrop.image", "no!"), "backdrop, image: the picture is not written in base 64"),
        (put("backdrop.image", "aGVsbG8="), "backdrop: This file is no picture"),
    ],
)
def test_a_fault_of_the_plan_is_reported_with_its_place(
    planned_garden: Garden,
    survey: Survey,
    backdrop: Backdrop,
    change: Callable[[dict[str, Any]], None],
    words: str,
) -> None:
    data = copy.deepcopy(export_json(planned_garden, survey=survey, backdrop=backdrop))
    change(data)
    with pytest.raises(InputError) as caught:
        import_json(data)
    assert words in str(caught.value)


def test_all_faults_are_reported_at_once(garden: Garden) -> None:
    data = export_json(garden)
    for change in (
        put("garden.place.name", ...),
        put("garden.patches.0.recipe.layers.0.thickness_m", -1),
        put("garden.patches.1.area_m2", "x"),
        put("garden.log.0.kind", "eaten"),
    ):
        change(data)
    with pytest.raises(InputError, match="4 faults; nothing was brought in") as caught:
        import_json(data)
    assert len(str(caught.value).splitlines()) == 5


def test_very_many_faults_are_counted(garden: Garden) -> None:
    many = replace(garden, log=tuple(replace(garden.log[0], key=f"n{n}") for n in range(30)))
    data = export_json(many)
    for entry in data["garden"]["log"]:
        entry["kind"] = "eaten"
    with pytest.raises(InputError, match="30 faults") as caught:
        import_json(data)
    assert str(caught.value).endswith("and 10 more")


@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.77, 0.99, 0.999])
def test_a_half_written_file(garden: Garden, series: DailySeries, share: float) -> None:
    text = json_text(export_json(garden, series))
    half = text[: int(len(text) * share)]
    with pytest.raises(InputError) as caught:
        import_json(half, file_name="tern.json")
    assert "this cannot be read as JSON" in str(caught.value)
    line = int(str(caught.value).removeprefix("tern.json, line ").partition(",")[0])
    assert line <= half.count("\n") + 1
    assert "Nothing was brought in" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "cannot be read as JSON"),
        ("[1, 2]", "is no export of a Mulchwright garden"),
        ("null", "is no export of a Mulchwright garden"),
        ('{"format": "x", "format": "y"}', "the entry 'format' stands twice"),
        ("[" * 100_000, "cannot be read as JSON"),
        ('{"format": "mulchwright-garden", "version": 1}', "garden is missing"),
        ('{"format": "mulchwright-garden", "version": 1, "garden": NaN}', "garden must be a table"),
    ],
)
def test_other_texts(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        import_json(text)
    assert words in str(caught.value)


def test_unknown_names_are_refused_with_what_was_meant(garden: Garden) -> None:
    """The tables here are made up; those of the trade are tried in the garden-file tests."""
    known = SimpleNamespace(
        species={
            "king-stropharia": SimpleNamespace(names=("garden giant",)),
            "oyster": SimpleNamespace(names=()),
        },
        materials=dict.fromkeys(["hardwood-chips", "wheat-straw"]),
        woods=dict.fromkeys(["red-oak", "sugar-maple"]),
        spawn=dict.fromkeys(["sawdust-spawn", "peg-spawn"]),
    )
    with pytest.raises(InputError) as caught:
        check_keys(garden, known)
    assert str(caught.value).startswith(
        "patch “Under the quince”, skin: the material 'bark-fines' is not in the tables"
    )
    assert "`mulchwright trade materials` lists them all" in str(caught.value)
    known.materials["bark-fines"] = None
    check_keys(garden, known)
    for typed, meant in (
        ("king-strofaria", "king-stropharia"),
        ("garden-gaint", "king-stropharia"),
        ("oister", "oyster"),
    ):
        wrong = replace(garden, patches=(replace(garden.patches[0], species=typed), garden.patches[1]))
        with pytest.raises(InputError, match=f"did you mean {meant}"):
            check_keys(wrong, known)
        with pytest.raises(
            InputError, match=f"patch 1 .*species: the species '{typed}'.*did you mean {meant}"
        ):
            import_json(export_json(wrong), trade=known)


def test_days_follow_each_other_over_a_leap_day(series: DailySeries, garden: Garden) -> None:
    rows = export_json(garden, series)["weather"]["days"]
    assert [row[0] for row in rows] == [(date(2032, 2, 27) + timedelta(days=n)).isoformat() for n in range(5)]
