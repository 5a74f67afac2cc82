"""What to do with each bed next year: keep, top up, water more, clear or lay anew, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from mulchwright.almanac.bed_year import BedYear, Reason, ReasonKind, share_left_of
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.renewal import renewal
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, Stage, WateringRule
from mulchwright.garden.logbook import free_key
from mulchwright.trade import Trade

__all__ = ["Proposal", "ProposalKind", "proposals_for"]


class ProposalKind(StrEnum):
    """What is proposed for next year."""

    KEEP = "keep"
    TOP_UP = "top_up"
    WATER_MORE = "water_more"
    RETIRE = "retire"
    REBUILD = "rebuild"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposal for one bed.

    changed : the patch that accepting it writes, None where nothing of it changes. done : the logbook's line
    that accepting it writes, for what is done at the bed and not planned; None where there is none.
    """

    key: str
    kind: ProposalKind
    patch: str
    why: Reason
    changed: Patch | None
    done: LogEntry | None = None

    @property
    def writes(self) -> bool:
        """Whether accepting it writes anything."""
        return self.changed is not None or self.done is not None


POOR_SHARE = 0.5
"""A spent bed that bore less than this of the best one's crop by area is cleared rather than laid anew."""
WETTEST_LIMIT = 0.8


def _anniversary(built_on: date, today: date) -> date:
    """The next day after today on the calendar day of the build; a leap day becomes the 28th."""
    day = 28 if (built_on.month, built_on.day) == (2, 29) else built_on.day
    this = date(today.year, built_on.month, day)
    return this if this > today else date(today.year + 1, built_on.month, day)


def _watered_more(patch: Patch, bed_outlook: PatchOutlook) -> Patch | None:
    """The patch with a watering rule that acts sooner; None where its rule acts soon enough already."""
    rule = patch.watering
    wanted = min(max(bed_outlook.moisture_limits.low, 0.2), WETTEST_LIMIT)
    if rule.rule is WateringRule.WHEN_DRY and round(wanted, 3) <= rule.below_moisture:
        return None
    more = replace(rule, rule=WateringRule.WHEN_DRY, below_moisture=round(wanted, 3))
    return replace(patch, watering=more)


def proposals_for(
    bed: BedYear,
    bed_outlook: PatchOutlook | None,
    garden: Garden,
    trade: Trade,
    best_kg_m2: float,
    today: date,
) -> list[Proposal]:
    """What to do with a built bed next year, none where nothing speaks for a change or for keeping it."""
    patch = bed.patch
    if patch.stage is not Stage.BUILT or patch.built_on is None or patch.built_on > today:
        return []

    def proposed(kind: ProposalKind, why: Reason, changed: Patch | None = None) -> Proposal:
        return Proposal(f"{kind.value.replace('_', '-')}-{patch.key}", kind, patch.key, why, changed)

    left, mark = share_left_of(bed_outlook), trade.constants["retire_share_left"].value
    if left is not None and left < mark:
        why = Reason(ReasonKind.RUN_THROUGH, {"share_left": left, "mark": mark})
        if bed.counts and bed.kg_m2 > 0 and bed.kg_m2 >= POOR_SHARE * best_kg_m2:
            again = replace(patch, stage=Stage.PLANNED, built_on=_anniversary(patch.built_on, today))
            return [proposed(ProposalKind.REBUILD, why, again)]
        return [proposed(ProposalKind.RETIRE, why, replace(patch, stage=Stage.RETIRED))]
    found = []
    if bed.reason and bed.reason.kind is ReasonKind.TOO_DRY and bed_outlook is not None:
        more = _watered_more(patch, bed_outlook)
        if more is not None:
            found.append(proposed(ProposalKind.WATER_MORE, bed.reason, more))
    if bed_outlook is not None and bed_outlook.remains and bed_outlook.remains[0].day == today:
        renewed = renewal(bed_outlook, garden, trade, today)
        top_up, spent_on = renewed.top_up, renewed.retire.middle
        if top_up is not None:
            figures = {
                "missing_m": top_up.missing_m.likely,
                "spread_m": top_up.spread_m,
                "settled_m": top_up.settled_m,
                "by": float(max(top_up.week, today).toordinal()),
            }
            kind = LogKind.TOPPED_UP
            key = free_key(today, kind, {entry.key for entry in garden.log})
            done = LogEntry(
                key, patch.key, today, kind, material=top_up.material, thickness_m=top_up.spread_m
            )
            fed = proposed(ProposalKind.TOP_UP, Reason(ReasonKind.SUNK, figures, top_up.material))
            found.append(replace(fed, done=done))
        elif renewed.straw and spent_on is not None and bed.kg_m2 > 0:
            why = Reason(ReasonKind.SPENT_SOON, {"by": float(spent_on.toordinal()), "mark": mark})
            again = replace(patch, stage=Stage.PLANNED, built_on=_anniversary(patch.built_on, today))
            found.append(proposed(ProposalKind.REBUILD, why, again))
    if not found and bed.picks:
        figures = {"picked_kg": bed.picked_kg, "kg_m2": bed.kg_m2}
        found.append(proposed(ProposalKind.KEEP, Reason(ReasonKind.BORE, figures)))
    elif not found and bed.reason and bed.reason.kind in (ReasonKind.YOUNG, ReasonKind.NOT_RUN):
        found.append(proposed(ProposalKind.KEEP, bed.reason))
    return found
