"""Sun and shade: a map for every month, and the shadows of one day hour by hour.

The figures are `ground`'s; here they become pictures, words and a table. The slider's shadows are drawn in
the browser by the formulas of `ground.shadow` from the sun's track of the day, which is sent along; without
scripts the same shadows are drawn here for a typed day and hour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone, tzinfo
from typing import Any, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, Crown, Garden, Place
from mulchwright.ground import (
    LightMap,
    crown_shadow,
    daylight,
    julian_day,
    map_extent,
    patch_light,
    sun_position,
    wall_shadow,
)
from mulchwright.ground.shadow import in_leaf
from mulchwright.services.jobs import Job
from mulchwright.services.light import light_job
from mulchwright.services.numbers import whole_number
from mulchwright.sheets.drawing import Element, element
from mulchwright.units import show_length
from mulchwright.web.shared.context import context_of
from mulchwright.web.views import wording as words
from mulchwright.web.views.ground_map import (
    Legend,
    closed_path,
    frame_of,
    grid_extent,
    ground_map,
    in_two_widths,
    legend_drawing,
)
from mulchwright.web.views.ramp import png
from mulchwright.web.views.tables import Table

MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
SHOWS = {"hours": "Hours of direct sun", "share": "Share of open-sky light"}
TRACK_MINUTES = 4
PATIENCE_S = 0.35
NOON = time(13, 0)
DARKEST_SHADE = 0.62
"""Opacity of a shadow that lets nothing through; the plan under it stays readable."""
_BEARINGS = (
    "north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest",
)  # fmt: skip


def job_progress(request: Request) -> Response:
    """How far a piece of work in the background has come."""
    job = context_of(request).jobs.known(request.path_params["key"])
    ready = job is None or not job.under_way
    return JSONResponse({"ready": ready, "share": 1.0 if job is None else round(job.share, 3)})


# ---- the sun over one day -----------------------------------------------------


def clock_of(place: Place, day: date) -> tzinfo:
    """The clock of the garden: its time zone's, or the sun's own hour where the zone is not known."""
    try:
        return ZoneInfo(place.timezone)
    except (ZoneInfoNotFoundError, ValueError):
        return timezone(timedelta(hours=round(place.longitude_deg / 15)))


def _offset_h(place: Place, day: date) -> float:
    """Hours that the garden's clock is ahead of universal time at noon of a day."""
    noon = datetime.combine(day, time(12), tzinfo=clock_of(place, day))
    return (noon.utcoffset() or timedelta()).total_seconds() / 3600


def _sun_at(place: Place, day: date, minutes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Altitude and bearing on the plan [rad] at minutes of the garden's clock, (moment, 2)."""
    hours = minutes / 60.0 - _offset_h(place, day)
    sun = sun_position(julian_day(day, hours), place.latitude_deg, place.longitude_deg)
    return np.stack([sun.altitude_rad, sun.bearing_rad - math.radians(place.north_deg)], axis=-1)


def sun_track(place: Place, day: date) -> list[list[float]]:
    """The sun every few minutes of a day: minute of the clock, then its direction on the plan (x, y, z)."""
    minutes = np.arange(0.0, 24 * 60 + TRACK_MINUTES, TRACK_MINUTES)
    sun = _sun_at(place, day, minutes)
    flat = np.cos(sun[:, 0])
    directions = np.stack([flat * np.sin(sun[:, 1]), flat * np.cos(sun[:, 1]), np.sin(sun[:, 0])], axis=1)
    return [
        [float(minute), *(round(float(v), 6) for v in row)]
        for minute, row in zip(minutes, directions, strict=True)
    ]


def _clock_words(hours_utc: float, place: Place, day: date) -> str:
    minute = round((hours_utc + _offset_h(place, day)) * 60) % (24 * 60)
    return f"{minute // 60}:{minute % 60:02d}"


def day_words(place: Place, day: date, today: date) -> str:
    """Sunrise and sunset of a day as a sentence."""
    light = daylight(day, place.latitude_deg, place.longitude_deg)
    when = words.day(day, today)
    if light.kind == "polar day":
        return f"On {when} the sun does not set."
    if light.kind == "polar night":
        return f"On {when} the sun does not rise."
    rise, fall = _clock_words(light.rise_h or 0, place, day), _clock_words(light.set_h or 0, place, day)
    return f"On {when} the sun is up from {rise} to {fall}."


def sun_words(place: Place, altitude_rad: float, bearing_on_plan_rad: float) -> str:
    """Where the sun stands, in words: "52° high in the southwest"."""
    if altitude_rad <= 0:
        return "the sun is down"
    bearing = math.degrees(bearing_on_plan_rad) + place.north_deg
    return f"the sun is {math.degrees(altitude_rad):.0f}° high in the {_BEARINGS[round(bearing / 45) % 8]}"


def shade_of(crown: Crown, day: date) -> float:
    """How dark a crown's shadow is drawn, as an opacity."""
    leafy = bool(in_leaf(crown)[min(day.timetuple().tm_yday, 366) - 1])
    through = crown.transmissivity_in_leaf if leafy or crown.evergreen else crown.transmissivity_bare
    return DARKEST_SHADE * (1.0 - through)


def shadows_of(garden: Garden, day: date, minute: float) -> tuple[tuple[Element, ...], str]:
    """Shadows as paths in the world's centimeters, the walls' first, and where the sun stands in words."""
    altitude, bearing = (float(v) for v in _sun_at(garden.place, day, np.array(minute)))
    walls = [outline for wall in garden.walls for outline in wall_shadow(wall, altitude, bearing)]
    parts = [
        element("path", d=closed_path(walls) or "M0 0", class_="shade", data_shade="walls",
                fill_opacity=f"{DARKEST_SHADE:.3f}")
    ]  # fmt: skip
    parts += [
        element("path", d=closed_path([crown_shadow(crown, altitude, bearing)]) or "M0 0", class_="shade",
                data_shade="crown", fill_opacity=f"{shade_of(crown, day):.3f}")
        for crown in garden.crowns
    ]  # fmt: skip
    return tuple(parts), sun_words(garden.place, altitude, bearing)


def shadows_json(request: Request) -> Response:
    """What the slider needs for one day: the sun's track, the obstacles, the day in words."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    try:
        day = _read_day(request.query_params.get("day", ""), today)
    except InputError as error:
        return JSONResponse({"message": str(error)}, 422)
    return JSONResponse(
        {
            "day": day.isoformat(),
            "words": day_words(garden.place, day, today),
            "north_deg": garden.place.north_deg,
            "track": sun_track(garden.place, day),
            "walls": [{"outline": wall.outline, "height": wall.height_m} for wall in garden.walls],
            "crowns": [
                {
                    "center": crown.center, "radius": crown.radius_m, "base": crown.base_m,
                    "height": crown.height_m, "shade": round(shade_of(crown, day), 3),
                }
                for crown in garden.crowns
            ],
        }
    )  # fmt: skip


# ---- what was asked for -------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for: month (0 is January), quantity, day and minute."""

    month: int
    show: str
    day: date
    minute: int

    @property
    def hour(self) -> str:
        """The clock time as a form field has it."""
        return f"{self.minute // 60:02d}:{self.minute % 60:02d}"


def _read_day(typed: str, today: date) -> date:
    if not typed.strip():
        return today
    try:
        return date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError(
            f"“{typed[:40]}” is no day. Type it as {today.isoformat()}: year, month, day.", field="day"
        ) from None


def _read_minute(typed: str) -> int:
    if not typed.strip():
        return NOON.hour * 60
    try:
        clock = time.fromisoformat(typed.strip().zfill(5))
    except ValueError:
        raise InputError(
            f"“{typed[:40]}” is no time of day. Type it as 14:30: hours and minutes, 0:00 to 23:59.",
            field="hour",
        ) from None
    return clock.hour * 60 + clock.minute


def _read_map(request: Request, today: date) -> tuple[int, str]:
    show = request.query_params.get("show", "hours")
    month = whole_number(request.query_params.get("month", str(today.month)), least=1, most=MONTHS)
    if show not in SHOWS or month is None:
        raise HTTPException(
            404, "There is a map of hours and one of light for each month from 1 to 12; no other."
        )
    return month - 1, show


# ---- the map --------------------------------------------------------------------


def _values(light: LightMap, month: int, show: str) -> npt.NDArray[np.float32]:
    maps = light.sun_hours if show == "hours" else light.light_share
    return np.asarray(maps[month], dtype=np.float32)


def top_of(light: LightMap, show: str) -> float:
    """The figure at the bright end of the ramp, the same for all months so that they compare."""
    return 1.0 if show == "share" else max(1.0, math.ceil(float(light.open_sun_hours.max())))


def picture(request: Request) -> Response:
    """One map as a picture, a pixel a cell."""
    context = context_of(request)
    state = context.library.state()
    month, show = _read_map(request, state.today)
    light = _ready(light_job(context.jobs, state, patience_s=0.0))
    shares = _values(light, month, show) / top_of(light, show)
    return Response(
        png(shares, light.built), media_type="image/png", headers={"cache-control": "private, max-age=86400"}
    )


def _ready(job: Job) -> LightMap:
    if not isinstance(job.result, LightMap):
        raise HTTPException(404, "The light is still being worked out; ask again in a moment.")
    return job.result


def cells(request: Request) -> Response:
    """The figures of one map for reading it off at a point: tenths of hours, or hundredths of light."""
    context = context_of(request)
    state = context.library.state()
    month, show = _read_map(request, state.today)
    light = _ready(light_job(context.jobs, state, patience_s=0.0))
    scale = 10 if show == "hours" else 100
    values = np.round(_values(light, month, show) * scale).astype(int)
    values[light.built] = -1
    grid = light.grid
    return JSONResponse(
        {
            "x_min": grid.x_min, "y_min": grid.y_min, "cell": grid.cell_m, "columns": grid.columns,
            "rows": grid.rows, "per": scale, "values": values.ravel().tolist(),
        },
        headers={"cache-control": "private, max-age=86400"},
    )  # fmt: skip


def legend_of(light: LightMap, show: str) -> Legend:
    """The ramp's figures in words."""
    if show == "share":
        return Legend(
            SHOWS[show],
            ((0.0, "0 %"), (0.25, "25 %"), (0.5, "half"), (0.75, "75 %"), (1.0, "open sky")),
        )
    top = top_of(light, show)
    step = 2 if top <= 8 else 4
    steps = [(hours / top, f"{hours} h") for hours in range(0, int(top) - step // 2, step)]
    return Legend(f"{SHOWS[show]} a day", (*steps, (1.0, f"{top:g} h")))


def _said(value: float, show: str) -> str:
    return words.share(value) if show == "share" else f"{value:.1f} h"


def light_table(garden: Garden, light: LightMap, show: str) -> Table:
    """Each bed and each mushroom bed with its twelve figures, and open ground to compare."""
    rows = []
    if show == "hours":
        rows.append(("Open ground", *(_said(float(v), show) for v in light.open_sun_hours)))
    drawn = [(patch.name, "mushroom bed", patch.outline) for patch in garden.patches]
    drawn += [(bed.name, "garden bed", bed.outline) for bed in garden.beds]
    for name, kind, outline in drawn:
        if outline:
            here = patch_light(light, outline)
            figures = here.sun_hours if show == "hours" else here.light_share
            rows.append((f"{name} ({kind})", *(_said(v, show) for v in figures)))
    caption = "Mean hours of direct sun a day" if show == "hours" else "Share of the light of an open sky"
    return Table(f"{caption}, by month", ("where", *(name[:3] for name in MONTH_NAMES)), tuple(rows))


def answer_of(garden: Garden, light: LightMap, month: int) -> str:
    """The month in a sentence."""
    ground = ~light.built
    if not ground.any():
        return "Buildings cover all the ground that is mapped."
    hours = light.sun_hours[month][ground]
    low, high = (float(v) for v in np.quantile(hours, (0.1, 0.9)))
    open_hours = float(light.open_sun_hours[month])
    if open_hours < 0.1:
        return f"In {MONTH_NAMES[month]} the sun does not rise."
    spread = f"{low:.0f} to {high:.0f}" if round(low) < round(high) else f"about {high:.0f}"
    return (
        f"In {MONTH_NAMES[month]} most of this ground gets {spread} hours of sun a day; "
        f"open ground gets {open_hours:.0f}."
    )


# ---- the page ---------------------------------------------------------------------


def page(request: Request) -> Response:
    """Sun and shade."""
    context = context_of(request)
    state = context.library.state()
    garden, today = state.garden, state.today
    query = request.query_params
    errors: dict[str, str] = {}
    month, show = _read_map(request, today)
    try:
        day = _read_day(query.get("day", ""), today)
    except InputError as error:
        day, errors["day"] = today, str(error)
    try:
        minute = _read_minute(query.get("hour", ""))
    except InputError as error:
        minute, errors["hour"] = NOON.hour * 60, str(error)
    asked = Asked(month, show, day, minute)
    values: dict[str, Any] = {
        "section": "ground", "asked": asked, "shows": SHOWS, "months": tuple(enumerate(MONTH_NAMES)),
        "errors": errors, "typed_day": query.get("day", day.isoformat()),
        "typed_hour": query.get("hour", asked.hour), "waiting": False, "map": None, "trouble": "",
        "shadow": None, "share": 0.0,
    }  # fmt: skip
    try:
        extent = map_extent(garden)
        job = light_job(context.jobs, state, patience_s=PATIENCE_S)
    except InputError as error:
        values["trouble"] = str(error)
        return context.page(request, "ground/sun.html", state, **values)
    values["shadow"] = _shadow_figure(garden, extent, asked, today)
    if job.under_way:
        values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
    elif job.trouble:
        values["trouble"] = job.trouble
    else:
        values["map"] = _map_figure(garden, cast("LightMap", job.result), asked)
    return context.page(request, "ground/sun.html", state, status=422 if errors else 200, **values)


def _shadow_figure(
    garden: Garden, extent: tuple[float, float, float, float], asked: Asked, today: date
) -> dict[str, str]:
    parts, said = shadows_of(garden, asked.day, asked.minute)
    heading = f"{asked.minute // 60}:{asked.minute % 60:02d}: {said}."
    return {
        "drawing": in_two_widths(
            lambda width, mark: ground_map(
                garden, frame_of(extent, width=width), mark=mark, under_world=parts,
                label=f"Shadows on {words.day(asked.day, today)} at {heading}", class_="shadow-map",
            ),
            "shade",
        ),
        "words": day_words(garden.place, asked.day, today),
        "at_that_time": heading,
    }  # fmt: skip


def _map_figure(garden: Garden, light: LightMap, asked: Asked) -> dict[str, Any]:
    address = f"/ground/sun/map.png?month={asked.month + 1}&show={asked.show}&of={light.key}"
    return {
        "drawing": in_two_widths(
            lambda width, mark: ground_map(
                garden, frame_of(grid_extent(light.grid), width=width), mark=mark, picture=address,
                label=f"{SHOWS[asked.show]} in {MONTH_NAMES[asked.month]}", class_="light-map",
            ),
            "light",
        ),
        "legend": legend_drawing(legend_of(light, asked.show), "light"),
        "caption": f"{SHOWS[asked.show]} in {MONTH_NAMES[asked.month]}",
        "answers": [answer_of(garden, light, month) for month in range(MONTHS)],
        "table": light_table(garden, light, asked.show),
        "climate": light.climate,
        "diffuse": words.share(float(light.diffuse_share[asked.month])),
        "key": light.key,
        "cell": show_length(light.grid.cell_m, garden.units),
    }  # fmt: skip
