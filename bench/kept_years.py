"""What became of five years of picks, made up by rule: looked at, a part eaten, the rest in jars.

For the time that the pantry takes once it has grown. Older jars are used up, those of the last year are not.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.garden import Garden

__all__ = ["keep_picks"]

MEALS_A_JAR = 6


def keep_picks(garden: Garden, today: date) -> Garden:
    """The garden with checks, uses, loads and jars for every pick of its logbook."""
    from mulchwright.garden import LogKind
    from mulchwright.garden.keeping import (
        Dryer,
        DryingRun,
        Fate,
        Finding,
        IdentityCheck,
        Jar,
        JarKind,
        Use,
        Weighing,
    )
    from mulchwright.trade import load_trade

    features = load_trade().features_of("king-stropharia")
    findings = tuple((feature.key, Finding.AS_DESCRIBED) for feature in features)
    checks, uses, jars, runs = [], [], [], []
    for n, pick in enumerate(entry for entry in garden.log if entry.kind is LogKind.PICKED):
        assert pick.mass_kg is not None  # every pick of the made-up logbook has its mass
        checks.append(
            IdentityCheck(
                f"check-{n}", pick.patch, "king-stropharia", pick.day, findings, (pick.key,),
                print_color="purple-black", print_laid_at=datetime.combine(pick.day, time(9), UTC),
                print_read_at=datetime.combine(pick.day, time(15), UTC), second_look_by="A neighbor",
            )
        )  # fmt: skip
        uses.append(
            Use(f"meal-{n}", pick.day, Fate.EAT, 0.1 * pick.mass_kg, pick=pick.key, check=f"check-{n}")
        )
        fresh = 0.85 * pick.mass_kg
        began = datetime.combine(pick.day, time(9), UTC)
        jar = Jar(
            f"jar-{n}", f"Jar {n}", JarKind.DRIED, "king-stropharia", pick.day, 0.1 * fresh,
            pick.day + timedelta(days=120), (pick.key,), humidity=0.45,
        )  # fmt: skip
        uses.append(
            Use(f"dry-{n}", pick.day, Fate.DRY, fresh, pick=pick.key, check=f"check-{n}", into=jar.key)
        )
        runs.append(
            DryingRun(
                f"load-{n}", "dryer", began, fresh, 0.006, 50.0, uses=(f"dry-{n}",),
                weighings=(Weighing(began + timedelta(hours=4), 0.5 * fresh),),
                ended_at=began + timedelta(hours=11), dry_kg=0.1 * fresh,
            )
        )  # fmt: skip
        jars.append(jar)
        meals = MEALS_A_JAR if (today - pick.day).days > 365 else MEALS_A_JAR // 2
        for m in range(meals):
            day = min(pick.day + timedelta(days=20 + 9 * m), today)
            if day > pick.day:
                uses.append(
                    Use(
                        f"from-{n}-{m}",
                        day,
                        Fate.EAT,
                        jar.mass_kg / MEALS_A_JAR,
                        jar=jar.key,
                        check=f"check-{n}",
                    )
                )
    return replace(
        garden, checks=tuple(checks), uses=tuple(uses), jars=tuple(jars), dryings=tuple(runs),
        dryers=(Dryer("dryer", "Dryer", 6, 0.12, 500.0),),
    )  # fmt: skip
