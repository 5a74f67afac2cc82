"""Labels for beds and jars: name, kind, day, key, and a QR code that opens the bed or jar on the phone.

A code is read by the phone, not by the machine that runs the program. An address that means "this
machine" is therefore dead on a phone and is refused; without an address the code holds a short id.
"""

from __future__ import annotations

import io
import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlsplit

import segno

from mulchwright.errors import InputError
from mulchwright.garden import Jar, Patch
from mulchwright.sheets.portrait import species_name
from mulchwright.sheets.press import Print, on_paper, paper_name
from mulchwright.trade import Trade
from mulchwright.units import day_words

__all__ = ["Label", "code_target", "jar_label", "label_of", "label_png", "labels_pdf"]

QUIET_ZONE = 4
"""Modules left white around a code: ISO/IEC 18004 asks for 4 (from memory)."""
LONGEST_TARGET = 200
"""A longer address makes modules under half a millimeter on the label."""


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says; `target` is what its code holds, `lines` what stands below the day."""

    key: str
    name: str
    species: str
    built: date | None
    target: str
    lines: tuple[str, ...] = ()


def code_target(key: str, address: str | None = None, *, what: str = "patch") -> str:
    """What a code holds: the address given, or the short id `mulchwright:patch/<key>`, with jars `jar/<key>`.

    `address` is where the patch opens in the garden's own network, such as
    http://192.168.1.20:8000/beds/quince-walk.

    Raises
    ------
    InputError
        The address is no web address, is too long, or leads a phone to itself (127.0.0.1, localhost).
    """
    if address is None:
        return f"mulchwright:{what}/{key}"
    try:
        parts = urlsplit(address)
        host, _ = parts.hostname, parts.port
    except ValueError:
        host = None
    if host is None or parts.scheme not in ("http", "https") or any(sign <= " " for sign in address):
        raise InputError(
            f"{address!r} is not a web address. Enter one such as http://192.168.1.20:8000/beds/{key}.",
            field="address",
        )
    if _leads_home(host):
        raise InputError(
            f"A label with {host} would lead a phone to itself. Enter this computer's address in your home "
            "network, such as http://192.168.1.20:8000, or leave it out: the code then holds the bed's "
            "short ID.",
            field="address",
        )
    if len(address) > LONGEST_TARGET:
        raise InputError(
            f"The address has {len(address)} characters; more than {LONGEST_TARGET} make a code too fine "
            "to read outdoors.",
            field="address",
        )
    return address


def _leads_home(host: str) -> bool:
    """Whether a host means the machine that asks: loopback, unspecified, and their spellings."""
    name = host.rstrip(".").lower()
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        number = ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        # Short spellings that browsers take for 127.0.0.1 or 0.0.0.0: 127.1, 0x7f000001, 2130706433, 0.
        return name.startswith(("127.", "0x7f", "0177")) or name in ("0", "0.0", "2130706433")
    mapped = getattr(number, "ipv4_mapped", None) or number
    return bool(mapped.is_loopback or mapped.is_unspecified)


def label_of(patch: Patch, trade: Trade, *, address: str | None = None) -> Label:
    """The label of a patch; see `code_target` for the address and its refusals."""
    return Label(
        patch.key, patch.name, species_name(patch.species, trade), patch.built_on,
        code_target(patch.key, address),
    )  # fmt: skip


def jar_label(
    jar: Jar, trade: Trade, *, kind: str, origin: Sequence[str], address: str | None = None
) -> Label:
    """The label of a jar or pack: `kind` is a word such as "dried", `origin` a line for each bed and day.

    See `code_target` for the address and its refusals.
    """
    return Label(
        jar.key, jar.name, f"{species_name(jar.species, trade)}, {kind}", None,
        code_target(jar.key, address, what="jar"),
        (f"Made {day_words(jar.made_on)}", f"Best by {day_words(jar.best_by)}", *origin),
    )  # fmt: skip


def labels_pdf(
    labels: Sequence[Label], *, day: date, paper: str = "letter", title: str = "Bed labels"
) -> bytes:
    """Ten labels a page with lines to cut along, as a tagged PDF; `day` is the day the file bears.

    Raises `InputError` for a paper that is not known or where there is no label.
    """
    if not labels:
        raise InputError("There is no bed to make a label for. Choose at least one.", field="patches")
    return on_paper(_job(labels, {"paper": paper_name(paper), "single": False, "title": title}, day))


def label_png(label: Label, *, day: date, dots_per_inch: int = 300) -> bytes:
    """One label as a PNG, 92 × 50 mm.

    Raises `InputError` for fewer than 100 or more than 1,200 dots per inch.
    """
    if not 100 <= dots_per_inch <= 1200:
        raise InputError(
            f"{dots_per_inch} dots per inch is out of range; choose 100 to 1,200.", field="dots_per_inch"
        )
    return on_paper(_job([label], {"paper": "", "single": True}, day), png_dots_per_inch=dots_per_inch)


def _job(labels: Sequence[Label], look: dict[str, Any], day: date) -> Print:
    data = (
        {"title": "Label"}
        | look
        | {
            "labels": [
                {
                    "name": label.name,
                    "species": label.species,
                    "built": day_words(label.built) if label.built else "",
                    "key": label.key,
                    "lines": list(label.lines),
                    "code": f"code-{index}.svg",
                    "code_words": f"QR code with {label.target}",
                }
                for index, label in enumerate(labels)
            ],
        }
    )
    codes = {f"code-{index}.svg": _code(label.target) for index, label in enumerate(labels)}
    return Print("labels.typ", data, codes, day)


def _code(target: str) -> str:
    """A QR code of level M (a seventh of it may be soiled) as SVG, black on white, quiet zone included."""
    svg = io.BytesIO()
    segno.make(target, error="m", micro=False, boost_error=False).save(
        svg, kind="svg", border=QUIET_ZONE, light="#fff", xmldecl=True
    )
    return svg.getvalue().decode()
