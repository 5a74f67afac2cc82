"""From what is seen on a bed to what may be the matter, with the bed's own history as evidence.

A sign points at troubles, a usual one more than a rare one. What the outlook works out of the bed's moisture
and warmth, the weather record, the recipe and the logbook then speak for or against each. Points only
rank: every weight is our own judgement (`trade/evidence.toml`, grade estimate), for nobody has counted beds
by sign and cause. Nothing here identifies a mushroom; a sign that may be another one calls for a warning
first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from mulchwright.almanac.bed_history import bed_history
from mulchwright.almanac.evidence import Reason, Thresholds, reasons_of
from mulchwright.almanac.log_notes import of_another_kind
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.year_ahead import noted_of
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch
from mulchwright.trade import Caution, Lookalike, Symptom, Trade, Trouble
from mulchwright.weather import DailySeries

__all__ = ["Cause", "Fit", "Stranger", "contradictions", "diagnose", "stranger_warning"]


class Fit(StrEnum):
    """How well a trouble agrees with all that is known."""

    LIKELY = "likely"
    POSSIBLE = "possible"
    UNLIKELY = "unlikely"


@dataclass(frozen=True, slots=True)
class Cause:
    """A trouble that may lie behind the signs, with what speaks for and against it.

    points rank only. signs : keys of the signs it would explain. look_again_on : a day for the next look.
    """

    trouble: Trouble
    fit: Fit
    points: float
    signs: tuple[str, ...]
    reasons: tuple[Reason, ...]
    look_again_on: date


@dataclass(frozen=True, slots=True)
class Stranger:
    """The warning that goes before everything where a sign may be another mushroom.

    lookalikes : kinds that are taken for the planted one, the deadly first. cautions : grave ones.
    """

    signs: tuple[Symptom, ...]
    words: str
    lookalikes: tuple[Lookalike, ...]
    cautions: tuple[Caution, ...]


def diagnose(
    bed_or_outlook: PatchOutlook | Patch,
    garden: Garden,
    trade: Trade,
    signs: Sequence[str],
    *,
    today: date,
    series: DailySeries | None = None,
    watered_days_ago: int | None = None,
) -> tuple[Cause, ...]:
    """What may lie behind the signs, the likeliest first, each with reasons for and against.

    told : the patch's outlook, or the bare patch where there is none (planned, retired, no weather): then
    recipe and logbook alone speak. signs : keys of `trade.symptoms`, in any order; each counts once.

    Raises `InputError` for a sign that the table does not know. No sign gives no cause.
    """
    unknown = [sign for sign in signs if sign not in trade.symptoms]
    if unknown:
        raise InputError(f"There is no sign {unknown[0][:80]!r}; choose from the list.", field="signs")
    seen = [key for key in trade.symptoms if key in set(signs)]
    at = Thresholds({key: row.value for key, row in trade.evidence.items()}, trade)
    past = bed_history(
        bed_or_outlook, garden, trade, today=today, series=series, watered_days_ago=watered_days_ago
    )
    points: dict[str, float] = {}
    explains: dict[str, list[str]] = {}
    for key in seen:
        row = trade.symptoms[key]
        for name, weight in (
            *((t, at.value["usual_weight"]) for t in row.usual),
            *((t, at.value["sometimes_weight"]) for t in row.sometimes),
        ):
            points[name] = points.get(name, 0.0) + weight
            explains.setdefault(name, []).append(key)
    causes = []
    for name, given in points.items():
        trouble = trade.troubles[name]
        reasons = reasons_of(trouble, past, at)
        # One drought speaks through many reasons; only the strongest on each side counts.
        weights = [reason.points for reason in reasons]
        total = given + max([0.0, *weights]) + min([0.0, *weights])
        fit = (
            Fit.LIKELY
            if total >= at.value["likely_points"]
            else Fit.POSSIBLE
            if total >= at.value["possible_points"]
            else Fit.UNLIKELY
        )
        again = today + timedelta(days=trouble.look_again_days)
        causes.append(Cause(trouble, fit, total, tuple(explains[name]), reasons, again))
    return tuple(sorted(causes, key=lambda cause: (-cause.points, -len(cause.signs), cause.trouble.key)))


NO_PICK_SIGNS = {"no-fruit-yet": 0, "nothing-after-a-year": 365, "never-fruits": 730}
"""Signs that say that nothing was picked, and the age in days that a bed has by then."""


def contradictions(garden: Garden, patch: Patch, signs: Sequence[str], today: date) -> dict[str, str]:
    """Why a ticked sign cannot be, by its key: the logbook holds picks, or the bed is too young."""
    noted = noted_of(patch, garden.log, today, of_another_kind(garden.checks))
    age = (today - patch.built_on).days if patch.built_on is not None else None
    found = {}
    for key in dict.fromkeys(signs):
        least = NO_PICK_SIGNS.get(key)
        if least is None:
            continue
        if noted.picks:
            count = "1 pick" if noted.picks == 1 else f"{noted.picks} picks"
            found[key] = f"The logbook holds {count} of this bed. If one is wrong, correct it in the logbook."
        elif age is not None and age < least:
            found[key] = f"This bed is {max(age, 0)} days old, too young for that."
    return found


def stranger_warning(patch: Patch, trade: Trade, signs: Sequence[str]) -> Stranger | None:
    """The warning that stands before every cause where a sign may be another mushroom; None where none is."""
    seen = tuple(row for key, row in trade.symptoms.items() if key in set(signs) and row.other_mushroom)
    if not seen:
        return None
    words = (
        "Do not eat it, and eat nothing that grows beside it until an experienced person has seen whole "
        "mushrooms. This page does not say what it is. Ask a mycological society or an extension office; "
        "if somebody has eaten of it, call the poison center now."
    )
    cautions = tuple(c for c in trade.cautions_for("identify") if c.grave)
    return Stranger(seen, words, trade.lookalikes_of(patch.species), cautions)
