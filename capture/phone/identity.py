"""Who this computer is to the phone: its addresses in the network, and the certificate that it shows there."""

from __future__ import annotations

import importlib
import ipaddress
import socket
import ssl
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import FILE_MODE, private_folder, write_private

if TYPE_CHECKING:
    from cryptography.x509 import Certificate as Signed

NO_NETWORK = "this computer has no address in a network: join the Wi-Fi that the phone is in, then press again"
# A documentation address (RFC 5737): asking the system for its way there sends nothing.
_SOMEWHERE = ("192.0.2.1", 9)
FILE = "phone-certificate.pem"
# Phones refuse server certificates that are valid for longer than 825 days.
_VALID = timedelta(days=700)
_RENEW_BEFORE = timedelta(days=30)
_CLOCKS_DIFFER = timedelta(days=2)


def needed(name: str) -> Any:
    """Import a library by name; raises DawnbeatError, with what to do, where it is missing or broken."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise DawnbeatError(
            f"a phone as the camera needs {name.split('.')[0]}, which can't be loaded: install Dawnbeat again"
        ) from error


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


@dataclass(frozen=True)
class Certificate:
    """A key and its certificate in one PEM file. fingerprint: SHA-256 of the certificate, as browsers write it."""

    path: Path
    fingerprint: str

    def context(self) -> ssl.SSLContext:
        """What a server needs to speak TLS 1.2 or newer with it."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.path)
        return context


def certificate_for(ip: str, folder: Path, now: datetime | None = None) -> Certificate:
    """This computer's certificate from `folder`; made where there is none that serves this address for a month.

    The addresses that it was made for before stay in it. The folder is created for the user alone. Raises
    DawnbeatError where it can't be written.
    """
    x509 = needed("cryptography.x509")
    now = now or datetime.now(UTC)
    path = folder / FILE
    old = _load(path, x509)
    ips = _ips(old, x509)
    good = old is not None and old.not_valid_before_utc <= now < old.not_valid_after_utc - _RENEW_BEFORE
    if old is None or not good or ip not in ips:
        before = [each for each in ips if each != ip]
        old = _make([*before[-7:], ip], path, now, x509)
    with plain_errors("save the certificate for the phone", path):
        path.chmod(FILE_MODE)
    return Certificate(path, _fingerprint(old))


def _load(path: Path, x509: Any) -> Signed | None:
    """The certificate on disk, or None where there is none that can be used with its key."""
    serialization = needed("cryptography.hazmat.primitives.serialization")
    try:
        data = path.read_bytes()
        key = serialization.load_pem_private_key(data, None)
        found: Signed = x509.load_pem_x509_certificate(data)
        return found if found.public_key() == key.public_key() else None
    except (OSError, ValueError, TypeError):
        return None


def _ips(certificate: Signed | None, x509: Any) -> list[str]:
    if certificate is None:
        return []
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    return [str(each) for each in names.get_values_for_type(x509.IPAddress)]


def _make(ips: list[str], path: Path, now: datetime, x509: Any) -> Signed:
    ec = needed("cryptography.hazmat.primitives.asymmetric.ec")
    hashes = needed("cryptography.hazmat.primitives.hashes")
    serialization = needed("cryptography.hazmat.primitives.serialization")
    key = ec.generate_private_key(ec.SECP256R1())
    # No name of the computer or its user: whoever asks on the network sees this.
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Dawnbeat on this computer")])
    made: Signed = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _CLOCKS_DIFFER)
        .not_valid_after(now - _CLOCKS_DIFFER + _VALID)
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(each)) for each in ips]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    ) + made.public_bytes(serialization.Encoding.PEM)
    with plain_errors("save the certificate for the phone", path):
        private_folder(path.parent)
        write_private(path, pem)
    return made


def _fingerprint(certificate: Signed) -> str:
    hashes = needed("cryptography.hazmat.primitives.hashes")
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()
