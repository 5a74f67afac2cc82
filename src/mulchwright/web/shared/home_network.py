"""The home network: which of this machine's addresses belong to it, and what they may never be.

Only addresses that no router passes on to the open internet are taken: the three private blocks of RFC 1918
and link-local addresses of RFC 3927 (both from memory).
"""

from __future__ import annotations

import ipaddress
import socket
from contextlib import suppress

from mulchwright.errors import InputError

_HOME = tuple(
    ipaddress.ip_network(block)
    for block in ("192.168.0.0/16", "10.0.0.0/8", "172.16.0.0/12", "169.254.0.0/16")
)
# Asking the system which of its addresses it would send from; nothing is sent to these. The first one
# (RFC 5737, kept free for documents) goes the way of everything that has no nearer way.
_PROBES = ("192.0.2.1", "192.168.255.254", "10.255.255.254", "172.31.255.254")


def is_home_address(address: str) -> bool:
    """Whether this is an IPv4 address of a home network, never one of the open internet."""
    try:
        number = ipaddress.IPv4Address(address)
    except ValueError:
        return False
    return any(number in block for block in _HOME)


def private_addresses() -> tuple[str, ...]:
    """This machine's addresses in home networks, the likeliest first."""
    found: list[str] = []
    for probe in _PROBES:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect((probe, 9))
            found.append(asking.getsockname()[0])
    with suppress(OSError):
        found += socket.gethostbyname_ex(socket.gethostname())[2]
    return tuple(dict.fromkeys(address for address in found if is_home_address(address)))


def home_address(chosen: str = "") -> str:
    """The address to answer at: the one chosen, if it is one of a home network, else the likeliest.

    Raises `InputError` for an address that is not of a home network, and where this machine has none.
    """
    if chosen:
        if not is_home_address(chosen):
            raise InputError(
                f"{chosen} is no address of a home network, so the garden book is not offered there: it "
                "could be reached from the open internet. Home addresses begin with 192.168., 10., 172.16. "
                "to 172.31. or 169.254.",
                field="home_address",
            )
        return chosen
    found = private_addresses()
    if not found:
        raise InputError(
            "This machine has no address of a home network (192.168.…, 10.…, 172.16.… to 172.31.…), so no "
            "phone can reach it safely. Join the home's wireless or wired network, or open the book without "
            "--home-network.",
            field="home_network",
        )
    return found[0]
