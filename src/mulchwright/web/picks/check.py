"""The identity check on a phone: one feature after the other, and what each should look like.

It writes down a look. A feature that was not looked at may be added later, above all the print, which takes
hours to a night; what was found once is not written over. When the print was laid and read is written down
as well, and it is taken as seen only with its color and not before it can be read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright import units
from mulchwright.book import BookConflict, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Finding, Garden, IdentityCheck, LogEntry, LogKind, UnitSystem
from mulchwright.keep import (
    PrintColor,
    print_color_of,
    print_colors,
    print_due,
    print_ready_at,
    questions,
    second_look_due,
    standing_print,
    time_words,
)
from mulchwright.keep.identity import ASK, POISON
from mulchwright.services.library import BookState
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Lookalike, Trade
from mulchwright.web.forms.moments import read_moment
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.picks import pick_view as pick_view
from mulchwright.web.picks.likeness_view import panels_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words

ANOTHER_COLOR = "another color"
"""What the list of colors ends with; it is always a difference."""
ALSO_DAYS = 3
"""Other picks of the bed of these last days may be covered by one look."""
DANGER_WORDS = {
    "deadly": "Deadly", "poisonous": "Poisonous", "mind-altering": "Mind-altering",
    "sickening": "Makes people ill",
    "poor": "Not worth eating",
}  # fmt: skip
PART_NAMES = {
    "base": "Base of the stem", "cap": "Cap", "ring": "Ring", "gills": "Gills", "stem": "Stem",
    "flesh": "Flesh", "print": "Spore print",
}  # fmt: skip


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


def _to_go_on(
    garden: Garden, trade: Trade, pick: LogEntry, now: datetime, *, anew: bool
) -> IdentityCheck | None:
    """The check of this pick in which something is still open; None where a new one is to be made.

    Open is a feature that was not looked at, and what keeps a check from passing that found no difference: a
    print without its color or read too soon, or the second look at a bed's first crop.
    """
    if anew:
        return None
    patch = garden.patch(pick.patch)
    mine = [
        check
        for check in garden.checks
        if pick.key in check.picks
        and (check.patch, check.species) == (patch.key, patch.species)
        and (
            any(finding is Finding.NOT_SEEN for _, finding in check.findings)
            or _mendable(garden, trade, check, now)
        )
    ]
    return max(mine, key=lambda check: check.day, default=None)


def _mendable(garden: Garden, trade: Trade, check: IdentityCheck, now: datetime) -> bool:
    result = pick_view.result_of(garden, trade, check, now)
    return not result.passed and not result.different


def _stands(garden: Garden, trade: Trade, check: IdentityCheck | None, now: datetime) -> dict[str, Finding]:
    """What was found and stays; a print that does not count yet is open."""
    if check is None:
        return {}
    found = dict(check.findings)
    if not standing_print(check, trade, log=garden.log, now=now):
        for feature in trade.features_of(check.species):
            if feature.part == "print" and found.get(feature.key) is Finding.AS_DESCRIBED:
                found[feature.key] = Finding.NOT_SEEN
    return found


def _print_asked(garden: Garden, trade: Trade, pick: LogEntry, day: date, but: str, now: datetime) -> bool:
    patch = garden.patch(pick.patch)
    others = [check for check in garden.checks if check.key != but]
    return print_due(others, trade, patch=patch.key, species=patch.species, day=day, log=garden.log, now=now)


def _covered(garden: Garden, pick: LogEntry, check: IdentityCheck | None) -> list[LogEntry]:
    keys = set(check.picks) if check else {pick.key}
    return [e for e in garden.log if e.kind is LogKind.PICKED and e.patch == pick.patch and e.key in keys]


def _laid_by_default(pick: LogEntry, going_on: IdentityCheck | None, now: datetime) -> datetime | None:
    """When the print was laid, unless told otherwise: as noted before, or when the pick was logged.

    None for a pick of an earlier day of which no time is known; now for one of today.
    """
    if going_on is not None and going_on.print_laid_at is not None:
        return going_on.print_laid_at
    at = pick.entered_at
    if at is not None and at <= now and at.astimezone(now.tzinfo).date() >= pick.day:
        return at
    return now if pick.day >= now.date() else None


def check_page(request: Request) -> Response:
    """The features of what was sown in the bed of this pick, each as a screen."""
    return _check_page(request, context_of(request).library.state())


def _check_page(
    request: Request, state: BookState, *, status: int = 200, typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    from mulchwright.web.picks.gate import page_of, pick_of

    context = context_of(request)
    garden, trade, now = state.garden, context.trade, state.now
    today, twelve = now.date(), state.garden.units is UnitSystem.US
    pick = pick_of(garden, request.path_params["key"])
    patch = garden.patch(pick.patch)
    anew = (typed or request.query_params).get("again") == "yes"
    going_on = _to_go_on(garden, trade, pick, now, anew=anew)
    stands = _stands(garden, trade, going_on, now)
    due = _print_asked(
        garden, trade, pick, going_on.day if going_on else today, going_on.key if going_on else "", now
    )
    laid = _laid_by_default(pick, going_on, now)
    ready = print_ready_at(trade, _covered(garden, pick, going_on), laid_at=laid, now=now)
    waiting = ready is not None and ready > now
    lines = pick_view.check_lines(garden, trade, pick, now)
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
                pick_view.FINDING_WORDS[found]
                if (found := stands.get(q.feature.key, Finding.NOT_SEEN)) is not Finding.NOT_SEEN else "",
            )
            for n, q in enumerate(questions(trade, patch.species), 1)
        )  # fmt: skip
    except InputError as error:
        trouble = str(error)
    open_step = next((s.number for s in screens if not s.stands), 0)
    ready_words = time_words(ready, now, twelve_hours=twelve) if ready is not None else ""
    return page_of(
        request, "picks/check.html", state, status=status, pick=pick, patch=patch, done=done, anew=anew,
        species=species_name(patch.species, trade), when=words.day(pick.day, today),
        mass=units.show_mass(pick.mass_kg or 0.0, system), screens=() if done else screens, trouble=trouble,
        going_on=going_on, lines=lines, print_asked=due, also=[] if going_on else _also(garden, pick, today),
        panels=() if done or trouble else panels_of(trade, patch.species, system, pick.stage or ""),
        dangers=DANGER_WORDS, findings=[(f.value, w) for f, w in _ANSWERS], ask_words=ASK, poison=POISON,
        cautions=pick_view.cautions(trade, [patch], ("identify",), system),
        typed=dict(typed or {}), errors=dict(errors or {}), waiting=waiting,
        ready=ready_words, open_step=open_step, answer_words=_ANSWERS_SHORT,
        state_words=_state_words(screens, open_step, ready_words if waiting and due else ""),
        least_hours=f"{trade.keeping['print_least_hours'].value:g}",
        laid=f"{laid.astimezone(now.tzinfo):%Y-%m-%dT%H:%M}" if laid else "",
        latest=f"{now:%Y-%m-%dT%H:%M}", colors=(*print_colors(trade), ANOTHER_COLOR),
        second_look=second_look_due(
            going_on.picks if going_on else [pick.key], garden.checks, trade, patch=patch.key,
            species=patch.species, log=garden.log, built_on=patch.built_on,
        ),
    )  # fmt: skip


_ANSWERS = (
    (Finding.AS_DESCRIBED, "Looks like that"),
    (Finding.DIFFERENT, "Different, or I'm not sure"),
    (Finding.NOT_SEEN, "Not checked yet"),
)
_ANSWERS_SHORT = {
    Finding.AS_DESCRIBED.value: "as described",
    Finding.DIFFERENT.value: "different",
    Finding.NOT_SEEN.value: "not checked",
}


def _state_words(screens: Sequence[FeatureScreen], open_step: int, waiting: str) -> str:
    """Where a check is, in a sentence or two: what is left, and when the print can be read."""
    left = sum(not s.stands for s in screens)
    part = next((s.part.lower() for s in screens if s.number == open_step), "")
    start = f"{len(screens)} steps, starting with the {part}." if left == len(screens) else (
        f"{words.plural(left, 'step')} left; next, the {part}." if left else ""
    )  # fmt: skip
    return f"{start} You can read the print after {waiting}." if waiting else start


def _also(garden: Garden, pick: LogEntry, today: date) -> list[tuple[str, str]]:
    """Other late picks of the same bed that lie beside it and were not looked at."""
    covered = {key for check in garden.checks for key in check.picks}
    return [
        (e.key, f"{words.day(e.day, today)}, {units.show_mass(e.mass_kg or 0.0, garden.units.value)}")
        for e in garden.log
        if e.kind is LogKind.PICKED and e.patch == pick.patch and e.key != pick.key and e.key not in covered
        and abs((e.day - pick.day).days) <= ALSO_DAYS
    ]  # fmt: skip


@posted_form
def note_check(request: Request, typed: dict[str, str]) -> Response:
    """Write down a look, or add to one what was open in it."""
    from mulchwright.web.picks.gate import pick_of, sent_key

    context = context_of(request)
    state = context.library.state()
    garden, now = state.garden, state.now
    today = now.date()
    pick = pick_of(garden, request.path_params["key"])
    key, came = sent_key(f"{today.isoformat()}-check", typed, (check.key for check in garden.checks))
    if came or _stands_so(
        garden, context.trade, typed, now
    ):  # a double tap, or a resend: it is noted already
        return RedirectResponse(f"/picks/{pick.key}", 303)
    try:
        check = _check_of(garden, context.trade, pick, typed, now, key)
        with open_book(context.library.path) as book:
            done = book.put_check(
                check, request_id=key if typed.get("request_id") else "", expected_revision=revision_of(typed)
            )
    except BookConflict as conflict:
        return _check_page(request, state, status=409, typed=typed, errors={"form": str(conflict)})
    except InputError as error:
        named = ("by", "print_color", "print_laid_at", "second_look_by", "text")
        field = error.field if error.field in named else "form"
        if (error.field or "").startswith("f."):
            field = str(error.field)
        return _check_page(request, state, status=422, typed=typed, errors={field: str(error)})
    return RedirectResponse(f"/picks/{pick.key}?step={done.step}", 303)


def _stands_so(garden: Garden, trade: Trade, typed: Mapping[str, str], now: datetime) -> bool:
    """Whether the check the form adds to has all of what it tells already, and no feature open."""
    check = next((c for c in garden.checks if c.key == typed.get("check", "")), None)
    if check is None or any(finding is Finding.NOT_SEEN for _, finding in check.findings):
        return False
    if _mendable(garden, trade, check, now):
        return False
    fields = {k.removeprefix("f."): v for k, v in typed.items() if k.startswith("f.")}
    stands = {feature: finding.value for feature, finding in check.findings}
    return bool(fields) and all(
        stands.get(feature) == value for feature, value in fields.items() if value != Finding.NOT_SEEN.value
    )


def _check_of(
    garden: Garden, trade: Trade, pick: LogEntry, typed: Mapping[str, str], now: datetime, new_key: str
) -> IdentityCheck:
    """The check that a form tells; what was found before stays as it was."""
    patch, today = garden.patch(pick.patch), now.date()
    asked_about = typed.get("species", "")
    if asked_about != patch.species:
        raise InputError(
            f"This check was made for {species_name(asked_about, trade)[:60] or 'no species'}, but "
            f"{patch.name} was planted with {species_name(patch.species, trade)}. Nothing was saved; check "
            "again with the steps below.",
            field="form",
        )
    by = " ".join(typed.get("by", "").split())
    if not by:
        raise InputError("Enter the name of who looked.", field="by")
    going_on = _to_go_on(garden, trade, pick, now, anew=typed.get("again") == "yes")
    if typed.get("check", "") != (going_on.key if going_on else ""):
        raise InputError(
            "This check was changed in another window. Nothing was saved; here it is as it is now.",
            field="form",
        )
    stands = _stands(garden, trade, going_on, now)
    found: list[tuple[str, Finding]] = []
    for question in questions(trade, patch.species):
        key = question.feature.key
        before = stands.get(key, Finding.NOT_SEEN)
        try:
            answer = Finding(typed.get(f"f.{key}") or Finding.NOT_SEEN.value)
        except ValueError:
            raise InputError("Choose one of the three answers.", field=f"f.{key}") from None
        found.append((key, answer if before is Finding.NOT_SEEN else before))
    allowed = {key for key, _ in _also(garden, pick, today)}
    also = [key for key in dict.fromkeys(typed.get("also", "").split()) if key in allowed]
    picks = (pick.key, *also) if going_on is None else going_on.picks
    found, of_print = _print_of(garden, trade, pick, picks, typed, found, stands, going_on, now)
    if all(finding is Finding.NOT_SEEN for _, finding in found):
        raise InputError("Nothing is checked yet. Answer at least one step.", field="form")
    text = typed.get("text", "").replace("\r\n", "\n").strip()
    second = " ".join(typed.get("second_look_by", "").split())
    if going_on is not None:
        added = [
            trade.features[key].part for key, finding in found
            if finding is not Finding.NOT_SEEN and stands.get(key, Finding.NOT_SEEN) is Finding.NOT_SEEN
            and (trade.features[key].part != "print" or of_print["print_read_at"] == now)
        ]  # fmt: skip
        mended = second not in ("", going_on.second_look_by) or of_print["print_laid_at"] not in (
            None, going_on.print_laid_at
        )  # fmt: skip
        if not added and not mended:
            raise InputError(
                "Nothing new was checked. Answer a step that was open, or come back later.", field="form"
            )
        later = f"Added on {today.isoformat()} by {by}: {', '.join(added)}." if added else ""
        return replace(
            going_on, findings=tuple(found), second_look_by=second or going_on.second_look_by,
            text="\n".join(t for t in (going_on.text, later, text) if t), entered_at=now, **of_print,
        )  # fmt: skip
    key, notes = _key_of(garden, pick, new_key)
    return IdentityCheck(
        key=key, patch=patch.key, species=patch.species, day=today, findings=tuple(found),
        picks=picks, by=by, text="\n".join(t for t in (notes, text) if t), entered_at=now,
        second_look_by=second, **of_print,
    )  # fmt: skip


def _laid_at(
    pick: LogEntry, typed: Mapping[str, str], going_on: IdentityCheck | None, now: datetime
) -> datetime | None:
    text = typed.get("print_laid_at", "").strip()
    before = _laid_by_default(pick, going_on, now)
    if not text or (before and text == f"{before.astimezone(now.tzinfo):%Y-%m-%dT%H:%M}"):
        return before  # as it was shown, with its seconds
    at = read_moment(text, "print_laid_at", now)
    if at.date() < pick.day:
        raise InputError(
            f"That is before it was picked, on {words.day(pick.day, now.date())}. Correct the time at which "
            "the print was laid.",
            field="print_laid_at",
        )
    return min(at, now)


def _print_of(
    garden: Garden, trade: Trade, pick: LogEntry, picks: Sequence[str], typed: Mapping[str, str],
    found: list[tuple[str, Finding]], stands: Mapping[str, Finding], going_on: IdentityCheck | None,
    now: datetime,
) -> tuple[list[tuple[str, Finding]], dict[str, Any]]:  # fmt: skip
    """The findings with the print judged by its color, and what the check says of the print.

    `InputError` where the print was read before it can be, or without a color. A color that is not one of
    the species' makes it different, whatever was answered.
    """
    patch = garden.patch(pick.patch)
    held: dict[str, Any] = {
        "print_color": going_on.print_color if going_on else "",
        "print_laid_at": going_on.print_laid_at if going_on else None,
        "print_read_at": going_on.print_read_at if going_on else None,
    }
    keys = [key for key, _ in found if trade.features[key].part == "print"]
    if not keys or any(stands.get(key, Finding.NOT_SEEN) is not Finding.NOT_SEEN for key in keys):
        return found, held
    key = keys[0]
    answer = dict(found)[key]
    color = " ".join(typed.get("print_color", "").split())
    laid = _laid_at(pick, typed, going_on, now)
    if answer is Finding.NOT_SEEN:
        if color:
            raise InputError(
                "You chose a color for the print, but the print is at “Not checked yet”. Say whether it "
                "looks like that, or set the color back.",
                field=f"f.{key}",
            )
        before = dict(going_on.findings).get(key, Finding.NOT_SEEN) if going_on else Finding.NOT_SEEN
        if before is not Finding.NOT_SEEN:  # a print that does not count yet stays as it was told
            return [(k, before if k == key else finding) for k, finding in found], held
        return found, held | {"print_laid_at": laid}
    judged = PrintColor.OTHER if color == ANOTHER_COLOR else print_color_of(trade, patch.species, color)
    if judged is PrintColor.OTHER:
        answer = Finding.DIFFERENT
    if answer is Finding.AS_DESCRIBED:
        if judged is not PrintColor.EXPECTED:
            raise InputError(
                "Choose the color of the print from the list. Without a color, a print does not count.",
                field="print_color",
            )
        covered = [e for e in garden.log if e.kind is LogKind.PICKED and e.key in picks]
        ready = print_ready_at(trade, covered, laid_at=laid, now=now)
        if ready is not None and ready > now:
            at = time_words(ready, now, twelve_hours=garden.units is UnitSystem.US)
            raise InputError(
                f"A print takes at least {trade.keeping['print_least_hours'].value:g} hours; overnight is "
                f"usual. Come back after {at} and read its color then. Until then leave it at “Not checked "
                "yet” and save the rest.",
                field=f"f.{key}",
            )
    fields = {"print_color": color, "print_laid_at": laid, "print_read_at": now}
    return [(k, answer if k == key else finding) for k, finding in found], fields


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
