"""The addresses at which a phone in the same network can reach this computer."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from dawnbeat.capture.phone.needs import needed
from dawnbeat.shared.errors import DawnbeatError

NO_NETWORK = "this computer has no address in a network: join the Wi-Fi that the phone is in, then press again"
# A documentation address (RFC 5737): asking the system for its way there sends nothing.
_SOMEWHERE = ("192.0.2.1", 9)


@dataclass(frozen=True)
class Address:
    """One IPv4 address of this computer. interface: the system's name of the card. usual: the way out leads here."""

    ip: str
    interface: str
    usual: bool = False

    def __str__(self) -> str:
        return f"{self.ip} ({self.interface})"


def addresses(listed: Callable[[], Iterable[Address]] | None = None) -> list[Address]:
    """The addresses to choose from, the usual one first; loopback and addresses that no router gave are left out.

    Raises DawnbeatError where there is none.
    """
    found = [each for each in (listed or _of_this_computer)() if _reachable(each.ip)]
    if not found:
        raise DawnbeatError(NO_NETWORK)
    return sorted(found, key=lambda each: not each.usual)


def chosen_address(words: str, found: list[Address]) -> Address:
    """The address that `words` name, by itself or by its interface; the usual one where they are empty.

    Raises DawnbeatError where this computer has no such address.
    """
    if not words:
        return found[0]
    for each in found:
        if words in (each.ip, each.interface):
            return each
    raise DawnbeatError(f"this computer has no address {words!r}: choose one of {', '.join(map(str, found))}")


def _reachable(ip: str) -> bool:
    address = ipaddress.IPv4Address(ip)
    return not (address.is_loopback or address.is_link_local or address.is_unspecified or address.is_multicast)


def _of_this_computer() -> Iterable[Address]:
    ifaddr = needed("ifaddr")
    usual = _way_out()
    for adapter in ifaddr.get_adapters():
        for each in adapter.ips:
            if isinstance(each.ip, str):  # an IPv6 address comes as a tuple
                yield Address(each.ip, str(adapter.nice_name), each.ip == usual)


def _way_out() -> str | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_SOMEWHERE)
            return str(asking.getsockname()[0])
        except OSError:
            return None
