"""Pairing a phone: a short code from this machine's screen against a long random token on the phone.

The code lives in memory only: 8 characters, 10 minutes, one use, few tries per address. The token is sent
once, as a cookie no script can read, and kept here as a hash, in the user's own data folder and not in the
book: whoever is given a copy of the book is given no key to this machine.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from platformdirs import user_data_path

from mulchwright.errors import InputError

CODE_LETTERS = "ABCDEFGHJKMNPQRTUVWXY346789"
"""Without I, L, 1, O, 0, S, 5, Z and 2, which are read for each other."""
CODE_LENGTH = 8
CODE_LIFE_S = 600.0
TRIES, PAUSE_S = 5, 300.0
"""Wrong codes from one address within so many seconds; then this address waits, and no other.

27⁸ codes are 2.8 × 10¹¹. One address has 10 tries in a code's ten minutes: a chance of 3.5 × 10⁻¹¹. Somebody
who takes all 254 addresses of a home network in turn has 2,540: 9 × 10⁻⁹. A pause for all together would add
little to that, and anybody in the network could keep the owner's own phone out with five wrong codes.
"""
TRIES_OF_A_CODE = 1000
"""Wrong codes from all addresses together; then the code gives way to a new one on the computer's screen.

No code is guessed with more than 1,000 / 2.8 × 10¹¹ = 3.5 × 10⁻⁹. One address alone never comes so far within
a code's life, and a whole network of 254 only every few minutes, so that the owner has the time to type.
"""
MOST_ADDRESSES = 4096
"""Addresses whose wrong codes are remembered, the latest; it bounds the memory they take."""
MOST_PHONES = 40
TOKEN_LIFE = timedelta(days=400)
"""No browser keeps a cookie for longer (from memory: RFC 6265bis, 400 days)."""


@dataclass(frozen=True, slots=True)
class Phone:
    """A phone that was paired: a short key to revoke it by, its name, the hash of its token, and its days."""

    key: str
    name: str
    token_hash: str
    paired_at: str
    seen_at: str


@dataclass(frozen=True, slots=True)
class Code:
    """A pairing code and how many seconds it still counts."""

    text: str
    left_s: float


def spelled(code: str) -> str:
    """The code in two halves, as it is easier to type: "ABCD EFGH"."""
    return f"{code[:4]} {code[4:]}"


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class PairedPhones:
    """The paired phones of one book, in one small file that only this user can read."""

    def __init__(self, book: Path, folder: Path | None = None) -> None:
        self.book_key = hashlib.sha256(str(book.resolve()).encode()).hexdigest()[:16]
        where = folder or user_data_path("mulchwright", appauthor=False) / "phones"
        self._path = where / f"{self.book_key}.json"
        self._lock = threading.RLock()

    def read(self) -> tuple[Phone, ...]:
        """The phones in the order they were paired; a file that cannot be read counts as none."""
        try:
            data: Any = json.loads(self._path.read_text("utf-8"))
            return tuple(Phone(**row) for row in data["phones"])
        except (OSError, ValueError, TypeError, KeyError):
            return ()

    def change(self, act: Callable[[tuple[Phone, ...]], tuple[Phone, ...]]) -> None:
        """Read, change and write as one act; another reader sees the old file or the new one, whole."""
        with self._lock:
            phones = act(self.read())
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            draft = self._path.with_suffix(f".{os.getpid()}.part")
            handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump({"phones": [asdict(phone) for phone in phones]}, file, indent=1)
            os.replace(draft, self._path)


class Pairing:
    """Codes, tries and tokens of one book. Times come from outside for tests."""

    def __init__(
        self,
        cache: PairedPhones,
        *,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.cache = cache
        self.cookie = f"mulchwright_{cache.book_key[:8]}"
        """Named by book: cookies do not tell ports apart, and two books may be open on one machine."""
        self._clock, self._now = clock, now
        self._lock = threading.Lock()
        self._code, self._until = "", 0.0
        self._tries: OrderedDict[str, tuple[int, float]] = OrderedDict()
        """By address: its wrong codes, and until when they count."""
        self._wrong_in_all = 0

    # ---- codes --------------------------------------------------------------

    def new_code(self) -> Code:
        """A fresh code; one from before counts no longer, and who waits after wrong codes may try again."""
        with self._lock:
            self._tries.clear()
            self._draw()
            self._until = self._clock() + CODE_LIFE_S
            return Code(self._code, CODE_LIFE_S)

    def _draw(self) -> None:
        self._code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        self._wrong_in_all = 0

    def code(self) -> Code | None:
        """The code that counts now, if there is one."""
        with self._lock:
            left = self._until - self._clock()
            return Code(self._code, left) if self._code and left > 0 else None

    def pair(self, typed: str, name: str, *, address: str = "") -> tuple[Phone, str]:
        """Pair a phone; give it and its token. `InputError` (field "code" or "name") says why not.

        address : where the request came from. Wrong codes are counted by it, see `TRIES`, and for the code,
        see `TRIES_OF_A_CODE`.
        """
        name_words = " ".join(name.split())
        if not name_words:
            raise InputError("Give the phone a name, such as “Ada's phone”.", field="name")
        if len(name_words) > 40:
            raise InputError("Forty characters are enough for the name of a phone.", field="name")
        letters = "".join(typed.upper().split()).replace("-", "")
        with self._lock:
            now = self._clock()
            wrong, until = self._tries.get(address, (0, 0.0))
            if now >= until:
                wrong = 0
            if wrong >= TRIES:
                minutes = max(1, round((until - now) / 60))
                raise InputError(
                    f"Too many wrong codes from this phone. Wait {minutes} "
                    f"{'minute' if minutes == 1 else 'minutes'}, or have a new code made on the computer, on "
                    "the page Phones.",
                    field="code",
                )
            counts = bool(self._code) and now < self._until
            # Compared whole and in the same time whatever was typed, also where no code counts.
            same = hmac.compare_digest(letters.encode(), (self._code or "\0" * CODE_LENGTH).encode())
            if not (counts and same):
                self._count_wrong(address, wrong + 1, now, counts=counts)
                raise InputError(
                    "That code does not count. It is good for 10 minutes and for one phone. Load the page "
                    "Phones on the computer: it shows the code that counts now, or makes a new one.",
                    field="code",
                )
            self._code = ""
            self._tries.pop(address, None)
        token = secrets.token_urlsafe(32)
        stamp = self._now().isoformat(timespec="seconds")
        phone = Phone(secrets.token_hex(6), name_words, _hash(token), stamp, stamp)
        self.cache.change(lambda phones: (*phones, phone)[-MOST_PHONES:])
        return phone, token

    def _count_wrong(self, address: str, wrong: int, now: float, *, counts: bool) -> None:
        self._tries[address] = (wrong, now + PAUSE_S)
        self._tries.move_to_end(address)
        if len(self._tries) > MOST_ADDRESSES:
            self._tries.popitem(last=False)
        if counts:
            self._wrong_in_all += 1
            if self._wrong_in_all >= TRIES_OF_A_CODE:
                # The new one ends when the old one would have: guessing does not keep the door open.
                self._draw()

    # ---- tokens -------------------------------------------------------------

    def phone(self, token: str) -> Phone | None:
        """Whose token this is; None for one that is unknown, revoked or unused for 400 days."""
        if not token or len(token) > 200:
            return None
        asked, found = _hash(token), None
        for phone in self.cache.read():
            if hmac.compare_digest(asked, phone.token_hash):
                found = phone
        if found is None:
            return None
        now = self._now()
        with suppress(ValueError):
            seen = datetime.fromisoformat(found.seen_at)
            if now - seen > TOKEN_LIFE:
                return None
            if now - seen > timedelta(hours=12):  # a day's note is enough; not a write for every page
                fresh = replace(found, seen_at=now.isoformat(timespec="seconds"))
                self.cache.change(
                    lambda phones: tuple(fresh if one.key == fresh.key else one for one in phones)
                )
        return found

    def phones(self) -> tuple[Phone, ...]:
        """All paired phones."""
        return self.cache.read()

    def revoke(self, key: str) -> bool:
        """Let a phone's token count no longer; False where there is no such phone."""
        there = any(phone.key == key for phone in self.cache.read())
        self.cache.change(lambda phones: tuple(phone for phone in phones if phone.key != key))
        return there
