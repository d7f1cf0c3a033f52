from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from dawnbeat.capture.phone.identity import certificate_for
from dawnbeat.capture.phone.server import PhoneServer

Serve = Callable[..., PhoneServer]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    """Opens servers on the loopback address, on any free port, and stops them at the end."""
    opened: list[PhoneServer] = []

    def open_one(ip: str = "127.0.0.1", port: int = 0, **more: float) -> PhoneServer:
        certificate = certificate_for(ip, tmp_path / "config")
        opened.append(PhoneServer(ip, certificate, tmp_path / "clips", port, **more))
        return opened[-1]

    yield open_one
    for each in opened:
        each.stop()
