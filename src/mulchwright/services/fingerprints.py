"""Short texts that differ when what a result depends on differs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mulchwright.services.jobs import fingerprint_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState


def climate_fingerprint(state: BookState) -> str:
    """A fingerprint of the place and its weather: what a run depends on besides the bed."""
    series = state.series
    content: tuple[object, ...] = (state.garden.place, state.garden.normals)
    if series is not None:
        arrays = (series.temperature_min_c, series.temperature_max_c, series.rain_mm)
        content += (series.start, series.end, *(values.tobytes() for values in arrays))
    return fingerprint_of(*content)
