"""The identity check on a phone: one feature after the other, and what each should look like.

It writes down a look. A feature that was not looked at may be added later, above all the print, which takes
a night; what was found once is not written over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from mulchwright import units
from mulchwright.book import BookConflict, open_book
from mulchwright.desk import picking_told, words
from mulchwright.desk.reckoning import BookState
from mulchwright.desk.stores import desk_of
from mulchwright.errors import InputError
from mulchwright.garden import Finding, Garden, IdentityCheck, LogEntry, LogKind
from mulchwright.keep import print_due, questions
from mulchwright.keep.identity import ASK, POISON
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Lookalike, Trade

__all__ = ["FeatureScreen", "routes"]

ALSO_DAYS = 3
"""Other picks of the bed of these last days may be covered by one look."""
PART_NAMES = {
    "base": "Base of the stem", "cap": "Cap", "ring": "Ring", "gills": "Gills", "stem": "Stem",
    "flesh": "Flesh", "print": "Spore print",
}  # fmt: skip


def routes() -> list[BaseRoute]:
    """The addresses of the check."""
    return [
        Route("/picks/{key}/check", check_page),
        Route("/picks/{key}/check", note_check, methods=["POST"]),
    ]


@dataclass(frozen=True, slots=True)
class FeatureScreen:
    """One feature as one screen.

    stands : what was found before and stays. rules_out : name, danger and tells of each look-alike.
    """

    key: str
    number: int
    part: str
    ask: str
    should: str
    rules_out: tuple[tuple[str, str, str], ...]
    is_print: bool
    due: bool
    stands: str


def _look_alike(row: Lookalike, system: str) -> tuple[str, str, str]:
    return row.names[0], row.danger, units.in_units(f"{row.latin}. {' '.join(row.tells)}", system)


def _to_go_on(garden: Garden, pick: LogEntry, *, anew: bool) -> IdentityCheck | None:
    """The check of this pick in which a feature is still open; None where a new one is to be made."""
    if anew:
        return None
    patch = garden.patch(pick.patch)
    mine = [
        check
        for check in garden.checks
        if pick.key in check.picks
        and (check.patch, check.species) == (patch.key, patch.species)
        and any(finding is Finding.NOT_SEEN for _, finding in check.findings)
    ]
    return max(mine, key=lambda check: check.day, default=None)


def _print_asked(garden: Garden, trade: Trade, pick: LogEntry, day: date, but: str) -> bool:
    patch = garden.patch(pick.patch)
    others = [check for check in garden.checks if check.key != but]
    return print_due(others, trade, patch=patch.key, species=patch.species, day=day)


def check_page(request: Request) -> Response:
    """The features of what was sown in the bed of this pick, each as a screen."""
    return _check_page(request, desk_of(request).library.state())


def _check_page(
    request: Request, state: BookState, *, status: int = 200, typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    from mulchwright.desk.picking import page_of, pick_of

    desk = desk_of(request)
    garden, trade, today = state.garden, desk.trade, desk.today(state.garden)
    pick = pick_of(garden, request.path_params["key"])
    patch = garden.patch(pick.patch)
    anew = (typed or request.query_params).get("again") == "yes"
    going_on = _to_go_on(garden, pick, anew=anew)
    stands = dict(going_on.findings) if going_on else {}
    due = _print_asked(
        garden, trade, pick, going_on.day if going_on else today, going_on.key if going_on else ""
    )
    lines = picking_told.check_lines(garden, trade, pick, today)
    system = garden.units.value
    done = bool(lines) and going_on is None and not anew
    screens: tuple[FeatureScreen, ...] = ()
    trouble = ""
    try:
        screens = tuple(
            FeatureScreen(
                q.feature.key, n, PART_NAMES.get(q.feature.part, q.feature.part), q.feature.ask,
                units.in_units(q.feature.should, system),
                tuple(_look_alike(row, system) for row in q.rules_out),
                q.feature.part == "print", q.feature.part != "print" or due,
                picking_told.FINDING_WORDS[found]
                if (found := stands.get(q.feature.key, Finding.NOT_SEEN)) is not Finding.NOT_SEEN else "",
            )
            for n, q in enumerate(questions(trade, patch.species), 1)
        )  # fmt: skip
    except InputError as error:
        trouble = str(error)
    return page_of(
        request, "pick_check.html", state, status=status, pick=pick, patch=patch, done=done, anew=anew,
        species=species_name(patch.species, trade), when=words.day(pick.day, today),
        mass=units.show_mass(pick.mass_kg or 0.0, system), screens=() if done else screens, trouble=trouble,
        going_on=going_on, lines=lines, print_asked=due, also=[] if going_on else _also(garden, pick, today),
        look_alikes=[_look_alike(row, system) for row in trade.lookalikes_of(patch.species)],
        findings=[(f.value, w) for f, w in _ANSWERS], ask_words=ASK, poison=POISON,
        cautions=picking_told.cautions(trade, [patch], ("identify",), system),
        typed=dict(typed or {}), errors=dict(errors or {}),
    )  # fmt: skip


_ANSWERS = (
    (Finding.AS_DESCRIBED, "As described"),
    (Finding.DIFFERENT, "Different, or I doubt it"),
    (Finding.NOT_SEEN, "Not looked at"),
)


def _also(garden: Garden, pick: LogEntry, today: date) -> list[tuple[str, str]]:
    """Other late picks of the same bed that lie beside it and were not looked at."""
    covered = {key for check in garden.checks for key in check.picks}
    return [
        (e.key, f"{words.day(e.day, today)}, {units.show_mass(e.mass_kg or 0.0, garden.units.value)}")
        for e in garden.log
        if e.kind is LogKind.PICKED and e.patch == pick.patch and e.key != pick.key and e.key not in covered
        and abs((e.day - pick.day).days) <= ALSO_DAYS
    ]  # fmt: skip


async def note_check(request: Request) -> Response:
    """Write down a look, or add to one what was open in it."""
    from mulchwright.desk.picking import fields_of

    return await run_in_threadpool(_note_check, request, await fields_of(request))


def _note_check(request: Request, typed: dict[str, str]) -> Response:
    from mulchwright.desk.picking import pick_of, sent_key

    desk = desk_of(request)
    state = desk.library.state()
    garden, today = state.garden, desk.today(state.garden)
    pick = pick_of(garden, request.path_params["key"])
    key, came = sent_key(f"{today.isoformat()}-check", typed, (check.key for check in garden.checks))
    if came or _stands_so(garden, typed):  # a double tap, or a resend: it is noted already
        return RedirectResponse(f"/picks/{pick.key}", 303)
    try:
        check = _check_of(garden, desk.trade, pick, typed, today, key)
        with open_book(desk.library.path) as book:
            done = book.put_check(
                check, mark=key if typed.get("mark") else "", expected_revision=_revision(typed)
            )
    except BookConflict as conflict:
        return _check_page(request, state, status=409, typed=typed, errors={"form": str(conflict)})
    except InputError as error:
        field = error.field if error.field in ("by", "print_color", "text") else "form"
        if (error.field or "").startswith("f."):
            field = str(error.field)
        return _check_page(request, state, status=422, typed=typed, errors={field: str(error)})
    return RedirectResponse(f"/picks/{pick.key}?step={done.step}", 303)


def _revision(typed: Mapping[str, str]) -> int | None:
    told = typed.get("revision", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) < 16 else None


def _stands_so(garden: Garden, typed: Mapping[str, str]) -> bool:
    """Whether the check the form adds to has all of what it tells already, and no feature open."""
    check = next((c for c in garden.checks if c.key == typed.get("check", "")), None)
    if check is None or any(finding is Finding.NOT_SEEN for _, finding in check.findings):
        return False
    told = {k.removeprefix("f."): v for k, v in typed.items() if k.startswith("f.")}
    stands = {feature: finding.value for feature, finding in check.findings}
    return bool(told) and all(
        stands.get(feature) == value for feature, value in told.items() if value != Finding.NOT_SEEN.value
    )


def _check_of(
    garden: Garden, trade: Trade, pick: LogEntry, typed: Mapping[str, str], today: date, new_key: str
) -> IdentityCheck:
    """The check that a form tells; what was found before stays as it was."""
    patch = garden.patch(pick.patch)
    asked_about = typed.get("species", "")
    if asked_about != patch.species:
        raise InputError(
            f"This look was made for {species_name(asked_about, trade)[:60] or 'no species'}, and in "
            f"{patch.name} {species_name(patch.species, trade)} was sown. Nothing was noted; make it again "
            "with the features below.",
            field="form",
        )
    by = " ".join(typed.get("by", "").split())
    if not by:
        raise InputError("Write down who looked.", field="by")
    going_on = _to_go_on(garden, pick, anew=typed.get("again") == "yes")
    if typed.get("check", "") != (going_on.key if going_on else ""):
        raise InputError(
            "This check was changed elsewhere meanwhile. Nothing was noted; look at it as it stands now.",
            field="form",
        )
    stands = dict(going_on.findings) if going_on else {}
    found: list[tuple[str, Finding]] = []
    for question in questions(trade, patch.species):
        key = question.feature.key
        before = stands.get(key, Finding.NOT_SEEN)
        try:
            now = Finding(typed.get(f"f.{key}") or Finding.NOT_SEEN.value)
        except ValueError:
            raise InputError("Choose one of the three answers.", field=f"f.{key}") from None
        found.append((key, now if before is Finding.NOT_SEEN else before))
    if all(finding is Finding.NOT_SEEN for _, finding in found):
        raise InputError("Nothing was looked at yet. Answer the first feature at least.", field="form")
    text = typed.get("text", "").replace("\r\n", "\n").strip()
    color = typed.get("print_color", "").strip()
    now_at = datetime.now(UTC)
    if going_on is not None:
        added = [
            trade.features[key].part for key, finding in found
            if finding is not Finding.NOT_SEEN and stands.get(key, Finding.NOT_SEEN) is Finding.NOT_SEEN
        ]  # fmt: skip
        if not added:
            raise InputError(
                "Nothing new was looked at. Answer what was open, or leave it for later.", field="form"
            )
        later = f"Added on {today.isoformat()} by {by}: {', '.join(added)}."
        return replace(
            going_on, findings=tuple(found), print_color=color or going_on.print_color,
            text="\n".join(t for t in (going_on.text, later, text) if t), entered_at=now_at,
        )  # fmt: skip
    allowed = {key for key, _ in _also(garden, pick, today)}
    also = [key for key in dict.fromkeys(typed.get("also", "").split()) if key in allowed]
    key, notes = _key_of(garden, pick, new_key)
    return IdentityCheck(
        key=key, patch=patch.key, species=patch.species, day=today, findings=tuple(found),
        picks=(pick.key, *also), by=by, print_color=color, text="\n".join(t for t in (notes, text) if t),
        entered_at=now_at,
    )  # fmt: skip


def _key_of(garden: Garden, pick: LogEntry, key: str) -> tuple[str, str]:
    """The new key; or that of a check made for another species, which the new one stands in for.

    One that found something different is never put aside, whatever it was made for.
    """
    patch = garden.patch(pick.patch)
    for check in garden.checks:
        strange = (check.patch, check.species) != (patch.key, patch.species)
        alone = check.picks == (pick.key,)
        if strange and alone and all(finding is not Finding.DIFFERENT for _, finding in check.findings):
            return check.key, (
                f"In place of a look of {check.day.isoformat()} by {check.by or 'someone'} against "
                f"{check.species}."
            )
    return key, ""
