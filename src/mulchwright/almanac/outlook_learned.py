"""What the logbook did to a bed's outlook, laid onto the outlook of its run."""

from __future__ import annotations

from dataclasses import replace

from mulchwright.almanac.learning import BedPosterior
from mulchwright.almanac.outlook_result import FirstPicking, Learned, PatchOutlook
from mulchwright.almanac.year_ahead import YearPicking

__all__ = ["with_learned"]


def with_learned(
    posterior: BedPosterior,
    before: tuple[FirstPicking, FirstPicking, YearPicking | None],
    item: PatchOutlook,
) -> PatchOutlook:
    """The outlook with what the logbook did to it."""
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
        before=before[2],
    )
    return replace(item, learned=learned)
