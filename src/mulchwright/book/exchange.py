"""A garden as JSON and back, without loss: to read, to keep, to carry to another machine.

    {"format": "mulchwright-garden", "version": 7, "written_by": "0.1.0",
     "garden": {"place": {...}, "beds": [...], "patches": [...], "log": [...], ...},
     "weather": {"provenance": {...}, "mapping": {...}, "columns": ["day", ...], "days": [[...], ...]},
     "survey": {"points": [...], "baseline": [...], "readings": [...], ...},
     "backdrop": {"image": "iVBORw0...", "name": ..., ...},
     "forecast": {"issued_at": "...", "provenance": {...}, "columns": [...], "days": [...]},
     "outlooks": [{"made_on": ..., "model_version": ..., "patches": [[key, text], ...]}, ...],
     "photos": [], "left_out": ["12 photos", ...]}

Entries are named as the fields of the nouns, in SI units, their unit in the name. Floats are
written with all their digits, days as YYYY-MM-DD, what is missing as null. `weather` is null where
the garden has no record; its rows follow `columns`. The picture of a backdrop is written in base 64.
Every entry is there, so that none is guessed. Photos come only on request, in base 64; `left_out` says what
of a book an export does not hold. Version 1 had no plan, version 2 no stores, version 3 a shorter logbook and
no readings, version 4 nothing of what became of a pick, version 5 no times of a spore print, version 6 no
money and hours of the years: all are still taken in. An import opens nothing by itself: what its checks open
is judged by `keep.gate`, as anywhere.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import UTC, date, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pydantic import Field, ValidationError, create_model

from mulchwright.book.exchange_forms import entry_of
from mulchwright.book.faults import faults_in_words, refuse_overlong_number
from mulchwright.book.forms import Day, Form, Moment, NounForm, field_names
from mulchwright.book.keys import TradeKeys
from mulchwright.book.plain import plain
from mulchwright.book.rows import OPTIONAL_WEATHER, WEATHER_QUANTITIES
from mulchwright.book.store import Book, Contents
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, LookRules, Photo, SavedOutlook
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey
from mulchwright.version import __version__

if TYPE_CHECKING:
    from mulchwright.weather.forecast import Forecast
    from mulchwright.weather.series import DailySeries

__all__ = [
    "FORMAT",
    "VERSION",
    "export_json",
    "import_json",
    "import_whole",
    "json_text",
    "loads",
    "plain",
    "series_mapping_of",
    "write_export",
    "write_new_file",
]

FORMAT, VERSION = "mulchwright-garden", 7


# ---- out --------------------------------------------------------------------


def _weather_out(series: DailySeries, mapping: Mapping[str, Any] | None) -> dict[str, Any]:
    names = [name for name in WEATHER_QUANTITIES if getattr(series, name) is not None]
    columns = [getattr(series, name).tolist() for name in names]
    days = [
        [
            (series.start + timedelta(days=n)).isoformat(),
            *(v if math.isfinite(v) else None for v in figures),
        ]
        for n, figures in enumerate(zip(*columns, strict=True))
    ]
    return {
        "provenance": plain(series.provenance),
        "mapping": None if mapping is None else plain(mapping),
        "columns": ["day", *names],
        "days": days,
    }


def _forecast_out(forecast: Forecast) -> dict[str, Any]:
    document = _weather_out(forecast.series, None)
    del document["mapping"]
    return {"issued_at": forecast.issued_at.astimezone(UTC).isoformat(), **document}


def export_json(
    source: Book | Garden,
    series: DailySeries | None = None,
    *,
    mapping: Mapping[str, Any] | None = None,
    survey: Survey | None = None,
    backdrop: Backdrop | None = None,
    forecast: Forecast | None = None,
    outlooks: Sequence[SavedOutlook] = (),
    photos: Sequence[Photo] = (),
    with_photos: bool = False,
) -> dict[str, Any]:
    """A whole book, or a garden with what belongs to it, as a dictionary that `json` can write.

    with_photos : take the photos of a book along, in base 64 (a third longer than they are). What is not
    taken along is named in `left_out`; steps to take back and named settings never are, since they belong
    to the book on its own machine.
    """
    left_out: list[str] = []
    if isinstance(source, Book):
        whole = source.contents()
        garden, series, mapping, survey, backdrop = whole[:5]
        forecast, outlooks = whole.forecast, whole.outlooks
        facts = source.photo_facts()
        if with_photos:
            photos = [source.photo(fact.key) for fact in facts]
        elif facts:
            size = sum(fact.bytes for fact in facts) / 1e6
            left_out.append(f"{len(facts)} photo{'s' if len(facts) > 1 else ''} ({size:.1f} MB)")
        left_out += ["settings of this machine", "steps that can be taken back"]
    else:
        garden = source
    return {
        "format": FORMAT,
        "version": VERSION,
        "written_by": __version__,
        "garden": plain(garden),
        "weather": None if series is None else _weather_out(series, mapping),
        "survey": None if survey is None else plain(survey),
        "backdrop": None if backdrop is None else plain(backdrop),
        "forecast": None if forecast is None else _forecast_out(forecast),
        "outlooks": [plain(kept) for kept in outlooks],
        "photos": [plain(photo) for photo in photos],
        "left_out": left_out,
    }


def json_text(data: Any, indent: str = "") -> str:
    """JSON to be read by people: lists of plain values on one line, everything else indented."""
    inner = indent + "  "
    if isinstance(data, dict) and data:
        rows = (
            f"{inner}{json.dumps(key, ensure_ascii=False)}: {json_text(item, inner)}"
            for key, item in data.items()
        )
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    if isinstance(data, list) and any(isinstance(item, list | dict) for item in data):
        return "[\n" + ",\n".join(inner + json_text(item, inner) for item in data) + f"\n{indent}]"
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def write_export(path: str | os.PathLike[str], data: Mapping[str, Any]) -> None:
    """Write an export to a new file, whole or not at all; refuses a name that is taken."""
    write_new_file(path, (json_text(dict(data)) + "\n").encode("utf-8"))


def write_new_file(path: str | os.PathLike[str], content: bytes) -> None:
    """Write a file that is not there yet, whole or not at all; refuses a name that is taken."""
    target = Path(path)
    if target.exists():
        raise BookError(f"{target} is there already and was left as it is. Choose another name.")
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        draft.write_bytes(content)
        os.replace(draft, target)
    except OSError as error:
        raise BookError(f"{target} could not be written: {error.strerror or error}.") from error
    finally:
        with suppress(OSError):
            draft.unlink()


# ---- in ---------------------------------------------------------------------


class ProvenanceForm(Form):
    source: str
    station: str
    licence: str
    file_name: str
    columns: dict[str, str]
    notes: list[str]
    seen_on: Day | None


class WeatherForm(NounForm["DailySeries"]):
    provenance: ProvenanceForm
    mapping: dict[str, Any] | None
    columns: list[str]
    days: list[list[str | float | None]]

    def noun(self) -> DailySeries:
        return _series_of(self)


class ForecastForm(NounForm["Forecast"]):
    issued_at: Moment
    provenance: ProvenanceForm
    columns: list[str]
    days: list[list[str | float | None]]

    def noun(self) -> Forecast:
        from mulchwright.weather.forecast import Forecast

        return Forecast(self.issued_at, _series_of(self))


@cache
def _file_form() -> type[Form]:
    """The form of a whole file; made when the first one is read."""
    heads: Any = {"format": (Literal["mulchwright-garden"], ...), "version": (Literal[7], ...)}
    lists: Any = {
        name: (list[entry_of(noun)], Field(default_factory=list))  # type: ignore[misc]
        for name, noun in (("outlooks", SavedOutlook), ("photos", Photo))
    }
    return create_model(
        "File",
        __base__=Form,
        **heads,
        written_by=(str, ""),
        garden=(entry_of(Garden), ...),
        weather=(WeatherForm | None, None),
        survey=(entry_of(Survey) | None, None),
        backdrop=(entry_of(Backdrop) | None, None),
        forecast=(ForecastForm | None, None),
        **lists,
        left_out=(list[str], Field(default_factory=list)),
    )


def _series_of(form: WeatherForm | ForecastForm) -> DailySeries:
    """The weather record of an export; `InputError` names the row that does not fit."""
    # numpy comes with the series; a garden without a record is read without it.
    import numpy as np

    from mulchwright.weather.series import DailySeries, Provenance

    if form.columns[:1] != ["day"] or not set(form.columns[1:]) <= set(WEATHER_QUANTITIES):
        known = ", ".join(("day", *WEATHER_QUANTITIES))
        raise InputError(f"the columns are {', '.join(form.columns)}; known are {known}, day first.")
    absent = set(WEATHER_QUANTITIES) - set(form.columns) - set(OPTIONAL_WEATHER)
    if absent or len(set(form.columns)) != len(form.columns):
        raise InputError(f"a column is missing or stands twice: {', '.join(sorted(absent) or form.columns)}.")
    if not form.days:
        raise InputError("the record has no days; write null for the weather if there is none.")
    start: date | None = None
    for number, row in enumerate(form.days):
        at = f"row {number + 1} of the days"
        if len(row) != len(form.columns):
            raise InputError(f"{at} has {len(row)} entries for {len(form.columns)} columns.")
        try:
            day = date.fromisoformat(str(row[0]))
        except ValueError:
            raise InputError(f"{at} begins with {row[0]!r}, which is no day such as 2031-04-14.") from None
        start = day if start is None else start
        if (day - start).days != number:
            raise InputError(f"{at} is {day.isoformat()}; the days must follow one another without a hole.")
        if any(isinstance(figure, str) for figure in row[1:]):
            raise InputError(f"{at} ({day.isoformat()}) has a text where a number or null belongs.")
    assert start is not None
    figures = np.array([row[1:] for row in form.days], dtype=np.float64)  # None becomes NaN
    provenance = form.provenance
    return DailySeries(
        start=start,
        **{name: np.ascontiguousarray(figures[:, n]) for n, name in enumerate(form.columns[1:])},
        provenance=Provenance(**dict(provenance) | {"notes": tuple(provenance.notes)}),
    )


def loads(text: str, file_name: str) -> Any:
    """What a JSON text holds; `InputError` tells the line at fault, and an entry that stands twice."""

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in items]
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise InputError(
                f"{file_name}: the entry {twice!r} stands twice in one table; remove one of them."
            )
        return dict(items)

    try:
        return json.loads(text, object_pairs_hook=pairs)
    except json.JSONDecodeError as error:
        broken_off = error.pos >= len(text.rstrip()) - 1 or "Unterminated" in error.msg
        why = "it breaks off there, as if only half of it was written" if broken_off else error.msg.lower()
        raise InputError(
            f"{file_name}, line {error.lineno}, column {error.colno}: this cannot be read as JSON ({why}). "
            "Nothing "
            "was brought in. Export the garden again, or mend that line."
        ) from None
    except (ValueError, RecursionError) as error:
        refuse_overlong_number(text, file_name)
        raise InputError(f"{file_name} cannot be read as JSON ({error}). Export the garden again.") from None


class Added(NamedTuple):
    """What a version has that the one before had not, empty: of the garden, and by list of each item."""

    garden: dict[str, Any]
    items: dict[str, dict[str, Any]]


ADDED: Mapping[int, Added] = {
    2: Added(
        {name: [] for name in ("crowns", "walls", "paths", "taps", "zones")}
        | {"look_rules": plain(LookRules())},
        {"patches": {"outline": []}},
    ),
    3: Added(
        {name: [] for name in ("lots", "sellers", "offers", "households", "vessels", "recipes")}, {}
    ),
    4: Added(
        {"readings": [], "can_litres": 10.0},
        {
            "log": {
                "sight": None, "count": None, "material": "", "thickness_m": None, "to_patch": "",
                "signs": [], "photos": [], "entered_at": None, "by": "",
            }
        },
    ),
    5: Added(
        {name: [] for name in ("checks", "uses", "jars", "dryers", "dryings")}, {"log": {"stage": None}}
    ),
    6: Added({}, {"checks": {"print_laid_at": None, "print_read_at": None, "second_look_by": ""}}),
    7: Added({"year_costs": []}, {}),
}  # fmt: skip


def _brought_up_to_date(data: Mapping[str, Any], version: int) -> dict[str, Any]:
    """An export of an older version as one of this: what was new since then is there and empty.

    What is no table where one belongs is left as it is, for the form to find.
    """
    garden = data.get("garden")
    for newer in range(version + 1, VERSION + 1):
        if isinstance(garden, Mapping):
            garden = ADDED[newer].garden | dict(garden)
            for name, entries in ADDED[newer].items.items():
                if isinstance(items := garden.get(name), list):
                    garden[name] = [
                        entries | dict(item) if isinstance(item, Mapping) else item for item in items
                    ]
    return {**data, "version": VERSION} | ({} if garden is None else {"garden": garden})


def _form_of(data: Mapping[str, Any] | str, trade: TradeKeys | None, file_name: str) -> Any:
    if isinstance(data, str):
        data = loads(data, file_name)
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        raise InputError(
            f"{file_name} is no export of a Mulchwright garden: it should begin with "
            f'{{"format": "{FORMAT}"}}. Nothing was brought in; choose the exported file.'
        )
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        raise InputError(
            f"{file_name} was exported by a newer release of Mulchwright (file version {version}; this "
            "release "
            f"knows {VERSION}). Nothing was brought in. Update the program, then try again."
        )
    if type(version) is int and 1 <= version < VERSION:
        data = _brought_up_to_date(data, version)
    try:
        return _file_form().model_validate(data, context={"trade": trade})
    except ValidationError as error:
        raise faults_in_words(error, data, file_name=file_name, known=field_names(_file_form())) from None


def import_json(
    data: Mapping[str, Any] | str, *, trade: TradeKeys | None = None, file_name: str = "the export"
) -> tuple[Garden, DailySeries | None]:
    """The garden and its weather record from an export (a dictionary, or its text).

    With `trade`, species, materials, woods and spawn kinds must be in its tables. Raises `InputError`
    that lists every fault with its place.
    """
    return import_whole(data, trade=trade, file_name=file_name)[:2]


def import_whole(
    data: Mapping[str, Any] | str, *, trade: TradeKeys | None = None, file_name: str = "the export"
) -> Contents:
    """All that an export holds: garden, weather, survey, backdrop, forecast, kept outlooks, photos."""
    form = _form_of(data, trade, file_name)
    return Contents(
        garden=form.garden,
        series=form.weather.noun() if form.weather else None,
        mapping=form.weather.mapping if form.weather else None,
        survey=form.survey,
        backdrop=form.backdrop,
        forecast=form.forecast.noun() if form.forecast else None,
        outlooks=tuple(form.outlooks),
        photos=tuple(form.photos),
    )


def series_mapping_of(data: Mapping[str, Any] | str) -> dict[str, Any] | None:
    """How the weather file's columns were named, as an export (or its text) carries it along."""
    data = loads(data, "the export") if isinstance(data, str) else data
    weather = data.get("weather")
    mapping = weather.get("mapping") if isinstance(weather, Mapping) else None
    return dict(mapping) if isinstance(mapping, Mapping) else None
