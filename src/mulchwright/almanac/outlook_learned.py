"""What the logbook did to a bed's outlook, laid onto the outlook of its run."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from mulchwright.almanac.learning import BedPosterior
from mulchwright.almanac.outlook_ranges import DOTS, FIRST_YEAR_DAYS
from mulchwright.almanac.outlook_result import FirstPicking, Learned, PatchOutlook

__all__ = ["with_learned"]


def _came_on(day: date, told: FirstPicking) -> FirstPicking:
    """A picking that came on a day for sure, told on the same days as another."""
    weekly = tuple((week, float(week >= day)) for week, _ in told.probability_by_date)
    return FirstPicking(day, day, day, weekly, (day,) * DOTS)


def with_learned(
    posterior: BedPosterior, before: tuple[FirstPicking, FirstPicking], item: PatchOutlook
) -> PatchOutlook:
    """The outlook with what the logbook did to it; a first picking that was noted is a fact."""
    picked_on, built_on = posterior.picked_on, item.patch.built_on
    if picked_on is not None and built_on is not None:
        item = replace(
            item,
            first_picking=_came_on(picked_on, item.first_picking),
            none_in_first_year=(
                0.0 if (picked_on - built_on).days < FIRST_YEAR_DAYS else item.none_in_first_year
            ),
        )
    learned = Learned(
        looks=posterior.looks,
        picks=posterior.picks,
        others=posterior.others,
        first_before=before[0],
        first_after=item.first_picking,
        next_before=before[1],
        next_after=item.next_picking,
        fitting_share=posterior.fitting,
        refreshed=posterior.refreshed,
        fits=posterior.fits,
        odd_days=posterior.odd,
        weight=posterior.weight,
    )
    return replace(item, learned=learned)
