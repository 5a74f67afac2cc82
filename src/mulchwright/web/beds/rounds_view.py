"""The card "How often to look" of a bed: what walks bring home, and what waits too long."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.tables import Card, Table

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook

ROUND_NAMES = {1.0: "every day", 2.0: "every other day", 3.5: "twice a week", 7.0: "once a week"}


def _share(share: float) -> str:
    """A share to the nearest twentieth, never all of it: no better is known of slugs."""
    return f"{min(5 * round(20 * share), 95)} %"


def _two_figures(walks: int) -> int:
    return walks if walks < 100 else 10 * round(walks / 10)


def rounds_card(bed_outlook: PatchOutlook, system: str) -> tuple[Card, ...]:
    """What walking to the bed more or less often brings home; none where nothing is expected to come up."""
    rounds = bed_outlook.rounds
    if rounds is None:
        return ()
    daily, weekly = rounds.rounds[0], rounds.rounds[-1]
    portions = bed_outlook.crop.likely_kg / rounds.portion_kg if bed_outlook.crop is not None else 0.0
    table = Table(
        "Share of what comes up that you pick while it is good, and walks in the year ahead",
        (
            "you walk there",
            "you pick in time",
            "in 8 of 10 futures",
            "with slugs kept down",
            "walks",
            "portions",
        ),
        tuple(
            (
                ROUND_NAMES[one.every_days],
                f"about {_share(one.likely)}",
                f"{_share(one.low)} to {_share(one.high)}",
                f"about {_share(controlled.likely)}",
                f"about {_two_figures(one.walks)}",
                f"about {round(portions * one.likely)}" if portions * one.likely >= 1 else "less than 1",
            )
            for one, controlled in zip(rounds.rounds, rounds.with_slug_control, strict=True)
        ),
    )
    window = words.plural(max(round(rounds.window_days), 1), "day")
    return (
        Card(
            "rounds",
            "How often to look",
            Headline(
                "While flushes may come, a walk every day picks ",
                f"about {_share(daily.likely)}",
                f" of what comes up in time; a walk once a week, about {_share(weekly.likely)}.",
            ),
            note=(
                f"Here a ripe one stays good for about {window}; slugs and maggots are quicker in wet, mild "
                "weather. To keep slugs down, collect them in the evening, or use a bait whose label allows "
                "it near food. Nobody has counted this on garden beds, so these are our estimates. A portion "
                f"is {units.show_mass(rounds.portion_kg, system)} of fresh mushrooms."
            ),
            table=table,
        ),
    )
