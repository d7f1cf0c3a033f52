"""The way to the phone's page in a terminal, with a scripted phone that comes and sends."""

from __future__ import annotations

import asyncio
import io
import re
import threading
from pathlib import Path

import cv2
import numpy as np
import pytest
from rich.console import Console

from dawnbeat.capture.phone import identity
from dawnbeat.capture.phone.identity import Address
from dawnbeat.capture.phone.source import PhoneSource
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.commands.light import code_in_letters, phone_in_terminal
from tests.capture.phone.test_link import FACTS
from tests.capture.phone.test_server import HELLO, device, status


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    listed = [Address("127.0.0.1", "wlan0", usual=True), Address("127.0.0.2", "eth0")]
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(identity, "_reachable", lambda ip: True)
    monkeypatch.setattr(identity, "_of_this_computer", lambda: listed)


def come(url: str, *messages: object) -> None:
    """Open the page at this address as a browser would, and say these things."""

    async def run() -> None:
        host, token = re.match(r"HTTPS://([^/]+)/(\w+)", url).groups()  # type: ignore[union-attr]
        async with device() as session:
            assert (await status(session, f"https://{host}/{token.lower()}"))[0] == 200  # as somebody types it
            talk = await session.ws_connect(f"https://{host}/{token}/link", headers={"Origin": f"https://{host}"})
            for message in messages:
                await talk.send_json(message)
            await asyncio.sleep(0.3)

    asyncio.run(run())


def test_the_terminal_shows_the_way_and_goes_on_when_the_phone_sends() -> None:
    screen = Console(file=io.StringIO(), width=200)
    found: list[object] = []

    def wait() -> None:
        try:
            found.append(phone_in_terminal("", screen))
        except DawnbeatError as error:
            found.append(error)

    waiting = threading.Thread(target=wait)
    waiting.start()
    try:
        for _ in range(200):
            if "Waiting for the phone" in screen.file.getvalue():  # type: ignore[attr-defined]
                break
            waiting.join(0.05)
        said = screen.file.getvalue()  # type: ignore[attr-defined]
        url = re.search(r"HTTPS://127\.0\.0\.1:\d+/[A-Z2-9]{26}", said)
        assert url is not None, said
        assert re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", said)
        assert "127.0.0.2 (eth0)" in said
        assert "firewall" in said
        assert code_in_letters(url[0]) in said
        facts = {**FACTS, "known": {"camera": "back", "lamp": "not offered"}}
        come(url[0], HELLO, facts)
        waiting.join(10.0)
    finally:
        for each in found:
            if isinstance(each, PhoneSource):
                each.close()
    assert isinstance(found[0], PhoneSource)
    assert "can't light its lamp" in screen.file.getvalue()  # type: ignore[attr-defined]


def test_the_code_in_letters_can_be_scanned() -> None:
    url = "HTTPS://192.168.1.20:8765/ABCDEFGHJKLMNPQRSTUVWXYZ23"
    lines = code_in_letters(url).split("\n")
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    dark = np.array([[halves[letter][half] for letter in line] for line in lines for half in (0, 1)], np.uint8)
    picture = np.kron(np.pad(255 * (1 - dark), 3, constant_values=255), np.ones((8, 8), np.uint8)).astype(np.uint8)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == url


def test_a_network_that_this_computer_is_not_in_is_refused() -> None:
    with pytest.raises(DawnbeatError, match="eth0"):
        phone_in_terminal("10.1.1.1", Console(file=io.StringIO()))
