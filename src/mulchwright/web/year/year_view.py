"""A year's review in words: what the page and the printed sheet both show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.bed_year import BedYear, Reason, ReasonKind
from mulchwright.almanac.next_year import Proposal, ProposalKind
from mulchwright.almanac.review import MonthYear, YearReview
from mulchwright.almanac.yield_story import YieldStory
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.sheets.portrait import material_name, species_name
from mulchwright.web.beds.comparison import changes
from mulchwright.web.views import wording as words
from mulchwright.web.views.stores_wording import money
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.trade import Trade


LOW, HIGH = 0.1, 0.9


NOT_PLAIN = "The forecast gives no reason for it."


@dataclass(frozen=True, slots=True)
class Part:
    """A card of the page: its one sentence, further lines, a quiet note, and its figures."""

    key: str
    heading: str
    answer: str = ""
    lines: tuple[str, ...] = ()
    note: str = ""
    table: Table | None = None
    table_name: str = "The figures"


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal: what to do, why, what a tick writes (empty where nothing is), and where to read on."""

    key: str
    what: str
    why: str
    writes: str
    way: str
    way_name: str


@dataclass(frozen=True, slots=True)
class YearPage:
    """All that the page of a year shows."""

    year: int
    until: str
    answer: str
    beside: tuple[str, ...]
    charted: bool
    chart_words: str
    crop: Part
    beds: Part
    went: Part
    cost: Part
    taught: Part
    next_heading: str
    next_answer: str
    proposals: tuple[Proposed, ...]

    @property
    def to_take(self) -> tuple[Proposed, ...]:
        """Proposals that a tick writes into the plan or the logbook."""
        return tuple(one for one in self.proposals if one.writes)

    @property
    def by_hand(self) -> tuple[Proposed, ...]:
        """What needs nothing, or is done at the bed; there is nothing to write."""
        return tuple(one for one in self.proposals if not one.writes)


def mass_unit(system: str) -> tuple[str, float, Callable[[float], str]]:
    """The unit of a year's chart, what a kilogram is in it, and how a figure in it is said."""
    unit, kg = units.plain_unit("mass", system)
    return unit, 1 / kg, lambda value: mass_words(value * kg, system)


def mass_words(kg: float, system: str) -> str:
    return units.show_mass(kg, system) if kg > 0.0005 else "nothing"


def _by_area(kg_m2: float, system: str) -> str:
    (mass, kg), (area, m2) = units.plain_unit("mass", system), units.plain_unit("area", system)
    value, unit = kg_m2 * m2 / kg, f"{mass}/{area}"
    return f"{value:.1f} {unit}" if value >= 1 else f"{value:.2f} {unit}"


def _area_span(low: float, high: float, system: str) -> str:
    """Two yields with their unit once."""
    first, last = _by_area(low, system), _by_area(high, system)
    return f"{first.partition(' ')[0]} to {last}"


def page_of(year_review: YearReview, garden: Garden, trade: Trade, today: date, currency: str) -> YearPage:
    """The page of a year."""
    system = garden.units.value
    over = year_review.until.year < today.year or year_review.until == date(year_review.year, 12, 31)
    until = "The whole year" if over else f"Up to {words.day(year_review.until, today)}; the year is not over"
    proposals = tuple(_proposed(one, year_review, garden, trade, today) for one in year_review.proposals)
    return YearPage(
        year=year_review.year, until=until, answer=_sentence(year_review, over, system),
        beside=_beside(year_review, over),
        charted=any(m.picked_kg > 0 or m.crop_forecast for m in year_review.months),
        chart_words=_chart_words(year_review, system),
        crop=_crop(year_review, system, today), beds=_beds(year_review, garden, today),
        went=_went(year_review, system),
        cost=_cost(year_review, system, currency), taught=_taught(year_review.belief, garden, trade),
        next_heading=_next_heading(year_review, today),
        next_answer=_next_answer(year_review, today),
        proposals=proposals,
    )  # fmt: skip


def _sentence(year_review: YearReview, over: bool, system: str) -> str:
    """What a gardener would say of the year over the fence."""
    bearing = [bed for bed in year_review.beds if bed.picked_kg > 0]
    so_far = "" if over else " so far"
    if not year_review.beds:
        return f"There was no mushroom bed in {year_review.year}{' yet' if not over else ''}."
    if not bearing:
        waited = "was" if len(year_review.beds) == 1 else "were"
        beds = _beds_words(len(year_review.beds))
        return f"Nothing was picked in {year_review.year}{so_far}; {beds} {waited} waited on."
    picked = mass_words(year_review.totals.picked_kg, system)
    top = max(year_review.months, key=lambda m: m.picked_kg)
    share = top.picked_kg / year_review.totals.picked_kg if year_review.totals.picked_kg > 0 else 0.0
    when = f"all of it in {top.month:%B}" if share > 0.999 else f"most of it in {top.month:%B}"
    if share <= 0.5:
        when = f"{top.month:%B} being the best month"
    best = _bed(year_review, year_review.best)
    giver = f"; {best.patch.name} gave most for its size" if best and len(bearing) > 1 else ""
    where = bearing[0].patch.name if len(bearing) == 1 else _beds_words(len(bearing))
    return f"You picked {picked} from {where} in {year_review.year}{so_far}, {when}{giver}."


def _beds_words(count: int) -> str:
    return f"{words.count_word(count)} {'bed' if count == 1 else 'beds'}"


def _bed(year_review: YearReview, key: str | None) -> BedYear | None:
    return next((bed for bed in year_review.beds if bed.patch.key == key), None)


def _beside(year_review: YearReview, over: bool) -> tuple[str, ...]:
    lines: list[str] = []
    crop_forecast = [bed for bed in year_review.beds if bed.crop_forecast is not None]
    if crop_forecast and over:
        less = sum(b.picked_kg < b.crop_forecast.p10 for b in crop_forecast if b.crop_forecast)
        more = sum(b.picked_kg > b.crop_forecast.p90 for b in crop_forecast if b.crop_forecast)
        within = len(crop_forecast) - less - more
        said = [f"{within} came as forecast"] if within else []
        said += [f"{less} gave less"] if less else []
        said += [f"{more} gave more"] if more else []
        lines.append(f"Of {_beds_words(len(crop_forecast))} with an outlook kept, {words.joined(said)}.")
    elif crop_forecast:
        lines.append("The forecast is for the whole year; compare it with the crop when the year is over.")
    return tuple(lines)


def shown_months(year_review: YearReview) -> list[MonthYear]:
    """The months with a crop, foretold or picked; all of them between the first and the last."""
    some = [i for i, m in enumerate(year_review.months) if m.picked_kg > 0 or (m.crop_forecast or 0) > 0.0005]
    return list(year_review.months[some[0] : some[-1] + 1]) if some else []


def _chart_words(year_review: YearReview, system: str) -> str:
    said = [
        f"{m.month:%B} {mass_words(m.picked_kg, system)}"
        + ("" if m.crop_forecast is None else f", {mass_words(m.crop_forecast, system)} forecast")
        for m in shown_months(year_review)
    ]
    return f"Crop by month in {year_review.year}: {'; '.join(said) or 'nothing'}."


def _crop(year_review: YearReview, system: str, today: date) -> Part:
    months = shown_months(year_review)
    heading = "The crop by bed and month"
    if not months:
        return Part("crop", heading, "No crop was picked or forecast.")
    rows = [
        (
            bed.patch.name,
            *(_or_dash(m.by_bed.get(bed.patch.key, 0.0), system) for m in months),
            _or_dash(bed.picked_kg, system),
            _crop_forecast(bed, system),
        )
        for bed in year_review.beds
    ]  # fmt: skip
    rows.append(
        (
            "all beds",
            *(_or_dash(m.picked_kg, system) for m in months),
            mass_words(year_review.totals.picked_kg, system),
            "",
        )
    )
    rows.append(
        (
            "forecast, middle",
            *("–" if m.crop_forecast is None else mass_words(m.crop_forecast, system) for m in months),
            "",
            "",
        )
    )
    heads = ("bed", *(f"{m.month:%b}" for m in months), "year", "forecast (8 in 10)")
    table = Table(f"Crop of {year_review.year} by bed and month", heads, tuple(rows))
    days = {bed.crop_forecast.made_on for bed in year_review.beds if bed.crop_forecast}
    made = (
        f" The year of a bed is as it was forecast on {words.day(min(days), today)}"
        f"{'' if len(days) == 1 else ' or later'}."
        if days
        else ""
    )
    known = any(m.crop_forecast is not None for m in months)
    if not known and not days:
        note = "There was no forecast: no forecast was saved before these months."
    elif known:
        note = f"Bars are what you picked, strokes what was forecast before each month began.{made}"
    else:
        note = f"Bars are what you picked; no month was forecast before it began.{made}"
    return Part("crop", heading, note=note, table=table, table_name="By bed and month")


def _or_dash(kg: float, system: str) -> str:
    return mass_words(kg, system) if kg > 0 else "–"


def _crop_forecast(bed: BedYear, system: str) -> str:
    if bed.crop_forecast is None:
        return "not kept"
    low, high = mass_words(bed.crop_forecast.p10, system), mass_words(bed.crop_forecast.p90, system)
    return low if low == high else f"{low} to {high}"


def _beds(year_review: YearReview, garden: Garden, today: date) -> Part:
    system = garden.units.value
    best, worst = _bed(year_review, year_review.best), _bed(year_review, year_review.worst)
    lines = []
    if best:
        why = _why(best.reason, system, year_review.until)
        lines.append(f"Best: {best.patch.name}, {_by_area(best.kg_m2, system)}. {why}")
    if worst and worst is not best:
        gave = "nothing" if worst.picked_kg <= 0 else _by_area(worst.kg_m2, system)
        why = _why(worst.reason, system, year_review.until)
        lines.append(f"Worst: {worst.patch.name}, {gave}. {why or NOT_PLAIN}")
    if not lines:
        answer = "No bed was old enough to be judged, or none was weighed."
    elif worst is None or worst is best:
        answer = "Only one bed can be judged."
    else:
        answer = f"{best.patch.name if best else ''} did best, {worst.patch.name} worst."
    rows = tuple(
        (
            bed.patch.name,
            mass_words(bed.picked_kg, system),
            _by_area(bed.kg_m2, system) if bed.picked_kg else "–",
            str(bed.picks),
            str(bed.looks),
            units.show_volume(bed.watered_litres, system) if bed.watered_litres else "none",
            "–" if bed.efficiency is None else words.share(bed.efficiency),
            _why(bed.reason, system, year_review.until),
        )
        for bed in year_review.beds
    )
    table = Table(
        f"The beds in {year_review.year}",
        ("bed", "picked", "for its size", "picks", "looks", "watered", "of its dry food", "likely reason"),
        rows,
    )
    note = (
        "Best and worst go by weight for the size of the bed, among beds old enough to bear. The reason is "
        "the likeliest by the forecast, not a finding."
        if lines
        else ""
    )
    return Part(
        "beds", "Best and worst bed", answer, tuple(line.strip() for line in lines), note,
        table if rows else None, "Every bed",
    )  # fmt: skip


def _why(reason: Reason | None, system: str, until: date) -> str:
    """A reason as a sentence, as of the last day told; empty where none is known."""
    if reason is None:
        return ""
    f = reason.figures

    def days(key: str) -> str:
        return words.plural(round(f.get(key, 0.0)), "day")

    def part(key: str) -> str:
        return words.share(f.get(key, float("nan")))

    by = date.fromordinal(max(round(f.get("by", 1.0)), 1))
    on = f"on {days('days')} of {round(f.get('of_days', 0.0))}"
    match reason.kind:
        case ReasonKind.YOUNG:
            return f"Too young: {days('age_days')} old, and a bed like it needs about {days('needs_days')}."
        case ReasonKind.RUN_THROUGH:
            return f"Nearly spent: {part('share_left')} of its food is left."
        case ReasonKind.TOO_DRY:
            return f"Likely too dry: {on} below {part('mark')} water."
        case ReasonKind.TOO_WET:
            return f"Likely too wet: {on} above {part('mark')} water."
        case ReasonKind.COLD:
            mark = units.show_temperature(f.get("mark", 0.0), system)
            return f"Likely too cold: {on} below {mark}."
        case ReasonKind.NOT_RUN:
            needs = part("needs_share")
            return f"It was {part('run_share')} of it; about {needs} is needed."
        case ReasonKind.UNWATCHED:
            return "Nobody logged a check or a pick there, so nobody knows."
        case ReasonKind.BORE:
            kg, dense = f.get("picked_kg", 0.0), f.get("kg_m2", 0.0)
            return f"It gave {mass_words(kg, system)}, {_by_area(dense, system)}."
        case ReasonKind.SUNK:
            missing, spread, settled = (
                units.show_length(f.get(name, 0.0), system) for name in ("missing_m", "spread_m", "settled_m")
            )
            gone = f"By {words.day(by, until)} about {missing} of its depth will be gone since it was laid"
            if by <= until:
                gone = f"About {missing} of its depth is gone since it was laid"
            return f"{gone}. {spread} loose, {settled} once settled, is enough at one time."
        case ReasonKind.SPENT_SOON:
            return (
                f"A straw bed is spent in about a season: by {words.day(by, until)} less than {part('mark')} "
                "of its food is likely to be left."
            )


def _went(year_review: YearReview, system: str) -> Part:
    t = year_review.totals
    rows = tuple(
        (name, mass_words(kg, system))
        for name, kg in (
            ("eaten fresh", t.eaten_kg),
            ("dried", t.dried_fresh_kg),
            ("frozen", t.frozen_kg),
            ("given away", t.given_kg),
            ("thrown away", t.discarded_kg),
            ("not noted further", t.left_kg),
        )
        if kg > 0.0005
    )
    if not rows:
        return Part("went", "Where it went", "There was no crop to use.")
    lines = []
    if t.dry_kg > 0:
        ratio = "" if t.fresh_per_dry is None else f", {t.fresh_per_dry:.1f} times its weight fresh"
        lines.append(f"In jars from this year’s picks: {mass_words(t.dry_kg, system)} dry{ratio}.")
    if len(rows) == 1 and t.left_kg > 0.0005:
        return Part("went", "Where it went", f"What became of its {rows[0][1]} is not noted.")
    said = words.joined([f"{mass} {name}" for name, mass in rows])
    return Part("went", "Where it went", f"{said[0].upper()}{said[1:]}.", tuple(lines))


def _cost(year_review: YearReview, system: str, currency: str) -> Part:
    t = year_review.totals
    pound = system == units.US
    per, unit = units.plain_unit("mass", system)[1], "pound" if pound else "kilogram"

    def price(cost: float | None) -> str | None:
        return None if cost is None else money(round(100 * cost * per), currency)

    fresh, dry = price(t.cost_per_kg_fresh), price(t.cost_per_kg_dry)
    lines = [
        f"Water: {units.show_volume(t.watered_litres, system)}."
        if t.watered_litres
        else "No watering was noted.",
        "Money: not entered yet." if t.money is None else f"Money: {money(round(100 * t.money), currency)}.",
        "Hours: not entered yet." if t.hours is None else f"Hours: {t.hours:g}.",
    ]
    if t.hours and t.picked_kg > 0:
        lines.append(f"{mass_words(t.picked_kg / t.hours, system)} picked for each hour.")
    if fresh:
        answer = f"A {unit} fresh cost {fresh}" + (f", a {unit} dried {dry}." if dry else ".")
    elif t.money is None:
        answer = f"What a {unit} cost shows here once you enter the money spent."
    else:
        answer = f"Nothing was weighed, so a {unit} has no price."
    note = "Money of the whole year is laid on its crop; a new bed bears in later years, too."
    return Part("cost", "Water, hours and money", answer, tuple(lines), note)


def _taught(story: YieldStory | None, garden: Garden, trade: Trade) -> Part:
    heading = "What the forecast learned from your logbook"
    if story is None or not story.yields:
        return Part(
            "taught", heading, "Nothing yet: no bed that could bear was both watched and weighed.",
        )  # fmt: skip
    system = garden.units.value
    before, after = story.before, story.after
    name = species_name(story.species, trade)
    count = len(story.yields)
    shift = after.crop.median / before.crop.median if before.crop.median > 0 else 1.0
    moved = "about as much as expected"
    if shift > 1.1:
        moved = "more than expected"
    elif shift < 0.9:
        moved = "less than expected"
    answer = (
        f"A bed of {name} that bears gives {moved}: about {_by_area(after.crop.median, system)} in a year."
    )

    lines = tuple(
        f"{when}: about {_by_area(held.crop.median, system)}, 8 in 10 beds "
        f"{_area_span(held.crop.yield_at(LOW), held.crop.yield_at(HIGH), system)}; "
        f"{_bearing(held.bearing.mean)}."
        for when, held in (("Before", before), ("Now", after))
    )
    seen = f"This year’s {_beds_words(count)} count" + ("s" if count == 1 else "")
    earlier = f", on top of {words.plural(story.earlier, 'bed-year')} before" if story.earlier else ""
    note = f"{seen}{earlier}. A few beds teach little: the range stays wide until many years are noted."
    rows = tuple(
        (garden.patch(key).name, "nothing" if kg_m2 <= 0 else _by_area(kg_m2, system))
        for key, kg_m2 in story.yields
    )
    table = Table("What this year’s beds bore", ("bed", "for its size"), rows)
    return Part("taught", heading, answer, lines, note, table, "The beds that count")


def _bearing(share: float) -> str:
    if share >= words.SURE:
        return "nearly all bear"
    return "hardly any bear" if share <= words.RARE else f"{words.chance(share)} bear at all"


def _next_heading(year_review: YearReview, today: date) -> str:
    timely = year_review.proposals or year_review.year == today.year
    return f"For {year_review.year + 1}" if timely else "What to do next"


def _next_answer(year_review: YearReview, today: date) -> str:
    proposals = year_review.proposals
    if not proposals and year_review.year < today.year:
        return f"What to do next is on the page of the year {today.year}."
    if not proposals:
        return "Nothing proposed: there is no built bed, or no forecast for one yet."
    acts = [one for one in proposals if one.kind is not ProposalKind.KEEP]
    if not acts:
        return "Leave the beds as they are."
    beds = len({one.patch for one in acts})
    return f"{_beds_words(beds).capitalize()} {'needs' if beds == 1 else 'need'} work."


def _proposed(one: Proposal, year_review: YearReview, garden: Garden, trade: Trade, today: date) -> Proposed:
    system = garden.units.value
    patch = garden.patch(one.patch)
    what = {
        ProposalKind.KEEP: f"Keep {patch.name} as it is",
        ProposalKind.TOP_UP: f"Top up {patch.name}",
        ProposalKind.WATER_MORE: f"Water {patch.name} more",
        ProposalKind.RETIRE: f"Retire {patch.name}",
        ProposalKind.REBUILD: f"Rebuild {patch.name}",
    }[one.kind]
    if one.kind is ProposalKind.TOP_UP and one.why.figures.get("spread_m"):
        what += f" with {units.show_length(one.why.figures['spread_m'], system)} of loose "
        what += material_name(one.why.material, trade) if one.why.material else "chips"
    writes = "" if one.changed is None else _writes(one.changed, garden, trade, today)
    if one.done is not None:
        writes = "A tick notes in the logbook that you did it today, so tick it when it is done."
    renew = one.kind in (ProposalKind.TOP_UP, ProposalKind.REBUILD, ProposalKind.RETIRE)
    way = f"/beds/{patch.key}{'/renew' if renew else ''}"
    way_name = f"Renewal of {patch.name}" if renew else patch.name
    return Proposed(one.key, what, _why(one.why, system, today), writes, way, way_name)


def _writes(changed: Patch, garden: Garden, trade: Trade, today: date) -> str:
    """What a tick writes, in a sentence."""
    before = next((p for p in garden.patches if p.key == changed.key), None)
    if before is None:
        day = f", to be built {words.day(changed.built_on, today)}" if changed.built_on else ""
        return f"Checking it plans a new bed, {changed.name}{day}."
    if before.stage is not Stage.PLANNED and changed.stage is Stage.PLANNED:
        day = f" for {words.day(changed.built_on, today)}" if changed.built_on else ""
        return (
            f"Checking it makes the bed a plan again{day}. From then on the forecast is for the new bed, so "
            "check it when the old one is finished."
        )
    lines = list(changes(before, changed, trade, garden.units.value, today))
    if before.stage is not changed.stage and changed.stage is Stage.RETIRED:
        lines.append("the bed is retired, its logbook stays")
    elif before.stage is not changed.stage:
        lines.append(f"the bed is {changed.stage.value}")
    return f"Checking it changes: {'; '.join(lines)}." if lines else "Checking it adds it to the plan."
