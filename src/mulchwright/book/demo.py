"""The demo garden: a made-up garden with a real station's weather up to the day it stands at."""

from __future__ import annotations

from datetime import timedelta
from importlib.resources import files
from typing import TYPE_CHECKING

from mulchwright.book.handwritten import garden_from_toml
from mulchwright.errors import BookError
from mulchwright.trade import load_trade
from mulchwright.weather import shipped_record

if TYPE_CHECKING:
    from mulchwright.garden import Garden
    from mulchwright.weather import DailySeries

__all__ = ["demo_garden"]


def demo_garden() -> tuple[Garden, DailySeries]:
    """The garden of `demo.toml` and the shipped record, which ends for it on the day before "today".

    The rest of the record stays in the package, so that the outlook cannot know it.
    """
    text = files("mulchwright.book").joinpath("demo.toml").read_text(encoding="utf-8")
    garden = garden_from_toml(text, trade=load_trade(), file_name="demo.toml")
    if garden.stands_at is None:
        raise BookError("The demo garden does not say at which day it stands; install the program again.")
    record = shipped_record()
    return garden, record.slice(record.start, garden.stands_at - timedelta(days=1))
