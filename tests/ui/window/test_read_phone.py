"""The page Read with a phone or a file as the source."""

from __future__ import annotations

import shutil
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QDateTime, QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot

from dawnbeat.capture.phone import identity
from dawnbeat.capture.phone.identity import Address
from dawnbeat.capture.phone.link import News
from dawnbeat.morning.reading_text import phone_line
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.page import ReadPage
from dawnbeat.ui.window.read.start import TakenDialog, dropped_path, read_file
from tests.ui.window.read_fakes import FakeReading, moment

SAMPLE = Path(__file__).parents[3] / "recordings" / "calm-morning"


@pytest.fixture
def networks(monkeypatch: pytest.MonkeyPatch) -> list[Address]:
    """The networks of this computer; only its own loopback address, which no phone reaches, is opened in tests."""
    listed = [Address("127.0.0.1", "wlan0", usual=True), Address("127.0.0.2", "eth0")]
    monkeypatch.setattr(identity, "_reachable", lambda ip: True)
    monkeypatch.setattr(identity, "_of_this_computer", lambda: listed)
    return listed


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[ReadPage]:
    made = ReadPage(context)
    qtbot.addWidget(made)
    made.resize(1150, 760)
    made.show()
    made.shown()
    yield made
    made.closing()


def listens(ip: str, port: int) -> bool:
    with closing(socket.socket()) as asking:
        asking.settimeout(1.0)
        return asking.connect_ex((ip, port)) == 0


def opened(qtbot: QtBot, page: ReadPage) -> tuple[str, int]:
    page.start.use_phone.click()
    qtbot.waitUntil(lambda: page._server is not None)
    assert page._server is not None
    return page._server.ip, page._server.port


def test_the_code_on_the_screen_is_the_address_in_letters(
    qtbot: QtBot, page: ReadPage, networks: list[Address]
) -> None:
    ip, port = opened(qtbot, page)
    assert page._server is not None
    view = page.phone
    assert page.stack.currentWidget() is view
    assert view.address.text() == page._server.url
    assert view.fingerprint.text().replace("\n", ":") == page._server.fingerprint
    assert view.state.text() == "Waiting for the phone."
    assert str(port) in view.firewall.text()
    image = view.code.grab().toImage()
    grey = np.array(
        [[image.pixelColor(x, y).lightness() for x in range(image.width())] for y in range(image.height())], np.uint8
    )
    read, _, _ = cv2.QRCodeDetector().detectAndDecode(np.kron(grey, np.ones((2, 2), np.uint8)))
    assert read == page._server.url
    assert listens(ip, port)


def test_cancel_closes_the_address_and_says_nothing_of_a_fault(
    qtbot: QtBot, page: ReadPage, networks: list[Address]
) -> None:
    ip, port = opened(qtbot, page)
    page.phone.main.click()
    qtbot.waitUntil(lambda: page.stack.currentWidget() is page.start)
    assert page.start.trouble.text() == ""
    assert not listens(ip, port)


def test_another_network_is_opened_in_place_of_the_first(qtbot: QtBot, page: ReadPage, networks: list[Address]) -> None:
    first, port = opened(qtbot, page)
    assert [page.phone.network.itemData(each) for each in range(2)] == ["127.0.0.1", "127.0.0.2"]
    page.phone.network.setCurrentIndex(1)
    page.phone.network.activated.emit(1)
    qtbot.waitUntil(lambda: page._server is not None and page._server.ip == "127.0.0.2")
    assert page._server is not None
    assert not listens(first, port)
    assert "127.0.0.2" in page.phone.address.text()


def test_leaving_the_page_closes_the_address(qtbot: QtBot, page: ReadPage, networks: list[Address]) -> None:
    ip, port = opened(qtbot, page)
    page.hidden()
    qtbot.waitUntil(lambda: page.capture is None)
    assert not listens(ip, port)


def test_a_computer_without_a_network_says_so(qtbot: QtBot, page: ReadPage, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(identity, "_of_this_computer", list)
    page.start.use_phone.click()
    qtbot.waitUntil(lambda: "no address in a network" in page.start.trouble.text())
    assert page.stack.currentWidget() is page.start


@pytest.mark.parametrize("name", ["cryptography.x509", "aiohttp.web", "segno"])
def test_a_missing_library_costs_one_line(
    qtbot: QtBot, page: ReadPage, networks: list[Address], monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setitem(sys.modules, name, None)
    page.start.use_phone.click()
    qtbot.waitUntil(lambda: name.split(".")[0] in page.start.trouble.text())
    assert "install Dawnbeat again" in page.start.trouble.text()


def test_why_no_frames_come_is_said_while_a_reading_waits(
    qtbot: QtBot, context: AppContext, networks: list[Address]
) -> None:
    page = ReadPage(context, make_reading=FakeReading)  # type: ignore[arg-type]
    qtbot.addWidget(page)
    page.show()
    opened(qtbot, page)
    FakeReading.last.show(moment("reading"))
    page._look()
    assert page.stack.currentWidget() is page.live
    page._say_of_phone(News("camera", unheard_s=12.0))
    assert "12 s" in page.live.words.text()
    page._say_of_phone(News("camera", hidden=True))
    assert "background" in page.live.words.text()
    assert page._server is not None
    page._server.stop()


@pytest.mark.parametrize(
    ("news", "words"),
    [
        (News("waiting"), "Waiting"),
        (News("opened"), "Open the camera"),
        (News("clip", share=0.42), "42 %"),
        (News("camera", strangers=1), "Another device"),
        (News("opened", trouble="another program on the phone has the camera: close it"), "Another program"),
        (News("over"), "over"),
    ],
)
def test_each_state_of_the_phone_has_its_line(news: News, words: str) -> None:
    line = phone_line(news)
    assert words in line
    assert line.endswith(".")


def drop(page: ReadPage, path: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path))])
    copy, left = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    page.start.dropEvent(QDropEvent(QPointF(5, 5), copy, data, left, Qt.KeyboardModifier.NoModifier))


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A recording of the user's own: the sample's light, taken last Sunday."""
    import json

    folder = tmp_path / "own"
    shutil.copytree(SAMPLE, folder)
    about = json.loads((folder / "about.json").read_text())
    about |= {"began": "2025-06-01T06:40:00+02:00", "invented": False}
    (folder / "about.json").write_text(json.dumps(about))
    return folder


def test_a_dropped_recording_becomes_a_reading_of_when_it_was_taken(
    qtbot: QtBot, page: ReadPage, context: AppContext, recording: Path
) -> None:
    drop(page, recording)
    qtbot.waitUntil(lambda: page.stack.currentWidget() is page._result)
    (saved,) = context.journal.readings()
    assert saved.began == datetime.fromisoformat("2025-06-01T06:40:00+02:00")
    assert saved.duration_s > 100


def test_a_file_that_does_not_say_when_is_asked_about(
    qtbot: QtBot, context: AppContext, page: ReadPage, tmp_path: Path
) -> None:
    bare = tmp_path / "bare.csv"
    shutil.copy(SAMPLE / "trace.csv", bare)
    begun: list[tuple[Path, datetime]] = []
    begin: Callable[[Path, datetime], object] = lambda path, taken: begun.append((path, taken))  # noqa: E731
    read_file(context, bare, begin, page)
    dialog = page.findChild(TakenDialog)
    assert isinstance(dialog, TakenDialog)
    dialog.taken.setDateTime(QDateTime.currentDateTime().addDays(1))
    dialog.accept()
    assert "still to come" in dialog.trouble.text()
    assert begun == []
    then = datetime.now().astimezone().replace(second=0, microsecond=0) - timedelta(days=2)
    dialog.taken.setDateTime(QDateTime.fromSecsSinceEpoch(int(then.timestamp())))
    dialog.accept()
    assert begun == [(bare, then)]


def test_only_one_clip_or_recording_can_be_dropped(tmp_path: Path) -> None:
    clip, text = tmp_path / "a.mp4", tmp_path / "a.txt"
    clip.write_bytes(b"")
    text.write_bytes(b"")

    def path_of(*paths: Path) -> Path | None:
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(str(each)) for each in paths])
        return dropped_path(data)

    assert path_of(clip) == clip
    assert path_of(SAMPLE) == SAMPLE
    assert path_of(text) is None
    assert path_of(clip, SAMPLE) is None
    assert path_of(tmp_path) is None
