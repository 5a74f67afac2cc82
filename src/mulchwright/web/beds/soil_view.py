"""What a bed does for the soil and the plants there, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.renewal import Renewal
from mulchwright.almanac.soil_gain import HUMUS_ROWS, Nitrogen, Soil
from mulchwright.gather.ranges import Amount
from mulchwright.web.beds.renew_sources import (
    constants_of,
    figure_words,
    of_materials,
    sources_of,
    span_words,
)
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.tables import Card

if TYPE_CHECKING:
    from mulchwright.trade import Trade


def soil_card(soil: Soil, renewal: Renewal, trade: Trade, system: str) -> tuple[Card, tuple[str, ...]]:
    def mass(kg: float) -> str:
        return units.show_mass(kg, system)

    def span(amount: Amount) -> str:
        return span_words(mass(amount.low), mass(amount.high))

    answer = Headline(
        "So far it has left ", f"about {mass(soil.so_far_kg.likely)} of humus", " in the ground."
    )
    note = (
        f"From {span(soil.so_far_kg)}, out of {mass(soil.rotted_kg.likely)} that has rotted; the rest went "
    )
    note += "off as gas and water."
    points = span_words(f"{soil.points_dug_in.low:.1f}", f"{soil.points_dug_in.high:.1f}")
    deep = units.show_length(0.15, system)
    lines = (
        f"Of all that was laid, {span(soil.in_the_end_kg)} stays in the end.",
        (
            f"Were all of it dug in, {span(soil.dug_in_kg)}: {points} points of organic matter in the top "
            f"{deep}. That is an upper bound; a bed on the ground does less, and near the surface."
        ),
        (
            f"Topped up each year with what rots, after ten years {span(soil.fed_ten_years_kg)} of humus and "
            "microbes by a second way of calculation (RothC, a model of soils, kept moist; sand to clay)."
        ),
    )
    rows = dict.fromkeys(
        row for layer in renewal.now.layers if (row := HUMUS_ROWS.get(layer.material, ""))
    )  # fmt: skip
    sources = constants_of(
        trade, system, **dict.fromkeys(rows, "rotted matter × this share"),
        humus_surface_share="against the same dug in", topsoil_density_kg_m3="points in the topsoil",
    )  # fmt: skip
    return Card("soil", "What the soil gains", answer, note=note, sources=sources), lines


def plants_card(
    nitrogen: Nitrogen, renewal: Renewal, trade: Trade, system: str
) -> tuple[Card, tuple[str, ...]]:
    def mass(kg: float) -> str:
        return units.show_mass(kg, system)

    release = nitrogen.share_of_release
    held = f"It holds {nitrogen.ratio_now:.0f} parts of carbon to 1 of nitrogen, "
    held += f"as laid {nitrogen.ratio_laid:.0f}."
    if nitrogen.ratio_now > trade.constants["nitrogen_release_ratio"].high:
        answer = Headline("", "Do not feed it, and do not dig it in", ".")
        note = f"{held} It rots with nitrogen from where it touches the soil, so it feeds no plant yet; king "
        note += "stropharia and its kin need none added."
    else:
        answer = Headline("It has begun to ", "give nitrogen up", " as it rots.")
        note = held
    lines = [
        (
            "It begins to give nitrogen up when about "
            f"{span_words(words.share(release.low), words.share(release.high))} of it is left."
        ),
        (
            f"If you dug it in today, decay would tie up as much as {mass(nitrogen.dug_in_kg)} of nitrogen "
            f"({span_words(mass(nitrogen.taken_up_kg.low), mass(nitrogen.taken_up_kg.high))} by what "
            "microbes take up). Lying on the ground it takes far less, from a thin zone where the "
            "two meet: shrubs and trees rooted below do not feel it."
        ),
    ]
    for plant in renewal.plants:
        verdict = "does well beside it" if plant.verdict == "suits" else "suffers beside it"
        lines.append(f"{plant.names[0].capitalize()} {verdict}. {plant.why}")
    if renewal.unknown_plants:
        lines.append(f"Of {words.joined(list(renewal.unknown_plants))} nothing is known here.")
    if not renewal.plants and not renewal.unknown_plants:
        lines.append("No plants are noted for its garden bed; name them on the plan to read about them here.")
    feed = span_words(
        *(figure_words(v, "kg/m²", system) for v in (renewal.feed_kg_m2.low, renewal.feed_kg_m2.high))
    )
    ring = span_words(*(units.show_length(v, system) for v in (renewal.ring_m.low, renewal.ring_m.high)))
    lines.append(
        f"Vegetables and flowers of one summer: {feed} of nitrogen beside the bed, not into it; keep {ring} "
        "round seedlings free of chips."
    )
    sources = (
        *sources_of(
            of_materials(
                trade, renewal.now.layers, "carbon_nitrogen_ratio", "carbon to nitrogen", "the mix of layers"
            ),
            system,
        ),
        *constants_of(
            trade, system, nitrogen_ratio_goal="nitrogen were it dug in",
            nitrogen_release_ratio="when nitrogen is given up",
            nitrogen_need_hardwood="what microbes take up", nitrogen_need_softwood="what microbes take up",
            nitrogen_need_straw="what microbes take up", nitrogen_feed_kg_m2="feed beside the bed",
            seedling_ring_m="ring round seedlings",
        ),
    )  # fmt: skip
    return Card("plants", "Nitrogen and the plants there", answer, note=note, sources=sources), tuple(lines)
