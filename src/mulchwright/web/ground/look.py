"""Look rules, and what the plan says of one bed: its light, what it runs into, what would mend its look.

The rules are the grower's own to type in, as an association, a town or taste has them; the program defers to
whoever set them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LookRules, Patch, Stage, ZoneKind
from mulchwright.ground import Proposed, clearances
from mulchwright.services.light import mean_light, takes_light_from_plan
from mulchwright.trade import Trade
from mulchwright.units import US, show_length
from mulchwright.web.forms.coordinates import parse_coordinate
from mulchwright.web.shared.requests import page_or_form
from mulchwright.web.views import wording as words
from mulchwright.web.views.findings import FindingWords, each_once, finding_words

if TYPE_CHECKING:
    from mulchwright.web.shared.context import AppContext

ON_TOP = frozenset({"chips", "straw", "fines"})


@dataclass(frozen=True, slots=True)
class BedGround:
    """What the plan says of a drawn bed."""

    light: str
    findings: tuple[FindingWords, ...]


def bed_ground(garden: Garden, patch: Patch, trade: Trade) -> BedGround | None:
    """Light and findings of a patch; None where it is not drawn. A retired bed runs into nothing."""
    if not patch.outline:
        return None
    if takes_light_from_plan(garden, patch):
        light = f"By the plan this bed gets {words.share(mean_light(patch))} of the light of an open sky."
        if patch.rain_share < 0.995:
            light += f" {words.share(patch.rain_share)} of the rain reaches it."
    else:
        typed = words.share(mean_light(patch))
        light = f"You entered {typed} of the light of an open sky; nothing on the plan shades it."
    found: tuple[FindingWords, ...] = ()
    if patch.stage is not Stage.RETIRED:
        found = tuple(
            finding_words(f, trade, garden.units.value) for f in clearances(Proposed.of(patch), garden, trade)
        )
    return BedGround(light, each_once([found])[0])


def _read(
    typed: Mapping[str, str], skins: tuple[str, ...], trade: Trade, system: str
) -> tuple[LookRules | None, dict[str, str]]:
    depth = None
    text = typed.get("greatest_depth", "").strip()
    try:
        if text:
            bare = text if not re.fullmatch(r"[0-9.,]*[0-9][0-9.,]*", text) else (
                f"{text} in" if system == US else f"{text} cm"
            )  # fmt: skip
            depth = parse_coordinate(bare, system, "greatest_depth", below_zero=False)
        unknown = [skin for skin in skins if skin not in trade.materials]
        if unknown:
            raise InputError("Choose materials from the list.", field="skin")
        return LookRules(depth, skins, " ".join(typed.get("authority", "").split())), {}
    except InputError as error:
        known = {"greatest_depth_m": "greatest_depth", "accepted_skins": "skin"}
        field = known.get(error.field or "", error.field or "greatest_depth")
        message = str(error)
        if field == "greatest_depth":
            message = (
                f"A bed's greatest depth in sight is from {show_length(0.01, system)} to "
                f"{show_length(1.0, system)}, or left empty for no limit."
            )
        return None, {field: message}


@page_or_form
def look(request: Request, typed: dict[str, str] | None) -> Response:
    """The look rules as a form, with the beds that break them."""
    skins = tuple((typed or {}).get("skin", "").split())
    context = cast("AppContext", request.app.state.context)
    state = context.library.state()
    garden, trade = state.garden, context.trade
    system = garden.units.value
    errors: dict[str, str] = {}
    if typed is not None:
        rules, errors = _read(typed, skins, trade, system)
        if rules is not None:
            with open_book(context.library.path) as book:
                book.save_garden(replace(book.garden(), look_rules=rules), expected_revision=book.revision)
            return RedirectResponse("/ground/look", 303)
    rules = garden.look_rules
    depth = rules.greatest_depth_m
    shown = typed or {
        "greatest_depth": "" if depth is None else show_length(depth, system), "authority": rules.authority,
    }  # fmt: skip
    chosen = skins if typed is not None else rules.accepted_skins
    materials = [
        (key, material.names[0], key in chosen)
        for key, material in trade.materials.items()
        if material.is_skin or material.family in ON_TOP or key in chosen
    ]
    broken: list[tuple[str, str, tuple[FindingWords, ...]]] = []
    for patch in garden.patches:
        about = bed_ground(garden, patch, trade)
        if about is None:
            continue
        found = tuple(f for f in about.findings if f.limit.value.startswith("look_"))
        if found:
            broken.append((patch.key, patch.name, found))
    once = each_once([found for _, _, found in broken])
    broken = [(key, name, found) for (key, name, _), found in zip(broken, once, strict=True)]
    values: dict[str, Any] = {
        "zones": [zone for zone in garden.zones if zone.kind is ZoneKind.SEEN_FROM_STREET],
        "materials": materials, "typed": shown, "errors": errors, "broken": broken,
    }  # fmt: skip
    return context.page(
        request, "ground/look.html", state, status=422 if errors else 200, section="ground", **values
    )
