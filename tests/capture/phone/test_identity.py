from __future__ import annotations

import os
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from dawnbeat.capture.phone.identity import FILE, Address, addresses, certificate_for, chosen_address
from dawnbeat.shared.errors import DawnbeatError

NOW = datetime.now(UTC)


def read(folder: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate((folder / FILE).read_bytes())


def test_the_certificate_is_made_once_and_kept_for_the_user_alone(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    first = certificate_for("192.168.1.20", folder)
    if os.name == "posix":
        assert stat.S_IMODE((folder / FILE).stat().st_mode) == 0o600
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        (folder / FILE).chmod(0o644)
    assert certificate_for("192.168.1.20", folder).fingerprint == first.fingerprint
    if os.name == "posix":
        assert stat.S_IMODE((folder / FILE).stat().st_mode) == 0o600
    assert first.context().minimum_version >= ssl.TLSVersion.TLSv1_2


def test_the_fingerprint_is_the_one_that_browsers_show(tmp_path: Path) -> None:
    made = certificate_for("192.168.1.20", tmp_path)
    digest = read(tmp_path).fingerprint(hashes.SHA256())
    assert made.fingerprint.replace(":", "").lower() == digest.hex()
    assert len(made.fingerprint.split(":")) == 32


def test_phones_take_its_form_and_it_names_nobody(tmp_path: Path) -> None:
    # Phones ask for the server's purpose, its address among the names, and at most 825 days.
    certificate_for("192.168.1.20", tmp_path)
    found = read(tmp_path)
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(each) for each in names.get_values_for_type(x509.IPAddress)] == ["192.168.1.20"]
    purpose = found.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert x509.ExtendedKeyUsageOID.SERVER_AUTH in purpose
    assert found.not_valid_after_utc - found.not_valid_before_utc <= timedelta(days=825)
    assert found.subject.rfc4514_string() == "CN=Dawnbeat on this computer"


def test_a_new_address_joins_the_old_ones(tmp_path: Path) -> None:
    first = certificate_for("192.168.1.20", tmp_path)
    second = certificate_for("10.0.0.5", tmp_path)
    assert second.fingerprint != first.fingerprint
    assert certificate_for("192.168.1.20", tmp_path).fingerprint == second.fingerprint


@pytest.mark.parametrize("days", [-10, 680, 5000])
def test_one_that_is_not_valid_today_is_made_anew(tmp_path: Path, days: int) -> None:
    first = certificate_for("192.168.1.20", tmp_path)
    assert certificate_for("192.168.1.20", tmp_path, NOW + timedelta(days=days)).fingerprint != first.fingerprint


@pytest.mark.parametrize("damage", [b"", b"garbage", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"])
def test_a_damaged_file_is_replaced(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / FILE).write_bytes(damage)
    certificate_for("192.168.1.20", tmp_path).context()


def test_a_folder_that_can_not_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(DawnbeatError, match="certificate"):
        certificate_for("192.168.1.20", tmp_path / "file")


def test_addresses_are_those_that_a_phone_can_reach_the_usual_one_first() -> None:
    listed = [
        Address("127.0.0.1", "lo"),
        Address("10.8.0.2", "tun0"),
        Address("169.254.3.4", "eth1"),
        Address("192.168.1.20", "wlan0", usual=True),
    ]
    found = addresses(lambda: listed)
    assert [each.ip for each in found] == ["192.168.1.20", "10.8.0.2"]
    assert chosen_address("", found).ip == "192.168.1.20"
    assert chosen_address("tun0", found).ip == chosen_address("10.8.0.2", found).ip == "10.8.0.2"
    with pytest.raises(DawnbeatError, match=r"no address '10\.9\.9\.9'"):
        chosen_address("10.9.9.9", found)


def test_a_computer_without_a_network_says_so() -> None:
    with pytest.raises(DawnbeatError, match="no address in a network"):
        addresses(lambda: [Address("127.0.0.1", "lo")])


def test_this_computers_own_addresses_can_be_listed() -> None:
    try:
        found = addresses()
    except DawnbeatError:
        pytest.skip("this computer is in no network")
    assert all(each.ip.count(".") == 3 and each.interface for each in found)
