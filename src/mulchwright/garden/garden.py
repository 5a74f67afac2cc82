"""The garden: every noun that a grower has entered, held together and checked against each other.

It stands above all other nouns, none of which knows it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Protocol

from mulchwright.errors import InputError
from mulchwright.garden.checks import require, require_key, require_number
from mulchwright.garden.keeping import Dryer, DryingRun, IdentityCheck, Jar, Use, check_kept, check_kept_of
from mulchwright.garden.logbook import LogEntry, LogKind, Reading
from mulchwright.garden.lots import Lot
from mulchwright.garden.nouns import Bed, ClimateNormals, Patch, Place, Recipe, UnitSystem
from mulchwright.garden.offers import Household, Offer, Seller, Vessel
from mulchwright.garden.plan import Crown, LookRules, Path, Tap, Wall, Zone
from mulchwright.garden.year_cost import YearCost
from mulchwright.units import day_words

__all__ = ["Garden"]


class _Keyed(Protocol):
    """Any noun with a key."""

    @property
    def key(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Garden:
    """Everything the grower has told about one garden, but for the weather record.

    `stands_at` holds the calendar still at one day (the demo and worked examples); None means today.
    lots : what lies ready to build with. sellers, offers : where more can be bought. households : who
    shares an order. vessels : to soak straw in. recipes : the grower's own, each under its name.
    readings : of the garden's own gauge and thermometer, one a day, in order.
    can_litres : what the watering can holds.
    checks, uses, jars, dryers, dryings : who looked at the picks, where each part of them went, and in what
    they were dried and kept (`keeping`).
    year_costs : money and hours of the years, one a year, in order.
    """

    place: Place
    beds: tuple[Bed, ...] = ()
    patches: tuple[Patch, ...] = ()
    log: tuple[LogEntry, ...] = ()
    units: UnitSystem = UnitSystem.METRIC
    normals: ClimateNormals | None = None
    hose_litres_per_minute: float = 12.0
    stands_at: date | None = None
    crowns: tuple[Crown, ...] = ()
    walls: tuple[Wall, ...] = ()
    paths: tuple[Path, ...] = ()
    taps: tuple[Tap, ...] = ()
    zones: tuple[Zone, ...] = ()
    look_rules: LookRules = field(default_factory=LookRules)
    lots: tuple[Lot, ...] = ()
    sellers: tuple[Seller, ...] = ()
    offers: tuple[Offer, ...] = ()
    households: tuple[Household, ...] = ()
    vessels: tuple[Vessel, ...] = ()
    recipes: tuple[Recipe, ...] = ()
    readings: tuple[Reading, ...] = ()
    can_litres: float = 10.0
    checks: tuple[IdentityCheck, ...] = ()
    uses: tuple[Use, ...] = ()
    jars: tuple[Jar, ...] = ()
    dryers: tuple[Dryer, ...] = ()
    dryings: tuple[DryingRun, ...] = ()
    year_costs: tuple[YearCost, ...] = ()

    def __post_init__(self) -> None:
        require_number(
            self.hose_litres_per_minute, 0.5, 200, "flow of the hose", "L/min", "hose_litres_per_minute"
        )
        for what, nouns in self._keyed().items():
            keys = [noun.key for noun in nouns]
            doubled = (
                sorted({key for key in keys if keys.count(key) > 1}) if len(set(keys)) < len(keys) else []
            )
            require(
                not doubled, f"Two {what} share the key {doubled[0] if doubled else ''!r}; rename one.", "key"
            )
        require_number(self.can_litres, 0.5, 50, "size of the watering can", "L", "can_litres")
        self._check_readings()
        self._check_year_costs()
        bed_keys = {bed.key for bed in self.beds}
        for patch in self.patches:
            require(
                patch.bed is None or patch.bed in bed_keys,
                f"Patch {patch.name!r} lies in bed {patch.bed!r}, which this garden does not have.",
                "bed",
            )
        patch_keys = {patch.key for patch in self.patches}
        for entry in self.log:
            if entry.patch not in patch_keys:
                raise InputError(
                    f"The logbook entry of {day_words(entry.day)} names patch {entry.patch!r}, "
                    "not in this garden.",
                    field="patch",
                )
        self._check_stores()
        check_kept(
            self._picks_kg(),
            checks=self.checks,
            uses=self.uses,
            jars=self.jars,
            dryers=self.dryers,
            dryings=self.dryings,
        )

    def _picks_kg(self) -> dict[str, float]:
        return {entry.key: entry.mass_kg or 0.0 for entry in self.log if entry.kind is LogKind.PICKED}

    def check_whole(self) -> None:
        """Refuse a use of a pick that is not in the logbook, or that feeds somebody and names no check of it.

        And an identity check of a patch that is not there.

        Asked wherever a garden is written down or read in. A garden that is only worked out with may be
        stripped of its logbook or of some beds and keep the rest, so this is not asked of every garden.
        """
        check_kept_of(self._picks_kg(), {patch.key for patch in self.patches}, self.checks, self.uses)

    def _check_readings(self) -> None:
        """One reading a day, kept in the order of their days whatever order they came in."""
        days = sorted(reading.day for reading in self.readings)
        for day, following in pairwise(days):
            if day == following:
                raise InputError(f"Two readings are of {day_words(day)}; keep one.", field="readings")
        in_order = tuple(sorted(self.readings, key=lambda reading: reading.day))
        object.__setattr__(self, "readings", in_order)

    def _check_year_costs(self) -> None:
        """One a year, kept in the order of the years whatever order they came in."""
        years = sorted(cost.year for cost in self.year_costs)
        for year, following in pairwise(years):
            if year == following:
                raise InputError(f"Money and hours of {year} are given twice; keep one.", field="year_costs")
        in_order = tuple(sorted(self.year_costs, key=lambda cost: cost.year))
        object.__setattr__(self, "year_costs", in_order)

    def _check_stores(self) -> None:
        seller_keys = {seller.key for seller in self.sellers}
        for offer in self.offers:
            require_key(offer.key, f"The offer of {offer.item}")
            require(
                offer.seller in seller_keys,
                f"{offer.name or offer.item} is offered by {offer.seller!r}, who is not among the sellers. "
                "Enter the seller with the delivery charge.",
                "seller",
            )
        names = [recipe.name for recipe in self.recipes]
        doubled = sorted({name for name in names if names.count(name) > 1})
        require(
            not doubled,
            f"Two recipes are called {doubled[0] if doubled else ''!r}; give one of them another name.",
            "name",
        )

    def _keyed(self) -> dict[str, tuple[_Keyed, ...]]:
        return {
            "beds": self.beds,
            "patches": self.patches,
            "logbook entries": self.log,
            "crowns": self.crowns,
            "walls": self.walls,
            "paths": self.paths,
            "taps": self.taps,
            "zones": self.zones,
            "lots": self.lots,
            "sellers": self.sellers,
            "offers": self.offers,
            "households": self.households,
            "vessels": self.vessels,
            "identity checks": self.checks,
            "uses": self.uses,
            "jars": self.jars,
            "dryers": self.dryers,
            "loads": self.dryings,
        }

    def year_cost(self, year: int) -> YearCost | None:
        """What was noted of a year's money and hours; None where nothing was."""
        return next((cost for cost in self.year_costs if cost.year == year), None)

    def patch(self, key: str) -> Patch:
        """The patch with this key; `InputError` names the keys there are."""
        for patch in self.patches:
            if patch.key == key:
                return patch
        known = ", ".join(patch.key for patch in self.patches) or "none yet"
        raise InputError(f"There is no patch {key!r} in this garden; its patches: {known}.", field="patch")
