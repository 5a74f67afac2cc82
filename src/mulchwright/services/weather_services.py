"""Asking public weather services as their terms want it: seldom, by name, and only for what is new.

Each request of a service is held apart from its last one by an hour and by whatever the answer said it is
good for (`Expires`, `Cache-Control: max-age`). What was unchanged is asked for with `If-Modified-Since` and
`If-None-Match` and answered by 304. Failures of the moment are tried again after a pause, refusals are left
alone for as long as the service asks, or a day or a week by their kind. All of this is remembered in the
book, so that it holds after a restart too.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any

from mulchwright.errors import InputError, MulchwrightError, SourceError
from mulchwright.services.clock import zone_named
from mulchwright.services.fetch import (
    LONGEST_WAIT,
    USER_AGENT,
    Limits,
    NotReached,
    TooSoon,
    exchange,
    not_before,
)
from mulchwright.units import minute_words
from mulchwright.weather.public.protocol import Facts, PublicService, Refused, Spot, spot_of

if TYPE_CHECKING:
    from mulchwright.garden import Place
    from mulchwright.services.fetch import Answer
    from mulchwright.weather.feed import Fetched

BASES: dict[str, str] = {}
"""Another base address of a service than https and its host; tests put servers of this machine here."""
ANSWERS = "weather_answers"
"""The book's setting that remembers when each request may be sent again, and what is worth keeping."""
AT_MOST_EVERY = timedelta(hours=1)
LONGEST_VALID = timedelta(days=1)
"""An answer that claims to hold for longer is asked for again after a day."""
KEPT_FOR = timedelta(days=30)
PAUSES_S = (5.0, 15.0)
"""Pauses before a request is tried again where the service or the line failed for the moment."""
WAIT_AFTER = {400: timedelta(days=1), 403: timedelta(days=1), 404: timedelta(days=7), 422: timedelta(days=7)}
LIMITS = Limits(most_bytes=12_000_000)
_OF_THE_MOMENT = frozenset({500, 502, 504})
_CONTACT = re.compile(r"[A-Za-z0-9@._:/+~%-]{4,100}")
_MOST_REMEMBERED = 60


def checked_contact(text: str) -> str:
    """A contact as it is sent; `InputError` where it is neither an e-mail address nor a web address."""
    contact = text.strip()
    if contact and not (_CONTACT.fullmatch(contact) and "." in contact):
        raise InputError(
            "Enter an e-mail address or a web address, without blanks, such as garden.example/contact.",
            field="contact",
        )
    return contact


def user_agent(contact: str) -> str:
    """What the program calls itself: name, release and the contact that the grower gave, if any."""
    return f"{USER_AGENT} {contact}".strip()


def base_of(facts: Facts) -> str:
    """The address a service's paths are added to."""
    return BASES.get(facts.key, f"https://{facts.host}")


def spot_in(place: Place, decimals: int) -> Spot:
    """The garden as it is told to a service, and its own zone for the days."""
    return spot_of(place, zone_named(place.timezone), decimals=decimals)


@dataclass(slots=True)
class Memory:
    """When each request was sent and may be sent again, and texts worth keeping, as one text in the book."""

    requests: dict[str, dict[str, Any]] = field(default_factory=dict)
    texts: dict[str, tuple[str, str]] = field(default_factory=dict)

    @classmethod
    def read(cls, text: str | None, now: datetime) -> Memory:
        """The memory in a book's setting; empty where it is none that this program wrote.

        Other hands may have written it. What is sent again as a header field must be plain, and no wait is
        longer than any that is given here.
        """
        try:
            data = json.loads(text or "{}")
            requests = {
                str(step): {
                    str(name): str(value)
                    for name, value in fields.items()
                    if str(value).isascii() and str(value).isprintable()
                }
                for step, fields in data.get("requests", {}).items()
            }
            texts = {str(name): (str(on), str(kept)) for name, (on, kept) in data.get("texts", {}).items()}
        except (ValueError, TypeError, AttributeError, RecursionError):
            return cls()
        memory = cls(requests, texts)
        for step in requests:
            until = memory.time_of(step, "not_before")
            if until is not None and until > now + LONGEST_WAIT:
                del requests[step]["not_before"]
        return memory

    def write(self) -> str:
        """The text that `read` takes; the latest entries only."""
        return json.dumps(
            {
                "requests": dict(list(self.requests.items())[-_MOST_REMEMBERED:]),
                "texts": dict(list(self.texts.items())[-_MOST_REMEMBERED:]),
            }
        )

    def time_of(self, step: str, name: str) -> datetime | None:
        """A time that is remembered of a request, or None."""
        try:
            moment = datetime.fromisoformat(self.requests.get(step, {}).get(name, ""))
        except ValueError:
            return None
        return moment if moment.tzinfo is not None else None


@dataclass(slots=True)
class Asker:
    """Asks one service for one fetch; an `Ask` of `weather.public`.

    disclosed : what the service learns of the garden; another place or contact is another request.
    again : whether what the service gave last is still in the book, so that "unchanged" is a full answer.
    pause : waits so many seconds before another try; None tries once, for whoever waits for a page.
    skipped : why requests were not sent or brought nothing, in sentences.
    sent : how many requests were sent.
    """

    facts: Facts
    memory: Memory
    now: datetime
    contact: str = ""
    disclosed: str = ""
    again: bool = True
    limits: Limits = LIMITS
    pause: Callable[[float], None] | None = time.sleep
    skipped: list[str] = field(default_factory=list)
    sent: int = 0

    def recall(self, name: str) -> str | None:
        """What an earlier answer told, for `KEPT_FOR`."""
        on, text = self.memory.texts.get(f"{self.facts.key} {name}", ("", ""))
        try:
            fresh = self.now - datetime.fromisoformat(on) < KEPT_FOR
        except (ValueError, TypeError):
            return None
        return text if fresh else None

    def keep(self, name: str, text: str | None) -> None:
        """Keep a text, or forget it."""
        self.memory.texts.pop(f"{self.facts.key} {name}", None)
        if text is not None:
            self.memory.texts[f"{self.facts.key} {name}"] = (self.now.isoformat(), text)

    def __call__(
        self, step: str, address: str, *, said: Callable[[bytes], str], accept: str = "application/json"
    ) -> bytes | None:
        """One request and its answer's bytes; None, with a sentence in `skipped`, where nothing new comes."""
        key = f"{self.facts.key} {step} {self.disclosed}"
        known = self.memory.requests.get(key, {})
        if (until := self._blocked_until(key)) is not None:
            self.skipped.append(
                f"{self.facts.name} was not asked: it may be asked again from {minute_words(until)} UTC."
            )
            return None
        same = known.get("address") == address and self.again
        headers = {"User-Agent": user_agent(self.contact), "Accept": accept, "Accept-Encoding": "gzip"}
        if same and known.get("last_modified"):
            headers["If-Modified-Since"] = known["last_modified"]
        if same and known.get("etag"):
            headers["If-None-Match"] = known["etag"]
        # Written down before it is sent: whatever happens now, the hour counts from here.
        noted = {"address": address, "asked_at": self.now.isoformat()}
        self.memory.requests.pop(key, None)
        self.memory.requests[key] = noted
        self.sent += 1
        answer = self._answer(address, headers)
        status = answer.status
        if status == 304 and ("If-Modified-Since" in headers or "If-None-Match" in headers):
            noted.update({name: known[name] for name in ("last_modified", "etag") if name in known})
            noted["not_before"] = self._valid_until(answer.headers).isoformat()
            self.skipped.append(f"{self.facts.name} has nothing newer.")
            return None
        if status in (200, 203):
            for name, header in (("last_modified", "last-modified"), ("etag", "etag")):
                if 0 < len(answer.headers.get(header, "")) <= 200:
                    noted[name] = answer.headers[header]
            noted["not_before"] = self._valid_until(answer.headers).isoformat()
            if status == 203:
                self.skipped.append(
                    f"{self.facts.name} says that this way of asking will end; look for a newer release."
                )
            return answer.body
        raise self._refusal(answer, noted, said(answer.body) if answer.body else "")

    def _blocked_until(self, key: str) -> datetime | None:
        asked, stop = self.memory.time_of(key, "asked_at"), self.memory.time_of(key, "not_before")
        everywhere = self.memory.time_of(self.facts.key, "not_before")
        times = [one for one in (stop, everywhere) if one is not None]
        # A clock that was put back must not silence a service until it has caught up.
        if asked is not None and asked <= self.now:
            times.append(asked + AT_MOST_EVERY)
        latest = max(times, default=None)
        return latest if latest is not None and latest > self.now else None

    def _answer(self, address: str, headers: Mapping[str, str]) -> Answer:
        """The answer, after one or two more tries where the failure is one of the moment."""
        for pause_s in (*PAUSES_S, None):
            last = pause_s is None or self.pause is None
            try:
                answer = exchange(address, self.limits, headers=headers)
            except NotReached:
                if last:
                    raise
            else:
                if last or answer.status not in _OF_THE_MOMENT:
                    return answer
            if pause_s is not None and self.pause is not None:
                self.pause(pause_s)
        raise AssertionError("the last try either answers or raises")

    def _valid_until(self, headers: Mapping[str, str]) -> datetime:
        """When the same may be asked for again: the later of what the answer says, within a day."""
        times = [self.now + AT_MOST_EVERY]
        try:
            expires = parsedate_to_datetime(headers.get("expires", ""))
            times.append(expires if expires.tzinfo else expires.replace(tzinfo=UTC))
        except (ValueError, TypeError):
            pass
        if found := re.search(r"(?<![\w-])max-age\s*=\s*\"?(\d{1,9})", headers.get("cache-control", "")):
            times.append(self.now + timedelta(seconds=int(found[1])))
        return min(max(times), self.now + LONGEST_VALID)

    def _refusal(self, answer: Answer, noted: dict[str, Any], said: str) -> SourceError:
        """What a refusal means, in words; how long to wait is noted."""
        status, name = answer.status, self.facts.name
        words = f' Its words: "{said}"' if said else ""
        if status in (429, 503):
            until = not_before(answer.headers.get("retry-after"), self.now)
            # Whoever asks to be left alone means the program, not this one place.
            self.memory.requests[self.facts.key] = {"not_before": until.isoformat()}
            why = "asks to be left alone" if status == 429 else "is out of order and asks to be left alone"
            return TooSoon(
                f"{name} {why} until {minute_words(until)} UTC; it will not be asked before.{words}",
                until,
            )
        if wait := WAIT_AFTER.get(status):
            noted["not_before"] = (self.now + wait).isoformat()
        if status == 404:
            where = " It covers the United States only." if self.facts.key == "nws" else ""
            return Refused(
                f"{name} has nothing for this place (404).{where} If the garden lies at a coast, let the "
                f"coordinates be rounded less; else choose another service.{words}",
                status, said,
            )  # fmt: skip
        if status == 403:
            return Refused(
                f"{name} does not accept who asks (403). It wants to know who that is: give a contact."
                f"{words}",
                status, said,
            )  # fmt: skip
        if status == 422:
            return Refused(
                f"{name} does not cover this place (422); choose another service.{words}", status, said
            )
        if status == 400:
            return Refused(f"{name} does not understand the request (400).{words}", status, said)
        return Refused(
            f"{name} answered with status {status} and no data. Try again later.{words}", status, said
        )


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one service brought: a record, a forecast, or words about why not."""

    facts: Facts
    got: Fetched | None
    words: str
    well: bool
    sent: bool


def ask_service(service: PublicService, asker: Asker, spot: Spot, first: date, today: date) -> Outcome:
    """One service asked once. Never raises for what the other side does wrong: that is told in words."""
    facts = service.facts
    try:
        got = service.fetch(asker, base_of(facts), spot, first, today, asker.now)
    except MulchwrightError as error:
        return Outcome(facts, None, str(error), False, asker.sent > 0)
    return Outcome(facts, got, " ".join((*asker.skipped, *got.notes)), True, asker.sent > 0)
